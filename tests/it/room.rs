//! The instrument in the room: its function check, the counts around the case, and the defects told there.
//!
//! The sign-out of the WHO surgical safety checklist (2009, from memory) asks whether instrument, sponge and needle
//! counts are correct and whether there are equipment problems to be addressed. In 41 observed paediatric airway
//! endoscopies the equipment was ready in 76 % and had been checked in 78 % (Arch Otolaryngol Head Neck Surg
//! 2012;138:624): what is not told here as checked, the board calls not checked.

use fettle::domain::check::{CheckState, lines};
use fettle::domain::event::{Event, What};
use fettle::domain::finding_words::{self, Fate};
use fettle::domain::model::Family;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use fettle::domain::replacement::replacements;
use fettle::domain::state::Stage;
use fettle::domain::{Command, case::Case};
use serde_json::{Value, json};

use super::ward::{Ward, model, release};

const MINUTE: i64 = 1;

/// A set with a telescope, two caps and forceps at case K-1; a second telescope of the model lies ready by itself, a
/// third of another model too.
pub fn room() -> Ward {
    let mut ward = Ward::open();
    for (name, family) in
        [("scope", "telescope"), ("other-scope", "telescope"), ("cap", "cap"), ("jaw", "forceps")]
    {
        ward.done(Biomed, model(name, json!({"family": family})));
    }
    let line = |line: &str, family: &str, quantity: u32| json!({"line": line, "family": family, "quantity": quantity, "essential": true});
    let all = [line("scope", "telescope", 1), line("caps", "cap", 2), line("jaws", "forceps", 1)];
    ward.done(
        Lead,
        json!({"do": "define_count_sheet", "count_sheet": "rigid", "name": "Rigid", "lines": all}),
    );
    ward.done(Lead, json!({"do": "build_set", "set": "SET-1", "count_sheet": "rigid", "name": "One"}));
    for (asset, model, line) in [
        ("T-1", "scope", "scope"),
        ("C-1", "cap", "caps"),
        ("C-2", "cap", "caps"),
        ("F-1", "jaw", "jaws"),
        ("T-2", "scope", ""),
        ("T-3", "other-scope", ""),
    ] {
        ward.done(Lead, json!({"do": "add_asset", "asset": asset, "model": model}));
        if !line.is_empty() {
            ward.done(Lead, json!({"do": "put_in_set", "set": "SET-1", "line": line, "asset": asset}));
        }
    }
    for (load, scan) in [("L-1", "SET-1"), ("L-2", "T-2"), ("L-3", "T-3")] {
        ward.done(Desk, json!({"do": "record_step", "step": "packed", "scan": scan}));
        ward.passed(load, "plain", scan);
        ward.done(Lead, release(load));
    }
    ward.done(Lead, json!({"do": "put_away", "scan": "T-2", "location": "bay 3"}));
    let start = ward.now.plus_minutes(60);
    ward.done(
        Charge,
        json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 60, "needs": ["rigid"]}),
    );
    ward
}

fn at_the_table() -> Ward {
    let mut ward = room();
    ward.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"}));
    ward.done(Clinician, json!({"do": "open", "case": "K-1", "scan": "SET-1"}));
    ward
}

fn case(ward: &Ward) -> &Case {
    ward.paper.state.cases.get("K-1").expect("a case")
}

fn check(line: &str, result: &str) -> Value {
    json!({"do": "record_check", "case": "K-1", "line": line, "result": result})
}

fn failed_on(line: &str, asset: &str) -> Value {
    json!({"do": "record_check", "case": "K-1", "line": line, "result": "failed", "asset": asset})
}

fn count(more: Value) -> Value {
    let mut all = json!({"do": "record_count", "moment": "opening", "case": "K-1"});
    for (field, value) in more.as_object().expect("an object") {
        all[field.as_str()] = value.clone();
    }
    all
}

fn close(more: Value) -> Value {
    let mut all = json!({"do": "close_count", "case": "K-1"});
    for (field, value) in more.as_object().expect("an object") {
        all[field.as_str()] = value.clone();
    }
    all
}

fn board_says(ward: &Ward) -> String {
    let board = ward.paper.state.board(ward.now);
    board.cases.iter().flat_map(|case| case.why.clone()).collect::<Vec<_>>().join(" ")
}

