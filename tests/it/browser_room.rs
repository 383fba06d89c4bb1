//! A case in the room on a phone of 360 px, by keyboard alone: the check, a defect in two taps, a closing count one cap
//! short, red until an outcome is named; a phone that loses its network; and the desk that hears what was reported.
//!
//! Instrument counts and equipment problems are the sign-out of the WHO surgical safety checklist (2009, from memory).

use fantoccini::key::Key;
use fettle::domain::person::Role::{Charge, Clinician, Desk};
use serde_json::{Value, json};

use super::attachment::form as form_with_picture;
use super::browser::{Keyboard, PASSWORD};
use super::browser_back::signed_in;
use super::browser_case::is_loud;
use super::case::{issue, plan};
use super::served::{BOTH, Kind, Served, whole};

const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR of a torn cap";

/// Keeps a picture for whoever stands at the table; answers its name.
async fn keep_picture(served: &Served) -> Value {
    keep(served, PNG).await
}

async fn keep(served: &Served, bytes: &[u8]) -> Value {
    let url = format!("{}/api/v1/{}/attachments", served.base, served.site);
    let ask = served.client.post(url).bearer_auth(served.token(Clinician)).body(bytes.to_vec());
    let told: Value = ask.send().await.expect("an answer").json().await.expect("JSON");
    told["sha256"].clone()
}

/// What is told in the room: a check with a failed line, its picture, the report withdrawn, swabs counted in, one
/// swab short.
pub async fn every_kind(served: &Served) {
    served.done(Charge, json!({"do": "plan_case", "case": "K-3", "start": "2999-03-02T08:00:00Z", "minutes": 45, "needs": []})).await;
    let lines = json!([{"line": "camera", "result": "passed"}, {"line": "caps whole", "result": "failed", "asset": "C-2"}]);
    let told = served.done(Clinician, json!({"do": "record_check", "case": "K-3", "lines": lines})).await;
    let finding = told["made"].clone();
    let photo = keep_picture(served).await;
    let add = json!({"do": "add_photo", "finding": finding, "photo": photo});
    served.done(Clinician, add.clone()).await;
    served.refused(Clinician, add, "already_done").await;
    let unknown = json!({"do": "add_photo", "finding": finding, "photo": "0".repeat(64)});
    served.refused(Clinician, unknown, "unknown_thing").await;
    // A document is kept as an attachment, and is no picture of a defect.
    let document = keep(served, b"%PDF-1.7 of a repair order").await;
    let (status, told) =
        served.post(Clinician, json!({"do": "add_photo", "finding": finding, "photo": document})).await;
    assert_eq!((status, told["errors"][0]["pointer"].as_str()), (422, Some("/photo")), "{told}");
    assert!(
        told["errors"][0]["detail"].as_str().is_some_and(|it| it.contains("PNG, JPEG or WebP")),
        "{told}"
    );
    served.done(Clinician, json!({"do": "withdraw_finding", "finding": finding})).await;
    let count = |more: Value, name: &str| json!({"do": name, "case": "K-3", "others": [more]});
    let mut opening = count(json!({"line": "swabs", "in": 5}), "record_count");
    opening["moment"] = json!("opening");
    served.done(Clinician, opening).await;
    served.done(Charge, count(json!({"line": "swabs", "out": 4}), "close_count")).await;
    let (_, board) = served.get("board").await;
    assert_eq!(board["lines_not_back"][0]["lacks"], 1, "{board}");
    let close = json!({"do": "close_missing", "case": "K-3", "line": "swabs", "outcome": "not_found", "person": "Dr One"});
    served.done(Charge, close).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_told_in_the_room_is_answered_by_the_api() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        every_kind(&served).await;
        let (_, told) = served.get("cases/K-3").await;
        assert_eq!(told["check"]["told"].as_array().map(Vec::len), Some(2), "{told}");
        assert_eq!(told["check"]["told"][1]["taken_back"], true, "{told}");
        assert_eq!(
            told["not_back"],
            json!([{"line": "swabs", "lacks": 1, "outcome": "not_found"}]),
            "{told}"
        );
        assert_eq!(told["counts"][0]["moment"], "opening");
        let (_, findings) = served.get("findings").await;
        assert_eq!(findings["items"][0]["became"], json!({"fate": "withdrawn"}), "{findings}");
        assert_eq!(findings["items"][0]["photos"].as_array().map(Vec::len), Some(1), "{findings}");
        served.sound().await;
        served.stop().await;
    }
}

