//! From what the ledger says of how long things take to laws that a simulation draws from: what happened at that hour of
//! the week first, then what happened near it, then at any hour; and where the house has no history, what is usual.

use super::id::Id;
use super::pace::{HOURS, MachinePace, Pace, ProgrammePace, Work};
use super::pace_counts::{Class, Lengths, quantiles};
use super::programme::Programme;
use super::route::{Method, StepKind};
use super::state::State;
use crate::analysis::queue::Law;

/// How much the usual weighs beside nothing, in acts; with every so many acts it weighs a part of that.
const PRIOR_ACTS: f64 = 3.0;
const PRIOR_FADES: f64 = 10.0;
/// What an hour borrows: from the hours beside it, from the same hour of a day like it, from all hours.
const BESIDE: f64 = 0.3;
const LIKE: f64 = 0.2;
const ANY_HOUR_ACTS: f64 = 4.0;
/// Fewer acts than these say nothing yet.
pub const ENOUGH: u64 = 12;

/// The usual of a piece of work, in minutes: until somebody has turned to it and done it, and for the next one behind
/// it. Common practice, and no more: the house's own history outweighs it after some ten acts.
fn usual(work: Work) -> (f64, f64) {
    match work {
        Work::Step(StepKind::Treated, _) => (10.0, 3.0),
        Work::Step(StepKind::Received, _) => (25.0, 3.0),
        Work::Step(StepKind::Cleaned, _) => (30.0, 12.0),
        Work::Step(StepKind::Ultrasonic, _) => (20.0, 10.0),
        Work::Step(StepKind::Dried, _) => (20.0, 8.0),
        // High-level disinfection by hand takes 5 to 90 min by its solution (CDC Guideline 2008, table 4).
        Work::Step(StepKind::Disinfected, _) => (35.0, 15.0),
        Work::Step(StepKind::Inspected, _) => (30.0, 12.0),
        Work::Step(StepKind::Packed, _) => (20.0, 8.0),
        Work::Step(StepKind::Sterilised, _) | Work::Start(_) => (20.0, 10.0),
        Work::Case => (60.0, 60.0),
    }
}

/// A cycle with its unloading, in minutes. A peroxide cycle takes 28 to 60 min, ethylene oxide with its airing 12 to 14 h
/// (a trade article); a washer's and a steam cycle are common practice.
fn usual_cycle(method: Method) -> f64 {
    match method {
        Method::Machine | Method::Manual | Method::Steam => 60.0,
        Method::HydrogenPeroxide => 55.0,
        Method::EthyleneOxide => 240.0,
    }
}

/// The usual, spread around its middle.
fn spread(middle_minutes: f64, weight: f64) -> [Class; 3] {
    let class = |from: f64, to: f64, share: f64| Class {
        from_s: from * middle_minutes * 60.0,
        to_s: to * middle_minutes * 60.0,
        weight: share * weight,
    };
    [class(0.4, 0.8, 0.3), class(0.8, 1.3, 0.4), class(1.3, 2.5, 0.3)]
}

fn prior_weight(acts: u32) -> f64 {
    PRIOR_ACTS / (1.0 + f64::from(acts) / PRIOR_FADES)
}

fn law(classes: &[Class]) -> Law {
    let shares: Vec<f64> = (0..=32).map(|i| f64::from(i) / 32.0).collect();
    Law::Table(quantiles(classes, &shares).into())
}

fn learned(lengths: Option<&Lengths>, middle_minutes: f64) -> Law {
    let known = lengths.map(|lengths| (lengths.count(), lengths.classes(1.0)));
    let (count, mut classes) = known.unwrap_or_default();
    classes.extend(spread(middle_minutes, prior_weight(count)));
    law(&classes)
}

impl State {
    pub fn pace(&self, work: Work, hour: Option<usize>) -> Option<&Pace> {
        self.paces.works.get(&work.id(hour)?).map(|pace| &**pace)
    }

    fn machine_pace(&self, machine: &Id) -> Option<&MachinePace> {
        self.paces.machines.get(machine).map(|pace| &**pace)
    }

    fn programme_pace(&self, machine: &Id, programme: &Id) -> Option<&ProgrammePace> {
        self.machine_pace(machine)?.programmes.get(programme)
    }

