//! Edges of the day as people meet them, in a real browser by keyboard alone: the lead who comes on duty, the desk alone
//! at night with a printer's strip, the biomedical engineer with a maker's notice, and infection prevention with a patient
//! of three weeks ago.

use std::sync::Arc;

use chrono::{TimeDelta, Utc};
use fantoccini::key::Key;
use fettle::domain::person::Role::{self, Admin, Biomed, Charge, Clinician, Desk, Infection, Lead};
use serde_json::json;

use super::browser::{Keyboard, PASSWORD};
use super::served::{Kind, Served, steam_record};
use super::ward::late;

/// A small department with a person of the role, whose code is `me-9`, and another one at the desk.
async fn house(role: Role) -> Served {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    for (code, role) in [("me-9", role), ("desk-8", Desk)] {
        served
            .house
            .add_person(&served.site, Some(code), "Person Nine", role, PASSWORD)
            .await
            .expect("a person");
    }
    served
}

async fn sign_in(keys: &Keyboard, served: &Served) {
    keys.client.goto(&format!("{}/sign-in", served.base)).await.expect("the page");
    keys.type_in("me-9").await;
    keys.press(Key::Tab).await;
    keys.type_in(PASSWORD).await;
    keys.press(Key::Enter).await;
    keys.says("header", &["Person Nine"]).await;
}

/// Walks in a browser that is closed whatever happened.
async fn walked<F>(served: Served, walk: impl FnOnce(Keyboard, Arc<Served>) -> F)
where
    F: Future<Output = ()> + Send + 'static,
{
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::start(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let served = Arc::new(served);
    let ended = tokio::spawn(walk(keys, served.clone())).await;
    client.close().await.expect("the browser closes");
    ended.expect("the walk");
    Arc::into_inner(served).expect("the only one left").stop().await;
}

/// Up to the steriliser: packed, and nothing of it is ready.
async fn packed(served: &Served) {
    let step = |step: &str| json!({"do": "record_step", "step": step, "scan": ["SET-1"]});
    served.done(Charge, step("treated")).await;
    for name in ["received", "cleaned", "dried"] {
        served.done(Desk, step(name)).await;
    }
    served.done(Desk, json!({"do": "record_step", "step": "disinfected", "scan": ["T-1"]})).await;
    let load = served.load("washer-1", "wash", "SET-1").await;
    let record = super::served::wash_record(300);
    served.done(Desk, json!({"do": "judge_load", "load": load, "record": record})).await;
    served.done(Desk, json!({"do": "release_load", "load": load})).await;
    served.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
    served.done(Desk, step("packed")).await;
    served.done(Admin, json!({"do": "set_policy", "two_people": true})).await;
    served.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1})).await;
}

