//! The numbers of a cycle record, which are many.

use super::record_rows::Taken;

/// The powers of ten that a double holds exactly.
const TENS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// Reads a number of at most fifteen digits, such as `134.25` or `-0.5`, from the beginning of a line; `None` where
/// something else stands there.
///
/// The digits are an integer that a double holds exactly, and so is the power of ten that divides it: the quotient is
/// rounded once, and is the double nearest to the decimal, the same as the standard library reads.
#[inline]
pub(super) fn plain(line: &[u8]) -> Option<Taken<'_, f64>> {
    let is_negative = line.first() == Some(&b'-');
    let (mut digits, mut at) = (0_u64, usize::from(is_negative));
    // More digits than fit overflow here, and are refused by their number below.
    let mut take_digits = |mut at: usize| {
        while let Some(digit) = line.get(at).map(|byte| byte.wrapping_sub(b'0')).filter(|digit| *digit < 10) {
            digits = digits.wrapping_mul(10).wrapping_add(u64::from(digit));
            at += 1;
        }
        at
    };
    let first = at;
    at = take_digits(at);
    let (mut read, mut decimals) = (at - first, 0);
    if line.get(at) == Some(&b'.') {
        let point = at;
        at = take_digits(point + 1);
        decimals = at - point - 1;
        read += decimals;
    }
    let next = match line.get(at) {
        None => None,
        Some(b',') => line.get(at + 1..),
        Some(_) => return None,
    };
    if read == 0 || read >= TENS.len() {
        return None;
    }
    // Fifteen digits are positive with a sign too, and a processor turns those into a double sooner.
    let value = digits.cast_signed() as f64 / TENS[decimals];
    Some((if is_negative { -value } else { value }, next))
}

/// A finite number with a decimal point, white space around it aside.
///
/// # Errors
/// What was found and what is needed.
pub(super) fn any(cell: &[u8]) -> Result<f64, &'static str> {
    let trimmed = cell.trim_ascii();
    match std::str::from_utf8(trimmed).ok().and_then(|text| text.parse::<f64>().ok()) {
        Some(value) if value.is_finite() => Ok(value),
        _ if trimmed.contains(&b',') => Err("a number with a decimal point is needed, not with a comma"),
        _ => Err("a finite number is needed"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn plain_numbers_end_at_the_comma() {
        assert_eq!(plain(b"134.25,x"), Some((134.25, Some(&b"x"[..]))));
        assert_eq!(plain(b"134.25,"), Some((134.25, Some(&b""[..]))));
        assert_eq!(plain(b"5."), Some((5.0, None)));
        assert!(plain(b"-0").is_some_and(|(zero, _)| zero.to_bits() == (-0.0_f64).to_bits()));
        for other in ["", ".", "-", "1e3", " 1", "+1", "1.2.3", "1 ", "nan", "1234567890123456", "\"1\""] {
            assert_eq!(plain(other.as_bytes()), None, "{other}");
        }
    }

    proptest! {
        #[test]
        fn plain_numbers_are_those_of_the_standard_library(text in "-?[0-9]{0,9}\\.?[0-9]{0,9}") {
            if let Some((value, next)) = plain(text.as_bytes()) {
                prop_assert_eq!(text.parse::<f64>().map(f64::to_bits), Ok(value.to_bits()));
                prop_assert_eq!(next, None);
            }
        }
    }
}
