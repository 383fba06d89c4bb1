//! How many entries a second the check of a whole ledger goes through: `rebuild::check` reads, hashes and replays
//! every entry, and compares every table of current facts with what the entries make.
//!
//! `cargo bench --bench rebuild`, with `FETTLE_TEST_POSTGRES` as for the write path; `-- embedded` or `-- server`
//! measures one database only.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

mod common;

use std::time::Instant;

use common::{Fresh, SETS, STEPS, act, command, furnished, give};
use fettle::app::house::House;
use fettle::app::rebuild;
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use serde_json::json;

/// Entries of the ledger that is checked, about.
const ENTRIES: usize = 20_000;
const TARGET: f64 = 20_000.0;
/// Sets in one load.
const LOADED: usize = 4;

/// A steam record that holds 134.5 °C for 200 s; a sample every 5 s.
fn record() -> String {
    let temp = |time: u32| match time {
        0..300 => 60.0 + 74.5 * f64::from(time) / 300.0,
        300..=500 => 134.5,
        _ => 134.5 - f64::from(time - 500) * 0.2,
    };
    let rows = (0..=700).step_by(5).map(|time| format!("{time},{:.3}", temp(time)));
    format!("time_s,temp_c\n{}\n", rows.collect::<Vec<_>>().join("\n"))
}

/// Takes the packed sets through the steriliser, a few at a time.
async fn loads(house: &House, site: &Id, turn: usize) {
    for first in (0..SETS).step_by(LOADED) {
        let load = format!("L-{turn}-{first}");
        let sets: Vec<String> = (first..first + LOADED).map(common::set).collect();
        let start = json!({"do": "start_load", "load": load, "machine": "steriliser-1", "programme": "p134",
                           "scan": sets});
        give(house, site, Role::Desk, vec![command(start)]).await;
        let judge = json!({"do": "judge_load", "load": load, "record": record()});
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        let release = json!({"do": "release_load", "load": load, "dry": true});
        give(house, site, Role::Lead, [judge, chemical, release].map(command).into()).await;
    }
}

async fn measure(name: &str, fresh: Fresh) {
    let (house, site) = furnished(&fresh.url, Some("sterilised")).await;
    let machine = json!({"do": "define_machine", "machine": "steriliser-1", "kind": "steriliser", "programmes":
        [{"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 180}]});
    give(&house, &site, Role::Admin, vec![command(machine)]).await;
    let mut turn = 0;
    while (turn * SETS * STEPS.len()) < ENTRIES {
        for n in 0..STEPS.len() {
            let commands = (0..SETS).map(|set| act(set, n, Some(format!("t{turn}-{n}-{set}")))).collect();
            give(&house, &site, Role::Desk, commands).await;
        }
        loads(&house, &site, turn).await;
        turn += 1;
    }
    let mut best = f64::MAX;
    let mut entries = 0;
    for _ in 0..3 {
        let began = Instant::now();
        let report = rebuild::check(&house.db).await.expect("a check");
        best = best.min(began.elapsed().as_secs_f64());
        assert!(report.wrong.is_empty(), "{:?}", report.wrong);
        entries = report.entries;
    }
    let per_s = entries as f64 / best;
    println!(
        "{name}: {entries} entries checked in {best:.2} s, {per_s:.0} entries/s (at least {TARGET} is wanted)"
    );
    house.close().await;
    drop(house);
    fresh.drop().await;
}

#[tokio::main(flavor = "multi_thread")]
async fn main() {
    let only: Vec<String> = std::env::args().skip(1).filter(|arg| !arg.starts_with('-')).collect();
    let wanted = |name: &str| only.is_empty() || only.iter().any(|it| it == name);
    if wanted("embedded") {
        measure("SQLite", Fresh::embedded()).await;
    }
    if wanted("server") {
        measure("PostgreSQL", Fresh::server().await).await;
    }
}
