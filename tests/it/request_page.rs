//! A request as people meet it: one press on the board, the answer at the desk, and what the board shows of it; with plain
//! forms, and by the keyboard alone.

use std::time::{Duration, Instant};

use fantoccini::key::Key;
use fettle::domain::person::Role;
use reqwest::Client;
use serde_json::{Value, json};

use super::browser::{Keyboard, PASSWORD};
use super::page::{act, csrf, open, person, read};
use super::served::{BOTH, Kind, Served};

/// A department whose only set is soiled, a case an hour from now, and a site that borrows within five minutes: by what is
/// usual nothing of the house is ready in time, so that borrowing helps.
async fn short(served: &Served) {
    served.furnish().await;
    served.done(Role::Admin, json!({"do": "set_policy", "borrow_minutes": 5})).await;
    let start = (chrono::Utc::now() + chrono::TimeDelta::minutes(60)).to_rfc3339();
    let plan = json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 60, "needs": ["adult"]});
    served.done(Role::Charge, plan).await;
}

/// The board once its forecast is worked out.
async fn forecast(client: &Client, served: &Served) -> String {
    let begun = Instant::now();
    loop {
        let (status, _, page) = open(client, served, "/board").await;
        assert_eq!(status, 200, "{page}");
        // What the desk cannot do is offered no more.
        if page.contains("Would help") || page.contains("Nobody lends one") {
            return page;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "no act is told: {page}");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

/// What the button sends that says this.
fn button(page: &str, says: &str) -> String {
    let at = page.find(says).unwrap_or_else(|| panic!("no \"{says}\" in {page}"));
    let value = page[..at].rsplit_once("value=\"").expect("a button with its fields").1;
    let value = value.split('"').next().expect("its end");
    value.replace("&#34;", "\"").replace("&quot;", "\"")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_board_asks_and_the_desk_answers() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        short(&served).await;
        let (charge, desk) = (person(&served, Role::Charge).await, person(&served, Role::Desk).await);
        let page = forecast(&charge, &served).await;
        let sends = button(&page, "Ask the desk: borrow a set “Adult”");
        // Whoever may not ask sees the sentence alone.
        let seen = forecast(&desk, &served).await;
        assert!(seen.contains(" no-ask\"") && !seen.contains("id=\"asks\""), "{seen}");
        assert!(!page.contains(" no-ask\""), "{page}");
        // Pressed twice, it is asked once.
        for _ in 0..2 {
            let fields = [("back", "/board"), ("ask:fields", sends.as_str())];
            let (status, _, page) = act(&charge, &served, &fields).await;
            assert_eq!(status, 200, "{page}");
            assert!(page.contains("Asked of the desk by charge-9, "), "{page}");
            assert!(!page.contains("Ask the desk: borrow"), "what was asked is not offered again: {page}");
        }
        let (_, list) = served.get("requests?open=true").await;
        assert_eq!(list["items"].as_array().expect("a list").len(), 1, "{list}");
        assert_eq!(list["items"][0]["status"], "sent");
        // It stands at the desk, in words, and an answer without a reason is refused, whole.
        let (_, _, page) = open(&desk, &served, "/desk").await;
        assert!(page.contains("The board asks for one thing"), "{page}");
        assert!(page.contains("Borrow a set “Adult”, for case K-1 "), "{page}");
        let again =
            json!({"do": "answer_request", "request": "request-00001", "answer": "cannot"}).to_string();
        let sent = |reason: &'static str| {
            [
                ("csrf", csrf(&page)),
                ("again", again.clone()),
                ("reason", reason.into()),
                ("station", "sink 1".into()),
            ]
        };
        let post = |fields: [(&'static str, String); 4]| {
            desk.post(format!("{}/desk", served.base)).form(&fields).send()
        };
        let (status, _, refused) = read(post(sent(" ")).await.expect("an answer")).await;
        assert_eq!(status, 409, "{refused}");
        assert!(refused.contains("A reason in words is needed"), "{refused}");
        let (status, _, answered) = read(post(sent("Nobody lends one.")).await.expect("an answer")).await;
        assert_eq!(status, 200, "{answered}");
        assert!(answered.contains("request-00001: answered, cannot. Entry "), "{answered}");
        assert!(answered.contains("value=\"sink 1\""), "the station is not lost: {answered}");
        assert!(!answered.contains("The board asks"), "{answered}");
        // The board shows it beside the case; the case's history has it; it may be taken back.
        let page = forecast(&charge, &served).await;
        assert!(page.contains("can&#39;t be done") || page.contains("can't be done"), "{page}");
        assert!(page.contains("desk-9, ") && page.contains(": Nobody lends one."), "{page}");
        let (_, _, case) = open(&charge, &served, "/cases/K-1").await;
        assert!(case.contains("request-00001 answered by the desk: "), "{case}");
        let (_, board) = served.get("board").await;
        assert_eq!(board["cases"][0]["requests"][0]["answers"][0]["because"], "Nobody lends one.");
        let back = button(&page, "Take request-00001 back");
        let (status, _, page) =
            act(&charge, &served, &[("back", "/board"), ("ask:fields", back.as_str())]).await;
        assert!(status == 200 && !page.contains("Asked of the desk by"), "{page}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_queue_takes_an_answer_by_a_plain_form() {
    let served = Served::start(Kind::Embedded).await;
    short(&served).await;
    let lead = person(&served, Role::Lead).await;
    let send = json!({"do": "send_request", "kind": "take_next", "case": "K-1", "set": "SET-1"});
    served.done(Role::Charge, send).await;
    let (_, _, page) = open(&lead, &served, "/queue").await;
    assert!(page.contains("Take set SET-1 before everything else at each step, for case K-1 "), "{page}");
    assert!(page.contains("<a href=\"/sets/SET-1\">") && page.contains("Accept request-00001"), "{page}");
    let fields =
        [("do", "answer_request"), ("back", "/queue"), ("request", "request-00001"), ("answer", "accepted")];
    let (status, _, page) = act(&lead, &served, &fields).await;
    assert!(status == 200 && page.contains("accepted") && !page.contains("Accept request-00001"), "{page}");
    assert!(page.contains("request-00001 is done"), "{page}");
    // Others read it, and answer nothing.
    let auditor = person(&served, Role::Auditor).await;
    let (_, _, page) = open(&auditor, &served, "/queue").await;
    assert!(page.contains("The board asks for one thing") && !page.contains("is done</button>"), "{page}");
    let (_, one) = served.get("requests/request-00001").await;
    assert_eq!((&one["status"], &one["answers"][0]["answer"]), (&json!("accepted"), &json!("accepted")));
    let (status, none) = served.get("requests/request-00009").await;
    assert_eq!((status, &none["code"]), (404, &json!("unknown_thing")));
    served.stop().await;
}

async fn signed_in(keys: &Keyboard, served: &Served, code: &str) {
    keys.client.goto(&format!("{}/sign-in", served.base)).await.expect("the page");
    keys.type_in(code).await;
    keys.press(Key::Tab).await;
    keys.type_in(PASSWORD).await;
    keys.press(Key::Enter).await;
    keys.says(".who", &["Sign out"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_goes_to_the_desk_and_back_by_the_keyboard_alone() {
    let served = Served::start(Kind::Embedded).await;
    short(&served).await;
    for (code, role) in [("charge-9", Role::Charge), ("desk-9", Role::Desk)] {
        served
            .house
            .add_person(&served.site, Some(code), "Somebody Nine", role, PASSWORD)
            .await
            .expect("a person");
    }
    let profile = tempfile::tempdir().expect("a folder");
    let path = profile.path().to_str().expect("a path").to_string();
    let charge = Keyboard::phone(&format!("{path}/charge")).await;
    signed_in(&charge, &served, "charge-9").await;
    charge.client.goto(&format!("{}/board", served.base)).await.expect("the board");
    charge.says("#live", &["Would help: Borrow a set"]).await;
    charge.enter_on("Ask the desk: borrow a set").await;
    charge.says("#live", &["Asked of the desk by charge-9", "not answered yet"]).await;
    let desk = Keyboard::start(&format!("{path}/desk")).await;
    signed_in(&desk, &served, "desk-9").await;
    desk.client.goto(&format!("{}/desk", served.base)).await.expect("the desk");
    desk.says(".asked", &["The board asks for one thing"]).await;
    assert!(desk.focus().await.contains("scan="), "the scan field has the focus");
    // The requests stand above the scan field: backwards from it, or all the way round.
    desk.enter_on("Answer request-00001|").await;
    desk.enter_on("Accept request-00001|").await;
    desk.says(".band", &["Recorded.", "request-00001: answered, accepted."]).await;
    desk.says(".asked", &["accepted"]).await;
    charge.says("#live", &["accepted", "desk-9"]).await;
    for keys in [charge, desk] {
        keys.client.close().await.expect("an end");
    }
    let (_, one) = served.get("requests/request-00001").await;
    assert_eq!(one["answers"].as_array().map(Vec::len), Some(1), "{one}");
    assert_eq!(one["answers"][0]["by"], Value::from("desk-9"));
    served.stop().await;
}
