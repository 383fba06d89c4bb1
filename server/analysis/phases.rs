//! The phases of a cycle, for its plot and its report. They say what the record looks like, and judge nothing.
//!
//! Phases are in the order of time, lie within the record, never overlap and have length; between two of them there
//! may be time that is in none. A phase that cannot be seen in the record is left out. Between samples every channel
//! is a straight line, and a level is crossed where that line crosses it. The coldest channel is at any time the
//! one that is coldest then.
//!
//! A steam cycle with a pressure:
//! - *pre-vacuum*, one for each evacuation before the hold: the pressure falls by at least [`SWING_KPA`] to a low
//!   below [`PULSE_LOW_KPA`] and rises by as much again. It starts where the pressure was last within
//!   [`STEADY_KPA`] of the high before the fall, and ends where the next one starts; the last ends where the
//!   pressure was last within [`STEADY_KPA`] of its low.
//! - *heating* from there to the start of the hold; without an evacuation as below, without a pressure.
//! - *hold* as it was found.
//! - *exhaust* from the last time that the pressure is as high as at the end of the hold, to its first fall to
//!   [`DRYING_KPA`]; without such a fall, to where it is first within [`STEADY_KPA`] of the low, below
//!   [`PULSE_LOW_KPA`], that it comes to before it rises by [`SWING_KPA`] again.
//! - *drying* in deep vacuum: from the first fall to [`DRYING_KPA`] after the hold to the last rise above it, or
//!   to the end of the record. Pulses of air in between belong to it.
//!
//! A disinfection, and a steam cycle without a pressure, of which temperature alone does not say more:
//! - *heating* from the last time that any channel is within [`STEADY_K`] of the low from which the coldest
//!   channel rose to the hold without falling by [`SWING_K`], to the start of the hold.
//! - *hold* as it was found.
//! - *cooling* from the last time that every channel is as hot as the coldest at the end of the hold, to where
//!   any channel is first within [`STEADY_K`] of the low that the coldest comes to before it rises by [`SWING_K`].
//!
//! Where no hold was found, the first and the last sample at which the coldest channel is hottest stand for its start
//! and its end, and there is no phase between them.

use serde::Serialize;

use super::lethality::at;
use super::record::Record;
use super::span::Span;

/// The least fall and rise of an evacuation, in kPa. Chosen, not standardised: more than a recorder's noise and the
/// give of a valve, less than the shallowest pulse that moves air.
pub const SWING_KPA: f64 = 30.0;
/// The highest low of an evacuation, in kPa. Chosen: water boils at 111 °C there, so that a dip of a hold is none.
pub const PULSE_LOW_KPA: f64 = 150.0;
/// How far a pressure may move and still count as steady, in kPa. Chosen.
pub const STEADY_KPA: f64 = 1.0;
/// The absolute pressure, in kPa, from which on a vacuum counts as drying. Chosen: water boils at 60 °C there.
pub const DRYING_KPA: f64 = 20.0;
/// The least fall or rise of a temperature that is one, in K. Chosen.
pub const SWING_K: f64 = 10.0;
/// How far a temperature may move and still count as steady, in K. Chosen.
pub const STEADY_K: f64 = 1.0;

/// What counts as a fall, a rise and a steady value of one quantity.
struct Measure {
    swing: f64,
    steady: f64,
    /// A low from which a rise counts is below this.
    low: f64,
}

const PRESSURE: Measure = Measure { swing: SWING_KPA, steady: STEADY_KPA, low: PULSE_LOW_KPA };
const TEMPERATURE: Measure = Measure { swing: SWING_K, steady: STEADY_K, low: f64::INFINITY };

/// What a machine does in a phase.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum PhaseKind {
    /// One evacuation and the steam let in after it; they are counted from 1.
    PreVacuum {
        pulse: u32,
    },
    Heating,
    Hold,
    Exhaust,
    Drying,
    Cooling,
}

/// A part of a record, in seconds of its time; never without length.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Phase {
    #[serde(flatten)]
    pub kind: PhaseKind,
    pub start_s: f64,
    pub end_s: f64,
}

