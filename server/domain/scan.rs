//! What a scan means: a part, a part by its mark, or a set that stands for its members.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::asset::missing;
use super::deciding::Deciding;
use super::hold::HoldKind;
use super::id::Id;
use super::mark::{self, Reads};
use super::refusal::{Code, Problem};
use super::scan_miss;
use super::state::{Asset, Named, State};
use super::text::{Scan, ended};

/// Whether the command asks permission or tells what happened.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Mode {
    Permission,
    Fact,
}

/// A part that a scan picked.
#[derive(Clone, Debug)]
pub struct Picked {
    pub asset: Arc<Asset>,
    /// Scanned by itself, and so bound to be acceptable; else it came with its set.
    pub alone: bool,
}

/// Looks a text up as asset id, mark and set code, exactly, and where it is none of these as what its standard says
/// that it names. Commands keep names and marks of one piece apart, so that two answers come only from a ledger that
/// something else has written; then nothing is guessed.
pub fn resolve(state: &State, text: &str) -> Result<Named, Problem> {
    find(state, text).map_err(|miss| scan_miss::problem(state, text, miss))
}

/// Why a text names no one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Miss {
    Nothing,
    Several,
}

/// What a text names, in its own letters.
pub fn find(state: &State, text: &str) -> Result<Named, Miss> {
    let mut all = exactly(state, text);
    if all.is_empty() {
        all = by_standard(state, text);
    }
    match all.as_slice() {
        [one] => Ok(one.clone()),
        [] => Err(Miss::Nothing),
        _ => Err(Miss::Several),
    }
}

fn exactly(state: &State, text: &str) -> Vec<Named> {
    let named = state.names.get(text);
    let by_id = state.assets.get(text).map(|asset| Named::Asset(asset.asset.clone()));
    let as_set = state.sets.get(text).map(|set| Named::Set(set.set.clone()));
    let mut all: Vec<Named> = by_id.into_iter().chain(named.cloned()).chain(as_set).collect();
    all.dedup();
    all
}

/// A piece by the key of its mark, or the site's own code by what stands behind the reader's identifier.
fn by_standard(state: &State, text: &str) -> Vec<Named> {
    let pieces = |key: &str| state.pieces_of(key).iter().cloned().map(Named::Asset).collect::<Vec<_>>();
    match mark::read(text) {
        Reads::Piece(key) => pieces(&key),
        Reads::Own(code) => {
            let exact = exactly(state, &code);
            if exact.is_empty() { pieces(&mark::own_key(&code)) } else { exact }
        }
        Reads::Plain => pieces(&mark::own_key(text)),
        Reads::Product { .. }
        | Reads::AssetType(_)
        | Reads::Place(_)
        | Reads::Badge(_)
        | Reads::Wristband
        | Reads::Parcel(_)
        | Reads::Half
        | Reads::Tissue
        | Reads::Faulty(_) => Vec::new(),
    }
}

/// A part that left the house for good.
pub fn retired(asset: &Asset) -> Problem {
    if asset.retired.as_ref().is_some_and(|retired| retired.cause.is_parting()) {
        return gone(asset);
    }
    let why = asset.retired.as_ref().map_or("", |retired| retired.cause.name()).replace('_', " ");
    Problem::new(
        Code::Retired,
        format!("{} is retired ({why}).", asset.called()),
        "A part in service is needed.",
        "Take it out of use; a new part comes in its place.",
    )
}

/// A part that was lent and went back, or a tag whose part is known by its own name.
fn gone(asset: &Asset) -> Problem {
    Problem::new(
        Code::Retired,
        format!("{} is no longer in the house: it went back, or goes by another name.", asset.called()),
        "A part in the house is needed.",
        "Look at its page; what is here again is recorded as arrived, or as a stranger.",
    )
}

/// Every part of the same pack, but for the part itself, where it lies between packed and issued.
pub fn broken_pack_of(state: &State, asset: &Asset) -> Vec<Arc<Asset>> {
    let Some(pack) = asset.pack.as_ref().filter(|_| asset.stage.in_pack()) else {
        return Vec::new();
    };
    let Some(set) = state.sets.get(&pack.set) else {
        return Vec::new();
    };
    let mates = state
        .members(set)
        .filter(|mate| mate.asset != asset.asset && mate.pack.as_ref() == Some(pack) && mate.stage.in_pack());
    mates.cloned().collect()
}

