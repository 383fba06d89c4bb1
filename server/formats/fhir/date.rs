//! Dates as a search writes them (FHIR R4, search, section 3.1.1.4.6): a prefix, and a day, month, year or moment, each the
//! span of time that it covers.

use chrono::{DateTime, Days, Months, NaiveDate, NaiveDateTime, TimeDelta};

/// How what is found lies to the span that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Prefix {
    Eq,
    Ne,
    Gt,
    Lt,
    Ge,
    Le,
    /// Starts after.
    Sa,
    /// Ends before.
    Eb,
    /// About: within a tenth of the time between it and now.
    Ap,
}

const PREFIXES: [(&str, Prefix); 9] = [
    ("eq", Prefix::Eq),
    ("ne", Prefix::Ne),
    ("gt", Prefix::Gt),
    ("lt", Prefix::Lt),
    ("ge", Prefix::Ge),
    ("le", Prefix::Le),
    ("sa", Prefix::Sa),
    ("eb", Prefix::Eb),
    ("ap", Prefix::Ap),
];

/// A span that was asked for, in microseconds UTC: from its beginning up to and without its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked {
    pub prefix: Prefix,
    pub from: i64,
    pub to: i64,
}

/// Parts of a second are read up to so many digits; some libraries write seven, or nine.
const MOST_DIGITS: usize = 12;

/// Reads one. `local` says when a day or a time without an offset is, in microseconds UTC.
pub fn read(text: &str, local: impl Fn(NaiveDateTime) -> i64) -> Option<Asked> {
    let known = PREFIXES.iter().find_map(|(name, prefix)| Some((*prefix, text.strip_prefix(name)?)));
    let (prefix, date) = known.unwrap_or((Prefix::Eq, text));
    let (from, to) = span(date, local)?;
    Some(Asked { prefix, from, to })
}

fn span(date: &str, local: impl Fn(NaiveDateTime) -> i64) -> Option<(i64, i64)> {
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let Some((day, time)) = date.split_once('T') else {
        let mut parts = date.split('-');
        let widths = [4, 2, 2];
        let numbers = date.split('-').zip(widths).all(|(part, width)| part.len() == width && digits(part));
        if !numbers || date.split('-').count() > 3 {
            return None;
        }
        let mut next = || parts.next().map(|part| part.parse::<u32>().unwrap_or_default());
        let (year, month, day) = (next()?, next(), next());
        let first = NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month.unwrap_or(1), day.unwrap_or(1))?;
        let last = match (month, day) {
            (None, _) => first.checked_add_months(Months::new(12))?,
            (_, None) => first.checked_add_months(Months::new(1))?,
            _ => first.checked_add_days(Days::new(1))?,
        };
        let midnight = |day: NaiveDate| day.and_hms_opt(0, 0, 0);
        return Some((local(midnight(first)?), local(midnight(last)?)));
    };
    let zone = time.find(['Z', '+', '-']);
    let (clock, zone) = time.split_at(zone.unwrap_or(time.len()));
    let (clock, length) = match (clock.len(), clock.split_once('.')) {
        (5, _) => (format!("{clock}:00"), TimeDelta::minutes(1)),
        (8, None) => (clock.to_owned(), TimeDelta::seconds(1)),
        // What is finer than a microsecond is cut: nothing is kept finer.
        (_, Some((whole, part))) if digits(part) && (1..=MOST_DIGITS).contains(&part.len()) => {
            let part = part.get(..6).unwrap_or(part);
            let length = 10_i64.pow(6 - u32::try_from(part.len()).ok()?);
            (format!("{whole}.{part}"), TimeDelta::microseconds(length))
        }
        _ => return None,
    };
    let from = if zone.is_empty() {
        local(NaiveDateTime::parse_from_str(&format!("{day}T{clock}"), "%Y-%m-%dT%H:%M:%S%.f").ok()?)
    } else {
        DateTime::parse_from_rfc3339(&format!("{day}T{clock}{zone}")).ok()?.timestamp_micros()
    };
    Some((from, from.checked_add(length.num_microseconds()?)?))
}

/// So many microseconds before or after a moment still count as about it.
fn about(asked: Asked, now: i64) -> i64 {
    now.saturating_sub(asked.from).saturating_abs() / 10
}

