//! A table that somebody pasted: a header and rows, with tabs, semicolons or commas between the cells. What is wrong is
//! told by its line, counted as editors count them, and none of it is guessed at.

use std::collections::BTreeMap;

use super::lines::{cells, numbered};

/// More lines than this are a mistake, or an attack.
pub const LINES_MOST: usize = 2_000;
/// A table has at most this many columns.
pub const COLUMNS_MOST: usize = 100;

/// Something in a table that will not do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    pub line: u64,
    /// The column's name in the header; empty where it is the whole line.
    pub column: String,
    pub found: String,
    pub needed: String,
}

impl Fault {
    pub fn new(
        line: u64,
        column: impl Into<String>,
        found: impl Into<String>,
        needed: impl Into<String>,
    ) -> Fault {
        Fault { line, column: column.into(), found: found.into(), needed: needed.into() }
    }
}

/// A row: as many cells as the header has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    pub line: u64,
    pub cells: Vec<String>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    pub header_line: u64,
    pub header: Vec<String>,
    pub rows: Vec<Row>,
    /// What could not be read; its lines are not among the rows.
    pub faults: Vec<Fault>,
}

/// What stands between the cells: what the header has of tab, semicolon and comma, in this order.
fn separator(header: &str) -> char {
    ['\t', ';'].into_iter().find(|it| header.contains(*it)).unwrap_or(',')
}

fn in_words(separator: char) -> &'static str {
    match separator {
        '\t' => "tabs",
        ';' => "semicolons",
        _ => "commas",
    }
}

/// A cell that a spreadsheet would work out (see [`super::sheet::safe`]). A number with its sign is none, nor is a
/// stroke that stands for nothing.
fn is_formula(cell: &str) -> bool {
    let signed = cell.strip_prefix(['-', '+']).unwrap_or(cell).trim_start();
    let number = signed.starts_with(|letter: char| letter.is_ascii_digit())
        && !signed.contains(['=', '+', '*', '/', '(', '!', '|']);
    let nothing = cell.chars().all(|letter| letter == '-');
    let begins = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '＝', '＋', '－', '＠']);
    begins && !nothing && !(cell.starts_with(['-', '+']) && number)
}

/// Reads a table. Blank lines are passed over.
///
/// # Errors
/// Where there is no table: nothing pasted, too much, or a header that cannot be read.
pub fn read(text: &str) -> Result<Table, Fault> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let blank = |line: &str| line.chars().all(|letter| letter.is_whitespace() || matches!(letter, ',' | ';'));
    let mut lines = numbered(text).filter(|(_, line)| !blank(line));
    let Some((header_line, first)) = lines.next() else {
        return Err(Fault::new(1, "", "nothing", "a header and at least one row are needed"));
    };
    let between = separator(first);
    let header = cells(first, between)
        .map_err(|()| Fault::new(header_line, "", "a quotation mark without its second", UNCLOSED))?;
    let mut table = Table {
        header_line,
        header: header.into_iter().map(|cell| cell.into_owned()).collect(),
        ..Table::default()
    };
    if table.header.len() > COLUMNS_MOST {
        let found = format!("{} columns", table.header.len());
        return Err(Fault::new(header_line, "", found, format!("at most {COLUMNS_MOST} are needed")));
    }
    twice(&mut table);
    for (count, (line, text)) in lines.enumerate() {
        if count >= LINES_MOST {
            return Err(Fault::new(
                line,
                "",
                format!("more than {LINES_MOST} rows"),
                "a shorter table is needed",
            ));
        }
        match row(&table, line, text, between) {
            Ok(row) => table.rows.push(row),
            Err(faults) => table.faults.extend(faults),
        }
    }
    Ok(table)
}

const UNCLOSED: &str = "a cell in quotation marks that ends on its line is needed";

