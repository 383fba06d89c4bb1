//! Chances and quantiles of the usual distributions. The incomplete gamma function comes from statrs, the error function
//! from libm, whose last digits are right.

use libm::erfc;
use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur, ln_gamma};

use super::solve::root;

/// The share of the gamma integral of a shape up to a value, and past it. Both keep their digits where they are small.
fn gamma_up_to(shape: f64, value: f64) -> f64 {
    match value {
        value if value <= 0.0 => 0.0,
        f64::INFINITY => 1.0,
        value => checked_gamma_lr(shape, value).unwrap_or(f64::NAN),
    }
}

fn gamma_past(shape: f64, value: f64) -> f64 {
    match value {
        value if value <= 0.0 => 1.0,
        f64::INFINITY => 0.0,
        value => checked_gamma_ur(shape, value).unwrap_or(f64::NAN),
    }
}

/// The chance that chi-squared lies above a value.
pub fn chi_squared_above(value: f64, df: f64) -> f64 {
    if df == 1.0 { erfc((0.5 * value.max(0.0)).sqrt()) } else { gamma_past(0.5 * df, 0.5 * value) }
}

pub fn chi_squared_below(value: f64, df: f64) -> f64 {
    gamma_up_to(0.5 * df, 0.5 * value)
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
    if count < 0.0 { 0.0 } else { gamma_past(count + 1.0, mean) }
}

/// The chance of more than `count`.
pub fn poisson_above(count: f64, mean: f64) -> f64 {
    if count < 0.0 { 1.0 } else { gamma_up_to(count + 1.0, mean) }
}

/// The logarithm of the gamma function.
pub fn log_gamma(value: f64) -> f64 {
    ln_gamma(value)
}

/// The share of the gamma integral up to a value.
pub fn gamma_below(shape: f64, value: f64) -> f64 {
    gamma_up_to(shape, value)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4, the table of chi-squared (from memory), and the last to all digits
    /// as it stands in the program.
    #[test]
    fn quantiles_are_those_of_the_table() {
        let table = [
            (0.95, 1.0, 3.841),
            (0.95, 2.0, 5.991),
            (0.975, 10.0, 20.483),
            (0.05, 10.0, 3.940),
            (0.025, 30.0, 16.791),
        ];
        for (chance, df, printed) in table {
            let found = chi_squared_quantile(chance, df);
            assert!((found - printed).abs() < 6e-4, "{chance} {df}: {found}");
        }
        assert!((chi_squared_quantile(0.95, 1.0) - super::super::CHI2_95).abs() < 1e-13);
        assert!((normal_outside(super::super::Z_95) - 0.05).abs() < 1e-15);
    }

    /// With two degrees of freedom chi-squared is exponential, and both tails and the quantile have closed forms.
    #[test]
    fn two_degrees_of_freedom_have_closed_forms() {
        for value in [1e-6, 0.3, 2.0, 40.0, 600.0] {
            assert!((chi_squared_above(value, 2.0) / (-0.5 * value).exp() - 1.0).abs() < 1e-11, "{value}");
            assert!(
                (chi_squared_below(value, 2.0) / -(-0.5 * value).exp_m1() - 1.0).abs() < 1e-11,
                "{value}"
            );
        }
        for chance in [1e-6, 0.025, 0.5, 0.95, 0.999_999] {
            let by_hand = -2.0 * f64::ln_1p(-chance);
            assert!((chi_squared_quantile(chance, 2.0) / by_hand - 1.0).abs() < 1e-10, "{chance}");
        }
    }

    #[test]
    fn quantiles_and_chances_undo_each_other() {
        for df in [1.0, 7.0, 42.0, 400.0, 1e6] {
            for chance in [0.001, 0.025, 0.4, 0.975, 0.9999] {
                let back = chi_squared_below(chi_squared_quantile(chance, df), df);
                assert!((back / chance - 1.0).abs() < 1e-8, "{df} {chance}: {back}");
            }
        }
    }
}
