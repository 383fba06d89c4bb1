//! How wide a lumen must be at least for four to seven discs. Every bound here is a theorem.

use std::f64::consts::TAU;

use super::place::Order;
use super::{Length, MOST_DISCS};

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

/// Discs that are wide for their lumen lie around its middle, and seen from there they need more than a full turn where the
/// lumen is too small.
///
/// Of two discs with radii r and s in a lumen of radius R, whose centres lie ρ and σ from its middle, the angle w between these
/// has cos w = (ρ² + σ² − t²)/2ρσ with t ≥ r + s. With t = r + s this grows with ρ while t² ≥ σ² − ρ², so everywhere where
/// r + 2s ≥ R, and likewise with σ: the angle is least where both touch the wall and each other, tan(w/2) = √rs / √(R(R − r − s)).
/// Around the middle these angles sum to one turn; where even the least sum over all orders is more, the lumen is too small.
pub(super) fn by_angles_mm(order: &Order) -> f64 {
    let mut radii = [0.0; MOST_DISCS];
    for (nth, radius) in radii.iter_mut().enumerate().take(order.count()) {
        *radius = order.r_mm(nth);
    }
    (4..=order.count()).map(|count| 2.0 * around(&radii[..count])).fold(0.0, f64::max)
}

/// How many times the range is halved: to the last digit.
const HALVINGS: usize = 52;
/// What rounding may add to a full turn.
const A_TURN: f64 = TAU * (1.0 + 1e-12);

/// The largest radius that is proven to be too small for these, the widest first; 0 where none is.
fn around(radii: &[f64]) -> f64 {
    let [first, second, .., next, last] = radii else { return 0.0 };
    let (mut low, mut high) = (first + second, next + 2.0 * last);
    if high <= low || least_round(radii, low) <= A_TURN {
        return 0.0;
    }
    if least_round(radii, high) > A_TURN {
        return high;
    }
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if least_round(radii, middle) > A_TURN { low = middle } else { high = middle }
    }
    low
}

/// The least sum of angles around the middle over all orders of the discs.
fn least_round(radii: &[f64], radius: f64) -> f64 {
    let mut angles = [[0.0; MOST_DISCS]; MOST_DISCS];
    for (i, r) in radii.iter().enumerate() {
        for (j, s) in radii.iter().enumerate() {
            angles[i][j] = 2.0 * (r * s).sqrt().atan2((radius * (radius - r - s)).max(0.0).sqrt());
        }
    }
    let mut best = f64::INFINITY;
    go_round(&angles, radii.len(), 0, 1, 0.0, &mut best);
    best
}

/// Goes on to every disc that was not visited yet, and back to the first from the last.
fn go_round(
    angles: &[[f64; MOST_DISCS]; MOST_DISCS],
    count: usize,
    here: usize,
    visited: u32,
    sum: f64,
    best: &mut f64,
) {
    if sum >= *best {
        return;
    }
    if visited == (1 << count) - 1 {
        *best = best.min(sum + angles[here][0]);
    }
    for next in (1..count).filter(|next| visited & (1 << next) == 0) {
        go_round(angles, count, next, visited | 1 << next, sum + angles[here][next], best);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::packing::needed;

    /// A bound that is proven lies below every placement, also below the best one that is found.
    #[test]
    fn no_placement_is_narrower_than_what_the_angles_prove() {
        let (mut told, mut met) = (0, 0);
        for n in 0_u32..240 {
            let count = 4 + (n % 5).saturating_sub(2) as usize;
            let size = |nth: u32| f64::from(300 + (n * 389 + nth * 977 + n * nth * 131) % 400) / 100.0;
            let discs: Vec<Length> = (0..count as u32).filter_map(|nth| Length::of_mm(size(nth))).collect();
            let (proven, found) = (by_angles_mm(&Order::new(&discs)), needed(&discs).unwrap());
            assert!(proven <= found.high_mm * (1.0 + 1e-11), "{discs:?}: {proven}, {found:?}");
            told += usize::from(proven > 0.0);
            met += usize::from(proven > found.high_mm * (1.0 - 1e-9));
        }
        assert!(told > 100 && met > 50, "{told} told, {met} met");
    }

    /// Four and five equal discs need what is published, and the angles alone prove it.
    #[test]
    fn the_angles_prove_what_is_published_of_four_and_five() {
        for (count, ratio) in EQUAL.into_iter().take(2) {
            let discs = vec![Length::nearest(2.0); count];
            assert!((by_angles_mm(&Order::new(&discs)) - 2.0 * ratio).abs() < 1e-9, "{count}");
        }
    }
}
