//! Rows of things, counted by distinct age.

use super::{Life, Refused, Row};

/// Whole ages below this are counted in a table, all others are sorted.
const TABLE: usize = 1 << 16;
/// The table begins with so many places.
const FIRST: usize = 1 << 10;
/// More things than a number counts exactly.
const MOST: u64 = 1 << 53;

/// What happened at one age.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct At {
    pub age: f64,
    /// How many were watched no longer, the failed among them.
    pub exits: u64,
    pub failures: u64,
    /// How many began to be watched.
    pub entries: u64,
}

/// Failures that lie between two ages.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    pub low: f64,
    pub high: f64,
    pub count: u64,
}

/// Things counted by age. What failed between two ages leaves at the lower one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Counts {
    /// By rising age; what entered at age 0 is in `n` alone.
    pub ages: Vec<At>,
    pub between: Vec<Between>,
    pub n: u64,
    /// Failures, of either kind.
    pub failures: u64,
    /// How many entered at an age above 0.
    pub late: u64,
}

/// The tally while rows come in.
struct Tally {
    table: Vec<[u64; 3]>,
    loose: Vec<At>,
    between: Vec<Between>,
    n: u64,
    late: u64,
}

impl Tally {
    fn new() -> Tally {
        Tally { table: vec![[0; 3]; FIRST], loose: vec![], between: vec![], n: 0, late: 0 }
    }

    fn grow(&mut self, place: usize) {
        let size = (place + 1).next_power_of_two().min(TABLE);
        self.table.resize(size, [0; 3]);
    }

    #[inline]
    fn add(&mut self, age: f64, [exits, failures, entries]: [u64; 3]) {
        let place = age as usize;
        if place < TABLE && place as f64 == age {
            if place >= self.table.len() {
                self.grow(place);
            }
            if let Some(cell) = self.table.get_mut(place) {
                cell[0] += exits;
                cell[1] += failures;
                cell[2] += entries;
            }
        } else {
            self.loose.push(At { age, exits, failures, entries });
        }
    }

    /// Counts what most rows are: watched from age 0, to a whole age within the table. False where it is none of these.
    #[inline]
    fn plain(&mut self, entry: f64, age: f64, failed: bool, count: u64) -> bool {
        let place = age as u32 as usize;
        if entry != 0.0 || place == 0 || place as f64 != age || count.wrapping_sub(1) >= u64::from(u32::MAX) {
            return false;
        }
        let Some(cell) = self.table.get_mut(place) else {
            return false;
        };
        cell[0] += count;
        cell[1] += if failed { count } else { 0 };
        // So few at a time that no number of rows overflows; whether all can be counted is looked at in the end.
        self.n += count;
        true
    }

    #[inline]
    fn enter(&mut self, entry: f64, count: u64, at: usize) -> Result<(), Refused> {
        if count == 0 {
            return Err(said(at, "it stands for no thing at all; a count of 1 or more is needed"));
        }
        self.n = match self.n.checked_add(count) {
            Some(n) if n <= MOST => n,
            _ => return Err(said(at, TOO_MANY)),
        };
        if entry > 0.0 {
            self.late += count;
            self.add(entry, [0, 0, count]);
        }
        Ok(())
    }

    fn finish(self) -> Result<Counts, Refused> {
        if self.n > MOST {
            return Err(Refused::invalid(format!("In all rows together, {TOO_MANY}.")));
        }
        let full = self.table.iter().enumerate().filter(|(_, cell)| **cell != [0; 3]);
        let ages = full.map(|(age, cell)| At {
            age: age as f64,
            exits: cell[0],
            failures: cell[1],
            entries: cell[2],
        });
        let mut ages: Vec<At> = ages.collect();
        ages.extend(self.loose);
        ages.sort_unstable_by(|a, b| a.age.total_cmp(&b.age));
        ages.dedup_by(|next, kept| {
            let same = next.age == kept.age;
            if same {
                kept.exits += next.exits;
                kept.failures += next.failures;
                kept.entries += next.entries;
            }
            same
        });
        let mut between = self.between;
        between.sort_unstable_by(|a, b| a.low.total_cmp(&b.low).then(a.high.total_cmp(&b.high)));
        between.dedup_by(|next, kept| {
            let same = next.low == kept.low && next.high == kept.high;
            if same {
                kept.count += next.count;
            }
            same
        });
        let exact: u64 = ages.iter().map(|at| at.failures).sum();
        let inside: u64 = between.iter().map(|it| it.count).sum();
        Ok(Counts { ages, between, n: self.n, failures: exact + inside, late: self.late })
    }
}

