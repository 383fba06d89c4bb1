//! The days to come against what there is: are the sets enough, and what if there were one more, a machine less, another
//! case? The same simulation as the board's, over more days, with and without the change, the same chances drawn.
//!
//! A range is of the simulation alone, from the number of its runs. That cases last and work goes as here so far is taken
//! for granted, and what nobody has planned yet is not in it.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::allotted::{Allotted, allotted, statuses};
use super::forecast::{SEED, minute, odds};
use super::forecast_shop::{Plan, plan};
use super::id::Id;
use super::readiness::{SetReadiness, SetStatus};
use super::state::{Condition, State};
use super::time::{Date, Time, told_day};
use super::what_if::{Question, another_set, set_away, with};
use crate::analysis::queue::{self, Forecast};

pub const REPLICATIONS: u32 = 400;
/// What would help is tried in fewer.
const TRIED: u32 = 200;
/// A day with better odds needs no help.
const GOOD: f64 = 0.8;
/// So many cases more, at the lower end of its range, has a change to bring, or it is not worth its words.
const WORTH: f64 = 0.1;
const MOST_HELPS: usize = 4;
/// The standard normal's 97.5 % point.
const Z: f64 = 1.959_963_985;

/// A share of all runs, with its 95 % range.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Chance {
    pub chance: f64,
    pub low: f64,
    pub high: f64,
}

impl Chance {
    /// Wilson's score interval: E. B. Wilson, J. Amer. Statist. Assoc. 22 (1927) 209.
    pub fn of(chance: f64, runs: u32) -> Chance {
        let n = f64::from(runs.max(1));
        let middle = chance + Z * Z / (2.0 * n);
        let half = Z * (chance * (1.0 - chance) / n + Z * Z / (4.0 * n * n)).sqrt();
        let under = 1.0 + Z * Z / n;
        Chance {
            chance,
            low: ((middle - half) / under).clamp(0.0, 1.0),
            high: ((middle + half) / under).clamp(0.0, 1.0),
        }
    }

    pub fn words(&self) -> String {
        let hundredth = |share: f64| (share * 100.0).round() as u32;
        format!("{} ({} to {} in 100 runs)", odds(self.chance), hundredth(self.low), hundredth(self.high))
    }
}

/// How the sets of one count sheet suffice on one day.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SheetAhead {
    pub count_sheet: Id,
    /// Cases that need one, and the most sets of it that are away at one time, with the planned turnaround.
    pub cases: usize,
    pub at_once: usize,
    /// Sets that are whole or on their way to be, less the reserve.
    pub sets: usize,
    /// That none of these cases is late for want of one.
    pub all: Chance,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CaseAhead {
    pub case: Id,
    pub start: Time,
    pub needs: Vec<Id>,
    /// Its sets are out for it already.
    pub out: bool,
    /// None where it is not known, with the reason.
    pub chance: Option<Chance>,
    pub lacks: Option<Id>,
    pub held_up_by: Option<String>,
    pub not_known: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DayAhead {
    pub day: Date,
    pub cases: Vec<CaseAhead>,
    /// That all of its cases whose needs are known are equipped in time; none where there are none.
    pub all: Option<Chance>,
    pub sheets: Vec<SheetAhead>,
}

/// A change that would bring more cases, tried.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Helps {
    /// What is changed, as a question that can be asked.
    pub asks: Question,
    pub sentence: String,
    /// How many cases more are equipped in time, with the 95 % range.
    pub cases: f64,
    pub low: f64,
    pub high: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Week {
    pub as_of: Time,
    pub entry: u64,
    pub replications: u32,
    pub asks: Question,
    /// As it is planned.
    pub days: Vec<DayAhead>,
    /// With what is asked for; empty where nothing is.
    pub changed: Vec<DayAhead>,
    /// How many cases more, or fewer, are equipped in time with it.
    pub difference: Option<(f64, f64, f64)>,
    pub helps: Vec<Helps>,
    pub not_known: Vec<String>,
}

/// One answer of the simulation, with what it is about.
struct Look {
    plan: Plan,
    told: Forecast,
    days: Vec<DayAhead>,
}

/// What a group of wants is about.
type Group = (Date, Option<Id>);
type Groups = BTreeMap<Group, Vec<(usize, Option<usize>)>>;

impl State {
    /// The days to come, as they are planned and with what is asked for.
    ///
    /// # Errors
    /// Sentences, where what is asked for cannot be.
    pub fn week(&self, now: Time, asks: &Question) -> Result<Week, Vec<String>> {
        let now = minute(now);
        let planned = Question { days: asks.days, ..Question::default() };
        let base = look(self, now, &planned, REPLICATIONS)?;
        let mut week = Week {
            as_of: now,
            entry: self.seq,
            replications: REPLICATIONS,
            asks: asks.clone(),
            days: base.days.clone(),
            changed: Vec::new(),
            difference: None,
            helps: Vec::new(),
            not_known: base.plan.not_known.clone(),
        };
        if !asks.is_empty() {
            let with = look(self, now, asks, REPLICATIONS)?;
            // A case that is added is in no run of the others.
            if asks.case.is_none() {
                week.difference = Some(more(&base.told, &with.told));
            }
            week.changed = with.days;
        }
        week.helps = helps(self, now, &base, asks.days);
        Ok(week)
    }
}

fn look(state: &State, now: Time, asks: &Question, replications: u32) -> Result<Look, Vec<String>> {
    let draft = with(state, now, asks)?;
    let state = &draft;
    let statuses = statuses(state, now);
    let allotted = allotted(state, &statuses, now);
    let mut plan = plan(state, &statuses, &allotted, (now, u64::from(asks.days)));
    if let Some((sheet, sets)) = &asks.more {
        for _ in 0..*sets {
            another_set(state, &mut plan, sheet)?;
        }
    }
    if let Some(set) = &asks.without {
        set_away(&mut plan, set);
    }
    let groups = groups(state, &plan, now);
    plan.shop.groups = groups.values().cloned().collect();
    let told = queue::forecast(&plan.shop, replications, SEED)
        .map_err(|why| vec![format!("Nothing can be worked out from what is recorded: {why:?}.")])?;
    let asked = Asked { state, statuses: &statuses, allotted: &allotted, asks, replications, now };
    let days = asked.days(&plan, &told, &groups);
    Ok(Look { plan, told, days })
}

/// The wants of each day, and the needs of each count sheet on each day.
fn groups(state: &State, plan: &Plan, now: Time) -> Groups {
    let mut groups = Groups::new();
    for (at, case) in plan.wants.iter().enumerate() {
        // What should have begun takes its sets, and is no case that can still be in time.
        let Some(case) = state.cases.get(case).filter(|case| case.start >= now) else { continue };
        let day = case.start.date(state.zone);
        groups.entry((day, None)).or_default().push((at, None));
        for (need, sheet) in case.needs.iter().enumerate() {
            groups.entry((day, Some(sheet.clone()))).or_default().push((at, Some(need)));
        }
    }
    groups
}

struct Asked<'a> {
    state: &'a State,
    statuses: &'a BTreeMap<&'a Id, SetStatus>,
    allotted: &'a [Allotted<'a>],
    asks: &'a Question,
    replications: u32,
    now: Time,
}

