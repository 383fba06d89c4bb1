//! What must be inspected, tested or replaced, in order of need.

use std::collections::BTreeMap;

use chrono::NaiveTime;
use serde::Serialize;

use super::id::Id;
use super::load::Load;
use super::readiness::{Due, due};
use super::state::{Asset, Machine, State};
use super::time::{MINUTE, Time, on_day};

/// A machine whose failed verdict waits for a person's answer.
pub const FLAGGED: &str = "flagged";
/// A load released alone, for somebody else to countersign.
pub const COUNTERSIGNATURE: &str = "countersignature";
/// A load with an implant released early, whose biological indicator is to be read.
pub const BIOLOGICAL_PENDING: &str = "biological_pending";

/// A part that somebody reported as defective.
pub const REPORTED: &str = "reported";

/// One thing that is due: a part by its maker's limits, or a machine by its periodic tests.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct DueItem {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub machine: Option<Id>,
    /// A load released alone or early, whose exception is open; its machine stands beside it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    /// A loan that goes back, or left without a part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loan: Option<Id>,
    /// What is kept on the shelf, and the lot of it that is meant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    pub why: &'static str,
    /// Since when, where that is known: the day of an interval, the beginning of a test day.
    pub since: Option<Time>,
    pub limit: u32,
    pub found: u32,
    /// No inspection that the part passed is on record.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub none_passed: bool,
}

impl DueItem {
    /// How far beyond its limit, so that the most pressing stands first. What stops a machine stops everybody.
    fn need(&self) -> (u8, u64) {
        let over = u64::from(self.found) * 1_000_000 / u64::from(self.limit.max(1));
        // Then what somebody released alone or early, then the parts.
        let group = match (&self.load, &self.machine) {
            (None, Some(_)) => 0,
            (Some(_), _) => 1,
            (None, None) if self.loan.is_some() => 2,
            (None, None) if self.model.is_some() => 4,
            (None, None) => 3,
        };
        (group, u64::MAX - over)
    }

    pub fn words(&self) -> &'static str {
        match self.why {
            "inspect_every_cycles" if self.none_passed => "many cycles, and no passed inspection on record",
            "inspect_every_days" if self.none_passed => "many days, and no passed inspection on record",
            why => why_words(why),
        }
    }
}

/// What people say of a reason.
pub fn why_words(why: &str) -> &'static str {
    match why {
        "max_cycles" => "at the maker's limit of cycles",
        "max_uses" => "at the maker's limit of uses",
        "inspect_every_cycles" => "many cycles since its last inspection",
        "inspect_every_days" => "many days since its last inspection",
        "replace_at" => "at the age at which the house replaces it",
        "inspection_asked" => "to be inspected, as somebody asked",
        "air_removal" => "air-removal test of this test day",
        "leak_rate" => "leak-rate test",
        "biological" => "biological indicator",
        "countersignature" => "released alone, a countersignature is open",
        "biological_pending" => "an implant's biological indicator, released early",
        "reported" => "reported as defective",
        "flagged" => "a failed verdict waits for an answer",
        "empty_cycle" => "empty cycles before it is used again",
        super::visits_due::LOAN_BACK => "to go back to its lender",
        super::visits_due::LOAN_LACKS => "left without a part that came with it",
        super::visits_due::STOCK_LOW => "below its minimum on the shelf",
        super::visits_due::LOT_PAST => "a lot on the shelf past its date",
        super::visits_due::LOT_ENDS => "a lot on the shelf near its date",
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
        all.extend(reported(self));
        all.extend(super::visits_due::loans(self, now));
        all.extend(super::visits_due::shelf(self, now));
        all.extend(self.open_exceptions().flat_map(|load| exceptions_due(self, load)));
        all.sort_by(|a, b| {
            let beside = |it: &DueItem| (it.loan.clone(), it.model.clone(), it.lot.clone());
            let name =
                |it: &DueItem| (it.machine.clone(), it.load.clone(), it.asset.clone(), it.why, beside(it));
            a.need().cmp(&b.need()).then_with(|| name(a).cmp(&name(b)))
        });
        all
    }
}

/// Parts with defect reports that nobody has looked into.
fn reported(state: &State) -> Vec<DueItem> {
    let mut by_part: BTreeMap<&Id, (Time, u32)> = BTreeMap::new();
    for it in state.findings.values().filter(|it| state.is_open(it)) {
        let (since, found) = by_part.entry(&it.asset).or_insert((it.at, 0));
        *since = it.at.min(*since);
        *found += 1;
    }
    let item = |(asset, (since, found)): (&Id, (Time, u32))| DueItem {
        asset: Some(asset.clone()),
        machine: None,
        load: None,
        why: REPORTED,
        since: Some(since),
        limit: 1,
        found,
        ..DueItem::default()
    };
    by_part.into_iter().map(item).collect()
}

fn item(asset: &Asset, it: Due) -> DueItem {
    let last = asset.inspected.as_ref().map_or(asset.added_at, |last| last.at);
    let since = match it.why {
        "inspect_every_days" => Some(Time(last.0 + i64::from(it.limit) * 24 * 60 * MINUTE)),
        super::readiness::INSPECTION_ASKED => asset.asked.as_ref().map(|asked| asked.at),
        _ => None,
    };
    DueItem {
        asset: Some(asset.asset.clone()),
        machine: None,
        load: None,
        why: it.why,
        since,
        limit: it.limit,
        found: it.found,
        none_passed: asset.inspected.is_none() && it.why.starts_with("inspect_every"),
        ..DueItem::default()
    }
}

/// A machine's tests, and the question that its failed verdicts ask.
fn machine_due(state: &State, machine: &Machine, now: Time) -> Vec<DueItem> {
    let due = |why, since, limit, found| DueItem {
        asset: None,
        machine: Some(machine.machine.clone()),
        load: None,
        why,
        since,
        limit,
        found,
        ..DueItem::default()
    };
    let tests = machine.tests_due(state, now).into_iter();
    let mut all: Vec<DueItem> =
        tests.map(|test| due(test.test, test.since, test.limit, test.found)).collect();
    all.extend(machine.flag.as_ref().map(|flag| due(FLAGGED, Some(flag.since), 1, flag.failed)));
    all
}

fn exceptions_due(state: &State, load: &Load) -> Vec<DueItem> {
    let due = |why, since| DueItem {
        asset: None,
        machine: Some(load.machine.clone()),
        load: Some(load.load.clone()),
        why,
        since,
        limit: 1,
        ..DueItem::default()
    };
    let alone = load.alone.as_ref().filter(|_| load.waits_for_countersignature());
    let midnight = NaiveTime::default();
    let signed = alone.map(|it| due(COUNTERSIGNATURE, Some(on_day(it.alone.due, midnight, state.zone))));
    let read = load.waits_for_biological().then(|| due(BIOLOGICAL_PENDING, load.decided_at));
    signed.into_iter().chain(read).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_counts_from_an_inspection_that_never_was() {
        let due = |why, none_passed| DueItem {
            asset: Id::new("C-1"),
            machine: None,
            load: None,
            why,
            since: None,
            limit: 30,
            found: 31,
            none_passed,
            ..DueItem::default()
        };
        assert_eq!(due("inspect_every_days", true).words(), "many days, and no passed inspection on record");
        assert_eq!(due("inspect_every_days", false).words(), "many days since its last inspection");
        assert_eq!(due("max_cycles", true).words(), "at the maker's limit of cycles");
    }
}
