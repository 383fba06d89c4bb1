//! What a cell means in its column: an identifier, a number, a day. Nothing is guessed: what may be read in two ways is
//! asked about, and what a spreadsheet program has destroyed is said.

use chrono::{NaiveDate, NaiveTime};
use serde::{Deserialize, Serialize};

use super::Cell;

/// Why a cell will not do, and what is needed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Why {
    pub found: String,
    pub needed: &'static str,
}

impl Why {
    fn of(cell: &Cell, needed: &'static str) -> Why {
        Why { found: cell.shown(), needed }
    }
}

/// A value, with a warning where something about it is odd.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Read<T> {
    pub value: T,
    pub warning: Option<String>,
}

/// Characters that nobody sees and that make two texts differ.
pub fn is_invisible(letter: char) -> bool {
    matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{feff}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{ad}')
}

/// A character of a text that only looks like a plain one: a hyphen of another kind, or a Greek, Cyrillic or wide letter
/// among plain ones.
pub fn look_alike(text: &str) -> Option<char> {
    let plain = text.bytes().any(|byte| byte.is_ascii_alphanumeric());
    text.chars().find(|letter| match letter {
        '\u{2010}'..='\u{2015}' | '\u{2212}' => true,
        '\u{370}'..='\u{52f}' | '\u{ff01}'..='\u{ff5e}' => plain,
        _ => false,
    })
}

/// A text without invisible characters and without blanks at its ends, the hard ones among them.
pub fn clean(text: &str) -> String {
    let seen: String = text.chars().filter(|letter| !is_invisible(*letter)).collect();
    seen.trim_matches(|letter: char| letter.is_whitespace() || letter == '\u{a0}').to_owned()
}

/// What is said of such a character.
pub fn odd(letter: char) -> String {
    format!("U+{:04X}, which only looks like a plain character", letter as u32)
}

/// Why a cell holds no name of the house.
pub fn no_id(cell: &Cell, text: &str) -> Why {
    match look_alike(text) {
        Some(letter) => Why {
            found: format!("{}, with {}", cell.shown(), odd(letter)),
            needed: "the plain one is needed",
        },
        None => Why::of(cell, "1 to 64 letters from A to Z, digits, dots, hyphens or underscores are needed"),
    }
}

/// An identifier: a mark, a serial number, an id. It is text, whatever it looks like.
///
/// # Errors
/// Where a program has made something else of it, so that nobody knows what it was.
pub fn identifier(cell: &Cell) -> Result<Option<Read<String>>, Why> {
    const AS_TEXT: &str = "the identifier itself is needed: format the column as text and enter it again";
    match cell {
        Cell::Blank => Ok(None),
        Cell::Text(text) => {
            let value = clean(text);
            if is_scientific(&value) {
                let needed = "the whole identifier is needed: a spreadsheet program has shortened it to a rounded number";
                return Err(Why::of(cell, needed));
            }
            let warning = look_alike(&value).map(|letter| format!("{value} holds {}", odd(letter)));
            Ok((!value.is_empty()).then_some(Read { value, warning }))
        }
        // A program keeps fifteen digits of a number; those after them are gone.
        Cell::Number(number) if number.fract() == 0.0 && number.abs() < 1e15 && *number >= 0.0 => {
            let value = format!("{number:.0}");
            let warning = Some(format!("{value} is a number in the sheet: noughts before it would be lost"));
            Ok(Some(Read { value, warning }))
        }
        Cell::Number(_) | Cell::Moment(_) | Cell::Truth(_) | Cell::Formula | Cell::Broken(_) => {
            Err(Why::of(cell, AS_TEXT))
        }
    }
}

/// What a spreadsheet program shows of a long number: one digit, decimals, E+ and a power.
fn is_scientific(text: &str) -> bool {
    let Some((digits, power)) = text.split_once("E+").or(text.split_once("e+")) else { return false };
    let all = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let (first, decimals) = digits.split_once(['.', ',']).unwrap_or((digits, "0"));
    first.len() == 1 && all(first) && all(decimals) && all(power)
}

