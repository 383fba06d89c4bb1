//! Shifts: the hours at which they change, and since when somebody who comes on duty has to be told.

use chrono::NaiveTime;

use super::command::{Malformed, wrong};
use super::signing::{Area, Signed};
use super::site::Hour;
use super::state::State;
use super::time::{Time, on_day};

/// More changes than these in a day are no shifts.
const MOST_SHIFTS: usize = 6;
/// Who comes on duty reads the shift that ends, some time before or after the clock says so.
const AROUND_CHANGE_MINUTES: i64 = 120;
/// What was signed longer ago than this says nothing about the last shift.
const SIGNED_COUNTS_HOURS: i64 = 72;

/// Seven in the morning and seven in the evening: two shifts of twelve hours, until the site says its own. Common practice.
pub fn usual() -> Vec<Hour> {
    [7, 19].into_iter().filter_map(|hour| NaiveTime::from_hms_opt(hour, 0, 0)).map(Hour).collect()
}

pub(super) fn whole(hours: &[Hour]) -> Result<(), Malformed> {
    if !(1..=MOST_SHIFTS).contains(&hours.len()) {
        let detail =
            format!("found {} hours; 1 to {MOST_SHIFTS} at which shifts begin are needed", hours.len());
        return Err(wrong("/shift_starts", detail));
    }
    let later = hours.windows(2).all(|two| matches!(two, [first, second] if first.0 < second.0));
    match later {
        true => Ok(()),
        false => Err(wrong(
            "/shift_starts",
            "found hours that are not in order, or one twice; each once is needed",
        )),
    }
}

/// Since when somebody is told, and who read it last.
#[derive(Clone, Debug, PartialEq)]
pub struct Since {
    pub at: Time,
    /// Who took over then, and read what was so far; `None` where the shift's hour stands for it.
    pub signed: Option<std::sync::Arc<Signed>>,
}

impl State {
    /// When the shift began that is on at a moment.
    pub fn shift_began(&self, at: Time) -> Time {
        let day = at.date(self.zone);
        let days = [Some(day), day.pred_opt()].into_iter().flatten();
        let began = days
            .flat_map(|day| self.policy.shift_starts.iter().map(move |hour| on_day(day, hour.0, self.zone)));
        began.filter(|began| *began <= at).max().unwrap_or(at)
    }

    /// Since when an area is handed over: since somebody took it over and signed, else since the shift began that ends
    /// about now.
    pub fn to_hand_over(&self, area: Area, now: Time) -> Since {
        let known = self.signed.get(area.key().as_str()).filter(|it| it.at <= now);
        match known.filter(|it| now.since_s(it.at) < SIGNED_COUNTS_HOURS * 3_600) {
            Some(signed) => Since { at: signed.at, signed: Some(signed.clone()) },
            None => Since { at: self.shift_began(now.plus_minutes(-AROUND_CHANGE_MINUTES)), signed: None },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::id::Id;

    fn state(zone: chrono_tz::Tz) -> State {
        State { zone, ..State::new(Id::new("s").unwrap()) }
    }

    fn time(text: &str) -> Time {
        Time::parse(text).unwrap()
    }

    #[test]
    fn a_shift_lasts_from_one_change_to_the_next_by_the_clocks_of_the_site() {
        let state = state(chrono_tz::Europe::London);
        for (at, began) in [
            ("2026-03-03T06:45:00Z", "2026-03-02T19:00:00Z"),
            ("2026-03-03T07:00:00Z", "2026-03-03T07:00:00Z"),
            ("2026-03-03T23:59:00Z", "2026-03-03T19:00:00Z"),
            // The clocks go on an hour in this night, and back in that one: the shift is 11 and 13 hours long.
            ("2026-03-29T05:59:00Z", "2026-03-28T19:00:00Z"),
            ("2026-03-29T06:00:00Z", "2026-03-29T06:00:00Z"),
            ("2026-10-25T06:59:00Z", "2026-10-24T18:00:00Z"),
            ("2026-10-25T07:00:00Z", "2026-10-25T07:00:00Z"),
        ] {
            assert_eq!(state.shift_began(time(at)), time(began), "at {at}");
        }
    }

    #[test]
    fn around_the_change_the_shift_that_ends_is_told() {
        let state = state(chrono_tz::UTC);
        let since = |at: &str| state.to_hand_over(Area::Desk, time(at)).at;
        for at in ["2026-03-03T06:45:00Z", "2026-03-03T07:10:00Z", "2026-03-03T08:59:00Z"] {
            assert_eq!(since(at), time("2026-03-02T19:00:00Z"), "at {at}");
        }
        assert_eq!(since("2026-03-03T09:00:00Z"), time("2026-03-03T07:00:00Z"));
    }

    #[test]
    fn hours_of_shifts_stand_in_order_each_once() {
        let hours = |all: &[u32]| -> Vec<Hour> {
            all.iter().map(|hour| Hour(NaiveTime::from_hms_opt(*hour, 0, 0).unwrap())).collect()
        };
        assert!(whole(&hours(&[7, 15, 23])).is_ok() && whole(&usual()).is_ok());
        for bad in [&[][..], &[7, 7], &[19, 7], &[0, 1, 2, 3, 4, 5, 6]] {
            assert!(whole(&hours(bad)).is_err(), "{bad:?}");
        }
    }
}
