//! GS1 Digital Link addresses: `…/01/{gtin}/21/{serial}?17=270630`.
//!
//! Source: GS1 Digital Link Standard, URI Syntax 1.x. Values are taken as they stand after per cent decoding; a short
//! GTIN is not filled up.

use super::identifiers::find;
use super::{Code, Element, Split};

/// What may be the first thing that an address names, with what may qualify it, in this order.
const KEYS: [(&str, &[&str]); 9] = [
    ("00", &[]),
    ("01", &["22", "10", "21", "235"]),
    ("255", &[]),
    ("414", &["254", "7040"]),
    ("8003", &[]),
    ("8004", &["7040"]),
    ("8006", &["22", "10", "21"]),
    ("8017", &["8019"]),
    ("8018", &["8019"]),
];

/// Cuts an address into elements: those of its path, then those of its query.
pub fn split(address: &str) -> Split {
    let address = address.split('#').next().unwrap_or_default();
    let (place, query) = address.split_once('?').unwrap_or((address, ""));
    let path =
        place.split_once("://").and_then(|(_, rest)| rest.split_once('/')).map_or("", |(_, path)| path);
    let segments: Vec<&str> = path.strip_suffix('/').unwrap_or(path).split('/').collect();
    let starts = (0..segments.len()).filter(|at| KEYS.iter().any(|(key, _)| Some(key) == segments.get(*at)));
    let mut first_fault = None;
    for start in starts {
        match pairs(segments.get(start..).unwrap_or_default()) {
            Ok(mut elements) => {
                elements.extend(asked(query)?);
                return Ok(elements);
            }
            Err(fault) => first_fault = first_fault.or(Some(fault)),
        }
    }
    Err(first_fault.unwrap_or((Code::NotGs1, None)))
}

/// Pairs of an identifier and a value, the first of them a key, the others its qualifiers in their order.
fn pairs(segments: &[&str]) -> Split {
    let mut elements: Vec<Element> = Vec::new();
    let mut allowed: Option<&[&str]> = None;
    for pair in segments.chunks(2) {
        let [ai, value] = pair else {
            let at = pair.first().filter(|ai| find(ai).is_some());
            return Err((Code::EmptyValue, at.map(|ai| (*ai).to_owned())));
        };
        allowed = match allowed {
            None => KEYS.iter().find(|(key, _)| key == ai).map(|(_, qualifiers)| *qualifiers),
            Some(left) => {
                let Some(at) = left.iter().position(|qualifier| qualifier == ai) else {
                    let code = if find(ai).is_some() { Code::BadFormat } else { Code::UnknownAi };
                    return Err((code, None));
                };
                left.get(at + 1..)
            }
        };
        elements.push(element(ai, value, false)?);
    }
    Ok(elements)
}

/// What the query adds. A parameter whose name is no number is none of ours.
fn asked(query: &str) -> Split {
    let mut elements = Vec::new();
    for parameter in query.split(['&', ';']) {
        let (name, value) = parameter.split_once('=').unwrap_or((parameter, ""));
        if !name.is_empty() && name.bytes().all(|byte| byte.is_ascii_digit()) {
            if find(name).is_none() {
                return Err((Code::UnknownAi, None));
            }
            elements.push(element(name, value, true)?);
        }
    }
    Ok(elements)
}

fn element(ai: &str, value: &str, in_query: bool) -> Result<Element, (Code, Option<String>)> {
    let value = decoded(value, in_query).ok_or_else(|| (Code::BadFormat, Some(ai.to_owned())))?;
    if value.is_empty() {
        return Err((Code::EmptyValue, Some(ai.to_owned())));
    }
    Ok((ai.to_owned(), value))
}

/// Per cent decoding; in a query a plus stands for a space. None where an escape is broken.
fn decoded(value: &str, in_query: bool) -> Option<String> {
    let mut bytes = value.bytes();
    let mut out = Vec::with_capacity(value.len());
    while let Some(byte) = bytes.next() {
        out.push(match byte {
            b'%' => {
                let hex = [bytes.next()?, bytes.next()?];
                let both = hex.iter().all(u8::is_ascii_hexdigit);
                let text = both.then(|| std::str::from_utf8(&hex).ok()).flatten()?;
                u8::from_str_radix(text, 16).ok()?
            }
            b'+' if in_query => b' ',
            other => other,
        });
    }
    String::from_utf8(out).ok()
}
