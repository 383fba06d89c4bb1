//! The traps of sizes: labels, French, widths, equality, and sums of areas. Numbers from the project's collection of airway
//! facts, section 3, where they were computed by two methods.

use fettle::domain::fit::{Answer, Rule, Verdict};
use fettle::domain::person::Role::{Admin, Desk};
use serde_json::json;

use super::{House, jet, worst};

/// A barrel of this lumen and round instruments of these diameters, in French where the text says so.
fn side_by_side(lumen: &str, diameters: &[&str]) -> House {
    let mut house = House::adult();
    let outer = format!("{}", lumen.parse::<f64>().expect("a number") + 0.7);
    house.model(
        "lumen",
        "bronchoscope",
        json!({"nominal": 1, "inner_diameter_mm": lumen, "outer_diameter_mm": outer,
        "length_mm": 400}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    house.model(
        "wide",
        "head",
        json!({"stack_height_mm": 28}),
        json!([{"end": "barrel", "system": "lock A"},
        {"end": "central", "system": "rim 10", "port": "proximal", "bore_mm": "20"},
        {"end": "side 1", "system": "side 9", "port": "side", "bore_mm": "5"}]),
    );
    house.piece("L-1", "lumen");
    house.piece("H-9", "wide");
    for (n, diameter) in diameters.iter().enumerate() {
        let (model, asset) = (format!("i{n}"), format!("I-{n}"));
        let size = match diameter.strip_suffix(" Fr") {
            Some(french) => json!({"french": french, "length_mm": 560}),
            None => json!({"outer_diameter_mm": diameter, "length_mm": 560}),
        };
        house.model(&model, "suction_tube", size, json!([]));
        house.piece(&asset, &model);
    }
    house
}

fn fit(house: &House, count: usize) -> (Option<Verdict>, f64) {
    let names: Vec<String> = (0..count).map(|n| format!("I-{n}")).collect();
    let all: Vec<&str> = ["H-9", "J-1"].into_iter().chain(names.iter().map(String::as_str)).collect();
    let it =
        json!({"barrel": "L-1", "parts": super::parts(&all), "way_out": [{"part": "H-9", "end": "central"}]});
    let fit = house.judge("jet_open", it);
    let spare = fit.together.first().map_or(f64::NAN, |it| it.spare_mm);
    (worst(&fit, Rule::Work), spare)
}

#[test]
fn the_table_of_examples_holds() {
    for (lumen, diameters, needed) in [
        ("12", &["5.5"][..], 5.5),
        ("12", &["5.5", "5"], 10.5),
        ("12", &["5.5", "4", "3"], 9.5),
        ("8.5", &["5.5", "3"], 8.5),
        ("7.5", &["4", "8 Fr"], 20.0 / 3.0),
        ("5", &["2.8", "6 Fr"], 4.8),
        ("11", &["5.5", "14 Fr", "3"], 61.0 / 6.0),
        ("11", &["5.5", "5", "12 Fr"], 10.602_51),
    ] {
        let house = side_by_side(lumen, diameters);
        let (verdict, spare) = fit(&house, diameters.len());
        let lumen: f64 = lumen.parse().expect("a number");
        assert_eq!(verdict, Some(Verdict::Holds), "{lumen} {diameters:?}");
        assert!((lumen - spare - needed).abs() < 1e-5, "{lumen} {diameters:?}: {spare}");
    }
}

/// 5.5 beside 4.0 takes 64 % of the area of 8.5, and needs 9.5.
#[test]
fn the_sum_of_areas_is_no_fit() {
    let house = side_by_side("8.5", &["5.5", "4"]);
    assert_eq!(fit(&house, 2), (Some(Verdict::Fails), -1.0));
    // 8 Fr is 2.667 mm: beside 2.8 it needs 5.467.
    let house = side_by_side("5", &["2.8", "8 Fr"]);
    assert_eq!(fit(&house, 2).0, Some(Verdict::Fails));
}

/// Equality is zero clearance: it fits, and not with any clearance that the site asks for.
#[test]
fn equal_fits_and_clearance_is_asked_for() {
    let mut house = side_by_side("8.5", &["5.5", "3"]);
    assert_eq!(fit(&house, 2), (Some(Verdict::Holds), 0.0));
    house.done(Admin, json!({"do": "set_policy", "clearance_mm": "0.1"}));
    assert_eq!(fit(&house, 2).0, Some(Verdict::Fails));
    // Thirds of a millimetre are exact: three times 4 Fr in a lumen of two.
    let house = side_by_side("2.6666666666666666", &["4 Fr", "4 Fr"]);
    assert_eq!(fit(&house, 2).0, Some(Verdict::Holds));
}

/// The paediatric label is no diameter: "3.5" has a lumen of 5.0 (children's-hospital chart, read second-hand).
#[test]
fn a_nominal_label_is_never_a_diameter() {
    let mut house = House::adult();
    let lock = json!([{"end": "head", "system": "lock A"}]);
    house.model("label", "bronchoscope", json!({"nominal": "8.5", "length_mm": 400}), lock.clone());
    house.piece("B-2", "label");
    let mut it = jet(&["T-1"]);
    it["barrel"] = json!("B-2");
    let fit = house.judge("jet_open", it.clone());
    assert_eq!((fit.answer, worst(&fit, Rule::Pass)), (Answer::NotKnown, Some(Verdict::NotKnown)));
    assert!(fit.sentence.contains("nominal label is no diameter"), "{}", fit.sentence);
    house.model(
        "copied",
        "bronchoscope",
        json!({"nominal": "8.5", "inner_diameter_mm": "8.5",
        "outer_diameter_mm": "9.2", "length_mm": 400}),
        lock,
    );
    house.piece("B-3", "copied");
    it["barrel"] = json!("B-3");
    let fit = house.judge("jet_open", it);
    assert_eq!(worst(&fit, Rule::Sizes), Some(Verdict::Warns));
    assert!(fit.sentence.contains("same number as the nominal label"), "{}", fit.sentence);
}

/// Closed jaws have to pass, whatever the shaft: insertion width, not shaft (the notion of ISO 8600-4, from its contents).
#[test]
fn jaws_pass_and_shafts_work() {
    let mut house = House::adult();
    let jaws = |width: &str| json!({"shaft_diameter_mm": "2.4", "max_width_mm": width, "length_mm": 550});
    house.model("mouth", "forceps", jaws("8.3"), json!([]));
    house.model("wide", "forceps", jaws("5"), json!([]));
    house.model("bare", "forceps", json!({"shaft_diameter_mm": "2.4", "length_mm": 550}), json!([]));
    for (asset, model) in [("F-8", "mouth"), ("F-5", "wide"), ("F-0", "bare")] {
        house.piece(asset, model);
    }
    let fit = house.judge("jet_open", jet(&["T-1", "F-8"]));
    assert_eq!(worst(&fit, Rule::Pass), Some(Verdict::Fails), "{}", fit.sentence);
    assert_eq!(worst(&fit, Rule::Work), Some(Verdict::Holds), "the shafts would lie together");
    // Jaws of 5 pass 8.2 by themselves, and not beside the telescope: the forceps go in first.
    let fit = house.judge("jet_open", jet(&["T-1", "F-5"]));
    assert_eq!(fit.answer, Answer::Fits);
    assert_eq!(worst(&fit, Rule::PassBeside), Some(Verdict::Warns));
    assert!(fit.sentence.contains("goes in first"), "{}", fit.sentence);
    // How wide the jaws are nobody said.
    let fit = house.judge("jet_open", jet(&["T-1", "F-0"]));
    assert_eq!((fit.answer, worst(&fit, Rule::Pass)), (Answer::NotKnown, Some(Verdict::NotKnown)));
}

/// Two diameters of one shaft, one stated in French and one measured: the wider counts. None given: nothing is known.
#[test]
fn two_diameters_or_none() {
    let mut house = House::adult();
    house.model(
        "same",
        "suction_tube",
        json!({"outer_diameter_mm": "4", "french": 12, "length_mm": 560}),
        json!([]),
    );
    house.model("none", "suction_tube", json!({"length_mm": 560}), json!([]));
    for (asset, model) in [("S-3", "same"), ("S-4", "none")] {
        house.piece(asset, model);
    }
    let needed = |house: &House, tube: &str| {
        let fit = house.judge("jet_open", jet(&[tube]));
        fit.together.first().map(|it| it.needed_high_mm)
    };
    assert_eq!(needed(&house, "S-1"), Some(8.0 / 3.0));
    house.done(
        Desk,
        json!({"do": "measure_asset", "asset": "S-1", "dimensions": {"outer_diameter_mm": "3.5"}}),
    );
    assert_eq!(needed(&house, "S-1"), Some(3.5));
    house.done(Desk, json!({"do": "measure_asset", "asset": "S-1", "dimensions": {"outer_diameter_mm": 2}}));
    assert_eq!(needed(&house, "S-1"), Some(8.0 / 3.0));
    assert_eq!(needed(&house, "S-3"), Some(4.0));
    let fit = house.judge("jet_open", jet(&["S-4"]));
    assert_eq!((fit.answer, worst(&fit, Rule::Work)), (Answer::NotKnown, Some(Verdict::NotKnown)));
}
