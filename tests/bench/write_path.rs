//! The write path beside plain inserts of the same rows, in one run, so that the ratio holds on any machine: commands
//! per second of 1, 8 and 32 stations, each recording steps of its own set of twelve parts.
//!
//! `cargo bench --bench write_path`, with `FETTLE_TEST_POSTGRES` naming a PostgreSQL in which it makes a database of
//! its own; `-- embedded` or `-- server` measures one database only.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

mod common;

use std::str::FromStr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use common::{Fresh, SETS, STEPS, act, actor, furnished};
use fettle::app::house::{House, Outcome};
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use fettle::storage::dialect::Dialect;
use fettle::storage::ledger::{StoredEntry, page_after};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{AssertSqlSafe, Connection, PgConnection, SqliteConnection};

const RUN: Duration = Duration::from_secs(4);
const WARM: Duration = Duration::from_millis(700);
/// Rows of the plain loop in one transaction.
const TOGETHER: usize = 64;
const CLIENTS: usize = 32;

/// The table of entries again, without anything around it.
const PLAIN: &str = "CREATE TABLE plain_entry (site TEXT NOT NULL, seq BIGINT NOT NULL, entry TEXT NOT NULL, \
                     leaf BYTES NOT NULL, key TEXT, asked BYTES NOT NULL, at BIGINT NOT NULL, \
                     recorded_at BIGINT NOT NULL, actor TEXT NOT NULL, kind TEXT NOT NULL, \
                     PRIMARY KEY (site, seq), UNIQUE (site, key))";
const INSERT: &str = "INSERT INTO plain_entry (site, seq, entry, leaf, key, asked, at, recorded_at, actor, kind) \
                      VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)";

/// Binds a stored entry under another place and key.
macro_rules! insert {
    ($row:expr, $seq:expr) => {
        sqlx::query(INSERT)
            .bind("bench")
            .bind($seq as i64)
            .bind(&$row.entry)
            .bind(&$row.leaf)
            .bind(key())
            .bind(&$row.asked)
            .bind($row.at)
            .bind($row.recorded_at)
            .bind(&$row.actor)
            .bind(&$row.kind)
    };
}

/// A key as a page makes one: random, and so at a random place in the index of keys.
fn key() -> String {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).expect("randomness");
    hex::encode(bytes)
}

struct Measured {
    per_s: f64,
    p50: Duration,
    p99: Duration,
}

/// Where each station's next act is in its turn: the measures go on where the one before ended.
type Turns = [usize; SETS];

async fn stations(house: &Arc<House>, site: &Id, count: usize, turns: &mut Turns) -> Measured {
    let began = Instant::now();
    let mut running = Vec::new();
    for (station, first) in turns.iter().copied().enumerate().take(count) {
        let (house, site) = (house.clone(), site.clone());
        running.push(tokio::spawn(async move {
            let desk = actor(Role::Desk);
            let templates: Vec<_> = (0..STEPS.len()).map(|n| act(station, n, Some(key()))).collect();
            let (mut n, mut times) = (first, Vec::new());
            while began.elapsed() < WARM + RUN {
                let mut command = templates[n % STEPS.len()].clone();
                command.around.key.as_mut().expect("a key").0 = key();
                let asked = Instant::now();
                let outcomes = house.submit(&site, &desk, vec![command]).await;
                assert!(matches!(outcomes.as_slice(), [Outcome::Accepted(_)]), "{outcomes:?}");
                if began.elapsed() > WARM {
                    times.push(asked.elapsed());
                }
                n += 1;
            }
            (n, times)
        }));
    }
    let mut times = Vec::new();
    for (running, next) in running.into_iter().zip(turns.iter_mut()) {
        let (n, of_station) = running.await.expect("a station that ends");
        *next = n;
        times.extend(of_station);
    }
    times.sort();
    let at = |share: usize| times[(times.len() * share / 100).min(times.len() - 1)];
    Measured { per_s: times.len() as f64 / RUN.as_secs_f64(), p50: at(50), p99: at(99) }
}

