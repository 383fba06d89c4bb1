//! Every rule with an example. Where a source is named it was read in the project's collection of facts; what has none is
//! marked as common practice.

use fettle::domain::fit::{Answer, Gas, OpeningState, Rule, Verdict, Whence};
use fettle::domain::person::Role::Desk;
use serde_json::json;

use super::{House, closed, jet, of, parts, worst};

#[test]
fn an_adult_jet_set_up_fits() {
    let house = House::adult();
    let fit = house.judge("jet_open", jet(&["T-1", "F-1", "S-1"]));
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
    assert_eq!(fit.cautions.first().map(String::as_str), Some("Gas must be able to leave."));
    let central = fit.openings.iter().find(|it| it.at.end == "central").expect("the central opening");
    assert_eq!((central.state, central.gas, central.way_out), (OpeningState::Open, Gas::Open, true));
    let side = fit.openings.iter().find(|it| it.at.end == "side 1").expect("a side port");
    assert_eq!((side.state, side.gas), (OpeningState::Jet, Gas::Closed));
    // 436 less 400 and 28.
    let telescope = fit.telescopes.first().expect("a telescope");
    assert_eq!((telescope.full.tip_mm, telescope.full.out_mm), (8.0, 0.0));
    assert_eq!((telescope.back.tip_mm, telescope.back.out_mm), (-10.0, 18.0));
    // The order of assembly: from the device along the chain to the barrel, then what goes in.
    let mut steps: Vec<(usize, &str)> =
        fit.parts.iter().map(|part| (part.step, part.asset.as_ref().expect("a piece").as_str())).collect();
    steps.sort();
    let order: Vec<&str> = steps.into_iter().map(|(_, asset)| asset).collect();
    assert_eq!(order, ["J-1", "H-1", "B-1", "T-1", "F-1", "S-1"]);
}

/// Common practice: a cap with two holes passes telescope and forceps through a closed system, and they are smaller than
/// what goes through.
#[test]
fn a_closed_set_up_fits_with_a_cap_of_two_holes() {
    let house = House::adult();
    let fit = house.judge("controlled_closed", closed("C-2", &["T-1", "F-1"]));
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
    assert!(fit.openings.iter().all(|opening| opening.gas == Gas::Closed), "{:?}", fit.openings);
    assert_eq!(worst(&fit, Rule::CapHoles), Some(Verdict::Holds));
    // The cap is part of the stack: 436 less 400, 28 and 3.
    assert_eq!(fit.telescopes.first().map(|it| it.full.tip_mm), Some(5.0));
    // Two instruments and one hole do not.
    let fit = house.judge("controlled_closed", closed("C-1", &["T-1", "F-1"]));
    assert_eq!((fit.answer, worst(&fit, Rule::CapHoles)), (Answer::DoesNotFit, Some(Verdict::Fails)));
    // A hole that nothing fills is an opening, which warns.
    let fit = house.judge("controlled_closed", closed("C-2", &["T-1"]));
    assert_eq!((fit.answer, worst(&fit, Rule::Openings)), (Answer::Fits, Some(Verdict::Warns)));
}

/// Forceps and suction in turn through one hole: each group is judged by itself.
#[test]
fn what_goes_in_turn_needs_one_hole() {
    let house = House::adult();
    let mut it = closed("C-2", &["T-1", "F-1", "S-1"]);
    assert_eq!(house.judge("controlled_closed", it.clone()).answer, Answer::DoesNotFit);
    it["together"] = json!([["T-1", "F-1"], ["T-1", "S-1"]]);
    let fit = house.judge("controlled_closed", it);
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
    assert_eq!(fit.together.len(), 2);
}

#[test]
fn an_open_port_in_a_closed_system_warns() {
    let house = House::adult();
    let all = parts(&["H-1", "N-1", "C-1", "T-1"]);
    let fit = house.judge("controlled_closed", json!({"barrel": "B-1", "parts": all}));
    assert_eq!((fit.answer, worst(&fit, Rule::Openings)), (Answer::Fits, Some(Verdict::Warns)));
    let told = &of(&fit, Rule::Openings).first().expect("a check").sentence;
    assert!(told.contains("not closed") && told.contains("side 2"), "{told}");
}

