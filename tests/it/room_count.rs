//! Counts around a case, in and out: what is not back is loud until an outcome is named.
//!
//! Instrument and sponge counts at sign-out: WHO surgical safety checklist (2009, from memory).

use fettle::domain::command::Command;
use fettle::domain::deciding::Turned;
use fettle::domain::event::What;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk};
use fettle::domain::simulate::Given;
use fettle::domain::state::Stage;
use serde_json::{Value, json};

use super::room::{at_the_table, case, check, close, count, deviation, failed_on, malformed, missing, room};
use super::ward::{Ward, late};

#[test]
fn one_cap_short_is_loud_until_an_outcome_is_named() {
    let mut ward = at_the_table();
    ward.done(
        Clinician,
        count(json!({"others": [{"line": "swabs", "in": 5}, {"line": "throat pack", "in": 1}]})),
    );
    assert_eq!(case(&ward).counts.len(), 1);
    let others = json!([{"line": "swabs", "out": 4}, {"line": "throat pack", "out": 1}]);
    ward.done(Charge, close(json!({"counted": ["T-1", "C-1", "F-1"], "others": others})));
    assert!(missing(&ward, "C-2"), "what is out and was not scanned is not back");
    let board = ward.paper.state.board(ward.now);
    assert_eq!((board.not_accounted_for.len(), board.lines_not_back.len()), (1, 1));
    assert!(board.not_accounted_for[0].loud && board.lines_not_back[0].loud);
    let lacks = &board.lines_not_back[0];
    assert_eq!((lacks.line.as_str(), lacks.lacks), ("swabs", 1));
    // Scanned anywhere, it says since which case.
    let refused =
        ward.refused(Desk, json!({"do": "record_step", "step": "received", "scan": "C-2"}), "missing");
    assert!(refused.first.found.contains("C-2 is missing since case K-1"), "{:?}", refused.first);
    assert!(refused.first.found.contains("possible retained item"), "{:?}", refused.first);
    ward.refused(Charge, close(json!({})), "already_done");
    let outcome = |asset: &str, outcome: &str| json!({"do": "close_missing", "asset": asset, "outcome": outcome, "person": "charge"});
    ward.done(Charge, outcome("C-2", "imaging_done"));
    let line = |outcome: &str| json!({"do": "close_missing", "case": "K-1", "line": "swabs", "outcome": outcome, "person": "charge"});
    ward.done(Charge, line("imaging_done"));
    ward.refused(Charge, line("imaging_done"), "already_done");
    let board = ward.paper.state.board(ward.now);
    assert!(
        !board.not_accounted_for[0].loud && !board.lines_not_back[0].loud,
        "named, and still on the list"
    );
    let refused =
        ward.refused(Desk, json!({"do": "record_step", "step": "received", "scan": "C-2"}), "missing");
    assert!(refused.first.found.contains("Outcome of the search: imaging done."), "{:?}", refused.first);
    ward.done(Charge, line("found"));
    ward.done(Desk, json!({"do": "found", "scan": "C-2", "location": "linen"}));
    let board = ward.paper.state.board(ward.now);
    assert!(board.not_accounted_for.is_empty() && board.lines_not_back.is_empty());
    assert_eq!(ward.paper.state.assets.get("C-2").expect("it").stage, Stage::Soiled);
}

#[test]
fn a_line_counted_in_and_never_out_is_not_accounted_for() {
    let mut ward = at_the_table();
    ward.done(Clinician, count(json!({"others": [{"line": "throat pack", "in": 1}]})));
    ward.done(Charge, close(json!({})));
    let board = ward.paper.state.board(ward.now);
    assert_eq!(board.lines_not_back.iter().map(|it| it.lacks).collect::<Vec<_>>(), [1]);
    let line = json!({"do": "close_missing", "case": "K-1", "line": "throat pack", "outcome": "discarded_seen", "person": "charge"});
    ward.done(Charge, line);
    assert!(
        ward.paper.state.board(ward.now).lines_not_back.is_empty(),
        "seen in the bin, it is accounted for"
    );
    // Counted again under a correction, the closing count takes its lines along.
    let more_out = json!([{"line": "swabs", "in": 4, "out": 5}]);
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"others": more_out})));
    assert!(case(&ward).others.iter().any(|it| it.more_out() && it.lacks() == 0));
}

