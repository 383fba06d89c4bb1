//! Safety notices: one hold by model with lots, serials or a range of serials, and the pieces of which nobody knows.

use fettle::domain::command::Command;
use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served};

fn names(list: &Value) -> Vec<&str> {
    list.as_array()
        .expect("a list")
        .iter()
        .map(|it| it["asset"].as_str().or(it.as_str()).expect("a name"))
        .collect()
}

impl Served {
    /// Caps with serials: A-0098 to A-0101, one of other letters, one that ends in a letter, two without.
    async fn caps_with_serials(&self) {
        self.furnish().await;
        let serials = [
            ("X-1", "A-0098"),
            ("X-2", "A0099"),
            ("X-3", "a100"),
            ("X-4", "A-0101"),
            ("X-5", "B-0099"),
            ("X-6", "0099A"),
        ];
        for (asset, serial) in serials {
            let add =
                json!({"do": "add_asset", "asset": asset, "model": "cap", "serial": serial, "lot": "L-1"});
            self.done(Lead, add).await;
        }
        self.done(Desk, json!({"do": "put_away", "scan": ["X-2", "X-3"], "location": "shelf 3"})).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_range_of_serials_holds_what_is_in_it_and_what_nobody_knows() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.caps_with_serials().await;
        let now = served.house.clock.now();
        let plan = json!({"do": "plan_case", "case": "K-1", "start": now.plus_minutes(1), "minutes": 30, "needs": []});
        served.done(Charge, plan).await;
        served.round("SET-1").await;
        served.done(Charge, json!({"do": "promise", "case": "K-1", "set": "SET-1"})).await;
        let mut hold = json!({"do": "hold", "kind": "recall", "reason": "maker's notice 2026-07", "model": "cap",
                              "serial_from": "A-0099", "serial_to": "A-0100"});
        let held = served.done(Biomed, hold.clone()).await;
        let event = &held["event"];
        assert_eq!(names(&event["assets"]), ["X-2", "X-3", "C-1", "C-2", "X-5", "X-6"]);
        // X-5 differs in its letters alone.
        assert_eq!(names(&event["notice"]["not_known"]), ["C-1", "C-2", "X-5", "X-6"]);
        let (status, told) = served.get(&format!("holds/{}", held["made"].as_str().expect("an id"))).await;
        assert_eq!(status, 200, "{told}");
        assert_eq!(names(&told["places"]["shelf 3"]), ["X-2", "X-3"]);
        assert_eq!(names(&told["not_known"]), ["C-1", "C-2", "X-5", "X-6"]);
        assert!(told["not_known"].as_array().expect("a list").iter().all(|it| it["held"] == true), "{told}");
        assert_eq!(
            (&told["cases"][0]["case"], &told["cases"][0]["sets"]),
            (&json!("K-1"), &json!(["SET-1"]))
        );
        assert_eq!(names(&told["cases"][0]["assets"]), ["C-1"]);
        // Left out on purpose they are named all the same.
        hold["unknown"] = json!("leave");
        let left = served.done(Biomed, hold).await;
        assert_eq!(names(&left["event"]["assets"]), ["X-2", "X-3"]);
        assert_eq!(names(&left["event"]["notice"]["not_known"]), ["C-1", "C-2", "X-5", "X-6"]);
        served.sound().await;
        served.stop().await;
    }
}