const TOO_MANY: &str = "the counts add up to more than can be counted exactly";

fn said(at: usize, what: &str) -> Refused {
    Refused::invalid(format!("Row {}: {what}.", at + 1))
}

fn is_age(age: f64) -> bool {
    age.is_finite() && age >= 0.0
}

impl Counts {
    /// Counts rows for a fit. What was seen at one age only, and had not failed, says nothing and is counted all the same.
    pub fn of_rows(rows: impl IntoIterator<Item = Row>) -> Result<Counts, Refused> {
        let mut tally = Tally::new();
        for (at, row) in rows.into_iter().enumerate() {
            let exact = row.hi.is_none_or(|hi| hi == row.lo);
            if exact && tally.plain(row.entry, row.lo, row.hi.is_some(), row.count) {
                continue;
            }
            let right = is_age(row.entry) && is_age(row.lo) && row.entry <= row.lo;
            let right = right && row.hi.is_none_or(|hi| hi.is_finite() && hi >= row.lo && hi > row.entry);
            if !right {
                return Err(said(at, &wrong_row(&row)));
            }
            tally.enter(row.entry, row.count, at)?;
            match row.hi {
                None => tally.add(row.lo, [row.count, 0, 0]),
                Some(hi) if hi == row.lo => tally.add(hi, [row.count, row.count, 0]),
                Some(high) => {
                    tally.add(row.lo, [row.count, 0, 0]);
                    tally.between.push(Between { low: row.lo, high, count: row.count });
                }
            }
        }
        tally.finish()
    }

    /// Counts lives for a curve, with the same rules.
    pub fn of_lives(lives: impl IntoIterator<Item = Life>) -> Result<Counts, Refused> {
        let mut tally = Tally::new();
        for (at, life) in lives.into_iter().enumerate() {
            if tally.plain(life.entry, life.exit, life.event, life.count) {
                continue;
            }
            let right = is_age(life.entry) && is_age(life.exit) && life.entry <= life.exit;
            if !right || (life.event && life.entry == life.exit) {
                let hi = life.event.then_some(life.exit);
                let row = Row { entry: life.entry, lo: life.exit, hi, count: life.count };
                return Err(said(at, &wrong_row(&row)));
            }
            tally.enter(life.entry, life.count, at)?;
            tally.add(life.exit, [life.count, u64::from(life.event) * life.count, 0]);
        }
        tally.finish()
    }
}

/// What is wrong with a row, of which something is.
fn wrong_row(row: &Row) -> String {
    let Row { entry, lo, hi, .. } = *row;
    let ages = [Some(entry), Some(lo), hi];
    if ages.iter().flatten().any(|age| !age.is_finite()) {
        return "an age is no number".to_owned();
    }
    if ages.iter().flatten().any(|age| *age < 0.0) {
        return "an age is below 0".to_owned();
    }
    match hi {
        Some(hi) if hi < lo => format!("it failed between {lo} and {hi}, which is the wrong way round"),
        Some(0.0) => {
            "it failed at age 0, before any use; that is a fault on delivery and no wear: leave it out"
                .to_owned()
        }
        Some(hi) if lo == hi && entry == hi => {
            format!("it failed at {hi}, the age at which it began to be watched; a later age is needed")
        }
        _ if lo < entry => {
            format!("it was last seen whole, or failed, at {lo}, before it was watched from {entry}")
        }
        _ => format!("the ages {entry} and {lo} do not go together"),
    }
}
