//! The bytes of a message as text, by the character set that its header names (MSH-18).

use std::borrow::Cow;

use encoding_rs::{Encoding, UTF_8, WINDOWS_1252};

/// The names of HL7 table 0211 whose bytes are not UTF-8. Windows-1252 holds all of ISO 8859-1.
const NAMED: [(&str, &str); 6] = [
    ("8859/1", "windows-1252"),
    ("8859/2", "iso-8859-2"),
    ("8859/5", "iso-8859-5"),
    ("8859/7", "iso-8859-7"),
    ("8859/9", "windows-1254"),
    ("8859/15", "iso-8859-15"),
];

/// The text of a message, without the bytes that frame it. A message that names no character set and is no UTF-8 is
/// read as Windows-1252, as most such feeds are.
pub fn text(bytes: &[u8]) -> Cow<'_, str> {
    let bytes = bytes.strip_prefix(b"\x0b").unwrap_or(bytes);
    let bytes = bytes.strip_suffix(b"\r").filter(|bytes| bytes.ends_with(b"\x1c")).unwrap_or(bytes);
    let bytes = bytes.strip_suffix(b"\x1c").unwrap_or(bytes);
    let named = header_field(bytes, 18).and_then(|name| {
        let name = std::str::from_utf8(name).ok()?.split(['~', '^']).next()?;
        NAMED.iter().find(|(own, _)| *own == name)
    });
    if let Some((_, label)) = named {
        let encoding = Encoding::for_label(label.as_bytes()).unwrap_or(WINDOWS_1252);
        return encoding.decode_without_bom_handling(bytes).0;
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text.strip_prefix('\u{feff}').unwrap_or(text)),
        Err(_) if header_field(bytes, 18).is_some_and(|name| name.starts_with(b"UNICODE")) => {
            UTF_8.decode_without_bom_handling(bytes).0
        }
        Err(_) => WINDOWS_1252.decode_without_bom_handling(bytes).0,
    }
}

/// Whether a message names a character set that is not read here, and has bytes that tell: what is read of them is a guess.
pub fn is_guessed(bytes: &[u8]) -> bool {
    let Some(name) = header_field(bytes.strip_prefix(b"\x0b").unwrap_or(bytes), 18) else { return false };
    let name = String::from_utf8_lossy(name);
    let name = name.split(['~', '^']).next().unwrap_or_default().trim();
    let known = name.is_empty()
        || name == "ASCII"
        || name.starts_with("UNICODE")
        || NAMED.iter().any(|(own, _)| *own == name);
    !known && !bytes.is_ascii()
}

/// A field of the header before the text is known; its separator is the byte after `MSH`.
fn header_field(bytes: &[u8], number: usize) -> Option<&[u8]> {
    let rest = bytes.strip_prefix(b"MSH")?;
    let separator = *rest.first()?;
    let line = rest.split(|byte| matches!(byte, b'\r' | b'\n')).next()?;
    // The separator itself is field 1.
    line.split(|byte| *byte == separator).nth(number - 1)
}
