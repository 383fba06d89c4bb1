//! Whether a model's parts are better replaced before they fail, and the figures on which such a decision rests, as its
//! entry keeps them.

use serde::Serialize;

use super::id::Id;
use super::lifetime::{Clock, Lives};
use super::state::State;
use super::text::Quantity;
use super::time::Time;
use super::upkeep::{Evidence, Figure};
use crate::analysis::life::{Limits, Refused, Weibull, replacement};

/// Less than this of the cost of waiting for failures is not worth a rule.
pub const WORTH_SAVING: f64 = 0.05;

/// Whether to replace before a failure, and when.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReplaceAdvice {
    /// To be recommended: the parts wear out, as far as that can be known, and it is worth it.
    pub worth_it: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    /// From where to where it costs hardly more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flat_from: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flat_to: Option<f64>,
    /// The share of the cost of waiting for failures that it saves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saving: Option<f64>,
    /// What that is in a year for the parts now in sets, at the pace so far.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cents_a_year: Option<f64>,
    pub said: String,
}

impl ReplaceAdvice {
    fn none(said: impl Into<String>) -> ReplaceAdvice {
        ReplaceAdvice {
            worth_it: false,
            at: None,
            flat_from: None,
            flat_to: None,
            saving: None,
            cents_a_year: None,
            said: said.into(),
        }
    }
}

impl State {
    /// Whether the parts of a model are better replaced before they fail.
    pub fn replace_advice(&self, lives: &Lives, fit: Result<&Weibull, &Refused>, now: Time) -> ReplaceAdvice {
        let fit = match fit {
            Ok(fit) => fit,
            Err(refused) => return ReplaceAdvice::none(refused.said.clone()),
        };
        let costs = self.costs_of(&lives.model).unwrap_or_default();
        let Some((planned, unplanned)) = costs.planned_cents.zip(costs.unplanned_cents) else {
            let said = "What a planned replacement and a failure cost is not told yet, so none can be weighed against the other.";
            return ReplaceAdvice::none(said);
        };
        let best = match replacement::optimum(planned as f64, unplanned as f64, fit.eta, fit.beta) {
            Ok(found) => found.best.map(|best| (best, found.run_to_failure_rate)),
            Err(refused) => return ReplaceAdvice::none(refused.said),
        };
        let Some((best, waiting)) = best else {
            let said =
                "Replacing before a failure costs as much as waiting for it, or more: replace what fails.";
            return ReplaceAdvice::none(said);
        };
        let wears_out = fit.beta_limits().low > 1.0;
        let worth_it = wears_out && best.saving > WORTH_SAVING;
        let seated = lives.in_service().filter(|piece| piece.seated).count() as f64;
        let a_year = self.pace(lives, now).map(|pace| (waiting - best.rate) * pace * 365.25 * seated);
        let ages = lives.clock.name();
        let (at, saving) = (best.age.round(), (best.saving * 100.0).round());
        let to = best.flat_to.map_or(String::from("any later age"), |to| format!("{}", to.round()));
        let flat = format!("from {} to {to} {ages} costs hardly more", best.flat_from.round());
        let said = match (wears_out, worth_it) {
            (_, true) => format!("Replace at about {at} {ages}: that saves {saving} % of waiting for failures; {flat}."),
            (true, false) => format!("Replacing at {at} {ages} saves {saving} % of waiting for failures: too little for a rule."),
            (false, false) => {
                "Whether these parts wear out or break at random can't be told from so few failures: replace what fails.".into()
            }
        };
        ReplaceAdvice {
            worth_it,
            at: Some(best.age),
            flat_from: Some(best.flat_from),
            flat_to: best.flat_to,
            saving: Some(best.saving),
            cents_a_year: a_year,
            said,
        }
    }
}

fn figure(value: f64, limits: Limits) -> Option<Figure> {
    let high = limits.high.and_then(|high| Quantity::rounded(high, 3));
    Some(Figure { value: Quantity::rounded(value, 3)?, low: Quantity::rounded(limits.low, 3)?, high })
}

/// What the ledger says of a model's lives at this moment.
pub(super) fn of(state: &State, model: &Id, clock: Clock, now: Time) -> Evidence {
    let lives = state.lives(model, clock, now);
    let costs = state.costs_of(model);
    let fit = lives.fit();
    let advice = state.replace_advice(&lives, fit.as_ref(), now);
    let law = fit.as_ref().ok();
    let optimum = advice.at.zip(advice.flat_from);
    Evidence {
        ledger: state.seq,
        units: lives.pieces.len() as u32,
        failures: lives.failures() as u32,
        oldest: lives.oldest(),
        refused: fit.as_ref().err().map(|refused| refused.why.name().to_string()),
        beta: law.and_then(|law| figure(law.beta, law.beta_limits())),
        eta: law.and_then(|law| figure(law.eta, law.eta_limits())),
        planned_cents: costs.and_then(|costs| costs.planned_cents),
        unplanned_cents: costs.and_then(|costs| costs.unplanned_cents),
        optimum: optimum.and_then(|(at, low)| figure(at, Limits { low, high: advice.flat_to })),
        saving_percent: advice.saving.and_then(|saving| Quantity::rounded(saving * 100.0, 1)),
    }
}
