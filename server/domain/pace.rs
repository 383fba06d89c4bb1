//! How long things take here: what each entry says of it, kept as short rows that the next entry adds to.
//!
//! The ledger says when an act was done, never when it was begun. So a bench tells three things apart: how long the first
//! part waits that comes to it while nothing is going on, until somebody turns to it and is done with it; how soon the
//! next one follows that waited there already; and how often, and how long, one is kept up on its own while others pass it.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{Datelike, Timelike, Weekday};
use chrono_tz::Tz;
use imbl::OrdMap;
use serde::{Deserialize, Serialize};

use super::apply::When;
use super::event::{Event, Moved, What};
use super::exposure::CountClosed;
use super::id::Id;
use super::load::{Load, LoadJudged, LoadStarted};
use super::pace_counts::Lengths;
use super::route::{Method, StepKind};
use super::state::{Asset, State};
use super::step::{Inspected, Outcome, StepRecorded};
use super::time::Time;

/// Acts that follow one another so soon are one.
const IN_ONE_GO_S: i64 = 60;

/// All that is known of how long things take, by name of the work, and by machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Paces {
    /// By work, and by work and hour of the week: see [`Work`].
    pub works: OrdMap<Id, Arc<Pace>>,
    pub machines: OrdMap<Id, Arc<MachinePace>>,
}

/// Work that waits for hands, or for somebody who begins a load.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Work {
    Step(StepKind, Option<Method>),
    /// Beginning a load of this method.
    Start(Method),
    /// Cases, by how much of their planned time they take.
    Case,
}

/// The hours of a week that are told apart: 24 on Monday to Thursday, on Friday, on Saturday, on Sunday.
pub const HOURS: usize = 4 * 24;

/// One piece of work, or one hour of the week of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Pace {
    /// From when something comes to an idle place until it is done. By hour; of cases as shares, an hour for the whole.
    #[serde(default, skip_serializing_if = "Lengths::is_empty")]
    pub first: Lengths,
    /// From when the one before is done until the next is.
    #[serde(default, skip_serializing_if = "Lengths::is_empty")]
    pub next: Lengths,
    /// How long those took that others passed.
    #[serde(default, skip_serializing_if = "Lengths::is_empty")]
    pub passed: Lengths,
    /// How often it was done, how often something went back by it, and how often something was set aside.
    #[serde(default)]
    pub acts: u64,
    #[serde(default)]
    pub back: u64,
    #[serde(default)]
    pub aside: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last: Option<Last>,
}

/// What was done last at a place: when, and since when it had been there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Last {
    pub done: Time,
    pub came: Time,
}

/// One machine.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct MachinePace {
    pub programmes: BTreeMap<Id, ProgrammePace>,
    /// Since when it has nothing to do, as far as its records tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub free_at: Option<Time>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ProgrammePace {
    /// From the start to the cycle's end.
    pub takes: Lengths,
    /// From the cycle's end to the decision.
    pub decides: Lengths,
    pub released: u64,
    pub rejected: u64,
    /// The most sets, or single parts, that one load held.
    pub most: u32,
}

impl Work {
    /// The name under which it is kept.
    pub fn name(self) -> String {
        match self {
            Work::Step(StepKind::Disinfected, Some(Method::Manual)) => "disinfected.manual".into(),
            Work::Step(step, _) => step.name().into(),
            Work::Start(method) => format!("start.{}", method.name()),
            Work::Case => "case".into(),
        }
    }

    pub fn id(self, hour: Option<usize>) -> Option<Id> {
        let name = self.name();
        match hour {
            None => Id::new(&name),
            Some(hour) => {
                let day = ["m", "f", "s", "u"].get(hour / 24)?;
                Id::new(&format!("{name}.{day}{:02}", hour % 24))
            }
        }
    }
}

/// The hour of the week of an instant, as the site's clocks show it.
pub fn hour_of_week(at: Time, zone: Tz) -> usize {
    let local = at.in_zone(zone);
    let day = match local.weekday() {
        Weekday::Mon | Weekday::Tue | Weekday::Wed | Weekday::Thu => 0,
        Weekday::Fri => 1,
        Weekday::Sat => 2,
        Weekday::Sun => 3,
    };
    day * 24 + local.hour() as usize
}

