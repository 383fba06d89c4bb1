//! What must never happen, as the trade's guidelines name it, tried through every door that these commands have.

use fettle::domain::person::Role::{self, Biomed, Charge, Clinician, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::case::{issue, plan};
use super::served::{BOTH, Served, steam_record, wash_record};

fn step(step: &str, scan: &str) -> Value {
    json!({"do": "record_step", "step": step, "scan": scan})
}

fn start(machine: &str, programme: &str, scan: &str) -> Value {
    json!({"do": "start_load", "machine": machine, "programme": programme, "scan": scan})
}

/// The command again, by the lead, with an override that names every code there is to name.
fn overridden(command: &Value) -> Value {
    let mut command = command.clone();
    let codes = [
        "no_record",
        "record_failed",
        "indicator_missing",
        "indicator_failed",
        "held",
        "out_of_order",
        "in_load",
    ];
    command["override"] = json!({"code": codes, "reason": "the case waits", "second_person": "the surgeon"});
    command
}

/// Refused as it is, and refused with an override by the one who may override most.
async fn never(served: &Served, command: Value, code: &str) {
    served.refused(Desk, command.clone(), code).await;
    served.refused(Lead, overridden(&command), code).await;
}

async fn stage(served: &Served, asset: &str) -> String {
    served.asset(asset).await["stage"].as_str().expect("a stage").to_string()
}

impl Served {
    /// From soiled to dried, and the optics disinfected by hand.
    pub async fn dry(&self) {
        self.done(Desk, step("treated", "SET-1")).await;
        for name in ["received", "cleaned", "dried"] {
            self.done(Desk, step(name, "SET-1")).await;
        }
        self.done(Desk, step("disinfected", "T-1")).await;
    }

    pub async fn wash(&self, hold_s: u32) -> String {
        let load = self.load("washer-1", "wash", "SET-1").await;
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(hold_s)})).await;
        load
    }

    async fn packed(&self) {
        self.dry().await;
        let load = self.wash(300).await;
        self.done(Desk, json!({"do": "release_load", "load": load})).await;
        self.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
        self.done(Desk, step("packed", "SET-1")).await;
    }
}

/// "used -> assembled without cleaning": CDC Guideline for Disinfection and Sterilization in Healthcare Facilities
/// (2008), cleaning precedes every disinfection and sterilisation.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_used_is_not_assembled_without_cleaning() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Desk, step("treated", "SET-1")).await;
        for name in ["dried", "packed"] {
            never(&served, step(name, "B-1"), "out_of_order").await;
        }
        never(&served, json!({"do": "inspect", "scan": "B-1", "passed": true}), "out_of_order").await;
        never(&served, start("washer-1", "wash", "B-1"), "out_of_order").await;
        never(&served, start("steriliser-1", "p134", "B-1"), "out_of_order").await;
        assert_eq!(stage(&served, "B-1").await, "treated");
        served.sound().await;
        served.stop().await;
    }
}

/// The same at the table: what was opened at a case and has not come back begins no step of the turn that it ended.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_out_at_a_case_is_not_packed_whoever_signs() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 2)).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        for stage_then in ["issued", "in_use"] {
            assert_eq!(stage(&served, "B-1").await, stage_then);
            for name in ["cleaned", "dried", "packed"] {
                never(&served, step(name, "B-1"), "out_of_order").await;
            }
            never(&served, json!({"do": "inspect", "scan": "B-1", "passed": true}), "out_of_order").await;
            never(&served, start("washer-1", "wash", "B-1"), "out_of_order").await;
            never(&served, start("steriliser-1", "p134", "B-1"), "out_of_order").await;
            if stage_then == "issued" {
                served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "SET-1"})).await;
            }
        }
        served.sound().await;
        served.stop().await;
    }
}

/// "WD fail -> assembled": ISO 15883-1, a cycle that did not reach its A0 has not disinfected its load.
#[tokio::test(flavor = "multi_thread")]
async fn what_a_failed_washer_held_is_not_assembled() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.dry().await;
        let load = served.wash(1).await;
        never(&served, json!({"do": "release_load", "load": load}), "record_failed").await;
        let inspect = json!({"do": "inspect", "scan": "B-1", "passed": true});
        // The lead may let a part skip a step past cleaning, but not take it out of a load that is not decided.
        served.refused(Desk, inspect.clone(), "out_of_order").await;
        served.refused(Lead, overridden(&inspect), "in_load").await;
        served.done(Desk, json!({"do": "reject_load", "load": load, "reason": "A0 too low"})).await;
        assert_eq!(stage(&served, "B-1").await, "received", "back before cleaning");
        never(&served, inspect, "out_of_order").await;
        never(&served, step("packed", "B-1"), "out_of_order").await;
        assert_eq!(served.asset("B-1").await["cycles"], 0, "a washer counts no cycle");
        served.sound().await;
        served.stop().await;
    }
}