#[test]
fn a_missing_piece_is_looked_for_as_a_part_is() {
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"broken": ["F-1"]})));
    let state = &ward.paper.state;
    assert!(
        !state.assets.get("F-1").expect("it").missing
            && !state.assets.get("F-1").expect("it").holds.is_empty()
    );
    let board = state.board(ward.now);
    assert!(board.not_accounted_for[0].loud && board.not_accounted_for[0].piece);
    // The broken forceps may leave the house; the piece of it is looked for still.
    ward.done(Biomed, json!({"do": "retire", "asset": "F-1", "cause": "damaged", "failure": true}));
    assert!(ward.paper.state.board(ward.now).not_accounted_for[0].loud);
    let outcome = |outcome: &str| json!({"do": "close_missing", "asset": "F-1", "outcome": outcome, "person": "charge"});
    ward.done(Charge, outcome("imaging_done"));
    assert!(
        ward.paper.state.board(ward.now).not_accounted_for.is_empty(),
        "retired, and an outcome is named"
    );
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"broken": ["F-1"]})));
    ward.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "F-1"}));
    ward.done(Desk, json!({"do": "found", "scan": "F-1"}));
    assert!(!missing(&ward, "F-1"));
    assert!(
        ward.paper.state.board(ward.now).not_accounted_for[0].piece,
        "the part is here, its piece is not"
    );
    let event = ward.done(Charge, outcome("found"));
    assert!(matches!(&event.what, What::MissingClosed(it) if it.moved.is_none()));
    ward.refused(Charge, outcome("found"), "already_done");
}

#[test]
fn what_is_not_in_the_pack_did_not_stay_at_this_case() {
    let mut ward = at_the_table();
    ward.done(Clinician, count(json!({"missing": ["C-2"]})));
    assert!(missing(&ward, "C-2"));
    let known = ward.paper.state.missing.get("C-2").expect("it");
    assert_eq!(
        known.case.as_ref().map(ToString::to_string).as_deref(),
        Some("K-1"),
        "its pack was opened before"
    );
    let lacked = fettle::domain::id::Id::new("C-2").expect("an id");
    assert!(!case(&ward).parts.get(&lacked).expect("it").out, "the closing count does not ask for it");
    ward.done(Charge, close(json!({})));
    assert_eq!(case(&ward).counts.iter().map(|it| it.lacked.len()).collect::<Vec<_>>(), [1, 0]);
    // Counted before anything was opened, and never at a case before, it belongs to no case.
    let mut ward = room();
    ward.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"}));
    let event = ward.done(Clinician, count(json!({"counted": ["T-1", "C-1", "F-1"]})));
    let What::Counted(it) = &event.what else { panic!("{event:?}") };
    assert_eq!((it.counted.len(), it.lacked.len(), it.lacked[0].case.is_none()), (3, 1, true));
}

#[test]
fn a_part_that_lacks_at_receipt_may_have_stayed_at_its_last_case() {
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({})));
    ward.done(Desk, json!({"do": "record_step", "step": "received", "scan": "SET-1"}));
    let receipt = json!({"do": "record_count", "moment": "receipt", "set": "SET-1", "counted": ["T-1", "C-1", "F-1", "T-2"]});
    let event = ward.done(Desk, receipt.clone());
    assert_eq!(deviation(&event), ["out_of_order"], "a part of another set lay in it");
    let What::Counted(it) = &event.what else { panic!("{event:?}") };
    assert_eq!(it.extra.iter().map(ToString::to_string).collect::<Vec<_>>(), ["T-2"]);
    let known = ward.paper.state.missing.get("C-2").expect("it");
    assert_eq!(known.case.as_ref().map(ToString::to_string).as_deref(), Some("K-1"));
    // Reported by itself it leads to the same case.
    ward.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1"}));
    let known = ward.paper.state.missing.get("C-1").expect("it");
    assert_eq!(known.case.as_ref().map(ToString::to_string).as_deref(), Some("K-1"));
    let packing =
        json!({"do": "record_count", "moment": "packing", "set": "SET-1", "counted": ["T-1", "C-2"]});
    let refused = ward.refused(Desk, packing, "missing");
    assert!(refused.first.found.contains("possible retained item"), "{:?}", refused.first);
}

