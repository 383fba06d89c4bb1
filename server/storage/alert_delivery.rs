//! What other programs are told of alerts: what waits, what was tried and what became of it, and the secrets.

use std::collections::BTreeMap;

use super::connection::{Conn, Db, Row, StorageError};

/// A message to another program.
#[derive(Clone, Debug, PartialEq)]
pub struct Delivery {
    pub id: String,
    pub alert: String,
    pub rule: String,
    /// `raised` or `ended`.
    pub kind: String,
    /// The same at every try.
    pub body: String,
    pub made_at: i64,
    /// Not before this.
    pub due_at: i64,
    pub tries: i64,
    /// `waits`, or what became of it.
    pub status: String,
}

/// One try and what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Attempt {
    pub number: i64,
    pub at: i64,
    pub told: String,
}

/// The secret of a rule.
#[derive(Clone, PartialEq)]
pub struct Secret {
    pub secret: Vec<u8>,
    pub made_at: i64,
    pub made_by: String,
    /// The rule's entry of which the address said that it wants no more; 0 where it did not.
    pub gone_entry: i64,
}

const COLUMNS: &str = "id, alert, rule, kind, body, made_at, due_at, tries, status";

fn read(row: &Row, from: usize) -> Result<Delivery, StorageError> {
    Ok(Delivery {
        id: row.text(from)?,
        alert: row.text(from + 1)?,
        rule: row.text(from + 2)?,
        kind: row.text(from + 3)?,
        body: row.text(from + 4)?,
        made_at: row.int(from + 5)?,
        due_at: row.int(from + 6)?,
        tries: row.int(from + 7)?,
        status: row.text(from + 8)?,
    })
}

/// Adds a message within the transaction that says why.
pub(super) async fn add(conn: &mut Conn, site: &str, it: &Delivery) -> Result<(), StorageError> {
    let sql = format!(
        "INSERT INTO alert_delivery (site, {COLUMNS}) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, 0, 'waits') \
         ON CONFLICT (site, id) DO NOTHING"
    );
    let args = [
        site.into(),
        it.id.as_str().into(),
        it.alert.as_str().into(),
        it.rule.as_str().into(),
        it.kind.as_str().into(),
        it.body.as_str().into(),
        it.made_at.into(),
        it.due_at.into(),
    ];
    conn.execute(&sql, &args).await.map(|_| ())
}

/// Whether a message was made that an alert began.
pub(super) async fn was_raised(conn: &mut Conn, site: &str, alert: &str) -> Result<bool, StorageError> {
    let sql = "SELECT id FROM alert_delivery WHERE site = $1 AND alert = $2 AND kind = 'raised'";
    Ok(conn.one(sql, &[site.into(), alert.into()]).await?.is_some())
}

/// What is due, of every site, the longest due first.
pub async fn due(db: &Db, now: i64, most: u32) -> Result<Vec<(String, Delivery)>, StorageError> {
    let sql = format!(
        "SELECT site, {COLUMNS} FROM alert_delivery WHERE status = 'waits' AND due_at <= $1 \
         ORDER BY due_at, site, id LIMIT {most}"
    );
    let rows = db.fetch(&sql, &[now.into()]).await?;
    rows.iter().map(|row| Ok((row.text(0)?, read(row, 1)?))).collect()
}

/// Takes a message for one try, until a time: where nothing is heard of it by then, it is due again. `false` where another
/// server has it.
pub async fn claim(db: &Db, site: &str, it: &Delivery, now: i64, until: i64) -> Result<bool, StorageError> {
    let sql = "UPDATE alert_delivery SET tries = tries + 1, due_at = $5 \
               WHERE site = $1 AND id = $2 AND status = 'waits' AND tries = $3 AND due_at <= $4";
    let args = [site.into(), it.id.as_str().into(), it.tries.into(), now.into(), until.into()];
    Ok(db.execute(sql, &args).await? == 1)
}