/// Jet ventilation: an escape path is mandatory, and a sealing cap on it is a hazard (airway facts, section 4).
#[test]
fn jet_ventilation_without_a_way_out_stops() {
    let house = House::adult();
    let mut undeclared = jet(&["T-1"]);
    undeclared["way_out"] = json!([]);
    let fit = house.judge("jet_open", undeclared);
    assert_eq!((fit.answer, worst(&fit, Rule::WayOut)), (Answer::Stop, Some(Verdict::Stops)));
    assert!(
        fit.sentence.contains("Gas must be able to leave") && fit.sentence.contains("central"),
        "{}",
        fit.sentence
    );
    // A holed cap with an instrument in it is closed.
    let mut capped = jet(&["C-1", "T-1"]);
    let fit = house.judge("jet_open", capped.clone());
    assert_eq!(fit.answer, Answer::Stop, "{}", fit.sentence);
    // With its hole empty gas leaves through that alone: to be looked at.
    capped["parts"] = parts(&["H-1", "J-1", "C-1"]);
    let fit = house.judge("jet_open", capped);
    assert_eq!((fit.answer, worst(&fit, Rule::WayOut)), (Answer::Fits, Some(Verdict::Warns)));
    // So is a blank cap, and a window.
    let mut house = house;
    house.model("glass", "window", json!({}), json!([{"end": "rim", "system": "side 9"}]));
    house.piece("W-1", "glass");
    let end = |end: &str| json!({"part": "H-1", "end": end});
    for blocker in ["P-1", "W-1"] {
        let parts = json!([{"asset": "H-1"}, {"asset": "J-1", "on": end("side 2")},
                           {"asset": blocker, "on": end("side 1")}]);
        let it = json!({"barrel": "B-1", "parts": parts, "way_out": [end("side 1")]});
        assert_eq!(house.judge("jet_open", it).answer, Answer::Stop);
    }
    // Without a jet attachment it is no set-up for jet ventilation.
    let it = json!({"barrel": "B-1", "parts": parts(&["H-1", "T-1"]), "way_out": [{"part": "H-1", "end": "central"}]});
    assert_eq!(worst(&house.judge("jet_open", it), Rule::Complete), Some(Verdict::Fails));
}

/// A telescope that fills the way out closes it, though nothing sits on it.
#[test]
fn an_instrument_that_fills_the_way_out_closes_it() {
    let mut house = House::adult();
    house.model(
        "narrow",
        "head",
        json!({"stack_height_mm": 28}),
        json!([{"end": "barrel", "system": "lock A"},
        {"end": "central", "system": "rim 10", "port": "proximal", "bore_mm": "4.5"},
        {"end": "side 1", "system": "side 9", "port": "side", "bore_mm": "5"}]),
    );
    house.piece("H-2", "narrow");
    let it = json!({"barrel": "B-1", "parts": parts(&["H-2", "J-1", "T-1"]),
                    "way_out": [{"part": "H-2", "end": "central"}]});
    let fit = house.judge("jet_open", it);
    assert_eq!(fit.answer, Answer::Stop, "{}", fit.sentence);
}

#[test]
fn without_a_technique_nothing_is_said_of_the_openings() {
    let house = House::adult();
    let fit = house.judge("none", jet(&["T-1"]));
    assert_eq!(fit.answer, Answer::NotKnown);
    let told = of(&fit, Rule::Openings);
    assert!(
        told.iter()
            .any(|check| check.sentence.contains("Technique not known: nothing can be said of the openings"))
    );
}