    /// From when something comes to an idle place until it is done, or begun, by the hour of the week in which it comes.
    pub fn first_law(&self, work: Work, hour: usize) -> Law {
        let whole = self.pace(work, None).map(|pace| &pace.first).filter(|it| !it.is_empty());
        let mut classes = Vec::new();
        let mut count = 0;
        if let Some(whole) = whole {
            count = whole.count();
            classes.extend(whole.classes(ANY_HOUR_ACTS / f64::from(count.max(1))));
        }
        let (day, of_day) = (hour / 24, hour % 24);
        let beside = |by: usize| day * 24 + (of_day + by) % 24;
        // Monday to Thursday are like Friday, Saturday is like Sunday.
        let like = (day ^ 1) * 24 + of_day;
        for (hour, weight) in [(hour, 1.0), (beside(1), BESIDE), (beside(23), BESIDE), (like, LIKE)] {
            let lengths = self.pace(work, Some(hour % HOURS)).map(|pace| &pace.first);
            classes.extend(lengths.map(|lengths| lengths.classes(weight)).unwrap_or_default());
        }
        classes.extend(spread(usual(work).0, prior_weight(count)));
        law(&classes)
    }

    /// From when the one before is done until the next is that waited with it.
    pub fn next_law(&self, work: Work) -> Law {
        learned(self.pace(work, None).map(|pace| &pace.next), usual(work).1)
    }

    /// How often one is kept up on its own while others pass it, and for how long. None where that never happened.
    pub fn passed_law(&self, work: Work) -> Option<(f64, Law)> {
        let pace = self.pace(work, None).filter(|pace| !pace.passed.is_empty())?;
        let passed = f64::from(pace.passed.count());
        let all = passed + f64::from(pace.first.count()) + f64::from(pace.next.count());
        Some((passed / all.max(1.0), law(&pace.passed.classes(1.0))))
    }

    /// From a cycle's start to its end.
    pub fn cycle_law(&self, machine: &Id, programme: &Programme) -> Law {
        let known = self.programme_pace(machine, &programme.programme).map(|pace| &pace.takes);
        learned(known, usual_cycle(programme.method))
    }

    /// From a cycle's end to the decision. What has to air before it, airs so long at least where nothing is known.
    pub fn decision_law(&self, machine: &Id, programme: &Programme) -> Law {
        let known = self.programme_pace(machine, &programme.programme).map(|pace| &pace.decides);
        learned(known, 8.0 + f64::from(programme.aeration_s.unwrap_or(0)) / 60.0)
    }

    /// How long a case takes of what was planned for it, until all is counted: an hour stands for the whole.
    pub fn case_law(&self) -> Law {
        learned(self.pace(Work::Case, None).map(|pace| &pace.first), usual(Work::Case).0)
    }

    /// The share of a machine's loads that are rejected: as it was here, leaning on one of fifty where little is known.
    pub fn rejected_share(&self, machine: &Id, programme: &Id) -> f64 {
        let pace = self.programme_pace(machine, programme);
        let (rejected, released) =
            pace.map_or((0.0, 0.0), |pace| (pace.rejected as f64, pace.released as f64));
        (rejected + 0.5) / (rejected + released + 25.0)
    }

    /// The share of the acts by which something goes back, or is set aside.
    pub fn back_share(&self, work: Work) -> f64 {
        let pace = self.pace(work, None);
        let (back, acts) = pace.map_or((0.0, 0.0), |pace| (pace.back as f64, pace.acts as f64));
        (back + 0.5) / (acts + 25.0)
    }

    /// The most sets or single parts that a load of a programme held, where any did.
    pub fn most_in_load(&self, machine: &Id, programme: &Id) -> Option<u32> {
        self.programme_pace(machine, programme).map(|pace| pace.most).filter(|most| *most > 0)
    }

    /// Whether enough was recorded of a piece of work to say how long it takes here.
    pub fn knows(&self, work: Work) -> bool {
        self.pace(work, None).is_some_and(|pace| pace.acts >= ENOUGH)
    }

    /// Whether a machine ran a programme often enough.
    pub fn knows_cycle(&self, machine: &Id, programme: &Id) -> bool {
        self.programme_pace(machine, programme).is_some_and(|pace| pace.released + pace.rejected >= 3)
    }

    /// Since when a machine has nothing to do, as far as its records tell.
    pub fn idle_since(&self, machine: &Id) -> Option<super::time::Time> {
        self.machine_pace(machine)?.free_at
    }
}