impl Asked<'_> {
    fn days(&self, plan: &Plan, told: &Forecast, groups: &Groups) -> Vec<DayAhead> {
        let mut days: BTreeMap<Date, DayAhead> = BTreeMap::new();
        let shown = self.allotted.iter().filter(|it| plan.is_shown(it.case));
        for it in shown {
            let day = it.case.start.date(self.state.zone);
            let empty = || DayAhead { day, cases: Vec::new(), all: None, sheets: Vec::new() };
            days.entry(day).or_insert_with(empty).cases.push(self.case(plan, told, it));
        }
        for (((day, sheet), wants), share) in groups.iter().zip(&told.groups) {
            let all = Chance::of(*share, self.replications);
            let Some(of) = days.get_mut(day) else { continue };
            match sheet {
                None => of.all = Some(all),
                Some(sheet) => of.sheets.push(SheetAhead {
                    count_sheet: sheet.clone(),
                    cases: wants.iter().map(|(want, _)| want).collect::<BTreeSet<_>>().len(),
                    at_once: self.at_once(*day, sheet),
                    sets: self.sets(sheet),
                    all,
                }),
            }
        }
        days.into_values().collect()
    }

    fn case(&self, plan: &Plan, told: &Forecast, it: &Allotted) -> CaseAhead {
        let case = it.case;
        let want = plan.wants.iter().position(|of| *of == case.case && case.start >= self.now);
        let want = want.and_then(|at| told.wants.get(at));
        let stop = |job: Option<usize>| Some(plan.stops.get(job?)?.words());
        let not_known = || match (case.needs.is_empty(), case.anything_out()) {
            (_, true) => "Its sets are out.",
            (true, _) => "What it needs is not known: no count sheet is named.",
            _ => "Its start has passed, and nothing was issued to it.",
        };
        CaseAhead {
            case: case.case.clone(),
            start: case.start,
            needs: case.needs.clone(),
            out: case.anything_out(),
            chance: want.map(|want| Chance::of(want.chance, self.replications)),
            lacks: want.and_then(|want| case.needs.get(want.lacks?)).cloned(),
            held_up_by: want.and_then(|want| stop(want.held_up_at)),
            not_known: want.is_none().then(|| not_known().to_string()),
        }
    }

    /// The sets of a count sheet that planned cases may have.
    fn sets(&self, sheet: &Id) -> usize {
        let is_whole = |set: &Id| {
            let status = self.statuses.get(set).map(|status| status.status);
            !matches!(status, None | Some(SetReadiness::NotReady | SetReadiness::Held))
        };
        let own = self.state.sets.values().filter(|set| set.count_sheet == *sheet && is_whole(&set.set));
        let away =
            |set: &&Id| self.state.sets.get(*set).is_some_and(|it| it.count_sheet == *sheet && is_whole(set));
        let away = self.asks.without.iter().filter(away).count();
        let more = self.asks.more.iter().filter(|(of, _)| of == sheet).map(|(_, sets)| *sets as usize);
        let reserve = self.state.reserves.get(sheet).copied().unwrap_or(0) as usize;
        (own.count() + more.sum::<usize>()).saturating_sub(away + reserve)
    }

    /// The most sets of a count sheet that are away at one time for cases that begin on a day.
    fn at_once(&self, day: Date, sheet: &Id) -> usize {
        let turnaround = self.state.policy.turnaround_minutes;
        let needs = |it: &Allotted| it.case.needs.iter().filter(|need| *need == sheet).count();
        let begins = |it: &&Allotted| it.case.start.date(self.state.zone) == day && needs(it) > 0;
        let away = |at: Time| {
            let is_away = |it: &&Allotted| {
                it.case.start <= at && at < it.case.end().plus_minutes(i64::from(turnaround))
            };
            self.allotted.iter().filter(is_away).map(needs).sum::<usize>()
        };
        self.allotted.iter().filter(begins).map(|it| away(it.case.start)).max().unwrap_or(0)
    }
}

