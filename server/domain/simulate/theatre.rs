//! Cases: planned and kept for, issued, opened, used, counted.

use std::collections::BTreeMap;

use super::catalogue::MAIN;
use super::{Hospital, Show, Task, ask, catalogue};
use crate::domain::case::{Case, PlanCase, Risk, Technique};
use crate::domain::check_lines::lines;
use crate::domain::command::Around;
use crate::domain::configuration::Wish;
use crate::domain::finding::Severity;
use crate::domain::hold::HoldKind;
use crate::domain::id::Id;
use crate::domain::issuing::is_ready;
use crate::domain::model::Family;
use crate::domain::person::Role;
use crate::domain::readiness::set_status;
use crate::domain::refusal::Code;
use crate::domain::route::StepKind;
use crate::domain::state::State;
use crate::domain::text::Quantity;
use crate::domain::time::{Date, Time};

const CAMERA: &str = "camera";

impl Hospital {
    /// The charge nurse plans the cases of the coming days.
    pub(super) fn planning(&mut self, state: &State) {
        let at = self.tomorrow(15, 0);
        self.later(at, Task::Planning);
        let today = self.clock.date(self.plan.zone);
        if !Hospital::is_workday(today) {
            return;
        }
        let mut planned: BTreeMap<(Date, &str), usize> = BTreeMap::new();
        for case in state.open_cases() {
            let day = case.start.date(self.plan.zone);
            for sheet in &case.needs {
                *planned.entry((day, sheet.as_str())).or_default() += 1;
            }
        }
        for _ in 0..self.chance.times(self.plan.list.per_set_and_day * f64::from(self.plan.sets)) {
            let ahead = self.chance.between(1, 4) as usize;
            let Some(day) = today.iter_days().skip(1).filter(|day| Hospital::is_workday(*day)).nth(ahead - 1)
            else {
                return;
            };
            let main = self.chance.below(MAIN.len().min(self.plan.sets as usize));
            let needs: Vec<&str> = MAIN.get(main).into_iter().chain(&[CAMERA]).copied().collect();
            // Nobody plans more cases than the sets can serve in a day.
            let most = self.plan.list.most_per_set;
            let owned = |sheet: &str| {
                most * state.sets.values().filter(|set| set.count_sheet.as_str() == sheet).count()
            };
            if needs.iter().any(|sheet| planned.get(&(day, *sheet)).copied().unwrap_or(0) >= owned(sheet)) {
                continue;
            }
            for sheet in &needs {
                *planned.entry((day, *sheet)).or_default() += 1;
            }
            self.cases += 1;
            let Some(case) = Id::new(&format!("K-{:05}", self.cases)) else { return };
            let (hour, minute) = (self.chance.between(8, 15) as u32, 15 * self.chance.between(0, 3) as u32);
            let start = self.on(day, hour, minute);
            let risk = match self.chance.unit() {
                x if x < 0.000_8 => Risk::PrionSuspected,
                x if x < 0.02 => Risk::Resistant,
                x if x < 0.04 => Risk::Airborne,
                _ => Risk::None,
            };
            let technique = self.chance.pick(&Technique::ALL).copied();
            let wish = needs.first().and_then(|sheet| self.wish(sheet, technique));
            let it = PlanCase {
                case: case.clone(),
                start,
                minutes: 15 * self.chance.between(2, 8) as u32,
                room: Some(ask::line(format!("room {}", self.chance.between(1, 4)))),
                technique,
                configuration: wish,
                needs: needs.into_iter().filter_map(Id::new).collect(),
                patient: Some(ask::line(format!("P-{:06}", self.cases * 7919 % 1_000_003))),
                risk: Some(risk),
                schedule: None,
            };
            self.give(Role::Charge, ask::plan(it));
            self.in_minutes(4, Task::Promise(case.clone()));
            self.later(start.plus_minutes(-40), Task::Issue(case, 0));
        }
    }

