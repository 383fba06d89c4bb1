//! Countersignatures, early releases, flags and repeats by the forms of the pages, without a script.

use fettle::domain::person::Role::{self, Admin, Desk, Lead};
use serde_json::json;

use super::browser::PASSWORD;
use super::browser_back::signed_in;
use super::served::{Kind, Served, steam_record, whole};
use super::ward::indicator;

struct Reader<'a> {
    served: &'a Served,
    client: reqwest::Client,
    csrf: String,
}

impl Reader<'_> {
    async fn page(&self, path: &str) -> String {
        let answer = self.client.get(format!("{}{path}", self.served.base)).send().await.expect("an answer");
        assert_eq!(answer.status(), 200, "{path}");
        whole(answer).await
    }

    /// Sends a form that the page has, with these fields; answers the status and the page that follows.
    async fn send(&self, path: &str, fields: &[(&str, &str)]) -> (u16, String) {
        let page = self.page(path).await;
        let name = fields.first().expect("a command").1;
        let mark = format!("name=\"do\" value=\"{name}\"");
        let forms: Vec<&str> = page.split("<form").filter(|form| form.contains(&mark)).collect();
        let has = |form: &&&str| fields.iter().all(|(name, _)| form.contains(&format!("name=\"{name}\"")));
        assert!(forms.iter().any(|form| has(&form)), "{path} has no form of {fields:?}: {page}");
        let mut all = vec![("csrf", self.csrf.as_str()), ("back", path)];
        all.extend(fields);
        let answer = self.client.post(format!("{}/act", self.served.base)).form(&all).send().await;
        let answer = answer.expect("an answer");
        (answer.status().as_u16(), whole(answer).await)
    }
}

