//! Wear in a period: what was retired, what was repaired and at what cost, and what failed, by model and cause.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{Days, NaiveTime};

use super::asset::Cause;
use super::id::Id;
use super::model::Family;
use super::repair::Repair;
use super::state::{Asset, RetiredAs, State};
use super::time::{Date, MINUTE, Time, on_day};

/// A part that was retired in the period.
pub struct Retirement {
    pub asset: Arc<Asset>,
    pub how: RetiredAs,
    /// Days in service, from the day it was acquired, else from the day it was first known here.
    pub days: u32,
    /// Its age in days is that since it was known here: it may be older.
    pub at_least: bool,
}

/// Failures of one model by one cause.
#[derive(Clone, Debug, PartialEq)]
pub struct Failures {
    pub model: Id,
    pub family: Option<Family>,
    pub cause: Cause,
    pub failures: u32,
    /// The least and the highest number of cycles at which they failed.
    pub cycles: (u32, u32),
}

pub struct WearReport {
    pub from: Date,
    pub to: Date,
    /// The latest first.
    pub retired: Vec<Retirement>,
    /// Sent or back in the period, the latest first.
    pub repairs: Vec<Arc<Repair>>,
    /// The most of a model and cause first.
    pub failures: Vec<Failures>,
}

impl WearReport {
    /// From the first instant of the period up to and without the first after it.
    pub fn window(&self, state: &State) -> (Time, Time) {
        window(state, self.from, self.to)
    }

    /// What the repairs that came back in the period cost, and how many of them say it.
    pub fn repair_cost(&self, state: &State) -> (u64, usize) {
        let (from, to) = window(state, self.from, self.to);
        let back = self.repairs.iter().filter(|it| it.back_at.is_some_and(|at| (from..to).contains(&at)));
        let told: Vec<u64> = back.filter_map(|it| it.cost_cents).collect();
        (told.iter().sum(), told.len())
    }
}

/// The instants of a period of days, the last day included.
fn window(state: &State, from: Date, to: Date) -> (Time, Time) {
    let next = to.checked_add_days(Days::new(1)).unwrap_or(to);
    (on_day(from, NaiveTime::MIN, state.zone), on_day(next, NaiveTime::MIN, state.zone))
}

fn retirement(state: &State, asset: &Arc<Asset>, how: &RetiredAs) -> Retirement {
    let began = asset.acquired.map_or(asset.added_at, |day| on_day(day, NaiveTime::MIN, state.zone));
    let days = (how.at.0 - began.0).max(0) / (24 * 60 * MINUTE);
    Retirement {
        asset: asset.clone(),
        how: how.clone(),
        days: u32::try_from(days).unwrap_or(u32::MAX),
        at_least: asset.acquired.is_none(),
    }
}

impl State {
    pub fn wear_report(&self, from: Date, to: Date) -> WearReport {
        let (begins, ends) = window(self, from, to);
        let within = |at: Time| (begins..ends).contains(&at);
        let mut retired: Vec<Retirement> = self
            .assets
            .values()
            .filter_map(|asset| {
                let how = asset.retired.as_ref().filter(|how| within(how.at) && !how.cause.is_parting())?;
                Some(retirement(self, asset, how))
            })
            .collect();
        retired.sort_by(|a, b| (b.how.at, &b.asset.asset).cmp(&(a.how.at, &a.asset.asset)));
        let touched = |it: &&Arc<Repair>| within(it.sent_at) || it.back_at.is_some_and(within);
        let mut repairs: Vec<Arc<Repair>> = self.repairs.values().filter(touched).cloned().collect();
        repairs.sort_by(|a, b| (b.sent_at, &b.repair).cmp(&(a.sent_at, &a.repair)));
        WearReport { from, to, failures: failures(self, &retired), retired, repairs }
    }
}

fn failures(state: &State, retired: &[Retirement]) -> Vec<Failures> {
    let mut by: BTreeMap<(Id, Cause), Failures> = BTreeMap::new();
    for it in retired.iter().filter(|it| it.how.failure) {
        let (model, cycles) = (&it.asset.model, it.asset.cycles);
        let row = by.entry((model.clone(), it.how.cause)).or_insert_with(|| Failures {
            model: model.clone(),
            family: state.model(model).map(|model| model.family),
            cause: it.how.cause,
            failures: 0,
            cycles: (cycles, cycles),
        });
        row.failures += 1;
        row.cycles = (row.cycles.0.min(cycles), row.cycles.1.max(cycles));
    }
    let mut all: Vec<Failures> = by.into_values().collect();
    all.sort_by(|a, b| {
        b.failures.cmp(&a.failures).then_with(|| (&a.model, a.cause).cmp(&(&b.model, b.cause)))
    });
    all
}