/// What stands against any permission about a part: retired, not accounted for, a prion hold, in repair.
pub fn general_problems(state: &State, asset: &Asset) -> Vec<Problem> {
    let mut problems = Vec::new();
    if asset.retired.is_some() {
        problems.push(retired(asset));
    }
    if asset.missing {
        problems.push(missing(state, asset));
    }
    if asset.has_hold(HoldKind::Prion) {
        problems.push(Problem::new(
            Code::Held,
            format!("{} is under a prion hold.", asset.called()),
            "Do not wash. Only sealing in a labelled box, moving, or destruction is allowed.",
            "Seal, label, lock, and call infection prevention.",
        ));
    }
    if asset.in_repair {
        problems.push(Problem::new(
            Code::InRepair,
            format!("{} is in repair.", asset.called()),
            "A part in the house is needed.",
            "Record it as back from repair first.",
        ));
    }
    problems
}

/// A hold that blocks packing, sterilising, readiness and issue.
pub fn blocking_hold(state: &State, asset: &Asset) -> Option<Problem> {
    let held = asset.holds.iter().find(|held| !matches!(held.kind, HoldKind::Prion | HoldKind::Dedicated))?;
    let reason = state.holds.get(&held.hold).map_or("", |hold| hold.reason.as_str());
    Some(Problem::new(
        Code::Held,
        format!("{} is on {} hold {}: {}", asset.called(), held.kind.name(), held.hold, ended(reason)),
        "A part without a hold is needed.",
        "Set it aside until the hold is lifted, or take it out of the set.",
    ))
}

/// What keeps a part from being used at a case: that, or a hold.
pub fn kept_back(state: &State, asset: &Asset) -> impl Iterator<Item = Problem> {
    let own = super::dedicate::kept_back(state, asset);
    general_problems(state, asset).into_iter().chain(blocking_hold(state, asset)).chain(own)
}

/// What keeps another part of the same pack from being used: the pack is opened as a whole, and goes nowhere until then.
pub fn pack_kept_back(state: &State, asset: &Asset) -> Option<String> {
    broken_pack_of(state, asset).iter().find_map(|mate| {
        let problem = kept_back(state, mate).next()?;
        Some(format!("{} lies in one pack with {}. {}", asset.called(), mate.asset, problem.found))
    })
}

