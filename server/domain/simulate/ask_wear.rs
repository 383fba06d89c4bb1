//! What biomed asks for, and what inspections measure.

use super::ask::{line, scan, text};
use crate::domain::command::{Act, Step, Wear};
use crate::domain::event::Check;
use crate::domain::id::Id;
use crate::domain::inspect_next::RequestInspection;
use crate::domain::step::{Except, Inspect};
use crate::domain::text::Quantity;

pub fn request_inspection(asset: &Id, reason: &str) -> Act {
    Act::Wear(Wear::RequestInspection(RequestInspection { scan: scan([asset]), reason: text(reason) }))
}

/// A measured value of one part of a set.
pub fn value(asset: &Id, check: &str, value: f64, unit: &str) -> Option<Check> {
    let (check, unit, asset) = (line(check), Some(line(unit)), Some(line(asset.as_str())));
    Some(Check { check, asset, passed: true, value: Some(Quantity::rounded(value, 1)?), unit })
}

pub fn inspect(set: &Id, except: Vec<Except>, checks: Vec<Check>) -> Act {
    Act::Step(Step::Inspect(Inspect { scan: scan([set]), passed: Some(true), outcome: None, except, checks }))
}
