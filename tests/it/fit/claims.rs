//! One part, one promise: what is chosen for a case is not kept for another nor issued to it, and an emergency that takes
//! it all the same says whom it robs, at once and everywhere.

use fettle::domain::board::{BoardCase, Equipped};
use fettle::domain::event::{Event, What};
use fettle::domain::fit::Answer;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use serde_json::{Value, json};

use super::super::ward::late;
use super::{House, jet};

pub fn choose(case: &str, configuration: Value) -> Value {
    json!({"do": "choose_configuration", "case": case, "configuration": configuration})
}

fn promise(case: &str, set: &str) -> Value {
    json!({"do": "promise", "case": case, "set": set})
}

fn issue(case: &str, scan: &str) -> Value {
    json!({"do": "issue", "case": case, "scan": scan})
}

fn with(mut command: Value, code: &str) -> Value {
    command["override"] = json!({"code": code, "reason": "the first case is put off"});
    command
}

/// K-1 has chosen the instruments of SET-1, loose forceps among them; K-2 is an hour later, K-9 two days.
fn chosen() -> House {
    let mut house = House::three_sets();
    house.piece("F-9", "grip");
    house.case("K-1", json!({"technique": "jet_open", "needs": ["sheet"]}));
    house.case(
        "K-2",
        json!({"technique": "jet_open", "needs": ["sheet"], "start": "2026-03-03T12:00:00+01:00"}),
    );
    house.case("K-9", json!({"technique": "jet_open", "start": "2026-03-05T12:00:00+01:00"}));
    house.done(Clinician, choose("K-1", jet(&["T-1", "F-9", "S-1"])));
    house
}

pub fn on_board(house: &House, case: &str) -> BoardCase {
    let board = house.paper.state.board(house.now);
    board.cases.into_iter().find(|known| known.case.as_str() == case).expect("a case of today or tomorrow")
}

fn codes(event: &Event) -> Vec<&'static str> {
    event.beside.overridden.iter().flat_map(|it| &it.codes).map(|code| code.name()).collect()
}

#[test]
fn a_set_with_a_chosen_part_is_kept_for_no_other_case_at_that_time() {
    let mut house = chosen();
    let refusal = house.refused(Charge, promise("K-2", "SET-1"), "promised_elsewhere");
    let found = &refusal.first.found;
    assert!(found.contains("T-1") && found.contains("of set SET-1"), "{found}");
    assert!(found.contains("chosen for case K-1"), "{found}");
    house.done(Charge, promise("K-1", "SET-1"));
    house.done(Charge, promise("K-9", "SET-1"));
    house.done(Charge, promise("K-2", "SET-2"));
    // With time enough for reprocessing in between nothing stands against it.
    house.done(Charge, json!({"do": "withdraw_promise", "case": "K-1", "set": "SET-1"}));
    house.done(Admin, json!({"do": "set_policy", "turnaround_minutes": 30}));
    house.done(Charge, promise("K-2", "SET-1"));
}

#[test]
fn the_same_people_set_it_aside_as_any_promise() {
    let mut house = chosen();
    let event = house.done(Charge, with(promise("K-2", "SET-1"), "promised_elsewhere"));
    assert_eq!(codes(&event), ["promised_elsewhere"]);
    let board = on_board(&house, "K-1");
    assert_eq!(board.status, Equipped::NotReady);
    assert!(board.why[0].contains("SET-1, which is kept for case K-2"), "{:?}", board.why);
    // Kept for both: who has it by the older promise is robbed, and says so; the other is ready.
    house.done(Charge, with(promise("K-1", "SET-1"), "promised_elsewhere"));
    let robbed = on_board(&house, "K-2");
    assert_eq!(robbed.status, Equipped::NotReady);
    assert!(robbed.why.join(" ").contains("Set SET-1 is kept for case K-1"), "{:?}", robbed.why);
    let board = on_board(&house, "K-1");
    assert_eq!((board.status, board.why), (Equipped::Ready, Vec::new()));
    house.done(Desk, issue("K-1", "SET-1"));
}

