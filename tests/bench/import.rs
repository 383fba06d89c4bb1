//! A list of 10,000 parts as a department brings it, with a row for each: looked at, recorded, and brought again.
//!
//! `cargo bench --bench import`; with `FETTLE_TEST_POSTGRES` on PostgreSQL as well.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
mod common;

use std::sync::Arc;
use std::time::{Duration, Instant};

use common::{Fresh, actor, furnished};
use fettle::app::house::House;
use fettle::app::import::Tried;
use fettle::domain::id::Id;
use fettle::domain::import::{Chosen, Kind};
use fettle::domain::person::Role;

const ROWS: usize = 10_000;

fn list() -> Vec<u8> {
    let row = |n: usize| {
        format!("N-{n:05},0104012399{n:06},cap,S-{n:06},2024-03-{:02},{},12.50\r\n", n % 28 + 1, n % 90)
    };
    let header = "asset,mark,model,serial,acquired,prior_uses,cost\r\n".to_string();
    (0..ROWS).map(row).fold(header, |all, row| all + &row).into_bytes()
}

async fn tried(house: &House, site: &Id, raw: &Arc<Vec<u8>>) -> (Tried, Duration) {
    let state = house.state(site).await.expect("a state").expect("a site");
    let begun = Instant::now();
    let tried =
        house.try_list(&state, &actor(Role::Lead), Kind::Assets, raw.clone(), Chosen::default()).await;
    let took = begun.elapsed();
    let Ok(Ok(tried)) = tried else { unreachable!("a list that can be read") };
    assert!(tried.plan.may_import(), "{:?}", tried.plan.faults.first());
    (tried, took)
}

async fn measured(fresh: &Fresh) -> [Duration; 3] {
    let (house, site) = furnished(&fresh.url, None).await;
    let raw = Arc::new(list());
    let (mut list, looked) = tried(&house, &site, &raw).await;
    let begun = Instant::now();
    let written = house.record_list(&site, &actor(Role::Lead), &raw, &mut list, Arc::default()).await;
    let recorded = begun.elapsed();
    assert_eq!(written.expect("an answer").map(|it| it.entries), Some(ROWS));
    let (again, looked_again) = tried(&house, &site, &raw).await;
    assert!(again.plan.planned.is_empty(), "the same list changes nothing");
    house.close().await;
    [looked, recorded, looked_again]
}

#[tokio::main]
async fn main() {
    let mut rows = vec![("SQLite", Fresh::embedded())];
    if std::env::var("FETTLE_TEST_POSTGRES").is_ok() {
        rows.push(("PostgreSQL", Fresh::server().await));
    }
    for (name, fresh) in rows {
        let took = measured(&fresh).await;
        let most = [Duration::from_secs(1), Duration::from_secs(5), Duration::from_secs(1)];
        for ((what, took), most) in ["looked at", "recorded", "brought again"].iter().zip(took).zip(most) {
            let met = if took < most { "met" } else { "MISSED" };
            println!("{name}: {ROWS} parts {what}: {took:.2?} of {most:?}: {met}");
        }
        fresh.drop().await;
    }
}
