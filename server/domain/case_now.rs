//! How a case stands at a moment: whether anybody knows what it needs, and whether it should have begun.

use super::case::{Case, CaseStatus};
use super::id::Id;
use super::state::State;
use super::text::Line;
use super::time::Time;

/// For so long a case whose start has passed is one that should have begun; what is older was forgotten.
const OVERDUE_MINUTES: i64 = 12 * 60;

impl Case {
    /// Nobody knows yet what it needs: its schedule names a procedure that is mapped to nothing, or none; or it names no
    /// count sheet, nothing was chosen for it, and nothing went out to it.
    pub fn needs_not_known(&self) -> bool {
        let names_none = self.needs.is_empty() && self.chosen.is_none() && self.parts.is_empty();
        names_none || self.by_schedule_not_known()
    }

    /// The same, by what its schedule says alone.
    pub fn by_schedule_not_known(&self) -> bool {
        self.schedule.as_ref().is_some_and(|of| of.needs_not_known())
    }

    /// Its start has passed, lately, and nothing was issued to it: it was neither moved nor cancelled.
    pub fn should_have_begun(&self, now: Time) -> bool {
        let lately = self.start < now && now < self.start.plus_minutes(OVERDUE_MINUTES);
        lately && self.status() == CaseStatus::Planned
    }

    /// It is still to take its sets: it is to begin, or should have begun and would not be over.
    pub fn is_to_take(&self, now: Time) -> bool {
        self.status() == CaseStatus::Planned && (now <= self.start || now < self.end())
    }
}

impl State {
    /// What is said of a case in whose room another one is planned at the same time.
    pub fn in_the_same_room(&self, case: &Case) -> Option<String> {
        let room = case.room.as_ref().filter(|_| case.is_open())?;
        self.at_once_in(room, &case.case, (case.start, case.end()))
    }

    /// The same of a case that is being planned.
    pub(super) fn at_once_in(&self, room: &Line, case: &Id, (from, until): (Time, Time)) -> Option<String> {
        let at_once = |other: &&Case| {
            let same = other.case != *case && other.room.as_ref() == Some(room);
            same && other.start < until && from < other.end()
        };
        let others = self.open_cases().filter(at_once);
        let others: Vec<String> =
            others.map(|other| format!("{} at {}", other.case, other.start.clock(self.zone))).collect();
        let told = others.join(", ");
        let room = &room.0;
        (!told.is_empty()).then(|| {
            format!("Planned in {room} at the same time: case {told}. One of them has to wait, or to move.")
        })
    }

    /// The moments from which the clock alone says something else of a case to which nothing was issued.
    pub(super) fn case_moments(&self) -> impl Iterator<Item = Time> {
        let planned = self.open_cases().filter(|case| case.status() == CaseStatus::Planned);
        planned.flat_map(|case| {
            let begins = Time(case.start.0.saturating_add(1));
            [begins, case.end().max(begins), case.start.plus_minutes(OVERDUE_MINUTES)]
        })
    }
}