/// "cycle fail -> released" and "released with no physical trace": CDC (2008), mechanical, chemical and biological
/// monitors; RACGP Infection prevention and control guidelines, a load without its record is not released.
#[tokio::test(flavor = "multi_thread")]
async fn a_load_without_a_good_record_is_not_released() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.packed().await;
        let load = served.load("steriliser-1", "p134", "SET-1").await;
        let release = json!({"do": "release_load", "load": load});
        let chemical = |result: &str| json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": result});
        served.done(Desk, chemical("pass")).await;
        never(&served, release.clone(), "no_record").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(60)})).await;
        never(&served, release.clone(), "record_failed").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
        served.done(Desk, chemical("fail")).await;
        served.done(Desk, chemical("pass")).await;
        // A second strip does not undo the first one's failure.
        never(&served, release, "indicator_failed").await;
        let (_, told) = served.get(&format!("loads/{load}")).await;
        assert_eq!(
            (&told["may_release"], &told["why_not"]),
            (&json!(false), &json!(["indicator_failed"])),
            "{told}"
        );
        served.done(Desk, json!({"do": "reject_load", "load": load, "reason": "indicator"})).await;
        for asset in ["B-1", "C-1", "T-1"] {
            let told = served.asset(asset).await;
            assert_eq!((&told["stage"], &told["cycles"]), (&json!("inspected"), &json!(1)), "{told}");
        }
        served.done(Desk, step("packed", "SET-1")).await;
        let load = served.load("steriliser-1", "p134", "SET-1").await;
        let aborted = json!({"do": "reject_load", "load": load, "reason": "door alarm", "ran": false});
        served.done(Desk, aborted).await;
        assert_eq!(served.asset("B-1").await["cycles"], 1, "a cycle that never ran counts nothing");
        served.sound().await;
        served.stop().await;
    }
}

/// "opened -> sterile store": a pack that is wet, torn or was dropped is contaminated and is reprocessed (CDC 2008,
/// event-related storage).
#[tokio::test(flavor = "multi_thread")]
async fn what_was_opened_is_not_sterile_again() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        for why in ["wet", "torn", "dropped", "past_date", "indicator"] {
            served.done(Desk, json!({"do": "pack_broken", "scan": "B-1", "why": why})).await;
            assert_eq!(stage(&served, "B-1").await, "inspected", "{why}");
            let set = served.set("SET-1").await;
            assert_eq!(set["status"], "in_turn", "{why}: {set}");
            assert_eq!(served.asset("C-1").await["sterile_until"], Value::Null);
            never(&served, start("steriliser-1", "p134", "B-1"), "out_of_order").await;
            served.done(Desk, step("packed", "SET-1")).await;
        }
        served.sound().await;
        served.stop().await;
    }
}

