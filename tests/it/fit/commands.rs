//! What is chosen, measured and tried: permission and fact, and bad input, each with a clear sentence.

use fettle::domain::command::Command;
use fettle::domain::coupled::coupled;
use fettle::domain::deciding::Turned;
use fettle::domain::event::What;
use fettle::domain::fit::Answer;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use fettle::domain::refusal::Code;
use fettle::domain::replacement::replacements;
use fettle::domain::simulate::Given;
use serde_json::{Value, json};

use super::{House, jet, parts};

fn choose(case: &str, configuration: Value) -> Value {
    json!({"do": "choose_configuration", "case": case, "configuration": configuration})
}

#[test]
fn what_fits_is_chosen_and_keeps_its_places() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open"}));
    let event = house.done(Clinician, choose("K-1", jet(&["T-1", "F-1"])));
    let What::ConfigurationChosen(it) = event.what else { panic!("{event:?}") };
    assert_eq!((it.answer, it.done), (Answer::Fits, false));
    // Where each part sits is written down, whatever becomes of the catalogue.
    assert!(it.configuration.parts.iter().all(|part| part.on.is_some() != part.through.is_some()), "{it:?}");
    let sheet = house.sheet("K-1");
    let chosen = sheet.chosen.expect("what was chosen");
    assert_eq!((chosen.by.as_str(), chosen.fit.answer), ("clinician", Answer::Fits));
    // Another technique, and it does not fit any more: the sheet says so.
    house.done(Clinician, json!({"do": "change_case", "case": "K-1", "technique": "controlled_closed"}));
    let sheet = house.sheet("K-1");
    assert_eq!(sheet.chosen.expect("still there").fit.answer, Answer::DoesNotFit);
    let board = house.paper.state.board(house.now);
    let case = board.cases.iter().find(|case| case.case.as_str() == "K-1").expect("the case");
    assert!(case.why.iter().any(|why| why.starts_with("The chosen configuration")), "{:?}", case.why);
}

#[test]
fn what_does_not_fit_is_refused_and_recorded_all_the_same_when_done() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open"}));
    // A holed cap with the telescope in it on the way out.
    let stop = jet(&["C-1", "T-1"]);
    let refusal = house.refused(Charge, choose("K-1", stop.clone()), "not_fitting");
    assert!(refusal.first.found.starts_with("Stop. Gas must be able to leave."), "{:?}", refusal.first);
    // No override sets it aside.
    let mut forced = choose("K-1", stop.clone());
    forced["override"] = json!({"code": "not_fitting", "reason": "we always do", "second_person": "lead"});
    house.refused(Charge, forced, "not_fitting");
    let mut done = choose("K-1", stop.clone());
    done["done"] = json!(true);
    let event = house.done(Clinician, done);
    assert_eq!(event.beside.deviation, [Code::NotFitting]);
    let What::ConfigurationChosen(it) = &event.what else { panic!("{event:?}") };
    assert_eq!((it.answer, it.done), (Answer::Stop, true));
    let mut late = choose("K-1", stop);
    late["late"] = json!({"cause": "downtime", "sheet": "theatre book 3"});
    assert_eq!(house.done(Clinician, late).beside.deviation, [Code::NotFitting]);
}