async fn reader<'a>(served: &'a Served, code: &str, role: Role) -> Reader<'a> {
    served.house.add_person(&served.site, Some(code), code, role, PASSWORD).await.expect("a person");
    let (client, csrf) = signed_in(served, code).await;
    Reader { served, client, csrf }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waits_is_answered_by_a_form() {
    let served = Served::start(Kind::Embedded).await;
    super::countersign::furnish(&served).await;
    let lead = reader(&served, "mo", Lead).await;
    let desk = reader(&served, "di", Desk).await;
    for part in ["P-1", "I-1"] {
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": part})).await;
    }
    // At night, alone: the desk's own page releases it, and the lead's countersigns.
    let start = [("do", "start_load"), ("machine", "steriliser-1"), ("programme", "p134"), ("scan", "P-1")];
    let mut all = vec![("csrf", desk.csrf.as_str()), ("back", "/loads"), ("load", "night-1")];
    all.extend(start);
    let answer = desk.client.post(format!("{}/act", served.base)).form(&all).send().await.expect("an answer");
    assert_eq!(answer.status(), 200);
    served.done(Desk, json!({"do": "judge_load", "load": "night-1", "record": steam_record(200)})).await;
    served.done(Desk, indicator("night-1", "chemical", "pass", None)).await;
    let release = [
        ("do", "release_load"),
        ("load", "night-1"),
        ("dry:bool", "true"),
        ("override.code", "same_person"),
        ("override.reason", "adult needs it"),
    ];
    let (status, page) = desk.send("/loads/night-1", &release).await;
    assert!(status == 200 && page.contains("Released by one person alone"), "{page}");
    assert!(!page.contains("Countersign load night-1"), "not by the one who released it: {page}");
    assert!(lead.page("/").await.contains("to be countersigned"));
    assert!(lead.page("/due").await.contains("a countersignature is open"));
    let sign = [("do", "countersign"), ("load", "night-1")];
    let (status, page) = lead.send("/exceptions", &sign).await;
    assert!(status == 200 && page.contains("No exception is open."), "{page}");
    assert!(lead.page("/loads/night-1").await.contains("countersigned by mo"));
    let again = lead.client.post(format!("{}/act", served.base));
    let form =
        [("csrf", lead.csrf.as_str()), ("back", "/exceptions"), ("do", "countersign"), ("load", "night-1")];
    let answer = again.form(&form).send().await.expect("an answer");
    assert_eq!(answer.status(), 409);
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_implant_is_released_early_by_the_leads_form_alone() {
    let served = Served::start(Kind::Embedded).await;
    super::countersign::furnish(&served).await;
    let lead = reader(&served, "mo", Lead).await;
    let desk = reader(&served, "di", Desk).await;
    served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "I-1"})).await;
    let load = served.load("steriliser-1", "p134", "I-1").await;
    let path = format!("/loads/{load}");
    assert!(!lead.page(&path).await.contains("Release it early"), "no record yet");
    served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
    served.done(Desk, indicator(&load, "chemical", "pass", None)).await;
    assert!(!desk.page(&path).await.contains("Release it early"), "the lead alone");
    let early = [
        ("do", "release_load"),
        ("load", load.as_str()),
        ("dry:bool", "true"),
        ("early.case", ""),
        ("early.patient", "REF-4711"),
        ("early.person", "Dr Night"),
        ("early.reason", "airway bleeds"),
    ];
    let (status, page) = lead.send(&path, &early).await;
    assert!(
        status == 200 && page.contains("Released EARLY; its biological indicator is not read yet."),
        "{page}"
    );
    let list = lead.page("/exceptions").await;
    assert!(list.contains("a named patient: airway bleeds") && !list.contains("REF-4711"), "{list}");
    assert!(lead.page("/handover").await.contains("released early, biological indicator not read"));
    let read = [
        ("do", "record_indicator"),
        ("load", load.as_str()),
        ("indicator", "biological"),
        ("result", "pass"),
    ];
    let (status, page) = desk.send(&path, &read).await;
    assert!(status == 200 && page.contains("its biological indicator was read"), "{page}");
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn policies_flags_and_repeats_have_their_forms() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let admin = reader(&served, "ad", Admin).await;
    let lead = reader(&served, "mo", Lead).await;
    for (field, value) in [
        ("biological", "weekly"),
        ("biological_overdue_stops:bool", "true"),
        ("leak_rate_every_days:int", "7"),
    ] {
        let (status, page) = admin.send("/site", &[("do", "set_policy"), (field, value)]).await;
        assert_eq!(status, 200, "{page}");
    }
    let state = served.house.state(&fettle::domain::id::Id::new(&served.site).expect("an id")).await;
    let policy = state.expect("a database").expect("a site").policy.clone();
    assert_eq!(
        (policy.biological.name(), policy.biological_overdue_stops, policy.leak_rate_every_days),
        ("weekly", true, Some(7))
    );
    let test = |passed: &'static str, why: &'static str| {
        [
            ("do", "record_machine_test"),
            ("machine", "steriliser-1"),
            ("test", "air_removal"),
            ("passed:bool", passed),
            ("repeat_because", why),
        ]
    };
    let (_, page) = lead.send("/catalogue", &test("false", "")).await;
    assert!(page.contains("test failed: air-removal test of"), "{page}");
    let (_, page) = lead.send("/catalogue", &test("true", "pack over the drain")).await;
    assert!(!page.contains("test failed"), "{page}");
    served.dry().await;
    let load = served.load("washer-1", "wash", "SET-1").await;
    let record = super::served::wash_record(10);
    served.done(Desk, json!({"do": "judge_load", "load": load, "record": record})).await;
    let clear = [("do", "clear_flag"), ("machine", "washer-1"), ("reason", "water was off")];
    assert!(lead.page("/catalogue").await.contains(&format!("flagged: the verdict on load {load} failed")));
    let (status, page) = lead.send("/catalogue", &clear).await;
    assert!(status == 200 && !page.contains("flagged:"), "{page}");
    served.sound().await;
    served.stop().await;
}
