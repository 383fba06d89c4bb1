//! The second half of a mark: lot, serial number, expiry, quantity and date of manufacture.

use chrono::{Datelike, NaiveDate};

use super::Code;
use crate::formats::gs1::{full_year, last_of_month};

/// The longest lot and serial number.
const LONGEST: usize = 18;

/// A date as the mark tells it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Dated {
    pub day: NaiveDate,
    /// Where it tells the hour.
    pub hour: Option<u32>,
    /// Only the month was told; the last day of it is meant.
    pub month_only: bool,
}

impl std::fmt::Display for Dated {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.hour {
            Some(hour) => write!(f, "{}T{hour:02}", self.day),
            None => write!(f, "{}", self.day),
        }
    }
}

#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Secondary {
    pub lot: Option<String>,
    pub serial: Option<String>,
    pub quantity: Option<u32>,
    pub expiry: Option<Dated>,
    pub made: Option<NaiveDate>,
}

/// Reads what stands after the primary mark, or before the link character of a secondary one.
pub fn read(text: &str, today: NaiveDate) -> Result<Secondary, Code> {
    let mut said = Secondary::default();
    for (at, part) in text.split('/').enumerate() {
        if let Some(rest) = part.strip_prefix("$$+") {
            said.expiring(rest, true, today)?;
        } else if let Some(rest) = part.strip_prefix("$$") {
            said.expiring(rest, false, today)?;
        } else if let Some(serial) = part.strip_prefix("$+") {
            once(&mut said.serial, named(serial)?)?;
        } else if let Some(lot) = part.strip_prefix('$') {
            once(&mut said.lot, named(lot)?)?;
        } else if let Some(serial) = part.strip_prefix('S') {
            once(&mut said.serial, named(serial)?)?;
        } else if let Some(day) = part.strip_prefix("16D") {
            once(&mut said.made, Some(whole_date(day)?))?;
        } else if let Some(day) = part.strip_prefix("14D") {
            let day = Dated { day: whole_date(day)?, hour: None, month_only: false };
            once(&mut said.expiry, Some(day))?;
        } else if let Some(quantity) = part.strip_prefix('Q') {
            let quantity = digits(quantity, 1..=5).ok_or(Code::BadFormat)?;
            once(&mut said.quantity, Some(quantity))?;
        } else if at == 0 && part.get(..5).is_some_and(|day| day.bytes().all(|byte| byte.is_ascii_digit())) {
            // The oldest form: a year and a day of it, then the lot.
            let (day, lot) = part.split_at_checked(5).ok_or(Code::BadFormat)?;
            said.expiry = Some(Dated { day: day_of_year(day, today)?, hour: None, month_only: false });
            said.lot = named(lot)?;
        } else {
            return Err(Code::BadFormat);
        }
    }
    Ok(said)
}

/// A value that is told once; told again it says nothing that could be relied on.
fn once<T>(place: &mut Option<T>, told: Option<T>) -> Result<(), Code> {
    if place.is_some() {
        return Err(Code::BadFormat);
    }
    *place = told;
    Ok(())
}

/// A lot or a serial number. None where it is empty.
fn named(text: &str) -> Result<Option<String>, Code> {
    if text.len() > LONGEST {
        return Err(Code::TooLong);
    }
    Ok((!text.is_empty()).then(|| text.to_owned()))
}

impl Secondary {
    /// A quantity or none, a date by its flag or none, then the lot or the serial number.
    fn expiring(&mut self, text: &str, serial: bool, today: NaiveDate) -> Result<(), Code> {
        let mut rest = text;
        for (flag, long) in [('8', 2), ('9', 5)] {
            if let Some(after) = text.strip_prefix(flag) {
                let (quantity, after) = after.split_at_checked(long).ok_or(Code::BadFormat)?;
                let quantity = digits(quantity, long..=long).ok_or(Code::BadFormat)?;
                once(&mut self.quantity, Some(quantity))?;
                rest = after;
            }
        }
        let (expiry, rest) = flagged(rest, today)?;
        once(&mut self.expiry, expiry)?;
        let place = if serial { &mut self.serial } else { &mut self.lot };
        once(place, named(rest)?)
    }
}

/// A date by the flag before it, and what follows it.
fn flagged(text: &str, today: NaiveDate) -> Result<(Option<Dated>, &str), Code> {
    let (flag, after) = match text.as_bytes().first() {
        // Nothing follows the quantity.
        None => return Ok((None, text)),
        Some(b'0' | b'1') => (b'1', text),
        Some(flag) => (*flag, text.get(1..).unwrap_or_default()),
    };
    let long = match flag {
        b'1' => 4,
        b'2' | b'3' => 6,
        b'4' => 8,
        b'5' => 5,
        b'6' => 7,
        b'7' => 0,
        _ => return Err(Code::BadFormat),
    };
    let (date, rest) = after.split_at_checked(long).ok_or(Code::BadFormat)?;
    if !date.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(Code::BadFormat);
    }
    let two = |at: usize| date.get(at..at + 2).and_then(|two| two.parse::<u32>().ok()).unwrap_or(0);
    let day =
        |year, month, day| NaiveDate::from_ymd_opt(full_year(year, today), month, day).ok_or(Code::BadDate);
    let hour = |at| Some(two(at)).filter(|hour| *hour < 24).ok_or(Code::BadDate).map(Some);
    let (day, hour) = match flag {
        b'1' => (last_of_month(full_year(two(2), today), two(0)).ok_or(Code::BadDate)?, None),
        b'2' => (day(two(4), two(0), two(2))?, None),
        b'3' => (day(two(0), two(2), two(4))?, None),
        b'4' => (day(two(0), two(2), two(4))?, hour(6)?),
        b'5' => (day_of_year(date, today)?, None),
        b'6' => (day_of_year(date.get(..5).unwrap_or_default(), today)?, hour(5)?),
        _ => return Ok((None, rest)),
    };
    Ok((Some(Dated { day, hour, month_only: flag == b'1' }), rest))
}

/// YYJJJ: a year and the number of a day in it.
fn day_of_year(text: &str, today: NaiveDate) -> Result<NaiveDate, Code> {
    let number: u32 = text.parse().map_err(|_| Code::BadFormat)?;
    NaiveDate::from_yo_opt(full_year(number / 1_000, today), number % 1_000).ok_or(Code::BadDate)
}

/// YYYYMMDD.
fn whole_date(text: &str) -> Result<NaiveDate, Code> {
    let number: i32 =
        digits(text, 8..=8).and_then(|number| i32::try_from(number).ok()).ok_or(Code::BadFormat)?;
    let part = |number: i32| u32::try_from(number).ok();
    let (month, day) = part(number / 100 % 100).zip(part(number % 100)).ok_or(Code::BadDate)?;
    let date = NaiveDate::from_ymd_opt(number / 10_000, month, day).ok_or(Code::BadDate)?;
    if date.year() < 1900 { Err(Code::BadDate) } else { Ok(date) }
}

fn digits(text: &str, long: std::ops::RangeInclusive<usize>) -> Option<u32> {
    let fits = long.contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    fits.then(|| text.parse().ok()).flatten()
}
