//! What happened, and what is to be done: loads, what is due, exceptions, defects, repairs, what is missing, the ledger.

use super::Rows;
use super::house::{moment, word};
use crate::domain::event::Entry;
use crate::domain::load::Load;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::formats::cells::{Cell, Column, column};
use crate::web::pages::told;

pub const MACHINES: &[Column] = &[
    column("machine", 16),
    column("kind", 18),
    column("programmes", 30),
    column("condition", 24),
    column("running", 14),
    column("not_in_service_since", 17),
];

pub fn machines(state: &State, now: Time) -> Rows {
    let row = |machine: &crate::domain::state::Machine| {
        let programmes: Vec<&str> = machine.programmes.iter().map(|it| it.programme.as_str()).collect();
        vec![
            Cell::text(machine.machine.as_str()),
            word(&machine.kind),
            Cell::text(programmes.join(", ")),
            Cell::text(machine.condition_words(state, now).word),
            machine.running.as_ref().map_or(Cell::Empty, |load| Cell::text(load.as_str())),
            moment(state, machine.not_in_service_since),
        ]
    };
    state.machines.values().map(|machine| row(machine)).collect()
}

pub const LOADS: &[Column] = &[
    column("load", 14),
    column("machine", 16),
    column("programme", 14),
    column("cycle_no", 10),
    column("status", 10),
    column("parts", 8),
    column("started", 17),
    column("started_by", 14),
    column("decided", 17),
    column("decided_by", 14),
    column("reason", 30),
    column("contents", 40),
];

pub fn loads(state: &State, _: Time) -> Rows {
    state.loads.values().map(|load| one_load(state, load)).collect()
}

fn one_load(state: &State, load: &Load) -> Vec<Cell> {
    let contents: Vec<&str> = load.contents.iter().map(|part| part.asset.as_str()).collect();
    let text = |text: Option<&str>| text.map_or(Cell::Empty, Cell::text);
    let cycle = load.cycle_no.as_ref().and_then(|it| serde_json::to_value(it).ok());
    vec![
        Cell::text(load.load.as_str()),
        Cell::text(load.machine.as_str()),
        Cell::text(load.programme.programme.as_str()),
        cycle.map_or(Cell::Empty, |it| Cell::text(it.as_str().map_or_else(|| it.to_string(), String::from))),
        Cell::text(load.status.name()),
        Cell::Whole(load.contents.len() as u64),
        moment(state, Some(load.started_at)),
        Cell::text(&*load.started_by),
        moment(state, load.decided_at),
        text(load.decided_by.as_deref()),
        text(load.reason.as_deref()),
        Cell::text(contents.join(", ")),
    ]
}

pub const DUE: &[Column] = &[
    column("asset", 16),
    column("machine", 16),
    column("load", 14),
    column("why", 24),
    column("in_words", 40),
    column("since", 17),
    column("limit", 8),
    column("found", 8),
];

pub fn due(state: &State, now: Time) -> Rows {
    let name =
        |id: &Option<crate::domain::id::Id>| id.as_ref().map_or(Cell::Empty, |id| Cell::text(id.as_str()));
    let row = |it: &crate::domain::due::DueItem| {
        vec![
            name(&it.asset),
            name(&it.machine),
            name(&it.load),
            Cell::text(it.why),
            Cell::text(it.words()),
            moment(state, it.since),
            Cell::Whole(it.limit.into()),
            Cell::Whole(it.found.into()),
        ]
    };
    state.due(now).iter().map(row).collect()
}

pub const EXCEPTIONS: &[Column] = &[
    column("exception", 20),
    column("load", 14),
    column("machine", 16),
    column("released", 17),
    column("released_by", 14),
    column("open", 8),
    column("reason", 40),
];

