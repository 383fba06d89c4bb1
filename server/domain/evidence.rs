//! The figures on which a decision about a model rests, as its entry keeps them.

use super::id::Id;
use super::lifetime::Clock;
use super::state::State;
use super::time::Time;
use super::upkeep::Evidence;

/// What the ledger says of a model's lives at this moment.
pub(super) fn of(state: &State, model: &Id, clock: Clock, now: Time) -> Evidence {
    let lives = state.lives(model, clock, now);
    let costs = state.costs_of(model);
    Evidence {
        ledger: state.seq,
        units: lives.pieces.len() as u32,
        failures: lives.failures() as u32,
        oldest: lives.oldest(),
        planned_cents: costs.and_then(|costs| costs.planned_cents),
        unplanned_cents: costs.and_then(|costs| costs.unplanned_cents),
        ..Evidence::default()
    }
}