#[test]
fn what_stands_in_for_a_part_fits_in_its_place() {
    let mut house = House::adult();
    let scope = |mm: Value| json!({"shaft_diameter_mm": mm, "length_mm": 436});
    house.model("t3", "telescope", scope(json!(3)), json!([]));
    house.model("t9", "telescope", scope(json!(9)), json!([]));
    house.model("t4-long", "telescope", json!({"shaft_diameter_mm": 4, "length_mm": 520}), json!([]));
    house.model("t4-odd", "telescope", json!({"shaft_diameter_mm": 4}), json!([]));
    for (asset, model) in
        [("T-9", "t9"), ("T-5", "t4-long"), ("T-2", "t4"), ("T-3", "t3"), ("T-1-odd", "t4-odd")]
    {
        house.piece(asset, model);
    }
    let offered = |house: &House| {
        let state = &house.paper.state;
        let (case, old) = (state.cases.get("K-1").expect("a case"), state.assets.get("T-1").expect("a part"));
        let all = replacements(state, case, old, house.now);
        all.into_iter().map(|it| (it.asset.to_string(), it.same_model, it.fit)).collect::<Vec<_>>()
    };
    house.case("K-1", json!({"technique": "jet_open"}));
    // Nothing is chosen: models and families are all that is known.
    let names: Vec<_> = offered(&house).into_iter().map(|it| (it.0, it.2)).collect();
    assert_eq!(names, [("T-2".into(), None), ("T-1-odd".into(), None), ("T-3".into(), None)]);
    house.done(Clinician, choose("K-1", jet(&["T-1", "F-1"])));
    // One too wide for the barrel and one far too long are not offered; of one the length is not known.
    let fits = |asset: &str, same: bool, fit| (asset.to_string(), same, Some(fit));
    let expected = [
        fits("T-2", true, Answer::Fits),
        fits("T-3", false, Answer::Fits),
        fits("T-1-odd", false, Answer::NotKnown),
    ];
    assert_eq!(offered(&house), expected);
}

#[test]
fn a_part_that_was_retired_a_second_ago_is_refused_by_name() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open"}));
    house.done(Biomed, json!({"do": "retire", "asset": "T-1", "cause": "damaged", "failure": true}));
    let refusal = house.refused(Charge, choose("K-1", jet(&["T-1"])), "retired");
    assert!(refusal.first.found.contains("T-1 is retired"), "{:?}", refusal.first);
    // So is one on hold, in repair, not accounted for.
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "bent", "scan": "F-1"}));
    let refusal = house.refused(Charge, choose("K-1", jet(&["F-1"])), "held");
    assert!(refusal.first.found.contains("F-1"), "{:?}", refusal.first);
    house.done(
        Biomed,
        json!({"do": "send_to_repair", "asset": "S-1", "reason": "kink", "decontaminated": true}),
    );
    house.refused(Charge, choose("K-1", jet(&["S-1"])), "in_repair");
    house.done(Charge, json!({"do": "report_missing", "scan": "J-1", "asset": "J-1"}));
    house.refused(Charge, choose("K-1", jet(&[])), "missing");
}

/// The same part promised to two cases is one of the trade's traps.
#[test]
fn one_part_has_one_promise() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open"}));
    house.case("K-2", json!({"technique": "jet_open", "start": "2026-03-03T12:00:00+01:00"}));
    house.case("K-3", json!({"technique": "jet_open", "start": "2026-03-05T12:00:00+01:00"}));
    house.done(Charge, choose("K-1", jet(&["T-1"])));
    let refusal = house.refused(Clinician, choose("K-2", jet(&["T-1"])), "promised_elsewhere");
    assert!(refusal.first.found.contains("chosen for case K-1"), "{:?}", refusal.first);
    house.done(Clinician, choose("K-3", jet(&["T-1"])));
    let mut forced = choose("K-2", jet(&["T-1"]));
    forced["override"] = json!({"code": "promised_elsewhere", "reason": "K-1 is moved"});
    house.done(Lead, forced);
    // The board shows K-1 as it is: still chosen, and it still fits.
    assert_eq!(house.sheet("K-1").chosen.expect("chosen").fit.answer, Answer::Fits);
}

#[test]
fn names_that_mean_nothing_are_told_one_by_one() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open"}));
    let mut unknown = jet(&["T-99"]);
    house.refused(Charge, choose("K-1", unknown.clone()), "unknown_thing");
    unknown["parts"] = json!([{"asset": "H-1", "on": {"part": "B-1", "end": "tail"}}]);
    let refusal = house.refused(Charge, choose("K-1", unknown), "unknown_thing");
    assert!(refusal.first.found.contains("no end \"tail\""), "{:?}", refusal.first);
    let twice = jet(&["T-1", "T-1"]);
    house.refused(Charge, choose("K-1", twice.clone()), "not_fitting");
    // What can't be read is no fact either.
    let mut done = choose("K-1", twice);
    done["done"] = json!(true);
    house.refused(Charge, done, "not_fitting");
    let no_barrel = json!({"barrel": "T-1", "parts": []});
    let refusal = house.refused(Charge, choose("K-1", no_barrel), "not_fitting");
    assert!(refusal.first.found.contains("telescope T-1 is no barrel"), "{:?}", refusal.first);
    house.refused(Charge, choose("K-9", jet(&[])), "unknown_thing");
}

