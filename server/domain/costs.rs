//! What parts cost by use and by case, what was replaced in time and what after a failure, and what torn and missing
//! parts delayed: as far as the record says, and no further.

use std::collections::BTreeMap;

use serde::Serialize;

use super::exposure::Exposure;
use super::id::Id;
use super::state::State;
use super::time::Time;

/// An amount as people write it, in the site's own currency.
pub fn money(cents: u64) -> String {
    format!("{}.{:02}", cents / 100, cents % 100)
}

/// One model's money over a period.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ModelMoney {
    /// Pieces that were there at any time of it.
    pub pieces: u32,
    /// Uses at cases of the period, one for each piece and case.
    pub uses: u32,
    /// Cases of the period at which any piece of the model was used.
    pub cases: u32,
    /// Pieces added in the period.
    pub bought: u32,
    /// What those cost whose price is told.
    pub bought_cents: u64,
    pub bought_without_price: u32,
    pub repairs: u32,
    pub repair_cents: u64,
    pub repairs_without_cost: u32,
    /// Retired after a failure; retired otherwise, but for what was lost.
    pub unplanned: u32,
    pub planned: u32,
    pub lost: u32,
    /// Defect reports from cases, and pieces of parts that lacked at a count.
    pub faults_at_cases: u32,
    /// Parts that were missed.
    pub missed: u32,
}

impl ModelMoney {
    pub fn spent_cents(&self) -> u64 {
        self.bought_cents + self.repair_cents
    }

    pub fn per_use_cents(&self) -> Option<f64> {
        (self.uses > 0).then(|| self.spent_cents() as f64 / f64::from(self.uses))
    }

    pub fn per_case_cents(&self) -> Option<f64> {
        (self.cases > 0).then(|| self.spent_cents() as f64 / f64::from(self.cases))
    }
}

/// What faults and losses cost in time of the theatre, by the site's own figures. The record has no clock at the
/// table, so a delay is counted only where the site has told how long one takes.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Delays {
    pub faults: u32,
    pub missed: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minutes_each: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minute_cents: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost_cents: Option<u64>,
}

impl Delays {
    pub fn said(&self) -> String {
        let n = self.faults + self.missed;
        let counted = |n: u32, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
        let what = format!(
            "{} and {} {} recorded",
            counted(self.faults, "fault at cases", "faults at cases"),
            counted(self.missed, "part missed", "parts missed"),
            if self.faults == 1 && self.missed == 0 { "is" } else { "are" }
        );
        match (n, self.minutes_each, self.minute_cents) {
            (0, ..) => "No fault at a case and no missing part is recorded in this time.".into(),
            (_, Some(minutes), Some(cents)) => {
                let (all, money) = (u64::from(n) * u64::from(minutes), |cents: u64| {
                    format!("{}.{:02}", cents / 100, cents % 100)
                });
                format!(
                    "{what}; at {minutes} minutes each, as the site tells it, that is {all} minutes, and {} at its own {} a minute.",
                    money(all * cents),
                    money(cents)
                )
            }
            (_, Some(minutes), None) => {
                format!(
                    "{what}; at {minutes} minutes each that is {} minutes. What a minute costs is not told.",
                    n * minutes
                )
            }
            (_, None, _) => {
                format!("{what}; how long one delays a case is not told, so nothing is counted for it.")
            }
        }
    }
}

/// The money of a period, from one moment up to and without another.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Money {
    pub models: BTreeMap<Id, ModelMoney>,
    pub delays: Delays,
}

