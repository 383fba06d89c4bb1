//! Sites, people, tokens and sessions.

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Argon2, PasswordHash};
use sha2::{Digest, Sha256};

use super::clock::random;
use super::house::{House, PersonRow, TokenRow, Unavailable, unavailable};
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::storage::ledger::{self};
use crate::storage::{StorageError, account};

#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    #[error("{0}")]
    Unfit(String),
    #[error("there is no site \"{0}\"")]
    UnknownSite(String),
    #[error(transparent)]
    Storage(#[from] StorageError),
    #[error("no randomness from the system")]
    Random(#[from] getrandom::Error),
    #[error("the password could not be hashed")]
    Hashing,
}

/// A session ends this long after it began, whatever happens in it.
pub const SESSION_HOURS: i64 = 12;
/// The shortest password that is taken.
pub const PASSWORD_SHORTEST: usize = 8;

/// Who a secret belongs to.
#[derive(Clone, Debug)]
pub struct SignedIn {
    pub site: Id,
    pub actor: Actor,
    pub name: String,
    pub csrf: String,
}

pub(super) fn hashed(secret: &str) -> Vec<u8> {
    Sha256::digest(secret.as_bytes()).to_vec()
}

impl House {
    async fn known_site(&self, code: &str) -> Result<Id, AccountError> {
        let known = ledger::head_of(&self.db, code).await?.is_some();
        Id::new(code).filter(|_| known).ok_or_else(|| AccountError::UnknownSite(code.into()))
    }

    /// Adds a person; the code is made from the name where none is given.
    pub async fn add_person(
        &self,
        site: &str,
        code: Option<&str>,
        name: &str,
        role: Role,
        password: &str,
    ) -> Result<String, AccountError> {
        let site = self.known_site(site).await?;
        if name.trim().is_empty() {
            return Err(AccountError::Unfit("a person needs a name".into()));
        }
        let taken = account::people(&self.db, site.as_str()).await?;
        let taken = |code: &str| taken.iter().any(|person| person.code == code);
        let code = match code.map(str::trim).filter(|code| !code.is_empty()) {
            Some(code) => Id::new(code)
                .ok_or_else(|| AccountError::Unfit(format!("\"{code}\" is no code")))?
                .to_string(),
            None => {
                let base = code_from(name);
                let numbered = (2..10_000).map(|n| format!("{base}-{n}"));
                std::iter::once(base.clone()).chain(numbered).find(|code| !taken(code)).unwrap_or(base)
            }
        };
        if [super::records::ACTOR, super::import::ACTOR, super::schedule::ACTOR, "founder"]
            .contains(&code.as_str())
        {
            return Err(AccountError::Unfit(format!("\"{code}\" names the program itself in the ledger")));
        }
        if taken(&code) {
            return Err(AccountError::Unfit(format!("there is already a person \"{code}\"")));
        }
        let password = self.hash(password).await?;
        let row = account::PersonRow {
            code: code.clone(),
            name: name.trim().into(),
            role: role.name().into(),
            password,
            disabled: false,
        };
        account::add_person(&self.db, site.as_str(), &row).await?;
        Ok(code)
    }

    pub async fn disable_person(&self, site: &str, code: &str) -> Result<bool, AccountError> {
        Ok(account::disable_person(&self.db, site, code).await?)
    }

    pub async fn set_password(&self, site: &str, code: &str, password: &str) -> Result<bool, AccountError> {
        let password = self.hash(password).await?;
        Ok(account::set_password(&self.db, site, code, &password).await?)
    }

    async fn hash(&self, password: &str) -> Result<String, AccountError> {
        if password.chars().count() < PASSWORD_SHORTEST {
            return Err(AccountError::Unfit(format!(
                "a password has at least {PASSWORD_SHORTEST} characters"
            )));
        }
        self.hash_of(password).await
    }

    /// The hash of a secret that is fit to be one.
    pub(super) async fn hash_of(&self, secret: &str) -> Result<String, AccountError> {
        let _place = self.hashing.acquire().await.map_err(|_| AccountError::Hashing)?;
        let password = secret.to_string();
        let hash = tokio::task::spawn_blocking(move || {
            Argon2::default().hash_password(password.as_bytes()).map(|hash| hash.to_string())
        });
        hash.await.map_err(|_| AccountError::Hashing)?.map_err(|_| AccountError::Hashing)
    }

    pub(super) async fn verify(&self, password: &str, hash: String) -> Result<bool, AccountError> {
        let _place = self.hashing.acquire().await.map_err(|_| AccountError::Hashing)?;
        let password = password.to_string();
        let same = tokio::task::spawn_blocking(move || match PasswordHash::new(&hash) {
            Ok(hash) => Argon2::default().verify_password(password.as_bytes(), &hash).is_ok(),
            Err(_) => false,
        });
        same.await.map_err(|_| AccountError::Hashing)
    }

    /// Begins a session; answers its secret. `None` where site, person and password do not go together: which of
    /// them is wrong is not said, and an unknown person takes as long as a known one.
    pub async fn sign_in(
        &self,
        site: &str,
        code: &str,
        password: &str,
    ) -> Result<Option<String>, AccountError> {
        let person = account::person_of(&self.db, site, code).await?;
        let hash = match &person {
            Some(person) => person.password.clone(),
            None => DUMMY.into(),
        };
        let same = self.verify(password, hash).await?;
        if !same || person.is_none_or(|person| person.disabled) {
            return Ok(None);
        }
        Ok(Some(self.begin_session(site, code).await?))
    }

    /// Begins a session; answers its secret.
    pub(super) async fn begin_session(&self, site: &str, code: &str) -> Result<String, AccountError> {
        let secret = hex::encode(random::<16>()?);
        let csrf = hex::encode(random::<16>()?);
        account::begin_session(&self.db, site, &hashed(&secret), code, &csrf, self.clock.now().0).await?;
        Ok(secret)
    }

    /// Who a session belongs to, while it lasts; `idle_minutes` by the site's policy.
    pub async fn session(&self, secret: &str) -> Result<Option<SignedIn>, AccountError> {
        let hash = hashed(secret);
        let Some(found) = account::session_of(&self.db, &hash).await? else {
            return Ok(None);
        };
        let Some(site) = Id::new(&found.site) else {
            return Ok(None);
        };
        let now = self.clock.now();
        let idle = match self.state(&site).await {
            Ok(Some(state)) => i64::from(state.policy.idle_minutes),
            _ => i64::from(crate::domain::site::Policy::default().idle_minutes),
        };
        let ended = now.0 - found.begun_at > SESSION_HOURS * 3_600_000_000
            || now.0 - found.seen_at > idle * 60_000_000;
        let role = Role::parse(&found.person.role).filter(|_| !found.person.disabled && !ended);
        let Some(role) = role else {
            account::end_session(&self.db, &hash).await?;
            return Ok(None);
        };
        // Once a minute is exact enough for an idle time, and spares the writer.
        if now.0 - found.seen_at > 60_000_000 {
            account::see_session(&self.db, &hash, now.0).await?;
        }
        let actor = Actor { code: found.person.code, role };
        Ok(Some(SignedIn { site, actor, name: found.person.name, csrf: found.csrf }))
    }

    pub async fn sign_out(&self, secret: &str) -> Result<(), AccountError> {
        Ok(account::end_session(&self.db, &hashed(secret)).await?)
    }

    /// Removes sessions that are over; the longest idle time that a policy may set is a day.
    pub async fn purge_sessions(&self) -> Result<u64, AccountError> {
        let now = self.clock.now().0;
        let begun = now - SESSION_HOURS * 3_600_000_000;
        Ok(account::purge_sessions(&self.db, begun, now - 24 * 3_600_000_000).await?)
    }

    /// Makes a token and answers it; only its hash is kept.
    pub async fn add_token(
        &self,
        site: &str,
        role: Role,
        name: Option<&str>,
    ) -> Result<(String, String), AccountError> {
        let site = self.known_site(site).await?;
        let id = format!("token-{}", hex::encode(random::<4>()?));
        let secret = format!("fettle_{}", hex::encode(random::<24>()?));
        let row = account::TokenRow {
            site: site.to_string(),
            id: id.clone(),
            name: name.unwrap_or(role.words()).to_string(),
            role: role.name().into(),
            revoked: false,
        };
        account::add_token(&self.db, &row, &hashed(&secret)).await?;
        Ok((id, secret))
    }

    pub async fn revoke_token(&self, site: &str, id: &str) -> Result<bool, AccountError> {
        Ok(account::revoke_token(&self.db, site, id).await?)
    }

    /// Who a token belongs to.
    pub async fn token(&self, secret: &str) -> Result<Option<(Id, Actor)>, StorageError> {
        let Some(found) = account::token_of(&self.db, &hashed(secret)).await?.filter(|it| !it.revoked) else {
            return Ok(None);
        };
        let role = Role::parse(&found.role);
        Ok(Id::new(&found.site).zip(role).map(|(site, role)| (site, Actor { code: found.id, role })))
    }

    pub async fn people(&self, site: &Id) -> Result<(Vec<PersonRow>, Vec<TokenRow>), Unavailable> {
        self.accounts(site).await.map_err(|error| unavailable(&error))
    }

    /// People and tokens of a site, as a list.
    pub async fn accounts(&self, site: &Id) -> Result<(Vec<PersonRow>, Vec<TokenRow>), StorageError> {
        let people = account::people(&self.db, site.as_str()).await?.into_iter().filter_map(|it| {
            let role = Role::parse(&it.role)?;
            Some(PersonRow { code: it.code, name: it.name, role, disabled: it.disabled })
        });
        let tokens = account::tokens(&self.db, site.as_str()).await?.into_iter().filter_map(|it| {
            let role = Role::parse(&it.role)?;
            Some(TokenRow { id: it.id, name: it.name, role, revoked: it.revoked })
        });
        Ok((people.collect(), tokens.collect()))
    }
}

/// The hash of no password: what an unknown person's sign-in is compared with.
pub(super) const DUMMY: &str =
    "$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHRzb21lc2FsdA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

fn code_from(name: &str) -> String {
    let lower = name.to_lowercase();
    let mut code: String = lower.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    code = code.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-");
    code.truncate(40);
    if code.is_empty() { "person".into() } else { code }
}