fn missing(ward: &Ward, asset: &str) -> bool {
    ward.paper.state.assets.get(asset).expect("a part").missing
}

fn deviation(event: &Event) -> Vec<&'static str> {
    event.beside.deviation.iter().map(|code| code.name()).collect()
}

fn malformed(command: Value, pointer: &str, words: &str) {
    let wrong = Command::read(command.clone()).expect_err("a command that is wrong");
    let first = wrong.first().expect("a reason");
    assert!(first.pointer == pointer && first.detail.contains(words), "{command}: {first:?}");
}

#[test]
fn the_lines_follow_from_the_families_at_the_case() {
    let mut ward = room();
    let names = |ward: &Ward| -> Vec<String> {
        lines(&ward.paper.state, case(ward)).into_iter().map(|line| line.line).collect()
    };
    let of_these = ["camera", "light", "white balance", "focus", "image", "jaws", "caps whole", "suction"];
    assert_eq!(names(&ward), of_these, "before the set is kept, its count sheet says which families come");
    assert_eq!(CheckState::due(&ward.paper.state, case(&ward)), None, "nothing is in the room yet");
    ward.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"}));
    assert_eq!(names(&ward), of_these);
    assert!(board_says(&ward).contains("The function check is not recorded."), "{}", board_says(&ward));
    let own = json!({"do": "set_policy", "check_lines": ["foot switch", " camera", "foot switch"]});
    ward.done(Admin, own);
    assert_eq!(names(&ward).last().map(String::as_str), Some("foot switch"));
    assert_eq!(names(&ward).len(), 9, "a line that is asked already is not asked twice");
    let caps = lines(&ward.paper.state, case(&ward)).into_iter().find(|line| line.line == "caps whole");
    let caps: Vec<String> = caps.expect("caps").parts.iter().map(ToString::to_string).collect();
    assert_eq!(caps, ["C-1", "C-2"]);
}

#[test]
fn a_line_told_again_stands_and_both_are_kept() {
    let mut ward = at_the_table();
    for line in ["camera", "light", "white balance", "focus", "jaws", "caps whole"] {
        ward.done(Clinician, check(line, "passed"));
    }
    ward.done(Clinician, check("suction", "not_applicable"));
    assert_eq!(board_says(&ward), "The function check lacks image.");
    ward.done(Clinician, json!({"do": "record_check", "case": "K-1", "line": "image", "result": "failed"}));
    assert_eq!(board_says(&ward), "Function check failed: image.");
    assert!(ward.paper.state.findings.is_empty(), "no part is named, so no report is made of one");
    ward.done(Charge, check("image", "passed"));
    let state = CheckState::of(&ward.paper.state, case(&ward));
    assert!(state.done() && board_says(&ward).is_empty(), "{state:?}");
    let told: Vec<_> = case(&ward).checks.iter().filter(|it| it.told.line.as_str() == "image").collect();
    assert_eq!(told.iter().map(|it| it.by.as_str()).collect::<Vec<_>>(), ["clinician", "charge"]);
    assert_eq!(case(&ward).checks.len(), 9);
}

