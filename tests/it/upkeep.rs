//! What biomed decides of models and asks of parts: costs, an age at which parts are replaced, inspections before others.

use fettle::domain::event::Event;
use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served};

impl Served {
    /// What biomed decides of a model, and asks to be looked at.
    pub async fn wear_decided(&self) {
        let costs = json!({"do": "set_model_costs", "model": "cap", "planned_cents": 2_400, "lead_days": 14});
        self.done(Biomed, costs).await;
        let limit =
            json!({"do": "set_life_limit", "model": "cap", "replace_at": 60, "reason": "two tore in May"});
        self.done(Biomed, limit).await;
        let look = json!({"do": "request_inspection", "scan": "C-2", "reason": "back from repair"});
        self.done(Lead, look).await;
    }

    async fn due_for(&self, asset: &str) -> Vec<String> {
        let due = self.asset(asset).await["due"].clone();
        due.as_array()
            .expect("a list")
            .iter()
            .map(|it| it["why"].as_str().expect("a reason").into())
            .collect()
    }
}

/// Fields that came later than their kinds: each is read and written as it stands.
#[test]
fn fields_of_wear_are_kept() {
    let notice = json!({"model": "cap", "serial_from": "A-1", "serial_to": "A-9", "not_known": ["C-2"], "unknown": "hold"});
    let value = json!({"check": "light transmission", "value": "760", "unit": "lx"});
    let rule = json!({"family": "cap", "check": "tear", "unit": "mm", "max": "0", "source": "house"});
    let asked = json!({"at": "2026-03-02T07:15:00Z", "by": "biomed-1", "reason": "old"});
    let part = json!({"asset": "T-1", "turn": 3, "outcome": "passed", "values": [value], "asked_before": asked,
                      "inspected_before": {"at": "2026-03-01T07:15:00Z", "cycles": 4, "entry": 17}});
    for (kind, event) in [
        (
            "policy_set",
            json!({"wear_clock": {"cap": "uses"}, "theatre_minute_cents": 1_500, "delay_minutes": 10}),
        ),
        ("policy_set", json!({"inspection_checks": [rule]})),
        (
            "sent_to_repair",
            json!({"repair": "repair-0001", "asset": "T-1", "turn": 3, "reason": "dim",
            "decontaminated": true, "supplier": "Workshop A", "cause": "a fall", "warranty": false, "expected": "2026-04-01"}),
        ),
        (
            "hold_placed",
            json!({"hold": "hold-0001", "kind": "recall", "reason": "r", "assets": ["C-2"], "notice": notice}),
        ),
        ("inspected", json!({"parts": [part]})),
    ] {
        let read = Event::read(kind, 1, event.clone()).expect("an event of this kind");
        assert_eq!(read.to_value().expect("a value"), event, "{kind}");
    }
}

/// An age of replacement makes due entries, carries its figures, and stops nobody from packing.
#[tokio::test(flavor = "multi_thread")]
async fn a_limit_of_the_house_makes_due_and_carries_its_evidence() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let parts = ["P-1", "P-2", "P-3", "P-4", "P-5"];
        served.plain_parts(&parts.map(|part| (part, 0))).await;
        let costs = json!({"do": "set_model_costs", "model": "plain", "planned_cents": 2_400, "unplanned_cents": 21_000});
        served.done(Biomed, costs).await;
        served.done(Biomed, json!({"do": "set_model_costs", "model": "plain", "lead_days": 14})).await;
        for turn in 0..3 {
            served.cycle(&parts[turn..], turn == 0).await;
            let retire = json!({"do": "retire", "asset": parts[turn], "cause": "worn", "failure": true});
            served.done(Biomed, retire).await;
        }
        let blank = json!({"do": "set_life_limit", "model": "plain", "replace_at": 3, "reason": " "});
        served.refused(Biomed, blank, "needs_reason").await;
        let limit =
            json!({"do": "set_life_limit", "model": "plain", "replace_at": 3, "reason": "three failed"});
        let set = served.done(Biomed, limit).await;
        let evidence = &set["event"]["evidence"];
        assert_eq!(
            (&evidence["failures"], &evidence["units"], &evidence["oldest"]),
            (&json!(3), &json!(5), &json!(3))
        );
        assert_eq!(
            (&evidence["planned_cents"], &evidence["unplanned_cents"]),
            (&json!(2_400), &json!(21_000))
        );
        assert_eq!(evidence["ledger"].as_u64().map(|seq| seq + 1), set["entry"].as_u64());
        assert!(evidence["beta"]["value"].is_string() && evidence["beta"]["low"].is_string(), "{evidence}");
        assert_eq!(served.due_for("P-5").await, ["replace_at"]);
        let wear = served.wear("plain").await;
        assert_eq!((&wear["limit"]["replace_at"], &wear["limit"]["by"].is_string()), (&json!(3), &true));
        assert_eq!(wear["costs"]["lead_days"], 14);
        served.cycle(&["P-4", "P-5"], false).await;
        let back = json!({"do": "set_life_limit", "model": "plain", "replace_at": 0, "reason": "a new lot holds longer"});
        served.done(Biomed, back).await;
        assert!(served.due_for("P-5").await.is_empty());
        served.sound().await;
        served.stop().await;
    }
}

