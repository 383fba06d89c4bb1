//! The parts of sets as items of the simulation: their ways, and where they are on them now.

use std::collections::BTreeMap;

use super::case::Case;
use super::closing::Short;
use super::forecast_shop::Plan;
use super::forecast_stops::Stops;
use super::id::Id;
use super::route::StepKind;
use super::set::{SetState, TRAY};
use super::stage::Stage;
use super::state::{Asset, Condition, State};
use super::time::Time;
use crate::analysis::queue::{Item, Start};

/// Of what should be back already nobody knows when it comes: it is taken to come within so much of its case's time.
const LATE_SHARE: f64 = 0.25;

/// What the items of the plan are made with.
pub(super) struct Building<'a> {
    pub state: &'a State,
    pub now: Time,
    pub stops: Stops,
    pub packs: BTreeMap<(Id, String), usize>,
}

/// What is the same for parts that go together.
type Alike = (String, Id, u32, u32, Option<Id>, Stage, Option<Time>);

impl Building<'_> {
    /// The items of a set: parts of one pack and one way that stand at one place are one. Says why it comes nowhere.
    pub fn set(&mut self, set: &SetState, unit: usize, items: &mut Vec<Item>) -> Option<String> {
        let state = self.state;
        let sheet = state.sheets.get(&set.count_sheet)?;
        let mut groups: BTreeMap<Alike, Vec<&Asset>> = BTreeMap::new();
        for asset in state.members(set).filter(|asset| asset.counts()) {
            let line = asset.seat.as_ref().and_then(|seat| sheet.line(&seat.line));
            let pack = line.map_or(TRAY, |line| line.pack.as_str()).to_string();
            let cool_at = asset.cooling_until(self.now);
            let alike = (
                pack,
                asset.route.clone(),
                asset.route_version,
                asset.next,
                asset.in_load.clone(),
                asset.stage,
                cool_at,
            );
            groups.entry(alike).or_default().push(asset);
        }
        let mut stuck = None;
        for ((pack, .., cool_at), parts) in groups {
            let numbers = self.packs.len();
            let pack = *self.packs.entry((set.set.clone(), pack)).or_insert(numbers);
            let Some(first) = parts.first() else { continue };
            let (way, lacks) = self.stops.way(state, first, &parts);
            let stopped = self.stopped(first);
            let start = match stopped {
                Some(_) => Start::Away,
                None => self.start(set, &parts, &way, cool_at),
            };
            stuck = stuck.or(stopped);
            let goes = matches!(start, Start::Waiting { step, .. } if step < way.len());
            stuck = stuck.or_else(|| lacks.filter(|_| goes));
            items.push(Item { unit, way, pack, start });
        }
        if !items.iter().any(|item| item.unit == unit) {
            items.push(Item { unit, way: Vec::new(), pack: self.packs.len(), start: Start::Away });
            self.packs.insert((set.set.clone(), String::new()), self.packs.len());
        }
        stuck
    }

    /// Why nobody can say when a part comes that lies in a machine out of service: nobody may release that load.
    fn stopped(&self, part: &Asset) -> Option<String> {
        let load = self.state.loads.get(part.in_load.as_ref()?)?;
        let machine = self.state.machines.get(&load.machine)?;
        (machine.condition != Condition::InService).then(|| {
            format!(
                "It is in load {} of {}, which is out of service: nobody can say when it is ready.",
                load.load, load.machine
            )
        })
    }

    /// The ways of what would close a short line: of parts that are named, and of any part that it takes.
    pub fn closing(&mut self, short: &Short, plan: &mut Plan) {
        let state = self.state;
        let set = state.sets.get(&short.set);
        let Some(set) = set else { return };
        let Some(line) = state.sheets.get(&set.count_sheet).and_then(|sheet| sheet.line(&short.line)) else {
            return;
        };
        for closes in &short.closes {
            if let Some(asset) = state.assets.get(&closes.asset) {
                plan.ways.insert(closes.asset.clone(), self.stops.way(state, asset, &[asset]).0);
            }
        }
        let takes =
            |asset: &&std::sync::Arc<Asset>| state.model(&asset.model).is_some_and(|it| line.takes(it));
        let seated = state.members(set).find(takes);
        if let Some(asset) = seated.or_else(|| state.assets.values().find(takes)) {
            let way = self.stops.way(state, asset, &[asset]).0;
            plan.line_ways.insert((short.set.clone(), short.line.clone()), way);
        }
        let (numbers, pack) = (self.packs.len(), line.pack.as_str().to_string());
        self.packs.entry((short.set.clone(), pack)).or_insert(numbers);
    }

    /// Where parts are now: a way has one job for each step of their route.
    fn start(&self, set: &SetState, parts: &[&Asset], way: &[usize], cool_at: Option<Time>) -> Start {
        let state = self.state;
        let Some(first) = parts.first() else { return Start::Away };
        let since_s = |at: Time| at.since_s(self.now) as f64;
        if first.stage.is_out() {
            return Start::Waiting { step: 0, from_s: self.back_s(set) };
        }
        if let Some(case) = state.made_for(first) {
            // It goes straight to that case, and is for nobody else before it is back.
            return Start::Waiting { step: 0, from_s: self.after_s(case) };
        }
        if first.stage == Stage::Ready && !first.past_date(state, self.now) {
            return Start::Waiting { step: way.len(), from_s: cool_at.map_or(0.0, since_s) };
        }
        let step = if first.stage == Stage::Ready {
            // Past its date, it is wrapped and sterilised anew.
            state.route_of(first).iter().position(|on| on.step == StepKind::Packed).unwrap_or(0)
        } else {
            (first.next as usize).min(way.len())
        };
        let load = first.in_load.as_ref().and_then(|load| state.loads.get(load));
        let Some(load) = load else {
            let from = parts.iter().map(|asset| asset.act_at).max().unwrap_or(self.now);
            return Start::Waiting { step, from_s: since_s(from).min(0.0) };
        };
        // In a load, and nothing left of its way: the load's decision is all that it waits for.
        let Some(job) = way.get(step).copied() else { return Start::Waiting { step, from_s: 0.0 } };
        let batch = load.entry as usize;
        let taken = |at: Time| self.now.since_s(at).max(0) as f64;
        match (&load.judged, self.stops.server(job, &load.machine)) {
            (Some(judged), _) => Start::Undecided { step, taken_s: taken(judged.ended_at), batch },
            (None, Some(server)) => Start::InHand { step, taken_s: taken(load.started_at), batch, server },
            (None, None) => Start::Undecided { step, taken_s: taken(load.started_at), batch },
        }
    }

    /// When a set that is out should be back: at the planned end of its case.
    fn back_s(&self, set: &SetState) -> f64 {
        let state = self.state;
        let at = state.open_cases().find(|case| {
            state.members(set).any(|asset| case.parts.get(&asset.asset).is_some_and(|part| part.out))
        });
        at.map_or(0.0, |case| self.after_s(case))
    }

    fn after_s(&self, case: &Case) -> f64 {
        let state = self.state;
        let left = case.end().since_s(self.now) as f64;
        // As cases end here, in the middle.
        let usual =
            (state.case_law().at(0.5) / 3_600.0 - 1.0).clamp(-0.5, 1.0) * f64::from(case.minutes) * 60.0;
        (left + usual).max(f64::from(case.minutes) * 60.0 * LATE_SHARE)
    }
}