/// A piece that is seen to lack at the sink may have stayed where the part was used: the banner stands at that case.
#[test]
fn a_piece_that_lacks_at_receipt_may_have_stayed_at_its_last_case() {
    for moment in ["receipt", "packing"] {
        let mut ward = at_the_table();
        ward.done(Charge, close(json!({})));
        ward.done(Desk, json!({"do": "record_step", "step": "received", "scan": "SET-1"}));
        let count = json!({"do": "record_count", "moment": moment, "set": "SET-1", "broken": ["F-1"]});
        let event = ward.done(Desk, count);
        let What::Counted(it) = &event.what else { panic!("{event:?}") };
        assert_eq!(it.pieces.len(), 1, "{it:?}");
        let known = ward.paper.state.missing.get("F-1").expect("it");
        let case = known.case.as_ref().map(ToString::to_string);
        assert_eq!((case.as_deref(), known.piece, known.outcome), (Some("K-1"), true, None));
        assert_eq!(loud(&ward).0, ["F-1"]);
        ward.done(Charge, outcome("F-1", "imaging_done"));
        // A part that was at no case carries none.
        let mut ward = room();
        let event = ward
            .done(Desk, json!({"do": "record_count", "moment": moment, "set": "SET-1", "broken": ["F-1"]}));
        let What::Counted(it) = &event.what else { panic!("{event:?}") };
        assert!(it.pieces.is_empty(), "{it:?}");
        assert!(ward.paper.state.missing.get("F-1").expect("it").case.is_none());
    }
}

#[test]
fn bad_input_gets_a_clear_sentence() {
    let many: Vec<Value> = (0..101).map(|n| json!({"line": format!("l{n}"), "result": "passed"})).collect();
    let told = |lines: Value| json!({"do": "record_check", "case": "K-1", "lines": lines});
    malformed(told(json!(many)), "/lines", "found 101 lines; at most 100 are needed");
    let twice = json!([{"line": "camera", "result": "passed"}, {"line": "camera", "result": "failed"}]);
    malformed(told(twice), "/lines/1/line", "found \"camera\" a second time");
    malformed(told(json!([])), "/line", "a line with its result");
    malformed(json!({"do": "record_check", "case": "K-1", "line": "camera"}), "/result", "missing");
    let well =
        json!({"do": "record_check", "case": "K-1", "line": "camera", "result": "passed", "what": "torn"});
    malformed(well, "/what", "did not fail");
    malformed(count(json!({"set": "SET-1"})), "/set", "the case is counted");
    malformed(count(json!({"moment": "closing"})), "/moment", "close_count");
    malformed(json!({"do": "record_count", "moment": "packing", "case": "K-1"}), "/set", "a set is counted");
    let swabs = json!([{"line": "swabs", "in": 5}, {"line": "swabs", "in": 6}]);
    malformed(count(json!({"others": swabs})), "/others/1/line", "a second time");
    malformed(close(json!({"others": [{"line": "swabs", "out": 1_000}]})), "/others/0/out", "0 to 999");
    let both = json!({"do": "close_missing", "asset": "C-1", "case": "K-1", "line": "swabs", "outcome": "found", "person": "p"});
    malformed(both, "/asset", "one of them is needed");
    let hundred: Vec<String> = (0..101).map(|n| format!("line {n}")).collect();
    malformed(json!({"do": "set_policy", "check_lines": hundred}), "/check_lines", "at most 100");
    let mut ward = at_the_table();
    let names: Vec<String> = (0..100).map(|n| format!("l{n}")).collect();
    ward.done(Admin, json!({"do": "set_policy", "check_lines": names}));
    let all: Vec<Value> = (0..100).map(|n| json!({"line": format!("l{n}"), "result": "passed"})).collect();
    ward.done(Clinician, told(json!(all)));
    ward.refused(Clinician, failed_on("image", "T-9"), "unknown_thing");
    ward.refused(Clinician, failed_on("image", "SET-1"), "unknown_thing");
    ward.refused(Charge, json!({"do": "record_count", "moment": "receipt", "set": "SET-9"}), "unknown_thing");
    ward.done(Charge, close(json!({"missing": ["C-1"]})));
    let refused = ward.refused(Clinician, count(json!({})), "already_done");
    assert!(refused.first.found.contains("its count is closed"), "{:?}", refused.first);
    let event = ward.done(Clinician, check("camera", "passed"));
    assert_eq!(deviation(&event), ["out_of_order"], "told after the case, it is a fact all the same");
    ward.refused(Charge, json!({"do": "withdraw_finding", "finding": "finding-0009"}), "unknown_thing");
}

