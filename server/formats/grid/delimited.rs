//! Text with tabs, semicolons or commas between the cells (RFC 4180, and what programs make of it): cells in quotation
//! marks keep separators and line ends.

use super::{CELL_MOST, COLUMNS_MOST, Cell, ROWS_MOST, Raw, Row, more_rows};
use crate::formats::table::Fault;

/// Reads all rows, the header among them.
pub fn read(text: &str) -> Result<Raw, Fault> {
    let (separator, hinted, text) = separator(text);
    let mut reader = Reader { text, at: 0, line: if hinted { 2 } else { 1 }, separator };
    let mut raw = Raw { rows: Vec::new(), faults: Vec::new(), notes: Vec::new() };
    while !reader.is_at_end() {
        let line = reader.line;
        let row = reader.row()?;
        if matches!(&row, Ok(cells) if cells.iter().all(Cell::is_blank)) {
            continue;
        }
        // A short file may hold millions of rows: reading ends where no list goes on. The header is a row, too.
        if raw.rows.len() + raw.faults.len() > ROWS_MOST {
            return Err(more_rows(line));
        }
        match row {
            Ok(cells) => raw.rows.push(Row { line, cells }),
            Err(fault) => raw.faults.push(fault),
        }
    }
    Ok(raw)
}

/// What stands between the cells, whether a first line says so, and the text behind that line.
fn separator(text: &str) -> (u8, bool, &str) {
    if let Some(rest) = text.strip_prefix("sep=") {
        let (hint, after) = rest.split_at(rest.find(['\r', '\n']).unwrap_or(rest.len()));
        if let [separator] = hint.as_bytes() {
            let after =
                after.strip_prefix("\r\n").or_else(|| after.strip_prefix(['\r', '\n'])).unwrap_or(after);
            return (*separator, true, after);
        }
    }
    // What the header has outside quotation marks, in this order: a comma may stand in a name, a tab hardly ever.
    let mut quoted = false;
    let mut held = [false; 3];
    for byte in text.trim_start_matches(['\r', '\n']).bytes() {
        match byte {
            b'"' => quoted = !quoted,
            b'\r' | b'\n' if !quoted => break,
            b'\t' | b';' | b',' if !quoted => {
                let place = [b'\t', b';', b','].iter().position(|own| *own == byte);
                held.iter_mut().enumerate().for_each(|(at, held)| *held |= place == Some(at));
            }
            _ => {}
        }
    }
    let found = held.iter().zip([b'\t', b';', b',']).find(|(held, _)| **held);
    (found.map_or(b',', |(_, separator)| separator), false, text)
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
    line: u64,
    separator: u8,
}

/// What ended a cell.
#[derive(PartialEq)]
enum End {
    Separator,
    Line,
}

impl<'a> Reader<'a> {
    fn is_at_end(&self) -> bool {
        self.at >= self.text.len()
    }

    fn peek(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    /// A row, or what is wrong with it: then the rest of its line is passed over. An error outside is one after which
    /// nothing can be told from anything.
    fn row(&mut self) -> Result<Result<Vec<Cell>, Fault>, Fault> {
        let mut cells = Vec::new();
        let mut wrong: Option<Fault> = None;
        loop {
            let line = self.line;
            let cell = if self.peek() == Some(b'"') { self.quoted()? } else { Ok(self.plain().to_owned()) };
            match cell {
                Ok(text) if text.chars().count() > CELL_MOST => {
                    let found = format!("a cell of {} characters", text.chars().count());
                    wrong.get_or_insert(Fault::new(
                        line,
                        "",
                        found,
                        format!("at most {CELL_MOST} are needed"),
                    ));
                }
                // One cell more than there may be says that there are too many; a million more say no more.
                Ok(_) if cells.len() > COLUMNS_MOST => {}
                Ok(text) if text.is_empty() && cells.len() == COLUMNS_MOST => {}
                Ok(text) if text.is_empty() => cells.push(Cell::Blank),
                Ok(text) => cells.push(Cell::Text(text)),
                Err(fault) => {
                    self.plain();
                    wrong.get_or_insert(fault);
                }
            }
            if self.end() == End::Line {
                return Ok(wrong.map_or(Ok(cells), Err));
            }
        }
    }

    /// A cell without quotation marks at its beginning: up to the separator or the end of the line.
    fn plain(&mut self) -> &'a str {
        let rest = self.text.as_bytes().get(self.at..).unwrap_or_default();
        let ends = |byte: &u8| *byte == self.separator || matches!(byte, b'\r' | b'\n');
        let long = rest.iter().position(ends).unwrap_or(rest.len());
        let cell = self.text.get(self.at..self.at + long).unwrap_or_default();
        self.at += long;
        cell
    }

    /// A cell in quotation marks; two of them stand for one.
    fn quoted(&mut self) -> Result<Result<String, Fault>, Fault> {
        let opened = self.line;
        self.at += 1;
        let mut cell = String::new();
        loop {
            let rest = self.text.get(self.at..).unwrap_or_default();
            let Some(long) = rest.find('"') else {
                let found = format!("a quotation mark opened on line {opened} and never closed");
                return Err(Fault::new(opened, "", found, "a second one at the end of its cell is needed"));
            };
            let piece = rest.get(..long).unwrap_or_default();
            self.line += lines(piece);
            // Whatever ends a line inside a cell, it is one line end.
            cell.push_str(&piece.replace("\r\n", "\n").replace('\r', "\n"));
            self.at += long + 1;
            if self.peek() != Some(b'"') {
                break;
            }
            cell.push('"');
            self.at += 1;
        }
        match self.peek() {
            Some(byte) if byte != self.separator && !matches!(byte, b'\r' | b'\n') => {
                let needed = "the separator or the end of the line is needed there";
                Ok(Err(Fault::new(self.line, "", "text behind a closing quotation mark", needed)))
            }
            _ => Ok(Ok(cell)),
        }
    }

    /// Passes what ended a cell.
    fn end(&mut self) -> End {
        let byte = self.peek();
        self.at += 1;
        match byte {
            Some(byte) if byte == self.separator => return End::Separator,
            Some(b'\r') if self.peek() == Some(b'\n') => self.at += 1,
            _ => {}
        }
        self.line += 1;
        End::Line
    }
}

/// How many lines end in a text: by carriage return, line feed or both.
fn lines(text: &str) -> u64 {
    let bytes = text.as_bytes();
    let before = std::iter::once(&0).chain(bytes);
    let ends = bytes.iter().zip(before).filter(|(byte, before)| match byte {
        b'\r' => true,
        b'\n' => **before != b'\r',
        _ => false,
    });
    ends.count() as u64
}
