//! The verdict on one cycle record: did the load stay in the band, long enough, in saturated steam, or hot
//! enough for long enough in water.
//!
//! Limits are inclusive. A duration or an A0 that misses its limit by no more than [`SAME`] of it meets it,
//! because a crossing computed in doubles cannot be better than that.

use super::lethality::{A0_REF_C, A0_Z_K, F0, F0_REF_C, F0_Z_K, a0, f0};
use super::limits::{DisinfectionLimits, SteamLimits};
use super::record::{Channel, Record, Unusable};
use super::span::{Range, SAME, Span, highest_c, longest_gap_s, longest_span, range_within, samples_within};
use super::steam::saturation_temp_c;
use super::verdict::{
    A0Seconds, Deviation, DisinfectionVerdict, F0Min, Outcome, PerChannel, Reason, ReasonCode, SteamVerdict,
};

/// Judges a steam cycle (EN 285, ISO 17665; F0 as in the pharmacopoeias).
///
/// # Errors
/// A record that fails [`Record::check`], a limit that cannot be meant, or a pressure inside the hold at which
/// water does not boil.
pub fn judge_steam(record: &Record, limits: &SteamLimits) -> Result<SteamVerdict, Unusable> {
    judge_steam_and(record, limits, |_| ()).map(|(verdict, ())| verdict)
}

/// As [`judge_steam`], and looks at something else of the cycle with this hold meanwhile.
///
/// # Errors
/// Those of [`judge_steam`].
pub fn judge_steam_and<T>(
    record: &Record,
    limits: &SteamLimits,
    look: impl FnOnce(Option<Span>) -> T,
) -> Result<(SteamVerdict, T), Unusable> {
    limits.check()?;
    record.check()?;
    let (low_c, high_c) = (limits.band_c, decimal_sum(limits.band_c, limits.band_width_k));
    let hold = longest_span(record, low_c, high_c);
    let seen = || Seen {
        saturation: hold.map_or(Ok(None), |span| deviation(record, span)),
        highest_c: highest_c(record),
        within: hold.map(|span| range_within(record, span)),
        max_gap_s: longest_gap_s(&record.time_s, None),
    };
    let (f0_min, (seen, looked)) = beside(record, || f0_min(record, hold), || (seen(), look(hold)));
    let Seen { saturation, highest_c, within, max_gap_s } = seen;
    let saturation = saturation?;
    let mut reasons = Vec::new();
    reasons.extend(hold.and_then(|span| gap_reason(record, span, limits.max_gap_s)));
    // A load that never was in the band must not pass, not even where no time in it is asked for.
    let duration_s = hold.map_or(0.0, |span| span.duration_s);
    if hold.is_none() || !reaches(duration_s, limits.hold_s) {
        reasons.push(Reason {
            code: ReasonCode::HoldTooShort,
            found: duration_s,
            needed: limits.hold_s,
            unit: "s",
        });
    }
    if highest_c > high_c {
        reasons.push(Reason { code: ReasonCode::AboveBand, found: highest_c, needed: high_c, unit: "°C" });
    }
    let Deviation { max_below_k, max_above_k } = saturation.unwrap_or_default();
    let needed = limits.saturation_tolerance_k;
    if max_below_k > needed {
        reasons.push(Reason { code: ReasonCode::AirSuspected, found: max_below_k, needed, unit: "K" });
    }
    if max_above_k > needed {
        reasons.push(Reason { code: ReasonCode::Superheated, found: max_above_k, needed, unit: "K" });
    }
    let verdict = SteamVerdict {
        verdict: outcome(&reasons),
        reasons,
        hold,
        // Interpolation may leave the band by a rounding; the hold is inside it by definition.
        temperature: within.map(|range| Range {
            min_c: range.min_c.clamp(low_c, high_c),
            max_c: range.max_c.clamp(low_c, high_c),
        }),
        f0_min,
        saturation,
        samples: record.time_s.len(),
        max_gap_s,
    };
    Ok((verdict, looked))
}

/// Judges a thermal disinfection (ISO 15883-1, clause 4.3.1 and annex B).
///
/// # Errors
/// A record that fails [`Record::check`], or a limit that cannot be meant.
pub fn judge_disinfection(
    record: &Record,
    limits: &DisinfectionLimits,
) -> Result<DisinfectionVerdict, Unusable> {
    limits.check()?;
    record.check()?;
    let continuous = longest_span(record, limits.band_c, f64::INFINITY);
    let total = per_channel(record, |channel| a0(&record.time_s, &channel.temp_c, limits.floor_c));
    let mut reasons = Vec::new();
    reasons.extend(continuous.and_then(|span| gap_reason(record, span, limits.max_gap_s)));
    let short = [
        (ReasonCode::HoldTooShort, continuous.map_or(0.0, |span| span.duration_s), limits.hold_s),
        (ReasonCode::A0TooLow, total.least.0, limits.a0_s),
    ];
    for (code, found, needed) in short {
        if !reaches(found, needed) {
            reasons.push(Reason { code, found, needed, unit: "s" });
        }
    }
    Ok(DisinfectionVerdict {
        verdict: outcome(&reasons),
        reasons,
        a0_s: A0Seconds { ref_c: A0_REF_C, z_k: A0_Z_K, floor_c: limits.floor_c, total },
        continuous,
        samples: record.time_s.len(),
        max_gap_s: longest_gap_s(&record.time_s, None),
    })
}

