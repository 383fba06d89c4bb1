//! What stands in rows: the pages of a role at the head of a page, the parts of a recall; and a load's record on one sheet.

use std::sync::Arc;
use std::time::Duration;

use fantoccini::Locator;
use fantoccini::key::Key;
use fantoccini::wd::{PrintConfigurationBuilder, PrintSize};
use fettle::domain::person::Role;
use serde_json::json;

use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, walk};
use super::served::{Kind, Served, steam_record};

/// The height of the pages' row, in rows of a target's 48 px.
const ROWS: &str = "return Math.round(document.querySelector('nav').getBoundingClientRect().height / 48);";
/// The width that the page takes beyond the window's.
const BEYOND: &str = "return document.documentElement.scrollWidth - document.documentElement.clientWidth;";

async fn number(keys: &Keyboard, script: &str) -> i64 {
    let found = keys.client.execute(script, Vec::new()).await.expect("a number");
    found.as_f64().expect("a number") as i64
}

async fn rows(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/ledger").await;
    keys.says("h1", &["ledger"]).await;
    // Outside a phone's emulation a window is no narrower than 500 px.
    for (width, most) in [(1280, 1), (1920, 1), (500, 2)] {
        keys.client.set_window_size(width, 900).await.expect("a window");
        let mut found = 0;
        for _ in 0..40 {
            found = number(&keys, ROWS).await;
            if found <= most {
                break;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        assert!(found <= most, "{found} rows at {width} px");
        assert_eq!(number(&keys, BEYOND).await, 0, "{width} px");
    }
    keys.client.set_window_size(1280, 900).await.expect("a window");
    // By keyboard alone: "More" opens, and what stands in it is reached.
    keys.enter_on("More|").await;
    keys.enter_on("Exceptions|").await;
    keys.says("h1", &["No exception is open"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_pages_stand_in_one_row_and_the_others_under_more() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let lead = served.house.add_person(&served.site, Some("p-1"), "Person One", Role::Lead, PASSWORD);
    lead.await.expect("a person");
    walk(served, rows).await;
}

async fn ticks(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/recalls/recall-0001").await;
    keys.says("h1", &["recall-0001 of steriliser-1", "on hold"]).await;
    keys.reach("scan:each=SET-1").await;
    keys.press(Key::Space).await;
    keys.reach("scan:each=B-1").await;
    keys.press(Key::Space).await;
    // Counted without a script, by the style sheet: as words before the line that is empty in the page.
    let counted = "return getComputedStyle(document.querySelector('.ticked'), '::before').content;";
    let words = keys.client.execute(counted, Vec::new()).await.expect("words");
    assert!(words.as_str().is_some_and(|text| text.contains("sets") && text.contains("ticked")), "{words}");
    let said = keys.client.find(Locator::Css("#answer input[name=outcome]")).await.expect("the field");
    said.send_keys("again").await.expect("typing");
    keys.press(Key::Enter).await;
    keys.press(Key::Enter).await;
    tokio::time::sleep(Duration::from_millis(400)).await;
    keys.says("h1", &["recall-0001 of steriliser-1", "on hold"]).await;
    assert_eq!(served.asset("B-1").await["held"][0]["kind"], "recall", "Enter in the list did nothing");
    keys.enter_on("Send through the machine").await;
    keys.says("h1", &["Everything is answered for"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn enter_in_a_recalls_list_does_nothing_by_accident() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    served
        .done(Role::Lead, json!({"do": "recall", "machine": "steriliser-1", "reason": "a door seal"}))
        .await;
    let who = served.house.add_person(&served.site, Some("p-1"), "Person One", Role::Infection, PASSWORD);
    who.await.expect("a person");
    walk(served, ticks).await;
}

/// The pages of a PDF, by its page objects.
fn pages(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf);
    text.matches("/Type /Page").count() - text.matches("/Type /Pages").count()
}

/// Parts, cases and loads of a recall on paper: more stand on a sheet than on the screen, and none is left out.
async fn recall_prints(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/recalls/recall-0001").await;
    keys.says("h1", &["recall-0001 of steriliser-1"]).await;
    for (name, width, height) in [("A4", 21.0, 29.7), ("Letter", 21.59, 27.94)] {
        let size = PrintSize { width, height };
        let settings = PrintConfigurationBuilder::default().size(size).build().expect("a size");
        let pdf = keys.client.print(settings).await.expect("a print");
        assert_eq!(pages(&pdf), 1, "{name}");
    }
    // What a fold hides on the screen stands on paper in words.
    let paper = "return document.querySelector('.recall ul.on-paper').textContent;";
    let told = keys.client.execute(paper, Vec::new()).await.expect("words");
    assert!(told.as_str().is_some_and(|told| told.contains("wiped and seen")), "{told}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recall_prints_close_and_whole() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    for n in 0..2 {
        if n > 0 {
            let test = json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "air_removal", "passed": true});
            drop(served.post(Role::Desk, test).await);
        }
        served.round("SET-1").await;
        let start = (chrono::Utc::now() + chrono::TimeDelta::minutes(1)).to_rfc3339();
        let case = format!("K-{n}");
        let plan =
            json!({"do": "plan_case", "case": case, "start": start, "minutes": 60, "needs": ["adult"]});
        served.done(Role::Charge, plan).await;
        served.done(Role::Charge, json!({"do": "issue", "case": case, "scan": ["SET-1"]})).await;
        served.done(Role::Clinician, json!({"do": "open", "case": case, "scan": ["SET-1"]})).await;
        served.done(Role::Clinician, json!({"do": "close_count", "case": case})).await;
    }
    served.round("SET-1").await;
    served
        .done(Role::Lead, json!({"do": "recall", "machine": "steriliser-1", "reason": "a door seal"}))
        .await;
    let answer = json!({"do": "answer_recall", "recall": "recall-0001", "scan": ["B-1"], "then": "clear", "outcome": "wiped and seen"});
    served.done(Role::Infection, answer).await;
    let who = served.house.add_person(&served.site, Some("p-1"), "Person One", Role::Infection, PASSWORD);
    who.await.expect("a person");
    walk(served, recall_prints).await;
}

async fn prints(keys: Keyboard, served: Arc<Served>) {
    let (_, loads) = served.get("loads?limit=1000").await;
    let all = loads["items"].as_array().expect("loads").iter();
    let mut failed = all.filter(|load| load["status"] == "judged").filter_map(|load| load["load"].as_str());
    let load = failed.next().expect("a load that failed").to_string();
    sign_in(&keys, &served, &format!("/loads/{load}")).await;
    keys.says("h1", &["may not be released", "reasons stand against it"]).await;
    for (name, width, height) in [("A4", 21.0, 29.7), ("Letter", 21.59, 27.94)] {
        let size = PrintSize { width, height };
        let settings = PrintConfigurationBuilder::default().size(size).build().expect("a size");
        let pdf = keys.client.print(settings).await.expect("a print");
        assert_eq!(pages(&pdf), 1, "{name}");
    }
}

/// A load whose record failed, out of a machine that was taken out of service, with everything said against it.
#[tokio::test(flavor = "multi_thread")]
async fn a_failed_load_prints_on_one_sheet() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.second_set().await;
    let step = |step: &str| json!({"do": "record_step", "step": step, "scan": ["SET-1"]});
    for name in ["treated", "received", "cleaned", "dried"] {
        served.done(Role::Lead, step(name)).await;
    }
    served.done(Role::Desk, json!({"do": "record_step", "step": "disinfected", "scan": ["T-1"]})).await;
    let wash = served.load("washer-1", "wash", "SET-1").await;
    let record = super::served::wash_record(700);
    served.done(Role::Desk, json!({"do": "judge_load", "load": wash, "record": record})).await;
    served.done(Role::Desk, json!({"do": "release_load", "load": wash})).await;
    served.done(Role::Desk, json!({"do": "inspect", "scan": ["SET-1"], "passed": true})).await;
    served.done(Role::Desk, step("packed")).await;
    let load = served.load("steriliser-1", "p134", "SET-1").await;
    served.done(Role::Desk, json!({"do": "judge_load", "load": load, "record": steam_record(20)})).await;
    let out = json!({"do": "machine_out", "machine": "steriliser-1", "reason": "its record failed twice this week"});
    served.done(Role::Lead, out).await;
    let who = served.house.add_person(&served.site, Some("p-1"), "Person One", Role::Lead, PASSWORD);
    who.await.expect("a person");
    walk(served, prints).await;
}

/// Names of other systems are as long as these make them: no page is wider for it, and several lines are settled by keyboard.
async fn long_lines(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/schedule").await;
    keys.says("h1", &["2 messages of the schedule wait"]).await;
    let unfold = "document.querySelectorAll('details.screen').forEach(it => it.open = true);";
    for page in ["/procedures", "/schedule"] {
        keys.client.goto(&format!("{}{page}", served.base)).await.expect("a page");
        for width in [1280, 1920, 500] {
            keys.client.set_window_size(width, 900).await.expect("a window");
            keys.client.execute(unfold, Vec::new()).await.expect("open");
            tokio::time::sleep(Duration::from_millis(300)).await;
            assert_eq!(number(&keys, BEYOND).await, 0, "{page} at {width} px");
        }
    }
    keys.client.set_window_size(1280, 900).await.expect("a window");
    for line in ["line-00001", "line-00002"] {
        keys.reach(&format!("lines:each={line}")).await;
        keys.press(Key::Space).await;
    }
    let counted = "return getComputedStyle(document.querySelector('.ticked'), '::before').content;";
    let words = keys.client.execute(counted, Vec::new()).await.expect("words");
    assert!(words.as_str().is_some_and(|text| text.contains("ticked")), "{words}");
    // Nothing is settled before it is said as what.
    keys.press(Key::Enter).await;
    tokio::time::sleep(Duration::from_millis(400)).await;
    keys.says("h1", &["2 messages of the schedule wait"]).await;
    keys.reach("outcome=not_ours").await;
    keys.press(Key::Space).await;
    keys.enter_on("Settle what is ticked").await;
    keys.says("h1", &["Nothing of the schedule waits"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn long_names_of_a_schedule_make_no_page_wider() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    for letter in ["x", "y"] {
        let schedule = json!({"sender": "s".repeat(200), "filler": letter.repeat(200), "room": "r".repeat(200),
                              "codes": [{"code": "c".repeat(200), "name": "n".repeat(200)}]});
        let kept = json!({"do": "keep_schedule_message", "trigger": "S12", "control_id": "m".repeat(200), "schedule": schedule,
                          "why": ["w".repeat(300)], "answered": "AE", "message": "MSH|"});
        served.done(Role::Charge, kept).await;
        let plan = json!({"do": "plan_case", "case": letter.repeat(64), "start": "2999-03-03T09:00:00Z", "minutes": 45,
                          "needs": [], "schedule": schedule});
        served.done(Role::Charge, plan).await;
    }
    let who = served.house.add_person(&served.site, Some("p-1"), "Person One", Role::Charge, PASSWORD);
    who.await.expect("a person");
    walk(served, long_lines).await;
}
