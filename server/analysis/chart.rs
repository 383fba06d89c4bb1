//! The chart of individual values with control limits (Shewhart 1931; NIST/SEMATECH e-Handbook of Statistical Methods,
//! 6.3.2.2): whether a process does what it did before, long before a value leaves what is allowed.

use std::ops::Range;

/// The expected range of two values from a normal distribution, in its standard deviations (NIST/SEMATECH e-Handbook
/// 6.3.2.2: 1.128).
pub const D2: f64 = 1.128;
/// The limits lie so many standard deviations from the mean (NIST/SEMATECH e-Handbook 6.3.2.2: 3).
pub const SIGMAS: f64 = 3.0;
/// So many neighbours on one side of the mean are a run (NIST/SEMATECH e-Handbook 6.3.2, rules of Western Electric:
/// eight consecutive points).
pub const RUN: usize = 8;
/// Fewer values give no limits. Chosen: with less, the mean of the moving ranges says little.
pub const LEAST: usize = 10;

/// The share of a number by which two that ought to be equal may differ.
const SAME: f64 = 1e-9;

/// Mean and limits, from the moving ranges of neighbours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Individuals {
    pub mean: f64,
    pub low: f64,
    pub high: f64,
    pub moving_range: f64,
}

/// None where there are fewer than [`LEAST`] values, or one that is not finite.
pub fn individuals(values: &[f64]) -> Option<Individuals> {
    if values.len() < LEAST || values.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let moved: f64 = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    let moving_range = moved / (values.len() - 1) as f64;
    let reach = SIGMAS * moving_range / D2;
    Some(Individuals { mean, low: mean - reach, high: mean + reach, moving_range })
}

impl Individuals {
    fn slack(&self) -> f64 {
        self.mean.abs().max(self.moving_range) * SAME
    }

    pub fn is_outside(&self, value: f64) -> bool {
        value < self.low - self.slack() || value > self.high + self.slack()
    }

    /// 1 above the mean, -1 below it, 0 on it.
    fn side(&self, value: f64) -> i8 {
        let off = value - self.mean;
        if off.abs() <= self.slack() { 0 } else { off.signum() as i8 }
    }

    /// Every run of at least [`RUN`] neighbours on one side of the mean, as places in the values.
    pub fn runs(&self, values: &[f64]) -> Vec<Range<usize>> {
        let mut found = Vec::new();
        let mut start = 0;
        for i in 0..=values.len() {
            let same = i > start && i < values.len() && self.side(values[i]) == self.side(values[start]);
            if same || i == start {
                continue;
            }
            if i - start >= RUN && self.side(values[start]) != 0 {
                found.push(start..i);
            }
            start = i;
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, the example of ten flow rates: mean 50.81, mean
    /// moving range 1.8778, limits 45.8159 and 55.8041. The data and the answers are from memory; they agree with
    /// each other to all printed digits.
    #[test]
    fn the_published_example_comes_out() {
        let flows = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let chart = individuals(&flows).unwrap();
        assert!((chart.mean - 50.81).abs() < 5e-5 && (chart.moving_range - 1.8778).abs() < 5e-5, "{chart:?}");
        assert!((chart.high - 55.8041).abs() < 1e-4 && (chart.low - 45.8159).abs() < 1e-4, "{chart:?}");
        assert!(flows.iter().all(|flow| !chart.is_outside(*flow)) && chart.runs(&flows).is_empty());
        assert!(chart.is_outside(55.9) && chart.is_outside(45.8));
    }

    /// The same limits by their usual constant, 2.66 mean moving ranges (3 / 1.128, common practice).
    #[test]
    fn the_reach_is_2_66_mean_moving_ranges() {
        let chart = individuals(&[1.0, 2.0, 4.0, 3.0, 5.0, 4.0, 2.0, 3.0, 1.0, 2.0]).unwrap();
        assert!(((chart.high - chart.mean) / chart.moving_range - 2.66).abs() < 0.001);
    }

    #[test]
    fn eight_on_one_side_are_a_run_and_seven_are_none() {
        let chart = Individuals { mean: 0.0, low: -9.0, high: 9.0, moving_range: 1.0 };
        let with = |above: usize| [vec![-1.0, 1.0, -1.0], vec![1.0; above], vec![-1.0]].concat();
        assert!(chart.runs(&with(7)).is_empty());
        assert_eq!(chart.runs(&with(8)), [3..11]);
        assert!(chart.runs(&[0.0; 20]).is_empty());
        assert_eq!(chart.runs(&[1.0; 9]), [0..9]);
    }

    #[test]
    fn few_values_give_no_limits_and_equal_ones_are_not_outside() {
        assert_eq!(individuals(&[1.0; 9]), None);
        assert_eq!(individuals(&[f64::NAN; 20]), None);
        let values = [134.1 + 0.2; 30];
        let chart = individuals(&values).unwrap();
        assert!(values.iter().all(|value| !chart.is_outside(*value)) && chart.runs(&values).is_empty());
    }
}
