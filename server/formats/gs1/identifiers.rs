//! The application identifiers that a mark on an instrument, a tray, a shelf or a badge may carry: how long their
//! values are, what stands in them, and what they need beside them.
//!
//! Source: GS1 General Specifications, section 3, and GS1's published syntax dictionary of July 2026. An identifier
//! that is not listed is refused: it is more often the trace of a separator that got lost than a new kind of data.

/// What a piece of a value holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Piece {
    /// This many digits.
    Digits(usize),
    /// Digits, of which the last is the check digit of all.
    Checked(usize),
    /// Between so many and so many digits.
    UpToDigits(usize, usize),
    /// Characters of set 82, between so many and so many.
    Text(usize, usize),
    /// Text that begins with a company prefix of at least four digits.
    CompanyText(usize),
    /// YYMMDD; the day may be 00, which means the last of the month.
    Date,
    /// YYMMDD with a real day.
    Day,
    /// HHMM.
    Clock,
    /// One digit that is zero.
    Zero,
    /// Two digits for the piece and two for how many pieces there are.
    PieceOfTotal,
    /// One digit and three characters, the last one of `-`, digits, letters and `_`.
    Importer,
}

/// A group of identifiers of which all must be there.
pub type All = &'static [&'static str];

#[derive(Clone, Copy, Debug)]
pub struct Identifier {
    pub ai: &'static str,
    pub pieces: &'static [Piece],
    /// Any one of these groups must stand beside it; none is needed where the list is empty.
    pub needs: &'static [All],
    /// None of these may stand beside it.
    pub excludes: &'static [&'static str],
}

const TRADE_ITEM: &[All] = &[&["01"], &["02"], &["03"], &["8006"], &["8026"]];

const fn alone(ai: &'static str, pieces: &'static [Piece]) -> Identifier {
    Identifier { ai, pieces, needs: &[], excludes: &[] }
}

const fn beside(ai: &'static str, pieces: &'static [Piece], needs: &'static [All]) -> Identifier {
    Identifier { ai, pieces, needs, excludes: &[] }
}

use Piece::{Checked, Clock, CompanyText, Date, Day, Digits, Importer, PieceOfTotal, Text, UpToDigits, Zero};

static LISTED: [Identifier; 31] = [
    alone("00", &[Checked(18)]),
    Identifier { ai: "01", pieces: &[Checked(14)], needs: &[], excludes: &["02", "255", "37"] },
    Identifier { ai: "02", pieces: &[Checked(14)], needs: &[&["37"]], excludes: &["01", "03"] },
    Identifier { ai: "03", pieces: &[Checked(14)], needs: &[], excludes: &["01", "02", "37"] },
    beside("10", &[Text(1, 20)], TRADE_ITEM),
    beside("11", &[Date], TRADE_ITEM),
    beside("13", &[Date], TRADE_ITEM),
    beside("15", &[Date], TRADE_ITEM),
    beside("16", &[Date], TRADE_ITEM),
    beside("17", &[Date], &[&["01"], &["02"], &["03"], &["8006"], &["8026"], &["255"]]),
    beside("20", &[Digits(2)], TRADE_ITEM),
    Identifier {
        ai: "21",
        pieces: &[Text(1, 20)],
        needs: &[&["01"], &["03"], &["8006"]],
        excludes: &["235"],
    },
    beside("22", &[Text(1, 20)], &[&["01"]]),
    beside("235", &[Text(1, 28)], &[&["01"]]),
    beside("240", &[Text(1, 30)], TRADE_ITEM),
    beside("254", &[Text(1, 20)], &[&["414"]]),
    Identifier {
        ai: "255",
        pieces: &[Checked(13), UpToDigits(0, 12)],
        needs: &[],
        excludes: &["01", "02", "415", "8006", "8020", "8026"],
    },
    beside("30", &[UpToDigits(1, 8)], &[&["01"], &["02"]]),
    beside("37", &[UpToDigits(1, 8)], &[&["00", "02"], &["00", "8026"]]),
    alone("414", &[Checked(13)]),
    beside("7003", &[Day, Clock], &[&["01"], &["02"], &["03"]]),
    alone("7023", &[CompanyText(30)]),
    alone("7040", &[Importer]),
    alone("8003", &[Zero, Checked(13), Text(0, 16)]),
    alone("8004", &[CompanyText(30)]),
    Identifier {
        ai: "8006",
        pieces: &[Checked(14), PieceOfTotal],
        needs: &[],
        excludes: &["01", "03", "37"],
    },
    Identifier { ai: "8017", pieces: &[Checked(18)], needs: &[], excludes: &["8018"] },
    Identifier { ai: "8018", pieces: &[Checked(18)], needs: &[], excludes: &["8017"] },
    beside("8019", &[UpToDigits(1, 10)], &[&["8017"], &["8018"]]),
    Identifier {
        ai: "8026",
        pieces: &[Checked(14), PieceOfTotal],
        needs: &[&["37"]],
        excludes: &["02", "8006"],
    },
    alone("90", &[Text(1, 30)]),
];

/// Measures of a trade item or a logistic unit: 31nn to 36nn, six digits each.
static MEASURE: Identifier = alone("31-36", &[Digits(6)]);
/// What companies agree on among themselves: 91 to 99.
static INTERNAL: Identifier = alone("91-99", &[Text(1, 90)]);

/// How many digits an identifier has, by its first two.
pub fn length(first_two: &str) -> Option<usize> {
    let number: u8 = first_two.parse().ok()?;
    match number {
        0..=3 | 10..=13 | 15..=17 | 20..=22 | 30 | 37 | 90..=99 => Some(2),
        23..=25 | 40..=42 | 71 => Some(3),
        31..=36 | 39 | 43 | 70 | 72 | 80..=82 => Some(4),
        _ => None,
    }
}

/// How long the value is of identifiers that need no separator after them, by the identifier's first two digits.
pub fn predefined(ai: &str) -> Option<usize> {
    let number: u8 = ai.get(..2)?.parse().ok()?;
    match number {
        0 => Some(18),
        1..=3 => Some(14),
        4 => Some(16),
        11..=19 => Some(6),
        20 => Some(2),
        31..=36 => Some(6),
        41 => Some(13),
        _ => None,
    }
}

/// An identifier as listed. None where it is not known here.
pub fn find(ai: &str) -> Option<&'static Identifier> {
    if let Some(found) = LISTED.iter().find(|listed| listed.ai == ai) {
        return Some(found);
    }
    let digits = ai.bytes().all(|byte| byte.is_ascii_digit());
    match (ai.len(), ai.get(..2)) {
        (4, Some("31" | "32" | "33" | "34" | "35" | "36")) if digits => Some(&MEASURE),
        (2, Some(two)) if digits && two > "90" => Some(&INTERNAL),
        _ => None,
    }
}

/// Whether a character belongs to set 82, of which texts are made (General Specifications, figure 7.11-1).
pub fn is_82(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || b"!\"%&'()*+,-./:;<=>?_".contains(&byte)
}

/// The check digit of digits without it: from the right, weighted 3, 1, 3, 1 …; what lacks to a full ten
/// (General Specifications, section 7.9). None where something else than a digit stands there.
pub fn check_digit(payload: &str) -> Option<char> {
    let mut sum = 0;
    for (at, byte) in payload.bytes().rev().enumerate() {
        let digit = u32::from(byte.is_ascii_digit().then(|| byte - b'0')?);
        sum += digit * if at % 2 == 0 { 3 } else { 1 };
        sum %= 10;
    }
    char::from_digit((10 - sum) % 10, 10)
}
