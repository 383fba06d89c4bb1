//! One machine: may it run a load now, and is it drifting?

use askama::Template;
use axum::extract::{Path, Query, State as Of};
use axum::response::Response;

use super::load::limits;
use super::say::{Say, of_load_now, of_machine};
use super::shared::{Done, Page, capital, listed, segment, some_of, when};
use super::told_time::lasting;
use super::trend::{self, Drawn};
use crate::app::reads::Verdicts;
use crate::domain::load::Load;
use crate::domain::machine::{AIR_REMOVAL, BackAfter, EMPTY_CYCLES_NEEDED};
use crate::domain::state::{Condition, Machine, State};
use crate::domain::time::{Time, on_day};
use crate::domain::trend::{Trend, trends};
use crate::domain::verdict::{Judged, short};
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

/// The trends are those of so many loads at most.
pub const LOADS: usize = 200;
/// So many of them stand in the table.
const ROWS: usize = 40;

/// A machine as its forms and its headings show it.
pub struct Shown {
    pub machine: String,
    pub href: String,
    pub kind: &'static str,
    pub say: Say,
    pub flagged: bool,
    pub out: bool,
    pub running: String,
    /// What is due, in words.
    pub due: Vec<String>,
    /// Which of its tests comes next, where none of these is due now.
    pub next: Vec<String>,
    /// Good empty cycles so far, while it is requalified, and how many are needed.
    pub good: Option<u32>,
    pub needed: u32,
    /// It may come back as after something minor.
    pub minor: bool,
    /// What else it comes back after, by empty cycles.
    pub majors: Vec<(&'static str, &'static str)>,
}

impl Shown {
    pub fn majors_words(&self) -> String {
        let all: Vec<String> = self.majors.iter().map(|(_, words)| words.to_lowercase()).collect();
        listed(&all).replace(" and ", " or ")
    }
}

pub struct TestRow {
    pub test: String,
    pub good: bool,
    pub at: String,
    pub day: String,
}

pub struct CycleRow {
    pub href: String,
    pub load: String,
    pub started: String,
    pub programme: String,
    pub say: Say,
    /// passed, failed, or nothing yet.
    pub verdict: &'static str,
    pub hold: String,
    pub lowest: String,
    pub saturation: String,
}

#[derive(Template)]
#[template(path = "machine.html")]
pub struct MachinePage {
    pub page: Page,
    pub heading: String,
    pub machine: Shown,
    /// Why it may not run a load now, each programme for itself where they differ.
    pub why_not: Vec<String>,
    pub drifts: Vec<String>,
    pub facts: Vec<(&'static str, String)>,
    pub tests: Vec<TestRow>,
    pub trends: Vec<Drawn>,
    pub cycles: Vec<CycleRow>,
    pub loads: usize,
}

/// The last loads of a machine, newest first.
pub fn last_loads<'a>(state: &'a State, machine: &Machine) -> Vec<&'a Load> {
    let mut loads: Vec<&Load> =
        state.loads.values().map(|load| &**load).filter(|load| load.machine == machine.machine).collect();
    loads.sort_by_key(|load| std::cmp::Reverse((load.started_at, load.entry)));
    loads.truncate(LOADS);
    loads
}

pub fn shown(state: &State, machine: &Machine, now: Time) -> Shown {
    let due = machine.tests_due(state, now).into_iter().map(|due| {
        let last = due.last.map(|at| format!(", last good {}", when(state, at, now)));
        format!("{}{}", due.words(), last.unwrap_or_else(|| ", none on record".into()))
    });
    Shown {
        machine: machine.machine.to_string(),
        href: format!("/machines/{}", segment(machine.machine.as_str())),
        kind: machine.kind.words(),
        say: of_machine(state, machine, now),
        flagged: machine.flag.is_some(),
        out: !matches!(machine.condition, Condition::InService),
        running: machine.running.as_ref().map(ToString::to_string).unwrap_or_default(),
        due: due.collect(),
        next: next_tests(state, machine, now),
        good: match machine.condition {
            Condition::Requalifying { good } => Some(good),
            Condition::InService | Condition::Out { .. } => None,
        },
        needed: EMPTY_CYCLES_NEEDED,
        minor: machine.comes_back_after(BackAfter::Minor),
        majors: MAJORS
            .iter()
            .filter(|(after, ..)| machine.comes_back_after(*after))
            .map(|(_, name, words)| (*name, *words))
            .collect(),
    }
}

/// What a machine comes back after by empty cycles.
const MAJORS: [(BackAfter, &str, &str); 4] = [
    (BackAfter::Installed, "installed", "Installation"),
    (BackAfter::Relocated, "relocated", "Relocation"),
    (BackAfter::MajorRepair, "major_repair", "Major repair"),
    (BackAfter::Failure, "failure", "Sterilisation failure"),
];

