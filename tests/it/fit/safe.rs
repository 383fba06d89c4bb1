//! What a sheet must never say: that gas can leave where it cannot, that a system is closed that leaks, that sizes fit which
//! nobody knows.

use fettle::domain::command::Command;
use fettle::domain::fit::{Answer, Rule, Verdict};
use fettle::domain::person::Role::Biomed;
use serde_json::json;

use super::{House, closed, jet, of, parts, worst};

/// Gas that has to leave is a rule of the trade (a way out with jet ventilation); how wide the gap is, is the site's.
#[test]
fn a_way_out_is_one_all_the_way() {
    let mut house = House::adult();
    let ends = |bore: &str| {
        json!([{"end": "barrel", "system": "lock A"},
               {"end": "central", "system": "rim 10", "port": "proximal", "bore_mm": bore},
               {"end": "side 1", "system": "side 9", "port": "side", "bore_mm": "5"}])
    };
    house.model("head-narrow", "head", json!({"stack_height_mm": 28}), ends("0.3"));
    house.piece("H-2", "head-narrow");
    let unknown = json!([{"end": "barrel", "system": "lock A"},
                         {"end": "central", "system": "rim 10", "port": "proximal"},
                         {"end": "side 1", "system": "side 9", "port": "side", "bore_mm": "5"}]);
    house.model("head-unknown", "head", json!({"stack_height_mm": 28}), unknown);
    house.piece("H-3", "head-unknown");
    let pin = json!([{"end": "rim", "system": "rim 10"}]);
    house.model("cap-pin", "cap", json!({"hole_diameters_mm": ["0.1"], "stack_height_mm": 3}), pin);
    house.piece("C-9", "cap-pin");
    let with = |head: &str, more: &[&str]| {
        let all: Vec<&str> = [head, "J-1"].into_iter().chain(more.iter().copied()).collect();
        json!({"barrel": "B-1", "parts": parts(&all), "way_out": [{"part": head, "end": "central"}]})
    };
    // A bore or a hole narrower than the gap lets no gas out, and one of unknown bore nobody may call open.
    assert_eq!(house.judge("jet_open", with("H-2", &[])).answer, Answer::Stop);
    assert_eq!(house.judge("jet_open", with("H-3", &[])).answer, Answer::NotKnown);
    assert_eq!(house.judge("jet_open", with("H-1", &["C-9"])).answer, Answer::Stop);
    assert_eq!(house.judge("jet_open", with("H-1", &[])).answer, Answer::Fits);
    // What fills the lumen behind an open way out stops it too: 8.2 mm in a lumen of 8.2.
    house.model("t8", "telescope", json!({"shaft_diameter_mm": "8.2", "length_mm": 436}), json!([]));
    house.piece("T-8", "t8");
    let fit = house.judge("jet_open", with("H-1", &["T-8"]));
    assert_eq!(fit.answer, Answer::Stop, "{}", fit.sentence);
    assert!(fit.checks.iter().any(|check| check.sentence.contains("beside it in the lumen")), "{fit:?}");
    // A site can't do without the gap.
    let zero = Command::read(json!({"do": "set_policy", "way_out_gap_mm": 0}));
    assert!(format!("{:?}", zero.expect_err("no gap at all")).contains("above 0"));
}

#[test]
fn a_cap_with_two_holes_leaks_while_one_is_empty() {
    let house = House::adult();
    let mut both = closed("C-2", &["T-1", "F-1"]);
    both["together"] = json!([["T-1", "F-1"], ["T-1"]]);
    let fit = house.judge("controlled_closed", both);
    let open = of(&fit, Rule::Openings);
    assert!(open.iter().any(|check| check.verdict == Verdict::Warns), "{open:?}");
    assert!(open.iter().all(|check| !check.sentence.contains("Every opening is closed")), "{open:?}");
}

#[test]
fn an_opening_with_something_on_it_is_no_entry() {
    let mut house = House::adult();
    let adapter = json!([{"end": "head", "system": "rim 10"},
                         {"end": "top", "system": "rim 10", "port": "proximal", "bore_mm": "9"}]);
    house.model("pad", "port_adapter", json!({"stack_height_mm": 10}), adapter);
    house.piece("A-1", "pad");
    let through = |part: &str, end: &str| {
        json!({"barrel": "B-1", "way_out": [{"part": "A-1", "end": "top"}], "parts": [
            {"asset": "H-1"}, {"asset": "J-1"}, {"asset": "A-1", "on": {"part": "H-1", "end": "central"}},
            {"asset": "T-1", "through": {"part": part, "end": end}}]})
    };
    let fit = house.judge("jet_open", through("H-1", "central"));
    assert!(worst(&fit, Rule::EntryBore) == Some(Verdict::Fails), "{}", fit.sentence);
    assert_ne!(worst(&house.judge("jet_open", through("A-1", "top")), Rule::EntryBore), Some(Verdict::Fails));
}

