//! The times of day in a cycle record, which mostly differ from the one before in their seconds alone.

use chrono::{DateTime, FixedOffset, Timelike};

/// Reads times of day (RFC 3339) as seconds from the first.
#[derive(Default)]
pub(super) struct Clock {
    first: Option<DateTime<FixedOffset>>,
    minute: Option<Minute>,
}

/// A time of day: its seconds from the first, and its microseconds since 1970-01-01T00:00:00Z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moment {
    pub(super) time_s: f64,
    pub(super) us: i64,
}

/// How many bytes there are of a time before its seconds, as in `2026-03-02T23:57:`.
const MINUTE: usize = 17;

/// The minute of the time that was read last, and how it was written.
struct Minute {
    written: [u8; MINUTE],
    /// What followed the seconds: `Z`, or the offset.
    zone: Vec<u8>,
    /// Its beginning, in ns since 1970-01-01T00:00:00Z and since the first time.
    ns: i64,
    since_ns: i64,
}

impl Clock {
    /// The time in a cell; `None` where there is none.
    pub(super) fn read(&mut self, cell: &[u8]) -> Option<Moment> {
        let cell = cell.trim_ascii();
        if let Some(moment) = self.minute.as_ref().and_then(|minute| minute.read(cell)) {
            return Some(moment);
        }
        let instant = DateTime::parse_from_rfc3339(std::str::from_utf8(cell).ok()?).ok()?;
        let since = instant.signed_duration_since(*self.first.get_or_insert(instant));
        self.minute = Minute::of(cell, instant, since.num_nanoseconds());
        let time_s = match since.num_nanoseconds() {
            Some(nanoseconds) => nanoseconds as f64 / 1e9,
            None => since.num_milliseconds() as f64 / 1e3,
        };
        Some(Moment { time_s, us: instant.timestamp_micros() })
    }
}

impl Minute {
    /// The minute of a time; `None` where there is more to it than can be told by its seconds.
    fn of(cell: &[u8], instant: DateTime<FixedOffset>, since_ns: Option<i64>) -> Option<Minute> {
        const NS: u32 = 1_000_000_000;
        // A leap second has more nanoseconds than others.
        if instant.nanosecond() >= NS {
            return None;
        }
        let into_ns = i64::from(instant.second()) * i64::from(NS) + i64::from(instant.nanosecond());
        let (written, seconds) = cell.split_first_chunk()?;
        let (_, zone) = nanoseconds(seconds)?;
        let ns = instant.timestamp_nanos_opt()?.checked_sub(into_ns)?;
        Some(Minute { written: *written, zone: zone.to_vec(), ns, since_ns: since_ns?.checked_sub(into_ns)? })
    }

    fn read(&self, cell: &[u8]) -> Option<Moment> {
        let (written, seconds) = cell.split_first_chunk()?;
        let (into_ns, zone) = nanoseconds(seconds)?;
        if *written != self.written || *zone != *self.zone {
            return None;
        }
        let since_ns = self.since_ns.checked_add(into_ns)?;
        let us = self.ns.checked_add(into_ns)?.div_euclid(1000);
        Some(Moment { time_s: since_ns as f64 / 1e9, us })
    }
}

/// Seconds such as `07` or `59.25` in nanoseconds, and what follows them.
fn nanoseconds(text: &[u8]) -> Option<(i64, &[u8])> {
    let digit = |byte: u8| byte.is_ascii_digit().then(|| i64::from(byte - b'0'));
    let ([tens, ones], mut rest) = text.split_first_chunk()?;
    let seconds = 10 * digit(*tens)? + digit(*ones)?;
    if seconds > 59 {
        return None;
    }
    let (mut ns, mut unit) = (seconds * 1_000_000_000, 1_000_000_000);
    if let Some(decimals) = rest.strip_prefix(b".") {
        rest = decimals;
        while let Some((value, after)) =
            rest.split_first().and_then(|(byte, after)| Some((digit(*byte)?, after)))
        {
            unit /= 10;
            // What is less than a nanosecond is for the whole reader.
            if unit == 0 {
                return None;
            }
            (ns, rest) = (ns + value * unit, after);
        }
        // A point without a decimal.
        if unit == 1_000_000_000 {
            return None;
        }
    }
    Some((ns, rest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Times that follow each other within minutes, and some that are none.
    fn cells() -> impl Strategy<Value = Vec<String>> {
        let cell = (
            prop::sample::select(vec![
                "2026-03-02T10:07:",
                "2026-03-02T10:08:",
                "1969-12-31t23:59:",
                "2016-12-31T23:59:",
                "9999-01-01T00:00:",
            ]),
            "[0-6][0-9]",
            prop::sample::select(vec!["", ".", ".5", ".25", ".000000001", ".1234567891", ",5"]),
            prop::sample::select(vec!["Z", "+01:00", "-00:30", "", "Z "]),
        );
        prop::collection::vec(
            cell.prop_map(|(minute, s, part, zone)| format!("{minute}{s}{part}{zone}")),
            1..12,
        )
    }

    proptest! {
        /// Whatever was read before, a time is what the library alone makes of it.
        #[test]
        fn a_time_is_that_of_the_library(cells in cells()) {
            let mut clock = Clock::default();
            let mut first = None;
            for cell in cells {
                let expected = DateTime::parse_from_rfc3339(cell.trim()).ok().map(|instant| {
                    let since = instant - *first.get_or_insert(instant);
                    let time_s = since.num_nanoseconds().map_or(since.num_milliseconds() as f64 / 1e3, |ns| ns as f64 / 1e9);
                    Moment { time_s, us: instant.timestamp_micros() }
                });
                prop_assert_eq!(clock.read(cell.as_bytes()), expected, "{}", cell);
            }
        }
    }
}
