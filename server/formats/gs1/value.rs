//! Whether a value is what its identifier says, and which date it names.

use chrono::{Datelike, NaiveDate};

use super::Code;
use super::identifiers::{Piece, check_digit, is_82};

/// What a value says beside itself.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Read {
    /// A date or a date with a time of day, as ISO 8601 writes it.
    pub date: Option<String>,
    /// The day was 00: the last of the month is meant.
    pub day_zero: bool,
}

/// Reads a value by its pieces.
///
/// # Errors
/// The first thing that is wrong with it.
pub fn read(pieces: &[Piece], value: &str, today: NaiveDate) -> Result<Read, Code> {
    let (least, most) =
        pieces.iter().map(|piece| bounds(*piece)).fold((0, 0), |(a, b), (c, d)| (a + c, b + d));
    // Characters, not bytes: a letter outside ASCII is refused as a letter, not as a length.
    let length = value.chars().count();
    if value.is_empty() && least > 0 {
        return Err(Code::EmptyValue);
    } else if length > most {
        return Err(Code::TooLong);
    } else if length < least {
        return Err(Code::TooShort);
    } else if !value.bytes().all(is_82) {
        return Err(Code::BadCharset);
    }
    let mut read = Read::default();
    let mut rest = value;
    for piece in pieces {
        let take = bounds(*piece).1.min(rest.len());
        let (own, after) = rest.split_at_checked(take).ok_or(Code::BadCharset)?;
        rest = after;
        one(*piece, own, today, &mut read)?;
    }
    Ok(read)
}

/// The least and the greatest length of a piece.
fn bounds(piece: Piece) -> (usize, usize) {
    match piece {
        Piece::Digits(n) | Piece::Checked(n) => (n, n),
        Piece::UpToDigits(least, most) | Piece::Text(least, most) => (least, most),
        Piece::CompanyText(most) => (1, most),
        Piece::Date | Piece::Day => (6, 6),
        Piece::Clock | Piece::PieceOfTotal | Piece::Importer => (4, 4),
        Piece::Zero => (1, 1),
    }
}

fn one(piece: Piece, own: &str, today: NaiveDate, read: &mut Read) -> Result<(), Code> {
    let digits = own.bytes().all(|byte| byte.is_ascii_digit());
    match piece {
        Piece::Text(..) => Ok(()),
        Piece::CompanyText(_) => {
            let prefix = own.bytes().take_while(u8::is_ascii_digit).count();
            if prefix >= 4 { Ok(()) } else { Err(Code::BadCompanyPrefix) }
        }
        Piece::Importer => {
            let mut bytes = own.bytes();
            let first = bytes.next().is_some_and(|byte| byte.is_ascii_digit());
            let last =
                own.bytes().last().is_some_and(|byte| byte.is_ascii_alphanumeric() || b"-_".contains(&byte));
            if first && last { Ok(()) } else { Err(Code::BadFormat) }
        }
        _ if !digits => Err(Code::BadCharset),
        Piece::Digits(_) | Piece::UpToDigits(..) => Ok(()),
        Piece::Checked(n) => {
            let payload = own.get(..n - 1).unwrap_or_default();
            if check_digit(payload) == own.chars().last() { Ok(()) } else { Err(Code::BadCheckDigit) }
        }
        Piece::Zero if own == "0" => Ok(()),
        Piece::Zero => Err(Code::BadFormat),
        Piece::PieceOfTotal => {
            let (piece, total) = (number(own, 0), number(own, 2));
            if piece > 0 && piece <= total { Ok(()) } else { Err(Code::BadFormat) }
        }
        Piece::Date | Piece::Day => {
            let (date, day_zero) = date(own, today).ok_or(Code::BadDate)?;
            if day_zero && piece == Piece::Day {
                return Err(Code::BadDate);
            }
            read.day_zero = day_zero;
            read.date = Some(date.to_string());
            Ok(())
        }
        Piece::Clock => {
            let (hour, minute) = (number(own, 0), number(own, 2));
            if hour > 23 || minute > 59 {
                return Err(Code::BadDate);
            }
            read.date = read.date.take().map(|date| format!("{date}T{hour:02}:{minute:02}"));
            Ok(())
        }
    }
}

/// Two digits of a value that is known to be digits.
fn number(digits: &str, at: usize) -> u32 {
    digits.get(at..at + 2).and_then(|two| two.parse().ok()).unwrap_or(0)
}

/// YYMMDD as a date, and whether its day was 00.
fn date(own: &str, today: NaiveDate) -> Option<(NaiveDate, bool)> {
    let (year, month, day) = (full_year(number(own, 0), today), number(own, 2), number(own, 4));
    match day {
        0 => Some((last_of_month(year, month)?, true)),
        _ => Some((NaiveDate::from_ymd_opt(year, month, day)?, false)),
    }
}

/// The year that two digits mean: within 49 years before and 50 after this one (General Specifications, section 7.12).
pub fn full_year(two_digits: u32, today: NaiveDate) -> i32 {
    let two_digits = i32::try_from(two_digits % 100).unwrap_or(0);
    let century = today.year() - today.year().rem_euclid(100);
    match two_digits - today.year().rem_euclid(100) {
        51.. => century - 100 + two_digits,
        ..=-50 => century + 100 + two_digits,
        _ => century + two_digits,
    }
}

/// The last day of a month.
pub fn last_of_month(year: i32, month: u32) -> Option<NaiveDate> {
    (1..=12).contains(&month).then_some(())?;
    let (year, month) = if month == 12 { (year + 1, 1) } else { (year, month + 1) };
    NaiveDate::from_ymd_opt(year, month, 1)?.pred_opt()
}
