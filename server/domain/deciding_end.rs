//! The end of a decision: its time, its line of paper, and what stands beside its event.

use super::command::LateCause;
use super::deciding::{Decided, Deciding, Turned};
use super::event::{Beside, Event, Overridden, ToldLate, What};
use super::model;
use super::refusal::{Code, Problem, Refusal};
use super::text::Line;

/// How far ahead of the clock a time may lie.
pub(super) const AHEAD_MINUTES: i64 = 5;

impl<'a> Deciding<'a> {
    /// Whose act it is: that of the one who enters it, or of the one whom the sheet of a paper day names.
    pub fn doer(&self) -> &'a str {
        let late = self.command.around.late.as_ref();
        let on_paper = late.filter(|late| late.cause == LateCause::Downtime && late.sheet.is_some());
        let named = on_paper.and_then(|late| late.done_by.as_ref()).map(Line::as_str);
        named.filter(|by| self.asked.people.contains(*by)).unwrap_or(&self.asked.actor.code)
    }

    /// The names of holds that another act places, which this entry tells too, are given.
    pub(super) fn takes_holds(&mut self, what: &What) {
        let placed = match what {
            What::Inspected(it) => &it.holds,
            What::Opened(it) | What::Used(it) => &it.holds,
            _ => return,
        };
        self.holds_made.extend(placed.iter().map(|hold| hold.hold.clone()));
    }

    fn check_time(&mut self) {
        let at = self.at();
        let zone = self.state.zone;
        // A time that nobody told is none ahead: where the clock went back, it is that of what is recorded already.
        if self.command.around.at.is_some() && at > self.asked.now.plus_minutes(AHEAD_MINUTES) {
            let (happened, now) = at.told_apart(self.asked.now, zone);
            self.against(Problem::new(
                Code::InTheFuture,
                format!("It is said to have happened on {happened}; now it is {now}."),
                format!("A time at most {AHEAD_MINUTES} minutes ahead is needed."),
                "Leave the time out, or correct it.",
            ));
        }
        if !self.late() && at < self.touched {
            let (happened, touched) = at.told_apart(self.touched, zone);
            self.against(Problem::new(
                Code::TooLate,
                format!(
                    "It is said to have happened on {happened}; something is already recorded on {touched}."
                ),
                "A time after the last event of what is touched is needed.",
                "Leave the time out, or enter it as a late fact, with its cause.",
            ));
        }
    }

    #[allow(clippy::result_large_err)]
    pub(super) fn finish(mut self, what: Option<What>) -> Result<Decided, Turned> {
        if self.not_your_role {
            return Err(Turned::NotYourRole);
        }
        if !self.malformed.is_empty() {
            return Err(Turned::Malformed(self.malformed));
        }
        self.check_time();
        self.one_line_once();
        // A fact needs no override, so an empty one sets nothing aside and stops nothing.
        if let Some(given) = &self.command.around.overriding
            && given.reason.is_blank()
            && !self.late()
            && !self.command.act.tells_a_fact()
        {
            self.problems.push(Problem::new(
                Code::NeedsReason,
                "The override has no reason.",
                "A reason in words is needed.",
                "Say why the rule is set aside.",
            ));
        }
        if let Some(refusal) = Refusal::of(std::mem::take(&mut self.problems)) {
            return Err(Turned::Refused(refusal));
        }
        let Some(what) = what else {
            // Every path without an event has put something against the command.
            return Err(Turned::Refused(Refusal { first: model::unknown("thing", "?"), others: Vec::new() }));
        };
        let around = &self.command.around;
        let late = around.late.clone().map(|late| ToldLate {
            cause: late.cause,
            sheet: late.sheet,
            line: late.line,
            done_by: late.done_by.map(|who| self.seal(who.as_str())),
        });
        let overridden =
            around.overriding.clone().filter(|_| !self.overridden.is_empty()).map(|given| Overridden {
                codes: self.overridden.iter().copied().collect(),
                reason: given.reason.0,
                second_person: given.second_person.map(|who| self.seal(who.as_str())),
            });
        self.sets.sort();
        self.sets.dedup();
        self.deviation.sort();
        let beside = Beside {
            note: around.note.as_ref().map(|note| note.0.clone()),
            late,
            overridden,
            deviation: std::mem::take(&mut self.deviation),
            sets: std::mem::take(&mut self.sets),
            left: std::mem::take(&mut self.left),
            also_opened: std::mem::take(&mut self.also_opened),
            made: self.made.take(),
            doubts: std::mem::take(&mut self.doubts),
        };
        Ok(Decided { at: self.at(), event: Event { beside, what }, secrets: self.secrets })
    }
}
