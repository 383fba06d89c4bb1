//! A time as a message tells it: as fine as it was written, with an offset from UTC or without.

use chrono::{NaiveDate, NaiveDateTime, TimeDelta};

/// `YYYYMMDD[HH[MM[SS[.S]]]][+/-ZZZZ]`, from a day to parts of a second.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Moment {
    /// The first instant that the text may mean, on the clock that it was read from.
    pub local: NaiveDateTime,
    /// How long that may be: a day, an hour, a minute or a second.
    pub seconds: i64,
    pub offset_minutes: Option<i32>,
}

fn number(text: &str, from: usize, digits: usize) -> Option<u32> {
    let part = text.get(from..from + digits)?;
    part.bytes().all(|byte| byte.is_ascii_digit()).then(|| part.parse().ok())?
}

/// Reads a time; none where it is no day of the calendar, no time of a day, or written otherwise.
pub fn moment(text: &str) -> Option<Moment> {
    let text = text.trim();
    let split = text.find(['+', '-']).unwrap_or(text.len());
    let (clock, offset) = (text.get(..split)?, text.get(split..)?);
    let offset_minutes = if offset.is_empty() { None } else { Some(offset_of(offset)?) };
    let (whole, parts) = clock.split_once('.').map_or((clock, None), |(whole, parts)| (whole, Some(parts)));
    let fine = |parts: &str| {
        whole.len() == 14 && !parts.is_empty() && parts.bytes().all(|byte| byte.is_ascii_digit())
    };
    if parts.is_some_and(|parts| !fine(parts)) {
        return None;
    }
    let day = NaiveDate::from_ymd_opt(
        i32::try_from(number(whole, 0, 4)?).ok()?,
        number(whole, 4, 2)?,
        number(whole, 6, 2)?,
    )?;
    let (hour, minute, second, seconds) = match whole.len() {
        8 => (0, 0, 0, 86_400),
        10 => (number(whole, 8, 2)?, 0, 0, 3_600),
        12 => (number(whole, 8, 2)?, number(whole, 10, 2)?, 0, 60),
        14 => (number(whole, 8, 2)?, number(whole, 10, 2)?, number(whole, 12, 2)?, 1),
        _ => return None,
    };
    Some(Moment { local: day.and_hms_opt(hour, minute, second)?, seconds, offset_minutes })
}

fn offset_of(text: &str) -> Option<i32> {
    let sign = if text.starts_with('-') { -1 } else { 1 };
    let (hours, minutes) = (number(text, 1, 2)?, number(text, 3, 2)?);
    let fits = text.len() == 5 && hours <= 14 && minutes < 60;
    fits.then(|| i32::try_from(hours * 60 + minutes).ok().map(|minutes| sign * minutes))?
}

impl Moment {
    /// The last second that the text may mean.
    pub fn last(&self) -> NaiveDateTime {
        self.local.checked_add_signed(TimeDelta::seconds(self.seconds - 1)).unwrap_or(self.local)
    }

    pub fn to_the_minute(&self) -> bool {
        self.seconds <= 60
    }
}

/// A length in whole minutes, as a value and its unit tell it; none where either cannot be read. Without a unit it is
/// minutes, the unit that the standard gives to lengths of appointments.
pub fn minutes(value: &str, unit: &str) -> Option<u32> {
    let value = value.trim();
    let plain = !value.is_empty()
        && value.len() <= 9
        && value.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    let value: f64 = plain.then(|| value.parse().ok())??;
    let unit = unit.trim().to_ascii_lowercase();
    let minutes = match unit.as_str() {
        "" | "m" | "min" | "mins" | "minute" | "minutes" => value,
        "s" | "sec" | "secs" | "second" | "seconds" => value / 60.0,
        "h" | "hr" | "hrs" | "hour" | "hours" => value * 60.0,
        _ => return None,
    };
    let whole = minutes.is_finite() && minutes.fract() == 0.0 && minutes > 0.0 && minutes <= 1e6;
    whole.then_some(minutes as u32)
}
