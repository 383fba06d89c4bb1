//! The lines of a cycle record, and the cells on one of them.

use std::borrow::Cow;
use std::io::BufRead;

use super::record::RecordError;

/// The largest record that is read: some million samples.
pub const MOST_MIB: usize = 64;

/// Why lines end.
pub(super) enum Broken<E> {
    /// The source could not be read.
    Source(std::io::Error),
    /// The source has more than [`MOST_MIB`]; the line that was read last.
    TooLarge(u64),
    /// What was done with a line says so.
    Line(E),
}

/// How the source goes on behind a line.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Next {
    Lines,
    /// As bytes, wherever a piece of them ends.
    Bytes,
}

/// Who takes a source.
pub(super) trait Take {
    type Error;

    /// A line, counted from 1, without its end, which is a line feed or a carriage return and a line feed. What follows
    /// the last line feed is a line if it is not empty.
    fn line(&mut self, line: u64, text: &[u8]) -> Result<Next, Self::Error>;

    /// What follows, once bytes are wanted.
    fn bytes(&mut self, piece: &[u8]) -> Result<(), Self::Error>;
}

/// Gives a source to `take` in its order. The source is never held as a whole.
pub(super) fn each<T: Take>(mut source: impl BufRead, take: &mut T) -> Result<(), Broken<T::Error>> {
    let (mut line, mut bytes, mut kept, mut next) = (0, 0, Vec::new(), Next::Lines);
    loop {
        let chunk = match source.fill_buf() {
            Ok(chunk) => chunk,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(Broken::Source(error)),
        };
        let length = chunk.len();
        if length == 0 {
            break;
        }
        bytes += length;
        if bytes > MOST_MIB * 1024 * 1024 {
            return Err(Broken::TooLarge(line + 1));
        }
        let mut rest = chunk;
        while next == Next::Lines
            && let Some(at) = memchr::memchr(b'\n', rest)
        {
            let (text, after) = rest.split_at(at);
            line += 1;
            next = if kept.is_empty() {
                take.line(line, whole(text)).map_err(Broken::Line)?
            } else {
                kept.extend_from_slice(text);
                let next = take.line(line, whole(&kept)).map_err(Broken::Line)?;
                kept.clear();
                next
            };
            rest = after.get(1..).unwrap_or_default();
        }
        match next {
            Next::Lines => kept.extend_from_slice(rest),
            Next::Bytes => take.bytes(rest).map_err(Broken::Line)?,
        }
        source.consume(length);
    }
    if !kept.is_empty() {
        take.line(line + 1, whole(&kept)).map_err(Broken::Line)?;
    }
    Ok(())
}

/// A line without the carriage return at its end.
pub(super) fn whole(line: &[u8]) -> &[u8] {
    line.strip_suffix(b"\r").unwrap_or(line)
}

/// Whether nothing stands on a line.
pub(super) fn is_empty(line: &[u8]) -> bool {
    line.iter().all(|byte| *byte == b'\r')
}

/// What is wrong with a line on which nothing stands, although others follow.
pub(super) fn empty_line(line: u64) -> RecordError {
    RecordError::at(line, "an empty line", "a sample on each line is needed")
}

/// What stood at the beginning of a line, and what stands behind its comma; `None` there where the line ended.
pub(super) type Taken<'t, T> = (T, Option<&'t [u8]>);

/// Takes the cell at the beginning of a line. A cell in quotation marks may hold commas, and a quotation mark as two
/// (RFC 4180).
///
/// # Errors
/// What was found where a quotation mark lacks its second, or has text behind it.
pub(super) fn cell(line: &[u8]) -> Result<Taken<'_, Cow<'_, [u8]>>, &'static str> {
    let Some(quoted) = line.strip_prefix(b"\"") else {
        let end = memchr::memchr(b',', line).unwrap_or(line.len());
        let (cell, rest) = line.split_at(end);
        return Ok((Cow::Borrowed(cell), rest.split_first().map(|(_, next)| next)));
    };
    let (mut text, mut rest) = (Vec::new(), quoted);
    loop {
        let end = memchr::memchr(b'"', rest)
            .ok_or("a quotation mark without its second on the line, or a cell with a line break")?;
        let (part, after) = rest.split_at(end);
        text.extend_from_slice(part);
        match after.get(1) {
            Some(b'"') => text.push(b'"'),
            Some(b',') => return Ok((Cow::Owned(text), after.get(2..))),
            None => return Ok((Cow::Owned(text), None)),
            Some(_) => return Err("text behind the closing quotation mark of a cell"),
        }
        rest = after.get(2..).unwrap_or_default();
    }
}

/// How many cells stand on a line.
pub(super) fn cells_on(line: &[u8]) -> Result<usize, &'static str> {
    let (mut rest, mut cells) = (Some(line), 0);
    while let Some(text) = rest {
        rest = cell(text)?.1;
        cells += 1;
    }
    Ok(cells)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Takes lines until one reads "then bytes".
    #[derive(Default)]
    struct Taker {
        lines: Vec<(u64, String)>,
        bytes: Vec<u8>,
    }

    impl Take for Taker {
        type Error = ();

        fn line(&mut self, line: u64, text: &[u8]) -> Result<Next, ()> {
            self.lines.push((line, String::from_utf8_lossy(text).into_owned()));
            Ok(if text == b"then bytes" { Next::Bytes } else { Next::Lines })
        }

        fn bytes(&mut self, piece: &[u8]) -> Result<(), ()> {
            self.bytes.extend_from_slice(piece);
            Ok(())
        }
    }

    #[test]
    fn lines_are_those_of_an_editor_however_the_bytes_come() {
        let check = |text: &[u8], lines: &[(u64, &str)], bytes: &[u8]| {
            for piece in 1..=text.len() {
                let mut taker = Taker::default();
                assert!(each(std::io::BufReader::with_capacity(piece, text), &mut taker).is_ok());
                let found: Vec<_> = taker.lines.iter().map(|(n, text)| (*n, text.as_str())).collect();
                assert_eq!((found.as_slice(), taker.bytes.as_slice()), (lines, bytes));
            }
        };
        check(b"a\r\nbc\n\nd", &[(1, "a"), (2, "bc"), (3, ""), (4, "d")], b"");
        check(b"a\nthen bytes\r\nb\r\n\nc", &[(1, "a"), (2, "then bytes")], b"b\r\n\nc");
    }

    #[test]
    fn cells_stand_between_commas_and_in_quotation_marks() {
        let check = |line: &str, cells: &[&str]| {
            let (mut rest, mut found) = (Some(line.as_bytes()), vec![]);
            while let Some(text) = rest {
                let (cell, next) = super::cell(text).unwrap();
                found.push(String::from_utf8_lossy(&cell).into_owned());
                rest = next;
            }
            assert_eq!(found, cells, "{line}");
            assert_eq!(cells_on(line.as_bytes()), Ok(cells.len()));
        };
        check("", &[""]);
        check("a,,b,", &["a", "", "b", ""]);
        check("\"134,5\",\"a \"\"b\"\"\",\"\",x\"y", &["134,5", "a \"b\"", "", "x\"y"]);
        for broken in ["\"a", "\"a\"b,c", "\"a\"\""] {
            assert!(cells_on(broken.as_bytes()).is_err(), "{broken}");
        }
    }
}
