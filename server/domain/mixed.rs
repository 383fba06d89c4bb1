//! Doubts of identity: parts without marks that were mixed, as caps of two baskets. Until somebody settles which is which, each of
//! them may be any other of its kind: look-back counts them all, and the age of each is a range.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::{Id, next_free};
use super::mark::names_one;
use super::model::{reason_given, unknown};
use super::refusal::{Code, Problem};
use super::request::Told;
use super::scan::Mode;
use super::state::{Asset, State};
use super::text::{Line, Scan, Text};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct IdentityDoubt {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub doubt: Option<Id>,
    /// The parts that may be swapped, or the sets whose parts without marks were mixed.
    pub scan: Scan,
    /// How it came about.
    pub how: Text,
}

/// A part in doubt, in its turn at that moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InDoubt {
    pub asset: Id,
    pub turn: u32,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct IdentityDoubted {
    pub doubt: Id,
    pub how: String,
    /// Each group of parts of one model that may be any other of it.
    pub groups: Vec<Vec<InDoubt>>,
}

/// One part as it is recorded, and whose piece was found to lie under its name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Known {
    pub asset: Line,
    pub was: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SettleIdentity {
    pub doubt: Id,
    /// Those that were swapped; without any, each is what its record says.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub swapped: Vec<Known>,
    /// By what it was known.
    pub how: Text,
}

impl SettleIdentity {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let mut seen = BTreeSet::new();
        for (n, known) in self.swapped.iter().enumerate() {
            if !seen.insert(known.asset.as_str()) {
                return Err(wrong(format!("/swapped/{n}/asset"), "found it a second time; each part once"));
            }
        }
        Ok(())
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct IdentitySettled {
    pub doubt: Id,
    pub how: String,
    /// The part by whose name each is recorded, and the one whose piece it is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub swapped: Vec<(Id, Id)>,
    /// All that were in doubt.
    pub assets: Vec<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SettledAs {
    pub how: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub swapped: Vec<(Id, Id)>,
    #[serde(flatten)]
    pub told: Told,
}

/// A doubt, and what became of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mixed {
    pub doubt: Id,
    pub how: String,
    pub groups: Vec<Vec<InDoubt>>,
    pub since: Told,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settled: Option<SettledAs>,
}

impl Mixed {
    pub fn is_open(&self) -> bool {
        self.settled.is_none()
    }

    pub fn assets(&self) -> impl Iterator<Item = &Id> {
        self.groups.iter().flatten().map(|part| &part.asset)
    }

    /// Those whose pieces may lie under this part's name since then, itself among them. What was settled leaves only the one
    /// that it was found to be; a part that is what its record says is in no doubt.
    pub fn may_be(&self, asset: &Id) -> Vec<&InDoubt> {
        let group = self.groups.iter().find(|group| group.iter().any(|part| part.asset == *asset));
        let Some(group) = group else { return Vec::new() };
        match &self.settled {
            None => group.iter().collect(),
            Some(settled) => {
                let was = settled.swapped.iter().find(|(recorded, _)| recorded == asset);
                was.and_then(|(_, was)| group.iter().find(|part| part.asset == *was)).into_iter().collect()
            }
        }
    }

    /// Those with which look-back counts this part together.
    pub fn with(&self, asset: &Id) -> Vec<&InDoubt> {
        let group = self.groups.iter().find(|group| group.iter().any(|part| part.asset == *asset));
        let Some(group) = group else { return Vec::new() };
        let others = group.iter().filter(|part| part.asset != *asset);
        match &self.settled {
            None => others.collect(),
            Some(settled) => {
                let pair = |other: &Id| {
                    settled
                        .swapped
                        .iter()
                        .any(|(a, b)| (a == asset && b == other) || (a == other && b == asset))
                };
                others.filter(|part| pair(&part.asset)).collect()
            }
        }
    }
}

pub(super) fn doubt(deciding: &mut Deciding, it: &IdentityDoubt) -> Option<What> {
    reason_given(deciding, &it.how);
    let state = deciding.state;
    let picked = deciding.pick(&it.scan, Mode::Fact);
    let mut groups: BTreeMap<Id, Vec<InDoubt>> = BTreeMap::new();
    let mut left = Vec::new();
    for part in &picked {
        let asset = &part.asset;
        let marked = asset.mark.as_ref().filter(|mark| names_one(mark.as_str()));
        match marked {
            // A mark says which piece it is: of a set it was not meant, by itself it is no doubt.
            Some(mark) if part.alone => deciding.against(told_apart(asset, mark)),
            Some(mark) => left.push((asset.clone(), vec![told_apart(asset, mark)])),
            None => {
                deciding.touches(Some(asset.last_at));
                let turn = super::fact::turn_at(deciding, asset);
                groups
                    .entry(asset.model.clone())
                    .or_default()
                    .push(InDoubt { asset: asset.asset.clone(), turn });
            }
        }
    }
    let (groups, single): (Vec<_>, Vec<_>) = groups.into_values().partition(|group| group.len() > 1);
    for alone in single.iter().flatten() {
        if let Some(asset) = state.assets.get(&alone.asset) {
            left.push((asset.clone(), vec![only_one(asset)]));
        }
    }
    if groups.is_empty() {
        left.drain(..).flat_map(|(_, problems)| problems).for_each(|problem| deciding.against(problem));
        if picked.is_empty() {
            return None;
        }
    }
    deciding.leave(left);
    if let Some(open) = same_open(state, &groups) {
        deciding.against(open);
    }
    let doubt = match &it.doubt {
        Some(given) => {
            if state.mixed.contains_key(given) {
                let problem = Problem::new(
                    Code::NameTaken,
                    format!("\"{given}\" already names a doubt."),
                    "A doubt's name is used once.",
                    "Leave the name out, or choose another.",
                );
                deciding.against(problem.even_late());
            }
            given.clone()
        }
        None => {
            let made = next_free("doubt", 4, state.mixed.len(), |id| state.mixed.contains_key(id))?;
            deciding.made = Some(made.clone());
            made
        }
    };
    Some(What::IdentityDoubted(IdentityDoubted { doubt, how: it.how.0.clone(), groups }))
}

fn told_apart(asset: &Asset, mark: &Line) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} has the mark {}, which says which piece it is.", asset.called(), mark.0),
        "Parts that nothing tells apart are needed.",
        "Scan its mark: that settles which it is.",
    )
}

