//! The list that a department keeps, as a spreadsheet program saved it: a header and rows of cells, from delimited text
//! or from a workbook. Cells keep what they are (a number, a date), since a serial number that has become a number has
//! lost something, and that is told and not guessed at.

mod charset;
mod delimited;
mod packed;
pub mod value;
mod workbook;

use chrono::NaiveDateTime;

use super::table::Fault;

pub use charset::Charset;

/// A longer file is refused before it is read.
pub const BYTES_MOST: usize = 32 << 20;
/// As many rows as one import takes.
pub const ROWS_MOST: usize = 20_000;
pub const COLUMNS_MOST: usize = 200;
/// A cell holds at most this many characters.
pub const CELL_MOST: usize = 10_000;

/// A name in the header has at most this many.
const NAME_MOST: usize = 200;

/// What stands in a cell.
#[derive(Clone, PartialEq, Debug)]
pub enum Cell {
    Blank,
    Text(String),
    /// A number that a spreadsheet program holds as one. Text of digits is text.
    Number(f64),
    Moment(NaiveDateTime),
    Truth(bool),
    /// A formula whose result was not saved.
    Formula,
    /// An error that the program shows, such as `#N/A`.
    Broken(String),
}

impl Cell {
    pub fn is_blank(&self) -> bool {
        match self {
            Cell::Blank => true,
            Cell::Text(text) => value::clean(text).is_empty(),
            Cell::Number(_) | Cell::Moment(_) | Cell::Truth(_) | Cell::Formula | Cell::Broken(_) => false,
        }
    }

    /// As a person is shown it.
    pub fn shown(&self) -> String {
        match self {
            Cell::Blank => "nothing".into(),
            Cell::Text(text) => format!("\"{}\"", shown(text)),
            Cell::Number(number) => number.to_string(),
            Cell::Moment(moment) => format!("the date {moment}"),
            Cell::Truth(truth) => if *truth { "TRUE" } else { "FALSE" }.into(),
            Cell::Formula => "a formula without its result".into(),
            Cell::Broken(error) => format!("the error {error}"),
        }
    }
}

/// A text as it may stand in a sentence: cut where it is long, and without what nobody sees or what turns a line around.
fn shown(text: &str) -> String {
    const LETTERS: usize = 80;
    let seen = |letter: char| if letter.is_control() && letter != '\n' { '\u{fffd}' } else { letter };
    let plain = text.chars().filter(|letter| !value::is_invisible(*letter));
    let mut out: String = plain.take(LETTERS).map(seen).collect();
    if text.chars().nth(LETTERS).is_some() {
        out.push('…');
    }
    out
}

/// A row with as many cells as the header has.
#[derive(Clone, PartialEq, Debug)]
pub struct Row {
    /// The line of the file, or the row of the sheet, on which it begins.
    pub line: u64,
    pub cells: Vec<Cell>,
}

#[derive(Clone, PartialEq, Debug, Default)]
pub struct Grid {
    pub header_line: u64,
    pub header: Vec<String>,
    pub rows: Vec<Row>,
    /// Rows that could not be read; they are not among the rows.
    pub faults: Vec<Fault>,
    /// What was passed over or taken in some way, in words.
    pub notes: Vec<String>,
}

/// Why a file is no list.
#[derive(Clone, PartialEq, Debug)]
pub enum Refused {
    Fault(Fault),
    /// Its bytes are not UTF-8 and it does not say what they are: somebody must. `suggested` is what reads it.
    WhichCharset {
        suggested: Charset,
    },
}

impl From<Fault> for Refused {
    fn from(fault: Fault) -> Refused {
        Refused::Fault(fault)
    }
}

/// Reads a list. Workbooks are known by their first bytes; everything else is text, in `declared` where that is told.
///
/// # Errors
/// Where the file is none, or nobody knows in which characters it is written.
pub fn read(bytes: &[u8], declared: Option<Charset>) -> Result<Grid, Refused> {
    if bytes.len() > BYTES_MOST {
        let found = format!("{} bytes", bytes.len());
        return Err(
            Fault::new(1, "", found, format!("a file of at most {BYTES_MOST} bytes is needed")).into()
        );
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return Ok(finished(workbook::read(bytes)?)?);
    }
    if bytes.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
        let needed = "a workbook saved as .xlsx is needed, or text (CSV)";
        return Err(
            Fault::new(1, "", "a workbook in the old .xls form, or one with a password", needed).into()
        );
    }
    let text = charset::text(bytes, declared)?;
    Ok(finished(delimited::read(&text)?)?)
}