#[test]
fn sizes_that_contradict_each_other_are_not_known() {
    let mut house = House::adult();
    // A label entered as inner diameter, and nothing beside it that speaks for it.
    house.model(
        "b12",
        "bronchoscope",
        json!({"nominal": 12, "inner_diameter_mm": 12, "length_mm": 400}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    house.piece("B-12", "b12");
    let mut it = jet(&["T-1"]);
    it["barrel"] = json!("B-12");
    assert_eq!(worst(&house.judge("jet_open", it), Rule::Sizes), Some(Verdict::NotKnown));
    // A cap that is stated with two holes and measured with one.
    house.done(
        Biomed,
        json!({"do": "measure_asset", "asset": "C-2", "dimensions": {"hole_diameters_mm": ["2.6"]}}),
    );
    let fit = house.judge("controlled_closed", closed("C-2", &["T-1", "F-1"]));
    assert_eq!(worst(&fit, Rule::Sizes), Some(Verdict::NotKnown), "{}", fit.sentence);
    // A group of nobody would leave everybody unjudged.
    let none = json!({"do": "choose_configuration", "case": "K-1",
                      "configuration": {"barrel": "B-1", "together": [[]]}});
    assert!(Command::read(none).is_err());
}

/// Gas that has to leave is a rule of the trade; it asks for no word on paper, but for what is screwed on.
#[test]
fn a_jet_attachment_asks_for_a_way_out_whatever_the_technique() {
    let house = House::adult();
    let sealed = json!({"barrel": "B-1", "parts": parts(&["H-1", "N-1", "J-1", "C-1", "F-1"])});
    for technique in ["jet_open", "assisted", "apnoeic", "controlled_closed"] {
        let fit = house.judge(technique, sealed.clone());
        assert_eq!(fit.answer, Answer::Stop, "{technique}: {}", fit.sentence);
        assert!(
            fit.sentence.starts_with("Stop. Gas must be able to leave."),
            "{technique}: {}",
            fit.sentence
        );
    }
    // With its way out it is one for each of them but a closed system, where it does not belong.
    for technique in ["jet_open", "assisted", "apnoeic"] {
        let fit = house.judge(technique, jet(&["T-1"]));
        assert_eq!(fit.answer, Answer::Fits, "{technique}: {}", fit.sentence);
    }
    let fit = house.judge("controlled_closed", jet(&["T-1"]));
    assert_eq!(fit.answer, Answer::DoesNotFit, "{}", fit.sentence);
    let told = "J-1 is a jet attachment and does not belong on a closed system";
    assert!(fit.checks.iter().any(|check| check.sentence.contains(told)), "{:?}", fit.checks);
}

#[test]
fn what_is_joined_to_nothing_is_no_fit() {
    let mut house = House::adult();
    house.piece("B-2", "b8");
    house.piece("H-2", "head");
    let fit = house.judge("jet_open", jet(&["T-1", "B-2"]));
    assert_eq!(fit.answer, Answer::DoesNotFit, "{}", fit.sentence);
    assert!(fit.sentence.contains("B-2 is joined to nothing"), "{}", fit.sentence);
    // Nor does it sit on the end with which the head sits on its own barrel.
    let mut it = jet(&["T-1"]);
    let placed = json!({"asset": "B-2", "on": {"part": "H-1", "end": "barrel"}});
    it["parts"].as_array_mut().expect("parts").push(placed);
    let fit = house.judge("jet_open", it);
    assert_eq!(fit.answer, Answer::DoesNotFit, "{}", fit.sentence);
    // A second head finds no end.
    let fit = house.judge("jet_open", jet(&["T-1", "H-2"]));
    assert_ne!(fit.answer, Answer::Fits, "{}", fit.sentence);
    assert!(fit.sentence.contains("H-2 is joined to nothing"), "{}", fit.sentence);
}
