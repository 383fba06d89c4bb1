//! The answer on a cycle record, in the form in which it is written as JSON.

use std::collections::BTreeMap;

use serde::Serialize;

use super::lethality::{A0, F0};
use super::span::{Range, Span};

/// Whether a cycle met its limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    Pass,
    Fail,
}

/// Why a cycle failed, in the order in which reasons are given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ReasonCode {
    GapTooLong,
    HoldTooShort,
    A0TooLow,
    AboveBand,
    AirSuspected,
    Superheated,
}

/// One limit that was not met: the worst value found, and the limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Reason {
    pub code: ReasonCode,
    pub found: f64,
    pub needed: f64,
    /// `s`, `K` or `°C`.
    pub unit: &'static str,
}

/// A value for each channel by the channel's name, and the smallest.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PerChannel<T> {
    #[serde(flatten)]
    pub channels: BTreeMap<String, T>,
    pub least: T,
}

/// F0 in minutes, over the whole record and over the hold.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct F0Min {
    pub ref_c: f64,
    pub z_k: f64,
    pub total: PerChannel<F0>,
    pub hold: PerChannel<F0>,
}

/// A0 in seconds, over the whole record.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct A0Seconds {
    pub ref_c: f64,
    pub z_k: f64,
    pub floor_c: f64,
    pub total: PerChannel<A0>,
}

/// How far channels lay from the temperature of saturated steam at the samples of the hold; never negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Deviation {
    /// The farthest below it, in K: air holds the pressure up.
    pub max_below_k: f64,
    /// The farthest above it, in K: the steam is superheated.
    pub max_above_k: f64,
}

/// The answer on a steam cycle.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SteamVerdict {
    pub verdict: Outcome,
    pub reasons: Vec<Reason>,
    /// The longest span in the band; None where there is none.
    pub hold: Option<Span>,
    /// Over all channels within the hold.
    pub temperature: Option<Range>,
    /// For information: F0 is never a reason, since it says nothing about wrapped or hollow loads.
    pub f0_min: F0Min,
    /// None without a pressure or without a hold.
    pub saturation: Option<Deviation>,
    /// The samples of the whole record.
    pub samples: usize,
    /// The longest distance between two samples of the whole record, in s.
    pub max_gap_s: f64,
}

/// The answer on a thermal disinfection.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DisinfectionVerdict {
    pub verdict: Outcome,
    pub reasons: Vec<Reason>,
    pub a0_s: A0Seconds,
    /// The longest span at or above the band; None where there is none.
    pub continuous: Option<Span>,
    /// The samples of the whole record.
    pub samples: usize,
    /// The longest distance between two samples of the whole record, in s.
    pub max_gap_s: f64,
}

impl SteamVerdict {
    /// Whether no reason stands against the cycle.
    pub fn passed(&self) -> bool {
        self.verdict == Outcome::Pass
    }
}

impl DisinfectionVerdict {
    /// Whether no reason stands against the cycle.
    pub fn passed(&self) -> bool {
        self.verdict == Outcome::Pass
    }
}
