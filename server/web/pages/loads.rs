//! The loads: those that wait for a decision first, then the latest; and the start of a new one.

use askama::Template;
use axum::extract::{self, Query};
use axum::response::Response;
use serde::Deserialize;

use super::immediate_use::Offer;
use super::machine::why_not;
use super::queue::waits_for;
use super::say::{Say, of_load_now};
use super::shared::{Page, count, segment, time, when};
use crate::app::records::Waiting;
use crate::domain::expected::expected_end;
use crate::domain::load::Load;
use crate::domain::machine::MachineKind;
use crate::domain::model::StepKind;
use crate::domain::scan::resolve;
use crate::domain::state::{Asset, Machine, Named, State};
use crate::domain::time::Time;
use crate::formats::json::normal;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const MOST_ROWS: usize = 100;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
    /// What is already to go into the new load.
    pub scan: String,
    /// Loads that started before this load are listed.
    pub after: String,
}

pub struct Row {
    pub href: String,
    pub load: String,
    pub machine: String,
    pub programme: String,
    pub cycle: String,
    pub parts: String,
    pub started: String,
    pub by: String,
    pub say: Say,
    pub judged: bool,
    /// When a running one should be over.
    pub expected: String,
}

/// A machine that runs loads, as a choice of the form.
pub struct Choice {
    pub machine: String,
    pub kind: &'static str,
    pub condition: String,
    pub programmes: Vec<(String, String)>,
    /// It is free and does what the scanned things need next; its form stands open.
    pub open: bool,
    pub sterilises: bool,
    /// Why no load can be started in it now; empty where one can.
    pub why: String,
    /// Why some of its programmes cannot be started now, though others can.
    pub some: String,
}

#[derive(Template)]
#[template(path = "loads.html")]
pub struct LoadsPage {
    pub page: Page,
    pub heading: String,
    pub open: Vec<Row>,
    pub decided: Vec<Row>,
    pub next: String,
    pub machines: Vec<Choice>,
    pub scan: String,
    pub offer: Offer,
    /// Files of the folder of records that belong to no load, or cannot be read.
    pub waiting: Vec<File>,
}

/// A file that a machine left and that was not judged.
pub struct File {
    pub machine: String,
    pub file: String,
    pub since: String,
    pub reason: String,
}

fn row(state: &State, load: &Load, now: Time) -> Row {
    Row {
        href: format!("/loads/{}", segment(load.load.as_str())),
        load: load.load.to_string(),
        machine: load.machine.to_string(),
        programme: load.programme.programme.to_string(),
        cycle: load.cycle_no.as_ref().map(|cycle| cycle.0.clone()).unwrap_or_default(),
        parts: count(load.contents.len(), "part", "parts") + &super::immediate_use::beside(load),
        started: when(state, load.started_at, now),
        by: load.started_by.to_string(),
        say: of_load_now(state, load),
        judged: load.judged.is_some(),
        expected: expected(state, load, now),
    }
}

/// When a running load should be over, as a sentence.
pub fn expected(state: &State, load: &Load, now: Time) -> String {
    match expected_end(state, load) {
        None => String::new(),
        Some(at) if at > now => format!("should end about {}", time(state, at, now)),
        Some(at) => format!("should have ended about {}: its record is missing", time(state, at, now)),
    }
}

/// The step that what was scanned waits for, where a load does it.
fn step_of(state: &State, scan: &str) -> Option<StepKind> {
    let waits = |asset: &Asset| waits_for(state, asset).filter(|(_, by_load)| *by_load).map(|(step, _)| step);
    match resolve(state, &normal(scan)).ok()? {
        Named::Asset(id) => state.assets.get(&id).and_then(|asset| waits(asset)),
        Named::Set(id) => state.members(state.sets.get(&id)?).filter_map(|asset| waits(asset)).min(),
    }
}

/// Why no load can be started in a machine now; or, in the second place, why not in some of its programmes.
fn not_now(state: &State, machine: &Machine, now: Time) -> (String, String) {
    if let Some(running) = &machine.running {
        let load = state.loads.get(running).map(|load| expected(state, load, now)).unwrap_or_default();
        let until = if load.is_empty() { String::new() } else { format!(", which {load}") };
        return (format!("It runs load {running}{until}."), String::new());
    }
    let free = machine.programmes.iter().any(|programme| machine.not_ready(state, programme, now).is_none());
    let told = why_not(state, machine, now).join(" ");
    match (machine.programmes.is_empty(), free) {
        (true, _) => ("It has no programme to run a load with.".into(), String::new()),
        (false, true) => (String::new(), told),
        (false, false) => (told, String::new()),
    }
}

fn machines(state: &State, scan: &str, now: Time) -> Vec<Choice> {
    let step = scan.split_whitespace().find_map(|text| step_of(state, text));
    let does = |machine: &Machine| machine.programmes.iter().any(|it| Some(it.step()) == step);
    let loaded = |kind| matches!(kind, MachineKind::Steriliser | MachineKind::WasherDisinfector);
    let all = state.machines.values().filter(|machine| loaded(machine.kind));
    let mut choices: Vec<Choice> = all
        .map(|machine| {
            let (why, some) = not_now(state, machine, now);
            Choice {
                machine: machine.machine.to_string(),
                kind: machine.kind.words(),
                sterilises: machine.kind == MachineKind::Steriliser,
                open: why.is_empty() && does(machine),
                condition: match &machine.running {
                    Some(load) => format!("runs load {load}"),
                    None => machine.condition.words(),
                },
                programmes: programmes(state, machine, now),
                why,
                some,
            }
        })
        .collect();
    // What can be started comes first.
    choices.sort_by_key(|choice| !choice.why.is_empty());
    choices
}

