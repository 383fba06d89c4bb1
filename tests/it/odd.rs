//! What was out of the ordinary in a month: by kind and person, each with its reason and its time, from the ledger.

use chrono::{TimeDelta, Utc};
use fettle::domain::person::Role::{Biomed, Desk, Lead};
use serde_json::{Value, json};

use super::page;
use super::served::{BOTH, Served};
use super::ward::late;

fn entries<'a>(told: &'a Value, field: &str) -> Vec<&'a Value> {
    let all = told["out_of_the_ordinary"]["entries"].as_array().expect("entries");
    all.iter()
        .filter(|it| it[field].is_object() || it[field].as_array().is_some_and(|codes| !codes.is_empty()))
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_override_deviation_and_late_entry_is_listed_with_its_person_and_reason() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let (_, none) = served.get("exceptions").await;
        assert_eq!(
            none["out_of_the_ordinary"],
            json!({"counts": [], "reasons": [], "entries": [], "cut": false})
        );
        // Received, though nobody treated it; then the lead sets the washer load aside.
        served.done(Desk, json!({"do": "record_step", "step": "received", "scan": "B-1"})).await;
        served.done(Desk, json!({"do": "record_step", "step": "cleaned", "scan": "B-1"})).await;
        let over = json!({"do": "inspect", "scan": "B-1", "passed": true,
                          "override": {"code": "out_of_order", "reason": "washed by hand"}});
        served.done(Lead, over).await;
        // Told late: a test of a paper hour; and twice, by the same token.
        let at = (Utc::now() - TimeDelta::minutes(5)).to_rfc3339();
        let test = json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "leak_rate", "passed": true});
        let first = served.done(Biomed, late(test.clone(), &at)).await;
        served.done(Biomed, late(test, &at)).await;
        let (_, told) = served.get("exceptions").await;
        let by = entries(&told, "late");
        assert_eq!(by.len(), 2, "{told}");
        assert_eq!(
            (&by[1]["entry"], &by[1]["late"]["cause"], &by[1]["late"]["sheet"]),
            (&first["entry"], &json!("downtime"), &json!("paper 7"))
        );
        assert!(
            by[1]["at"].as_str() < by[1]["recorded_at"].as_str(),
            "when it happened and when it was written"
        );
        let count = |way: &str, code: &str| {
            let counts = told["out_of_the_ordinary"]["counts"].as_array().expect("counts").clone();
            counts
                .iter()
                .filter(|it| it["way"] == way && it["code"] == code)
                .map(|it| it["count"].as_u64().expect("a number"))
                .sum::<u64>()
        };
        assert_eq!(count("late", "downtime"), 2, "{told}");
        // A received part that nobody treated is a deviation, by the desk.
        assert_eq!(count("deviation", "out_of_order"), 1, "{told}");
        assert_eq!(entries(&told, "deviation")[0]["kind"], "step_recorded");
        assert_eq!(entries(&told, "override")[0]["override"]["reason"], "washed by hand", "{told}");
        assert_eq!(count("override", "out_of_order"), 1, "{told}");
        let (_, before) = served.get("exceptions?month=2001-01").await;
        assert_eq!(before["out_of_the_ordinary"]["entries"], json!([]));
        let lead = page::person(&served, Lead).await;
        let (status, _, text) = page::open(&lead, &served, "/exceptions").await;
        assert!(status == 200 && text.contains("told late") && text.contains("washed by hand"), "{text}");
        let (_, _, text) = page::open(&lead, &served, "/exceptions?month=2001-01").await;
        assert!(
            text.contains("nothing was told late in 2001-01") && !text.contains("washed by hand"),
            "{text}"
        );
        // The rows by which they are found follow from the ledger.
        served.sound().await;
        served.stop().await;
    }
}