#[test]
fn a_chosen_part_is_issued_to_no_other_case_at_that_time() {
    let mut house = chosen();
    let refusal = house.refused(Desk, issue("K-2", "SET-1"), "promised_elsewhere");
    assert!(refusal.first.found.contains("chosen for case K-1"), "{:?}", refusal.first);
    let refusal = house.refused(Charge, issue("K-2", "F-9"), "promised_elsewhere");
    assert!(refusal.first.found.starts_with("F-9 is chosen for case K-1"), "{:?}", refusal.first);
    house.done(Desk, issue("K-2", "SET-2"));
    let event = house.done(Lead, with(issue("K-2", "F-9"), "promised_elsewhere"));
    let What::Issued(it) = &event.what else { panic!("{event:?}") };
    assert_eq!((it.robs.len(), it.robs[0].case.as_str()), (1, "K-1"), "the entry names who loses by it");
    // The case itself takes what was chosen for it, and loses nothing.
    house.done(Desk, issue("K-1", "SET-1"));
    let lost = on_board(&house, "K-1").chosen_fails.expect("F-9 is gone").lost;
    assert_eq!(lost.iter().map(|it| it.asset.as_str()).collect::<Vec<_>>(), ["F-9"]);
}

#[test]
fn an_emergency_is_not_refused_and_says_whom_it_robs() {
    let mut house = chosen();
    let start = house.now.plus_minutes(30);
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "start": start}));
    let event = house.done(Clinician, json!({"do": "issue", "emergency": true, "scan": ["SET-1", "F-9"]}));
    let What::Issued(it) = &event.what else { panic!("{event:?}") };
    let robbed = it.robs.first().expect("K-1 is robbed");
    assert_eq!(robbed.case.as_str(), "K-1");
    assert!(robbed.sets.is_empty(), "no set was kept for it");
    let mut parts: Vec<&str> = robbed.parts.iter().map(|id| id.as_str()).collect();
    parts.sort_unstable();
    assert_eq!(parts, ["B-1", "F-9", "H-1", "J-1", "S-1", "T-1"]);
    // Its entry is found from the robbed case, and touches it not.
    let named = event.history(|_| false).into_iter().any(|thing| thing.kind == "case" && thing.name == "K-1");
    assert!(named && !event.things().iter().any(|thing| thing.name == "K-1"));
    // The board says so at once, with what is alike and ready.
    let board = on_board(&house, "K-1");
    assert_eq!(board.status, Equipped::NotReady);
    let fails = board.chosen_fails.expect("it fails");
    assert!(fails.brief.contains("is out at case emergency-"), "{}", fails.brief);
    assert!(board.why[0].contains("And 3 more."), "{:?}", board.why);
    let telescope = fails.lost.iter().find(|it| it.asset.as_str() == "T-1").expect("T-1");
    assert!(telescope.why.contains("T-1 is out at case emergency-"), "{}", telescope.why);
    assert_eq!(telescope.instead.as_ref().map(|id| id.as_str()), Some("T-2"), "{}", telescope.why);
    // What is alike comes out of one set, where one has it: H-7 and J-7 would open another.
    let instead: Vec<&str> =
        fails.lost.iter().filter_map(|it| it.instead.as_ref()).map(|id| id.as_str()).collect();
    assert_eq!(instead, ["B-2", "H-2", "J-2", "T-2", "F-2", "S-2"]);
    // And so does its sheet.
    let sheet = house.sheet("K-1");
    assert!(sheet.barred.iter().any(|it| it.sentence.contains("T-1 is out at case")), "{:?}", sheet.barred);
    // A set that was kept is named too.
    let mut house = chosen();
    house.done(Charge, promise("K-1", "SET-1"));
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "start": house.now.plus_minutes(30)}));
    let event = house.done(Clinician, json!({"do": "issue", "emergency": true, "scan": "SET-1"}));
    let What::Issued(it) = &event.what else { panic!("{event:?}") };
    assert_eq!(it.robs[0].sets.iter().map(|id| id.as_str()).collect::<Vec<_>>(), ["SET-1"]);
}

