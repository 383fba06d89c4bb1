//! What must not change an answer, and how an answer follows what changes: metamorphic checks, which need no other
//! program to compare with, because straight lines stay what they are however they are written down.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::analysis::cycle::{judge_disinfection, judge_steam};
use fettle::analysis::limits::{DisinfectionLimits, SteamLimits};
use fettle::analysis::record::{Channel, Record};
use fettle::analysis::span::Span;
use fettle::analysis::verdict::{DisinfectionVerdict, Reason, SteamVerdict};
use fettle::formats::record::read;
use proptest::prelude::*;

/// Two channels of whole tenths around bands of 80 and 134 °C, over uneven times.
fn records() -> impl Strategy<Value = Record> {
    let near = |middle: i32| (middle - 60)..(middle + 60);
    let samples = prop_oneof![
        prop::collection::vec((1_u32..80, near(1350), near(1350)), 3..40),
        prop::collection::vec((1_u32..80, near(800), near(800)), 3..40),
        prop::collection::vec((1_u32..80, 600..1400, 600..1400), 3..40),
    ];
    samples.prop_map(|samples| {
        let (mut tenths, mut time_s, mut both) = (0, vec![], [vec![], vec![]]);
        for (gap, a, b) in samples {
            tenths += gap;
            time_s.push(f64::from(tenths) / 10.0);
            both[0].push(f64::from(a) / 10.0);
            both[1].push(f64::from(b) / 10.0);
        }
        let channels = ["temp_c_a", "temp_c_b"].into_iter().zip(both);
        let channels = channels.map(|(name, temp_c)| Channel { name: name.into(), temp_c }).collect();
        Record { time_s, channels, ..Record::default() }
    })
}

fn steam(record: &Record) -> SteamVerdict {
    // No gap is too long: where a sample is added there is one less.
    judge_steam(record, &SteamLimits { max_gap_s: 1e6, ..SteamLimits::new(134.0, 10.0) }).unwrap()
}

fn disinfection(record: &Record) -> DisinfectionVerdict {
    let limits = DisinfectionLimits { max_gap_s: 1e6, hold_s: 5.0, ..DisinfectionLimits::new(60.0, 80.0) };
    judge_disinfection(record, &limits).unwrap()
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1.0)
}

/// Whether two spans are the same but for a shift; of two nearly equal spans a rounding may choose the other, so
/// their lengths are held to each other.
fn lengths_agree(a: Option<Span>, b: Option<Span>) -> bool {
    let length = |span: Option<Span>| span.map_or(0.0, |span| span.duration_s);
    (length(a) - length(b)).abs() < 1e-8
}

/// Reasons with the same codes, values and limits; one that misses its limit by a rounding may be there or not.
fn reasons_agree(a: &[Reason], b: &[Reason]) -> bool {
    let clear = |reasons: &[Reason]| -> Vec<Reason> {
        reasons.iter().filter(|reason| (reason.found - reason.needed).abs() > 1e-6).copied().collect()
    };
    let (a, b) = (clear(a), clear(b));
    let same = |(a, b): (&Reason, &Reason)| a.code == b.code && (a.found - b.found).abs() < 1e-6;
    a.len() == b.len() && a.iter().zip(&b).all(same)
}

fn same(a: &Record, b: &Record) -> Result<(), TestCaseError> {
    let (one, other) = (steam(a), steam(b));
    prop_assert!(lengths_agree(one.hold, other.hold), "{:?} {:?}", one.hold, other.hold);
    prop_assert!(reasons_agree(&one.reasons, &other.reasons), "{:?} {:?}", one.reasons, other.reasons);
    for (name, total) in &one.f0_min.total.channels {
        prop_assert!(close(total.0, other.f0_min.total.channels[name].0), "{}: {:?}", name, other.f0_min);
    }
    let (one, other) = (disinfection(a), disinfection(b));
    prop_assert!(lengths_agree(one.continuous, other.continuous));
    prop_assert!(reasons_agree(&one.reasons, &other.reasons), "{:?} {:?}", one.reasons, other.reasons);
    for (name, total) in &one.a0_s.total.channels {
        prop_assert!(close(total.0, other.a0_s.total.channels[name].0), "{}: {:?}", name, other.a0_s);
    }
    Ok(())
}

/// The record with one more sample, on the lines between the `i`th and the next.
fn with_sample(record: &Record, i: usize, share: f64) -> Record {
    let mut more = record.clone();
    let add = |values: &mut Vec<f64>| values.insert(i + 1, values[i] + (values[i + 1] - values[i]) * share);
    add(&mut more.time_s);
    more.channels.iter_mut().for_each(|channel| add(&mut channel.temp_c));
    more
}

/// The samples of a part of a record.
fn part(record: &Record, samples: std::ops::Range<usize>) -> Record {
    let channels = record.channels.iter().map(|channel| {
        let temp_c = channel.temp_c[samples.clone()].to_vec();
        Channel { name: channel.name.clone(), temp_c }
    });
    let (time_s, channels) = (record.time_s[samples.clone()].to_vec(), channels.collect());
    Record { time_s, channels, ..Record::default() }
}