/// How many wants more are in time, with the 95 % range: runs of one number are alike but for the change, so that their
/// differences are what is spread. Of two that were run unequally often the runs that both have are compared.
fn more(base: &Forecast, with: &Forecast) -> (f64, f64, f64) {
    let differences: Vec<f64> = base
        .in_time
        .iter()
        .zip(&with.in_time)
        .map(|(before, after)| f64::from(*after) - f64::from(*before))
        .collect();
    let n = differences.len().max(2) as f64;
    let mean = differences.iter().sum::<f64>() / n;
    let spread = differences.iter().map(|it| (it - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let half = Z * (spread / n).sqrt();
    (mean, mean - half, mean + half)
}

/// What would help most: one more set of each count sheet that is needed, one more of each machine, each that is out of
/// service back.
fn helps(state: &State, now: Time, base: &Look, days: u32) -> Vec<Helps> {
    let is_short = |day: &DayAhead| day.all.is_some_and(|all| all.chance < GOOD);
    if !base.days.iter().any(is_short) {
        return Vec::new();
    }
    let planned = Question { days, ..Question::default() };
    let sheets: BTreeSet<&Id> =
        base.days.iter().flat_map(|day| &day.sheets).map(|it| &it.count_sheet).collect();
    let mut all: Vec<Helps> = sheets
        .into_iter()
        .filter_map(|sheet| {
            let asks = Question { days, more: Some((sheet.clone(), 1)), ..Question::default() };
            let after = look(state, now, &asks, TRIED).ok()?;
            let name = state.sheets.get(sheet).map_or(sheet.as_str(), |it| it.name.0.as_str());
            Some(helped(asks, format!("One more set “{name}”"), more(&base.told, &after.told)))
        })
        .collect();
    for (at, station) in base.plan.shop.stations.iter().enumerate().filter(|(_, it)| it.gathers.is_some()) {
        let job = base.plan.shop.jobs.iter().position(|job| job.station == at);
        let words = job.and_then(|job| base.plan.stops.get(job)?.machine());
        let (Some(server), Some(words)) = (station.servers.first(), words) else { continue };
        let mut shop = base.plan.shop.clone();
        if let Some(it) = shop.stations.get_mut(at) {
            it.servers.push(server.clone());
        }
        let Ok(after) = queue::forecast(&shop, TRIED, SEED) else { continue };
        all.push(helped(planned.clone(), format!("One more {words}"), more(&base.told, &after)));
    }
    for machine in state.machines.values().filter(|it| it.condition != Condition::InService) {
        let asks = Question { days, back: Some(machine.machine.clone()), ..Question::default() };
        let Ok(after) = look(state, now, &asks, TRIED) else { continue };
        let does = format!("{} back in service", machine.machine);
        all.push(helped(asks, does, more(&base.told, &after.told)));
    }
    all.retain(|it| it.low >= WORTH);
    all.sort_by(|a, b| b.cases.total_cmp(&a.cases));
    all.truncate(MOST_HELPS);
    all
}

fn helped(asks: Question, does: String, (cases, low, high): (f64, f64, f64)) -> Helps {
    let sentence = format!("{does}: {cases:.1} cases more are equipped in time ({low:.1} to {high:.1}).");
    Helps { asks, sentence, cases, low, high }
}

/// The day in words, as people plan by it.
pub fn day_words(day: Date) -> String {
    format!("{} {}", day.format("%A"), told_day(day))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wilson's interval for 8 of 10, 49.0 to 94.3 in 100, as in Newcombe, Statistics in Medicine 17 (1998) 857, method 3;
    /// figures from memory, worked out by hand too.
    #[test]
    fn the_range_of_a_share_is_wilsons() {
        let it = Chance::of(0.8, 10);
        assert!((it.low - 0.4902).abs() < 1e-4 && (it.high - 0.9433).abs() < 1e-4, "{it:?}");
        let none = Chance::of(0.0, 400);
        assert!(none.low == 0.0 && (none.high - 0.0095).abs() < 1e-4, "{none:?}");
    }
}
