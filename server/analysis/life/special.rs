//! Chances and quantiles of the usual distributions. The incomplete gamma function comes from statrs.

use statrs::function::erf::erfc;
use statrs::function::gamma::{gamma_lr, gamma_ur, ln_gamma};

use super::solve::root;

/// The chance that chi-squared lies above a value. Both sides keep their digits where they are small.
pub fn chi_squared_above(value: f64, df: f64) -> f64 {
    if value <= 0.0 {
        1.0
    } else if df == 1.0 {
        erfc((0.5 * value).sqrt())
    } else {
        gamma_ur(0.5 * df, 0.5 * value)
    }
}

pub fn chi_squared_below(value: f64, df: f64) -> f64 {
    if value <= 0.0 { 0.0 } else { gamma_lr(0.5 * df, 0.5 * value) }
}

/// The value below which chi-squared lies with this chance.
pub fn chi_squared_quantile(chance: f64, df: f64) -> f64 {
    // The cube of a normal quantile is near (Wilson & Hilferty 1931): the root lies within a wide bracket of the mean.
    let off = |log: f64| {
        let value = log.exp();
        if chance < 0.5 {
            chi_squared_below(value, df).ln() - chance.ln()
        } else {
            (1.0 - chance).ln() - chi_squared_above(value, df).ln()
        }
    };
    let (mut low, mut high) = (df.ln() - 1.0, df.ln() + 1.0);
    while off(low) > 0.0 && low > -700.0 {
        low -= 2.0 * (df.ln() + 1.0 - low);
    }
    while off(high) < 0.0 && high < 700.0 {
        high += 1.0;
    }
    root(off, (low, off(low)), (high, off(high)), 1e-15).exp()
}

/// The chance that a standard normal value lies as far from 0 as this, on either side.
pub fn normal_outside(value: f64) -> f64 {
    erfc(value.abs() / std::f64::consts::SQRT_2)
}

/// The chance of at most `count` where `mean` are expected.
pub fn poisson_up_to(count: f64, mean: f64) -> f64 {
    if mean <= 0.0 {
        1.0
    } else if count < 0.0 {
        0.0
    } else {
        gamma_ur(count + 1.0, mean)
    }
}

/// The chance of more than `count`.
pub fn poisson_above(count: f64, mean: f64) -> f64 {
    if mean <= 0.0 {
        0.0
    } else if count < 0.0 {
        1.0
    } else {
        gamma_lr(count + 1.0, mean)
    }
}

/// The logarithm of the gamma function.
pub fn log_gamma(value: f64) -> f64 {
    ln_gamma(value)
}

/// The share of the gamma integral up to a value.
pub fn gamma_below(shape: f64, value: f64) -> f64 {
    if value <= 0.0 {
        0.0
    } else if value.is_infinite() {
        1.0
    } else {
        gamma_lr(shape, value)
    }
}
