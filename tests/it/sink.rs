//! From the end of use to the start of cleaning: the clock, the delayed way, and who sees it.
//!
//! Cleaning by hand begins within the maker's time, commonly an hour; later the delayed way is gone (ST91, from memory).
//! Dried soil: soak longer, clean again, verify (from memory).

use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use fettle::domain::sink::{clock, late as late_at};
use fettle::domain::state::{Asset, Stage};
use serde_json::{Value, json};

use super::browser::PASSWORD;
use super::browser_back::signed_in;
use super::served::{BOTH, Served, whole};
use super::ward::{Ward, late, model};

/// A ward with a part `S-1` that goes the whole way, ready, and a case at ten.
fn ward(minutes: u32) -> Ward {
    let mut ward = Ward::open();
    let steps = json!([{"step": "treated"}, {"step": "received"}, {"step": "cleaned"}, {"step": "dried"}]);
    ward.done(Admin, json!({"do": "define_route", "route": "sink", "steps": steps}));
    let processing =
        json!({"clean_within_minutes": minutes, "delayed": "enzyme soak of 20 min, then brush twice"});
    ward.done(Biomed, model("used", json!({"route": "sink", "processing": processing})));
    ward.done(Lead, json!({"do": "add_asset", "asset": "S-1", "model": "used"}));
    for step in ["treated", "received", "cleaned", "dried"] {
        ward.done(Desk, json!({"do": "record_step", "step": step, "scan": "S-1"}));
    }
    let plan = json!({"do": "plan_case", "case": "K-1", "start": "2026-03-02T10:00:00+01:00", "minutes": 60, "needs": []});
    ward.done(Charge, plan);
    ward.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "S-1"}));
    ward.at("2026-03-02T10:30:00+01:00");
    ward.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "S-1"}));
    ward
}

fn part(ward: &Ward) -> &Asset {
    ward.paper.state.asset("S-1").expect("a part")
}

fn waited(ward: &Ward) -> Option<(i64, u32, bool)> {
    let clock = clock(&ward.paper.state, part(ward), ward.now)?;
    Some((clock.waited_minutes, clock.limit_minutes, clock.is_over()))
}

fn cleaned(delayed: bool) -> Value {
    let mut all = json!({"do": "record_step", "step": "cleaned", "scan": "S-1"});
    if delayed {
        all["delayed"] = json!(true);
    }
    all
}

#[test]
fn the_clock_runs_from_the_count_to_the_cleaning() {
    let mut ward = ward(60);
    assert_eq!(waited(&ward), None, "it is in use");
    ward.at("2026-03-02T11:00:00+01:00");
    ward.done(Charge, json!({"do": "close_count", "case": "K-1"}));
    ward.at("2026-03-02T11:52:00+01:00");
    assert_eq!(waited(&ward), Some((52, 60, false)));
    assert_eq!(
        clock(&ward.paper.state, part(&ward), ward.now).expect("a clock").words(),
        "waiting 52 of 60 min"
    );
    ward.done(Desk, json!({"do": "record_step", "step": "received", "scan": "S-1"}));
    assert_eq!(waited(&ward), Some((52, 60, false)), "received, and not cleaned yet");
    ward.at("2026-03-02T12:00:59+01:00");
    assert_eq!(waited(&ward), Some((60, 60, false)));
    ward.done(Desk, cleaned(false));
    assert_eq!(waited(&ward), None);
}

#[test]
fn later_it_counts_only_with_the_delayed_steps() {
    let mut ward = ward(60);
    ward.at("2026-03-02T11:00:00+01:00");
    ward.done(Charge, json!({"do": "close_count", "case": "K-1"}));
    ward.at("2026-03-02T12:15:00+01:00");
    assert_eq!(waited(&ward), Some((75, 60, true)));
    assert_eq!(late_at(&ward.paper.state, ward.now).len(), 1);
    ward.done(Desk, json!({"do": "record_step", "step": "received", "scan": "S-1"}));
    let refusal = ward.refused(Desk, cleaned(false), "out_of_order");
    assert!(
        refusal.first.found.contains("waited 75 min")
            && refusal.first.needed.contains("enzyme soak of 20 min")
    );
    let remedy = refusal.first.remedy.clone().expect("a remedy");
    assert_eq!(remedy["delayed"], true, "{remedy}");
    // No override passes over it.
    let mut forced = cleaned(false);
    forced["override"] = json!({"code": ["out_of_order"], "reason": "the case waits"});
    ward.refused(Lead, forced, "out_of_order");
    let event = ward.done(Desk, remedy);
    let told = serde_json::to_value(&event).expect("JSON");
    assert_eq!(told["delayed"][0]["waited_minutes"], 75, "{told}");
    assert_eq!((&told["delayed"][0]["done"], part(&ward).stage), (&json!(true), Stage::Cleaned));
}

