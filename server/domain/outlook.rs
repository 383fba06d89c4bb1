//! What a model's lives say of what comes next: the law that fits them, or why none does, and how many failures are to be
//! expected among the pieces that are in service.

use std::collections::BTreeMap;

use super::id::Id;
use super::lifetime::{Clock, Lives, Piece};
use super::state::{Asset, Stage, State};
use super::time::{MINUTE, Time};
use crate::analysis::life::few::{Rate, rate_exact};
use crate::analysis::life::kaplan_meier::{self, Curve};
use crate::analysis::life::{self, Life, Limits, Refused, Weibull};

/// So far ahead failures are counted.
pub const AHEAD_DAYS: u32 = 90;
/// Below so many failures everything that is said is called so.
pub const FEW_FAILURES: u64 = 10;
/// A curve begins where so many pieces are at risk.
const AT_RISK: u64 = 10;
const DAY: i64 = 24 * 60 * MINUTE;

/// How many failures are to be expected among the pieces in service, within [`AHEAD_DAYS`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Expected {
    /// From each piece's own age, by the fitted law.
    Law(f64),
    /// From the failures so far, at any age alike: too few to know of wear.
    Rate(f64),
    /// Nothing failed, or nobody knows how fast pieces age here.
    Unknown,
}

impl Expected {
    pub fn number(self) -> Option<f64> {
        match self {
            Expected::Law(number) | Expected::Rate(number) => Some(number),
            Expected::Unknown => None,
        }
    }
}

#[derive(Clone, Debug)]
pub struct Outlook {
    pub lives: Lives,
    pub failures: u64,
    pub in_service: u32,
    pub oldest: u32,
    /// Failures that say nothing of a life: found before anything was gone through.
    pub at_once: u32,
    pub law: Result<Weibull, Refused>,
    /// The age by which 10 of 100 fail, with its limits.
    pub b10: Option<(f64, Limits)>,
    /// Age that a piece goes through in a day.
    pub per_day: Option<f64>,
    pub expected: Expected,
}

/// A failure that came before anything was gone through says nothing of how long a piece lasts.
fn at_once(piece: &Piece) -> bool {
    piece.failed.as_ref().is_some_and(|failed| failed.by <= piece.entry)
}

impl Outlook {
    pub fn of(state: &State, lives: Lives, now: Time) -> Outlook {
        let law = lives.fit();
        let per_day = pace(state, &lives, lives.clock, now);
        let at_once = lives.pieces.iter().filter(|piece| at_once(piece)).count();
        let failures = (lives.failures() - at_once) as u64;
        let expected = expected(&lives, &law, failures, per_day);
        Outlook {
            failures,
            in_service: lives.in_service().count() as u32,
            oldest: lives.oldest(),
            at_once: at_once as u32,
            b10: law.as_ref().ok().map(|law| (law.b(0.1), law.b_limits(0.1))),
            law,
            per_day,
            expected,
            lives,
        }
    }

    pub fn units(&self) -> usize {
        self.lives.pieces.len()
    }

    pub fn few(&self) -> bool {
        self.failures < FEW_FAILURES
    }

    pub fn clock(&self) -> Clock {
        self.lives.clock
    }

    /// The curve of what was seen. Where pieces came with an age, it begins at the first age at which enough are at risk:
    /// a share of few that are not new says nothing of new ones.
    pub fn curve(&self) -> Result<Curve, Refused> {
        let lives = self.lives.to_lives();
        let whole = kaplan_meier::curve(&lives, None)?;
        let first = whole.steps.first().map_or(AT_RISK, |step| step.at_risk);
        if lives.iter().all(|life| life.entry == 0.0) || first >= AT_RISK {
            return Ok(whole);
        }
        let from = |least: u64| whole.risk.iter().find(|(age, at_risk)| *age > 0.0 && *at_risk >= least);
        // Where there never are so many, it begins where there are any.
        let any = || from(1).filter(|_| lives.iter().all(|life| life.entry > 0.0));
        match from(AT_RISK).or_else(any) {
            Some((age, _)) => kaplan_meier::curve(&lives, Some(*age)),
            None => Ok(whole),
        }
    }
}

/// Age gone through in a day, in any clock, over all days that the pieces were watched. What only lay in the store does not
/// slow the others.
pub(super) fn pace(state: &State, lives: &Lives, clock: Clock, now: Time) -> Option<f64> {
    if clock == Clock::Days {
        return Some(1.0);
    }
    let (mut gone, mut days) = (0.0, 0.0);
    for piece in &lives.pieces {
        let Some(asset) = state.assets.get(&piece.asset) else { continue };
        let (entry, age) = (state.entry_age(asset, clock), state.age(asset, clock, now));
        if !piece.seated && age <= entry {
            continue;
        }
        let until = piece.retired_at.unwrap_or(now);
        gone += f64::from(age.saturating_sub(entry));
        days += (until.0 - asset.added_at.0).max(0) as f64 / DAY as f64;
    }
    (gone > 0.0 && days >= 1.0).then(|| gone / days)
}

fn expected(lives: &Lives, law: &Result<Weibull, Refused>, failures: u64, per_day: Option<f64>) -> Expected {
    let Some(ahead) = per_day.map(|per_day| per_day * f64::from(AHEAD_DAYS)) else {
        return Expected::Unknown;
    };
    if let Ok(law) = law {
        let mut by_age: BTreeMap<u32, u32> = BTreeMap::new();
        let aging = lives.in_service().filter(|piece| lives.ages(piece));
        aging.for_each(|piece| *by_age.entry(piece.age).or_default() += 1);
        let sum = by_age.iter().map(|(age, many)| f64::from(*many) * law.fail_within(f64::from(*age), ahead));
        return Expected::Law(sum.sum());
    }
    let gone = gone_through(lives);
    match (failures, gone > 0.0) {
        (0, _) | (_, false) => Expected::Unknown,
        (failures, true) => {
            let aging = lives.in_service().filter(|piece| lives.ages(piece)).count();
            Expected::Rate(failures as f64 / gone * ahead * aging as f64)
        }
    }
}