fn wrong(command: Value) -> (String, String) {
    let found = Command::read(command).expect_err("malformed");
    (found[0].pointer.clone(), found[0].detail.clone())
}

#[test]
fn bad_input_is_malformed_with_its_place() {
    let hundred: Vec<String> = (0..100).map(|n| format!("X-{n}")).collect();
    let hundred: Vec<&str> = hundred.iter().map(String::as_str).collect();
    let it = json!({"barrel": "B-1", "parts": parts(&hundred)});
    let (pointer, detail) = wrong(choose("K-1", it));
    assert_eq!(pointer, "/configuration/parts");
    assert!(detail.contains("100 parts"), "{detail}");
    let eight: Vec<&str> = hundred.iter().take(8).copied().collect();
    let it = json!({"barrel": "B-1", "together": [eight]});
    assert_eq!(wrong(choose("K-1", it)).0, "/configuration/together/0");
    let both = json!({"barrel": "B-1", "parts": [{"asset": "X", "on": {"part": "B-1", "end": "e"},
        "through": {"part": "B-1", "end": "e"}}]});
    assert_eq!(wrong(choose("K-1", both)).0, "/configuration/parts/0");
    let measure =
        |dimensions: Value| json!({"do": "measure_asset", "asset": "T-1", "dimensions": dimensions});
    for (dimensions, pointer) in [
        (json!({}), "/dimensions"),
        (json!({"nominal": 8}), "/dimensions/nominal"),
        (json!({"shaft_diameter_mm": 0}), "/dimensions/shaft_diameter_mm"),
        (json!({"length_mm": -3}), "/dimensions/length_mm"),
        (json!({"french": "NaN"}), "/dimensions/french"),
        (json!({"hole_diameters_mm": [2, 0]}), "/dimensions/hole_diameters_mm"),
        (json!({"inner_diameter_mm": 9, "outer_diameter_mm": 8}), "/dimensions/inner_diameter_mm"),
    ] {
        let told = dimensions.to_string();
        assert_eq!(wrong(measure(dimensions)).0, pointer, "{told}");
    }
    assert_eq!(wrong(json!({"do": "confirm_fit", "fits": true})).0, "/parts");
    let two = json!({"do": "confirm_fit", "parts": ["a", "b"], "models": ["a", "b"], "fits": true});
    assert_eq!(wrong(two).0, "/parts");
    for policy in [json!({"clearance_mm": -1}), json!({"cap_hole_ratio": "1.5"}), json!({"reach_mm": 5_000})]
    {
        let mut set = policy;
        set["do"] = json!("set_policy");
        wrong(set);
    }
    let plan = json!({"do": "plan_case", "case": "K", "start": "2999-01-01T00:00:00Z", "minutes": 5, "needs": [],
                      "configuration": {"barrel_family": "cap"}});
    assert_eq!(wrong(plan).0, "/configuration/barrel_family");
}

#[test]
fn measurements_add_up_and_tried_parts_have_to_be_known() {
    let mut house = House::adult();
    house.done(Desk, json!({"do": "measure_asset", "asset": "F-1", "dimensions": {"max_width_mm": "3.4"}}));
    house.done(Lead, json!({"do": "measure_asset", "asset": "F-1", "dimensions": {"length_mm": "549.5"}}));
    let measured = house.paper.state.assets.get("F-1").and_then(|it| it.measured.clone()).expect("measured");
    let told = [measured.max_width_mm, measured.length_mm].map(|it| it.map(|it| it.to_string()));
    assert_eq!(told, [Some("3.4".into()), Some("549.5".into())]);
    house.refused(
        Desk,
        json!({"do": "confirm_fit", "models": ["b8", "nothing"], "fits": true}),
        "unknown_thing",
    );
    house.refused(Desk, json!({"do": "confirm_fit", "parts": ["B-1", "X-1"], "fits": true}), "unknown_thing");
    let ends = json!({"do": "confirm_fit", "parts": ["B-1", "H-1"], "ends": ["head", "tail"], "fits": true});
    house.refused(Desk, ends, "unknown_thing");
    house.done(Admin, json!({"do": "set_policy", "telescope_cover_mm": 15}));
}

