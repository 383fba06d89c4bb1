//! The recall of a month of one steriliser, in one entry: 450 loads, 25,200 turns. Once with parts that went round nine
//! times, as in a house, and once with parts of which every one is still as its load made it, which is the most to hold.
//!
//! `cargo bench --bench recall`; it needs `FETTLE_TEST_POSTGRES` for the second database.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
mod common;

use std::time::{Duration, Instant};

use common::{Fresh, command, give};
use fettle::app::house::House;
use fettle::domain::affected::affected;
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use serde_json::{Value, json};

const LOADS: usize = 450;
const PARTS_IN_A_LOAD: usize = 56;

async fn furnish(house: &House, site: &Id, parts: usize) {
    let steps: Vec<Value> = [("treated", ""), ("packed", ""), ("sterilised", "steam")]
        .into_iter()
        .map(|(step, method)| match method {
            "" => json!({"step": step}),
            method => json!({"step": step, "method": method}),
        })
        .collect();
    let programme =
        json!({"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 100, "chemical": "none"});
    let define = [
        json!({"do": "define_route", "route": "short", "steps": steps}),
        json!({"do": "define_model", "model": "cap", "family": "cap", "name": "Cap", "route": "short",
               "processing": {"steam": {"temp_c": 134, "hold_s": 100}}}),
        json!({"do": "define_machine", "machine": "steriliser-1", "kind": "steriliser", "programmes": [programme]}),
        json!({"do": "set_policy", "two_people": false}),
    ];
    give(house, site, Role::Admin, define.into_iter().map(command).collect()).await;
    for first in (0..parts).step_by(400) {
        let these = first..parts.min(first + 400);
        let add = |n: usize| command(json!({"do": "add_asset", "asset": part(n), "model": "cap"}));
        give(house, site, Role::Lead, these.map(add).collect()).await;
    }
}

/// A cycle with a temperature of its own: no two cycles write the same file.
fn record(load: usize) -> String {
    let level = format!("134.{}", 100 + load);
    let temp = |time: usize| if (5..=205).contains(&time) { level.as_str() } else { "60" };
    let rows = (0..=210).step_by(5).map(|time| format!("{time},{}", temp(time)));
    format!("time_s,temp_c\n{}\n", rows.collect::<Vec<_>>().join("\n"))
}

fn part(n: usize) -> String {
    format!("P-{n:05}")
}

/// So many loads, each with the next parts in their turn.
async fn run(house: &House, site: &Id, parts: usize) {
    for load in 0..LOADS {
        let scan: Vec<String> =
            (0..PARTS_IN_A_LOAD).map(|n| part((load * PARTS_IN_A_LOAD + n) % parts)).collect();
        let record = record(load);
        let name = format!("L-{load:04}");
        let all = [
            json!({"do": "record_step", "step": "treated", "scan": scan}),
            json!({"do": "record_step", "step": "packed", "scan": scan}),
            json!({"do": "start_load", "load": name, "machine": "steriliser-1", "programme": "p134", "scan": scan}),
            json!({"do": "judge_load", "load": name, "record": record}),
            json!({"do": "release_load", "load": name, "dry": true}),
        ];
        give(house, site, Role::Lead, all.into_iter().map(command).collect()).await;
    }
}

async fn measured(fresh: &Fresh, parts: usize) -> (Duration, usize, usize) {
    let house = House::open(&fresh.url).await.expect("a house");
    let site = house.add_site("bench", "Bench service", "Europe/Berlin").await.expect("a site");
    furnish(&house, &site, parts).await;
    run(&house, &site, parts).await;
    let recall = json!({"do": "recall", "machine": "steriliser-1", "reason": "its sensor drifted"});
    let begun = Instant::now();
    give(&house, &site, Role::Infection, vec![command(recall)]).await;
    let took = begun.elapsed();
    let state = house.state(&site).await.expect("an answer").expect("a site");
    let recall = state.recalls.values().next().expect("a recall");
    let found = affected(&state, recall);
    let turns = found.parts.values().map(|part| part.turns.len()).sum();
    let held = found.parts.values().filter(|part| part.held).count();
    assert_eq!(recall.loads.len(), LOADS);
    house.close().await;
    (took, turns, held)
}

#[tokio::main(flavor = "multi_thread")]
async fn main() {
    let turns = LOADS * PARTS_IN_A_LOAD;
    let server = std::env::var("FETTLE_TEST_POSTGRES").is_ok();
    for parts in [turns / 9, turns] {
        let mut rows = vec![("SQLite", Fresh::embedded(), Duration::from_millis(500))];
        if server {
            rows.push(("PostgreSQL", Fresh::server().await, Duration::from_secs(1)));
        }
        for (name, fresh, most) in rows {
            let (took, turns, held) = measured(&fresh, parts).await;
            let met = if took < most { "met" } else { "MISSED" };
            println!(
                "{name}: {LOADS} loads, {turns} turns of {parts} parts, {held} held: {took:.2?} of {most:?}: {met}"
            );
            fresh.drop().await;
        }
    }
}
