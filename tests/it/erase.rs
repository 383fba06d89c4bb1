//! A patient who is named in an early release alone is erased by its load. Retention and look-back come first: the longest
//! of device life, patient record, open look-back and legal hold decides (reasoning, as the trade's texts give it).

use fettle::domain::command::Command;
use fettle::domain::event::What;
use fettle::domain::person::Role::{Admin, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served, steam_record};
use super::ward::{Ward, indicator, release};

fn early(load: &str, whom: Value) -> Value {
    let mut all = release(load);
    all["early"] = json!({"person": "Dr Night", "reason": "airway bleeds"});
    for (name, value) in whom.as_object().expect("an object") {
        all["early"][name.as_str()] = value.clone();
    }
    all
}

fn erase(load: &str) -> Value {
    json!({"do": "erase_patient", "load": load, "reason": "asked for"})
}

fn patient(ward: &Ward, load: &str) -> Option<String> {
    ward.load(load).early.as_ref().and_then(|it| it.early.patient.clone())
}

#[test]
fn the_patient_of_an_early_release_is_erased_by_its_load() {
    let mut ward = Ward::open();
    ward.passed("a", "plain", "I-1");
    ward.done(Lead, early("a", json!({"patient": "REF-4711"})));
    let sealed = patient(&ward, "a").expect("a commitment");
    assert!(sealed.starts_with("sealed:"));
    let still = |ward: &mut Ward, says: &str| {
        let refusal = ward.refused(Infection, erase("a"), "still_referenced");
        let all: Vec<String> = refusal.reasons().map(|it| it.detail()).collect();
        assert!(all.iter().any(|detail| detail.contains(says)), "{says}: {all:?}");
    };
    still(&mut ward, "until 2 March 2036");
    still(&mut ward, "is not read yet");
    ward.at("2036-03-02T12:00:00+01:00");
    still(&mut ward, "is not read yet");
    ward.done(Desk, indicator("a", "biological", "pass", None));
    let look =
        json!({"do": "open_look_back", "look_back": "L", "origin": {"asset": "I-1"}, "reason": "asked"});
    ward.done(Infection, look);
    still(&mut ward, "look-back L");
    ward.done(Infection, json!({"do": "close_look_back", "look_back": "L", "outcome": "none"}));
    let recall = json!({"do": "recall", "recall": "R", "machine": "plain", "reason": "seal", "out": false,
                        "from": "2026-03-01T00:00:00Z"});
    ward.done(Infection, recall);
    still(&mut ward, "recall R");
    let again =
        json!({"do": "answer_recall", "recall": "R", "scan": ["I-1"], "then": "clear", "outcome": "fit"});
    ward.done(Infection, again);
    ward.done(Infection, json!({"do": "close_recall", "recall": "R", "outcome": "nothing found"}));
    let told = ward.done(Admin, erase("a"));
    let What::PatientErased(erased) = &told.what else { panic!("{told:?}") };
    assert_eq!((&erased.patient, erased.case.as_ref()), (&sealed, None), "the words behind this seal go");
    assert_eq!(patient(&ward, "a"), None);
    assert_eq!(told.things().iter().map(|thing| thing.kind).collect::<Vec<_>>(), ["load"]);
    ward.refused(Infection, erase("a"), "already_done");
    ward.refused(Infection, erase("nowhere"), "unknown_thing");
}

#[test]
fn one_of_case_and_load_is_named() {
    for wrong in [json!({}), json!({"case": "K-1", "load": "a"})] {
        let mut all = json!({"do": "erase_patient", "reason": "asked for"});
        wrong.as_object().expect("fields").iter().for_each(|(name, value)| all[name] = value.clone());
        assert_eq!(Command::read(all).expect_err("malformed")[0].pointer, "/case");
    }
    // A load that was released for a case says where the reference stands.
    let mut ward = Ward::open();
    let plan = json!({"do": "plan_case", "case": "K-1", "start": "2026-03-02T12:00:00+01:00", "minutes": 30, "needs": [],
                      "patient": "REF-1"});
    ward.done(Lead, plan);
    ward.passed("a", "plain", "I-1");
    ward.done(Lead, early("a", json!({"case": "K-1"})));
    ward.done(Desk, indicator("a", "biological", "pass", None));
    ward.at("2036-03-03T12:00:00+01:00");
    let refusal = ward.refused(Infection, erase("a"), "already_done");
    assert!(refusal.first.next.contains("K-1"), "{:?}", refusal.first);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_rules_hold_over_the_wire_too() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        super::countersign::furnish(&served).await;
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "I-1"})).await;
        let load = served.load("steriliser-1", "p134", "I-1").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
        served.done(Desk, indicator(&load, "chemical", "pass", None)).await;
        served.done(Lead, early(&load, json!({"patient": "REF-4711"}))).await;
        served.done(Desk, indicator(&load, "biological", "pass", None)).await;
        assert_eq!(served.post(Lead, erase(&load)).await.0, 403);
        let turned = served.refused(Infection, erase(&load), "still_referenced").await;
        assert!(
            turned["detail"].as_str().is_some_and(|text| text.contains("keeps records for 10 years")),
            "{turned}"
        );
        served.sound().await;
        served.stop().await;
    }
}
