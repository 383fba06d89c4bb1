//! A loan in and out, a stranger with its tag, the shelf and a case, and a torn cap: by scanner and keyboard alone.

use std::future::Future;
use std::sync::Arc;

use fantoccini::key::Key;
use serde_json::json;

use super::super::browser::{Keyboard, PASSWORD};
use super::*;

/// A browser for a person of a role, on a desk's screen or on a phone, who is signed in.
async fn walk<F, W>(served: Served, role: Role, phone: bool, walk: F) -> Arc<Served>
where
    F: FnOnce(Keyboard, Arc<Served>) -> W,
    W: Future<Output = ()> + Send + 'static,
{
    let code = format!("{}-9", role.name());
    let person = served.house.add_person(&served.site, Some(&code), "Nine", role, PASSWORD).await;
    person.expect("a person");
    let profile = tempfile::tempdir().expect("a folder");
    let path = profile.path().display().to_string();
    let keys = if phone { Keyboard::phone(&path).await } else { Keyboard::start(&path).await };
    keys.client.goto(&format!("{}/sign-in", served.base)).await.expect("the page");
    keys.type_in(&code).await;
    keys.press(Key::Tab).await;
    keys.type_in(PASSWORD).await;
    keys.press(Key::Enter).await;
    keys.says(".who", &["Nine"]).await;
    let client = keys.client.clone();
    let served = Arc::new(served);
    let walked = tokio::spawn(walk(keys, served.clone())).await;
    client.close().await.expect("the browser closes");
    if let Err(error) = walked {
        std::panic::resume_unwind(error.into_panic());
    }
    served.sound().await;
    served
}

async fn open(keys: &Keyboard, served: &Served, path: &str) {
    keys.client.goto(&format!("{}{path}", served.base)).await.expect("the page");
    // Nobody scans in the first moment of a page.
    tokio::time::sleep(std::time::Duration::from_millis(150)).await;
}

/// A scanner ends with Enter, which presses nothing in a field for marks.
async fn scanned(keys: &Keyboard, mark: &str) {
    keys.type_in(mark).await;
    keys.press(Key::Enter).await;
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
}

/// The page is no wider than its window.
async fn fits(keys: &Keyboard, page: &str) {
    let script = "return [document.documentElement.scrollWidth, document.documentElement.clientWidth];";
    let found = keys.client.execute(script, Vec::new()).await.expect("an answer");
    let (wide, screen) = (found[0].as_u64(), found[1].as_u64());
    assert!(wide <= screen, "{page} is {wide:?} px wide on {screen:?}");
}

