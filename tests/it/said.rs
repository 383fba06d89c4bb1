//! What pages say of people, days and searches: by code, to the minute, and on the display that nobody scrolls.

use std::sync::Arc;
use std::time::Duration;

use chrono::{TimeDelta, Utc};
use fettle::domain::id::Id;
use fettle::domain::person::Role::{Charge, Clinician, Desk, Lead};
use serde_json::json;

use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, walk};
use super::page::{act, open, person};
use super::served::{BOTH, Kind, Served};

fn plan(case: &str, start: chrono::DateTime<Utc>) -> serde_json::Value {
    json!({"do": "plan_case", "case": case, "start": start.to_rfc3339(), "minutes": 60, "needs": ["adult"],
           "room": "room 1", "technique": "jet_open"})
}

#[tokio::test(flavor = "multi_thread")]
async fn a_technique_that_was_decided_may_be_open_again() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Charge, plan("K-1", Utc::now() + TimeDelta::hours(2))).await;
        let client = person(&served, Clinician).await;
        let (_, _, page) = open(&client, &served, "/cases/K-1").await;
        assert!(page.contains("name=\"was.technique\" value=\"jet_open\""), "{page}");
        let form = [
            ("do", "change_case"),
            ("back", "/cases/K-1"),
            ("case", "K-1"),
            ("was.technique", "jet_open"),
            ("technique", "not_decided"),
        ];
        let (status, _, page) = act(&client, &served, &form).await;
        assert!(status == 200 && page.contains("<dt>Technique</dt><dd>Not decided</dd>"), "{page}");
        assert_eq!(served.get("cases/K-1").await.1["technique"], serde_json::Value::Null);
        let (_, _, page) = open(&client, &served, "/ledger").await;
        assert!(!page.contains("technique_not_decided"), "{page}");
        // Nothing else opens it: a change that names no technique leaves it, and a case is planned with one or without.
        served.done(Clinician, json!({"do": "change_case", "case": "K-1", "technique": "apnoeic"})).await;
        served.done(Charge, json!({"do": "change_case", "case": "K-1", "room": "room 2"})).await;
        assert_eq!(served.get("cases/K-1").await.1["technique"], "apnoeic");
        let mut planned = plan("K-2", Utc::now() + TimeDelta::hours(4));
        planned["technique"] = json!("not_decided");
        assert_eq!(served.post(Charge, planned).await.0, 422);
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn who_missed_a_part_and_who_named_the_outcome_stand_on_every_page_of_the_search() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", Utc::now() + TimeDelta::hours(2))).await;
        served.done(Charge, json!({"do": "issue", "case": "K-1", "scan": ["SET-1"]})).await;
        served.done(Clinician, json!({"do": "open", "case": "K-1", "scan": ["SET-1"]})).await;
        let count = json!({"do": "close_count", "case": "K-1", "missing": ["C-1"],
                           "others": [{"line": "swabs", "in": 5, "out": 4}]});
        let told = served.done(Clinician, count).await;
        let clerk = told["entry"].as_u64().expect("an entry");
        let by = |seq: u64| {
            let served = &served;
            async move {
                let lines = served.get("assets/C-1/history?limit=50").await.1;
                let all = lines["items"].as_array().expect("entries").clone();
                let found = all.into_iter().find(|entry| entry["seq"] == seq).expect("the entry");
                found["actor"].as_str().expect("a code").to_string()
            }
        };
        let missed = by(clerk).await;
        let lead = person(&served, Lead).await;
        for path in ["/cases/K-1", "/board", "/desk", "/cases/K-1/room"] {
            let (_, _, page) = open(&lead, &served, path).await;
            assert_eq!(page.matches(&format!(", told by {missed}")).count(), 2, "{path}: {page}");
        }
        let named = json!({"do": "close_missing", "asset": "C-1", "outcome": "imaging_done", "person": "Dr. Example"});
        let named = served.done(Charge, named).await;
        let line = json!({"do": "close_missing", "case": "K-1", "line": "swabs", "outcome": "not_found", "person": "Dr. Example"});
        served.done(Charge, line).await;
        let charge = by(named["entry"].as_u64().expect("an entry")).await;
        assert_ne!(charge, missed);
        for path in ["/cases/K-1", "/board", "/cases/K-1/room", "/findings", "/handover"] {
            let (_, _, page) = open(&lead, &served, path).await;
            assert_eq!(page.matches(&format!(", named by {charge}, ")).count(), 2, "{path}: {page}");
            assert!(!page.contains("Dr. Example"), "{path}: {page}");
        }
        served.sound().await;
        served.stop().await;
    }
}