async fn at_the_table(served: &Served) {
    served.furnish().await;
    served.round("SET-1").await;
    served.done(Charge, plan("K-1", 1)).await;
    served.done(Charge, issue("K-1", "SET-1")).await;
    served.done(Clinician, json!({"do": "open", "case": "K-1", "scan": "SET-1"})).await;
}

/// The page is no wider than the phone.
async fn fits(keys: &Keyboard, page: &str) {
    let script = "return [document.documentElement.scrollWidth, document.documentElement.clientWidth];";
    let found = keys.client.execute(script, Vec::new()).await.expect("an answer");
    let (wide, screen) = (found[0].as_u64(), found[1].as_u64());
    assert!(screen <= Some(360) && wide <= screen, "{page} is {wide:?} px wide on {screen:?}");
}

async fn checks(keys: &Keyboard, served: &Served) {
    keys.client.goto(&format!("{}/cases/K-1/room", served.base)).await.expect("the page");
    keys.says("h1", &["the function check is not recorded yet."]).await;
    fits(keys, "the room").await;
    keys.enter_on("Passed|").await;
    keys.says("#check-camera", &["passed, ", "by charge-9"]).await;
    // The network goes away: the tap is kept on the phone, and sent once when it is back.
    let lost = "window.fetch = () => Promise.reject(new TypeError('no network'));";
    keys.client.execute(lost, Vec::new()).await.expect("an answer");
    keys.reach("Passed|").await;
    keys.reach("Not applicable|").await;
    keys.enter_on("Passed|").await;
    keys.says("#waiting", &["Not recorded yet: light: passed", "kept on this phone"]).await;
    keys.says("#check-light", &["not told yet"]).await;
    keys.client.refresh().await.expect("the page again");
    keys.says("#check-light", &["passed, ", "by charge-9"]).await;
    assert_eq!(keys.text("#waiting").await, "", "nothing waits any more");
    let (_, told) = served.get("cases/K-1").await;
    assert_eq!(told["check"]["told"].as_array().map(Vec::len), Some(2), "each tap once: {told}");
}

/// The first tap chooses the part, the second the word.
async fn finds(keys: &Keyboard) {
    keys.enter_on("C-1 cap|").await;
    keys.says("h1", &["What is wrong with cap C-1?"]).await;
    fits(keys, "the report").await;
    keys.enter_on("torn|").await;
    keys.says("#report", &["torn", "on hold"]).await;
    keys.says("#report .reports", &["Take back finding-0001"]).await;
}

