//! One sum for everybody: what the board, the wall, the desk, the forecast and the week say of a case is the same thing.

use std::sync::Arc;

use askama::Template;
use fettle::app::board::Boards;
use fettle::domain::alert_told::Seen;
use fettle::domain::allotted::{allotted, statuses};
use fettle::domain::board::{BoardCase, Equipped};
use fettle::domain::forecast::{CaseForecast, Likely, tenths};
use fettle::domain::id::Id;
use fettle::domain::order_of_work::{Needed, needed};
use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::time::Time;
use fettle::domain::what_if::Question;
use fettle::web::pages::board::{CaseRow, Facts};
use fettle::web::pages::board_wall::WallLive;
use serde_json::json;

use super::allotment::{house, keep, plan, ready};
use super::forecast_tried::to_packing;
use super::pace::{at, told};
use super::served::steam_record;

const NOW: &str = "2026-03-03T06:00:00Z";
const FEW: u32 = 300;

fn id(name: &str) -> Id {
    Id::new(name).expect("an id")
}

fn facts(paper: &Paper, now: Time) -> Facts {
    let forecast = Arc::new(paper.state.forecast_of(now, FEW));
    Facts::of(&paper.state, &Boards::default().show(&paper.state, now).with(Some(forecast)), now)
}

fn row<'a>(facts: &'a Facts, case: &str) -> &'a CaseRow {
    facts.today.iter().find(|row| row.case == case).expect("a case of today")
}

fn on_board(paper: &Paper, now: Time, case: &str) -> BoardCase {
    paper.state.board(now).cases.into_iter().find(|it| it.case.as_str() == case).expect("a case of the board")
}

fn expected(paper: &Paper, now: Time, case: &str) -> CaseForecast {
    paper.state.forecast_of(now, FEW).case(&id(case)).expect("a case").clone()
}

fn sets(row: &CaseRow) -> Vec<&str> {
    row.sets.iter().map(|(_, set)| set.as_str()).collect()
}

/// What a set is for, as the desk sees it.
fn is_for(paper: &Paper, now: Time, set: &str) -> Option<Needed> {
    let statuses = statuses(&paper.state, now);
    needed(&paper.state, &statuses, &allotted(&paper.state, &statuses, now), now).remove(&id(set))
}

fn out(paper: &mut Paper, machine: &str) {
    let command = json!({"do": "machine_out", "machine": machine, "reason": "steam supply"});
    told(paper, Lead, "2026-03-02T10:00:00Z", command);
}

#[test]
fn a_case_that_names_no_need_is_not_known_and_never_ready() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "08:00", 60);
    let none = json!({"do": "plan_case", "case": "K-2", "start": "2026-03-03T09:00:00Z", "minutes": 45, "needs": []});
    told(&mut paper, Charge, "2026-03-02T09:00:00Z", none);
    let case = on_board(&paper, at(NOW), "K-2");
    assert_eq!((case.status, case.because.as_deref()), (Equipped::NotReady, Some("needs not known")));
    assert!(
        case.why.iter().any(|why| why.starts_with("Needs not known: no count sheet is named")),
        "{case:?}"
    );
    let facts = facts(&paper, at(NOW));
    assert_eq!(row(&facts, "K-2").say.words, "not ready, needs not known");
    assert!(
        facts
            .heading
            .contains("One of today's two cases has its sets; the 10:00 has needs that nobody knows")
    );
    // Once a count sheet is named, it is known.
    let names = json!({"do": "change_case", "case": "K-2", "needs": ["adult"]});
    told(&mut paper, Charge, "2026-03-02T09:10:00Z", names);
    assert!(!paper.state.cases[&id("K-2")].needs_not_known());
}

#[test]
fn one_ready_set_is_ready_for_one_case_alone() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "08:00", 45);
    plan(&mut paper, "K-2", "13:15", 45);
    let now = at(NOW);
    assert_eq!(on_board(&paper, now, "K-1").status, Equipped::Ready);
    let second = on_board(&paper, now, "K-2");
    assert_eq!((second.status, second.goes_first.len()), (Equipped::InTurn, 1));
    assert_eq!(second.goes_first[0].case.as_str(), "K-1");
    let told_now = expected(&paper, now, "K-2");
    assert_ne!(told_now.likely, Likely::ReadyNow, "{told_now:?}");
    // The week says the same of it.
    let week = paper.state.week(now, &Question::default()).expect("a week");
    let ahead = week.days[0].cases.iter().find(|it| it.case.as_str() == "K-2").expect("a case");
    let (board, week) = (told_now.chance.expect("a chance"), ahead.chance.expect("a chance").chance);
    assert!((board - week).abs() < 0.1, "{board} and {week}");
    let shown = facts(&paper, now);
    let row = row(&shown, "K-2");
    assert!(row.say.words.contains("after case K-1"), "{}", row.say.words);
    let why = "Set SET-1 goes to case K-1 first, and has to come round again for it.";
    assert!(row.why.iter().any(|it| it == why), "{:?}", row.why);
    assert!(!shown.heading.contains("Both cases of today have their sets"), "{}", shown.heading);
    // Nothing comes round where no machine runs.
    out(&mut paper, "washer-1");
    let none = expected(&paper, now, "K-2");
    assert_eq!((none.likely, none.chance), (Likely::No, Some(0.0)));
    assert_eq!(none.words, "no, no washer-disinfector that suits is in service");
    let heading = facts(&paper, now).heading;
    assert!(
        heading.contains("the 14:15 is not equipped: no washer-disinfector that suits is in service"),
        "{heading}"
    );
}

