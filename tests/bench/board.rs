//! The board of 500 sets and 10,000 parts: made anew when something changed, and answered without rendering when
//! nothing did, beside a hello route of the same server. Then with 30 cases of today that have six instruments chosen each.
//!
//! `cargo bench --bench board`; it needs no PostgreSQL.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
mod common;

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use common::{Fresh, command, give};
use fettle::app::house::House;
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use fettle::web::{App, Options, router};
use serde_json::{Value, json};

const SETS: usize = 500;
const PARTS: usize = 20;
const ROUNDS: usize = 200;
const TARGET: Duration = Duration::from_millis(10);

async fn furnish(house: &House, site: &Id) {
    let steps: Vec<Value> = common::STEPS
        .into_iter()
        .map(|step| match step {
            "disinfected" => json!({"step": step, "method": "manual"}),
            step => json!({"step": step}),
        })
        .collect();
    let route = json!({"do": "define_route", "route": "by-hand", "steps": steps});
    give(house, site, Role::Admin, vec![command(route)]).await;
    let model = json!({"do": "define_model", "model": "cap", "family": "cap", "name": "Sealing cap", "route": "by-hand"});
    give(house, site, Role::Biomed, vec![command(model)]).await;
    let lines: Vec<Value> = (0..PARTS)
        .map(
            |n| json!({"line": format!("line {n}"), "family": "cap", "quantity": 1, "essential": n % 3 == 0}),
        )
        .collect();
    let sheet = json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult", "lines": lines});
    give(house, site, Role::Lead, vec![command(sheet)]).await;
    for set in 0..SETS {
        let name = format!("SET-{set:03}");
        let mut all =
            vec![command(json!({"do": "build_set", "set": name, "count_sheet": "adult", "name": name}))];
        for part in 0..PARTS {
            let asset = format!("P-{set:03}-{part:02}");
            all.push(command(json!({"do": "add_asset", "asset": asset, "model": "cap"})));
            let line = format!("line {part}");
            all.push(command(json!({"do": "put_in_set", "set": name, "line": line, "asset": asset})));
        }
        give(house, site, Role::Lead, all).await;
    }
    let plans = (0..12).map(|n| {
        let start = (chrono::Utc::now() + chrono::TimeDelta::minutes(30 * (n + 1))).to_rfc3339();
        command(json!({"do": "plan_case", "case": format!("K-{n}"), "start": start, "minutes": 60, "needs": ["adult"]}))
    });
    give(house, site, Role::Charge, plans.collect()).await;
}

/// Cases that have chosen what they take: a barrel, its head, a jet attachment and six instruments that lie together.
const CHOSEN: usize = 30;
const TOGETHER: usize = 6;

async fn furnish_theatres(house: &House, site: &Id) {
    let define = |model: &str, family: &str, dimensions: Value, couplings: Value| {
        command(
            json!({"do": "define_model", "model": model, "family": family, "name": model, "route": "at-once",
                       "dimensions": dimensions, "couplings": couplings}),
        )
    };
    let route = json!({"do": "define_route", "route": "at-once", "steps": [{"step": "cleaned"}]});
    give(house, site, Role::Admin, vec![command(route)]).await;
    let size = json!({"nominal": 13, "inner_diameter_mm": 14, "outer_diameter_mm": "14.8", "length_mm": 400});
    let head = json!([{"end": "barrel", "system": "lock"},
        {"end": "central", "system": "rim", "port": "proximal", "bore_mm": 15},
        {"end": "side", "system": "side", "port": "side", "bore_mm": 5}]);
    let mut models = vec![
        define("barrel", "bronchoscope", size, json!([{"end": "head", "system": "lock"}])),
        define("head", "head", json!({"stack_height_mm": 28}), head),
        define("jet", "jet_adapter", json!({}), json!([{"end": "head", "system": "side"}])),
        define("scope", "telescope", json!({"shaft_diameter_mm": 4, "length_mm": 436}), json!([])),
    ];
    for n in 1..TOGETHER {
        let size = json!({"french": 6 + n, "length_mm": 540 + n});
        models.push(define(&format!("tube{n}"), "suction_tube", size, json!([])));
    }
    give(house, site, Role::Biomed, models).await;
    for case in 0..CHOSEN {
        let called = |model: &str| format!("{model}-{case:02}");
        let mut all: Vec<String> = ["barrel", "head", "jet", "scope"].map(String::from).to_vec();
        all.extend((1..TOGETHER).map(|n| format!("tube{n}")));
        let add =
            |model: &String| command(json!({"do": "add_asset", "asset": called(model), "model": model}));
        give(house, site, Role::Lead, all.iter().map(add).collect()).await;
        let parts: Vec<String> = all.iter().map(|model| called(model)).collect();
        let clean = json!({"do": "record_step", "step": "cleaned", "scan": parts});
        give(house, site, Role::Desk, vec![command(clean)]).await;
        let name = format!("C-{case:02}");
        let start = (chrono::Utc::now() + chrono::TimeDelta::minutes(10)).to_rfc3339();
        let plan = json!({"do": "plan_case", "case": name, "start": start, "minutes": 60, "needs": [],
                          "technique": "jet_open"});
        let placed: Vec<Value> = parts.iter().skip(1).map(|part| json!({"asset": part})).collect();
        let it =
            json!({"barrel": parts[0], "parts": placed, "way_out": [{"part": parts[1], "end": "central"}]});
        let choose = json!({"do": "choose_configuration", "case": name, "configuration": it});
        give(house, site, Role::Charge, vec![command(plan), command(choose)]).await;
    }
}

