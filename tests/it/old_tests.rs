//! Years of tests: a load that is told late finds the test of its own day, however many came after it.
//!
//! "Daily, before the first load of the day" (ISO 17665, HTM 01-01, read second-hand).

use chrono::{DateTime, Days, TimeDelta, Utc};
use fettle::domain::person::Role::Desk;
use serde_json::{Value, json};

use super::served::{BOTH, Served, steam_record};
use super::ward::{Ward, air, indicator, late, release};

fn start(load: &str) -> Value {
    json!({"do": "start_load", "load": load, "machine": "st", "programme": "p134", "scan": "P-1"})
}

/// The test of each of so many days, the first on 2 March 2026.
fn tested(days: u64) -> Ward {
    let mut ward = Ward::open();
    let mut at = DateTime::parse_from_rfc3339("2026-03-02T07:00:00+01:00").expect("a time");
    for _ in 0..days {
        ward.at(&at.to_rfc3339());
        ward.done(Desk, air(true));
        at = at.checked_add_days(Days::new(1)).expect("a day");
    }
    ward
}

/// A load of 4 March that is told in the summer.
fn told_in_summer() -> Ward {
    let mut ward = tested(150);
    ward.done(Desk, late(start("a"), "2026-03-04T09:00:00+01:00"));
    assert!(ward.load("a").tested);
    let judge = json!({"do": "judge_load", "load": "a", "record": steam_record(200)});
    ward.done(Desk, late(judge, "2026-03-04T10:00:00+01:00"));
    ward.done(Desk, indicator("a", "chemical", "pass", None));
    assert!(ward.against("a").is_empty(), "{:?}", ward.against("a"));
    ward
}

#[test]
fn a_load_of_long_ago_stands_on_the_test_of_its_day() {
    told_in_summer().done(Desk, release("a"));
    // A failure of that day that is told now stands against it, however old.
    let mut ward = told_in_summer();
    ward.done(Desk, late(air(false), "2026-03-04T06:30:00+01:00"));
    ward.never(Desk, release("a"), "machine_not_ready");
}

#[test]
fn a_test_of_long_ago_that_is_told_late_is_kept() {
    let mut ward = tested(1);
    let mut at = DateTime::parse_from_rfc3339("2026-03-06T07:00:00+01:00").expect("a time");
    for _ in 0..100 {
        ward.at(&at.to_rfc3339());
        ward.done(Desk, air(true));
        at += TimeDelta::hours(24);
    }
    ward.done(Desk, late(start("a"), "2026-03-04T09:00:00+01:00"));
    assert!(!ward.load("a").tested);
    let judge = json!({"do": "judge_load", "load": "a", "record": steam_record(200)});
    ward.done(Desk, late(judge, "2026-03-04T10:00:00+01:00"));
    ward.done(Desk, indicator("a", "chemical", "pass", None));
    ward.refused(Desk, release("a"), "machine_not_ready");
    ward.done(Desk, late(air(true), "2026-03-04T08:00:00+01:00"));
    ward.done(Desk, release("a"));
}

/// Another server reads the tests from their rows.
#[tokio::test(flavor = "multi_thread")]
async fn every_test_is_there_after_a_start() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let day = |days: i64| (Utc::now() - TimeDelta::days(days)).to_rfc3339();
        let test = |at: String, passed: bool| {
            let test = json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "leak_rate", "passed": passed});
            late(test, &at)
        };
        let all: Vec<Value> = (1..=80).map(|days| test(day(days), true)).collect();
        let url = format!("{}/api/v1/{}/commands", served.base, served.site);
        let posted = served
            .client
            .post(url)
            .bearer_auth(served.token(Desk))
            .json(&all)
            .send()
            .await
            .expect("an answer");
        assert_eq!(posted.status().as_u16(), 200);
        served.sound().await;
        let again = Served::on(served.url.clone(), None, Some(&served)).await;
        let site = fettle::domain::id::Id::new(&served.site).expect("an id");
        let state = again.house.state(&site).await.expect("an answer").expect("a state");
        let machine = state.machines.get("steriliser-1").expect("a machine");
        let leaks = machine.tests.iter().filter(|test| test.test.as_str() == "leak_rate").count();
        assert_eq!(leaks, 80);
        assert!(machine.tests.iter().is_sorted_by_key(|test| test.at));
        again.stop().await;
        served.stop().await;
    }
}
