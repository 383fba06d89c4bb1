//! The sterile processing desk: looks at every set that is back, and does the next thing with it.

use std::sync::Arc;

use super::catalogue::{law_of, life};
use super::chance::Chance;
use super::{Hospital, Task, ask, ask_wear, minutes_between};
use crate::domain::asset::Cause;
use crate::domain::command::Around;
use crate::domain::event::Check;
use crate::domain::hold::HoldKind;
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::refusal::Code;
use crate::domain::route::{Method, RouteStep, StepKind};
use crate::domain::set::SetState;
use crate::domain::state::{Asset, Stage, State};
use crate::domain::step::{Broken, Except, Outcome};
use crate::domain::text::Line;

/// Sets whose next act is a machine's.
#[derive(Default)]
pub(super) struct ForMachines {
    pub washers: Vec<Id>,
    pub steam: Vec<Id>,
    pub cold: Vec<Id>,
}

/// A member of a set that the desk can do something with, and what that is.
struct AtHand {
    asset: Arc<Asset>,
    next: RouteStep,
}

/// Parts of a model that are in the house, fit, and in no set.
pub(super) fn spares<'a>(state: &'a State, model: &'a Id) -> impl Iterator<Item = &'a Arc<Asset>> {
    state.assets.values().filter(move |asset| {
        asset.model == *model
            && asset.owner == crate::domain::asset::Owner::Own
            && asset.seat.is_none()
            && asset.counts()
            && asset.holds.is_empty()
            && asset.in_load.is_none()
    })
}

pub(super) fn out(asset: &Asset) -> bool {
    asset.counts() && asset.stage.is_out()
}

fn at_hand(state: &State, set: &SetState) -> Vec<AtHand> {
    let members = state.members(set).filter(|asset| asset.counts() && !asset.has_hold(HoldKind::Prion));
    members.filter_map(|asset| Some(AtHand { next: state.next_step(asset)?, asset: asset.clone() })).collect()
}

impl Hospital {
    pub(super) fn desk(&mut self, state: &State) {
        if self.paper_until.is_some_and(|until| until <= self.clock) {
            self.paper_over();
        }
        let minutes = if self.is_night() { 55 } else { 18 };
        let wobble = self.chance.between(0, 10);
        self.in_minutes(minutes + wobble, Task::Desk);
        self.spares_given.clear();
        let mut waiting = ForMachines::default();
        let idle = |asset: &Asset| asset.stage == Stage::Ready || asset.in_load.is_some() || !asset.counts();
        for set in state.sets.values() {
            if !state.members(set).any(|asset| out(asset)) && !state.members(set).all(|asset| idle(asset)) {
                self.bench(state, set, &mut waiting);
            }
        }
        self.start_loads(state, waiting);
    }

    /// One act for one set: the earliest step that any of its parts waits for.
    fn bench(&mut self, state: &State, set: &SetState, waiting: &mut ForMachines) {
        let parts = at_hand(state, set);
        let Some(step) =
            parts.iter().filter(|part| part.asset.in_load.is_none()).map(|part| part.next.step).min()
        else {
            return;
        };
        let in_machine = parts.iter().any(|part| part.asset.in_load.is_some());
        if in_machine && step != StepKind::Sterilised {
            return;
        }
        let these = || parts.iter().filter(|part| part.next.step == step && part.asset.in_load.is_none());
        let waited = these().map(|part| minutes_between(part.asset.act_at, self.clock)).min().unwrap_or(0);
        match step {
            StepKind::Treated => {
                // What is new was never at a bedside; what comes from one is received though nobody said so.
                let new = these().any(|part| part.asset.turn == 1);
                if new {
                    self.give(Role::Desk, ask::step(StepKind::Treated, &set.set));
                } else if waited > 45 {
                    self.give(Role::Desk, ask::step(StepKind::Received, &set.set));
                }
            }
            StepKind::Received if waited > 12 => self.receive(state, set),
            StepKind::Received => {}
            StepKind::Cleaned if waited > 16 && self.chance.happens(0.01) => {
                let at = self.clock.plus_minutes(-8);
                self.forgotten(Role::Desk, ask::step(step, &set.set), at);
            }
            StepKind::Cleaned | StepKind::Ultrasonic | StepKind::Dried => {
                self.give(Role::Desk, ask::step(step, &set.set));
            }
            StepKind::Disinfected if these().any(|part| part.next.by() == Some(Method::Manual)) => {
                let day = self.clock.date(self.plan.zone);
                self.give(Role::Desk, ask::by_hand(&set.set, day));
            }
            StepKind::Disinfected => waiting.washers.push(set.set.clone()),
            StepKind::Inspected => self.inspect(state, set, these().map(|part| &part.asset)),
            StepKind::Packed => self.pack(state, set),
            StepKind::Sterilised => {
                let by = |method| these().any(|part| part.next.by() == Some(method));
                if by(Method::Steam) {
                    waiting.steam.push(set.set.clone());
                }
                if by(Method::HydrogenPeroxide) {
                    waiting.cold.push(set.set.clone());
                }
            }
        }
    }