fn loud(ward: &Ward) -> (Vec<String>, Vec<u32>) {
    let board = ward.paper.state.board(ward.now);
    let parts = board.not_accounted_for.iter().filter(|it| it.loud).map(|it| it.asset.to_string());
    let lines = board.lines_not_back.iter().filter(|it| it.loud).map(|it| it.lacks);
    (parts.collect(), lines.collect())
}

fn outcome(asset: &str, outcome: &str) -> Value {
    json!({"do": "close_missing", "asset": asset, "outcome": outcome, "person": "charge"})
}

#[test]
fn a_lost_part_is_loud_until_an_outcome_is_named() {
    let lost = json!({"do": "retire", "asset": "C-2", "cause": "lost", "failure": false});
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"missing": ["C-2"]})));
    ward.done(Biomed, lost.clone());
    assert_eq!(loud(&ward).0, ["C-2"], "nobody has said what became of it");
    ward.done(Charge, outcome("C-2", "imaging_done"));
    assert!(ward.paper.state.board(ward.now).not_accounted_for.is_empty() && !missing(&ward, "C-2"));
    // The other way round it is over with the retirement.
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"missing": ["C-2"]})));
    ward.done(Charge, outcome("C-2", "not_found"));
    ward.done(Biomed, lost.clone());
    assert!(ward.paper.state.board(ward.now).not_accounted_for.is_empty());
    // What was missed at no case was never beside a patient.
    let mut ward = room();
    ward.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-2"}));
    ward.done(Biomed, lost);
    assert!(ward.paper.state.board(ward.now).not_accounted_for.is_empty());
}

#[test]
fn a_count_told_after_closing_makes_nothing_good() {
    let swabs = |more: Value| count(json!({"others": [more]}));
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"others": [{"line": "swabs", "in": 5, "out": 4}]})));
    assert_eq!(loud(&ward).1, [1]);
    let event = ward.done(Clinician, swabs(json!({"line": "swabs", "in": 4})));
    assert_eq!(deviation(&event), ["out_of_order"]);
    assert_eq!(loud(&ward).1, [1], "the closed line stays as it was counted");
    assert_eq!(case(&ward).counts.last().expect("it").others.len(), 1, "and what was told is kept");
    let line = json!({"do": "close_missing", "case": "K-1", "line": "swabs", "outcome": "found", "person": "charge"});
    ward.done(Charge, line);
    assert!(loud(&ward).1.is_empty());
    ward.done(Clinician, swabs(json!({"line": "swabs", "in": 6})));
    assert_eq!(loud(&ward).1, [2], "more is lacking than the outcome was named for");
    ward.done(Clinician, swabs(json!({"line": "throat pack", "in": 1})));
    assert_eq!(loud(&ward).1, [2, 1], "a line first told after the closing came in and not out");
}

