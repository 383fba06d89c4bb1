//! The rows of a cycle record, each with the line on which it stands.

use super::record::RecordError;

/// Reads row after row. Rows and lines are the same: an empty line between rows and a line break inside a
/// cell are refused, empty lines at the end are not rows.
pub(super) struct Rows<'a> {
    text: &'a [u8],
    reader: csv::Reader<&'a [u8]>,
    row: csv::ByteRecord,
    line: u64,
}

/// The cells of one row, and how many.
pub(super) struct Row<'r>(&'r csv::ByteRecord);

impl<'r> Row<'r> {
    pub(super) fn len(&self) -> usize {
        self.0.len()
    }
}

impl<'r> IntoIterator for Row<'r> {
    type Item = &'r [u8];
    type IntoIter = Cells<'r>;

    fn into_iter(self) -> Cells<'r> {
        Cells { cells: self.0.iter(), left: self.0.len() }
    }
}

/// The cells in order; the last one without the carriage return of the line's end.
pub(super) struct Cells<'r> {
    cells: csv::ByteRecordIter<'r>,
    left: usize,
}

impl<'r> Iterator for Cells<'r> {
    type Item = &'r [u8];

    fn next(&mut self) -> Option<&'r [u8]> {
        let cell = self.cells.next()?;
        self.left = self.left.saturating_sub(1);
        let is_last = self.left == 0;
        Some(if is_last { cell.strip_suffix(b"\r").unwrap_or(cell) } else { cell })
    }
}

impl<'a> Rows<'a> {
    pub(super) fn new(text: &'a [u8]) -> Self {
        let reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            // A carriage return alone ends no line, so that lines are counted as editors count them.
            .terminator(csv::Terminator::Any(b'\n'))
            .from_reader(text);
        Self { text, reader, row: csv::ByteRecord::new(), line: 0 }
    }

    /// The next row and its line, counted from 1; None at the end.
    pub(super) fn next(&mut self) -> Result<Option<(u64, Row<'_>)>, RecordError> {
        let start = usize::try_from(self.reader.position().byte()).unwrap_or(usize::MAX);
        self.line += 1;
        let rest = self.text.get(start..).unwrap_or_default();
        // The reader would pass over empty lines, and lines would be counted wrongly after them.
        if rest.starts_with(b"\n") || rest.starts_with(b"\r\n") {
            if rest.iter().all(|byte| matches!(byte, b'\r' | b'\n')) {
                return Ok(None);
            }
            return Err(RecordError::at(self.line, "an empty line", "a sample on each line is needed"));
        }
        let is_row = self
            .reader
            .read_byte_record(&mut self.row)
            .map_err(|error| RecordError::at(self.line, error.to_string(), "CSV is needed"))?;
        if !is_row {
            return Ok(None);
        }
        if self.row.as_slice().contains(&b'\n') {
            let found = "a cell with a line break, or a quotation mark without its second";
            return Err(RecordError::at(self.line, found, "each sample on one line is needed"));
        }
        Ok(Some((self.line, Row(&self.row))))
    }
}