/// What an entry says of how long things take, seen before it is applied.
pub(super) enum Seen {
    Nothing,
    Work { work: Work, came: Option<Time>, back: bool, aside: bool },
    Begun { machine: Id, method: Method, came: Time, programme: Id, units: u32 },
    Cycle { machine: Id, programme: Id, started: Time, ended: Time },
    Decided { machine: Id, programme: Id, took_s: Option<i64>, released: bool },
    Case { share: f64 },
}

/// Looks at an entry. What is told late says nothing of how long things take, nor does what was done out of its order.
pub(super) fn seen(state: &State, when: &When, event: &Event) -> Seen {
    if event.beside.late.is_some() || !event.beside.deviation.is_empty() || event.beside.overridden.is_some()
    {
        return Seen::Nothing;
    }
    match &event.what {
        What::StepRecorded(it) => step(state, it),
        What::Inspected(it) => inspected(state, it),
        What::LoadStarted(it) => begun(state, it),
        What::LoadJudged(it) => judged(state, it),
        What::LoadReleased(it) => decided(state, &it.load, when.at, true),
        What::LoadRejected(it) if it.ran => decided(state, &it.load, when.at, false),
        What::CountClosed(it) => case(state, it, when.at),
        // Nothing else ends what somebody waits for.
        _ => Seen::Nothing,
    }
}

fn step(state: &State, it: &StepRecorded) -> Seen {
    let moved = |moved: &Moved| state.assets.get(&moved.asset);
    // What is out at a case comes when it comes, and what is new was never at a bedside.
    let begins = matches!(it.step, StepKind::Treated | StepKind::Received);
    let waited = |asset: &&Arc<Asset>| !(asset.stage.is_out() || begins && asset.turn == 1);
    let parts: Vec<&Arc<Asset>> = it.parts.iter().filter_map(moved).filter(waited).collect();
    if parts.is_empty() {
        return Seen::Nothing;
    }
    // A step that is recorded of disinfection is the one by hand: a machine's is told by its load.
    let method = (it.step == StepKind::Disinfected).then_some(Method::Manual);
    let work = Work::Step(it.step, method);
    Seen::Work { work, came: came(state, &parts), back: false, aside: false }
}

/// When the last of these parts came to where it waited for nothing but hands; none where each waited for something else too,
/// as for a hold to be lifted, or for another part to come into its set.
fn came(state: &State, parts: &[&Arc<Asset>]) -> Option<Time> {
    let for_hands = |asset: &&&Arc<Asset>| {
        let set = asset.seat.as_ref().and_then(|seat| state.sets.get(&seat.set));
        asset.last_at <= asset.act_at && set.is_none_or(|set| set.last_at <= asset.act_at)
    };
    parts.iter().filter(for_hands).map(|asset| asset.act_at).max()
}

fn inspected(state: &State, it: &Inspected) -> Seen {
    let parts: Vec<&Arc<Asset>> = it.parts.iter().filter_map(|part| state.assets.get(&part.asset)).collect();
    if parts.is_empty() {
        return Seen::Nothing;
    }
    let any = |wanted: &[Outcome]| it.parts.iter().any(|part| wanted.contains(&part.outcome));
    let (back, aside) = (any(&[Outcome::Reclean]), any(&[Outcome::Repair, Outcome::Retire, Outcome::Hold]));
    let work = Work::Step(StepKind::Inspected, None);
    Seen::Work { work, came: came(state, &parts), back, aside }
}

fn begun(state: &State, it: &LoadStarted) -> Seen {
    let parts: Vec<&Arc<Asset>> =
        it.contents.iter().filter_map(|part| state.assets.get(&part.asset)).collect();
    // What a case waits for goes in at once: that is not how long work waits here.
    let Some(came) = parts.iter().map(|asset| asset.act_at).min().filter(|_| it.immediate_use.is_none())
    else {
        return Seen::Nothing;
    };
    let mut units: Vec<&Id> =
        parts.iter().map(|asset| asset.seat.as_ref().map_or(&asset.asset, |seat| &seat.set)).collect();
    units.sort();
    units.dedup();
    let (machine, method) = (it.machine.clone(), it.programme.method);
    Seen::Begun {
        machine,
        method,
        came,
        programme: it.programme.programme.clone(),
        units: units.len() as u32,
    }
}

fn judged(state: &State, it: &LoadJudged) -> Seen {
    let Some(load) = state.loads.get(&it.load).filter(|load| load.judged.is_none()) else {
        return Seen::Nothing;
    };
    let (machine, programme) = (load.machine.clone(), load.programme.programme.clone());
    Seen::Cycle { machine, programme, started: load.started_at, ended: it.judged.ended_at }
}

