//! What a cycle is held to. The defaults are those of the standards; a site may ask for more.

use super::cycle::decimal_sum;
use super::phases::{self, Phase};
use super::record::{COLDEST_C, HOTTEST_C, Record, Unusable};
use super::span::Span;

/// EN 285: a sterilisation temperature band is 3 K wide (134 to 137 °C, 121 to 124 °C).
pub const BAND_WIDTH_K: f64 = 3.0;
/// EN 285: the measured temperature and that of saturated steam lie within 2 K of each other.
pub const SATURATION_TOLERANCE_K: f64 = 2.0;
/// The longest distance between samples through which a straight line is trusted, in s. Chosen, not
/// standardised: EN 285 asks recorders for a sample every 2.5 s, and many in use are slower.
pub const MAX_GAP_S: f64 = 10.0;
/// ISO 15883-1, annex B: only 65 °C and more count towards A0.
pub const A0_FLOOR_C: f64 = 65.0;
/// Without a stated holding time a disinfection is judged by its A0 alone.
pub const DISINFECTION_HOLD_S: f64 = 0.0;

/// What a steam cycle is held to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteamLimits {
    /// The lower limit of the band, in °C.
    pub band_c: f64,
    /// How far the band reaches above it, in K; by default [`BAND_WIDTH_K`].
    pub band_width_k: f64,
    /// How long all channels must stay in the band, in s.
    pub hold_s: f64,
    /// How far a channel may lie from the temperature of saturated steam, in K; by default
    /// [`SATURATION_TOLERANCE_K`].
    pub saturation_tolerance_k: f64,
    /// How far apart samples may lie around the hold, in s; by default [`MAX_GAP_S`].
    pub max_gap_s: f64,
}

/// What a thermal disinfection is held to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DisinfectionLimits {
    /// The A0 that every channel must reach, in s.
    pub a0_s: f64,
    /// The lower limit of the disinfection band, in °C.
    pub band_c: f64,
    /// How long all channels must stay at or above it without a dip, in s; by default
    /// [`DISINFECTION_HOLD_S`].
    pub hold_s: f64,
    /// From which temperature on A0 counts, in °C; by default [`A0_FLOOR_C`].
    pub floor_c: f64,
    /// How far apart samples may lie around the hold, in s; by default [`MAX_GAP_S`].
    pub max_gap_s: f64,
}

/// What a cycle is held to, of whichever kind it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limits {
    Steam(SteamLimits),
    Disinfection(DisinfectionLimits),
}

impl Limits {
    /// The band's lower limit and, where it has one, its upper limit, in °C.
    pub fn band(&self) -> (f64, Option<f64>) {
        match self {
            Limits::Steam(it) => (it.band_c, Some(decimal_sum(it.band_c, it.band_width_k))),
            Limits::Disinfection(it) => (it.band_c, None),
        }
    }

    pub fn hold_s(&self) -> f64 {
        match self {
            Limits::Steam(it) => it.hold_s,
            Limits::Disinfection(it) => it.hold_s,
        }
    }

    /// The phases of a record that is held to these limits.
    pub fn phases(&self, record: &Record, hold: Option<Span>) -> Vec<Phase> {
        match self {
            Limits::Steam(_) => phases::steam(record, hold),
            Limits::Disinfection(_) => phases::disinfection(record, hold),
        }
    }
}

impl SteamLimits {
    /// The usual limits for a band and a holding time (EN 285).
    pub fn new(band_c: f64, hold_s: f64) -> Self {
        Self {
            band_c,
            band_width_k: BAND_WIDTH_K,
            hold_s,
            saturation_tolerance_k: SATURATION_TOLERANCE_K,
            max_gap_s: MAX_GAP_S,
        }
    }

    /// Whether every limit can be meant.
    ///
    /// # Errors
    /// The first that cannot.
    pub fn check(&self) -> Result<(), Unusable> {
        temperature("band_c", self.band_c)?;
        at_least_zero("band_width_k", self.band_width_k)?;
        at_least_zero("hold_s", self.hold_s)?;
        at_least_zero("saturation_tolerance_k", self.saturation_tolerance_k)?;
        at_least_zero("max_gap_s", self.max_gap_s)
    }
}

impl DisinfectionLimits {
    /// The usual limits for an A0 and a band (ISO 15883-1).
    pub fn new(a0_s: f64, band_c: f64) -> Self {
        Self { a0_s, band_c, hold_s: DISINFECTION_HOLD_S, floor_c: A0_FLOOR_C, max_gap_s: MAX_GAP_S }
    }

    /// Whether every limit can be meant.
    ///
    /// # Errors
    /// The first that cannot.
    pub fn check(&self) -> Result<(), Unusable> {
        at_least_zero("a0_s", self.a0_s)?;
        temperature("band_c", self.band_c)?;
        at_least_zero("hold_s", self.hold_s)?;
        temperature("floor_c", self.floor_c)?;
        at_least_zero("max_gap_s", self.max_gap_s)
    }
}

fn temperature(name: &'static str, found: f64) -> Result<(), Unusable> {
    let needed = "a temperature from -273.15 to 3000 °C is needed";
    let is_meant = (COLDEST_C..=HOTTEST_C).contains(&found);
    if is_meant { Ok(()) } else { Err(Unusable::Limit { name, found, needed }) }
}

fn at_least_zero(name: &'static str, found: f64) -> Result<(), Unusable> {
    let needed = "a finite number that is not negative is needed";
    if found.is_finite() && found >= 0.0 { Ok(()) } else { Err(Unusable::Limit { name, found, needed }) }
}