/// The tests that passed and when each comes next: the air-removal test of the next test day, a biological indicator
/// after its days.
fn next_tests(state: &State, machine: &Machine, now: Time) -> Vec<String> {
    let mut said = Vec::new();
    if machine.condition != Condition::InService {
        return said;
    }
    let today = state.test_day(now);
    if let Some(next) = today.succ_opt().filter(|_| machine.passed_on(state, AIR_REMOVAL, today)) {
        let from = on_day(next, state.policy.test_day_starts.0, state.zone);
        said.push(format!("air-removal test passed this test day; next from {}", when(state, from, now)));
    }
    let days = machine.biological_every_days(state);
    if let Some((days, last)) = days.zip(machine.last_biological()) {
        let next = state.test_day(last) + chrono::Days::new(u64::from(days));
        if next > today {
            let from = on_day(next, state.policy.test_day_starts.0, state.zone);
            said.push(format!("biological indicator next from {}", when(state, from, now)));
        }
    }
    said
}

/// Why it may not start a load now, once for each reason, with the programmes that it binds where it does not bind all.
pub fn why_not(state: &State, machine: &Machine, now: Time) -> Vec<String> {
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    for programme in &machine.programmes {
        if let Some(problem) = machine.not_ready(state, programme, now) {
            let told = format!("{} {}", problem.found, problem.next);
            match found.iter_mut().find(|(known, _)| *known == told) {
                Some((_, programmes)) => programmes.push(programme.programme.to_string()),
                None => found.push((told, vec![programme.programme.to_string()])),
            }
        }
    }
    let all = machine.programmes.len();
    let told = found.into_iter().map(|(told, programmes)| match programmes.len() == all {
        true => told,
        false => format!("In {}: {told}", some_of(&programmes, 4)),
    });
    told.collect()
}

fn heading(shown: &Shown, all: usize, why_not: &[String], drifts: &[String]) -> String {
    let name = &shown.machine;
    let beside = match shown.say.words.as_str() {
        "in service" => String::new(),
        words => format!("; {words}"),
    };
    let may = match (why_not, shown.running.is_empty()) {
        ([], true) if all == 0 => format!("{name} has no programme to run a load with"),
        ([], true) => format!("{name} may run a load now{beside}"),
        ([], false) => format!("{name} runs load {}{beside}", shown.running),
        ([first, ..], _) if first.starts_with("In ") => {
            format!("{name} may not run every programme now{beside}")
        }
        _ => format!("{name} may not run a load now: {}", shown.say.words),
    };
    match drifts {
        [] => format!("{may}."),
        [first, rest @ ..] => {
            let more = if rest.is_empty() { String::new() } else { format!(", and {} more", rest.len()) };
            format!("{may}. It drifts: {first}{more}.")
        }
    }
}

impl MachinePage {
    pub fn of(
        visitor: &Visitor,
        machine: &Machine,
        loads: &[&Load],
        verdicts: &Verdicts,
        done: Option<u64>,
    ) -> Self {
        let (state, now) = (&*visitor.state, visitor.now);
        let shown = shown(state, machine, now);
        let found = trends(loads, verdicts);
        let drifts: Vec<String> = found.iter().flat_map(Trend::drifts).collect();
        let why_not = why_not(state, machine, now);
        MachinePage {
            page: Page::of(visitor, "/machines", shown.href.clone(), done),
            heading: heading(&shown, machine.programmes.len(), &why_not, &drifts),
            why_not,
            drifts: drifts.iter().map(|told| format!("{}.", capital(told))).collect(),
            facts: facts(state, machine, now),
            tests: tests(state, machine, now),
            trends: found.iter().enumerate().map(|(n, it)| trend::drawn(it, &format!("trend-{n}"))).collect(),
            cycles: loads.iter().take(ROWS).map(|load| cycle(state, load, verdicts, now)).collect(),
            loads: loads.len(),
            machine: shown,
        }
    }
}

fn facts(state: &State, machine: &Machine, now: Time) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        ("Kind", machine.kind.words().to_string()),
        ("Condition", of_machine(state, machine, now).words),
    ];
    let since = match &machine.condition {
        Condition::Out { since, .. } => Some(*since),
        _ => machine.not_in_service_since,
    };
    facts.extend(since.map(|at| ("Since", when(state, at, now))));
    if let Condition::Out { reason, .. } = &machine.condition {
        facts.push(("Reason", reason.clone()));
    }
    facts.extend(machine.flag.as_ref().map(|flag| {
        ("To be answered", format!("{} First on {}.", flag.sentence(), when(state, flag.since, now)))
    }));
    facts
        .extend(machine.last_biological().map(|at| ("Last good biological indicator", when(state, at, now))));
    for programme in &machine.programmes {
        let test =
            if programme.air_removal_test { ", needs the air-removal test of the test day" } else { "" };
        facts.push((
            "Programme",
            format!("{}: {}{test}", programme.programme, limits(programme, machine.kind)),
        ));
    }
    facts
}