fn decided(state: &State, load: &Id, at: Time, released: bool) -> Seen {
    let Some(load) = state.loads.get(load) else { return Seen::Nothing };
    let (machine, programme) = (load.machine.clone(), load.programme.programme.clone());
    Seen::Decided { machine, programme, took_s: since_end(load, at), released }
}

/// How long a load waited for its decision.
fn since_end(load: &Load, at: Time) -> Option<i64> {
    load.judged.as_ref().map(|judged| at.since_s(judged.ended_at))
}

fn case(state: &State, it: &CountClosed, at: Time) -> Seen {
    let Some(case) = state.cases.get(&it.case).filter(|case| !case.emergency && at > case.start) else {
        return Seen::Nothing;
    };
    Seen::Case { share: at.since_s(case.start) as f64 / (f64::from(case.minutes) * 60.0) }
}

/// Keeps what was seen.
pub(super) fn keep(state: &mut State, when: &When, seen: Seen) {
    match seen {
        Seen::Nothing => {}
        Seen::Work { work, came, back, aside } => worked(state, when, work, came, (back, aside)),
        Seen::Begun { machine, method, came, programme, units } => {
            let free_at = state.paces.machines.get(&machine).and_then(|pace| pace.free_at);
            let from = came.max(free_at.unwrap_or(came));
            let hour = hour_of_week(from, state.zone);
            for place in [None, Some(hour)] {
                change(state, Work::Start(method), place, |pace| {
                    pace.first.add(when.at.since_s(from));
                    pace.acts += 1;
                });
            }
            change_machine(state, &machine, |pace| {
                let of = pace.programmes.entry(programme).or_default();
                of.most = of.most.max(units);
            });
        }
        Seen::Cycle { machine, programme, started, ended } => change_machine(state, &machine, |pace| {
            pace.programmes.entry(programme).or_default().takes.add(ended.since_s(started));
            pace.free_at = pace.free_at.max(Some(ended));
        }),
        Seen::Decided { machine, programme, took_s, released } => change_machine(state, &machine, |pace| {
            let of = pace.programmes.entry(programme).or_default();
            took_s.into_iter().for_each(|took_s| of.decides.add(took_s));
            if released {
                of.released += 1;
            } else {
                of.rejected += 1;
            }
        }),
        Seen::Case { share } => change(state, Work::Case, None, |pace| {
            pace.first.add((share * 3_600.0) as i64);
            pace.acts += 1;
        }),
    }
}

fn worked(state: &mut State, when: &When, work: Work, came: Option<Time>, (back, aside): (bool, bool)) {
    let Some(came) = came else {
        return change(state, work, None, |pace| {
            pace.acts += 1;
            pace.back += u64::from(back);
            pace.aside += u64::from(aside);
        });
    };
    if came > when.at {
        return;
    }
    let last = work.id(None).and_then(|id| state.paces.works.get(&id)).and_then(|pace| pace.last);
    let took_s = when.at.since_s(came);
    let is_first = last.is_none_or(|last| last.done <= came);
    change(state, work, None, |pace| {
        match last.filter(|_| !is_first) {
            None => pace.first.add(took_s),
            // Of what is done in one go nothing passes the other, in whatever order it is entered.
            Some(last) if last.came <= came || when.at.since_s(last.done) < IN_ONE_GO_S => {
                pace.next.add(when.at.since_s(last.done))
            }
            Some(_) => pace.passed.add(took_s),
        }
        pace.acts += 1;
        pace.back += u64::from(back);
        pace.aside += u64::from(aside);
        if last.is_none_or(|last| last.done <= when.at) {
            pace.last = Some(Last { done: when.at, came });
        }
    });
    if is_first {
        let hour = hour_of_week(came, state.zone);
        change(state, work, Some(hour), |pace| {
            pace.first.add(took_s);
            pace.acts += 1;
        });
    }
}

fn change(state: &mut State, work: Work, hour: Option<usize>, change: impl FnOnce(&mut Pace)) {
    let Some(id) = work.id(hour) else { return };
    change(Arc::make_mut(state.paces.works.entry(id.clone()).or_default()));
    state.changes.paces.insert(id);
}

fn change_machine(state: &mut State, machine: &Id, change: impl FnOnce(&mut MachinePace)) {
    change(Arc::make_mut(state.paces.machines.entry(machine.clone()).or_default()));
    state.changes.machine_paces.insert(machine.clone());
}
