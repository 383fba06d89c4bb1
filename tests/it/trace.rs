//! From cycle to patient and back, and what the record of a load holds.
//!
//! Source: RACGP, Infection prevention and control guidelines (2023), "Tracking reusable medical devices for patient
//! tracing" and "Record keeping": each sterilised pack is traced from its cycle to the patient and from the patient to
//! its cycle, packs that were opened but not used are included, and the record of a load names the date, the
//! steriliser, the load, its contents, who loaded and who released it, the cycle's monitoring, indicators and faults.

use fettle::domain::person::Role::{Charge, Desk, Infection};
use serde_json::{Value, json};

use super::case::{issue, plan};
use super::served::{BOTH, Served};

async fn look(served: &Served, query: &str) -> Value {
    let (status, body) = served.get(&format!("look-back?{query}")).await;
    assert_eq!(status, 200, "{body}");
    body
}

fn names(list: &Value, of: &str) -> Vec<String> {
    let all = list.as_array().expect("a list").iter();
    all.map(|it| it[of].as_str().expect("a name").to_string()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn from_cycle_to_patient_and_back() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let mut asked = plan("K-1", 1);
        asked["patient"] = "REF-9".into();
        served.done(Charge, asked).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        served.done(Charge, json!({"do": "open", "case": "K-1", "scan": "T-1"})).await;
        served.done(Charge, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
        let made_ready = served.asset("T-1").await;
        assert_eq!(made_ready["load"], Value::Null, "its next turn has no load yet");
        let back = look(&served, "case=K-1").await;
        let loads = names(&back["loads"], "load");
        let sterilised = loads.iter().max().expect("a load").clone();
        // Forward from the cycle: the patient's case, with what was used and what was only opened.
        let forward = look(&served, &format!("load={sterilised}")).await;
        assert_eq!(names(&forward["cases"], "case"), ["K-1"]);
        assert_eq!(forward["cases"][0]["patient"], true);
        let exposures: Vec<(String, String)> = forward["cases"][0]["assets"]
            .as_array()
            .expect("parts")
            .iter()
            .map(|at| {
                (at["asset"].as_str().expect("a part").into(), at["exposure"].as_str().expect("how").into())
            })
            .collect();
        let told = [("B-1", "used"), ("C-1", "opened"), ("T-1", "opened")];
        assert_eq!(exposures, told.map(|(asset, how)| (asset.to_string(), how.to_string())), "{forward}");
        // From one part, and from the machine in a window.
        assert_eq!(names(&look(&served, "asset=B-1").await["cases"], "case"), ["K-1"]);
        let window = "machine=steriliser-1&from=2020-01-01T00:00:00Z&to=2100-01-01T00:00:00Z";
        assert_eq!(names(&look(&served, window).await["loads"], "load"), std::slice::from_ref(&sterilised));
        let before = look(&served, "machine=steriliser-1&to=2020-01-01T00:00:00Z").await;
        assert_eq!((&before["loads"], &before["cases"]), (&json!([]), &json!([])));
        for (query, status) in [
            ("load=no", 404),
            ("", 422),
            ("load=a&case=b", 422),
            ("from=2020-01-01T00:00:00Z", 422),
            ("machine=steriliser-1&from=soon", 422),
            ("patient=REF-9", 422),
        ] {
            assert_eq!(served.get(&format!("look-back?{query}")).await.0, status, "{query}");
        }
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_rejected_load_exposes_nobody_and_the_next_turn_is_another() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let first = served.asset("B-1").await["load"].as_str().expect("a load").to_string();
        // The pack breaks, a load fails, and another one makes the set ready: the case is behind the last one.
        served.done(Desk, json!({"do": "pack_broken", "scan": "SET-1", "why": "wet"})).await;
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "SET-1"})).await;
        let failed = served.load("steriliser-1", "p134", "SET-1").await;
        served.done(Desk, json!({"do": "reject_load", "load": failed, "reason": "short"})).await;
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "SET-1"})).await;
        let last = served.load("steriliser-1", "p134", "SET-1").await;
        let record = super::served::steam_record(200);
        served.done(Desk, json!({"do": "judge_load", "load": last, "record": record})).await;
        let chemical =
            json!({"do": "record_indicator", "load": last, "indicator": "chemical", "result": "pass"});
        served.done(Desk, chemical).await;
        served.done(Desk, json!({"do": "release_load", "load": last})).await;
        served.done(Charge, plan("K-1", 1)).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
        assert_eq!(look(&served, &format!("load={failed}")).await["cases"], json!([]), "it exposes nobody");
        for load in [&first, &last] {
            assert_eq!(
                names(&look(&served, &format!("load={load}")).await["cases"], "case"),
                ["K-1"],
                "{load}"
            );
        }
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_record_of_a_load_holds_what_a_trace_needs() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let load = served.asset("B-1").await["load"].as_str().expect("a load").to_string();
        let (_, told) = served.get(&format!("loads/{load}")).await;
        for name in
            ["load", "machine", "programme", "started_at", "started_by", "decided_by", "decided_at", "limits"]
        {
            assert!(!told[name].is_null(), "{name} of {told}");
        }
        assert_eq!(told["contents"].as_array().map(Vec::len), Some(3));
        assert_eq!(told["verdict"]["verdict"], "pass");
        assert_eq!(
            (&told["indicators"][0]["indicator"], &told["indicators"][0]["result"]),
            (&json!("chemical"), &json!("pass"))
        );
        let (_, all) = served.get("look-backs").await;
        assert_eq!(all["items"], json!([]));
        let open = json!({"do": "open_look_back", "origin": {"load": load}, "reason": "maker's notice"});
        let made = served.done(Infection, open).await["made"].clone();
        let (_, all) = served.get("look-backs").await;
        assert_eq!(all["items"][0]["look_back"], made);
        served.stop().await;
    }
}
