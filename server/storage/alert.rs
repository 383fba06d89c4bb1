//! What the rules of alerts told, and who has seen it.

use super::alert_delivery::{self, Delivery};
use super::connection::{Conn, Db, Row, StorageError};

/// Something told: open while `ended_at` is 0.
#[derive(Clone, Debug, PartialEq)]
pub struct AlertRow {
    pub id: String,
    pub rule: String,
    pub subject: String,
    pub sentence: String,
    pub raised_at: i64,
    pub ended_at: i64,
    /// The place in the ledger at which it was judged last.
    pub seq: i64,
}

/// What becomes of what is told.
#[derive(Clone, Debug)]
pub enum Change {
    Raise {
        alert: AlertRow,
        then: Option<Delivery>,
    },
    /// It is still so, in other words.
    Reword {
        id: String,
        sentence: String,
        seq: i64,
    },
    End {
        id: String,
        at: i64,
        seq: i64,
        then: Option<Delivery>,
    },
    /// It is so again, hardly after its end; nobody was told of that end yet.
    GoOn {
        id: String,
        sentence: String,
        seq: i64,
    },
}

const COLUMNS: &str = "a.id, a.rule, a.subject, a.sentence, a.raised_at, a.ended_at, a.seq";

fn read(row: &Row) -> Result<AlertRow, StorageError> {
    Ok(AlertRow {
        id: row.text(0)?,
        rule: row.text(1)?,
        subject: row.text(2)?,
        sentence: row.text(3)?,
        raised_at: row.int(4)?,
        ended_at: row.int(5)?,
        seq: row.int(6)?,
    })
}

/// The sites that ever had a rule.
pub async fn sites_with_rules(db: &Db) -> Result<Vec<String>, StorageError> {
    db.fetch("SELECT DISTINCT site FROM alert_rule_now ORDER BY site", &[])
        .await?
        .iter()
        .map(|row| row.text(0))
        .collect()
}

/// What is open, and what ended at a time or later, the newest first.
pub async fn since(db: &Db, site: &str, at: i64) -> Result<Vec<AlertRow>, StorageError> {
    let sql = format!(
        "SELECT {COLUMNS} FROM alert a WHERE a.site = $1 AND (a.ended_at = 0 OR a.ended_at >= $2) \
         ORDER BY a.raised_at DESC, a.id"
    );
    db.fetch(&sql, &[site.into(), at.into()]).await?.iter().map(read).collect()
}

/// A page of what was told, by its id.
pub async fn page(
    db: &Db,
    site: &str,
    after: &str,
    open: bool,
    most: usize,
) -> Result<Vec<AlertRow>, StorageError> {
    let only = if open { "AND a.ended_at = 0 " } else { "" };
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    let sql = format!(
        "SELECT {COLUMNS} FROM alert a WHERE a.site = $1 AND a.id > $2 {only}ORDER BY a.id LIMIT {most}"
    );
    db.fetch(&sql, &[site.into(), after.into()]).await?.iter().map(read).collect()
}

/// Who has seen what is open, or ended at a time or later, by alert and time.
pub async fn seen(db: &Db, site: &str, at: i64) -> Result<Vec<(String, String, i64)>, StorageError> {
    let sql = "SELECT alert, person, at FROM alert_seen WHERE site = $1 AND alert IN \
               (SELECT a.id FROM alert a WHERE a.site = $1 AND (a.ended_at = 0 OR a.ended_at >= $2)) \
               ORDER BY alert, at, person";
    let rows = db.fetch(sql, &[site.into(), at.into()]).await?;
    rows.iter().map(|row| Ok((row.text(0)?, row.text(1)?, row.int(2)?))).collect()
}

/// Keeps that a person has seen an alert, the first time; `false` where there is none of that name.
pub async fn see(db: &Db, site: &str, alert: &str, person: &str, at: i64) -> Result<bool, StorageError> {
    let known = "SELECT rule FROM alert WHERE site = $1 AND id = $2";
    if db.one(known, &[site.into(), alert.into()]).await?.is_none() {
        return Ok(false);
    }
    let sql = "INSERT INTO alert_seen (site, alert, person, at) VALUES ($1, $2, $3, $4) \
               ON CONFLICT (site, alert, person) DO NOTHING";
    db.execute(sql, &[site.into(), alert.into(), person.into(), at.into()]).await.map(|_| true)
}

