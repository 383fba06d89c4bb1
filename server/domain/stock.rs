//! How many parts of a model to have in the store, and by when to order: from each part's own age, the pace of the house
//! and the time that an order takes.

use chrono::Days;
use serde::Serialize;

use super::lifetime::{Clock, Lives};
use super::state::State;
use super::time::{Date, MINUTE, Time, told_day};
use crate::analysis::life::spares::{self, Demand};
use crate::analysis::life::{Refused, Weibull};

/// Nobody orders further ahead than two years.
const FURTHEST_DAYS: u32 = 730;
const DAY: f64 = (24 * 60 * MINUTE) as f64;

/// What to order.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OrderAdvice {
    /// In service, in no set, on no hold.
    pub on_shelf: u32,
    /// Age that a part in a set gains in a day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pace: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    /// Failures to expect until an order of today is here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected: Option<f64>,
    /// So many on the shelf suffice until then, 95 and 99 times in 100.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stock95: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stock99: Option<u64>,
    /// So many to order now for 95 in 100, or for the house's own target where that is more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order: Option<u64>,
    /// The last day on which an order still comes in time, where it is not today.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_by: Option<Date>,
    pub said: String,
}

impl State {
    /// Age gained in a day by parts that gained any: what is on the shelf does not age in cycles or uses.
    pub fn pace(&self, lives: &Lives, now: Time) -> Option<f64> {
        if lives.clock == Clock::Days {
            return Some(1.0);
        }
        let (mut gained, mut days) = (0.0, 0.0);
        for piece in lives.pieces.iter().filter(|piece| piece.age > piece.entry) {
            let Some(asset) = self.assets.get(&piece.asset) else { continue };
            let until = piece.retired_at.unwrap_or(now);
            gained += f64::from(piece.age - piece.entry);
            days += (until.0 - asset.added_at.0).max(0) as f64 / DAY;
        }
        (days > 0.0).then(|| gained / days)
    }

    /// What to order of a model, and by when.
    pub fn order_advice(&self, lives: &Lives, fit: Result<&Weibull, &Refused>, now: Time) -> OrderAdvice {
        let costs = self.costs_of(&lives.model).unwrap_or_default();
        let free = |asset: &std::sync::Arc<super::state::Asset>| asset.counts() && asset.holds.is_empty();
        let shelf = lives.in_service().filter(|piece| !piece.seated);
        let on_shelf = shelf.filter(|piece| self.assets.get(&piece.asset).is_some_and(free)).count() as u32;
        let mut told = OrderAdvice {
            on_shelf,
            pace: self.pace(lives, now),
            lead_days: costs.lead_days,
            expected: None,
            stock95: None,
            stock99: None,
            order: None,
            order_by: None,
            said: String::new(),
        };
        let below = |target: u64| target.saturating_sub(u64::from(on_shelf));
        let target = costs.stock_target.map(u64::from);
        let (fit, lead, pace) = match (fit, costs.lead_days, told.pace) {
            (Ok(fit), Some(lead), Some(pace)) => (fit, lead, pace),
            (fit, lead, _) => {
                told.order = target.map(below);
                told.said = match (fit, lead) {
                    (Err(refused), _) => refused.said.clone(),
                    (Ok(_), None) => "How long an order takes is not told yet.".into(),
                    (Ok(_), Some(_)) => "No part of it has gone through any of that age yet.".into(),
                };
                return told;
            }
        };
        let ages: Vec<f64> =
            lives.in_service().filter(|piece| piece.seated).map(|piece| f64::from(piece.whole_at)).collect();
        let demand = |days: u32| spares::with_uncertainty(fit, &ages, pace * f64::from(days));
        match demand(lead.max(1)) {
            Ok(found) => {
                told.expected = Some(found.expected);
                told.stock95 = Some(found.stock95);
                told.stock99 = Some(found.stock99);
                told.order = Some(below(found.stock95.max(target.unwrap_or(0))));
                let days = days_that_last(&demand, u64::from(on_shelf));
                let by = days.map(|days| u64::from(days.saturating_sub(lead)));
                told.order_by = by.and_then(|days| now.date(self.zone).checked_add_days(Days::new(days)));
                told.said = said(&told, lead);
            }
            Err(refused) => told.said = refused.said,
        }
        told
    }
}

/// The days for which the shelf suffices 95 times in 100; none where that is longer than anybody looks ahead.
fn days_that_last(demand: &impl Fn(u32) -> Result<Demand, Refused>, on_shelf: u64) -> Option<u32> {
    let lasts = |days: u32| demand(days).is_ok_and(|found| found.stock95 <= on_shelf);
    if lasts(FURTHEST_DAYS) {
        return None;
    }
    let (mut low, mut high) = (0, FURTHEST_DAYS);
    while high - low > 1 {
        let middle = (low + high) / 2;
        if lasts(middle) { low = middle } else { high = middle }
    }
    Some(low)
}

fn said(it: &OrderAdvice, lead: u32) -> String {
    let (need95, need99) = (it.stock95.unwrap_or(0), it.stock99.unwrap_or(0));
    let shelf = it.on_shelf;
    let what = format!(
        "Within the {lead} days of an order {need95} on the shelf suffice 95 times in 100, {need99} 99 times"
    );
    match (it.order.filter(|n| *n > 0), it.order_by) {
        (Some(order), _) => format!("{what}; {shelf} lie there: order {order} now."),
        (None, Some(day)) => format!("{what}; {shelf} lie there: order by {}.", told_day(day)),
        (None, None) => format!("{what}; {shelf} lie there, which lasts for two years."),
    }
}
