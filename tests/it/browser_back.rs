//! Two people who look back: the biomedical engineer takes a worn cap out of service, infection prevention traces a load
//! to the case that opened it. Both by keyboard alone; and what hostile addresses and texts do to the pages.

use fantoccini::key::Key;
use fantoccini::wd::PrintConfiguration;
use fettle::domain::person::Role::{self, Biomed, Charge, Clinician, Desk, Infection, Lead};
use reqwest::header;
use serde_json::json;

use super::browser::{Keyboard, PASSWORD, hidden};
use super::served::{Kind, Served};

/// A department whose caps are essential, with its set ready and a person of the role.
async fn furnished(role: Role) -> Served {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let line = |line: &str, family: &str, pack: &str| json!({"line": line, "family": family, "quantity": 1, "essential": true, "pack": pack});
    let lines = [
        line("barrel", "bronchoscope", "tray"),
        line("cap", "cap", "tray"),
        line("telescope", "telescope", "optics"),
    ];
    let sheet = json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult", "lines": lines});
    served.done(Lead, sheet).await;
    served.round("SET-1").await;
    served.house.add_person(&served.site, Some("p-1"), "Person One", role, PASSWORD).await.expect("a person");
    served
}

/// The set goes to a case, whose patient is named, and comes back.
async fn to_a_case(served: &Served) {
    let start = (chrono::Utc::now() + chrono::TimeDelta::hours(1)).to_rfc3339();
    let plan = json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 60, "needs": ["adult"], "patient": "REF-4711"});
    served.done(Charge, plan).await;
    served.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"})).await;
    served.done(Clinician, json!({"do": "open", "case": "K-1", "scan": "SET-1"})).await;
    served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
    served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
}

/// The load that a machine ran.
async fn load_of(served: &Served, machine: &str) -> String {
    let (_, loads) = served.get("loads").await;
    let items = loads["items"].as_array().expect("loads");
    let load = items.iter().find(|load| load["machine"] == machine).expect("a load of the machine");
    load["load"].as_str().expect("an id").to_string()
}

