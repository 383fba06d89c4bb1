//! Optical forceps with the telescope in them: an exact pair (telescope's diameter and length, says the project's collection
//! of airway facts, section 1), and caps of which nobody said whether they have holes.

use fettle::domain::fit::{Answer, Gas, OpeningState, Rule, Verdict};
use fettle::domain::person::Role::Desk;
use serde_json::{Value, json};

use super::{House, closed, jet, of, parts, worst};

/// An adult house with optical forceps, and telescopes that name the pair's system, another one, and none.
fn house() -> House {
    let mut house = House::adult();
    let sheath = json!([{"end": "telescope", "system": "pair 4", "port": "proximal", "bore_mm": "4.1"}]);
    let sizes = |shaft: &str| json!({"shaft_diameter_mm": shaft, "max_width_mm": "6.5", "length_mm": 470});
    house.model("optical", "forceps", sizes("5.6"), sheath.clone());
    house.model("sheath-alone", "forceps", sizes("3.1"), sheath);
    for (model, system, width) in
        [("t-own", "pair 4", "4"), ("t-other", "pair 7", "4"), ("t-thick", "pair 4", "4.5")]
    {
        let scope = json!({"shaft_diameter_mm": width, "length_mm": 460, "view_deg": 0});
        house.model(model, "telescope", scope, json!([{"end": "sheath", "system": system}]));
    }
    for (asset, model) in [
        ("O-1", "optical"),
        ("O-2", "sheath-alone"),
        ("T-5", "t-own"),
        ("T-6", "t-other"),
        ("T-7", "t-thick"),
    ] {
        house.piece(asset, model);
    }
    house
}

/// A telescope in these forceps, and more beside them.
fn inside(telescope: &str, forceps: &str, more: &[&str]) -> Value {
    let mut it = jet(&[forceps]);
    let all = it["parts"].as_array_mut().expect("parts");
    all.push(json!({"asset": telescope, "through": {"part": forceps, "end": "telescope"}}));
    all.extend(more.iter().map(|asset| json!({"asset": asset})));
    it
}

#[test]
fn a_pair_passes_the_lumen_as_one() {
    let house = house();
    let fit = house.judge("jet_open", inside("T-5", "O-1", &[]));
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
    // 5.6 of the pair; 5.6 and 4 side by side would need 9.6, and the lumen has 8.2.
    assert_eq!(fit.together.iter().map(|it| it.needed_high_mm).collect::<Vec<_>>(), [5.6]);
    let told =
        of(&fit, Rule::Coupling).into_iter().any(|check| check.sentence.contains("both name \"pair 4\""));
    assert!(told, "{:?}", of(&fit, Rule::Coupling));
    assert!(of(&fit, Rule::Work)[0].sentence.contains("O-1 with telescope T-5 in it"), "{fit:?}");
    // Beside the suction of 8 Fr, 8/3 mm: 5.6 and 2.667 are 8.267, which 8.2 does not take.
    let fit = house.judge("jet_open", inside("T-5", "O-1", &["S-1"]));
    assert_eq!(worst(&fit, Rule::Work), Some(Verdict::Fails), "{}", fit.sentence);
    assert!((fit.together[0].needed_high_mm - (5.6 + 8.0 / 3.0)).abs() < 1e-9, "{:?}", fit.together);
    // Nobody placed it, and one end alone names its system: there it lies.
    let fit = house.judge("jet_open", jet(&["O-1", "T-5"]));
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
    // By the name of the telescope the group names the pair.
    let mut named = inside("T-5", "O-1", &[]);
    named["together"] = json!([["T-5", "O-1"], ["T-5"]]);
    assert_eq!(house.judge("jet_open", named).answer, Answer::Fits);
}

#[test]
fn a_pair_that_nobody_knows_is_no_fit_until_it_was_tried() {
    let mut house = house();
    let fit = house.judge("jet_open", inside("T-6", "O-1", &[]));
    assert_eq!((fit.answer, worst(&fit, Rule::Coupling)), (Answer::NotKnown, Some(Verdict::NotKnown)));
    assert!(fit.sentence.starts_with("Fit not known"), "{}", fit.sentence);
    // A telescope that names no end at all is not known either.
    assert_eq!(house.judge("jet_open", inside("T-1", "O-1", &[])).answer, Answer::NotKnown);
    house.done(Desk, json!({"do": "confirm_fit", "parts": ["O-1", "T-6"], "fits": true, "how": "locks, tip sees the jaws"}));
    let fit = house.judge("jet_open", inside("T-6", "O-1", &[]));
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
    house.done(Desk, json!({"do": "confirm_fit", "parts": ["O-1", "T-6"], "fits": false, "how": "jams"}));
    assert_eq!(house.judge("jet_open", inside("T-6", "O-1", &[])).answer, Answer::DoesNotFit);
}

