//! What changed in a state since its changes were last taken: the tables of current facts follow from it.

use std::collections::{BTreeMap, BTreeSet};

use super::id::Id;
use super::state::KeptTest;
use super::time::Time;

/// Things whose rows have to be written, and rows that are only ever added.
#[derive(Clone, Debug, Default)]
pub struct Changes {
    pub site: bool,
    pub routes: BTreeSet<Id>,
    pub models: BTreeSet<Id>,
    pub sheets: BTreeSet<Id>,
    pub machines: BTreeSet<Id>,
    /// Parts of which more changed than where they stand in their turn.
    pub assets: BTreeSet<Id>,
    /// Parts that moved in their turn, or that something happened to.
    pub turned: BTreeSet<Id>,
    pub sets: BTreeSet<Id>,
    pub loads: BTreeSet<Id>,
    pub holds: BTreeSet<Id>,
    pub reserves: BTreeSet<Id>,
    pub cases: BTreeSet<Id>,
    pub missing: BTreeSet<Id>,
    pub findings: BTreeSet<Id>,
    pub repairs: BTreeSet<Id>,
    pub look_backs: BTreeSet<Id>,
    pub recalls: BTreeSet<Id>,
    pub broken: BTreeSet<Id>,
    /// Tests of machines, by the entry that tells them.
    pub tests: BTreeMap<u64, KeptTest>,
    pub tried: BTreeSet<Id>,
    pub upkeep: BTreeSet<Id>,
    pub values: BTreeSet<Id>,
    pub procedures: BTreeSet<Id>,
    pub alert_rules: BTreeSet<Id>,
    pub signed: BTreeSet<Id>,
    pub schedule_lines: BTreeSet<Id>,
    pub paper: BTreeSet<Id>,
    pub wrong_things: BTreeSet<Id>,
    pub requests: BTreeSet<Id>,
    pub loans: BTreeSet<Id>,
    pub strangers: BTreeSet<Id>,
    pub mixed: BTreeSet<Id>,
    pub shelf: BTreeSet<Id>,
    pub case_stock: BTreeSet<Id>,
    pub paces: BTreeSet<Id>,
    pub machine_paces: BTreeSet<Id>,
    /// By part and turn: one that was taken back may begin again.
    pub turns: BTreeMap<(Id, u32), TurnBegan>,
    pub seatings: Vec<Seating>,
}

/// A part's turn began.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct TurnBegan {
    pub seq: u64,
    pub asset: Id,
    pub turn: u32,
    pub at: Time,
}

/// A part took or left a seat of a set.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Seating {
    pub seq: u64,
    pub asset: Id,
    pub set: Id,
    pub line: String,
    pub position: u32,
    pub joined: bool,
}
