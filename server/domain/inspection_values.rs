//! What was measured of parts at inspections, kept by part: a short row of points for each check, so that a trend is
//! seen without reading years of the ledger.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::apply::When;
use super::event::Check;
use super::lifetime::Clock;
use super::state::State;
use super::step::{Inspected, InspectedPart};
use super::text::{Line, Quantity};
use super::time::Time;

/// The first point and the last ones of each check stay in memory.
pub const MOST_POINTS: usize = 64;

/// One measured value of a part, as its event tells it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    pub check: Line,
    pub value: Quantity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Line>,
}

impl Measured {
    pub(super) fn of(check: &Check) -> Option<Measured> {
        Some(Measured { check: check.check.clone(), value: check.value?, unit: check.unit.clone() })
    }
}

/// All that was measured of one part.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Values {
    pub checks: BTreeMap<String, Vec<Point>>,
}

/// One value with when it was measured and how old the part was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    pub at: Time,
    pub entry: u64,
    pub cycles: u32,
    pub value: Quantity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Line>,
}

/// What an entry says was measured of one of its parts. An entry of an earlier form names no part beside a value: it
/// was that of the only one.
fn measured(it: &Inspected, part: &InspectedPart) -> Vec<Measured> {
    match it.parts.len() {
        1 if part.values.is_empty() => it.checks.iter().filter_map(Measured::of).collect(),
        _ => part.values.clone(),
    }
}

/// Keeps what an inspection measured, in the order in which it was measured.
pub(super) fn keep(state: &mut State, when: &When, it: &Inspected) {
    for part in &it.parts {
        let values = measured(it, part);
        let Some(asset) = state.assets.get(&part.asset).filter(|_| !values.is_empty()) else { continue };
        let (id, cycles) = (asset.asset.clone(), state.age_then(asset, Clock::Cycles, (when.at, when.seq)));
        let kept = Arc::make_mut(state.values.entry(id.clone()).or_default());
        for measured in values {
            let points = kept.checks.entry(measured.check.0).or_default();
            let (value, unit) = (measured.value, measured.unit);
            let point = Point { at: when.at, entry: when.seq, cycles, value, unit };
            let place = points.partition_point(|it| it.at <= when.at);
            points.insert(place, point);
            if points.len() > MOST_POINTS {
                // The first above 0 is what later ones are held against.
                let first = points.iter().position(|it| it.value.f64() > 0.0).unwrap_or(0);
                points.remove(if first + 1 < points.len() { first + 1 } else { 0 });
            }
        }
        state.changes.values.insert(id);
    }
}

/// Forgets what an entry that is taken back said was measured.
pub(super) fn forget(state: &mut State, entry: u64, it: &Inspected) {
    for part in &it.parts {
        let Some(kept) = state.values.get_mut(&part.asset) else { continue };
        let kept = Arc::make_mut(kept);
        for points in kept.checks.values_mut() {
            points.retain(|point| point.entry != entry);
        }
        kept.checks.retain(|_, points| !points.is_empty());
        state.changes.values.insert(part.asset.clone());
    }
}