#[test]
fn the_earlier_case_has_the_set_that_comes_first_and_everybody_says_so() {
    // SET-1 is soiled, SET-2 waits to be packed.
    let mut paper = house(&["SET-2"]);
    to_packing(&mut paper, &["SET-2"], 8);
    plan(&mut paper, "K-1", "10:30", 45);
    plan(&mut paper, "K-2", "13:00", 45);
    let now = at("2026-03-03T06:30:00Z");
    let shown = facts(&paper, now);
    assert_eq!(sets(row(&shown, "K-1"))[0], "SET-2");
    assert_eq!(sets(row(&shown, "K-2"))[0], "SET-1");
    let first = expected(&paper, now, "K-1");
    assert_eq!(first.gets[0][0].as_str(), "SET-2");
    let is_needed = |case: &str, start: &str| Some(Needed::Case { start: at(start), case: id(case) });
    assert_eq!(is_for(&paper, now, "SET-2"), is_needed("K-1", "2026-03-03T10:30:00Z"));
    assert_eq!(is_for(&paper, now, "SET-1"), is_needed("K-2", "2026-03-03T13:00:00Z"));
}

#[test]
fn a_case_that_should_have_begun_stays_where_people_look() {
    let mut paper = house(&["SET-2"]);
    to_packing(&mut paper, &["SET-2"], 8);
    plan(&mut paper, "K-1", "08:00", 60);
    let rule = json!({"do": "set_alert", "rule": "any", "tells": ["charge"], "about": "case"});
    told(&mut paper, Charge, "2026-03-02T10:00:00Z", rule);
    let now = at("2026-03-03T08:05:00Z");
    let alerts = |paper: &Paper, now: Time| {
        let (board, forecast) = (paper.state.board(now), paper.state.forecast_of(now, FEW));
        paper.state.alerts(Seen { board: &board, forecast: Some(&forecast) }, now)
    };
    assert_eq!(alerts(&paper, at("2026-03-03T07:58:00Z")).len(), 1, "it is unlikely before its start");
    let after = alerts(&paper, now);
    assert!(after[0].sentence.contains("Case K-1 at 09:00 should have begun"), "{after:?}");
    let shown = facts(&paper, now);
    let row = row(&shown, "K-1");
    assert_eq!(
        (row.say.words.as_str(), row.say.sign),
        ("should have begun at 09:00, nothing was issued to it", "not_ready")
    );
    assert!(
        shown.heading.contains("the 09:00 should have begun, and nothing was issued to it"),
        "{}",
        shown.heading
    );
    assert!(matches!(is_for(&paper, now, "SET-2"), Some(Needed::Case { case, .. }) if case == id("K-1")));
    // The board changes by the clock alone at that moment.
    let before = at("2026-03-03T07:59:00Z");
    assert!(paper.state.board_until(before) <= at("2026-03-03T08:00:00.000001Z"));
    // Moved, it is a case to come again, and the alert has its end.
    let moved = json!({"do": "change_case", "case": "K-1", "start": "2026-03-03T20:00:00Z"});
    told(&mut paper, Charge, "2026-03-03T08:06:00Z", moved);
    assert!(alerts(&paper, at("2026-03-03T08:07:00Z")).is_empty());
}

