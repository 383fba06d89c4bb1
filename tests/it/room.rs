//! The instrument in the room: its function check, the counts around the case, and the defects told there.
//!
//! The sign-out of the WHO surgical safety checklist (2009, from memory) asks whether instrument, sponge and needle
//! counts are correct and whether there are equipment problems to be addressed. In 41 observed paediatric airway
//! endoscopies the equipment was ready in 76 % and had been checked in 78 % (Arch Otolaryngol Head Neck Surg
//! 2012;138:624): what is not told here as checked, the board calls not checked.

use fettle::domain::check::{CheckState, stands};
use fettle::domain::check_lines::lines;
use fettle::domain::event::{Event, What};
use fettle::domain::finding_words::{self, Fate};
use fettle::domain::fit::Have;
use fettle::domain::fit_ready::{Needed, have};
use fettle::domain::model::Family;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use fettle::domain::replacement::replacements;
use fettle::domain::{Command, case::Case};
use serde_json::{Value, json};

use super::ward::{Ward, late, model, release};

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

pub fn at_the_table() -> Ward {
    let mut ward = room();
    ward.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"}));
    ward.done(Clinician, json!({"do": "open", "case": "K-1", "scan": "SET-1"}));
    ward
}

pub fn case(ward: &Ward) -> &Case {
    ward.paper.state.cases.get("K-1").expect("a case")
}

pub fn check(line: &str, result: &str) -> Value {
    json!({"do": "record_check", "case": "K-1", "line": line, "result": result})
}

pub fn failed_on(line: &str, asset: &str) -> Value {
    json!({"do": "record_check", "case": "K-1", "line": line, "result": "failed", "asset": asset})
}

pub fn count(more: Value) -> Value {
    let mut all = json!({"do": "record_count", "moment": "opening", "case": "K-1"});
    for (field, value) in more.as_object().expect("an object") {
        all[field.as_str()] = value.clone();
    }
    all
}

pub fn close(more: Value) -> Value {
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

pub fn missing(ward: &Ward, asset: &str) -> bool {
    ward.paper.state.assets.get(asset).expect("a part").missing
}

pub fn deviation(event: &Event) -> Vec<&'static str> {
    event.beside.deviation.iter().map(|code| code.name()).collect()
}

pub fn malformed(command: Value, pointer: &str, words: &str) {
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
    let told = stands(&ward.paper.state, case(&ward), "caps whole").expect("a line");
    assert_eq!(told.told.asset.as_ref().map(ToString::to_string).as_deref(), Some("C-1"));
    let told_late = late(withdraw("finding-0002"), "2026-03-02T09:00:00+01:00");
    ward.refused(Charge, told_late.clone(), "out_of_order");
    ward.now = ward.now.plus_minutes(11 * MINUTE);
    ward.refused(Clinician, withdraw("finding-0002"), "out_of_order");
    ward.refused(Clinician, told_late, "out_of_order");
    ward.done(Admin, json!({"do": "set_policy", "undo_minutes": 30}));
    ward.done(Clinician, withdraw("finding-0002"));
    assert_eq!(stands(&ward.paper.state, case(&ward), "caps whole"), None, "the line waits to be told again");
}

