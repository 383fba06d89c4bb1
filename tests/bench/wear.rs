//! The wear page of a house with 20,000 pieces of 80 models: made anew after a change, and answered from what was made while
//! nothing changed.
//!
//! `cargo bench --bench wear`; it needs no PostgreSQL.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
mod common;

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use common::{Fresh, command, give};
use fettle::app::house::House;
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use fettle::web::{App, Options, router};
use serde_json::{Value, json};

const MODELS: usize = 80;
const PIECES: usize = 250;
const ROUNDS: usize = 30;
const TARGET: Duration = Duration::from_millis(60);

/// Pieces that came with no age, are counted in days, and of which one in ten failed.
async fn furnish(house: &House, site: &Id) {
    let steps: Vec<Value> = common::STEPS
        .into_iter()
        .map(|step| match step {
            "disinfected" => json!({"step": step, "method": "manual"}),
            step => json!({"step": step}),
        })
        .collect();
    give(
        house,
        site,
        Role::Admin,
        vec![command(json!({"do": "define_route", "route": "by-hand", "steps": steps}))],
    )
    .await;
    give(house, site, Role::Admin, vec![command(json!({"do": "set_policy", "wear_clock": {"cap": "days"}}))])
        .await;
    let now = chrono::Utc::now();
    let ago = |days: usize| (now - chrono::TimeDelta::days(days as i64)).to_rfc3339();
    for model in 0..MODELS {
        let name = format!("cap-{model:02}");
        let define = json!({"do": "define_model", "model": name, "family": "cap", "name": "Sealing cap", "route": "by-hand"});
        give(house, site, Role::Biomed, vec![command(define)]).await;
        let age = |n: usize| 20 + (n * 7919 + model * 104_729) % 700;
        let add = |n: usize| {
            command(
                json!({"do": "add_asset", "asset": format!("P-{model:02}-{n:03}"), "model": name, "at": ago(800)}),
            )
        };
        give(house, site, Role::Lead, (0..PIECES).map(add).collect()).await;
        let retire = |n: usize| {
            let at = ago(800 - age(n));
            command(
                json!({"do": "retire", "asset": format!("P-{model:02}-{n:03}"), "cause": "worn", "failure": !n.is_multiple_of(3), "at": at}),
            )
        };
        give(house, site, Role::Biomed, (0..PIECES).step_by(7).map(retire).collect()).await;
    }
}

fn middle(mut all: Vec<Duration>) -> Duration {
    all.sort();
    all[all.len() / 2]
}

#[tokio::main(flavor = "multi_thread")]
async fn main() {
    let fresh = Fresh::embedded();
    let house = Arc::new(House::open(&fresh.url).await.expect("a house"));
    let site = house.add_site("bench", "Bench service", "Europe/Berlin").await.expect("a site");
    furnish(&house, &site).await;
    house
        .add_person("bench", Some("p-1"), "Person One", Role::Biomed, "a long password")
        .await
        .expect("a person");
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let base = format!("http://{}", listener.local_addr().expect("an address"));
    let service = router::router(App::new(house.clone(), Options::default()));
    let service = service.into_make_service_with_connect_info::<SocketAddr>();
    tokio::spawn(async move { axum::serve(listener, service).await });
    let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
    let form = [("site", "bench"), ("person", "p-1"), ("password", "a long password")];
    client.post(format!("{base}/sign-in")).form(&form).send().await.expect("signed in");
    let get = async |path: &str| {
        let begun = Instant::now();
        let answer = client.get(format!("{base}{path}")).send().await.expect("a page");
        assert_eq!(answer.status().as_u16(), 200);
        let text = answer.text().await.expect("text");
        (begun.elapsed(), text)
    };
    let (mut anew, mut same, mut one) = (Vec::new(), Vec::new(), Vec::new());
    for n in 0..ROUNDS {
        // Every seventh is retired.
        let asset = format!("P-{:02}-{:03}", n % MODELS, 1 + 7 * (n % (PIECES / 7)));
        let note = json!({"do": "put_away", "scan": asset, "location": format!("shelf {n}")});
        give(&house, &site, Role::Lead, vec![command(note)]).await;
        let (took, text) = get("/wear").await;
        assert!(text.contains("of 80 models failed often enough for a curve"), "{text}");
        anew.push(took);
        same.push(get("/wear").await.0);
        one.push(get("/wear?model=cap-07").await.0);
    }
    let anew = middle(anew);
    println!("{} pieces of {MODELS} models, {ROUNDS} rounds", MODELS * PIECES);
    println!("wear, after a change        {anew:>10.2?} in the middle; {} ms are wanted", TARGET.as_millis());
    println!("wear, nothing changed       {:>10.2?} in the middle", middle(same));
    println!("one model, nothing changed  {:>10.2?} in the middle", middle(one));
    println!("{}", if anew <= TARGET { "met" } else { "MISSED" });
}
