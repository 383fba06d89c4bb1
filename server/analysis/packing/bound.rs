//! How wide a lumen must be at least for four to seven discs. Every bound here is a theorem.

use super::Length;
use super::place::Order;

/// The least diameter of a circle around so many equal discs of diameter 1: 1 + √2, 1 + √(2(1 + 1/√5)), 3 and 3.
///
/// Proven best by U. Pirl, "Der Mindestabstand von n in der Einheitskreisscheibe gelegenen Punkten", Mathematische
/// Nachrichten 40 (1969); for five to seven also by R. L. Graham, "Sets of points with given minimum separation", American
/// Mathematical Monthly 75 (1968).
pub(super) const EQUAL: [(usize, f64); 4] =
    [(4, std::f64::consts::SQRT_2 + 1.0), (5, 2.701_301_616_704_08), (6, 3.0), (7, 3.0)];

/// The area of the discs is no more than that of the lumen: D² ≥ Σd².
pub(super) fn by_area_mm(discs: &[Length]) -> f64 {
    discs.iter().map(|disc| disc.mm() * disc.mm()).sum::<f64>().sqrt()
}

/// The four widest are no smaller than four discs like the fourth, and so on.
pub(super) fn by_equals_mm(order: &Order) -> f64 {
    let discs = order.widest_first();
    let of = |(count, needed): &(usize, f64)| discs.get(count - 1).map(|least| needed * least.mm());
    EQUAL.iter().filter_map(of).fold(0.0, f64::max)
}
