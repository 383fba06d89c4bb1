//! Where on a record a limit was broken, found again for the eye: the verdict has the numbers, this has the places.

use super::super::told_time::lasting;
use super::Limits;
use super::axis::clock;
use crate::analysis::cycle::decimal_sum;
use crate::analysis::limits::SteamLimits;
use crate::analysis::record::Record;
use crate::analysis::span::{SAME, Span, samples_within};
use crate::analysis::steam::saturation_temp_c;
use crate::domain::verdict::short;

/// One limit that was broken, once or several times.
#[derive(Clone, Debug, PartialEq)]
pub struct Breach {
    /// Every stretch of it, in s of the record's time.
    pub stretches: Vec<(f64, f64)>,
    /// Where it was worst: the time, and the temperature where there is one.
    pub worst_s: f64,
    pub worst_c: Option<f64>,
    /// A few words for the picture.
    pub brief: String,
    /// The same as a sentence without its end.
    pub words: String,
}

/// Every limit that the record broke, in the order in which reasons are given.
pub fn breaches(record: &Record, limits: &Limits, hold: Option<Span>) -> Vec<Breach> {
    let (low_c, needed_s, max_gap_s) = match limits {
        Limits::Steam(it) => (it.band_c, it.hold_s, it.max_gap_s),
        Limits::Disinfection(it) => (it.band_c, it.hold_s, it.max_gap_s),
    };
    let mut found = Vec::new();
    found.extend(hold.and_then(|span| gaps(record, span, max_gap_s)));
    if hold.is_none_or(|span| span.duration_s < needed_s * (1.0 - SAME)) {
        found.extend(dips(record, low_c));
    }
    if let Limits::Steam(limits) = limits {
        found.extend(above(record, decimal_sum(limits.band_c, limits.band_width_k)));
        found.extend(hold.into_iter().flat_map(|span| unsaturated(record, span, limits)));
    }
    found
}

/// Gathers stretches of neighbouring samples, and the worst of them.
#[derive(Default)]
struct Gathered {
    stretches: Vec<(f64, f64)>,
    last: Option<usize>,
    /// Sample, how bad, and the temperature there.
    worst: Option<(usize, f64, f64)>,
}

impl Gathered {
    fn take(&mut self, time_s: &[f64], i: usize, bad: f64, temp_c: f64) {
        match self.stretches.last_mut() {
            Some(stretch) if self.last.is_some_and(|last| last + 1 >= i) => stretch.1 = time_s[i],
            _ => self.stretches.push((time_s[i], time_s[i])),
        }
        self.last = Some(i);
        if self.worst.is_none_or(|(_, worst, _)| bad > worst) {
            self.worst = Some((i, bad, temp_c));
        }
    }

    fn told(self, time_s: &[f64], told: impl Fn(f64, f64) -> (String, String)) -> Option<Breach> {
        let (sample, bad, temp_c) = self.worst?;
        let (brief, words) = told(bad, temp_c);
        let worst_s = time_s[sample];
        let words = match self.stretches.len() {
            1 => format!("{words}, at {}", clock(worst_s, 1.0)),
            times => format!("{words}, worst of {times} times at {}", clock(worst_s, 1.0)),
        };
        Some(Breach { stretches: self.stretches, worst_s, worst_c: Some(temp_c), brief, words })
    }
}

fn gaps(record: &Record, hold: Span, max_gap_s: f64) -> Option<Breach> {
    let time_s = &record.time_s;
    let first = time_s.partition_point(|t| *t <= hold.start_s).saturating_sub(1);
    let end = time_s.len().min(time_s.partition_point(|t| *t < hold.end_s) + 1);
    let is_long = |pair: &&[f64]| pair[1] - pair[0] > max_gap_s * (1.0 + SAME);
    let stretches: Vec<(f64, f64)> =
        time_s[first..end].windows(2).filter(is_long).map(|pair| (pair[0], pair[1])).collect();
    let longest = stretches.iter().copied().max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))?;
    let (lasted, most) = (lasting(longest.1 - longest.0), lasting(max_gap_s));
    let brief = format!("no sample for {lasted}");
    let words = format!("{brief} from {}, at most {most} is allowed", clock(longest.0, 1.0));
    Some(Breach { stretches, worst_s: longest.0, worst_c: None, brief, words })
}

/// Where it fell below the band after it had been reached, and reached it again.
fn dips(record: &Record, low_c: f64) -> Option<Breach> {
    let samples = record.time_s.len();
    let coldest = |i: usize| record.channels.iter().map(|c| c.temp_c[i]).fold(f64::INFINITY, f64::min);
    let reached = (0..samples).find(|i| coldest(*i) >= low_c)?;
    let left = (0..samples).rev().find(|i| coldest(*i) >= low_c)?;
    let mut gathered = Gathered::default();
    for i in reached..left {
        let temp_c = coldest(i);
        if temp_c < low_c {
            gathered.take(&record.time_s, i, low_c - temp_c, temp_c);
        }
    }
    gathered.told(&record.time_s, |_, temp_c| {
        let fell = format!("fell to {} °C", short(temp_c));
        let words = format!("{fell}, at least {} °C is needed: the hold began again", short(low_c));
        (fell, words)
    })
}

