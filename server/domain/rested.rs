//! What was decided about a part after a moment of a turn, by a record that did not know of it: where that is told afterwards, or
//! was told of the wrong part, it has to be looked at by a person.

use serde::{Deserialize, Serialize};

use super::event::Noted;
use super::id::Id;
use super::load::LoadStatus;
use super::state::{Stage, State};
use super::time::Time;

/// The decisions on one part in one turn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rested {
    pub asset: Id,
    pub turn: u32,
    /// Loads that were released with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub loads: Vec<Id>,
    /// Cases to which it went.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cases: Vec<Id>,
    /// It is still in that turn, and so far.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<Stage>,
}

impl Rested {
    pub fn is_nothing(&self) -> bool {
        self.loads.is_empty() && self.cases.is_empty()
    }
}

/// What rests on what a part is said to have been at a moment. `but` is the case that the telling itself is of.
pub fn rested(state: &State, part: &Noted, at: Time, but: Option<&Id>) -> Rested {
    let in_turn = state.loads_of.of(&part.asset).filter(|(_, turn)| *turn == part.turn).map(|(load, _)| load);
    let loads = in_turn.filter_map(|load| state.loads.get(load)).filter(|load| {
        load.status == LoadStatus::Released && load.decided_at.is_some_and(|decided| decided >= at)
    });
    let at_cases = state.cases.values().filter(|case| Some(&case.case) != but && case.last_at >= at);
    let cases = at_cases.filter(|case| {
        let mut there = case.all_parts().filter(|(id, _)| **id == part.asset);
        there.any(|(_, it)| it.turn == part.turn)
    });
    let now = state.assets.get(&part.asset).filter(|asset| asset.turn == part.turn);
    Rested {
        asset: part.asset.clone(),
        turn: part.turn,
        loads: loads.map(|load| load.load.clone()).collect(),
        cases: cases.map(|case| case.case.clone()).collect(),
        stage: now.map(|asset| asset.stage),
    }
}
