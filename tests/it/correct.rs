//! Corrections: what named the wrong thing is taken back by an entry of its own.

use fettle::domain::person::Role::{Charge, Desk, Lead};
use serde_json::{Value, json};

use super::case::{case, issue, plan, stands};
use super::served::{BOTH, Served};

/// An act told of the wrong thing is taken back, and told of the right one: everything is as if it had been so.
#[tokio::test(flavor = "multi_thread")]
async fn a_correction_takes_an_entry_back_and_tells_it_of_the_right_thing() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let step = |step: &str, scan: &str| json!({"do": "record_step", "step": step, "scan": scan});
        let correct = |entry: &Value, instead: Option<&str>| {
            let mut command = json!({"do": "correct", "entry": entry, "reason": "the wrong tray"});
            if let Some(instead) = instead {
                command["instead"] = instead.into();
            }
            command
        };
        served.done(Desk, step("treated", "SET-1")).await;
        let entry = served.done(Desk, step("received", "B-1")).await["entry"].clone();
        served.refused(Lead, correct(&json!(9_999), None), "unknown_thing").await;
        served.refused(Lead, correct(&json!(1), None), "out_of_order").await;
        let done = served.done(Lead, correct(&entry, Some("C-1"))).await;
        assert_eq!(done["event"]["undone"]["kind"], "step_recorded", "{done}");
        stands(&served, "B-1", "treated", 1, 0).await;
        stands(&served, "C-1", "received", 1, 0).await;
        served.refused(Lead, correct(&entry, None), "not_last").await;
        served.done(Desk, step("received", "B-1")).await;
        for name in ["cleaned", "dried"] {
            let done = served.done(Desk, step(name, "B-1")).await;
            served.done(Lead, correct(&done["entry"], None)).await;
            served.done(Desk, step(name, "B-1")).await;
        }
        // At a case: the wrong part was said to be used.
        served.done(Desk, step("received", "T-1")).await;
        for name in ["cleaned", "dried"] {
            served.done(Desk, step(name, "SET-1")).await;
        }
        served.done(Desk, step("disinfected", "T-1")).await;
        served.rest_of_a_round("SET-1").await;
        served.done(Charge, plan("K-1", 1)).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        let used = served.done(Charge, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
        assert_eq!(served.asset("B-1").await["uses"], 1);
        served.done(Lead, correct(&used["entry"], Some("T-1"))).await;
        stands(&served, "B-1", "issued", 1, 0).await;
        stands(&served, "C-1", "issued", 1, 0).await;
        stands(&served, "T-1", "in_use", 1, 1).await;
        let told = case(&served, "K-1").await;
        assert_eq!((&told["used"], &told["opened"]), (&json!(["T-1"]), &json!(["T-1"])));
        let counted =
            served.done(Charge, json!({"do": "close_count", "case": "K-1", "missing": ["C-1"]})).await;
        served.done(Lead, correct(&counted["entry"], None)).await;
        assert_eq!(case(&served, "K-1").await["count"], "open");
        assert_eq!(served.asset("C-1").await["standing"], "in_service");
        served.done(Charge, json!({"do": "close_count", "case": "K-1", "unopened": "SET-1"})).await;
        stands(&served, "T-1", "soiled", 2, 1).await;
        stands(&served, "B-1", "ready", 1, 0).await;
        served.sound().await;
        served.stop().await;
    }
}
