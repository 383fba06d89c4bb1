//! Permissions and facts: what a set stands for, what a fact breaks, and what is told after the fact.

use fettle::domain::person::Role::{Charge, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served};

fn step(step: &str, scan: Value) -> Value {
    json!({"do": "record_step", "step": step, "scan": scan})
}

fn told_late(mut command: Value, at: &str) -> Value {
    command["at"] = at.into();
    command["late"] = json!({"cause": "forgotten"});
    command
}

/// A part's stage and turn have to be these.
async fn stands(served: &Served, asset: &str, stage: &str, turn: u64) {
    let told = served.asset(asset).await;
    let found = (told["stage"].as_str(), told["turn"].as_u64());
    assert_eq!(found, (Some(stage), Some(turn)), "{told}");
}

/// The ids of the parts that an answer says it moved.
fn moved(answer: &Value) -> Vec<&str> {
    let parts = answer["event"]["parts"].as_array().expect("parts");
    parts.iter().map(|part| part["asset"].as_str().expect("an id")).collect()
}

fn left(answer: &Value) -> Vec<(&str, &str)> {
    let left = answer["left"].as_array().expect("a list");
    for one in left {
        let asset = one["asset"].as_str().expect("an id");
        assert!(one["detail"].as_str().is_some_and(|it| it.contains(asset)), "{one}");
    }
    left.iter()
        .map(|one| (one["asset"].as_str().expect("an id"), one["code"].as_str().expect("a code")))
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn in_a_permission_a_set_stands_for_those_whose_next_act_it_is() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Desk, step("treated", json!("SET-1"))).await;
        served.done(Desk, step("received", json!("SET-1"))).await;
        served.done(Desk, step("cleaned", json!(["B-1", "B-1"]))).await;
        let rest = served.done(Desk, step("cleaned", json!("SET-1"))).await;
        assert_eq!(moved(&rest), ["C-1", "T-1"]);
        assert_eq!(left(&rest), [("B-1", "already_done")]);
        served.refused(Desk, step("cleaned", json!("SET-1")), "already_done").await;
        // A part scanned by itself must be acceptable, or nothing is done; so it is beside its own set.
        served.refused(Desk, step("dried", json!(["B-1", "C-2"])), "out_of_order").await;
        stands(&served, "B-1", "cleaned", 1).await;
        served.done(Desk, step("dried", json!(["T-1"]))).await;
        served.refused(Desk, step("dried", json!(["SET-1", "T-1"])), "already_done").await;
        let rest = served.done(Desk, step("dried", json!(["SET-1", "B-1", "SET-1"]))).await;
        assert_eq!(moved(&rest).len(), 2, "each once: {rest}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fact_is_taken_as_it_comes_with_the_rule_it_broke() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        // A jump over a step is a deviation, and a skipped act at the point of use holds nothing.
        let jump = served.done(Desk, step("received", json!("B-1"))).await;
        assert_eq!(jump["deviation"], json!(["out_of_order"]));
        stands(&served, "B-1", "received", 1).await;
        assert_eq!(served.asset("B-1").await["held"], json!([]));
        let treated = served.done(Charge, step("treated", json!("SET-1"))).await;
        assert_eq!((moved(&treated), left(&treated)), (vec!["C-1", "T-1"], vec![("B-1", "already_done")]));
        assert_eq!(treated["deviation"], json!([]));
        let received = served.done(Desk, step("received", json!("SET-1"))).await;
        assert_eq!((moved(&received), &received["deviation"]), (vec!["C-1", "T-1"], &json!([])));
        served.refused(Desk, step("received", json!("SET-1")), "already_done").await;
        // From cleaned to packed it leaves the stage.
        served.done(Desk, step("cleaned", json!("B-1"))).await;
        for name in ["treated", "received"] {
            let again = served.done(Desk, step(name, json!("B-1"))).await;
            assert_eq!((moved(&again).len(), &again["deviation"]), (0, &json!(["out_of_order"])), "{name}");
            assert_eq!(again["event"]["noted"], json!([{"asset": "B-1", "turn": 1}]));
            stands(&served, "B-1", "cleaned", 1).await;
        }
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_comes_back_ready_begins_its_next_turn() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let treated = served.done(Charge, step("treated", json!("T-1"))).await;
        assert_eq!(treated["deviation"], json!(["out_of_order"]));
        stands(&served, "T-1", "treated", 2).await;
        stands(&served, "B-1", "ready", 1).await;
        let received = served.done(Desk, step("received", json!("B-1"))).await;
        assert_eq!(received["deviation"], json!(["out_of_order"]));
        stands(&served, "B-1", "received", 2).await;
        // The count of cycles goes on across turns, and nothing of it is a use.
        let told = served.asset("B-1").await;
        assert_eq!((told["cycles"].as_u64(), told["uses"].as_u64()), (Some(1), Some(0)), "{told}");
        served.sound().await;
        served.stop().await;
    }
}

