//! A period of whole days of the site's zone, as a page's address names it.

use axum::http::StatusCode;
use axum::response::Response;
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

/// Why a day that was asked for is none; nothing where it is left out.
fn no_day(text: &str) -> Option<String> {
    let asked = text.trim();
    let wrong = !asked.is_empty() && day(asked).is_none();
    wrong.then(|| format!("\"{asked}\" is no day; a day as 2026-03-31 is needed."))
}

/// The answer to an address whose days are none, so that nobody takes other days for those that were asked for.
pub fn refused((from, to): (&str, &str)) -> Option<Response> {
    let detail = no_day(from).or_else(|| no_day(to))?;
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    Some(super::problem::page(status, "These days cannot be shown.", &detail, ""))
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
    fn what_is_no_day_is_refused_in_words() {
        for (from, to) in [("2026-02-30", ""), ("", "yesterday"), ("99999-01-01", "2026-03-07")] {
            assert_eq!(refused((from, to)).map(|it| it.status().as_u16()), Some(422), "{from} {to}");
        }
        assert!(refused(("", " ")).is_none() && refused(("2026-03-01", "2026-02-01")).is_none());
    }

    #[test]
    fn a_period_is_what_was_asked_for_or_the_usual_days() {
        let visitor = sample::visitor();
        let of = |from, to| Period::of(&visitor.state, (from, to), 7, visitor.now).words();
        assert_eq!(of("2026-03-05", "2026-03-01"), "from 1 March 2026 to 5 March 2026");
        assert_eq!(of("99999-01-01", "2026-03-07"), "from 1 March 2026 to 7 March 2026");
        assert_eq!(of("2026-03-01", "2026-03-01"), "on 1 March 2026");
    }
}
