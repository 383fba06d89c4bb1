//! The ledger's rows: entries that are only ever added, the head of each site, and what hangs on an entry.

use super::connection::{Arg, Conn, Db, Row, StorageError};
use super::rows::Table;

pub const ENTRY: Table = Table {
    name: "ledger_entry",
    key: &["site", "seq"],
    rest: &["entry", "leaf", "key", "asked", "at", "recorded_at", "actor", "kind"],
    definition: "",
};

/// An entry as it is stored.
#[derive(Clone, Debug)]
pub struct StoredEntry {
    pub seq: u64,
    /// The canonical text itself.
    pub entry: String,
    pub leaf: Vec<u8>,
    pub key: Option<String>,
    pub asked: Vec<u8>,
    pub at: i64,
    pub recorded_at: i64,
    pub actor: String,
    pub kind: String,
}

impl StoredEntry {
    pub fn row(self, site: &str) -> Vec<Arg> {
        vec![
            site.into(),
            (self.seq as i64).into(),
            self.entry.into(),
            self.leaf.into(),
            self.key.into(),
            self.asked.into(),
            self.at.into(),
            self.recorded_at.into(),
            self.actor.into(),
            self.kind.into(),
        ]
    }
}

/// The head of a site's ledger.
#[derive(Clone, Debug)]
pub struct Head {
    pub seq: u64,
    pub recorded_at: i64,
    pub root: Vec<u8>,
    pub frontier: Vec<u8>,
}

pub const HEAD_NOW: Table = Table {
    name: "ledger_head",
    key: &["site"],
    rest: &["seq", "recorded_at", "root", "frontier"],
    definition: "",
};

impl Head {
    pub fn row(self, site: &str) -> Vec<Arg> {
        vec![
            site.into(),
            (self.seq as i64).into(),
            self.recorded_at.into(),
            self.root.into(),
            self.frontier.into(),
        ]
    }
}

fn head(row: &Row) -> Result<Head, StorageError> {
    Ok(Head {
        seq: row.int(0)? as u64,
        recorded_at: row.int(1)?,
        root: row.bytes(2)?,
        frontier: row.bytes(3)?,
    })
}

const HEAD: &str = "SELECT seq, recorded_at, root, frontier FROM ledger_head WHERE site = $1";

/// The head, locked against every other writer of this site until the transaction ends.
pub async fn locked_head(conn: &mut Conn, site: &str) -> Result<Option<Head>, StorageError> {
    let text = format!("{HEAD}{}", conn.dialect().locking());
    conn.one(&text, &[site.into()]).await?.as_ref().map(head).transpose()
}

/// The head as this transaction sees it, without a lock: a reader holds up no writer.
pub async fn seen_head(conn: &mut Conn, site: &str) -> Result<Option<Head>, StorageError> {
    conn.one(HEAD, &[site.into()]).await?.as_ref().map(head).transpose()
}

pub async fn head_of(db: &Db, site: &str) -> Result<Option<Head>, StorageError> {
    db.one(HEAD, &[site.into()]).await?.as_ref().map(head).transpose()
}

pub async fn found_site(
    conn: &mut Conn,
    site: &str,
    name: &str,
    timezone: &str,
    secret: &[u8],
    at: i64,
    empty: &Head,
) -> Result<(), StorageError> {
    let text = "INSERT INTO site (site, name, timezone, secret, founded_at) VALUES ($1, $2, $3, $4, $5)";
    let args = [site.into(), name.into(), timezone.into(), secret.to_vec().into(), at.into()];
    conn.execute(text, &args).await?;
    let text = "INSERT INTO ledger_head (site, seq, recorded_at, root, frontier) VALUES ($1, $2, $3, $4, $5)";
    let args =
        [site.into(), 0i64.into(), 0i64.into(), empty.root.clone().into(), empty.frontier.clone().into()];
    conn.execute(text, &args).await.map(|_| ())
}

pub async fn move_head(conn: &mut Conn, site: &str, new: Head) -> Result<(), StorageError> {
    HEAD_NOW.put(conn, vec![new.row(site)]).await
}

pub async fn sites(db: &Db) -> Result<Vec<String>, StorageError> {
    db.fetch("SELECT site FROM site ORDER BY site", &[]).await?.iter().map(|row| row.text(0)).collect()
}

pub async fn site_secret(conn: &mut Conn, site: &str) -> Result<Option<Vec<u8>>, StorageError> {
    let row = conn.one("SELECT secret FROM site WHERE site = $1", &[site.into()]).await?;
    row.map(|row| row.bytes(0)).transpose()
}

const STORED: &str = "seq, entry, leaf, key, asked, at, recorded_at, actor, kind FROM ledger_entry";

fn stored(row: &Row) -> Result<StoredEntry, StorageError> {
    Ok(StoredEntry {
        seq: row.int(0)? as u64,
        entry: row.text(1)?,
        leaf: row.bytes(2)?,
        key: row.opt_text(3)?,
        asked: row.bytes(4)?,
        at: row.int(5)?,
        recorded_at: row.int(6)?,
        actor: row.text(7)?,
        kind: row.text(8)?,
    })
}

