//! How long things take here: worked out by hand, against the entries themselves, and the same when read again.

use fettle::analysis::queue::Law;
use fettle::domain::apply::{When, apply};
use fettle::domain::command::Command;
use fettle::domain::event::{Event, What};
use fettle::domain::id::Id;
use fettle::domain::pace::{Pace, Work, hour_of_week};
use fettle::domain::person::Role;
use fettle::domain::route::{Method, StepKind};
use fettle::domain::simulate::Given;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::state::State;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::served::department;
use super::simulate::{Run, plan};

pub fn at(text: &str) -> Time {
    Time::parse(text).expect("a time")
}

/// A small department on paper, founded on a Monday.
pub fn paper() -> Paper {
    let mut paper =
        Paper::new(Id::new("paper").unwrap(), chrono_tz::Europe::Berlin, at("2026-03-02T05:00:00Z"));
    for (role, command) in department() {
        told(&mut paper, role, "2026-03-02T05:00:00Z", command);
    }
    paper
}

/// A command that has to be accepted.
#[track_caller]
pub fn told(paper: &mut Paper, role: Role, when: &str, mut command: Value) -> Event {
    let now = at(when);
    if command.get("at").is_none() {
        command["at"] = when.into();
    }
    let command = Command::read(command).expect("a command");
    paper.take(&Given { now, role, command }).unwrap_or_else(|turned| panic!("{turned:?}"))
}

fn step(paper: &mut Paper, when: &str, step: &str, scan: &str) {
    told(
        paper,
        Role::Desk,
        &format!("2026-03-02T{when}:00Z"),
        json!({"do": "record_step", "step": step, "scan": scan}),
    );
}

fn counted(pace: &Pace) -> (u32, u32, u32) {
    (pace.first.count(), pace.next.count(), pace.passed.count())
}

#[track_caller]
fn about(found: Option<f64>, wanted_s: f64) {
    let found = found.expect("a length");
    assert!((found - wanted_s).abs() <= wanted_s * 0.1, "found {found} s, about {wanted_s} s is right");
}

const CLEANED: Work = Work::Step(StepKind::Cleaned, None);

#[test]
fn a_bench_tells_who_came_first_who_followed_and_who_was_passed() {
    let mut paper = paper();
    for (part, treated, received) in
        [("B-1", "08:00", "08:10"), ("C-1", "08:05", "08:20"), ("C-2", "08:06", "08:15")]
    {
        step(&mut paper, treated, "treated", part);
        step(&mut paper, received, "received", part);
    }
    // B-1 came at 08:10 to an idle sink: 30 min. C-1 came at 08:20, and was done 10 min after it. C-2 had come before
    // C-1, and was passed by it: 75 min.
    step(&mut paper, "08:40", "cleaned", "B-1");
    step(&mut paper, "08:50", "cleaned", "C-1");
    step(&mut paper, "09:30", "cleaned", "C-2");
    let state = &paper.state;
    let cleaned = state.pace(CLEANED, None).expect("a pace");
    assert_eq!((counted(cleaned), cleaned.acts), ((1, 1, 1), 3));
    about(cleaned.first.at(0.5), 1_800.0);
    about(cleaned.next.at(0.5), 600.0);
    about(cleaned.passed.at(0.5), 4_500.0);
    // 08:10 UTC is 09:10 in Berlin, on a Monday.
    assert_eq!(hour_of_week(at("2026-03-02T08:10:00Z"), state.zone), 9);
    assert_eq!(state.pace(CLEANED, Some(9)).map(counted), Some((1, 0, 0)));
    assert_eq!(state.pace(CLEANED, Some(8)), None);
    // What is new was never at a bedside: how long it lay there says nothing.
    assert_eq!(state.pace(Work::Step(StepKind::Treated, None), None), None);
    let (share, _) = state.passed_law(CLEANED).expect("one was passed");
    assert!((share - 1.0 / 3.0).abs() < 1e-12);
}

#[test]
fn what_is_told_late_or_out_of_order_says_nothing() {
    let mut paper = paper();
    step(&mut paper, "08:00", "treated", "B-1");
    step(&mut paper, "08:10", "received", "B-1");
    let late = json!({"do": "record_step", "step": "cleaned", "scan": "B-1", "at": "2026-03-02T08:20:00Z",
                      "late": {"cause": "forgotten"}});
    told(&mut paper, Role::Desk, "2026-03-02T10:00:00Z", late);
    assert_eq!(paper.state.pace(CLEANED, None), None);
}

/// Every hour of a week, as a clock that goes twice through an hour, or jumps over one, shows it.
#[test]
fn the_hour_is_the_one_on_the_wall() {
    let zone = chrono_tz::Europe::Berlin;
    let hour = |text: &str| hour_of_week(at(text), zone);
    assert_eq!((hour("2026-03-29T00:59:00Z"), hour("2026-03-29T01:00:00Z")), (72 + 1, 72 + 3));
    assert_eq!((hour("2026-10-25T00:30:00Z"), hour("2026-10-25T01:30:00Z")), (72 + 2, 72 + 2));
    assert_eq!((hour("2026-03-05T12:00:00Z"), hour("2026-03-06T12:00:00Z")), (13, 24 + 13));
}