pub async fn walk<F: Future<Output = ()> + Send + 'static>(
    served: Served,
    journey: impl FnOnce(Keyboard, std::sync::Arc<Served>) -> F,
) -> std::sync::Arc<Served> {
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::start(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let served = std::sync::Arc::new(served);
    let walked = tokio::spawn(journey(keys, served.clone())).await;
    // The browser goes first, whatever became of the journey.
    client.close().await.expect("the browser closes");
    if let Err(error) = walked {
        std::panic::resume_unwind(error.into_panic());
    }
    served
}

pub async fn sign_in(keys: &Keyboard, served: &Served, back: &str) {
    keys.client.goto(&format!("{}{back}", served.base)).await.expect("the page");
    keys.type_in("p-1").await;
    keys.press(Key::Tab).await;
    keys.type_in(PASSWORD).await;
    keys.press(Key::Enter).await;
}

async fn retires(keys: Keyboard, served: std::sync::Arc<Served>) {
    sign_in(&keys, &served, "/sets/SET-1").await;
    keys.says("h1", &["Set SET-1 is ready."]).await;
    keys.enter_on("C-1|").await;
    keys.says("h1", &["C-1 is ready", "It belongs to set SET-1"]).await;
    keys.enter_on("Retire C-1 for good").await;
    keys.says("h1", &["C-1 is retired."]).await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    keys.client.goto(&format!("{}/sets/SET-1", served.base)).await.expect("the page");
    keys.says("h1", &["Set SET-1 is not ready.", "It lacks cap."]).await;
    keys.client.goto(&format!("{}/wear?model=cap", served.base)).await.expect("the page");
    keys.says("h1", &["1 failure among 2 caps, the oldest 1 cycle: how long such caps last is not known."])
        .await;
    keys.says("main", &["One failure is too few to tell wear from chance, and for a curve."]).await;
    keys.says("#pieces", &["C-2"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_retired_cap_leaves_its_set_not_ready() {
    let served = walk(furnished(Biomed).await, retires).await;
    assert_eq!(served.set("SET-1").await["status"], "not_ready");
    served.sound().await;
}

/// Whether the print rules show the head that tells site, time and ledger position, and hide the navigation.
const PRINTS: &str = "
    const rules = [...document.styleSheets].flatMap(sheet => [...sheet.cssRules]);
    const print = rules.filter(rule => rule.media && rule.media.mediaText === 'print').flatMap(rule => [...rule.cssRules]);
    const shows = print.some(rule => rule.selectorText === '.print-head' && rule.style.display === 'block');
    const hides = print.some(rule => rule.selectorText && rule.selectorText.split(', ').includes('nav') && rule.style.display === 'none');
    const head = document.querySelector('.print-head');
    return [shows, hides, getComputedStyle(head).display, head.textContent];";

async fn traces(keys: Keyboard, served: std::sync::Arc<Served>) {
    let load = load_of(&served, "steriliser-1").await;
    sign_in(&keys, &served, &format!("/loads/{load}")).await;
    keys.says("h1", &["was released by"]).await;
    keys.enter_on("Look back from here").await;
    let touched = format!("Load {load} touched 3 parts; 1 case opened them; 1 of these names a patient.");
    keys.says("h1", &[&touched]).await;
    keys.says("main", &["Exposed means possible contact, not infection."]).await;
    keys.says("main", &["K-1", "B-1 (turn 1)", "C-1 (turn 1), T-1 (turn 1)", "0 of 3 parts are on hold."])
        .await;
    let told = keys.client.execute(PRINTS, Vec::new()).await.expect("an answer");
    assert_eq!((&told[0], &told[1], &told[2]), (&json!(true), &json!(true), &json!("none")), "{told}");
    let head = told[3].as_str().expect("a text");
    let root = head.split("root ").nth(1).expect("the root").trim_end_matches('.');
    assert!(head.contains("Look-back at Test service") && head.contains("up to entry "), "{head}");
    assert!(root.len() == 64, "{head}");
    let paper = keys.client.print(PrintConfiguration::default()).await.expect("a print");
    assert!(paper.starts_with(b"%PDF"), "the page prints");
    keys.enter_on("Place the 3 that are not on hold").await;
    keys.reach("reason=").await;
    keys.type_in("growth in the indicator").await;
    keys.enter_on("Place them on hold").await;
    keys.says("main", &["3 of 3 parts are on hold."]).await;
    keys.reach("reason=").await;
    keys.type_in("growth in the indicator").await;
    keys.enter_on("Open the look-back").await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    sheet(&keys, &served, &load).await;
    keys.client.goto(&format!("{}/look-back", served.base)).await.expect("the page");
    keys.says("h1", &["1 look-back is open."]).await;
    erased_in_time(&keys).await;
    keys.reach("outcome=").await;
    keys.type_in("all three parts were sterile").await;
    keys.enter_on("Close look-back-0001").await;
    keys.says("main", &["None is open.", "all three parts were sterile"]).await;
}

/// The sheet, as the link on the page gives it to this very session.
async fn sheet(keys: &Keyboard, served: &Served, load: &str) {
    // The page before says "Recorded as entry" too, and may be leaving just now.
    let mut href = None;
    for _ in 0..50 {
        if let Ok(link) = keys.client.find(fantoccini::Locator::Css("a[href*='look-back.csv']")).await {
            href = link.attr("href").await.ok().flatten();
        }
        if href.is_some() {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    let href = href.expect("a link with an address");
    let cookie = keys.client.get_named_cookie("fettle_session").await.expect("a cookie");
    let asked = served.client.get(format!("{}{href}", served.base));
    let answer = asked.header(header::COOKIE, format!("fettle_session={}", cookie.value())).send().await;
    let answer = answer.expect("an answer");
    assert_eq!(answer.headers()[header::CONTENT_TYPE], "text/csv; charset=utf-8");
    let name = answer.headers()[header::CONTENT_DISPOSITION].to_str().expect("a name").to_string();
    assert!(name.contains(&format!("look-back-load-{load}-entry-")), "{name}");
    let text = super::served::whole(answer).await;
    let rows: Vec<&str> = text.lines().collect();
    let of = |kind: &str| rows.iter().filter(|row| row.starts_with(kind)).count();
    assert_eq!((of("row,origin"), of("load,"), of("part,"), of("exposure,")), (1, 1, 3, 3), "{text}");
    assert!(text.contains(",used,yes") && text.contains(",opened,yes"), "{text}");
    assert!(!text.contains("REF-4711"), "no patient stands in the sheet");
}

/// A patient inside an open look-back is not erased: the refusal is whole, and what was typed stands in it.
async fn erased_in_time(keys: &Keyboard) {
    // The form stands below the list of open look-backs.
    keys.reach("outcome=").await;
    keys.reach("|case=").await;
    keys.type_in("K-1").await;
    keys.press(Key::Tab).await;
    keys.type_in("asked for").await;
    keys.press(Key::Enter).await;
    keys.says(
        "h1",
        &["Not done: erase a patient's reference.", "K-1 is inside look-back look-back-0001, which is open."],
    )
    .await;
    keys.says(".reasons", &["Found", "Needed", "Next", "Close look-back look-back-0001 first."]).await;
    keys.enter_on("Leave it").await;
    keys.says("h1", &["1 look-back is open."]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_is_traced_to_its_case_and_printed() {
    let served = furnished(Infection).await;
    to_a_case(&served).await;
    let served = walk(served, traces).await;
    assert_eq!(served.asset("B-1").await["held"][0]["kind"], "recall");
    served.sound().await;
}

/// A client that is signed in, and what its forms carry.
pub async fn signed_in(served: &Served, person: &str) -> (reqwest::Client, String) {
    let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
    let form = [("site", served.site.as_str()), ("person", person), ("password", PASSWORD)];
    client.post(format!("{}/sign-in", served.base)).form(&form).send().await.expect("an answer");
    let page = client.get(format!("{}/look-back", served.base)).send().await.expect("an answer");
    let csrf = hidden(&super::served::whole(page).await, "csrf").to_string();
    (client, csrf)
}

/// Every byte as an escape of an address.
fn escaped(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn hostile_addresses_and_texts_stay_texts() {
    let served = furnished(Infection).await;
    to_a_case(&served).await;
    let evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>";
    let report = json!({"do": "report_finding", "scan": "B-1", "what": evil, "severity": "watch"});
    served.done(Infection, report).await;
    let hold = json!({"do": "hold", "kind": "recall", "reason": evil, "scan": "C-1"});
    served.done(Infection, hold).await;
    let cycle = json!({"do": "start_load", "load": "L-9", "machine": "washer-1", "programme": "wash",
                       "cycle_no": "=HYPERLINK(1)", "scan": "B-1"});
    for name in ["treated", "received", "cleaned", "dried"] {
        let role = if name == "treated" { Charge } else { Desk };
        served.done(role, json!({"do": "record_step", "step": name, "scan": "B-1"})).await;
    }
    served.done(Desk, cycle).await;
    let (client, _) = signed_in(&served, "p-1").await;
    let ask = async |path: &str, query: &[(&str, &str)]| {
        let pairs: Vec<String> =
            query.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
        let url = format!("{}{path}?{}", served.base, pairs.join("&"));
        let answer = client.get(url).send().await.expect("an answer");
        let status = answer.status().as_u16();
        let text = super::served::whole(answer).await;
        assert!(!text.contains("<script>alert") && !text.contains("<img src=x"), "{path} {query:?}: {text}");
        (status, text)
    };
    let huge = "9".repeat(6_000);
    for (path, query, expected) in [
        ("/due", vec![("after", evil)], 200),
        ("/due", vec![("after", huge.as_str())], 200),
        ("/wear", vec![("model", evil)], 404),
        ("/wear", vec![("model", huge.as_str())], 404),
        ("/look-back", vec![("load", evil)], 422),
        ("/look-back", vec![("asset", evil)], 404),
        ("/look-back", vec![("asset", huge.as_str())], 422),
        ("/look-back", vec![("case", "K-1"), ("load", "L-9")], 422),
        ("/look-back", vec![("machine", "washer-1"), ("from", evil)], 422),
        ("/look-back", vec![("machine", "washer-1"), ("from", "9999-99-99T99:99")], 422),
        ("/look-back", vec![("load", "L-9"), ("from", "2026-01-01T00:00")], 422),
        ("/look-back.csv", vec![("load", evil)], 422),
        ("/look-back.csv", vec![("load", "no-such-load")], 404),
        ("/look-back.csv", vec![], 422),
        ("/findings", vec![("scan", evil), ("case", huge.as_str())], 200),
        ("/findings", vec![("done", evil)], 200),
        ("/handover", vec![("hours", evil)], 200),
        ("/handover", vec![("hours", "-1")], 200),
        ("/repairs/%3Cscript%3Ealert(1)%3C%2Fscript%3E", vec![], 404),
        ("/repairs/%FF%00", vec![], 400),
    ] {
        let (status, text) = ask(path, &query).await;
        assert_eq!(status, expected, "{path} {query:?}: {text}");
    }
    for path in ["/findings", "/handover", "/assets/B-1", "/assets/C-1"] {
        let (status, text) = ask(path, &[]).await;
        assert!(status == 200 && text.contains("&#60;script&#62;alert(1)"), "{path}: {text}");
    }
    let (_, sheet) = ask("/look-back.csv", &[("load", "L-9")]).await;
    assert!(sheet.contains(",'=HYPERLINK(1),"), "{sheet}");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_patient_is_asked_for_in_the_body_alone() {
    let served = furnished(Infection).await;
    to_a_case(&served).await;
    let (client, csrf) = signed_in(&served, "p-1").await;
    let (evil, huge) = ("<script>alert(1)</script>", "9".repeat(6_000));
    let post = async |fields: &[(&str, &str)]| {
        let url = format!("{}/look-back", served.base);
        let answer = client.post(url).form(fields).send().await.expect("an answer");
        (answer.status().as_u16(), super::served::whole(answer).await)
    };
    assert_eq!(post(&[("csrf", "another"), ("patient", "REF-4711")]).await.0, 403);
    assert_eq!(post(&[("csrf", &csrf), ("patient", &huge)]).await.0, 422);
    let (status, text) = post(&[("csrf", &csrf), ("patient", evil)]).await;
    assert!(status == 200 && text.contains("This patient was in 0 cases") && !text.contains("<script>alert"));
    let (status, text) = post(&[("csrf", &csrf), ("patient", "REF-4711")]).await;
    assert!(status == 200 && text.contains("This patient was in 1 case, which opened 3 parts"), "{text}");
    let in_address = client.get(format!("{}/look-back?patient=REF-4711", served.base)).send().await;
    let text = super::served::whole(in_address.expect("an answer")).await;
    assert!(!text.contains("This patient was in"), "an address names no patient: {text}");
    let (_, sheet) = post(&[("csrf", &csrf), ("patient", "REF-4711"), ("as", "csv")]).await;
    assert!(sheet.starts_with("row,origin") && !sheet.contains("REF-4711"), "{sheet}");
    served.stop().await;
}
