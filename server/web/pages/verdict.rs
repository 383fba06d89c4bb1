//! A cycle's verdict in words with its numbers.

use serde_json::Value;

use super::shared::exact;
use crate::domain::load::Load;
use crate::domain::programme::Programme;
use crate::domain::state::State;
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
}

pub fn of(state: &State, load: &Load) -> Option<Verdict> {
    let judged = load.judged.as_ref()?;
    let reasons = judged.answer.get("reasons").and_then(Value::as_array);
    Some(Verdict {
        passed: judged.passed,
        sentence: if judged.passed {
            format!("The record meets programme {}.", load.programme.programme)
        } else {
            format!("The record does not meet programme {}.", load.programme.programme)
        },
        reasons: reasons
            .into_iter()
            .flatten()
            .map(|reason| super::shared::capital(&reason_words(reason)))
            .collect(),
        measures: measures(&judged.answer, &load.programme),
        source: source(judged),
        ended: exact(state, judged.ended_at),
    })
}

fn source(judged: &Judged) -> String {
    match &judged.by {
        Evidence::Record {
            sha256,
            bytes,
            ambient_kpa,
        } => {
            let start: String = sha256.chars().take(12).collect();
            let ambient = ambient_kpa
                .map(|kpa| format!(", ambient pressure {kpa} kPa"))
                .unwrap_or_default();
            format!("Computed from the record itself: {bytes} bytes, SHA-256 {start}…{ambient}")
        }
        Evidence::Readings { .. } => "Read from the printout by two people; not computed again".into(),
    }
}

/// A number at a path of the answer, as a person reads it.
fn number(answer: &Value, path: &str) -> Option<String> {
    let found = answer.pointer(path)?;
    let number = found
        .as_f64()
        .or_else(|| found.as_str().and_then(|text| text.parse().ok()))?;
    Some(short(number))
}

fn measures(answer: &Value, programme: &Programme) -> Vec<Measure> {
    let mut all = Vec::new();
    let mut add = |what, found: Option<String>, unit: &str, needed: String| {
        if let Some(found) = found {
            all.push(Measure {
                what,
                found: format!("{found} {unit}"),
                needed,
            });
        }
    };
    let at_least = |limit: Option<crate::domain::text::Quantity>, unit: &str| {
        limit.map_or_else(
            || "no limit".to_string(),
            |limit| format!("at least {limit} {unit}"),
        )
    };
    let band = at_least(programme.band_c, "°C");
    add(
        "Hold",
        number(answer, "/hold/duration_s"),
        "s",
        at_least(programme.hold_s, "s"),
    );
    add(
        "Lowest temperature in the hold",
        number(answer, "/temperature/min_c"),
        "°C",
        band,
    );
    add(
        "Highest temperature in the hold",
        number(answer, "/temperature/max_c"),
        "°C",
        "within the band".into(),
    );
    add(
        "A0",
        number(answer, "/a0_s/total/least"),
        "s",
        at_least(programme.a0_s, "s"),
    );
    add(
        "Most below saturation",
        number(answer, "/saturation/max_below_k"),
        "K",
        "air is suspected above the limit".into(),
    );
    add(
        "Most above saturation",
        number(answer, "/saturation/max_above_k"),
        "K",
        "superheated above the limit".into(),
    );
    let reference = number(answer, "/f0_min/ref_c").unwrap_or_else(|| "121.1".into());
    add(
        "F0",
        number(answer, "/f0_min/total/least"),
        "min",
        format!("information (reference {reference} °C)"),
    );
    add(
        "Longest gap between samples",
        number(answer, "/max_gap_s"),
        "s",
        "information".into(),
    );
    all
}
