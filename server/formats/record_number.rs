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
    if let Some((value, length)) = line.first_chunk().and_then(|word| short(*word)) {
        return Some((value, line.get(length + 1..)));
    }
    longer(line)
}

/// Reads a number such as `134.25` that a comma ends within eight bytes, all of them at once; the number, and where the
/// comma stands.
#[inline]
fn short(word: [u8; 8]) -> Option<(f64, usize)> {
    const EACH: u64 = 0x0101_0101_0101_0101;
    const HIGH: u64 = 0x80 * EACH;
    let word = u64::from_le_bytes(word);
    // The high bit of each byte that is no digit: of a digit, exclusive or leaves at most 9, and 0x76 more is below 0x80.
    let others = |word: u64| {
        let digits = word ^ (0x30 * EACH);
        (((digits & !HIGH) + 0x76 * EACH) | digits) & HIGH
    };
    let byte = |at: u32| (word >> (8 * at)) as u8;
    let all = others(word);
    let first = all.trailing_zeros() / 8;
    if all == 0 || first == 0 {
        return None;
    }
    let (digits, count, decimals, end) = match byte(first) {
        b',' => (word, first, 0, first),
        b'.' => {
            let more = all & (all - 1);
            let end = more.trailing_zeros() / 8;
            if more == 0 || byte(end) != b',' {
                return None;
            }
            // What stands behind the point moves onto it.
            let before = word & ((1 << (8 * first)) - 1);
            let behind = (word >> (8 * first) >> 8) << (8 * first);
            (before | behind, end - 1, end - 1 - first, end)
        }
        _ => return None,
    };
    // The digits to the end of the word, zeros before them, then pairs, fours and eights of them added up.
    let digits = (digits << (64 - 8 * count)) | ((0x30 * EACH).checked_shr(8 * count).unwrap_or(0));
    let pairs = (digits & (0x0f * EACH)).wrapping_mul(10 * 256 + 1) >> 8;
    let fours = (pairs & 0x00ff_00ff_00ff_00ff).wrapping_mul(100 * 65_536 + 1) >> 16;
    let eight = (fours & 0x0000_ffff_0000_ffff).wrapping_mul(10_000 * 4_294_967_296 + 1) >> 32;
    Some((eight.cast_signed() as f64 / TENS[decimals as usize], end as usize))
}

fn longer(line: &[u8]) -> Option<Taken<'_, f64>> {
    let is_negative = line.first() == Some(&b'-');
    let number = if is_negative { line.get(1..)? } else { line };
    let (mut digits, mut point) = (0_u64, None);
    let mut end = (number.len(), None);
    for (at, byte) in number.iter().enumerate() {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            // More digits than fit overflow here, and are refused by their number below.
            digits = digits.wrapping_mul(10).wrapping_add(u64::from(digit));
        } else if *byte == b'.' && point.is_none() {
            point = Some(at);
        } else if *byte == b',' {
            end = (at, number.get(at + 1..));
            break;
        } else {
            return None;
        }
    }
    let (end, next) = end;
    let decimals = point.map_or(0, |point| end - point - 1);
    let read = end - usize::from(point.is_some());
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

    /// Mostly what stands in numbers, so that some are.
    fn any_byte() -> impl Strategy<Value = u8> {
        prop_oneof![6 => b'0'..=b'9', 2 => Just(b'.'), 2 => Just(b','), 1 => proptest::num::u8::ANY]
    }

    #[test]
    fn short_numbers_are_those_of_the_longer_way() {
        for text in
            ["0,", "5,", "12.,", "134.25,", "1234567,", "0.00001,", "99999.9,", "000000,", "1.5,2.5,3.5"]
        {
            for rest in ["", "x", "1.25,3", "........", ",,,,,,,,"] {
                let line = format!("{text}{rest}");
                assert_eq!(plain(line.as_bytes()), longer(line.as_bytes()), "{line}");
            }
        }
        for other in [
            ",1234567",
            ".,123456",
            ".5,12345",
            "1/2,1234",
            "1:2,1234",
            "-1.5,123",
            "1.2.3,45",
            "\u{b1}1,2345",
        ] {
            let read = other.as_bytes().first_chunk().and_then(|word| short(*word));
            assert!(read.is_none(), "{other}");
        }
    }

    proptest! {
        #[test]
        fn any_bytes_read_the_same_both_ways(line in proptest::collection::vec(any_byte(), 8..24)) {
            if let Some((value, length)) = line.first_chunk().and_then(|word| short(*word)) {
                prop_assert_eq!(longer(&line), Some((value, line.get(length + 1..))));
            }
        }

        #[test]
        fn plain_numbers_are_those_of_the_standard_library(text in "-?[0-9]{0,9}\\.?[0-9]{0,9}") {
            if let Some((value, next)) = plain(text.as_bytes()) {
                prop_assert_eq!(text.parse::<f64>().map(f64::to_bits), Ok(value.to_bits()));
                prop_assert_eq!(next, None);
            }
        }
    }
}