fn quantile(law: &Law, share: f64) -> f64 {
    law.at(share)
}

#[test]
fn without_history_the_usual_stands_and_history_outweighs_it() {
    let paper = paper();
    let usual = quantile(&paper.state.first_law(CLEANED, 9), 0.5) / 60.0;
    assert!((24.0..40.0).contains(&usual), "{usual}");
    assert!(!paper.state.knows(CLEANED));
    // A house that cleans within 5 min by day, and lets things lie until the morning by night.
    let mut state = paper.state.clone();
    let mut pace = |hour: Option<usize>, length_s: i64, times: u32| {
        let id = CLEANED.id(hour).unwrap();
        let mut pace = state.paces.works.get(&id).map(|it| (**it).clone()).unwrap_or_default();
        (0..times).for_each(|_| pace.first.add(length_s));
        pace.acts += u64::from(times);
        state.paces.works.insert(id, pace.into());
    };
    for (hour, length_s) in [(10, 300), (20, 36_000)] {
        pace(Some(hour), length_s, 40);
        pace(None, length_s, 40);
    }
    assert!(state.knows(CLEANED));
    let by_day = state.first_law(CLEANED, 10);
    assert!(quantile(&by_day, 0.5) < 360.0, "{by_day:?}");
    assert!(quantile(&state.first_law(CLEANED, 20), 0.5) > 30_000.0);
    // An hour of which nothing is known is like the hour beside it, more than like the night.
    assert!(quantile(&state.first_law(CLEANED, 11), 0.5) < 1_000.0);
}

/// Months of the simulated hospital: what the entries say, gathered here by themselves, is what is kept.
#[test]
fn what_is_kept_is_what_the_entries_say_and_the_same_when_replayed() {
    let mut run = Run::new(plan(5, 6, 60));
    let (mut cycles, mut rejected, mut loads) = (Vec::new(), 0, 0);
    let mut ledger: Vec<(u64, Time, Event)> = Vec::new();
    while let Some((given, event)) = run.step() {
        let Some(event) = event else { continue };
        let told_at = given.command.around.at.unwrap_or(given.now);
        ledger.push((run.state().seq, told_at, event.clone()));
        let is_late = event.beside.late.is_some();
        match &event.what {
            What::LoadJudged(it) if !is_late => {
                let load = &run.state().loads[&it.load];
                if load.machine.as_str() == "steriliser-1" && load.programme.method == Method::Steam {
                    cycles.push(it.judged.ended_at.since_s(load.started_at) as f64);
                }
            }
            What::LoadReleased(it) if !is_late && event.beside.overridden.is_none() => {
                loads += u64::from(run.state().loads[&it.load].machine.as_str() == "steriliser-1");
            }
            What::LoadRejected(it) if !is_late => {
                rejected += u64::from(run.state().loads[&it.load].machine.as_str() == "steriliser-1");
            }
            _ => {}
        }
    }
    let state = run.state();
    let machine = &state.paces.machines[&Id::new("steriliser-1").unwrap()];
    let pace = &machine.programmes[&Id::new("porous-134").unwrap()];
    assert!(cycles.len() > 30, "{}", cycles.len());
    assert_eq!((pace.released, pace.rejected), (loads, rejected));
    cycles.sort_by(f64::total_cmp);
    let (found, wanted) = (pace.takes.at(0.5).unwrap(), cycles[cycles.len() / 2]);
    assert!((found - wanted).abs() <= wanted * 0.11, "kept {found} s, the entries say {wanted} s");
    assert!(pace.most >= 2 && state.knows(CLEANED));
    assert_eq!(&replayed(state, &ledger).paces, &state.paces);
    // Every row is short, whatever the years bring.
    for (id, pace) in &state.paces.works {
        let row = serde_json::to_string(&**pace).unwrap();
        assert!(row.len() < 2_500, "{id}: {} bytes", row.len());
        assert_eq!(serde_json::from_str::<Pace>(&row).unwrap(), **pace);
    }
}

fn replayed(like: &State, ledger: &[(u64, Time, Event)]) -> State {
    let zone = like.zone;
    let mut state = Paper::new(like.site.clone(), zone, at("2024-01-08T06:00:00Z")).state;
    for (seq, at, event) in ledger {
        // As it stands in the ledger, and read from there.
        let text = serde_json::to_string(event).unwrap();
        let event = Event::read_text(event.what.kind(), 1, &text).unwrap();
        apply(&mut state, &When { seq: *seq, at: *at, recorded_at: *at, actor: "desk" }, &event);
    }
    state
}
