//! The edges of the day in a browser, by keyboard alone: an emergency by one scan, a part that fell and is sterilised for
//! its case at once, a box that nobody washes, and a set that waited too long at the sink.

use std::sync::Arc;
use std::time::Duration;

use fantoccini::key::Key;
use fettle::domain::person::Role::{self, Admin, Charge, Clinician, Desk, Infection};
use serde_json::json;

use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, walk};
use super::case::{in_hours, issue};
use super::served::{Kind, Served, steam_record};

async fn house(role: Role) -> Served {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    served.house.add_person(&served.site, Some("p-1"), "Person One", role, PASSWORD).await.expect("a person");
    served
}

/// From the sign-in to done: one scan, whose own Enter is the one key.
async fn one_scan(keys: Keyboard, served: Arc<Served>) {
    let plan =
        json!({"do": "plan_case", "case": "K-1", "start": in_hours(1), "minutes": 60, "needs": ["adult"]});
    served.done(Charge, plan).await;
    served.done(Charge, json!({"do": "promise", "case": "K-1", "set": "SET-1"})).await;
    sign_in(&keys, &served, "/emergency").await;
    keys.says("h1", &["Ready: 1 set of"]).await;
    assert!(keys.focus().await.contains("scan="), "the scan field has the focus");
    tokio::time::sleep(Duration::from_millis(150)).await;
    keys.type_in("SET-1").await;
    keys.press(Key::Enter).await;
    keys.says("h1", &["Case emergency-0002 is under way", "3 parts are out"]).await;
    // Who lost it is red, and what has to follow stands on the list until it does.
    keys.client.goto(&format!("{}/board", served.base)).await.expect("the page");
    keys.says("#live", &["not ready", "It is out at case emergency-0002."]).await;
    keys.says("#follow", &["emergency-0002", "no patient's reference yet"]).await;
    keys.client.goto(&format!("{}/handover", served.base)).await.expect("the page");
    keys.says("h1", &["1 emergency is to be followed up"]).await;
    keys.client.goto(&format!("{}/cases/emergency-0002", served.base)).await.expect("the page");
    keys.says(".caution", &["no patient's reference yet"]).await;
    let named = json!({"do": "change_case", "case": "emergency-0002", "patient": "REF-4711"});
    served.done(Charge, named).await;
    keys.client.goto(&format!("{}/board", served.base)).await.expect("the page");
    keys.says("#live", &["not ready", "It is out at case emergency-0002."]).await;
    assert_eq!(keys.text("#follow").await, "", "it was followed up");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_emergency_is_one_scan() {
    let served = walk(house(Charge).await, one_scan).await;
    assert_eq!(served.asset("B-1").await["stage"], "issued");
    served.sound().await;
}

/// Put off after its set was issued and before it was opened.
async fn put_off(keys: Keyboard, served: Arc<Served>) {
    let plan =
        json!({"do": "plan_case", "case": "K-4", "start": in_hours(1), "minutes": 60, "needs": ["adult"]});
    served.done(Charge, plan).await;
    served.done(Charge, issue("K-4", "SET-1")).await;
    sign_in(&keys, &served, "/cases/K-4").await;
    keys.enter_on("Cancel the case").await;
    keys.reach("reason=").await;
    keys.type_in("a fever").await;
    keys.press(Key::Enter).await;
    keys.says("main", &["Out at case K-4", "what was not opened is named as unopened"]).await;
    keys.client.goto(&format!("{}/cases/K-4", served.base)).await.expect("the page");
    for part in ["B-1", "C-1", "T-1"] {
        keys.reach(&format!("{part}:into=")).await;
        keys.press(Key::Space).await;
        keys.press(Key::Down).await;
        assert!(
            keys.focus().await.contains(&format!("unopened={part}")),
            "the arrows walk through the choices"
        );
    }
    keys.enter_on("Close the count of K-4").await;
    keys.says(".band.accepted", &["Recorded"]).await;
    keys.enter_on("Cancel the case").await;
    keys.reach("reason=").await;
    keys.type_in("a fever").await;
    keys.press(Key::Enter).await;
    keys.says(".band.accepted", &["Recorded"]).await;
    keys.says("main", &["Cancelled: a fever"]).await;
    keys.enter_on("Board|").await;
    keys.says("main", &["1 of 1 set is ready."]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_case_cancelled_unopened_leaves_its_set_ready() {
    let served = walk(house(Charge).await, put_off).await;
    let (_, case) = served.get("cases/K-4").await;
    assert_eq!((&case["status"], &case["opened"]), (&json!("cancelled"), &json!([])), "{case}");
    assert_eq!(served.set("SET-1").await["status"], "ready");
    served.sound().await;
}

async fn for_one_case(keys: Keyboard, served: Arc<Served>) {
    let plan =
        json!({"do": "plan_case", "case": "K-1", "start": in_hours(1), "minutes": 60, "needs": ["adult"]});
    served.done(Charge, plan).await;
    served.done(Desk, json!({"do": "pack_broken", "scan": "T-1", "why": "dropped"})).await;
    sign_in(&keys, &served, "/loads?scan=T-1").await;
    keys.enter_on("steriliser-1, steriliser").await;
    keys.enter_on("For immediate use at one case").await;
    keys.says("#start", &["USE NOW, DO NOT STORE"]).await;
    keys.reach("immediate_use.case=").await;
    keys.press(Key::Down).await;
    keys.reach("immediate_use.indication=").await;
    keys.press(Key::Down).await;
    keys.reach("immediate_use.reason=").await;
    keys.type_in("it fell, there is no other").await;
    keys.enter_on("Start the load in steriliser-1").await;
    keys.says("h1", &["One load waits"]).await;
    keys.enter_on("load-").await;
    keys.says(".loud", &["USE NOW, DO NOT STORE", "for case K-1 alone"]).await;
    keys.reach("text=").await;
    keys.type_in(&steam_record(200)).await;
    keys.enter_on("Judge this record").await;
    keys.says("h1", &["indicator"]).await;
    let address = keys.client.current_url().await.expect("an address");
    let load = address.path().rsplit('/').next().expect("a load").to_string();
    let chemical = json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
    served.done(Desk, chemical).await;
    keys.client.goto(&format!("{}/loads/{load}", served.base)).await.expect("the page");
    keys.reach("dry:bool=true").await;
    keys.press(Key::Space).await;
    keys.enter_on("Release load").await;
    keys.says("h1", &["was released by p-1"]).await;
    keys.says(".loud", &["USE NOW, DO NOT STORE", "It is out at that case"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_part_that_fell_goes_straight_to_its_case() {
    let served = walk(house(Desk).await, for_one_case).await;
    let (_, case) = served.get("cases/K-1").await;
    assert_eq!(case["out"], json!(["T-1"]), "{case}");
    served.sound().await;
}

async fn decides(keys: Keyboard, served: Arc<Served>) {
    let plan = json!({"do": "plan_case", "case": "K-1", "start": in_hours(1), "minutes": 30, "needs": [], "patient": "REF-4711",
                      "risk": "prion_suspected"});
    served.done(Charge, plan).await;
    served.done(Charge, issue("K-1", "SET-1")).await;
    served.done(Clinician, json!({"do": "open", "case": "K-1", "scan": "SET-1"})).await;
    served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
    sign_in(&keys, &served, "/assets/B-1").await;
    keys.says(".caution", &["Do not wash. Seal, label, lock, call infection prevention."]).await;
    keys.enter_on("Box label, and the decision").await;
    keys.says(".label", &["PRION RISK", "K-1", "B-1, C-1, T-1"]).await;
    assert!(!keys.text("main").await.contains("REF-4711"));
    keys.enter_on("Put the patient's reference on the label").await;
    keys.says(".label", &["REF-4711"]).await;
    keys.reach("person=").await;
    keys.type_in("Dr Second").await;
    keys.reach("reason=").await;
    keys.type_in("definite by the reference centre").await;
    keys.press(Key::Enter).await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    keys.says("h1", &["holds nothing any more"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_box_is_labelled_and_decided() {
    let served = walk(house(Infection).await, decides).await;
    assert_eq!(served.asset("B-1").await["held"][0]["kind"], "dedicated");
    served.sound().await;
}

async fn waited_too_long(keys: Keyboard, served: Arc<Served>) {
    served.done(Admin, json!({"do": "set_policy", "clean_within_minutes": 60})).await;
    let plan = json!({"do": "plan_case", "case": "K-1", "start": in_hours(1), "minutes": 30, "needs": []});
    served.done(Charge, plan).await;
    served.done(Charge, issue("K-1", "SET-1")).await;
    served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
    served.house.clock.set(served.house.clock.now().plus_minutes(75));
    served.done(Desk, json!({"do": "record_step", "step": "received", "scan": "SET-1"})).await;
    sign_in(&keys, &served, "/desk").await;
    keys.says("h1", &["Scan a part or a set"]).await;
    keys.scan("SET-1").await;
    keys.says("main", &["waiting 75 of 60 min", "It goes the delayed way"]).await;
    keys.take_offer("and the delayed steps done", "SET-1").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waited_too_long_goes_the_delayed_way() {
    let served = walk(house(Desk).await, waited_too_long).await;
    assert_eq!(served.asset("B-1").await["stage"], "cleaned");
    served.sound().await;
}
