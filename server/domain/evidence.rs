//! Whether a model's parts are better replaced before they fail, and the figures on which such a decision rests, as its
//! entry keeps them.

use serde::Serialize;

use super::costs::money;
use super::id::Id;
use super::lifetime::Clock;
use super::outlook::{Outlook, about, about_percent};
use super::state::State;
use super::text::Quantity;
use super::time::Time;
use super::upkeep::{Costs, Evidence, Figure};
use crate::analysis::life::Limits;
use crate::analysis::life::replacement::{self, Best};

/// Less than this of the cost of waiting for failures is not worth a rule.
pub const WORTH_SAVING: f64 = 0.05;

/// Whether to replace before a failure, and when.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReplaceAdvice {
    /// To be recommended: the parts wear out, as far as that can be known, and it is worth it.
    pub worth_it: bool,
    /// The whole age that costs least; what stands beside it is said of this age.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    /// From which whole age to which it costs hardly more.
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

const YEAR_DAYS: f64 = 365.25;

/// Both costs, where both are told and a failure costs more: without that there is nothing to save.
fn both(costs: Costs) -> Result<(f64, f64), &'static str> {
    let Some((planned, unplanned)) = costs.planned_cents.zip(costs.unplanned_cents) else {
        return Err(
            "Tell what a replacement in good time and one after a failure cost: then an age can be found.",
        );
    };
    if planned == 0 || unplanned <= planned {
        return Err(
            "A failure has to cost more than a replacement in good time, and that more than nothing: else waiting costs \
                    least.",
        );
    }
    Ok((planned as f64, unplanned as f64))
}

impl State {
    /// Whether the parts of a model are better replaced before they fail.
    pub fn replace_advice(&self, outlook: &Outlook) -> ReplaceAdvice {
        let Ok(law) = &outlook.law else {
            return ReplaceAdvice::none(
                "No age can be found: how long these parts last is not known well enough.",
            );
        };
        if law.beta_limits().low <= 1.0 {
            return ReplaceAdvice::none(
                "Nothing is won by replacing early, as far as anybody can tell: it is not sure that the old ones fail more than \
                 the young.",
            );
        }
        let found = both(self.costs_of(&outlook.lives.model).unwrap_or_default());
        let found = found.map_err(String::from).and_then(|(planned, unplanned)| {
            replacement::whole_optimum(planned, unplanned, law.eta, law.beta).map_err(|refused| refused.said)
        });
        let (best, waiting) = match found {
            Ok(found) => match found.best {
                Some(best) => (best, found.run_to_failure_rate),
                None => {
                    let said =
                        "With these costs it is best to let them go on until they fail, and to inspect.";
                    return ReplaceAdvice::none(said);
                }
            },
            Err(said) => return ReplaceAdvice::none(said),
        };
        // What lies in the store does not age, and is not replaced for it.
        let in_sets = outlook.lives.in_sets().count();
        let a_year = outlook.per_day.map(|pace| (waiting - best.rate) * pace * YEAR_DAYS * in_sets as f64);
        let worth_it = best.saving > WORTH_SAVING;
        ReplaceAdvice {
            worth_it,
            at: Some(best.age),
            flat_from: Some(best.flat_from),
            flat_to: best.flat_to,
            saving: Some(best.saving),
            cents_a_year: a_year,
            said: if worth_it { worth(outlook, &best, a_year, in_sets) } else { not_worth(&best) },
        }
    }
}

fn worth(outlook: &Outlook, best: &Best, a_year: Option<f64>, in_sets: usize) -> String {
    let (at, unit) = (best.age, outlook.clock().name());
    let flat = match best.flat_to {
        Some(to) if to <= best.flat_from => "any other age costs more".into(),
        Some(to) => format!("any age from {:.0} to {to:.0} {unit} costs hardly more", best.flat_from),
        None => format!("any age from {:.0} {unit} on costs hardly more", best.flat_from),
    };
    let year = a_year.map(|cents| {
        format!(", about {} a year for the {in_sets} in sets", money(cents.max(0.0).round() as u64))
    });
    format!(
        "Replace at {at:.0} {}: {flat}. It saves {} of the cost of waiting for failures{}; {} of 100 still fail before that \
         age.",
        outlook.clock().unit(at == 1.0),
        about_percent(best.saving),
        year.unwrap_or_default(),
        about(best.fails_before * 100.0)
    )
}

fn not_worth(best: &Best) -> String {
    format!(
        "Replacing early would save {} of the cost, which is not worth it: let them go on to the maker's limit, and inspect.",
        about_percent(best.saving)
    )
}

fn figure(value: f64, limits: Limits) -> Option<Figure> {
    let high = limits.high.and_then(|high| Quantity::rounded(high, 3));
    Some(Figure { value: Quantity::rounded(value, 3)?, low: Quantity::rounded(limits.low, 3)?, high })
}

/// What the ledger says of a model's lives at this moment.
pub(super) fn of(state: &State, model: &Id, clock: Clock, now: Time) -> Evidence {
    let outlook = Outlook::of(state, state.lives(model, clock, now), now);
    let lives = &outlook.lives;
    let costs = state.costs_of(model);
    let advice = state.replace_advice(&outlook);
    let law = outlook.law.as_ref().ok();
    let optimum = advice.at.zip(advice.flat_from);
    Evidence {
        ledger: state.seq,
        units: lives.pieces.len() as u32,
        failures: lives.failures() as u32,
        oldest: lives.oldest(),
        refused: outlook.law.as_ref().err().map(|refused| refused.why.name().to_string()),
        beta: law.and_then(|law| figure(law.beta, law.beta_limits())),
        eta: law.and_then(|law| figure(law.eta, law.eta_limits())),
        planned_cents: costs.and_then(|costs| costs.planned_cents),
        unplanned_cents: costs.and_then(|costs| costs.unplanned_cents),
        optimum: optimum.and_then(|(at, low)| figure(at, Limits { low, high: advice.flat_to })),
        saving_percent: advice.saving.and_then(|saving| Quantity::rounded(saving * 100.0, 1)),
    }
}
