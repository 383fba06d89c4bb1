//! What comes every day: the tests of the morning, and the office hour in which biomed, the lead and infection
//! prevention go through what is held, away or missing.

use std::sync::Arc;

use chrono::{Datelike, Weekday};

use super::catalogue::{LAWS, law_of, life};
use super::desk::{out, spares};
use super::{Hospital, Task, ask, ask_recall, ask_wear, minutes_between};
use crate::domain::asset::Cause;
use crate::domain::case::Risk;
use crate::domain::hold::{HoldKind, HoldState};
use crate::domain::id::Id;
use crate::domain::load::LoadStatus;
use crate::domain::machine::{AIR_REMOVAL, LEAK_RATE, MachineKind};
use crate::domain::person::Role;
use crate::domain::readiness::{SetReadiness, set_status};
use crate::domain::state::{Asset, Condition, State};
use crate::domain::step::Broken;

pub(super) const DAY: i64 = 24 * 60;

impl Hospital {
    pub(super) fn morning(&mut self, state: &State) {
        let at = self.tomorrow(6, 10);
        self.later(at, Task::Morning);
        for machine in state.machines.values() {
            let tested = machine.programmes.iter().any(|programme| programme.air_removal_test);
            if !tested || machine.condition != Condition::InService || self.tested_today(state, machine) {
                continue;
            }
            let wrong_set_up = self.chance.happens(0.01);
            let good = !wrong_set_up && !self.chance.happens(0.003);
            if let Some(test) = ask::machine_test(&machine.machine, AIR_REMOVAL, good) {
                self.give(Role::Desk, test);
            }
            if wrong_set_up {
                self.in_minutes(35, Task::RepeatTest(machine.machine.clone()));
            } else if !good {
                self.in_minutes(DAY, Task::Requalify(machine.machine.clone(), 0));
            } else if machine.tests_due(state, self.clock).iter().any(|due| due.test == LEAK_RATE)
                && let Some(test) = ask::machine_test(&machine.machine, LEAK_RATE, true)
            {
                self.give(Role::Desk, test);
            }
        }
        for set in state.sets.values() {
            self.past_date(state, set);
        }
        if self.chance.happens(1.0 / 150.0) {
            // The network is down until noon: what happens meanwhile is told afterwards.
            self.paper_day(state, 5 * 60);
        }
        let washer = |machine: &&Arc<crate::domain::state::Machine>| {
            machine.kind == MachineKind::WasherDisinfector && machine.condition == Condition::InService
        };
        let washers: Vec<_> = state.machines.values().filter(washer).collect();
        if washers.len() > 1
            && self.chance.happens(0.01)
            && let Some(machine) = self.chance.pick(&washers)
        {
            self.out_of_service(&machine.machine.clone(), "door seal leaks, part ordered");
        }
    }

    pub(super) fn office(&mut self, state: &State) {
        let at = self.tomorrow(10, 0);
        self.later(at, Task::Office);
        self.unpack_deliveries();
        let ours = |asset: &&Arc<Asset>| {
            asset.retired.is_none()
                && asset.owner == crate::domain::asset::Owner::Own
                && !state.strangers.contains_key(&asset.asset)
        };
        for asset in state.assets.values().filter(ours) {
            self.biomed(state, asset);
        }
        for hold in state.holds.values().filter(|hold| hold.lifted_at.is_none()) {
            self.held(state, hold);
        }
        self.answers(state);
        self.wrong_things(state);
        self.infection(state);
        self.mishaps(state);
        self.stock(state);
        self.near_the_end(state);
    }

