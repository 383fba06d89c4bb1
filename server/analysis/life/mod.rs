//! How long things last, from ages at which they failed or were last seen whole. All of it stands on counts by distinct
//! age, so a million things with five hundred ages cost five hundred terms.

pub mod counts;
pub mod few;
pub mod kaplan_meier;
pub mod logrank;
pub mod mcf;
mod profile;
pub mod replacement;
mod solve;
pub mod spares;
mod special;
pub mod trend;
pub mod weibull;

pub use kaplan_meier::{Curve, Step};
pub use logrank::{LogRank, holm, logrank};
pub use mcf::{McfStep, Unit, mcf};
pub use weibull::Weibull;

/// The 0.95 quantile of chi-squared with one degree of freedom: twice the fall of the log-likelihood at a limit.
pub const CHI2_95: f64 = 3.841_458_820_694_124;
/// The 0.975 quantile of the normal distribution.
pub const Z_95: f64 = 1.959_963_984_540_054;
/// Fewer failures fit no curve. A convention: the intervals still cover with three, and the shape says nothing with two.
pub const FEWEST_FAILURES: u64 = 3;

/// One thing, or several alike, for a fit. It failed at exactly `lo` (`hi` is the same), after `lo` and by `hi`, or had not
/// failed at `lo` (`hi` is none). With `lo` 0 it failed at some age up to `hi`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// The age at which somebody began to watch it; what failed before was never seen.
    pub entry: f64,
    pub lo: f64,
    pub hi: Option<f64>,
    pub count: u64,
}

/// One thing, or several alike, for curves: watched from `entry` to `exit`, and failed there or not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Life {
    pub entry: f64,
    pub exit: f64,
    pub event: bool,
    pub count: u64,
}

/// Why there is no honest answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    TooFewFailures,
    NoMaximum,
    InvalidRows,
}

impl Why {
    pub fn name(self) -> &'static str {
        match self {
            Why::TooFewFailures => "too_few_failures",
            Why::NoMaximum => "no_maximum",
            Why::InvalidRows => "invalid_rows",
        }
    }
}

/// No honest answer, and the sentence that says so.
#[derive(Clone, Debug, PartialEq)]
pub struct Refused {
    pub why: Why,
    pub said: String,
}

impl Refused {
    pub fn invalid(said: impl Into<String>) -> Refused {
        Refused { why: Why::InvalidRows, said: said.into() }
    }

    fn no_maximum(said: &str) -> Refused {
        Refused { why: Why::NoMaximum, said: said.to_owned() }
    }
}

/// The ends of an interval that covers the truth 95 times in 100.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// 0 where nothing holds it from below.
    pub low: f64,
    /// None where nothing holds it from above.
    pub high: Option<f64>,
}
