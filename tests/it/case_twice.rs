//! What is easily missed at a case: a part that comes twice, packs opened by another act, and what is told after the
//! count.

use fettle::domain::person::Role::{Biomed, Charge, Clinician, Desk, Lead};
use serde_json::{Value, json};

use super::case::{case, issue, plan, stands};
use super::served::{BOTH, Served};

async fn exposures(served: &Served, query: &str) -> Vec<(String, u64, String)> {
    let (status, body) = served.get(&format!("look-back?{query}")).await;
    assert_eq!(status, 200, "{body}");
    let cases = body["cases"].as_array().expect("cases").iter();
    let parts = cases.flat_map(|case| case["assets"].as_array().expect("parts"));
    let text = |it: &Value| it.as_str().expect("a text").to_string();
    parts
        .map(|it| (text(&it["asset"]), it["turn"].as_u64().expect("a turn"), text(&it["exposure"])))
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_part_that_comes_to_a_case_twice_is_exposed_in_both_turns() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 1)).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "SET-1"})).await;
        let first = served.get("loads").await.1["items"].as_array().expect("loads").len();
        served.round("SET-1").await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        assert_eq!(case(&served, "K-1").await["used"], json!(["B-1", "C-1", "T-1"]), "what was so stays so");
        served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1", "unopened": "T-1"})).await;
        let of_part = exposures(&served, "asset=B-1").await;
        assert_eq!(of_part, [("B-1".into(), 1, "used".into()), ("B-1".into(), 2, "used".into())]);
        // One case that used it twice is one use.
        assert_eq!(served.asset("B-1").await["uses"], 1);
        let (_, loads) = served.get("loads").await;
        let old = loads["items"][first - 1]["load"].as_str().expect("a load").to_string();
        let of_load = exposures(&served, &format!("load={old}")).await;
        assert!(of_load.contains(&("B-1".into(), 1, "used".into())), "{of_load:?}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pack_opened_at_a_case_by_another_act_exposes_what_lay_in_it() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let mut risky = plan("K-1", 1);
        risky["risk"] = "prion_suspected".into();
        served.done(Charge, risky).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        // Received by itself: the rest of its pack was opened with it.
        let back = served.done(Desk, json!({"do": "record_step", "step": "received", "scan": "B-1"})).await;
        assert_eq!(back["also_opened"], json!(["C-1"]), "{back}");
        stands(&served, "C-1", "in_use", 1, 0).await;
        let broken = served.done(Charge, json!({"do": "pack_broken", "scan": "T-1", "why": "torn"})).await;
        assert_eq!(case(&served, "K-1").await["opened"], json!(["C-1", "T-1"]));
        served.done(Lead, json!({"do": "correct", "entry": broken["entry"], "reason": "another pack"})).await;
        assert_eq!(case(&served, "K-1").await["opened"], json!(["C-1"]));
        stands(&served, "T-1", "issued", 1, 0).await;
        // Whatever counts as used at the end is held, although nobody recorded a use.
        served.done(Charge, json!({"do": "close_count", "case": "K-1", "unopened": "T-1"})).await;
        for (asset, held) in [("B-1", json!("prion")), ("C-1", json!("prion")), ("T-1", Value::Null)] {
            assert_eq!(served.asset(asset).await["held"][0]["kind"], held, "{asset}");
        }
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn one_part_back_from_the_store_opens_its_pack() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let back = served.done(Desk, json!({"do": "record_step", "step": "received", "scan": "B-1"})).await;
        assert_eq!((&back["also_opened"], &back["deviation"]), (&json!(["C-1"]), &json!(["out_of_order"])));
        stands(&served, "B-1", "received", 2, 0).await;
        stands(&served, "C-1", "inspected", 1, 0).await;
        stands(&served, "T-1", "ready", 1, 0).await;
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_count_closes_what_it_can_and_a_use_told_afterwards_moves_nothing() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 1)).await;
        let issued = served.done(Charge, issue("K-1", "SET-1")).await["at"].clone();
        served.done(Charge, json!({"do": "open", "case": "K-1", "scan": "B-1"})).await;
        // Told late, of a time before the pack was opened: what was opened since is still out.
        let early = json!({"do": "close_count", "case": "K-1", "at": issued, "late": {"cause": "forgotten"}});
        let told = served.done(Charge, early).await;
        assert_eq!(told["deviation"], json!(["count_open"]), "{told}");
        assert_eq!(case(&served, "K-1").await["count"], "open");
        served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
        // One part of an opened pack is not unopened.
        let count = json!({"do": "close_count", "case": "K-1", "unopened": ["C-1"]});
        let told = served.done(Charge, count).await;
        assert_eq!(told["deviation"], json!(["out_of_order"]), "{told}");
        stands(&served, "C-1", "soiled", 2, 0).await;
        // The first count has said of the optics that they were used; of the cap it is told only now.
        let again = json!({"do": "use", "case": "K-1", "scan": "T-1"});
        served.refused(Clinician, again, "already_done").await;
        let used = served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "C-1"})).await;
        assert_eq!(used["event"]["parts"][0].get("moved"), None, "{used}");
        stands(&served, "C-1", "soiled", 2, 1).await;
        stands(&served, "T-1", "soiled", 2, 1).await;
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_set_short_of_what_is_not_essential_is_issued() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Desk, json!({"do": "report_missing", "scan": ["SET-1"], "asset": "C-1"})).await;
        assert_eq!(served.set("SET-1").await["status"], "ready_short");
        served.done(Charge, plan("K-1", 1)).await;
        let issued = served.done(Charge, issue("K-1", "SET-1")).await;
        assert_eq!(
            (&issued["left"][0]["asset"], &issued["left"][0]["code"]),
            (&json!("C-1"), &json!("missing"))
        );
        assert_eq!(case(&served, "K-1").await["issued"], json!(["B-1", "T-1"]));
        served.done(Biomed, json!({"do": "retire", "asset": "C-1", "cause": "lost", "failure": false})).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
        served.sound().await;
        served.stop().await;
    }
}
