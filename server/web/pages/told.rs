//! An entry of the ledger in a sentence, and what it says about one part.

use serde_json::Value;

use super::rules;
use super::shared::{count, listed, some_of};
use crate::domain::event::{Entry, Event, Moved, Noted, SEALED, What};
use crate::domain::id::Id;
use crate::domain::odd::Way;
use crate::domain::step::Outcome;
use crate::domain::verdict::Evidence;

/// An entry as a person reads it.
pub struct Told {
    pub what: String,
    /// What stood beside it: deviations, overrides, lateness, notes, what was left.
    pub beside: Vec<String>,
}

/// Reads an entry. One that this release cannot read keeps its kind, so that nothing of the ledger is hidden.
pub fn entry(entry: &Entry) -> Told {
    match Event::read(&entry.kind, entry.version, entry.event.clone()) {
        Ok(event) => Told { what: opened(sentence(&event)), beside: beside(&event) },
        Err(_) => Told { what: entry.kind.replace('_', " "), beside: Vec::new() },
    }
}

fn names<'a>(ids: impl Iterator<Item = &'a Id>) -> String {
    let all: Vec<String> = ids.map(Id::to_string).collect();
    some_of(&all, 4)
}

/// What was scanned, as it was scanned: sets first, else the parts.
fn scanned<'a>(event: &Event, parts: impl Iterator<Item = &'a Id>) -> String {
    let all: Vec<&Id> = parts.collect();
    if event.beside.sets.is_empty() {
        return names(all.into_iter());
    }
    let sets: Vec<String> = event.beside.sets.iter().map(|set| format!("set {set}")).collect();
    format!("{} ({})", some_of(&sets, 4), count(all.len(), "part", "parts"))
}

fn touched<'a>(moved: &'a [Moved], noted: &'a [Noted]) -> impl Iterator<Item = &'a Id> {
    moved.iter().map(|part| &part.asset).chain(noted.iter().map(|part| &part.asset))
}

fn name_of(value: impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(Value::String(text)) => text.replace('_', " "),
        _ => String::new(),
    }
}

/// A sentence begins with a capital, except where a name begins it: names are as they were given.
fn opened(sentence: String) -> String {
    match sentence.strip_prefix("set ") {
        Some(rest) => format!("Set {rest}"),
        None => sentence,
    }
}

/// What was doubtful in it, and was saved.
fn all_the_same(event: &Event) -> String {
    let doubts = event.beside.doubts.iter();
    let doubts: Vec<String> =
        doubts.map(|it| format!("{}: {}", super::words::field(&it.pointer), it.detail)).collect();
    match doubts.is_empty() {
        true => String::new(),
        false => format!(" Saved all the same: {}.", doubts.join("; ")),
    }
}

fn sentence(event: &Event) -> String {
    match &event.what {
        What::SiteFounded(it) => format!("Site founded: {} ({}).", it.name.0, it.timezone),
        What::PolicySet(it) => {
            let set = serde_json::to_value(it).unwrap_or_default();
            let each: Vec<String> = set
                .as_object()
                .into_iter()
                .flatten()
                .map(|(name, value)| {
                    format!("{} {}", name.replace('_', " "), value.to_string().trim_matches('"'))
                })
                .collect();
            format!("Policy set: {}.", each.join("; "))
        }
        What::ReserveSet(it) => format!("Reserve of {} set to {}.", it.count_sheet, it.minimum),
        What::RouteDefined(it) => format!("Route {} defined, version {}.", it.route, it.version),
        What::ModelDefined(it) => {
            format!("Model {} defined: {}.{}", it.model, it.name.0, all_the_same(event))
        }
        What::CountSheetDefined(it) => format!("Count sheet {} defined: {}.", it.count_sheet, it.name.0),
        What::MachineDefined(it) => format!("Machine {} defined.", it.machine),
        What::MachineOut(it) => format!("{} taken out of service: {}", it.machine, it.reason.0),
        What::MachineBack(it) => format!("{} back in service after: {}.", it.machine, name_of(it.after)),
        What::MachineTested(it) => {
            let test = it.test.test.as_str().replace('_', " ");
            let good = if it.good { "good" } else { "not good" };
            let why = it.test.repeat_because.as_ref().map(|why| format!(" (repeat: {})", why.0));
            let recall = it.recall.as_ref().map(|it| format!(" {}", super::told_beside::recalled(it)));
            let (why, recall) = (why.unwrap_or_default(), recall.unwrap_or_default());
            format!("{}: {test} test {good}{why}.{recall}", it.test.machine)
        }
        What::RecordFormDefined(it) => match it.form {
            Some(_) => format!("Record form of {} defined.", it.machine),
            None => format!("Record form of {} taken away; only the plain form is read.", it.machine),
        },
        What::AssetAdded(it) => {
            let holds: Vec<String> = it.held.iter().map(Id::to_string).collect();
            let held = match holds.is_empty() {
                true => String::new(),
                false => format!(" It comes under {}, whose notice names it, and is held.", listed(&holds)),
            };
            format!("{} added, model {}.{held}", it.asset, it.model)
        }
        What::SetBuilt(it) => format!("Set {} built to {}: {}.", it.set, it.count_sheet, it.name.0),
        _ => of_parts(event),
    }
}

