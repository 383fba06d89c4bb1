//! Who works at a station that several share: a badge says who, a PIN that it is they.

use super::accounts::{AccountError, DUMMY, hashed};
use super::house::House;
use crate::domain::id::Id;
use crate::domain::mark::{self, Reads};
use crate::domain::scan;
use crate::storage::{StorageError, account, badge};

/// After so many wrong PINs in a row a badge is locked, until an administrator gives a new PIN.
pub const TRIES: i64 = 5;
pub const PIN_SHORTEST: usize = 4;
pub const PIN_LONGEST: usize = 8;

/// Whose badge it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Owner {
    /// Nobody's here.
    Nobody,
    /// Of somebody whose account is disabled.
    Left,
    Person {
        code: String,
        name: String,
    },
}

/// What became of a sign-in by badge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ByBadge {
    /// The session's secret.
    In(String),
    Nobody,
    Left,
    /// The badge has no PIN yet.
    NoPin,
    /// A wrong PIN; so many tries are left.
    Wrong(i64),
    Locked,
}

/// What a badge says, in a form that two readings of it share; or why it is no badge of staff.
fn said(text: &str) -> Result<String, &'static str> {
    match mark::read(text) {
        Reads::Badge(number) => Ok(format!("gsrn:{number}")),
        Reads::Wristband => Err("this is the wristband of a patient (8018); a badge of staff carries 8017"),
        Reads::Tissue => Err("this is a mark for blood and tissue, and no badge"),
        Reads::Piece(_) | Reads::Product { .. } | Reads::AssetType(_) | Reads::Parcel(_) | Reads::Half => {
            Err("this is the mark of a thing, and no badge")
        }
        Reads::Place(_) => Err("this is the mark of a place, and no badge"),
        Reads::Faulty(why) => Err(why),
        Reads::Own(code) => own(&code),
        Reads::Plain => own(text),
    }
}

/// The site's own badge code.
fn own(code: &str) -> Result<String, &'static str> {
    let fits = (4..=120).contains(&code.chars().count()) && !code.chars().any(char::is_control);
    if fits { Ok(format!("own:{code}")) } else { Err("a badge's code has 4 to 120 characters") }
}

impl House {
    /// Gives a person a badge, their only one; an empty text takes it back. Says whether there is such a person.
    pub async fn set_badge(&self, site: &str, code: &str, text: &str) -> Result<bool, AccountError> {
        if account::person_of(&self.db, site, code).await?.is_none() {
            return Ok(false);
        }
        let text = text.trim();
        if text.is_empty() {
            badge::set_badge(&self.db, site, code, None).await?;
            return Ok(true);
        }
        let key = said(text).map_err(|why| AccountError::Unfit(why.into()))?;
        if self.names_a_thing(site, text).await {
            return Err(AccountError::Unfit(format!("\"{text}\" already names a part or a set")));
        }
        if let Owner::Person { code: other, .. } = self.badge_owner(site, text).await?
            && other != code
        {
            return Err(AccountError::Unfit(format!("this badge is {other}'s: take it back there first")));
        }
        badge::set_badge(&self.db, site, code, Some(&hashed(&key))).await?;
        Ok(true)
    }

    async fn names_a_thing(&self, site: &str, text: &str) -> bool {
        let Some(site) = Id::new(site) else { return false };
        match self.state(&site).await {
            Ok(Some(state)) => scan::find(&state, text).is_ok(),
            _ => false,
        }
    }

    /// Gives a person a PIN; a badge that was locked opens by it.
    pub async fn set_pin(&self, site: &str, code: &str, pin: &str) -> Result<bool, AccountError> {
        if !(PIN_SHORTEST..=PIN_LONGEST).contains(&pin.len()) || !pin.bytes().all(|it| it.is_ascii_digit()) {
            let why = format!("a PIN has {PIN_SHORTEST} to {PIN_LONGEST} digits");
            return Err(AccountError::Unfit(why));
        }
        let mut digits = pin.bytes();
        let first = digits.next();
        if digits.all(|it| Some(it) == first) {
            return Err(AccountError::Unfit(
                "a PIN of one digit alone is guessed at once; choose another".into(),
            ));
        }
        if account::person_of(&self.db, site, code).await?.is_none() {
            return Ok(false);
        }
        let hash = self.hash_of(pin).await?;
        badge::set_pin(&self.db, site, code, &hash).await?;
        Ok(true)
    }

    /// Whose badge a text is.
    pub async fn badge_owner(&self, site: &str, text: &str) -> Result<Owner, StorageError> {
        let Ok(key) = said(text.trim()) else { return Ok(Owner::Nobody) };
        Ok(match badge::person_of(&self.db, site, &hashed(&key)).await? {
            None => Owner::Nobody,
            Some(person) if person.disabled => Owner::Left,
            Some(person) => Owner::Person { code: person.code, name: person.name },
        })
    }

    /// Why a text can be nobody's badge, where it cannot.
    pub fn no_badge(text: &str) -> Option<&'static str> {
        said(text.trim()).err()
    }

    /// Begins a session of the badge's owner, where the PIN is theirs.
    pub async fn sign_in_by_badge(&self, site: &str, text: &str, pin: &str) -> Result<ByBadge, AccountError> {
        let owner = self.badge_owner(site, text).await?;
        let code = match owner {
            Owner::Person { code, .. } => code,
            Owner::Left => return Ok(ByBadge::Left),
            Owner::Nobody => {
                // A badge that is not known takes as long as one that is.
                self.verify(pin, DUMMY.into()).await?;
                return Ok(ByBadge::Nobody);
            }
        };
        let Some((hash, tries)) = badge::pin_of(&self.db, site, &code).await? else {
            return Ok(ByBadge::NoPin);
        };
        if !badge::try_pin(&self.db, site, &code, TRIES).await? {
            return Ok(ByBadge::Locked);
        }
        if !self.verify(pin, hash).await? {
            let left = TRIES - 1 - tries;
            return Ok(if left > 0 { ByBadge::Wrong(left) } else { ByBadge::Locked });
        }
        badge::pin_was_right(&self.db, site, &code).await?;
        Ok(ByBadge::In(self.begin_session(site, &code).await?))
    }

    /// The codes of those who have a badge, and of those who have a PIN.
    pub async fn badge_holders(&self, site: &Id) -> Result<(Vec<String>, Vec<String>), StorageError> {
        badge::holders(&self.db, site.as_str()).await
    }
}