/// The programmes of a machine that can be started now.
fn programmes(state: &State, machine: &Machine, now: Time) -> Vec<(String, String)> {
    let free = machine.programmes.iter().filter(|it| machine.not_ready(state, it, now).is_none());
    free.map(|programme| {
        let band = programme.band_c.map(|band| format!(", {band} °C")).unwrap_or_default();
        let hold = programme.hold_s.map(|hold| format!(", {hold} s")).unwrap_or_default();
        let a0 = programme.a0_s.map(|a0| format!(", A0 {a0} s")).unwrap_or_default();
        let words = format!("{}: {}{band}{hold}{a0}", programme.programme, programme.method.words());
        (programme.programme.to_string(), words)
    })
    .collect()
}

impl LoadsPage {
    pub fn of(visitor: &Visitor, asked: &Asked, waiting: &[Waiting]) -> LoadsPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let mut sorted: Vec<&Load> = state.loads.values().map(|load| &**load).collect();
        sorted.sort_by(|a, b| (b.started_at, &b.load).cmp(&(a.started_at, &a.load)));
        let open: Vec<Row> = sorted
            .iter()
            .filter(|load| load.decided_at.is_none())
            .map(|load| row(state, load, now))
            .collect();
        let from = state.loads.get(asked.after.as_str()).map(|load| (load.started_at, load.load.clone()));
        let decided: Vec<&Load> = sorted
            .into_iter()
            .filter(|load| load.decided_at.is_some())
            .filter(|load| from.as_ref().is_none_or(|(at, id)| (load.started_at, &load.load) < (*at, id)))
            .take(MOST_ROWS + 1)
            .collect();
        let more = decided.len() > MOST_ROWS;
        let shown: Vec<&Load> = decided.into_iter().take(MOST_ROWS).collect();
        let next = shown.last().filter(|_| more).map(|load| load.load.to_string()).unwrap_or_default();
        let done = asked.done.as_deref().and_then(|text| text.parse().ok());
        LoadsPage {
            page: Page::of(visitor, "/loads", "/loads", done),
            heading: heading(&open),
            decided: shown.into_iter().map(|load| row(state, load, now)).collect(),
            open,
            next,
            machines: machines(state, &asked.scan, now),
            offer: Offer::of(state),
            waiting: waiting.iter().take(MOST_ROWS).map(|it| file(state, it, now)).collect(),
            scan: asked.scan.split_whitespace().collect::<Vec<_>>().join("\n"),
        }
    }
}

fn file(state: &State, it: &Waiting, now: Time) -> File {
    File {
        machine: it.machine.clone(),
        file: it.file.clone(),
        since: when(state, it.since, now),
        reason: it.reason.clone(),
    }
}

/// What can be decided comes before what has no record yet; among equals the oldest.
fn heading(open: &[Row]) -> String {
    let judged: Vec<&Row> = open.iter().filter(|row| row.judged).collect();
    match (open, judged.as_slice()) {
        ([], _) => "No load waits for a decision.".into(),
        ([one], _) => format!("One load waits: {} in {}, {}.", one.load, one.machine, one.say.words),
        ([.., oldest], []) => format!(
            "{} loads have no record yet; the oldest is {} in {}, since {}.",
            open.len(),
            oldest.load,
            oldest.machine,
            oldest.started
        ),
        (_, [.., first]) => format!(
            "{} of {} open loads can be decided; first {} in {}: {}.",
            judged.len(),
            open.len(),
            first.load,
            first.machine,
            first.say.words
        ),
    }
}

pub async fn get(
    visitor: Visitor,
    extract::State(app): extract::State<App>,
    Query(asked): Query<Asked>,
) -> Response {
    let waiting = app.house.records.of(&visitor.state.site);
    render(&LoadsPage::of(&visitor, &asked, &waiting))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_running_load_says_when_it_should_end() {
        let visitor = sample::judged();
        let mut state = (*visitor.state).clone();
        let first = state.loads.remove("S-311").unwrap();
        state.loads.clear();
        let named = |name: String| crate::domain::id::Id::new(&name).unwrap();
        let mut running = (*first).clone();
        running.started_at = visitor.now;
        (running.status, running.judged) = (crate::domain::load::LoadStatus::Running, None);
        assert_eq!(expected(&state, &running, visitor.now), "", "too little is known");
        for n in 1..=4 {
            let mut load = (*first).clone();
            load.load = named(format!("S-40{n}"));
            load.started_at = visitor.now.plus_minutes(-60 * n);
            load.judged.as_mut().unwrap().ended_at = load.started_at.plus_minutes(20 + n);
            state.loads.insert(load.load.clone(), load.into());
        }
        // The middle one of 21, 22, 23 and 24 minutes, the later of two.
        let at = time(&state, visitor.now.plus_minutes(23), visitor.now);
        assert_eq!(expected(&state, &running, visitor.now), format!("should end about {at}"));
        let late = visitor.now.plus_minutes(30);
        assert!(expected(&state, &running, late).ends_with("its record is missing"));
    }

    #[test]
    fn the_loads_that_wait_stand_first() {
        let asked = Asked { scan: "B2".into(), ..Asked::default() };
        let visitor = sample::visitor();
        let waiting = [Waiting {
            machine: "ster-1".into(),
            file: "<cycle> 7.csv".into(),
            bytes: Some(9),
            since: visitor.now,
            reason: "No load of ster-1 that is not decided has cycle number 7.".into(),
        }];
        let text = sample::show("loads", &LoadsPage::of(&visitor, &asked, &waiting));
        assert!(text.contains("&#60;cycle&#62; 7.csv") && text.contains("has cycle number 7."));
        assert!(text.contains("One load waits") && text.contains("\nB2</textarea>"));
    }
}
