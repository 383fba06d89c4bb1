//! Whether a case still has what was chosen for it: every part, by name and with why; and that a verdict that is remembered
//! is never an old one.

use fettle::domain::board::Equipped;
use fettle::domain::fit_lost::chosen_fails;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use fettle::domain::state::State;
use serde_json::{Value, json};

use super::claims::{choose, on_board};
use super::{House, jet};

/// K-1 of tomorrow has chosen T-1, F-1 and S-1; T-2 lies beside T-1.
fn chosen() -> House {
    let mut house = House::adult();
    house.piece("T-2", "t4");
    house.case("K-1", json!({"technique": "jet_open"}));
    house.done(Clinician, choose("K-1", jet(&["T-1", "F-1", "S-1"])));
    assert_eq!(on_board(&house, "K-1").status, Equipped::Ready);
    house
}

fn sentence(house: &House) -> String {
    let case = on_board(house, "K-1");
    assert_eq!(case.status, Equipped::NotReady, "{:?}", case.why);
    case.why.first().cloned().unwrap_or_default()
}

fn redefined(limits: Value) -> Value {
    json!({"do": "define_model", "model": "t4", "family": "telescope", "name": "t4", "route": "quick",
           "dimensions": {"shaft_diameter_mm": 4, "length_mm": 436, "view_deg": 0}, "limits": limits})
}

#[test]
fn each_way_to_lose_a_part_is_named_with_what_is_alike() {
    let retire = json!({"do": "retire", "asset": "T-1", "cause": "damaged", "failure": true});
    let hold = json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"});
    let repair = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dim", "decontaminated": true});
    let missing = json!({"do": "report_missing", "scan": "T-1", "asset": "T-1"});
    for (role, command, words) in [
        (Biomed, retire, "T-1 is retired (damaged)."),
        (Desk, hold, "T-1 is on quality hold"),
        (Biomed, repair, "T-1 is in repair."),
        (Charge, missing, "T-1"),
    ] {
        let mut house = chosen();
        house.done(role, command.clone());
        let told = sentence(&house);
        assert!(told.starts_with("The chosen configuration lacks a part. T-1"), "{command}: {told}");
        assert!(told.contains(words), "{command}: {told}");
        assert!(told.ends_with("Alike and ready: T-2."), "{command}: {told}");
    }
}

/// A part whose limits leave nothing is no part for another case, whatever else is well with it.
#[test]
fn a_part_with_no_life_left_is_named() {
    let mut house = chosen();
    house.done(Biomed, redefined(json!({"max_uses": 0})));
    let told = sentence(&house);
    assert!(told.contains("T-1 has been used as often as its maker allows."), "{told}");
    assert!(!told.contains("T-2"), "it has no more life left than T-1: {told}");
    house.done(Biomed, redefined(json!({"max_cycles": 0})));
    assert!(sentence(&house).contains("T-1 has gone through as many cycles as its maker allows."));
    house.done(Biomed, redefined(json!({"max_cycles": 5})));
    assert_eq!(on_board(&house, "K-1").status, Equipped::Ready);
    // What is out at the case itself was had: nobody takes it out of a hand.
    house.done(
        Charge,
        json!({"do": "issue", "case": "K-1", "scan": ["B-1", "H-1", "J-1", "T-1", "F-1", "S-1"]}),
    );
    house.done(Biomed, redefined(json!({"max_cycles": 0})));
    assert!(on_board(&house, "K-1").chosen_fails.is_none());
}

/// Shelf life of a day, and a case on the third day from now: sterile today is not sterile then.
#[test]
fn a_part_that_will_be_past_its_date_is_named() {
    let mut house = House::adult();
    house.done(
        Admin,
        json!({"do": "define_route", "route": "sterile", "steps": [{"step": "packed"}, {"step": "sterilised"}]}),
    );
    house.done(
        Admin,
        json!({"do": "define_machine", "machine": "st", "kind": "steriliser", "programmes":
            [{"programme": "p", "method": "steam", "band_c": 134, "hold_s": 180, "chemical": "none"}]}),
    );
    let telescope = json!({"do": "define_model", "model": "t9", "family": "telescope", "name": "t9", "route": "sterile",
        "dimensions": {"shaft_diameter_mm": 4, "length_mm": 436}, "limits": {"shelf_life_days": 1},
        "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    house.done(Biomed, telescope);
    house.done(Lead, json!({"do": "add_asset", "asset": "T-9", "model": "t9"}));
    house.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "T-9"}));
    house.done(
        Desk,
        json!({"do": "start_load", "load": "L-1", "machine": "st", "programme": "p", "scan": "T-9"}),
    );
    let record = super::super::served::steam_record(200);
    house.done(Desk, json!({"do": "judge_load", "load": "L-1", "record": record}));
    house.done(Lead, json!({"do": "release_load", "load": "L-1", "dry": true}));
    house.now = super::time("2026-03-03T06:00:00+01:00");
    house.case("K-1", json!({"technique": "jet_open", "start": "2026-03-03T20:00:00+01:00"}));
    house.done(Clinician, choose("K-1", jet(&["T-9"])));
    assert_eq!(on_board(&house, "K-1").status, Equipped::Ready, "{:?}", on_board(&house, "K-1"));
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "start": "2026-03-04T10:00:00+01:00"}));
    let told = sentence(&house);
    assert!(told.contains("T-9 is sterile until 3 March 2026, and the case is on 4 March 2026."), "{told}");
    assert!(!told.contains("Alike"), "{told}");
}

