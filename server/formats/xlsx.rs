//! Workbooks: a table on a sheet of its own, written row by row, so that memory does not grow with the rows.

use rust_xlsxwriter::{DocProperties, Format, FormatAlign, FormatBorder, Workbook, Worksheet, XlsxError};

use super::cells::{Cell, Table};

/// What stands on every printed page of the book.
pub struct Head {
    pub title: String,
    /// Site, time and ledger position.
    pub shown: String,
}

/// A cell holds no more letters than this (ECMA-376 leaves it open; spreadsheets in use stop here).
const LETTERS: usize = 32_767;

struct Looks {
    head: Format,
    day: Format,
    moment: Format,
    money: Format,
    plain: Format,
}

/// The tables as one workbook.
pub fn book(tables: Vec<Table<'_>>, head: &Head) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    book.set_properties(&DocProperties::new().set_title(&head.title).set_subject(&head.shown));
    let looks = Looks {
        head: Format::new()
            .set_bold()
            .set_border_bottom(FormatBorder::Medium)
            .set_align(FormatAlign::Top)
            .set_text_wrap(),
        day: Format::new().set_num_format("yyyy-mm-dd"),
        moment: Format::new().set_num_format("yyyy-mm-dd hh:mm"),
        money: Format::new().set_num_format("#,##0.00"),
        plain: Format::new(),
    };
    for table in tables {
        let sheet = book.add_worksheet_with_constant_memory();
        one(sheet?, table, &looks, head)?;
    }
    book.save_to_buffer()
}

fn one(sheet: &mut Worksheet, table: Table<'_>, looks: &Looks, head: &Head) -> Result<(), XlsxError> {
    sheet.set_name(table.name)?;
    sheet.set_freeze_panes(1, 0)?;
    sheet.set_repeat_rows(0, 0)?;
    sheet.set_landscape();
    // A4; a printer with Letter fits the page to its width.
    sheet.set_paper_size(9);
    sheet.set_print_fit_to_pages(1, 0);
    let shown = head.shown.replace('&', "&&");
    sheet.set_footer(format!("&L{shown}&RPage &P of &N"));
    for (place, column) in table.columns.iter().enumerate() {
        sheet.set_column_width(place as u16, column.width)?;
    }
    for (place, column) in table.columns.iter().enumerate() {
        sheet.write_string_with_format(0, place as u16, column.name, &looks.head)?;
    }
    for (number, row) in table.rows.enumerate() {
        let number = u32::try_from(number + 1).map_err(|_| XlsxError::RowColumnLimitError)?;
        for (place, cell) in row.iter().enumerate() {
            put(sheet, (number, place as u16), cell, looks)?;
        }
    }
    Ok(())
}

