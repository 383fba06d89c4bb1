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
    let narrow = "const main = document.querySelector('main'); main.style.width = '328px';
        return [...main.querySelectorAll('.drawing')].every((it) => it.getBoundingClientRect().width <= 328);";
    let fits = keys.client.execute(narrow, Vec::new()).await.expect("an answer");
    assert_eq!(fits, true, "a drawing is wider than a phone");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_prints_on_one_sheet_of_paper() {
    let served = Served::start(Kind::Embedded).await;
    lay_out(&served, &[json!({"part": "B-8", "end": "side"})]).await;
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