async fn loan_comes_and_goes(keys: Keyboard, served: Arc<Served>) {
    open(&keys, &served, "/loans").await;
    keys.says("h1", &["Nothing is on loan"]).await;
    open(&keys, &served, "/loans/arrive?sheet=adult").await;
    assert!(keys.focus().await.contains("from="), "who lends it is asked first");
    keys.type_in("Lender").await;
    keys.reach("case=").await;
    keys.press(Key::Down).await;
    keys.reach("set.set=").await;
    scanned(&keys, "LENT").await;
    keys.reach("parts.0.mark=").await;
    scanned(&keys, "LENDER-7").await;
    keys.says("h1", &["What came"]).await;
    // No telescope came.
    keys.reach("parts.2.model=").await;
    keys.press(Key::Space).await;
    keys.reach("pieces:int=").await;
    keys.type_in("2").await;
    keys.reach("instructions=").await;
    keys.type_in("edition 4, 2024").await;
    keys.enter_on("Record that it came").await;
    keys.says("h1", &["loan-0001 goes back to Lender by"]).await;
    let load = washed(&served, json!(["loan-0001.1"])).await;
    open(&keys, &served, "/loans/loan-0001").await;
    assert!(keys.focus().await.contains("scan:lines="), "what goes is scanned at once");
    scanned(&keys, "LENDER-7").await;
    keys.enter_on("Record that it leaves").await;
    keys.says("h1", &["loan-0001 of Lender left without loan-0001.2"]).await;
    let label = keys.says(".label", &["1 of 2 that came", "Not among it", "loan-0001.2"]).await;
    assert!(label.starts_with("Decontaminated"), "{label}");
    assert!(label.contains(load.as_str().expect("a name")) && label.contains("desk-9"), "{label}");
    fits(&keys, "the loan").await;
    open(&keys, &served, "/handover").await;
    keys.says("main", &["loan-0001 of Lender left without loan-0001.2"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_loan_comes_and_goes_by_scanner() {
    let served = house(Kind::Embedded).await;
    served.done(Charge, plan("K-1", 30)).await;
    walk(served, Desk, false, loan_comes_and_goes).await;
}

async fn stranger_at_the_sink(keys: Keyboard, served: Arc<Served>) {
    open(&keys, &served, "/strangers").await;
    fits(&keys, "strangers").await;
    assert!(keys.focus().await.contains("looks="), "what it looks like is asked first");
    keys.type_in("grasping forceps, 50 cm").await;
    keys.press(Key::Tab).await;
    scanned(&keys, "M-B1").await;
    // The end of a scan presses nothing: what kind of stranger it is has to be said.
    assert!(keys.focus().await.contains("kind=other_site"), "{}", keys.focus().await);
    keys.press(Key::Space).await;
    keys.press(Key::Enter).await;
    keys.says("h1", &["1 stranger is here. tag-0001: Its mark is that of B-1"]).await;
    keys.says("#tag-0001 .caution", &["until then look-back counts both"]).await;
    fits(&keys, "a stranger").await;
    open(&keys, &served, "/desk").await;
    keys.scan("tag-0001").await;
    keys.take_offer("Received", "received").await;
    keys.take_offer("Cleaned by hand", "cleaned by hand").await;
    open(&keys, &served, "/assets/B-1").await;
    keys.says("main", &["Stranger tag-0001 has the same mark"]).await;
    open(&keys, &served, "/strangers").await;
    keys.enter_on("tag-0001: its owner was told").await;
    keys.reach("owner=").await;
    keys.type_in("Example Hospital").await;
    keys.reach("words=").await;
    keys.type_in("They fetch it on Monday.").await;
    keys.enter_on("tag-0001: owner told").await;
    keys.says("#tag-0001", &["Example Hospital told", "They fetch it on Monday."]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stranger_gets_a_tag_and_is_washed_on_a_phone() {
    let served = house(Kind::Embedded).await;
    served.done(Biomed, json!({"do": "give_mark", "asset": "B-1", "mark": "M-B1"})).await;
    let served = walk(served, Desk, true, stranger_at_the_sink).await;
    assert_eq!(served.asset("tag-0001").await["stage"], "cleaned");
}

async fn shelf_and_case(keys: Keyboard, served: Arc<Served>) {
    open(&keys, &served, "/shelf").await;
    assert!(keys.focus().await.contains("scan="), "the box is scanned at once");
    scanned(&keys, "01095212340000201749123110L-7").await;
    keys.reach("quantity:int=").await;
    keys.type_in("50").await;
    keys.enter_on("Take onto the shelf").await;
    keys.says("h1", &["1 thing on the shelf, none low"]).await;
    keys.says("#catheter", &["50", "L-7", "31 December 2049"]).await;
    fits(&keys, "the shelf").await;
    open(&keys, &served, "/cases/K-1/shelf").await;
    keys.says("h1", &["has used nothing of the shelf"]).await;
    // One scan, one piece.
    scanned(&keys, "01095212340000201749123110L-7").await;
    keys.says("h1", &["Case K-1 used 1 piece of the shelf."]).await;
    keys.says("table", &["L-7", "from the shelf"]).await;
    fits(&keys, "what the case used").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_box_is_taken_in_and_a_piece_used_on_a_phone() {
    let served = house(Kind::Embedded).await;
    let define = json!({"do": "define_model", "model": "catheter", "family": "accessory", "name": "Suction catheter",
                        "route": "metal", "gtin": "09521234000020", "single_use": true});
    served.done(Biomed, define).await;
    served.done(Charge, plan("K-1", 1)).await;
    let served = walk(served, Charge, true, shelf_and_case).await;
    assert_eq!(one(&served, "stock/catheter").await["good"], 49);
}

/// Desk, 10:10: the cap at position 6 of set K is torn. What the hands do on the set's page, counted: open the place, scan the
/// new cap, choose the cause, press.
async fn torn_cap(keys: Keyboard, served: Arc<Served>) {
    open(&keys, &served, "/sets/K").await;
    keys.says("h1", &["Set K is in reprocessing"]).await;
    // The sixth place of the line; the one of the seventh comes behind it.
    let summary =
        keys.client.find(fantoccini::Locator::XPath("//tr[.//a[normalize-space()='CAP-6']]//summary")).await;
    let summary = summary.expect("the place of the cap");
    keys.client
        .execute("arguments[0].focus();", vec![serde_json::to_value(&summary).expect("an element")])
        .await
        .expect("the focus");
    let mut inputs = 1;
    keys.press(Key::Enter).await;
    keys.reach("new=").await;
    inputs += 1;
    keys.type_in("CAP-NEW").await;
    keys.reach("cause=").await;
    inputs += 1;
    keys.type_in("D").await;
    inputs += 1;
    keys.enter_on("Replace CAP-6").await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    assert!(inputs <= 4, "{inputs} inputs");
    keys.says("table.count", &["CAP-NEW"]).await;
    open(&keys, &served, "/desk").await;
    keys.scan("K").await;
    keys.take_offer("Packed", "packed").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_torn_cap_is_replaced_in_one_act_of_four_inputs() {
    let served = house(Kind::Embedded).await;
    let caps = json!([{"line": "caps", "family": "cap", "quantity": 6, "essential": true}]);
    served
        .done(Lead, json!({"do": "define_count_sheet", "count_sheet": "caps", "name": "Caps", "lines": caps}))
        .await;
    served.done(Lead, json!({"do": "build_set", "set": "K", "count_sheet": "caps", "name": "Caps K"})).await;
    for n in 1..=6 {
        let cap = json!({"do": "add_asset", "asset": format!("CAP-{n}"), "model": "cap", "prior_cycles": 2});
        served.done(Lead, cap).await;
        served
            .done(Desk, json!({"do": "put_in_set", "set": "K", "line": "caps", "asset": format!("CAP-{n}")}))
            .await;
    }
    served.done(Lead, json!({"do": "add_asset", "asset": "CAP-NEW", "model": "cap"})).await;
    let all: Vec<String> = (1..=6).map(|n| format!("CAP-{n}")).chain(["CAP-NEW".into()]).collect();
    washed(&served, json!(all)).await;
    for scan in ["K", "CAP-NEW"] {
        served.done(Desk, json!({"do": "inspect", "scan": scan, "passed": true})).await;
    }
    let served = walk(served, Desk, false, torn_cap).await;
    let (old, new) = (served.asset("CAP-6").await, served.asset("CAP-NEW").await);
    assert_eq!((&old["standing"], &old["cycles"]), (&json!("retired"), &json!(2)), "its cycles stay with it");
    assert_eq!((&new["cycles"], &new["position"], &new["stage"]), (&json!(0), &json!(6), &json!("packed")));
}