fn put(sheet: &mut Worksheet, (row, place): (u32, u16), cell: &Cell, looks: &Looks) -> Result<(), XlsxError> {
    let number = |sheet: &mut Worksheet, number: f64, look: &Format| {
        sheet.write_number_with_format(row, place, number, look).map(|_| ())
    };
    match cell {
        Cell::Empty => Ok(()),
        Cell::Text(text) => {
            let text: String = text.chars().take(LETTERS).collect();
            sheet.write_string(row, place, text).map(|_| ())
        }
        Cell::Whole(whole) => number(sheet, *whole as f64, &looks.plain),
        Cell::Number(found) if found.is_finite() => number(sheet, *found, &looks.plain),
        Cell::Number(_) => Ok(()),
        Cell::Money(cents) => number(sheet, *cents as f64 / 100.0, &looks.money),
        Cell::Day(day) => sheet.write_datetime_with_format(row, place, day, &looks.day).map(|_| ()),
        Cell::Moment(at) => sheet.write_datetime_with_format(row, place, at, &looks.moment).map(|_| ()),
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use calamine::{Data, Reader, Xlsx};
    use chrono::NaiveDate;

    use super::super::cells::{Column, column};
    use super::*;

    const COLUMNS: &[Column] = &[
        column("what", 20),
        column("day", 12),
        column("when", 17),
        column("cost", 10),
        column("cycles", 8),
        column("share", 8),
    ];

    fn rows() -> Vec<Vec<Cell>> {
        let day = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let row = |text: &str, number: f64| {
            let at = day.and_hms_opt(7, 15, 0).unwrap();
            vec![
                Cell::text(text),
                Cell::Day(day),
                Cell::Moment(at),
                Cell::Money(120_550),
                Cell::Whole(164),
                Cell::Number(number),
            ]
        };
        vec![
            row("=1+1", 0.25),
            row("@SUM(A1)", f64::NAN),
            row("<torn> & \u{1}\"worn\"", f64::INFINITY),
            row(&"x".repeat(40_000), -1.5),
        ]
    }

    fn head() -> Head {
        Head { title: "Wear".into(), shown: "Airway & suite, entry 7".into() }
    }

    fn opened(tables: Vec<Table<'_>>) -> Xlsx<Cursor<Vec<u8>>> {
        Xlsx::new(Cursor::new(book(tables, &head()).unwrap())).unwrap()
    }

    #[test]
    fn a_book_read_back_holds_numbers_days_and_text_that_is_no_formula() {
        let table = |name| Table { name, columns: COLUMNS, rows: Box::new(rows().into_iter()) };
        let mut book = opened(vec![table("Retired"), table("Repairs")]);
        assert_eq!(book.sheet_names(), ["Retired", "Repairs"]);
        let sheet = book.worksheet_range("Repairs").unwrap();
        let cell = |row, place| sheet.get_value((row, place)).cloned().unwrap_or_default();
        assert_eq!(cell(0, 4), Data::String("cycles".into()));
        assert_eq!(cell(1, 0), Data::String("=1+1".into()));
        assert_eq!(cell(2, 0), Data::String("@SUM(A1)".into()));
        assert_eq!(
            (cell(1, 3), cell(1, 4), cell(1, 5)),
            (Data::Float(1205.5), Data::Float(164.0), Data::Float(0.25))
        );
        // 2026-03-02 is day 46083 of the serial count that begins with 1900, which has a 29 February in it.
        let Data::DateTime(day) = cell(1, 1) else { panic!("{:?}", cell(1, 1)) };
        assert_eq!(day.as_f64(), 46_083.0);
        let Data::DateTime(at) = cell(1, 2) else { panic!("{:?}", cell(1, 2)) };
        assert!((at.as_f64() - (46_083.0 + 7.25 / 24.0)).abs() < 1e-9);
        assert_eq!((cell(2, 5), cell(3, 5)), (Data::Empty, Data::Empty), "what is no number stays empty");
        assert!(cell(3, 0).to_string().starts_with("<torn> & "), "{:?}", cell(3, 0));
        assert_eq!(cell(4, 0).to_string().len(), LETTERS);
        let formulas = book.worksheet_formula("Repairs").unwrap();
        assert!(formulas.cells().all(|(.., formula)| formula.is_empty()));
    }

    #[test]
    fn an_empty_table_has_its_head() {
        let empty = Table { name: "Failures", columns: COLUMNS, rows: Box::new(std::iter::empty()) };
        let sheet = opened(vec![empty]).worksheet_range("Failures").unwrap();
        assert_eq!(sheet.height(), 1);
    }

    #[test]
    fn the_head_stays_in_sight_and_every_page_says_which_it_is() {
        let table = Table { name: "Retired", columns: COLUMNS, rows: Box::new(rows().into_iter()) };
        let bytes = book(vec![table], &head()).unwrap();
        let mut parts = zip_entries(&bytes);
        let sheet = parts.remove("xl/worksheets/sheet1.xml").unwrap();
        assert!(
            sheet.contains(r#"<pane ySplit="1" topLeftCell="A2""#) && sheet.contains("state=\"frozen\""),
            "{sheet}"
        );
        assert!(
            sheet.contains("Page &amp;P of &amp;N") && sheet.contains("Airway &amp;&amp; suite"),
            "{sheet}"
        );
        assert!(!sheet.contains("<f>"));
    }

    /// The parts of the file as text, read by a program of its own.
    fn zip_entries(bytes: &[u8]) -> std::collections::BTreeMap<String, String> {
        let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
        let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
        names
            .into_iter()
            .map(|name| {
                let mut text = String::new();
                std::io::Read::read_to_string(&mut archive.by_name(&name).unwrap(), &mut text).unwrap();
                (name, text)
            })
            .collect()
    }
}