/// A column that stands twice: which of the two is meant, nobody can know.
fn twice(table: &mut Table) {
    let mut seen = BTreeMap::new();
    for name in &table.header {
        if *seen.entry(name.to_lowercase()).and_modify(|n| *n += 1).or_insert(1) == 2 && !name.is_empty() {
            let fault =
                Fault::new(table.header_line, name, "this column twice", "each column once is needed");
            table.faults.push(fault);
        }
    }
}

fn row(table: &Table, line: u64, text: &str, between: char) -> Result<Row, Vec<Fault>> {
    let Ok(found) = cells(text, between) else {
        return Err(vec![Fault::new(line, "", "a quotation mark without its second", UNCLOSED)]);
    };
    let mut cells: Vec<String> = found.into_iter().map(|cell| cell.into_owned()).collect();
    let wanted = table.header.len();
    // Spreadsheets leave out what is empty at the end, or write it although the header has no such column.
    while cells.len() > wanted && cells.last().is_some_and(String::is_empty) {
        cells.pop();
    }
    if cells.len() > wanted {
        let found = format!("{} cells with {} between them", cells.len(), in_words(between));
        let hint = if between == ',' {
            "; where a comma stands in a number, put tabs or semicolons between the cells"
        } else {
            ""
        };
        return Err(vec![Fault::new(
            line,
            "",
            found,
            format!("{wanted}, as in the header, are needed{hint}"),
        )]);
    }
    cells.resize(wanted, String::new());
    let formulas = table.header.iter().zip(&cells).filter(|(_, cell)| is_formula(cell));
    let faults: Vec<Fault> = formulas
        .map(|(name, cell)| {
            let found = format!("\"{cell}\", which a spreadsheet works out");
            Fault::new(line, name, found, "its result is needed: copy the table as values")
        })
        .collect();
    if faults.is_empty() { Ok(Row { line, cells }) } else { Err(faults) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(table: &Table) -> Vec<(u64, Vec<&str>)> {
        table.rows.iter().map(|row| (row.line, row.cells.iter().map(String::as_str).collect())).collect()
    }

    #[test]
    fn tables_come_with_tabs_semicolons_or_commas() {
        let tabs = read("\u{feff}model\tname\r\n\r\nb-1\t \"a, b\"\r\n").unwrap();
        assert_eq!(lines(&tabs), [(3, vec!["b-1", "a, b"])]);
        let semicolons = read("model;inner\nb-1;5,0\n;\nb-2\n").unwrap();
        assert_eq!(lines(&semicolons), [(2, vec!["b-1", "5,0"]), (4, vec!["b-2", ""])]);
        assert!(semicolons.faults.is_empty());
        let commas = read("model,inner\nb-1,5.0,,\n").unwrap();
        assert_eq!(lines(&commas), [(2, vec!["b-1", "5.0"])]);
    }

    #[test]
    fn what_cannot_be_read_is_told_by_its_line() {
        let table = read("model,inner,inner\nb-1,5,0,7\nb-2,\"5\nb-3,=1+1,-0.5\nb-4,-,+2\n").unwrap();
        assert_eq!(lines(&table), [(5, vec!["b-4", "-", "+2"])]);
        let told: Vec<_> = table.faults.iter().map(|it| (it.line, it.column.as_str())).collect();
        assert_eq!(told, [(1, "inner"), (2, ""), (3, ""), (4, "inner")]);
        assert!(table.faults[1].needed.contains("semicolons"), "{:?}", table.faults);
        for (formula, is) in [
            ("@SUM(A1)", true),
            ("-2+3", true),
            ("+cmd|' /C calc'!A0", true),
            ("-5", false),
            ("--", false),
            ("=", true),
        ] {
            assert_eq!(is_formula(formula), is, "{formula}");
        }
        assert_eq!(read(" \n\n").unwrap_err().found, "nothing");
        let long = format!("a\n{}", "1\n".repeat(LINES_MOST + 1));
        assert!(read(&long).unwrap_err().found.contains("more than"));
    }
}