#[test]
fn what_was_received_before_the_count_was_last_in_use_when_it_was_last_used() {
    let mut ward = ward(60);
    ward.at("2026-03-02T11:20:00+01:00");
    ward.done(Desk, json!({"do": "record_step", "step": "received", "scan": "S-1"}));
    assert_eq!(waited(&ward), Some((50, 60, false)), "since half past ten");
    // Pre-cleaned at the table: the use ends there.
    let mut other = super::sink::ward(60);
    other.at("2026-03-02T11:20:00+01:00");
    other.done(Charge, json!({"do": "record_step", "step": "treated", "scan": "S-1"}));
    assert_eq!(waited(&other), Some((0, 60, false)));
}

#[test]
fn told_late_without_the_delayed_steps_it_is_a_deviation() {
    let mut ward = ward(30);
    ward.at("2026-03-02T11:00:00+01:00");
    ward.done(Charge, json!({"do": "close_count", "case": "K-1"}));
    ward.at("2026-03-02T15:00:00+01:00");
    ward.done(
        Desk,
        late(json!({"do": "record_step", "step": "received", "scan": "S-1"}), "2026-03-02T11:40:00+01:00"),
    );
    let event = ward.done(Desk, late(cleaned(false), "2026-03-02T11:45:00+01:00"));
    assert!(event.beside.deviation.iter().any(|code| code.name() == "out_of_order"), "{event:?}");
    assert_eq!(part(&ward).stage, Stage::Cleaned, "it was cleaned all the same");
}

#[test]
fn the_site_says_how_long_where_the_maker_does_not() {
    let mut ward = ward(60);
    ward.done(Biomed, model("used", json!({"route": "sink"})));
    ward.at("2026-03-02T11:00:00+01:00");
    ward.done(Charge, json!({"do": "close_count", "case": "K-1"}));
    ward.at("2026-03-02T11:30:00+01:00");
    assert_eq!(waited(&ward), None, "nobody limits it");
    ward.done(Admin, json!({"do": "set_policy", "clean_within_minutes": 20}));
    assert_eq!(waited(&ward), Some((30, 20, true)));
    let refusal = ward.refused(Desk, cleaned(false), "out_of_order");
    assert!(
        refusal.others.iter().chain([&refusal.first]).any(|it| it.needed.contains("soak it longer")),
        "{refusal:?}"
    );
    ward.done(Admin, json!({"do": "set_policy", "clean_within_minutes": 0}));
    assert_eq!(waited(&ward), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn desk_queue_and_board_say_how_long_it_waits() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Admin, json!({"do": "set_policy", "clean_within_minutes": 60})).await;
        let hours = |hours: i64| (chrono::Utc::now() + chrono::TimeDelta::hours(hours)).to_rfc3339();
        served
            .done(
                Charge,
                json!({"do": "plan_case", "case": "K-1", "start": hours(1), "minutes": 60, "needs": []}),
            )
            .await;
        served.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"})).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
        let (_, told) = served.get("sink").await;
        assert_eq!(told["items"][0]["limit_minutes"], 60, "{told}");
        let (_, before) = served.get("board").await;
        assert_eq!(before["late_at_sink"], json!([]), "{before}");
        let wrong = json!({"do": "record_step", "step": "dried", "scan": "SET-1", "delayed": true});
        assert_eq!(served.post(Desk, wrong).await.0, 422);
        served
            .house
            .add_person(&served.site, Some("p-1"), "Person One", Lead, PASSWORD)
            .await
            .expect("a person");
        let (client, _) = signed_in(&served, "p-1").await;
        let page = async |path: &str| {
            whole(client.get(format!("{}{path}", served.base)).send().await.expect("an answer")).await
        };
        assert!(page("/queue").await.contains("waiting 0 of 60 min"));
        assert!(page("/desk?scan=B-1").await.contains("Waiting 0 of 60 min."));
        // Twenty minutes on, the session still lives; the site is stricter by then.
        served.house.clock.set(served.house.clock.now().plus_minutes(21));
        served.done(Admin, json!({"do": "set_policy", "clean_within_minutes": 20})).await;
        let (_, after) = served.get("board").await;
        assert_eq!(after["late_at_sink"][0]["set"], "SET-1", "{after}");
        assert!(page("/board").await.contains("Late at the sink"));
        assert!(page("/queue").await.contains("waiting 21 of 20 min: the delayed way"));
        assert!(page("/desk?scan=B-1").await.contains("It goes the delayed way"));
        served.sound().await;
        served.stop().await;
    }
}
