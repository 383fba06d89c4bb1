//! Told after the fact: a paper day's inspections, loads and places, and what evidence binds all the same.

use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use serde_json::{Value, json};

use super::late::last;
use super::served::{BOTH, Served, steam_record, wash_record};

fn step(step: &str, scan: &str) -> Value {
    json!({"do": "record_step", "step": step, "scan": scan})
}

fn late(mut command: Value, at: &str) -> Value {
    command["at"] = at.into();
    command["late"] = json!({"cause": "downtime", "sheet": "paper 7"});
    command
}

async fn stage(served: &Served, asset: &str) -> String {
    served.asset(asset).await["stage"].as_str().expect("a stage").to_string()
}

impl Served {
    async fn wash_late(&self, at: &str) -> Value {
        let start = json!({"do": "start_load", "machine": "washer-1", "programme": "wash", "scan": "SET-1"});
        let started = self.done(Desk, late(start, at)).await;
        let load = started["made"].clone();
        let judge = json!({"do": "judge_load", "load": load, "record": wash_record(300)});
        self.done(Desk, late(judge, at)).await;
        self.done(Desk, late(json!({"do": "release_load", "load": load}), at)).await;
        started
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_inspection_told_late_moves_only_what_nothing_moved_since() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let inspect = |scan: &str| json!({"do": "inspect", "scan": scan, "passed": true});
        // Of what is soiled it is kept as told; it does not make it clean.
        let told = served.done(Desk, late(inspect("B-1"), &last(&served, "B-1").await)).await;
        assert_eq!(
            (&told["deviation"], told["event"]["parts"][0].get("moved")),
            (&json!(["out_of_order"]), None)
        );
        assert_eq!(stage(&served, "B-1").await, "soiled");
        served.dry().await;
        let at = last(&served, "T-1").await;
        let told = served.done(Desk, late(inspect("T-1"), &at)).await;
        assert_eq!((&told["deviation"], &told["at"]), (&json!([]), &json!(at)));
        assert_eq!(stage(&served, "T-1").await, "inspected");
        served.done(Desk, step("packed", "T-1")).await;
        // A later act is recorded: the part stays where that act took it.
        let mut failed = json!({"do": "inspect", "scan": "T-1", "outcome": "reclean"});
        failed = late(failed, &at);
        served.done(Desk, failed).await;
        assert_eq!(stage(&served, "T-1").await, "packed");
        // What did not pass is held whenever it is told.
        let held = json!({"do": "inspect", "scan": "T-1", "passed": false});
        served.done(Desk, late(held, &at)).await;
        assert_eq!(served.asset("T-1").await["standing"], "held");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_paper_days_loads_are_entered_as_they_ran() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.dry().await;
        let at = last(&served, "T-1").await;
        let started = served.wash_late(&at).await;
        assert_eq!(started["left"][0]["asset"], "T-1", "its route has no washer: {started}");
        assert_eq!(stage(&served, "B-1").await, "disinfected");
        served.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
        served.done(Desk, step("packed", "SET-1")).await;
        // The machine was out of service, and the load ran all the same: recorded, and the broken rule beside it.
        served.done(Biomed, json!({"do": "machine_out", "machine": "steriliser-1", "reason": "valve"})).await;
        let start =
            json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": "SET-1"});
        served.refused(Desk, start.clone(), "machine_not_ready").await;
        let at = last(&served, "T-1").await;
        let started = served.done(Desk, late(start, &at)).await;
        assert_eq!(started["deviation"], json!(["machine_not_ready"]));
        let load = started["made"].clone();
        // A release is a decision: evidence binds it whenever it is told.
        let release = late(json!({"do": "release_load", "load": load}), &at);
        served.refused(Desk, release.clone(), "machine_not_ready").await;
        served.done(Biomed, json!({"do": "machine_back", "machine": "steriliser-1", "after": "minor"})).await;
        served.refused(Desk, release.clone(), "no_record").await;
        let judge = |hold_s| json!({"do": "judge_load", "load": load, "record": steam_record(hold_s)});
        served.done(Desk, late(judge(10), &at)).await;
        served.refused(Desk, release.clone(), "record_failed").await;
        served.done(Desk, late(judge(200), &at)).await;
        served.refused(Desk, release.clone(), "indicator_missing").await;
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        served.done(Desk, late(chemical, &at)).await;
        served.done(Desk, release).await;
        for asset in ["B-1", "C-1", "T-1"] {
            let told = served.asset(asset).await;
            assert_eq!((&told["stage"], &told["cycles"]), (&json!("ready"), &json!(1)), "{told}");
        }
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_of_an_earlier_turn_counts_there_and_moves_nothing() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let (_, loads) = served.get("loads").await;
        let first = loads["items"][0]["started_at"].as_str().map(String::from);
        let at = first.unwrap_or(last(&served, "B-1").await);
        served.done(Charge, step("treated", "SET-1")).await;
        served.done(Desk, step("received", "SET-1")).await;
        let start =
            json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": "B-1"});
        let started = served.done(Desk, late(start, &at)).await;
        assert_eq!(started["event"]["contents"], json!([{"asset": "B-1", "turn": 1}]), "{started}");
        assert_eq!(started["event"]["moved_on"], json!(["B-1"]));
        let load = started["made"].clone();
        served.done(Desk, late(json!({"do": "reject_load", "load": load, "reason": "door"}), &at)).await;
        let told = served.asset("B-1").await;
        assert_eq!(
            (&told["stage"], &told["turn"], &told["cycles"]),
            (&json!("received"), &json!(2), &json!(2))
        );
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_override_stands_in_the_entry_only_for_what_it_let_through() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        // A fact needs none: a blank one stops nothing.
        let mut fact = step("treated", "SET-1");
        fact["override"] = json!({"code": "out_of_order", "reason": " "});
        let done = served.done(Desk, fact).await;
        assert_eq!(done["event"].get("override"), None, "{done}");
        for name in ["received", "cleaned", "dried"] {
            served.done(Desk, step(name, "SET-1")).await;
        }
        served.done(Desk, step("disinfected", "T-1")).await;
        let load = served.load("washer-1", "wash", "SET-1").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(300)})).await;
        served.done(Desk, json!({"do": "release_load", "load": load})).await;
        served.done(Desk, json!({"do": "inspect", "scan": ["B-1", "C-1"], "passed": true})).await;
        served
            .done(Desk, json!({"do": "hold", "kind": "quality", "reason": "scratched", "scan": "T-1"}))
            .await;
        let mut pack = step("packed", "SET-1");
        pack["override"] = json!({"code": "out_of_order", "reason": "the case waits"});
        let done = served.done(Lead, pack).await;
        assert_eq!(done["left"][0]["asset"], "T-1");
        assert_eq!(done["event"].get("override"), None, "nothing was let through by it: {done}");
        served.sound().await;
        served.stop().await;
    }
}