#[test]
fn a_robbed_case_is_red_and_says_who_has_its_set() {
    let mut paper = house(&["SET-2", "SET-3"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    plan(&mut paper, "K-1", "10:00", 60);
    keep(&mut paper, "K-1", "SET-1");
    let takes = json!({"do": "issue", "scan": "SET-1", "emergency": true});
    told(&mut paper, Charge, "2026-03-03T05:30:00Z", takes);
    let second = json!({"do": "issue", "scan": "SET-2", "emergency": true});
    told(&mut paper, Charge, "2026-03-03T05:31:00Z", second);
    let now = at(NOW);
    let shown = facts(&paper, now);
    let case = on_board(&paper, now, "K-1");
    let by = case.robbed_by.clone().expect("a case that took it");
    let words = format!("not ready, set SET-1 went to case {by}");
    let row = row(&shown, "K-1");
    assert_eq!((row.say.words.as_str(), row.say.tone), (words.as_str(), "stop"));
    assert!(
        row.why.iter().any(|why| why.starts_with("Set SET-3 is made ready in its place")),
        "{:?}",
        row.why
    );
    assert!(
        shown.heading.contains(&format!("is not equipped: set SET-1 went to case {by}")),
        "{}",
        shown.heading
    );
    let saves = expected(&paper, now, "K-1").saves;
    let keeps = saves.iter().find(|it| it.sentence.starts_with("Keep set SET-3 for it instead of SET-1"));
    assert!(keeps.is_some(), "{saves:?}");
}

#[test]
fn the_reserve_is_named_as_the_reason_and_its_lack_is_no_act() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    let reserve = json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1});
    told(&mut paper, Lead, "2026-03-02T09:00:00Z", reserve);
    plan(&mut paper, "K-1", "08:00", 60);
    let shown = facts(&paper, at(NOW));
    assert_eq!(row(&shown, "K-1").say.words, "not ready, the only set left is held back for emergencies");
    // The set is away, so that no set of the reserve is there to be taken.
    let takes = json!({"do": "issue", "scan": "SET-1", "emergency": true});
    told(&mut paper, Charge, "2026-03-03T05:30:00Z", takes);
    plan(&mut paper, "K-2", "21:00", 60);
    let saves = expected(&paper, at(NOW), "K-2").saves;
    assert!(!saves.iter().any(|it| it.sentence.contains("Take a set of the emergency reserve")), "{saves:?}");
    assert!(
        saves.iter().any(|it| it.sentence.contains("which the emergency reserve waits for")),
        "{saves:?}"
    );
}

#[test]
fn a_row_tells_one_chance_of_its_case() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "07:00", 60);
    plan(&mut paper, "K-2", "10:15", 60);
    let mut looked = 0;
    for minute in [0, 20, 40, 60, 80, 100, 120, 140, 160] {
        let now = at(NOW).plus_minutes(minute);
        let told_now = expected(&paper, now, "K-2");
        let (Some(chance), Some(save)) = (told_now.chance, told_now.saves.first()) else { continue };
        let from = fettle::domain::forecast::odds(chance);
        assert!(save.sentence.contains(&format!("from {from} to ")), "{}: {save:?}", tenths(chance));
        looked += 1;
    }
    assert!(looked > 0);
}

#[test]
fn tomorrow_is_in_the_heading_where_it_cannot_be_equipped() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "08:00", 60);
    for case in ["K-2", "K-3"] {
        let start = json!({"do": "plan_case", "case": case, "start": "2026-03-04T08:00:00Z", "minutes": 60,
                           "needs": ["adult", "adult"]});
        told(&mut paper, Charge, "2026-03-02T09:00:00Z", start);
    }
    let heading = facts(&paper, at(NOW)).heading;
    assert!(heading.contains(" Tomorrow the 09:00 has no set that is free"), "{heading}");
    let shown = Boards::default().show(&paper.state, at(NOW));
    let wall = WallLive::of(&paper.state, &shown, at(NOW)).render().expect("a wall");
    let ahead = wall.split("<b>Tomorrow</b>").nth(1).expect("a line of tomorrow");
    assert!(ahead.contains("K-2") && ahead.contains("no set is free"), "{ahead}");
}

/// Half an hour after it went in, the machine goes out: the load can't be released, and nobody knows more.
#[test]
fn a_load_that_nobody_may_release_has_no_end() {
    let mut paper = house(&["SET-2"]);
    to_packing(&mut paper, &["SET-2"], 8);
    told(
        &mut paper,
        Desk,
        "2026-03-02T08:30:00Z",
        json!({"do": "record_step", "step": "packed", "scan": ["SET-2"]}),
    );
    let start = json!({"do": "start_load", "load": "S-1", "machine": "steriliser-1", "programme": "p134", "scan": ["SET-2"]});
    told(&mut paper, Desk, "2026-03-02T08:31:00Z", start);
    plan(&mut paper, "K-1", "12:00", 60);
    keep(&mut paper, "K-1", "SET-2");
    let now = at("2026-03-02T11:00:00Z");
    let runs = paper.state.forecast_of(now, FEW);
    assert!(runs.set(&id("SET-2")).expect("a set").ready_at.is_some());
    out(&mut paper, "steriliser-1");
    for judged in [false, true] {
        if judged {
            let judge = json!({"do": "judge_load", "load": "S-1", "record": steam_record(200)});
            told(&mut paper, Desk, "2026-03-02T10:30:00Z", judge);
        }
        let stands = paper.state.forecast_of(now, FEW);
        let set = stands.set(&id("SET-2")).expect("a set");
        assert_eq!(set.ready_at, None, "{set:?}");
        let why = set.not_known.as_deref().unwrap_or_default();
        assert!(why.contains("out of service: nobody can say when it is ready"), "{set:?}");
        let case = stands.case(&id("K-1")).expect("a case");
        assert_eq!((case.likely, case.chance), (Likely::No, Some(0.0)), "{case:?}");
    }
}

