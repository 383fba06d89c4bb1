//! Who gets which set: the earlier case first, what a person decided before all, and the reserve untouched.

use fettle::domain::board::{BoardCase, Equipped};
use fettle::domain::closing::Place;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use fettle::domain::simulate::ledger::Paper;
use serde_json::{Value, json};

use super::pace::{at, paper, told};
use super::served::{steam_record, wash_record};

const NOW: &str = "2026-03-03T06:00:00Z";

/// The small department with more sets of its sheet, each with a barrel and a telescope.
pub fn house(sets: &[&str]) -> Paper {
    let mut paper = paper();
    for set in sets {
        let build = json!({"do": "build_set", "set": set, "count_sheet": "adult", "name": set});
        told(&mut paper, Lead, "2026-03-02T06:00:00Z", build);
        for (line, model, front) in
            [("barrel", "barrel", "B"), ("telescope", "scope", "T"), ("cap", "cap", "C")]
        {
            let asset = format!("{front}-{set}");
            told(
                &mut paper,
                Lead,
                "2026-03-02T06:00:00Z",
                json!({"do": "add_asset", "asset": asset, "model": model}),
            );
            let put = json!({"do": "put_in_set", "set": set, "line": line, "asset": asset});
            told(&mut paper, Lead, "2026-03-02T06:00:00Z", put);
        }
    }
    paper
}

/// Takes sets through everything, so that they are ready by eight.
pub fn ready(paper: &mut Paper, sets: &[&str]) {
    let step = |paper: &mut Paper, minute: u32, step: &str, scan: Value| {
        let when = format!("2026-03-02T07:{minute:02}:00Z");
        told(paper, Desk, &when, json!({"do": "record_step", "step": step, "scan": scan}));
    };
    for (minute, name) in [(0, "treated"), (1, "received"), (2, "cleaned"), (3, "dried")] {
        step(paper, minute, name, json!(sets));
    }
    let optics: Vec<String> =
        sets.iter().map(|set| if *set == "SET-1" { "T-1".to_string() } else { format!("T-{set}") }).collect();
    step(paper, 4, "disinfected", json!(optics));
    cycle(paper, ("washer-1", "wash", "W"), sets, (5, 20), wash_record(700));
    told(paper, Desk, "2026-03-02T07:22:00Z", json!({"do": "inspect", "scan": sets, "passed": true}));
    step(paper, 23, "packed", json!(sets));
    cycle(paper, ("steriliser-1", "p134", "S"), sets, (24, 50), steam_record(200));
}

fn cycle(
    paper: &mut Paper,
    (machine, programme, load): (&str, &str, &str),
    sets: &[&str],
    (from, to): (u32, u32),
    record: String,
) {
    let load = format!("{load}-{}", sets.join("-"));
    let when = |minute: u32| format!("2026-03-02T07:{minute:02}:00Z");
    let start =
        json!({"do": "start_load", "load": load, "machine": machine, "programme": programme, "scan": sets});
    told(paper, Desk, &when(from), start);
    told(paper, Desk, &when(to), json!({"do": "judge_load", "load": load, "record": record}));
    if machine.starts_with("ster") {
        let indicator =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        told(paper, Desk, &when(to), indicator);
    }
    let release = json!({"do": "release_load", "load": load, "dry": true});
    told(paper, Lead, &when(to + 1), release);
}

pub fn plan(paper: &mut Paper, case: &str, hour: &str, minutes: u32) {
    let start = format!("2026-03-03T{hour}:00Z");
    let plan =
        json!({"do": "plan_case", "case": case, "start": start, "minutes": minutes, "needs": ["adult"]});
    told(paper, Charge, "2026-03-02T09:00:00Z", plan);
}

pub fn keep(paper: &mut Paper, case: &str, set: &str) {
    told(paper, Charge, "2026-03-02T09:30:00Z", json!({"do": "promise", "case": case, "set": set}));
}

fn on_board(paper: &Paper, case: &str) -> BoardCase {
    let board = paper.state.board(at(NOW));
    board.cases.into_iter().find(|it| it.case.as_str() == case).expect("a case of today")
}

fn sets(paper: &Paper, case: &str) -> (Equipped, Vec<String>) {
    let case = on_board(paper, case);
    (case.status, case.sets.iter().map(Id::to_string).collect())
}

fn has(equipped: Equipped, set: &str) -> (Equipped, Vec<String>) {
    (equipped, vec![set.to_string()])
}

