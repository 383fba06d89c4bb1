//! The saturation line of water: IAPWS-IF97, region 4 (IAPWS R7-97(2012), section 8).
//!
//! Both directions are exact inverses of one quadratic equation; they agree to some 1e-12.

use serde::Serialize;

/// The lowest temperature of the saturation line, in °C (IAPWS R7-97(2012), section 8: 273.15 K).
pub const LOWEST_TEMP_C: f64 = 0.0;
/// The critical temperature, in °C (IAPWS R7-97(2012), section 2: 647.096 K).
pub const HIGHEST_TEMP_C: f64 = 373.946;
/// The saturation pressure at 273.15 K, in kPa (IAPWS R7-97(2012), section 8.2: 611.213 Pa).
pub const LOWEST_PRESSURE_KPA: f64 = 0.611213;
/// The critical pressure, in kPa (IAPWS R7-97(2012), section 2: 22.064 MPa).
pub const HIGHEST_PRESSURE_KPA: f64 = 22_064.0;

/// The ice point, in K, by which degrees Celsius are defined.
const ICE_POINT_K: f64 = 273.15;
const KPA_PER_MPA: f64 = 1000.0;

/// IAPWS R7-97(2012), table 34: the coefficients n1 to n10 of the saturation equation.
const N1: f64 = 0.116_705_214_527_67e4;
const N2: f64 = -0.724_213_167_032_06e6;
const N3: f64 = -0.170_738_469_400_92e2;
const N4: f64 = 0.120_208_247_024_70e5;
const N5: f64 = -0.323_255_503_223_33e7;
const N6: f64 = 0.149_151_086_135_30e2;
const N7: f64 = -0.482_326_573_615_91e4;
const N8: f64 = 0.405_113_405_420_57e6;
const N9: f64 = -0.238_555_575_678_49;
const N10: f64 = 0.650_175_348_447_98e3;

/// A point on the saturation line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Saturation {
    pub temp_c: f64,
    pub pressure_kpa_abs: f64,
}

/// A temperature or a pressure at which water does not boil.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("found {found} {unit}; the saturation line of water needs {low} to {high} {unit}")]
pub struct OutOfRange {
    pub found: f64,
    pub low: f64,
    pub high: f64,
    pub unit: &'static str,
}

/// The absolute pressure, in kPa, at which water boils at `temp_c` (IAPWS R7-97(2012), equation 30).
///
/// # Errors
/// A temperature outside 0 to 373.946 °C.
pub fn saturation_pressure_kpa(temp_c: f64) -> Result<f64, OutOfRange> {
    if !(LOWEST_TEMP_C..=HIGHEST_TEMP_C).contains(&temp_c) {
        return Err(OutOfRange { found: temp_c, low: LOWEST_TEMP_C, high: HIGHEST_TEMP_C, unit: "°C" });
    }
    let temp_k = temp_c + ICE_POINT_K;
    let theta = temp_k + N9 / (temp_k - N10);
    let a = (theta + N1) * theta + N2;
    let b = (N3 * theta + N4) * theta + N5;
    let c = (N6 * theta + N7) * theta + N8;
    let beta = 2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt());
    Ok(beta.powi(4) * KPA_PER_MPA)
}

/// The temperature, in °C, at which water boils under an absolute pressure (IAPWS R7-97(2012), equation 31).
///
/// # Errors
/// A pressure outside 0.611213 kPa to 22.064 MPa.
pub fn saturation_temp_c(pressure_kpa_abs: f64) -> Result<f64, OutOfRange> {
    if !(LOWEST_PRESSURE_KPA..=HIGHEST_PRESSURE_KPA).contains(&pressure_kpa_abs) {
        let (low, high) = (LOWEST_PRESSURE_KPA, HIGHEST_PRESSURE_KPA);
        return Err(OutOfRange { found: pressure_kpa_abs, low, high, unit: "kPa" });
    }
    let beta = (pressure_kpa_abs / KPA_PER_MPA).sqrt().sqrt();
    let e = (beta + N3) * beta + N6;
    let f = (N1 * beta + N4) * beta + N7;
    let g = (N2 * beta + N5) * beta + N8;
    let d = 2.0 * g / (-f - (f * f - 4.0 * e * g).sqrt());
    let sum = N10 + d;
    let temp_k = (sum - (sum * sum - 4.0 * (N9 + N10 * d)).sqrt()) / 2.0;
    Ok(temp_k - ICE_POINT_K)
}
