//! An element string cut into its elements: by separators and lengths as a reader sends it, or by brackets as people
//! write it.

use super::identifiers::{find, length, predefined};
use super::{Code, Element, GS, Split};

/// The sign that stands for the separator in print. It may not stand in any value, so that it can only be that.
const PRINTED_GS: char = '\u{241d}';

/// Cuts what a reader sent.
pub fn split(data: &str) -> Split {
    let data = data.replace(PRINTED_GS, "\u{1d}");
    let mut rest = data.strip_prefix(GS).unwrap_or(&data);
    let mut elements = Vec::new();
    while !rest.is_empty() {
        if rest.starts_with(GS) {
            return Err((Code::EmptyElement, None));
        }
        let (ai, after) = identifier(rest)?;
        let until = after.find(GS).unwrap_or(after.len());
        // An identifier of a known length ends there, separator or not.
        let end = match predefined(ai) {
            Some(long) => {
                let end = after.char_indices().nth(long).map_or(after.len(), |(at, _)| at).min(until);
                if after.get(..end).unwrap_or_default().chars().count() < long {
                    return Err((Code::TooShort, None));
                }
                end
            }
            None => until,
        };
        let (value, after) = after.split_at_checked(end).ok_or((Code::BadCharset, None))?;
        if value.is_empty() {
            return Err((Code::EmptyValue, Some(ai.to_owned())));
        }
        elements.push((ai.to_owned(), value.to_owned()));
        rest = after.strip_prefix(GS).unwrap_or(after);
    }
    if elements.is_empty() { Err((Code::Empty, None)) } else { Ok(elements) }
}

/// The identifier that a text begins with, and what follows it.
fn identifier(text: &str) -> Result<(&str, &str), (Code, Option<String>)> {
    let unknown = (Code::UnknownAi, None);
    let two = text.get(..2).filter(|two| two.bytes().all(|byte| byte.is_ascii_digit()));
    let long = two.and_then(length).ok_or_else(|| unknown.clone())?;
    let (ai, after) = text.split_at_checked(long).ok_or_else(|| unknown.clone())?;
    find(ai).map(|_| (ai, after)).ok_or(unknown)
}

/// Cuts what a person typed: `(01)…(21)…`, with spaces around a value or without. A bracket belongs to a value unless
/// an identifier that is known stands in it.
pub fn split_brackets(text: &str) -> Split {
    let mut elements: Vec<Element> = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let Some((inside, after)) = rest.strip_prefix('(').and_then(|open| open.split_once(')')) else {
            return Err((Code::NotGs1, None));
        };
        let digits = (2..=4).contains(&inside.len()) && inside.bytes().all(|byte| byte.is_ascii_digit());
        if !digits || find(inside).is_none() {
            return Err((Code::UnknownAi, None));
        }
        let end = next_bracket(after);
        let (value, after) = after.split_at_checked(end).ok_or((Code::BadCharset, None))?;
        let value = value.trim_matches(' ');
        if value.is_empty() {
            return Err((Code::EmptyValue, Some(inside.to_owned())));
        }
        elements.push((inside.to_owned(), value.to_owned()));
        rest = after;
    }
    Ok(elements)
}

/// Where the next bracket with an identifier stands, or the end of the text.
fn next_bracket(text: &str) -> usize {
    for (at, _) in text.match_indices('(') {
        let inside = text.get(at + 1..).unwrap_or_default();
        // At most four digits and the closing bracket are looked at, so that this stays linear.
        let digits = inside.bytes().take(5).take_while(u8::is_ascii_digit).count();
        let closed = inside.as_bytes().get(digits) == Some(&b')');
        if (2..=4).contains(&digits) && closed && inside.get(..digits).and_then(find).is_some() {
            return at;
        }
    }
    text.len()
}
