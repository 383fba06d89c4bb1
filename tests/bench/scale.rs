//! A large ledger, made by the simulated hospital: how the write path, a look-back and the server's memory stand in it.
//!
//! `cargo bench --bench scale -- 1000000` makes so many entries (100,000 unless told), on SQLite; the write path is
//! measured at 10,000 entries and at the end of one run.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
mod common;

use std::io::{BufRead, BufReader};
use std::process::{Command as Program, Stdio};
use std::sync::Arc;
use std::time::Instant;

use common::{Fresh, actor, command, give};
use fettle::app::house::{House, Outcome};
use fettle::domain::id::Id;
use fettle::domain::lookback::{Origin, trace};
use fettle::domain::person::{Actor, Role};
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::simulate::{Hospital, List, Plan};
use fettle::domain::state::State;
use fettle::domain::time::Time;
use serde_json::json;
use sqlx::{Connection, Row, SqliteConnection};

const EARLY: u64 = 10_000;
const SETS: u32 = 48;
const AT_ONCE: usize = 500;
const STATIONS: usize = 32;
const ACTS: usize = 40;

/// Commands a second that move twelve parts of the bench's own from shelf to shelf, 32 stations at once.
async fn speed(house: &Arc<House>, site: &Id, model: &Id, name: &'static str) -> f64 {
    // Parts of their own, so that both times begin with parts that have no history yet.
    let parts = (0..STATIONS).flat_map(|station| (0..12).map(move |part| format!("{name}-{station}-{part}")));
    let parts = parts.map(|asset| command(json!({"do": "add_asset", "asset": asset, "model": model})));
    give(house, site, Role::Lead, parts.collect()).await;
    let begun = Instant::now();
    let stations = (0..STATIONS).map(|station| {
        let (house, site) = (house.clone(), site.clone());
        tokio::spawn(async move {
            for n in 0..ACTS {
                let scan: Vec<String> = (0..12).map(|part| format!("{name}-{station}-{part}")).collect();
                let act = json!({"do": "put_away", "scan": scan, "location": format!("shelf {}", n % 2)});
                give(&house, &site, Role::Desk, vec![command(act)]).await;
            }
        })
    });
    for station in stations.collect::<Vec<_>>() {
        station.await.expect("a station");
    }
    (STATIONS * ACTS) as f64 / begun.elapsed().as_secs_f64()
}

struct Writing {
    house: Arc<House>,
    site: Id,
    paper: Paper,
    hospital: Hospital,
    waiting: Vec<(Actor, Time, fettle::domain::command::Command)>,
}

impl Writing {
    /// Lets the hospital work until the ledger has so many entries; says how long the house took to write them.
    async fn until(&mut self, entries: u64) -> f64 {
        let mut written_s = 0.0;
        loop {
            let head = self.house.state(&self.site).await.expect("an answer").expect("a site").seq;
            if head >= entries {
                return written_s;
            }
            while self.waiting.len() < AT_ONCE {
                let Some(given) = self.hospital.next(&self.paper.state) else { break };
                let event = self.paper.take(&given);
                self.hospital.heard(&given, event.as_ref().ok());
                if event.is_ok() {
                    self.waiting.push((actor(given.role), given.now, given.command));
                }
            }
            let begun = Instant::now();
            let given = std::mem::take(&mut self.waiting);
            assert!(!given.is_empty(), "the hospital has more days");
            for outcome in self.house.submit_history(&self.site, given).await {
                assert!(matches!(outcome, Outcome::Accepted(_)), "{outcome:?}");
            }
            written_s += begun.elapsed().as_secs_f64();
        }
    }
}

/// The load with the most cases behind it.
fn widest(state: &State) -> Id {
    let cases = |load: &Id| {
        let origin = Origin { load: Some(load.clone()), ..Origin::default() };
        trace(state, &origin).map_or(0, |trace| trace.cases.len())
    };
    let last = state.loads.keys().rev().take(2_000);
    last.max_by_key(|load| cases(load)).expect("a load").clone()
}

/// The same question as a join over typed edges, in a database of its own: what a look-back costs at least.
async fn bare_join(state: &State, load: &Id) -> (usize, f64) {
    let mut conn = SqliteConnection::connect("sqlite::memory:").await.expect("a database");
    for text in [
        "CREATE TABLE load_part (load TEXT, asset TEXT, turn INTEGER, PRIMARY KEY (load, asset)) WITHOUT ROWID",
        "CREATE TABLE exposure (asset TEXT, turn INTEGER, case_id TEXT, PRIMARY KEY (asset, turn, case_id)) WITHOUT ROWID",
        "BEGIN",
    ] {
        sqlx::query(text).execute(&mut conn).await.expect("a table");
    }
    for load in state.loads.values() {
        for part in &load.contents {
            let text = "INSERT INTO load_part VALUES (?, ?, ?)";
            let query = sqlx::query(text).bind(load.load.as_str()).bind(part.asset.as_str());
            query.bind(i64::from(part.turn)).execute(&mut conn).await.expect("a row");
        }
    }
    for case in state.cases.values() {
        for (asset, part) in case.parts.iter().filter(|(_, part)| part.exposure.is_some()) {
            let text = "INSERT INTO exposure VALUES (?, ?, ?)";
            let query = sqlx::query(text).bind(asset.as_str()).bind(i64::from(part.turn));
            query.bind(case.case.as_str()).execute(&mut conn).await.expect("a row");
        }
    }
    sqlx::query("COMMIT").execute(&mut conn).await.expect("an end");
    let text = "SELECT DISTINCT e.case_id FROM load_part p JOIN exposure e ON e.asset = p.asset AND e.turn = p.turn \
                WHERE p.load = ?";
    let mut cases = 0;
    let begun = Instant::now();
    for _ in 0..20 {
        let rows = sqlx::query(text).bind(load.as_str()).fetch_all(&mut conn).await.expect("rows");
        cases = rows.iter().filter(|row| !row.get::<String, _>(0).is_empty()).count();
    }
    (cases, begun.elapsed().as_secs_f64() / 20.0)
}

