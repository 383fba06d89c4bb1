//! Parts that can be had: ready, in date, on no hold, with life left; and what a case may wish for.

use fettle::domain::fit::{Answer, Have};
use fettle::domain::person::Role::{Admin, Charge, Clinician, Desk, Lead};
use serde_json::json;

use super::{House, jet};

/// Cycles and uses follow the part; a limit that leaves nothing is told, and keeps it from being chosen.
#[test]
fn a_spent_cap_is_refused_wherever_it_lies() {
    let mut house = House::adult();
    let rim = json!([{"end": "rim", "system": "rim 10"}]);
    let define = json!({"do": "define_model", "model": "cap1", "family": "cap", "name": "cap1", "route": "quick",
        "dimensions": {"hole_diameters_mm": ["2.6"], "stack_height_mm": 3}, "couplings": rim, "limits": {"max_uses": 3}});
    house.done(Admin, define);
    let worn = json!({"do": "add_asset", "asset": "C-9", "model": "cap1", "prior_uses": 3});
    house.done(Lead, worn);
    house.clean("C-9");
    house.case("K-1", json!({"technique": "controlled_closed"}));
    let with = |cap: &str| json!({"do": "choose_configuration", "case": "K-1", "configuration": super::closed(cap, &["T-1"])});
    let refusal = house.refused(Charge, with("C-9"), "limit_reached");
    assert!(refusal.first.found.contains("C-9"), "{:?}", refusal.first);
    house.done(Charge, with("C-1"));
    let sheet = house.sheet("K-1");
    let cap = sheet.chosen.expect("chosen").fit.parts.into_iter().find(|it| it.model.as_str() == "cap1");
    assert_eq!(cap.and_then(|cap| cap.processing).map(|it| it.uses_left), Some(Some(3)));
}

#[test]
fn each_part_says_whether_it_can_be_had() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open"}));
    house.done(Charge, json!({"do": "choose_configuration", "case": "K-1", "configuration": jet(&["T-1"])}));
    assert_eq!(house.sheet("K-1").chosen.expect("chosen").fit.have, Some(Have::Ready));
    // Soiled the day before, it is back by the site's turnaround.
    house.done(Desk, json!({"do": "record_step", "step": "received", "scan": "T-1"}));
    let fit = house.sheet("K-1").chosen.expect("chosen").fit;
    let telescope = fit.parts.last().and_then(|part| part.processing.clone()).expect("a telescope");
    assert_eq!((fit.answer, telescope.have), (Answer::Fits, Have::Expected));
    assert!(telescope.why[0].contains("turnaround of 240 minutes"), "{:?}", telescope.why);
    // An hour before the case it is not.
    house.now = super::time("2026-03-03T09:00:00+01:00");
    let fit = house.sheet("K-1").chosen.expect("chosen").fit;
    assert_eq!(fit.have, Some(Have::NotReady));
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "foggy", "scan": "T-1"}));
    let fit = house.sheet("K-1").chosen.expect("chosen").fit;
    let telescope = fit.parts.last().and_then(|part| part.processing.clone()).expect("a telescope");
    assert!(telescope.why.iter().any(|why| why.contains("foggy")), "{:?}", telescope.why);
}

#[test]
fn a_wish_belongs_to_the_case_and_to_its_clinician() {
    let mut house = House::adult();
    house.case(
        "K-1",
        json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8, "together": ["telescope"]}}),
    );
    let wish = |house: &House| {
        house.paper.state.cases.get("K-1").and_then(|case| case.wish.clone()).expect("a wish")
    };
    assert_eq!(wish(&house).together.len(), 1);
    let change =
        json!({"do": "change_case", "case": "K-1", "configuration": {"barrel_family": "bronchoscope"}});
    house.done(Clinician, change);
    assert!(wish(&house).together.is_empty() && wish(&house).barrel_nominal.is_none());
}