#[test]
fn an_unknown_coupling_is_no_fit_until_somebody_tried_it() {
    let mut house = House::adult();
    house.model(
        "bx",
        "bronchoscope",
        json!({"nominal": 8, "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9",
        "length_mm": 400}),
        json!([{"end": "head", "system": "lock B"}]),
    );
    house.piece("B-2", "bx");
    let mut it = jet(&["T-1"]);
    it["barrel"] = json!("B-2");
    it["parts"] = json!([{"asset": "H-1", "on": {"part": "B-2", "end": "head"}}, {"asset": "J-1"}, {"asset": "T-1",
        "through": {"part": "H-1", "end": "central"}}]);
    let fit = house.judge("jet_open", it.clone());
    assert_eq!((fit.answer, worst(&fit, Rule::Coupling)), (Answer::NotKnown, Some(Verdict::NotKnown)));
    assert!(fit.sentence.starts_with("Fit not known"), "{}", fit.sentence);
    house.done(Desk, json!({"do": "confirm_fit", "models": ["head", "bx"], "fits": true, "how": "locks"}));
    let fit = house.judge("jet_open", it.clone());
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
    let tried = fit.joints.iter().find_map(|joint| joint.tried.as_ref()).expect("who tried it");
    assert_eq!((tried.by.as_str(), tried.fits, tried.models), ("desk", true, true));
    // Of these very pieces it is known better than of their models.
    house.done(Desk, json!({"do": "confirm_fit", "parts": ["B-2", "H-1"], "fits": false, "how": "wobbles"}));
    let fit = house.judge("jet_open", it);
    assert_eq!((fit.answer, worst(&fit, Rule::Coupling)), (Answer::DoesNotFit, Some(Verdict::Fails)));
    assert!(fit.sentence.contains("tried on") && fit.sentence.contains("by desk"), "{}", fit.sentence);
}