fn of_parts(event: &Event) -> String {
    match &event.what {
        What::PutAway(it) => {
            format!(
                "{} put away: {}.",
                scanned(event, it.parts.iter().map(|part| &part.asset)),
                it.location.0
            )
        }
        What::MarkGiven(it) => format!("{} given the mark {}.", it.asset, it.mark.0),
        What::AssetMeasured(it) => {
            let how = it.how.as_ref().map(|how| format!(" ({how})")).unwrap_or_default();
            let sizes = super::told_fit::sizes(&it.dimensions);
            format!("{} measured{how}: {sizes}.{}", it.asset, all_the_same(event))
        }
        What::FitConfirmed(it) => super::told_fit::tried(it),
        What::Retired(it) => format!("{} retired ({}).", it.asset, it.cause.name().replace('_', " ")),
        What::PutInSet(it) => format!("{} put in set {}, line {}.", it.asset, it.seat.set, it.seat.line),
        What::TakenFromSet(it) => {
            format!("{} taken out of set {}, line {}.", it.asset, it.seat.set, it.seat.line)
        }
        What::Replaced(it) => format!(
            "{} replaced by {} in set {}, line {} ({}).",
            it.old,
            it.new,
            it.seat.set,
            it.seat.line,
            it.cause.name().replace('_', " ")
        ),
        What::HoldPlaced(it) => {
            format!("{} on {} hold {}: {}", names(it.assets.iter()), it.kind.name(), it.hold, it.reason)
        }
        What::Dedicated(it) => format!("{}: {}", names(it.hold.assets.iter()), it.hold.reason),
        What::HoldLifted(it) => {
            format!("Hold {} lifted from {}: {}", it.hold, names(it.assets.iter()), it.reason)
        }
        What::StepRecorded(it) => {
            let packaging = it.packaging.as_ref().map(|it| format!(", in {}", it.0)).unwrap_or_default();
            let solution = it.solution.as_ref().map(|it| format!(": {}", it.told())).unwrap_or_default();
            let all = scanned(event, touched(&it.parts, &it.noted));
            format!("{all} {}{packaging}{solution}.{}", it.step.words(), super::told_beside::delayed(it))
        }
        What::Inspected(it) => {
            let failed = it.parts.iter().filter(|part| part.outcome != Outcome::Passed);
            let failed: Vec<String> =
                failed.map(|part| format!("{} {}", part.asset, outcome(part.outcome))).collect();
            let all = scanned(event, it.parts.iter().map(|part| &part.asset));
            let but = if failed.is_empty() { "passed".to_string() } else { some_of(&failed, 4) };
            format!("{all} inspected: {but}.")
        }
        What::PackBroken(it) => {
            format!("{}: pack broken ({}).", scanned(event, touched(&it.parts, &it.noted)), name_of(it.why))
        }
        _ => of_load(event),
    }
}

fn of_load(event: &Event) -> String {
    match &event.what {
        What::LoadStarted(it) => format!(
            "Load {} started in {}, programme {}, with {}.{}",
            it.load,
            it.machine,
            it.programme.programme,
            scanned(event, it.contents.iter().map(|part| &part.asset)),
            super::immediate_use::started(it)
        ),
        What::LoadJudged(it) => {
            let passed = if it.judged.passed { "passed" } else { "failed" };
            match it.judged.by {
                Evidence::Record { .. } => format!("Record of load {} {passed}.", it.load),
                Evidence::Readings { .. } => format!(
                    "Readings of load {} {passed}; read from the printout by two people, not recomputed.",
                    it.load
                ),
            }
        }
        What::IndicatorRecorded(it) => {
            let recall =
                it.recall.as_ref().map(|recall| format!(" {}", super::told_beside::recalled(recall)));
            let void = if it.void { " No growth: its biological indicator is void." } else { "" };
            format!(
                "Load {}: {} indicator, {}.{void}{}",
                it.load,
                name_of(it.indicator),
                name_of(it.result),
                recall.unwrap_or_default()
            )
        }
        What::LoadReleased(it) => {
            let how = match (&it.alone, &it.early) {
                (_, Some(early)) => format!(" EARLY, its biological indicator not read: {}", early.reason),
                (Some(_), None) => " by one person alone".to_string(),
                (None, None) => String::new(),
            };
            let dryness = match it.dry {
                Some(false) => ", not dry",
                _ if it.dryness_not_stated => ", dryness not stated",
                _ => "",
            };
            let parts = count(it.parts.len(), "part", "parts");
            format!("Load {} released{how}{dryness}, {parts}.{}", it.load, super::immediate_use::released(it))
        }
        What::LoadRejected(it) => format!("Load {} rejected: {}", it.load, it.reason),
        other => super::told_case::sentence(event)
            .or_else(|| super::told_beside::sentence(event))
            .or_else(|| super::told_visit::sentence(event))
            .unwrap_or_else(|| other.kind().replace('_', " ")),
    }
}