/// All age that the pieces went through while they were watched.
fn gone_through(lives: &Lives) -> f64 {
    lives.pieces.iter().map(|it| f64::from(it.age - it.entry.min(it.age))).sum()
}

impl Outlook {
    /// The rate of failures over everything that was gone through, with its exact limits (Garwood 1936).
    pub fn rate(&self) -> Option<Rate> {
        rate_exact(self.failures, gone_through(&self.lives)).ok()
    }
}

/// About so many things: a place after the point below ten.
pub fn about(number: f64) -> String {
    match number {
        _ if !number.is_finite() => "not known".into(),
        _ if number < 0.05 => "almost none".into(),
        _ if number < 10.0 => format!("{number:.1}"),
        _ => format!("{number:.0}"),
    }
}

/// "About 2.4 failures are expected", "Hardly any failure is expected".
pub fn about_failures(number: f64) -> String {
    match number < 0.05 {
        true => "Hardly any failure is expected".into(),
        false => format!("About {} failures are expected", about(number)),
    }
}

/// A share without its range: one place where it is small.
pub fn about_percent(share: f64) -> String {
    let percent = share * 100.0;
    match percent {
        _ if !percent.is_finite() => "not known".into(),
        _ if percent < 0.1 => "under 0.1 %".into(),
        _ if percent < 10.0 => format!("{percent:.1} %"),
        _ => format!("{percent:.0} %"),
    }
}

impl State {
    /// What is to be said of every model that has or had pieces.
    pub fn outlooks(&self, now: Time) -> BTreeMap<Id, Outlook> {
        let lives = self.all_lives(now).into_iter().filter(|(_, lives)| !lives.pieces.is_empty());
        lives.map(|(model, lives)| (model, Outlook::of(self, lives, now))).collect()
    }
}

/// How far it is to the end of the next case and to the next inspection, in a piece's own age. Both count from the last age at
/// which it is known to have been whole, so that what comes later is never the less likely.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Next {
    /// Since when a failure may have gone unseen: the age at the last good inspection.
    pub seen_whole: f64,
    /// From there to the end of the next case.
    pub case: f64,
    /// From there to the next inspection.
    pub inspection: f64,
}

/// The age of a piece at the end of its next case: of what was sterilised for it in this turn, that cycle is counted already.
fn after_next_case(asset: Option<&Asset>, piece: &Piece, clock: Clock, case_days: f64) -> f64 {
    let (age, whole_at) = (f64::from(piece.age), f64::from(piece.whole_at));
    let sterilised = asset.is_some_and(|asset| asset.stage >= Stage::Ready);
    match clock {
        Clock::Days => age + case_days,
        Clock::Cycles if sterilised => age.max(whole_at + 1.0),
        Clock::Cycles | Clock::Uses => age + 1.0,
    }
}

impl Outlook {
    /// What lies ahead of a piece; days to a case are those that lay between its model's uses.
    pub fn next(&self, state: &State, piece: &Piece, case_days: f64) -> Next {
        let clock = self.lives.clock;
        let asset = state.assets.get(&piece.asset).map(|asset| &**asset);
        let until = asset.map(|asset| state.until_inspection(asset, piece, clock));
        let seen_whole = f64::from(piece.whole_at);
        Next {
            seen_whole,
            case: after_next_case(asset, piece, clock, case_days) - seen_whole,
            inspection: f64::from(until.unwrap_or(1)),
        }
    }

    pub fn days_between_uses(&self, state: &State) -> f64 {
        let (mut days, mut uses) = (0.0, 0.0);
        for piece in self.lives.pieces.iter().filter(|_| self.lives.clock == Clock::Days) {
            let Some(asset) = state.assets.get(&piece.asset) else { continue };
            days += f64::from(piece.age - piece.entry.min(piece.age));
            uses += f64::from(asset.uses.saturating_sub(asset.prior_uses));
        }
        if uses > 0.0 { (days / uses).max(1.0) } else { 1.0 }
    }
}

/// What the lives of a group within a model are told apart by.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum By {
    Supplier,
    Method,
}

impl By {
    pub const ALL: [By; 2] = [By::Supplier, By::Method];

    pub fn words(self) -> &'static str {
        match self {
            By::Supplier => "supplier",
            By::Method => "way of sterilising",
        }
    }

    fn of(self, piece: &Piece) -> Option<String> {
        match self {
            By::Supplier => piece.supplier.as_ref().map(|line| line.0.clone()),
            By::Method => piece.method.map(|method| method.words().to_string()),
        }
    }
}

impl Outlook {
    /// The lives by group; those of which the group is not told are left out, and counted.
    pub fn groups(&self, by: By) -> (BTreeMap<String, Vec<Life>>, usize) {
        let mut groups: BTreeMap<String, Vec<Piece>> = BTreeMap::new();
        let mut untold = 0;
        for piece in &self.lives.pieces {
            match by.of(piece) {
                Some(group) => groups.entry(group).or_default().push(piece.clone()),
                None => untold += 1,
            }
        }
        let lives =
            |pieces| Lives { model: self.lives.model.clone(), clock: self.lives.clock, pieces }.to_lives();
        (groups.into_iter().map(|(group, pieces)| (group, lives(pieces))).collect(), untold)
    }
}

/// Fewer failures than this fit no law.
pub const FEWEST: u64 = life::FEWEST_FAILURES;