/// Keeps what came of a try, and when the next one is, where there is one.
pub async fn settle(
    db: &Db,
    site: &str,
    id: &str,
    (status, due_at): (&str, i64),
    it: &Attempt,
) -> Result<(), StorageError> {
    let sql = "INSERT INTO alert_attempt (site, delivery, number, at, told) VALUES ($1, $2, $3, $4, $5) \
               ON CONFLICT (site, delivery, number) DO UPDATE SET at = excluded.at, told = excluded.told";
    let args = [site.into(), id.into(), it.number.into(), it.at.into(), it.told.as_str().into()];
    db.execute(sql, &args).await?;
    // A later try of another server, after this one took too long, is not undone by it, unless it was told at last.
    let sql = "UPDATE alert_delivery SET status = $3, due_at = $4 \
               WHERE site = $1 AND id = $2 AND status = 'waits' AND (tries = $5 OR $3 = 'done')";
    let args = [site.into(), id.into(), status.into(), due_at.into(), it.number.into()];
    db.execute(sql, &args).await.map(|_| ())
}

/// The messages behind a name, by their names.
pub async fn page(db: &Db, site: &str, after: &str, most: usize) -> Result<Vec<Delivery>, StorageError> {
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    let sql =
        format!("SELECT {COLUMNS} FROM alert_delivery WHERE site = $1 AND id > $2 ORDER BY id LIMIT {most}");
    db.fetch(&sql, &[site.into(), after.into()]).await?.iter().map(|row| read(row, 0)).collect()
}

/// The newest messages.
pub async fn newest(db: &Db, site: &str, most: u32) -> Result<Vec<Delivery>, StorageError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM alert_delivery WHERE site = $1 ORDER BY made_at DESC, id LIMIT {most}"
    );
    db.fetch(&sql, &[site.into()]).await?.iter().map(|row| read(row, 0)).collect()
}

/// The tries of messages, by message.
pub async fn attempts(
    db: &Db,
    site: &str,
    of: &[Delivery],
) -> Result<BTreeMap<String, Vec<Attempt>>, StorageError> {
    let mut all = BTreeMap::new();
    let sql = "SELECT number, at, told FROM alert_attempt WHERE site = $1 AND delivery = $2 ORDER BY number";
    for delivery in of.iter().filter(|it| it.tries > 0) {
        let rows = db.fetch(sql, &[site.into(), delivery.id.as_str().into()]).await?;
        let read = |row: &Row| Ok(Attempt { number: row.int(0)?, at: row.int(1)?, told: row.text(2)? });
        all.insert(delivery.id.clone(), rows.iter().map(read).collect::<Result<_, StorageError>>()?);
    }
    Ok(all)
}

/// Keeps a rule's secret; the one before is worth nothing any more.
pub async fn set_secret(
    db: &Db,
    site: &str,
    rule: &str,
    secret: Vec<u8>,
    (at, by): (i64, &str),
) -> Result<(), StorageError> {
    let sql = "INSERT INTO alert_webhook (site, rule, secret, made_at, made_by, gone_entry) \
               VALUES ($1, $2, $3, $4, $5, 0) \
               ON CONFLICT (site, rule) DO UPDATE SET secret = excluded.secret, made_at = excluded.made_at, \
               made_by = excluded.made_by";
    db.execute(sql, &[site.into(), rule.into(), secret.into(), at.into(), by.into()]).await.map(|_| ())
}

/// The secrets of a site, by rule.
pub async fn secrets(db: &Db, site: &str) -> Result<BTreeMap<String, Secret>, StorageError> {
    let sql = "SELECT rule, secret, made_at, made_by, gone_entry FROM alert_webhook WHERE site = $1";
    let rows = db.fetch(sql, &[site.into()]).await?;
    let read = |row: &Row| {
        let (made_at, made_by, gone_entry) = (row.int(2)?, row.text(3)?, row.int(4)?);
        Ok((row.text(0)?, Secret { secret: row.bytes(1)?, made_at, made_by, gone_entry }))
    };
    rows.iter().map(read).collect()
}

/// Keeps that the address of a rule, as its entry says it, wants no more.
pub async fn gone(db: &Db, site: &str, rule: &str, entry: i64) -> Result<(), StorageError> {
    let sql = "UPDATE alert_webhook SET gone_entry = $3 WHERE site = $1 AND rule = $2 AND gone_entry < $3";
    db.execute(sql, &[site.into(), rule.into(), entry.into()]).await.map(|_| ())
}
