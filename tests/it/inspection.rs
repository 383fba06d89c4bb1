//! Inspections with measured values: the site's own limits, and where a value goes.

use fettle::domain::inspection_starter::offered;
use fettle::domain::person::Role::{Admin, Charge, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served, wash_record};

/// Dark area at most 30 %, transmission at least 70 % of the piece's own first value.
fn rules() -> Value {
    json!([
        {"family": "telescope", "check": "light-post dark area", "unit": "%", "max": 30, "source": "local policy 4"},
        {"family": "telescope", "check": "light transmission", "unit": "lx", "min": 70, "of_first": true, "source": "local policy 4"},
        {"family": "cap", "check": "tear at the hole", "unit": "mm", "max": 0, "source": "local policy 5"},
    ])
}

impl Served {
    async fn up_to_inspection(&self) {
        self.done(Charge, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
        for step in ["received", "cleaned", "dried"] {
            self.done(Desk, json!({"do": "record_step", "step": step, "scan": "SET-1"})).await;
        }
        self.done(Desk, json!({"do": "record_step", "step": "disinfected", "scan": "T-1"})).await;
        let load = self.load("washer-1", "wash", "SET-1").await;
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(300)})).await;
        self.done(Desk, json!({"do": "release_load", "load": load})).await;
    }

    /// One steriliser cycle, from inspected on.
    async fn to_ready(&self) {
        self.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "SET-1"})).await;
        let load = self.load("steriliser-1", "p134", "SET-1").await;
        self.done(
            Desk,
            json!({"do": "judge_load", "load": load, "record": super::served::steam_record(200)}),
        )
        .await;
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        self.done(Desk, chemical).await;
        self.done(Desk, json!({"do": "release_load", "load": load, "dry": true})).await;
    }
}

fn value(check: &str, value: &str, unit: &str) -> Value {
    json!({"check": check, "passed": true, "value": value, "unit": unit})
}

fn inspect(scan: &str, checks: Vec<Value>) -> Value {
    json!({"do": "inspect", "scan": scan, "passed": true, "checks": checks})
}

#[tokio::test(flavor = "multi_thread")]
async fn a_value_beyond_its_limit_has_not_passed() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Admin, json!({"do": "set_policy", "inspection_checks": rules()})).await;
        served.up_to_inspection().await;
        let dark = |found: &str| inspect("T-1", vec![value("Light-post dark area", found, "%")]);
        let refused = served.refused(Desk, dark("42"), "limit_reached").await;
        assert_eq!(refused["found"], "T-1: light-post dark area is 42 %.");
        assert!(
            refused["needed"].as_str().is_some_and(|it| it.contains("30 %") && it.contains("local policy 4")),
            "{refused}"
        );
        let (status, wrong) =
            served.post(Desk, inspect("T-1", vec![value("light-post dark area", "9", "mm")])).await;
        assert_eq!((status, &wrong["errors"][0]["pointer"]), (422, &json!("/checks/0/unit")), "{wrong}");
        // It may be told with an outcome that is not "passed", or late as the deviation that it is.
        let mut lead = dark("42");
        lead["override"] = json!({"code": "limit_reached", "reason": "no other telescope tonight"});
        served.refused(Desk, lead.clone(), "limit_reached").await;
        let done = served.done(Lead, lead).await;
        assert_eq!(done["event"]["override"]["codes"], json!(["limit_reached"]));
        // In a set the value is that of the one part whose family has the check; a cap's tear stops the cap alone.
        let of_set = inspect("SET-1", vec![value("tear at the hole", "2", "mm")]);
        let done = served.done(Desk, of_set).await;
        let left: Vec<(&Value, &Value)> =
            done["left"].as_array().expect("a list").iter().map(|it| (&it["asset"], &it["code"])).collect();
        assert!(left.contains(&(&json!("C-1"), &json!("limit_reached"))), "{left:?}");
        assert!(left.contains(&(&json!("T-1"), &json!("already_done"))), "{left:?}");
        served.sound().await;
        served.stop().await;
    }
}

/// A check that was not passed stands against passing the part, with or without a value.
#[tokio::test(flavor = "multi_thread")]
async fn a_part_that_failed_a_check_has_not_passed() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.up_to_inspection().await;
        let failed = |scan: &str, of: Value| {
            let mut check = json!({"check": "tip", "passed": false});
            if !of.is_null() {
                check["asset"] = of;
            }
            inspect(scan, vec![check])
        };
        let refused = served.refused(Desk, failed("T-1", Value::Null), "limit_reached").await;
        assert_eq!(refused["found"], "T-1: tip was not passed.");
        // Of nobody's in a set it is of any of its parts; named it stops that one alone.
        served.refused(Desk, failed("SET-1", Value::Null), "limit_reached").await;
        let done = served.done(Desk, failed("SET-1", json!("C-1"))).await;
        assert_eq!(done["left"].as_array().map(Vec::len), Some(1), "{done}");
        assert_eq!(
            (&done["left"][0]["asset"], &done["left"][0]["code"]),
            (&json!("C-1"), &json!("limit_reached"))
        );
        let mut late = failed("C-1", Value::Null);
        late["late"] = json!({"cause": "downtime"});
        let told = served.done(Desk, late).await;
        assert_eq!(
            (&told["deviation"], &told["event"]["holds"][0]["kind"]),
            (&json!(["limit_reached"]), &json!("quality"))
        );
        served.sound().await;
        served.stop().await;
    }
}

