//! Accounts: people, tokens and sessions, outside the ledger. Secrets are stored hashed.

use super::connection::{Db, Row, StorageError};

#[derive(Clone, Debug)]
pub struct PersonRow {
    pub code: String,
    pub name: String,
    pub role: String,
    pub password: String,
    pub disabled: bool,
}

#[derive(Clone, Debug)]
pub struct TokenRow {
    pub site: String,
    pub id: String,
    pub name: String,
    pub role: String,
    pub revoked: bool,
}

#[derive(Clone, Debug)]
pub struct SessionRow {
    pub site: String,
    pub person: PersonRow,
    pub csrf: String,
    pub begun_at: i64,
    pub seen_at: i64,
}

impl PersonRow {
    /// A person as five columns have one, from this one on.
    pub fn read(row: &Row, from: usize) -> Result<PersonRow, StorageError> {
        person(row, from)
    }
}

fn person(row: &Row, from: usize) -> Result<PersonRow, StorageError> {
    Ok(PersonRow {
        code: row.text(from)?,
        name: row.text(from + 1)?,
        role: row.text(from + 2)?,
        password: row.text(from + 3)?,
        disabled: row.int(from + 4)? != 0,
    })
}

fn token(row: &Row) -> Result<TokenRow, StorageError> {
    Ok(TokenRow {
        site: row.text(0)?,
        id: row.text(1)?,
        name: row.text(2)?,
        role: row.text(3)?,
        revoked: row.int(4)? != 0,
    })
}

pub async fn add_person(db: &Db, site: &str, it: &PersonRow) -> Result<(), StorageError> {
    let sql =
        "INSERT INTO person (site, code, name, role, password, disabled) VALUES ($1, $2, $3, $4, $5, 0)";
    let args = [
        site.into(),
        it.code.as_str().into(),
        it.name.as_str().into(),
        it.role.as_str().into(),
        it.password.as_str().into(),
    ];
    db.execute(sql, &args).await.map(|_| ())
}

pub async fn people(db: &Db, site: &str) -> Result<Vec<PersonRow>, StorageError> {
    let sql = "SELECT code, name, role, password, disabled FROM person WHERE site = $1 ORDER BY code";
    db.fetch(sql, &[site.into()]).await?.iter().map(|row| person(row, 0)).collect()
}

pub async fn person_of(db: &Db, site: &str, code: &str) -> Result<Option<PersonRow>, StorageError> {
    let sql = "SELECT code, name, role, password, disabled FROM person WHERE site = $1 AND code = $2";
    db.one(sql, &[site.into(), code.into()]).await?.map(|row| person(&row, 0)).transpose()
}

/// Disables a person and ends their sessions; says whether there is one.
pub async fn disable_person(db: &Db, site: &str, code: &str) -> Result<bool, StorageError> {
    let sql = "UPDATE person SET disabled = 1 WHERE site = $1 AND code = $2";
    let found = db.execute(sql, &[site.into(), code.into()]).await? > 0;
    end_sessions_of(db, site, code).await?;
    Ok(found)
}

pub async fn set_password(db: &Db, site: &str, code: &str, password: &str) -> Result<bool, StorageError> {
    let sql = "UPDATE person SET password = $3 WHERE site = $1 AND code = $2";
    let found = db.execute(sql, &[site.into(), code.into(), password.into()]).await? > 0;
    end_sessions_of(db, site, code).await?;
    Ok(found)
}

async fn end_sessions_of(db: &Db, site: &str, code: &str) -> Result<(), StorageError> {
    let sql = "DELETE FROM session WHERE site = $1 AND person = $2";
    db.execute(sql, &[site.into(), code.into()]).await.map(|_| ())
}