/// An inspection's outcome in words.
pub fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Passed => "passed",
        Outcome::Reclean => "not passed: clean it again",
        Outcome::Repair => "not passed: to repair",
        Outcome::Retire => "not passed: to be retired",
        Outcome::Hold => "not passed: on hold",
    }
}

/// Somebody who is named in an entry: by code; the name of one without an account stays sealed.
pub fn somebody(named: &str) -> String {
    match named.starts_with(SEALED) {
        true => "somebody without an account here, whose name is kept sealed".into(),
        false => named.to_string(),
    }
}

fn beside(event: &Event) -> Vec<String> {
    let beside = &event.beside;
    let mut all = Vec::new();
    let codes = |codes: &[crate::domain::refusal::Code]| {
        codes.iter().map(|code| code.title().to_lowercase()).collect::<Vec<_>>().join("; ")
    };
    let broken = beside.deviation.iter();
    all.extend(broken.map(|code| format!("Deviation: {}", rules::told(Way::Deviation, code.name()))));
    if let Some(over) = &beside.overridden {
        let second = over.second_person.as_deref().map(|who| format!("; beside {}", somebody(who)));
        let reason = over.reason.trim_end_matches('.');
        all.push(format!("Rule set aside ({}): {reason}{}.", codes(&over.codes), second.unwrap_or_default()));
    }
    if let Some(late) = &beside.late {
        let sheet = late.sheet.as_ref().map(|sheet| format!(", sheet {}", sheet.0)).unwrap_or_default();
        let line = late.line.map(|line| format!(" line {line}")).unwrap_or_default();
        let by = late.doer().map(|by| format!("; done by {by}")).unwrap_or_default();
        all.push(format!("Entered late ({}{sheet}{line}{by}).", name_of(late.cause)));
    }
    if !beside.also_opened.is_empty() {
        all.push(format!("Pack opened with it: {}.", names(beside.also_opened.iter())));
    }
    match beside.left.as_slice() {
        [] => {}
        [one] => all.push(format!("Left as it was: {}", one.detail)),
        [first, ..] => all.push(format!(
            "Left as they were: {}. The first: {}",
            names(beside.left.iter().map(|left| &left.asset)),
            first.detail
        )),
    }
    if let Some(note) = &beside.note {
        all.push(format!("Note: {note}"));
    }
    all
}

/// What an entry says of one part: the turn, where it names one, and the act in short.
pub fn act_of(entry: &Entry, asset: &str) -> (Option<u32>, String) {
    let Ok(event) = Event::read(&entry.kind, entry.version, entry.event.clone()) else {
        return (None, entry.kind.replace('_', " "));
    };
    let of = |parts: &[Moved]| parts.iter().find(|part| part.asset.as_str() == asset).map(|part| part.turn);
    let noted =
        |parts: &[Noted]| parts.iter().find(|part| part.asset.as_str() == asset).map(|part| part.turn);
    match &event.what {
        What::AssetAdded(_) => (Some(1), "added".into()),
        What::StepRecorded(it) => (of(&it.parts).or_else(|| noted(&it.noted)), it.step.words().into()),
        What::Inspected(it) => {
            let part = it.parts.iter().find(|part| part.asset.as_str() == asset);
            let how = part.map_or("inspected", |part| match part.outcome {
                Outcome::Passed => "inspected, passed",
                other => outcome(other),
            });
            (part.map(|part| part.turn), how.into())
        }
        What::PackBroken(it) => (of(&it.parts).or_else(|| noted(&it.noted)), "pack broken".into()),
        What::LoadStarted(it) => {
            let part = it.contents.iter().find(|part| part.asset.as_str() == asset);
            (part.map(|part| part.turn), format!("into load {}", it.load))
        }
        What::LoadReleased(it) => (of(&it.parts), format!("released, load {}", it.load)),
        What::LoadRejected(it) => (of(&it.parts), format!("rejected, load {}", it.load)),
        What::HoldPlaced(it) => (None, format!("on {} hold", it.kind.name())),
        What::HoldLifted(it) => (None, format!("hold {} lifted", it.hold)),
        What::Dedicated(it) => {
            let case = it.hold.dedicated_to.as_ref().map(ToString::to_string).unwrap_or_default();
            (None, format!("kept for the patient of case {case} alone"))
        }
        What::PutAway(it) => (None, format!("put away, {}", it.location.0)),
        What::Retired(_) => (None, "retired".into()),
        What::PutInSet(it) => (None, format!("into set {}", it.seat.set)),
        What::TakenFromSet(it) => (None, format!("out of set {}", it.seat.set)),
        What::Replaced(it) if it.old.as_str() == asset => (None, format!("replaced by {}", it.new)),
        What::Replaced(it) => (None, format!("into set {} for {}", it.seat.set, it.old)),
        other => super::told_case::act(&event, asset)
            .or_else(|| super::told_beside::act(&event))
            .or_else(|| super::told_visit::act(&event, asset))
            .unwrap_or_else(|| (None, other.kind().replace('_', " "))),
    }
}