/// Times of entries are told to the minute; a hash and the order of entries tell them apart.
#[tokio::test(flavor = "multi_thread")]
async fn pages_tell_times_to_the_minute() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let late =
        json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1", "late": {"cause": "forgotten"}});
    served.done(Desk, late).await;
    let lead = person(&served, Lead).await;
    for path in ["/ledger", "/handover", "/exceptions", "/assets/C-1", "/findings", "/look-back?asset=C-1"] {
        let (status, _, page) = open(&lead, &served, path).await;
        let seconds = |text: &str| {
            text.as_bytes().windows(6).any(|six| {
                six[0] == b':' && six[3] == b':' && [1, 2, 4, 5].iter().all(|at| six[*at].is_ascii_digit())
            })
        };
        let main = page.split("<main").nth(1).expect("the matter");
        assert!(status == 200 && !seconds(main), "{path}: {main}");
    }
    let (_, _, page) = open(&lead, &served, "/exceptions").await;
    assert!(page.contains("It was forgotten, and entered afterwards."), "{page}");
    served.stop().await;
}

/// The height of the page, and of the window.
const HEIGHTS: &str = "return [document.documentElement.scrollHeight, window.innerHeight,
    parseFloat(getComputedStyle(document.querySelector('.wall-page')).fontSize),
    document.querySelector('.ahead') ? document.querySelector('.ahead').getBoundingClientRect().bottom : -1];";

async fn hangs(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/board/wall").await;
    keys.says("main", &["K-00", "Tomorrow"]).await;
    // What the window is high is asked of the page: a window has an edge of its own.
    keys.client.set_window_size(1920, 1080).await.expect("a window");
    let mut found = Vec::new();
    for _ in 0..40 {
        let told = keys.client.execute(HEIGHTS, Vec::new()).await.expect("heights");
        found = told.as_array().expect("numbers").iter().filter_map(|it| it.as_f64()).collect();
        if found[0] <= found[1] {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(found[0] <= found[1] && found[1] <= 1080.0, "nothing below the edge: {found:?}");
    assert!(found[3] > 0.0 && found[3] <= found[1], "tomorrow is on the screen: {found:?}");
    // Letters of 1/400 of the distance can be read (common practice): a wall display of 55 inches, 1.21 m wide, has
    // pixels of 0.63 mm, so that 16 px are 10 mm, for 4 m.
    assert!(found[2] >= 16.0, "{found:?}");
}

/// Fourteen cases today and eight tomorrow on a wall display of 1920 by 1080 px.
#[tokio::test(flavor = "multi_thread")]
async fn a_full_day_and_tomorrow_fit_on_the_wall() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let site = Id::new(served.site.as_str()).expect("a site");
    // Today and tomorrow are days of the site, whatever the hour is at which this runs.
    let zone = served.house.state(&site).await.ok().flatten().expect("a state").zone;
    let midnight = || {
        (Utc::now().with_timezone(&zone).date_naive() + TimeDelta::days(1))
            .and_hms_opt(0, 0, 0)
            .and_then(|at| at.and_local_timezone(zone).single())
            .expect("midnight")
            .to_utc()
    };
    let left = || (midnight() - Utc::now()).num_seconds();
    while left() < 120 {
        tokio::time::sleep(Duration::from_secs(1)).await;
    }
    let (midnight, left) = (midnight(), left());
    for n in 0..14 {
        let start = Utc::now() + TimeDelta::seconds(30 + (left - 60) * n / 14);
        served.done(Charge, plan(&format!("K-{n:02}"), start)).await;
    }
    for n in 0..8 {
        served.done(Charge, plan(&format!("M-{n:02}"), midnight + TimeDelta::minutes(5 + 60 * n))).await;
    }
    let who = served.house.add_person(&served.site, Some("p-1"), "Person One", Charge, PASSWORD);
    who.await.expect("a person");
    walk(served, hangs).await;
}
