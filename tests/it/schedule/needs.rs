//! What procedures need, and what a person chose instead.

use fettle::domain::person::Role::{Charge, Clinician, Infection, Lead};
use fettle::domain::technique::Technique;
use serde_json::{Value, json};

use super::{asked, nothing, taken, told, ward};
use crate::ward::Ward;

fn map(code: &str, needs: &[&str], technique: &str) -> Value {
    json!({"do": "map_procedure", "code": code, "needs": needs, "technique": technique, "minutes": 50})
}

fn needs(ward: &Ward, case: &str) -> Vec<String> {
    ward.paper.state.cases[case].needs.iter().map(ToString::to_string).collect()
}

#[test]
fn a_code_that_nobody_mapped_leaves_the_needs_not_known() {
    let mut ward = ward();
    taken(&mut ward, &told("S12"));
    let case = &ward.paper.state.cases["A-1"];
    assert!(case.needs.is_empty() && case.needs_not_known());
    let on_board = ward.paper.state.board(ward.now);
    let shown = on_board.cases.iter().find(|it| it.case.as_str() == "A-1").expect("a case of tomorrow");
    assert!(shown.why[0].starts_with("Needs not known"), "{:?}", shown.why);
    assert_eq!(serde_json::to_value(shown.status).expect("a status"), json!("not_ready"));
    // A nurse says what it needs: the case is offered it, and gets it when she says so.
    ward.done(Charge, map("BRONCH", &["adult"], "jet_open"));
    assert!(needs(&ward, "A-1").is_empty(), "nothing changes by itself");
    ward.done(Charge, json!({"do": "apply_procedures", "cases": ["A-1"]}));
    let case = &ward.paper.state.cases["A-1"];
    assert_eq!((needs(&ward, "A-1"), case.technique), (vec!["adult".to_string()], Some(Technique::JetOpen)));
    assert!(!case.needs_not_known());
    ward.refused(Charge, json!({"do": "apply_procedures", "cases": ["A-1"]}), "already_done");
    // A known code makes its needs, its technique and its length at once.
    taken(
        &mut ward,
        &told("S12").with(|it| {
            it.filler = "A-2".into();
            it.minutes = String::new();
        }),
    );
    let second = &ward.paper.state.cases["A-2"];
    assert_eq!((needs(&ward, "A-2"), second.minutes), (vec!["adult".to_string()], 50));
}

#[test]
fn a_person_s_choice_of_needs_is_never_overwritten() {
    let mut ward = ward();
    ward.done(Lead, map("BRONCH", &["adult"], "jet_open"));
    ward.done(Lead, map("STENT", &["stent"], "assisted"));
    taken(&mut ward, &told("S12"));
    ward.done(Charge, json!({"do": "change_case", "case": "A-1", "needs": ["adult", "stent"]}));
    ward.done(Clinician, json!({"do": "change_case", "case": "A-1", "technique": "apnoeic"}));
    // The schedule says what it said: nothing happens. It names another procedure: that is told, and the needs stay.
    nothing(&ward, &told("S14").with(|it| it.sent = "20260302090000+0100".into()));
    let other = told("S14").with(|it| {
        it.code = "STENT^Stent".into();
        it.sent = "20260302100000+0100".into();
    });
    taken(&mut ward, &other);
    let case = ward.paper.state.cases["A-1"].clone();
    assert_eq!(needs(&ward, "A-1"), ["adult", "stent"]);
    assert_eq!(case.technique, Some(Technique::Apnoeic));
    assert!(case.schedule.as_ref().is_some_and(|of| of.procedure_changed));
    ward.refused(Charge, json!({"do": "apply_procedures", "cases": ["A-1"]}), "already_done");
    ward.done(
        Charge,
        json!({"do": "map_procedure", "code": "STENT", "nothing": true, "technique": "assisted"}),
    );
    assert_eq!(needs(&ward, "A-1"), ["adult", "stent"]);
    ward.done(Charge, json!({"do": "change_case", "case": "A-1", "needs": ["stent"]}));
    assert!(!ward.paper.state.cases["A-1"].schedule.as_ref().is_some_and(|of| of.procedure_changed));
    // A case whose needs nobody touched follows the schedule.
    taken(&mut ward, &told("S12").with(|it| it.filler = "A-2".into()));
    taken(&mut ward, &other.with(|it| it.filler = "A-2".into()));
    assert!(needs(&ward, "A-2").is_empty(), "stents need nothing by now");
    assert_eq!(ward.paper.state.cases["A-2"].technique, Some(Technique::Assisted));
}

