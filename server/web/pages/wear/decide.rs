//! What to do about a model: replace before it fails, keep so many in the store, look at these next. Each with what it
//! rests on, and with the form that does it; where it is not worth it, that is said instead.

use std::collections::BTreeMap;

use chrono::Days;

use super::report::money;
use super::words::{self, about, figure};
use crate::analysis::life::replacement::{Best, optimum};
use crate::analysis::life::spares::{Demand, poisson, with_uncertainty};
use crate::analysis::life::{Limits, Weibull};
use crate::domain::lifetime::Piece;
use crate::domain::outlook::Outlook;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::upkeep::Costs;
use crate::web::pages::shared::{count, date};

/// A saving that is worth the trouble; a judgement.
const WORTH: f64 = 0.05;
/// Days to the next order, beside the lead time.
const ORDER_EVERY_DAYS: u32 = 30;
/// Where nobody told how long an order takes.
const USUAL_LEAD_DAYS: u32 = 30;
const YEAR_DAYS: f64 = 365.25;
/// As many parts are offered to be looked at next.
const MOST_NEXT: usize = 10;
/// Below such a chance nobody needs to look before the usual inspection.
const WORTH_A_LOOK: f64 = 0.01;

/// Replace at an age, or why not.
pub struct Replace {
    pub said: String,
    /// The age to be set, where it is worth it.
    pub at: Option<String>,
    pub reason: String,
    /// The limit that is in force, with what it rested on.
    pub now: Option<InForce>,
}

pub struct InForce {
    pub said: String,
    pub evidence: String,
}

pub struct Order {
    pub said: String,
    pub evidence: String,
    /// So many to keep in the store, where a number can be told.
    pub keep: Option<u64>,
}

pub struct NextPiece {
    pub asset: String,
    pub href: String,
    pub chance: String,
    pub age: u32,
    pub asked: bool,
}

pub struct InspectNext {
    pub said: String,
    pub reason: String,
    pub pieces: Vec<NextPiece>,
}

pub struct Decisions {
    pub replace: Replace,
    pub order: Order,
    pub next: InspectNext,
    pub costs: CostsForm,
}

/// The costs as the form shows them.
#[derive(Default)]
pub struct CostsForm {
    pub planned: String,
    pub unplanned: String,
    pub lead_days: String,
    pub stock_target: String,
}

fn costs_form(costs: Option<Costs>) -> CostsForm {
    let costs = costs.unwrap_or_default();
    CostsForm {
        planned: costs.planned_cents.map(money).unwrap_or_default(),
        unplanned: costs.unplanned_cents.map(money).unwrap_or_default(),
        lead_days: costs.lead_days.map(|it| it.to_string()).unwrap_or_default(),
        stock_target: costs.stock_target.map(|it| it.to_string()).unwrap_or_default(),
    }
}

/// Both costs, where both are told and a failure costs more: without that there is nothing to save.
fn both(costs: Option<Costs>) -> Result<(f64, f64), String> {
    let costs = costs.unwrap_or_default();
    let (Some(planned), Some(unplanned)) = (costs.planned_cents, costs.unplanned_cents) else {
        return Err(
            "Tell what a replacement in good time and one after a failure cost: then an age can be found."
                .into(),
        );
    };
    if planned == 0 || unplanned <= planned {
        return Err("A failure has to cost more than a replacement in good time, and that more than nothing: else waiting costs \
                    least."
            .into());
    }
    Ok((planned as f64, unplanned as f64))
}

fn best(outlook: &Outlook, costs: Option<Costs>) -> Result<(Best, f64), String> {
    let law: &Weibull = match &outlook.law {
        Ok(law) => law,
        Err(_) => {
            return Err("No age can be found: how long these parts last is not known well enough.".into());
        }
    };
    let wears = law.beta_limits();
    if wears.low <= 1.0 {
        return Err("Nothing is won by replacing early, as far as anybody can tell: it is not sure that the old ones fail more \
                    than the young."
            .into());
    }
    let (planned, unplanned) = both(costs)?;
    let found = optimum(planned, unplanned, law.eta, law.beta).map_err(|refused| refused.said)?;
    match found.best {
        Some(best) if best.saving > WORTH => Ok((best, found.run_to_failure_rate)),
        Some(best) => Err(format!(
            "Replacing early would save {} of the cost, which is not worth it: let them go on to the maker's limit, and inspect.",
            words::about_percent(best.saving)
        )),
        None => Err("With these costs it is best to let them go on until they fail, and to inspect.".into()),
    }
}

