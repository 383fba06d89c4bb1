//! What is open when a shift is handed over, as rows: machines, loads, recalls, reserves, cases, holds, requests.

use std::sync::Arc;

use super::say::{Say, of_load_now};
use super::shared::{count, segment, some_of, time};
use crate::domain::event::Event;
use crate::domain::hold::HoldKind;
use crate::domain::late_start;
use crate::domain::request_stands::{RequestTold, Standing};
use crate::domain::state::{Condition, Machine, State};
use crate::domain::time::Time;

/// Something that is open, in a word or two and a sentence.
pub struct Item {
    pub href: String,
    pub called: String,
    pub detail: String,
    pub since: String,
    pub say: Say,
    /// It began since the last handover.
    pub is_new: bool,
}

pub fn loads(state: &State, (from, now): (Time, Time)) -> Vec<Item> {
    let mut open: Vec<_> = state.loads.values().filter(|load| load.decided_at.is_none()).collect();
    // Those with a record wait for a person; those without wait for their machine.
    open.sort_by_key(|load| (load.judged.is_none(), load.started_at, load.load.clone()));
    let item = |load: &std::sync::Arc<crate::domain::load::Load>| Item {
        href: format!("/loads/{}", segment(load.load.as_str())),
        called: load.load.to_string(),
        detail: format!(
            "{}, {}{}",
            load.machine,
            count(load.contents.len(), "part", "parts"),
            super::immediate_use::beside(load)
        ),
        since: time(state, load.started_at, now),
        say: of_load_now(state, load),
        is_new: load.started_at >= from,
    };
    open.into_iter().map(item).collect()
}

pub fn machines(state: &State, (from, now): (Time, Time)) -> Vec<Item> {
    let asks = |machine: &&Arc<Machine>| machine.condition != Condition::InService || machine.flag.is_some();
    let item = |machine: &Arc<Machine>| {
        let flagged = machine.flag.as_ref().map(|flag| flag.since);
        let since = match &machine.condition {
            Condition::Out { since, .. } => Some(*since),
            Condition::InService | Condition::Requalifying { .. } => machine.not_in_service_since.or(flagged),
        };
        Item {
            href: format!("/machines/{}", segment(machine.machine.as_str())),
            called: machine.machine.to_string(),
            detail: machine.kind.words().into(),
            since: since.map(|since| time(state, since, now)).unwrap_or_default(),
            say: super::say::of_machine(state, machine, now),
            is_new: since.is_some_and(|since| since >= from),
        }
    };
    state.machines.values().filter(asks).map(item).collect()
}

pub fn exceptions(state: &State, (from, now): (Time, Time)) -> Vec<Item> {
    let item = |row: super::exception::Row| Item {
        href: row.href,
        called: row.load,
        detail: row.why,
        since: row.released,
        say: row.say,
        is_new: row.released_at.is_some_and(|at| at >= from),
    };
    let dryness = super::exception::dryness_rows(state, now);
    super::exception::open_rows(state, now).chain(dryness).map(item).collect()
}

pub fn recalls(state: &State, (from, now): (Time, Time)) -> Vec<Item> {
    let item = |open: super::recalls::Open| Item {
        href: open.href,
        called: open.recall,
        detail: open.detail,
        since: time(state, open.since, now),
        say: open.say,
        is_new: open.since >= from,
    };
    super::recalls::open(state).map(item).collect()
}

pub fn holds(state: &State, (from, now): (Time, Time)) -> Vec<Item> {
    let mut open: Vec<_> = state.holds.values().filter(|hold| hold.lifted_at.is_none()).collect();
    open.sort_by_key(|hold| (std::cmp::Reverse(hold.kind), hold.placed_at, hold.hold.clone()));
    let items = open.into_iter().filter_map(|hold| {
        let held = state.assets.values().filter(|asset| {
            // What is retired waits for nobody any more.
            asset.retired.is_none() && asset.holds.iter().any(|it| it.hold == hold.hold)
        });
        let held: Vec<String> = held.map(|asset| asset.asset.to_string()).collect();
        let first = held.first()?;
        Some(Item {
            href: match hold.kind {
                HoldKind::Prion => format!("/holds/{}/box", segment(hold.hold.as_str())),
                _ => format!("/assets/{}", segment(first)),
            },
            called: hold.hold.to_string(),
            detail: format!("{}: {}", some_of(&held, 6), hold.reason),
            since: format!("{}, {}", time(state, hold.placed_at, now), hold.placed_by),
            say: Say::held(format!("{} hold, {}", hold.kind.name(), count(held.len(), "part", "parts"))),
            is_new: hold.placed_at >= from,
        })
    });
    items.collect()
}

pub fn cases(state: &State, (from, now): (Time, Time)) -> Vec<Item> {
    let mut out: Vec<_> = state.open_cases().filter(|case| case.anything_out()).collect();
    out.sort_by_key(|case| (case.start, case.case.clone()));
    out.into_iter()
        .map(|case| {
            let parts = case.parts.values().filter(|part| part.out).count();
            let room = case.room.as_ref().map(|room| format!("{}, ", room.0)).unwrap_or_default();
            Item {
                href: format!("/cases/{}", segment(case.case.as_str())),
                called: case.case.to_string(),
                detail: format!("{room}{} not counted back", count(parts, "part", "parts")),
                since: time(state, case.start, now),
                say: Say::new("out", "ink", "out, count open"),
                is_new: case.start >= from,
            }
        })
        .collect()
}

pub fn reserves(state: &State, now: Time) -> Vec<Item> {
    let below = state.board(now).reserves.into_iter().filter(|reserve| reserve.ready < reserve.minimum);
    below
        .map(|reserve| Item {
            href: "/sets".into(),
            called: reserve.count_sheet.to_string(),
            detail: format!("{} ready, {} needed for emergencies", reserve.ready, reserve.minimum),
            since: String::new(),
            say: Say::new("not_ready", "stop", "below minimum"),
            is_new: false,
        })
        .collect()
}

/// What the board asks of the desk, and nobody has done.
pub fn requests(state: &State, (from, now): (Time, Time)) -> Vec<Item> {
    let item = |it: &RequestTold| Item {
        href: format!("/cases/{}", segment(it.asks.case.as_str())),
        called: it.asks.case.to_string(),
        detail: it.sentence.clone(),
        since: format!("{}, {}", time(state, it.at, now), it.by),
        say: Say::new("", if it.status == Standing::Sent { "due" } else { "turn" }, it.status.words()),
        is_new: it.at >= from,
    };
    state.waiting_requests(now).iter().map(item).collect()
}

/// Cases that began late, or have not begun.
pub fn late_starts(state: &State, events: &[(Time, Event)], (from, now): (Time, Time)) -> Vec<Item> {
    let item = |it: late_start::LateStart| Item {
        href: format!("/cases/{}", segment(it.case.as_str())),
        called: it.case.to_string(),
        detail: it.how.words(state),
        since: time(state, it.start, now),
        say: match it.how {
            late_start::How::NotBegun { .. } => Say::due("not begun"),
            late_start::How::Opened { .. } | late_start::How::PutOff { .. } => Say::new("", "ink", "late"),
        },
        is_new: true,
    };
    late_start::late_starts(state, events, from, now).into_iter().map(item).collect()
}
