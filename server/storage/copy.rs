//! Copies what is never dropped from one database into another, empty one: backup and restore, across both kinds.

use super::connection::{Arg, Conn, Db, StorageError};
use super::rows::Table;
use super::{facts, migrate};

macro_rules! kept {
    ($name:literal, [$($key:literal),*], [$($rest:literal),*]) => {
        Table { name: $name, key: &[$($key),*], rest: &[$($rest),*], definition: "" }
    };
}

/// The tables that a backup holds: all but sessions, which end with the server that began them, and lists that wait to
/// be imported, which are chosen again.
const TABLES: [Table; 17] = [
    kept!("site", ["site"], ["name", "timezone", "secret", "founded_at"]),
    super::ledger::HEAD_NOW,
    super::ledger::ENTRY,
    kept!("sealed_text", ["site", "sealed"], ["salt", "text"]),
    kept!("cycle_record", ["site", "sha256"], ["raw"]),
    kept!("attachment", ["site", "sha256"], ["media_type", "stored_at", "stored_by", "raw"]),
    kept!("person", ["site", "code"], ["name", "role", "password", "disabled"]),
    kept!("badge", ["site", "hash"], ["person"]),
    kept!("pin", ["site", "person"], ["pin", "tries"]),
    kept!("token", ["site", "id"], ["name", "role", "hash", "revoked"]),
    kept!("import_mapping", ["site", "kind"], ["chosen", "stored_at", "stored_by"]),
    kept!("alert", ["site", "id"], ["rule", "subject", "sentence", "raised_at", "ended_at", "seq"]),
    kept!("alert_seen", ["site", "alert", "person"], ["at"]),
    kept!("alert_webhook", ["site", "rule"], ["secret", "made_at", "made_by", "gone_entry"]),
    kept!(
        "alert_delivery",
        ["site", "id"],
        ["alert", "rule", "kind", "body", "made_at", "due_at", "tries", "status"]
    ),
    kept!("alert_attempt", ["site", "delivery", "number"], ["at", "told"]),
    kept!("read_log", ["site", "at", "actor", "what"], []),
];

const PAGE: i64 = 1_000;
/// Rows of whole files read at a time: each may have megabytes.
const PAGE_OF_FILES: i64 = 8;

fn arg(row: &super::Row, table: &Table, place: usize, column: &str) -> Result<Arg, StorageError> {
    Ok(match column {
        "secret" | "root" | "frontier" | "leaf" | "asked" | "salt" | "raw" => Arg::Bytes(row.bytes(place)?),
        "hash" => Arg::Bytes(row.bytes(place)?),
        "seq" | "recorded_at" | "at" | "founded_at" | "stored_at" | "disabled" | "revoked" | "tries" => {
            Arg::Int(row.int(place)?)
        }
        "raised_at" | "ended_at" | "made_at" | "due_at" | "gone_entry" | "number" => {
            Arg::Int(row.int(place)?)
        }
        "key" if table.name == "ledger_entry" => Arg::OptText(row.opt_text(place)?),
        _ => Arg::Text(row.text(place)?),
    })
}

/// Copies everything into a database that holds no site yet; says how many entries.
pub async fn copy(from: &Db, to: &Db) -> Result<u64, StorageError> {
    migrate::migrate(to).await?;
    let mut target = to.connect().await?;
    target.begin().await?;
    let sites = target.one("SELECT COUNT(*) FROM site", &[]).await?.map_or(Ok(0), |row| row.int(0))?;
    if sites > 0 {
        target.rollback().await?;
        return Err(StorageError::Unfit(
            "the target already holds a site; an empty database is needed".into(),
        ));
    }
    let mut source = from.connect().await?;
    // One moment of the source, whatever is written to it meanwhile.
    source.execute(source.dialect().snapshot(), &[]).await?;
    let mut entries = 0;
    for table in TABLES {
        let copied = copy_table(&mut source, &mut target, &table).await?;
        if table.name == "ledger_entry" {
            entries = copied;
        }
    }
    source.commit().await?;
    facts::make_anew(&mut target).await?;
    target.commit().await?;
    Ok(entries)
}

async fn copy_table(source: &mut Conn, target: &mut Conn, table: &Table) -> Result<u64, StorageError> {
    let columns: Vec<&str> = table.columns().collect();
    let text = format!(
        "SELECT {} FROM {} ORDER BY {} LIMIT $1 OFFSET $2",
        columns.join(", "),
        table.name,
        table.key.join(", ")
    );
    let rows = if table.rest.contains(&"raw") { PAGE_OF_FILES } else { PAGE };
    let mut copied: u64 = 0;
    loop {
        let page = source.fetch(&text, &[rows.into(), (copied as i64).into()]).await?;
        if page.is_empty() {
            return Ok(copied);
        }
        copied += page.len() as u64;
        let mut rows = Vec::with_capacity(page.len());
        for row in &page {
            let args = columns.iter().enumerate().map(|(place, column)| arg(row, table, place, column));
            rows.push(args.collect::<Result<Vec<Arg>, _>>()?);
        }
        table.add(target, rows).await?;
    }
}