fn replace(state: &State, outlook: &Outlook, costs: Option<Costs>) -> Replace {
    let unit = outlook.clock().name();
    let now = state.life_limit(&outlook.lives.model).map(|limit| InForce {
        said: format!(
            "Replaced at {} {}, set by {} on {} (entry {}): {}",
            limit.set.replace_at,
            limit.set.clock.name(),
            limit.by,
            date(limit.at.date(state.zone)),
            limit.entry,
            limit.set.reason
        ),
        evidence: format!(
            "It rested on {} among {}, the oldest {} {}, up to ledger entry {}.",
            count(limit.set.evidence.failures as usize, "failure", "failures"),
            count(limit.set.evidence.units as usize, "piece", "pieces"),
            limit.set.evidence.oldest,
            limit.set.clock.name(),
            limit.set.evidence.ledger
        ),
    });
    let (best, rate) = match best(outlook, costs) {
        Ok(found) => found,
        Err(said) => return Replace { said, at: None, reason: String::new(), now },
    };
    let at = best.age.floor().max(1.0);
    let flat = match best.flat_to {
        Some(to) => format!("any age from {:.0} to {to:.0} {unit} costs hardly more", best.flat_from.ceil()),
        None => format!("any age above {:.0} {unit} costs hardly more", best.flat_from.ceil()),
    };
    let year = outlook.per_day.map(|per_day| {
        let cents = (rate - best.rate) * per_day * YEAR_DAYS * f64::from(outlook.in_service);
        format!(
            ", about {} a year for the {} in service",
            money(cents.max(0.0).round() as u64),
            outlook.in_service
        )
    });
    let said = format!(
        "Replace at {at:.0} {unit}: {flat}. It saves {} of the cost of waiting for failures{}; {} of 100 still fail before that age.",
        words::about_percent(best.saving),
        year.unwrap_or_default(),
        about(best.fails_before * 100.0)
    );
    let reason =
        format!("Costs least at {at:.0} {unit}; {}", words::evidence(outlook, family(state, outlook)));
    Replace { said, at: Some(format!("{at:.0}")), reason, now }
}

fn family(state: &State, outlook: &Outlook) -> Option<crate::domain::model::Family> {
    state.model(&outlook.lives.model).map(|model| model.family)
}

/// What is needed in the store for the failures of a time ahead, from each piece's own age where a law is known.
fn demand(outlook: &Outlook, ages: &[f64], window: f64, ahead_days: f64) -> Option<(Demand, bool)> {
    if let Ok(law) = &outlook.law {
        return with_uncertainty(law, ages, window).ok().map(|demand| (demand, true));
    }
    // Too few failures for a law: a plain rate, at its upper limit so that the store does not rest on luck.
    let rate = words::rate(outlook).filter(|_| outlook.failures > 0)?;
    let per_piece = outlook.per_day? * ahead_days;
    let mean = |rate: f64| rate * per_piece * ages.len() as f64;
    let stock = |level: f64| poisson(mean(rate.at_most), level).ok().map(|stock| stock.stock);
    let expected = mean(rate.rate);
    let demand = Demand {
        expected,
        sd: expected.sqrt(),
        stock95: stock(0.95)?,
        stock99: stock(0.99)?,
        prob_zero: (-expected).exp(),
    };
    Some((demand, false))
}

fn order(state: &State, outlook: &Outlook, costs: Option<Costs>, now: Time) -> Order {
    let nothing = |said: &str| Order { said: said.into(), evidence: String::new(), keep: None };
    let lead = costs.and_then(|costs| costs.lead_days);
    let days = lead.unwrap_or(USUAL_LEAD_DAYS) + ORDER_EVERY_DAYS;
    let in_use: Vec<&Piece> = outlook.lives.in_service().filter(|piece| piece.seated).collect();
    let shelf = outlook.lives.in_service().filter(|it| !it.seated && !it.missing && !it.in_repair).count();
    if in_use.is_empty() {
        return nothing("None of them sits in a set, so none will be taken from the store for a failure.");
    }
    let Some(per_day) = outlook.per_day else {
        return nothing(
            "How fast these parts age here is not known yet, so nothing can be said of what will be needed.",
        );
    };
    let ages: Vec<f64> = in_use.iter().map(|piece| f64::from(piece.age)).collect();
    let window = per_day * f64::from(days);
    let Some((demand, by_law)) = demand(outlook, &ages, window, f64::from(days)) else {
        return nothing("Nothing failed so far, so what will be needed cannot be told from failures.");
    };
    let limit = state.life_limit(&outlook.lives.model).map(|limit| f64::from(limit.set.replace_at));
    let planned = limit.map_or(0, |limit| ages.iter().filter(|age| **age + window >= limit).count()) as u64;
    let until = now.date(state.zone).checked_add_days(Days::new(days.into())).map(date).unwrap_or_default();
    let (low, high) = (demand.stock95 + planned, demand.stock99 + planned);
    let lacks = low.saturating_sub(shelf as u64);
    let act = match lacks {
        0 => format!("Nothing has to be ordered: {} on the shelf.", count(shelf, "is", "are")),
        lacks => format!("Order {lacks} now: {} on the shelf.", count(shelf, "is", "are")),
    };
    let beside = match planned {
        0 => String::new(),
        planned => format!(" {planned} of them for what reaches its age of replacement."),
    };
    Order {
        said: format!(
            "{act} Until {until}, {low} in the store suffice with 95 % certainty, {high} with 99 %.{beside}"
        ),
        evidence: format!(
            "About {} failures are expected among the {} in sets by then{}; the time is {} and the {ORDER_EVERY_DAYS} days to the \
             next order.",
            about(demand.expected),
            ages.len(),
            if by_law {
                ", from each piece's own age"
            } else {
                ", from the few failures so far and without regard to age"
            },
            match lead {
                Some(lead) => format!("the lead time of {lead} days"),
                None => format!("a lead time of {USUAL_LEAD_DAYS} days, which nobody told,"),
            }
        ),
        keep: Some(low),
    }
}