    /// On Mondays biomed asks for a look at one cap that comes near its limit.
    fn near_the_end(&mut self, state: &State) {
        let monday = self.clock.date(self.plan.zone).weekday() == Weekday::Mon;
        let old = |asset: &&Arc<Asset>| {
            let limit = state.model(&asset.model).and_then(|model| model.limits.max_cycles);
            let near = limit.is_some_and(|limit| asset.cycles * 10 >= limit * 9);
            near && asset.seat.is_some() && asset.counts() && asset.holds.is_empty() && asset.asked.is_none()
        };
        if let Some(asset) = state.assets.values().find(old).filter(|_| monday) {
            self.give(
                Role::Biomed,
                ask_wear::request_inspection(&asset.asset, "near its limit, and not looked at closely"),
            );
        }
    }

    /// Empty seats are filled, and of what wears out one lies in stock.
    fn stock(&mut self, state: &State) {
        self.spares_given.clear();
        for set in state.sets.values() {
            let busy = |asset: &Arc<Asset>| out(asset) || asset.in_load.is_some();
            if !state.members(set).any(busy) {
                self.fill(state, set);
            }
        }
        for law in LAWS.iter().filter(|law| law.life.is_some()) {
            if let Some(model) = Id::new(law.model)
                && spares(state, &model).next().is_none()
            {
                self.order(&model);
            }
        }
    }

    /// One part that is held, away or missing.
    fn biomed(&mut self, state: &State, asset: &Asset) {
        let id = &asset.asset;
        let away = asset.stage.is_out() || asset.in_load.is_some();
        if asset.missing {
            let long =
                state.missing.get(id).is_some_and(|it| minutes_between(it.since, self.clock) > 9 * DAY);
            if long {
                self.give(Role::Biomed, ask::retire(id, Cause::Lost, false));
            }
            return;
        }
        if asset.in_repair {
            if self.repairs.get(id).is_none_or(|due| *due <= self.clock) {
                self.repairs.remove(id);
                let cost = self.chance.between(12_000, 240_000) as u64;
                self.give(Role::Biomed, ask::back_from_repair(id, cost));
                self.lift_all(state, asset);
            }
            return;
        }
        if asset.holds.is_empty() || away {
            return;
        }
        if asset.has_hold(HoldKind::Prion) || asset.has_hold(HoldKind::Dedicated) {
            let since =
                asset.holds.iter().filter_map(|held| state.holds.get(&held.hold)).map(|it| it.placed_at);
            if since.min().is_some_and(|since| minutes_between(since, self.clock) > 2 * DAY) {
                self.decide_box(state, asset);
            }
            return;
        }
        let looked_at = asset.seat.is_none() && !asset.has_hold(HoldKind::Recall);
        if !looked_at {
            return;
        }
        let law = law_of(asset.model.as_str());
        let end = life(self.plan.seed, id.as_str(), asset.model.as_str());
        if end.is_some_and(|end| f64::from(asset.cycles) >= end) {
            self.give(Role::Biomed, ask::retire(id, Cause::Worn, true));
        } else if law.is_some_and(|law| law.repairable) && self.chance.happens(0.75) {
            let days = self.chance.between(4, 18);
            self.repairs.insert(id.clone(), self.clock.plus_minutes(days * DAY));
            self.give(Role::Biomed, ask::send_to_repair(id, "image dim, or a joint loose"));
        } else if self.chance.happens(0.5) {
            self.lift_all(state, asset);
        } else {
            self.give(Role::Biomed, ask::retire(id, Cause::Damaged, false));
        }
    }

    /// Lifts what biomed may lift from a part, where it is the only one that is held by it.
    fn lift_all(&mut self, state: &State, asset: &Asset) {
        for held in &asset.holds {
            let others = state.assets.values().any(|other| {
                other.asset != asset.asset
                    && other.retired.is_none()
                    && other.holds.iter().any(|it| it.hold == held.hold)
            });
            if !others && matches!(held.kind, HoldKind::Quality | HoldKind::Repair) {
                self.give(Role::Biomed, ask::lift(&held.hold, "looked at, and fit"));
            }
        }
    }

