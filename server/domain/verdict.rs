//! The verdict on a cycle: computed from its record against the limits that the load copied when it started, or read
//! from the machine's printout by two people.

use std::sync::Arc;

use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::{Value, json};

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::id::Id;
use super::load::{Load, Readings};
use super::model::StepKind;
use super::programme::{Held, Programme};
use super::record::{self, Given};
use super::refusal::{Code, Problem};
use super::sha256::Sha256Of;
use super::text::{Quantity, Sealed};
use super::time::Time;
use crate::analysis::cycle;
use crate::analysis::limits::{A0_FLOOR_C, BAND_WIDTH_K, DisinfectionLimits, Limits, SteamLimits};
use crate::analysis::record::Unusable;
use crate::formats::form::Form;
use crate::formats::said::Said;

/// A verdict as the ledger keeps it. In `answer` every number is its decimal text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    pub by: Evidence,
    pub passed: bool,
    pub answer: Answer,
    /// The cycle has certainly ended by then.
    pub ended_at: Time,
}

/// The whole answer of a verdict, as JSON text: years of loads stay in memory, and a tree of JSON takes several times as
/// much of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer(Arc<str>);

impl Answer {
    pub fn of(value: &Value) -> Answer {
        Answer(Arc::from(value.to_string()))
    }

    pub fn value(&self) -> Value {
        // It was written from a value, so it reads back as one.
        serde_json::from_str(&self.0).unwrap_or_default()
    }
}

impl Serialize for Answer {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        self.value().serialize(to)
    }
}

impl<'de> Deserialize<'de> for Answer {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Value::deserialize(from).map(|value| Answer::of(&value))
    }
}

/// On what a verdict stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    Record {
        sha256: String,
        bytes: u64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ambient_kpa: Option<Quantity>,
        /// The machine's record form by which it was read, whole; none where it is in the plain form.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        form: Option<Arc<Form>>,
        /// The limits that it was judged by, so that the raw bytes and this entry give the verdict again.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        programme: Option<Arc<Programme>>,
        /// Other loads that were judged by these very bytes.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        same_as: Vec<Id>,
    },
    Readings {
        second_reader: Sealed,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        photo: Option<String>,
    },
}

impl Evidence {
    /// Whether two verdicts stand on the same bytes, read in the same way.
    pub(super) fn says_as(&self, other: &Evidence) -> bool {
        let of = |it: &Evidence| match it {
            Evidence::Record { sha256, ambient_kpa, form, .. } => {
                Some((sha256.clone(), *ambient_kpa, form.clone()))
            }
            Evidence::Readings { .. } => None,
        };
        of(self).is_some_and(|it| of(other).is_some_and(|other| it == other))
    }

    pub fn record_hash(&self) -> Option<Sha256Of> {
        match self {
            Evidence::Record { sha256, .. } => Sha256Of::parse(sha256),
            Evidence::Readings { .. } => None,
        }
    }
}

/// What a record says under a programme's limits, before it is known which load it belongs to.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    pub passed: bool,
    pub answer: Value,
    pub span_s: f64,
    /// The first and the last sample's own times, where the record carries them.
    pub first_at: Option<Time>,
    pub last_at: Option<Time>,
    pub sha256: String,
    pub bytes: u64,
    /// By which form it was read, where not by the plain one.
    pub form: Option<Arc<Form>>,
    pub said: Said,
}

/// A judgement computed before the decision, with the programme and the machine's form that it was computed for.
#[derive(Clone, Debug)]
pub struct Prepared {
    pub programme: Arc<Programme>,
    pub form: Option<Arc<Form>>,
    pub judgement: Result<Judgement, Malformed>,
}

/// What a programme holds a cycle record to. `None` where it has no limits that a record could meet.
pub fn limits_of(programme: &Programme) -> Option<Limits> {
    let number = |q: Option<Quantity>| q.map(Quantity::f64);
    let (band_c, hold_s) = (number(programme.band_c), number(programme.hold_s));
    if programme.step() == StepKind::Sterilised {
        return Some(Limits::Steam(SteamLimits::new(band_c?, hold_s?)));
    }
    if programme.a0_s.is_none() && (band_c.is_none() || hold_s.is_none()) {
        return None;
    }
    let a0_s = number(programme.a0_s).unwrap_or(0.0);
    // Where a programme names no band, its record need not lie in one above the floor.
    let usual = DisinfectionLimits::new(a0_s, band_c.unwrap_or(A0_FLOOR_C));
    Some(Limits::Disinfection(DisinfectionLimits { hold_s: hold_s.unwrap_or(0.0), ..usual }))
}