/// Free text: everything but an error has a meaning.
///
/// # Errors
/// Where the cell shows an error, or a formula whose result was not saved.
pub fn text(cell: &Cell) -> Result<Option<String>, Why> {
    match cell {
        Cell::Blank => Ok(None),
        Cell::Text(text) => Ok(Some(clean(text)).filter(|text| !text.is_empty())),
        Cell::Number(number) => Ok(Some(number.to_string())),
        Cell::Moment(moment) if moment.time() == NaiveTime::MIN => Ok(Some(moment.date().to_string())),
        Cell::Moment(moment) => Ok(Some(moment.to_string())),
        Cell::Truth(truth) => Ok(Some(truth.to_string())),
        Cell::Formula | Cell::Broken(_) => Err(Why::of(cell, "text is needed")),
    }
}

/// A whole number that is not negative.
///
/// # Errors
/// Where it is something else.
pub fn whole(cell: &Cell) -> Result<Option<u64>, Why> {
    const NEEDED: &str = "a whole number is needed, without signs between its digits";
    match cell {
        Cell::Blank => Ok(None),
        Cell::Text(text) => match clean(text) {
            text if text.is_empty() => Ok(None),
            text if text.bytes().all(|byte| byte.is_ascii_digit()) => {
                text.parse().map(Some).map_err(|_| Why::of(cell, "a smaller number is needed"))
            }
            _ => Err(Why::of(cell, NEEDED)),
        },
        // Above 2^53 a spreadsheet's numbers are no longer whole ones.
        Cell::Number(number) if number.fract() == 0.0 && (0.0..9_007_199_254_740_992.0).contains(number) => {
            Ok(Some(*number as u64))
        }
        _ => Err(Why::of(cell, NEEDED)),
    }
}

/// What is needed where a sign in a number may stand before decimals or between thousands.
pub const WHICH_SIGN: &str =
    "what the sign in it means must be told: whether numbers have a decimal point or a decimal comma";

/// Which sign stands before the decimals.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DecimalSign {
    Point,
    Comma,
}

/// A decimal number as text with a point, exactly as it was written.
///
/// # Errors
/// Where it is none, or where no sign is told and the one in it may divide thousands (`1,234`).
pub fn decimal(cell: &Cell, sign: Option<DecimalSign>) -> Result<Option<String>, Why> {
    const NEEDED: &str = "a number is needed, without unit and without signs between thousands";
    let text = match cell {
        Cell::Blank => return Ok(None),
        Cell::Number(number) if number.is_finite() => return Ok(Some(number.to_string())),
        Cell::Text(text) => clean(text),
        _ => return Err(Why::of(cell, NEEDED)),
    };
    if text.is_empty() {
        return Ok(None);
    }
    let (number, minus) = text.strip_prefix('-').map_or((text.as_str(), ""), |rest| (rest, "-"));
    let separator = number.find(['.', ',']);
    let (whole, decimals) = separator.and_then(|at| number.split_at_checked(at)).unwrap_or((number, ""));
    let (own, decimals) = decimals.split_at_checked(1).unwrap_or(("", ""));
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || (separator.is_some() && !digits(decimals)) {
        return Err(Why::of(cell, NEEDED));
    }
    match (own, sign) {
        ("", _) => Ok(Some(format!("{minus}{whole}"))),
        (".", Some(DecimalSign::Point)) | (",", Some(DecimalSign::Comma)) => {
            Ok(Some(format!("{minus}{whole}.{decimals}")))
        }
        // Three digits behind a sign may be thousands; fewer or more can only be decimals.
        (_, None) if decimals.len() != 3 => Ok(Some(format!("{minus}{whole}.{decimals}"))),
        (_, None) => Err(Why::of(cell, WHICH_SIGN)),
        (_, Some(DecimalSign::Point)) => Err(Why::of(cell, "a decimal point is needed, as the mapping says")),
        (_, Some(DecimalSign::Comma)) => Err(Why::of(cell, "a decimal comma is needed, as the mapping says")),
    }
}