    /// What the clinician wishes for: a barrel by its label, what works in it, and what is changed to where jet fails.
    fn wish(&mut self, sheet: &str, technique: Option<Technique>) -> Option<Box<Wish>> {
        let label = self.chance.pick(catalogue::barrels(sheet)).copied()?;
        let family = if sheet == "tracheal" { Family::Tracheoscope } else { Family::Bronchoscope };
        let beside = if self.chance.happens(0.5) { Family::Forceps } else { Family::SuctionTube };
        Some(Box::new(Wish {
            barrel_nominal: Quantity::parse(label),
            barrel_family: Some(family),
            together: [Family::Telescope, beside].map(|it| ask::line(it.name())).into(),
            fall_back: technique.filter(|it| *it == Technique::JetOpen).map(|_| Technique::ControlledClosed),
        }))
    }

    /// Keeps a set of each needed sheet that no other case needs at the same time.
    pub(super) fn promise(&mut self, state: &State, id: &Id) {
        let Some(case) = state.cases.get(id) else { return };
        for need in &case.needs {
            let whole = state.sets.values().filter(|set| {
                let grave = state.members(set).any(|asset| {
                    !asset.counts() || asset.has_hold(HoldKind::Prion) || asset.has_hold(HoldKind::Recall)
                });
                set.count_sheet == *need && !grave && set_status(state, set, self.clock).missing.is_empty()
            });
            let whole: Vec<&Id> = whole.map(|set| &set.set).collect();
            let free = whole.iter().filter(|set| free_for(state, set, case));
            let free: Vec<&Id> = free.copied().collect();
            if let Some(set) = self.chance.pick(&free) {
                self.give(Role::Charge, ask::promise(id, set));
            } else if self.chance.happens(0.1)
                && let Some(set) = self.chance.pick(&whole)
            {
                let why = "the first case is expected to be short";
                let overriding = Some(ask::overriding(Code::PromisedElsewhere, why, None));
                let around = Around { overriding, ..Around::default() };
                self.give_with(Role::Charge, ask::promise(id, set), around);
            }
        }
        if self.chance.happens(0.03) {
            self.give(Role::Charge, ask::put_off(id, case.start.plus_minutes(60)));
        }
    }

    /// Forty minutes before the start: what was kept, else what is ready; or the case waits, and in the end is off.
    pub(super) fn issue(&mut self, state: &State, id: &Id, tries: u32) {
        let Some(case) = state.cases.get(id).filter(|case| case.is_open() && !case.anything_out()) else {
            return;
        };
        if self.clock.plus_minutes(45) < case.start && tries == 0 {
            return self.later(case.start.plus_minutes(-40), Task::Issue(id.clone(), 0));
        }
        if tries == 0 && self.chance.happens(0.03) {
            return self.give(Role::Charge, ask::cancel(id, "the patient has a fever"));
        }
        let sets: Vec<Id> = case.needs.iter().filter_map(|need| self.for_case(state, case, need)).collect();
        let undercuts = self.undercuts(state, &sets);
        let patient = undercuts && (!self.plan.list.helps_itself || (tries < 2 && self.chance.happens(0.5)));
        if sets.len() < case.needs.len() || patient {
            if tries == 0 {
                self.ask_the_desk(state, case);
            }
            return self.wait(case, tries);
        }
        for kept in case.promised.iter().filter(|set| !sets.contains(set)) {
            self.give(Role::Charge, ask::withdraw(id, kept));
        }
        let mut show = Show { sets: sets.clone(), ..Show::default() };
        if !undercuts && self.chance.happens(0.05) {
            // A second camera is taken along, and mostly comes back as it went.
            let spare = state.sets.values().find(|set| {
                set.count_sheet.as_str() == CAMERA
                    && !sets.contains(&set.set)
                    && is_ready(set_status(state, set, self.clock).status)
                    && free_for(state, &set.set, case)
            });
            show.unopened.extend(spare.map(|set| set.set.clone()));
        }
        let all: Vec<Id> = sets.iter().chain(&show.unopened).cloned().collect();
        let why = "planned for weeks, the next set is ready at noon";
        let overriding = undercuts.then(|| ask::overriding(Code::ReserveWouldBeUndercut, why, None));
        let role = if undercuts || self.chance.happens(0.5) { Role::Charge } else { Role::Desk };
        self.give_with(role, ask::issue(Some(id), &all), Around { overriding, ..Around::default() });
        self.shows.insert(id.clone(), show);
        self.later(case.start.max(self.clock.plus_minutes(25)), Task::Open(id.clone()));
    }

