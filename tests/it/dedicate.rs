//! What a prion risk leaves behind: the hold, the box, the decision, and sets that keep their parts.
//!
//! Quarantine in a sealed, labelled box until the outcome is known, destruction where it is confirmed, release by a named
//! person where it is not: ACDP, annex E (as hospital policies of 2007 and 2013 quote it, read). Exclusive use for the same
//! patient: annex E (from memory). Instruments for high-risk tissue stay in their sets: NICE IPG196, 2006 (read).

use fettle::domain::hold::HoldKind;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::browser::PASSWORD;
use super::browser_back::signed_in;
use super::case::{in_hours, issue};
use super::served::{BOTH, Kind, Served, whole};
use super::ward::{Ward, release};

fn plan(case: &str, hours: i64, patient: &str, risk: &str) -> Value {
    json!({"do": "plan_case", "case": case, "start": in_hours(hours), "minutes": 30, "needs": [], "patient": patient,
           "risk": risk})
}

fn dedicate(scan: &str, case: &str) -> Value {
    json!({"do": "dedicate", "scan": scan, "case": case, "person": "Dr Second", "reason": "definite"})
}

/// Something is kept for one patient.
pub async fn every_kind(served: &Served) {
    served.done(Lead, json!({"do": "add_asset", "asset": "X-9", "model": "cap"})).await;
    served.done(Charge, plan("K-9", 9, "REF-9", "prion_suspected")).await;
    served.done(Clinician, json!({"do": "open", "case": "K-9", "scan": "X-9"})).await;
    served.done(Infection, dedicate("X-9", "K-9")).await;
}

/// A set that was opened at a case with the risk, counted back, under its hold.
async fn held(kind: Kind) -> Served {
    let served = Served::start(kind).await;
    served.furnish().await;
    served.round("SET-1").await;
    served.done(Charge, plan("K-1", 1, "REF-4711", "prion_suspected")).await;
    served.done(Charge, issue("K-1", "SET-1")).await;
    served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
    served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
    served
}