#[test]
fn a_case_with_swabs_in_is_not_cancelled() {
    let mut ward = room();
    ward.done(Clinician, count(json!({"others": [{"line": "swabs", "in": 5}]})));
    let cancel = json!({"do": "cancel_case", "case": "K-1", "reason": "put off"});
    let refused = ward.refused(Charge, cancel.clone(), "count_open");
    assert!(refused.first.found.contains("swabs"), "{:?}", refused.first);
    ward.refused(Charge, late(cancel.clone(), "2026-03-02T09:00:00+01:00"), "count_open");
    ward.done(Charge, close(json!({"others": [{"line": "swabs", "out": 4}]})));
    assert_eq!(loud(&ward).1, [1]);
    ward.refused(Charge, late(cancel, "2026-03-02T09:00:00+01:00"), "out_of_order");
}

#[test]
fn what_a_count_of_before_the_opening_misses_is_looked_for() {
    let mut ward = at_the_table();
    let told = close(json!({"missing": ["C-2"], "broken": ["F-1"]}));
    let event = ward.done(Charge, late(told, "2026-03-02T09:00:00+01:00"));
    assert_eq!(deviation(&event), ["count_open"]);
    assert!(missing(&ward, "C-2") && !missing(&ward, "F-1"));
    assert_eq!(loud(&ward).0, ["C-2", "F-1"]);
    let known = ward.paper.state.missing.get("C-2").expect("it");
    assert_eq!(known.case.as_ref().map(ToString::to_string).as_deref(), Some("K-1"));
    assert_eq!(ward.paper.state.assets.get("F-1").expect("it").holds.len(), 1);
}

#[test]
fn a_piece_told_again_is_the_same_piece() {
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"broken": ["F-1"]})));
    ward.done(Charge, outcome("F-1", "imaging_done"));
    ward.done(Desk, json!({"do": "record_count", "moment": "receipt", "set": "SET-1", "broken": ["F-1"]}));
    let known = ward.paper.state.missing.get("F-1").expect("it");
    assert_eq!(known.case.as_ref().map(ToString::to_string).as_deref(), Some("K-1"));
    assert!(known.outcome.is_some() && known.piece, "{known:?}");
    assert_eq!(ward.paper.state.assets.get("F-1").expect("it").holds.len(), 1, "no second hold");
    // An outcome that is named for the part says nothing of its piece.
    let mut ward = at_the_table();
    ward.done(Charge, close(json!({"broken": ["F-1"]})));
    ward.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "F-1"}));
    ward.done(Charge, outcome("F-1", "imaging_done"));
    ward.done(Desk, json!({"do": "found", "scan": "F-1"}));
    assert_eq!(loud(&ward).0, ["F-1"]);
}

#[test]
fn a_part_is_missing_or_there_with_a_piece_missing() {
    let mut ward = at_the_table();
    let command =
        Command::read(close(json!({"missing": ["C-2"], "broken": ["F-1", "C-2"]}))).expect("a command");
    match ward.paper.take(&Given { now: ward.now, role: Charge, command }) {
        Err(Turned::Malformed(all)) => assert_eq!(all[0].pointer, "/broken/1", "{all:?}"),
        other => panic!("{other:?}"),
    }
    assert!(!missing(&ward, "C-2"));
}

#[test]
fn a_case_that_was_cancelled_has_no_count_to_close() {
    let mut ward = room();
    ward.done(Charge, json!({"do": "cancel_case", "case": "K-1", "reason": "put off"}));
    let refused = ward.refused(Charge, close(json!({"unopened": ["SET-1"]})), "already_done");
    assert!(refused.first.found.contains("cancelled"), "{:?}", refused.first);
    assert!(!case(&ward).closed);
}

#[test]
fn somebody_is_named_beside_an_outcome() {
    for blank in ["  ", "\u{200b}\u{2060}", "\u{feff}"] {
        let told = json!({"do": "close_missing", "asset": "C-2", "outcome": "not_found", "person": blank});
        malformed(told, "/person", "blank");
    }
}