impl Deciding<'_> {
    /// Resolves scans into parts, each once; a part scanned by itself outranks the same part in a scanned set.
    pub fn pick(&mut self, scan: &Scan, mode: Mode) -> Vec<Picked> {
        let state = self.state;
        let mode = if self.late() { Mode::Fact } else { mode };
        let mut named = Vec::new();
        for text in &scan.0 {
            match resolve(state, text) {
                Ok(found) => named.push(found),
                Err(problem) => self.unknown(problem, text),
            }
        }
        let alone: BTreeSet<&Id> =
            named.iter().filter_map(|n| if let Named::Asset(id) = n { Some(id) } else { None }).collect();
        let mut seen: BTreeSet<Id> = BTreeSet::new();
        let mut picked = Vec::new();
        for one in &named {
            match one {
                Named::Asset(id) => {
                    let found = state.assets.get(id).filter(|_| seen.insert(id.clone()));
                    picked.extend(found.map(|asset| Picked { asset: asset.clone(), alone: true }));
                }
                Named::Set(code) => {
                    let Some(set) = state.sets.get(code) else { continue };
                    if set.seats.is_empty() {
                        self.against(empty_set(code, mode));
                    }
                    self.sets.push(code.clone());
                    // What was not in the house yet was not meant.
                    let late_at = self.late().then(|| self.at());
                    let there = |asset: &Asset| late_at.is_none_or(|at| asset.added_at <= at);
                    let members = state.members(set).filter(|asset| !alone.contains(&asset.asset));
                    for asset in members.filter(|asset| there(asset)) {
                        if seen.insert(asset.asset.clone()) {
                            picked.push(Picked { asset: asset.clone(), alone: false });
                        }
                    }
                }
            }
        }
        for part in picked.iter().filter(|part| part.asset.retired.is_none()) {
            self.floor = self.floor.max(part.asset.last_at);
        }
        picked
    }

    /// One part by id or mark; a set's code is none.
    pub fn one(&mut self, text: &str) -> Option<Arc<Asset>> {
        match resolve(self.state, text) {
            Ok(Named::Asset(id)) => {
                let asset = self.state.assets.get(&id)?.clone();
                self.touches(Some(asset.last_at));
                Some(asset)
            }
            Ok(Named::Set(set)) => {
                self.against(Problem::new(
                    Code::UnknownThing,
                    format!("\"{set}\" is a set."),
                    "One part is needed.",
                    "Scan the part itself.",
                ));
                None
            }
            Err(problem) => {
                self.unknown(problem, text);
                None
            }
        }
    }

    /// Turns a scan away that names nothing here; where another way of writing it does, the remedy is this command with
    /// that in its place, for somebody to give: it is never taken for it.
    fn unknown(&mut self, problem: Problem, sent: &str) {
        let meant = problem.meant.as_ref().map(|meant| meant.as_str());
        let remedy = meant.and_then(|meant| scan_miss::instead(self.command, sent, meant));
        self.against(match remedy {
            Some(remedy) => problem.with_remedy(remedy),
            None => problem,
        });
    }

    /// Puts what stands against any permission about this part against the command, even where it is told late: a
    /// part that is not in the house takes no seat.
    pub fn general(&mut self, asset: &Asset) {
        for problem in general_problems(self.state, asset) {
            self.against(problem.even_late());
        }
    }

    /// Judges each picked part of a permission: a part by itself must be acceptable; of a set those that are not
    /// are left, and the command fails only if nothing is left to do.
    pub fn each(
        &mut self,
        picked: Vec<Picked>,
        judge: impl Fn(&Deciding, &Asset) -> Vec<Problem>,
    ) -> Vec<Arc<Asset>> {
        let box_only = |problem: &Problem| problem.code == Code::Held;
        self.judge_each(picked, |deciding, asset| {
            let mut problems = general_problems(deciding.state, asset);
            if deciding.moves_only {
                problems.retain(|problem| !box_only(problem));
            }
            problems.extend(judge(deciding, asset));
            problems
        })
    }

    /// As [`Deciding::each`], for acts that what stands against permissions in general does not stop.
    pub fn each_freely(
        &mut self,
        picked: Vec<Picked>,
        judge: impl Fn(&Asset) -> Vec<Problem>,
    ) -> Vec<Arc<Asset>> {
        self.judge_each(picked, |_, asset| judge(asset))
    }

    fn judge_each(
        &mut self,
        picked: Vec<Picked>,
        judge: impl Fn(&Deciding, &Asset) -> Vec<Problem>,
    ) -> Vec<Arc<Asset>> {
        let mut accepted = Vec::new();
        let mut left = Vec::new();
        let mut alone_refused = false;
        for part in picked {
            let found = judge(self, &part.asset);
            let (waived, mut problems): (Vec<Problem>, Vec<Problem>) =
                found.into_iter().partition(|problem| self.may_waive(problem));
            if self.late() && !problems.iter().any(|problem| problem.even_late) {
                problems.drain(..).for_each(|problem| self.deviates(problem.code));
            }
            if problems.is_empty() {
                self.overrode(waived.iter().map(|problem| problem.code));
                accepted.push(part.asset);
            } else if part.alone {
                alone_refused = true;
                // A time before its last event stands against it too, and outranks most of what else does.
                self.touches(Some(part.asset.last_at));
                problems.into_iter().for_each(|problem| self.against(problem));
            } else {
                problems.sort_by_key(|problem| problem.code);
                left.push((part.asset, problems));
            }
        }
        if accepted.is_empty() && !alone_refused {
            left.into_iter().flat_map(|(_, problems)| problems).for_each(|problem| self.against(problem));
        } else {
            self.leave(left);
        }
        for asset in &accepted {
            self.touches(Some(asset.last_at));
        }
        accepted
    }
}

fn empty_set(set: &Id, mode: Mode) -> Problem {
    let code = if mode == Mode::Fact { Code::UnknownThing } else { Code::NotComplete };
    Problem::new(
        code,
        format!("Set {set} has no parts in it."),
        "A set with parts is needed.",
        "Put parts into the set first.",
    )
}