/// In which order day and month stand where the year does not come first.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DayOrder {
    DayFirst,
    MonthFirst,
}

/// What a column's own dates say of their order.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Order {
    /// None of them can be read in two ways.
    Plain,
    Proven(DayOrder),
    /// Each of them may be read in two ways, and none says how.
    Ambiguous,
    /// Some can only be read the one way, some only the other.
    Contradicting,
}

/// The order that a column's dates prove: one day above 12 is enough.
pub fn order<'a>(cells: impl Iterator<Item = &'a Cell>) -> Order {
    let (mut day_first, mut month_first, mut either) = (false, false, false);
    for cell in cells {
        if let Cell::Text(text) = cell
            && let Some((first, second, _)) = parts(&clean(text))
        {
            day_first |= first > 12;
            month_first |= second > 12;
            either |= first <= 12 && second <= 12 && first != second;
        }
    }
    match (day_first, month_first) {
        (true, true) => Order::Contradicting,
        (true, false) => Order::Proven(DayOrder::DayFirst),
        (false, true) => Order::Proven(DayOrder::MonthFirst),
        (false, false) if either => Order::Ambiguous,
        (false, false) => Order::Plain,
    }
}

/// A day. Text with the year first (ISO 8601) needs no order; a time of day behind it is left away.
///
/// # Errors
/// Where it is no day, or where its order is not known.
pub fn day(cell: &Cell, order: Option<DayOrder>) -> Result<Option<NaiveDate>, Why> {
    const NEEDED: &str = "a date with four digits of the year is needed, such as 2026-03-31";
    const ASK: &str = "which comes first must be told: the day or the month";
    let text = match cell {
        Cell::Blank => return Ok(None),
        Cell::Moment(moment) => return Ok(Some(moment.date())),
        Cell::Number(_) => return Err(Why::of(cell, "a date is needed: format the column as a date")),
        Cell::Text(text) => clean(text),
        _ => return Err(Why::of(cell, NEEDED)),
    };
    if text.is_empty() {
        return Ok(None);
    }
    let none = || Why::of(cell, "a day that exists is needed");
    let iso =
        text.split(['T', ' ']).next().filter(|day| day.len() == 10 && day.as_bytes().get(4) == Some(&b'-'));
    if let Some(iso) = iso {
        return iso.parse().map(Some).map_err(|_| none());
    }
    let (first, second, year) = parts(&text).ok_or_else(|| Why::of(cell, NEEDED))?;
    let order = match order {
        Some(order) => order,
        None if first > 12 => DayOrder::DayFirst,
        None if second > 12 || first == second => DayOrder::MonthFirst,
        None => return Err(Why::of(cell, ASK)),
    };
    let (day, month) = match order {
        DayOrder::DayFirst => (first, second),
        DayOrder::MonthFirst => (second, first),
    };
    NaiveDate::from_ymd_opt(year, month, day).map(Some).ok_or_else(none)
}

/// Two numbers and a year of four digits, with the same point, stroke or dash between them.
fn parts(text: &str) -> Option<(u32, u32, i32)> {
    let sign = text.chars().find(|letter| !letter.is_ascii_digit()).filter(|sign| ".-/".contains(*sign))?;
    let mut parts = text.split(sign);
    let mut next = |long: std::ops::RangeInclusive<usize>| {
        let part = parts.next()?;
        (long.contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit())).then_some(part)
    };
    let (first, second, year) = (next(1..=2)?, next(1..=2)?, next(4..=4)?);
    parts.next().is_none().then_some(())?;
    Some((first.parse().ok()?, second.parse().ok()?, year.parse().ok()?))
}
