//! Parts that moved from one set to another, and sets that must not exchange parts: what touched high-risk tissue stays in
//! its set, and that it does is looked at (NICE IPG196, 2006).

use serde::{Deserialize, Serialize};

use super::id::Id;
use super::refusal::{Code, Problem};
use super::set::SetState;
use super::state::{Asset, State};
use super::time::Time;

/// A part came into a set, from no set or from another one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SatIn {
    pub set: Id,
    pub at: Time,
    pub entry: u64,
    pub by: String,
}

/// A part that moved between sets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Migration {
    pub asset: Id,
    pub from: Id,
    pub to: Id,
    pub at: Time,
    pub entry: u64,
    pub by: String,
    /// One of the two sets must not exchange parts, as its count sheet says now.
    pub forbidden: bool,
}

impl Asset {
    /// The set in which it sits, or sat last.
    pub fn last_set(&self) -> Option<&Id> {
        self.sat_in.last().map(|sat| &sat.set)
    }
}

impl State {
    /// Whether a set's parts stay in it.
    pub fn keeps_parts(&self, set: &Id) -> bool {
        let sheet = self.sets.get(set).and_then(|set| self.sheets.get(&set.count_sheet));
        sheet.is_some_and(|sheet| sheet.keeps_parts)
    }

    /// Every move of a part from one set to another within these times, the newest first.
    pub fn migrations(&self, from: Time, to: Time) -> Vec<Migration> {
        let of_part = |asset: &Asset| {
            let pairs = asset.sat_in.windows(2).filter_map(|pair| {
                let [before, after] = pair else { return None };
                (after.at >= from && after.at < to).then(|| Migration {
                    asset: asset.asset.clone(),
                    from: before.set.clone(),
                    to: after.set.clone(),
                    at: after.at,
                    entry: after.entry,
                    by: after.by.clone(),
                    forbidden: self.keeps_parts(&before.set) || self.keeps_parts(&after.set),
                })
            });
            pairs.collect::<Vec<_>>()
        };
        let mut all: Vec<Migration> = self.assets.values().flat_map(|asset| of_part(asset)).collect();
        all.sort_by_key(|it| (std::cmp::Reverse(it.entry), it.asset.clone()));
        all
    }
}

/// Why a part does not go into a set: it sat in another one, and one of the two keeps its parts.
pub(super) fn exchanges(state: &State, asset: &Asset, set: &SetState) -> Option<Problem> {
    let before = asset.last_set().filter(|before| **before != set.set)?;
    let keeper = [before, &set.set].into_iter().find(|set| state.keeps_parts(set))?;
    let problem = Problem::new(
        Code::NotOnSheet,
        format!("{} comes from set {before}.", asset.called()),
        format!("Set {keeper} must not exchange parts with another set, as its count sheet says."),
        "Put in a new part, or one that never sat in another set; or put it back into its own set.",
    );
    // Told after the fact, it lay there: the report of moves has it.
    Some(Problem { even_late: false, ..problem })
}
