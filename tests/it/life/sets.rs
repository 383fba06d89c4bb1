//! Sets of lives drawn from a known law, the same ones each time.

use fettle::analysis::life::Row;
use fettle::analysis::life::counts::Counts;
use fettle::analysis::life::weibull::{self, Weibull};

/// Numbers that look random, from a seed (SplitMix64, Steele, Lea & Flood 2014).
pub struct Random(pub u64);

impl Random {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Above 0 and below 1.
    pub fn share(&mut self) -> f64 {
        ((self.bits() >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
    }

    pub fn below(&mut self, many: u64) -> u64 {
        self.bits() % many
    }

    pub fn weibull(&mut self, eta: f64, beta: f64) -> f64 {
        eta * (-self.share().ln()).powf(1.0 / beta)
    }
}

/// How the interval of B10 fared over many sets.
#[derive(Clone, Copy, Debug, Default)]
pub struct Coverage {
    pub sets: u32,
    /// The truth lay within, below, above.
    pub covers: u32,
    pub below: u32,
    pub above: u32,
    /// Sets that were drawn again, having too few failures.
    pub again: u32,
}

impl Coverage {
    pub fn share(&self) -> f64 {
        f64::from(self.covers) / f64::from(self.sets)
    }
}

/// Lives of 200 pieces of shape 2, watched up to the age by which `expected` of them fail; sets with fewer than `fewest` failures
/// are drawn again.
pub fn coverage(expected: u32, sets: u32, fewest: u64, seed: u64) -> Coverage {
    const PIECES: u32 = 200;
    const BETA: f64 = 2.0;
    let hazard = |share: f64| -(-share).ln_1p();
    let until = hazard(f64::from(expected) / f64::from(PIECES)).powf(1.0 / BETA);
    let truth = hazard(0.1).powf(1.0 / BETA);
    let mut random = Random(seed);
    let mut found = Coverage::default();
    while found.sets < sets {
        let ages: Vec<f64> = (0..PIECES).map(|_| random.weibull(1.0, BETA)).collect();
        let row = |age: &f64| {
            let age = *age;
            let hi = (age <= until).then_some(age);
            Row { entry: 0.0, lo: age.min(until), hi, count: 1 }
        };
        let counts = Counts::of_rows(ages.iter().map(row)).expect("rows that make sense");
        if counts.failures < fewest {
            found.again += 1;
            continue;
        }
        let law: Weibull = weibull::of_any(&counts).expect("a fit");
        let limits = law.b_limits(0.1);
        found.sets += 1;
        if truth < limits.low {
            found.below += 1;
        } else if limits.high.is_some_and(|high| truth > high) {
            found.above += 1;
        } else {
            found.covers += 1;
        }
    }
    found
}