fn above(record: &Record, high_c: f64) -> Option<Breach> {
    let mut gathered = Gathered::default();
    for i in 0..record.time_s.len() {
        let hottest = record.channels.iter().map(|c| c.temp_c[i]).fold(f64::NEG_INFINITY, f64::max);
        if hottest > high_c {
            gathered.take(&record.time_s, i, hottest - high_c, hottest);
        }
    }
    gathered.told(&record.time_s, |_, temp_c| {
        let reached = format!("reached {} °C", short(temp_c));
        let words = format!("{reached}, at most {} °C is allowed", short(high_c));
        (reached, words)
    })
}

/// Below saturated steam, and above it.
fn unsaturated(record: &Record, hold: Span, limits: &SteamLimits) -> Vec<Breach> {
    let Some(pressure) = &record.pressure_kpa_abs else {
        return Vec::new();
    };
    let tolerance_k = limits.saturation_tolerance_k;
    let (mut below, mut over) = (Gathered::default(), Gathered::default());
    let (mut last_kpa, mut steam_c) = (f64::NAN, f64::NAN);
    for i in samples_within(&record.time_s, hold) {
        if pressure[i] != last_kpa {
            last_kpa = pressure[i];
            // Such a record is not judged at all, so there is no breach to show.
            steam_c = saturation_temp_c(last_kpa).unwrap_or(f64::NAN);
        }
        for channel in &record.channels {
            let above_k = channel.temp_c[i] - steam_c;
            if -above_k > tolerance_k {
                below.take(&record.time_s, i, -above_k, channel.temp_c[i]);
            }
            if above_k > tolerance_k {
                over.take(&record.time_s, i, above_k, channel.temp_c[i]);
            }
        }
    }
    let most = short(tolerance_k);
    let air = below.told(&record.time_s, |bad, _| {
        let brief = format!("{} K below steam", short(bad));
        let words = format!("{} K below saturated steam, at most {most} K: air is suspected", short(bad));
        (brief, words)
    });
    let hot = over.told(&record.time_s, |bad, _| {
        let brief = format!("{} K above steam", short(bad));
        let words = format!("{} K above saturated steam, at most {most} K: superheated", short(bad));
        (brief, words)
    });
    air.into_iter().chain(hot).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::{curve, steam};
    use super::*;
    use crate::analysis::cycle::judge_steam;
    use crate::analysis::limits::DisinfectionLimits;
    use crate::analysis::verdict::ReasonCode;

    fn found(record: &Record) -> Vec<String> {
        let limits = SteamLimits::new(134.0, 180.0);
        let verdict = judge_steam(record, &limits).unwrap();
        breaches(record, &Limits::Steam(limits), verdict.hold).into_iter().map(|it| it.words).collect()
    }

    #[test]
    fn a_good_cycle_breaks_nothing() {
        assert_eq!(found(&steam()), Vec::<String>::new());
    }

    #[test]
    fn a_spike_a_dip_a_gap_and_air_are_each_named_with_their_place() {
        let mut spike = steam();
        spike.channels[0].temp_c[330] = 138.4;
        assert_eq!(found(&spike)[0], "reached 138.4 °C, at most 137 °C is allowed, at 5:30");

        let mut dip = steam();
        dip.channels[1].temp_c[400] = 133.2;
        assert!(found(&dip)[0].starts_with("fell to 133.2 °C, at least 134 °C is needed"));

        let mut gap = steam();
        for column in gap.channels.iter_mut().map(|c| &mut c.temp_c).chain(gap.pressure_kpa_abs.iter_mut()) {
            column.drain(350..364);
        }
        gap.time_s.drain(350..364);
        assert_eq!(found(&gap)[0], "no sample for 15 s from 5:49, at most 10 s is allowed");

        let mut air = steam();
        air.pressure_kpa_abs.iter_mut().flatten().for_each(|kpa| *kpa += 30.0);
        assert!(found(&air)[0].contains("air is suspected"), "{:?}", found(&air));
    }

    #[test]
    fn the_places_agree_with_the_verdict() {
        let mut record = steam();
        record.pressure_kpa_abs.iter_mut().flatten().for_each(|kpa| *kpa -= 40.0);
        record.channels[0].temp_c[330] = 138.4;
        let limits = SteamLimits::new(134.0, 180.0);
        let verdict = judge_steam(&record, &limits).unwrap();
        let codes: Vec<ReasonCode> = verdict.reasons.iter().map(|reason| reason.code).collect();
        assert!(codes.contains(&ReasonCode::AboveBand) && codes.contains(&ReasonCode::Superheated));
        let told = breaches(&record, &Limits::Steam(limits), verdict.hold);
        for reason in verdict.reasons.iter().filter(|reason| reason.code != ReasonCode::HoldTooShort) {
            assert!(told.iter().any(|it| it.words.contains(&short(reason.found))), "{reason:?}: {told:?}");
        }
    }

    #[test]
    fn a_broken_disinfection_shows_its_dip() {
        let record = curve(&[(0.0, 20.0), (300.0, 92.0), (400.0, 85.0), (500.0, 92.0), (900.0, 40.0)]);
        let limits = DisinfectionLimits { hold_s: 600.0, ..DisinfectionLimits::new(3000.0, 90.0) };
        let told = breaches(&record, &Limits::Disinfection(limits), None);
        assert!(told.len() == 1 && told[0].brief == "fell to 85 °C", "{told:?}");
    }
}