/// Common practice: a shorter telescope for the shorter tracheal barrel; with the long one its tip stands far out.
#[test]
fn the_telescope_is_as_long_as_its_barrel_asks() {
    let mut house = House::adult();
    house.model(
        "tr",
        "tracheoscope",
        json!({"nominal": 8, "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9",
        "length_mm": 290}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    house.model("short", "telescope", json!({"shaft_diameter_mm": 4, "length_mm": 326}), json!([]));
    house.piece("R-1", "tr");
    house.piece("T-2", "short");
    let with = |barrel: &str, telescope: &str| {
        let mut it = jet(&[telescope]);
        it["barrel"] = json!(barrel);
        it
    };
    let fit = house.judge("jet_open", with("R-1", "T-1"));
    assert_eq!((fit.answer, worst(&fit, Rule::TelescopeLength)), (Answer::DoesNotFit, Some(Verdict::Fails)));
    let check = of(&fit, Rule::TelescopeLength)[0];
    assert_eq!((check.found_mm, check.needed_mm, check.spare_mm), (Some(118.0), Some(15.0), Some(-103.0)));
    assert_eq!(house.judge("jet_open", with("R-1", "T-2")).answer, Answer::Fits);
    let fit = house.judge("jet_open", with("B-1", "T-2"));
    assert!(fit.sentence.contains("102 mm inside the barrel"), "{}", fit.sentence);
    assert!(fit.cautions.iter().all(|caution| !caution.contains("side holes")));
    let fit = house.judge("jet_open", with("R-1", "T-2"));
    assert!(fit.cautions.iter().any(|caution| caution.starts_with("No side holes")));
}

#[test]
fn forceps_and_suction_reach_beyond_the_end() {
    let mut house = House::adult();
    house.model(
        "stub",
        "forceps",
        json!({"shaft_diameter_mm": "2.4", "max_width_mm": 3, "length_mm": 447}),
        json!([]),
    );
    house.piece("F-2", "stub");
    let fit = house.judge("jet_open", jet(&["T-1", "F-2"]));
    let check = of(&fit, Rule::Reach)[0];
    // 400 and 28, and 20 of reach, which is the site's setting.
    assert_eq!((check.verdict, check.needed_mm, check.spare_mm), (Verdict::Fails, Some(448.0), Some(-1.0)));
    house.done(fettle::domain::person::Role::Admin, json!({"do": "set_policy", "reach_mm": 19}));
    assert_eq!(house.judge("jet_open", jet(&["T-1", "F-2"])).answer, Answer::Fits);
}

/// Maximum width over label: 0.19 to 0.66 mm in ten flexible endoscopes (Pediatr Pulmonol, August 2006, abstract).
#[test]
fn the_worse_of_stated_and_measured_is_used() {
    let mut house = House::adult();
    house.model(
        "b44",
        "bronchoscope",
        json!({"nominal": 4, "inner_diameter_mm": "4.4", "outer_diameter_mm": "5",
        "length_mm": 400}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    house.piece("B-4", "b44");
    let mut it = jet(&["T-1"]);
    it["barrel"] = json!("B-4");
    assert_eq!(house.judge("jet_open", it.clone()).answer, Answer::Fits);
    let measure = json!({"do": "measure_asset", "asset": "T-1", "dimensions": {"shaft_diameter_mm": "4.41"}, "how": "calliper"});
    house.done(Desk, measure);
    let fit = house.judge("jet_open", it.clone());
    assert_eq!(worst(&fit, Rule::Pass), Some(Verdict::Fails), "{}", fit.sentence);
    let shaft = fit.parts.last().and_then(|part| part.sizes.shaft.clone()).expect("a shaft");
    assert_eq!((shaft.used_mm, shaft.from), (4.41, Whence::Measured));
    assert_eq!(shaft.stated.map(|it| it.to_string()).as_deref(), Some("4"));
    // Measured thinner than stated, the stated one counts.
    let measure = json!({"do": "measure_asset", "asset": "T-1", "dimensions": {"shaft_diameter_mm": "3.9"}});
    house.done(Desk, measure);
    let fit = house.judge("jet_open", it);
    assert_eq!(
        fit.parts.last().and_then(|part| part.sizes.shaft.clone()).map(|it| it.from),
        Some(Whence::Stated)
    );
}

/// A cap's hole is smaller than what goes through it, and not so small that it tears (common practice; the ratio is the
/// site's).
#[test]
fn a_hole_seals_and_does_not_tear() {
    let mut house = House::adult();
    let rim = json!([{"end": "rim", "system": "rim 10"}]);
    for (model, hole) in [("wide", "4"), ("tight", "2.3")] {
        let size = json!({"hole_diameters_mm": [hole], "stack_height_mm": 3});
        house.model(model, "cap", size, rim.clone());
        house.piece(&format!("C-{model}"), model);
    }
    let fit = house.judge("controlled_closed", closed("C-wide", &["T-1"]));
    assert_eq!(worst(&fit, Rule::CapSeals), Some(Verdict::Fails), "{}", fit.sentence);
    let fit = house.judge("controlled_closed", closed("C-tight", &["T-1"]));
    assert_eq!(worst(&fit, Rule::CapTears), Some(Verdict::Fails), "{}", fit.sentence);
    house.done(fettle::domain::person::Role::Admin, json!({"do": "set_policy", "cap_hole_ratio": "0.5"}));
    assert_eq!(house.judge("controlled_closed", closed("C-tight", &["T-1"])).answer, Answer::Fits);
}

/// Suction through a side port has that port's bore, and its own way.
#[test]
fn an_entry_has_its_own_bore() {
    let mut house = House::adult();
    house.model("fat", "suction_tube", json!({"french": 18, "length_mm": 560}), json!([]));
    house.piece("S-2", "fat");
    let through = |suction: &str| {
        let mut it = jet(&["T-1"]);
        let parts = it["parts"].as_array_mut().expect("parts");
        parts.push(json!({"asset": suction, "through": {"part": "H-1", "end": "side 2"}}));
        it
    };
    assert_eq!(house.judge("jet_open", through("S-1")).answer, Answer::Fits);
    let fit = house.judge("jet_open", through("S-2"));
    assert_eq!(worst(&fit, Rule::EntryBore), Some(Verdict::Fails), "18 Fr is 6 mm: {}", fit.sentence);
    // Through a port that something closes nothing goes in.
    let mut it = jet(&["T-1"]);
    let parts = it["parts"].as_array_mut().expect("parts");
    parts.push(json!({"asset": "S-1", "through": {"part": "H-1", "end": "side 1"}}));
    assert_eq!(worst(&house.judge("jet_open", it), Rule::CapHoles), Some(Verdict::Fails));
}