impl State {
    pub fn money(&self, from: Time, to: Time) -> Money {
        let within = |at: Time| at >= from && at < to;
        let mut models: BTreeMap<Id, ModelMoney> = BTreeMap::new();
        for asset in self.assets.values() {
            let left = asset.retired.as_ref().filter(|it| it.at < to);
            if asset.added_at >= to || left.is_some_and(|it| it.at < from) {
                continue;
            }
            let row = models.entry(asset.model.clone()).or_default();
            row.pieces += 1;
            if within(asset.added_at) {
                row.bought += 1;
                row.bought_cents += asset.cost_cents.unwrap_or(0);
                row.bought_without_price += u32::from(asset.cost_cents.is_none());
            }
            match left {
                Some(it) if it.failure => row.unplanned += 1,
                Some(it) if it.cause == super::asset::Cause::Lost => row.lost += 1,
                Some(_) => row.planned += 1,
                None => {}
            }
        }
        self.uses_of(&mut models, within);
        self.beside_the_loop(&mut models, within);
        let sum = |of: fn(&ModelMoney) -> u32| models.values().map(of).sum();
        let (faults, missed): (u32, u32) = (sum(|row| row.faults_at_cases), sum(|row| row.missed));
        let (minutes_each, minute_cents) = (self.policy.delay_minutes, self.policy.theatre_minute_cents);
        let cost = minutes_each
            .zip(minute_cents)
            .map(|(minutes, cents)| u64::from(faults + missed) * u64::from(minutes) * u64::from(cents));
        let minute_cents = minute_cents.map(u64::from);
        Money { models, delays: Delays { faults, missed, minutes_each, minute_cents, cost_cents: cost } }
    }

    fn uses_of(&self, models: &mut BTreeMap<Id, ModelMoney>, within: impl Fn(Time) -> bool) {
        for case in self.cases.values().filter(|case| within(case.start)) {
            let used = case.all_parts().filter(|(_, part)| part.exposure == Some(Exposure::Used));
            let mut at_case: BTreeMap<&Id, u32> = BTreeMap::new();
            for asset in used.filter_map(|(id, _)| self.assets.get(id)) {
                *at_case.entry(&asset.model).or_default() += 1;
            }
            for (model, uses) in at_case {
                let row = models.entry(model.clone()).or_default();
                row.uses += uses;
                row.cases += 1;
            }
        }
    }

    fn beside_the_loop(&self, models: &mut BTreeMap<Id, ModelMoney>, within: impl Fn(Time) -> bool) {
        let mut row = |asset: &Id, change: &dyn Fn(&mut ModelMoney)| {
            if let Some(asset) = self.assets.get(asset) {
                change(models.entry(asset.model.clone()).or_default());
            }
        };
        for repair in self.repairs.values().filter(|it| within(it.sent_at)) {
            row(&repair.asset, &|row| {
                row.repairs += 1;
                row.repair_cents += repair.cost_cents.unwrap_or(0);
                row.repairs_without_cost += u32::from(repair.cost_cents.is_none());
            });
        }
        let stands = |it: &&std::sync::Arc<super::finding::Finding>| {
            !it.taken_back && it.withdrawn_at.is_none() && it.case.is_some()
        };
        for finding in self.findings.values().filter(stands).filter(|it| within(it.at)) {
            row(&finding.asset, &|row| row.faults_at_cases += 1);
        }
        for (asset, missing) in self.missing.iter().filter(|(_, it)| within(it.since)) {
            match missing.lacked {
                Some(_) => row(asset, &|row| row.faults_at_cases += 1),
                None => row(asset, &|row| row.missed += 1),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delays_are_told_with_what_they_cost() {
        let delays = |faults, missed, minute_cents| Delays {
            faults,
            missed,
            minutes_each: Some(10),
            minute_cents,
            cost_cents: None,
        };
        let said = delays(2, 1, Some(1_550)).said();
        assert_eq!(
            said,
            "2 faults at cases and 1 part missed are recorded; at 10 minutes each, as the site tells it, that is 30 minutes, and 465.00 at its own 15.50 a minute."
        );
        assert!(
            delays(1, 0, None)
                .said()
                .contains("1 fault at cases and 0 parts missed is recorded; at 10 minutes")
        );
    }
}
