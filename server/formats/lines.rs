//! Lines of foreign text with their numbers, and the cells of one line.

use std::borrow::Cow;

/// A line with its number, counted from 1, without its end. What follows the last line's end is no line.
pub(super) fn numbered(text: &str) -> impl Iterator<Item = (u64, &str)> {
    let lines = text.split_inclusive('\n').map(|line| line.strip_suffix('\n').unwrap_or(line));
    (1..).zip(lines.map(|line| line.strip_suffix('\r').unwrap_or(line)))
}

/// The cells of a line, white space around them aside. A cell may stand in quotation marks, and then hold the separator,
/// and a quotation mark as two (RFC 4180); it ends on its line.
///
/// # Errors
/// Where a quotation mark lacks its second.
pub(super) fn cells(line: &str, separator: char) -> Result<Vec<Cow<'_, str>>, ()> {
    let mut found = Vec::new();
    let mut rest = line;
    loop {
        // A tab separates; it is no white space around a cell then.
        let start = rest.trim_start_matches(|c: char| c.is_whitespace() && c != separator);
        let Some(quoted) = start.strip_prefix('"') else {
            match rest.split_once(separator) {
                Some((cell, after)) => {
                    found.push(Cow::Borrowed(cell.trim()));
                    rest = after;
                    continue;
                }
                None => {
                    found.push(Cow::Borrowed(rest.trim()));
                    return Ok(found);
                }
            }
        };
        let end = closing(quoted).ok_or(())?;
        let (inside, after) = quoted.split_at(end);
        let inside = if inside.contains("\"\"") {
            Cow::Owned(inside.replace("\"\"", "\""))
        } else {
            Cow::Borrowed(inside)
        };
        found.push(inside);
        let after = after.get(1..).unwrap_or_default();
        let after = after.trim_start_matches(|c: char| c.is_whitespace() && c != separator);
        match after.strip_prefix(separator) {
            Some(next) => rest = next,
            None if after.is_empty() => return Ok(found),
            None => return Err(()),
        }
    }
}

/// Where the quotation mark stands that closes a cell: one that is not doubled.
fn closing(quoted: &str) -> Option<usize> {
    let mut from = 0;
    loop {
        let at = from + quoted.get(from..)?.find('"')?;
        if quoted.get(at + 1..).is_some_and(|after| after.starts_with('"')) {
            from = at + 2;
        } else {
            return Some(at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_stand_between_separators_and_in_quotation_marks() {
        let check = |line: &str, separator: char, expected: &[&str]| {
            assert_eq!(cells(line, separator).unwrap(), expected, "{line}");
        };
        check("a; b ;;c", ';', &["a", "b", "", "c"]);
        check("a\t\tb", '\t', &["a", "", "b"]);
        check("\"134,5\",\"a \"\"b\"\"\" ,x\"y", ',', &["134,5", "a \"b\"", "x\"y"]);
        check("", ',', &[""]);
        check("\"\",", ',', &["", ""]);
        for broken in ["\"a", "\"a\"b,c", "\"a\"\""] {
            assert!(cells(broken, ',').is_err(), "{broken}");
        }
    }

    #[test]
    fn lines_are_counted_as_editors_count_them() {
        let lines = |text: &'static str| numbered(text).collect::<Vec<_>>();
        assert_eq!(lines("a\r\nb\n"), [(1, "a"), (2, "b")]);
        assert_eq!(lines("a\n\nb"), [(1, "a"), (2, ""), (3, "b")]);
        assert_eq!(lines(""), []);
    }
}