/// The newest entries of the run, as they are stored.
async fn rows(house: &House, site: &Id) -> Vec<StoredEntry> {
    let state = house.state(site).await.expect("a state").expect("a site");
    page_after(&house.db, site.as_str(), state.seq.saturating_sub(2_000), 2_000).await.expect("entries")
}

async fn plain_embedded(rows: &[StoredEntry]) -> f64 {
    let folder = tempfile::tempdir().expect("a folder");
    let options = SqliteConnectOptions::new()
        .filename(folder.path().join("plain.db"))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full);
    let mut conn = SqliteConnection::connect_with(&options).await.expect("a connection");
    let table = Dialect::Embedded.definition(PLAIN);
    sqlx::query(AssertSqlSafe(table)).execute(&mut conn).await.expect("a table");
    let mut seq = 0;
    let began = Instant::now();
    while began.elapsed() < RUN {
        sqlx::query("BEGIN IMMEDIATE").execute(&mut conn).await.expect("a transaction");
        for _ in 0..TOGETHER {
            let row = &rows[seq % rows.len()];
            seq += 1;
            insert!(row, seq).execute(&mut conn).await.expect("a row");
        }
        sqlx::query("COMMIT").execute(&mut conn).await.expect("a commit");
    }
    seq as f64 / began.elapsed().as_secs_f64()
}

async fn plain_server(url: &str, rows: Arc<Vec<StoredEntry>>) -> f64 {
    let mut conn = PgConnection::connect(url).await.expect("a connection");
    common::run(&mut conn, &Dialect::Server.definition(PLAIN)).await;
    let mut clients = Vec::new();
    let options = sqlx::postgres::PgConnectOptions::from_str(url).expect("options");
    for _ in 0..CLIENTS {
        clients.push(PgConnection::connect_with(&options).await.expect("a connection"));
    }
    let began = Instant::now();
    let mut running = Vec::new();
    for (client, mut conn) in clients.into_iter().enumerate() {
        let rows = rows.clone();
        running.push(tokio::spawn(async move {
            let mut n = 0;
            while began.elapsed() < WARM + RUN {
                let row = &rows[(client * 61 + n) % rows.len()];
                insert!(row, n * CLIENTS + client).execute(&mut conn).await.expect("a row");
                n += 1;
            }
            n
        }));
    }
    let mut all = 0;
    for running in running {
        all += running.await.expect("a client that ends");
    }
    all as f64 / began.elapsed().as_secs_f64()
}

async fn measure(name: &str, fresh: Fresh, target: f64) {
    let (house, site) = furnished(&fresh.url, None).await;
    let mut turns: Turns = [0; SETS];
    let mut last = 0.0;
    for count in [1, 8, 32] {
        let measured = stations(&house, &site, count, &mut turns).await;
        let Measured { per_s, p50, p99 } = measured;
        println!("{name}: {count:2} stations {per_s:7.0} commands/s, p50 {p50:?}, p99 {p99:?}");
        last = per_s;
    }
    let rows = rows(&house, &site).await;
    let bytes = rows.iter().map(|row| row.entry.len()).sum::<usize>() / rows.len();
    let (what, plain) = match house.db.dialect() {
        Dialect::Embedded => ("plain loop, 64 rows a transaction", plain_embedded(&rows).await),
        Dialect::Server => {
            ("32 plain clients, one row a commit", plain_server(&fresh.url, Arc::new(rows)).await)
        }
    };
    println!("{name}: {what}: {plain:.0} rows/s of {bytes} bytes");
    println!("{name}: 32 stations are {:.3} of it (at least {target} is wanted)", last / plain);
    house.close().await;
    drop(house);
    fresh.drop().await;
}

#[tokio::main(flavor = "multi_thread")]
async fn main() {
    let only: Vec<String> = std::env::args().skip(1).filter(|arg| !arg.starts_with('-')).collect();
    let wanted = |name: &str| only.is_empty() || only.iter().any(|it| it == name);
    if wanted("embedded") {
        measure("SQLite", Fresh::embedded(), 0.12).await;
    }
    if wanted("server") {
        measure("PostgreSQL", Fresh::server().await, 0.3).await;
    }
}
