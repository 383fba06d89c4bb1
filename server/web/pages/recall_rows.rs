//! The rows of a recall, on its page and on its sheet.

use std::collections::{BTreeMap, BTreeSet};

use super::say::{Say, of_asset, of_load_now};
use super::shared::{count, listed, segment, when};
use crate::domain::affected::{Affected, AffectedPart};
use crate::domain::exposure::Exposure;
use crate::domain::id::Id;
use crate::domain::narrowing::doubt;
use crate::domain::recall::{Answer, Recall};
use crate::domain::state::{Asset, State};
use crate::domain::time::Time;

pub struct PartRow {
    pub href: String,
    pub asset: String,
    pub model: String,
    pub set: String,
    pub location: String,
    pub fate: &'static str,
    pub say: Say,
    pub held: bool,
    pub answer: String,
}

pub struct CaseRow {
    pub href: String,
    pub case: String,
    pub start: String,
    pub room: String,
    pub patient: bool,
    pub used: String,
    pub opened: String,
    pub answer: String,
    pub answered: bool,
}

pub struct LoadRow {
    pub href: String,
    pub load: String,
    pub cycle: String,
    pub started: String,
    pub parts: usize,
    pub say: Say,
    /// Why it is better not left out, where something is known against it.
    pub doubt: &'static str,
}

/// The parts of one set that have no answer, or those that lie in no set.
pub struct Group {
    /// Empty where they lie in no set.
    pub set: String,
    pub href: String,
    pub name: String,
    pub parts: Vec<PartRow>,
    /// How they stand, told together.
    pub fates: String,
    /// Where the set is, told once.
    pub places: String,
}

impl Group {
    /// The names of its parts, for paper.
    pub fn names(&self) -> String {
        self.parts.iter().map(|part| part.asset.as_str()).collect::<Vec<_>>().join(", ")
    }

    pub fn number(&self) -> String {
        count(self.parts.len(), "part", "parts")
    }
}

/// Parts that came to the same, told together: what became of them, their answer and how they stand, and their names.
pub fn told_together(rows: &[PartRow]) -> Vec<(String, String)> {
    let mut all: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for row in rows {
        let answer = if row.answer.is_empty() { String::new() } else { format!("; {}", row.answer) };
        let told = format!("{}{answer}; now {}", row.fate, row.say.words);
        all.entry(told).or_default().push(&row.asset);
    }
    all.into_iter().map(|(told, names)| (told, names.join(", "))).collect()
}

/// The rows by set, those in no set last.
pub fn grouped(state: &State, rows: Vec<PartRow>) -> Vec<Group> {
    let mut sets: BTreeMap<(bool, String), Vec<PartRow>> = BTreeMap::new();
    for row in rows {
        sets.entry((row.set.is_empty(), row.set.clone())).or_default().push(row);
    }
    let group = |((_, set), parts): ((bool, String), Vec<PartRow>)| {
        let mut fates: BTreeMap<&'static str, usize> = BTreeMap::new();
        parts.iter().for_each(|part| *fates.entry(part.fate).or_default() += 1);
        let all = parts.len();
        let told =
            fates.into_iter().map(|(fate, n)| if n == all { fate.into() } else { format!("{n} {fate}") });
        let places: BTreeSet<String> = parts.iter().map(|part| part.location.clone()).collect();
        let places: Vec<String> = places.into_iter().filter(|place| !place.is_empty()).collect();
        Group {
            href: format!("/sets/{}", segment(&set)),
            name: state.sets.get(set.as_str()).map(|it| it.name.0.clone()).unwrap_or_default(),
            fates: told.collect::<Vec<String>>().join("; "),
            places: listed(&places),
            set,
            parts,
        }
    };
    sets.into_iter().map(group).collect()
}

/// So many parts of each set, and one by its own name: "SET-04 (7 parts), T-0142".
pub fn by_set(state: &State, parts: &BTreeSet<Id>) -> String {
    let mut sets: BTreeMap<String, Vec<&Id>> = BTreeMap::new();
    for asset in parts.iter().filter_map(|id| state.assets.get(id)) {
        let set = asset.seat.as_ref().map(|seat| seat.set.to_string());
        sets.entry(set.unwrap_or_else(|| asset.asset.to_string())).or_default().push(&asset.asset);
    }
    let told = sets.into_iter().map(|(set, parts)| match parts.as_slice() {
        [one] => one.to_string(),
        many => format!("{set} ({} parts)", many.len()),
    });
    told.collect::<Vec<String>>().join(", ")
}

fn answer(state: &State, given: Option<&Answer>, now: Time) -> Option<String> {
    let given = given?;
    Some(format!("{}: {}, {}", given.by, given.outcome, when(state, given.at, now)))
}

