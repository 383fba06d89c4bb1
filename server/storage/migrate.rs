//! Brings a database to the form of this release: numbered changes for the ledger and the accounts, and tables of
//! current facts that are made anew, and filled from the ledger, when their form changes.

use super::connection::{Conn, Db, StorageError};
use super::facts;

/// Numbered changes, in order. One numbering for both databases.
const MIGRATIONS: [(i64, &str); 5] = [
    (1, include_str!("../../migrations/0001_ledger_and_accounts.sql")),
    (2, include_str!("../../migrations/0002_attachments.sql")),
    (3, include_str!("../../migrations/0003_badges.sql")),
    (4, include_str!("../../migrations/0004_imports.sql")),
    (5, include_str!("../../migrations/0005_alerts.sql")),
];

/// The form of the tables of current facts. Raise it when one changes.
pub const FACTS_VERSION: i64 = 26;

/// SQLite before this has a defect in its write-ahead log.
const SQLITE_AT_LEAST: [u32; 3] = [3, 51, 3];
const POSTGRES_AT_LEAST: i64 = 150_000;

/// What a start has to do after the migration.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Facts {
    Current,
    /// Made anew and empty: they follow from the ledger.
    ToReplay,
}

/// Migrates, under a lock. Refuses a database that a newer release has migrated.
pub async fn migrate(db: &Db) -> Result<Facts, StorageError> {
    let mut conn = db.connect().await?;
    fit(&mut conn).await?;
    conn.begin().await?;
    match under_lock(&mut conn).await {
        Ok(facts) => {
            conn.commit().await?;
            Ok(facts)
        }
        Err(error) => {
            // The first error is the one to tell; the rollback's own would hide it.
            let _ = conn.rollback().await;
            Err(error)
        }
    }
}

async fn fit(conn: &mut Conn) -> Result<(), StorageError> {
    let dialect = conn.dialect();
    let version = match conn.one(dialect.version(), &[]).await? {
        Some(row) => row.text(0)?,
        None => String::new(),
    };
    let parts: Vec<u32> = version.split('.').map_while(|part| part.parse().ok()).collect();
    let (fits, needed) = match dialect {
        super::dialect::Dialect::Embedded => (parts.as_slice() >= &SQLITE_AT_LEAST[..], "SQLite 3.51.3"),
        super::dialect::Dialect::Server => {
            (version.parse::<i64>().is_ok_and(|number| number >= POSTGRES_AT_LEAST), "PostgreSQL 15")
        }
    };
    if fits {
        Ok(())
    } else {
        Err(StorageError::Unfit(format!("found version {version}; at least {needed} is needed")))
    }
}

async fn under_lock(conn: &mut Conn) -> Result<Facts, StorageError> {
    let dialect = conn.dialect();
    if let Some(lock) = dialect.migration_lock() {
        conn.execute(lock, &[]).await?;
    }
    let known = match conn.one(dialect.has_table(), &["schema_version".into()]).await? {
        Some(row) => row.int(0)? > 0,
        None => false,
    };
    if !known {
        let text =
            "CREATE TABLE schema_version (part TEXT NOT NULL, version BIGINT NOT NULL, PRIMARY KEY (part))";
        conn.execute(&dialect.definition(text), &[]).await?;
        for part in ["ledger", "facts"] {
            conn.execute("INSERT INTO schema_version (part, version) VALUES ($1, 0)", &[part.into()]).await?;
        }
    }
    let ledger = version_of(conn, "ledger").await?;
    let newest = MIGRATIONS.last().map_or(0, |(version, _)| *version);
    if ledger > newest {
        return Err(StorageError::Unfit(format!(
            "found a database at version {ledger}; this release knows {newest}. Use the newer release."
        )));
    }
    for (version, text) in MIGRATIONS.into_iter().filter(|(version, _)| *version > ledger) {
        for statement in statements(text) {
            conn.execute(&dialect.definition(&statement), &[]).await?;
        }
        if version == 1 {
            for trigger in dialect.append_only("ledger_entry") {
                conn.execute(&trigger, &[]).await?;
            }
        }
        set_version(conn, "ledger", version).await?;
    }
    if version_of(conn, "facts").await? == FACTS_VERSION {
        return Ok(Facts::Current);
    }
    facts::make_anew(conn).await?;
    set_version(conn, "facts", FACTS_VERSION).await?;
    Ok(Facts::ToReplay)
}

/// The statements of a migration: split at semicolons, comments left out.
fn statements(text: &str) -> Vec<String> {
    let plain: Vec<&str> = text.lines().filter(|line| !line.trim_start().starts_with("--")).collect();
    let plain = plain.join("\n");
    plain.split(';').map(str::trim).filter(|statement| !statement.is_empty()).map(String::from).collect()
}

async fn version_of(conn: &mut Conn, part: &str) -> Result<i64, StorageError> {
    let row = conn.one("SELECT version FROM schema_version WHERE part = $1", &[part.into()]).await?;
    row.map_or(Ok(0), |row| row.int(0))
}

async fn set_version(conn: &mut Conn, part: &str, version: i64) -> Result<(), StorageError> {
    let text = "UPDATE schema_version SET version = $1 WHERE part = $2";
    conn.execute(text, &[version.into(), part.into()]).await.map(|_| ())
}
