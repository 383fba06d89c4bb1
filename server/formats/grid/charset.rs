//! In which characters a text file is written: by its own mark, as UTF-8, or as somebody says.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use super::Refused;
use crate::formats::table::Fault;

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Charset {
    #[serde(rename = "utf-8")]
    Utf8,
    #[serde(rename = "utf-16le")]
    Utf16Le,
    #[serde(rename = "utf-16be")]
    Utf16Be,
    #[serde(rename = "windows-1252")]
    Windows1252,
}

impl Charset {
    pub const ALL: [Charset; 4] = [Charset::Utf8, Charset::Utf16Le, Charset::Utf16Be, Charset::Windows1252];

    pub fn named(name: &str) -> Option<Charset> {
        Charset::ALL.into_iter().find(|it| it.name() == name)
    }

    pub fn name(self) -> &'static str {
        match self {
            Charset::Utf8 => "utf-8",
            Charset::Utf16Le => "utf-16le",
            Charset::Utf16Be => "utf-16be",
            Charset::Windows1252 => "windows-1252",
        }
    }
}

/// The text of a file. A byte order mark goes before what somebody says, and valid UTF-8 as well: text of another
/// encoding with letters beyond ASCII is practically never valid UTF-8.
pub fn text(bytes: &[u8], declared: Option<Charset>) -> Result<Cow<'_, str>, Refused> {
    let (charset, rest) = match (marked(bytes), std::str::from_utf8(bytes)) {
        (Some(marked), _) => marked,
        (None, Ok(text)) if !matches!(declared, Some(Charset::Utf16Le | Charset::Utf16Be)) => {
            return whole(Cow::Borrowed(text), false, Charset::Utf8);
        }
        (None, _) => match declared {
            Some(charset) => (charset, bytes),
            None if bytes.contains(&0) => return Err(zero(bytes)),
            None => return Err(Refused::WhichCharset { suggested: Charset::Windows1252 }),
        },
    };
    let encoding = match charset {
        Charset::Utf8 => encoding_rs::UTF_8,
        Charset::Utf16Le => encoding_rs::UTF_16LE,
        Charset::Utf16Be => encoding_rs::UTF_16BE,
        Charset::Windows1252 => encoding_rs::WINDOWS_1252,
    };
    let (text, broken) = encoding.decode_without_bom_handling(rest);
    whole(text, broken, charset)
}

fn marked(bytes: &[u8]) -> Option<(Charset, &[u8])> {
    let utf_8 = bytes.strip_prefix(&[0xef, 0xbb, 0xbf]).map(|rest| (Charset::Utf8, rest));
    let little = || bytes.strip_prefix(&[0xff, 0xfe]).map(|rest| (Charset::Utf16Le, rest));
    let big = || bytes.strip_prefix(&[0xfe, 0xff]).map(|rest| (Charset::Utf16Be, rest));
    utf_8.or_else(little).or_else(big)
}

/// A text without characters that no list holds.
fn whole(text: Cow<'_, str>, broken: bool, charset: Charset) -> Result<Cow<'_, str>, Refused> {
    let wrong = if broken { '\u{fffd}' } else { '\0' };
    let Some(at) = text.find(wrong) else { return Ok(text) };
    let line = line_of(text.get(..at).unwrap_or_default());
    let found =
        if broken { format!("bytes that are not {}", charset.name()) } else { "the character U+0000".into() };
    Err(Fault::new(line, "", found, "text is needed").into())
}

fn zero(bytes: &[u8]) -> Refused {
    let before = bytes.split(|byte| *byte == 0).next().unwrap_or_default();
    let line = line_of(&String::from_utf8_lossy(before));
    let needed =
        "text without it is needed; a file in UTF-16 says so with its first two bytes, or you say so";
    Fault::new(line, "", "the character U+0000", needed).into()
}

/// The line after a text, from 1; carriage return, line feed or both end a line.
fn line_of(before: &str) -> u64 {
    let ends = before.matches('\n').count() + before.matches('\r').count() - before.matches("\r\n").count();
    ends as u64 + 1
}
