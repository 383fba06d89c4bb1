//! A period of whole days of the site's zone, as a page's address names it.

use chrono::{Datelike, Days, NaiveDate};

use super::shared::date;
use crate::domain::state::State;
use crate::domain::time::{Date, Time};

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Period {
    pub from: Date,
    /// The last day, included.
    pub to: Date,
}

/// What is no day of the calendar that people use is none here.
pub fn day(text: &str) -> Option<Date> {
    let near = |day: &Date| (1970..=9998).contains(&day.year());
    NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d").ok().filter(near)
}

impl Period {
    /// The days that were asked for, the wrong way round turned; without them so many days up to today.
    pub fn of(state: &State, (from, to): (&str, &str), usual_days: u64, now: Time) -> Period {
        let to = day(to).unwrap_or_else(|| now.date(state.zone));
        let usual = to.checked_sub_days(Days::new(usual_days.saturating_sub(1))).unwrap_or(to);
        let from = day(from).unwrap_or(usual);
        Period { from: from.min(to), to: from.max(to) }
    }

    pub fn words(&self) -> String {
        match self.from == self.to {
            true => format!("on {}", date(self.from)),
            false => format!("from {} to {}", date(self.from), date(self.to)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_period_is_what_was_asked_for_or_the_usual_days() {
        let visitor = sample::visitor();
        let of = |from, to| Period::of(&visitor.state, (from, to), 7, visitor.now).words();
        assert_eq!(of("2026-03-05", "2026-03-01"), "from 1 March 2026 to 5 March 2026");
        assert_eq!(of("99999-01-01", "2026-03-07"), "from 1 March 2026 to 7 March 2026");
        assert_eq!(of("2026-03-01", "2026-03-01"), "on 1 March 2026");
    }
}