/// The time of the last entry about a part.
pub async fn last(served: &Served, asset: &str) -> String {
    let (_, body) = served.get(&format!("assets/{asset}/history?limit=1")).await;
    body["items"][0]["at"].as_str().expect("a time").to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_late_fact_counts_in_its_turn_and_moves_only_what_nothing_moved_since() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Desk, step("treated", json!("SET-1"))).await;
        let treated_at = last(&served, "B-1").await;
        served.done(Desk, step("received", json!("SET-1"))).await;
        let received_at = last(&served, "B-1").await;
        let mut early = step("cleaned", json!("B-1"));
        early["at"] = treated_at.clone().into();
        served.refused(Desk, early, "too_late").await;
        // Nothing moved it since: the late fact moves it.
        let moves = served.done(Desk, told_late(step("cleaned", json!("B-1")), &received_at)).await;
        assert_eq!((moved(&moves), &moves["at"]), (vec!["B-1"], &json!(received_at)));
        assert_eq!(moves["event"]["late"]["cause"], "forgotten");
        stands(&served, "B-1", "cleaned", 1).await;
        // Something moved it since: the late fact is noted, and moves nothing.
        let notes = served.done(Desk, told_late(step("cleaned", json!("C-1")), &treated_at)).await;
        assert_eq!(
            (moved(&notes).len(), &notes["event"]["noted"]),
            (0, &json!([{"asset": "C-1", "turn": 1}]))
        );
        stands(&served, "C-1", "received", 1).await;
        let (_, history) = served.get("assets/C-1/history?limit=1").await;
        assert_eq!(history["items"][0]["at"], json!(treated_at), "{history}");
        // Once the next turn runs, what is told of the last one counts there.
        for turn in 2..=3 {
            served.round_again(turn).await;
        }
        let notes = served.done(Desk, told_late(step("dried", json!("T-1")), &received_at)).await;
        assert_eq!(notes["event"]["noted"], json!([{"asset": "T-1", "turn": 1}]));
        let before = "2001-01-01T00:00:00Z";
        let notes = served.done(Desk, told_late(step("received", json!("T-1")), before)).await;
        assert_eq!(notes["event"]["noted"], json!([{"asset": "T-1", "turn": 1}]));
        let mut ahead = told_late(step("received", json!("T-1")), "2999-01-01T00:00:00Z");
        served.refused(Desk, ahead.clone(), "in_the_future").await;
        ahead["scan"] = "NOPE".into();
        served.refused(Desk, ahead, "unknown_thing").await;
        served.sound().await;
        served.stop().await;
    }
}

