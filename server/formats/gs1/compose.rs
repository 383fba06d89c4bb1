//! Elements written as a mark: as a reader would send it, with brackets for people, and as an address.

use chrono::NaiveDate;

use super::identifiers::predefined;
use super::{Element, Fault, GS, Mark, read};

/// Why elements make no mark.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum ComposeError {
    /// Read again they are no valid mark.
    Fault(Fault),
    /// A day that is not told: it may be read, and is not written.
    DayZero(String),
}

/// The element string without FNC1 before it, a separator only where one is needed.
///
/// # Errors
/// Where the elements are no valid mark, or one of their dates has no day.
pub fn element_string(elements: &[Element], today: NaiveDate) -> Result<String, ComposeError> {
    let mut text = String::new();
    for (at, (ai, value)) in elements.iter().enumerate() {
        text.push_str(ai);
        text.push_str(value);
        if at + 1 < elements.len() && predefined(ai).is_none() {
            text.push(GS);
        }
    }
    let mark = read(&format!("]d2{text}"), today).map_err(ComposeError::Fault)?;
    as_meant(&mark, elements)?;
    Ok(text)
}

/// A value with a separator in it, or one that swallows the next, would be read as something else than was meant.
fn as_meant(mark: &Mark, elements: &[Element]) -> Result<(), ComposeError> {
    if let Some(ai) = mark.day_zero.first() {
        return Err(ComposeError::DayZero(ai.clone()));
    }
    if mark.elements != elements {
        let fault = Fault { code: super::Code::BadFormat, source: None, at: None };
        return Err(ComposeError::Fault(fault));
    }
    Ok(())
}

/// As it is printed below a mark: `(01)…(21)…`.
pub fn bracketed(elements: &[Element]) -> String {
    elements.iter().map(|(ai, value)| format!("({ai}){value}")).collect()
}

/// As an address below `base`, such as a site's own; the first element is the key, those that do not qualify it stand
/// in the query.
///
/// # Errors
/// Where the address would not be read as these elements.
pub fn digital_link(base: &str, elements: &[Element], today: NaiveDate) -> Result<String, ComposeError> {
    /// What qualifies a key, in the order in which it must stand.
    const QUALIFIERS: [&str; 7] = ["22", "10", "21", "235", "254", "7040", "8019"];
    let place = |(ai, _): &&Element| QUALIFIERS.iter().position(|qualifier| qualifier == ai);
    let (key, others) = elements.split_at(elements.len().min(1));
    let (mut path, query): (Vec<&Element>, Vec<&Element>) = others.iter().partition(|it| place(it).is_some());
    path.sort_by_key(place);
    let path: Vec<&Element> = key.iter().chain(path).collect();
    let mut address = base.trim_end_matches('/').to_owned();
    for (ai, value) in &path {
        address.push_str(&format!("/{ai}/{}", encoded(value)));
    }
    for (at, (ai, value)) in query.iter().enumerate() {
        address.push_str(&format!("{}{ai}={}", if at == 0 { '?' } else { '&' }, encoded(value)));
    }
    let mark = read(&address, today).map_err(ComposeError::Fault)?;
    let ordered: Vec<Element> = path.into_iter().chain(query).cloned().collect();
    as_meant(&mark, &ordered)?;
    Ok(address)
}

/// Everything but unreserved characters (RFC 3986, section 2.3) is escaped.
fn encoded(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    for byte in value.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => out.push(char::from(byte)),
            _ => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}