#[tokio::test(flavor = "multi_thread")]
async fn only_a_case_of_the_same_patient_takes_what_is_kept_for_them() {
    for kind in BOTH {
        let served = held(kind).await;
        assert_eq!(served.asset("B-1").await["held"][0]["kind"], "prion");
        // What nobody named as unopened counts as used at the close: all of it is held.
        assert_eq!(served.asset("T-1").await["held"][0]["kind"], "prion");
        served.refused(Desk, json!({"do": "record_step", "step": "cleaned", "scan": "B-1"}), "held").await;
        let (status, _) = served.post(Lead, dedicate("SET-1", "K-1")).await;
        assert_eq!(status, 403, "infection prevention decides");
        served.refused(Infection, dedicate("SET-1", "K-9"), "unknown_thing").await;
        served.refused(Infection, dedicate("C-2", "K-1"), "out_of_order").await;
        let mut alone = dedicate("SET-1", "K-1");
        alone["person"] = json!(" ");
        assert_eq!(served.post(Infection, alone).await.0, 422, "a second person is named");
        let told = served.done(Infection, dedicate("SET-1", "K-1")).await;
        assert!(!told.to_string().contains("REF-4711") && !told.to_string().contains("Dr Second"), "{told}");
        served.refused(Infection, dedicate("SET-1", "K-1"), "out_of_order").await;
        let now = served.asset("B-1").await;
        assert_eq!(now["held"][0]["kind"], "dedicated", "{now}");
        served
            .refused(
                Biomed,
                json!({"do": "retire", "asset": "B-1", "cause": "worn", "failure": false}),
                "held",
            )
            .await;
        // Whom it is kept for stays known.
        let other = json!({"do": "change_case", "case": "K-1", "patient": "REF-1"});
        served.refused(Charge, other, "still_referenced").await;
        served.round("SET-1").await;
        assert_eq!(served.set("SET-1").await["status"], "held", "ready, but for nobody else");
        served.done(Charge, plan("K-2", 3, "REF-0815", "none")).await;
        served.done(Charge, plan("K-3", 4, "REF-4711", "none")).await;
        served
            .done(
                Charge,
                json!({"do": "plan_case", "case": "K-4", "start": in_hours(5), "minutes": 30, "needs": []}),
            )
            .await;
        served.refused(Charge, issue("K-2", "SET-1"), "held").await;
        served.refused(Charge, issue("K-4", "SET-1"), "held").await;
        let mut emergency = issue("K-2", "SET-1");
        emergency["emergency"] = json!(true);
        emergency["override"] =
            json!({"code": ["held"], "reason": "nothing else", "second_person": "the surgeon"});
        served.refused(Charge, emergency, "held").await;
        let unnamed = json!({"do": "issue", "scan": "SET-1", "emergency": true});
        served.refused(Charge, unnamed, "held").await;
        served.refused(Charge, json!({"do": "promise", "case": "K-2", "set": "SET-1"}), "held").await;
        served.done(Charge, json!({"do": "promise", "case": "K-3", "set": "SET-1"})).await;
        served.done(Charge, issue("K-3", "SET-1")).await;
        let told = served.done(Clinician, json!({"do": "use", "case": "K-3", "scan": "B-1"})).await;
        assert_eq!(told["deviation"], json!([]), "it is theirs: {told}");
        served.done(Charge, json!({"do": "close_count", "case": "K-3"})).await;
        assert_eq!(served.asset("B-1").await["held"].as_array().map(Vec::len), Some(1));
        // The other way out.
        served
            .done(Biomed, json!({"do": "retire", "asset": "T-1", "cause": "destroyed", "failure": false}))
            .await;
        // Or another diagnosis after all, by a named person.
        let hold = served.asset("B-1").await["held"][0]["hold"].clone();
        served.done(Infection, json!({"do": "lift_hold", "hold": hold, "reason": "another diagnosis"})).await;
        assert_eq!(served.asset("B-1").await["standing"], "in_service");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn whose_case_it_is_may_be_told_in_the_same_breath() {
    for kind in BOTH {
        let served = held(kind).await;
        served.done(Infection, dedicate("SET-1", "K-1")).await;
        served.round("SET-1").await;
        let promise = |case: &str| json!({"do": "promise", "case": case, "set": "SET-1"});
        let both = json!([
            plan("K-5", 6, "REF-0815", "none"),
            promise("K-5"),
            plan("K-6", 7, "REF-4711", "none"),
            promise("K-6")
        ]);
        let (_, told) = served.post(Charge, both).await;
        let results = told["results"].as_array().unwrap();
        let told: Vec<_> =
            results.iter().map(|it| (it["status"].as_u64().unwrap(), it["code"].as_str())).collect();
        assert_eq!(told, [(201, None), (409, Some("held")), (201, None), (201, None)], "{results:?}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_box_has_its_label_and_the_sink_is_told() {
    let served = held(Kind::Embedded).await;
    let hold = served.asset("B-1").await["held"][0]["hold"].as_str().expect("a hold").to_string();
    for (code, role) in [("p-desk", Desk), ("p-inf", Infection)] {
        served.house.add_person(&served.site, Some(code), "Person", role, PASSWORD).await.expect("a person");
    }
    let (desk, csrf) = signed_in(&served, "p-desk").await;
    let get = async |client: &reqwest::Client, path: &str| {
        whole(client.get(format!("{}{path}", served.base)).send().await.expect("an answer")).await
    };
    let words = "Do not wash. Seal, label, lock, call infection prevention.";
    let scanned = get(&desk, "/desk?scan=B-1").await;
    assert!(scanned.contains(words), "{scanned}");
    assert!(!scanned.contains("name=\"act\" value=\"step:"), "no step is offered: {scanned}");
    // Wherever it is looked at: the box is a step away, and nothing calls for a washing.
    for path in ["/desk?scan=SET-1", "/sets/SET-1", "/assets/B-1", "/queue", "/cases/K-1"] {
        let text = get(&desk, path).await;
        assert!(text.contains(words) && !text.contains("name=\"act\" value=\"step:"), "{path}: {text}");
        assert!(!text.contains("Next it has to be"), "{path}: {text}");
    }
    assert!(
        !get(&desk, "/queue").await.contains("Set SET-1</a>"),
        "it waits for a decision, and for no step"
    );
    assert!(get(&desk, "/handover").await.contains(&format!("/holds/{hold}/box")));
    let label = get(&desk, &format!("/holds/{hold}/box")).await;
    assert!(label.contains("PRION RISK. Do not wash. Do not open.") && label.contains("K-1"), "{label}");
    assert!(!label.contains("REF-4711") && !label.contains("Put the patient"), "{label}");
    let form = [("csrf", csrf.as_str())];
    let asked = desk
        .post(format!("{}/holds/{hold}/patient", served.base))
        .form(&form)
        .send()
        .await
        .expect("an answer");
    assert_eq!(asked.status().as_u16(), 403, "the desk reads no reference");
    let (infection, csrf) = signed_in(&served, "p-inf").await;
    let form = [("csrf", csrf.as_str())];
    let asked = infection
        .post(format!("{}/holds/{hold}/patient", served.base))
        .form(&form)
        .send()
        .await
        .expect("an answer");
    let text = whole(asked).await;
    assert!(text.contains("REF-4711") && text.contains("The reading is logged"), "{text}");
    assert!(
        get(&infection, &format!("/holds/{hold}/box")).await.contains("Keep them for that patient alone")
    );
    served.done(Desk, json!({"do": "put_away", "scan": "B-1", "location": "locked cupboard"})).await;
}

#[test]
fn what_is_kept_for_one_patient_goes_through_a_machine_by_itself() {
    let mut ward = Ward::open();
    let plan = json!({"do": "plan_case", "case": "K-1", "start": "2026-03-02T10:00:00+01:00", "minutes": 60, "needs": [],
                      "patient": "REF-1", "risk": "prion_suspected"});
    ward.done(Charge, plan);
    ward.passed("a", "plain", "P-1");
    ward.done(Desk, release("a"));
    ward.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "P-1"}));
    ward.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "P-1"}));
    ward.done(Charge, json!({"do": "close_count", "case": "K-1"}));
    assert!(ward.paper.state.asset("P-1").expect("a part").has_hold(HoldKind::Prion));
    let mut told = dedicate("P-1", "K-1");
    told["person"] = json!("lead");
    ward.done(Infection, told);
    ward.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "P-1"}));
    let both = json!({"do": "start_load", "machine": "plain", "programme": "p134", "scan": ["P-1", "P-2"]});
    ward.never(Desk, both, "held");
    ward.passed("b", "plain", "P-1");
    ward.done(Desk, release("b"));
    assert!(ward.paper.state.asset("P-1").expect("a part").has_hold(HoldKind::Dedicated));
}