#[test]
fn an_earlier_case_moves_to_an_equal_set_so_that_a_later_one_has_one() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    plan(&mut paper, "K-1", "08:00", 60);
    plan(&mut paper, "K-2", "11:00", 60);
    // K-3 in the late afternoon has SET-2 kept: K-2 can't have that one too, K-1 can, since it comes back between.
    plan(&mut paper, "K-3", "15:30", 60);
    keep(&mut paper, "K-3", "SET-2");
    assert_eq!(sets(&paper, "K-1"), has(Equipped::Ready, "SET-2"));
    assert_eq!(sets(&paper, "K-2"), has(Equipped::Ready, "SET-1"));
    // It is kept for K-3, and has to come round again after K-1.
    assert_eq!(sets(&paper, "K-3"), has(Equipped::InTurn, "SET-2"));
    // A third one at the same time finds nothing, and takes nothing from the earlier ones.
    plan(&mut paper, "K-4", "11:30", 60);
    assert_eq!(sets(&paper, "K-1").0, Equipped::Ready);
    assert_eq!(sets(&paper, "K-2").0, Equipped::Ready);
    assert_eq!(sets(&paper, "K-4"), (Equipped::NotReady, Vec::new()));
}

#[test]
fn the_reserve_is_for_emergencies_and_what_a_person_keeps_is_kept() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    told(
        &mut paper,
        Lead,
        "2026-03-02T09:00:00Z",
        json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}),
    );
    plan(&mut paper, "K-1", "08:00", 60);
    assert_eq!(sets(&paper, "K-1").0, Equipped::Ready);
    plan(&mut paper, "K-2", "08:30", 60);
    let short = on_board(&paper, "K-2");
    assert_eq!(short.status, Equipped::NotReady);
    assert!(short.why[0].contains("held back for emergencies: 2 ready, 1 asked for"), "{:?}", short.why);
    // The charge nurse keeps the second one for it all the same: that stands, and the first case keeps its own.
    keep(&mut paper, "K-2", "SET-2");
    assert_eq!(sets(&paper, "K-2"), has(Equipped::Ready, "SET-2"));
    assert_eq!(on_board(&paper, "K-1").status, Equipped::NotReady);
    keep(&mut paper, "K-1", "SET-1");
    assert_eq!(sets(&paper, "K-1"), has(Equipped::Ready, "SET-1"));
}

#[test]
fn a_set_that_comes_too_late_for_one_case_is_the_next_ones() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "08:00", 60);
    // SET-2 is soiled: it can't be there at 08:15, and is there in the evening.
    plan(&mut paper, "K-2", "08:15", 60);
    plan(&mut paper, "K-3", "12:30", 60);
    assert_eq!(sets(&paper, "K-1"), has(Equipped::Ready, "SET-1"));
    assert_eq!(sets(&paper, "K-2").0, Equipped::NotReady);
    assert_eq!(sets(&paper, "K-3"), has(Equipped::InTurn, "SET-2"));
}

#[test]
fn it_says_which_line_is_short_and_what_would_close_it() {
    let mut paper = house(&["SET-2", "SET-3"]);
    ready(&mut paper, &["SET-1", "SET-2", "SET-3"]);
    plan(&mut paper, "K-1", "08:00", 60);
    keep(&mut paper, "K-1", "SET-1");
    let when = "2026-03-02T10:00:00Z";
    told(&mut paper, Lead, when, json!({"do": "add_asset", "asset": "T-9", "model": "scope"}));
    let away = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dark", "decontaminated": true});
    told(&mut paper, Biomed, when, away);
    // SET-3 is counted on by another case at that time, SET-2 by nobody.
    plan(&mut paper, "K-2", "08:30", 60);
    keep(&mut paper, "K-2", "SET-3");
    let case = on_board(&paper, "K-1");
    assert_eq!(case.status, Equipped::NotReady);
    let [short] = case.short.as_slice() else { panic!("{case:?}") };
    assert_eq!((short.set.as_str(), short.line.as_str(), short.lacks), ("SET-1", "telescope", 1));
    let closes: Vec<(&str, Place)> = short.closes.iter().map(|it| (it.asset.as_str(), it.place)).collect();
    let wanted = [("T-SET-2", Place::OtherSet), ("T-9", Place::InTurn), ("T-1", Place::InRepair)];
    assert_eq!(closes, wanted);
    assert!(
        case.why.iter().any(|why| why.contains("T-SET-2 of set SET-2 would close it: it is ready")),
        "{case:?}"
    );
    assert!(short.closes[2].sentence.contains("in repair since 2 March 2026"), "{short:?}");
}
