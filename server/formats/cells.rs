//! Tables whose cells know what they hold, and the same as comma-separated values.

use chrono::{NaiveDate, NaiveDateTime};

use super::sheet::safe;

/// What a cell holds. A number stays a number, and text is text whatever it looks like.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    Empty,
    Text(String),
    Whole(u64),
    Number(f64),
    /// An amount in hundredths.
    Money(u64),
    Day(NaiveDate),
    Moment(NaiveDateTime),
}

impl Cell {
    pub fn text(text: impl Into<String>) -> Cell {
        let text = text.into();
        if text.is_empty() { Cell::Empty } else { Cell::Text(text) }
    }

    pub fn or_empty<T>(value: Option<T>, cell: fn(T) -> Cell) -> Cell {
        value.map_or(Cell::Empty, cell)
    }

    /// As comma-separated values tell it: days and times as ISO 8601, amounts with a point.
    pub fn plain(&self) -> String {
        match self {
            Cell::Empty => String::new(),
            Cell::Text(text) => safe(text),
            Cell::Whole(number) => number.to_string(),
            Cell::Number(number) if number.is_finite() => number.to_string(),
            Cell::Number(_) => String::new(),
            Cell::Money(cents) => format!("{}.{:02}", cents / 100, cents % 100),
            Cell::Day(day) => day.format("%Y-%m-%d").to_string(),
            Cell::Moment(at) => at.format("%Y-%m-%dT%H:%M:%S").to_string(),
        }
    }
}

/// A column with its name and how many letters wide it stands in a workbook.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    pub name: &'static str,
    pub width: u8,
}

pub const fn column(name: &'static str, width: u8) -> Column {
    Column { name, width }
}

/// A table whose rows come one by one.
pub struct Table<'a> {
    pub name: &'static str,
    pub columns: &'static [Column],
    pub rows: Box<dyn Iterator<Item = Vec<Cell>> + 'a>,
}

/// One table as comma-separated values (RFC 4180).
pub fn csv(table: Table<'_>) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(table.columns.iter().map(|column| column.name))?;
    for row in table.rows {
        writer.write_record(row.iter().map(Cell::plain))?;
    }
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_told_so_that_no_spreadsheet_takes_them_for_a_formula() {
        const COLUMNS: &[Column] =
            &[column("what", 20), column("day", 12), column("cost", 10), column("n", 6)];
        let day = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let row = |text: &str| vec![Cell::text(text), Cell::Day(day), Cell::Money(1205), Cell::Whole(7)];
        let rows = ["=HYPERLINK(\"x\")", "-2+3", "worn, torn"].map(row);
        let table = Table { name: "t", columns: COLUMNS, rows: Box::new(rows.into_iter()) };
        let text = String::from_utf8(csv(table).unwrap()).unwrap();
        let expected = "what,day,cost,n\r\n\"'=HYPERLINK(\"\"x\"\")\",2026-03-02,12.05,7\r\n'-2+3,2026-03-02,12.05,7\r\n\
                        \"worn, torn\",2026-03-02,12.05,7\r\n";
        assert_eq!(text, expected);
        assert_eq!(Cell::Number(f64::NAN).plain(), "");
        assert_eq!((Cell::text(""), Cell::Money(5).plain()), (Cell::Empty, "0.05".into()));
    }
}