#[test]
fn a_case_that_moves_into_another_asks_for_its_parts() {
    let mut house = chosen();
    house.done(Clinician, choose("K-9", jet(&["T-1", "F-9"])));
    let moved = json!({"do": "change_case", "case": "K-9", "start": "2026-03-03T09:00:00+01:00"});
    house.refused(Charge, moved.clone(), "promised_elsewhere");
    house.done(Charge, with(moved, "promised_elsewhere"));
    // What was set aside once is not asked for with every other change; K-9 chose last.
    house.done(Charge, json!({"do": "change_case", "case": "K-9", "room": "2"}));
    house.done(Clinician, json!({"do": "change_case", "case": "K-9", "risk": "airborne"}));
    // Nor at its issue: who chose it last has it, and the entry says who loses it.
    let event = house.done(Charge, issue("K-9", "F-9"));
    let What::Issued(it) = &event.what else { panic!("{event:?}") };
    assert_eq!(it.robs[0].case.as_str(), "K-1");
    house.refused(Desk, issue("K-2", "SET-1"), "promised_elsewhere");
    let lost = on_board(&house, "K-1").chosen_fails.expect("it is robbed");
    assert!(lost.sentence.contains("chosen for case K-9 since"), "{}", lost.sentence);
    assert!(on_board(&house, "K-9").chosen_fails.is_none());
}

/// A set is kept for what is to come: a decision, which nobody tells late.
#[test]
fn a_promise_is_never_told_late() {
    let mut house = chosen();
    let at = "2026-03-02T05:00:00+01:00";
    house.refused(Charge, late(promise("K-2", "SET-1"), at), "promised_elsewhere");
    house.done(Charge, promise("K-2", "SET-2"));
    house.case("K-3", json!({"start": "2026-03-03T12:30:00+01:00"}));
    house.refused(Charge, late(promise("K-3", "SET-2"), at), "promised_elsewhere");
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-7"}));
    house.done(
        fettle::domain::person::Role::Biomed,
        json!({"do": "send_to_repair", "asset": "T-7", "reason": "dim", "decontaminated": true}),
    );
    house.refused(Charge, late(promise("K-3", "SET-7"), at), "in_repair");
    // Told late where nothing stands against it, it is taken: nobody is robbed by it.
    house.done(Charge, late(promise("K-1", "SET-1"), at));
    // An issue is a fact where it is told late, and stands as a deviation.
    let event = house.done(Charge, late(issue("K-2", "F-9"), "2026-03-02T06:01:55+01:00"));
    let codes: Vec<&str> = event.beside.deviation.iter().map(|code| code.name()).collect();
    assert!(codes.contains(&"promised_elsewhere"), "{codes:?}");
}

/// A board takes for a case the set that holds what was chosen for it, and none that holds what was chosen for another.
#[test]
fn the_board_counts_no_set_twice() {
    let mut house = House::three_sets();
    house.case("K-1", json!({"technique": "jet_open", "needs": ["sheet"]}));
    house.case("K-2", json!({"needs": ["sheet"], "start": "2026-03-03T09:30:00+01:00"}));
    let mut second = jet(&["T-2"]);
    second["barrel"] = json!("B-2");
    second["parts"] = super::parts(&["H-2", "J-2", "T-2"]);
    second["way_out"] = json!([{"part": "H-2", "end": "central"}]);
    house.done(Clinician, choose("K-1", jet(&["T-1"])));
    let sets = |house: &House, case: &str| -> Vec<String> {
        on_board(house, case).sets.iter().map(ToString::to_string).collect()
    };
    assert_eq!((sets(&house, "K-1"), sets(&house, "K-2")), (vec!["SET-1".into()], vec!["SET-2".into()]));
    house.done(Clinician, choose("K-1", second));
    assert_eq!((sets(&house, "K-1"), sets(&house, "K-2")), (vec!["SET-2".into()], vec!["SET-1".into()]));
}

