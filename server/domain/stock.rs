//! How many parts of a model to have in the store, and how many to order: from each part's own age, the pace of the house
//! and the time until what is ordered at the next occasion is here.

use chrono::Days;
use serde::Serialize;

use super::lifetime::Piece;
use super::outlook::{Outlook, about};
use super::state::{Asset, State};
use super::time::{Date, Time, told_day};
use crate::analysis::life::spares::{Demand, poisson, with_uncertainty};

/// The store is looked at this often: what is not ordered today waits so long for the next occasion. Common practice.
pub const REVIEW_DAYS: u32 = 30;
/// How long an order takes where nobody told it; said where it is used.
pub const USUAL_LEAD_DAYS: u32 = 30;

/// What to order. Where it can't be told, the sentence says why, and the numbers are left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OrderAdvice {
    /// In service, in no set, on no hold.
    pub on_shelf: u32,
    /// Age that a part goes through in a day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pace: Option<f64>,
    /// As it was told for the model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    /// The time that the store has to last: the lead time, or the usual one, and the days to the next occasion to order.
    pub window_days: u32,
    /// The end of that time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Date>,
    /// Failures to be expected among the parts in sets by then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected: Option<f64>,
    /// Parts in sets that reach the house's age of replacement by then.
    pub planned: u32,
    /// So many in the store suffice until then, 95 and 99 times in 100, the planned replacements among them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stock95: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stock99: Option<u64>,
    /// Told by the few failures so far and without regard to age, at the upper limit of their rate.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub few_failures: bool,
    /// So many to order now for 95 in 100, or for the house's own target where that is more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order: Option<u64>,
    pub said: String,
    /// On what it rests.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub evidence: String,
}

/// What is needed for the failures of a time ahead, and whether a law says so: else too few failed for one, and it is told
/// by their rate, at its upper limit, so that the store does not rest on luck.
fn demand(outlook: &Outlook, ages: &[f64], ahead: f64) -> Result<(Demand, bool), String> {
    if let Ok(law) = &outlook.law {
        return with_uncertainty(law, ages, ahead).map(|found| (found, true)).map_err(|refused| refused.said);
    }
    let none = || "Nothing failed so far, so what will be needed cannot be told from failures.".to_string();
    let rate = outlook.rate().filter(|_| outlook.failures > 0).ok_or_else(none)?;
    let mean = |rate: f64| rate * ahead * ages.len() as f64;
    let stock = |level: f64| poisson(mean(rate.at_most), level).map_err(|refused| refused.said);
    let expected = mean(rate.rate);
    let (low, high) = (stock(0.95)?.stock, stock(0.99)?.stock);
    let (sd, prob_zero) = (expected.sqrt(), (-expected).exp());
    Ok((Demand { expected, sd, stock95: low, stock99: high, prob_zero }, false))
}

impl State {
    /// How many of a model lie in the store, free to be taken.
    fn on_shelf(&self, outlook: &Outlook) -> u32 {
        let free = |asset: &std::sync::Arc<Asset>| asset.counts() && asset.holds.is_empty();
        let shelf = outlook.lives.in_service().filter(|piece| !piece.seated);
        shelf.filter(|piece| self.assets.get(&piece.asset).is_some_and(free)).count() as u32
    }

    /// What to order of a model.
    pub fn order_advice(&self, outlook: &Outlook, now: Time) -> OrderAdvice {
        let model = &outlook.lives.model;
        let costs = self.costs_of(model).unwrap_or_default();
        let on_shelf = self.on_shelf(outlook);
        let window_days = costs.lead_days.unwrap_or(USUAL_LEAD_DAYS) + REVIEW_DAYS;
        let target = costs.stock_target.map_or(0, u64::from);
        let lacks = |wanted: u64| wanted.saturating_sub(u64::from(on_shelf));
        let mut told = OrderAdvice {
            on_shelf,
            pace: outlook.per_day,
            lead_days: costs.lead_days,
            window_days,
            until: now.date(self.zone).checked_add_days(Days::new(window_days.into())),
            expected: None,
            planned: 0,
            stock95: None,
            stock99: None,
            few_failures: false,
            order: costs.stock_target.map(|_| lacks(target)),
            said: String::new(),
            evidence: String::new(),
        };
        let in_sets: Vec<&Piece> = outlook.lives.in_service().filter(|piece| piece.seated).collect();
        if in_sets.is_empty() {
            told.said =
                "None of them sits in a set, so none will be taken from the store for a failure.".into();
            return told;
        }
        let Some(pace) = outlook.per_day else {
            told.said = "How fast these parts age here is not known yet, so nothing can be said of what will be needed.".into();
            return told;
        };
        let ahead = pace * f64::from(window_days);
        if let Some(limit) = self.life_limit(model).map(|limit| f64::from(limit.set.replace_at)) {
            told.planned =
                in_sets.iter().filter(|piece| f64::from(piece.age) + ahead >= limit).count() as u32;
        }
        // What an inspection will find in that time happens as long after the last good one.
        let ages: Vec<f64> = in_sets.iter().map(|piece| f64::from(piece.whole_at)).collect();
        let (found, by_law) = match demand(outlook, &ages, ahead) {
            Ok(found) => found,
            Err(said) => {
                told.said = said;
                return told;
            }
        };
        let low = found.stock95 + u64::from(told.planned);
        told.expected = Some(found.expected);
        told.stock95 = Some(low);
        told.stock99 = Some(found.stock99 + u64::from(told.planned));
        told.few_failures = !by_law;
        told.order = Some(lacks(low.max(target)));
        told.said = said(&told);
        told.evidence = evidence(&told, found.expected, ages.len());
        told
    }
}

fn said(it: &OrderAdvice) -> String {
    let lie = if it.on_shelf == 1 { "lies" } else { "lie" };
    let act = match it.order.unwrap_or(0) {
        0 => format!("Nothing has to be ordered: {} {lie} on the shelf.", it.on_shelf),
        order => format!("Order {order} now: {} {lie} on the shelf.", it.on_shelf),
    };
    let planned = match it.planned {
        0 => String::new(),
        planned => format!(" {planned} of them for what reaches its age of replacement."),
    };
    format!(
        "{act} Until {}, {} in the store suffice with 95 % certainty, {} with 99 %.{planned}",
        it.until.map(told_day).unwrap_or_default(),
        it.stock95.unwrap_or(0),
        it.stock99.unwrap_or(0)
    )
}

fn evidence(it: &OrderAdvice, expected: f64, in_sets: usize) -> String {
    let from = match it.few_failures {
        false => "from each piece's own age",
        true => {
            "from the few failures so far and without regard to age; what is kept rests on the upper limit of their rate"
        }
    };
    let lead = match it.lead_days {
        Some(lead) => format!("the lead time of {lead} days"),
        None => format!("a lead time of {USUAL_LEAD_DAYS} days, which nobody told,"),
    };
    format!(
        "About {} failures are expected among the {in_sets} in sets by then, {from}; the time is {lead} and the {REVIEW_DAYS} \
         days to the next order.",
        about(expected)
    )
}
