//! What stands for and against a load, in one sentence, and its record for paper.

use serde_json::Value;

use super::shared::{capital, count, listed, long};
use super::told_time::lasting;
use crate::domain::load::{IndicatorKind, IndicatorResult, Load, LoadStatus};
use crate::domain::machine::{AIR_REMOVAL, MachineKind};
use crate::domain::programme::{Biological, Chemical};
use crate::domain::release::{Spores, spores};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::verdict::{Evidence, Judged, short};

/// The evidence on a load.
pub struct Found {
    /// What was found, as one sentence.
    pub sentence: String,
    /// The verdict was read from a printout.
    pub by_readings: bool,
    /// The raw record: its bytes in words, and its SHA-256.
    pub raw: Option<(String, String)>,
    /// The load record for paper, line by line; an empty answer is a line to write on.
    pub paper: Vec<(&'static str, String)>,
}

impl Found {
    pub fn of(state: &State, load: &Load, judged: Option<&Judged>) -> Found {
        let evidence = judged.map(|judged| &judged.by);
        Found {
            sentence: sentence(state, load, judged),
            by_readings: matches!(evidence, Some(Evidence::Readings { .. })),
            raw: match evidence {
                Some(Evidence::Record { sha256, bytes, .. }) => Some((
                    count(usize::try_from(*bytes).unwrap_or(usize::MAX), "byte", "bytes"),
                    sha256.clone(),
                )),
                _ => None,
            },
            paper: paper(state, load, judged),
        }
    }
}

fn sentence(state: &State, load: &Load, judged: Option<&Judged>) -> String {
    let failed = judged.filter(|judged| !judged.passed);
    let mut said: Vec<String> =
        failed.map(|it| it.why_failed().trim_end_matches('.').to_string()).into_iter().collect();
    said.extend(judged.map(cycle).into_iter().flatten());
    if matches!(judged.map(|judged| &judged.by), Some(Evidence::Readings { .. })) {
        said.push("read from the printout by two people, not recomputed".into());
    }
    said.extend(chemical(load));
    said.extend(biological(load));
    said.extend(air_removal(state, load));
    if said.is_empty() { String::new() } else { format!("{}.", capital(&said.join("; "))) }
}

/// The numbers of the cycle.
fn cycle(judged: &Judged) -> Vec<String> {
    let answer = judged.answer.value();
    let number = |path: &str| -> Option<f64> {
        let found = answer.pointer(path)?;
        found.as_f64().or_else(|| found.as_str().and_then(|text| text.parse().ok()))
    };
    let held = number("/hold/duration_s").or_else(|| number("/continuous/duration_s")).map(lasting);
    let range = match (number("/temperature/min_c"), number("/temperature/max_c")) {
        (Some(low), Some(high)) => Some(format!("{} to {} °C", short(low), short(high))),
        _ => None,
    };
    let hold = match (held, range) {
        (Some(held), Some(range)) => Some(format!("{held} at {range}")),
        (Some(held), None) => Some(format!("{held} in the band without a break")),
        (None, Some(range)) => Some(range),
        (None, None) if answer.get("f0_min").is_some() => Some("never in the band".to_string()),
        (None, None) => None,
    };
    let a0 = number("/a0_s/total/least").map(|a0| format!("A0 {} s", short(a0)));
    let saturated = number("/saturation/max_below_k").zip(number("/saturation/max_above_k"));
    let saturated = saturated.map(|(below, above)| format!("saturated within {} K", short(below.max(above))));
    let complete = answer.get("complete").and_then(Value::as_bool) == Some(false);
    let complete = complete.then(|| "the machine did not report the cycle as complete".to_string());
    let first = listed(&a0.into_iter().chain(hold).collect::<Vec<_>>());
    let cycle = listed(&[first].into_iter().filter(|it| !it.is_empty()).collect::<Vec<_>>());
    let cycle = match (cycle.is_empty(), saturated) {
        (false, Some(saturated)) => Some(format!("{cycle}, {saturated}")),
        (false, None) => Some(cycle),
        (true, saturated) => saturated,
    };
    cycle.into_iter().chain(complete).collect()
}

/// What the chemical indicators of a load say together: one that failed is not undone by another.
fn chemical_result(load: &Load) -> Option<IndicatorResult> {
    let mut all =
        load.indicators.iter().filter(|it| it.indicator == IndicatorKind::Chemical).map(|it| it.result);
    let first = all.next()?;
    let is_failed = first == IndicatorResult::Fail || all.any(|result| result == IndicatorResult::Fail);
    Some(if is_failed { IndicatorResult::Fail } else { IndicatorResult::Pass })
}

fn chemical(load: &Load) -> Option<String> {
    let is_needed = load.programme.chemical(load.kind) != Chemical::None;
    match chemical_result(load) {
        Some(IndicatorResult::Pass) => Some("chemical indicator passed".into()),
        Some(IndicatorResult::Fail) => Some("chemical indicator failed".into()),
        None => is_needed.then(|| "no chemical indicator recorded yet".into()),
    }
}

fn biological(load: &Load) -> Option<String> {
    let is_needed = load.programme.biological == Biological::EachLoad;
    let is_told = load.indicators.iter().any(|it| it.indicator == IndicatorKind::Biological);
    match spores(load) {
        Spores::Passed => Some("biological indicator without growth".into()),
        Spores::Grew => Some("growth in the biological indicator".into()),
        Spores::NotRead if is_told => Some("biological test void, its control did not grow".into()),
        Spores::NotRead => is_needed.then(|| "biological indicator not read yet".into()),
    }
}

/// The air-removal test of the machine on the load's test day, where its programme asks for one.
fn air_removal(state: &State, load: &Load) -> Option<String> {
    let machine = state.machines.get(&load.machine).filter(|_| load.programme.air_removal_test)?;
    let day = state.test_day(load.started_at);
    let before = |at: Time| state.test_day(at) == day && at <= load.started_at;
    let of_day = machine.tests.iter().rev().find(|it| it.test.as_str() == AIR_REMOVAL && before(it.at));
    Some(match of_day {
        Some(test) => {
            let result = if test.good { "passed" } else { "failed" };
            format!("air-removal test {result} at {}", test.at.in_zone(state.zone).format("%H:%M"))
        }
        None if load.tested => "air-removal test passed that test day".into(),
        None => "no air-removal test is known of that test day before it".into(),
    })
}

/// The fields that a load record has by RACGP, Infection prevention and control guidelines, 2023, record keeping: date,
/// steriliser, load number, contents, who prepared it, cycle monitoring, indicators, the packs' condition, who released or
/// rejected it, faults and what was done.
fn paper(state: &State, load: &Load, judged: Option<&Judged>) -> Vec<(&'static str, String)> {
    let steriliser = load.kind == MachineKind::Steriliser;
    let told = |words: Option<String>| words.unwrap_or_else(|| "not recorded".into());
    let cycle_no = load.cycle_no.as_ref().map(|no| format!(", cycle {}", no.0)).unwrap_or_default();
    let mut lines = vec![
        ("Date and time", long(state, load.started_at)),
        ("Machine", format!("{} ({})", load.machine, load.kind.words())),
        ("Load", format!("{}{cycle_no}", load.load)),
        (
            "Programme",
            format!("{}: {}", load.programme.programme, super::load::limits(&load.programme, load.kind)),
        ),
        ("Contents", contents(state, load)),
        ("Loaded by", load.started_by.to_string()),
        (
            "Cycle monitoring",
            match judged {
                Some(judged) if judged.passed => "passed".into(),
                Some(judged) => format!("failed: {}", judged.why_failed()),
                None => "no record".into(),
            },
        ),
    ];
    if steriliser {
        lines.push(("Chemical indicator", told(chemical(load))));
        lines.push(("Biological indicator", told(biological(load))));
        let dryness = match load.dry {
            Some(false) if load.status == LoadStatus::Released => "not dry",
            _ if load.dryness_not_stated() => "dryness not stated",
            _ => "",
        };
        lines.push(("Packs dry, seals whole, undamaged", dryness.into()));
    }
    let by = load.decided_by.clone().unwrap_or_default();
    let at = load.decided_at.map(|at| long(state, at)).unwrap_or_default();
    lines.push((
        "Decision",
        match load.status {
            LoadStatus::Released => format!("released by {by}, {at}"),
            LoadStatus::Rejected => format!("rejected by {by}, {at}"),
            LoadStatus::Running | LoadStatus::Judged => "not decided".into(),
        },
    ));
    lines.push(("Faults, and what was done", load.reason.clone().unwrap_or_default()));
    lines.push(("Signature of the loader", String::new()));
    lines.push(("Signature of who releases or rejects", String::new()));
    lines
}

/// The contents by set, so that they stay short: "B2 (7 parts), T-0142".
fn contents(state: &State, load: &Load) -> String {
    let mut sets: Vec<(String, usize)> = Vec::new();
    for part in &load.contents {
        let asset = state.assets.get(&part.asset);
        let set = asset.and_then(|asset| asset.seat.as_ref()).map(|seat| seat.set.to_string());
        let name = set.unwrap_or_else(|| part.asset.to_string());
        match sets.iter_mut().find(|(known, _)| *known == name) {
            Some((_, parts)) => *parts += 1,
            None => sets.push((name, 1)),
        }
    }
    let told = sets.into_iter().map(|(name, parts)| match parts {
        1 => name,
        parts => format!("{name} ({parts} parts)"),
    });
    told.collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_sentence_names_the_numbers_and_the_indicators() {
        let visitor = sample::judged();
        let load = visitor.state.loads.get("S-311").unwrap();
        let judged = load.judged.as_ref().and_then(|judged| judged.whole.as_deref());
        let found = Found::of(&visitor.state, load, judged);
        assert_eq!(
            found.sentence,
            "3 min 25 s at 134.1 to 135.6 °C; read from the printout by two people, not recomputed; chemical indicator passed."
        );
        assert!(found.by_readings && found.raw.is_none());
        let of = |what: &str| found.paper.iter().find(|line| line.0 == what).unwrap().1.clone();
        assert!(of("Contents").contains("B2 (") && of("Load") == "S-311, cycle 4711");
        assert_eq!((of("Cycle monitoring"), of("Decision")), ("passed".into(), "not decided".into()));
        assert!(of("Signature of who releases or rejects").is_empty());
    }

    #[test]
    fn a_load_that_runs_says_what_is_missing() {
        let visitor = sample::visitor();
        let load = visitor.state.loads.get("S-311").unwrap();
        let found = Found::of(&visitor.state, load, None);
        assert_eq!(found.sentence, "No chemical indicator recorded yet.");
    }
}
