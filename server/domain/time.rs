//! Instants and days. Every instant is microseconds UTC; days are the site's own.

use std::fmt;

use chrono::{
    DateTime, Datelike, Days, LocalResult, NaiveDate, NaiveTime, Offset, SecondsFormat, TimeDelta, TimeZone,
    Utc,
};
use chrono_tz::Tz;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// An instant: microseconds since 1970-01-01T00:00:00Z. Finer parts of a given time are cut off.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Hash)]
pub struct Time(pub i64);

/// A calendar day in the site's zone.
pub type Date = NaiveDate;

pub const MINUTE: i64 = 60_000_000;

impl Time {
    /// Reads RFC 3339 with an offset, between the years 1970 and 9999.
    pub fn parse(text: &str) -> Option<Time> {
        let at = DateTime::parse_from_rfc3339(text).ok()?.with_timezone(&Utc);
        ((1970..=9999).contains(&at.year())).then(|| Time(at.timestamp_micros()))
    }

    /// As a sentence tells it: in the site's zone, with its day.
    pub fn told(self, zone: Tz) -> String {
        format!("{}, {}", self.in_zone(zone).format("%-d %B %Y"), self.clock(zone))
    }

    /// Hour and minute as the clocks of the zone show them; in an hour that a day has twice with the time that it is of.
    pub fn clock(self, zone: Tz) -> String {
        let local = self.in_zone(zone);
        format!("{}{}", local.format("%H:%M"), self.which(zone))
    }

    /// " summer time" or " winter time", where the clocks show the hour twice.
    fn which(self, zone: Tz) -> &'static str {
        let local = self.in_zone(zone);
        match zone.from_local_datetime(&local.naive_local()) {
            LocalResult::Ambiguous(first, _) if first.offset().fix() == local.offset().fix() => {
                " summer time"
            }
            LocalResult::Ambiguous(..) => " winter time",
            LocalResult::Single(_) | LocalResult::None => "",
        }
    }

    /// The whole minute that is not before it: what is told of an end is never too early.
    pub fn minute_up(self) -> Time {
        Time((self.0.div_euclid(MINUTE) + i64::from(self.0.rem_euclid(MINUTE) > 0)) * MINUTE)
    }

    /// Two times that a sentence puts beside each other: to the second only where the minute does not tell them apart.
    pub fn told_apart(self, other: Time, zone: Tz) -> (String, String) {
        let (one, two) = (self.told(zone), other.told(zone));
        if one != two || self == other {
            return (one, two);
        }
        let exact = |at: Time| at.in_zone(zone).format("%-d %B %Y, %H:%M:%S").to_string();
        (exact(self), exact(other))
    }

    pub fn utc(self) -> DateTime<Utc> {
        DateTime::from_timestamp_micros(self.0).unwrap_or_default()
    }

    pub fn in_zone(self, zone: Tz) -> DateTime<Tz> {
        self.utc().with_timezone(&zone)
    }

    pub fn date(self, zone: Tz) -> Date {
        self.in_zone(zone).date_naive()
    }

    /// The day that a test belongs to: it begins at the site's hour, not at midnight, so that a night's
    /// loads stand on the evening before.
    pub fn test_day(self, zone: Tz, starts: NaiveTime) -> Date {
        let local = self.in_zone(zone);
        if local.time() < starts { local.date_naive() - Days::new(1) } else { local.date_naive() }
    }

    pub fn plus_s(self, seconds: i64) -> Time {
        Time(self.0.saturating_add(seconds.saturating_mul(1_000_000)))
    }

    pub fn plus_minutes(self, minutes: i64) -> Time {
        self.plus_s(minutes.saturating_mul(60))
    }

    /// Whole seconds from `earlier` to this instant, negative where it lies before.
    pub fn since_s(self, earlier: Time) -> i64 {
        TimeDelta::microseconds(self.0.saturating_sub(earlier.0)).num_seconds()
    }
}

/// A day as a sentence tells it.
pub fn told_day(day: Date) -> String {
    day.format("%-d %B %Y").to_string()
}

/// A time of a day in a zone; where the clock skips it, the first instant after it.
pub fn on_day(day: Date, time: NaiveTime, zone: Tz) -> Time {
    let wanted = day.and_time(time);
    let found = (0..=180)
        .find_map(|skipped| zone.from_local_datetime(&(wanted + TimeDelta::minutes(skipped))).earliest());
    Time(found.map_or(wanted.and_utc().timestamp_micros(), |at| at.timestamp_micros()))
}

impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.utc().to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }
}

impl Serialize for Time {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Time {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Time::parse(&text).ok_or_else(|| {
            serde::de::Error::custom(
                "found no time; a time is RFC 3339 with an offset, as 2026-03-02T07:15:00Z",
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_test_day_begins_at_the_sites_hour() {
        let zone = chrono_tz::Europe::Berlin;
        let six = NaiveTime::from_hms_opt(6, 0, 0).unwrap();
        let night = Time::parse("2026-03-03T02:00:00+01:00").unwrap();
        let morning = Time::parse("2026-03-03T06:00:00+01:00").unwrap();
        assert_eq!(night.test_day(zone, six).to_string(), "2026-03-02");
        assert_eq!(morning.test_day(zone, six).to_string(), "2026-03-03");
    }

    /// In Berlin 25 October 2026 has the hour from two to three twice: Directive 2000/84/EC, the last Sunday of October at 01:00 UTC.
    #[test]
    fn an_hour_that_comes_twice_is_told_apart() {
        let berlin = chrono_tz::Europe::Berlin;
        let clock = |text: &str| Time::parse(text).unwrap().clock(berlin);
        assert_eq!(clock("2026-10-25T00:30:00Z"), "02:30 summer time");
        assert_eq!(clock("2026-10-25T01:30:00Z"), "02:30 winter time");
        assert_eq!(
            (clock("2026-10-24T23:59:00Z"), clock("2026-10-25T02:00:00Z")),
            ("01:59".into(), "03:00".into())
        );
        assert_eq!(
            Time::parse("2026-10-25T01:30:00Z").unwrap().told(berlin),
            "25 October 2026, 02:30 winter time"
        );
    }

    #[test]
    fn times_are_cut_to_microseconds_and_told_in_utc() {
        let at = Time::parse("2026-03-02T08:15:00.1234569+01:00").unwrap();
        assert_eq!(at.to_string(), "2026-03-02T07:15:00.123456Z");
        assert!(Time::parse("2026-03-02T08:15:00").is_none());
        let berlin = chrono_tz::Europe::Berlin;
        assert_eq!(at.told(berlin), "2 March 2026, 08:15");
        let whole = Time::parse("2026-03-02T08:15:00+01:00").unwrap();
        assert_eq!((whole.minute_up(), at.minute_up()), (whole, whole.plus_minutes(1)));
        let (one, two) = at.told_apart(at.plus_s(7), berlin);
        assert_eq!((one.as_str(), two.as_str()), ("2 March 2026, 08:15:00", "2 March 2026, 08:15:07"));
        assert_eq!(at.told_apart(at.plus_minutes(1), berlin).1, "2 March 2026, 08:16");
    }
}