fn outcome(reasons: &[Reason]) -> Outcome {
    if reasons.is_empty() { Outcome::Pass } else { Outcome::Fail }
}

fn reaches(found: f64, needed: f64) -> bool {
    found >= needed * (1.0 - SAME)
}

fn gap_reason(record: &Record, span: Span, needed: f64) -> Option<Reason> {
    let found = longest_gap_s(&record.time_s, Some(span));
    let is_too_long = found > needed * (1.0 + SAME);
    is_too_long.then_some(Reason { code: ReasonCode::GapTooLong, found, needed, unit: "s" })
}

/// None without a pressure; zeros where no sample lies inside the hold.
fn deviation(record: &Record, hold: Span) -> Result<Option<Deviation>, Unusable> {
    let Some(pressure_kpa_abs) = &record.pressure_kpa_abs else {
        return Ok(None);
    };
    let mut worst = Deviation::default();
    let (mut last_kpa, mut saturated_c) = (f64::NAN, f64::NAN);
    for i in samples_within(&record.time_s, hold) {
        // Recorders resolve so little that pressures mostly repeat.
        if pressure_kpa_abs[i] != last_kpa {
            last_kpa = pressure_kpa_abs[i];
            saturated_c =
                saturation_temp_c(last_kpa).map_err(|range| Unusable::Pressure { sample: i, range })?;
        }
        for channel in &record.channels {
            let above_k = channel.temp_c[i] - saturated_c;
            worst.max_above_k = worst.max_above_k.max(above_k);
            worst.max_below_k = worst.max_below_k.max(-above_k);
        }
    }
    Ok(Some(worst))
}

/// The whole record is added up from the hold and what lies on both sides of it, so that no stretch is
/// integrated twice.
fn f0_min(record: &Record, hold: Option<Span>) -> F0Min {
    let time_s = &record.time_s;
    let (first_s, last_s) = (time_s[0], time_s[time_s.len() - 1]);
    let (start_s, end_s) = hold.map_or((first_s, first_s), |span| (span.start_s, span.end_s));
    let held = per_channel(record, |channel| f0(time_s, &channel.temp_c, start_s, end_s));
    let total = per_channel(record, |channel| {
        let before = f0(time_s, &channel.temp_c, first_s, start_s);
        let after = f0(time_s, &channel.temp_c, end_s, last_s);
        F0(before.0 + held.channels[&channel.name].0 + after.0)
    });
    F0Min { ref_c: F0_REF_C, z_k: F0_Z_K, total, hold: held }
}

/// What a pass over the record sees beside its lethality.
struct Seen {
    saturation: Result<Option<Deviation>, Unusable>,
    highest_c: f64,
    within: Option<Range>,
    max_gap_s: f64,
}

/// From so many samples on a channel, or a pass, is worth a thread of its own.
const LONG: usize = 100_000;

/// Two things of one record, of a long one at the same time.
fn beside<A: Send, B>(record: &Record, one: impl FnOnce() -> A + Send, other: impl FnOnce() -> B) -> (A, B) {
    if record.time_s.len() < LONG {
        return (one(), other());
    }
    std::thread::scope(|scope| {
        let one = scope.spawn(one);
        let other = other();
        (one.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)), other)
    })
}

fn per_channel<T: Copy + PartialOrd + Send>(
    record: &Record,
    value: impl Fn(&Channel) -> T + Sync,
) -> PerChannel<T> {
    let values: Vec<T> = if record.time_s.len() < LONG || record.channels.len() == 1 {
        record.channels.iter().map(&value).collect()
    } else {
        std::thread::scope(|scope| {
            let value = &value;
            let spawned = record.channels.iter().map(|channel| scope.spawn(move || value(channel)));
            let running: Vec<_> = spawned.collect();
            let joined = running.into_iter().map(std::thread::ScopedJoinHandle::join);
            joined.map(|done| done.unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
        })
    };
    let least = values.iter().fold(values[0], |least, next| if *next < least { *next } else { least });
    let names = record.channels.iter().map(|channel| channel.name.clone());
    PerChannel { channels: names.zip(values).collect(), least }
}

/// The sum of two numbers written in decimals, as the double nearest to the decimal sum: a sample of exactly
/// the upper limit is in the band even where the doubles of band and width add up to a hair less.
pub fn decimal_sum(a: f64, b: f64) -> f64 {
    const DECIMALS: f64 = 1e9;
    /// Beyond it the scaled sum is no exact integer any more, and rounding it would do harm.
    const LARGEST: f64 = 1e6;
    let sum = a + b;
    if sum.abs() < LARGEST { (sum * DECIMALS).round() / DECIMALS } else { sum }
}