async fn comes_on_duty(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served).await;
    keys.enter_on("Handover|").await;
    keys.says("h1", &["1 part is not accounted for", "1 release waits for an answer"]).await;
    let told = keys.says("main", &["when the last shift began"]).await;
    for tells in ["released alone", "washed by hand", "a bent tip", "C-1", "hold-0001"] {
        assert!(told.contains(tells), "the handover does not tell of \"{tells}\": {told}");
    }
    // Two minutes read aloud are some 300 words (common practice); a quiet night takes less.
    assert!(told.split_whitespace().count() < 400, "{} words: {told}", told.split_whitespace().count());
    keys.reach("handed_over_by=").await;
    keys.type_in("the night").await;
    keys.press(Key::Enter).await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    keys.says("#taken-over", &["me-9", "read up to entry"]).await;
    keys.says(".lead", &["when me-9 took over sterile processing"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn at_a_quarter_to_seven_the_lead_reads_the_night_and_signs() {
    let served = house(Lead).await;
    packed(&served).await;
    let load = served.load("steriliser-1", "p134", "SET-1").await;
    served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
    let chemical = json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
    served.done(Desk, chemical).await;
    let alone = json!({"do": "release_load", "load": load, "dry": true,
        "override": {"code": "same_person", "reason": "released alone, the reserve adult needs it"}});
    served.done(Desk, alone).await;
    for step in ["received", "cleaned"] {
        served.done(Desk, json!({"do": "record_step", "step": step, "scan": "C-2"})).await;
    }
    let over = json!({"do": "inspect", "scan": "C-2", "passed": true,
        "override": {"code": "out_of_order", "reason": "washed by hand"}});
    served.done(Lead, over).await;
    served.done(Desk, json!({"do": "hold", "kind": "quality", "scan": "B-1", "reason": "a bent tip"})).await;
    served.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1"})).await;
    walked(served, comes_on_duty).await;
}

/// Types the readings of the printer's strip; the field for the second reader is left to the caller.
async fn strip(keys: &Keyboard, hold_s: &str, second: &str) {
    keys.enter_on("Enter readings of the printout").await;
    for (field, value) in
        [("readings.min_c=", "134.2"), ("readings.max_c=", "135.9"), ("readings.hold_s=", hold_s)]
    {
        keys.reach(field).await;
        keys.type_in(value).await;
    }
    keys.reach("readings.complete:bool=true").await;
    keys.press(Key::Space).await;
    keys.reach("readings.second_reader=").await;
    keys.type_in(second).await;
    keys.press(Key::Enter).await;
}

async fn alone_at_night(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served).await;
    keys.enter_on("Desk|").await;
    keys.says("h1", &["Scan a part or a set"]).await;
    keys.scan("SET-1").await;
    keys.says(".offers .first", &["Start a steriliser load"]).await;
    keys.press(Key::Enter).await;
    keys.says("#start", &["steriliser-1"]).await;
    keys.enter_on("Start the load in steriliser-1").await;
    keys.says("h1", &["One load waits", "steriliser-1"]).await;
    keys.enter_on("load-").await;
    keys.says("h1", &["may not be released", "no cycle record"]).await;
    // Without a second reader nothing is sent, and oneself is no second one.
    strip(&keys, "170", "").await;
    let asked = "return document.querySelector('[name=\"readings.second_reader\"]').matches(':invalid')";
    assert_eq!(keys.client.execute(asked, Vec::new()).await.expect("an answer"), json!(true));
    keys.reach("readings.second_reader=").await;
    keys.type_in("me-9").await;
    keys.press(Key::Enter).await;
    keys.says("main", &["second"]).await;
    let text = keys.text("main").await;
    assert!(
        text.contains("same person") || text.contains("another person") || text.contains("second person"),
        "{text}"
    );
    keys.client.back().await.expect("the page before");
    keys.client.refresh().await.expect("the page");
    // 170 of 180 s: it fails, and there is nothing by which anybody could set that aside.
    strip(&keys, "170", "desk-8").await;
    keys.says("h1", &["may not be released"]).await;
    keys.says("main", &["170"]).await;
    let page = keys.client.source().await.expect("a page");
    assert!(
        !page.contains("override.code") && !page.contains("Release alone"),
        "a short hold has no override"
    );
    // The strip was read wrongly: 200 s. Everything passed, and the reserve needs it: released alone.
    strip(&keys, "200", "desk-8").await;
    keys.says("h1", &["may not be released", "indicator"]).await;
    keys.enter_on("Record an indicator").await;
    keys.reach("result=pass").await;
    keys.press(Key::Space).await;
    keys.enter_on("Record the indicator").await;
    keys.says("main", &["Why one person releases it alone"]).await;
    keys.reach("dry:bool=true").await;
    keys.press(Key::Space).await;
    keys.reach("override.reason=").await;
    keys.type_in("alone at night, the reserve adult needs it").await;
    keys.press(Key::Enter).await;
    keys.says("main", &["countersign"]).await;
    keys.says("h1", &["was released by me-9"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn alone_at_night_a_strip_needs_a_second_reader_and_a_short_hold_has_no_override() {
    let served = house(Desk).await;
    packed(&served).await;
    walked(served, alone_at_night).await;
}

async fn brings_a_notice(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served).await;
    keys.client.goto(&format!("{}/wear/notice", served.base)).await.expect("the page");
    keys.reach("model=").await;
    keys.type_in("cap").await;
    keys.reach("lots=").await;
    keys.type_in("40, 41, 42, 43, 44").await;
    keys.press(Key::Enter).await;
    keys.says("main", &["Every piece, by where it is", "N-40", "N-42", "N-44"]).await;
    let text = keys.text("main").await;
    assert!(!text.contains("N-39") && !text.contains("N-45"), "other lots are left alone: {text}");
    keys.reach("reason=").await;
    keys.type_in("maker's notice 7 of 3 March").await;
    keys.press(Key::Enter).await;
    keys.says("main", &["hold-0001"]).await;
    for (part, held) in [("N-39", 0), ("N-40", 1), ("N-42", 1), ("N-44", 1), ("N-45", 0)] {
        let told = served.asset(part).await;
        assert_eq!(told["held"].as_array().expect("holds").len(), held, "{told}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_notice_that_names_lots_is_one_hold() {
    let served = house(Biomed).await;
    for lot in 39..=45 {
        let part =
            json!({"do": "add_asset", "asset": format!("N-{lot}"), "model": "cap", "lot": lot.to_string()});
        served.done(Lead, part).await;
    }
    walked(served, brings_a_notice).await;
}

async fn looks_back(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served).await;
    keys.enter_on("Look-back|").await;
    keys.reach("patient=").await;
    keys.type_in("REF-2471").await;
    keys.press(Key::Enter).await;
    keys.says("h1", &["This patient was in 1 case"]).await;
    let told = keys.says("main", &["K-1", "K-2", "K-3"]).await;
    // In the order of the turns since: the next case of these parts stands before the one after it.
    let at = |case: &str| told.find(case).unwrap_or_else(|| panic!("no {case}: {told}"));
    assert!(at("K-1") < at("K-2") && at("K-2") < at("K-3"), "{told}");
    assert!(
        told.contains("B-1") && told.contains("T-1"),
        "parts that were only opened are there too: {told}"
    );
    assert!(
        !told.contains("REF-2471") && !keys.client.current_url().await.expect("it").as_str().contains("REF")
    );
    keys.client.goto(&format!("{}/ledger", served.base)).await.expect("the page");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_patient_of_three_weeks_ago_leads_to_every_later_case() {
    let served = house(Infection).await;
    let three_weeks = Utc::now() - TimeDelta::days(21);
    for (n, case) in ["K-1", "K-2", "K-3"].into_iter().enumerate() {
        served.round("SET-1").await;
        let mut plan = json!({"do": "plan_case", "case": case, "start": (Utc::now() + TimeDelta::hours(1)).to_rfc3339(),
                              "minutes": 30, "needs": ["adult"]});
        if n == 0 {
            plan["start"] = three_weeks.to_rfc3339().into();
            plan["patient"] = "REF-2471".into();
            plan = late(plan, &(three_weeks - TimeDelta::hours(2)).to_rfc3339());
        }
        served.done(Charge, plan).await;
        served.done(Charge, json!({"do": "issue", "case": case, "scan": "SET-1"})).await;
        served.done(Clinician, json!({"do": "open", "case": case, "scan": "SET-1"})).await;
        served.done(Clinician, json!({"do": "use", "case": case, "scan": ["B-1"]})).await;
        served.done(Charge, json!({"do": "close_count", "case": case})).await;
    }
    walked(served, looks_back).await;
}
