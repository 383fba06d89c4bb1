//! A case as the charge nurse sees it: planned, equipped by the desk, issued, counted one cap short; in a real browser
//! with the keyboard only. And the board's page as a wall that asks for it every few seconds.
//!
//! The count before the patient leaves is the sign-out of the WHO surgical safety checklist (2009).

use fantoccini::key::Key;
use fettle::domain::person::Role;
use reqwest::{StatusCode, header};
use serde_json::json;

use super::browser::{Keyboard, PASSWORD, hidden};
use super::served::{Kind, Served};

/// What the browser's field for a day and an hour takes as typed, in the site's zone and an American keyboard's order.
fn in_half_an_hour() -> String {
    let at = chrono::Utc::now() + chrono::TimeDelta::minutes(30);
    let local = at.with_timezone(&chrono_tz::Europe::Berlin);
    let tab = char::from(Key::Tab);
    format!("{}{tab}{}", local.format("%m%d%Y"), local.format("%I%M%p"))
}

async fn sign_in(keys: &Keyboard, served: &Served) {
    keys.client.goto(&format!("{}/sign-in", served.base)).await.expect("the page");
    keys.type_in("charge-9").await;
    keys.press(Key::Tab).await;
    keys.type_in(PASSWORD).await;
    keys.press(Key::Enter).await;
    keys.says("h1", &["No case is planned for today."]).await;
}

async fn plan(keys: &Keyboard) {
    keys.enter_on("Cases|").await;
    keys.says("#plan h2", &["Plan a case"]).await;
    keys.reach("case=K-0001").await;
    keys.reach("start:local=").await;
    keys.type_in(&in_half_an_hour()).await;
    keys.reach("needs:each=").await;
    keys.press(Key::Down).await;
    // The risk is asked of every case.
    keys.reach("risk=").await;
    keys.press(Key::Down).await;
    keys.reach("patient=").await;
    keys.type_in("P-4711").await;
    keys.press(Key::Enter).await;
    // What is soiled now is not ready in half an hour.
    keys.says("h1", &["Case K-0001 starts", "not ready"]).await;
    let page = keys.client.source().await.expect("a page");
    let address = keys.client.current_url().await.expect("an address");
    assert!(!page.contains("P-4711") && !address.as_str().contains("P-4711"), "{address}");
    keys.enter_on("Keep SET-1 for this case").await;
    keys.says("main", &["kept for this case"]).await;
}

/// What says "not accounted for" on this page is red, and wears the dashed circle.
pub async fn is_loud(keys: &Keyboard, page: &str) {
    let script = "const all = [...document.querySelectorAll('main .say')];
        const it = all.find((say) => say.textContent.includes('not accounted for'));
        return it ? [getComputedStyle(it).color, Boolean(it.querySelector('svg circle[stroke-dasharray]'))] : null;";
    let found = keys.client.execute(script, Vec::new()).await.expect("an answer");
    let colour = found[0].as_str().unwrap_or_else(|| panic!("{page} does not say it"));
    let parts: Vec<u32> =
        colour.split(|c: char| !c.is_ascii_digit()).filter_map(|n| n.parse().ok()).collect();
    assert!(parts[0] > 2 * parts[1] && parts[0] > 2 * parts[2], "{page}: {colour} is no red");
    assert_eq!(found[1], true, "{page}: the shape repeats the word");
}

async fn count_one_short(keys: &Keyboard) {
    keys.reach("B-1:into=").await;
    keys.press(Key::Space).await;
    keys.reach("C-1:into=").await;
    for _ in 0..3 {
        keys.press(Key::Down).await;
    }
    assert!(keys.focus().await.contains("missing=C-1"), "the arrows walk through the choices");
    keys.reach("T-1:into=").await;
    keys.press(Key::Space).await;
    keys.enter_on("Close the count of K-0001").await;
    keys.says("h1", &["Case K-0001: C-1 is not accounted for."]).await;
    keys.says("#missing", &["search, tell the surgeon, image by local policy, before the patient leaves."])
        .await;
}

