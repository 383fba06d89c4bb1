//! The lines of a sheet that are entered, and what is left to do when all of them are.

use super::paper_entry::Known;
use super::rules;
use super::shared::{count, listed, segment, some_of, time};
use super::told;
use crate::domain::event::{Entry, Event};
use crate::domain::odd::Way;
use crate::domain::paper_told::{self, SheetTold};
use crate::domain::rested::Rested;
use crate::domain::state::State;
use crate::domain::time::Time;

/// A line as it was entered.
pub struct Row {
    pub line: String,
    pub seq: u64,
    pub at: String,
    pub recorded: String,
    pub by: String,
    pub what: String,
    pub broken: Vec<String>,
}

/// What the sheet came to.
#[derive(Default)]
pub struct Sum {
    pub deviations: usize,
    /// Each hold with the parts of the sheet that are under it.
    pub held: Vec<String>,
    /// What is left to do, with where.
    pub left: Vec<(String, String)>,
}

fn by(known: &Known, entry: &Entry, event: &Event) -> String {
    let done_by = event.beside.late.as_ref().and_then(|late| late.done_by.as_deref());
    match done_by {
        None => entry.actor.clone(),
        Some(code) => match known.people.get(code) {
            Some(name) => format!("{name} ({code}), entered by {}", entry.actor),
            None => format!("somebody without an account, entered by {}", entry.actor),
        },
    }
}

pub fn rows(state: &State, known: &Known, now: Time) -> Vec<Row> {
    let lines = known.entries.iter().rev().filter_map(|(entry, event)| {
        let late = event.beside.late.as_ref()?;
        let deviation = event.beside.deviation.iter();
        Some(Row {
            line: late.line.map(|line| line.to_string()).unwrap_or_default(),
            seq: entry.seq,
            at: time(state, entry.at, now),
            recorded: time(state, entry.recorded_at, now),
            by: by(known, entry, event),
            what: told::entry(entry).what,
            broken: deviation.map(|code| rules::told(Way::Deviation, code.name())).collect(),
        })
    });
    lines.collect()
}

/// What was decided meanwhile about a part whose line came afterwards.
pub fn rested_words(it: &Rested) -> String {
    let names =
        |ids: &[crate::domain::id::Id]| some_of(&ids.iter().map(ToString::to_string).collect::<Vec<_>>(), 4);
    let mut all = Vec::new();
    if !it.loads.is_empty() {
        all.push(format!("{} released with it: {}", loads(it.loads.len()), names(&it.loads)));
    }
    if !it.cases.is_empty() {
        all.push(format!("it went to {} {}", count_cases(it.cases.len()), names(&it.cases)));
    }
    format!("{} had gone on before that was told, in turn {}: {}.", it.asset, it.turn, listed(&all))
}

fn loads(many: usize) -> &'static str {
    if many == 1 { "a load was" } else { "loads were" }
}

fn count_cases(many: usize) -> &'static str {
    if many == 1 { "case" } else { "cases" }
}

impl Sum {
    pub fn of(state: &State, entries: &[(Entry, Event)]) -> Sum {
        let SheetTold { deviations, held, rested, loads, cases, missing } = paper_told::told(state, entries);
        let mut sum = Sum { deviations, ..Sum::default() };
        for (hold, parts) in &held {
            let reason = state.holds.get(hold).map_or("", |hold| hold.reason.as_str());
            let parts: Vec<String> = parts.iter().map(ToString::to_string).collect();
            sum.held.push(format!("{}: {hold}, {reason}", some_of(&parts, 6)));
            let first = parts.first().map(|part| segment(part)).unwrap_or_default();
            let words = format!("Look at {}, and lift hold {hold} or act on it", some_of(&parts, 4));
            sum.left.push((words, format!("/assets/{first}")));
        }
        for it in &rested {
            let words = format!("{} Look whether that still holds", rested_words(it));
            sum.left.push((words, format!("/assets/{}", segment(it.asset.as_str()))));
        }
        for load in &loads {
            let href = format!("/loads/{}", segment(load.as_str()));
            sum.left.push((format!("Decide load {load}: its record or readings first"), href));
        }
        for case in &cases {
            let out = state.cases.get(case).map_or(0, |it| it.parts.values().filter(|it| it.out).count());
            let words = format!("Count case {case} back: {}", count(out, "part is out", "parts are out"));
            sum.left.push((words, format!("/cases/{}", segment(case.as_str()))));
        }
        for part in &missing {
            sum.left.push((format!("{part} is not accounted for: search"), "/findings#missing".into()));
        }
        sum
    }
}