/// Entries after a place, oldest first.
pub async fn after(
    conn: &mut Conn,
    site: &str,
    seq: u64,
    limit: usize,
) -> Result<Vec<StoredEntry>, StorageError> {
    let text = format!("SELECT {STORED} WHERE site = $1 AND seq > $2 ORDER BY seq LIMIT $3");
    let rows = conn.fetch(&text, &[site.into(), (seq as i64).into(), (limit as i64).into()]).await?;
    rows.iter().map(stored).collect()
}

pub async fn page_after(
    db: &Db,
    site: &str,
    seq: u64,
    limit: usize,
) -> Result<Vec<StoredEntry>, StorageError> {
    let text = format!("SELECT {STORED} WHERE site = $1 AND seq > $2 ORDER BY seq LIMIT $3");
    let rows = db.fetch(&text, &[site.into(), (seq as i64).into(), (limit as i64).into()]).await?;
    rows.iter().map(stored).collect()
}

/// Entries before a place, newest first.
pub async fn page_before(
    db: &Db,
    site: &str,
    seq: u64,
    limit: usize,
) -> Result<Vec<StoredEntry>, StorageError> {
    let text = format!("SELECT {STORED} WHERE site = $1 AND seq < $2 ORDER BY seq DESC LIMIT $3");
    let before = i64::try_from(seq).unwrap_or(i64::MAX);
    let rows = db.fetch(&text, &[site.into(), before.into(), (limit as i64).into()]).await?;
    rows.iter().map(stored).collect()
}

/// Entries of a thing before a place, newest first. A part is also found through the sets in which it sat when the
/// entry was written; the caller looks into these whether the part is named.
pub async fn of_thing(
    db: &Db,
    site: &str,
    (kind, thing): (&str, &str),
    seq: u64,
    limit: usize,
) -> Result<Vec<StoredEntry>, StorageError> {
    let through_sets = "UNION SELECT h.seq FROM history h JOIN seating s ON s.site = h.site AND s.set_code = h.thing \
                        AND s.joined = 1 AND s.seq <= h.seq WHERE h.site = $1 AND h.kind = 'set' AND s.asset = $3 \
                        AND h.seq < $4 AND NOT EXISTS (SELECT 1 FROM seating l WHERE l.site = s.site AND \
                        l.asset = s.asset AND l.set_code = s.set_code AND l.joined = 0 AND l.seq > s.seq AND l.seq < h.seq)";
    let through_sets = if kind == "asset" { through_sets } else { "" };
    let text = format!(
        "SELECT e.seq, e.entry, e.leaf, e.key, e.asked, e.at, e.recorded_at, e.actor, e.kind FROM ledger_entry e \
         WHERE e.site = $1 AND e.seq IN (SELECT seq FROM history WHERE site = $1 AND kind = $2 AND thing = $3 \
         AND seq < $4 {through_sets}) ORDER BY e.seq DESC LIMIT $5"
    );
    let before = i64::try_from(seq).unwrap_or(i64::MAX);
    let args = [site.into(), kind.into(), thing.into(), before.into(), (limit as i64).into()];
    db.fetch(&text, &args).await?.iter().map(stored).collect()
}

/// How many entries stand under each name of a kind of thing.
pub async fn counted(db: &Db, site: &str, kind: &str) -> Result<Vec<(String, u64)>, StorageError> {
    let sql =
        "SELECT thing, COUNT(*) FROM history WHERE site = $1 AND kind = $2 GROUP BY thing ORDER BY thing";
    let rows = db.fetch(sql, &[site.into(), kind.into()]).await?;
    rows.iter().map(|row| Ok((row.text(0)?, row.int(1)?.unsigned_abs()))).collect()
}

/// Entries under keys that are known already.
pub async fn of_keys(conn: &mut Conn, site: &str, keys: &[String]) -> Result<Vec<StoredEntry>, StorageError> {
    let mut found = Vec::new();
    for keys in keys.chunks(MOST_AMONG) {
        let (text, args) = among(site, "key", keys, |key| key.as_str().into());
        for row in conn.fetch(&text, &args).await? {
            found.push(stored(&row)?);
        }
    }
    Ok(found)
}

/// The entry under a key, where it is known.
pub async fn of_key(db: &Db, site: &str, key: &str) -> Result<Option<StoredEntry>, StorageError> {
    let text = format!("SELECT {STORED} WHERE site = $1 AND key = $2");
    db.one(&text, &[site.into(), key.into()]).await?.as_ref().map(stored).transpose()
}

/// The entries at these places of the ledger.
pub async fn at_places(db: &Db, site: &str, places: &[u64]) -> Result<Vec<StoredEntry>, StorageError> {
    let mut found = Vec::new();
    for places in places.chunks(MOST_AMONG) {
        let (text, args) = among(site, "seq", places, |seq| (*seq as i64).into());
        for row in db.fetch(&text, &args).await? {
            found.push(stored(&row)?);
        }
    }
    Ok(found)
}