/// The last test of each kind, newest first.
fn tests(state: &State, machine: &Machine, now: Time) -> Vec<TestRow> {
    let mut last: Vec<(&String, bool, Time)> =
        machine.last_tests.iter().map(|(test, it)| (test, it.good, it.at)).collect();
    last.sort_by_key(|(_, _, at)| std::cmp::Reverse(*at));
    let rows = last.into_iter().map(|(test, good, at)| TestRow {
        test: capital(&test.replace('_', " ")),
        good,
        at: when(state, at, now),
        day: state.test_day(at).format("%-d %B").to_string(),
    });
    rows.collect()
}

fn cycle(state: &State, load: &Load, verdicts: &Verdicts, now: Time) -> CycleRow {
    let judged: Option<&Judged> = verdicts.get(&load.load).map(|judged| &**judged);
    let answer = judged.map(|judged| judged.answer.value()).unwrap_or_default();
    let number = |path: &str| {
        let found = answer.pointer(path)?;
        found.as_f64().or_else(|| found.as_str().and_then(|text| text.parse::<f64>().ok()))
    };
    let (below, above) = (number("/saturation/max_below_k"), number("/saturation/max_above_k"));
    let held = number("/hold/duration_s").or_else(|| number("/continuous/duration_s"));
    let a0 = number("/a0_s/total/least").map(|a0| format!("A0 {} s", short(a0)));
    CycleRow {
        href: format!("/loads/{}", segment(load.load.as_str())),
        load: load.load.to_string(),
        started: when(state, load.started_at, now),
        programme: load.programme.programme.to_string(),
        say: of_load_now(state, load),
        verdict: judged.map_or("", |judged| if judged.passed { "passed" } else { "failed" }),
        hold: held.map(lasting).into_iter().chain(a0).collect::<Vec<_>>().join(", "),
        lowest: number("/temperature/min_c").map(|c| format!("{} °C", short(c))).unwrap_or_default(),
        saturation: below.zip(above).map(|(b, a)| format!("{} K", short(b.max(a)))).unwrap_or_default(),
    }
}

pub async fn get(
    visitor: Visitor,
    Of(app): Of<App>,
    Path(name): Path<String>,
    Query(done): Query<Done>,
) -> Response {
    let Some(machine) = visitor.state.machines.get(name.as_str()) else {
        return super::problem::not_found("machine", &name, "/machines", "All machines");
    };
    let loads = last_loads(&visitor.state, machine);
    match app.house.verdicts(&visitor.state.site, loads.iter().copied()).await {
        Ok(verdicts) => render(&MachinePage::of(&visitor, machine, &loads, &verdicts, done.seq())),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_heading_answers_whether_it_may_run() {
        let visitor = sample::judged();
        let machine = visitor.state.machines.get("ST-1").unwrap();
        let loads = last_loads(&visitor.state, machine);
        let verdicts: Verdicts = loads
            .iter()
            .filter_map(|load| Some((load.load.clone(), load.judged.as_ref()?.whole.clone()?)))
            .collect();
        let text = sample::show("machine", &MachinePage::of(&visitor, machine, &loads, &verdicts, Some(3)));
        assert!(text.contains("<h1>ST-1 ") && text.contains("3 min 25 s"), "{text}");
        assert!(text.contains("1 cycle so far; control limits need 10"));
    }

    #[test]
    fn a_drift_stands_in_the_heading_with_its_picture_below() {
        let visitor = sample::visitor();
        let machine = visitor.state.machines.get("ST-1").unwrap();
        let (loads, verdicts) = trend::tests::like(&trend::tests::falling());
        let loads: Vec<&Load> = loads.iter().rev().collect();
        let text =
            sample::show("machine-drift", &MachinePage::of(&visitor, machine, &loads, &verdicts, None));
        assert!(text.contains("It drifts: the hold time in steam-134 left its control limits"), "{text}");
        assert!(text.contains("trend-0-title") && text.contains("class=\"drifts\""));
        let visitor = sample::visitor();
        let machine = visitor.state.machines.get("ST-1").unwrap();
        let shown = shown(&visitor.state, machine, visitor.now);
        let told = heading(&shown, 1, &[], &["the hold time fell".into(), "b".into()]);
        assert!(told.ends_with("It drifts: the hold time fell, and 1 more."), "{told}");
        let told = heading(&shown, 1, &["It is out. Mend it.".into()], &[]);
        assert!(told.starts_with("ST-1 may not run a load now: "), "{told}");
    }
}
