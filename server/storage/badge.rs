//! Badges and PINs, outside the ledger.

use super::account::PersonRow;
use super::connection::{Db, StorageError};

/// Makes a badge a person's only one; it is taken from whoever had it.
pub async fn set_badge(db: &Db, site: &str, person: &str, hash: Option<&[u8]>) -> Result<(), StorageError> {
    db.execute("DELETE FROM badge WHERE site = $1 AND person = $2", &[site.into(), person.into()]).await?;
    let Some(hash) = hash else { return Ok(()) };
    let sql = "INSERT INTO badge (site, hash, person) VALUES ($1, $2, $3) \
               ON CONFLICT (site, hash) DO UPDATE SET person = excluded.person";
    db.execute(sql, &[site.into(), hash.to_vec().into(), person.into()]).await.map(|_| ())
}

/// Whose badge it is, in force or not.
pub async fn person_of(db: &Db, site: &str, hash: &[u8]) -> Result<Option<PersonRow>, StorageError> {
    let sql = "SELECT p.code, p.name, p.role, p.password, p.disabled FROM badge b \
               JOIN person p ON p.site = b.site AND p.code = b.person WHERE b.site = $1 AND b.hash = $2";
    db.one(sql, &[site.into(), hash.to_vec().into()]).await?.map(|row| PersonRow::read(&row, 0)).transpose()
}

/// The codes of those who have a badge, and of those who have a PIN.
pub async fn holders(db: &Db, site: &str) -> Result<(Vec<String>, Vec<String>), StorageError> {
    let badges = db.fetch("SELECT person FROM badge WHERE site = $1", &[site.into()]).await?;
    let pins = db.fetch("SELECT person FROM pin WHERE site = $1", &[site.into()]).await?;
    let codes = |rows: &[super::Row]| rows.iter().map(|row| row.text(0)).collect::<Result<Vec<_>, _>>();
    Ok((codes(&badges)?, codes(&pins)?))
}

pub async fn set_pin(db: &Db, site: &str, person: &str, pin: &str) -> Result<(), StorageError> {
    let sql = "INSERT INTO pin (site, person, pin, tries) VALUES ($1, $2, $3, 0) \
               ON CONFLICT (site, person) DO UPDATE SET pin = excluded.pin, tries = 0";
    db.execute(sql, &[site.into(), person.into(), pin.into()]).await.map(|_| ())
}

/// The PIN's hash, and how often a wrong one was given since the last right one.
pub async fn pin_of(db: &Db, site: &str, person: &str) -> Result<Option<(String, i64)>, StorageError> {
    let sql = "SELECT pin, tries FROM pin WHERE site = $1 AND person = $2";
    let row = db.one(sql, &[site.into(), person.into()]).await?;
    row.map(|row| Ok((row.text(0)?, row.int(1)?))).transpose()
}

/// Counts a try before it is looked at, so that many at once are no more than so many; says whether it was one of them.
pub async fn try_pin(db: &Db, site: &str, person: &str, most: i64) -> Result<bool, StorageError> {
    let sql = "UPDATE pin SET tries = tries + 1 WHERE site = $1 AND person = $2 AND tries < $3";
    Ok(db.execute(sql, &[site.into(), person.into(), most.into()]).await? > 0)
}

pub async fn pin_was_right(db: &Db, site: &str, person: &str) -> Result<(), StorageError> {
    let sql = "UPDATE pin SET tries = 0 WHERE site = $1 AND person = $2";
    db.execute(sql, &[site.into(), person.into()]).await.map(|_| ())
}
