//! What must be inspected, tested or replaced, in order of need.

use serde::Serialize;

use super::id::Id;
use super::machine::{AIR_REMOVAL, EMPTY_CYCLE, EMPTY_CYCLES_NEEDED};
use super::readiness::{Due, due};
use super::state::{Asset, Condition, Machine, State};
use super::time::{MINUTE, Time, on_day};

/// One thing that is due: a part by its maker's limits, or a machine by its periodic tests.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DueItem {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub machine: Option<Id>,
    pub why: &'static str,
    /// Since when, where that is known: the day of an interval, the beginning of a test day.
    pub since: Option<Time>,
    pub limit: u32,
    pub found: u32,
}

impl DueItem {
    /// How far beyond its limit, so that the most pressing stands first. What stops a machine stops everybody.
    fn need(&self) -> (bool, u64) {
        let over = u64::from(self.found) * 1_000_000 / u64::from(self.limit.max(1));
        (self.machine.is_none(), u64::MAX - over)
    }

    pub fn words(&self) -> &'static str {
        why_words(self.why)
    }
}

/// What people say of a reason.
pub fn why_words(why: &str) -> &'static str {
    match why {
        "max_cycles" => "at the maker's limit of cycles",
        "max_uses" => "at the maker's limit of uses",
        "inspect_every_cycles" => "many cycles since its last inspection",
        "inspect_every_days" => "many days since its last inspection",
        "air_removal" => "air-removal test of this test day",
        "empty_cycle" => "empty cycles before it is used again",
        _ => "due",
    }
}

impl State {
    /// Everything that is due at a moment, in order of need.
    pub fn due(&self, now: Time) -> Vec<DueItem> {
        let mut all: Vec<DueItem> = Vec::new();
        for asset in self.assets.values() {
            all.extend(due(self, asset, now).into_iter().map(|it| item(asset, it)));
        }
        for machine in self.machines.values() {
            all.extend(machine_due(self, machine, now));
        }
        all.sort_by(|a, b| {
            let name = |it: &DueItem| (it.machine.clone(), it.asset.clone(), it.why);
            a.need().cmp(&b.need()).then_with(|| name(a).cmp(&name(b)))
        });
        all
    }
}

fn item(asset: &Asset, it: Due) -> DueItem {
    let last = asset.inspected.as_ref().map_or(asset.added_at, |last| last.at);
    let since = match it.why {
        "inspect_every_days" => Some(Time(last.0 + i64::from(it.limit) * 24 * 60 * MINUTE)),
        _ => None,
    };
    DueItem {
        asset: Some(asset.asset.clone()),
        machine: None,
        why: it.why,
        since,
        limit: it.limit,
        found: it.found,
    }
}

fn machine_due(state: &State, machine: &Machine, now: Time) -> Option<DueItem> {
    let due = |why, since, limit, found| DueItem {
        asset: None,
        machine: Some(machine.machine.clone()),
        why,
        since,
        limit,
        found,
    };
    match machine.condition {
        Condition::Requalifying { good } => Some(due(EMPTY_CYCLE, None, EMPTY_CYCLES_NEEDED, good)),
        Condition::Out { .. } => None,
        Condition::InService => {
            let starts = state.policy.test_day_starts.0;
            let today = now.test_day(state.zone, starts);
            let tested = machine.last_tests.get(AIR_REMOVAL);
            let done = tested.is_some_and(|test| test.good && test.at.test_day(state.zone, starts) == today);
            let needed = machine.programmes.iter().any(|programme| programme.air_removal_test);
            let since = on_day(today, starts, state.zone);
            (needed && !done).then(|| due(AIR_REMOVAL, Some(since), 1, 0))
        }
    }
}
