//! What is told late of things that went out: before they were ready, twice, or of a use that was told before the issue. And
//! nobody is a second person to themselves, nor a patient a blank.

use chrono::{TimeDelta, Utc};
use fettle::domain::person::Role::{Charge, Clinician, Infection, Lead};
use serde_json::{Value, json};

use super::case::{case, issue, plan, stands};
use super::served::{BOTH, Served};
use super::ward::late;

fn ago(minutes: i64) -> String {
    (Utc::now() - TimeDelta::minutes(minutes)).to_rfc3339()
}

async fn house(kind: super::served::Kind) -> Served {
    let served = Served::start(kind).await;
    served.furnish().await;
    served
}

/// Soiled to stored is one of the ways that nothing opens.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_issued_late_before_it_was_ready_is_never_stored() {
    for kind in BOTH {
        let served = house(kind).await;
        served.done(Charge, plan("K-1", 1)).await;
        served.done(Charge, plan("K-2", 9)).await;
        let told = served.done(Charge, late(issue("K-1", "C-2"), &ago(0))).await;
        assert_eq!(told["deviation"], json!(["out_of_order"]), "{told}");
        stands(&served, "C-2", "issued", 1, 0).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1", "unopened": ["C-2"]})).await;
        stands(&served, "C-2", "soiled", 2, 0).await;
        served.refused(Charge, issue("K-2", "C-2"), "out_of_order").await;
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_emergency_that_is_told_twice_is_one() {
    for kind in BOTH {
        let served = house(kind).await;
        served.round("SET-1").await;
        let at = Utc::now().to_rfc3339();
        let told = late(json!({"do": "issue", "scan": "SET-1", "emergency": true}), &at);
        let first = served.done(Charge, told.clone()).await;
        served.refused(Charge, told, "already_done").await;
        // Another one of another time finds it out already: told beside it, and it is out at one case all the same.
        let other = json!({"do": "issue", "scan": "SET-1", "emergency": true});
        let second = served.done(Charge, late(other, &Utc::now().to_rfc3339())).await;
        assert_eq!(second["deviation"], json!(["out_of_order"]), "{second}");
        let out = async |told: &Value| case(&served, told["made"].as_str().unwrap()).await["out"].clone();
        assert_eq!(out(&first).await, json!(["B-1", "C-1", "T-1"]));
        assert_eq!(out(&second).await, json!([]));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_use_that_was_told_late_stays_when_the_part_goes_out_in_the_same_turn() {
    for kind in BOTH {
        let served = house(kind).await;
        served.done(Charge, plan("K-1", 1)).await;
        let used = json!({"do": "use", "case": "K-1", "scan": "B-1"});
        served.done(Clinician, late(used, "2020-01-01T00:00:00Z")).await;
        let exposed = async || {
            let (_, back) = served.get("look-back?asset=B-1").await;
            back["cases"].as_array().map_or(0, Vec::len)
        };
        assert_eq!(exposed().await, 1);
        let hold = served.asset("B-1").await["held"][0]["hold"].clone();
        if hold.is_string() {
            served.done(Lead, json!({"do": "lift_hold", "hold": hold, "reason": "looked at"})).await;
        }
        served.round("SET-1").await;
        let went = served.done(Charge, issue("K-1", "SET-1")).await;
        assert_eq!(case(&served, "K-1").await["used"], json!(["B-1"]));
        assert_eq!(exposed().await, 1);
        served.sound().await;
        served.done(Lead, json!({"do": "correct", "entry": went["entry"], "reason": "another set"})).await;
        assert_eq!(case(&served, "K-1").await["used"], json!(["B-1"]));
        assert_eq!((exposed().await, case(&served, "K-1").await["out"].clone()), (1, json!([])));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_blank_is_nobody_and_nobody_is_a_second_person_to_themselves() {
    for kind in BOTH {
        let served = house(kind).await;
        served.round("SET-1").await;
        let blank = async |role, mut command: Value, pointer: &str, text: &str| {
            *command.pointer_mut(pointer).expect("a field") = json!(text);
            let (status, told) = served.post(role, command).await;
            assert_eq!((status, &told["errors"][0]["pointer"]), (422, &json!(pointer)), "{told}");
        };
        let mut named = plan("K-1", 1);
        named["patient"] = json!("REF-1");
        let stood = json!({"do": "issue", "scan": "SET-1", "emergency": true,
            "override": {"code": "held", "reason": "now", "second_person": "x"}});
        for text in [" ", "\u{200b}\u{feff}"] {
            blank(Charge, named.clone(), "/patient", text).await;
            blank(Charge, stood.clone(), "/override/second_person", text).await;
        }
        served.done(Charge, json!({"do": "hold", "kind": "quality", "scan": "B-1", "reason": "bent"})).await;
        served.done(Charge, named).await;
        // The one who asks has a code; however it is written, it is the same person.
        let (_, entries) = served.get("assets/B-1/history").await;
        let placed =
            entries["items"].as_array().and_then(|all| all.iter().find(|it| it["kind"] == "hold_placed"));
        let code = placed.and_then(|it| it["actor"].as_str()).expect("who placed it").to_string();
        for own in [code.clone(), code.to_uppercase(), format!(" {code} ")] {
            let mut alone = stood.clone();
            alone["override"]["second_person"] = json!(own);
            served.refused(Charge, alone, "held").await;
        }
        let mut beside = stood.clone();
        beside["override"]["second_person"] = json!("Dr Second");
        served.done(Charge, beside).await;
        let own =
            json!({"do": "dedicate", "scan": "B-1", "case": "K-1", "person": " ", "reason": "definite"});
        assert_eq!(served.post(Infection, own).await.0, 422);
        served.sound().await;
        served.stop().await;
    }
}