    /// A recall ends after some days; a quality hold on what lies ready in the store after a look.
    fn held(&mut self, state: &State, hold: &HoldState) {
        let age = minutes_between(hold.placed_at, self.clock);
        let parts =
            || state.assets.values().filter(|asset| asset.holds.iter().any(|it| it.hold == hold.hold));
        match hold.kind {
            HoldKind::Recall if age > 3 * DAY && !of_recall(state, hold) => {
                self.give(Role::Infection, ask::lift(&hold.hold, "repeated tests showed no growth"));
            }
            HoldKind::Quality if age > 20 * 60 => {
                let mut in_house = parts().filter(|asset| asset.retired.is_none()).peekable();
                let several = parts().count() > 1;
                if several && in_house.peek().is_some() {
                    self.give(Role::Lead, ask::lift(&hold.hold, "looked at, nothing found"));
                }
            }
            _ => {}
        }
    }

    fn infection(&mut self, state: &State) {
        let open = state.look_backs.values().filter(|it| it.closed_at.is_none());
        for look_back in open {
            if minutes_between(look_back.opened_at, self.clock) > 6 * DAY {
                let why = "everyone named was looked at, nobody is ill";
                self.give(Role::Infection, ask::close_look_back(&look_back.look_back, why));
            }
        }
        self.recalls(state);
        if self.chance.happens(0.012)
            && let Some(load) =
                state.loads.values().rev().take(40).find(|load| load.status == LoadStatus::Rejected)
        {
            self.give(Role::Lead, ask::look_back_on_load(&load.load, "a cycle failed, to be traced"));
        }
        if self.chance.happens(0.012)
            && let Some(case) = state.cases.values().rev().take(40).find(|case| case.closed)
        {
            let why = "a wound infection was reported";
            self.give(Role::Infection, ask::look_back_on_case(&case.case, why));
        }
    }

    /// A torn wrap, a label that nobody can read.
    fn mishaps(&mut self, state: &State) {
        let ready = |set: &&Id| {
            let status = state.sets.get(*set).map(|set| set_status(state, set, self.clock).status);
            matches!(status, Some(SetReadiness::Ready | SetReadiness::ReadyShort))
        };
        let sets: Vec<Id> = state.sets.keys().filter(ready).cloned().collect();
        if sets.len() < 3 {
            return;
        }
        if self.chance.happens(0.05)
            && let Some(set) = self.chance.pick(&sets)
        {
            let why = if self.chance.happens(0.5) { Broken::Torn } else { Broken::Dropped };
            self.give(Role::Desk, ask::pack_broken(set, why));
        } else if self.chance.happens(0.04)
            && let Some(set) = self.chance.pick(&sets)
        {
            self.give(Role::Lead, ask::hold(HoldKind::Quality, set, "label not readable, to be looked at"));
        }
    }
}

/// Whether a hold ends with the recall that placed it.
fn of_recall(state: &State, hold: &HoldState) -> bool {
    state.recalls.values().any(|recall| recall.hold == hold.hold)
}

impl Hospital {
    /// What became of a prion risk: now and then it is kept for the same patient; in the end everything is destroyed.
    fn decide_box(&mut self, state: &State, asset: &Asset) {
        let id = &asset.asset;
        let cases = state.cases_of.get(id).into_iter().flat_map(|cases| cases.iter().rev());
        let mut at = cases.filter_map(|case| state.cases.get(case));
        let case = at.find(|case| case.risk == Risk::PrionSuspected && case.patient.is_some());
        // No chance is drawn, so that the rest of the hospital's days stay as they are.
        let kept =
            asset.has_hold(HoldKind::Prion) && id.as_str().bytes().map(u32::from).sum::<u32>() % 5 == 0;
        match case.filter(|_| kept) {
            Some(case) => self.give(Role::Infection, ask_recall::dedicate(id, &case.case)),
            None => self.give(Role::Biomed, ask::retire(id, Cause::Destroyed, false)),
        }
    }
}