/// What is on its way makes the case wait; what is in a set that the case takes is told by its set.
#[test]
fn what_is_on_its_way_is_waited_for() {
    let mut house = chosen();
    house.done(Desk, json!({"do": "record_step", "step": "received", "scan": "F-1"}));
    let case = on_board(&house, "K-1");
    assert_eq!(case.status, Equipped::InTurn);
    assert_eq!(case.why, ["The chosen configuration is not all ready. F-1 is received."]);
    house.clean("F-1");
    assert_eq!(on_board(&house, "K-1").status, Equipped::Ready);
}

/// A part that another case has chosen stands in for nothing without that being said.
#[test]
fn a_replacement_that_is_chosen_for_another_case_says_so() {
    let mut house = chosen();
    house.piece("B-3", "b8");
    house.piece("H-3", "head");
    house.piece("J-3", "jet");
    house.case("K-2", json!({"technique": "jet_open", "start": "2026-03-03T11:00:00+01:00"}));
    let other = json!({"barrel": "B-3", "parts": super::parts(&["H-3", "J-3", "T-2"]),
                       "way_out": [{"part": "H-3", "end": "central"}]});
    house.done(Clinician, choose("K-2", other));
    let hold = json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"});
    house.done(Desk, hold);
    assert!(!sentence(&house).contains("Alike"), "T-2 is K-2's: {}", sentence(&house));
    let state = &house.paper.state;
    let (case, old) = (state.cases.get("K-1").expect("a case"), state.assets.get("T-1").expect("a part"));
    let instead = fettle::domain::replacement::replacements(state, case, old, house.now);
    let kept: Vec<_> =
        instead.iter().map(|it| (it.asset.as_str(), it.kept_for.as_ref().map(|id| id.as_str()))).collect();
    assert_eq!(kept, [("T-2", Some("K-2"))]);
}

/// The same state with nothing remembered.
fn forgetful(state: &State) -> State {
    let mut state = state.clone();
    state.fits = Default::default();
    state
}

/// What the board says with its memory and without one.
fn agree(house: &House) -> bool {
    let state = &house.paper.state;
    let case = state.cases.get("K-1").expect("a case");
    let known = chosen_fails(state, case, house.now);
    let fresh = forgetful(state);
    assert_eq!(known, chosen_fails(&fresh, case, house.now));
    known.is_none()
}

#[test]
fn a_remembered_verdict_is_never_an_old_one() {
    let mut house = chosen();
    assert!(agree(&house));
    let judged = house.paper.state.fits.judged();
    for _ in 0..5 {
        on_board(&house, "K-1");
    }
    house.done(Desk, json!({"do": "record_step", "step": "received", "scan": "C-1"}));
    on_board(&house, "K-1");
    assert_eq!(house.paper.state.fits.judged(), judged, "a board judges nothing that did not change");
    // Each of these makes it fail, or fit again: measured, tried, defined anew, another policy, another technique.
    let wide = |mm: &str| json!({"do": "measure_asset", "asset": "F-1", "dimensions": {"max_width_mm": mm}});
    let lock = |system: &str| {
        json!({"do": "define_model", "model": "b8", "family": "bronchoscope", "name": "b8", "route": "quick",
            "dimensions": {"nominal": 8, "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9", "length_mm": 400},
            "couplings": [{"end": "head", "system": system}]})
    };
    let tried = |fits: bool| json!({"do": "confirm_fit", "parts": ["B-1", "H-1"], "fits": fits});
    let technique = |it: &str| json!({"do": "change_case", "case": "K-1", "technique": it});
    let steps = [
        (Desk, wide("9"), false),
        (Desk, wide("3"), true),
        (Biomed, lock("lock Z"), false),
        (Desk, tried(true), true),
        (Desk, tried(false), false),
        (Desk, tried(true), true),
        (Biomed, lock("lock A"), true),
        (Admin, json!({"do": "set_policy", "clearance_mm": "2.5"}), false),
        (Admin, json!({"do": "set_policy", "clearance_mm": "0"}), true),
        (Admin, json!({"do": "set_policy", "telescope_window_mm": ["-1", "1"]}), false),
        (Admin, json!({"do": "set_policy", "telescope_window_mm": ["5", "15"]}), true),
        (Clinician, technique("controlled_closed"), false),
        (Clinician, technique("jet_open"), true),
    ];
    for (role, command, fits) in steps {
        house.done(role, command.clone());
        assert_eq!(agree(&house), fits, "{command}: {:?}", on_board(&house, "K-1").why);
    }
    // Another choice for the same case, and a copy of the state that goes another way.
    let mut other = House {
        paper: fettle::domain::simulate::ledger::Paper::on(house.paper.state.clone()),
        now: house.now,
    };
    other.done(Clinician, choose("K-1", jet(&["T-1"])));
    other.done(Desk, wide("9"));
    assert!(agree(&other) && agree(&house), "F-1 is no part of the other choice");
    house.done(Desk, wide("9"));
    assert!(!agree(&house) && agree(&other) && !agree(&house));
}