async fn journey(keys: &Keyboard, served: &Served) {
    sign_in(keys, served).await;
    plan(keys).await;
    keys.enter_on("Board|").await;
    keys.says("main", &["K-0001", "not ready", "after the case begins", "0 of 1 set are ready."]).await;
    // The desk works elsewhere; nobody touches this screen.
    served.round("SET-1").await;
    keys.says("main", &["K-0001", "1 of 1 set is ready."]).await;
    keys.enter_on("K-0001|").await;
    keys.says("h1", &["Case K-0001 starts", ": ready."]).await;
    assert!(keys.focus().await.contains("scan="), "the scan field has the focus");
    keys.type_in("SET-1").await;
    keys.press(Key::Enter).await;
    keys.says("h1", &["is under way: 3 parts are out"]).await;
    count_one_short(keys).await;
    is_loud(keys, "the case").await;
    for (page, says) in [
        ("board", "Not accounted for: cap C-1 ("),
        ("sets/SET-1", "Set SET-1 is"),
        ("assets/C-1", "Cap C-1 is not accounted for."),
    ] {
        keys.client.goto(&format!("{}/{page}", served.base)).await.expect("the page");
        keys.says("h1", &[says]).await;
        is_loud(keys, page).await;
        keys.says("main", &["K-0001"]).await;
    }
    keys.reach("outcome=").await;
    keys.press(Key::Down).await;
    keys.enter_on("Name the outcome").await;
    keys.says("main", &["Outcome of the search: seen to be discarded."]).await;
    keys.enter_on("Board|").await;
    let heading = keys.says("h1", &["No case is planned for today."]).await;
    assert!(!heading.contains("Not accounted"), "an outcome quiets the alert: {heading}");
    is_loud(keys, "the open list").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_case_is_planned_and_counted_by_keyboard_alone() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let added =
        served.house.add_person(&served.site, Some("charge-9"), "Charge Nine", Role::Charge, PASSWORD).await;
    added.expect("a person");
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::start(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let base = std::sync::Arc::new(served);
    let walked = {
        let served = base.clone();
        tokio::spawn(async move { journey(&keys, &served).await }).await
    };
    client.close().await.expect("the browser closes");
    if let Err(error) = walked {
        std::panic::resume_unwind(error.into_panic());
    }
    assert_eq!(base.asset("C-1").await["standing"], "missing");
    base.sound().await;
}

/// Somebody who is signed in without a browser.
struct Visit {
    client: reqwest::Client,
    base: String,
    csrf: String,
}

impl Visit {
    async fn of(served: &Served, role: Role) -> Visit {
        let code = served.house.add_person(&served.site, None, role.name(), role, PASSWORD).await;
        let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
        let base = served.base.clone();
        let form =
            [("site", served.site.as_str()), ("person", &code.expect("a person")), ("password", PASSWORD)];
        let asked = client.post(format!("{base}/sign-in")).form(&form).send().await.expect("an answer");
        let page = super::served::whole(asked).await;
        let csrf = hidden(&page, "csrf").to_string();
        Visit { client, base, csrf }
    }

    /// The page's status, its tag and its text.
    async fn get(&self, path: &str, tag: &str) -> (StatusCode, String, String) {
        let asked = self.client.get(format!("{}{path}", self.base)).header(header::IF_NONE_MATCH, tag);
        let answer = asked.send().await.expect("an answer");
        let tag = answer.headers().get(header::ETAG).and_then(|tag| tag.to_str().ok());
        let tag = tag.unwrap_or_default().to_string();
        (answer.status(), tag, super::served::whole(answer).await)
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> (StatusCode, String, String) {
        let all: Vec<(&str, &str)> =
            [("csrf", self.csrf.as_str())].into_iter().chain(fields.iter().copied()).collect();
        let answer =
            self.client.post(format!("{}{path}", self.base)).form(&all).send().await.expect("an answer");
        let at = answer.url().path().to_string();
        (answer.status(), at, super::served::whole(answer).await)
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_board_answers_304_while_nothing_it_shows_changed() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.done(Role::Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1})).await;
    let charge = Visit::of(&served, Role::Charge).await;
    for path in ["/board", "/board/wall"] {
        let mut is_same = false;
        // What is expected is worked out anew with each minute: a try that meets its end is made again.
        for n in 0..3 {
            served.get("forecast").await;
            let (status, tag, page) = charge.get(path, "\"none\"").await;
            assert!(status == 200 && page.contains("No set for an emergency: “Adult”."), "{path}: {page}");
            let unchanged = charge.get(path, &tag).await.0;
            // An entry that the board does not show leaves it as it is.
            let spare = format!("C-{}-{n}", path.len());
            served.done(Role::Lead, json!({"do": "add_asset", "asset": spare, "model": "cap"})).await;
            served.get("forecast").await;
            if (unchanged, charge.get(path, &tag).await.0)
                == (StatusCode::NOT_MODIFIED, StatusCode::NOT_MODIFIED)
            {
                is_same = true;
                break;
            }
        }
        assert!(is_same, "{path}");
    }
    served.get("forecast").await;
    let (_, tag, _) = charge.get("/board", "\"none\"").await;
    served.done(Role::Desk, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
    let (status, next, page) = charge.get("/board", &tag).await;
    assert!(status == 200 && next != tag && page.contains("pre-cleaned at point of use"), "{page}");
    served.get("forecast").await;
    let (_, next, _) = if charge.get("/board", &next).await.0 == 304 {
        (status, next, page)
    } else {
        charge.get("/board", "\"none\"").await
    };
    assert_eq!(charge.get("/board", &next).await.0, 304);
    // The name of a count sheet is shown, though the board's own facts do not hold it.
    let line = json!({"line": "barrel", "family": "bronchoscope", "quantity": 1, "essential": true});
    let cap = json!({"line": "cap", "family": "cap", "quantity": 1, "essential": false});
    let optics = json!({"line": "telescope", "family": "telescope", "quantity": 1, "essential": true, "pack": "optics"});
    let renamed = json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Grown-up", "lines": [line, cap, optics]});
    served.done(Role::Lead, renamed).await;
    let (status, newest, page) = charge.get("/board", &next).await;
    assert!(status == 200 && page.contains("Grown-up"), "{page}");
    // Another person's page is another page: it carries their name and their forms.
    let other = Visit::of(&served, Role::Charge).await;
    assert_eq!(other.get("/board", &newest).await.0, 200);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_emergency_takes_what_is_on_hold_beside_a_second_person() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let hold = json!({"do": "hold", "kind": "quality", "reason": "image dim for P-4711", "scan": "T-1"});
    served.done(Role::Charge, hold).await;
    let clinician = Visit::of(&served, Role::Clinician).await;
    let (_, _, page) = clinician.get("/emergency", "\"none\"").await;
    assert!(page.contains("No set is ready."), "{page}");
    let (_, _, wall) = clinician.get("/board/wall", "\"none\"").await;
    assert!(wall.contains("on hold") && !wall.contains("image dim"), "{wall}");
    let asked = [
        ("do", "issue"),
        ("scan", "SET-1"),
        ("emergency:bool", "true"),
        ("back", "/emergency"),
        ("onward", "/cases/{made}"),
    ];
    let (status, _, page) = clinician.post("/act", &asked).await;
    assert!(status == 409 && page.contains("<b>ON HOLD</b>") && page.contains("SET-1"), "{page}");
    let code = ("override.code", hidden_button(&page));
    let alone = [&asked[..], &[code, ("override.reason", "no other telescope in the house")]].concat();
    let (status, _, page) = clinician.post("/act", &alone).await;
    assert!(
        status == 409 && page.contains("no other telescope in the house"),
        "nothing typed is lost: {page}"
    );
    let both = [&alone[..], &[("override.second_person", "Dr. Example")]].concat();
    let (status, at, page) = clinician.post("/act", &both).await;
    assert!(status == 200 && at == "/cases/emergency-0001", "{at}: {page}");
    assert!(
        page.contains("<b>ON HOLD because image dim for P-4711</b>") && page.contains("3 parts are out"),
        "{page}"
    );
    served.stop().await;
}

/// The code of the button that sets a rule aside.
fn hidden_button(page: &str) -> &str {
    let from = page.split("name=\"override.code\" value=\"").nth(1).expect("a button");
    from.split('"').next().unwrap_or_default()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_patients_reference_is_read_on_demand_alone() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let start = (chrono::Utc::now() + chrono::TimeDelta::hours(1)).to_rfc3339();
    served
        .done(Role::Charge, json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 60, "needs": ["adult"], "patient": "P-4711"}))
        .await;
    let charge = Visit::of(&served, Role::Charge).await;
    let (_, _, page) = charge.get("/cases/K-1", "\"none\"").await;
    assert!(page.contains("the reading is logged") && !page.contains("P-4711"), "{page}");
    let (status, at, page) = charge.post("/cases/K-1/patient", &[]).await;
    assert!(status == 200 && at == "/cases/K-1/patient" && page.contains("<b>P-4711</b>"), "{page}");
    let clinician = Visit::of(&served, Role::Clinician).await;
    let (status, _, page) = clinician.post("/cases/K-1/patient", &[]).await;
    assert!(status == 403 && !page.contains("P-4711"), "{page}");
    served.stop().await;
}
