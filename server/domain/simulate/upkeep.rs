//! What stands beside the loop: searches, stock, machines out and back, packs past their date.

use super::catalogue::law_of;
use super::{Hospital, Task, ask};
use crate::domain::id::Id;
use crate::domain::machine::{AIR_REMOVAL, BackAfter, EMPTY_CYCLE, EMPTY_CYCLES_NEEDED, MachineKind};
use crate::domain::missing::SearchOutcome;
use crate::domain::person::Role;
use crate::domain::set::SetState;
use crate::domain::state::{Condition, Stage, State};
use crate::domain::step::Broken;

impl Hospital {
    /// A pack in the store whose date is over is opened, and goes back before packing.
    pub(super) fn past_date(&mut self, state: &State, set: &SetState) {
        let past = state.members(set).find(|asset| {
            asset.stage == Stage::Ready && asset.counts() && asset.past_date(state, self.clock)
        });
        if let Some(asset) = past {
            self.give(Role::Desk, ask::pack_broken(&asset.asset, Broken::PastDate));
        }
    }

    /// Orders a part of a model, where not enough are on their way.
    pub(super) fn order(&mut self, model: &Id) {
        let on_the_way = self.ordered.entry(model.clone()).or_default();
        if *on_the_way < 2 {
            *on_the_way += 1;
            let days = self.chance.between(1, 5);
            self.deliveries.push((self.clock.plus_minutes(days * 24 * 60), model.clone()));
        }
    }

    pub(super) fn unpack_deliveries(&mut self) {
        let now = self.clock;
        let (here, coming) = std::mem::take(&mut self.deliveries).into_iter().partition(|(at, _)| *at <= now);
        self.deliveries = coming;
        let here: Vec<(crate::domain::time::Time, Id)> = here;
        for (_, model) in here {
            self.serial += 1;
            let serial = 50_000 + self.serial;
            let law = law_of(model.as_str());
            let front = law.map_or("X", |law| law.front);
            let mark = law.is_some_and(|law| law.marked).then(|| ask::line(format!("AW{serial:06}{front}")));
            let asset = Id::new(&format!("{front}-{serial}"));
            self.give(Role::Biomed, ask::add(asset, &model, mark));
        }
    }

    /// A part, or a piece of one, is looked for: found within hours, found after days, or never.
    pub(super) fn search(&mut self, state: &State, asset: &Id, hours: u32) {
        let open = state.missing.get(asset).filter(|missing| missing.over_at.is_none());
        let (Some(found), Some(open)) = (state.assets.get(asset), open) else { return };
        let named = open.outcome.is_some();
        let here = self.chance.happens(if named { 0.02 } else { 0.35 });
        if here {
            let places =
                ["laundry bag", "operating room 2, under the table", "sink 1, drain sieve", "transport box"];
            let place = self.chance.pick(&places).copied().unwrap_or("sink 1");
            let role = if self.chance.happens(0.5) { Role::Charge } else { Role::Desk };
            self.give(role, ask::found(&found.asset, place));
            return;
        }
        if !named && hours >= 3 {
            let outcomes =
                [SearchOutcome::ImagingDone, SearchOutcome::DiscardedSeen, SearchOutcome::NotFound];
            let outcome = self.chance.pick(&outcomes).copied().unwrap_or(SearchOutcome::NotFound);
            self.give(Role::Charge, ask::close_missing(asset, outcome));
        }
        let wait = if named { 24 * 60 } else { 75 };
        self.in_minutes(wait, Task::Search(asset.clone(), hours + 1));
    }

    /// A machine leaves service; its way back is in somebody's diary.
    pub(super) fn out_of_service(&mut self, machine: &Id, reason: &str) {
        self.give(Role::Desk, ask::machine_out(machine, reason));
        let hours = self.chance.between(5, 30);
        self.in_minutes(hours * 60, Task::Requalify(machine.clone(), 0));
    }

    /// The set-up was wrong, so the test is repeated, once; a second failure takes the machine out for good.
    pub(super) fn repeat_test(&mut self, state: &State, name: &Id) {
        let failed = state.machines.get(name).is_some_and(|machine| {
            matches!(&machine.condition, Condition::Out { test: Some(test), .. } if test == AIR_REMOVAL)
        });
        if !failed {
            return;
        }
        let good = !self.chance.happens(0.1);
        if let Some(test) = ask::repeat_air_removal(name, "test pack put over the drain", good) {
            self.give(Role::Desk, test);
        }
        if !good {
            self.in_minutes(24 * 60, Task::Requalify(name.clone(), 0));
        }
    }

    /// What the lead answers in the morning: flags of machines that run on, and what was released alone at night.
    pub(super) fn answers(&mut self, state: &State) {
        for machine in state.machines.values().filter(|machine| machine.flag.is_some()) {
            self.give(Role::Lead, ask::clear_flag(&machine.machine, "one short cycle, the next ones good"));
        }
        let today = self.clock.date(self.plan.zone);
        for load in state.open_exceptions().filter(|load| load.waits_for_countersignature()) {
            if load.alone.as_ref().is_some_and(|it| it.alone.due <= today) && Hospital::is_workday(today) {
                self.give(Role::Lead, ask::countersign(&load.load));
            }
        }
    }

    /// Back to service; a steriliser after three good empty cycles.
    pub(super) fn requalify(&mut self, state: &State, name: &Id, n: u32) {
        let Some(machine) = state.machines.get(name) else { return };
        let steriliser = machine.kind == MachineKind::Steriliser;
        match &machine.condition {
            Condition::Out { .. } if n == 0 => {
                let after = if steriliser { BackAfter::Failure } else { BackAfter::Minor };
                self.give(Role::Lead, ask::machine_back(name, after));
                if steriliser {
                    self.in_minutes(30, Task::Requalify(name.clone(), 1));
                }
            }
            Condition::Requalifying { .. } if n <= EMPTY_CYCLES_NEEDED => {
                if let Some(test) = ask::machine_test(name, EMPTY_CYCLE, true) {
                    self.give(Role::Desk, test);
                }
                self.in_minutes(35, Task::Requalify(name.clone(), n + 1));
            }
            _ => {}
        }
    }
}
