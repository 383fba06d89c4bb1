//! Invented cycle records, as the demo's machines would write them.

use std::fmt::Write;

use crate::analysis::steam::saturation_pressure_kpa;

/// A seeded source of numbers: the same seed writes the same history (SplitMix64, Steele, Lea and Flood 2014).
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Chance {
        Chance(seed)
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 up to, but not including, 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn below(&mut self, n: u64) -> u64 {
        (self.unit() * n as f64) as u64
    }
}

/// A pre-vacuum cycle at 134 °C: three pulses, the rise, the hold, the exhaust; a sample every 2 s. The hold of a
/// cycle that fails is cut short.
pub fn steam(chance: &mut Chance, hold_s: u32) -> String {
    let mut text = String::from("time_s,temp_c_drain,temp_c_load,pressure_kpa_abs\n");
    let mut time_s = 0;
    let level = 134.5 + chance.unit() * 0.8;
    let mut sample = |chance: &mut Chance, drain: f64, pressure: Option<f64>| {
        let (drain, load) = (drain + chance.unit() * 0.1, drain - 0.2 + chance.unit() * 0.1);
        let saturated = saturation_pressure_kpa(drain).unwrap_or(101.3);
        // Writing to a string does not fail.
        let _ = writeln!(text, "{time_s},{drain:.2},{load:.2},{:.2}", pressure.unwrap_or(saturated));
        time_s += 2;
    };
    for pulse in 0..3 {
        for step in 0..30 {
            let part = f64::from(step) / 30.0;
            let down = 1.0 - part;
            sample(
                chance,
                60.0 + f64::from(pulse) * 15.0 + part * 20.0,
                Some(10.0 + 150.0 * part * down * 4.0),
            );
        }
    }
    for step in 0..90 {
        let part = f64::from(step) / 90.0;
        sample(chance, 105.0 + (level - 105.0) * part.sqrt(), None);
    }
    for _ in 0..(hold_s / 2) {
        sample(chance, level, None);
    }
    for step in 0..120 {
        let part = f64::from(step) / 120.0;
        sample(chance, level - (level - 80.0) * part, Some(300.0 - 290.0 * part));
    }
    text
}

/// A thermal disinfection at 90 °C and above for five minutes; a sample every 5 s.
pub fn washer(chance: &mut Chance) -> String {
    let mut text = String::from("time_s,temp_c_chamber,temp_c_return\n");
    let level = 91.0 + chance.unit() * 1.5;
    let mut time_s = 0;
    let mut sample = |chance: &mut Chance, temp: f64| {
        let (chamber, back) = (temp + chance.unit() * 0.2, temp - 0.3 + chance.unit() * 0.2);
        let _ = writeln!(text, "{time_s},{chamber:.2},{back:.2}");
        time_s += 5;
    };
    for step in 0..160 {
        sample(chance, 18.0 + (level - 18.0) * f64::from(step) / 160.0);
    }
    for _ in 0..66 {
        sample(chance, level);
    }
    for step in 0..60 {
        sample(chance, level - 35.0 * f64::from(step) / 60.0);
    }
    text
}
