//! The set-up sheet of a case as people meet it: what was put together, drawn and judged, and what is not known yet.

use fantoccini::key::Key;
use fantoccini::wd::{PrintConfiguration, PrintSize};
use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::browser::{Keyboard, PASSWORD};
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
    let start = (chrono::Utc::now() + chrono::TimeDelta::hours(2)).to_rfc3339();
    let case = json!({"do": "plan_case", "case": "K-8", "start": start, "minutes": 60,
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
    let hold = json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-8"});
    served.done(Role::Desk, hold).await;
    let (_, _, page) = open(&client, &served, "/cases/K-8/sheet").await;
    let heading = page.split("<h1>").nth(1).and_then(|rest| rest.split("</h1>").next()).expect("a heading");
    assert!(heading.contains("Not to be laid out") && !heading.contains("It fits"), "{heading}");
    let box_of = page.split("class=\"against\"").nth(1).and_then(|rest| rest.split("</section>").next());
    assert!(box_of.is_some_and(|told| told.contains("Not to be laid out")), "{page}");
    let opened =
        page.split("<b>Open ").nth(1).and_then(|rest| rest.split("</b>").next()).expect("what to open");
    assert!(opened.contains("B-8") && !opened.contains("T-8"), "{opened}");
    assert!(!page.contains("kept free"), "no clearance is asked for: {page}");
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

/// The models of a full table.
async fn many_models(served: &Served) {
    let model = |model: &str, family: &str, dimensions: Value, couplings: Value| {
        json!({"do": "define_model", "model": model, "family": family, "name": format!("{model} of the house"),
               "route": "metal", "dimensions": dimensions, "couplings": couplings})
    };
    let side = |n: usize| json!({"end": format!("side port {n}"), "system": "S4", "port": "side"});
    let mut ends = vec![
        json!({"end": "barrel end", "system": "P9"}),
        json!({"end": "eye port", "system": "S1", "port": "proximal"}),
    ];
    ends.extend((1..=5).map(side));
    let tube = json!({"nominal": 14, "inner_diameter_mm": 14, "outer_diameter_mm": "15.2", "length_mm": 430});
    let rod = |length: u32| json!({"shaft_diameter_mm": "5.5", "length_mm": length, "view_deg": 0});
    let shaft = |mm: &str, length: u32| json!({"shaft_diameter_mm": mm, "length_mm": length});
    let rim = |system: &str| json!([{"end": "rim", "system": system}]);
    for (name, family, dimensions, couplings) in [
        ("wide tube", "tracheoscope", tube, json!([{"end": "head end", "system": "P9"}])),
        ("many head", "head", json!({"stack_height_mm": 30}), json!(ends)),
        ("holed cap", "cap", json!({"hole_diameters_mm": [5, 2], "stack_height_mm": 8}), rim("S1")),
        ("plain cap", "cap", json!({"stack_height_mm": 8}), rim("S4")),
        ("circuit", "anaesthesia_connector", json!({"stack_height_mm": 20}), rim("S4")),
        ("odd jet", "jet_adapter", json!({"stack_height_mm": 20}), rim("S5")),
        ("rod short", "telescope", rod(476), json!([])),
        ("rod long", "telescope", rod(500), json!([])),
        ("grasper", "forceps", shaft("2.3", 550), json!([])),
        ("short grasper", "forceps", shaft("2.3", 450), json!([])),
        ("sucker", "suction_tube", json!({"french": 10, "length_mm": 560}), json!([])),
        ("dilating", "dilator", shaft("9", 560), json!([])),
        ("filling", "obturator", shaft("9", 460), json!([])),
        ("cable", "light_cable", json!({}), json!([])),
        ("camera", "camera_head", json!({}), json!([])),
        ("lamp", "light_source", json!({}), json!([])),
        ("guard", "mouth_guard", json!({}), json!([])),
    ] {
        served.done(Role::Biomed, model(&name.replace(' ', "-"), family, dimensions, couplings)).await;
    }
}

/// A case with a full table: twenty-one pieces that lie in no set and are not ready, ways to assemble them that do not fit,
/// and three groups of instruments that are to work together.
async fn lay_out_many(served: &Served) {
    served.furnish().await;
    many_models(served).await;
    let on = |part: &str, end: &str| json!({"on": {"part": part, "end": end}});
    let eye = json!({"through": {"part": "W-HEAD-1", "end": "eye port"}});
    let mut pieces = vec![
        ("W-HEAD-1", "many-head", on("W-TUBE-1", "head end")),
        ("W-CONN-1", "circuit", on("W-HEAD-1", "side port 1")),
        ("W-JET-1", "odd-jet", on("W-HEAD-1", "side port 2")),
        ("W-CAP-3", "plain-cap", on("W-HEAD-1", "side port 3")),
        ("W-CAP-4", "plain-cap", on("W-HEAD-1", "side port 4")),
        ("W-CAP-9", "holed-cap", on("W-HEAD-1", "eye port")),
    ];
    for (asset, model) in [
        ("W-TEL-1", "rod-short"),
        ("W-TEL-2", "rod-long"),
        ("W-FOR-1", "grasper"),
        ("W-FOR-2", "grasper"),
        ("W-FOR-3", "short-grasper"),
        ("W-SUC-1", "sucker"),
        ("W-SUC-2", "sucker"),
        ("W-DIL-1", "dilating"),
        ("W-OBT-1", "filling"),
    ] {
        pieces.push((asset, model, eye.clone()));
    }
    for (asset, model) in [
        ("W-LC-1", "cable"),
        ("W-LC-2", "cable"),
        ("W-CAM-1", "camera"),
        ("W-LS-1", "lamp"),
        ("W-MG-1", "guard"),
    ] {
        pieces.push((asset, model, json!({})));
    }
    served.done(Role::Lead, json!({"do": "add_asset", "asset": "W-TUBE-1", "model": "wide-tube"})).await;
    let mut parts = Vec::new();
    for (asset, model, mut place) in pieces {
        served.done(Role::Lead, json!({"do": "add_asset", "asset": asset, "model": model})).await;
        place["asset"] = json!(asset);
        parts.push(place);
    }
    let start = (chrono::Utc::now() + chrono::TimeDelta::hours(3)).to_rfc3339();
    let case = json!({"do": "plan_case", "case": "K-8", "start": start, "minutes": 60, "room": "room 1",
                      "technique": "jet_open", "needs": []});
    served.done(Role::Charge, case).await;
    let together = json!([["W-TEL-1", "W-FOR-1", "W-SUC-1"], ["W-TEL-2", "W-DIL-1"]]);
    let configuration = json!({"barrel": "W-TUBE-1", "parts": parts, "together": together,
                               "way_out": [{"part": "W-HEAD-1", "end": "side port 5"}]});
    let chosen =
        json!({"do": "choose_configuration", "case": "K-8", "configuration": configuration, "done": true});
    served.done(Role::Clinician, chosen).await;
}

/// How many pages a PDF has: every page is an object of its type.
fn pages(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf);
    let typed = |name: &str| {
        text.matches(&format!("/Type /{name}")).count() + text.matches(&format!("/Type/{name}")).count()
    };
    typed("Page") - typed("Pages")
}

/// In a real browser: the sheet prints on one sheet of A4 and of Letter, and nothing of it is wider than a phone.
async fn look(keys: &Keyboard, served: &Served) {
    keys.client.goto(&format!("{}/sign-in", served.base)).await.expect("the page");
    keys.type_in("clinician-9").await;
    keys.press(Key::Tab).await;
    keys.type_in(PASSWORD).await;
    keys.press(Key::Enter).await;
    keys.says("nav", &["Cases"]).await;
    keys.client.goto(&format!("{}/cases/K-8/sheet", served.base)).await.expect("the sheet");
    keys.says(".setup", &["Gas must be able to leave."]).await;
    for (paper, width, height) in [("A4", 21.0, 29.7), ("Letter", 21.59, 27.94)] {
        let size = PrintSize { width, height };
        let wanted = PrintConfiguration::builder().size(size).build().expect("a size of paper");
        let pdf = keys.client.print(wanted).await.expect("a print");
        assert_eq!(pages(&pdf), 1, "{paper}");
    }
    // Lettering of drawings: no smaller than 12 px on a phone of 360 px (the page has margins of 16 px).
    let letters = "const main = document.querySelector('main'); main.style.width = '328px';
        const px = (text) => parseFloat(text.getAttribute('font-size')) * text.ownerSVGElement.getBoundingClientRect().width / 360;
        return Math.min(...[...main.querySelectorAll('.drawing text')].map(px));";
    let least = keys.client.execute(letters, Vec::new()).await.expect("a number");
    assert!(least.as_f64().is_some_and(|px| px >= 12.0), "lettering of {least} px");
    let narrow = "const main = document.querySelector('main'); main.style.width = '328px';
        return [...main.querySelectorAll('.drawing')].every((it) => it.getBoundingClientRect().width <= 328);";
    let fits = keys.client.execute(narrow, Vec::new()).await.expect("an answer");
    assert_eq!(fits, true, "a drawing is wider than a phone");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_prints_on_one_sheet_of_paper() {
    let served = Served::start(Kind::Embedded).await;
    lay_out(&served, &[json!({"part": "B-8", "end": "side"})]).await;
    print(served).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_with_many_loose_parts_and_objections_prints_on_one_sheet_of_paper() {
    let served = Served::start(Kind::Embedded).await;
    lay_out_many(&served).await;
    let client = person(&served, Role::Charge).await;
    let (_, _, page) = open(&client, &served, "/cases/K-8/sheet").await;
    // What would be said many times over is said once, and no part is left out.
    assert!(page.contains("Open 21 parts that lie in no set."), "{page}");
    assert!(page.contains("(a) 21 parts: soiled") && page.contains("The same holds for"), "{page}");
    let tables = page.split("<table").filter(|table| table.contains("Parts in the order of assembly"));
    assert_eq!(tables.map(|table| table.matches("<tr><td class=\"number\"").count()).sum::<usize>(), 21);
    print(served).await;
}

async fn print(served: Served) {
    let added = served.house.add_person(
        &served.site,
        Some("clinician-9"),
        "Clinician Nine",
        Role::Clinician,
        PASSWORD,
    );
    added.await.expect("a person");
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::start(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let looked = tokio::spawn(async move { look(&keys, &served).await }).await;
    client.close().await.expect("the browser closes");
    if let Err(error) = looked {
        std::panic::resume_unwind(error.into_panic());
    }
}
