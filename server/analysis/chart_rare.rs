//! Charts of counted defects: the p chart of shares (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2), and the g chart
//! of how many good ones lie between two rare defects (Benneyan 2001).

use super::chart::SIGMAS;

/// The chance on one side of three standard deviations of a normal distribution.
const TAIL: f64 = 0.00135;
/// With fewer points the limits are provisional (common practice: 20 to 25).
pub const ESTABLISHED: usize = 20;
/// The share of a number by which two that ought to be equal may differ.
const SAME: f64 = 1e-9;

#[derive(Clone, Debug, PartialEq)]
pub struct Shares {
    pub center: f64,
    /// For each point, as its size asks.
    pub high: Vec<f64>,
    pub low: Vec<f64>,
    /// The places of points beyond their limits, from 0.
    pub outside: Vec<usize>,
}

/// Defective ones among so many, point by point. None where a size is 0, more are defective than there are, or nothing stands.
pub fn shares(points: &[(u64, u64)]) -> Option<Shares> {
    if points.is_empty() || points.iter().any(|(defective, size)| *size == 0 || defective > size) {
        return None;
    }
    let sum = |part: fn(&(u64, u64)) -> u64| points.iter().map(|point| part(point) as f64).sum::<f64>();
    let center = sum(|point| point.0) / sum(|point| point.1);
    let reach = |size: u64| SIGMAS * (center * (1.0 - center) / size as f64).sqrt();
    let high: Vec<f64> = points.iter().map(|point| (center + reach(point.1)).min(1.0)).collect();
    let low: Vec<f64> = points.iter().map(|point| (center - reach(point.1)).max(0.0)).collect();
    let outside = (0..points.len()).filter(|at| {
        let share = points[*at].0 as f64 / points[*at].1 as f64;
        share > high[*at] * (1.0 + SAME) || share < low[*at] * (1.0 - SAME)
    });
    let outside = outside.collect();
    Some(Shares { center, high, low, outside })
}

#[derive(Clone, Debug, PartialEq)]
pub struct Between {
    pub center: f64,
    pub high: f64,
    /// Always 0: three deviations below the mean nothing lies, so more defects never show there.
    pub low: f64,
    /// The chance of a defect.
    pub chance: f64,
    /// Limits with the chance of three deviations on each side.
    pub exact_high: f64,
    pub exact_low: f64,
    /// The places of points above `high`, from 0.
    pub outside: Vec<usize>,
}

/// How many good ones lay before each defect. None without any.
pub fn between(points: &[f64]) -> Option<Between> {
    if points.is_empty() || points.iter().any(|point| !(point.is_finite() && *point >= 0.0)) {
        return None;
    }
    let center = points.iter().sum::<f64>() / points.len() as f64;
    let high = center + SIGMAS * center.sqrt() * (center + 1.0).sqrt();
    if !high.is_finite() {
        return None;
    }
    let chance = 1.0 / (center + 1.0);
    // P(X <= x) = 1 - (1 - p)^(x + 1), solved for x.
    let at = |above: f64| if center > 0.0 { (above / (-chance).ln_1p() - 1.0).max(0.0) } else { 0.0 };
    let outside = (0..points.len()).filter(|at| points[*at] > high * (1.0 + SAME)).collect();
    let (exact_high, exact_low) = (at(TAIL.ln()), at((-TAIL).ln_1p()));
    Some(Between { center, high, low: 0.0, chance, exact_high, exact_low, outside })
}