/// A quality hold by lots takes these lots alone, as it says; a recall takes what might be of them too.
#[tokio::test(flavor = "multi_thread")]
async fn a_lot_that_is_not_known_is_held_by_a_recall_alone() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.caps_with_serials().await;
        let hold =
            |kind: &str| json!({"do": "hold", "kind": kind, "reason": "r", "model": "cap", "lots": ["L-1"]});
        let quality = served.done(Lead, hold("quality")).await;
        assert_eq!(names(&quality["event"]["assets"]).len(), 6);
        assert_eq!(names(&quality["event"]["notice"]["not_known"]), ["C-1", "C-2"]);
        let recall = served.done(Lead, hold("recall")).await;
        assert_eq!(names(&recall["event"]["assets"]).len(), 8);
        let (status, list) = served.get("holds").await;
        assert_eq!((status, list["items"].as_array().map(Vec::len)), (200, Some(2)), "{list}");
        served
            .done(Lead, json!({"do": "correct", "entry": recall["entry"], "reason": "another model"}))
            .await;
        assert_eq!(served.get("holds").await.1["items"].as_array().map(Vec::len), Some(1));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_range_that_cannot_be_compared_is_refused_in_words() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        for (from, to, pointer) in [
            (json!("A-2"), json!("A-1"), "/serial_to"),
            (json!("A-1"), json!("B-2"), "/serial_to"),
            (json!("A-1"), json!("AB"), "/serial_from"),
            (json!("A-1"), Value::Null, "/serial_to"),
        ] {
            let mut hold =
                json!({"do": "hold", "kind": "recall", "reason": "r", "model": "cap", "serial_from": from});
            if !to.is_null() {
                hold["serial_to"] = to;
            }
            let (status, body) = served.post(Lead, hold).await;
            assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!(pointer)), "{body}");
        }
        let no_model = json!({"do": "hold", "kind": "recall", "reason": "r", "scan": "C-1", "serial_from": "1", "serial_to": "2"});
        assert_eq!(served.post(Lead, no_model).await.1["errors"][0]["pointer"], "/model");
        assert_eq!(served.get("holds/none").await.0, 404);
        served.stop().await;
    }
}

/// What comes into the house while a notice stands falls under it too: from a store of spares, or back from a loan.
#[tokio::test(flavor = "multi_thread")]
async fn what_comes_later_falls_under_a_notice_that_stands() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.caps_with_serials().await;
        let hold = json!({"do": "hold", "kind": "recall", "reason": "maker's notice 2026-07", "model": "cap",
                          "serial_from": "A-0099", "serial_to": "A-0100"});
        let hold = served.done(Biomed, hold).await["made"].as_str().expect("an id").to_string();
        for (asset, serial, held) in
            [("Y-1", Some("A-100"), true), ("Y-2", Some("A-0300"), false), ("Y-3", None, true)]
        {
            let mut add = json!({"do": "add_asset", "asset": asset, "model": "cap"});
            if let Some(serial) = serial {
                add["serial"] = serial.into();
            }
            let event = served.done(Lead, add).await["event"].clone();
            assert_eq!(event["held"][0] == json!(hold), held, "{event}");
            let (_, told) = served.get(&format!("assets/{asset}")).await;
            assert_eq!(told["standing"] == "held", held, "{told}");
        }
        let lift = json!({"do": "lift_hold", "hold": hold, "reason": "the maker withdrew it"});
        served.done(Lead, lift).await;
        let event =
            served.done(Lead, json!({"do": "add_asset", "asset": "Y-4", "model": "cap", "serial": "A-99"}));
        assert!(event.await["event"].get("held").is_none());
        let (_, told) = served.get("assets/Y-1").await;
        assert_eq!(told["standing"], "in_service", "{told}");
        served.sound().await;
    }
}

#[test]
fn a_list_that_names_nothing_is_refused() {
    let checks: Vec<Value> = (0..101).map(|n| json!({"check": format!("c{n}"), "passed": true})).collect();
    for (command, pointer) in [
        (json!({"do": "hold", "kind": "recall", "reason": "notice", "model": "cap", "lots": []}), "/lots"),
        (
            json!({"do": "hold", "kind": "recall", "reason": "notice", "model": "cap", "serials": []}),
            "/serials",
        ),
        (json!({"do": "inspect", "scan": "C-1", "passed": true, "checks": checks}), "/checks"),
    ] {
        let wrong = Command::read(command).expect_err("a refusal");
        assert_eq!(wrong[0].pointer, pointer, "{wrong:?}");
    }
}