#[test]
fn what_failed_on_a_part_stands_until_another_takes_its_place() {
    let failed = |ward: &Ward| CheckState::of(&ward.paper.state, case(ward)).failed;
    let on = |line: &str, asset: &str| json!({"do": "record_check", "case": "K-1", "line": line, "result": "passed", "asset": asset});
    let mut ward = at_the_table();
    let both = json!([{"line": "caps whole", "result": "failed", "asset": "C-1"},
        {"line": "caps whole", "result": "passed", "asset": "C-2"}]);
    ward.done(Clinician, json!({"do": "record_check", "case": "K-1", "lines": both}));
    assert_eq!(failed(&ward), ["caps whole"], "one cap is torn, whatever the other is");
    ward.done(Clinician, on("caps whole", "C-2"));
    assert_eq!(failed(&ward), ["caps whole"], "it was there before");
    ward.done(Clinician, on("caps whole", "C-1"));
    assert_eq!(failed(&ward), ["caps whole"], "it is on hold");
    ward.refused(Clinician, failed_on("caps whole", "C-1"), "already_done");
    ward.done(Clinician, json!({"do": "withdraw_finding", "finding": "finding-0001"}));
    assert!(failed(&ward).is_empty(), "its report is withdrawn");
    ward.done(Clinician, failed_on("image", "T-1"));
    ward.done(Clinician, check("image", "passed"));
    assert_eq!(failed(&ward), ["image"], "no other telescope is here");
    ward.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "T-2"}));
    ward.done(Clinician, json!({"do": "open", "case": "K-1", "scan": "T-2"}));
    ward.done(Clinician, on("image", "T-2"));
    assert!(failed(&ward).is_empty(), "another stands in");
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
fn what_is_not_of_the_case_closes_no_line_of_it() {
    let on = |line: &str, asset: &str| json!({"do": "record_check", "case": "K-1", "line": line, "result": "passed", "asset": asset});
    let open = |ward: &Ward| CheckState::of(&ward.paper.state, case(ward)).open;
    let mut ward = at_the_table();
    let event = ward.done(Clinician, on("image", "T-2"));
    assert_eq!(deviation(&event), ["out_of_order"]);
    assert!(open(&ward).contains(&"image".to_string()), "T-2 lies in the store");
    ward.done(Clinician, on("image", "T-1"));
    assert!(!open(&ward).contains(&"image".to_string()));
    // Nor does it clear what failed on the case's own.
    ward.done(Clinician, failed_on("image", "T-1"));
    ward.done(Clinician, on("image", "T-2"));
    assert_eq!(CheckState::of(&ward.paper.state, case(&ward)).failed, ["image"]);
    // A line that nobody asks for is none, and neither is a blank one.
    let refused = ward.refused(Clinician, check("nonsense", "passed"), "unknown_thing");
    assert!(refused.first.found.contains("line of the function check"), "{:?}", refused.first);
    ward.done(Admin, json!({"do": "set_policy", "check_lines": ["foot switch"]}));
    ward.done(Clinician, check("foot switch", "passed"));
    malformed(check(" \u{200b}", "passed"), "/line", "blank");
}

/// A pack is opened as a whole: what lies in it with something on hold is not ready either.
#[test]
fn what_lies_in_a_pack_with_something_on_hold_is_not_ready() {
    let mut ward = room();
    ward.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    let state = &ward.paper.state;
    let needed = Needed { now: ward.now, by: ward.now, case: None };
    let of = |asset: &str| have(state, state.assets.get(asset).expect("a part"), needed);
    let (told, _, why) = of("C-1");
    assert_eq!(told, Have::NotReady);
    assert!(
        why[0].contains("C-1 lies in one pack with T-1.") && why[0].contains("on quality hold"),
        "{why:?}"
    );
}

#[test]
fn what_is_out_though_something_stands_against_it_is_said_on_the_board() {
    let mut ward = at_the_table();
    ward.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dim", "scan": "T-1"}));
    let board = ward.paper.state.board(ward.now);
    let told = &board.cases.iter().find(|it| it.case.as_str() == "K-1").expect("a case").why;
    assert!(told.iter().any(|line| line == "ON HOLD because dim: T-1."), "{told:?}");
}

/// Where nothing went out there is nothing to count back: the case is still to come.
#[test]
fn a_case_to_which_nothing_went_is_not_closed_by_a_count() {
    let mut ward = room();
    let refusal = ward.refused(Clinician, json!({"do": "close_count", "case": "K-1"}), "already_done");
    assert!(refusal.first.found.contains("Nothing has gone out for case K-1"), "{refusal:?}");
    assert!(case(&ward).is_open());
}
