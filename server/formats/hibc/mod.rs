//! Health Industry Bar Code marks: primary (what it is), secondary (its lot, serial number and dates), or both in one.
//!
//! Source: ANSI/HIBC 2.6 as quoted in public, the serial form `$+` and the lot form `$` are read and not written. The
//! check character may be a space, a slash or a plus: it is taken off before anything is cut.

mod secondary;

use chrono::NaiveDate;

pub use secondary::{Dated, Secondary};

/// The characters by their value for the check character, from 0.
const ALPHABET: &[u8; 43] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%";
/// No mark is longer; what is sent beyond it is not looked at.
const LONGEST: usize = 1_024;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Code {
    NotHibc,
    TooShort,
    TooLong,
    BadCharset,
    BadCheckChar,
    BadFormat,
    BadDate,
}

impl Code {
    pub fn name(self) -> &'static str {
        match self {
            Code::NotHibc => "not_hibc",
            Code::TooShort => "too_short",
            Code::TooLong => "too_long",
            Code::BadCharset => "bad_charset",
            Code::BadCheckChar => "bad_check_char",
            Code::BadFormat => "bad_format",
            Code::BadDate => "bad_date",
        }
    }

    /// What a person is told.
    pub fn words(self) -> &'static str {
        match self {
            Code::NotHibc => "This is no HIBC mark.",
            Code::TooShort => "The mark is cut off.",
            Code::TooLong => "A value is longer than it may be.",
            Code::BadCharset => "The mark holds a character that may not stand there.",
            Code::BadCheckChar => "The check character does not agree: read it again.",
            Code::BadFormat => "A value in the mark is not formed as it must be.",
            Code::BadDate => "The mark holds a date that does not exist.",
        }
    }
}

/// Why a string was refused, and which check character would agree where that is the reason.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fault {
    pub code: Code,
    pub expected: Option<char>,
}

/// What it is: labeller, product and packaging level.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Primary {
    /// The labeller's code: a letter and three characters.
    pub lic: String,
    /// The labeller's own product code, 1 to 18 characters.
    pub pcn: String,
    /// The packaging level, 0 to 9.
    pub unit_of_measure: u8,
}

impl Primary {
    /// The device identifier: the three together, without the plus and the check character.
    pub fn di(&self) -> String {
        format!("{}{}{}", self.lic, self.pcn, self.unit_of_measure)
    }
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Mark {
    pub primary: Option<Primary>,
    pub secondary: Option<Secondary>,
    /// The check character of the primary mark that a secondary one belongs to.
    pub link: Option<char>,
    /// It was typed from the line below the bars, which stands between asterisks.
    pub asterisks: bool,
}

impl Mark {
    pub fn structure(&self) -> &'static str {
        match (&self.primary, &self.secondary) {
            (Some(_), Some(_)) => "combined",
            (Some(_), None) => "primary",
            _ => "secondary",
        }
    }

    /// What two marks of the same thing share, and whether that is one piece. None where the product is not told.
    pub fn key(&self) -> Option<(String, bool)> {
        let di = self.primary.as_ref()?.di();
        let serial = self.secondary.as_ref().and_then(|secondary| secondary.serial.as_ref());
        Some(match serial {
            Some(serial) => (format!("hibc:{di}/sn:{serial}"), true),
            None => (format!("hibc:{di}"), false),
        })
    }
}

/// Reads a mark as a reader sent it or a person typed it. `today` decides which century two digits of a year mean.
///
/// # Errors
/// The first fault that was found.
pub fn read(sent: &str, today: NaiveDate) -> Result<Mark, Fault> {
    let fault = |code| Fault { code, expected: None };
    if sent.len() > LONGEST {
        return Err(fault(Code::TooLong));
    }
    // A space at the end may be the check character, so that only what a reader adds is taken away.
    let text = sent.trim_end_matches(['\r', '\n', '\t']);
    let text = ["]C0", "]d1", "]Q1", "]A0"].iter().find_map(|id| text.strip_prefix(id)).unwrap_or(text);
    let inside = text.strip_prefix('*').and_then(|text| text.strip_suffix('*'));
    let (text, asterisks) = (inside.unwrap_or(text), inside.is_some());
    if !text.starts_with('+') {
        return Err(fault(Code::NotHibc));
    } else if text.len() < 3 {
        return Err(fault(Code::TooShort));
    } else if !text.bytes().all(|byte| ALPHABET.contains(&byte)) {
        return Err(fault(Code::BadCharset));
    }
    let (said, check) = text.split_at_checked(text.len() - 1).ok_or(fault(Code::BadCharset))?;
    let expected = check_character(said).ok_or(fault(Code::BadCharset))?;
    if !check.starts_with(expected) {
        return Err(Fault { code: Code::BadCheckChar, expected: Some(expected) });
    }
    let body = said.get(1..).unwrap_or_default();
    let (primary, secondary, link) = match body.as_bytes().first() {
        Some(b'A'..=b'Z') => {
            let (first, rest) =
                body.split_once('/').map_or((body, None), |(first, rest)| (first, Some(rest)));
            let primary = primary(first).map_err(fault)?;
            let secondary = rest.map(|rest| secondary::read(rest, today)).transpose().map_err(fault)?;
            (Some(primary), secondary, None)
        }
        _ => {
            let (data, link) = body.split_at_checked(body.len() - 1).ok_or(fault(Code::BadFormat))?;
            (None, Some(secondary::read(data, today).map_err(fault)?), link.chars().next())
        }
    };
    Ok(Mark { primary, secondary, link, asterisks })
}

/// The check character of everything before it: the sum of the values, modulo 43. None where a character has no value.
pub fn check_character(said: &str) -> Option<char> {
    let mut sum = 0;
    for byte in said.bytes() {
        sum = (sum + ALPHABET.iter().position(|own| *own == byte)?) % ALPHABET.len();
    }
    ALPHABET.get(sum).map(|byte| char::from(*byte))
}

fn primary(text: &str) -> Result<Primary, Code> {
    let alphanumeric = text.bytes().all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit());
    let (lic, rest) = text.split_at_checked(4).ok_or(Code::TooShort)?;
    let (pcn, unit) = rest.split_at_checked(rest.len().saturating_sub(1)).ok_or(Code::BadFormat)?;
    let unit_of_measure = unit.parse().map_err(|_| Code::BadFormat)?;
    if !alphanumeric || !(1..=18).contains(&pcn.len()) {
        return Err(Code::BadFormat);
    }
    Ok(Primary { lic: lic.to_owned(), pcn: pcn.to_owned(), unit_of_measure })
}

/// A combined mark of one piece, its serial number without a date (`$$+7`), or of a product alone.
///
/// # Errors
/// Where a part of it has no place in such a mark.
pub fn compose(primary: &Primary, serial: Option<&str>, today: NaiveDate) -> Result<String, Fault> {
    let serial = serial.map(|serial| format!("/$$+7{serial}")).unwrap_or_default();
    let said = format!("+{}{serial}", primary.di());
    let check = check_character(&said).ok_or(Fault { code: Code::BadCharset, expected: None })?;
    let text = format!("{said}{check}");
    read(&text, today)?;
    Ok(text)
}
