//! Pictures and scans, whole, by their SHA-256.

use super::connection::{Conn, Db, StorageError};

/// An attachment as it is stored.
pub struct StoredAttachment {
    pub media_type: String,
    pub raw: Vec<u8>,
}

/// Keeps an attachment; says whether it is new.
pub async fn add(
    db: &Db,
    site: &str,
    sha256: &str,
    it: StoredAttachment,
    (at, by): (i64, &str),
) -> Result<bool, StorageError> {
    let sql = "INSERT INTO attachment (site, sha256, media_type, stored_at, stored_by, raw) \
               VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING";
    let args = [site.into(), sha256.into(), it.media_type.into(), at.into(), by.into(), it.raw.into()];
    Ok(db.execute(sql, &args).await? > 0)
}

pub async fn get(db: &Db, site: &str, sha256: &str) -> Result<Option<StoredAttachment>, StorageError> {
    let sql = "SELECT media_type, raw FROM attachment WHERE site = $1 AND sha256 = $2";
    let row = db.one(sql, &[site.into(), sha256.into()]).await?;
    row.map(|row| Ok(StoredAttachment { media_type: row.text(0)?, raw: row.bytes(1)? })).transpose()
}

/// The kind of an attachment, without its bytes.
pub async fn media_type(db: &Db, site: &str, sha256: &str) -> Result<Option<String>, StorageError> {
    let sql = "SELECT media_type FROM attachment WHERE site = $1 AND sha256 = $2";
    db.one(sql, &[site.into(), sha256.into()]).await?.map(|row| row.text(0)).transpose()
}

/// As [`media_type`], within what the clerk writes.
pub async fn kept_as(conn: &mut Conn, site: &str, sha256: &str) -> Result<Option<String>, StorageError> {
    let sql = "SELECT media_type FROM attachment WHERE site = $1 AND sha256 = $2";
    conn.one(sql, &[site.into(), sha256.into()]).await?.map(|row| row.text(0)).transpose()
}
