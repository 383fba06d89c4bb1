//! The text of a machine's own file, in whatever encoding it stands.

use std::borrow::Cow;

use super::form::Encoding;
use super::mapping::fault;
use super::record::RecordError;

/// The text of a file. What is UTF-8 is taken as such whatever the form says: text of another encoding with letters
/// beyond ASCII practically never is, and a file that went through a program may have become it. What begins with the
/// byte order mark of UTF-16 is that; without one a form says so.
pub(super) fn decoded(bytes: &[u8], encoding: Encoding) -> Result<Cow<'_, str>, RecordError> {
    if let Some((utf_16, rest)) = utf_16(bytes, encoding) {
        return decoded_utf_16(rest, utf_16);
    }
    let text = match (std::str::from_utf8(bytes), encoding) {
        (Ok(text), _) => Cow::Borrowed(text.strip_prefix('\u{feff}').unwrap_or(text)),
        (Err(_), Encoding::Windows1252) => encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0,
        (Err(error), Encoding::Utf8 | Encoding::Utf16Le | Encoding::Utf16Be) => {
            let before = bytes.iter().take(error.valid_up_to()).filter(|byte| **byte == b'\n').count();
            let needed = "text in UTF-8 is needed, or a form that names the file's encoding";
            return Err(fault(before as u64 + 1, None, "bytes that are not UTF-8", needed));
        }
    };
    match text.find('\0') {
        None => Ok(text),
        Some(at) => {
            let before = text.get(..at).unwrap_or_default().matches('\n').count();
            let needed = "text without it is needed; where the file is UTF-16, a record form that says so";
            Err(fault(before as u64 + 1, None, "the character U+0000", needed))
        }
    }
}

/// The order of bytes of a file in UTF-16, with what stands behind its mark; none where it is another encoding. Text of
/// another encoding holds no U+0000, and all but the rarest text in UTF-16 does.
fn utf_16(bytes: &[u8], declared: Encoding) -> Option<(&'static encoding_rs::Encoding, &[u8])> {
    if let Some(rest) = bytes.strip_prefix(&[0xff, 0xfe]) {
        return Some((encoding_rs::UTF_16LE, rest));
    }
    if let Some(rest) = bytes.strip_prefix(&[0xfe, 0xff]) {
        return Some((encoding_rs::UTF_16BE, rest));
    }
    let is_other = !bytes.contains(&0) && std::str::from_utf8(bytes).is_ok();
    match declared {
        Encoding::Utf16Le if !is_other => Some((encoding_rs::UTF_16LE, bytes)),
        Encoding::Utf16Be if !is_other => Some((encoding_rs::UTF_16BE, bytes)),
        _ => None,
    }
}

fn decoded_utf_16(
    bytes: &[u8],
    encoding: &'static encoding_rs::Encoding,
) -> Result<Cow<'static, str>, RecordError> {
    let (text, broken) = encoding.decode_without_bom_handling(bytes);
    let text = text.into_owned();
    let wrong = if broken { '\u{fffd}' } else { '\0' };
    let Some(at) = text.find(wrong) else { return Ok(Cow::Owned(text)) };
    let line = text.get(..at).unwrap_or_default().matches('\n').count() as u64 + 1;
    let (found, needed) = match broken {
        true => {
            ("bytes that are not UTF-16", "text in UTF-16 is needed, or the form's encoding as the file's is")
        }
        false => ("the character U+0000", "text without it is needed"),
    };
    Err(fault(line, None, found, needed))
}

/// A sample as people read it, whatever its encoding.
pub fn readable(bytes: &[u8], declared: Encoding) -> String {
    match (utf_16(bytes, declared), std::str::from_utf8(bytes)) {
        (Some((encoding, rest)), _) => encoding.decode_without_bom_handling(rest).0.into_owned(),
        (None, Ok(text)) => text.to_string(),
        (None, Err(_)) => one_for_each(bytes),
    }
}

/// A text with one character for each byte, whatever they are: windows-1252 knows every byte and takes none for another.
pub fn one_for_each(bytes: &[u8]) -> String {
    encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned()
}
