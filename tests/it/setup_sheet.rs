//! The set-up sheet of a case as people meet it: what was put together, drawn and judged, and what is not known yet.

use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::page::{act, open, person};
use super::served::{Kind, Served};

/// A barrel with two openings, a holed cap of another system and a telescope, and a case with jet ventilation.
async fn lay_out(served: &Served, way_out: &[Value]) {
    served.furnish().await;
    let model = |model: &str, family: &str, dimensions: Value, couplings: Value| {
        json!({"do": "define_model", "model": model, "family": family, "name": model, "route": "metal",
               "dimensions": dimensions, "couplings": couplings})
    };
    let barrel =
        json!({"nominal": 11, "inner_diameter_mm": 11, "outer_diameter_mm": "12.2", "length_mm": 430});
    let ends = json!([{"end": "central", "system": "P9", "port": "proximal"}, {"end": "side", "system": "S4", "port": "side"}]);
    let scope = json!({"shaft_diameter_mm": "5.5", "length_mm": 445, "view_deg": 0});
    let cap = json!({"hole_diameters_mm": [5], "stack_height_mm": 8});
    for command in [
        model("tube", "tracheoscope", barrel, ends),
        model("holed", "cap", cap, json!([{"end": "rim", "system": "P7"}])),
        model("rod", "telescope", scope, json!([])),
    ] {
        served.done(Role::Biomed, command).await;
    }
    for (asset, model) in [("B-8", "tube"), ("C-8", "holed"), ("T-8", "rod")] {
        served.done(Role::Lead, json!({"do": "add_asset", "asset": asset, "model": model})).await;
    }
    let case = json!({"do": "plan_case", "case": "K-8", "start": "2026-03-02T10:00:00Z", "minutes": 60,
                      "technique": "jet_open", "needs": []});
    served.done(Role::Charge, case).await;
    let configuration = json!({"barrel": "B-8", "parts": [
        {"asset": "C-8", "on": {"part": "B-8", "end": "central"}},
        {"asset": "T-8", "through": {"part": "B-8", "end": "central"}}], "way_out": way_out});
    let chosen =
        json!({"do": "choose_configuration", "case": "K-8", "configuration": configuration, "done": true});
    served.done(Role::Clinician, chosen).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_is_drawn_and_a_joint_that_was_tried_is_known() {
    let served = Served::start(Kind::Embedded).await;
    lay_out(&served, &[json!({"part": "B-8", "end": "side"})]).await;
    let client = person(&served, Role::Clinician).await;
    let (status, _, page) = open(&client, &served, "/cases/K-8/sheet").await;
    assert_eq!(status, 200, "{page}");
    let gas = page
        .find("<b>Gas must be able to leave.</b>")
        .expect("the first line of a sheet for jet ventilation");
    assert!(gas < page.find("<h1>").expect("a heading"), "{page}");
    for says in [
        "class=\"drawing lumen\"",
        "class=\"drawing reach\"",
        "class=\"drawing chain\"",
        "Geometry only; it says nothing of ventilation",
        "No side holes",
        "nominal 11, inner 11 stated, OUTER 12.2 stated, length 430 stated",
        "fit not known",
        "Tried together?",
        "White balance",
    ] {
        assert!(page.contains(says), "{says}: {page}");
    }
    let tried = [
        ("do", "confirm_fit"),
        ("back", "/cases/K-8/sheet"),
        ("parts.0", "B-8"),
        ("parts.1", "C-8"),
        ("ends.0", "central"),
        ("ends.1", "rim"),
        ("fits:bool", "true"),
        ("how", "put on at the bench"),
    ];
    let (status, _, page) = act(&client, &served, &tried).await;
    assert_eq!(status, 200, "{page}");
    assert!(page.contains("Set-up sheet of case K-8") && !page.contains("Tried together?"), "{page}");
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn jet_without_a_way_out_is_a_stop_on_the_sheet() {
    let served = Served::start(Kind::Embedded).await;
    lay_out(&served, &[]).await;
    let client = person(&served, Role::Charge).await;
    let (status, _, page) = open(&client, &served, "/cases/K-8/sheet").await;
    assert_eq!(status, 200, "{page}");
    assert!(page.contains("No way out is declared.") && page.contains("<b>STOP</b>"), "{page}");
    let (_, _, wished) = act(
        &client,
        &served,
        &[
            ("do", "change_case"),
            ("back", "/cases/K-8/sheet"),
            ("case", "K-8"),
            ("technique", "controlled_closed"),
            ("configuration.together.0", "telescope"),
            ("configuration.barrel_nominal", "11"),
        ],
    )
    .await;
    assert!(wished.contains("Set-up sheet of case K-8"), "{wished}");
    assert!(wished.contains("value=\"telescope\" selected") && wished.contains("value=\"11\""), "{wished}");
    let (status, _, page) = open(&client, &served, "/cases/NOPE/sheet").await;
    assert_eq!(status, 404, "{page}");
    served.stop().await;
}
