//! What heat did: F0 of moist heat sterilisation and A0 of thermal disinfection.
//!
//! Both integrate 10^((T − reference)/z) over time. On a straight line of temperature that integral has a closed
//! form, which is used throughout: summing rates at the samples would depend on how often was sampled.

use serde::Serialize;
use std::f64::consts::LN_10;

/// The reference temperature of F0, in °C (the pharmacopoeias and ISO 17665: 121.1 °C, which is 250 °F).
pub const F0_REF_C: f64 = 121.1;
/// The z value of F0, in K (the pharmacopoeias and ISO 17665).
pub const F0_Z_K: f64 = 10.0;
/// The reference temperature of A0, in °C (ISO 15883-1, annex B).
pub const A0_REF_C: f64 = 80.0;
/// The z value of A0, in K (ISO 15883-1, annex B).
pub const A0_Z_K: f64 = 10.0;

const SECONDS_PER_MINUTE: f64 = 60.0;

/// The lethality of moist heat, in minutes at 121.1 °C. Never comparable with [`A0`].
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct F0(pub f64);

/// The dose of a thermal disinfection, in seconds at 80 °C. Never comparable with [`F0`].
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct A0(pub f64);

/// F0 of one channel from `from_s` to `to_s`, which lie within its times.
///
/// `time_s` increases strictly and has as many values as `temp_c`, at least two.
pub fn f0(time_s: &[f64], temp_c: &[f64], from_s: f64, to_s: f64) -> F0 {
    let scale = Scale { ref_c: F0_REF_C, z_k: F0_Z_K };
    let last = time_s.len() - 1;
    let first = time_s.partition_point(|t| *t <= from_s).saturating_sub(1).min(last);
    let mut sum = Sum::default();
    let mut start = Point::new(scale, from_s, at(time_s, temp_c, first, from_s));
    for i in first..last {
        if time_s[i] >= to_s {
            break;
        }
        let end = if time_s[i + 1] <= to_s {
            Point::after(scale, start, time_s[i + 1], temp_c[i + 1])
        } else {
            Point::after(scale, start, to_s, at(time_s, temp_c, i, to_s))
        };
        sum.add((end.time_s - start.time_s) * scale.mean_rate(start, end));
        start = end;
    }
    F0(sum.total() / SECONDS_PER_MINUTE)
}

/// A0 of one channel over its whole record, counting only where the temperature is at least `floor_c`
/// (ISO 15883-1, annex B: 65 °C). Where a line crosses the floor, it counts from or to that very point.
///
/// `time_s` increases strictly and has as many values as `temp_c`, at least two.
pub fn a0(time_s: &[f64], temp_c: &[f64], floor_c: f64) -> A0 {
    let scale = Scale { ref_c: A0_REF_C, z_k: A0_Z_K };
    let mut sum = Sum::default();
    let mut start = Point::new(scale, time_s[0], temp_c[0]);
    let floor = Point::new(scale, 0.0, floor_c);
    for i in 1..time_s.len() {
        let end = Point::after(scale, start, time_s[i], temp_c[i]);
        let length_s = end.time_s - start.time_s;
        match (start.temp_c >= floor_c, end.temp_c >= floor_c) {
            (true, true) => sum.add(length_s * scale.mean_rate(start, end)),
            (true, false) => {
                let share = (start.temp_c - floor_c) / (start.temp_c - end.temp_c);
                sum.add(length_s * share * scale.mean_rate(start, floor));
            }
            (false, true) => {
                let share = (end.temp_c - floor_c) / (end.temp_c - start.temp_c);
                sum.add(length_s * share * scale.mean_rate(floor, end));
            }
            (false, false) => {}
        }
        start = end;
    }
    A0(sum.total())
}

/// The value at `at_s` on the straight line from sample `i` to the next.
pub fn at(time_s: &[f64], values: &[f64], i: usize, at_s: f64) -> f64 {
    if i + 1 >= time_s.len() || at_s <= time_s[i] {
        return values[i];
    }
    let share = (at_s - time_s[i]) / (time_s[i + 1] - time_s[i]);
    values[i] + (values[i + 1] - values[i]) * share
}

/// The temperature at which the rate is 1 and the rise that makes it tenfold.
#[derive(Clone, Copy)]
struct Scale {
    ref_c: f64,
    z_k: f64,
}

#[derive(Clone, Copy)]
struct Point {
    time_s: f64,
    temp_c: f64,
    rate: f64,
}

impl Point {
    fn new(scale: Scale, time_s: f64, temp_c: f64) -> Self {
        let rate = ((temp_c - scale.ref_c) / scale.z_k * LN_10).exp();
        Self { time_s, temp_c, rate }
    }

    /// As `new`, without another exponential where the temperature stood still, as it mostly does.
    fn after(scale: Scale, before: Point, time_s: f64, temp_c: f64) -> Self {
        if temp_c == before.temp_c { Self { time_s, ..before } } else { Self::new(scale, time_s, temp_c) }
    }
}

impl Scale {
    /// The mean rate on a straight line between two points, where y is the logarithm of the second rate over the
    /// first: their difference over y, which is the mean of both times tanh(y/2)/(y/2).
    fn mean_rate(self, from: Point, to: Point) -> f64 {
        /// Below it the difference of the rates loses digits, and the series of tanh gives all of them: the first
        /// term left out is below 1e-18.
        const SMALL: f64 = 0.1;
        let y = (to.temp_c - from.temp_c) / self.z_k * LN_10;
        if y.abs() >= SMALL {
            return (to.rate - from.rate) / y;
        }
        let square = y * y / 4.0;
        let series = TANH.iter().rev().fold(0.0, |inner, term| square * (term + inner));
        (from.rate + to.rate) / 2.0 * (1.0 + series)
    }
}

/// The series of tanh(x)/x in powers of x², without its first term, which is 1 (NIST Digital Library of Mathematical
/// Functions, 4.33.3).
const TANH: [f64; 5] = [-1.0 / 3.0, 2.0 / 15.0, -17.0 / 315.0, 62.0 / 2835.0, -1382.0 / 155_925.0];

/// A sum that carries its rounding error along (Neumaier 1974), so that a million terms lose no digits.
#[derive(Default)]
struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    fn add(&mut self, term: f64) {
        let sum = self.sum + term;
        // The terms are never negative, so the smaller of the two is the one that lost digits.
        self.lost += if self.sum >= term { (self.sum - sum) + term } else { (term - sum) + self.sum };
        self.sum = sum;
    }

    fn total(&self) -> f64 {
        self.sum + self.lost
    }
}
