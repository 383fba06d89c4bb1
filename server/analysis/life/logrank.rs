//! Do groups live equally long? The log-rank test (Mantel 1966; Peto & Peto 1972) with ties and late entries.

use super::counts::{At, Counts};
use super::special::chi_squared_above;
use super::{Life, Refused, Why};

/// A group in which fewer failures are expected tells little by this test (common practice).
pub const FEWEST_EXPECTED: f64 = 5.0;

#[derive(Clone, Debug, PartialEq)]
pub struct LogRank {
    pub chisq: f64,
    pub df: u64,
    /// The chance of such a difference, or a greater one, where there is none.
    pub p: f64,
    /// By group, in the order given.
    pub observed: Vec<u64>,
    /// How many would have failed there if all groups wore alike.
    pub expected: Vec<f64>,
}

impl LogRank {
    /// In every group enough failures are expected for the test to mean something.
    pub fn is_sound(&self) -> bool {
        self.expected.iter().all(|expected| *expected >= FEWEST_EXPECTED)
    }
}

pub fn logrank(groups: &[Vec<Life>]) -> Result<LogRank, Refused> {
    let counted = groups.iter().enumerate().map(|(at, group)| {
        Counts::of_lives(group.iter().copied())
            .map_err(|refused| Refused { said: format!("Group {}: {}", at + 1, refused.said), ..refused })
    });
    of_counts(&counted.collect::<Result<Vec<Counts>, Refused>>()?)
}

pub fn of_counts(groups: &[Counts]) -> Result<LogRank, Refused> {
    let few = |said: &str| Err(Refused { why: Why::TooFewFailures, said: said.to_owned() });
    if groups.len() < 2 {
        return few("A comparison needs two groups at least.");
    }
    let mut tables = Tables::new(groups);
    let mut ages: Vec<(usize, At)> = vec![];
    for (group, counts) in groups.iter().enumerate() {
        ages.extend(counts.ages.iter().map(|at| (group, *at)));
    }
    ages.sort_by(|a, b| a.1.age.total_cmp(&b.1.age));
    for same in ages.chunk_by(|a, b| a.1.age == b.1.age) {
        tables.add(same);
    }
    // A group of which nothing is expected is compared with nothing.
    let kept: Vec<usize> = (0..groups.len()).filter(|group| tables.expected[*group] > 0.0).collect();
    if kept.len() < 2 {
        return few(
            "No failure lies at an age that pieces of two groups reached, so there is nothing to compare.",
        );
    }
    let Some(chisq) = tables.chisq(&kept) else {
        return few(
            "At no age of a failure were pieces of all groups in use together, so they can not be compared.",
        );
    };
    let df = kept.len() as u64 - 1;
    Ok(LogRank {
        chisq,
        df,
        p: chi_squared_above(chisq, df as f64),
        observed: groups.iter().map(|counts| counts.failures).collect(),
        expected: tables.expected,
    })
}

/// Sums over the ages of failures.
struct Tables {
    at_risk: Vec<f64>,
    off: Vec<f64>,
    expected: Vec<f64>,
    variance: Vec<Vec<f64>>,
}

impl Tables {
    fn new(groups: &[Counts]) -> Tables {
        let at_risk = groups.iter().map(|counts| (counts.n - counts.late) as f64).collect();
        let none = vec![0.0; groups.len()];
        Tables { at_risk, off: none.clone(), variance: vec![none.clone(); groups.len()], expected: none }
    }

    /// What happened in the groups at one age.
    fn add(&mut self, same: &[(usize, At)]) {
        let failed: f64 = same.iter().map(|(_, at)| at.failures as f64).sum();
        let n: f64 = self.at_risk.iter().sum();
        if failed > 0.0 {
            let groups = self.at_risk.len();
            let ties = if n > 1.0 { failed * (n - failed) / (n - 1.0) } else { 0.0 };
            for i in 0..groups {
                let share = self.at_risk[i] / n;
                self.expected[i] += failed * share;
                self.off[i] -= failed * share;
                for j in 0..groups {
                    let same = if i == j { share } else { 0.0 };
                    self.variance[i][j] += ties * (same - share * self.at_risk[j] / n);
                }
            }
        }
        for (group, at) in same {
            self.off[*group] += at.failures as f64;
            self.at_risk[*group] += at.entries as f64 - at.exits as f64;
        }
    }

    /// The differences, weighed by the inverse of their covariance, all groups but the last.
    fn chisq(&self, kept: &[usize]) -> Option<f64> {
        let (_, but_last) = kept.split_last()?;
        let line = |i: &usize| {
            let mut line: Vec<f64> = but_last.iter().map(|j| self.variance[*i][*j]).collect();
            line.push(self.off[*i]);
            line
        };
        let mut lines: Vec<Vec<f64>> = but_last.iter().map(line).collect();
        let size = lines.len();
        let largest = lines.iter().enumerate().map(|(i, line)| line[i]).fold(0.0, f64::max);
        for i in 0..size {
            // The matrix is positive, so its own pivots will do; one of nothing means that groups never met.
            if lines[i][i] <= 1e-12 * largest || largest <= 0.0 {
                return None;
            }
            let (above, below) = lines.split_at_mut(i + 1);
            let pivot = &above[i];
            for line in below {
                let factor = line[i] / pivot[i];
                for (cell, by) in line.iter_mut().zip(pivot).skip(i) {
                    *cell -= factor * by;
                }
            }
        }
        // With the triangle L, the sum of squares of L⁻¹ times the differences.
        Some((0..size).map(|i| lines[i][size] * lines[i][size] / lines[i][i]).sum())
    }
}

/// Chances of several comparisons, raised so that one false alarm among all is as rare as it was for one (Holm 1979).
pub fn holm(chances: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..chances.len()).collect();
    order.sort_by(|a, b| chances[*a].total_cmp(&chances[*b]));
    let mut raised = vec![0.0; chances.len()];
    let mut highest = 0.0_f64;
    for (rank, at) in order.into_iter().enumerate() {
        highest = highest.max((chances.len() - rank) as f64 * chances[at]).min(1.0);
        raised[at] = highest;
    }
    raised
}