/// Rows as a file has them, the header first.
struct Raw {
    rows: Vec<Row>,
    faults: Vec<Fault>,
    notes: Vec<String>,
}

fn more_rows(line: u64) -> Fault {
    let needed = format!("at most {ROWS_MOST} rows are needed: divide the list");
    Fault::new(line, "", "more rows", needed)
}

/// Finds the header, and holds every row to it.
fn finished(raw: Raw) -> Result<Grid, Fault> {
    let mut rows = raw.rows.into_iter().filter(|row| row.cells.iter().any(|cell| !cell.is_blank()));
    let first = rows.next();
    // What is wrong before the header is the header itself: no other row stands in for it.
    let line = first.as_ref().map_or(u64::MAX, |first| first.line);
    if let Some(fault) = raw.faults.iter().find(|fault| fault.line <= line) {
        return Err(fault.clone());
    }
    let first =
        first.ok_or_else(|| Fault::new(1, "", "no header", "a first row with names of columns is needed"))?;
    let mut names: Vec<String> = first.cells.iter().map(name).collect();
    while names.last().is_some_and(String::is_empty) {
        names.pop();
    }
    if names.len() > COLUMNS_MOST {
        let found = format!("more than {COLUMNS_MOST} columns");
        return Err(Fault::new(first.line, "", found, format!("at most {COLUMNS_MOST} are needed")));
    }
    for (at, name) in names.iter().enumerate() {
        if name.chars().count() > NAME_MOST {
            let found = format!("\"{}\" as the name of a column", shown(name));
            let needed = format!("at most {NAME_MOST} characters are needed: is this row the header?");
            return Err(Fault::new(first.line, "", found, needed));
        }
        if !name.is_empty() && names.iter().take(at).any(|other| other == name) {
            let needed = "a name for each column is needed: which of the two is meant, nobody can know";
            return Err(Fault::new(first.line, name.clone(), format!("the column {name} twice"), needed));
        }
    }
    let mut grid = Grid {
        header_line: first.line,
        header: names,
        rows: Vec::new(),
        faults: raw.faults,
        notes: raw.notes,
    };
    for row in rows {
        if grid.rows.len() >= ROWS_MOST {
            return Err(more_rows(row.line));
        }
        match held(&grid.header, row) {
            Ok(row) => grid.rows.push(row),
            Err(fault) => grid.faults.push(fault),
        }
    }
    if grid.header.len() == 1 && !grid.faults.is_empty() {
        // A list that has a title above its header.
        let note = "Row {} was read as the header, and has one name. If the names of the columns stand below it, take \
                    away what stands above them.";
        grid.notes.push(note.replace("{}", &grid.header_line.to_string()));
    }
    grid.faults.sort_by_key(|fault| fault.line);
    Ok(grid)
}

fn name(cell: &Cell) -> String {
    match cell {
        Cell::Text(text) => value::clean(text),
        Cell::Blank => String::new(),
        other => other.shown(),
    }
}

/// A row with as many cells as the header has. Blank cells beyond the header are nothing; a row that is too short has
/// lost something, and nobody knows where.
fn held(header: &[String], mut row: Row) -> Result<Row, Fault> {
    let surplus = row.cells.iter().skip(header.len()).any(|cell| !cell.is_blank());
    if surplus || row.cells.len() < header.len() {
        let needed = format!("the wrong number of cells: {} are needed, as the header has", header.len());
        let found = match row.cells.len() {
            many if many > COLUMNS_MOST => format!("more than {COLUMNS_MOST} cells"),
            1 => "1 cell".into(),
            many => format!("{many} cells"),
        };
        return Err(Fault::new(row.line, "", found, needed));
    }
    row.cells.truncate(header.len());
    if let Some(cell) = header.iter().zip(&row.cells).find(|(name, cell)| name.is_empty() && !cell.is_blank())
    {
        let needed = "a name in the header for every column that holds something is needed";
        return Err(Fault::new(
            row.line,
            "",
            format!("{} in a column without a name", cell.1.shown()),
            needed,
        ));
    }
    Ok(row)
}
