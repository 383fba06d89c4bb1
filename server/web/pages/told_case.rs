//! Entries about cases and about parts that did not come back, in sentences.

use super::shared::{count, some_of};
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
        ("technique", it.technique.is_some()),
        ("needs", it.needs.is_some()),
        ("patient's reference", it.patient.is_some()),
        ("known risk", it.risk.is_some()),
    ];
    let all: Vec<String> =
        named.into_iter().filter(|(_, is)| *is).map(|(name, _)| name.to_string()).collect();
    super::shared::listed(&all)
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
    all.join("; ")
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
            format!("{parts} issued to case {}{how}.", it.case)
        }
        What::Opened(it) => {
            let pack = if it.pack_intact == Some(false) { ", the pack not intact" } else { "" };
            format!("{} opened at case {}{pack}.", names(it.parts.iter().map(|part| &part.asset)), it.case)
        }
        What::Used(it) => {
            format!("{} used at case {}.", names(it.parts.iter().map(|part| &part.asset)), it.case)
        }
        What::CountClosed(it) => format!("Count of case {} closed: {}.", it.case, counted(it)),
        What::ConfigurationChosen(it) => super::told_fit::chosen(it),
        What::PatientErased(it) => {
            let of = match (&it.case, &it.load) {
                (Some(case), _) => format!("case {case}"),
                (None, load) => format!("load {}", load.as_ref().map(Id::as_str).unwrap_or_default()),
            };
            format!("Patient's reference of {of} erased: {}", it.reason)
        }
        What::MissingReported(it) => format!("{} reported as not accounted for.", it.asset),
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
        What::MissingReported(it) => (Some(it.turn), "reported as not accounted for".into()),
        What::Found(_) => (None, "found".into()),
        What::MissingClosed(it) => (None, format!("search: {}", it.outcome.words())),
        _ => return None,
    })
}
