//! What comes in badly about cases: of no length, a hundred at once, told late of what is gone, or of nothing.

use fettle::domain::person::Role::{Biomed, Charge, Clinician, Desk};
use serde_json::{Value, json};

use super::case::{case, issue, plan, stands};
use super::served::{BOTH, Served};

#[tokio::test(flavor = "multi_thread")]
async fn a_hundred_cases_at_once_are_a_hundred_entries() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let mut all: Vec<Value> = (0..100).map(|n| plan(&format!("K-{n:03}"), 1 + n / 4)).collect();
        all[40]["minutes"] = 0.into();
        all[41]["needs"] = json!(["nothing"]);
        all[42] = all[39].clone();
        all[43]["technique"] = "guess".into();
        let (status, body) = served.post(Charge, json!(all)).await;
        assert_eq!(status, 200);
        let results = body["results"].as_array().expect("results");
        let told: Vec<u64> = results.iter().map(|one| one["status"].as_u64().expect("a status")).collect();
        assert_eq!(told.iter().filter(|status| **status == 201).count(), 96, "{told:?}");
        assert_eq!(told[40..44], [422, 409, 409, 422]);
        assert_eq!(results[40]["errors"][0]["pointer"], "/minutes");
        assert_eq!(
            (&results[41]["code"], &results[42]["code"]),
            (&json!("unknown_thing"), &json!("name_taken"))
        );
        let (_, page) = served.get("cases?limit=60").await;
        assert_eq!(page["items"].as_array().map(Vec::len), Some(60));
        let (_, rest) =
            served.get(&format!("cases?limit=60&after={}", page["next"].as_str().expect("more"))).await;
        assert_eq!((rest["items"].as_array().map(Vec::len), &rest["next"]), (Some(36), &Value::Null));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fact_told_late_of_a_part_that_is_gone_counts_where_it_belongs() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 1)).await;
        let at = served.done(Charge, issue("K-1", "SET-1")).await["at"].clone();
        served
            .done(Charge, json!({"do": "close_count", "case": "K-1", "unopened": ["B-1", "C-1", "T-1"]}))
            .await;
        served.done(Biomed, json!({"do": "retire", "asset": "C-1", "cause": "worn", "failure": true})).await;
        let mut used = json!({"do": "use", "case": "K-1", "scan": "C-1", "at": at});
        served.refused(Clinician, used.clone(), "too_late").await;
        used["late"] = json!({"cause": "forgotten"});
        let told = served.done(Clinician, used).await;
        assert_eq!(told["event"]["parts"][0]["turn"], 1, "{told}");
        let retired = served.asset("C-1").await;
        assert_eq!((&retired["standing"], &retired["uses"]), (&json!("retired"), &json!(1)));
        stands(&served, "B-1", "ready", 1, 0).await;
        assert_eq!(case(&served, "K-1").await["used"], json!(["C-1"]));
        let (_, back) = served.get("look-back?asset=C-1").await;
        assert_eq!(back["cases"][0]["assets"][0]["exposure"], "used");
        // Scanned at another station while it is looked for, a part must first be found.
        served.done(Charge, json!({"do": "report_missing", "scan": "SET-1", "asset": "B-1"})).await;
        let mut step = json!({"do": "record_step", "step": "treated", "scan": "B-1", "station": "sink 2"});
        served.refused(Desk, step.clone(), "missing").await;
        // In a set it is left, and told as such.
        step["scan"] = "SET-1".into();
        let left = served.done(Desk, step).await["left"].clone();
        assert_eq!((&left[0]["asset"], &left[0]["code"]), (&json!("B-1"), &json!("missing")));
        served.sound().await;
        served.stop().await;
    }
}
