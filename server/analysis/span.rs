//! Where a record stays within a band, exactly: on the straight lines between samples, not at the samples.

use serde::Serialize;

use super::lethality::at;
use super::record::Record;

/// By what share of it a duration may differ from another and still count as equal to it.
pub const SAME: f64 = 1e-9;

/// A span no longer than this, in s, is a touch: two crossings at the same time, computed from temperatures
/// that a double holds to some 1e-14 °C, may differ by about as much.
const TOUCH_S: f64 = 1e-9;

/// The same for times far from 0: how many units in the last place a crossing may be off.
const TOUCH_ULPS: f64 = 8.0;

/// A part of a record, in seconds of its time; never without length.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Span {
    pub start_s: f64,
    pub end_s: f64,
    pub duration_s: f64,
}

/// The lowest and the highest temperature, in °C.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Range {
    pub min_c: f64,
    pub max_c: f64,
}

/// The longest span in which every channel lies in [`low_c`, `high_c`]; of equal ones the first.
///
/// Both limits belong to the band; `high_c` may be infinite. The record has passed [`Record::check`].
pub fn longest_span(record: &Record, low_c: f64, high_c: f64) -> Option<Span> {
    let time_s = &record.time_s;
    // Whether a span reaches a sample is decided by the sample, not by a crossing that was rounded.
    let is_inside = samples_inside(record, low_c, high_c);
    let mut longest = Longest::default();
    let mut open_since_s = time_s[0];
    for i in 0..time_s.len() - 1 {
        if is_inside[i] && is_inside[i + 1] {
            continue;
        }
        if (record.channels.iter()).any(|it| stays_outside(it.temp_c[i], it.temp_c[i + 1], low_c, high_c)) {
            // Most of a record lies outside: no crossing is looked for there.
            continue;
        }
        let (mut from_s, mut to_s) = (time_s[i], time_s[i + 1]);
        for channel in &record.channels {
            let (from_c, to_c) = (channel.temp_c[i], channel.temp_c[i + 1]);
            let line = Line { from_s: time_s[i], to_s: time_s[i + 1], from_c, to_c };
            let (enters_s, leaves_s) = line.within(low_c, high_c);
            from_s = from_s.max(enters_s);
            to_s = to_s.min(leaves_s);
        }
        if !is_inside[i] {
            open_since_s = from_s;
        }
        if !is_inside[i + 1] {
            longest.offer(open_since_s, to_s);
        }
    }
    if is_inside[time_s.len() - 1] {
        longest.offer(open_since_s, time_s[time_s.len() - 1]);
    }
    longest.found
}

/// Whether a straight line lies on one side of the band.
fn stays_outside(from_c: f64, to_c: f64, low_c: f64, high_c: f64) -> bool {
    (from_c < low_c && to_c < low_c) || (from_c > high_c && to_c > high_c)
}

/// For each sample whether every channel lies in the band there.
fn samples_inside(record: &Record, low_c: f64, high_c: f64) -> Vec<bool> {
    let mut is_inside = vec![true; record.time_s.len()];
    for channel in &record.channels {
        for (is_inside, temp_c) in is_inside.iter_mut().zip(&channel.temp_c) {
            *is_inside &= (low_c..=high_c).contains(temp_c);
        }
    }
    is_inside
}

/// The longest distance between two neighbouring times, in s: of all, or of those with a part of `within`
/// between them. At least two times are needed.
pub fn longest_gap_s(time_s: &[f64], within: Option<Span>) -> f64 {
    let part = match within {
        None => time_s,
        Some(span) => {
            let first = time_s.partition_point(|t| *t <= span.start_s).saturating_sub(1);
            let end = time_s.partition_point(|t| *t < span.end_s);
            &time_s[first..time_s.len().min(end + 1)]
        }
    };
    part.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max)
}

/// The samples inside a span, its ends included.
pub fn samples_within(time_s: &[f64], span: Span) -> std::ops::Range<usize> {
    let first = time_s.partition_point(|t| *t < span.start_s);
    first..time_s.partition_point(|t| *t <= span.end_s).max(first)
}

/// The lowest and the highest temperature of all channels within a span. Straight lines have their extremes
/// at samples and at the ends.
pub fn range_within(record: &Record, span: Span) -> Range {
    let time_s = &record.time_s;
    let samples = samples_within(time_s, span);
    let mut range = Range { min_c: f64::INFINITY, max_c: f64::NEG_INFINITY };
    for channel in &record.channels {
        let ends = [span.start_s, span.end_s].map(|end_s| {
            let i = time_s.partition_point(|t| *t <= end_s).saturating_sub(1);
            at(time_s, &channel.temp_c, i, end_s)
        });
        for temp_c in channel.temp_c[samples.clone()].iter().chain(&ends) {
            range.min_c = range.min_c.min(*temp_c);
            range.max_c = range.max_c.max(*temp_c);
        }
    }
    range
}

/// The highest temperature of all channels in the whole record, in °C.
pub fn highest_c(record: &Record) -> f64 {
    record.channels.iter().flat_map(|c| &c.temp_c).copied().fold(f64::NEG_INFINITY, f64::max)
}

/// One channel between two samples.
struct Line {
    from_s: f64,
    to_s: f64,
    from_c: f64,
    to_c: f64,
}

impl Line {
    /// From when to when the line is within the band; the first after the second where it never is.
    fn within(&self, low_c: f64, high_c: f64) -> (f64, f64) {
        if stays_outside(self.from_c, self.to_c, low_c, high_c) {
            return (f64::INFINITY, f64::NEG_INFINITY);
        }
        let level = |temp_c: f64| if temp_c < low_c { low_c } else { high_c };
        let is_in = |temp_c: f64| (low_c..=high_c).contains(&temp_c);
        let enters_s = if is_in(self.from_c) { self.from_s } else { self.crosses_s(level(self.from_c)) };
        let leaves_s = if is_in(self.to_c) { self.to_s } else { self.crosses_s(level(self.to_c)) };
        (enters_s, leaves_s)
    }

    fn crosses_s(&self, level_c: f64) -> f64 {
        let share = (level_c - self.from_c) / (self.to_c - self.from_c);
        (self.from_s + (self.to_s - self.from_s) * share).clamp(self.from_s, self.to_s)
    }
}

#[derive(Default)]
struct Longest {
    found: Option<Span>,
}

impl Longest {
    /// Takes a span if it has length and is longer than what was found before; equal ones are told apart by
    /// more than rounding.
    fn offer(&mut self, start_s: f64, end_s: f64) {
        let duration_s = end_s - start_s;
        let touch_s = TOUCH_S.max(TOUCH_ULPS * f64::EPSILON * start_s.abs().max(end_s.abs()));
        let best_s = self.found.map_or(0.0, |span| span.duration_s);
        if duration_s > touch_s && duration_s > best_s * (1.0 + SAME) {
            self.found = Some(Span { start_s, end_s, duration_s });
        }
    }
}
