//! Makes a lumen around given discs as small as it goes, beginning somewhere: the method of multipliers, with quasi-Newton
//! steps (Nocedal and Wright, "Numerical Optimization", chapters 6 and 17).
//!
//! The numbers sought are the centres and the radius of the lumen. Discs may overlap on the way, for a price that rises.

use super::MOST_DISCS;
use super::descent::{self, MOST, Point};
use super::place::Order;

/// The centres of the discs, the widest first.
pub(super) type Centres = [(f64, f64); MOST_DISCS];

const PAIRS: usize = MOST_DISCS * (MOST_DISCS - 1) / 2;
/// What overlaps by less than this share of the widest radius has found its place.
const SETTLED: f64 = 1e-13;
/// How much wider than the best known a placement may be half-way, to be shrunk to the end.
const HOPELESS: f64 = 1.04;

pub(super) struct Shrink {
    /// Radii as shares of the widest.
    radii: [f64; MOST_DISCS],
    widest_mm: f64,
    count: usize,
    seed: u64,
}

/// The prices of what stands through the wall or overlaps.
#[derive(Clone, Copy)]
struct Prices {
    stiffness: f64,
    walls: [f64; MOST_DISCS],
    pairs: [f64; PAIRS],
}

impl Prices {
    fn new(stiffness: f64) -> Prices {
        Prices { stiffness, walls: [0.0; MOST_DISCS], pairs: [0.0; PAIRS] }
    }
}

impl Shrink {
    pub(super) fn new(order: &Order) -> Shrink {
        let widest_mm = order.r_mm(0);
        let mut radii = [0.0; MOST_DISCS];
        for (nth, radius) in radii.iter_mut().enumerate().take(order.count()) {
            *radius = order.r_mm(nth) / widest_mm;
        }
        Shrink { radii, widest_mm, count: order.count(), seed: 0x9e37_79b9_7f4a_7c15 }
    }

    pub(super) fn count(&self) -> usize {
        self.count
    }

    /// All in a row: not good, but a placement.
    pub(super) fn row(&self) -> (Centres, f64) {
        let (mut centres, mut at) = (Centres::default(), 0.0);
        let whole: f64 = self.radii.iter().sum();
        for (centre, radius) in centres.iter_mut().zip(&self.radii) {
            *centre = ((at + radius - whole) * self.widest_mm, 0.0);
            at += 2.0 * radius;
        }
        (centres, 2.0 * whole * self.widest_mm)
    }

