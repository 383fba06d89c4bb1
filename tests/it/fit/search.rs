//! Finding a configuration: what is offered fits, costs least, and comes with what lies beside it.

use fettle::domain::case::Technique;
use fettle::domain::fit::Answer;
use fettle::domain::fit_judge::Setting;
use fettle::domain::fit_ready::coming;
use fettle::domain::fit_size::{named, spare_mm};
use fettle::domain::id::Id;
use fettle::domain::model::Family;
use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use fettle::domain::setup_sheet::NO_SIDE_HOLES;
use fettle::domain::setup_sheet::Offer;
use serde_json::json;

use super::House;

impl House {
    /// A set of these parts, built to a count sheet with a line for each.
    pub fn set(&mut self, set: &str, parts: &[&str]) {
        let families = [
            "bronchoscope",
            "tracheoscope",
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
    pub fn three_sets() -> House {
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
    assert!(
        sheet.sentence.contains("no complete configuration with a barrel labelled 8 fits"),
        "{}",
        sheet.sentence
    );
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

/// What was held or retired since it was chosen is not said to fit, whatever its sizes; what is ready instead is named.
#[test]
fn what_was_held_since_it_was_chosen_is_not_to_be_laid_out() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    let offers = house.sheet("K-1").offers;
    let first = offers[0].configuration.clone();
    assert!(first.pieces().any(|piece| piece == "T-1"), "{}", offers[0].sentence);
    house.done(Charge, json!({"do": "choose_configuration", "case": "K-1", "configuration": first}));
    assert!(house.sheet("K-1").sentence.contains("It fits with") && house.sheet("K-1").barred.is_empty());
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    let sheet = house.sheet("K-1");
    let told = sheet.sentence.split_once("Not to be laid out: T-1 is on quality hold");
    let (_, rest) = told.unwrap_or_else(|| panic!("{}", sheet.sentence));
    assert!(rest.contains("dim. Ready instead: T-2 in set SET-2"), "{}", sheet.sentence);
    assert!(!sheet.sentence.contains("It fits"), "{}", sheet.sentence);
    assert_eq!(sheet.barred.len(), 1);
    assert_eq!(sheet.barred[0].instead.first().map(|it| it.asset.as_str()), Some("T-2"));
    house.done(Biomed, json!({"do": "retire", "asset": "J-1", "cause": "damaged", "failure": true}));
    house.done(Charge, json!({"do": "report_missing", "scan": "F-1", "asset": "F-1"}));
    let sheet = house.sheet("K-1");
    let barred: Vec<&str> = sheet.barred.iter().map(|it| it.asset.as_str()).collect();
    assert_eq!(barred.len(), 3, "{barred:?}");
    assert!(sheet.sentence.contains("Not to be laid out: J-1, T-1 and 1 more."), "{}", sheet.sentence);
    assert!(sheet.barred[0].sentence.starts_with("Not to be laid out: J-1 is retired"), "{barred:?}");
}

/// What is shown is what is changed: nothing comes off that is not on the table.
#[test]
fn the_fall_back_starts_from_what_was_chosen() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    let second = house.sheet("K-1").offers[1].configuration.clone();
    assert_eq!(second.barrel.as_str(), "B-2");
    house.done(Charge, json!({"do": "choose_configuration", "case": "K-1", "configuration": second}));
    let back = house.sheet("K-1").fall_back.expect("a fall-back");
    let off: Vec<&String> = back.changes.iter().filter(|change| change.starts_with("Off: ")).collect();
    assert!(off.iter().any(|change| change.starts_with("Off: jet adapter J-2")), "{:?}", back.changes);
    assert!(off.iter().all(|change| !change.contains("J-1")), "{:?}", back.changes);
}

/// A tracheoscope has no side holes, also where it is only what one would reach for first.
#[test]
fn cautions_are_those_of_what_is_shown() {
    let mut house = House::adult();
    house.model(
        "tr",
        "tracheoscope",
        json!({"nominal": 8, "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9", "length_mm": 400}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    house.model("long", "telescope", json!({"shaft_diameter_mm": 4, "length_mm": 560}), json!([]));
    house.piece("TR-1", "tr");
    house.piece("T-5", "long");
    house.set("SET-1", &["TR-1", "H-1", "J-1", "T-5", "F-1", "S-1"]);
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    house.case("K-1", json!({"technique": "jet_open"}));
    let sheet = house.sheet("K-1");
    assert!(sheet.offers.is_empty() && sheet.chosen.is_none());
    assert!(sheet.obvious.as_ref().is_some_and(|it| it.fit.is_some()));
    assert!(sheet.cautions.iter().any(|caution| caution == NO_SIDE_HOLES), "{:?}", sheet.cautions);
}

/// The obvious choice takes the cap with as many holes as are needed; the spare ones are no doubt, and stay in the tray.
#[test]
fn the_obvious_choice_takes_the_cap_with_the_holes_that_are_needed() {
    let mut house = House::adult();
    house.model("long", "telescope", json!({"shaft_diameter_mm": 4, "length_mm": 560}), json!([]));
    house.piece("T-5", "long");
    house.set("SET-1", &["B-1", "H-1", "N-1", "T-5", "F-1", "S-1", "C-1", "C-2", "P-1", "P-2"]);
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    house.case("K-1", json!({"technique": "controlled_closed"}));
    let obvious = house.sheet("K-1").obvious.expect("why");
    assert!(!obvious.sentence.contains("holes") && !obvious.sentence.contains("P-2"), "{}", obvious.sentence);
    let fit = obvious.fit.expect("a fit");
    let there: Vec<&str> =
        fit.parts.iter().filter_map(|part| part.asset.as_ref()).map(|id| id.as_str()).collect();
    assert!(there.contains(&"C-2") && !there.contains(&"C-1"), "{there:?}");
    assert!(there.contains(&"P-1") && !there.contains(&"P-2"), "{there:?}");
}

/// Who opens a set for its other parts finds the held one in it.
#[test]
fn an_offer_names_what_else_lies_in_its_set_and_is_held() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "torn", "scan": "C-2"}));
    let sheet = house.sheet("K-1");
    let offer = sheet.offers.iter().find(|offer| offer.configuration.barrel.as_str() == "B-1");
    let offer = offer.expect("an offer");
    let told = &offer.beware[0];
    assert!(told.starts_with("SET-1 also holds C-2, on quality hold"), "{told}");
    assert!(told.ends_with("torn: do not use it.") && offer.sentence.ends_with(told), "{}", offer.sentence);
    let other = sheet.offers.iter().find(|offer| offer.configuration.barrel.as_str() == "B-2");
    assert!(other.is_some_and(|offer| offer.beware.is_empty()));
}

