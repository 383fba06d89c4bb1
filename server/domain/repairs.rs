//! Repairs counted: by piece, by supplier, with the time that parts were out of the house, and what that says of the
//! question whether one more repair is worth its money.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::id::Id;
use super::lifetime::Clock;
use super::repair::Repair;
use super::state::{Asset, State};
use super::text::Line;
use super::time::{MINUTE, Time};

/// One piece with the ages at which it was sent away.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RepairedPiece {
    pub asset: Id,
    /// Who supplied it; its repairs may go elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
    /// The age at which its record begins.
    pub start: u32,
    pub end: u32,
    /// The ages at which it was sent, in order.
    pub events: Vec<u32>,
}

/// What the repairs at one repairer came to.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct BySupplier {
    pub repairs: u32,
    pub under_way: u32,
    pub warranty: u32,
    pub cost_cents: u64,
    /// Repairs that are over and tell no cost.
    pub without_cost: u32,
    /// Days out of the house of those that are over, from the shortest.
    pub days_out: Vec<u32>,
}

impl BySupplier {
    pub fn median_days(&self) -> Option<u32> {
        self.days_out.get(self.days_out.len() / 2).copied()
    }
}

/// What the record says of repairing this piece once more.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RepairOrReplace {
    pub asset: Id,
    pub repairs: u32,
    /// The last of them is not over: it has no cost yet, and nothing was gone through since.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub under_way: bool,
    pub cost_cents: u64,
    pub without_cost: u32,
    pub days_out: u32,
    /// Ages gone through between its repairs, the last up to now.
    pub gaps: Vec<u32>,
    /// What a repair cost on the average, and for how much age it lasted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cents_per_age: Option<f64>,
    /// What a new one costs, where the house knows it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub new_cents: Option<u64>,
    /// The age that a new one has to reach to cost no more than going on with repairs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub even_at: Option<f64>,
    /// One plain sentence or two; what it does not know it says.
    pub said: String,
}

fn days_between(from: Time, to: Time) -> u32 {
    u32::try_from((to.0 - from.0).max(0) / (24 * 60 * MINUTE)).unwrap_or(u32::MAX)
}

impl Repair {
    /// Whole days out of the house, up to now where it is still away.
    pub fn days_out(&self, now: Time) -> u32 {
        days_between(self.sent_at, self.back_at.unwrap_or(now))
    }
}

impl State {
    /// The repairs of each part, in the order in which they were sent.
    fn repairs_by_part(&self) -> BTreeMap<&Id, Vec<&Arc<Repair>>> {
        let mut all: BTreeMap<&Id, Vec<&Arc<Repair>>> = BTreeMap::new();
        for repair in self.repairs.values() {
            all.entry(&repair.asset).or_default().push(repair);
        }
        all.values_mut().for_each(|repairs| repairs.sort_by_key(|repair| repair.sent_at));
        all
    }

    /// The pieces of a model with their repairs: what mean cumulative repairs are counted over.
    pub fn repaired_pieces(&self, model: &Id, clock: Clock, now: Time) -> Vec<RepairedPiece> {
        let repairs = self.repairs_by_part();
        let of_model = self.assets.values().filter(|asset| asset.model == *model);
        let piece = |asset: &Arc<Asset>| {
            let own = repairs.get(&asset.asset).map(Vec::as_slice).unwrap_or_default();
            RepairedPiece {
                asset: asset.asset.clone(),
                supplier: asset.supplier.clone(),
                start: self.entry_age(asset, clock),
                end: self.age(asset, clock, now),
                events: own.iter().map(|repair| self.age_at(asset, clock, repair.sent_at)).collect(),
            }
        };
        of_model.map(piece).collect()
    }

    /// Repairs by who did them, of one model or of all. Those that name nobody stand under an empty name.
    pub fn repairs_by_supplier(&self, model: Option<&Id>, now: Time) -> BTreeMap<String, BySupplier> {
        let mut all: BTreeMap<String, BySupplier> = BTreeMap::new();
        for repair in self.repairs.values() {
            let of = self.assets.get(&repair.asset).map(|asset| &asset.model);
            if model.is_some() && of != model {
                continue;
            }
            let name = repair.supplier.as_ref().map(|name| name.0.clone()).unwrap_or_default();
            let row = all.entry(name).or_default();
            row.repairs += 1;
            row.warranty += u32::from(repair.warranty == Some(true));
            row.cost_cents += repair.cost_cents.unwrap_or(0);
            match repair.back_at {
                None => row.under_way += 1,
                Some(_) => {
                    row.without_cost += u32::from(repair.cost_cents.is_none());
                    row.days_out.push(repair.days_out(now));
                }
            }
        }
        all.values_mut().for_each(|row| row.days_out.sort_unstable());
        all
    }

