//! How long things last: against published examples, against other programs, and against what must hold of any data.

mod calc;
mod coverage;
mod curves;
mod few;
mod invariant;
mod outside;
mod published;
mod sets;
mod wild;

use fettle::analysis::life::Row;

fn row(entry: f64, lo: f64, hi: Option<f64>, count: u64) -> Row {
    Row { entry, lo, hi, count }
}

/// Equal but for a share of the number.
#[track_caller]
fn near(found: f64, wanted: f64, within: f64, what: &str) {
    let off = (found - wanted).abs();
    assert!(off <= within * wanted.abs() + 1e-12, "{what}: found {found}, {wanted} is needed");
}