/// What somebody asked to be inspected is due until it is looked at, whatever comes of it; an inspection taken back
/// brings the request back.
#[tokio::test(flavor = "multi_thread")]
async fn a_request_is_due_until_somebody_looked() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let ask = json!({"do": "request_inspection", "scan": "SET-1", "reason": "old for their models"});
        let asked = served.done(Lead, ask).await;
        assert_eq!(asked["event"]["parts"].as_array().map(Vec::len), Some(3), "{asked}");
        assert_eq!(served.due_for("T-1").await, ["inspection_asked"]);
        let (_, due) = served.get("due").await;
        let of =
            |why: &str| due["items"].as_array().expect("items").iter().filter(|it| it["why"] == why).count();
        assert_eq!(of("inspection_asked"), 3);
        served.done(Charge, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
        let late = json!({"cause": "forgotten"});
        let inspect = json!({"do": "inspect", "scan": "T-1", "passed": false, "late": late});
        let entry = served.done(Desk, inspect).await["entry"].clone();
        assert!(served.due_for("T-1").await.is_empty());
        served
            .done(Lead, json!({"do": "correct", "entry": entry, "reason": "it was another telescope"}))
            .await;
        assert_eq!(served.due_for("T-1").await, ["inspection_asked"]);
        served
            .refused(Lead, json!({"do": "request_inspection", "scan": "B-1", "reason": ""}), "needs_reason")
            .await;
        served.sound().await;
        served.stop().await;
    }
}

/// What was decided last holds, in whatever order it is told; what nothing newer says is taken.
#[tokio::test(flavor = "multi_thread")]
async fn a_decision_told_late_gives_way_to_a_newer_one() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let before = served.house.clock.now();
        served.house.clock.set(before.plus_minutes(60));
        let late = |mut command: Value, minutes: i64| {
            command["at"] = json!(before.plus_minutes(minutes));
            command
        };
        let costs = |fields: Value| {
            let mut command = json!({"do": "set_model_costs", "model": "cap"});
            fields
                .as_object()
                .expect("fields")
                .iter()
                .for_each(|(name, value)| command[name] = value.clone());
            command
        };
        let limit =
            |at: u32| json!({"do": "set_life_limit", "model": "cap", "replace_at": at, "reason": "r"});
        served.done(Biomed, costs(json!({"planned_cents": 2_000}))).await;
        served.done(Biomed, limit(60)).await;
        served.done(Biomed, late(costs(json!({"planned_cents": 1_000, "lead_days": 7})), 10)).await;
        served.done(Biomed, late(limit(30), 10)).await;
        let wear = served.wear("cap").await;
        assert_eq!(
            (&wear["costs"]["planned_cents"], &wear["costs"]["lead_days"]),
            (&json!(2_000), &json!(7))
        );
        assert_eq!(wear["limit"]["replace_at"], 60);
        // Newer than the one of before, older than none.
        served.done(Biomed, late(costs(json!({"lead_days": 9})), 20)).await;
        served.done(Biomed, limit(0)).await;
        served.done(Biomed, late(limit(40), 20)).await;
        let wear = served.wear("cap").await;
        assert_eq!((&wear["costs"]["lead_days"], &wear["limit"]), (&json!(9), &Value::Null));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn costs_that_are_none_are_told_in_words() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let malformed = |body: &Value, pointer: &str| {
            assert_eq!(body["errors"][0]["pointer"], pointer, "{body}");
            assert!(
                body["errors"][0]["detail"].as_str().is_some_and(|detail| detail.starts_with("found")),
                "{body}"
            );
        };
        for (fields, pointer) in [
            (json!({}), ""),
            (json!({"planned_cents": 100_000_000_000_u64}), "/planned_cents"),
            (json!({"lead_days": 5_000}), "/lead_days"),
        ] {
            let mut command = json!({"do": "set_model_costs", "model": "cap"});
            fields
                .as_object()
                .expect("fields")
                .iter()
                .for_each(|(name, value)| command[name] = value.clone());
            let (status, body) = served.post(Biomed, command).await;
            assert_eq!(status, 422, "{body}");
            malformed(&body, pointer);
        }
        let (status, body) =
            served.post(Biomed, json!({"do": "set_model_costs", "model": "cap", "planned_cents": -1})).await;
        assert_eq!((status, &body["code"]), (422, &json!("malformed")));
        let unknown = json!({"do": "set_model_costs", "model": "none", "planned_cents": 0});
        served.refused(Biomed, unknown, "unknown_thing").await;
        served.done(Biomed, json!({"do": "set_model_costs", "model": "cap", "planned_cents": 0})).await;
        served.stop().await;
    }
}