/// Judges a cycle record by a programme's limits. `None` where the programme has none that a record could meet.
pub fn judge_record(programme: &Programme, given: &Given) -> Option<Result<Judgement, Malformed>> {
    limits_of(programme).map(|limits| {
        let by_steam = programme.method == super::model::Method::Steam;
        let unreadable = |error: &dyn std::fmt::Display| wrong("/record", error.to_string());
        let taken = record::take(given, by_steam).map_err(|error| unreadable(&error))?;
        let record = taken.record;
        let (passed, answer) = match &limits {
            Limits::Steam(limits) => {
                let verdict = cycle::judge_steam(&record, limits).map_err(|error| match &error {
                    Unusable::Pressure { sample, range } => {
                        unreadable(&record::unsaturated(given.bytes, taken.form.as_deref(), *sample, range))
                    }
                    other => unreadable(other),
                })?;
                (verdict.passed(), serde_json::to_value(&verdict))
            }
            Limits::Disinfection(limits) => {
                let verdict =
                    cycle::judge_disinfection(&record, limits).map_err(|error| unreadable(&error))?;
                (verdict.passed(), serde_json::to_value(&verdict))
            }
        };
        let answer = answer.map_err(|error| unreadable(&error))?;
        let span_s = match (record.time_s.first(), record.time_s.last()) {
            (Some(first), Some(last)) => last - first,
            _ => 0.0,
        };
        Ok(Judgement {
            passed,
            answer: as_text(answer),
            span_s,
            first_at: record.started_us.map(Time),
            last_at: record.ended_us.map(Time),
            sha256: hex::encode(Sha256Of::of(given.bytes).0),
            bytes: given.bytes.len() as u64,
            form: taken.form,
            said: taken.said,
        })
    })
}

/// Every number as its decimal text: the ledger holds no floating point number.
fn as_text(value: Value) -> Value {
    match value {
        Value::Number(number) => Value::String(number.to_string()),
        Value::Array(items) => Value::Array(items.into_iter().map(as_text).collect()),
        Value::Object(fields) => Value::Object(fields.into_iter().map(|(k, v)| (k, as_text(v))).collect()),
        other => other,
    }
}

/// The answer of the calculation again, with numbers. No text of an answer (verdicts, codes, units) reads as one.
pub fn as_numbers(value: &Value) -> Value {
    match value {
        Value::String(text) => match text.parse::<serde_json::Number>() {
            Ok(number) => Value::Number(number),
            Err(_) => value.clone(),
        },
        Value::Array(items) => Value::Array(items.iter().map(as_numbers).collect()),
        Value::Object(fields) => {
            fields.iter().map(|(k, v)| (k.clone(), as_numbers(v))).collect::<serde_json::Map<_, _>>().into()
        }
        other => other.clone(),
    }
}

pub(super) fn of_record(
    deciding: &mut Deciding,
    load: &Load,
    bytes: &[u8],
    ambient_kpa: Option<Quantity>,
) -> Option<Judged> {
    let state = deciding.state;
    let form = state.machines.get(&load.machine).and_then(|machine| machine.form.as_ref());
    let suits = |it: &&Prepared| it.programme == load.programme && it.form.as_ref() == form;
    let judgement = match deciding.asked.prepared.filter(suits) {
        Some(prepared) => Some(prepared.judgement.clone()),
        None => judge_record(&load.programme, &Given { bytes, form, ambient_kpa }),
    };
    match judgement {
        Some(Ok(judgement)) => {
            let of_another_time = record::of_another_time(state, load, &judgement, deciding.asked.now);
            for problem in record::of_another(load, &judgement.said, form).into_iter().chain(of_another_time)
            {
                deciding.against(problem);
            }
            let judged = judged_by(deciding, load, judgement, ambient_kpa);
            record::already_judged(deciding, load, &judged);
            Some(judged)
        }
        Some(Err(malformed)) => {
            deciding.malformed.push(malformed);
            None
        }
        None => {
            deciding.against(Problem::new(
                Code::ProgrammeUnsuitable,
                format!(
                    "Programme {} has no limits that a record could be judged by.",
                    load.programme.programme
                ),
                "A band and a hold, or an A0, is needed.",
                "Enter the readings of the printout, confirmed by a second person.",
            ));
            None
        }
    }
}

fn judged_by(
    deciding: &Deciding,
    load: &Load,
    judgement: Judgement,
    ambient_kpa: Option<Quantity>,
) -> Judged {
    Judged {
        passed: judgement.passed,
        ended_at: record::ended_at(load, &judgement, deciding.asked.now),
        answer: Answer::of(&judgement.answer),
        by: Evidence::Record {
            same_as: record::judged_elsewhere(deciding.state, load, &judgement.sha256),
            sha256: judgement.sha256,
            bytes: judgement.bytes,
            ambient_kpa,
            form: judgement.form,
            programme: Some(load.programme.clone()),
        },
    }
}

