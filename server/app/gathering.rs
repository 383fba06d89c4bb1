//! What a batch has to look up before it can be decided: keys that are known, codes of people, turns, and entries that
//! corrections name.

use std::collections::{BTreeMap, BTreeSet};

use super::clerk::Line;
use crate::domain::command::{
    Act, Asset, Case, Command, Correct, Finding, Load, Loan, Missing, Model, Step, Stranger, WrongThing,
};
use crate::domain::deciding::Secret;
use crate::domain::id::Id;
use crate::domain::scan;
use crate::domain::state::{Named, State};
use crate::domain::text::{Scan, Sealed};
use crate::domain::time::Time;
use crate::formats::attachment::Kind;
use crate::storage::ledger::{self, StoredEntry};
use crate::storage::{Conn, StorageError, account, attachment};

pub(super) type Turns = BTreeMap<Id, Vec<(u32, Time)>>;

pub(super) struct Gathered {
    pub known: BTreeMap<String, StoredEntry>,
    /// Keys of this batch, with the place of their entry in it.
    pub new: BTreeMap<String, usize>,
    pub people: BTreeSet<String>,
    /// What the people of the site are called, by their codes.
    pub names: BTreeMap<String, String>,
    /// Of the parts that the present command names, where it is told late.
    pub turns: Turns,
    /// Entries that corrections name.
    pub corrected: BTreeMap<u64, StoredEntry>,
    /// Attachments that commands of the batch name, as far as they are kept.
    pub attachments: BTreeMap<String, Kind>,
    /// Cases for whose patients something is kept, each with that of the present command where both have the same.
    pub same_patient: SamePatient,
}

pub(super) async fn gather_for(
    conn: &mut Conn,
    state: &State,
    lines: &[Line],
) -> Result<Gathered, StorageError> {
    let site = state.site.as_str();
    let keys: BTreeSet<String> =
        lines.iter().filter_map(|line| line.command.around.key.as_ref()).map(|key| key.0.clone()).collect();
    let keys: Vec<String> = keys.into_iter().collect();
    let known = ledger::of_keys(conn, site, &keys).await?;
    let known = known.into_iter().filter_map(|entry| entry.key.clone().map(|key| (key, entry))).collect();
    let names = match lines.iter().any(|line| names_somebody(&line.command)) {
        true => account::codes(conn, site).await?,
        false => BTreeMap::new(),
    };
    let people = names.keys().cloned().collect();
    let mut corrected = BTreeMap::new();
    for line in lines {
        if let Some(seq) = looks_at(state, &line.command) {
            let found = ledger::after(conn, site, seq.saturating_sub(1), 1).await?;
            corrected.extend(found.into_iter().filter(|e| e.seq == seq).map(|e| (e.seq, e)));
        }
    }
    let mut attachments = BTreeMap::new();
    for photo in lines.iter().filter_map(|line| photo(&line.command)) {
        let kind = attachment::kept_as(conn, site, photo).await?;
        let kind = kind.and_then(|media_type| Kind::of_media_type(&media_type));
        attachments.extend(kind.map(|kind| (photo.to_string(), kind)));
    }
    Ok(Gathered {
        known,
        new: BTreeMap::new(),
        people,
        names,
        turns: BTreeMap::new(),
        corrected,
        attachments,
        same_patient: SamePatient::new(),
    })
}

/// The entry that a command is about: one that it corrects, or of which it says that the wrong thing was scanned.
pub(super) fn looks_at(state: &State, command: &Command) -> Option<u64> {
    match &command.act {
        Act::Correct(Correct::Entry(it)) => Some(it.entry),
        Act::WrongThing(WrongThing::Report(it)) => Some(it.entry),
        Act::WrongThing(WrongThing::Settle(it)) => {
            state.wrong_things.get(&it.report).map(|it| it.reported.entry)
        }
        _ => None,
    }
}

/// A case for whose patient something is kept, and one of the same patient to which something goes.
pub(super) type SamePatient = BTreeSet<(Id, Id)>;

/// The cases for whose patients something is kept, each with the one to which the command gives something, where both have
/// the same patient: their references are compared here, and nothing else of them is told. A reference that the batch itself
/// named is among `new`, and not in its table yet.
pub(super) async fn same_patients(
    conn: &mut Conn,
    state: &State,
    command: &Command,
    new: &[Secret],
) -> Result<SamePatient, StorageError> {
    let mut pairs = SamePatient::new();
    let sealed = |case: &Id| state.cases.get(case).and_then(|case| case.patient.clone());
    let Some((case, own)) = goes_to(command).and_then(|case| Some((case, sealed(case)?))) else {
        return Ok(pairs);
    };
    let kept: BTreeSet<&Id> = state.dedicated_cases().collect();
    let mut others = Vec::new();
    for kept in kept {
        let Some(of_kept) = sealed(kept) else { continue };
        others.push((kept.clone(), words_of(conn, state, &of_kept, new).await?));
    }
    if others.is_empty() {
        return Ok(pairs);
    }
    let own = words_of(conn, state, &own, new).await?;
    let same = others.into_iter().filter(|(_, words)| words.is_some() && *words == own);
    pairs.extend(same.map(|(kept, _)| (kept, case.clone())));
    Ok(pairs)
}

