//! How many repairs a thing has had by an age, on average: the mean cumulative function (Nelson 1995) with the robust limits of
//! Lawless and Nadeau (1995), which assume nothing of how repairs follow each other.

use super::{Refused, Z_95};

/// One thing that is repaired and goes on, watched from `start` to `end`.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    pub start: f64,
    pub end: f64,
    pub events: Vec<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct McfStep {
    pub age: f64,
    pub at_risk: u64,
    pub events: u64,
    /// Repairs of one thing up to this age.
    pub mean: f64,
    pub se: f64,
    pub low: f64,
    pub high: f64,
}

/// What happens at an age, in this order.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum What {
    Event,
    Leaves,
    Enters,
}

pub(super) fn check(units: &[Unit]) -> Result<(), Refused> {
    for (at, unit) in units.iter().enumerate() {
        let said = |what: String| Err(Refused::invalid(format!("Unit {}: {what}.", at + 1)));
        let mut ages = [unit.start, unit.end].into_iter().chain(unit.events.iter().copied());
        if !ages.all(|age| age.is_finite() && age >= 0.0) {
            return said("an age is no number of 0 or more".to_owned());
        }
        if unit.end < unit.start {
            return said(format!(
                "it was watched from {} to {}, which is the wrong way round",
                unit.start, unit.end
            ));
        }
        if let Some(event) = unit.events.iter().find(|event| **event <= unit.start || **event > unit.end) {
            return said(format!("an event at {event} lies outside the time in which it was watched"));
        }
    }
    Ok(())
}

/// A step for each age at which something was repaired. A thing is at risk after its start, up to and at its end.
pub fn mcf(units: &[Unit]) -> Result<Vec<McfStep>, Refused> {
    check(units)?;
    let mut happened: Vec<(f64, What, usize)> = vec![];
    for (at, unit) in units.iter().enumerate() {
        happened.push((unit.start, What::Enters, at));
        happened.push((unit.end, What::Leaves, at));
        happened.extend(unit.events.iter().map(|event| (*event, What::Event, at)));
    }
    happened.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut walk = Walk::new(units.len());
    let mut steps = vec![];
    let mut mean = 0.0;
    for same in happened.chunk_by(|a, b| a.0 == b.0 && a.1 == b.1) {
        let (age, what, _) = same[0];
        match what {
            What::Enters => same.iter().for_each(|(.., unit)| walk.enter(*unit)),
            What::Leaves => same.iter().for_each(|(.., unit)| walk.leave(*unit)),
            What::Event => {
                mean += same.len() as f64 / walk.at_risk;
                walk.events(same);
                let se = walk.variance().sqrt();
                let spread = (Z_95 * se / mean).exp();
                let at_risk = walk.at_risk as u64;
                let events = same.len() as u64;
                steps.push(McfStep {
                    age,
                    at_risk,
                    events,
                    mean,
                    se,
                    low: mean / spread,
                    high: mean * spread,
                });
            }
        }
    }
    Ok(steps)
}

/// The variance is the sum over things of the squares of what each has had more than was expected of it while it was watched. All
/// that are at risk move alike between their own events, so sums over them are enough.
struct Walk {
    at_risk: f64,
    /// What was expected of one that was watched all the time.
    all: f64,
    /// For each thing its own excess, with `all` added while it is watched.
    own: Vec<f64>,
    sum: f64,
    squares: f64,
    left: f64,
}

impl Walk {
    fn new(units: usize) -> Walk {
        Walk { at_risk: 0.0, all: 0.0, own: vec![0.0; units], sum: 0.0, squares: 0.0, left: 0.0 }
    }

    fn enter(&mut self, unit: usize) {
        self.own[unit] = self.all;
        self.at_risk += 1.0;
    }

    fn leave(&mut self, unit: usize) {
        let excess = self.own[unit] - self.all;
        self.at_risk -= 1.0;
        self.sum -= excess;
        self.squares -= excess * excess;
        self.left += excess * excess;
    }

    fn events(&mut self, same: &[(f64, What, usize)]) {
        let n = self.at_risk;
        let expected = same.len() as f64 / (n * n);
        self.squares += expected * (n * expected - 2.0 * self.sum);
        self.sum -= n * expected;
        self.all += expected;
        for of_unit in same.chunk_by(|a, b| a.2 == b.2) {
            let unit = of_unit[0].2;
            let more = of_unit.len() as f64 / n;
            let excess = self.own[unit] - self.all;
            self.own[unit] += more;
            self.sum += more;
            self.squares += more * (2.0 * excess + more);
        }
    }

    fn variance(&self) -> f64 {
        (self.left + self.squares).max(0.0)
    }
}
