//! Text as people write it: bounded, normalised, and sealed where it names somebody.

use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Free text of a command: at most this many characters.
pub const LONGEST_TEXT: usize = 4_000;
/// A mark, a name, a place: at most this many characters.
pub const LONGEST_LINE: usize = 200;

/// One line: a mark, a name, a place. 1 to 200 characters.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
pub struct Line(pub String);

impl Line {
    pub fn as_str(&self) -> &str {
        &self.0
    }

    pub fn is_blank(&self) -> bool {
        is_blank(&self.0)
    }
}

/// Nothing that anybody could read: blanks, controls, and characters without width or shape.
pub fn is_blank(text: &str) -> bool {
    let unseen = |letter: char| {
        letter.is_whitespace()
            || letter.is_control()
            || matches!(
                letter,
                '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
            )
            || matches!(letter, '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}')
            || matches!(letter, '\u{2060}'..='\u{206f}' | '\u{2800}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}')
            || matches!(letter, '\u{feff}' | '\u{ffa0}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
    };
    text.chars().all(unseen)
}

/// The name of somebody, who is never blank.
pub fn a_person<'de, D: Deserializer<'de>>(from: D) -> Result<Line, D::Error> {
    not_blank(Line::deserialize(from)?)
}

/// The name or the reference of somebody, where one is given.
pub fn somebody<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Line>, D::Error> {
    Option::<Line>::deserialize(from)?.map(not_blank).transpose()
}

fn not_blank<E: serde::de::Error>(line: Line) -> Result<Line, E> {
    match line.is_blank() {
        true => Err(E::custom("found a blank; a name or a reference is needed")),
        false => Ok(line),
    }
}

impl<'de> Deserialize<'de> for Line {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        match text.chars().count() {
            0 => Err(serde::de::Error::custom("found an empty text; 1 to 200 characters are needed")),
            n if n > LONGEST_LINE => {
                Err(serde::de::Error::custom(format!("found {n} characters; at most 200 are needed")))
            }
            _ => Ok(Line(text)),
        }
    }
}

/// Free text, as a reason or a note: at most 4,000 characters. It may be empty; whether that will do is a rule.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Default)]
pub struct Text(pub String);

impl Text {
    pub fn is_blank(&self) -> bool {
        is_blank(&self.0)
    }
}

impl<'de> Deserialize<'de> for Text {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let n = text.chars().count();
        if n > LONGEST_TEXT {
            return Err(serde::de::Error::custom(format!("found {n} characters; at most 4,000 are needed")));
        }
        Ok(Text(text))
    }
}

/// What a person wrote, with the stop that ends a sentence, so that another sentence can follow it.
pub fn ended(text: &str) -> String {
    let text = text.trim_end();
    match text.chars().next_back() {
        Some('.' | '!' | '?') => text.into(),
        _ => format!("{text}."),
    }
}

/// What scanners read: one text or a list of them, each 1 to 200 characters.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
#[serde(transparent)]
pub struct Scan(pub Vec<String>);

impl Scan {
    /// More than this in one act is a mistake, or an attack.
    pub const MOST: usize = 2_000;
}

impl<'de> Deserialize<'de> for Scan {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(
            untagged,
            expecting = "found no scan; a text or a list of texts of 1 to 200 characters is needed"
        )]
        enum OneOrMany {
            One(Line),
            Many(Vec<Line>),
        }
        let items: Vec<String> = match OneOrMany::deserialize(from)? {
            OneOrMany::One(line) => vec![line.0],
            OneOrMany::Many(lines) => lines.into_iter().map(|line| line.0).collect(),
        };
        if items.is_empty() || items.len() > Scan::MOST {
            return Err(serde::de::Error::custom(format!(
                "found a list of {}; 1 to 2,000 scans are needed",
                items.len()
            )));
        }
        Ok(Scan(items))
    }
}

/// One text, or a list of exactly one: how a scanner gives one part.
pub fn one_scan<'de, D: Deserializer<'de>>(from: D) -> Result<Line, D::Error> {
    let mut all = Scan::deserialize(from)?.0;
    match (all.pop(), all.is_empty()) {
        (Some(one), true) => Ok(Line(one)),
        _ => Err(serde::de::Error::custom("found several scans; one is needed")),
    }
}

/// A measured quantity, exact: a string or a number in a command, a string in an event and an answer.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Quantity(pub Decimal);

impl Quantity {
    pub fn f64(self) -> f64 {
        use rust_decimal::prelude::ToPrimitive;
        self.0.to_f64().unwrap_or(f64::NAN)
    }

    /// A computed number, cut to so many decimals; none where it is no number or too large to be written so.
    pub fn rounded(value: f64, decimals: u32) -> Option<Quantity> {
        let exact = Decimal::from_f64_retain(value).filter(|_| value.is_finite())?;
        Some(Quantity(exact.round_dp(decimals).normalize()))
    }

    pub fn parse(text: &str) -> Option<Quantity> {
        let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-'));
        plain.then(|| text.parse().ok().map(|d: Decimal| Quantity(d.normalize()))).flatten()
    }
}

impl std::fmt::Display for Quantity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

impl Serialize for Quantity {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Quantity {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let value = serde_json::Value::deserialize(from)?;
        let found = match &value {
            serde_json::Value::String(text) => Quantity::parse(text),
            serde_json::Value::Number(number) => {
                let text = number.to_string();
                Decimal::from_scientific(&text)
                    .or_else(|_| text.parse())
                    .ok()
                    .map(|d| Quantity(d.normalize()))
            }
            _ => None,
        };
        found.ok_or_else(|| {
            serde::de::Error::custom("found no decimal number; a number or a text such as \"5.5\" is needed")
        })
    }
}

/// A text that names somebody, as it stands in the ledger: a known code, or a sealed commitment whose words live
/// in the erasable table.
pub type Sealed = String;