#[test]
fn a_person_s_move_stands_until_the_schedule_says_something_new() {
    let mut ward = ward();
    taken(&mut ward, &told("S12"));
    ward.done(Charge, json!({"do": "change_case", "case": "A-1", "start": "2026-03-03T14:00:00+01:00"}));
    nothing(&ward, &told("S14").with(|it| it.sent = "20260302090000+0100".into()));
    let moved = told("S13").with(|it| {
        it.start = "20260303160000".into();
        it.sent = "20260302100000+0100".into();
    });
    taken(&mut ward, &moved);
    assert_eq!(ward.paper.state.cases["A-1"].start.to_string(), "2026-03-03T15:00:00Z");
}

#[test]
fn a_case_that_is_under_way_is_not_moved_by_the_schedule() {
    let mut ward = ward();
    taken(&mut ward, &told("S12"));
    ward.passed("L-1", "plain", "P-1");
    ward.done(Lead, super::super::ward::release("L-1"));
    ward.at("2026-03-02T18:00:00+01:00");
    ward.done(Charge, json!({"do": "issue", "case": "A-1", "scan": "P-1"}));
    let moved = told("S13").with(|it| it.start = "20260304100000".into());
    for (told, words) in [
        (moved.clone(), "The schedule changes its start. Case A-1 has things issued to it."),
        (told("S15"), "it was cancelled there. Case A-1 has things issued to it."),
        (told("S26"), "the patient did not come. Case A-1 has things issued"),
    ] {
        let (why, answered) = asked(&ward, &told);
        assert!(why.contains(words), "{why}");
        assert_eq!(serde_json::to_value(answered).expect("letters"), json!("AA"));
    }
    // The rule itself refuses it too, whoever gives the command with what the schedule says.
    let schedule = json!({"sender": "THEATRE NORTH", "filler": "A-1"});
    let change =
        json!({"do": "change_case", "case": "A-1", "start": "2026-03-04T10:00:00Z", "schedule": schedule});
    ward.refused(Charge, change, "count_open");
    // Another room moves nothing that is out.
    taken(&mut ward, &told("S14").with(|it| it.room = "OR^9".into()));
    ward.done(Charge, json!({"do": "open", "case": "A-1", "scan": "P-1"}));
    assert!(asked(&ward, &moved).0.contains("under way"));
    ward.done(Charge, json!({"do": "close_count", "case": "A-1"}));
    assert!(asked(&ward, &moved).0.contains("is over"));
    assert!(asked(&ward, &told("S15")).0.contains("is over"));
    assert!(ward.paper.state.cases["A-1"].cancelled.is_none());
}

#[test]
fn a_case_planned_by_hand_under_the_number_is_asked_about_and_taken_over() {
    let mut ward = ward();
    let plan = json!({"do": "plan_case", "case": "A-1", "start": "2026-03-03T10:00:00+01:00", "minutes": 60,
                      "needs": ["adult"]});
    ward.done(Charge, plan);
    let (why, _) = asked(&ward, &told("S12"));
    assert!(why.contains("planned by hand under the number"), "{why}");
    let schedule = json!({"sender": "THEATRE NORTH", "filler": "A-1", "start": "2026-03-03T09:00:00Z"});
    let kept = json!({"do": "keep_schedule_message", "trigger": "S12", "schedule": schedule, "case": "A-1",
                      "why": [why], "answered": "AA", "message": "MSH|"});
    ward.done(Charge, kept);
    let early = json!({"do": "erase_patient", "schedule_line": "line-00001", "reason": "asked"});
    ward.refused(Infection, early, "still_referenced");
    let settle = |outcome: &str, case: Option<&str>| {
        let mut all = json!({"do": "settle_schedule_message", "line": "line-00001", "outcome": outcome});
        case.iter().for_each(|case| all["case"] = json!(case));
        all
    };
    ward.refused(Charge, settle("entered_by_hand", Some("A-9")), "unknown_thing");
    ward.done(Charge, settle("entered_by_hand", Some("A-1")));
    ward.refused(Charge, settle("not_ours", None), "already_done");
    // Its message may be erased now that it is settled, once; nobody else's reference goes with it.
    let erase = json!({"do": "erase_patient", "schedule_line": "line-00001", "reason": "settled"});
    ward.done(Infection, erase.clone());
    assert!(ward.paper.state.schedule_lines["line-00001"].erased);
    ward.refused(Infection, erase, "already_done");
    // From now on the schedule finds it; its needs are a person's.
    taken(&mut ward, &told("S13").with(|it| it.start = "20260303110000".into()));
    assert_eq!(ward.paper.state.cases["A-1"].start.to_string(), "2026-03-03T10:00:00Z");
    assert_eq!(needs(&ward, "A-1"), ["adult"]);
}
