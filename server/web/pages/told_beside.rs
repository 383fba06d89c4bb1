//! Entries about defect reports, repairs, look-backs, flags and countersignatures, in sentences.

use super::shared::{count, listed};
use crate::domain::event::{Event, What};
use crate::domain::recall::Recalled;
use crate::domain::wrong_thing::WrongThingSettled;

/// What an entry says of parts whose cleaning began too late.
pub fn delayed(it: &crate::domain::step::StepRecorded) -> String {
    let told = it.delayed.iter().map(|late| {
        let done = if late.done { "done beside the usual" } else { "NOT said to be done" };
        format!(
            " {} waited {} min of {}; {done}: {}.",
            late.asset, late.waited_minutes, late.limit_minutes, late.steps.0
        )
    });
    let mut all: Vec<String> = told.collect();
    let more = all.len().saturating_sub(2);
    all.truncate(2);
    if more > 0 {
        all.push(format!(" {} more waited too long.", more));
    }
    all.concat()
}

pub fn sentence(event: &Event) -> Option<String> {
    Some(match &event.what {
        What::FindingReported(it) => {
            format!("{} reported for {}, {}: {}", it.finding, it.asset, it.severity.words(), it.what)
        }
        What::FindingWithdrawn(it) => format!("{} about {} withdrawn.", it.finding, it.asset),
        What::PhotoAdded(it) => format!("A picture added to {} about {}.", it.finding, it.asset),
        What::SentToRepair(it) => {
            let label = if it.decontaminated { "decontaminated" } else { "NOT decontaminated" };
            format!("{} sent to repair, {label}: {}", it.asset, it.reason)
        }
        What::BackFromRepair(it) => format!("{} back from repair.", it.asset),
        What::Recalled(it) => recalled(it),
        What::RecallNarrowed(it) => format!(
            "{} narrowed to {}; {} free again: {}",
            it.recall,
            count(it.loads.len(), "load", "loads"),
            count(it.lifted.len(), "part is", "parts are"),
            it.reason
        ),
        What::RecallAnswered(it) => format!(
            "{} answered for {} and {}: {}",
            it.recall,
            count(it.assets.len(), "part", "parts"),
            count(it.cases.len(), "case", "cases"),
            it.outcome
        ),
        What::RecallClosed(it) => format!("{} closed: {}", it.recall, it.outcome),
        What::LookBackOpened(it) => {
            format!("Look-back {} opened from {}: {}", it.look_back, it.origin.words(), it.reason)
        }
        What::LookBackClosed(it) => format!("Look-back {} closed: {}", it.look_back, it.outcome),
        What::FlagCleared(it) => format!("Flag of {} cleared: {}", it.machine, it.reason.0),
        What::Countersigned(it) => format!("Load {} countersigned.", it.load),
        What::AlertSet(it) => {
            let tells: Vec<String> = it.tells.iter().map(|role| role.words().to_string()).collect();
            let rule = it.rule.as_ref().map(ToString::to_string).unwrap_or_default();
            format!("Rule of alerts {rule} set, about {}: tells {}.", it.about.name(), listed(&tells))
        }
        What::SheetsPrinted(it) => {
            let all: Vec<String> = it.sheets.iter().map(|it| it.sheet.to_string()).collect();
            let numbers = match (all.first(), all.last()) {
                (Some(first), Some(last)) if first != last => format!("{first} to {last}"),
                _ => listed(&all),
            };
            format!("{} for days on paper numbered: {numbers}.", count(all.len(), "sheet", "sheets"))
        }
        What::SheetVoided(it) => format!("Sheet {} is void: {}", it.sheet, it.reason),
        What::SheetFinished(it) => format!("All of sheet {} is entered.", it.sheet),
        What::WrongThingReported(it) => {
            let names = |parts: &[crate::domain::event::Noted]| {
                super::shared::some_of(&parts.iter().map(|it| it.asset.to_string()).collect::<Vec<_>>(), 4)
            };
            let meant = match it.meant.is_empty() {
                true => "nobody knows which was meant".into(),
                false => format!("{} was meant", names(&it.meant)),
            };
            format!("{}: entry {} names {} by mistake; {meant}.", it.report, it.entry, names(&it.named))
        }
        What::WrongThingSettled(it) => settled(it),
        What::AlertDropped(it) => format!("Rule of alerts {} dropped.", it.rule),
        _ => return signed(&event.what),
    })
}

fn signed(what: &What) -> Option<String> {
    match what {
        What::TakenOver(it) => {
            let from = it.handed_over_by.as_deref().map(super::told::somebody);
            let from = from.map(|from| format!(" from {from}")).unwrap_or_default();
            Some(format!("Took over {}{from}, having read up to entry {}.", it.area.words(), it.entry))
        }
        What::ExceptionsReviewed(it) => {
            let (month, role) = (&it.month.0, it.role.words());
            Some(format!("Exceptions of {month} reviewed up to entry {} by the {role}.", it.entry))
        }
        _ => None,
    }
}

fn settled(it: &WrongThingSettled) -> String {
    let how = match (it.confirmed, &it.corrected, &it.told) {
        (false, ..) => "the entry stands as it is".to_string(),
        (true, Some(corrected), _) => format!("entry {} is taken back", corrected.entry),
        (true, None, Some(_)) => "the act is told late of the thing meant".into(),
        (true, None, None) => "both things are counted from now on".into(),
    };
    let stands = it.stands.iter().filter(|it| !it.is_nothing()).map(super::paper_rows::rested_words);
    let stands: Vec<String> =
        std::iter::once(format!("{}: {how}: {}", it.report, it.reason)).chain(stands).collect();
    stands.join(" Not undone: ")
}

/// What such an entry says of its part: the turn, where it names one, and the act in short.
pub fn act(event: &Event) -> Option<(Option<u32>, String)> {
    Some(match &event.what {
        What::FindingReported(it) => (Some(it.turn), format!("defect report, {}", it.severity.words())),
        What::FindingWithdrawn(_) => (None, "defect report withdrawn".into()),
        What::PhotoAdded(_) => (None, "picture of a defect".into()),
        What::SentToRepair(it) => (Some(it.turn), "sent to repair".into()),
        What::BackFromRepair(_) => (None, "back from repair".into()),
        _ => return None,
    })
}

/// A recall, alone or with the growth that began it.
pub fn recalled(it: &Recalled) -> String {
    format!(
        "{} of {}: {}, {} put on hold: {}.",
        it.recall,
        it.machine,
        count(it.loads.len(), "load", "loads"),
        count(it.assets.len(), "part", "parts"),
        it.reason
    )
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
            "T-0142 sent to repair, NOT decontaminated: image dim",
            "Look-back look-back-0001 opened from load S-311: growth in the indicator",
        ] {
            assert!(told.iter().any(|what| what == sentence), "{sentence} in {told:#?}");
        }
        let of = |kind: &str, asset: &str| {
            let entry = entries.iter().find(|entry| entry.kind == kind).unwrap();
            told::act_of(entry, asset)
        };
        assert_eq!(of("used", "CAP-03").1, "used, case K-7");
        assert_eq!(of("sent_to_repair", "T-0142"), (Some(2), "sent to repair".into()));
    }
}
