//! The way down to a lowest point nearby: quasi-Newton steps after Broyden, Fletcher, Goldfarb and Shanno (Nocedal and Wright,
//! "Numerical Optimization", chapter 6).

use super::MOST_DISCS;

/// As many numbers as two per disc and one radius.
pub(super) const MOST: usize = 2 * MOST_DISCS + 1;
pub(super) type Point = [f64; MOST];

/// A slope below this is level.
const LEVEL: f64 = 1e-14;
/// By how much a step must lower the cost, of what its slope promises.
const ENOUGH: f64 = 1e-4;

/// A plain loop: this is the innermost one, and a build without optimisation runs it several times faster than iterators.
fn dot(a: &Point, b: &Point, n: usize) -> f64 {
    let (mut sum, mut i) = (0.0, 0);
    while i < n {
        sum += a[i] * b[i];
        i += 1;
    }
    sum
}

/// Goes down in the first `n` numbers, at most so many steps, and gives back the lowest cost. `cost` also writes its slope.
pub(super) fn descend(
    at: &mut Point,
    n: usize,
    steps: usize,
    mut cost: impl FnMut(&Point, &mut Point) -> f64,
) -> f64 {
    let mut slope = [0.0; MOST];
    let mut height = cost(at, &mut slope);
    let mut inverse = identity(1.0);
    for step in 0..steps {
        let mut way: Point = [0.0; MOST];
        for (towards, row) in way[..n].iter_mut().zip(&inverse) {
            *towards = -dot(row, &slope, n);
        }
        let mut steepness = dot(&way, &slope, n);
        if steepness >= 0.0 {
            inverse = identity(1.0);
            way[..n].iter_mut().zip(&slope).for_each(|(towards, slope)| *towards = -slope);
            steepness = -dot(&slope, &slope, n);
        }
        if steepness > -LEVEL * LEVEL {
            break;
        }
        let Some((next, next_slope, next_height)) = shorten(at, &way, n, height, steepness, &mut cost) else {
            break;
        };
        let (mut moved, mut bent): (Point, Point) = ([0.0; MOST], [0.0; MOST]);
        for i in 0..n {
            moved[i] = next[i] - at[i];
            bent[i] = next_slope[i] - slope[i];
        }
        (*at, slope, height) = (next, next_slope, next_height);
        learn(&mut inverse, &moved, &bent, n, step == 0);
    }
    height
}

fn identity(by: f64) -> [Point; MOST] {
    let mut matrix = [[0.0; MOST]; MOST];
    for (i, row) in matrix.iter_mut().enumerate() {
        row[i] = by;
    }
    matrix
}

/// Halves a step until it leads down far enough.
fn shorten(
    at: &Point,
    way: &Point,
    n: usize,
    height: f64,
    steepness: f64,
    cost: &mut impl FnMut(&Point, &mut Point) -> f64,
) -> Option<(Point, Point, f64)> {
    let (mut share, mut slope) = (1.0, [0.0; MOST]);
    for _ in 0..30 {
        let mut next = *at;
        next[..n].iter_mut().zip(way).for_each(|(next, way)| *next += share * way);
        let next_height = cost(&next, &mut slope);
        if next_height <= height + ENOUGH * share * steepness {
            return Some((next, slope, next_height));
        }
        share /= 2.0;
    }
    None
}

/// Takes into the inverse of the curvature how the slope changed along a step.
fn learn(inverse: &mut [Point; MOST], moved: &Point, bent: &Point, n: usize, is_first: bool) {
    let along = dot(moved, bent, n);
    if along <= 1e-300 {
        return;
    }
    if is_first {
        *inverse = identity(along / dot(bent, bent, n));
    }
    let mut turned: Point = [0.0; MOST];
    for (turned, row) in turned[..n].iter_mut().zip(inverse.iter()) {
        *turned = dot(row, bent, n);
    }
    let share = (1.0 + dot(bent, &turned, n) / along) / along;
    for (i, row) in inverse.iter_mut().enumerate().take(n) {
        let (by_moved, by_turned) = (share * moved[i] - turned[i] / along, moved[i] / along);
        let mut j = 0;
        while j < n {
            row[j] += by_moved * moved[j] - by_turned * turned[j];
            j += 1;
        }
    }
}
