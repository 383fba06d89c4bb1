//! The figures on which a decision about a model rests, as its entry keeps them.

use super::id::Id;
use super::lifetime::Clock;
use super::state::State;
use super::text::Quantity;
use super::time::Time;
use super::upkeep::{Evidence, Figure};
use crate::analysis::life::Limits;

/// What the ledger says of a model's lives at this moment.
pub(super) fn of(state: &State, model: &Id, clock: Clock, now: Time) -> Evidence {
    let lives = state.lives(model, clock, now);
    let costs = state.costs_of(model);
    let fit = lives.fit();
    let figure = |value: f64, limits: Limits| {
        let high = limits.high.and_then(|high| Quantity::rounded(high, 3));
        Some(Figure { value: Quantity::rounded(value, 3)?, low: Quantity::rounded(limits.low, 3)?, high })
    };
    let law = fit.as_ref().ok();
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
        ..Evidence::default()
    }
}