#[test]
fn a_part_is_tried_with_another_one() {
    let with = |parts: [&str; 2]| json!({"do": "confirm_fit", "parts": parts, "fits": true});
    let told = wrong(with(["H-1", "H-1"]));
    assert_eq!(told.0, "/parts/1");
    assert!(told.1.contains("the same part twice"), "{}", told.1);
    // By its mark it is the same part as by its id.
    let mut house = House::adult();
    house.done(Lead, json!({"do": "add_asset", "asset": "H-2", "mark": "M-2", "model": "head"}));
    let command = Command::read(with(["H-2", "M-2"])).expect("a command that reads");
    match house.paper.take(&Given { now: house.now, role: Desk, command }) {
        Err(Turned::Malformed(all)) => assert_eq!(all[0].pointer, "/parts/1", "{all:?}"),
        other => panic!("{other:?}"),
    }
    assert!(house.paper.state.tried.is_empty());
    // Two pieces of one model are two parts.
    house.done(Desk, with(["H-1", "H-2"]));
    house.done(Desk, json!({"do": "confirm_fit", "models": ["head", "head"], "fits": false}));
}

/// The checks are those that a model goes through; the sizes are invented.
#[test]
fn what_is_measured_is_looked_at() {
    let mut house = House::adult();
    let measure =
        |asset: &str, sizes: Value| json!({"do": "measure_asset", "asset": asset, "dimensions": sizes});
    let mut refused = |asset: &str, sizes: Value, pointer: &str| {
        let command = Command::read(measure(asset, sizes)).expect("a command that reads");
        match house.paper.take(&Given { now: house.now, role: Desk, command }) {
            Err(Turned::Malformed(all)) => assert_eq!(all[0].pointer, pointer, "{all:?}"),
            other => panic!("{other:?}"),
        }
    };
    refused("B-1", json!({"inner_diameter_mm": 50}), "/dimensions/inner_diameter_mm");
    refused("F-1", json!({"shaft_diameter_mm": 3, "max_width_mm": "2.5"}), "/dimensions/max_width_mm");
    refused("S-1", json!({"shaft_diameter_mm": 5}), "/dimensions/shaft_diameter_mm");
    for (asset, sizes, pointer) in [
        ("B-1", json!({"length_mm": 4}), "/dimensions/length_mm"),
        ("S-1", json!({"french": 12, "shaft_diameter_mm": "4.5"}), "/dimensions/shaft_diameter_mm"),
        ("T-1", json!({"inner_diameter_mm": 3}), "/dimensions/inner_diameter_mm"),
    ] {
        let event = house.done(Desk, measure(asset, sizes));
        assert!(event.beside.doubts.iter().any(|it| it.pointer == pointer), "{:?}", event.beside.doubts);
    }
    let event = house.done(Desk, measure("F-1", json!({"max_width_mm": "3.2"})));
    assert!(event.beside.doubts.is_empty(), "{:?}", event.beside.doubts);
    let blank = json!({"do": "confirm_fit", "models": ["b8", "head"], "fits": true, "how": " \u{200b}"});
    assert_eq!(wrong(blank).0, "/how");
}

#[test]
fn two_barrels_never_meet() {
    let mut house = House::adult();
    house.model(
        "tr",
        "tracheoscope",
        json!({"inner_diameter_mm": 10, "outer_diameter_mm": 11, "length_mm": 300}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    let state = &house.paper.state;
    let all = coupled(state, state.models.get("b8").expect("a barrel"));
    let met: Vec<&str> = all.iter().map(|it| it.model.as_str()).collect();
    assert_eq!(met, ["head"]);
}

#[test]
fn the_sheet_of_a_cancelled_case_says_so() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open"}));
    house.done(Charge, json!({"do": "cancel_case", "case": "K-1", "reason": "put off"}));
    let said = house.sheet("K-1").sentence;
    assert!(said.starts_with("Case K-1 was cancelled, "), "{said}");
}
