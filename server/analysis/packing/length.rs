//! Lengths as whole numbers, so that what is equal on paper is equal here.

use std::iter::Sum;
use std::ops::Add;

/// Lengths that differ by no more than this are the same.
pub const TOLERANCE_MM: f64 = 1e-9;

/// Thirds of 10⁻¹² mm in a millimetre: a decimal of up to twelve places is a whole number of them, and so is a third of
/// a millimetre, which is one French.
const PER_MM: f64 = 3e12;
const PER_FRENCH: f64 = 1e12;
const TOLERANCE: i64 = 3_000;

/// A length from zero up to a kilometre.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Debug)]
pub struct Length(i64);

impl Length {
    /// The most that a length may be, in millimetres: sums of seven still fit.
    pub const MOST_MM: f64 = 400_000.0;

    /// `None` unless the number is from zero up to `MOST_MM`. A length above zero stays above zero.
    pub fn of_mm(mm: f64) -> Option<Length> {
        Length::of(mm, PER_MM)
    }

    /// French is the outer diameter in thirds of a millimetre.
    pub fn of_french(french: f64) -> Option<Length> {
        Length::of(french, PER_FRENCH)
    }

    fn of(number: f64, per_one: f64) -> Option<Length> {
        let is_within = (0.0..=Length::MOST_MM * (PER_MM / per_one)).contains(&number);
        let least = i64::from(number > 0.0);
        is_within.then(|| Length(((number * per_one).round() as i64).max(least)))
    }

    pub fn mm(self) -> f64 {
        Length::in_mm(self.0)
    }

    pub(super) fn units(self) -> i64 {
        self.0
    }

    pub(super) fn in_mm(units: i64) -> f64 {
        units as f64 / PER_MM
    }

    pub(super) fn is_nothing(units: i64) -> bool {
        units.abs() <= TOLERANCE
    }

    /// The length nearest to a number that was calculated.
    pub(super) fn nearest(mm: f64) -> Length {
        Length((mm * PER_MM).round() as i64)
    }
}

impl Add for Length {
    type Output = Length;

    fn add(self, other: Length) -> Length {
        Length(self.0 + other.0)
    }
}

impl Sum for Length {
    fn sum<I: Iterator<Item = Length>>(lengths: I) -> Length {
        lengths.fold(Length::default(), Add::add)
    }
}
