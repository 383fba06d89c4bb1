//! How the simulated hospital works off a recall: what is in the house goes through the step again, every case is asked
//! after, then infection prevention closes it. Now and then a steriliser turns out to be wrong without any growth.

use super::rounds::DAY;
use super::{Hospital, ask_recall, minutes_between};
use crate::domain::affected::{Affected, Fate, affected};
use crate::domain::id::Id;
use crate::domain::load::LoadStatus;
use crate::domain::model::StepKind;
use crate::domain::person::Role;
use crate::domain::recall::{After, Recall};
use crate::domain::release::{Spores, spores};
use crate::domain::state::State;

impl Hospital {
    pub(super) fn recalls(&mut self, state: &State) {
        for recall in state.recalls.values().filter(|recall| recall.is_open()) {
            self.work_off(state, recall);
        }
        if !self.chance.happens(0.004) {
            return;
        }
        let last = state.loads.values().rev().take(6).find(|load| {
            load.status == LoadStatus::Released && load.programme.step() == StepKind::Sterilised
        });
        if let Some(load) = last {
            let why = "its pressure sensor was found to drift at the yearly test";
            self.give(Role::Lead, ask_recall::recall_since(&load.machine, &load.load, why));
        }
    }

    fn work_off(&mut self, state: &State, recall: &Recall) {
        let name = &recall.recall;
        let age = minutes_between(recall.opened_at, self.clock);
        let found = affected(state, recall);
        if recall.narrowed.is_empty() && recall.loads.len() > 3 && self.chance.happens(0.15) {
            // The load whose indicator grew stays; where none did, the last one is to blame.
            let grown = |id: &&Id| state.loads.get(*id).is_some_and(|load| spores(load) == Spores::Grew);
            let mut last: Vec<Id> = recall.loads.iter().filter(grown).cloned().collect();
            if last.is_empty() {
                last.extend(recall.loads.last().cloned());
            }
            self.give(
                Role::Infection,
                ask_recall::narrow_recall(name, &last, "the trap was blocked at that load only"),
            );
            return;
        }
        let open = |fate: Fate| open_parts(state, &found, fate);
        let here: Vec<Id> = [Fate::Here, Fate::Back, Fate::Over].into_iter().flat_map(open).collect();
        if !here.is_empty() {
            let act = ask_recall::answer_parts(name, &here, Some(After::Reprocess), "goes through it again");
            self.give(Role::Lead, act);
        }
        if age > 4 * DAY {
            let lost: Vec<Id> = open(Fate::Missing).into_iter().chain(open(Fate::Out)).collect();
            let held = |id: &&Id| found.parts.get(*id).is_some_and(|part| part.held);
            let (held, free): (Vec<_>, Vec<_>) = lost.iter().partition(|id| held(id));
            for (parts, then) in [(held, Some(After::Clear)), (free, None)] {
                let parts: Vec<Id> = parts.into_iter().cloned().collect();
                if !parts.is_empty() {
                    let act =
                        ask_recall::answer_parts(name, &parts, then, "the people it was used on were told");
                    self.give(Role::Infection, act);
                }
            }
        }
        let (parts, cases) = found.open();
        if age > 5 * DAY && !cases.is_empty() {
            self.give(Role::Infection, ask_recall::answer_cases(name, &cases, "written to, and well"));
        } else if age > 6 * DAY && parts.is_empty() && cases.is_empty() {
            self.give(
                Role::Infection,
                ask_recall::close_recall(name, "everything and everyone is answered for"),
            );
        }
    }
}

/// The parts of one fate without an answer, but for those that lie in a load.
fn open_parts(state: &State, found: &Affected, fate: Fate) -> Vec<Id> {
    let free = |id: &Id| state.assets.get(id).is_some_and(|asset| asset.in_load.is_none());
    let of_fate = found.parts.iter().filter(|(_, part)| part.fate == fate && !part.answered());
    of_fate.filter(|(id, _)| free(id)).map(|(id, _)| id.clone()).collect()
}
