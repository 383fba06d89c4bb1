//! The time of a sample in a foreign file.

use chrono::{DateTime, LocalResult, NaiveDateTime, TimeZone, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;

use super::form::TimeForm;
use super::mapping::quoted;
use super::mapping_cell::{Sign, decimal, nearest, number};
use crate::analysis::record::FARTHEST_S;

const NS_PER_S: i64 = 1_000_000_000;
const NS_PER_DAY: i64 = 86_400 * NS_PER_S;

/// Tells the seconds of each sample; it remembers what it told before.
pub(super) struct Clock {
    form: TimeForm,
    pattern: String,
    zone: Tz,
    /// The first instant, or the first time of day in ns.
    first: Option<DateTime<Utc>>,
    first_ns: Option<i64>,
    before: Option<DateTime<Utc>>,
    before_ns: i64,
    midnights: i64,
}

type Fault = (String, String);

impl Clock {
    pub(super) fn new(form: TimeForm, pattern: &str, zone: Tz) -> Clock {
        let pattern = pattern.to_owned();
        Clock { form, pattern, zone, first: None, first_ns: None, before: None, before_ns: 0, midnights: 0 }
    }

    /// Seconds, and the instant where the file says it.
    pub(super) fn read(
        &mut self,
        date: &str,
        cell: &str,
        sign: Sign,
    ) -> Result<(f64, Option<DateTime<Utc>>), Fault> {
        let (time_s, instant) = match self.form {
            TimeForm::Seconds => (number(cell, sign)?.0, None),
            TimeForm::Minutes => {
                let (_, text) = number(cell, sign)?;
                let minutes = decimal(&text).and_then(|it| it.checked_mul(Decimal::from(60)));
                let needed = "a number of minutes is needed";
                (minutes.map(nearest).ok_or_else(|| (quoted(cell), needed.to_owned()))?, None)
            }
            TimeForm::Clock => (self.of_day(cell)?, None),
            TimeForm::Rfc3339 => {
                let instant = DateTime::parse_from_rfc3339(cell).map_err(|_| {
                    let needed = "a time such as 2026-03-02T23:57:00+02:00 (RFC 3339) is needed";
                    (quoted(cell), needed.to_owned())
                })?;
                self.since(instant.to_utc())
            }
            TimeForm::Pattern => {
                let instant = self.local(date, cell)?;
                self.since(instant)
            }
        };
        if !time_s.is_finite() || time_s.abs() > FARTHEST_S {
            return Err((quoted(cell), "a time within 1e10 s of the start is needed".to_owned()));
        }
        Ok((time_s, instant))
    }

    fn since(&mut self, instant: DateTime<Utc>) -> (f64, Option<DateTime<Utc>>) {
        let first = *self.first.get_or_insert(instant);
        self.before = Some(instant);
        let since = instant.signed_duration_since(first);
        let time_s = match since.num_nanoseconds() {
            Some(nanoseconds) => nanoseconds as f64 / 1e9,
            None => since.num_milliseconds() as f64 / 1e3,
        };
        (time_s, Some(instant))
    }

    /// Over midnight a clock goes back by most of a day. One that goes back by less has been set, and the span that it
    /// hides is not known: that is left as it is, and refused as a time that goes back.
    fn of_day(&mut self, cell: &str) -> Result<f64, Fault> {
        let ns = time_of_day(cell)
            .ok_or_else(|| (quoted(cell), "a time of day such as 23:57:09 is needed".to_owned()))?;
        let first = *self.first_ns.get_or_insert(ns);
        if self.before_ns - ns > NS_PER_DAY / 2 {
            self.midnights += 1;
        }
        self.before_ns = ns;
        Ok((ns - first + self.midnights * NS_PER_DAY) as f64 / 1e9)
    }

    /// An hour that a clock shows twice, when summer time ends, is the one that comes after the sample before.
    fn local(&self, date: &str, cell: &str) -> Result<DateTime<Utc>, Fault> {
        let joined = format!("{date} {cell}");
        let text = joined.trim();
        let local = NaiveDateTime::parse_from_str(text, &self.pattern)
            .map_err(|_| (quoted(text), format!("a time by the pattern {} is needed", self.pattern)))?;
        match self.zone.from_local_datetime(&local) {
            LocalResult::Single(at) => Ok(at.to_utc()),
            LocalResult::Ambiguous(first, second) => {
                let passed = self.before.is_some_and(|before| first.to_utc() <= before);
                Ok(if passed { second.to_utc() } else { first.to_utc() })
            }
            LocalResult::None => {
                let found = format!("{}, which no clock of {} showed", quoted(text), self.zone.name());
                Err((found, "a time of the machine's zone is needed".to_owned()))
            }
        }
    }
}

/// `HH:MM:SS`, with a fraction of up to nine digits, in ns since midnight.
fn time_of_day(cell: &str) -> Option<i64> {
    let mut parts = cell.split(':');
    let (hour, minute, second) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() {
        return None;
    }
    let (second, fraction) = second.split_once(['.', ',']).unwrap_or((second, "0"));
    let whole = |text: &str, below: i64| {
        let digits = (1..=2).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
        text.parse::<i64>().ok().filter(|number| digits && *number < below)
    };
    let fraction_ns = (1..=9).contains(&fraction.len()) && fraction.bytes().all(|byte| byte.is_ascii_digit());
    let fraction_ns = format!("{fraction:0<9}").parse::<i64>().ok().filter(|_| fraction_ns)?;
    let seconds = whole(hour, 24)? * 3_600 + whole(minute, 60)? * 60 + whole(second, 60)?;
    Some(seconds * NS_PER_S + fraction_ns)
}
