//! Lines without parts of their own at a case: mouth guard, throat pack, swabs. What went in comes out.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::Case;
use super::command::{Malformed, wrong};
use super::count::Moment;
use super::missing::SearchOutcome;
use super::text::Line;
use super::time::Time;

/// More lines without parts than this in one count are a mistake.
const MOST_OTHERS: usize = 100;
/// More pieces than this on one line are a slip of the finger.
const MOST_PIECES: u32 = 999;

/// Lines without parts of their own that every case is asked for.
pub const OTHERS: [&str; 3] = ["mouth guard", "throat pack", "swabs"];

/// A line that has a number; one without says nothing.
pub(super) fn numbered(others: &[OtherLine]) -> Vec<OtherLine> {
    others.iter().filter(|it| it.went_in.is_some() || it.came_out.is_some()).cloned().collect()
}

/// A line without parts of its own: mouth guard, throat pack, swabs. How many went in, how many came out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OtherLine {
    pub line: Line,
    #[serde(default, rename = "in", skip_serializing_if = "Option::is_none")]
    pub went_in: Option<u32>,
    #[serde(default, rename = "out", skip_serializing_if = "Option::is_none")]
    pub came_out: Option<u32>,
}

/// Each line once, with a number that hands can count.
pub(super) fn others_whole(others: &[OtherLine]) -> Result<(), Malformed> {
    if others.len() > MOST_OTHERS {
        let n = others.len();
        return Err(wrong("/others", format!("found {n} lines; at most {MOST_OTHERS} are needed")));
    }
    let mut seen = BTreeSet::new();
    for (i, it) in others.iter().enumerate() {
        if !seen.insert(&it.line) {
            let detail = format!("found \"{}\" a second time; each line once is needed", it.line.0);
            return Err(wrong(format!("/others/{i}/line"), detail));
        }
        for (name, number) in [("in", it.went_in), ("out", it.came_out)] {
            if let Some(number) = number.filter(|number| *number > MOST_PIECES) {
                let detail = format!("found {number}; 0 to {MOST_PIECES} is needed");
                return Err(wrong(format!("/others/{i}/{name}"), detail));
            }
        }
    }
    Ok(())
}

/// A line without parts at a case: what went in, what came out, and what became of the search for the rest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OtherState {
    pub line: Line,
    #[serde(default, rename = "in", skip_serializing_if = "Option::is_none")]
    pub went_in: Option<u32>,
    #[serde(default, rename = "out", skip_serializing_if = "Option::is_none")]
    pub came_out: Option<u32>,
    /// The closing count that says what came out, and when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_by: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_at: Option<Time>,
    /// Who counted it then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub told_by: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<SearchOutcome>,
    /// Who named the outcome, and when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub named_by: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub named_at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over_at: Option<Time>,
}

impl OtherState {
    /// How many of it did not come back; none before the closing count, nor after they were found.
    pub fn lacks(&self) -> u32 {
        if self.closed_at.is_none() || self.over_at.is_some() {
            return 0;
        }
        self.difference()
    }

    fn difference(&self) -> u32 {
        self.went_in.unwrap_or(0).saturating_sub(self.came_out.unwrap_or(0))
    }

    /// Takes what a count says. Once the line is closed a search ends its lack, no other number does; a lack that grows
    /// is looked for anew.
    fn take(&mut self, told: &OtherLine) {
        let (went_in, came_out) = (told.went_in.or(self.went_in), told.came_out.or(self.came_out));
        let lacks = went_in.unwrap_or(0).saturating_sub(came_out.unwrap_or(0));
        if self.closed_at.is_some() {
            if lacks <= self.difference() {
                return;
            }
            self.unname();
        }
        (self.went_in, self.came_out) = (went_in, came_out);
    }

    /// No outcome of the search counts any more.
    fn unname(&mut self) {
        (self.outcome, self.over_at) = (None, None);
        (self.named_by, self.named_at) = (None, None);
    }

    /// A line that nobody has counted yet.
    fn fresh(line: Line) -> OtherState {
        OtherState {
            line,
            went_in: None,
            came_out: None,
            closed_by: None,
            closed_at: None,
            told_by: None,
            outcome: None,
            named_by: None,
            named_at: None,
            over_at: None,
        }
    }

    /// More came out than went in: one of the two counts is wrong.
    pub fn more_out(&self) -> bool {
        matches!((self.went_in, self.came_out), (Some(went_in), Some(came_out)) if came_out > went_in)
    }

    /// Not back, and nobody has named an outcome.
    pub fn is_loud(&self) -> bool {
        self.lacks() > 0 && self.outcome.is_none()
    }
}

impl Case {
    /// The lines without parts that did not all come back.
    pub fn not_back(&self) -> impl Iterator<Item = &OtherState> {
        self.others.iter().filter(|it| it.lacks() > 0)
    }

    /// Takes what a count says of lines without parts. A count that closes tells of every line that went in.
    pub(super) fn count_others(&mut self, told: &[OtherLine], closing: Option<(u64, Time, &str)>) {
        for it in told {
            let at = self.others.iter().position(|known| known.line == it.line);
            let at = at.unwrap_or_else(|| {
                self.others.push(OtherState::fresh(it.line.clone()));
                self.others.len() - 1
            });
            if let Some(known) = self.others.get_mut(at) {
                known.take(it);
            }
        }
        if let Some((entry, at, by)) = closing {
            self.close_lines(Some(entry), at, by);
        }
    }

    /// Takes what an opening count says of such lines. Told after the count was closed, a line is closed with it.
    pub(super) fn count_in(&mut self, told: &[OtherLine], at: Time, by: &str) {
        self.count_others(told, None);
        if (self.closed || self.cancelled.is_some()) && !self.anything_out() {
            let closing = self.counts.iter().rfind(|kept| kept.moment == Moment::Closing);
            let closing = closing.map(|kept| (kept.entry, kept.at, kept.by.clone()));
            match closing {
                Some((entry, at, by)) => self.close_lines(Some(entry), at, &by),
                None => self.close_lines(None, at, by),
            }
        }
    }

    fn close_lines(&mut self, entry: Option<u64>, at: Time, by: &str) {
        for known in self.others.iter_mut().filter(|known| known.closed_at.is_none()) {
            (known.closed_by, known.closed_at, known.told_by) = (entry, Some(at), Some(by.to_string()));
        }
    }

    /// A line of an open count that was counted in and not out yet, and how many went in.
    pub(super) fn counted_in(&self) -> Option<(&str, u32)> {
        let open = self.others.iter().filter(|it| it.closed_at.is_none());
        let mut lacking = open.filter(|it| it.difference() > 0);
        lacking.next().map(|it| (it.line.as_str(), it.went_in.unwrap_or(0)))
    }

    /// Takes a closing count of such lines back.
    pub(super) fn uncount_others(&mut self, entry: u64) {
        for known in self.others.iter_mut().filter(|known| known.closed_by == Some(entry)) {
            (known.closed_by, known.closed_at, known.told_by) = (None, None, None);
            known.came_out = None;
            known.unname();
        }
        self.counts.retain(|kept| kept.entry != entry);
    }
}
