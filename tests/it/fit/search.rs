//! Finding a configuration: what is offered fits, costs least, and comes with what lies beside it.

use fettle::domain::case::Technique;
use fettle::domain::fit::Answer;
use fettle::domain::person::Role::{Charge, Desk, Lead};
use serde_json::json;

use super::House;

impl House {
    /// A set of these parts, built to a count sheet with a line for each.
    fn set(&mut self, set: &str, parts: &[&str]) {
        let families = [
            "bronchoscope",
            "head",
            "jet_adapter",
            "anaesthesia_connector",
            "telescope",
            "forceps",
            "suction_tube",
            "cap",
        ];
        let lines: Vec<_> = families
            .iter()
            .map(|family| json!({"line": family, "family": family, "quantity": 6, "essential": false}))
            .collect();
        if !self.paper.state.sheets.contains_key("sheet") {
            let define =
                json!({"do": "define_count_sheet", "count_sheet": "sheet", "name": "Sheet", "lines": lines});
            self.done(Lead, define);
        }
        self.done(Lead, json!({"do": "build_set", "set": set, "count_sheet": "sheet", "name": set}));
        for part in parts {
            let asset = self.paper.state.assets.get(*part).expect("a part");
            let family = self.paper.state.model(&asset.model).expect("a model").family.name();
            self.done(Lead, json!({"do": "put_in_set", "set": set, "line": family, "asset": part}));
            self.clean_again(part);
        }
    }

    /// A ready part that went into a set is ready still, where its route has nothing to pack.
    fn clean_again(&mut self, part: &str) {
        let asset = self.paper.state.assets.get(part).expect("a part");
        if asset.next == 0 {
            self.clean(part);
        }
    }

    /// Two adult sets and a smaller one, each whole.
    fn three_sets() -> House {
        let mut house = House::adult();
        let lock = json!([{"end": "head", "system": "lock A"}]);
        house.model(
            "b7",
            "bronchoscope",
            json!({"nominal": 7, "inner_diameter_mm": "7.2", "outer_diameter_mm": "7.9",
            "length_mm": 400}),
            lock,
        );
        for (asset, model) in [
            ("B-2", "b8"),
            ("H-2", "head"),
            ("J-2", "jet"),
            ("T-2", "t4"),
            ("F-2", "grip"),
            ("S-2", "suck"),
            ("B-7", "b7"),
            ("H-7", "head"),
            ("J-7", "jet"),
            ("N-7", "conn"),
            ("T-7", "t4"),
            ("F-7", "grip"),
            ("S-7", "suck"),
        ] {
            house.piece(asset, model);
        }
        house.set("SET-1", &["B-1", "H-1", "J-1", "N-1", "T-1", "F-1", "S-1", "C-2", "P-1", "P-2"]);
        house.set("SET-2", &["B-2", "H-2", "J-2", "T-2", "F-2", "S-2"]);
        house.set("SET-7", &["B-7", "H-7", "J-7", "N-7", "T-7", "F-7", "S-7"]);
        house
    }
}

#[test]
fn the_best_three_are_complete_and_fit() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    let sheet = house.sheet("K-1");
    assert_eq!(sheet.offers.len(), 2, "{}", sheet.sentence);
    for offer in &sheet.offers {
        assert_eq!((offer.fit.answer, offer.open.len()), (Answer::Fits, 1), "{}", offer.sentence);
        assert!(offer.costs.is_empty() && offer.spare_mm.is_some_and(|spare| spare > 0.0));
        let choose =
            json!({"do": "choose_configuration", "case": "K-1", "configuration": offer.configuration});
        house.done(Charge, choose);
    }
    // The next smaller barrel with parts of its own.
    let smaller = sheet.smaller.offer.expect("a smaller one");
    assert_eq!(smaller.configuration.barrel.as_str(), "B-7", "{}", sheet.smaller.sentence);
    let first: Vec<&str> = sheet.offers[0].configuration.pieces().collect();
    assert!(smaller.configuration.pieces().all(|piece| !first.contains(&piece)));
    // To close the system: off with the jet attachment, on with connector, caps and plugs.
    let back = sheet.fall_back.expect("a fall-back");
    assert_eq!(back.technique, Technique::ControlledClosed);
    let changed = |what: &str| back.changes.iter().any(|change| change.starts_with(what));
    assert!(changed("Off: jet adapter J-1"), "{:?}", back.changes);
    assert!(
        changed("On: anaesthesia connector") && changed("On: cap C-2") && changed("On: cap P-"),
        "{:?}",
        back.changes
    );
    assert!(sheet.obvious.is_none(), "{:?}", sheet.obvious);
}