    fn receive(&mut self, state: &State, set: &SetState) {
        self.give(Role::Desk, ask::step(StepKind::Received, &set.set));
        if self.chance.happens(0.002) {
            let small: Vec<&Arc<Asset>> = state.members(set).filter(|asset| asset.counts()).collect();
            let Some(asset) = self.chance.pick(&small) else { return };
            let asset = asset.asset.clone();
            self.give(Role::Desk, ask::report_missing(&set.set, &asset));
            self.in_minutes(50, Task::Search(asset, 0));
        }
    }

    /// Looks at what is due for inspection: what has come to the end of its true life shows it now.
    fn inspect<'a>(&mut self, state: &State, set: &SetState, parts: impl Iterator<Item = &'a Arc<Asset>>) {
        let mut except = Vec::new();
        let mut left = 0;
        let mut by_lead = false;
        let mut checks = Vec::new();
        let parts: Vec<&Arc<Asset>> = parts.collect();
        if parts.iter().any(|asset| !asset.holds.is_empty()) {
            // What is set aside already is not looked at with the rest.
            self.take_out(state, set);
            return;
        }
        for asset in parts {
            let law = law_of(asset.model.as_str());
            let repairable = law.is_some_and(|law| law.repairable);
            let end = life(self.plan.seed, asset.asset.as_str(), asset.model.as_str());
            let worn = end.is_some_and(|end| f64::from(asset.cycles) >= end);
            let limit = state.model(&asset.model).and_then(|model| model.limits.max_cycles);
            let at_limit = limit.is_some_and(|limit| asset.cycles >= limit);
            let Some(seat) = asset.seat.clone() else { continue };
            if worn && !repairable {
                self.give(Role::Desk, ask::replace(&seat, Cause::Worn, true, &asset.model));
                continue;
            }
            if at_limit && !self.chance.happens(0.1) {
                self.give(Role::Desk, ask::replace(&seat, Cause::LimitReached, false, &asset.model));
                continue;
            }
            by_lead |= at_limit;
            let outcome = if worn {
                Outcome::Retire
            } else if self.chance.happens(0.003) {
                if repairable { Outcome::Repair } else { Outcome::Hold }
            } else if self.chance.happens(0.006) {
                Outcome::Reclean
            } else {
                left += 1;
                checks.extend(end.and_then(|end| self.measured(asset, end)));
                continue;
            };
            except.push(Except { asset: Line(asset.asset.to_string()), outcome, note: None });
        }
        if left == 0 && except.is_empty() {
            return;
        }
        let act = ask_wear::inspect(&set.set, except, checks);
        match by_lead {
            true => {
                let why = "no cap in stock, looked at under the microscope";
                let overriding = Some(ask::overriding(Code::LimitReached, why, None));
                self.give_with(Role::Lead, act, Around { overriding, ..Around::default() });
            }
            false => self.give(Role::Desk, act),
        }
    }

    /// What the light says of a part: fibres break on the way to the end of its life. The part and its age decide, so
    /// that nothing else changes by looking.
    fn measured(&self, asset: &Asset, end: f64) -> Option<Check> {
        let (check, at_end) = match asset.model.as_str() {
            "scope-4" | "scope-4s" | "scope-2" => ("light-post dark area", 27.0),
            "cable-3" => ("broken fibres", 18.0),
            _ => return None,
        };
        let noise = Chance::of(self.plan.seed, &format!("{} {}", asset.asset, asset.cycles)).unit();
        let worn = f64::from(asset.cycles) / end;
        ask_wear::value(&asset.asset, check, at_end * worn + noise, "%")
    }

    /// Takes out of a set what is not fit to be packed; says whether there was anything.
    fn take_out(&mut self, state: &State, set: &SetState) -> bool {
        let lost = |asset: &Asset| {
            let missing = state.missing.get(&asset.asset).filter(|_| asset.missing);
            missing
                .is_some_and(|it| it.outcome.is_some() || minutes_between(it.since, self.clock) > 2 * 24 * 60)
        };
        let unfit = state.members(set).filter(|asset| {
            let held = !asset.holds.is_empty() && !asset.has_hold(HoldKind::Prion);
            held || asset.in_repair || lost(asset)
        });
        let unfit: Vec<_> =
            unfit.filter_map(|asset| Some((asset.seat.clone()?, asset.asset.clone()))).collect();
        for (seat, asset) in &unfit {
            self.give(Role::Desk, ask::take_from(seat, asset));
        }
        !unfit.is_empty()
    }

    /// Puts in what is fit, and packs what is whole in its essential lines.
    fn pack(&mut self, state: &State, set: &SetState) {
        if self.take_out(state, set) {
            return;
        }
        // What lies in a sealed box waits for its end, and the rest of its pack with it.
        if state.members(set).any(|asset| asset.has_hold(HoldKind::Prion)) || self.opened(state, set) {
            return;
        }
        if self.fill(state, set) {
            return;
        }
        let Some(sheet) = state.sheets.get(&set.count_sheet) else { return };
        let whole = sheet.lines.iter().filter(|line| line.essential).all(|line| {
            let here = state.members(set).filter(|asset| {
                asset.counts() && asset.seat.as_ref().is_some_and(|seat| seat.line == line.line.0)
            });
            here.count() >= line.quantity as usize
        });
        if !whole {
            return;
        }
        let at_limit = |asset: &Asset| {
            let limit = state.model(&asset.model).and_then(|model| model.limits.max_cycles);
            limit.is_some_and(|limit| asset.cycles >= limit)
        };
        let packaging = if set.count_sheet.as_str() == "tracheal" { "rigid container" } else { "wrap" };
        let act = ask::pack_in(&set.set, packaging);
        if state.members(set).any(|asset| at_limit(asset)) {
            let overriding =
                Some(ask::overriding(Code::LimitReached, "passed by the lead at inspection", None));
            self.give_with(Role::Lead, act, Around { overriding, ..Around::default() });
        } else {
            self.give(Role::Desk, act);
        }
    }

    /// Opens a pack that was closed before another part came into it: a pack is wrapped whole.
    fn opened(&mut self, state: &State, set: &SetState) -> bool {
        let Some(sheet) = state.sheets.get(&set.count_sheet) else { return false };
        let pack = |asset: &Asset| {
            let line = asset.seat.as_ref().and_then(|seat| sheet.line(&seat.line))?;
            Some(line.pack.0.clone())
        };
        let waits = |asset: &&Arc<Asset>| {
            let packing = state.next_step(asset).is_some_and(|next| next.step == StepKind::Packed);
            asset.counts() && packing
        };
        let open: Vec<String> = state.members(set).filter(waits).filter_map(|asset| pack(asset)).collect();
        let closed = state.members(set).find(|asset| {
            asset.counts() && asset.pack.as_ref().is_some_and(|closed| open.contains(&closed.pack))
        });
        if let Some(asset) = closed {
            self.give(Role::Desk, ask::pack_broken(&asset.asset, Broken::Torn));
        }
        closed.is_some()
    }

    /// Fills empty seats from stock, or orders what lacks; says whether a part went in.
    pub(super) fn fill(&mut self, state: &State, set: &SetState) -> bool {
        let Some(sheet) = state.sheets.get(&set.count_sheet) else { return false };
        let mut filled = false;
        for line in &sheet.lines {
            let seated = set.seats.keys().filter(|(name, _)| *name == line.line.0).count();
            for _ in seated..line.quantity as usize {
                let Some(model) = line.models.first() else { continue };
                let spare = spares(state, model).find(|asset| !self.spares_given.contains(&asset.asset));
                match spare.map(|asset| asset.asset.clone()) {
                    Some(spare) if !filled => {
                        self.give(Role::Desk, ask::put_in(&set.set, line.line.as_str(), &spare));
                        self.spares_given.insert(spare);
                        filled = true;
                    }
                    Some(_) => {}
                    None => self.order(model),
                }
            }
        }
        filled
    }
}