const MOST_AMONG: usize = 256;

/// A statement for the entries whose column is one of these, with its arguments.
fn among<T>(site: &str, column: &str, these: &[T], arg: impl Fn(&T) -> Arg) -> (String, Vec<Arg>) {
    // Few sizes, so that the cache of statements holds them: the last one is asked for again to fill the room.
    let size = [1, 8, 32, 64].into_iter().find(|size| *size >= these.len()).unwrap_or(MOST_AMONG);
    let places: Vec<String> = (0..size).map(|n| format!("${}", n + 2)).collect();
    let filled = these.iter().chain(std::iter::repeat_n(these.last(), size).flatten()).take(size);
    let args = std::iter::once(site.into()).chain(filled.map(arg)).collect();
    (format!("SELECT {STORED} WHERE site = $1 AND {column} IN ({})", places.join(", ")), args)
}

pub async fn add_sealed(
    conn: &mut Conn,
    site: &str,
    sealed: &str,
    salt: &[u8],
    text: &str,
) -> Result<(), StorageError> {
    let sql =
        "INSERT INTO sealed_text (site, sealed, salt, text) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING";
    conn.execute(sql, &[site.into(), sealed.into(), salt.to_vec().into(), text.into()]).await.map(|_| ())
}

/// Erases the words behind a commitment for good. The ledger keeps the commitment, and every hash.
pub async fn erase_sealed(conn: &mut Conn, site: &str, sealed: &str) -> Result<(), StorageError> {
    let sql = "DELETE FROM sealed_text WHERE site = $1 AND sealed = $2";
    conn.execute(sql, &[site.into(), sealed.into()]).await.map(|_| ())
}

/// The words behind a commitment, where they were not erased.
pub async fn sealed(db: &Db, site: &str, sealed: &str) -> Result<Option<String>, StorageError> {
    let sql = "SELECT text FROM sealed_text WHERE site = $1 AND sealed = $2";
    db.one(sql, &[site.into(), sealed.into()]).await?.map(|row| row.text(0)).transpose()
}

/// The words behind a commitment, within a transaction.
pub async fn sealed_by(conn: &mut Conn, site: &str, sealed: &str) -> Result<Option<String>, StorageError> {
    let sql = "SELECT text FROM sealed_text WHERE site = $1 AND sealed = $2";
    let rows = conn.fetch(sql, &[site.into(), sealed.into()]).await?;
    rows.first().map(|row| row.text(0)).transpose()
}

/// The commitments behind which these words stand.
pub async fn sealed_as(db: &Db, site: &str, text: &str) -> Result<Vec<String>, StorageError> {
    let sql = "SELECT sealed FROM sealed_text WHERE site = $1 AND text = $2 ORDER BY sealed";
    db.fetch(sql, &[site.into(), text.into()]).await?.iter().map(|row| row.text(0)).collect()
}

/// Writes down that somebody read what is kept from most.
pub async fn log_read(db: &Db, site: &str, at: i64, actor: &str, what: &str) -> Result<(), StorageError> {
    let sql = "INSERT INTO read_log (site, at, actor, what) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING";
    db.execute(sql, &[site.into(), at.into(), actor.into(), what.into()]).await.map(|_| ())
}

/// Keeps a cycle record whole. The same bytes are kept once.
pub async fn add_record(conn: &mut Conn, site: &str, sha256: &str, raw: Vec<u8>) -> Result<(), StorageError> {
    let sql = "INSERT INTO cycle_record (site, sha256, raw) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING";
    conn.execute(sql, &[site.into(), sha256.into(), raw.into()]).await.map(|_| ())
}

pub async fn record(db: &Db, site: &str, sha256: &str) -> Result<Option<Vec<u8>>, StorageError> {
    let sql = "SELECT raw FROM cycle_record WHERE site = $1 AND sha256 = $2";
    db.one(sql, &[site.into(), sha256.into()]).await?.map(|row| row.bytes(0)).transpose()
}

/// When each turn of a part began, oldest first.
pub async fn turns_of(conn: &mut Conn, site: &str, asset: &str) -> Result<Vec<(u32, i64)>, StorageError> {
    let sql = "SELECT turn, at FROM turn WHERE site = $1 AND asset = $2 ORDER BY turn";
    let rows = conn.fetch(sql, &[site.into(), asset.into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)? as u32, row.int(1)?))).collect()
}

/// When an entry happened and when it was recorded.
pub async fn times_of(db: &Db, site: &str, seq: u64) -> Result<Option<(i64, i64)>, StorageError> {
    let sql = "SELECT at, recorded_at FROM ledger_entry WHERE site = $1 AND seq = $2";
    let row = db.one(sql, &[site.into(), (seq as i64).into()]).await?;
    row.map(|row| Ok((row.int(0)?, row.int(1)?))).transpose()
}