#[test]
fn what_another_case_keeps_costs_it() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    house.case("K-2", json!({"technique": "jet_open", "start": "2026-03-03T11:00:00+01:00"}));
    house.done(Charge, json!({"do": "promise", "case": "K-2", "set": "SET-1"}));
    let sheet = house.sheet("K-1");
    let barrels: Vec<&str> = sheet.offers.iter().map(|offer| offer.configuration.barrel.as_str()).collect();
    assert_eq!(barrels, ["B-2", "B-1"], "what costs nobody comes first");
    let cost = sheet.offers[1].costs.first().expect("a cost");
    assert_eq!(cost.case.as_ref().map(|case| case.as_str()), Some("K-2"));
    // The reserve is a cost too.
    house.done(Charge, json!({"do": "set_reserve", "count_sheet": "sheet", "minimum": 3}));
    let sheet = house.sheet("K-1");
    assert!(
        sheet.offers[0].costs.iter().any(|cost| cost.sentence.contains("at least 3")),
        "{:?}",
        sheet.offers[0].costs
    );
}

#[test]
fn parts_of_more_than_one_set_are_told() {
    let mut house = House::three_sets();
    for part in ["T-1", "T-2"] {
        house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": part}));
    }
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    let sheet = house.sheet("K-1");
    let first = sheet.offers.first().expect("an offer");
    let open: Vec<&str> = first.open.iter().map(|set| set.as_str()).collect();
    assert_eq!(open, ["SET-1", "SET-7"], "{}", first.sentence);
    // And why the obvious set does not do.
    let obvious = sheet.obvious;
    assert!(obvious.is_none_or(|it| it.sentence.contains("T-1")));
}

/// A set that is complete by count and holds the wrong mix: one of the trade's traps.
#[test]
fn the_obvious_choice_is_explained_with_numbers() {
    let mut house = House::adult();
    house.model("t5", "telescope", json!({"shaft_diameter_mm": "5.5", "length_mm": 560}), json!([]));
    house.piece("T-5", "t5");
    house.set("SET-1", &["B-1", "H-1", "J-1", "T-5", "F-1", "S-1"]);
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    let sheet = house.sheet("K-1");
    assert!(sheet.offers.is_empty());
    let obvious = sheet.obvious.expect("why");
    assert!(obvious.sentence.contains("132 mm beyond the barrel's end"), "{}", obvious.sentence);
    assert!(sheet.sentence.contains("no complete configuration fits"), "{}", sheet.sentence);
    assert!(sheet.smaller.offer.is_none());
}

#[test]
fn without_a_technique_nothing_is_offered() {
    let mut house = House::three_sets();
    house.case("K-1", json!({}));
    let sheet = house.sheet("K-1");
    assert!(sheet.offers.is_empty() && sheet.fall_back.is_none());
    assert!(
        sheet.sentence.contains("technique not known: nothing can be said of the openings"),
        "{}",
        sheet.sentence
    );
}

/// A closed system: one cap of two holes, forceps and suction in turn through the second.
#[test]
fn a_closed_system_is_closed() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "controlled_closed"}));
    let sheet = house.sheet("K-1");
    let first = sheet.offers.first().unwrap_or_else(|| panic!("{}", sheet.sentence));
    assert_eq!(first.fit.together.len(), 2, "{}", first.sentence);
    assert!(first.configuration.pieces().any(|piece| piece == "C-2"));
}