async fn words_of(
    conn: &mut Conn,
    state: &State,
    sealed: &Sealed,
    new: &[Secret],
) -> Result<Option<String>, StorageError> {
    match new.iter().find(|secret| secret.sealed == *sealed) {
        Some(secret) => Ok(Some(secret.text.clone())),
        None => ledger::sealed_by(conn, state.site.as_str(), sealed).await,
    }
}

/// The case to which a command gives parts or a set.
fn goes_to(command: &Command) -> Option<&Id> {
    match &command.act {
        Act::Case(Case::Issue(it)) => it.case.as_ref(),
        Act::Case(Case::Promise(it)) => Some(&it.case),
        Act::Load(Load::Start(it)) => it.immediate_use.as_ref().map(|asked| &asked.case),
        _ => None,
    }
}

/// The picture that a command names: of the printout of readings, of a model, of a defect.
fn photo(command: &Command) -> Option<&str> {
    match &command.act {
        Act::Load(Load::Judge(judge)) => judge.readings.as_ref()?.photo.as_deref(),
        Act::Model(Model::DefineModel(model)) => model.photo(),
        Act::Finding(Finding::AddPhoto(it)) => Some(it.photo.as_str()),
        _ => None,
    }
}

/// When each turn began of the parts that a late command names: as written, and as the commands before it in the same
/// batch left it.
pub(super) async fn turns_for(
    conn: &mut Conn,
    state: &State,
    command: &Command,
) -> Result<Turns, StorageError> {
    let mut turns = Turns::new();
    for asset in named_parts(state, command) {
        let began = ledger::turns_of(conn, state.site.as_str(), asset.as_str()).await?;
        let began = began.into_iter().map(|(turn, at)| (turn, Time(at)));
        let since = state.changes.turns.values().filter(|it| it.asset == asset).map(|it| (it.turn, it.at));
        let began = began.chain(since).collect();
        turns.insert(asset, began);
    }
    Ok(turns)
}

fn names_somebody(command: &Command) -> bool {
    let around = &command.around;
    around.late.as_ref().is_some_and(|late| late.done_by.is_some())
        || around.overriding.as_ref().is_some_and(|given| given.second_person.is_some())
        || matches!(&command.act, Act::Load(Load::Judge(judge)) if judge.readings.is_some())
        || matches!(&command.act, Act::Missing(Missing::Close(_)))
        || matches!(&command.act, Act::Loan(Loan::Arrive(arrive)) if arrive.risk.is_some())
}

/// The parts that a late command may name: their turns are looked up.
fn named_parts(state: &State, command: &Command) -> Vec<Id> {
    let scans: &Scan = match &command.act {
        Act::Step(Step::RecordStep(it)) => &it.scan,
        Act::Step(Step::Inspect(it)) => &it.scan,
        Act::Step(Step::PackBroken(it)) => &it.scan,
        Act::Asset(Asset::PutAway(it)) => &it.scan,
        Act::Load(Load::Start(it)) => &it.scan,
        Act::Stranger(Stranger::Doubt(it)) => &it.scan,
        Act::Correct(Correct::Entry(it)) => {
            return it.instead.iter().flat_map(|scan| scanned(state, scan)).collect();
        }
        Act::WrongThing(WrongThing::Report(it)) => {
            return it.meant.iter().flat_map(|scan| scanned(state, scan)).collect();
        }
        Act::WrongThing(WrongThing::Settle(it)) => {
            let told = it.instead.iter().flat_map(|scan| scanned(state, scan));
            let meant = state.wrong_things.get(&it.report).into_iter().flat_map(|it| &it.reported.meant);
            return told.chain(meant.map(|part| part.asset.clone())).collect();
        }
        Act::Case(Case::Issue(it)) => &it.scan,
        Act::Case(Case::Open(it)) => &it.scan,
        Act::Case(Case::Use(it)) => &it.scan,
        Act::Case(Case::Check(it)) => {
            let told = it.told();
            let parts = told.iter().filter_map(|line| line.asset.as_ref());
            return parts.flat_map(|asset| named_part(state, asset.as_str())).collect();
        }
        Act::Case(Case::Count(it)) => {
            let named = it.missing.iter().flat_map(|asset| named_part(state, asset.as_str()));
            let case = it.case.as_ref().and_then(|case| state.cases.get(case));
            let there = case.into_iter().flat_map(|case| case.parts.keys().cloned());
            let set = it.set.as_ref().and_then(|set| state.sets.get(set));
            return named
                .chain(there)
                .chain(set.into_iter().flat_map(|set| set.seats.values().cloned()))
                .collect();
        }
        Act::Missing(Missing::Report(it)) => return named_part(state, it.asset.as_str()),
        Act::Finding(Finding::Report(it)) => return named_part(state, it.scan.as_str()),
        _ => return Vec::new(),
    };
    scanned(state, scans)
}

fn scanned(state: &State, scans: &Scan) -> Vec<Id> {
    let mut all = Vec::new();
    for text in &scans.0 {
        match scan::resolve(state, text) {
            Ok(Named::Asset(asset)) => all.push(asset),
            Ok(Named::Set(set)) => {
                let members = state.sets.get(&set).map(|set| set.seats.values().cloned().collect::<Vec<_>>());
                all.extend(members.unwrap_or_default());
            }
            Err(_) => {}
        }
    }
    all
}

fn named_part(state: &State, text: &str) -> Vec<Id> {
    match scan::resolve(state, text) {
        Ok(Named::Asset(asset)) => vec![asset],
        _ => Vec::new(),
    }
}