pub async fn add_token(db: &Db, it: &TokenRow, hash: &[u8]) -> Result<(), StorageError> {
    let sql = "INSERT INTO token (site, id, name, role, hash, revoked) VALUES ($1, $2, $3, $4, $5, 0)";
    let args = [
        it.site.as_str().into(),
        it.id.as_str().into(),
        it.name.as_str().into(),
        it.role.as_str().into(),
        hash.to_vec().into(),
    ];
    db.execute(sql, &args).await.map(|_| ())
}

pub async fn tokens(db: &Db, site: &str) -> Result<Vec<TokenRow>, StorageError> {
    let sql = "SELECT site, id, name, role, revoked FROM token WHERE site = $1 ORDER BY id";
    db.fetch(sql, &[site.into()]).await?.iter().map(token).collect()
}

pub async fn token_of(db: &Db, hash: &[u8]) -> Result<Option<TokenRow>, StorageError> {
    let sql = "SELECT site, id, name, role, revoked FROM token WHERE hash = $1";
    db.one(sql, &[hash.to_vec().into()]).await?.map(|row| token(&row)).transpose()
}

pub async fn revoke_token(db: &Db, site: &str, id: &str) -> Result<bool, StorageError> {
    let sql = "UPDATE token SET revoked = 1 WHERE site = $1 AND id = $2";
    Ok(db.execute(sql, &[site.into(), id.into()]).await? > 0)
}

pub async fn begin_session(
    db: &Db,
    site: &str,
    hash: &[u8],
    code: &str,
    csrf: &str,
    at: i64,
) -> Result<(), StorageError> {
    let sql =
        "INSERT INTO session (site, hash, person, csrf, begun_at, seen_at) VALUES ($1, $2, $3, $4, $5, $5)";
    let args = [site.into(), hash.to_vec().into(), code.into(), csrf.into(), at.into()];
    db.execute(sql, &args).await.map(|_| ())
}

pub async fn session_of(db: &Db, hash: &[u8]) -> Result<Option<SessionRow>, StorageError> {
    let sql = "SELECT s.site, s.csrf, s.begun_at, s.seen_at, p.code, p.name, p.role, p.password, p.disabled \
               FROM session s JOIN person p ON p.site = s.site AND p.code = s.person WHERE s.hash = $1";
    let Some(row) = db.one(sql, &[hash.to_vec().into()]).await? else {
        return Ok(None);
    };
    Ok(Some(SessionRow {
        site: row.text(0)?,
        csrf: row.text(1)?,
        begun_at: row.int(2)?,
        seen_at: row.int(3)?,
        person: person(&row, 4)?,
    }))
}

pub async fn see_session(db: &Db, hash: &[u8], at: i64) -> Result<(), StorageError> {
    let sql = "UPDATE session SET seen_at = $2 WHERE hash = $1";
    db.execute(sql, &[hash.to_vec().into(), at.into()]).await.map(|_| ())
}

pub async fn end_session(db: &Db, hash: &[u8]) -> Result<(), StorageError> {
    db.execute("DELETE FROM session WHERE hash = $1", &[hash.to_vec().into()]).await.map(|_| ())
}

/// Removes sessions that began, or were last seen, too long ago.
pub async fn purge_sessions(db: &Db, begun_before: i64, seen_before: i64) -> Result<u64, StorageError> {
    let sql = "DELETE FROM session WHERE begun_at < $1 OR seen_at < $2";
    db.execute(sql, &[begun_before.into(), seen_before.into()]).await
}

/// The codes of all people and tokens of a site, the pseudonyms under which acts stand in its ledger, each with its name.
pub async fn codes(
    conn: &mut super::Conn,
    site: &str,
) -> Result<std::collections::BTreeMap<String, String>, StorageError> {
    let sql =
        "SELECT code, name FROM person WHERE site = $1 UNION ALL SELECT id, name FROM token WHERE site = $1";
    let named = |row: &super::Row| Ok((row.text(0)?, row.text(1)?));
    conn.fetch(sql, &[site.into()]).await?.iter().map(named).collect()
}