/// Makes changes, all or none; says how many happened here and not at another server.
pub async fn change(db: &Db, site: &str, changes: &[Change]) -> Result<usize, StorageError> {
    let mut conn = db.connect_to_write().await?;
    conn.begin().await?;
    let mut done = 0;
    for change in changes {
        match make(&mut conn, site, change).await {
            Ok(it) => done += usize::from(it),
            Err(error) => {
                // The first error is the one to tell; the rollback's own would hide it.
                let _ = conn.rollback().await;
                return Err(error);
            }
        }
    }
    conn.commit().await?;
    Ok(done)
}

async fn make(conn: &mut Conn, site: &str, change: &Change) -> Result<bool, StorageError> {
    match change {
        Change::Raise { alert, then } => {
            let sql = "INSERT INTO alert (site, id, rule, subject, sentence, raised_at, ended_at, seq) \
                       VALUES ($1, $2, $3, $4, $5, $6, 0, $7) ON CONFLICT DO NOTHING";
            let args = [
                site.into(),
                alert.id.as_str().into(),
                alert.rule.as_str().into(),
                alert.subject.as_str().into(),
                alert.sentence.as_str().into(),
                alert.raised_at.into(),
                alert.seq.into(),
            ];
            let is_ours = conn.execute(sql, &args).await? == 1;
            if let Some(delivery) = then.as_ref().filter(|_| is_ours) {
                alert_delivery::add(conn, site, delivery).await?;
            }
            Ok(is_ours)
        }
        // Who has seen less of the ledger than the one who judged it last, says nothing of it.
        Change::Reword { id, sentence, seq } => {
            let sql = "UPDATE alert SET sentence = $3, seq = $4 \
                       WHERE site = $1 AND id = $2 AND ended_at = 0 AND seq <= $4";
            let args = [site.into(), id.as_str().into(), sentence.as_str().into(), (*seq).into()];
            Ok(conn.execute(sql, &args).await? == 1)
        }
        Change::End { id, at, seq, then } => {
            let sql = "UPDATE alert SET ended_at = $3, seq = $4 \
                       WHERE site = $1 AND id = $2 AND ended_at = 0 AND seq <= $4";
            let args = [site.into(), id.as_str().into(), (*at).into(), (*seq).into()];
            let is_ours = conn.execute(sql, &args).await? == 1;
            // Who was never told that it began is not told that it ended.
            if let Some(delivery) = then.as_ref().filter(|_| is_ours)
                && alert_delivery::was_raised(conn, site, id).await?
            {
                alert_delivery::add(conn, site, delivery).await?;
            }
            Ok(is_ours)
        }
        Change::GoOn { id, sentence, seq } => {
            let sql = "UPDATE alert SET ended_at = 0, sentence = $3, seq = $4 \
                       WHERE site = $1 AND id = $2 AND ended_at > 0 AND seq <= $4 AND NOT EXISTS \
                       (SELECT 1 FROM alert_delivery d WHERE d.site = alert.site AND d.alert = alert.id \
                        AND d.kind = 'ended' AND d.tries > 0)";
            let args = [site.into(), id.as_str().into(), sentence.as_str().into(), (*seq).into()];
            let is_ours = conn.execute(sql, &args).await? == 1;
            if is_ours {
                let sql = "DELETE FROM alert_delivery WHERE site = $1 AND alert = $2 AND kind = 'ended' AND tries = 0";
                conn.execute(sql, &[site.into(), id.as_str().into()]).await?;
            }
            Ok(is_ours)
        }
    }
}

/// Lets go what ended before a time, with all that was kept of it.
pub async fn drop_before(db: &Db, at: i64) -> Result<(), StorageError> {
    let old = "(SELECT a.site, a.id FROM alert a WHERE a.ended_at > 0 AND a.ended_at < $1)";
    let of_delivery = format!(
        "DELETE FROM alert_attempt WHERE (site, delivery) IN \
         (SELECT d.site, d.id FROM alert_delivery d WHERE (d.site, d.alert) IN {old})"
    );
    db.execute(&of_delivery, &[at.into()]).await?;
    for table in ["alert_delivery", "alert_seen"] {
        db.execute(&format!("DELETE FROM {table} WHERE (site, alert) IN {old}"), &[at.into()]).await?;
    }
    db.execute("DELETE FROM alert WHERE ended_at > 0 AND ended_at < $1", &[at.into()]).await.map(|_| ())
}