impl Asked {
    /// Whether a moment is what was asked for.
    pub fn takes(self, at: i64, now: i64) -> bool {
        let Asked { from, to, .. } = self;
        match self.prefix {
            Prefix::Eq => (from..to).contains(&at),
            Prefix::Ne => !(from..to).contains(&at),
            Prefix::Gt | Prefix::Sa => at >= to,
            Prefix::Lt | Prefix::Eb => at < from,
            Prefix::Ge => at >= from,
            Prefix::Le => at < to,
            Prefix::Ap => {
                let gap = about(self, now);
                (from.saturating_sub(gap)..to.saturating_add(gap)).contains(&at)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc(text: &str) -> i64 {
        DateTime::parse_from_rfc3339(text).unwrap().timestamp_micros()
    }

    fn asked(text: &str) -> Option<Asked> {
        read(text, |local| local.and_utc().timestamp_micros())
    }

    #[test]
    fn a_prefix_means_what_the_standard_says() {
        // Each with what it takes and leaves; the examples of the standard's table are those of 2013-01-14.
        for (text, takes, leaves) in [
            ("eq2013-01-14", "2013-01-14T00:00:00Z", "2013-01-15T00:00:00Z"),
            ("eq2013-01-14", "2013-01-14T10:00:00Z", "2013-01-13T23:59:59Z"),
            ("2013-01-14", "2013-01-14T23:59:59.999999Z", "2013-01-15T00:00:00Z"),
            ("ne2013-01-14", "2013-01-15T00:00:00Z", "2013-01-14T00:00:00Z"),
            ("lt2013-01-14T10:00", "2013-01-14T09:59:59Z", "2013-01-14T10:00:00Z"),
            ("gt2013-01-14T10:00", "2013-01-14T10:01:00Z", "2013-01-14T10:00:59Z"),
            ("ge2013-03-14", "2013-03-14T00:00:00Z", "2013-03-13T23:59:59Z"),
            ("le2013-03-14", "2013-03-14T23:59:59Z", "2013-03-15T00:00:00Z"),
            ("sa2013-03-14", "2013-03-15T00:00:00Z", "2013-03-14T23:59:59Z"),
            ("eb2013-03-14", "2013-03-13T23:59:59Z", "2013-03-14T00:00:00Z"),
            ("ap2013-03-14", "2013-03-14T00:00:00Z", "2012-03-14T00:00:00Z"),
            ("ge2013", "2013-01-01T00:00:00Z", "2012-12-31T23:59:59Z"),
            ("le2013-02", "2013-02-28T23:59:59Z", "2013-03-01T00:00:00Z"),
            ("eq2013-01-14T10:00:00+02:00", "2013-01-14T08:00:00.5Z", "2013-01-14T08:00:01Z"),
            ("eq2013-01-14T10:00:00.1234567Z", "2013-01-14T10:00:00.123456Z", "2013-01-14T10:00:00.123457Z"),
            (
                "gt2013-01-14T10:00:00.123456789+01:00",
                "2013-01-14T09:00:00.123457Z",
                "2013-01-14T09:00:00.123456Z",
            ),
            ("eq2013-01-14T10:00:00.5Z", "2013-01-14T10:00:00.59Z", "2013-01-14T10:00:00.6Z"),
        ] {
            let it = asked(text).unwrap();
            let now = utc("2013-06-01T00:00:00Z");
            assert!(it.takes(utc(takes), now), "{text} takes {takes}");
            assert!(!it.takes(utc(leaves), now), "{text} leaves {leaves}");
        }
    }

    #[test]
    fn what_is_no_date_is_none() {
        for text in [
            "",
            "ge",
            "yesterday",
            "2013-1-4",
            "2013-13",
            "2013-02-30",
            "13-01-14",
            "2013-01-14T",
            "2013-01-14T25:00Z",
            "2013-01-14T10Z",
            "2013-01-14 10:00",
            "xx2013-01-14",
            "2013-01-14-01",
            "2013-01-14T10:00:00.Z",
            "2013-01-14T10:00:00.1234567890123Z",
            "2013-01-14T10:00:00.12x4567Z",
            "ge2013-01-14T10:00:00+99:00",
            "+2013",
        ] {
            assert_eq!(asked(text), None, "{text}");
        }
    }
}
