//! Entries about cases and about parts that did not come back, in sentences.

use super::shared::{count, some_of};
use crate::domain::check::{CheckResult, Checked};
use crate::domain::claims::Robbed;
use crate::domain::count::Tally;
use crate::domain::count_other::OtherLine;
use crate::domain::event::{Event, What};
use crate::domain::exposure::{Back, CaseChanged, CountClosed};
use crate::domain::id::Id;

fn names<'a>(ids: impl Iterator<Item = &'a Id>) -> String {
    let all: Vec<String> = ids.map(Id::to_string).collect();
    some_of(&all, 4)
}

/// What a change names. Values stay in the ledger; a list is no place for what is known of a patient.
fn changed(it: &CaseChanged) -> String {
    let named = [
        ("start", it.start.is_some()),
        ("length", it.minutes.is_some()),
        ("room", it.room.is_some()),
        ("technique", it.technique.is_some() || it.technique_not_decided),
        ("needs", it.needs.is_some()),
        ("patient's reference", it.patient.is_some()),
        ("known risk", it.risk.is_some()),
        (
            "procedure, as the schedule codes it",
            it.schedule.is_some() && it.needs.is_none() && nothing_else(it),
        ),
    ];
    let all: Vec<String> =
        named.into_iter().filter(|(_, is)| *is).map(|(name, _)| name.to_string()).collect();
    super::shared::listed(&all)
}

/// Whether a change by the schedule is one of its codes or numbers alone.
fn nothing_else(it: &CaseChanged) -> bool {
    it.start.is_none() && it.minutes.is_none() && it.room.is_none() && it.patient.is_none()
}

fn counted(it: &CountClosed) -> String {
    let of = |back: Back| it.parts.iter().filter(move |part| part.back == back);
    let mut all = Vec::new();
    let missing = of(Back::Missing).count();
    if missing > 0 {
        all.push(format!("not accounted for: {}", names(of(Back::Missing).map(|part| &part.asset))));
    }
    if of(Back::Broken).count() > 0 {
        all.push(format!("back with a piece missing: {}", names(of(Back::Broken).map(|part| &part.asset))));
    }
    let whole = it.parts.len() - missing - of(Back::Broken).count();
    all.push(format!("{} back whole", count(whole, "part", "parts")));
    let not_stored = super::immediate_use::not_stored(it);
    if !not_stored.is_empty() {
        all.push(format!(
            "sterilised for immediate use and not opened, never stored: {} begin their next turn",
            names(not_stored.into_iter())
        ));
    }
    all.extend(it.others.iter().map(other));
    all.join("; ")
}

/// A line without parts: "swabs 5 in, 4 out".
pub fn other(it: &OtherLine) -> String {
    let numbers = [(it.went_in, "in"), (it.came_out, "out")];
    let told: Vec<String> =
        numbers.into_iter().filter_map(|(number, word)| Some(format!("{} {word}", number?))).collect();
    format!("{} {}", it.line.0, told.join(", "))
}

fn checked(it: &Checked) -> String {
    let of = |result: CheckResult| it.lines.iter().filter(move |line| line.result == result);
    let mut all: Vec<String> = of(CheckResult::Failed)
        .map(|line| match &line.asset {
            Some(asset) => format!("{} failed on {asset}", line.line.0),
            None => format!("{} failed", line.line.0),
        })
        .collect();
    for result in [CheckResult::Passed, CheckResult::NotApplicable] {
        let lines: Vec<String> = of(result).map(|line| line.line.0.clone()).collect();
        if !lines.is_empty() {
            all.push(format!("{} {}", some_of(&lines, 6), result.words()));
        }
    }
    format!("Function check, case {}: {}.", it.case, all.join("; "))
}

fn tallied(it: &Tally) -> String {
    let of = match (&it.case, &it.set) {
        (Some(case), _) => format!("case {case}"),
        (None, set) => format!("set {}", set.as_ref().map(Id::as_str).unwrap_or_default()),
    };
    let mut all = vec![format!("{} there", count(it.counted.len(), "part", "parts"))];
    if !it.lacked.is_empty() {
        all.push(format!("not there: {}", names(it.lacked.iter().map(|lacked| &lacked.asset))));
    }
    if !it.broken.is_empty() {
        all.push(format!("a piece missing: {}", names(it.broken.iter())));
    }
    if !it.extra.is_empty() {
        all.push(format!("not expected: {}", names(it.extra.iter())));
    }
    all.extend(it.others.iter().map(other));
    format!("Count at {}, {of}: {}.", it.moment.name(), all.join("; "))
}

/// What another case lost by an issue.
pub fn robbed(it: &Robbed) -> String {
    let sets: Vec<String> = it.sets.iter().map(|set| format!("set {set}")).collect();
    let all: Vec<String> = sets.into_iter().chain(it.parts.iter().map(Id::to_string)).collect();
    format!(" Case {} loses {}.", it.case, some_of(&all, 4))
}