#[test]
fn sets_that_keep_their_parts_exchange_none_and_every_move_is_told() {
    let mut ward = Ward::open();
    let sheet = |name: &str, keeps: bool| {
        json!({"do": "define_count_sheet", "count_sheet": name, "name": name, "keeps_parts": keeps,
               "lines": [{"line": "part", "models": ["part"], "quantity": 2, "essential": true}]})
    };
    ward.done(Admin, sheet("open", false));
    ward.done(Admin, sheet("kept", true));
    for (set, sheet) in [("A", "open"), ("B", "open"), ("N", "kept")] {
        ward.done(Lead, json!({"do": "build_set", "set": set, "count_sheet": sheet, "name": set}));
    }
    let seat =
        |what: &str, set: &str, asset: &str| json!({"do": what, "set": set, "line": "part", "asset": asset});
    for (set, asset) in [("A", "P-1"), ("N", "P-2")] {
        ward.done(Desk, seat("put_in_set", set, asset));
        ward.done(Desk, seat("take_from_set", set, asset));
    }
    ward.done(Desk, seat("put_in_set", "B", "P-1"));
    ward.done(Desk, seat("take_from_set", "B", "P-1"));
    // Out of a set that keeps its parts, and into one.
    ward.refused(Desk, seat("put_in_set", "A", "P-2"), "not_on_sheet");
    ward.refused(Desk, seat("put_in_set", "N", "P-1"), "not_on_sheet");
    ward.done(Desk, seat("put_in_set", "N", "P-2"));
    ward.done(Desk, seat("put_in_set", "N", "P-3"));
    let replace = json!({"do": "replace", "set": "N", "line": "part", "position": 1, "cause": "worn", "failure": false, "new": "P-1"});
    ward.refused(Desk, replace, "not_on_sheet");
    let all = ward.paper.state.migrations(fettle::domain::time::Time(i64::MIN), ward.now);
    let told: Vec<(&str, &str, &str, bool)> =
        all.iter().map(|it| (it.asset.as_str(), it.from.as_str(), it.to.as_str(), it.forbidden)).collect();
    assert_eq!(told, [("P-1", "A", "B", false)]);
    // A sheet that says so afterwards shows what moved before.
    ward.done(Admin, sheet("open", true));
    assert!(ward.paper.state.migrations(fettle::domain::time::Time(i64::MIN), ward.now)[0].forbidden);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_report_of_moves_is_a_page_and_an_answer() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served
            .done(Lead, json!({"do": "build_set", "set": "SET-2", "count_sheet": "adult", "name": "Adult 2"}))
            .await;
        let seat = |what: &str, set: &str| json!({"do": what, "set": set, "line": "cap", "asset": "C-1"});
        served.done(Desk, seat("take_from_set", "SET-1")).await;
        let moved = served.done(Desk, seat("put_in_set", "SET-2")).await;
        let (_, told) = served.get("set-moves").await;
        assert_eq!(
            (&told["items"][0]["from"], &told["items"][0]["to"]),
            (&json!("SET-1"), &json!("SET-2")),
            "{told}"
        );
        assert_eq!(served.get("set-moves?from=yesterday").await.0, 422);
        // A move that was a slip is none.
        served.done(Lead, json!({"do": "correct", "entry": moved["entry"], "reason": "the other cap"})).await;
        assert_eq!(served.get("set-moves").await.1["items"], json!([]));
        served.sound().await;
        served.stop().await;
    }
}