    /// The set that was kept for the case if it is ready, else one that is ready and nobody else's.
    pub(super) fn for_case(&self, state: &State, case: &Case, need: &Id) -> Option<Id> {
        let ready = |set: &&Id| {
            state.sets.get(*set).is_some_and(|set| {
                set.count_sheet == *need
                    && is_ready(set_status(state, set, self.clock).status)
                    && free_for(state, &set.set, case)
            })
        };
        let kept = |set: &&Id| state.sets.get(*set).is_some_and(|set| set.count_sheet == *need);
        if !self.plan.list.helps_itself && case.promised.iter().any(|set| kept(&set)) {
            return case.promised.iter().find(ready).cloned();
        }
        case.promised.iter().find(ready).or_else(|| state.sets.keys().find(ready)).cloned()
    }

    fn undercuts(&self, state: &State, sets: &[Id]) -> bool {
        let mut taken: BTreeMap<&Id, u32> = BTreeMap::new();
        for set in sets.iter().filter_map(|set| state.sets.get(set)) {
            *taken.entry(&set.count_sheet).or_default() += 1;
        }
        taken.into_iter().any(|(sheet, n)| {
            let minimum = state.reserves.get(sheet).copied().unwrap_or(0);
            minimum > 0 && state.ready_sets(sheet, self.clock).saturating_sub(n) < minimum
        })
    }

    fn wait(&mut self, case: &Case, tries: u32) {
        if tries >= 6 {
            return self.give(Role::Charge, ask::cancel(&case.case, "no set could be made ready"));
        }
        let start = case.start.plus_minutes(45);
        if start > self.clock && tries.is_multiple_of(2) {
            self.give(Role::Charge, ask::put_off(&case.case, start));
        }
        self.in_minutes(40, Task::Issue(case.case.clone(), tries + 1));
    }

    pub(super) fn open(&mut self, state: &State, id: &Id) {
        let Some(case) = state.cases.get(id).filter(|case| case.anything_out()) else {
            self.shows.remove(id);
            return;
        };
        let Some(show) = self.shows.get(id).cloned() else { return };
        if !self.chance.happens(0.02) {
            let intact = if self.chance.happens(0.005) { Some(false) } else { Some(true) };
            self.give(Role::Clinician, ask::open(id, &show.sets, intact));
            if let Some(show) = self.shows.get_mut(id) {
                show.opened = true;
            }
        }
        // As often as it was seen done: in 78 % of 41 paediatric airway endoscopies (Arch Otolaryngol Head Neck Surg 2012).
        if self.chance.happens(0.78) {
            let lines = lines(state, case).into_iter().map(|line| line.line);
            self.give(Role::Clinician, ask::checked(id, lines));
        }
        self.give(Role::Charge, ask::counted_in(id));
        if self.chance.happens(0.03) {
            let out: Vec<&Id> = case.parts.iter().filter(|(_, part)| part.out).map(|(id, _)| id).collect();
            let severity = self.chance.pick(&Severity::ALL).copied().unwrap_or(Severity::Note);
            if let Some(asset) = self.chance.pick(&out) {
                self.give(Role::Clinician, ask::finding(asset, "does not look right", severity, Some(id)));
            }
        }
        let minutes = self.chance.between(5, 12);
        self.in_minutes(minutes, Task::Use(id.clone()));
        self.in_minutes(minutes + i64::from(case.minutes.max(15)), Task::Close(id.clone()));
    }

