//! Times of a scheduling message: what a clock's reading may mean, and whether all that is told of one time is the same.

use chrono::{LocalResult, NaiveDateTime, TimeZone};
use chrono_tz::Tz;

use super::schedule::Sent;
use super::schedule_read::{Fault, MISSING, TYPE, VALUES, fault};
use super::time::Time;
use crate::formats::hl7::moment::{Moment, moment};

/// The instants that a reading of a clock may mean: none in the hour that is left out when clocks go forward, two in the
/// hour that comes twice.
pub(super) fn instants(local: NaiveDateTime, offset_minutes: Option<i32>, zone: Tz) -> Vec<Time> {
    let of = |micros: i64| Time(micros);
    match offset_minutes {
        Some(offset) => {
            let utc = local.and_utc().timestamp_micros();
            vec![of(utc - i64::from(offset) * 60_000_000)]
        }
        None => match zone.from_local_datetime(&local) {
            LocalResult::None => Vec::new(),
            LocalResult::Single(at) => vec![of(at.timestamp_micros())],
            LocalResult::Ambiguous(a, b) => vec![of(a.timestamp_micros()), of(b.timestamp_micros())],
        },
    }
}

pub(super) fn sent(text: &str, zone: Tz) -> Option<Sent> {
    let it = moment(text)?;
    let from = instants(it.local, it.offset_minutes, zone).into_iter().min();
    let until = instants(it.last(), it.offset_minutes, zone).into_iter().max();
    // In the hour that is left out no clock stands that is right: then nothing follows from it.
    Some(Sent { from: from?, until: until? }).filter(|sent| sent.from.0 >= 0)
}

pub(super) fn minute_of(text: &str, what: &str) -> Result<Moment, Fault> {
    let it = moment(text).filter(|it| it.local.and_utc().timestamp() > 86_400);
    let it = it.ok_or_else(|| fault(TYPE, format!("Its {what} \"{}\" is no time.", clock(text))))?;
    match it.to_the_minute() {
        true => Ok(it),
        false => Err(fault(MISSING, format!("Its {what} \"{}\" tells no minute.", clock(text)))),
    }
}

/// A value as a sentence quotes it.
pub(super) fn short(text: &str) -> String {
    text.chars().filter(|sign| !sign.is_control()).take(40).collect()
}

/// A time as a sentence quotes it. Where letters stand in its place they may be anybody's name, which no sentence of the
/// ledger holds: they are told as dots.
pub(super) fn clock(text: &str) -> String {
    short(text)
        .chars()
        .map(|sign| if sign.is_alphabetic() && !"TZ".contains(sign) { '.' } else { sign })
        .collect()
}

/// All that is told of one time; they have to mean the same.
pub(super) fn all_same(texts: &[String], what: &str, zone: Tz) -> Result<Option<Vec<Time>>, Fault> {
    let mut known: Option<Vec<Time>> = None;
    for text in texts {
        let it = minute_of(text, what)?;
        let found = instants(it.local, it.offset_minutes, zone);
        if found.is_empty() {
            let words =
                format!("Its {what} \"{}\" does not exist: clocks go forward over that hour.", clock(text));
            return Err(fault(TYPE, words));
        }
        match &known {
            Some(before) if *before != found => {
                let first = texts.first().map(|first| clock(first)).unwrap_or_default();
                return Err(fault(
                    VALUES,
                    format!("Its {what} is told as \"{first}\" and as \"{}\".", clock(text)),
                ));
            }
            _ => known = Some(found),
        }
    }
    Ok(known)
}