/// Those without an answer first, then by name.
pub fn parts(state: &State, recall: &Recall, found: &Affected, now: Time) -> (Vec<PartRow>, Vec<PartRow>) {
    let known = found.parts.iter().filter_map(|(id, part)| Some((&**state.assets.get(id)?, part)));
    let row = |(asset, part): (&Asset, &AffectedPart)| PartRow {
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        asset: asset.asset.to_string(),
        model: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
        set: asset.seat.as_ref().map(|seat| seat.set.to_string()).unwrap_or_default(),
        location: asset.location.as_ref().map(|location| location.0.clone()).unwrap_or_default(),
        fate: part.fate.words(),
        say: of_asset(state, asset, now),
        held: part.held,
        answer: answer(state, recall.parts.get(&asset.asset), now).unwrap_or_default(),
    };
    let (open, answered): (Vec<_>, Vec<_>) = known.partition(|(_, part)| !part.answered());
    (open.into_iter().map(row).collect(), answered.into_iter().map(row).collect())
}

pub fn cases(state: &State, recall: &Recall, found: &Affected, now: Time) -> Vec<CaseRow> {
    let mut known: Vec<_> =
        found.cases.iter().filter_map(|(id, at)| Some((&**state.cases.get(id)?, at))).collect();
    known.sort_by_key(|(case, _)| (recall.cases.contains_key(&case.case), case.start, case.case.clone()));
    known
        .into_iter()
        .map(|(case, at)| {
            let with = |exposure: Exposure| {
                let these = at.iter().filter(|at| at.exposure == exposure).map(|at| at.asset.to_string());
                these.collect::<Vec<_>>().join(", ")
            };
            CaseRow {
                href: format!("/cases/{}", segment(case.case.as_str())),
                case: case.case.to_string(),
                start: when(state, case.start, now),
                room: case.room.as_ref().map(|room| room.0.clone()).unwrap_or_default(),
                patient: case.patient.is_some(),
                used: with(Exposure::Used),
                opened: with(Exposure::Opened),
                answer: answer(state, recall.cases.get(&case.case), now).unwrap_or_default(),
                answered: recall.cases.contains_key(&case.case),
            }
        })
        .collect()
}

pub fn loads(state: &State, recall: &Recall, now: Time) -> Vec<LoadRow> {
    let known = recall.loads.iter().filter_map(|id| state.loads.get(id));
    let row = |load: &std::sync::Arc<crate::domain::load::Load>| LoadRow {
        href: format!("/loads/{}", segment(load.load.as_str())),
        load: load.load.to_string(),
        cycle: load.cycle_no.as_ref().map(|cycle| cycle.0.clone()).unwrap_or_default(),
        started: when(state, load.started_at, now),
        parts: load.contents.len(),
        say: of_load_now(state, load),
        doubt: doubt(load).map(|doubt| doubt.words()).unwrap_or_default(),
    };
    known.map(row).collect()
}

/// The columns of the sheet.
pub const COLUMNS: [&str; 13] = [
    "row",
    "recall",
    "load",
    "machine",
    "cycle_no",
    "started_at",
    "asset",
    "turns",
    "now",
    "case",
    "exposure",
    "answer",
    "answered_by",
];

/// The whole recall as rows: each load, each part, each exposure at a case, with the answers.
pub fn sheet(state: &State, recall: &Recall, found: &Affected) -> Vec<[String; 13]> {
    let name = recall.recall.to_string();
    let mut rows = Vec::new();
    let told = |given: Option<&Answer>| {
        given.map_or((String::new(), String::new()), |it| (it.outcome.clone(), it.by.clone()))
    };
    for load in recall.loads.iter().filter_map(|id| state.loads.get(id)) {
        let mut row: [String; 13] = Default::default();
        let cycle = load.cycle_no.as_ref().map(|cycle| cycle.0.clone()).unwrap_or_default();
        let first = ["load".into(), name.clone(), load.load.to_string(), load.machine.to_string(), cycle];
        row.iter_mut().zip(first).for_each(|(cell, text)| *cell = text);
        row[5] = load.started_at.to_string();
        rows.push(row);
    }
    for (id, part) in &found.parts {
        let mut row: [String; 13] = Default::default();
        (row[0], row[1], row[6]) = ("part".into(), name.clone(), id.to_string());
        row[7] = part.turns.iter().map(u32::to_string).collect::<Vec<_>>().join(" ");
        row[8] = part.fate.words().into();
        (row[11], row[12]) = told(recall.parts.get(id));
        rows.push(row);
    }
    for (case, at) in &found.cases {
        for at in at {
            let mut row: [String; 13] = Default::default();
            (row[0], row[1], row[6]) = ("exposure".into(), name.clone(), at.asset.to_string());
            (row[7], row[9], row[10]) = (at.turn.to_string(), case.to_string(), at.exposure.name().into());
            (row[11], row[12]) = told(recall.cases.get(case));
            rows.push(row);
        }
    }
    rows
}
