//! Sheets of paper entered in a real browser by keyboard alone, at the speed at which people type.
//!
//! People type 52 words of five letters a minute on average (Dhakal and others, Observations on Typing from 136 Million Keystrokes,
//! CHI 2018, from memory): 230 ms a key.

use std::sync::Arc;
use std::time::{Duration, Instant};

use fantoccini::key::Key;
use fettle::domain::person::Role::{Charge, Desk, Infection, Lead};
use serde_json::json;

use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, walk};
use super::paper::{furnished_yesterday, numbered, yesterday};
use super::served::{Kind, Served};

const A_KEY: Duration = Duration::from_millis(230);
const AT_MOST: Duration = Duration::from_secs(240);

/// Types as a person does.
async fn types(keys: &Keyboard, text: &str) {
    for letter in text.chars() {
        tokio::time::sleep(A_KEY).await;
        keys.type_in(&letter.to_string()).await;
    }
}

async fn presses(keys: &Keyboard, key: Key) {
    tokio::time::sleep(A_KEY).await;
    keys.press(key).await;
}

/// One line from the focus on its time: what is the same as before is not typed again.
async fn line(keys: &Keyboard, time: &str, scan: &str, what: &str, by: &str) {
    types(keys, time).await;
    presses(keys, Key::Tab).await;
    types(keys, scan).await;
    if !what.is_empty() || !by.is_empty() {
        presses(keys, Key::Tab).await;
        types(keys, what).await;
    }
    if !by.is_empty() {
        presses(keys, Key::Tab).await;
        types(keys, by).await;
    }
    presses(keys, Key::Enter).await;
}

async fn to_the_sheet(keys: &Keyboard, served: &Served, number: &str) {
    sign_in(keys, served, "/paper").await;
    keys.says("h1", &["numbered sheet is out"]).await;
    assert!(keys.focus().await.contains("sheet="), "the number of the sheet is asked first");
    types(keys, number).await;
    presses(keys, Key::Enter).await;
    keys.says("h1", &["enter its first line"]).await;
    assert!(keys.focus().await.contains("time="), "the time has the focus");
}

#[tokio::test(flavor = "multi_thread")]
async fn thirty_lines_take_less_than_four_minutes() {
    let served = Served::start(Kind::Embedded).await;
    furnished_yesterday(&served).await;
    for n in 11..=20 {
        let add =
            json!({"do": "add_asset", "asset": format!("C-{n}"), "model": "cap", "at": yesterday("05:00")});
        served.done(Lead, add).await;
    }
    let person = served.house.add_person(&served.site, Some("p-1"), "Person One", Desk, PASSWORD);
    person.await.expect("a person");
    numbered(&served, "sink", 1).await;
    let served = walk(served, thirty_lines).await;
    for n in 11..=20 {
        let told = served.asset(&format!("C-{n}")).await;
        assert_eq!(told["stage"], "cleaned", "{told}");
    }
    served.sound().await;
}

async fn thirty_lines(keys: Keyboard, served: Arc<Served>) {
    to_the_sheet(&keys, &served, "1").await;
    let begun = Instant::now();
    for n in 0..30 {
        let time = format!("{:02}{:02}", 8 + n / 15, (n % 15) * 4);
        let scan = format!("C-{}", 11 + n % 10);
        let what = match n {
            0 => "pre",
            10 => "rec",
            20 => "cle",
            _ => "",
        };
        line(&keys, &time, &scan, what, if n == 0 { "p-1" } else { "" }).await;
        keys.says(".band.accepted", &[&format!("Line {} is entry", n + 1)]).await;
    }
    let took = begun.elapsed();
    println!("30 lines in {took:?}");
    assert!(took < AT_MOST, "{took:?}");
    keys.enter_on("All of sheet P0001 is entered").await;
    keys.says("h1", &["Sheet P0001 is entered: 30 lines and 0 deviations.", "Nothing of it is left"]).await;
}

/// Infection prevention: a four-hour paper day is entered afterwards, one line naming a held set: accepted, a deviation, found by
/// look-back, and nothing differs between the ledger and the tables.
#[tokio::test(flavor = "multi_thread")]
async fn a_paper_day_with_a_held_set_is_found_by_look_back() {
    let served = Served::start(Kind::Embedded).await;
    furnished_yesterday(&served).await;
    let hold = json!({"do": "hold", "kind": "quality", "reason": "residue seen on its neighbour", "scan": "SET-1", "at": yesterday("07:00")});
    served.done(Lead, hold).await;
    let plan = json!({"do": "plan_case", "case": "K-1", "start": yesterday("08:30"), "minutes": 60, "needs": ["adult"],
                      "at": yesterday("07:10"), "patient": "REF-1"});
    served.done(Charge, plan).await;
    let person = served.house.add_person(&served.site, Some("p-1"), "Person One", Charge, PASSWORD);
    person.await.expect("a person");
    numbered(&served, "theatre", 1).await;
    let served = walk(served, the_table).await;
    let (_, found) = served.get("look-back?asset=B-1").await;
    assert_eq!(found["cases"][0]["case"], "K-1", "{found}");
    assert_eq!(found["cases"][0]["assets"][0]["exposure"], "used", "{found}");
    let at = served.get("cases/K-1").await.1;
    assert_eq!((at["opened"].as_array().map(Vec::len), &at["count"]), (Some(3), &json!("closed")), "{at}");
    let (_, history) = served.get("assets/B-1/history?limit=3").await;
    for entry in history["items"].as_array().expect("entries") {
        assert!(entry["at"].as_str() < entry["recorded_at"].as_str(), "both times stand in it: {entry}");
    }
    let infection = super::paper::Visit::of(&served, Infection, "inf-1").await;
    let page = infection.get("/look-back?asset=B-1").await;
    assert!(page.contains("K-1"), "{page}");
    served.sound().await;
}

async fn the_table(keys: Keyboard, served: Arc<Served>) {
    to_the_sheet(&keys, &served, "P0001").await;
    // The case is typed once, with the first line, behind who did it.
    types(&keys, "0800").await;
    presses(&keys, Key::Tab).await;
    types(&keys, "SET-1").await;
    presses(&keys, Key::Tab).await;
    types(&keys, "iss").await;
    presses(&keys, Key::Tab).await;
    types(&keys, "p-1").await;
    presses(&keys, Key::Tab).await;
    types(&keys, "K-1").await;
    presses(&keys, Key::Enter).await;
    keys.says(".band.accepted", &["Line 1 is entry", "Deviation:", "A part on hold was issued"]).await;
    line(&keys, "0840", "SET-1", "ope", "").await;
    keys.says(".band.accepted", &["Line 2 is entry", "Deviation:"]).await;
    line(&keys, "0850", "B-1", "use", "").await;
    keys.says(".band.accepted", &["Line 3 is entry"]).await;
    line(&keys, "1200", "", "cou", "").await;
    keys.says(".band.accepted", &["Line 4 is entry"]).await;
    keys.enter_on("All of sheet P0001 is entered").await;
    keys.says("h1", &["Sheet P0001 is entered: 4 lines"]).await;
    keys.says("#held", &["residue seen on its neighbour"]).await;
    keys.says("#left", &["lift hold"]).await;
}