pub fn sentence(event: &Event) -> Option<String> {
    Some(match &event.what {
        What::CasePlanned(it) => format!("Case {} planned.", it.case),
        What::CaseChanged(it) => format!("Case {} changed: {}.", it.case, changed(it)),
        What::CaseCancelled(it) => format!("Case {} cancelled: {}", it.case, it.reason),
        What::Promised(it) => format!("Set {} kept for case {}.", it.set, it.case),
        What::PromiseWithdrawn(it) => format!("Set {} kept for case {} no longer.", it.set, it.case),
        What::Issued(it) => {
            let parts = it.parts.iter().map(|part| &part.asset);
            let parts = names(parts.chain(it.noted.iter().map(|part| &part.asset)));
            let how = if it.emergency { ", in an emergency" } else { "" };
            let robbed: String = it.robs.iter().map(robbed).collect();
            format!("{parts} issued to case {}{how}.{robbed}", it.case)
        }
        What::Opened(it) => {
            let pack = if it.pack_intact == Some(false) { ", the pack not intact" } else { "" };
            format!("{} opened at case {}{pack}.", names(it.parts.iter().map(|part| &part.asset)), it.case)
        }
        What::Used(it) => {
            format!("{} used at case {}.", names(it.parts.iter().map(|part| &part.asset)), it.case)
        }
        What::CountClosed(it) => format!("Count of case {} closed: {}.", it.case, counted(it)),
        What::Checked(it) => checked(it),
        What::Counted(it) => tallied(it),
        What::LineClosed(it) => {
            format!("Search for what \"{}\" of case {} lacks: {}.", it.line.0, it.case, it.outcome.words())
        }
        What::ConfigurationChosen(it) => super::told_fit::chosen(it),
        What::PatientErased(it) => {
            let of = match (&it.case, &it.load, &it.schedule_line) {
                (Some(case), ..) => format!("case {case}"),
                (None, None, Some(line)) => format!("{line} of the schedule"),
                (None, load, _) => format!("load {}", load.as_ref().map(Id::as_str).unwrap_or_default()),
            };
            format!("Patient's reference of {of} erased: {}", it.reason)
        }
        What::ProcedureMapped(it) if it.forget => format!("What procedure {} needs forgotten.", it.code.0),
        What::ProcedureMapped(it) if it.needs.is_empty() => {
            format!("Procedure {} needs none of the sets.", it.code.0)
        }
        What::ProcedureMapped(it) => format!("Procedure {} needs {}.", it.code.0, names(it.needs.iter())),
        What::ProceduresApplied(it) => {
            format!("Needs made of their procedures: {}.", names(it.cases.iter().map(|it| &it.case)))
        }
        What::ScheduleKept(it) => {
            format!("{} of the schedule kept for a person: {}", it.line, it.why.join(" "))
        }
        What::ScheduleSettled(it) => {
            let case = it.case.as_ref().map(|case| format!(", case {case}")).unwrap_or_default();
            format!("{} of the schedule settled: {}{case}.", names(it.lines()), it.outcome.words())
        }
        What::RequestSent(it) => format!("{} to the desk: {}.", it.request, it.asks.plain_words()),
        What::RequestAnswered(it) => {
            let because = it.because.as_ref().map(|because| format!(": {because}")).unwrap_or_default();
            format!("{} answered by the desk: {}{because}.", it.request, it.answer.words())
        }
        What::RequestWithdrawn(it) => format!("{} taken back.", it.request),
        What::MissingReported(it) => format!("{} reported as not accounted for.", it.asset),
        What::Found(it) if it.piece => format!("The missing piece of {} found.", it.asset),
        What::Found(it) => {
            let place = it.location.as_ref().map(|place| format!(": {}", place.0)).unwrap_or_default();
            format!("{} found{place}.", it.asset)
        }
        What::MissingClosed(it) => format!("Search for {}: {}.", it.asset, it.outcome.words()),
        _ => return None,
    })
}

/// What such an entry says of one part: the turn, where it names one, and the act in short.
pub fn act(event: &Event, asset: &str) -> Option<(Option<u32>, String)> {
    Some(match &event.what {
        What::Issued(it) => {
            let part = it.parts.iter().find(|part| part.asset.as_str() == asset);
            (part.map(|part| part.turn), format!("issued, case {}", it.case))
        }
        What::Opened(it) | What::Used(it) => {
            let part = it.parts.iter().find(|part| part.asset.as_str() == asset)?;
            (Some(part.turn), format!("{}, case {}", part.exposure.name(), it.case))
        }
        What::CountClosed(it) => {
            let part = it.parts.iter().find(|part| part.asset.as_str() == asset)?;
            let how = match part.back {
                Back::Unopened => "counted back unopened",
                Back::Soiled => "counted back",
                Back::Broken => "back with a piece missing",
                Back::Missing => "not accounted for",
            };
            (Some(part.turn), format!("{how}, case {}", it.case))
        }
        What::Checked(it) => {
            let line =
                it.lines.iter().find(|line| line.asset.as_ref().is_some_and(|id| id.as_str() == asset))?;
            (line.turn, format!("function check, case {}: {} {}", it.case, line.line.0, line.result.words()))
        }
        What::Counted(it) => {
            let of = it.case.as_ref().or(it.set.as_ref()).map(Id::as_str).unwrap_or_default();
            match it.lacked.iter().find(|lacked| lacked.asset.as_str() == asset) {
                Some(lacked) => (Some(lacked.turn), format!("not there at {}, {of}", it.moment.name())),
                None => (None, format!("counted at {}, {of}", it.moment.name())),
            }
        }
        What::MissingReported(it) => (Some(it.turn), "reported as not accounted for".into()),
        What::Found(_) => (None, "found".into()),
        What::MissingClosed(it) => (None, format!("search: {}", it.outcome.words())),
        _ => return None,
    })
}
