//! A seeded discrete-event simulation of work that goes through stations: benches and machines with their batches, units
//! whose pieces each have a way to go, and wants that take finished units at their time and give them back used.
//!
//! Numbers in, numbers out: seconds from now; stations, jobs, items and units by their place in the lists. The same seed
//! gives the same answer on every machine. One replication is in `run`, `begin`, `station` and `serve`, what many of them say together in `told`.

mod begin;
mod check;
mod dice;
mod law;
mod run;
mod serve;
mod station;
mod told;

pub use check::{Unusable, check};
pub use law::{Daily, Law};
pub use run::{Course, Run};
pub use serve::Served;
pub use told::{Forecast, UnitForecast, WantForecast, When};

use dice::Dice;
use told::Told;

/// Hands or a machine: what it can do, and how long each job takes there.
#[derive(Clone, PartialEq, Debug)]
pub struct Server {
    pub does: Vec<(usize, Law)>,
    /// Since when it has nothing to do, before now.
    pub idle_s: f64,
}

/// Where work waits for hands or a machine.
#[derive(Clone, PartialEq, Debug)]
pub struct Station {
    /// Without any, nothing gets through here.
    pub servers: Vec<Server>,
    /// How many units a server takes at once.
    pub batch: u32,
    /// From when work and a free server are there until somebody begins; what comes meanwhile goes with it. None: at once.
    pub gathers: Option<Daily>,
}

/// One kind of work at a station. Only items of one job go in one batch.
#[derive(Clone, PartialEq, Debug)]
pub struct Job {
    pub station: usize,
    /// How long the first item takes that comes to a station where nothing is going on: somebody has to turn to it.
    /// None: as long as every other one.
    pub first: Option<Daily>,
    /// What passes after it, in which the server is free already: a decision.
    pub after: Option<Daily>,
    /// What passes at least after it for what came through well: cooling.
    pub cools_s: f64,
    /// The chance that one item goes back, and that the whole batch does, to an earlier job of its way.
    pub item_back: f64,
    pub batch_back: f64,
    /// Where an item's way has it not, it begins from the beginning.
    pub back_to: usize,
    /// The chance that an item is kept up on its own, whatever the station does, and for how long.
    pub straggles: Option<(f64, Law)>,
    /// The items of one pack wait here for each other.
    pub joins: bool,
}

impl Job {
    /// Work that takes what its server takes, and nothing else.
    pub fn plain(station: usize) -> Job {
        Job {
            station,
            first: None,
            after: None,
            cools_s: 0.0,
            item_back: 0.0,
            batch_back: 0.0,
            back_to: 0,
            straggles: None,
            joins: false,
        }
    }
}

/// Where an item is at the beginning.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Start {
    /// At a place of its way since a moment, or arriving there later; behind the last place it is finished then.
    Waiting { step: usize, from_s: f64 },
    /// In hand since so long; items of one batch share a number.
    InHand { step: usize, taken_s: f64, batch: usize, server: usize },
    /// Done by its server so long ago, and not yet decided.
    Undecided { step: usize, taken_s: f64, batch: usize },
    /// Not to be had.
    Away,
}

#[derive(Clone, PartialEq, Debug)]
pub struct Item {
    pub unit: usize,
    /// The jobs that it goes through.
    pub way: Vec<usize>,
    /// Items of one number wait for each other where a job joins.
    pub pack: usize,
    pub start: Start,
}

/// What is taken whole: finished when all its items are.
#[derive(Clone, PartialEq, Debug)]
pub struct Unit {
    /// Units of one kind stand in for one another.
    pub kind: usize,
    /// By when it is needed; what is needed first goes first.
    pub due_s: Option<f64>,
    /// Never taken, however finished it is.
    pub unfit: bool,
}

/// One thing that a want needs: this unit and no other, or any free one of the kind.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Need {
    pub unit: Option<usize>,
    pub kind: usize,
}

/// Somebody who takes units at a time, keeps them, and gives them back to be worked on again.
#[derive(Clone, PartialEq, Debug)]
pub struct Want {
    pub start_s: f64,
    /// They are taken so long before it, where they are there.
    pub lead_s: f64,
    /// From its start.
    pub lasts: Law,
    pub needs: Vec<Need>,
    /// It may take what is kept back of a kind.
    pub takes_reserve: bool,
}

#[derive(Clone, PartialEq, Debug, Default)]
pub struct Shop {
    pub stations: Vec<Station>,
    pub jobs: Vec<Job>,
    pub items: Vec<Item>,
    pub units: Vec<Unit>,
    /// In order of their starts.
    pub wants: Vec<Want>,
    /// How many finished units of each kind are kept back.
    pub kept: Vec<usize>,
    /// How long a unit is planned to be on its way: one that is named for a want may go to another one before where so
    /// much lies between them.
    pub turnaround_s: f64,
    /// The parts of the day: from when each lasts, in order; the first from the beginning. And how many there are.
    pub day: Vec<(f64, usize)>,
    pub day_parts: usize,
    /// Nothing is looked at beyond.
    pub until_s: f64,
    /// Of these is asked how often none of them is late; of one with a need, how often none is late for that need.
    pub groups: Vec<Vec<(usize, Option<usize>)>>,
}

/// Runs so many replications.
///
/// # Errors
/// Where the numbers describe nothing that could run.
pub fn forecast(shop: &Shop, replications: u32, seed: u64) -> Result<Forecast, Unusable> {
    check(shop)?;
    let mut run = Run::new(shop);
    let mut told = Told::new(shop);
    for replication in 0..replications {
        run.go(shop, Dice::new(seed, replication));
        told.add(shop, &run);
    }
    Ok(told.finished(replications))
}

/// One replication alone, with what became of every unit and want.
///
/// # Errors
/// Where the numbers describe nothing that could run.
pub fn once(shop: &Shop, seed: u64) -> Result<Run, Unusable> {
    check(shop)?;
    let mut run = Run::new(shop);
    run.go(shop, Dice::new(seed, 0));
    Ok(run)
}
