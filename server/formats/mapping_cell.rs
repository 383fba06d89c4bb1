//! One cell of a foreign file as a number: its decimal sign, its unit.

use rust_decimal::Decimal;

use super::form::Unit;
use super::mapping::quoted;

/// The decimal sign of a file: the one it has, and the one that it has not.
#[derive(Clone, Copy)]
pub(super) struct Sign {
    is: char,
    is_not: char,
}

impl Sign {
    pub(super) const POINT: Sign = Sign { is: '.', is_not: ',' };
    pub(super) const COMMA: Sign = Sign { is: ',', is_not: '.' };
}

/// What was found in a cell and what is needed instead.
type Fault = (String, String);

/// How a cell becomes °C or kPa.
#[derive(Clone, Copy)]
pub(super) enum Measure {
    AsIs,
    Fahrenheit,
    Scaled { by: Decimal, add: Decimal },
}

impl Measure {
    /// `add` is what is added after the unit was converted.
    pub(super) fn of(unit: Option<Unit>, add: Decimal) -> Measure {
        let by = match unit {
            Some(Unit::Fahrenheit) => return Measure::Fahrenheit,
            None | Some(Unit::Celsius | Unit::Kpa) => Decimal::ONE,
            Some(Unit::Mbar) => Decimal::new(1, 1),
            Some(Unit::Bar) => Decimal::ONE_HUNDRED,
            Some(Unit::Psi) => kpa_per_psi(),
        };
        if by == Decimal::ONE && add.is_zero() { Measure::AsIs } else { Measure::Scaled { by, add } }
    }

    pub(super) fn read(self, cell: &str, sign: Sign) -> Result<f64, Fault> {
        let (as_is, text) = number(cell, sign)?;
        if let Measure::AsIs = self {
            return Ok(as_is);
        }
        let given = decimal(&text).ok_or_else(|| too_long(cell))?;
        let converted = match self {
            Measure::AsIs => Some(given),
            Measure::Scaled { by, add } => given.checked_mul(by).and_then(|it| it.checked_add(add)),
            // °C = (°F − 32) × 5/9 exactly (NIST SP 811, appendix B.8).
            Measure::Fahrenheit => given
                .checked_sub(Decimal::from(32))
                .and_then(|it| it.checked_mul(Decimal::from(5)))
                .and_then(|it| it.checked_div(Decimal::from(9))),
        };
        converted.map(nearest).ok_or_else(|| too_long(cell))
    }
}

/// kPa in one pound-force per square inch: 4.448 221 615 260 5 N on (0.0254 m)² (NIST SP 811, appendix B.8), to 27 digits.
fn kpa_per_psi() -> Decimal {
    Decimal::new(44_482_216_152_605, 13) / Decimal::new(64_516, 5)
}

fn too_long(cell: &str) -> Fault {
    (quoted(cell), "a number of a measurement, with at most 28 digits, is needed".to_owned())
}

pub(super) fn decimal(text: &str) -> Option<Decimal> {
    Decimal::from_str_exact(text).or_else(|_| Decimal::from_scientific(text)).ok()
}

/// The double that is nearest to a decimal number: it is read from its text, which rounds once.
pub(super) fn nearest(number: Decimal) -> f64 {
    number.to_string().parse().unwrap_or(f64::NAN)
}

/// A finite number, and its text with a decimal point.
pub(super) fn number(cell: &str, sign: Sign) -> Result<(f64, String), Fault> {
    if cell.is_empty() {
        return Err(("an empty cell".to_owned(), "a number is needed".to_owned()));
    }
    if cell.contains(sign.is_not) {
        let needed = format!("a number with the decimal sign \"{}\" is needed, as the form says", sign.is);
        return Err((quoted(cell), needed));
    }
    let text = cell.replace(sign.is, ".");
    // A minus sign of typographers stands in some exports.
    let text = text.replace('\u{2212}', "-");
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok((value, text)),
        _ => Err((quoted(cell), "a finite number is needed".to_owned())),
    }
}