#[test]
fn openings_and_names_are_told_as_one_says_them() {
    let house = House::adult();
    let told = |fit: &fettle::domain::fit::Fit| -> String {
        fit.openings.iter().map(|opening| opening.sentence.clone()).collect::<Vec<_>>().join("\n")
    };
    let jet = told(&house.judge("jet_open", super::jet(&["T-1"])));
    assert!(jet.contains("jet adapter J-1 (jet attachment): gas comes in here (jet)."), "{jet}");
    let closed = told(&house.judge("controlled_closed", super::closed("C-2", &["T-1", "F-1"])));
    assert!(closed.contains("N-1 (anaesthesia connector): the breathing circuit joins here."), "{closed}");
    assert!(
        closed.contains("cap C-2 with 2 holes; ") && closed.contains("cap P-1, blank: closed"),
        "{closed}"
    );
    let id = |text: &str| Id::new(text).expect("an id");
    assert_eq!(named(Family::Cap, &id("cap-0535")), "cap-0535");
    assert_eq!(named(Family::Cap, &id("capsule")), "cap capsule");
    assert_eq!(named(Family::Telescope, &id("T-1")), "telescope T-1");
    assert_eq!([spare_mm(1.834), spare_mm(0.004), spare_mm(0.0)], ["1.83 mm", "0.004 mm", "0 mm"]);
}

/// What comes back with its set is said once for the set, to the minute; what lies ready is not among it.
#[test]
fn when_a_set_is_there_is_said_once() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    let first = house.sheet("K-1").offers[0].configuration.clone();
    house.done(Charge, json!({"do": "choose_configuration", "case": "K-1", "configuration": first}));
    for part in ["B-1", "T-1"] {
        house.done(Desk, json!({"do": "record_step", "step": "received", "scan": part}));
    }
    let state = &house.paper.state;
    let case = state.cases.get("K-1").expect("a case");
    let fit = house.sheet("K-1").chosen.expect("chosen").fit;
    let told = coming(state, &fit, Setting::of_case(state, case, house.now).needed());
    let [(places, sentence)] = told.as_slice() else { panic!("{told:?}") };
    assert_eq!(places.len(), 2, "{sentence}");
    let begins = "Set SET-1 (B-1, T-1) is received; by the site's turnaround of 240 minutes it is there on ";
    let rest = sentence.strip_prefix(begins).unwrap_or_else(|| panic!("{sentence}"));
    let clock = rest.strip_prefix("2 March 2026, ").and_then(|rest| rest.strip_suffix(", in time."));
    assert!(clock.is_some_and(|clock| clock.len() == 5), "no seconds: {rest}");
}

/// What lies in a set that is opened for the first barrel is taken for the second, before another set is opened for it.
#[test]
fn the_smaller_barrel_opens_no_set_that_it_does_not_need() {
    let mut house = House::adult();
    house.model(
        "b7",
        "bronchoscope",
        json!({"nominal": 7, "inner_diameter_mm": "7.2", "outer_diameter_mm": "7.9", "length_mm": 400}),
        json!([{"end": "head", "system": "lock A"}]),
    );
    for (asset, model) in [("B-7", "b7"), ("H-7", "head"), ("J-7", "jet")] {
        house.piece(asset, model);
    }
    for (n, model) in [("T", "t4"), ("F", "grip"), ("S", "suck")] {
        house.piece(&format!("{n}-0"), model);
        house.piece(&format!("{n}-2"), model);
    }
    house.set("SET-0", &["T-0", "F-0", "S-0"]);
    house.set("SET-1", &["B-1", "H-1", "J-1", "T-1", "F-1", "S-1", "T-2", "F-2", "S-2"]);
    house.set("SET-7", &["B-7", "H-7", "J-7"]);
    house.case("K-1", json!({"technique": "jet_open", "configuration": {"barrel_nominal": 8}}));
    let sheet = house.sheet("K-1");
    let open = |offer: &Offer| offer.open.iter().map(|set| set.to_string()).collect::<Vec<_>>();
    assert_eq!(open(&sheet.offers[0]), ["SET-1"], "{}", sheet.sentence);
    let smaller = sheet.smaller.offer.expect("a smaller one");
    assert_eq!(open(&smaller), ["SET-7", "SET-1"], "{}", sheet.smaller.sentence);
}

/// A barrel that nobody has is named where nothing can be offered.
#[test]
fn the_size_that_was_wished_for_is_named() {
    let mut house = House::three_sets();
    house.case(
        "K-1",
        json!({"technique": "jet_open", "configuration": {"barrel_nominal": 9, "barrel_family": "bronchoscope"}}),
    );
    let told = house.sheet("K-1").sentence;
    assert!(told.contains("no complete configuration with a bronchoscope labelled 9 fits"), "{told}");
}
