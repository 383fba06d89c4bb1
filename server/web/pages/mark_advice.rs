//! How large a mark on the part itself will be, by how it is made, and whether it goes on the part's shaft.

use chrono::NaiveDate;

use crate::domain::labelling::{Payload, Reading, payload_of};
use crate::domain::mark::names_one;
use crate::domain::marking::next_mark;
use crate::domain::state::{Asset, State};
use crate::formats::label::{Advice, Marking, advice};

/// A row: how it is made and in which shape, its modules, its size as it should be and at least, and the shaft.
pub struct Row {
    pub made: String,
    pub modules: String,
    pub aim: String,
    pub least: String,
    pub shaft: String,
}

pub struct MarkAdvice {
    /// What the mark says: the part's own, or the one that it would get.
    pub says: String,
    /// The part has none yet.
    pub to_come: bool,
    pub rows: Vec<Row>,
}

impl MarkAdvice {
    pub fn of(state: &State, asset: &Asset, today: NaiveDate) -> Option<MarkAdvice> {
        let own = asset.mark.as_ref().filter(|mark| names_one(mark.as_str()));
        let payload = match own {
            Some(_) => payload_of(asset, today),
            None => Payload::of(&next_mark(state, &state.policy)?.0, today),
        };
        let sizes = state.model(&asset.model).map(|model| &model.dimensions);
        let measured = asset.measured.as_ref().and_then(|it| it.shaft_diameter_mm.or(it.outer_diameter_mm));
        let stated = sizes.and_then(|it| it.shaft_diameter_mm.or(it.outer_diameter_mm));
        let shaft_mm = measured.or(stated).map(|size| size.f64());
        let mut rows = Vec::new();
        for marking in Marking::ALL {
            for reading in [Reading::Square, Reading::Rectangle] {
                let Ok(symbol) = payload.symbol(reading) else { continue };
                rows.push(row(&advice(&symbol, marking), reading, shaft_mm));
            }
        }
        Some(MarkAdvice { says: payload.caption().to_owned(), to_come: own.is_none(), rows })
    }
}

fn row(it: &Advice, reading: Reading, shaft_mm: Option<f64>) -> Row {
    let made = match it.marking {
        Marking::Laser => "laser or etching",
        Marking::DotPeen => "dot peen",
        Marking::Label => "printed label",
    };
    let shape = if reading == Reading::Rectangle { "rectangle along the shaft" } else { "square" };
    let size = |(wide, high): (f64, f64)| format!("{wide:.1} x {high:.1} mm");
    let least = it.least_shaft_mm;
    let shaft = match shaft_mm {
        Some(mm) if mm + 1e-9 < least => format!("no: {mm:.1} mm is thinner than {least:.1} mm"),
        Some(mm) => format!("yes, {mm:.1} mm"),
        None => format!("from {least:.1} mm"),
    };
    Row {
        made: format!("{made}, {shape}"),
        modules: format!("{} x {}, each {:.2} mm", it.modules.0, it.modules.1, it.module_mm),
        aim: size(it.aim_mm),
        least: size(it.least_mm),
        shaft,
    }
}