    /// Whether one more repair of this piece is worth its money, by its own record.
    pub fn repair_or_replace(&self, asset: &Asset, now: Time) -> RepairOrReplace {
        let clock = self.clock_of_model(&asset.model);
        let by_part = self.repairs_by_part();
        let own = by_part.get(&asset.asset).map(Vec::as_slice).unwrap_or_default();
        let over: Vec<&Arc<Repair>> = own.iter().filter(|repair| repair.back_at.is_some()).copied().collect();
        let known: Vec<u64> = over.iter().filter_map(|repair| repair.cost_cents).collect();
        let mut ages: Vec<u32> = own.iter().map(|it| self.age_at(asset, clock, it.sent_at)).collect();
        ages.push(self.age(asset, clock, now));
        let gaps: Vec<u32> =
            ages.windows(2).map(|pair| pair[1].saturating_sub(pair[0])).take(over.len()).collect();
        let new_cents =
            self.costs_of(&asset.model).and_then(|costs| costs.planned_cents).or(asset.cost_cents);
        let cost_cents = known.iter().sum();
        let lasted: u32 = gaps.iter().sum();
        let per_repair = (!known.is_empty()).then(|| cost_cents as f64 / known.len() as f64);
        let per_age = per_repair
            .filter(|_| over.len() >= 2 && lasted > 0)
            .map(|it| it * over.len() as f64 / f64::from(lasted));
        let even_at =
            per_age.filter(|it| *it > 0.0).zip(new_cents).map(|(per_age, new)| new as f64 / per_age);
        let mut told = RepairOrReplace {
            asset: asset.asset.clone(),
            repairs: own.len() as u32,
            under_way: over.len() < own.len(),
            cost_cents,
            without_cost: (over.len() - known.len()) as u32,
            days_out: own.iter().map(|repair| repair.days_out(now)).fold(0, u32::saturating_add),
            gaps,
            cents_per_age: per_age,
            new_cents,
            even_at,
            said: String::new(),
        };
        told.said = said(&told, clock);
        told
    }
}

/// What a biomed reads first: of the repairs that are over, since one under way has lasted nothing yet.
fn said(it: &RepairOrReplace, clock: Clock) -> String {
    let ages = clock.name();
    let over = it.repairs - u32::from(it.under_way);
    let times = if over == 2 { "twice".to_string() } else { format!("{over} times") };
    let each = || clock.told(average(&it.gaps));
    let all = match (over, it.cents_per_age, it.new_cents, it.even_at) {
        (0, ..) if it.under_way => {
            return "It is in repair for the first time, so its own record says nothing of how long a repair lasts.".into();
        }
        (0, ..) => "It was never repaired, so its own record says nothing of repairs.".into(),
        (1, ..) if it.gaps.last().is_none_or(|gap| *gap == 0) => format!(
            "It was repaired once, and has gone through no {ages} since: one repair says nothing of how long the next one lasts."
        ),
        (1, ..) => format!(
            "It was repaired once, and lasted {} since: one repair says nothing of how long the next one lasts.",
            clock.told(it.gaps.last().copied().unwrap_or(0))
        ),
        (_, None, ..) => format!(
            "It was repaired {times}; what that cost, or how long it lasted, is not told, so nothing can be compared."
        ),
        (_, Some(_), None, _) => format!(
            "It was repaired {times}, for {} each on the average; what a new one costs is not told.",
            each()
        ),
        (_, Some(_), Some(_), None) => {
            format!("It was repaired {times}, for {} each on the average, at no cost of the house.", each())
        }
        (_, Some(_), Some(_), Some(even)) => format!(
            "It was repaired {times}, for {} each on the average. A new one costs no more than going on so if it lasts {}.",
            each(),
            clock.told(even.ceil() as u32)
        ),
    };
    match it.under_way {
        true => format!("{all} It is in repair now, which is not counted in that."),
        false => all,
    }
}

/// To the nearest whole age, and not to none where there was any.
fn average(gaps: &[u32]) -> u32 {
    let sum: u64 = gaps.iter().copied().map(u64::from).sum();
    let many = gaps.len().max(1) as u64;
    let nearest = (2 * sum + many) / (2 * many);
    u32::try_from(nearest.max(u64::from(sum > 0))).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(repairs: u32, under_way: bool, gaps: &[u32], cents_per_age: Option<f64>) -> String {
        let it = RepairOrReplace {
            asset: Id::new("T-1").expect("an id"),
            repairs,
            under_way,
            cost_cents: 0,
            without_cost: 0,
            days_out: 0,
            gaps: gaps.to_vec(),
            cents_per_age,
            new_cents: Some(400),
            even_at: cents_per_age.map(|it| 400.0 / it),
            said: String::new(),
        };
        said(&it, Clock::Cycles)
    }

    #[test]
    fn what_is_under_way_has_lasted_nothing_and_one_is_one() {
        assert!(told(1, true, &[], None).starts_with("It is in repair for the first time"));
        assert!(told(1, false, &[1], None).starts_with("It was repaired once, and lasted 1 cycle since"));
        let away = told(2, true, &[100], None);
        assert!(away.starts_with("It was repaired once, and lasted 100 cycles since"), "{away}");
        assert!(away.ends_with("It is in repair now, which is not counted in that."), "{away}");
        let twice = told(2, false, &[1, 2], Some(400.0));
        let says = "It was repaired twice, for 2 cycles each on the average. A new one costs no more than going on so if it lasts 1 cycle.";
        assert_eq!(twice, says);
    }
}
