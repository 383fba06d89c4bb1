//! Will today's and tomorrow's cases be equipped? When each set should be ready, how likely each case has its sets by its
//! start, and which step holds it up: from what is under way, how long things take here, and what waits for what.
//!
//! It is a guess with its odds, never a promise, and a time stands only where half of all runs reach it. What nobody can
//! know is said instead.

use std::collections::BTreeMap;

use serde::Serialize;

use super::allotted::{Allotted, allotted, statuses};
use super::board::Equipped;
use super::case::Case;
use super::forecast_acts::{Saves, help};
use super::forecast_shop::{Plan, Stop, plan};
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::{SetReadiness, SetStatus};
use super::state::State;
use super::time::{MINUTE, Time};
use crate::analysis::queue::{self, UnitForecast, WantForecast};

pub const REPLICATIONS: u32 = 1_000;
/// A set that a case gets in a smaller share of all runs is not told.
const TOLD_SHARE: f64 = 0.1;
/// Today and tomorrow, as on the board.
const SHOWN_DAYS: u64 = 2;

/// How likely a case is equipped by its start, in the words of people.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Likely {
    ReadyNow,
    /// In at least half of all runs.
    Expected,
    Unlikely,
    No,
    NotKnown,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetForecast {
    pub set: Id,
    /// When it should be ready, in every second run.
    pub ready_at: Option<Time>,
    /// By when in nine of ten.
    pub ready_9_in_10: Option<Time>,
    /// What takes longest on its way.
    pub held_up_by: Option<String>,
    /// Why nobody can say when.
    pub not_known: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CaseForecast {
    pub case: Id,
    pub start: Time,
    pub likely: Likely,
    /// The share of all runs in which everything is there by its start.
    pub chance: Option<f64>,
    /// The chance and the time as people say them.
    pub words: String,
    /// For each of its needs the sets that it gets in the runs, the one that it gets most often first.
    pub gets: Vec<Vec<Id>>,
    /// What keeps it from being equipped, in a few words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
    /// When the last of what it takes should be ready.
    pub ready_at: Option<Time>,
    pub ready_9_in_10: Option<Time>,
    /// Of the runs in which it is not in time: the count sheet that is there last, and what takes longest for it.
    pub lacks: Option<Id>,
    pub held_up_by: Option<String>,
    /// Why nobody can say.
    pub not_known: Option<String>,
    /// What would help most, each act tried.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub saves: Vec<Saves>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Forecast {
    /// Of which minute, and of which place in the ledger.
    pub as_of: Time,
    pub entry: u64,
    pub replications: u32,
    pub sets: Vec<SetForecast>,
    pub cases: Vec<CaseForecast>,
    /// What the forecast does not know, and what it takes instead.
    pub not_known: Vec<String>,
}

impl Forecast {
    pub fn case(&self, case: &Id) -> Option<&CaseForecast> {
        self.cases.iter().find(|it| it.case == *case)
    }

    pub fn set(&self, set: &Id) -> Option<&SetForecast> {
        self.sets.iter().find(|it| it.set == *set)
    }
}

/// The same chances are drawn for every minute and every place in the ledger, so that what changes on the board changes by the
/// clock and by what was recorded, and not by the dice.
pub(super) const SEED: u64 = 1;

/// The minute that a moment lies in: within it the forecast is the same.
pub fn minute(now: Time) -> Time {
    Time(now.0.div_euclid(MINUTE) * MINUTE)
}

impl State {
    /// The forecast of a moment. The same ledger and the same minute give the same one.
    pub fn forecast(&self, now: Time) -> Forecast {
        self.forecast_of(now, REPLICATIONS)
    }

    pub fn forecast_of(&self, now: Time, replications: u32) -> Forecast {
        let now = minute(now);
        let statuses = statuses(self, now);
        let allotted = allotted(self, &statuses, now);
        let plan = plan(self, &statuses, &allotted, (now, SHOWN_DAYS));
        let told = queue::forecast(&plan.shop, replications, SEED);
        let mut not_known = plan.not_known.clone();
        let (units, wants, got) = match told {
            Ok(told) => (told.units, told.wants, told.got),
            Err(why) => {
                not_known.push(format!("Nothing can be worked out from what is recorded: {why:?}."));
                (Vec::new(), Vec::new(), Vec::new())
            }
        };
        let telling = Telling { state: self, now, plan: &plan, statuses: &statuses, got: &got, replications };
        let sets = plan.sets.iter().enumerate().map(|(at, set)| telling.set(set, units.get(at)));
        let shown = allotted.iter().filter(|it| plan.is_shown(it.case));
        let cases = shown.map(|it| {
            let want = plan.wants.iter().position(|case| *case == it.case.case);
            telling.case(it, want.and_then(|at| Some((at, wants.get(at)?))))
        });
        let (sets, mut cases): (_, Vec<CaseForecast>) = (sets.collect(), cases.collect());
        help((self, now), &plan, &allotted, replications, &mut cases);
        Forecast { as_of: now, entry: self.seq, replications, sets, cases, not_known }
    }
}

struct Telling<'a> {
    state: &'a State,
    now: Time,
    plan: &'a Plan,
    statuses: &'a BTreeMap<&'a Id, SetStatus>,
    got: &'a [Vec<Vec<(usize, u32)>>],
    replications: u32,
}

