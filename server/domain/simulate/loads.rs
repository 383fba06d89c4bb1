//! Washers and sterilisers: loads put together from what waits, judged by their records, and decided.

use std::collections::BTreeSet;

use super::catalogue::{PEROXIDE, STEAM, WASH};
use super::desk::ForMachines;
use super::{Hospital, Task, ask, records};
use crate::domain::command::Around;
use crate::domain::event::{Event, What};
use crate::domain::id::Id;
use crate::domain::load::{IndicatorKind, LoadStatus};
use crate::domain::machine::{AIR_REMOVAL, BIOLOGICAL};
use crate::domain::person::Role;
use crate::domain::refusal::Code;
use crate::domain::release;
use crate::domain::route::{Method, StepKind};
use crate::domain::state::{Condition, Machine, Stage, State};

/// How many sets go into one machine.
const WASHER_HOLDS: usize = 4;
const STERILISER_HOLDS: usize = 6;
/// The hold of a cycle as it should be, and of one that fails.
const GOOD_STEAM_S: u32 = 200;
const GOOD_WASH_S: u32 = 320;
const SHORT_S: u32 = 110;

impl Hospital {
    pub(super) fn start_loads(&mut self, state: &State, waiting: ForMachines) {
        let ForMachines { mut washers, mut steam, mut cold } = waiting;
        for machine in state.machines.values() {
            if machine.running.is_some() || machine.condition != Condition::InService {
                continue;
            }
            for programme in &machine.programmes {
                let (queue, most, minutes) = match programme.programme.as_str() {
                    WASH => (&mut washers, WASHER_HOLDS, 55),
                    STEAM => (&mut steam, STERILISER_HOLDS, 48),
                    PEROXIDE => (&mut cold, STERILISER_HOLDS, 50),
                    _ => continue,
                };
                let sets: Vec<Id> = queue.drain(..queue.len().min(most)).collect();
                if !sets.is_empty() {
                    self.start(state, machine, &programme.programme, &sets, minutes);
                }
            }
        }
    }

    fn start(&mut self, state: &State, machine: &Machine, programme: &Id, sets: &[Id], minutes: i64) {
        let name = &machine.machine;
        let steam = programme.as_str() == STEAM;
        if steam && !self.tested_today(state, machine) {
            let Some(test) = ask::machine_test(name, AIR_REMOVAL, true) else { return };
            self.give(Role::Desk, test);
        }
        self.loads += 1;
        let Some(load) = Id::new(&format!("L-{:05}", self.loads)) else { return };
        self.give(Role::Desk, ask::start(&load, name, programme, 4_100 + self.loads, sets));
        self.in_minutes(minutes, Task::LoadEnds(load.clone()));
        if !steam {
            return;
        }
        // One load a week of each machine carries the spore test; it is read after a day.
        let is_due = machine.tests_due(state, self.clock).iter().any(|due| due.test == BIOLOGICAL);
        let of_it = |load: &Id| state.loads.get(load).is_some_and(|it| it.machine == *name);
        let test_runs =
            self.agenda.iter().any(|entry| matches!(&entry.0.2, Task::Biological(load) if of_it(load)));
        if is_due && !test_runs {
            let at = self.tomorrow(9, 30);
            self.later(at, Task::Biological(load));
        }
    }

    pub(super) fn tested_today(&self, state: &State, machine: &Machine) -> bool {
        let day = |at: crate::domain::time::Time| at.test_day(state.zone, state.policy.test_day_starts.0);
        machine.last_tests.get(AIR_REMOVAL).is_some_and(|test| test.good && day(test.at) == day(self.clock))
    }

    pub(super) fn load_ends(&mut self, state: &State, load: &Id) {
        let Some(found) = state.loads.get(load) else { return };
        let fails = self.chance.happens(0.012);
        let (record, readings) = match found.programme.method {
            Method::Steam => {
                let hold = if fails { SHORT_S } else { GOOD_STEAM_S };
                (Some(records::steam(&mut self.chance, hold)), None)
            }
            Method::HydrogenPeroxide => (None, Some(ask::readings(46, 52, 2_400, !fails))),
            _ => {
                let hold = if fails { SHORT_S } else { GOOD_WASH_S };
                (Some(records::washer(&mut self.chance, hold)), None)
            }
        };
        self.give(Role::Desk, ask::judge(load, record, readings));
        self.in_minutes(3, Task::LoadDecided(load.clone(), !fails));
    }