/// The phases of a steam cycle with the hold that was found in it. The record has passed [`Record::check`].
pub fn steam(record: &Record, hold: Option<Span>) -> Vec<Phase> {
    let Some(pressure) = &record.pressure_kpa_abs else {
        return disinfection(record, hold);
    };
    let (mut phases, pivot) = (Phases::default(), Pivot::of(record, hold));
    let pressure = Line { time_s: &record.time_s, values: vec![pressure] };
    evacuations(&mut phases, &pressure, &pivot);
    let heating_s = phases.end_s().unwrap_or_else(|| heating_from_s(record, &pivot));
    phases.add(PhaseKind::Heating, heating_s, pivot.start_s);
    phases.hold(hold);
    let dry = pressure.first_below(DRYING_KPA, pivot.end_s, pressure.end_s());
    let (from_s, steady_s) = pressure.fall(pivot.end_s, &PRESSURE);
    phases.add(PhaseKind::Exhaust, from_s, dry.map_or(steady_s, |dry_s| steady_s.min(dry_s)));
    if let Some(dry_s) = dry {
        let wet_s = pressure.last_below(DRYING_KPA, dry_s, pressure.end_s());
        phases.add(PhaseKind::Drying, dry_s, wet_s.unwrap_or(dry_s));
    }
    phases.all
}

/// The phases of a disinfection with the continuous span that was found in it. The record has passed
/// [`Record::check`].
pub fn disinfection(record: &Record, hold: Option<Span>) -> Vec<Phase> {
    let (mut phases, pivot) = (Phases::default(), Pivot::of(record, hold));
    phases.add(PhaseKind::Heating, heating_from_s(record, &pivot), pivot.start_s);
    phases.hold(hold);
    let (from_s, steady_s) = Line::coldest(record).fall(pivot.end_s, &TEMPERATURE);
    phases.add(PhaseKind::Cooling, from_s, steady_s);
    phases.all
}

/// Adds a phase for each evacuation before the hold; the last ends at its low.
fn evacuations(phases: &mut Phases, pressure: &Line, pivot: &Pivot) {
    let mut lows: Vec<(f64, f64)> = Vec::new();
    let (mut high, mut low) = (0, None::<usize>);
    for i in pressure.samples_until(pivot.start_s) {
        let kpa = pressure.sample(i);
        match low {
            None if kpa >= pressure.sample(high) => high = i,
            None if kpa <= pressure.sample(high) - SWING_KPA => low = Some(i),
            None => {}
            Some(lowest) if kpa <= pressure.sample(lowest) => low = Some(i),
            Some(lowest) if kpa >= pressure.sample(lowest) + SWING_KPA => {
                if pressure.sample(lowest) < PULSE_LOW_KPA {
                    lows.push((pressure.falls_s(high, lowest), pressure.sample(lowest)));
                }
                (high, low) = (i, None);
            }
            Some(_) => {}
        }
    }
    for (n, (start_s, low_kpa)) in lows.iter().enumerate() {
        let end_s = match lows.get(n + 1) {
            Some((next_s, _)) => Some(*next_s),
            None => pressure.last_below(low_kpa + STEADY_KPA, *start_s, pivot.start_s),
        };
        let pulse = u32::try_from(n + 1).unwrap_or(u32::MAX);
        phases.add(PhaseKind::PreVacuum { pulse }, *start_s, end_s.unwrap_or(*start_s));
    }
}

/// From when on a load was heated up to the hold, as its temperatures say.
fn heating_from_s(record: &Record, pivot: &Pivot) -> f64 {
    let coldest = Line::coldest(record);
    let (start_s, before) = (pivot.start_s, coldest.samples_until(pivot.start_s));
    // From the hold backwards, the rise is a fall.
    let (low_s, low_c) = coldest.low((start_s, coldest.value(start_s)), before.rev(), &TEMPERATURE);
    coldest.last_below(low_c + STEADY_K, low_s, start_s).unwrap_or(low_s)
}

