//! Lists on their way into the house, and how the columns of the last ones were read.

use super::connection::{Db, Row, StorageError};

/// A list that waits, or that became something.
#[derive(Clone, Debug)]
pub struct ImportFile {
    pub id: String,
    pub kind: String,
    pub name: String,
    pub chosen: String,
    /// What became of it; empty while it waits.
    pub outcome: String,
    pub stored_at: i64,
    pub stored_by: String,
}

fn file(row: &Row) -> Result<ImportFile, StorageError> {
    Ok(ImportFile {
        id: row.text(0)?,
        kind: row.text(1)?,
        name: row.text(2)?,
        chosen: row.text(3)?,
        outcome: row.text(4)?,
        stored_at: row.int(5)?,
        stored_by: row.text(6)?,
    })
}

pub async fn add(db: &Db, site: &str, it: &ImportFile, raw: Vec<u8>) -> Result<(), StorageError> {
    let sql = "INSERT INTO import_file (site, id, kind, name, chosen, outcome, stored_at, stored_by, raw) \
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    let args = [
        site.into(),
        it.id.as_str().into(),
        it.kind.as_str().into(),
        it.name.as_str().into(),
        it.chosen.as_str().into(),
        it.outcome.as_str().into(),
        it.stored_at.into(),
        it.stored_by.as_str().into(),
        raw.into(),
    ];
    db.execute(sql, &args).await.map(|_| ())
}

/// The lists of one person, newest first, without their bytes.
pub async fn of_person(db: &Db, site: &str, by: &str) -> Result<Vec<ImportFile>, StorageError> {
    let sql = "SELECT id, kind, name, chosen, outcome, stored_at, stored_by FROM import_file \
               WHERE site = $1 AND stored_by = $2 ORDER BY stored_at DESC, id";
    db.fetch(sql, &[site.into(), by.into()]).await?.iter().map(file).collect()
}

pub async fn get(db: &Db, site: &str, id: &str) -> Result<Option<(ImportFile, Vec<u8>)>, StorageError> {
    let sql = "SELECT id, kind, name, chosen, outcome, stored_at, stored_by, raw FROM import_file \
               WHERE site = $1 AND id = $2";
    let row = db.one(sql, &[site.into(), id.into()]).await?;
    row.map(|row| Ok((file(&row)?, row.bytes(7)?))).transpose()
}

pub async fn choose(db: &Db, site: &str, id: &str, chosen: &str) -> Result<(), StorageError> {
    let sql = "UPDATE import_file SET chosen = $3 WHERE site = $1 AND id = $2";
    db.execute(sql, &[site.into(), id.into(), chosen.into()]).await.map(|_| ())
}

/// Says what became of a list; its bytes are not needed any more.
pub async fn finish(db: &Db, site: &str, id: &str, outcome: &str) -> Result<(), StorageError> {
    let sql = "UPDATE import_file SET outcome = $3, raw = $4 WHERE site = $1 AND id = $2";
    db.execute(sql, &[site.into(), id.into(), outcome.into(), Vec::new().into()]).await.map(|_| ())
}

pub async fn drop_file(db: &Db, site: &str, id: &str) -> Result<(), StorageError> {
    db.execute("DELETE FROM import_file WHERE site = $1 AND id = $2", &[site.into(), id.into()])
        .await
        .map(|_| ())
}

/// Lets go what is older.
pub async fn drop_before(db: &Db, at: i64) -> Result<(), StorageError> {
    db.execute("DELETE FROM import_file WHERE stored_at < $1", &[at.into()]).await.map(|_| ())
}

/// How the last list of this kind was read.
pub async fn mapping(db: &Db, site: &str, kind: &str) -> Result<Option<String>, StorageError> {
    let sql = "SELECT chosen FROM import_mapping WHERE site = $1 AND kind = $2";
    db.one(sql, &[site.into(), kind.into()]).await?.map(|row| row.text(0)).transpose()
}

pub async fn keep_mapping(
    db: &Db,
    site: &str,
    kind: &str,
    chosen: &str,
    (at, by): (i64, &str),
) -> Result<(), StorageError> {
    let sql = "INSERT INTO import_mapping (site, kind, chosen, stored_at, stored_by) VALUES ($1, $2, $3, $4, $5) \
               ON CONFLICT (site, kind) DO UPDATE SET chosen = excluded.chosen, stored_at = excluded.stored_at, \
               stored_by = excluded.stored_by";
    db.execute(sql, &[site.into(), kind.into(), chosen.into(), at.into(), by.into()]).await.map(|_| ())
}