proptest! {
    #[test]
    fn a_sample_on_the_lines_changes_nothing(
        record in records(), at in any::<prop::sample::Index>(), share in 0.01_f64..0.99,
    ) {
        let i = at.index(record.time_s.len() - 1);
        same(&record, &with_sample(&record, i, share))?;
    }

    #[test]
    fn a_later_start_shifts_the_hold_and_nothing_else(record in records(), shift_s in -1e5_f64..1e5) {
        let mut later = record.clone();
        later.time_s.iter_mut().for_each(|time_s| *time_s += shift_s);
        same(&record, &later)?;
        if let (Some(hold), Some(moved)) = (steam(&record).hold, steam(&later).hold) {
            // Where two spans are equally long but for rounding, either may be found.
            let is_same = (hold.start_s + shift_s - moved.start_s).abs() < 1e-8;
            let alike = (hold.duration_s - moved.duration_s).abs() < 1e-8;
            prop_assert!(is_same || alike, "{:?} {:?}", hold, moved);
        }
    }

    #[test]
    fn what_two_halves_did_is_what_the_whole_did(
        record in records(), at in any::<prop::sample::Index>(), share in 0.01_f64..0.99,
    ) {
        let i = at.index(record.time_s.len() - 1);
        let cut = with_sample(&record, i, share);
        let (first, second) = (part(&cut, 0..i + 2), part(&cut, i + 1..cut.time_s.len()));
        let (a, b, all) = (steam(&first).f0_min.total, steam(&second).f0_min.total, steam(&record).f0_min.total);
        for (name, total) in all.channels {
            prop_assert!(close(total.0, a.channels[&name].0 + b.channels[&name].0), "{}: {:?}", name, total);
        }
        let (a, b, all) =
            (disinfection(&first).a0_s.total, disinfection(&second).a0_s.total, disinfection(&record).a0_s.total);
        for (name, total) in all.channels {
            prop_assert!(close(total.0, a.channels[&name].0 + b.channels[&name].0), "{}: {:?}", name, total);
        }
    }

    /// Ten kelvins more are ten times the lethality: that is what z means. Twice the time is twice of it.
    #[test]
    fn lethality_follows_temperature_and_time(record in records()) {
        let (mut hotter, mut slower) = (record.clone(), record.clone());
        hotter.channels.iter_mut().flat_map(|channel| &mut channel.temp_c).for_each(|temp_c| *temp_c += 10.0);
        slower.time_s.iter_mut().for_each(|time_s| *time_s *= 2.0);
        let least = |record: &Record| steam(record).f0_min.total.least.0;
        prop_assert!(close(least(&hotter), 10.0 * least(&record)));
        prop_assert!(close(least(&slower), 2.0 * least(&record)));
    }

    /// A pressure is the same in every unit. The factors are those of NIST SP 811, appendix B: 1 bar is 100 kPa, 1 psi is
    /// 6.894 757 293 kPa.
    #[test]
    fn a_pressure_is_the_same_in_every_unit(
        rows in prop::collection::vec((1330_i32..1380, 2500_u32..3600), 2..30), ambient in 60_u32..110,
    ) {
        let ambient = f64::from(ambient);
        let verdict = |name: &str, of_kpa: &dyn Fn(f64) -> f64| {
            let mut text = format!("time_s,temp_c,pressure_{name}\n");
            for (i, (temp_c, kpa)) in rows.iter().enumerate() {
                text += &format!("{i},{},{:.12}\n", f64::from(*temp_c) / 10.0, of_kpa(f64::from(*kpa) / 10.0));
            }
            let (record, _) = read(text.as_bytes(), Some(ambient), true).unwrap();
            judge_steam(&record, &SteamLimits::new(134.0, 5.0)).unwrap()
        };
        let plain = verdict("kpa_abs", &|kpa| kpa);
        let others: [(&str, f64, f64); 7] = [
            ("mbar_abs", 0.1, 0.0), ("bar_abs", 100.0, 0.0), ("psi_abs", 6.894757293168361, 0.0),
            ("kpa_gauge", 1.0, ambient), ("mbar_gauge", 0.1, ambient), ("bar_gauge", 100.0, ambient),
            ("psi_gauge", 6.894757293168361, ambient),
        ];
        for (name, unit_kpa, less_kpa) in others {
            let other = verdict(name, &|kpa| (kpa - less_kpa) / unit_kpa);
            prop_assert_eq!(plain.hold, other.hold);
            prop_assert!(reasons_agree(&plain.reasons, &other.reasons), "{}: {:?} {:?}", name, plain, other);
            if let (Some(a), Some(b)) = (plain.saturation, other.saturation) {
                prop_assert!((a.max_below_k - b.max_below_k).abs() < 1e-9, "{}: {:?} {:?}", name, a, b);
                prop_assert!((a.max_above_k - b.max_above_k).abs() < 1e-9, "{}: {:?} {:?}", name, a, b);
            }
        }
    }
}
