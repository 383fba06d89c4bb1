//! Canonical JSON after RFC 8785, so that one value has one text and therefore one hash.
//!
//! The text never depends on the order in which a form declares its fields, nor on that in which `serde_json` keeps the
//! members of an object: a dependency may switch that crate's `preserve_order` on, and hashes must not change with it.

use std::fmt::Write;

use serde::Serialize;

use super::canonical_writer::Writer;

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
    /// Something that is no JSON at all, as an object whose names are no text.
    #[error("found what JSON cannot hold: {0}")]
    NoJson(String),
}

/// The canonical text of a value (RFC 8785): of JSON, or of a form at once, without a tree of values in between.
///
/// Members are sorted by the UTF-16 code units of their names, no white space is written, and numbers have
/// the shortest form that ECMAScript gives them. Text is not normalised.
///
/// # Errors
/// An integer of 2^53 or more in either direction, or a number that is not finite. A literal too long for 64
/// bits has already become a double when `serde_json` parsed it, and is written as that double. A double of
/// 2^53 or more and below 1e21 is written without an exponent, as ECMAScript does, so that its text reads back
/// as an integer too large.
pub fn canonical<T: Serialize + ?Sized>(value: &T) -> Result<String, CanonicalError> {
    let mut writer = Writer::default();
    value.serialize(&mut writer)?;
    Ok(writer.into_text())
}

/// Writes an integer, given by its sign and magnitude.
pub(super) fn write_integer(negative: bool, magnitude: u64, out: &mut String) -> Result<(), CanonicalError> {
    let sign = if negative { "-" } else { "" };
    if magnitude > LARGEST_INTEGER {
        return Err(CanonicalError::IntegerTooLarge(format!("{sign}{magnitude}")));
    }
    // Writing to a String cannot fail, so the result carries nothing.
    let _ = write!(out, "{sign}{magnitude}");
    Ok(())
}

pub(super) fn write_double(double: f64, out: &mut String) -> Result<(), CanonicalError> {
    if !double.is_finite() {
        return Err(CanonicalError::NotFinite(double.to_string()));
    }
    out.push_str(ryu_js::Buffer::new().format_finite(double));
    Ok(())
}

/// Writes the inside of a string with the escapes of RFC 8785 section 3.2.2.2 and no others.
pub(super) fn write_escaped(text: &str, out: &mut String) {
    let mut rest = text;
    // What needs an escape is one byte long, so the text can be cut on both its sides.
    while let Some(at) = rest.bytes().position(|byte| byte < 0x20 || byte == b'"' || byte == b'\\') {
        let (plain, from) = rest.split_at(at);
        out.push_str(plain);
        let (escaped, after) = from.split_at(1);
        match escaped {
            "\"" => out.push_str("\\\""),
            "\\" => out.push_str("\\\\"),
            "\u{8}" => out.push_str("\\b"),
            "\t" => out.push_str("\\t"),
            "\n" => out.push_str("\\n"),
            "\u{c}" => out.push_str("\\f"),
            "\r" => out.push_str("\\r"),
            control => {
                for byte in control.bytes() {
                    let _ = write!(out, "\\u{byte:04x}");
                }
            }
        }
        rest = after;
    }
    out.push_str(rest);
}
