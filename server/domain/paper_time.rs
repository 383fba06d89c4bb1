//! The time of a line of paper: a clock's reading on the day of the sheet, past midnight, and where the clock was changed.

use chrono::{Days, NaiveTime, TimeDelta};
use chrono_tz::Tz;

use super::paper_line::{FieldFault, Typed, fault};
use super::schedule_time::instants;
use super::time::{Date, Time, told_day};

/// A time of day, with or without its colon: "7:15", "0715", "715".
pub fn time_of_day(text: &str) -> Option<NaiveTime> {
    let text = text.trim();
    let (hour, minute) = match text.split_once([':', '.']) {
        Some((hour, minute)) => (hour, minute),
        None if (3..=4).contains(&text.len()) && text.is_ascii() => text.split_at(text.len() - 2),
        None => return None,
    };
    let digits = |text: &str| (1..=2).contains(&text.len()) && text.bytes().all(|it| it.is_ascii_digit());
    if !digits(hour) || !digits(minute) || minute.len() != 2 {
        return None;
    }
    NaiveTime::from_hms_opt(hour.parse().ok()?, minute.parse().ok()?, 0)
}

/// Where a line is so much earlier than the one before it, midnight lies between them.
const PAST_MIDNIGHT: TimeDelta = TimeDelta::hours(12);

/// The instant of a line: no time is that of the line before.
pub(super) fn at(zone: Tz, typed: &Typed) -> Result<(Time, Date), FieldFault> {
    let day = chrono::NaiveDate::parse_from_str(typed.get("day"), "%Y-%m-%d")
        .map_err(|_| fault("day", "The day of the sheet is needed, as 2026-03-02."))?;
    let before = time_of_day(typed.get("before"));
    let text = match typed.get("time") {
        "" => typed.get("before"),
        text => text,
    };
    let Some(time) = time_of_day(text) else {
        let words = match text {
            "" => "The time is needed, as 07:15.".to_string(),
            text => format!("\"{text}\" is no time of day; it is written as 07:15 or 0715."),
        };
        return Err(fault("time", words));
    };
    let next = before.is_some_and(|before| before - time > PAST_MIDNIGHT);
    let day = if next { day.checked_add_days(Days::new(1)).unwrap_or(day) } else { day };
    match instants(day.and_time(time), None, zone).as_slice() {
        [one] => Ok((*one, day)),
        [first, second, ..] => match typed.get("again") {
            "1" => Ok((*first, day)),
            "2" => Ok((*second, day)),
            _ => {
                let offset = |at: &Time| at.in_zone(zone).format("%:z").to_string();
                let words = format!(
                    "On {} the clock showed {} twice. Which was it?",
                    told_day(day),
                    time.format("%H:%M")
                );
                let choices = vec![
                    ("1".into(), format!("the first, before the clock went back ({})", offset(first))),
                    ("2".into(), format!("the second, after it went back ({})", offset(second))),
                ];
                Err(FieldFault { field: "again", words, choices })
            }
        },
        [] => Err(fault(
            "time",
            format!(
                "On {} there was no {}: the clock went forward over that hour. Look at the sheet again.",
                told_day(day),
                time.format("%H:%M")
            ),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_written_in_several_ways() {
        let at = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0);
        for (text, wanted) in [
            ("07:15", at(7, 15)),
            ("7:15", at(7, 15)),
            ("0715", at(7, 15)),
            ("715", at(7, 15)),
            ("23.59", at(23, 59)),
            ("00:00", at(0, 0)),
        ] {
            assert_eq!(time_of_day(text), wanted, "{text}");
        }
        for text in ["", "7", "24:00", "07:60", "7:5", "12345", "noon", "1é5"] {
            assert_eq!(time_of_day(text), None, "{text}");
        }
    }
}