/// Whoever sets a promise aside decides: the last choice has the part, everywhere, and what is out at a case is its own.
#[test]
fn the_last_choice_has_the_part() {
    let mut house = chosen();
    house.done(Charge, promise("K-1", "SET-1"));
    house.refused(Charge, choose("K-2", jet(&["T-1"])), "promised_elsewhere");
    house.done(Charge, with(choose("K-2", jet(&["T-1"])), "promised_elsewhere"));
    let rightful = on_board(&house, "K-2");
    assert_eq!((rightful.status, rightful.why), (Equipped::Ready, Vec::new()));
    assert_eq!(rightful.sets.iter().map(|id| id.as_str()).collect::<Vec<_>>(), ["SET-1"]);
    let robbed = on_board(&house, "K-1");
    assert_eq!(robbed.status, Equipped::NotReady);
    assert!(robbed.why.join(" ").contains("B-1 was chosen for case K-2 since"), "{:?}", robbed.why);
    house.refused(Desk, issue("K-1", "SET-1"), "promised_elsewhere");
    let event = house.done(Desk, issue("K-2", "SET-1"));
    let What::Issued(it) = &event.what else { panic!("{event:?}") };
    assert_eq!(it.robs[0].case.as_str(), "K-1");
    // It is there: another choice among it asks nobody.
    house.done(Charge, choose("K-2", jet(&["T-1", "S-1"])));
    assert!(on_board(&house, "K-2").chosen_fails.is_none());
}

/// In an emergency nobody looks for a set that is whole, nor for a cap that is not needed.
#[test]
fn an_emergency_is_told_what_to_take_where_a_set_lacks_something() {
    let mut house = House::adult();
    house.piece("T-2", "t4");
    let lines = json!([{"line": "telescope", "family": "telescope", "quantity": 1, "essential": true},
                       {"line": "cap blank", "family": "cap", "quantity": 1, "essential": true}]);
    house
        .done(Lead, json!({"do": "define_count_sheet", "count_sheet": "duo", "name": "Duo", "lines": lines}));
    let put = |set: &str, line: &str, asset: &str| json!({"do": "put_in_set", "set": set, "line": line, "asset": asset});
    for (set, telescope) in [("D-1", "T-1"), ("D-2", "T-2")] {
        house.done(Lead, json!({"do": "build_set", "set": set, "count_sheet": "duo", "name": set}));
        house.done(Lead, put(set, "telescope", telescope));
        house.done(Desk, json!({"do": "record_step", "step": "cleaned", "scan": telescope}));
    }
    let urgent = |scan: &str| json!({"do": "issue", "emergency": true, "scan": scan});
    let refusal = house.refused(Clinician, urgent("D-1"), "not_complete");
    assert_eq!(
        refusal.first.next,
        "No other set of its count sheet is ready: fill the line. Or scan only the parts of set D-1 that are needed: \
         they go without the rest."
    );
    house.done(Lead, put("D-2", "cap blank", "P-1"));
    house.done(Desk, json!({"do": "record_step", "step": "cleaned", "scan": "P-1"}));
    let refusal = house.refused(Clinician, urgent("D-1"), "not_complete");
    assert!(
        refusal.first.next.starts_with("Set D-2 of the same count sheet is ready: take that. Or"),
        "{refusal:?}"
    );
    house.done(Clinician, urgent("T-1"));
}

