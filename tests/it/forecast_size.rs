//! Another barrel as an act: proven to fit, tried in a department by hand, and never a wider one.

use fettle::domain::forecast_acts::Act;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{Charge, Desk, Lead};
use fettle::domain::route::StepKind;
use serde_json::json;

use super::fit::House;
use super::forecast_tried::{Minutes, after, look};

/// Two sets with a barrel of 8 and one with a barrel of 7, each complete for jet ventilation; the smaller one is of a
/// count sheet of its own. The case needs one of 8 an hour from now, and none is clean.
fn late_for_eight(small: &str) -> House {
    let mut house = House::three_sets();
    let sheet = |sheet: &str| {
        json!({"do": "define_count_sheet", "count_sheet": sheet, "name": sheet, "lines":
        [{"line": "barrel", "family": "bronchoscope", "quantity": 1, "essential": true},
         {"line": "else", "models": ["head", "jet", "conn", "t4", "grip", "suck"], "quantity": 9, "essential": false}]})
    };
    house.done(Lead, sheet(small));
    house.done(Lead, json!({"do": "build_set", "set": "SMALL", "count_sheet": small, "name": "Small"}));
    for (part, line) in [
        ("B-7", "bronchoscope"),
        ("H-7", "head"),
        ("J-7", "jet_adapter"),
        ("T-7", "telescope"),
        ("F-7", "forceps"),
        ("S-7", "suction_tube"),
    ] {
        house.done(Desk, json!({"do": "take_from_set", "set": "SET-7", "line": line, "asset": part}));
        let line = if part == "B-7" { "barrel" } else { "else" };
        house.done(Desk, json!({"do": "put_in_set", "set": "SMALL", "line": line, "asset": part}));
        if house.paper.state.assets[&Id::new(part).unwrap()].next == 0 {
            house.done(Desk, json!({"do": "record_step", "step": "cleaned", "scan": part}));
        }
    }
    for set in ["SET-1", "SET-2", "SET-7"] {
        house.done(Desk, json!({"do": "record_step", "step": "treated", "scan": set}));
    }
    let start = house.now.plus_minutes(60);
    let case = json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 60, "needs": ["sheet"],
                      "technique": "jet_open", "configuration": {"barrel_nominal": 8}});
    house.done(Charge, case);
    house
}

#[test]
fn the_next_smaller_barrel_is_an_act_where_it_is_proven_to_fit() {
    let takes: Minutes = &[(StepKind::Cleaned, 120.0)];
    let house = late_for_eight("small");
    let looked = look(&house.paper.state, house.now, "K-1", (takes, 0.0));
    assert_eq!(looked.before("K-1"), (Some(120), false));
    let size = looked.act(Act::NextSize);
    let wanted = "Use the 7 barrel B-7 instead of the 8, with telescope T-7 and forceps F-7 and suction tube S-7: open SMALL. \
                  Geometry only, the clinician decides";
    assert_eq!(size.does, wanted);
    assert_eq!(after(size, "K-1"), (Some(0), true));
    assert!(size.request.is_none(), "what is laid out is chosen by those who treat");
    // What it would be can be chosen as it stands.
    let mut house = house;
    let configuration = size.configuration.clone().expect("a configuration");
    house.done(Charge, json!({"do": "choose_configuration", "case": "K-1", "configuration": configuration}));
    // Without a technique nothing is proven, so nothing is said.
    let mut unknown = late_for_eight("small");
    unknown.done(Charge, json!({"do": "change_case", "case": "K-1", "technique": "not_decided"}));
    assert!(!look(&unknown.paper.state, unknown.now, "K-1", (takes, 0.0)).has(Act::NextSize));
    // A telescope that does not go through it proves the opposite.
    let mut narrow = late_for_eight("small");
    let measure = json!({"do": "measure_asset", "asset": "B-7", "dimensions": {"inner_diameter_mm": "3.5"}});
    narrow.done(Desk, measure);
    assert!(!look(&narrow.paper.state, narrow.now, "K-1", (takes, 0.0)).has(Act::NextSize));
    // The reserve that would be undercut is named.
    let mut kept = late_for_eight("small");
    kept.done(Lead, json!({"do": "set_reserve", "count_sheet": "small", "minimum": 1}));
    let looked = look(&kept.paper.state, kept.now, "K-1", (takes, 0.0));
    let does = &looked.act(Act::NextSize).does;
    assert!(does.contains("The reserve of small falls to 0 ready; at least 1 is asked for."), "{does}");
}

#[test]
fn a_barrel_of_the_same_size_in_another_set_comes_before_a_smaller_one() {
    let takes: Minutes = &[(StepKind::Cleaned, 120.0)];
    let mut house = late_for_eight("small");
    house.model(
        "b8b",
        "bronchoscope",
        json!({"nominal": 8, "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9", "length_mm": 400}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    house.piece("B-9", "b8b");
    let looked = look(&house.paper.state, house.now, "K-1", (takes, 0.0));
    let does: Vec<&str> =
        looked.all.iter().filter(|it| it.act == Act::NextSize).map(|it| it.does.as_str()).collect();
    assert_eq!(does.len(), 2, "{does:?}");
    assert!(does[0].starts_with("Use another 8 barrel, B-9, with telescope T-7"), "{does:?}");
    assert!(does[1].starts_with("Use the 7 barrel B-7 instead of the 8"), "{does:?}");
    // A wider one is never offered: whether it passes the airway nobody here can say.
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "configuration": {"barrel_nominal": 7}}));
    let looked = look(&house.paper.state, house.now, "K-1", (takes, 0.0));
    assert!(looked.all.iter().filter(|it| it.act == Act::NextSize).all(|it| it.does.contains("7 barrel")));
}
