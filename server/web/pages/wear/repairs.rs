//! Repairs of a model: how many a piece has had by an age, whether they come faster, and who repairs at what cost.

use super::report::money;
use super::words::{aged, figure};
use crate::analysis::life::Limits;
use crate::analysis::life::mcf::{Unit, mcf};
use crate::analysis::life::trend;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::pages::shared::count;

pub struct SupplierRow {
    pub name: String,
    pub repairs: u32,
    pub under_way: u32,
    pub warranty: u32,
    pub cost: String,
    pub days: String,
}

/// Repairs that a piece has had by an age, on the average.
pub struct MeanRow {
    pub age: String,
    pub at_risk: u64,
    pub mean: String,
    pub range: String,
}

pub struct RepairsOf {
    pub said: Vec<String>,
    pub suppliers: Vec<SupplierRow>,
    pub means: Vec<MeanRow>,
}

/// As many ages as a person reads.
const MOST_AGES: usize = 12;

fn trend_words(units: &[Unit]) -> String {
    match trend::of_many(units) {
        Ok(Some(found)) if found.is_clear() && found.laplace > 0.0 => {
            "They come faster as the pieces grow older, by both tests.".into()
        }
        Ok(Some(found)) if found.is_clear() => {
            "They come more slowly as the pieces grow older, by both tests.".into()
        }
        Ok(Some(_)) => "There is no clear trend: it cannot be told whether they come faster with age.".into(),
        Ok(None) | Err(_) => "Too few to tell whether they come faster with age.".into(),
    }
}

pub fn repairs_of(state: &State, model: &Id, now: Time) -> RepairsOf {
    let clock = state.clock_of_model(model);
    let pieces = state.repaired_pieces(model, clock, now);
    let events: usize = pieces.iter().map(|piece| piece.events.len()).sum();
    let mut told = RepairsOf { said: Vec::new(), suppliers: Vec::new(), means: Vec::new() };
    if events == 0 {
        told.said.push("No piece of this model was ever sent to repair.".into());
        return told;
    }
    let watched = pieces.iter().filter(|piece| piece.end > piece.start);
    let units: Vec<Unit> = watched
        .map(|piece| Unit {
            start: piece.start.into(),
            end: piece.end.into(),
            events: piece.events.iter().map(|age| f64::from(*age).max(f64::from(piece.start))).collect(),
        })
        .collect();
    told.said.push(format!(
        "{} among {}.",
        count(events, "repair", "repairs"),
        count(pieces.len(), "piece", "pieces")
    ));
    if let Ok(steps) = mcf(&units) {
        if let Some(last) = steps.last() {
            let limits = Limits { low: last.low, high: Some(last.high).filter(|high| high.is_finite()) };
            told.said.push(format!(
                "A piece has had {} repairs by {}, on the average.",
                figure(last.mean, limits).plausible(),
                aged(&format!("{:.0}", last.age), clock)
            ));
        }
        let every = steps.len().div_ceil(MOST_AGES).max(1);
        let kept = steps.iter().rev().step_by(every).collect::<Vec<_>>().into_iter().rev();
        told.means = kept
            .map(|step| {
                let limits = Limits { low: step.low, high: Some(step.high).filter(|high| high.is_finite()) };
                let told = figure(step.mean, limits);
                MeanRow {
                    age: format!("{:.0}", step.age),
                    at_risk: step.at_risk,
                    range: told.range(),
                    mean: told.value,
                }
            })
            .collect();
    }
    told.said.push(trend_words(&units));
    for (name, by) in state.repairs_by_supplier(Some(model), now) {
        told.suppliers.push(SupplierRow {
            name: if name.is_empty() { "not told".into() } else { name },
            repairs: by.repairs,
            under_way: by.under_way,
            warranty: by.warranty,
            days: by.median_days().map(|days| count(days as usize, "day", "days")).unwrap_or_default(),
            cost: match by.without_cost {
                0 => money(by.cost_cents),
                many => format!("{}, and {many} without a told cost", money(by.cost_cents)),
            },
        });
    }
    told
}
