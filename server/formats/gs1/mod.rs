//! GS1 element strings, as a reader sends them, as people type them from the text below a mark, and as web addresses:
//! read into elements, judged, and written again.
//!
//! FNC1 inside the data is U+001D. What a mark names is said apart (`named`): a product with its lot is never taken for
//! one piece, since a reader that swallows the separator makes exactly that of a serial number.

mod compose;
mod element_string;
pub mod identifiers;
mod link;
mod named;
mod value;

use std::collections::BTreeMap;

use chrono::NaiveDate;

pub use compose::{ComposeError, bracketed, digital_link, element_string};
pub use named::{Kind, Named};
pub use value::{full_year, last_of_month};

/// FNC1 where it separates: the group separator.
pub const GS: char = '\u{1d}';
/// Longer strings than any symbol holds are not looked at; the largest matrix symbols hold 7,089 digits.
pub const LONGEST: usize = 8_192;

/// Why a string is no valid mark.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Code {
    Empty,
    NotGs1,
    UnknownSymbology,
    UnknownAi,
    TooShort,
    TooLong,
    EmptyValue,
    EmptyElement,
    BadCharset,
    BadCheckDigit,
    BadDate,
    BadFormat,
    BadCompanyPrefix,
    ConflictingRepeat,
    ExclusiveAis,
    MissingRequiredAi,
}

impl Code {
    pub fn name(self) -> &'static str {
        match self {
            Code::Empty => "empty",
            Code::NotGs1 => "not_gs1",
            Code::UnknownSymbology => "unknown_symbology",
            Code::UnknownAi => "unknown_ai",
            Code::TooShort => "too_short",
            Code::TooLong => "too_long",
            Code::EmptyValue => "empty_value",
            Code::EmptyElement => "empty_element",
            Code::BadCharset => "bad_charset",
            Code::BadCheckDigit => "bad_check_digit",
            Code::BadDate => "bad_date",
            Code::BadFormat => "bad_format",
            Code::BadCompanyPrefix => "bad_company_prefix",
            Code::ConflictingRepeat => "conflicting_repeat",
            Code::ExclusiveAis => "exclusive_ais",
            Code::MissingRequiredAi => "missing_required_ai",
        }
    }

    /// What a person is told.
    pub fn words(self) -> &'static str {
        match self {
            Code::Empty => "Nothing was read.",
            Code::NotGs1 => "This is no GS1 mark.",
            Code::UnknownSymbology => "The reader names a kind of symbol that is not known here.",
            Code::UnknownAi => {
                "The mark holds a number that is not known here; a separator may have been lost."
            }
            Code::TooShort => "The mark is cut off: a value is shorter than it must be.",
            Code::TooLong => "A value is longer than it may be; a separator may have been lost.",
            Code::EmptyValue => "A value in the mark is empty.",
            Code::EmptyElement => "Two separators follow one another.",
            Code::BadCharset => "The mark holds a character that may not stand there.",
            Code::BadCheckDigit => "The check digit does not agree: read it again.",
            Code::BadDate => "The mark holds a date that does not exist.",
            Code::BadFormat => "A value in the mark is not formed as it must be.",
            Code::BadCompanyPrefix => "A value must begin with a company prefix of at least four digits.",
            Code::ConflictingRepeat => "The mark says the same thing twice, and differently.",
            Code::ExclusiveAis => "The mark holds two values that exclude one another.",
            Code::MissingRequiredAi => "The mark lacks the value that another one in it belongs to.",
        }
    }
}

/// Where a string came from, by what the reader or the writing says.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Source {
    Gs1DataMatrix,
    Gs1_128,
    Gs1Qr,
    Gs1DataBar,
    Gs1DotCode,
    DataMatrix,
    Qr,
    Code128,
    Ean,
    DigitalLink,
    /// Typed from the text below a mark, with its brackets.
    Bracketed,
    /// A reader that does not say what it read.
    Raw,
}

impl Source {
    pub fn name(self) -> &'static str {
        match self {
            Source::Gs1DataMatrix => "gs1-datamatrix",
            Source::Gs1_128 => "gs1-128",
            Source::Gs1Qr => "gs1-qr",
            Source::Gs1DataBar => "gs1-databar",
            Source::Gs1DotCode => "gs1-dotcode",
            Source::DataMatrix => "datamatrix",
            Source::Qr => "qr",
            Source::Code128 => "code128",
            Source::Ean => "ean",
            Source::DigitalLink => "digital-link",
            Source::Bracketed => "hri",
            Source::Raw => "raw",
        }
    }
}

/// Why a string was refused, and at which identifier where that is known.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fault {
    pub code: Code,
    pub source: Option<Source>,
    pub at: Option<String>,
}

/// An identifier and its value.
pub type Element = (String, String);