#[test]
fn what_failed_is_held_reported_and_replaced() {
    let mut ward = at_the_table();
    let event = ward.done(Clinician, failed_on("image", "T-1"));
    let What::Checked(it) = &event.what else { panic!("{event:?}") };
    assert_eq!((it.lines.len(), it.holds.len(), deviation(&event).len()), (1, 1, 0));
    let state = &ward.paper.state;
    let finding = state.findings.get("finding-0001").expect("a report");
    assert_eq!(finding.what, "function check failed: image");
    assert!(state.is_open(finding) && !state.assets.get("T-1").expect("it").holds.is_empty());
    assert_eq!(state.due(ward.now).iter().filter(|it| it.why == "reported").count(), 1, "biomed sees it");
    let old = state.assets.get("T-1").expect("it");
    let offered = replacements(state, case(&ward), old, ward.now);
    let names: Vec<_> = offered.iter().map(|it| (it.asset.to_string(), it.same_model)).collect();
    assert_eq!(names, [("T-2".to_string(), true), ("T-3".to_string(), false)], "its model before its family");
    assert_eq!(offered[0].location.as_deref(), Some("bay 3"));
    // A second tap makes no second report; the same line on another part does.
    ward.refused(Clinician, failed_on("image", "T-1"), "already_done");
    ward.done(Clinician, failed_on("caps whole", "C-1"));
    ward.done(Clinician, failed_on("caps whole", "C-2"));
    assert_eq!(ward.paper.state.findings.len(), 3);
    // A part of nobody's case is told of all the same, and the entry says so.
    let event = ward.done(Clinician, failed_on("image", "T-3"));
    assert_eq!(deviation(&event), ["out_of_order"]);
    // Only who reported it withdraws it, and only for the site's minutes.
    let withdraw = |finding: &str| json!({"do": "withdraw_finding", "finding": finding});
    ward.refused(Charge, withdraw("finding-0002"), "out_of_order");
    ward.done(Clinician, withdraw("finding-0003"));
    assert!(ward.paper.state.assets.get("C-2").expect("it").holds.is_empty(), "its hold goes with it");
    ward.refused(Clinician, withdraw("finding-0003"), "already_done");
    let stands = case(&ward).check_of("caps whole").expect("a line");
    assert_eq!(stands.told.asset.as_ref().map(ToString::to_string).as_deref(), Some("C-1"));
    ward.now = ward.now.plus_minutes(11 * MINUTE);
    ward.refused(Clinician, withdraw("finding-0002"), "out_of_order");
    ward.done(Admin, json!({"do": "set_policy", "undo_minutes": 30}));
    ward.done(Clinician, withdraw("finding-0002"));
    assert_eq!(case(&ward).check_of("caps whole"), None, "the line waits to be told again");
}

#[test]
fn whoever_reported_it_hears_what_became_of_it() {
    let mut ward = at_the_table();
    let report =
        json!({"do": "report_finding", "scan": "F-1", "what": "loose", "severity": "watch", "case": "K-1"});
    ward.done(Clinician, report);
    ward.done(Clinician, failed_on("image", "T-1"));
    let fate = |ward: &Ward, finding: &str| {
        finding_words::fate(&ward.paper.state, ward.paper.state.findings.get(finding).expect("a report"))
    };
    assert_eq!(fate(&ward, "finding-0001"), Fate::Waits);
    assert!(matches!(fate(&ward, "finding-0002"), Fate::Held { .. }));
    ward.done(Charge, close(json!({})));
    let send = json!({"do": "send_to_repair", "asset": "T-1", "reason": "image", "decontaminated": true});
    ward.done(Biomed, send);
    assert!(matches!(fate(&ward, "finding-0002"), Fate::InRepair { .. }));
    ward.done(Biomed, json!({"do": "back_from_repair", "asset": "T-1", "work": "new seal"}));
    assert!(matches!(fate(&ward, "finding-0002"), Fate::Held { .. }), "its hold is there still");
    let hold = ward.paper.state.assets.get("T-1").expect("it").holds[0].hold.to_string();
    ward.done(Biomed, json!({"do": "lift_hold", "hold": hold, "reason": "image is clear"}));
    assert!(matches!(fate(&ward, "finding-0002"), Fate::Repaired { work: Some(_), .. }));
    ward.done(Biomed, json!({"do": "retire", "asset": "F-1", "cause": "worn", "failure": true}));
    assert!(matches!(fate(&ward, "finding-0001"), Fate::Retired { cause: "worn", .. }));
}

#[test]
fn every_family_has_its_few_words() {
    let all = [
        Family::Telescope,
        Family::Cap,
        Family::Forceps,
        Family::SuctionTube,
        Family::LightCable,
        Family::Container,
    ];
    for family in all {
        let words = finding_words::words(family);
        assert!((3..=8).contains(&words.len()), "{family:?}: few enough to be read at a glance");
    }
    // Damage as the literature lists it for each family: torn caps, dim or foggy telescopes, jaws that do not meet.
    assert!(finding_words::words(Family::Cap).contains(&"torn"));
    assert!(finding_words::words(Family::Telescope).contains(&finding_words::DIM));
    assert!(finding_words::words(Family::Forceps).contains(&"jaws do not meet"));
    assert!(finding_words::words(Family::SuctionTube).contains(&"blocked"));
}

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
