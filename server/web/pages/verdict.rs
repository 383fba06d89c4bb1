//! A cycle's verdict in words with its numbers.

use serde_json::Value;

use super::shared::time;
use crate::analysis::cycle::decimal_sum;
use crate::analysis::limits::{BAND_WIDTH_K, MAX_GAP_S, SATURATION_TOLERANCE_K};
use crate::domain::load::Load;
use crate::domain::model::StepKind;
use crate::domain::programme::Programme;
use crate::domain::state::State;
use crate::domain::text::Quantity;
use crate::domain::time::Time;
use crate::domain::verdict::{Evidence, Judged, reason_words, short};

/// One measured value beside its limit.
pub struct Measure {
    pub what: &'static str,
    pub found: String,
    pub needed: String,
}

/// A verdict as the load page shows it.
pub struct Verdict {
    pub passed: bool,
    pub sentence: String,
    pub reasons: Vec<String>,
    pub measures: Vec<Measure>,
    pub source: String,
    pub ended: String,
    /// Other loads that the very same bytes are the record of.
    pub same_as: Vec<String>,
}

/// Whether a load's record meets its programme, as a sentence.
pub fn sentence(load: &Load, passed: bool) -> String {
    let meets = if passed { "meets" } else { "does not meet" };
    format!("The record of load {} {meets} programme {}.", load.load, load.programme.programme)
}

pub fn of(state: &State, load: &Load, judged: Option<&Judged>, now: Time) -> Option<Verdict> {
    let judged = judged?;
    let answer = judged.answer.value();
    let reasons = answer.get("reasons").and_then(Value::as_array);
    Some(Verdict {
        passed: judged.passed,
        sentence: sentence(load, judged.passed),
        reasons: reasons
            .into_iter()
            .flatten()
            .map(|reason| super::shared::capital(&reason_words(reason)))
            .collect(),
        measures: measures(&answer, &load.programme),
        source: source(judged),
        ended: time(state, judged.ended_at, now),
        same_as: same_as(judged),
    })
}

fn same_as(judged: &Judged) -> Vec<String> {
    match &judged.by {
        Evidence::Record { same_as, .. } => same_as.iter().map(ToString::to_string).collect(),
        Evidence::Readings { .. } => Vec::new(),
    }
}

fn source(judged: &Judged) -> String {
    match &judged.by {
        Evidence::Record { sha256, bytes, ambient_kpa, form, .. } => {
            let start: String = sha256.chars().take(12).collect();
            let ambient = ambient_kpa.map(|kpa| format!(", ambient pressure {kpa} kPa")).unwrap_or_default();
            let read = if form.is_some() { "by the machine's record form" } else { "in the plain form" };
            format!("Computed from the record itself, read {read}: {bytes} bytes, SHA-256 {start}…{ambient}")
        }
        Evidence::Readings { .. } => "Read from the printout by two people; not recomputed".into(),
    }
}

/// A number at a path of the answer, as a person reads it.
fn number(answer: &Value, path: &str) -> Option<String> {
    let found = answer.pointer(path)?;
    let number = found.as_f64().or_else(|| found.as_str().and_then(|text| text.parse().ok()))?;
    Some(short(number))
}

/// A limit of the programme in words.
fn at_least(limit: Option<Quantity>, unit: &str) -> String {
    limit.map_or_else(|| "no limit".to_string(), |limit| format!("at least {limit} {unit}"))
}

pub fn measures(answer: &Value, programme: &Programme) -> Vec<Measure> {
    let hold = at_least(programme.hold_s, "s");
    let band = at_least(programme.band_c, "°C");
    let banded = programme.band_c.filter(|_| programme.step() == StepKind::Sterilised);
    let upper = banded.map(|band| short(decimal_sum(band.f64(), BAND_WIDTH_K)));
    let within = upper.map_or_else(|| "no limit".to_string(), |upper| format!("at most {upper} °C"));
    let a0 = at_least(programme.a0_s, "s");
    let reference = number(answer, "/f0_min/ref_c").unwrap_or_else(|| "121.1".into());
    let f0 = format!("information (reference {reference} °C)");
    let air = format!("at most {} K; beyond it air is suspected", short(SATURATION_TOLERANCE_K));
    let hot = format!("at most {} K; beyond it superheated", short(SATURATION_TOLERANCE_K));
    let gap = format!("in the hold at most {} s", short(MAX_GAP_S));
    let rows = [
        ("Hold", "/hold/duration_s", "s", hold.as_str()),
        ("Held without a break", "/continuous/duration_s", "s", hold.as_str()),
        ("Lowest temperature in the hold", "/temperature/min_c", "°C", band.as_str()),
        ("Highest temperature in the hold", "/temperature/max_c", "°C", within.as_str()),
        ("A0", "/a0_s/total/least", "s", a0.as_str()),
        ("Most below saturation", "/saturation/max_below_k", "K", air.as_str()),
        ("Most above saturation", "/saturation/max_above_k", "K", hot.as_str()),
        ("F0", "/f0_min/total/least", "min", f0.as_str()),
        ("Longest gap between samples", "/max_gap_s", "s", gap.as_str()),
    ];
    let found = rows.into_iter().filter_map(|(what, path, unit, needed)| {
        let found = format!("{} {unit}", number(answer, path)?);
        Some(Measure { what, found, needed: needed.into() })
    });
    found.collect()
}