    /// A number from 0 to 1: steps of a linear congruential generator (Knuth's MMIX).
    fn chance(&mut self) -> f64 {
        self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.seed >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Shrinks from where chance throws the discs.
    pub(super) fn thrown_anew(&mut self) -> (Centres, f64) {
        let area: f64 = self.radii.iter().map(|radius| radius * radius).sum();
        let mut centres = Centres::default();
        for centre in centres.iter_mut().take(self.count) {
            *centre = self.thrown(area.sqrt() * self.widest_mm);
        }
        self.shrunk(&centres, f64::INFINITY)
    }

    /// A point in a circle of this radius.
    fn thrown(&mut self, radius: f64) -> (f64, f64) {
        let (far, angle) = (radius * self.chance().sqrt(), self.chance() * std::f64::consts::TAU);
        (far * angle.cos(), far * angle.sin())
    }

    /// Shrinks from where a placement has two of its discs exchanged, or one thrown elsewhere.
    pub(super) fn changed(&mut self, best: &Centres, best_mm: f64) -> (Centres, f64) {
        let mut centres = *best;
        let (a, b) = (self.below(self.count), self.below(self.count));
        if self.chance() < 0.5 && a != b && self.radii[a] != self.radii[b] {
            centres.swap(a, b);
        } else {
            centres[a] = self.thrown(best_mm / 2.0);
        }
        self.shrunk(&centres, best_mm * HOPELESS)
    }

    /// Shrinks from here; not to the end where a placement is `hopeless_mm` wide before the last turns of the screw.
    fn shrunk(&self, centres: &Centres, hopeless_mm: f64) -> (Centres, f64) {
        let area: f64 = self.radii.iter().map(|radius| radius * radius).sum();
        let mut at = self.point(centres);
        at[2 * self.count] = area.sqrt() * 1.2;
        let mut prices = Prices::new(3.0);
        self.descend(&mut at, &prices, 30);
        prices.stiffness = 30.0;
        for turn in 0..4 {
            self.descend(&mut at, &prices, 25);
            self.raise(&at, &mut prices);
            if turn == 0 {
                let (centres, high_mm) = self.mended(&at);
                if high_mm > hopeless_mm {
                    return (centres, high_mm);
                }
            }
        }
        self.mended(&at)
    }

    fn point(&self, centres: &Centres) -> Point {
        let mut at: Point = [0.0; MOST];
        for (i, (x, y)) in centres.iter().enumerate().take(self.count) {
            (at[2 * i], at[2 * i + 1]) = (x / self.widest_mm, y / self.widest_mm);
        }
        at
    }

    fn below(&mut self, count: usize) -> usize {
        ((self.chance() * count as f64) as usize).min(count - 1)
    }

    /// The same placement, as tight as doubles say.
    pub(super) fn polished(&self, centres: &Centres) -> (Centres, f64) {
        let mut at = self.point(centres);
        let (mut best, mut best_mm) = self.mended(&at);
        at[2 * self.count] = best_mm / 2.0 / self.widest_mm;
        let mut prices = Prices::new(100.0);
        for _ in 0..25 {
            self.descend(&mut at, &prices, 60);
            self.raise(&at, &mut prices);
            let (centres, high_mm) = self.mended(&at);
            if high_mm < best_mm {
                (best, best_mm) = (centres, high_mm);
            }
        }
        (best, best_mm)
    }

    fn descend(&self, at: &mut Point, prices: &Prices, steps: usize) {
        let radius = 2 * self.count;
        descent::descend(at, radius + 1, steps, |at, slope| {
            let cost = at[radius] + self.price(at, prices, slope);
            slope[radius] += 1.0;
            cost
        });
    }

    /// The price of what stands through the wall or overlaps, with its slope.
    fn price(&self, at: &Point, prices: &Prices, slope: &mut Point) -> f64 {
        let n = self.count;
        let radius = at[2 * n];
        *slope = [0.0; MOST];
        let (mut cost, mut pair) = (0.0, 0);
        for i in 0..n {
            let (x, y) = (at[2 * i], at[2 * i + 1]);
            let far = (x * x + y * y).sqrt();
            let push = prices.stiffness * (far + self.radii[i] - radius) + prices.walls[i];
            if push > 0.0 {
                cost += push * push / (2.0 * prices.stiffness);
                slope[2 * n] -= push;
                if far > 0.0 {
                    slope[2 * i] += push * x / far;
                    slope[2 * i + 1] += push * y / far;
                }
            }
            for j in i + 1..n {
                let (dx, dy) = (x - at[2 * j], y - at[2 * j + 1]);
                let apart = (dx * dx + dy * dy).sqrt();
                let push = prices.stiffness * (self.radii[i] + self.radii[j] - apart) + prices.pairs[pair];
                pair += 1;
                if push > 0.0 {
                    cost += push * push / (2.0 * prices.stiffness);
                    if apart > 0.0 {
                        let (px, py) = (push * dx / apart, push * dy / apart);
                        slope[2 * i] -= px;
                        slope[2 * i + 1] -= py;
                        slope[2 * j] += px;
                        slope[2 * j + 1] += py;
                    }
                }
            }
        }
        cost
    }

    /// What still stands through the wall or overlaps gets dearer, what has room gets cheaper.
    fn raise(&self, at: &Point, prices: &mut Prices) {
        let n = self.count;
        let mut pair = 0;
        for i in 0..n {
            let (x, y) = (at[2 * i], at[2 * i + 1]);
            let through = (x * x + y * y).sqrt() + self.radii[i] - at[2 * n];
            prices.walls[i] = (prices.walls[i] + prices.stiffness * through).max(0.0);
            for j in i + 1..n {
                let overlap = self.radii[i] + self.radii[j] - (x - at[2 * j]).hypot(y - at[2 * j + 1]);
                prices.pairs[pair] = (prices.pairs[pair] + prices.stiffness * overlap).max(0.0);
                pair += 1;
            }
        }
    }

    /// A placement that holds: all centres move away from the middle until no two discs overlap, and the lumen is as wide as
    /// that needs. Discs whose centres coincide are no placement.
    fn mended(&self, at: &Point) -> (Centres, f64) {
        let mut by = 1.0_f64;
        for i in 0..self.count {
            for j in i + 1..self.count {
                let apart = (at[2 * i] - at[2 * j]).hypot(at[2 * i + 1] - at[2 * j + 1]);
                by = by.max((self.radii[i] + self.radii[j]) / apart);
            }
        }
        let (mut centres, mut radius) = (Centres::default(), 0.0_f64);
        for (i, centre) in centres.iter_mut().enumerate().take(self.count) {
            let (x, y) = (at[2 * i] * by, at[2 * i + 1] * by);
            radius = radius.max(x.hypot(y) + self.radii[i]);
            *centre = (x * self.widest_mm, y * self.widest_mm);
        }
        (centres, if radius.is_finite() { 2.0 * radius * self.widest_mm } else { f64::INFINITY })
    }

    /// Throws the other discs in beside those that are fixed, in a lumen of a given radius; their centres where they find
    /// room.
    pub(super) fn fit_beside(&mut self, fixed: &[(f64, f64)], radius_mm: f64) -> Option<Centres> {
        let (n, held, radius) = (self.count, fixed.len(), radius_mm / self.widest_mm);
        let mut at: Point = [0.0; MOST];
        for (i, (x, y)) in fixed.iter().enumerate() {
            (at[2 * i], at[2 * i + 1]) = (x / self.widest_mm, y / self.widest_mm);
        }
        for i in held..n {
            let (far, angle) = (radius * self.chance().sqrt(), self.chance() * std::f64::consts::TAU);
            (at[2 * i], at[2 * i + 1]) = (far * angle.cos(), far * angle.sin());
        }
        at[2 * n] = radius;
        let prices = Prices::new(1.0);
        let cost = descent::descend(&mut at, 2 * n, 80, |at, slope| {
            let cost = self.price(at, &prices, slope);
            slope[..2 * held].fill(0.0);
            cost
        });
        let mut centres = Centres::default();
        for (i, centre) in centres.iter_mut().enumerate().take(n) {
            *centre = (at[2 * i] * self.widest_mm, at[2 * i + 1] * self.widest_mm);
        }
        (cost <= SETTLED * SETTLED).then_some(centres)
    }
}