fn only_one(asset: &Asset) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} is the only one of model {} among them.", asset.called(), asset.model),
        "At least two parts of one model are needed.",
        "Scan the other parts, or the other set, that it may have been swapped with.",
    )
}

/// The same parts are in an open doubt already.
fn same_open(state: &State, groups: &[Vec<InDoubt>]) -> Option<Problem> {
    let names = |group: &[InDoubt]| group.iter().map(|it| it.asset.clone()).collect::<BTreeSet<Id>>();
    let turns = |group: &[InDoubt]| group.iter().map(|it| it.turn).sum::<u32>();
    let open = state.mixed.values().find(|mixed| {
        let same = |group: &Vec<InDoubt>| {
            mixed.groups.iter().any(|it| names(it) == names(group) && turns(it) == turns(group))
        };
        mixed.is_open() && !groups.is_empty() && groups.iter().all(same)
    })?;
    Some(Problem::new(
        Code::AlreadyDone,
        format!("{} says the same of these parts, and is open.", open.doubt),
        "A doubt that nobody has recorded yet is needed.",
        "Nothing needs to be done.",
    ))
}

pub(super) fn settle(deciding: &mut Deciding, it: &SettleIdentity) -> Option<What> {
    reason_given(deciding, &it.how);
    let state = deciding.state;
    let Some(mixed) = state.mixed.get(&it.doubt).cloned() else {
        deciding.against(unknown("doubt of identity", it.doubt.as_str()));
        return None;
    };
    deciding.touches(Some(mixed.since.at));
    if let Some(settled) = &mixed.settled {
        let problem = Problem::new(
            Code::AlreadyDone,
            format!("{} is settled: {}", mixed.doubt, super::text::ended(&settled.how)),
            "A doubt that is open is needed.",
            "Nothing needs to be done.",
        );
        deciding.against(problem.even_late());
    }
    let mut swapped = Vec::new();
    for (n, known) in it.swapped.iter().enumerate() {
        let (asset, was) = (deciding.one(known.asset.as_str())?, deciding.one(known.was.as_str())?);
        let together = |group: &Vec<InDoubt>| {
            let has = |id: &Id| group.iter().any(|part| part.asset == *id);
            has(&asset.asset) && has(&was.asset)
        };
        if !mixed.groups.iter().any(together) {
            let detail = format!("found two parts that {} does not name together", mixed.doubt);
            deciding.malformed.push(wrong(format!("/swapped/{n}"), detail));
        }
        swapped.push((asset.asset.clone(), was.asset.clone()));
    }
    let names: BTreeSet<&Id> = swapped.iter().map(|(asset, _)| asset).collect();
    let pieces: BTreeSet<&Id> = swapped.iter().map(|(_, was)| was).collect();
    if names != pieces {
        let detail =
            "found a piece under two names, or under none; each name has one piece, and each piece one name";
        deciding.malformed.push(wrong("/swapped", detail));
    }
    let assets = mixed.assets().cloned().collect();
    swapped.retain(|(asset, was)| asset != was);
    Some(What::IdentitySettled(IdentitySettled {
        doubt: it.doubt.clone(),
        how: it.how.0.clone(),
        swapped,
        assets,
    }))
}

pub(super) fn doubted(state: &mut State, told: Told, it: &IdentityDoubted) {
    let (doubt, how, groups) = (it.doubt.clone(), it.how.clone(), it.groups.clone());
    state.changes.mixed.insert(doubt.clone());
    state.mixed.insert(doubt.clone(), Arc::new(Mixed { doubt, how, groups, since: told, settled: None }));
}

pub(super) fn settled(state: &mut State, told: Told, it: &IdentitySettled) {
    if let Some(mixed) = state.mixed.get_mut(&it.doubt) {
        let (how, swapped) = (it.how.clone(), it.swapped.clone());
        Arc::make_mut(mixed).settled = Some(SettledAs { how, swapped, told });
        state.changes.mixed.insert(it.doubt.clone());
    }
}