/// Repairs are counted by piece and by who did them, and one piece's own record says what another one is worth.
#[tokio::test(flavor = "multi_thread")]
async fn repairs_are_counted_and_compared() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served
            .done(Biomed, json!({"do": "set_model_costs", "model": "scope", "planned_cents": 400_000}))
            .await;
        let (_, first) = served.get("assets/T-1/repair-or-replace").await;
        assert!(first["said"].as_str().is_some_and(|said| said.contains("never repaired")), "{first}");
        let noon = served.house.clock.now();
        for n in 0..2 {
            served.house.clock.set(noon.plus_minutes(n * 60 * 24 * 40));
            let send = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dim", "decontaminated": true,
                              "supplier": "Workshop A", "cause": "a fall", "warranty": n == 0});
            served.done(Biomed, send).await;
            served.house.clock.set(noon.plus_minutes(n * 60 * 24 * 40 + 60 * 24 * (10 + n)));
            let back =
                json!({"do": "back_from_repair", "asset": "T-1", "cost_cents": 60_000, "cause": "wear"});
            served.done(Biomed, back).await;
            if n == 0 {
                served.round("SET-1").await;
            }
        }
        let (status, all) = served.get("wear/repairs?model=scope").await;
        assert_eq!(status, 200, "{all}");
        let workshop = &all["suppliers"]["Workshop A"];
        assert_eq!(
            (&workshop["repairs"], &workshop["warranty"], &workshop["cost_cents"]),
            (&json!(2), &json!(1), &json!(120_000))
        );
        assert_eq!(workshop["days_out"], json!([10, 11]));
        assert_eq!(all["units"]["pieces"][0]["events"], json!([0, 1]));
        let (_, told) = served.get("assets/T-1/repair-or-replace").await;
        // Two repairs for 60,000 cents lasted one cycle, so a new one for 400,000 is even after 3.3 cycles.
        assert_eq!((&told["gaps"], &told["days_out"]), (&json!([1, 0]), &json!(21)));
        assert_eq!(told["cents_per_age"], json!(120_000.0));
        assert!((told["even_at"].as_f64().expect("a number") - 10.0 / 3.0).abs() < 1e-9, "{told}");
        let (_, repairs) = served.get("repairs").await;
        assert_eq!(
            (&repairs["items"][0]["cause"], &repairs["items"][0]["warranty"]),
            (&json!("wear"), &json!(true))
        );
        let (status, money) = served.get("wear/money").await;
        assert_eq!(status, 200, "{money}");
        let scope = &money["models"]["scope"];
        assert_eq!(
            (&scope["repairs"], &scope["repair_cents"], &scope["bought_without_price"]),
            (&json!(2), &json!(120_000), &json!(1))
        );
        assert_eq!(scope["per_use_cents"], Value::Null);
        assert!(money["delays"]["said"].as_str().is_some_and(|said| said.contains("No fault")), "{money}");
        served.sound().await;
        served.stop().await;
    }
}
