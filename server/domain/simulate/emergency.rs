//! Emergencies: at any hour, with what is ready, whoever it was kept for.

use super::{Hospital, Show, Task, ask};
use crate::domain::command::Around;
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::readiness::{SetReadiness, set_status};
use crate::domain::refusal::Code;
use crate::domain::state::State;

/// How many emergencies a day come for each set.
const PER_SET_AND_DAY: f64 = 0.03;

impl Hospital {
    /// Minutes until the next one: they come independently of each other.
    pub(super) fn until_emergency(&mut self) -> i64 {
        let mean = 24.0 * 60.0 / (PER_SET_AND_DAY * f64::from(self.plan.sets.max(1)));
        self.chance.weibull(1.0, mean).min(1e7) as i64 + 1
    }

    pub(super) fn emergency(&mut self, state: &State) {
        let wait = self.until_emergency();
        self.in_minutes(wait, Task::Emergency);
        let sheet = match self.chance.unit() {
            x if x < 0.5 => "adult",
            x if x < 0.9 => "child",
            _ => "tracheal",
        };
        let mut sets = Vec::new();
        let mut hot = false;
        for sheet in [sheet, "camera"] {
            match self.quickest(state, sheet) {
                Some((set, cooling)) => {
                    hot |= cooling;
                    sets.push(set);
                }
                None => return,
            }
        }
        let (role, overriding) = if hot {
            let why = "airway at risk, nothing else is ready";
            (Role::Clinician, Some(ask::overriding(Code::StillCooling, why, Some("the surgeon"))))
        } else if self.is_night() {
            (Role::Clinician, None)
        } else {
            (Role::Charge, None)
        };
        self.unnamed = Some(Show { sets: sets.clone(), ..Show::default() });
        self.give_with(role, ask::issue(None, &sets), Around { overriding, ..Around::default() });
    }

    /// A set of a sheet that is ready, else one that only has to cool.
    fn quickest(&self, state: &State, sheet: &str) -> Option<(Id, bool)> {
        let of_sheet = state.sets.values().filter(|set| set.count_sheet.as_str() == sheet);
        let mut cooling = None;
        for set in of_sheet {
            let status = set_status(state, set, self.clock);
            match status.status {
                SetReadiness::Ready | SetReadiness::ReadyShort => return Some((set.set.clone(), false)),
                SetReadiness::InTurn if status.ready_at.is_some() => cooling = Some((set.set.clone(), true)),
                _ => {}
            }
        }
        cooling
    }

    /// The emergency's case has a name now.
    pub(super) fn emergency_made(&mut self, case: &Id) {
        if let Some(show) = self.unnamed.take() {
            self.shows.insert(case.clone(), show);
            let minutes = self.chance.between(6, 15);
            self.in_minutes(minutes, Task::Open(case.clone()));
        }
    }
}