async fn counts_one_short(keys: &Keyboard, served: &Served) {
    keys.client.goto(&format!("{}/cases/K-1", served.base)).await.expect("the page");
    keys.says("#checked", &["The function check lacks"]).await;
    fits(keys, "the case").await;
    keys.reach("B-1:into=").await;
    keys.press(Key::Space).await;
    keys.reach("C-1:into=").await;
    // back, a piece missing, not back: it was opened, so it does not go back unopened.
    for _ in 0..2 {
        keys.press(Key::Down).await;
    }
    assert!(keys.focus().await.contains("missing=C-1"), "{}", keys.focus().await);
    keys.reach("T-1:into=").await;
    keys.press(Key::Space).await;
    keys.enter_on("Close the count of K-1").await;
    keys.says("h1", &["Case K-1: C-1 is not accounted for."]).await;
    keys.says("#missing", &["search, tell the surgeon, image by local policy, before the patient leaves."])
        .await;
    for page in ["cases/K-1", "board", "cases/K-1/room"] {
        keys.client.goto(&format!("{}/{page}", served.base)).await.expect("the page");
        keys.says("main", &["C-1", "ot accounted for"]).await;
    }
    keys.client.goto(&format!("{}/cases/K-1", served.base)).await.expect("the page");
    is_loud(keys, "the case").await;
    keys.reach("outcome=").await;
    keys.press(Key::Down).await;
    keys.enter_on("Name the outcome for C-1").await;
    keys.says("#missing", &["outcome: seen to be discarded"]).await;
    keys.client.goto(&format!("{}/board", served.base)).await.expect("the page");
    let heading = keys.text("h1").await;
    assert!(!heading.contains("Not accounted"), "an outcome quiets the alert: {heading}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_case_is_checked_reported_and_counted_on_a_phone_by_keyboard() {
    let served = Served::start(Kind::Embedded).await;
    at_the_table(&served).await;
    let added =
        served.house.add_person(&served.site, Some("charge-9"), "Charge Nine", Charge, PASSWORD).await;
    added.expect("a person");
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::phone(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let base = std::sync::Arc::new(served);
    let walked = {
        let served = base.clone();
        tokio::spawn(async move {
            keys.client.goto(&format!("{}/sign-in", served.base)).await.expect("the page");
            keys.type_in("charge-9").await;
            keys.press(Key::Tab).await;
            keys.type_in(PASSWORD).await;
            keys.press(Key::Enter).await;
            keys.says("main", &["K-1"]).await;
            checks(&keys, &served).await;
            finds(&keys).await;
            counts_one_short(&keys, &served).await;
        })
        .await
    };
    client.close().await.expect("the browser closes");
    if let Err(error) = walked {
        std::panic::resume_unwind(error.into_panic());
    }
    assert_eq!(base.asset("C-1").await["standing"], "missing");
    base.sound().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_desk_hears_what_was_reported_and_the_reporter_what_became_of_it() {
    let served = Served::start(Kind::Embedded).await;
    at_the_table(&served).await;
    for (code, role) in [("scrub", Clinician), ("desk-1", Desk)] {
        served.house.add_person(&served.site, Some(code), code, role, PASSWORD).await.expect("a person");
    }
    let (scrub, csrf) = signed_in(&served, "scrub").await;
    let page = async |client: &reqwest::Client, path: &str| {
        let answer = client.get(format!("{}{path}", served.base)).send().await.expect("an answer");
        whole(answer).await
    };
    let text = page(&scrub, "/report?case=K-1&part=T-1&dim=1").await;
    assert!(text.contains("The image of telescope T-1 is dim. What makes it so?"), "{text}");
    let form = [
        ("csrf", csrf.as_str()),
        ("do", "report_finding"),
        ("scan", "T-1"),
        ("what", "image dim; cable, source and camera are good"),
        ("severity", "stop"),
        ("case", "K-1"),
        ("back", "/report"),
        ("onward", "/cases/K-1/room#report"),
    ];
    let answer = scrub.post(format!("{}/act", served.base)).form(&form).send().await.expect("an answer");
    assert_eq!(answer.url().path(), "/cases/K-1/room");
    let url = format!("{}/reports/finding-0001/picture", served.base);
    let fields = [("csrf", csrf.as_str()), ("back", "/reports")];
    let (_, text) = form_with_picture(&scrub, &url, &fields, Some(PNG)).await;
    assert!(text.contains("<img class=\"photo\"") && text.contains("No patient in the picture."), "{text}");
    let (status, text) = form_with_picture(&scrub, &url, &fields, Some(b"%PDF-1.7 of an order")).await;
    assert!(status == 422 && text.contains("Only pictures are taken here"), "{status} {text}");
    let (status, _) = form_with_picture(&scrub, &url, &fields, Some(b"words")).await;
    assert_eq!(status, 422, "what is no picture is told so");
    served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
    let (desk, csrf) = signed_in(&served, "desk-1").await;
    let form = [("csrf", csrf.as_str()), ("scan", "SET-1"), ("step", "step:received")];
    let answer = desk.post(format!("{}/desk", served.base)).form(&form).send().await.expect("an answer");
    let text = whole(answer).await;
    let loud = "<p class=\"reported\" role=\"alert\">T-1 was reported at case K-1";
    assert!(text.contains(loud) && text.contains("image dim; cable, source and camera are good"), "{text}");
    assert!(page(&scrub, "/reports").await.contains("until biomed or the lead has looked into it"));
    let (_, due) = served.get("due").await;
    let due = due["items"].as_array().or(due.as_array()).expect("a list").clone();
    assert!(due.iter().any(|it| it["asset"] == "T-1" && it["why"] == "reported"), "{due:?}");
    served.sound().await;
    served.stop().await;
}
