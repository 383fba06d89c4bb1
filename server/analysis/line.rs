//! A straight line through measured points, and where it crosses a limit: least squares with the interval of Fieller.

/// The 0.975 quantiles of Student's t for 1 to 30 degrees of freedom (NIST/SEMATECH e-Handbook, 1.3.6.7.2).
const T_975: [f64; 30] = [
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131,
    2.120, 2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
];

/// So many different abscissae at the least: two points always lie on a line, and say nothing of it.
pub const FEWEST: usize = 3;

/// A line through points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    pub slope: f64,
    /// The line at the mean abscissa.
    pub middle: f64,
    mean_x: f64,
    n: usize,
    sxx: f64,
    /// The standard deviation of the points about the line.
    pub scatter: f64,
}

/// Where a line crosses a limit, with the interval that covers the crossing of the true line 95 times in 100.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    pub at: f64,
    pub low: f64,
    /// None where the line may as well never cross.
    pub high: Option<f64>,
}

/// The 0.975 quantile of Student's t; beyond 30 degrees of freedom by the expansion of Cornish and Fisher.
fn t_975(df: usize) -> f64 {
    match df.checked_sub(1).and_then(|at| T_975.get(at)) {
        Some(t) => *t,
        None => {
            let (z, v) = (super::life::Z_95, df.max(1) as f64);
            let third = 3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z;
            let second = 5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z;
            z + (z.powi(3) + z) / (4.0 * v) + second / (96.0 * v * v) + third / (384.0 * v.powi(3))
        }
    }
}

/// The line of least squares; none with fewer than three different abscissae.
pub fn line(points: &[(f64, f64)]) -> Option<Line> {
    let mut xs: Vec<f64> = points.iter().map(|(x, _)| *x).collect();
    xs.sort_by(f64::total_cmp);
    xs.dedup();
    if xs.len() < FEWEST || points.iter().any(|(x, y)| !x.is_finite() || !y.is_finite()) {
        return None;
    }
    let n = points.len();
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n as f64;
    let (mean_x, middle) = (mean(|it| it.0), mean(|it| it.1));
    let sxx: f64 = points.iter().map(|(x, _)| (x - mean_x).powi(2)).sum();
    let sxy: f64 = points.iter().map(|(x, y)| (x - mean_x) * (y - middle)).sum();
    let slope = sxy / sxx;
    let rest: f64 = points.iter().map(|(x, y)| (y - middle - slope * (x - mean_x)).powi(2)).sum();
    let scatter = (rest / (n - 2) as f64).sqrt();
    Some(Line { slope, middle, mean_x, n, sxx, scatter })
}

impl Line {
    pub fn at(&self, x: f64) -> f64 {
        self.middle + self.slope * (x - self.mean_x)
    }

    /// The limits of the slope that cover the true one 95 times in 100.
    pub fn slope_limits(&self) -> (f64, f64) {
        let half = t_975(self.n - 2) * self.scatter / self.sxx.sqrt();
        (self.slope - half, self.slope + half)
    }

    /// Where it crosses a value; none where the slope may as well be nothing, so that it may never do.
    pub fn crosses(&self, value: f64) -> Option<Crossing> {
        let (low, high) = self.slope_limits();
        if self.slope == 0.0 || (low <= 0.0 && high >= 0.0) {
            return None;
        }
        let t = t_975(self.n - 2);
        let g = (t * self.scatter / self.slope).powi(2) / self.sxx;
        let away = (value - self.middle) / self.slope;
        let middle = self.mean_x + away / (1.0 - g);
        let spread = (1.0 - g) / self.n as f64 + away.powi(2) / self.sxx;
        let half = (t * self.scatter / self.slope).abs() / (1.0 - g) * spread.sqrt();
        Some(Crossing { at: self.mean_x + away, low: middle - half, high: Some(middle + half) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Draper and Smith, Applied Regression Analysis, and every textbook: points on a line are met exactly.
    #[test]
    fn points_on_a_line_cross_where_it_does() {
        let line = line(&[(0.0, 100.0), (10.0, 90.0), (20.0, 80.0)]).unwrap();
        let crossing = line.crosses(70.0).unwrap();
        assert!((crossing.at - 30.0).abs() < 1e-9 && (crossing.low - 30.0).abs() < 1e-9, "{crossing:?}");
        assert!(super::line(&[(0.0, 1.0), (0.0, 2.0), (5.0, 3.0)]).is_none());
    }

    /// Worked by hand: x 1 to 5, y 2, 4, 5, 4, 5 has slope 0.6, intercept 2.2, residual sum 2.4, so s² 0.8.
    #[test]
    fn a_line_is_that_of_least_squares() {
        let points = [(1.0, 2.0), (2.0, 4.0), (3.0, 5.0), (4.0, 4.0), (5.0, 5.0)];
        let line = line(&points).unwrap();
        assert!((line.slope - 0.6).abs() < 1e-12 && (line.at(0.0) - 2.2).abs() < 1e-12);
        assert!((line.scatter.powi(2) - 0.8).abs() < 1e-12);
        // 0.6 ± 3.182 × sqrt(0.8 / 10): nothing tells it from no slope at all.
        assert!(line.slope_limits().0 < 0.0 && line.crosses(9.0).is_none());
    }

    /// Above 30 degrees of freedom: 2.000 at 60, 1.984 at 100 (the same table).
    #[test]
    fn quantiles_of_t_are_those_of_the_table() {
        assert!((t_975(60) - 2.000).abs() < 5e-4 && (t_975(100) - 1.984).abs() < 5e-4);
        assert!((t_975(31) - 2.040).abs() < 5e-4);
    }
}