/// Late it is a fact, whatever it broke.
#[tokio::test(flavor = "multi_thread")]
async fn told_late_a_value_beyond_its_limit_is_a_deviation() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Admin, json!({"do": "set_policy", "inspection_checks": rules()})).await;
        served.up_to_inspection().await;
        let mut late = inspect("T-1", vec![value("light-post dark area", "42", "%")]);
        late["late"] = json!({"cause": "downtime"});
        let told = served.done(Desk, late).await;
        assert_eq!(told["deviation"], json!(["limit_reached"]));
        // It is in doubt until somebody answers for it.
        let hold = &told["event"]["holds"][0];
        assert_eq!((&hold["kind"], &hold["assets"]), (&json!("quality"), &json!(["T-1"])));
        let (_, values) = served.get("assets/T-1/values").await;
        assert_eq!(values["checks"][0]["said"], "Last measured 42 %, beyond 30 %.");
        let impossible = inspect("C-1", vec![value("dark area", "-1", "%")]);
        let (status, body) = served.post(Desk, impossible).await;
        assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!("/checks/0/value")), "{body}");
        served.sound().await;
        served.stop().await;
    }
}

/// A line through three ages says when the limit is crossed: 100, 95, 90 % of the first value, so 70 % at cycle 6.
#[tokio::test(flavor = "multi_thread")]
async fn a_value_goes_along_its_line_against_its_own_first_one() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Admin, json!({"do": "set_policy", "inspection_checks": rules()})).await;
        let noon = served.house.clock.now();
        let mut last = Value::Null;
        for (turn, light) in ["800", "760", "720"].into_iter().enumerate() {
            served.house.clock.set(noon.plus_minutes(turn as i64 * 24 * 60 * 10));
            served.up_to_inspection().await;
            last = served.done(Desk, inspect("T-1", vec![value("light transmission", light, "lx")])).await;
            served.done(Desk, inspect("SET-1", Vec::new())).await;
            let (_, told) = served.get("assets/T-1/values").await;
            let said = told["checks"][0]["said"].as_str().expect("a sentence").to_string();
            match turn {
                0 | 1 => assert!(said.contains("3 different ages are needed"), "{said}"),
                _ => {
                    let course = &told["checks"][0];
                    assert_eq!(course["points"][2]["compared"], 90.0);
                    assert!(
                        (course["crosses"]["cycles"].as_f64().expect("a number") - 6.0).abs() < 1e-6,
                        "{course}"
                    );
                    assert!(
                        course["crosses"]["day"].is_string() && said.contains("about 6 cycles"),
                        "{course}"
                    );
                }
            }
            if turn < 2 {
                served.to_ready().await;
            }
        }
        assert_eq!(last["event"]["parts"][0]["values"][0]["value"], "720");
        served.sound().await;
        served.stop().await;
    }
}

/// What an entry measured goes with it when it is taken back.
#[tokio::test(flavor = "multi_thread")]
async fn a_value_is_taken_back_with_its_entry() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.up_to_inspection().await;
        let entry =
            served.done(Desk, inspect("T-1", vec![value("light transmission", "800", "lx")])).await["entry"]
                .clone();
        let checks = served.get("assets/T-1/values").await.1["checks"].clone();
        assert_eq!(checks[0]["said"], "The site has set no limit for it.");
        served.done(Lead, json!({"do": "correct", "entry": entry, "reason": "another telescope"})).await;
        assert_eq!(served.get("assets/T-1/values").await.1["checks"], json!([]));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_check_list_needs_sources_and_sense() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let rule = |fields: Value| {
            let mut rule = json!({"family": "cap", "check": "tear", "source": "house"});
            fields.as_object().expect("fields").iter().for_each(|(name, value)| rule[name] = value.clone());
            rule
        };
        for (list, pointer) in [
            (json!([rule(json!({"min": 3, "max": 2}))]), "/inspection_checks/0/min"),
            (json!([rule(json!({"source": " "}))]), "/inspection_checks/0/source"),
            (json!([rule(json!({})), rule(json!({"check": "Tear"}))]), "/inspection_checks/1/check"),
        ] {
            let (status, body) =
                served.post(Admin, json!({"do": "set_policy", "inspection_checks": list})).await;
            assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!(pointer)), "{body}");
        }
        // What is offered to start from is a list that the site may take over as it is.
        let offered = serde_json::to_value(offered()).expect("JSON");
        served.done(Admin, json!({"do": "set_policy", "inspection_checks": offered})).await;
        served.stop().await;
    }
}