    pub(super) fn load_decided(&mut self, state: &State, load: &Id, passed: bool) {
        let Some(found) = state.loads.get(load) else { return };
        if !matches!(found.status, LoadStatus::Running | LoadStatus::Judged) {
            return;
        }
        let steriliser = found.programme.step() == StepKind::Sterilised;
        let mut passed = passed;
        if steriliser {
            let turned = !self.chance.happens(0.003);
            passed &= turned;
            self.give(Role::Desk, ask::indicator(load, IndicatorKind::Chemical, turned));
        }
        // What its machine showed meanwhile stands against it, however good the record is.
        let against = release::against(state, found, None, Some(true), self.clock);
        passed &= !against.iter().any(|problem| problem.code == Code::MachineNotReady);
        let second = if self.is_night() { Role::Desk } else { Role::Lead };
        if !passed {
            self.give(second, ask::reject(load, "the cycle did not meet its programme"));
            if steriliser && self.chance.happens(0.2) {
                self.out_of_service(&found.machine.clone(), "two cycles short, steam supply to be looked at");
            }
            return;
        }
        if steriliser && second == Role::Desk {
            let why = "alone at night, the reserve adult needs it";
            let overriding = Some(ask::overriding(Code::SamePerson, why, None));
            self.give_with(Role::Desk, ask::release(load), Around { overriding, ..Around::default() });
        } else {
            self.give(second, ask::release(load));
        }
        if steriliser {
            let seats = found.contents.iter().filter_map(|part| state.assets.get(&part.asset)?.seat.as_ref());
            let sets: BTreeSet<Id> = seats.map(|seat| seat.set.clone()).collect();
            self.in_minutes(40, Task::PutAway(sets.into_iter().collect()));
        }
    }

    /// Into the sterile store, what is ready and still there.
    pub(super) fn put_away(&mut self, state: &State, sets: &[Id]) {
        let here = |set: &&Id| {
            let set = state.sets.get(*set);
            let ready = |set| {
                let mut members = state.members(set).filter(|asset| asset.counts()).peekable();
                members.peek().is_some() && members.all(|asset| asset.stage == Stage::Ready)
            };
            set.is_some_and(|set| ready(set))
        };
        let sets: Vec<Id> = sets.iter().filter(here).cloned().collect();
        if !sets.is_empty() {
            let bay = self.chance.between(1, 4);
            self.give(Role::Desk, ask::put_away(&sets, &format!("sterile store, bay {bay}")));
        }
    }

    /// The spore test of a load is read. Growth stops the machine, and recalls what came from it since the last good one.
    pub(super) fn biological(&mut self, state: &State, load: &Id) {
        let Some(found) = state.loads.get(load) else { return };
        let machine = found.machine.clone();
        let good = !self.chance.happens(0.01);
        self.give(Role::Lead, ask::indicator(load, IndicatorKind::BiologicalControl, true));
        self.give(Role::Lead, ask::indicator(load, IndicatorKind::Biological, good));
        if good {
            return;
        }
        self.give(Role::Infection, ask::look_back_on_load(load, "growth in the spore test"));
        self.in_minutes(26 * 60, Task::Requalify(machine, 0));
    }

    /// What an accepted command changes in what the hospital has in mind.
    pub(super) fn happened(&mut self, event: &Event) {
        match &event.what {
            What::Issued(it) if it.planned.is_some() => self.emergency_made(&it.case),
            What::AssetAdded(it) => {
                if let Some(on_the_way) = self.ordered.get_mut(&it.model) {
                    *on_the_way = on_the_way.saturating_sub(1);
                }
            }
            _ => {}
        }
    }
}