/// The memory that a server holds after it has answered, in MiB: now, and at most.
fn memory(pid: u32) -> (f64, f64) {
    let text = std::fs::read_to_string(format!("/proc/{pid}/status")).expect("a process");
    let of = |name: &str| {
        let line = text.lines().find(|line| line.starts_with(name)).expect("a line");
        line.split_whitespace().nth(1).and_then(|kb| kb.parse::<f64>().ok()).expect("a number") / 1024.0
    };
    (of("VmRSS:"), of("VmHWM:"))
}

#[tokio::main(flavor = "multi_thread")]
async fn main() {
    let entries = std::env::args().find_map(|arg| arg.parse().ok()).unwrap_or(100_000u64);
    let fresh = Fresh::embedded();
    let house = Arc::new(House::open(&fresh.url).await.expect("a house"));
    let site = house.add_site("bench", "Bench service", "Europe/London").await.expect("a site");
    let token = house.add_token("bench", Role::Infection, None).await.expect("a token").1;
    let from = Time::parse("2005-01-03T06:00:00Z").expect("a time");
    let until = from.plus_minutes(20 * 365 * 24 * 60);
    let zone = chrono_tz::Europe::London;
    let hospital = Hospital::new(Plan {
        seed: 11,
        sets: SETS,
        until,
        from,
        zone,
        keep_record: false,
        list: List::USUAL,
    });
    let state = house.state(&site).await.expect("an answer").expect("a site");
    let paper = Paper::on((*state).clone());
    let mut writing =
        Writing { house: house.clone(), site: site.clone(), paper, hospital, waiting: Vec::new() };
    writing.until(EARLY).await;
    let model = writing.paper.state.models.keys().next().expect("a model").clone();
    let early = speed(&house, &site, &model, "early").await;
    writing.paper.state = (*house.state(&site).await.expect("an answer").expect("a site")).clone();
    let begun = Instant::now();
    let written_s = writing.until(entries).await;
    println!(
        "{entries} entries by {SETS} sets: {:.0} s in all, {written_s:.0} s of it the house's",
        begun.elapsed().as_secs_f64()
    );
    let late = speed(&house, &site, &model, "late").await;
    println!(
        "write path: {early:.0} commands/s at {EARLY} entries, {late:.0} at {entries}: {:.2}",
        late / early
    );
    let state = house.state(&site).await.expect("an answer").expect("a site");
    let load = widest(&state);
    drop(writing);
    look_back(&state, &load).await;
    drop(state);
    house.close().await;
    served(&fresh.url, &token, &load).await;
    fresh.drop().await;
}

async fn look_back(state: &State, load: &Id) {
    let origin = Origin { load: Some(load.clone()), ..Origin::default() };
    let begun = Instant::now();
    let found = trace(state, &origin).expect("a trace");
    let took = begun.elapsed().as_secs_f64();
    let (cases, join) = bare_join(state, load).await;
    assert_eq!(cases, found.cases.len(), "the join says the same");
    println!(
        "look-back from {load} ({} loads, {} cases, {} parts in the state): {:.3} ms from memory, {:.3} ms as a bare join",
        state.loads.len(),
        state.cases.len(),
        state.assets.len(),
        took * 1_000.0,
        join * 1_000.0
    );
}

/// Starts the program on the ledger, asks it what people ask, and looks at its memory.
async fn served(url: &str, token: &str, load: &Id) {
    let begun = Instant::now();
    let mut child = Program::new(env!("CARGO_BIN_EXE_fettle"))
        .args(["serve", "--listen", "127.0.0.1:0", "--database", url])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program");
    let mut line = String::new();
    BufReader::new(child.stdout.take().expect("its output")).read_line(&mut line).expect("a line");
    let base = line.trim().trim_start_matches("listening on ").to_string();
    let client = reqwest::Client::new();
    let mut first = None;
    for path in ["board", "due", "loads?limit=100"] {
        let ask = client.get(format!("{base}/api/v1/bench/{path}")).bearer_auth(token);
        ask.send().await.expect("an answer").text().await.expect("text");
        first.get_or_insert_with(|| begun.elapsed());
    }
    let begun = Instant::now();
    let ask = client.get(format!("{base}/api/v1/bench/look-back?load={load}")).bearer_auth(token);
    let size = ask.send().await.expect("an answer").text().await.expect("text").len();
    let took = begun.elapsed();
    let (now, most) = memory(child.id());
    println!(
        "the same over HTTP: {took:.2?}, {size} bytes; the first board after a start: {:.1?}",
        first.unwrap()
    );
    println!(
        "memory of serve: {now:.0} MiB, at most {most:.0} MiB: {}",
        if now < 200.0 { "met" } else { "MISSED" }
    );
    child.kill().expect("an end");
    child.wait().expect("its status");
}
