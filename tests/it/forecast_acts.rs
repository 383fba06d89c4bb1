//! What would save a case: tried in the simulation, and told with what others lose by it.

use fettle::domain::allotted::{allotted, statuses};
use fettle::domain::forecast::Likely;
use fettle::domain::forecast_acts::{Act, Saves};
use fettle::domain::id::Id;
use fettle::domain::order_of_work::{Needed, needed};
use fettle::domain::person::Role::{Biomed, Lead};
use fettle::domain::simulate::ledger::Paper;
use serde_json::json;

use super::allotment::{house, keep, plan, ready};
use super::pace::{at, told};

fn saves(paper: &Paper, case: &str) -> Vec<Saves> {
    let told = paper.state.forecast_of(at("2026-03-03T06:00:00Z"), 300);
    told.case(&Id::new(case).unwrap()).expect("a case").saves.clone()
}

fn by(saves: &[Saves], act: Act) -> &Saves {
    saves.iter().find(|it| it.act == act).unwrap_or_else(|| panic!("{act:?} in {saves:?}"))
}

#[test]
fn another_set_that_is_ready_saves_a_case_whose_own_comes_late() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "07:00", 60);
    keep(&mut paper, "K-1", "SET-2");
    let found = saves(&paper, "K-1");
    let takes = by(&found, Act::TakeSet);
    assert!(takes.chance > 0.99, "{takes:?}");
    let wanted = "Keep set SET-1 for it instead of SET-2, which is kept for it: from less than 1 in 10 to better than 9 in 10; no \
                  other case loses.";
    assert_eq!(takes.sentence, wanted);
    // With the other case needing it, the loss is said.
    plan(&mut paper, "K-2", "07:30", 60);
    let found = saves(&paper, "K-1");
    let takes = by(&found, Act::TakeSet);
    assert_eq!(takes.loses.iter().map(|(case, _)| case.as_str()).collect::<Vec<_>>(), ["K-2"]);
    assert!(takes.sentence.contains("case K-2 at 08:30 falls from better than 9 in 10 to"), "{takes:?}");
}

#[test]
fn the_reserve_and_another_time_are_acts_with_their_price() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    told(
        &mut paper,
        Lead,
        "2026-03-02T09:00:00Z",
        json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}),
    );
    plan(&mut paper, "K-1", "07:00", 60);
    let found = saves(&paper, "K-1");
    assert!(by(&found, Act::TakeReserve).chance > 0.99, "{found:?}");
}

#[test]
fn a_part_closes_the_line_that_a_case_is_short_of() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    plan(&mut paper, "K-1", "15:00", 60);
    keep(&mut paper, "K-1", "SET-1");
    let away = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dark", "decontaminated": true});
    told(&mut paper, Biomed, "2026-03-02T10:00:00Z", away);
    let now = paper.state.forecast_of(at("2026-03-03T06:00:00Z"), 300);
    let case = now.case(&Id::new("K-1").unwrap()).unwrap();
    assert_eq!((case.likely, case.words.as_str()), (Likely::No, "no, short of telescope"));
    let puts = by(&case.saves, Act::PutIn);
    assert!(puts.sentence.contains("of set SET-2 into set SET-1, and wrap it anew"), "{puts:?}");
    assert!(puts.chance > 0.5, "{puts:?}");
    // What is tried is judged by the same chances: the same question has the same answer.
    assert_eq!(case.saves, saves(&paper, "K-1"));
}

#[test]
fn a_case_that_is_well_needs_no_help() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "07:00", 60);
    assert_eq!(saves(&paper, "K-1"), []);
}

#[test]
fn the_desk_takes_first_what_refills_the_reserve_and_then_what_is_needed_first() {
    let mut paper = house(&["SET-2", "SET-3", "SET-4"]);
    ready(&mut paper, &["SET-1"]);
    told(
        &mut paper,
        Lead,
        "2026-03-02T09:00:00Z",
        json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 2}),
    );
    plan(&mut paper, "K-2", "18:00", 60);
    plan(&mut paper, "K-1", "16:00", 60);
    let (state, now) = (&paper.state, at("2026-03-03T06:00:00Z"));
    let statuses = statuses(state, now);
    let found = needed(state, &statuses, &allotted(state, &statuses, now), now);
    let mut order: Vec<(&Needed, &str)> = found
        .iter()
        .filter(|(set, _)| set.as_str() != "SET-1")
        .map(|(set, needed)| (needed, set.as_str()))
        .collect();
    order.sort();
    let told: Vec<String> = order
        .iter()
        .map(|(needed, _)| match needed {
            Needed::Reserve => "reserve".to_string(),
            Needed::Robbed { case, .. } | Needed::Case { case, .. } => case.to_string(),
        })
        .collect();
    assert_eq!(told, ["reserve", "K-1", "K-2"], "{order:?}");
}
