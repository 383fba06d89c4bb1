//! The write path beside plain inserts of the same rows, in one run, so that the ratio holds on any machine: commands
//! per second of 1, 8 and 32 stations, each recording steps of its own set of twelve parts.
//!
//! `cargo bench --bench write_path`, with `FETTLE_TEST_POSTGRES` naming a PostgreSQL in which it makes a database of
//! its own; `-- embedded` or `-- server` measures one database only.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

mod common;

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

const RUN: Duration = Duration::from_secs(3);
const WARM: Duration = Duration::from_millis(500);
/// The busiest measure and the plain inserts take turns, so that what else the machine does meets both alike.
const ROUNDS: usize = 4;
const ROUND: Duration = Duration::from_millis(1_500);
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

/// Where each station's next act is in its turn: the measures go on where the one before ended.
type Turns = [usize; SETS];

/// Latencies of the commands that so many stations give in a time, after a while of warming up.
async fn stations(
    house: &Arc<House>,
    site: &Id,
    (count, run): (usize, Duration),
    turns: &mut Turns,
) -> Vec<Duration> {
    let began = Instant::now();
    let mut running = Vec::new();
    for (station, first) in turns.iter().copied().enumerate().take(count) {
        let (house, site) = (house.clone(), site.clone());
        running.push(tokio::spawn(async move {
            let desk = actor(Role::Desk);
            let templates: Vec<_> = (0..STEPS.len()).map(|n| act(station, n, Some(key()))).collect();
            let (mut n, mut times) = (first, Vec::new());
            while began.elapsed() < WARM + run {
                let mut command = templates[n % STEPS.len()].clone();
                command.around.key.as_mut().expect("a key").0 = key();
                let asked = Instant::now();
                let outcomes = house.submit(&site, &desk, vec![command]).await;
                assert!(matches!(outcomes.as_slice(), [Outcome::Accepted(_)]), "{outcomes:?}");
                if (WARM..WARM + run).contains(&began.elapsed()) {
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
    times
}

fn told(name: &str, count: usize, mut times: Vec<Duration>, run: Duration) -> f64 {
    times.sort();
    let at = |share: usize| times[(times.len() * share / 100).min(times.len() - 1)];
    let per_s = times.len() as f64 / run.as_secs_f64();
    println!("{name}: {count:2} stations {per_s:7.0} commands/s, p50 {:?}, p99 {:?}", at(50), at(99));
    per_s
}

/// The newest entries of the run, as they are stored.
async fn rows(house: &House, site: &Id) -> Vec<StoredEntry> {
    let state = house.state(site).await.expect("a state").expect("a site");
    page_after(&house.db, site.as_str(), state.seq.saturating_sub(2_000), 2_000).await.expect("entries")
}

/// Connections to a database that holds nothing but the plain table, and how many rows went in.
enum Plain {
    Embedded { conn: SqliteConnection, rows: usize, _folder: tempfile::TempDir },
    Server { clients: Vec<PgConnection>, rows: usize },
}

impl Plain {
    async fn open(dialect: Dialect, url: &str) -> Plain {
        let table = dialect.definition(PLAIN);
        if dialect == Dialect::Server {
            let mut clients = Vec::new();
            for _ in 0..CLIENTS {
                clients.push(PgConnection::connect(url).await.expect("a connection"));
            }
            common::run(&mut clients[0], &table).await;
            return Plain::Server { clients, rows: 0 };
        }
        let folder = tempfile::tempdir().expect("a folder");
        let options = SqliteConnectOptions::new()
            .filename(folder.path().join("plain.db"))
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full);
        let mut conn = SqliteConnection::connect_with(&options).await.expect("a connection");
        sqlx::query(AssertSqlSafe(table)).execute(&mut conn).await.expect("a table");
        Plain::Embedded { conn, rows: 0, _folder: folder }
    }

    /// Rows per second over one round.
    async fn round(&mut self, real: &Arc<Vec<StoredEntry>>) -> f64 {
        let began = Instant::now();
        match self {
            Plain::Embedded { conn, rows, .. } => {
                let before = *rows;
                while began.elapsed() < ROUND {
                    sqlx::query("BEGIN IMMEDIATE").execute(&mut *conn).await.expect("a transaction");
                    for _ in 0..TOGETHER {
                        insert!(real[*rows % real.len()], *rows).execute(&mut *conn).await.expect("a row");
                        *rows += 1;
                    }
                    sqlx::query("COMMIT").execute(&mut *conn).await.expect("a commit");
                }
                (*rows - before) as f64 / began.elapsed().as_secs_f64()
            }
            Plain::Server { clients, rows } => {
                let first = *rows;
                let running: Vec<_> = std::mem::take(clients)
                    .into_iter()
                    .enumerate()
                    .map(|(client, conn)| tokio::spawn(one_client(conn, first + client, began, real.clone())))
                    .collect();
                for running in running {
                    let (conn, next) = running.await.expect("a client that ends");
                    clients.push(conn);
                    *rows = next.max(*rows);
                }
                // Every client left its own places; the count is what all of them wrote.
                let written: i64 = sqlx::query_scalar("SELECT COUNT(*) FROM plain_entry WHERE seq >= $1")
                    .bind(first as i64)
                    .fetch_one(&mut clients[0])
                    .await
                    .expect("a count");
                written as f64 / ROUND.as_secs_f64()
            }
        }
    }
}

/// Inserts one row a commit until the round is over; answers its connection and the first place after its own.
async fn one_client(
    mut conn: PgConnection,
    first: usize,
    began: Instant,
    real: Arc<Vec<StoredEntry>>,
) -> (PgConnection, usize) {
    let mut seq = first;
    while began.elapsed() < ROUND {
        insert!(real[seq % real.len()], seq).execute(&mut conn).await.expect("a row");
        seq += CLIENTS;
    }
    (conn, seq)
}

async fn measure(name: &str, fresh: Fresh, target: f64) {
    let (house, site) = furnished(&fresh.url, None).await;
    let mut turns: Turns = [0; SETS];
    for count in [1, 8] {
        let times = stations(&house, &site, (count, RUN), &mut turns).await;
        told(name, count, times, RUN);
    }
    let real = Arc::new(rows(&house, &site).await);
    let mut plain = Plain::open(house.db.dialect(), &fresh.url).await;
    let (mut times, mut per_s) = (Vec::new(), 0.0);
    for _ in 0..ROUNDS {
        times.extend(stations(&house, &site, (SETS, ROUND), &mut turns).await);
        per_s += plain.round(&real).await / ROUNDS as f64;
    }
    let commands = told(name, SETS, times, ROUND * ROUNDS as u32);
    let what = match house.db.dialect() {
        Dialect::Embedded => "plain loop, 64 rows a transaction",
        Dialect::Server => "32 plain clients, one row a commit",
    };
    let bytes = real.iter().map(|row| row.entry.len()).sum::<usize>() / real.len();
    println!("{name}: {what}: {per_s:.0} rows/s of {bytes} bytes");
    println!("{name}: 32 stations are {:.3} of it (at least {target} is wanted)", commands / per_s);
    house.close().await;
    drop(house);
    drop(plain);
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