impl Served {
    /// Begins the next turn of the set although nobody recorded that it went out.
    async fn round_again(&self, turn: u64) {
        if turn == 2 {
            let reset = step("dried", json!("B-1"));
            self.done(Desk, reset).await;
            self.done(Desk, step("cleaned", json!("SET-1"))).await;
            self.done(Desk, step("dried", json!("SET-1"))).await;
            self.done(Desk, step("disinfected", json!("T-1"))).await;
            self.rest_of_a_round("SET-1").await;
        }
        self.round("SET-1").await;
        stands(self, "T-1", "ready", turn).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn late_or_overridden_nothing_soiled_is_packed() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let with = |mut command: Value, code: &str, reason: &str| {
            command["override"] = json!({"code": code, "reason": reason});
            command
        };
        let now = last(&served, "B-1").await;
        // A late fact that jumps over cleaning is kept as told, and moves nothing.
        for name in ["packed", "dried", "inspected", "disinfected", "sterilised"] {
            let noted = served.done(Lead, told_late(step(name, json!("B-1")), &now)).await;
            assert_eq!((moved(&noted).len(), &noted["deviation"]), (0, &json!(["out_of_order"])), "{name}");
            stands(&served, "B-1", "soiled", 1).await;
        }
        for (before, names) in
            [("", ["packed", "dried"]), ("treated", ["packed", "dried"]), ("received", ["packed", "dried"])]
        {
            if !before.is_empty() {
                served.done(Desk, step(before, json!("SET-1"))).await;
            }
            for name in names {
                let asked = with(step(name, json!("B-1")), "out_of_order", "in a hurry");
                served.refused(Lead, asked, "out_of_order").await;
            }
        }
        // Past cleaning the lead may set the order aside, with a reason and by the code; nobody else may.
        served.done(Desk, step("cleaned", json!("SET-1"))).await;
        let packed = || step("packed", json!("T-1"));
        served.refused(Lead, packed(), "out_of_order").await;
        served.refused(Lead, with(packed(), "limit_reached", "in a hurry"), "out_of_order").await;
        served.refused(Lead, with(packed(), "out_of_order", "  "), "out_of_order").await;
        served.refused(Desk, with(packed(), "out_of_order", "in a hurry"), "out_of_order").await;
        let done = served.done(Lead, with(packed(), "out_of_order", "in a hurry")).await;
        assert_eq!(done["event"]["override"]["codes"], json!(["out_of_order"]));
        stands(&served, "T-1", "packed", 1).await;
        served.sound().await;
        served.stop().await;
    }
}

/// What an act on one part of a ready set opens: the answer's list, and the stage of each part afterwards.
async fn opens(served: &Served, command: Value, also: &[&str], stages: [&str; 3]) -> Value {
    let done = served.done(Desk, command).await;
    let opened = done.get("also_opened").cloned().unwrap_or(json!([]));
    assert_eq!(opened, json!(also), "{done}");
    for (asset, stage) in ["B-1", "C-1", "T-1"].into_iter().zip(stages) {
        assert_eq!(served.asset(asset).await["stage"], stage, "{asset} {done}");
    }
    done
}

#[tokio::test(flavor = "multi_thread")]
async fn one_part_taken_out_opens_its_pack() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let broken = |scan: &str| json!({"do": "pack_broken", "scan": scan, "why": "torn"});
        opens(&served, broken("B-1"), &["C-1"], ["inspected", "inspected", "ready"]).await;
        let twice = opens(&served, broken("B-1"), &[], ["inspected", "inspected", "ready"]).await;
        assert_eq!(twice["deviation"], json!(["out_of_order"]), "nothing was in a pack");
        opens(&served, broken("SET-1"), &[], ["inspected", "inspected", "inspected"]).await;
        // An opened pack is not sterilised again without a fresh one.
        let start =
            json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": "SET-1"});
        served.refused(Desk, start, "out_of_order").await;
        served.done(Desk, step("packed", json!("SET-1"))).await;
        let seat = |act: &str| json!({"do": act, "set": "SET-1", "line": "cap", "asset": "C-1"});
        opens(&served, seat("take_from_set"), &["B-1"], ["inspected", "inspected", "packed"]).await;
        served.done(Desk, seat("put_in_set")).await;
        served.done(Desk, step("packed", json!(["B-1", "C-1"]))).await;
        let replace = json!({"do": "replace", "set": "SET-1", "line": "cap", "cause": "damaged", "failure": true,
                             "new": "C-2"});
        let done = opens(&served, replace, &["B-1"], ["inspected", "packed", "packed"]).await;
        assert_eq!((&done["event"]["old"], &done["event"]["new"]), (&json!("C-1"), &json!("C-2")));
        assert_eq!(served.asset("C-1").await["standing"], "retired");
        assert_eq!(served.asset("C-2").await["set"], "SET-1");
        // Put away, held or retired alone, a part opens nothing.
        let hold = json!({"do": "hold", "kind": "quality", "reason": "scratched", "scan": "T-1"});
        assert_eq!(served.done(Desk, hold).await.get("also_opened"), None);
        stands(&served, "T-1", "packed", 1).await;
        served.sound().await;
        served.stop().await;
    }
}