/// A set that is complete by count may hold the wrong mix: the board says so before anybody opens it.
#[test]
fn a_ready_set_that_holds_nothing_that_fits_is_not_called_ready() {
    let mut house = House::adult();
    house.model("t5", "telescope", json!({"shaft_diameter_mm": "5.5", "length_mm": 560}), json!([]));
    house.piece("T-5", "t5");
    house.set("SET-1", &["B-1", "H-1", "J-1", "T-5", "F-1", "S-1"]);
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    let wish = json!({"together": ["telescope", "suction_tube"]});
    house.case("K-1", json!({"technique": "jet_open", "needs": ["sheet"], "configuration": wish}));
    house.case(
        "K-2",
        json!({"technique": "jet_open", "needs": ["sheet"], "start": "2026-03-05T12:00:00+01:00"}),
    );
    let board = on_board(&house, "K-1");
    assert_eq!(board.status, Equipped::NotReady);
    assert!(
        board.why[0].starts_with("SET-1 by itself holds no complete configuration that fits"),
        "{:?}",
        board.why
    );
    let judged = house.paper.state.fits.judged();
    assert_eq!(on_board(&house, "K-1").why, board.why);
    assert_eq!(house.paper.state.fits.judged(), judged, "the same pieces are not looked at again");
    // Nor is the house searched once more for what changes none of its parts; a minute later it is.
    house
        .done(Charge, json!({"do": "send_request", "kind": "borrow", "case": "K-1", "count_sheet": "sheet"}));
    assert_eq!(on_board(&house, "K-1").why, board.why);
    assert_eq!(house.paper.state.fits.judged(), judged);
    house.now = house.now.plus_minutes(1);
    assert_eq!(on_board(&house, "K-1").why, board.why);
    assert_eq!(house.paper.state.fits.judged(), judged + 1);
    let mut forgetful = house.paper.state.clone();
    forgetful.fits = Default::default();
    assert_eq!(forgetful.board(house.now), house.paper.state.board(house.now));
    // With a telescope of the store one does.
    house.done(Lead, json!({"do": "lift_hold", "hold": "hold-0001", "reason": "clear again"}));
    house.piece("T-9", "t4");
    house.set("SET-9", &["T-9"]);
    house.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    let board = on_board(&house, "K-1");
    assert_eq!(board.status, Equipped::InTurn, "{:?}", board.why);
    assert!(board.why[0].contains("; with SET-1 and SET-9 one does."), "{:?}", board.why);
    // Put where it belongs, it is simply ready.
    house.done(Lead, json!({"do": "take_from_set", "set": "SET-9", "line": "telescope", "asset": "T-9"}));
    house.done(Lead, json!({"do": "put_in_set", "set": "SET-1", "line": "telescope", "asset": "T-9"}));
    house.done(Desk, json!({"do": "record_step", "step": "cleaned", "scan": "T-9"}));
    let board = on_board(&house, "K-1");
    assert_eq!((board.status, board.why), (Equipped::Ready, Vec::new()));
}

/// What a case asks for at once is looked at together, whatever the configuration says of it.
#[test]
fn in_turn_is_not_at_once() {
    let mut house = House::three_sets();
    let wish = json!({"together": ["telescope", "suction_tube"]});
    house.case("K-1", json!({"technique": "jet_open", "configuration": wish}));
    house.case("K-2", json!({"technique": "jet_open", "start": "2026-03-08T12:00:00+01:00"}));
    let mut it = jet(&["T-1", "S-1"]);
    it["together"] = json!([["T-1"], ["S-1"]]);
    house.refused(Charge, choose("K-1", it.clone()), "not_fitting");
    house.done(Charge, choose("K-2", it.clone()));
    let told = house.sheet("K-2").sentence;
    assert!(
        told.contains("In the lumen in turn, never at once: telescope T-1; or suction tube S-1."),
        "{told}"
    );
    it["together"] = json!([["T-1", "S-1"]]);
    house.done(Charge, choose("K-1", it));
    let told = house.sheet("K-1").sentence;
    assert!(told.contains("It fits with") && !told.contains("in turn"), "{told}");
    house.done(Charge, choose("K-1", jet(&["T-1"])));
    let told = house.sheet("K-1").sentence;
    assert!(told.contains("asks for suction tube, of which there is none here"), "{told}");
}

#[test]
fn what_is_gone_fits_nothing() {
    let mut house = House::three_sets();
    house.done(Charge, json!({"do": "report_missing", "scan": "T-1", "asset": "T-1"}));
    house.done(Biomed, json!({"do": "retire", "asset": "T-2", "cause": "damaged", "failure": true}));
    for (telescope, why) in [("T-1", "T-1 is missing"), ("T-2", "T-2 is retired")] {
        let fit = house.judge("jet_open", jet(&[telescope]));
        assert_eq!(fit.answer, Answer::DoesNotFit, "{}", fit.sentence);
        assert!(fit.sentence.contains(why), "{}", fit.sentence);
    }
}
