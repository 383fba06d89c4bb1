//! What a sample file gave when it was tried: in sentences, as the first rows, as the picture, as a verdict.

use super::curve::{self, Curve};
use super::plot::channel_name;
use super::shared::{capital, count};
use super::told_time::lasting;
use super::verdict::{Measure, measures};
use crate::domain::dry_run::DryRun;
use crate::domain::programme::Programme;
use crate::domain::record::Taken;
use crate::domain::verdict::{limits_of, reason_words, short};
use serde_json::Value;

/// So many of the first samples are shown.
const ROWS: usize = 12;

pub struct Read {
    /// What was read, in a sentence; empty where nothing could be.
    pub sentence: String,
    /// Why it could not be read, or judged.
    pub errors: Vec<String>,
    pub warnings: Vec<String>,
    /// The heads of the table's columns.
    pub columns: Vec<String>,
    pub rows: Vec<Vec<String>>,
    pub verdict: Option<Verdict>,
    pub curve: Option<Curve>,
}

pub struct Verdict {
    pub passed: bool,
    pub sentence: String,
    pub reasons: Vec<String>,
    pub measures: Vec<Measure>,
}

impl Read {
    /// `given` says whether a form was given: a file in the plain form does not need it.
    pub fn of(run: &DryRun, given: bool, programme: Option<&Programme>) -> Read {
        let mut read = Read {
            sentence: String::new(),
            errors: Vec::new(),
            warnings: Vec::new(),
            columns: Vec::new(),
            rows: Vec::new(),
            verdict: None,
            curve: None,
        };
        let taken = match &run.taken {
            Ok(taken) => taken,
            Err(unreadable) => {
                let by_form = unreadable.by_form.iter();
                read.errors = by_form.map(|error| format!("By this form: {error}.")).collect();
                read.errors.push(format!("In the plain form: {}.", unreadable.plain));
                return read;
            }
        };
        read.sentence = sentence(taken, given);
        read.warnings = taken.warnings.iter().map(|it| format!("{}.", capital(&it.to_string()))).collect();
        (read.columns, read.rows) = table(taken);
        let Some(programme) = programme else { return read };
        match &run.judged {
            Some(Ok(judgement)) => {
                let meets = if judgement.passed { "meets" } else { "does not meet" };
                let reasons = judgement.answer.get("reasons").and_then(Value::as_array);
                let sentence = format!("This sample {meets} programme {}.", programme.programme);
                read.curve =
                    limits_of(programme).and_then(|limits| curve::curve(&taken.record, &limits, &sentence));
                read.verdict = Some(Verdict {
                    passed: judgement.passed,
                    sentence,
                    reasons: reasons.into_iter().flatten().map(|it| capital(&reason_words(it))).collect(),
                    measures: measures(&judgement.answer, programme),
                });
            }
            Some(Err(malformed)) => read.errors.push(format!("It cannot be judged: {}.", malformed.detail)),
            None => read.errors.push(format!(
                "Programme {} has no limits that a record could be judged by.",
                programme.programme
            )),
        }
        read
    }
}

fn sentence(taken: &Taken, given: bool) -> String {
    let record = &taken.record;
    let span_s = record.time_s.last().zip(record.time_s.first()).map_or(0.0, |(last, first)| last - first);
    let channels: Vec<String> = record.channels.iter().map(|channel| channel_name(&channel.name)).collect();
    let pressure = if record.pressure_kpa_abs.is_some() { ", and the pressure" } else { ", no pressure" };
    let by = match (&taken.form, given) {
        (Some(_), _) => "Read by this form",
        (None, true) => "This file is in the plain form, so this form was not needed to read it. Read",
        (None, false) => "Read in the plain form",
    };
    let mut all = format!(
        "{by}: {} over {}; {}{pressure}.",
        count(record.time_s.len(), "sample", "samples"),
        lasting(span_s),
        channels.join(", ")
    );
    for (what, said) in [("cycle number", &taken.said.cycle_no), ("machine", &taken.said.machine)] {
        if let Some((text, line)) = said {
            all.push_str(&format!(" It names {what} {text} in line {line}."));
        }
    }
    all
}

fn table(taken: &Taken) -> (Vec<String>, Vec<Vec<String>>) {
    let record = &taken.record;
    let mut columns = vec!["Time in s".to_string()];
    columns.extend(record.channels.iter().map(|it| format!("{} in °C", capital(&channel_name(&it.name)))));
    columns.extend(record.pressure_kpa_abs.as_ref().map(|_| "Pressure in kPa, absolute".to_string()));
    let cell = |values: &[f64], i: usize| values.get(i).map(|value| short(*value)).unwrap_or_default();
    let rows = (0..record.time_s.len().min(ROWS)).map(|i| {
        let mut row = vec![cell(&record.time_s, i)];
        row.extend(record.channels.iter().map(|channel| cell(&channel.temp_c, i)));
        row.extend(record.pressure_kpa_abs.as_ref().map(|pressure| cell(pressure, i)));
        row
    });
    (columns, rows.collect())
}
