//! How many parts of a model to have in the store, and how many to order: from each part's own age, the pace of the house
//! and the time until what is ordered at the next occasion is here.

use std::sync::Arc;

use chrono::Days;
use serde::Serialize;

use super::lifetime::{Clock, Piece};
use super::outlook::{Outlook, about_failures, pace};
use super::state::{Asset, Stage, State};
use super::time::{Date, Time, told_day};
use crate::analysis::life::spares::{Demand, poisson, with_uncertainty};

/// The store is looked at this often: what is not ordered today waits so long for the next occasion. Common practice.
pub const REVIEW_DAYS: u32 = 30;
/// How long an order takes where nobody told it; said where it is used.
pub const USUAL_LEAD_DAYS: u32 = 30;

/// What to order. Where it can't be told, the sentence says why, and the numbers are left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OrderAdvice {
    /// In service, in no set, on no hold, and ready to be taken.
    pub on_shelf: u32,
    /// The same but for being ready: new, or soiled. They are here long before what is ordered, so they count against the order.
    pub to_be_made_ready: u32,
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
    /// Parts in sets that reach the house's age of replacement by then, or a limit of their maker's, whichever comes first.
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

/// A limit at which parts are replaced before they fail, and the pace of what it counts.
struct Planned {
    clock: Clock,
    limit: u32,
    pace: Option<f64>,
}

impl Planned {
    /// Whether a part reaches it within so many days; where the pace is not known, whether it has.
    fn comes(&self, state: &State, piece: &Piece, days: u32, now: Time) -> bool {
        let Some(asset) = state.assets.get(&piece.asset) else { return false };
        let ahead = self.pace.unwrap_or(0.0) * f64::from(days);
        f64::from(state.age(asset, self.clock, now)) + ahead >= f64::from(self.limit)
    }
}

impl State {
    /// How many of a model lie in the store, free to be taken: ready, and still to be made ready.
    fn in_store(&self, outlook: &Outlook, now: Time) -> (u32, u32) {
        let free = |asset: &&Arc<Asset>| asset.counts() && asset.holds.is_empty();
        let loose = outlook.lives.in_service().filter(|piece| !piece.seated);
        let loose = loose.filter_map(|piece| self.assets.get(&piece.asset)).filter(free);
        let ready = |asset: &&Arc<Asset>| asset.stage == Stage::Ready && !asset.past_date(self, now);
        let (ready, others): (Vec<_>, Vec<_>) = loose.partition(ready);
        let coming = others.iter().filter(|asset| !asset.stage.is_out());
        (ready.len() as u32, coming.count() as u32)
    }

    /// The limits at which the parts of a model are replaced: the house's own, and the maker's.
    fn planned_limits(&self, outlook: &Outlook, now: Time) -> Vec<Planned> {
        let model = &outlook.lives.model;
        let own = self.life_limit(model).map(|limit| (limit.set.clock, limit.set.replace_at));
        let makers = [Clock::Cycles, Clock::Uses]
            .into_iter()
            .filter_map(|clock| Some((clock, self.makers_limit(model, clock)?)));
        let limit = |(clock, limit)| Planned { clock, limit, pace: pace(self, &outlook.lives, clock, now) };
        own.into_iter().chain(makers).map(limit).collect()
    }

    /// How many of these parts reach any of their limits in so many days.
    fn planned(&self, outlook: &Outlook, in_sets: &[&Piece], days: u32, now: Time) -> u32 {
        let limits = self.planned_limits(outlook, now);
        let comes = |piece: &&&Piece| limits.iter().any(|limit| limit.comes(self, piece, days, now));
        in_sets.iter().filter(comes).count() as u32
    }

    /// What to order of a model.
    pub fn order_advice(&self, outlook: &Outlook, now: Time) -> OrderAdvice {
        let model = &outlook.lives.model;
        let costs = self.costs_of(model).unwrap_or_default();
        let (on_shelf, to_be_made_ready) = self.in_store(outlook, now);
        let window_days = costs.lead_days.unwrap_or(USUAL_LEAD_DAYS) + REVIEW_DAYS;
        let target = costs.stock_target.map_or(0, u64::from);
        let here = u64::from(on_shelf) + u64::from(to_be_made_ready);
        let lacks = |wanted: u64| wanted.saturating_sub(here);
        let mut told = OrderAdvice {
            on_shelf,
            to_be_made_ready,
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
        let in_sets: Vec<&Piece> = outlook.lives.in_sets().collect();
        if in_sets.is_empty() {
            told.said =
                "None of them sits in a set, so none will be taken from the store for a failure.".into();
            return told;
        }
        told.planned = self.planned(outlook, &in_sets, window_days, now);
        let Some(pace) = outlook.per_day else {
            let unknown = "How fast these parts age here is not known yet, so nothing can be said of what will be needed.";
            return told.planned_alone(unknown.into(), here);
        };
        let ahead = pace * f64::from(window_days);
        // What an inspection will find in that time happens as long after the last good one.
        let ages: Vec<f64> = in_sets.iter().map(|piece| f64::from(piece.whole_at)).collect();
        let (found, by_law) = match demand(outlook, &ages, ahead) {
            Ok(found) => found,
            Err(said) => {
                return told.planned_alone(said, here);
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

impl OrderAdvice {
    /// Where nothing can be told of failures, the planned replacements alone say the least that is needed.
    fn planned_alone(mut self, said: String, here: u64) -> OrderAdvice {
        let least = u64::from(self.planned).saturating_sub(here);
        let until = self.until.map(told_day).unwrap_or_default();
        let what = match self.planned {
            0 => return OrderAdvice { said, ..self },
            1 => "1 part in a set reaches its age of replacement, or its maker's limit,".to_string(),
            many => format!("{many} parts in sets reach their age of replacement, or their maker's limit,"),
        };
        let order = self.order.unwrap_or(0).max(least);
        let act = match order {
            0 => "what is in the store suffices for that".to_string(),
            order => format!("order at least {order} now"),
        };
        self.order = Some(order);
        self.said = format!("{said} {what} until {until}: {act}.");
        self
    }
}

fn said(it: &OrderAdvice) -> String {
    let lie = if it.on_shelf == 1 { "lies" } else { "lie" };
    let coming = match it.to_be_made_ready {
        0 => String::new(),
        1 => ", and 1 more has to be made ready first, which counts too".into(),
        many => format!(", and {many} more have to be made ready first, which count too"),
    };
    let act = match it.order.unwrap_or(0) {
        0 => format!("Nothing has to be ordered: {} {lie} ready on the shelf{coming}.", it.on_shelf),
        order => format!("Order {order} now: {} {lie} ready on the shelf{coming}.", it.on_shelf),
    };
    let planned = match it.planned {
        0 => String::new(),
        planned => {
            format!(
                " {planned} of them for what reaches its age of replacement, or its maker's limit, by then."
            )
        }
    };
    let low = it.stock95.unwrap_or(0);
    format!(
        "{act} Until {}, {low} in the store {} with 95 % certainty, {} with 99 %.{planned}",
        it.until.map(told_day).unwrap_or_default(),
        if low == 1 { "suffices" } else { "suffice" },
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
        Some(1) => "the lead time of 1 day".into(),
        Some(lead) => format!("the lead time of {lead} days"),
        None => format!("a lead time of {USUAL_LEAD_DAYS} days, which nobody told,"),
    };
    format!(
        "{} among the {in_sets} in sets by then, {from}; the time is {lead} and the {REVIEW_DAYS} days to the next order.",
        about_failures(expected)
    )
}
