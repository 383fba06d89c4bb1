//! Invented cycle records, as short as an honest one can be: the hold sample by sample at the longest gap that is
//! allowed, everything around it in a few lines.

use std::fmt::Write;

use super::chance::Chance;
use crate::analysis::steam::saturation_pressure_kpa;

/// The longest allowed gap between two samples of a hold.
const GAP_S: u32 = 10;

/// A pre-vacuum cycle at 134 °C. A hold below the programme's is that of a cycle that failed.
pub fn steam(chance: &mut Chance, hold_s: u32) -> String {
    let level = 134.6 + chance.unit() * 0.8;
    let mut text = String::from("time_s,temp_c,pressure_kpa_abs\n");
    let mut sample = |time_s: u32, temp_c: f64, pressure_kpa: Option<f64>| {
        let pressure = pressure_kpa.or_else(|| saturation_pressure_kpa(temp_c).ok()).unwrap_or(101.3);
        // Writing to a string does not fail.
        let _ = writeln!(text, "{time_s},{temp_c:.1},{pressure:.1}");
    };
    sample(0, 60.0, Some(10.0));
    sample(180, 96.0, Some(160.0));
    sample(300, 118.0, None);
    sample(420, 133.4, None);
    let mut time_s = 420 + GAP_S;
    let end_s = time_s + hold_s;
    while time_s <= end_s {
        sample(time_s, level + (chance.unit() - 0.5) * 0.2, None);
        time_s += GAP_S;
    }
    sample(time_s, 131.0, None);
    sample(time_s + 600, 80.0, Some(6.0));
    text
}

/// A thermal disinfection at 90 °C and above.
pub fn washer(chance: &mut Chance, hold_s: u32) -> String {
    let level = 91.0 + chance.unit() * 1.5;
    let mut text = String::from("time_s,temp_c\n");
    let mut sample = |time_s: u32, temp_c: f64| {
        let _ = writeln!(text, "{time_s},{temp_c:.1}");
    };
    sample(0, 18.0);
    sample(420, 58.0);
    sample(900, 89.4);
    let mut time_s = 900 + GAP_S;
    let end_s = time_s + hold_s;
    while time_s <= end_s {
        sample(time_s, level + (chance.unit() - 0.5) * 0.2);
        time_s += GAP_S;
    }
    sample(time_s, 89.0);
    sample(time_s + 400, 55.0);
    text
}