#[test]
fn a_pair_is_as_thick_as_what_is_in_it() {
    let house = house();
    // Too thick for the bore of the forceps, whatever the systems say.
    let fit = house.judge("jet_open", inside("T-7", "O-1", &[]));
    assert_eq!(
        (fit.answer, worst(&fit, Rule::EntryBore)),
        (Answer::DoesNotFit, Some(Verdict::Fails)),
        "{}",
        fit.sentence
    );
    // A shaft of 3.1 with 4 in it is not the diameter of the pair.
    let fit = house.judge("jet_open", inside("T-5", "O-2", &[]));
    assert_eq!(
        (fit.answer, worst(&fit, Rule::Sizes)),
        (Answer::NotKnown, Some(Verdict::NotKnown)),
        "{}",
        fit.sentence
    );
    assert!(fit.sentence.contains("Measure it with the telescope in"), "{}", fit.sentence);
}

/// A cap model of which nobody entered whether it has holes.
fn unknown_cap(house: &mut House, asset: &str, system: &str) {
    let model = format!("cap-{asset}");
    house.model(&model, "cap", json!({"stack_height_mm": 3}), json!([{"end": "rim", "system": system}]));
    house.piece(asset, &model);
}

#[test]
fn a_cap_without_known_holes_is_neither_blank_nor_open() {
    let mut house = House::adult();
    unknown_cap(&mut house, "C-7", "rim 10");
    unknown_cap(&mut house, "C-8", "side 9");
    let at = |fit: &fettle::domain::fit::Fit, end: &str| {
        let found = fit.openings.iter().find(|it| it.at.end == end).expect("an opening");
        (found.state, found.gas)
    };
    // As a seal: whether the system is closed is not known.
    let all = parts(&["H-1", "N-1", "C-1", "T-1", "C-8"]);
    let fit = house.judge("controlled_closed", json!({"barrel": "B-1", "parts": all}));
    assert_eq!(at(&fit, "side 2"), (OpeningState::HolesNotKnown, Gas::NotKnown));
    assert_eq!((fit.answer, worst(&fit, Rule::Openings)), (Answer::NotKnown, Some(Verdict::NotKnown)));
    assert!(of(&fit, Rule::CapHoles).iter().any(|check| check.sentence.contains("Measure them")), "{fit:?}");
    // With an instrument through it.
    let fit = house.judge("controlled_closed", closed("C-7", &["T-1"]));
    assert_eq!((fit.answer, worst(&fit, Rule::CapHoles)), (Answer::NotKnown, Some(Verdict::NotKnown)));
    // As the way out: a stop.
    let fit = house.judge("jet_open", jet(&["C-7"]));
    assert_eq!(
        (fit.answer, worst(&fit, Rule::WayOut)),
        (Answer::Stop, Some(Verdict::Stops)),
        "{}",
        fit.sentence
    );
    assert!(
        fit.sentence.contains("nobody knows the holes") && fit.sentence.contains("measure"),
        "{}",
        fit.sentence
    );
    // Elsewhere it leaves a doubt.
    let fit = house.judge("jet_open", jet(&["T-1", "C-8"]));
    assert_eq!(
        (fit.answer, worst(&fit, Rule::CapHoles)),
        (Answer::Fits, Some(Verdict::Warns)),
        "{}",
        fit.sentence
    );
    // The remedy: measured, it is what it is.
    let measure = |asset: &str, holes: Value| json!({"do": "measure_asset", "asset": asset, "dimensions": {"hole_diameters_mm": holes}});
    house.done(Desk, measure("C-8", json!([])));
    house.done(Desk, measure("C-7", json!(["2.6"])));
    let all = parts(&["H-1", "N-1", "C-7", "T-1", "C-8"]);
    let fit = house.judge("controlled_closed", json!({"barrel": "B-1", "parts": all}));
    assert_eq!(at(&fit, "side 2"), (OpeningState::Blank, Gas::Closed));
    assert_eq!(fit.answer, Answer::Fits, "{}", fit.sentence);
}

/// The search offers no cap that nobody knows.
#[test]
fn a_cap_without_known_holes_is_not_offered() {
    let mut house = House::adult();
    for asset in ["P-1", "P-2"] {
        house.done(
            fettle::domain::person::Role::Biomed,
            json!({"do": "retire", "asset": asset, "cause": "worn", "failure": true}),
        );
    }
    unknown_cap(&mut house, "C-8", "side 9");
    house.case("K-1", json!({"technique": "controlled_closed"}));
    assert!(house.sheet("K-1").offers.is_empty());
    let measured = json!({"do": "measure_asset", "asset": "C-8", "dimensions": {"hole_diameters_mm": []}});
    house.done(Desk, measured);
    assert_eq!(house.sheet("K-1").offers.len(), 1);
}
