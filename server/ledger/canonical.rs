//! Canonical JSON after RFC 8785, so that one value has one text and therefore one hash.
//!
//! The text never depends on the order in which `serde_json` keeps the members of an object: a dependency
//! may switch that crate's `preserve_order` on, and hashes must not change with it.

use std::fmt::Write;

use serde_json::{Map, Number, Value};

/// The largest integer that is written: 2^53 − 1 (RFC 7493 section 2.2, on which RFC 8785 stands). Above it a
/// reader that holds numbers as IEEE 754 doubles no longer tells neighbours apart.
pub const LARGEST_INTEGER: u64 = (1 << 53) - 1;

/// A value that has no canonical text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CanonicalError {
    /// An integer of 2^53 or more in either direction.
    #[error("found the integer {0}; one below 2^53 is needed, or a string")]
    IntegerTooLarge(String),
    /// A number that no IEEE 754 double holds.
    #[error("found the number {0}; a finite number is needed")]
    NotFinite(String),
}

/// The canonical text of a value (RFC 8785).
///
/// Members are sorted by the UTF-16 code units of their names, no white space is written, and numbers have
/// the shortest form that ECMAScript gives them. Text is not normalised.
///
/// # Errors
/// An integer of 2^53 or more in either direction, or a number that is not finite. A literal too long for 64
/// bits has already become a double when `serde_json` parsed it, and is written as that double. A double of
/// 2^53 or more and below 1e21 is written without an exponent, as ECMAScript does, so that its text reads back
/// as an integer too large.
pub fn canonical(value: &Value) -> Result<String, CanonicalError> {
    let mut out = String::new();
    write_canonical(value, &mut out)?;
    Ok(out)
}

/// Appends the canonical text of a value to `out`, as [`canonical`] does.
///
/// # Errors
/// As [`canonical`]; what was appended until then stays in `out`.
pub fn write_canonical(value: &Value, out: &mut String) -> Result<(), CanonicalError> {
    match value {
        Value::Null => out.push_str("null"),
        Value::Bool(true) => out.push_str("true"),
        Value::Bool(false) => out.push_str("false"),
        Value::Number(number) => write_number(number, out)?,
        Value::String(text) => write_string(text, out),
        Value::Array(items) => write_array(items, out)?,
        Value::Object(members) => write_object(members, out)?,
    }
    Ok(())
}

fn write_array(items: &[Value], out: &mut String) -> Result<(), CanonicalError> {
    out.push('[');
    for (i, item) in items.iter().enumerate() {
        if i > 0 {
            out.push(',');
        }
        write_canonical(item, out)?;
    }
    out.push(']');
    Ok(())
}

fn write_object(members: &Map<String, Value>, out: &mut String) -> Result<(), CanonicalError> {
    let mut sorted: Vec<(&String, &Value)> = members.iter().collect();
    // The order of UTF-16 code units differs from that of UTF-8 bytes where a name holds a character above
    // U+FFFF: its surrogates sort before U+E000.
    sorted.sort_by(|(a, _), (b, _)| a.encode_utf16().cmp(b.encode_utf16()));
    out.push('{');
    for (i, (name, value)) in sorted.into_iter().enumerate() {
        if i > 0 {
            out.push(',');
        }
        write_string(name, out);
        out.push(':');
        write_canonical(value, out)?;
    }
    out.push('}');
    Ok(())
}

fn write_number(number: &Number, out: &mut String) -> Result<(), CanonicalError> {
    let integer = number.as_i64().map(i64::unsigned_abs).or_else(|| number.as_u64());
    if let Some(magnitude) = integer {
        if magnitude > LARGEST_INTEGER {
            return Err(CanonicalError::IntegerTooLarge(number.to_string()));
        }
        // Writing to a String cannot fail, so the result carries nothing.
        let _ = write!(out, "{number}");
        return Ok(());
    }
    match number.as_f64() {
        Some(double) if double.is_finite() => {
            out.push_str(ryu_js::Buffer::new().format_finite(double));
            Ok(())
        }
        _ => Err(CanonicalError::NotFinite(number.to_string())),
    }
}

/// Writes a string with the escapes of RFC 8785 section 3.2.2.2 and no others.
fn write_string(text: &str, out: &mut String) {
    out.push('"');
    for character in text.chars() {
        match character {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\u{8}' => out.push_str("\\b"),
            '\t' => out.push_str("\\t"),
            '\n' => out.push_str("\\n"),
            '\u{c}' => out.push_str("\\f"),
            '\r' => out.push_str("\\r"),
            control if control < '\u{20}' => {
                let _ = write!(out, "\\u{:04x}", u32::from(control));
            }
            other => out.push(other),
        }
    }
    out.push('"');
}
