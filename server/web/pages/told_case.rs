//! Entries about cases, parts not accounted for, defect reports, repairs and look-backs, in sentences.

use super::shared::{count, some_of};
use crate::domain::event::What;
use crate::domain::exposure::{Back, Exposures};
use crate::domain::id::Id;

fn names<'a>(ids: impl Iterator<Item = &'a Id>) -> String {
    some_of(&ids.map(Id::to_string).collect::<Vec<_>>(), 4)
}

fn exposed(it: &Exposures, verb: &str) -> String {
    format!("{} {verb} at case {}.", names(it.parts.iter().map(|part| &part.asset)), it.case)
}

/// What an entry of these kinds says; other kinds keep their names.
pub fn sentence(what: &What) -> String {
    match what {
        What::CasePlanned(it) => format!("Case {} planned.", it.case),
        What::CaseChanged(it) => format!("Case {} changed.", it.case),
        What::CaseCancelled(it) => format!("Case {} cancelled: {}", it.case, it.reason),
        What::Promised(it) => format!("Set {} kept for case {}.", it.set, it.case),
        What::PromiseWithdrawn(it) => format!("Set {} no longer kept for case {}.", it.set, it.case),
        What::Issued(it) => {
            let parts =
                it.parts.iter().map(|part| &part.asset).chain(it.noted.iter().map(|part| &part.asset));
            let urgent = if it.emergency { " as an emergency" } else { "" };
            format!("{} issued to case {}{urgent}.", names(parts), it.case)
        }
        What::Opened(it) => exposed(it, "opened"),
        What::Used(it) => exposed(it, "used"),
        What::CountClosed(it) => {
            let not_back = it.parts.iter().filter(|part| part.back == Back::Missing).map(|part| &part.asset);
            let not_back = names(not_back);
            let parts = count(it.parts.len(), "part", "parts");
            match not_back.is_empty() {
                true => format!("Count of case {} closed, {parts}.", it.case),
                false => format!("Count of case {} closed, {parts}; not accounted for: {not_back}.", it.case),
            }
        }
        What::PatientErased(it) => format!("Patient's reference of case {} erased: {}", it.case, it.reason),
        What::MissingReported(it) => format!("{} reported as not accounted for.", it.asset),
        What::Found(it) => {
            let place = it.location.as_ref().map(|place| format!(": {}", place.0)).unwrap_or_default();
            format!("{} found{place}.", it.asset)
        }
        What::MissingClosed(it) => format!("Search for {}: {}.", it.asset, it.outcome.words()),
        What::FindingReported(it) => {
            format!("{} reported for {}, {}: {}", it.finding, it.asset, it.severity.words(), it.what)
        }
        What::SentToRepair(it) => {
            let label = if it.decontaminated { "decontaminated" } else { "NOT decontaminated" };
            format!("{} sent to repair, {label}: {}", it.asset, it.reason)
        }
        What::BackFromRepair(it) => format!("{} back from repair.", it.asset),
        What::LookBackOpened(it) => {
            format!("Look-back {} opened from {}: {}", it.look_back, it.origin.words(), it.reason)
        }
        What::LookBackClosed(it) => format!("Look-back {} closed: {}", it.look_back, it.outcome),
        other => other.kind().replace('_', " "),
    }
}

/// What such an entry says of one part: the turn, where it names one, and the act in short.
pub fn act_of(what: &What, asset: &str) -> (Option<u32>, String) {
    let at = |it: &Exposures| it.parts.iter().find(|part| part.asset.as_str() == asset).map(|part| part.turn);
    match what {
        What::Issued(it) => {
            let moved = it.parts.iter().find(|part| part.asset.as_str() == asset).map(|part| part.turn);
            let noted = it.noted.iter().find(|part| part.asset.as_str() == asset).map(|part| part.turn);
            (moved.or(noted), format!("issued to case {}", it.case))
        }
        What::Opened(it) => (at(it), format!("opened at case {}", it.case)),
        What::Used(it) => (at(it), format!("used at case {}", it.case)),
        What::CountClosed(it) => {
            let part = it.parts.iter().find(|part| part.asset.as_str() == asset);
            let how = match part.map(|part| part.back) {
                Some(Back::Unopened) => "back unopened",
                Some(Back::Broken) => "back, broken",
                Some(Back::Missing) => "not accounted for",
                Some(Back::Soiled) | None => "counted back",
            };
            (part.map(|part| part.turn), format!("{how}, case {}", it.case))
        }
        What::MissingReported(it) => (Some(it.turn), "not accounted for".into()),
        What::Found(_) => (None, "found".into()),
        What::MissingClosed(it) => (None, format!("search: {}", it.outcome.words())),
        What::FindingReported(it) => (Some(it.turn), format!("defect report, {}", it.severity.words())),
        What::SentToRepair(it) => (Some(it.turn), "sent to repair".into()),
        What::BackFromRepair(_) => (None, "back from repair".into()),
        other => (None, other.kind().replace('_', " ")),
    }
}

#[cfg(test)]
mod tests {
    use super::super::told;
    use crate::web::pages::sample;

    #[test]
    fn every_entry_reads_as_a_sentence() {
        let entries = sample::busy::entries();
        let told: Vec<String> = entries.iter().map(|entry| told::entry(entry).what).collect();
        for (entry, what) in entries.iter().zip(&told) {
            assert!(*what != entry.kind.replace('_', " "), "{what}");
        }
        for sentence in [
            "Case K-7 planned.",
            "BR-0031 and CAP-02 used at case K-7.",
            "Count of case K-7 closed, 6 parts; not accounted for: CAP-01.",
            "T-0142 sent to repair, NOT decontaminated: image dim",
            "Look-back look-back-0001 opened from load S-311: growth in the indicator",
        ] {
            assert!(told.iter().any(|what| what == sentence), "{sentence} in {told:#?}");
        }
        let of = |kind: &str, asset: &str| {
            let entry = entries.iter().find(|entry| entry.kind == kind).unwrap();
            told::act_of(entry, asset)
        };
        assert_eq!(of("used", "BR-0031").1, "used at case K-7");
        assert_eq!(of("count_closed", "CAP-01"), (Some(1), "not accounted for, case K-7".into()));
    }
}