/// A mark that is valid as it stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Mark {
    pub source: Source,
    /// In the order in which they were read.
    pub elements: Vec<Element>,
    /// By identifier, as ISO 8601 writes them.
    pub dates: BTreeMap<String, String>,
    /// Identifiers of dates whose day is 00. They are read as the last day of the month; regulated healthcare items
    /// have had to carry a real day since 2025 (GS1 General Specifications change 21-040).
    pub day_zero: Vec<String>,
    pub named: Named,
}

/// Symbology identifiers (ISO/IEC 15424), case and all, as readers put them before the data.
const SYMBOLS: [(&str, Source); 9] = [
    ("]d2", Source::Gs1DataMatrix),
    ("]C1", Source::Gs1_128),
    ("]Q3", Source::Gs1Qr),
    ("]e0", Source::Gs1DataBar),
    ("]J1", Source::Gs1DotCode),
    ("]d1", Source::DataMatrix),
    ("]Q1", Source::Qr),
    ("]C0", Source::Code128),
    ("]E0", Source::Ean),
];

/// Reads a mark as a reader sent it or a person typed it. `today` decides which century two digits of a year mean.
///
/// # Errors
/// The first fault that was found.
pub fn read(sent: &str, today: NaiveDate) -> Result<Mark, Fault> {
    let nothing = |code| Fault { code, source: None, at: None };
    if sent.len() > LONGEST {
        return Err(nothing(Code::TooLong));
    }
    let text = without_ending(sent);
    let (source, data) = source(text).map_err(nothing)?;
    if data.is_empty() {
        return Err(nothing(Code::Empty));
    }
    let fault = |(code, at)| Fault { code, source: Some(source), at };
    let elements = match source {
        Source::DigitalLink => link::split(data),
        Source::Bracketed => element_string::split_brackets(data),
        Source::DataMatrix | Source::Qr | Source::Code128 | Source::Ean => Err((Code::NotGs1, None)),
        _ => element_string::split(data),
    };
    // An address that is no Digital Link was not sent as GS1 at all.
    let elements = elements.map_err(|(code, at)| match (source, code) {
        (Source::DigitalLink, Code::NotGs1) => nothing(code),
        _ => fault((code, at)),
    })?;
    let mut mark =
        Mark { source, named: Named::of(&elements), elements, dates: BTreeMap::new(), day_zero: Vec::new() };
    for (ai, value) in &mark.elements {
        let known = identifiers::find(ai).ok_or_else(|| fault((Code::UnknownAi, Some(ai.clone()))))?;
        let read = value::read(known.pieces, value, today).map_err(|code| fault((code, Some(ai.clone()))))?;
        mark.dates.extend(read.date.map(|date| (ai.clone(), date)));
        mark.day_zero.extend(read.day_zero.then(|| ai.clone()));
    }
    together(&mark.elements).map_err(fault)?;
    Ok(mark)
}

/// A reader ends a scan with Enter or Tab; nothing else at the end is taken away.
fn without_ending(sent: &str) -> &str {
    sent.trim_end_matches(['\r', '\n', '\t'])
}

/// What sent the text, and its data without that.
fn source(text: &str) -> Result<(Source, &str), Code> {
    let (source, data) = match text.strip_prefix(']') {
        Some(_) => {
            let known = SYMBOLS.iter().find(|(prefix, _)| text.starts_with(prefix));
            let (prefix, source) = known.ok_or(Code::UnknownSymbology)?;
            (Some(*source), text.get(prefix.len()..).unwrap_or_default())
        }
        None => (None, text),
    };
    let address = |data: &str| {
        let scheme = data.get(..8).unwrap_or(data).to_ascii_lowercase();
        scheme.starts_with("https://") || scheme.starts_with("http://")
    };
    Ok(match source {
        None | Some(Source::DataMatrix | Source::Qr) if address(data) => (Source::DigitalLink, data),
        Some(source) => (source, data),
        None if data.starts_with('(') => (Source::Bracketed, data),
        None => (Source::Raw, data),
    })
}

type Split = Result<Vec<Element>, (Code, Option<String>)>;

/// What the elements need of one another.
fn together(elements: &[Element]) -> Result<(), (Code, Option<String>)> {
    let mut held: BTreeMap<&str, &str> = BTreeMap::new();
    for (ai, value) in elements {
        if held.insert(ai, value).is_some_and(|before| before != value) {
            return Err((Code::ConflictingRepeat, Some(ai.clone())));
        }
    }
    let known = || elements.iter().filter_map(|(ai, _)| Some((ai, identifiers::find(ai)?)));
    for (ai, identifier) in known() {
        if identifier.excludes.iter().any(|other| held.contains_key(other)) {
            return Err((Code::ExclusiveAis, Some(ai.clone())));
        }
    }
    for (ai, identifier) in known() {
        let met = |all: &identifiers::All| all.iter().all(|one| held.contains_key(one));
        if !identifier.needs.is_empty() && !identifier.needs.iter().any(met) {
            return Err((Code::MissingRequiredAi, Some(ai.clone())));
        }
    }
    Ok(())
}