/// Loads released alone, early, or without a word on their dryness.
pub fn exceptions(state: &State, _: Time) -> Rows {
    let open_dry = state.dryness_open();
    let row = |kind: &str, load: &Load, open: bool, reason: &str| {
        vec![
            Cell::text(kind),
            Cell::text(load.load.as_str()),
            Cell::text(load.machine.as_str()),
            moment(state, load.decided_at),
            load.decided_by.as_deref().map_or(Cell::Empty, Cell::text),
            Cell::text(if open { "yes" } else { "no" }),
            Cell::text(reason),
        ]
    };
    let mut rows = Rows::new();
    for load in state.released_alone().loads {
        let reason = load.alone.as_ref().map_or("", |it| it.alone.reason.as_str());
        rows.push(row("released_alone", load, load.waits_for_countersignature(), reason));
    }
    for load in state.released_early().loads {
        let reason = load.early.as_ref().map_or("", |it| it.early.reason.as_str());
        rows.push(row("released_early", load, load.waits_for_biological(), reason));
    }
    for load in state.dryness_not_stated().loads {
        rows.push(row("dryness_not_stated", load, open_dry.contains(&load.load), ""));
    }
    rows
}

pub const FINDINGS: &[Column] = &[
    column("finding", 16),
    column("asset", 16),
    column("what", 40),
    column("severity", 10),
    column("case", 14),
    column("when", 17),
    column("by", 14),
    column("open", 8),
];

pub fn findings(state: &State, _: Time) -> Rows {
    let row = |it: &crate::domain::finding::Finding| {
        vec![
            Cell::text(it.finding.as_str()),
            Cell::text(it.asset.as_str()),
            Cell::text(&it.what),
            Cell::text(it.severity.name()),
            it.case.as_ref().map_or(Cell::Empty, |case| Cell::text(case.as_str())),
            moment(state, Some(it.at)),
            Cell::text(&it.by),
            Cell::text(if state.is_open(it) { "yes" } else { "no" }),
        ]
    };
    state.findings.values().map(|it| row(it)).collect()
}

pub const REPAIRS: &[Column] = &[
    column("repair", 16),
    column("asset", 16),
    column("reason", 40),
    column("order", 16),
    column("decontaminated", 8),
    column("sent", 17),
    column("back", 17),
    column("cost", 10),
    column("work", 40),
];

pub fn repairs(state: &State, _: Time) -> Rows {
    let row = |it: &crate::domain::repair::Repair| {
        vec![
            Cell::text(it.repair.as_str()),
            Cell::text(it.asset.as_str()),
            Cell::text(&it.reason),
            it.order.as_ref().map_or(Cell::Empty, |order| Cell::text(order.as_str())),
            Cell::text(if it.decontaminated { "yes" } else { "no" }),
            moment(state, Some(it.sent_at)),
            moment(state, it.back_at),
            Cell::or_empty(it.cost_cents, Cell::Money),
            it.work.as_ref().map_or(Cell::Empty, Cell::text),
        ]
    };
    state.repairs.values().map(|it| row(it)).collect()
}

pub const MISSING: &[Column] = &[
    column("asset", 16),
    column("since", 17),
    column("case", 14),
    column("told_by", 14),
    column("piece", 8),
    column("outcome", 16),
    column("over", 17),
];

pub fn missing(state: &State, _: Time) -> Rows {
    let row = |it: &crate::domain::missing::MissingState| {
        vec![
            Cell::text(it.asset.as_str()),
            moment(state, Some(it.since)),
            it.case.as_ref().map_or(Cell::Empty, |case| Cell::text(case.as_str())),
            Cell::text(&it.told_by),
            Cell::text(if it.piece { "yes" } else { "no" }),
            it.outcome.as_ref().map_or(Cell::Empty, word),
            moment(state, it.over_at),
        ]
    };
    state.missing.values().map(|it| row(it)).collect()
}

pub const LEDGER: &[Column] = &[
    column("entry", 8),
    column("happened", 17),
    column("recorded", 17),
    column("who", 14),
    column("station", 14),
    column("kind", 18),
    column("what", 60),
    column("leaf", 64),
];

pub fn entry(state: &State, entry: &Entry, leaf: &str) -> Vec<Cell> {
    let told = told::entry(entry);
    vec![
        Cell::Whole(entry.seq),
        moment(state, Some(entry.at)),
        moment(state, Some(entry.recorded_at)),
        Cell::text(&entry.actor),
        entry.station.as_deref().map_or(Cell::Empty, Cell::text),
        Cell::text(&entry.kind),
        Cell::text(told.what),
        Cell::text(leaf),
    ]
}