    pub(super) fn used(&mut self, state: &State, id: &Id) {
        let (Some(case), Some(show)) = (state.cases.get(id), self.shows.get(id).cloned()) else { return };
        let out = |set: &Id| -> Vec<Id> {
            let seated = |asset: &Id| {
                state.assets.get(asset).and_then(|it| it.seat.as_ref()).is_some_and(|seat| seat.set == *set)
            };
            let parts = case.parts.iter().filter(|(asset, part)| part.out && seated(asset));
            parts.map(|(asset, _)| asset.clone()).collect()
        };
        let says_nothing = self.chance.happens(0.07);
        for (n, set) in show.sets.iter().enumerate() {
            let mut parts = out(set);
            if !says_nothing && parts.len() > 3 {
                parts.retain(|_| self.chance.happens(0.7));
            }
            if parts.is_empty() {
                continue;
            }
            if self.plan.keep_record {
                self.record.truly_used.entry(id.clone()).or_default().extend(parts.iter().cloned());
            }
            if says_nothing {
                continue;
            }
            if n > 0 && self.shows.get(id).is_some_and(|show| show.told_used) && self.chance.happens(0.05) {
                let at = self.clock.plus_s(5);
                let morning = self.tomorrow(8, 35);
                self.later(morning, Task::UseLate(id.clone(), parts, at));
                continue;
            }
            self.give(Role::Clinician, ask::used(id, &parts));
            if let Some(show) = self.shows.get_mut(id) {
                show.told_used = true;
            }
        }
    }

    pub(super) fn used_late(&mut self, case: &Id, parts: &[Id], at: Time) {
        self.forgotten(Role::Clinician, ask::used(case, parts), at);
    }

    pub(super) fn close(&mut self, state: &State, id: &Id) {
        let Some(show) = self.shows.remove(id) else { return };
        let Some(case) = state.cases.get(id).filter(|case| case.anything_out()) else { return };
        let early = self.chance.happens(0.06);
        if early {
            self.treat(&show.sets);
        }
        let small = case.parts.iter().filter(|(asset, part)| {
            let cap = state.assets.get(*asset).is_some_and(|it| it.model.as_str().starts_with("cap"));
            part.out && part.exposure.is_some() && cap
        });
        let small: Vec<&Id> = small.map(|(asset, _)| asset).collect();
        let (mut missing, mut broken) = (Vec::new(), Vec::new());
        if self.chance.happens(0.02) {
            missing.extend(self.chance.pick(&small).map(|asset| (*asset).clone()));
        } else if self.chance.happens(0.01) {
            broken.extend(self.chance.pick(&small).map(|asset| (*asset).clone()));
        }
        self.give(Role::Charge, ask::close_count(id, &show.unopened, &missing, &broken));
        for asset in missing.into_iter().chain(broken) {
            self.in_minutes(50, Task::Search(asset, 0));
        }
        if self.chance.happens(0.000_5) {
            self.give(Role::Clinician, ask::at_risk(id, Risk::PrionSuspected));
        }
        if early {
            return;
        }
        if self.chance.happens(0.03) {
            let at = self.clock.plus_minutes(1);
            self.in_minutes(170, Task::TreatLate(show.sets, at));
        } else {
            self.in_minutes(6, Task::Treat(show.sets));
        }
    }

    /// Pre-cleaned beside the table.
    pub(super) fn treat(&mut self, sets: &[Id]) {
        for set in sets {
            self.give(Role::Charge, ask::step(StepKind::Treated, set));
        }
    }

    pub(super) fn treat_late(&mut self, sets: &[Id], at: Time) {
        for set in sets {
            self.forgotten(Role::Charge, ask::step(StepKind::Treated, set), at);
        }
    }
}

/// Whether no other case has a set, or a part of it, for the same time.
fn free_for(state: &State, set: &Id, case: &Case) -> bool {
    state.sets.get(set).is_some_and(|set| state.taken_elsewhere(set, case).is_empty())
}