#[test]
fn two_cases_in_one_room_at_one_time_are_said() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    let plan = |case: &str, start: &str| {
        json!({"do": "plan_case", "case": case, "start": start, "minutes": 60,
        "room": "theatre 1", "needs": ["adult"]})
    };
    let first = told(&mut paper, Charge, "2026-03-02T09:00:00Z", plan("K-1", "2026-03-03T10:00:00Z"));
    assert!(first.beside.doubts.is_empty());
    let second = told(&mut paper, Charge, "2026-03-02T09:01:00Z", plan("K-2", "2026-03-03T10:30:00Z"));
    let words =
        "Planned in theatre 1 at the same time: case K-1 at 11:00. One of them has to wait, or to move.";
    assert_eq!(second.beside.doubts.iter().map(|it| it.detail.as_str()).collect::<Vec<_>>(), [words]);
    assert!(on_board(&paper, at(NOW), "K-2").why.iter().any(|why| why == words));
    // One that begins as the other ends is in nobody's way.
    let third = told(&mut paper, Charge, "2026-03-02T09:02:00Z", plan("K-3", "2026-03-03T11:30:00Z"));
    assert!(third.beside.doubts.is_empty());
    let moved = json!({"do": "change_case", "case": "K-3", "start": "2026-03-03T11:00:00Z"});
    assert_eq!(told(&mut paper, Charge, "2026-03-02T09:03:00Z", moved).beside.doubts.len(), 1);
}

/// In Berlin 25 October 2026 has the hour from two to three twice: Directive 2000/84/EC, the last Sunday of October at 01:00 UTC.
#[test]
fn two_cases_of_the_night_when_the_clocks_change_are_told_apart() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    for (case, start) in [("K-1", "2026-10-25T00:30:00Z"), ("K-2", "2026-10-25T01:30:00Z")] {
        let plan =
            json!({"do": "plan_case", "case": case, "start": start, "minutes": 30, "needs": ["adult"]});
        told(&mut paper, Charge, "2026-10-24T09:00:00Z", plan);
    }
    let shown = facts(&paper, at("2026-10-24T22:30:00Z"));
    assert_eq!(
        (row(&shown, "K-1").start.as_str(), row(&shown, "K-2").start.as_str()),
        ("02:30 summer time", "02:30 winter time")
    );
}

#[test]
fn what_the_desk_cannot_do_is_not_offered_again() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    plan(&mut paper, "K-1", "15:00", 60);
    keep(&mut paper, "K-1", "SET-1");
    let away = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dark", "decontaminated": true});
    told(&mut paper, Biomed, "2026-03-02T10:00:00Z", away);
    let now = at(NOW);
    let offers = |paper: &Paper| {
        let shown = facts(paper, now);
        row(&shown, "K-1")
            .acts
            .iter()
            .filter_map(|act| act.ask.as_ref().map(|ask| ask.label.clone()))
            .collect::<Vec<_>>()
    };
    let saves = expected(&paper, now, "K-1").saves;
    let Some(asks) = saves.iter().find_map(|it| it.request.clone()) else {
        panic!("nothing to ask: {saves:?}")
    };
    let before = offers(&paper);
    assert!(!before.is_empty());
    let mut send = serde_json::to_value(&asks).expect("a request");
    send["do"] = json!("send_request");
    told(&mut paper, Charge, "2026-03-02T12:00:00Z", send);
    let answer = json!({"do": "answer_request", "request": "request-00001", "answer": "cannot", "because": "it is cracked"});
    told(&mut paper, Desk, "2026-03-02T12:01:00Z", answer);
    let after = offers(&paper);
    assert!(after.len() < before.len(), "{before:?} and {after:?}");
    let words = format!("Ask the desk: {}", asks.words(&paper.state));
    assert!(!after.contains(&words), "{after:?}");
    let sentences = facts(&paper, now);
    let first = saves.iter().find(|it| it.request.is_some()).expect("one");
    assert!(row(&sentences, "K-1").acts.iter().all(|act| act.sentence != first.sentence));
}