impl Telling<'_> {
    /// A moment of a run, never told too early.
    fn at(&self, seconds: f64) -> Time {
        self.now.plus_s(seconds.ceil().max(0.0) as i64).minute_up()
    }

    fn step(&self, job: Option<usize>) -> Option<String> {
        self.plan.stops.get(job?).map(Stop::words)
    }

    fn set(&self, set: &Id, told: Option<&UnitForecast>) -> SetForecast {
        let status = self.statuses.get(set).map(|status| status.status);
        let is_now = status.is_some_and(is_ready);
        let ready = told.and_then(|told| told.ready);
        let not_known = match status {
            _ if is_now => None,
            Some(SetReadiness::NotReady) => Some("It is not whole: an essential line is short.".to_string()),
            Some(SetReadiness::Held) => Some("A part of it is on hold, until a person decides.".to_string()),
            _ if ready.is_some() => None,
            _ => self.plan.stuck.get(set).cloned().or_else(|| {
                Some(
                    "In fewer than half of all runs it is ready within the time that is looked at."
                        .to_string(),
                )
            }),
        };
        let ready = ready.filter(|_| not_known.is_none() && !is_now);
        let state = self.statuses.get(set).filter(|_| is_now);
        SetForecast {
            set: set.clone(),
            ready_at: ready.map(|it| self.at(it.median_s)).or_else(|| state.and_then(|it| it.ready_at)),
            ready_9_in_10: ready.and_then(|it| it.late_s).map(|late_s| self.at(late_s)),
            held_up_by: told.filter(|_| ready.is_some()).and_then(|told| self.step(told.held_up_at)),
            not_known,
        }
    }

    /// The sets that a case gets, need by need: what it gets in fewer than so many runs is not told.
    fn gets(&self, want: usize) -> Vec<Vec<Id>> {
        let is_told = |count: u32| f64::from(count) >= TOLD_SHARE * f64::from(self.replications);
        let sets = |units: &Vec<(usize, u32)>| {
            let often = units.iter().filter(|(_, count)| is_told(*count));
            often.filter_map(|(unit, _)| self.plan.sets.get(*unit)).cloned().collect()
        };
        self.got.get(want).into_iter().flatten().map(sets).collect()
    }

    /// Why a case that has no chance has none, where there is more to say than that nothing comes in time.
    fn because(&self, it: &Allotted, told: &WantForecast) -> Option<String> {
        if let Some(sets) = self.plan.disputed.get(&it.case.case) {
            let sets: Vec<&str> = sets.iter().map(Id::as_str).collect();
            return Some(format!("another case has {} too", sets.join(" and ")));
        }
        let lacks = told.lacks.and_then(|need| it.needs.get(need))?;
        let whole = it.needs.iter().all(|need| need.short.is_empty());
        let of_sheet =
            |set: &&Id| self.state.sets.get(*set).is_some_and(|set| set.count_sheet == lacks.count_sheet);
        self.plan.no_machine.iter().find(|(set, _)| whole && of_sheet(set)).map(|(_, why)| why.clone())
    }

    fn case(&self, it: &Allotted, told: Option<(usize, &WantForecast)>) -> CaseForecast {
        let case = it.case;
        let mut found = CaseForecast {
            case: case.case.clone(),
            start: case.start,
            likely: Likely::NotKnown,
            chance: None,
            words: String::new(),
            gets: Vec::new(),
            because: None,
            ready_at: None,
            ready_9_in_10: None,
            lacks: None,
            held_up_by: None,
            not_known: None,
            saves: Vec::new(),
        };
        let is_ready = !it.needs.is_empty() && it.needs.iter().all(|need| need.equipped == Equipped::Ready);
        if case.anything_out() || (is_ready && case.start >= self.now) {
            (found.likely, found.chance) = (Likely::ReadyNow, Some(1.0));
            found.words = if case.anything_out() { "out" } else { "ready now" }.into();
            return found;
        }
        let told = told.filter(|_| case.start >= self.now);
        let Some((want, told)) = told else {
            let why = not_known(case, self.now);
            (found.words, found.not_known) = ("not known".into(), Some(why));
            return found;
        };
        found.chance = Some(told.chance);
        found.gets = self.gets(want);
        found.because = self.because(it, told).filter(|_| tenths(told.chance) == 0 && told.ready.is_none());
        found.ready_at = told.ready.map(|ready| self.at(ready.median_s));
        found.ready_9_in_10 = told.ready.and_then(|ready| ready.late_s).map(|late_s| self.at(late_s));
        found.lacks = told.lacks.and_then(|need| case.needs.get(need)).cloned();
        found.held_up_by = self.step(told.held_up_at);
        (found.likely, found.words) = self.words(it, told, found.ready_at);
        if let Some(because) = found.because.as_ref().filter(|_| found.likely == Likely::No) {
            found.words = format!("no, {because}");
        }
        found
    }

    fn words(&self, it: &Allotted, told: &WantForecast, ready_at: Option<Time>) -> (Likely, String) {
        let zone = self.state.zone;
        let hour = |at: Time| match at.date(zone) == self.now.date(zone) {
            true => super::board::hour(self.state, at),
            false => at.in_zone(zone).format("%a %H:%M").to_string(),
        };
        let odds = odds(told.chance);
        match (tenths(told.chance), ready_at) {
            (5.., Some(at)) => (Likely::Expected, format!("expected {}, {odds}", hour(at))),
            (5.., None) => (Likely::Expected, format!("expected, {odds}")),
            (1.., Some(at)) if at > it.case.start => {
                (Likely::Unlikely, format!("unlikely, {odds}; expected {}", hour(at)))
            }
            (1.., _) => (Likely::Unlikely, format!("unlikely, {odds}")),
            (0, _) => {
                let short: Vec<&str> =
                    it.needs.iter().flat_map(|need| &need.short).map(|short| short.line.as_str()).collect();
                let no = match (short.as_slice(), ready_at) {
                    ([], Some(at)) => format!("no; expected {}, after it begins", hour(at)),
                    ([], None) => "no, nothing is ready in time".to_string(),
                    (lines, _) => format!("no, short of {}", lines.join(", ")),
                };
                (Likely::No, no)
            }
        }
    }
}

/// A chance in tenths, to the nearest one, so that of what is told as nine in ten about nine in ten come true; what is less
/// than a half is never told as five.
pub fn tenths(chance: f64) -> u8 {
    let nearest = (chance * 10.0).round().clamp(0.0, 10.0) as u8;
    if nearest == 5 && chance < 0.5 { 4 } else { nearest }
}

/// A chance as people say it.
pub fn odds(chance: f64) -> String {
    match tenths(chance) {
        0 => "less than 1 in 10".into(),
        // Nothing is certain.
        10 => "better than 9 in 10".into(),
        tenths => format!("{tenths} in 10"),
    }
}

/// Why nothing can be said of a case that is not simulated.
fn not_known(case: &Case, now: Time) -> String {
    if case.needs.is_empty() {
        return "What it needs is not known: no count sheet is named.".into();
    }
    if case.start < now {
        return "Its start has passed, and nothing was issued to it.".into();
    }
    "It starts beyond the time that is looked at.".into()
}
