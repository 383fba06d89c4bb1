//! Rows that are only ever added, or begin again: by what an entry is found, when turns began, who sat where.

use super::connection::Arg;
use super::facts::{Rows, SEATING, TURN};
use super::rows::Write;
use crate::domain::event::Thing;
use crate::domain::state::{Changes, Seating, TurnBegan};

/// The rows by which an entry's things find it again.
pub fn history_rows(site: &str, seq: u64, things: &[Thing]) -> Rows {
    things
        .iter()
        .map(|thing| vec![site.into(), thing.kind.into(), thing.name.as_str().into(), (seq as i64).into()])
        .collect()
}

pub fn turn_row(site: &str, it: &TurnBegan) -> Vec<Arg> {
    vec![
        site.into(),
        it.asset.as_str().into(),
        i64::from(it.turn).into(),
        (it.seq as i64).into(),
        it.at.0.into(),
    ]
}

pub fn seating_row(site: &str, it: &Seating) -> Vec<Arg> {
    vec![
        site.into(),
        it.asset.as_str().into(),
        (it.seq as i64).into(),
        i64::from(it.joined).into(),
        it.set.as_str().into(),
        it.line.as_str().into(),
        i64::from(it.position).into(),
    ]
}

/// The rows of turns, where one that was taken back may begin again, and of seatings, which are only ever added.
pub fn grown(site: &str, changes: &Changes) -> [Write; 2] {
    [
        TURN.putting(changes.turns.values().map(|it| turn_row(site, it)).collect()),
        SEATING.adding(changes.seatings.iter().map(|it| seating_row(site, it)).collect()),
    ]
}