/// The times around which a cycle is told: those of its hold, or of its peak.
struct Pivot {
    start_s: f64,
    end_s: f64,
}

impl Pivot {
    fn of(record: &Record, hold: Option<Span>) -> Self {
        if let Some(Span { start_s, end_s, .. }) = hold {
            return Self { start_s, end_s };
        }
        let coldest = Line::coldest(record);
        let (mut first, mut last) = (0, 0);
        for i in 1..record.time_s.len() {
            let (temp_c, hottest_c) = (coldest.sample(i), coldest.sample(last));
            if temp_c > hottest_c {
                first = i;
            }
            if temp_c >= hottest_c {
                last = i;
            }
        }
        Self { start_s: record.time_s[first], end_s: record.time_s[last] }
    }
}

/// The phases as far as they were found.
#[derive(Default)]
struct Phases {
    all: Vec<Phase>,
}

impl Phases {
    fn end_s(&self) -> Option<f64> {
        self.all.last().map(|phase| phase.end_s)
    }

    /// Adds a phase, or what of it lies after the one before.
    fn add(&mut self, kind: PhaseKind, start_s: f64, end_s: f64) {
        let start_s = self.end_s().map_or(start_s, |before_s| before_s.max(start_s));
        if end_s > start_s {
            self.all.push(Phase { kind, start_s, end_s });
        }
    }

    fn hold(&mut self, hold: Option<Span>) {
        if let Some(Span { start_s, end_s, .. }) = hold {
            self.add(PhaseKind::Hold, start_s, end_s);
        }
    }
}

/// The lowest of several channels over time.
struct Line<'r> {
    time_s: &'r [f64],
    values: Vec<&'r [f64]>,
}

impl<'r> Line<'r> {
    fn coldest(record: &'r Record) -> Self {
        let values = record.channels.iter().map(|channel| channel.temp_c.as_slice()).collect();
        Self { time_s: &record.time_s, values }
    }

    fn end_s(&self) -> f64 {
        self.time_s[self.time_s.len() - 1]
    }

    fn sample(&self, i: usize) -> f64 {
        self.values.iter().map(|values| values[i]).fold(f64::INFINITY, f64::min)
    }

    fn value(&self, at_s: f64) -> f64 {
        let i = self.samples_until(at_s).end.saturating_sub(1);
        self.values.iter().map(|values| at(self.time_s, values, i, at_s)).fold(f64::INFINITY, f64::min)
    }

    fn samples_until(&self, at_s: f64) -> std::ops::Range<usize> {
        0..self.time_s.partition_point(|t| *t <= at_s)
    }

    /// Where the line was last within [`STEADY_KPA`] of the sample `high` before it fell to the sample `low`.
    fn falls_s(&self, high: usize, low: usize) -> f64 {
        let level = self.sample(high) - STEADY_KPA;
        self.last_above(level, self.time_s[high], self.time_s[low]).unwrap_or(self.time_s[high])
    }

    /// The fall after `from_s`, to the low that the line comes to before it rises again: from the last time that it is
    /// as high as at `from_s` to the first at which it is steady at the low.
    fn fall(&self, from_s: f64, by: &Measure) -> (f64, f64) {
        let (high, after) = (self.value(from_s), self.samples_until(from_s).end..self.time_s.len());
        let (low_s, low) = self.low((from_s, high), after, by);
        let start_s = self.last_above(high, from_s, low_s).unwrap_or(from_s);
        (start_s, self.first_below(low + by.steady, start_s, low_s).unwrap_or(start_s))
    }

    /// The low that the line comes to from a time and its value there, over samples in either direction, before it
    /// rises again.
    fn low(
        &self,
        (from_s, from): (f64, f64),
        samples: impl Iterator<Item = usize>,
        by: &Measure,
    ) -> (f64, f64) {
        let (mut high, mut low, mut low_s) = (from, from, from_s);
        for i in samples {
            let value = self.sample(i);
            if value > high {
                (high, low, low_s) = (value, value, self.time_s[i]);
            } else if value < low {
                (low, low_s) = (value, self.time_s[i]);
            } else if low < by.low && low <= high - by.swing && value >= low + by.swing {
                break;
            }
        }
        (low_s, low)
    }

