//! Broken packs kept for counting: each with the machine, the shelf and the packaging that it had when it broke, and
//! what is counted of them in a window of time, beside the packs that came out of each steriliser.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::event::Moved;
use super::id::Id;
use super::load::LoadStatus;
use super::model::StepKind;
use super::state::{PackOf, State};
use super::step::Broken;
use super::text::Line;
use super::time::Time;

/// One closed pack as it was when it broke.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PackFacts {
    pub parts: Vec<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack: Option<String>,
    /// The load that sterilised it, or in which it lay.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<Id>,
    /// Where it was last put away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packaging: Option<Line>,
}

/// A broken pack as the list of them keeps it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BrokenPack {
    /// The place of its entry in the ledger, and its own number in it: "31.1".
    pub broken: Id,
    pub entry: u64,
    pub at: Time,
    pub by: String,
    pub why: Broken,
    #[serde(flatten)]
    pub facts: PackFacts,
    /// The entry was corrected: it did not break.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub taken_back: bool,
}

/// The closed packs that these moves open, as they stand before them.
pub(super) fn packs_of(state: &State, moved: &[Moved]) -> Vec<PackFacts> {
    let mut packs: BTreeMap<(Option<PackOf>, Option<Id>), PackFacts> = BTreeMap::new();
    for part in moved {
        let Some(asset) = state.assets.get(&part.asset) else { continue };
        if !asset.stage.in_pack() {
            continue;
        }
        // What was packed in no set is a pack of its own.
        let own = asset.pack.is_none().then(|| asset.asset.clone());
        let pack = packs.entry((asset.pack.clone(), own)).or_insert_with(|| PackFacts {
            parts: Vec::new(),
            set: asset.pack.as_ref().map(|pack| pack.set.clone()),
            pack: asset.pack.as_ref().map(|pack| pack.pack.clone()),
            load: None,
            machine: None,
            location: None,
            packaging: None,
        });
        pack.parts.push(asset.asset.clone());
        pack.load = pack.load.take().or_else(|| asset.load.clone()).or_else(|| asset.in_load.clone());
        let load = pack.load.as_ref().and_then(|load| state.loads.get(load));
        pack.machine = load.map(|load| load.machine.clone());
        pack.location = pack.location.take().or_else(|| asset.location.clone());
        pack.packaging = pack.packaging.take().or_else(|| asset.packaging.clone());
    }
    packs.into_values().collect()
}

/// How many packs there are among these parts, as they lie in a steriliser.
pub(super) fn count_packs<'a>(state: &State, parts: impl Iterator<Item = &'a Id>) -> u32 {
    let assets = parts.filter_map(|part| state.assets.get(part));
    let keys: BTreeSet<_> =
        assets.map(|asset| (asset.pack.clone(), asset.pack.is_none().then(|| asset.asset.clone()))).collect();
    u32::try_from(keys.len()).unwrap_or(u32::MAX)
}

impl Broken {
    pub const ALL: [Broken; 5] =
        [Broken::Wet, Broken::Torn, Broken::Dropped, Broken::PastDate, Broken::Indicator];

    /// As it stands in a command.
    pub fn name(self) -> &'static str {
        match self {
            Broken::Wet => "wet",
            Broken::Torn => "torn",
            Broken::Dropped => "dropped",
            Broken::PastDate => "past_date",
            Broken::Indicator => "indicator",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Broken::Wet => "wet",
            Broken::Torn => "torn",
            Broken::Dropped => "dropped",
            Broken::PastDate => "past date",
            Broken::Indicator => "indicator",
        }
    }

    /// The one word that a person types for it at the desk.
    pub fn from_word(word: &str) -> Option<Broken> {
        let word = word.trim().to_ascii_lowercase().replace([' ', '-'], "_");
        Broken::ALL.into_iter().find(|why| why.name() == word || (word == "past" && *why == Broken::PastDate))
    }
}

/// How many packs broke, by reason; and out of how many, where that is known.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Counted {
    pub name: Option<String>,
    pub all: u32,
    pub why: BTreeMap<Broken, u32>,
    /// Packs in the machine's released loads of the window.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub packs: Option<u32>,
    /// Released loads of the window that were started before packs were counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loads_not_counted: Option<u32>,
}

impl Counted {
    fn named(name: Option<String>) -> Counted {
        Counted { name, ..Counted::default() }
    }

    fn add(&mut self, why: Broken) {
        self.all += 1;
        *self.why.entry(why).or_default() += 1;
    }

    pub fn of(&self, why: Broken) -> u32 {
        self.why.get(&why).copied().unwrap_or(0)
    }
}

/// What broke in a window of time, and where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    pub from: Time,
    pub to: Time,
    pub all: Counted,
    pub machines: Vec<Counted>,
    pub shelves: Vec<Counted>,
    pub packagings: Vec<Counted>,
    /// Newest first.
    pub packs: Vec<std::sync::Arc<BrokenPack>>,
}

/// Counts the broken packs from a moment up to, and without, another. The most first; what is not known last.
pub fn report(state: &State, from: Time, to: Time) -> Report {
    let inside = |at: Time| from <= at && at < to;
    let kept = state.broken.values().filter(|it| !it.taken_back && inside(it.at));
    let mut packs: Vec<_> = kept.cloned().collect();
    packs.sort_by(|a, b| (b.at, b.entry, &b.broken).cmp(&(a.at, a.entry, &a.broken)));
    let mut all = Counted::default();
    let mut groups: [BTreeMap<Option<String>, Counted>; 3] = Default::default();
    for pack in &packs {
        all.add(pack.why);
        let facts = &pack.facts;
        let names = [
            facts.machine.as_ref().map(Id::to_string),
            facts.location.as_ref().map(|it| it.0.clone()),
            facts.packaging.as_ref().map(|it| it.0.clone()),
        ];
        for (group, name) in groups.iter_mut().zip(names) {
            group.entry(name.clone()).or_insert_with(|| Counted::named(name)).add(pack.why);
        }
    }
    let [mut machines, shelves, packagings] = groups;
    for load in state.loads.values() {
        let released = load.status == LoadStatus::Released && load.decided_at.is_some_and(inside);
        if !released || load.programme.step() != StepKind::Sterilised {
            continue;
        }
        let name = Some(load.machine.to_string());
        let machine = machines.entry(name.clone()).or_insert_with(|| Counted::named(name));
        match load.packs {
            Some(packs) => *machine.packs.get_or_insert(0) += packs,
            None => *machine.loads_not_counted.get_or_insert(0) += 1,
        }
    }
    let sorted = |group: BTreeMap<Option<String>, Counted>| {
        let mut rows: Vec<Counted> = group.into_values().collect();
        rows.sort_by_key(|row| (row.name.is_none(), std::cmp::Reverse(row.all), row.name.clone()));
        rows
    };
    Report {
        from,
        to,
        all,
        machines: sorted(machines),
        shelves: sorted(shelves),
        packagings: sorted(packagings),
        packs,
    }
}
