//! Packing takes a pack whole: wrapped together is sterilised together.

use fettle::domain::person::Role::{Biomed, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served, wash_record};

fn step(step: &str, scan: Value) -> Value {
    json!({"do": "record_step", "step": step, "scan": scan})
}

impl Served {
    /// From soiled to inspected.
    async fn inspected(&self) {
        self.dry().await;
        let load = self.wash(300).await;
        self.done(Desk, json!({"do": "release_load", "load": load})).await;
        self.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
    }

    async fn stage(&self, asset: &str) -> String {
        self.asset(asset).await["stage"].as_str().expect("a stage").to_string()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn one_member_that_is_not_able_keeps_its_pack_open() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.inspected().await;
        let hold = json!({"do": "hold", "kind": "quality", "reason": "scratched", "scan": "C-1"});
        served.done(Desk, hold).await;
        served.refused(Desk, step("packed", json!("B-1")), "held").await;
        let packed = served.done(Desk, step("packed", json!("SET-1"))).await;
        // The optics are a pack of their own, and go.
        let left: Vec<_> =
            packed["left"].as_array().expect("a list").iter().map(|it| it["asset"].clone()).collect();
        assert_eq!(left, ["B-1", "C-1"], "{packed}");
        assert_eq!(
            (served.stage("T-1").await, served.stage("B-1").await),
            ("packed".into(), "inspected".into())
        );
        assert_eq!(packed.get("short"), None);
        // Named as left out, it leaves the set by the same entry, and its line is told as short.
        let mut without = step("packed", json!("B-1"));
        without["without"] = json!(["C-1", "C-2"]);
        served.refused(Desk, without.clone(), "not_on_sheet").await;
        without["without"] = json!(["C-1"]);
        let packed = served.done(Desk, without).await;
        assert_eq!(packed["short"], json!(["cap"]), "{packed}");
        assert_eq!(
            (served.asset("C-1").await["set"].clone(), served.stage("C-1").await),
            (Value::Null, "inspected".into())
        );
        assert_eq!(served.set("SET-1").await["missing"], json!(["cap"]));
        let mut other = step("dried", json!("B-1"));
        other["without"] = json!(["C-1"]);
        let (status, body) = served.post(Desk, other).await;
        assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!("/without")));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn one_part_scanned_packs_its_pack() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.inspected().await;
        let packed = served.done(Desk, step("packed", json!("C-1"))).await;
        assert_eq!(packed["event"]["parts"].as_array().map(Vec::len), Some(2), "{packed}");
        assert_eq!(served.stage("B-1").await, "packed");
        assert_eq!(served.stage("T-1").await, "inspected");
        // A part that joins a closed pack needs it opened.
        served.done(Biomed, json!({"do": "retire", "asset": "C-1", "cause": "worn", "failure": true})).await;
        served.done(Lead, json!({"do": "put_in_set", "set": "SET-1", "line": "cap", "asset": "C-2"})).await;
        for name in ["treated", "received", "cleaned", "dried"] {
            served.done(Desk, step(name, json!("C-2"))).await;
        }
        let load = served.load("washer-1", "wash", "C-2").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(300)})).await;
        served.done(Desk, json!({"do": "release_load", "load": load})).await;
        served.done(Desk, json!({"do": "inspect", "scan": "C-2", "passed": true})).await;
        let refused = served.refused(Desk, step("packed", json!("C-2")), "out_of_order").await;
        served.done(Desk, refused["remedy"].clone()).await;
        served.done(Desk, step("packed", json!("C-2"))).await;
        assert_eq!(
            (served.stage("B-1").await, served.stage("C-2").await),
            ("packed".into(), "packed".into())
        );
        served.sound().await;
        served.stop().await;
    }
}
