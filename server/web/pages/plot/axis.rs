//! Axes: from numbers to places in the picture, and the round numbers that stand at them.

/// An axis from a low number at one place to a high number at another.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    pub low: f64,
    pub high: f64,
    pub from: f64,
    pub to: f64,
}

impl Axis {
    pub fn place(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.from + share.clamp(0.0, 1.0) * (self.to - self.from)
    }

    /// Where the value is, though it be outside; not so far outside that a picture cannot tell it.
    pub fn beyond(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.from + share.clamp(-20.0, 20.0) * (self.to - self.from)
    }

    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// The same axis, made to reach farther at its high end by so many of the picture's units.
    pub fn with_room(self, room: f64) -> Axis {
        let length = (self.to - self.from).abs();
        let share = (room / length).clamp(0.0, 0.6);
        Axis { high: self.low + (self.high - self.low) / (1.0 - share), ..self }
    }
}

/// Round numbers and the distance between them.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticks {
    pub at: Vec<f64>,
    pub step: f64,
}

/// At most so many round numbers from low to high: 1, 2 or 5 times a power of ten apart.
pub fn ticks(low: f64, high: f64, most: usize) -> Ticks {
    let needed = (high - low).max(f64::MIN_POSITIVE) / most.max(2) as f64;
    let power = 10f64.powf(needed.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|digit| digit * power);
    let step = steps.into_iter().find(|step| *step >= needed).unwrap_or(10.0 * power);
    every(low, high, step, most)
}

/// The steps of a clock, in s, up to an hour; beyond it an hour times 1, 2 or 5 and so on.
const CLOCK: [f64; 12] = [1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0];
const HOUR_S: f64 = 3600.0;

/// At most so many times from low to high, in s, that are round on a clock.
pub fn time_ticks(low_s: f64, high_s: f64, most: usize) -> Ticks {
    let needed = (high_s - low_s) / most.max(2) as f64;
    if needed <= CLOCK[0] / 2.0 {
        return ticks(low_s, high_s, most);
    }
    if let Some(step) = CLOCK.into_iter().find(|step| *step >= needed) {
        return every(low_s, high_s, step, most);
    }
    let hours = ticks(low_s / HOUR_S, high_s / HOUR_S, most);
    // Never less than an hour, or the clock's face would not be round.
    every(low_s, high_s, hours.step.max(1.0) * HOUR_S, most)
}

fn every(low: f64, high: f64, step: f64, most: usize) -> Ticks {
    let slack = step * 1e-9;
    let first = ((low - slack) / step).ceil();
    let number = (((high + slack) / step).floor() - first).max(0.0) as usize;
    Ticks { at: (0..=number.min(most + 1)).map(|n| (first + n as f64) * step).collect(), step }
}

/// Minutes and seconds: `12:04`, with decimals where the ticks lie closer than a second.
pub fn clock(time_s: f64, step: f64) -> String {
    let decimals = decimals(step);
    let scale = 10f64.powi(decimals as i32);
    let rounded = (time_s.abs() * scale).round() / scale;
    let sign = if time_s < 0.0 && rounded > 0.0 { "-" } else { "" };
    let minutes = (rounded / 60.0).floor();
    let seconds = rounded - minutes * 60.0;
    let width = if decimals == 0 { 2 } else { decimals + 3 };
    format!("{sign}{minutes:.0}:{seconds:0width$.decimals$}")
}

/// A number with as many decimals as its distance to the next needs.
pub fn plain(value: f64, step: f64) -> String {
    let decimals = decimals(step);
    let text = format!("{value:.decimals$}");
    if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
        text.trim_start_matches('-').to_string()
    } else {
        text
    }
}

fn decimals(step: f64) -> usize {
    (-step.log10()).ceil().clamp(0.0, 6.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_few_and_inside() {
        for (low, high) in [(0.0, 140.0), (19.3, 137.8), (133.2, 138.1), (-270.0, 3000.0), (4.2, 331.9)] {
            for most in [4, 6, 8] {
                let found = ticks(low, high, most);
                assert!((2..=most + 1).contains(&found.at.len()), "{low} {high}: {found:?}");
                assert!(found.at.iter().all(|at| (low - 1e-6..=high + 1e-6).contains(at)));
                let digit = found.step / 10f64.powf(found.step.log10().floor());
                assert!([1.0, 2.0, 5.0].iter().any(|round| (digit - round).abs() < 1e-6), "{found:?}");
            }
        }
    }

    #[test]
    fn times_are_round_on_a_clock() {
        assert_eq!(time_ticks(0.0, 2300.0, 8).step, 300.0);
        assert_eq!(time_ticks(600.0, 800.0, 8).at.first(), Some(&600.0));
        assert_eq!(time_ticks(0.0, 30_000.0, 8).step, 2.0 * HOUR_S);
        assert!(time_ticks(0.0, 1e10, 8).at.len() <= 9);
        assert!(time_ticks(0.0, 0.5, 8).at.len() <= 9);
        assert_eq!(clock(724.0, 60.0), "12:04");
        assert_eq!(clock(59.6, 1.0), "1:00");
        assert_eq!(clock(0.25, 0.05), "0:00.25");
        assert_eq!(clock(-65.0, 5.0), "-1:05");
        assert_eq!((plain(-0.0, 1.0), plain(134.5, 0.5)), ("0".into(), "134.5".into()));
    }

    #[test]
    fn a_place_is_inside_the_axis() {
        let axis = Axis { low: 0.0, high: 10.0, from: 200.0, to: 0.0 };
        assert_eq!((axis.place(5.0), axis.place(50.0), axis.place(-1.0)), (100.0, 0.0, 200.0));
        let roomy = axis.with_room(50.0);
        assert!((roomy.place(10.0) - 50.0).abs() < 1e-9);
    }
}