/// The board with what was chosen: remembered from the board before, and with everything judged anew.
async fn with_chosen(house: &House, site: &Id) -> (Vec<Duration>, Vec<Duration>) {
    furnish_theatres(house, site).await;
    let (mut known, mut anew) = (Vec::new(), Vec::new());
    for n in 0..ROUNDS {
        let step = common::STEPS[n % common::STEPS.len()];
        let set = format!("SET-{:03}", SETS - 1 - n / common::STEPS.len());
        let act = json!({"do": "record_step", "step": step, "scan": [set]});
        give(house, site, Role::Desk, vec![command(act)]).await;
        let state = house.state(site).await.expect("an answer").expect("a site");
        let now = house.clock.now();
        let begun = Instant::now();
        let board = state.board(now);
        known.push(begun.elapsed());
        let fails: Vec<_> = board.cases.iter().filter_map(|case| case.chosen_fails.as_ref()).collect();
        assert!(fails.is_empty(), "{fails:?}");
        assert!(board.cases.iter().filter(|case| case.case.as_str().starts_with("C-")).count() >= CHOSEN);
        let mut forgetful = (*state).clone();
        forgetful.fits = Default::default();
        let begun = Instant::now();
        assert_eq!(forgetful.board(now), board);
        anew.push(begun.elapsed());
        assert_eq!(forgetful.fits.judged(), CHOSEN as u64);
    }
    known.remove(0);
    (known, anew)
}

/// The middle and the 99th in a hundred of many durations.
fn told(mut all: Vec<Duration>) -> (Duration, Duration) {
    all.sort();
    (all[all.len() / 2], all[all.len() * 99 / 100])
}

#[tokio::main(flavor = "multi_thread")]
async fn main() {
    let fresh = Fresh::embedded();
    let house = std::sync::Arc::new(House::open(&fresh.url).await.expect("a house"));
    let site = house.add_site("bench", "Bench service", "Europe/Berlin").await.expect("a site");
    furnish(&house, &site).await;
    let token = house.add_token("bench", Role::Charge, None).await.expect("a token").1;
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let base = format!("http://{}", listener.local_addr().expect("an address"));
    let service = router::router(App::new(house.clone(), Options::default()));
    let service = service.into_make_service_with_connect_info::<SocketAddr>();
    tokio::spawn(async move { axum::serve(listener, service).await });
    let client = reqwest::Client::new();
    let board = format!("{base}/api/v1/bench/board");
    let (mut hello, mut same, mut anew, mut made) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut size = 0;
    for n in 0..ROUNDS {
        let begun = Instant::now();
        client.get(format!("{base}/health")).send().await.expect("hello").text().await.expect("text");
        hello.push(begun.elapsed());
        let step = common::STEPS[n % common::STEPS.len()];
        let act = json!({"do": "record_step", "step": step, "scan": [format!("SET-{:03}", n / common::STEPS.len())]});
        give(&house, &site, Role::Desk, vec![command(act)]).await;
        let state = house.state(&site).await.expect("an answer").expect("a site");
        let now = house.clock.now();
        let begun = Instant::now();
        let fresh = state.board(now);
        made.push(begun.elapsed());
        assert_eq!(fresh.sets.len(), SETS);
        let begun = Instant::now();
        let answer = client.get(&board).bearer_auth(&token).send().await.expect("a board");
        let tag = answer.headers()["etag"].to_str().expect("a tag").to_string();
        size = answer.text().await.expect("text").len();
        anew.push(begun.elapsed());
        let begun = Instant::now();
        let ask = client.get(&board).bearer_auth(&token).header("if-none-match", &tag);
        assert_eq!(ask.send().await.expect("a board").status().as_u16(), 304);
        same.push(begun.elapsed());
    }
    let row = |name: &str, all: Vec<Duration>| {
        let (middle, slow) = told(all);
        println!("{name:<46} {middle:>10.2?} in the middle, {slow:>10.2?} at the 99th in a hundred");
        middle
    };
    println!("{SETS} sets of {PARTS} parts, 12 cases, an answer of {size} bytes, {ROUNDS} rounds");
    let hello = row("hello (/health)", hello);
    let same = row("board, nothing changed (304)", same);
    let made = row("board, made from memory", made);
    let anew = row("board, changed by an entry, over HTTP as JSON", anew);
    let (known, judged) = with_chosen(&house, &site).await;
    let known = row(&format!("board, {CHOSEN} cases with {TOGETHER} instruments chosen"), known);
    row("the same, each configuration judged anew", judged);
    println!(
        "304 beside hello: {:.2}; made from memory: {made:.2?} of {TARGET:?}: {}; over HTTP: {anew:.2?}",
        same.as_secs_f64() / hello.as_secs_f64(),
        if made < TARGET { "met" } else { "MISSED" },
    );
    println!(
        "with {CHOSEN} cases chosen: {known:.2?} of {TARGET:?}: {}",
        if known < TARGET { "met" } else { "MISSED" },
    );
}