    /// The first time from `from_s` to `to_s` at which the line is at or below a level.
    fn first_below(&self, level: f64, from_s: f64, to_s: f64) -> Option<f64> {
        let firsts = self.values.iter().filter_map(|values| {
            self.stretches(values, from_s, to_s)
                .find_map(|line| line.below(level).map(|(first_s, _)| first_s))
        });
        firsts.reduce(f64::min)
    }

    /// The last time from `from_s` to `to_s` at which the line is at or below a level.
    fn last_below(&self, level: f64, from_s: f64, to_s: f64) -> Option<f64> {
        let lasts = self.values.iter().filter_map(|values| {
            self.stretches(values, from_s, to_s)
                .rev()
                .find_map(|line| line.below(level).map(|(_, last_s)| last_s))
        });
        lasts.reduce(f64::max)
    }

    /// The last time from `from_s` to `to_s` at which the line, so each of its channels, is at or above a level.
    fn last_above(&self, level: f64, from_s: f64, to_s: f64) -> Option<f64> {
        let channels: Vec<_> =
            self.values.iter().map(|values| self.stretches(values, from_s, to_s)).collect();
        let stretches = channels.first()?.len();
        let mut channels: Vec<_> = channels.into_iter().map(Iterator::rev).collect();
        (0..stretches).find_map(|_| {
            let (mut first_s, mut last_s) = (from_s, to_s);
            for channel in &mut channels {
                let (from_s, until_s) = channel.next()?.above(level)?;
                (first_s, last_s) = (first_s.max(from_s), last_s.min(until_s));
            }
            (first_s <= last_s).then_some(last_s)
        })
    }

    /// The straight lines of a channel between two times within the record.
    fn stretches(
        &self,
        values: &'r [f64],
        from_s: f64,
        to_s: f64,
    ) -> impl DoubleEndedIterator<Item = Stretch> + ExactSizeIterator {
        let time_s = self.time_s;
        let first = self.samples_until(from_s).end.saturating_sub(1);
        let end = time_s.partition_point(|t| *t < to_s).max(first + 1);
        // Samples stand for themselves; between them lie only the two ends.
        let cut = move |i: usize, at_s: f64| (at_s, at(time_s, values, i, at_s));
        (first..end).map(move |i| {
            let sample = |i: usize| (time_s[i], values[i]);
            let (start_s, start) = if time_s[i] < from_s { cut(i, from_s) } else { sample(i) };
            let is_whole = time_s.get(i + 1).is_some_and(|next_s| *next_s <= to_s);
            let (end_s, end) = if is_whole { sample(i + 1) } else { cut(i, to_s) };
            Stretch { start_s, end_s, start, end }
        })
    }
}

/// A straight line over a part of the time between two samples.
struct Stretch {
    start_s: f64,
    end_s: f64,
    start: f64,
    end: f64,
}

impl Stretch {
    /// The first and the last time at or below a level.
    fn below(&self, level: f64) -> Option<(f64, f64)> {
        self.where_inside(self.start <= level, self.end <= level, level)
    }

    /// The first and the last time at or above a level.
    fn above(&self, level: f64) -> Option<(f64, f64)> {
        self.where_inside(self.start >= level, self.end >= level, level)
    }

    fn where_inside(&self, starts_inside: bool, ends_inside: bool, level: f64) -> Option<(f64, f64)> {
        match (starts_inside, ends_inside) {
            (true, true) => Some((self.start_s, self.end_s)),
            (true, false) => Some((self.start_s, self.crosses_s(level))),
            (false, true) => Some((self.crosses_s(level), self.end_s)),
            (false, false) => None,
        }
    }

    fn crosses_s(&self, level: f64) -> f64 {
        let share = (level - self.start) / (self.end - self.start);
        (self.start_s + (self.end_s - self.start_s) * share).clamp(self.start_s, self.end_s)
    }
}