/// "prion quarantine -> any state without named decision": ACDP TSE guidance, annex E, as hospital policies give it:
/// instruments of a possible case stay in a sealed box until the outcome; a responsible person decides.
#[tokio::test(flavor = "multi_thread")]
async fn a_prion_hold_admits_only_a_box_and_destruction() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let place =
            |asset: &str| json!({"do": "hold", "kind": "prion", "reason": "suspected", "scan": asset});
        served.done(Desk, step("treated", "SET-1")).await;
        served.done(Desk, step("received", "SET-1")).await;
        let hold = served.done(Infection, place("B-1")).await["made"].clone();
        never(&served, step("cleaned", "B-1"), "held").await;
        never(&served, json!({"do": "inspect", "scan": "B-1", "passed": true}), "held").await;
        never(&served, start("washer-1", "wash", "B-1"), "held").await;
        never(&served, start("steriliser-1", "p134", "B-1"), "held").await;
        never(
            &served,
            json!({"do": "take_from_set", "set": "SET-1", "line": "barrel", "asset": "B-1"}),
            "held",
        )
        .await;
        let retire = |cause: &str| json!({"do": "retire", "asset": "B-1", "cause": cause, "failure": false});
        for cause in ["worn", "damaged", "obsolete", "recalled"] {
            served.refused(Biomed, retire(cause), "held").await;
        }
        let spare = json!({"do": "add_asset", "asset": "B-9", "model": "barrel"});
        served.done(Lead, spare).await;
        for (cause, new) in [("destroyed", json!("B-9")), ("destroyed", json!({"model": "barrel"}))] {
            let replace = json!({"do": "replace", "set": "SET-1", "line": "barrel", "cause": cause,
                                 "failure": false, "new": new});
            never(&served, replace, "held").await;
        }
        let cleaned = served.done(Desk, step("cleaned", "SET-1")).await;
        assert_eq!(
            (&cleaned["left"][0]["asset"], &cleaned["left"][0]["code"]),
            (&json!("B-1"), &json!("held"))
        );
        served.done(Desk, json!({"do": "put_away", "scan": "B-1", "location": "sealed box 1"})).await;
        let lift = json!({"do": "lift_hold", "hold": hold, "reason": "in a hurry"});
        for role in Role::ALL.into_iter().filter(|role| *role != Infection) {
            assert_eq!(served.post(role, lift.clone()).await.0, 403, "{role:?}");
        }
        served
            .refused(Infection, json!({"do": "lift_hold", "hold": hold, "reason": ""}), "needs_reason")
            .await;
        served.done(Infection, json!({"do": "lift_hold", "hold": hold, "reason": "not confirmed"})).await;
        served.done(Desk, step("cleaned", "B-1")).await;
        served.done(Lead, place("B-1")).await;
        served.done(Biomed, retire("destroyed")).await;
        assert_eq!(served.asset("B-1").await["standing"], "retired");
        served.sound().await;
        served.stop().await;
    }
}

/// "recalled -> issued": CDC (2008), what is recalled is set aside. What is recalled or held for its quality goes no
/// further than inspection, and what is held while its load runs is not in use when the load is released.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_held_is_not_packed_nor_ready() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let place =
            |kind: &str| json!({"do": "hold", "kind": kind, "reason": "maker's notice", "scan": "B-1"});
        let hold = served.done(Lead, place("recall")).await["made"].clone();
        served.dry().await;
        let load = served.wash(300).await;
        served.done(Desk, json!({"do": "release_load", "load": load})).await;
        served.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
        never(&served, step("packed", "B-1"), "held").await;
        served.done(Lead, json!({"do": "lift_hold", "hold": hold, "reason": "another lot"})).await;
        served.done(Desk, step("packed", "SET-1")).await;
        served.done(Lead, place("quality")).await;
        never(&served, start("steriliser-1", "p134", "B-1"), "held").await;
        let load = served.done(Desk, start("steriliser-1", "p134", "SET-1")).await;
        assert_eq!((&load["left"][0]["asset"], &load["left"][0]["code"]), (&json!("B-1"), &json!("held")));
        let load = load["made"].clone();
        served
            .done(Infection, json!({"do": "hold", "kind": "prion", "reason": "suspected", "scan": "T-1"}))
            .await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        served.done(Desk, chemical).await;
        served.done(Desk, json!({"do": "release_load", "load": load})).await;
        assert_eq!(stage(&served, "C-1").await, "ready");
        assert_eq!(served.asset("T-1").await["standing"], "held");
        assert_ne!(stage(&served, "T-1").await, "ready");
        assert_eq!(served.set("SET-1").await["status"], "held");
        served.sound().await;
        served.stop().await;
    }
}

/// "used -> assembled without cleaning", where the part was taken to the case before its turn was over: CDC (2008).
#[tokio::test(flavor = "multi_thread")]
async fn what_was_opened_before_its_turn_was_over_is_not_packed_either() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.dry().await;
        let load = served.wash(300).await;
        served.done(Desk, json!({"do": "release_load", "load": load})).await;
        served.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
        served.done(Role::Charge, super::case::plan("K-1", 1)).await;
        served.done(Role::Charge, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
        let hold = served.asset("B-1").await["held"][0]["hold"].clone();
        served.done(Lead, json!({"do": "lift_hold", "hold": hold, "reason": "looked at"})).await;
        never(&served, step("packed", "B-1"), "out_of_order").await;
        never(&served, json!({"do": "inspect", "scan": "B-1", "passed": true}), "out_of_order").await;
        assert_eq!(stage(&served, "B-1").await, "in_use");
        served.sound().await;
        served.stop().await;
    }
}
