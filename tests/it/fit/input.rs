//! What a case wishes for, and what a judge is asked, in the form that it has to have.

use fettle::domain::command::Command;
use fettle::domain::person::Role::{Charge, Desk, Infection};
use serde_json::{Value, json};

use super::super::served::{Kind, Served};
use super::House;

#[test]
fn a_wish_names_instruments_that_there_are() {
    let mut house = House::adult();
    let plan = |together: Value| {
        json!({"do": "plan_case", "case": "K-1", "start": "2026-03-03T10:00:00+01:00", "minutes": 60, "needs": [],
               "configuration": {"together": together}})
    };
    let refused = house.refused(Charge, plan(json!(["telescope", "nonsense"])), "unknown_thing");
    assert!(format!("{refused:?}").contains("nonsense"), "{refused:?}");
    house.done(Charge, plan(json!(["telescope", "grip", "suction_tube"])));
    let change = json!({"do": "change_case", "case": "K-1", "configuration": {"together": ["mirror"]}});
    house.refused(Charge, change, "unknown_thing");
}

/// ISO 8600-3 is of directions of view; that they lie between straight on and straight back is their meaning.
#[test]
fn a_direction_of_view_lies_between_straight_on_and_straight_back() {
    let measured = |view: Value| {
        Command::read(json!({"do": "measure_asset", "asset": "T-1", "dimensions": {"view_deg": view}}))
    };
    for view in [json!(0), json!("12.5"), json!(180)] {
        assert!(measured(view.clone()).is_ok(), "{view}");
    }
    for view in [json!(-1), json!("180.5"), json!(3600)] {
        let wrong = measured(view.clone()).expect_err("no direction");
        assert_eq!(wrong[0].pointer, "/dimensions/view_deg", "{view}");
    }
}

#[test]
fn a_list_is_read_as_no_object() {
    let of = |command: Value| Command::read(command).expect_err("no command")[0].clone();
    assert!(of(json!(["record_step", "treated", "T-1"])).detail.contains("no object"));
    let listed = [
        (json!({"do": "measure_asset", "asset": "T-1", "dimensions": [null, 8, 9]}), "/dimensions"),
        (json!({"do": "choose_configuration", "case": "K-1", "configuration": ["B-1"]}), "/configuration"),
        (
            json!({"do": "choose_configuration", "case": "K-1", "configuration": {"barrel": "B-1", "parts": [["H-1"]]}}),
            "/configuration/parts/0",
        ),
        (json!({"do": "found", "scan": "T-1", "override": ["missing", "why"]}), "/override"),
        (json!({"do": "found", "scan": "T-1", "late": ["forgotten"]}), "/late"),
    ];
    for (command, pointer) in listed {
        let wrong = of(command.clone());
        assert_eq!(wrong.pointer, pointer, "{command}: {}", wrong.detail);
        assert!(
            wrong.detail.contains("found a list; an object with named fields is needed"),
            "{}",
            wrong.detail
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn bodies_of_queries_are_objects_too() {
    let served = Served::start(Kind::Embedded).await;
    let ask = async |path: &str, body: Value| {
        let role = if path == "fit" { Desk } else { Infection };
        let url = format!("{}/api/v1/{}/{path}", served.base, served.site);
        let sent = served.client.post(&url).bearer_auth(served.token(role)).json(&body).send().await;
        let answer = sent.expect("an answer");
        (answer.status().as_u16(), answer.json::<Value>().await.expect("JSON"))
    };
    for (path, body) in [
        ("fit", json!([["B-1"], null, "jet_open"])),
        ("fit", json!({"configuration": ["B-1"]})),
        ("look-back", json!(["P-4711"])),
    ] {
        let (status, told) = ask(path, body.clone()).await;
        assert_eq!((status, &told["code"]), (422, &json!("malformed")), "{path} {body}: {told}");
        assert!(told["errors"][0]["detail"].as_str().is_some_and(|it| it.contains("found a list")), "{told}");
    }
    let (status, told) =
        ask("fit", json!({"configuration": {"barrel": "B-1", "together": [["nonsense"]]}})).await;
    assert_eq!(status, 422, "{told}");
    served.stop().await;
}