pub(super) fn of_readings(deciding: &mut Deciding, load: &Load, it: &Readings, at: Time) -> Option<Judged> {
    if deciding.is_doer(&it.second_reader) {
        let problem = Problem::new(
            Code::SamePerson,
            "The second reader is the one who enters the readings.",
            "Readings are read by one person and confirmed by another.",
            "Let a second person read the printout, and name them.",
        );
        // Two pairs of eyes are the evidence itself, whenever it is told.
        deciding.against(problem.even_late());
    }
    if let Some(photo) = it.photo.as_ref().filter(|photo| !deciding.asked.attachments.contains_key(*photo)) {
        deciding.against(Problem::new(
            Code::UnknownThing,
            format!("No attachment with the SHA-256 {photo} is kept here."),
            "A picture of the printout that was stored before is needed.",
            "Store the picture first, or enter the readings without it.",
        ));
    }
    let reasons = reasons_of(&load.programme, it);
    let passed = reasons.is_empty();
    let answer = json!({
        "verdict": if passed { "pass" } else { "fail" },
        "reasons": reasons,
        "hold": it.hold_s.map(|hold| json!({"duration_s": hold})),
        "a0_s": it.a0_s.map(|a0| json!({"total": {"least": a0}})),
        "temperature": {"min_c": it.min_c, "max_c": it.max_c},
        "complete": it.complete,
        "source": "read from the printout by two people; not recomputed",
    });
    let second_reader = deciding.seal(it.second_reader.as_str().trim());
    Some(Judged {
        by: Evidence::Readings { second_reader, photo: it.photo.clone() },
        passed,
        answer: Answer::of(&answer),
        ended_at: record::read_at(load, it.hold_s, at, deciding.asked.now),
    })
}

fn reasons_of(programme: &Programme, it: &Readings) -> Vec<Value> {
    let mut reasons = Vec::new();
    let mut add = |code: &str, found: Quantity, needed: Quantity, unit: &str| {
        reasons.push(json!({"code": code, "found": found, "needed": needed, "unit": unit}));
    };
    let zero = Quantity::default();
    if let Some(hold_s) = programme.hold_s.filter(|hold_s| it.hold_s.unwrap_or(zero) < *hold_s)
        && (it.a0_s.is_none() || programme.a0_s.is_none())
    {
        add("hold_too_short", it.hold_s.unwrap_or(zero), hold_s, "s");
    }
    if let Some(a0_s) = programme.a0_s.filter(|a0_s| it.a0_s.unwrap_or(zero) < *a0_s) {
        add("a0_too_low", it.a0_s.unwrap_or(zero), a0_s, "s");
    }
    if let Some(band_c) = programme.band_c {
        if it.min_c < band_c {
            add("below_band", it.min_c, band_c, "°C");
        }
        let width = Decimal::try_from(BAND_WIDTH_K).unwrap_or(Decimal::new(3, 0));
        let upper = Quantity((band_c.0 + width).normalize());
        if programme.step() == StepKind::Sterilised && it.max_c > upper {
            add("above_band", it.max_c, upper, "°C");
        }
    }
    if !it.complete {
        reasons.push(json!({"code": "not_complete"}));
    }
    reasons
}

impl Judged {
    /// What was held, as far as a part's instructions may bind it.
    pub fn held(&self) -> Held {
        let answer = self.answer.value();
        let number = |path: &str| answer.pointer(path).and_then(Value::as_str)?.parse::<f64>().ok();
        Held { max_c: number("/temperature/max_c"), hold_s: number("/hold/duration_s") }
    }

    /// Why the record fails, as one sentence for people.
    pub fn why_failed(&self) -> String {
        let answer = self.answer.value();
        let reasons = answer.get("reasons").and_then(Value::as_array);
        let told: Vec<String> = reasons.into_iter().flatten().map(reason_words).collect();
        if told.is_empty() { "no reason is named.".into() } else { format!("{}.", told.join("; ")) }
    }
}

/// One reason of a verdict in words, its numbers cut to what a person reads.
pub fn reason_words(reason: &Value) -> String {
    let text = |name: &str| reason.get(name).and_then(Value::as_str).unwrap_or_default();
    let number = |name: &str| text(name).parse::<f64>().map(short).unwrap_or_default();
    let (found, needed, unit) = (number("found"), number("needed"), text("unit"));
    match text("code") {
        "gap_too_long" => {
            format!("a gap of {found} {unit} between two samples, at most {needed} {unit} is allowed")
        }
        "hold_too_short" => format!("held {found} {unit}, {needed} {unit} is needed"),
        "above_band" => format!("reached {found} {unit}, at most {needed} {unit} is allowed"),
        "below_band" => format!("fell to {found} {unit}, at least {needed} {unit} is needed"),
        "air_suspected" => {
            format!("{found} {unit} below saturation, at most {needed} {unit} is allowed: air is suspected")
        }
        "superheated" => {
            format!("{found} {unit} above saturation, at most {needed} {unit} is allowed: superheated")
        }
        "a0_too_low" => format!("A0 {found} {unit}, {needed} {unit} is needed"),
        "not_complete" => "the machine did not report the cycle as complete".to_string(),
        other => other.replace('_', " "),
    }
}

/// A number as a person reads it: at most two decimals, none that are zero.
pub fn short(number: f64) -> String {
    let text = format!("{number:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}