/// A piece in service with its chances, where they are known.
pub struct Chances<'a> {
    pub piece: &'a Piece,
    /// To fail in the next case.
    pub case: Option<f64>,
    /// To fail before the next inspection that finds it.
    pub inspection: Option<f64>,
    pub next: crate::domain::outlook::Next,
}

/// The pieces in service, the most likely to fail before its next inspection first, else the oldest.
pub fn chances<'a>(state: &State, outlook: &'a Outlook) -> Vec<Chances<'a>> {
    let law = outlook.law.as_ref().ok();
    let case_days = outlook.days_between_uses(state);
    let mut known: BTreeMap<(u32, u32, u64), (f64, f64)> = BTreeMap::new();
    let mut all: Vec<Chances<'a>> = Vec::new();
    for piece in outlook.lives.in_service() {
        let next = outlook.next(state, piece, case_days);
        let both = law.map(|law| {
            let key = (piece.age, piece.whole_at, next.inspection.to_bits());
            let inspection = || law.fail_within(next.seen_whole, next.inspection);
            *known
                .entry(key)
                .or_insert_with(|| (law.fail_within(f64::from(piece.age), next.case), inspection()))
        });
        all.push(Chances { piece, case: both.map(|both| both.0), inspection: both.map(|both| both.1), next });
    }
    all.sort_by(|a, b| {
        let chance = |it: &Chances<'_>| it.inspection.unwrap_or(0.0);
        chance(b)
            .total_cmp(&chance(a))
            .then(b.piece.age.cmp(&a.piece.age))
            .then(a.piece.asset.cmp(&b.piece.asset))
    });
    all
}

fn next(state: &State, outlook: &Outlook, all: &[Chances<'_>]) -> InspectNext {
    let Ok(law) = &outlook.law else {
        let said = "Which of them will fail next is not known; inspect by the maker's instructions.".into();
        return InspectNext { said, reason: String::new(), pieces: Vec::new() };
    };
    let here = all.iter().filter(|it| !it.piece.missing && !it.piece.in_repair);
    let worth = here.filter(|it| it.inspection.is_some_and(|chance| chance >= WORTH_A_LOOK));
    let piece = |it: &Chances<'_>| NextPiece {
        asset: it.piece.asset.to_string(),
        href: format!("/assets/{}", crate::web::pages::shared::segment(it.piece.asset.as_str())),
        chance: words::percent(
            it.inspection.unwrap_or(0.0),
            Some(law.fail_within_limits(it.next.seen_whole, it.next.inspection)),
        ),
        age: it.piece.age,
        asked: state.assets.get(&it.piece.asset).is_some_and(|asset| asset.asked.is_some()),
    };
    let pieces: Vec<NextPiece> = worth.take(MOST_NEXT).map(piece).collect();
    let said = match pieces.first() {
        None => "None needs to be looked at before its usual inspection: each has a chance below 1 % to fail before that.".into(),
        Some(first) => format!(
            "Look at {} first: at {} {} its chance to fail before its next inspection is {}.",
            first.asset,
            first.age,
            outlook.clock().name(),
            first.chance
        ),
    };
    let reason = format!("Most likely to fail next; {}", words::evidence(outlook, family(state, outlook)));
    InspectNext { said, reason, pieces }
}

impl Decisions {
    pub fn of(state: &State, outlook: &Outlook, all: &[Chances<'_>], now: Time) -> Decisions {
        let costs = state.costs_of(&outlook.lives.model);
        Decisions {
            replace: replace(state, outlook, costs),
            order: order(state, outlook, costs, now),
            next: next(state, outlook, all),
            costs: costs_form(costs),
        }
    }
}

/// "41 more cycles (plausible 20 to 90)": after which half of those as old have failed.
pub fn remaining(law: &Weibull, age: f64, with_limits: bool) -> String {
    let value = law.remaining(age);
    let limits =
        if with_limits { law.remaining_limits(age) } else { Limits { low: value, high: Some(value) } };
    let told = figure(value, limits);
    if with_limits { told.plausible() } else { told.value }
}
