//! What to do about a model: replace before it fails, keep so many in the store, look at these next. Each with what it
//! rests on, and with the form that does it; where it is not worth it, that is said instead.

use std::collections::BTreeMap;

use super::report::money;
use super::words::{self, figure};
use crate::analysis::life::{Limits, Weibull};
use crate::domain::lifetime::Piece;
use crate::domain::outlook::Outlook;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::upkeep::{Costs, LifeLimit};
use crate::web::pages::shared::{count, date};

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

/// An age of the house's own that no part reaches.
fn useless(state: &State, limit: &LifeLimit) -> String {
    let makers = state.makers_limit(&limit.set.model, limit.set.clock);
    let told = |limit: u32| format!(". It changes nothing: the maker's limit of {limit} comes due before it");
    makers.filter(|makers| limit.set.replace_at > *makers).map(told).unwrap_or_default()
}

fn replace(state: &State, outlook: &Outlook) -> Replace {
    let now = state.life_limit(&outlook.lives.model).map(|limit| InForce {
        said: format!(
            "Replaced at {}, set by {} on {} (entry {}): {}{}",
            limit.set.clock.told(limit.set.replace_at),
            limit.by,
            date(limit.at.date(state.zone)),
            limit.entry,
            limit.set.reason.trim_end_matches('.'),
            useless(state, limit)
        ),
        evidence: format!(
            "It rested on {} among {}, the oldest {}, up to ledger entry {}.",
            count(limit.set.evidence.failures as usize, "failure", "failures"),
            count(limit.set.evidence.units as usize, "piece", "pieces"),
            limit.set.clock.told(limit.set.evidence.oldest),
            limit.set.evidence.ledger
        ),
    });
    let advice = state.replace_advice(outlook);
    let at = advice.at.filter(|_| advice.worth_it).map(|at| format!("{at:.0}"));
    let reason = at.as_ref().map(|at| {
        let evidence = words::evidence(outlook, family(state, outlook));
        format!("Costs least at {at} {}; {evidence}", outlook.clock().unit(at == "1"))
    });
    Replace { said: advice.said, at, reason: reason.unwrap_or_default(), now }
}

fn family(state: &State, outlook: &Outlook) -> Option<crate::domain::model::Family> {
    state.model(&outlook.lives.model).map(|model| model.family)
}

fn order(state: &State, outlook: &Outlook, now: Time) -> Order {
    let advice = state.order_advice(outlook, now);
    Order { said: advice.said, evidence: advice.evidence, keep: advice.stock95 }
}

/// A piece in service with its chances, where they are known.
pub struct Chances<'a> {
    pub piece: &'a Piece,
    /// To have failed by the end of the next case.
    pub case: Option<f64>,
    /// To have failed by the next inspection, which finds it. Both since the last one that it passed.
    pub inspection: Option<f64>,
    pub next: crate::domain::outlook::Next,
}

/// The pieces in service, the most likely to fail before its next inspection first, else the oldest.
pub fn chances<'a>(state: &State, outlook: &'a Outlook) -> Vec<Chances<'a>> {
    let law = outlook.law.as_ref().ok();
    let case_days = outlook.days_between_uses(state);
    let mut known: BTreeMap<(u32, u64, u64), (f64, f64)> = BTreeMap::new();
    let mut all: Vec<Chances<'a>> = Vec::new();
    for piece in outlook.lives.in_service() {
        let next = outlook.next(state, piece, case_days);
        let both = law.map(|law| {
            let key = (piece.whole_at, next.case.to_bits(), next.inspection.to_bits());
            let within = |ahead: f64| law.fail_within(next.seen_whole, ahead);
            *known.entry(key).or_insert_with(|| (within(next.case), within(next.inspection)))
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
            "Look at {} first: at {} its chance to fail before its next inspection is {}.",
            first.asset,
            outlook.clock().told(first.age),
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
            replace: replace(state, outlook),
            order: order(state, outlook, now),
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
