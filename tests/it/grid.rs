//! Lists as departments keep them: the same table in every form in which a spreadsheet program saves it, and what such
//! programs do to identifiers, dates and numbers.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::io::{Cursor, Write};

use chrono::NaiveDate;
use fettle::formats::grid::value::{self, DayOrder, DecimalSign, Order};
use fettle::formats::grid::{self, Cell, Charset, Grid, Refused};
use fettle::formats::table::Fault;
use proptest::prelude::*;

mod hostile;

const HEADER: [&str; 5] = ["asset", "serial", "description", "acquired", "place"];
const ROWS: [[&str; 5]; 3] = [
    ["T-17", "00123", "Telescope 30°, 4 mm", "2024-03-01", "Main"],
    ["T-18", "00124", "Says \"new\"", "2024-12-05", "Main; East"],
    ["T-19", "1E5", "Line one\nline two", "", "Åre"],
];

/// The table as text, every cell in quotation marks that needs them.
fn text(separator: char, end: &str, all_quoted: bool) -> String {
    let line = |cells: &[&str]| {
        let cells = cells.iter().map(|cell| {
            let needs = all_quoted || cell.contains([separator, '"', '\n']);
            let cell = cell.replace('"', "\"\"").replace('\n', end);
            if needs { format!("\"{cell}\"") } else { cell }
        });
        cells.collect::<Vec<_>>().join(&separator.to_string())
    };
    let lines = [&HEADER[..]].into_iter().chain(ROWS.iter().map(|row| &row[..]));
    lines.map(|cells| line(cells) + end).collect()
}

fn is_the_table(grid: &Grid, form: &str) {
    assert_eq!(
        (&grid.faults, grid.header.as_slice()),
        (&vec![], HEADER.map(String::from).as_slice()),
        "{form}"
    );
    let found: Vec<Vec<String>> = grid
        .rows
        .iter()
        .map(|row| row.cells.iter().map(|cell| value::text(cell).unwrap().unwrap_or_default()).collect())
        .collect();
    assert_eq!(found, ROWS.map(|row| row.map(String::from).to_vec()), "{form}");
}

#[test]
fn one_table_reads_the_same_in_every_form() {
    let utf_16 = |text: &str| -> Vec<u8> {
        "\u{feff}".encode_utf16().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect()
    };
    for separator in [',', ';', '\t'] {
        for end in ["\r\n", "\n", "\r"] {
            let plain = text(separator, end, false);
            for (form, bytes, declared) in [
                ("plain", plain.clone().into_bytes(), None),
                ("quoted", text(separator, end, true).into_bytes(), None),
                ("marked", format!("\u{feff}{plain}").into_bytes(), None),
                ("UTF-16", utf_16(&plain), None),
                (
                    "Windows-1252",
                    encoding_rs::WINDOWS_1252.encode(&plain).0.into_owned(),
                    Some(Charset::Windows1252),
                ),
                ("no last line end", plain.trim_end().as_bytes().to_vec(), None),
                ("a hint", format!("sep={separator}{end}{plain}").into_bytes(), None),
                (
                    "blank rows",
                    format!("{plain}{}{end}{end}", separator.to_string().repeat(4)).into_bytes(),
                    None,
                ),
            ] {
                let form = format!("{form} {separator:?} {end:?}");
                is_the_table(
                    &grid::read(&bytes, declared).unwrap_or_else(|why| panic!("{form}: {why:?}")),
                    &form,
                );
            }
        }
    }
    // Without a word about its characters it is asked about, with what would read it.
    let bytes = encoding_rs::WINDOWS_1252.encode(&text(';', "\r\n", false)).0.into_owned();
    assert_eq!(grid::read(&bytes, None), Err(Refused::WhichCharset { suggested: Charset::Windows1252 }));
}

fn fault(text: &str) -> Fault {
    match grid::read(text.as_bytes(), None) {
        Ok(grid) => grid.faults.first().cloned().unwrap_or_else(|| panic!("{text}: {grid:?}")),
        Err(Refused::Fault(fault)) => fault,
        Err(other) => panic!("{text}: {other:?}"),
    }
}

#[test]
fn what_is_no_list_is_told_by_its_line() {
    for (text, line, found) in [
        ("", 1, "no header"),
        ("\n , ,\n", 1, "no header"),
        ("a,b,b\n1,2,3\n", 1, "the column b twice"),
        ("a,b\n1,\"2\n3,4\n", 2, "opened on line 2 and never closed"),
        ("a,b\n\"1\n2\",3\n4\n", 4, "1 cell"),
        ("a,\"b\"x\nc,d\n", 1, "behind a closing quotation mark"),
        ("\"a\"x\n", 1, "behind a closing quotation mark"),
        ("a,b\n1,2,3\n", 2, "3 cells"),
        ("a,b\n1,\"2\"x\n", 2, "behind a closing quotation mark"),
        ("a,,c\n1,2,3\n", 2, "without a name"),
        ("a,b\n1,\0\n", 2, "U+0000"),
        ("PK\u{3}\u{4}not a workbook", 1, "a broken workbook"),
    ] {
        let fault = fault(text);
        assert_eq!(fault.line, line, "{text:?}: {fault:?}");
        assert!(fault.found.contains(found), "{text:?}: {fault:?}");
        assert!(!fault.needed.is_empty(), "{text:?}");
    }
    // A fault takes its own row away and no other.
    let grid = grid::read(b"a,b\n1\n2,3\n", None).unwrap();
    assert_eq!((grid.rows.len(), grid.rows[0].line, grid.faults.len()), (1, 3, 1));
    assert!(grid::read(b"a,b\n", None).unwrap().rows.is_empty());
}

fn as_text(text: &str) -> Cell {
    Cell::Text(text.into())
}

#[test]
fn identifiers_are_text_or_refused() {
    let identifier = |cell: Cell| value::identifier(&cell);
    for (cell, wanted, odd) in [
        (as_text("00123"), "00123", false),
        (as_text("1E5"), "1E5", false),
        (as_text("\u{a0}T-17\u{200b} "), "T-17", false),
        (as_text("T\u{2011}17"), "T\u{2011}17", true),
        (Cell::Number(124.0), "124", true),
        (as_text("=1+1"), "=1+1", false),
    ] {
        let read = identifier(cell).unwrap().unwrap();
        assert_eq!((read.value.as_str(), read.warning.is_some()), (wanted, odd));
    }
    for cell in [
        as_text("9.52123E+12"),
        as_text("9,52E+12"),
        as_text("9E+12"),
        as_text("9.5e+12"),
        Cell::Number(9.52123e15),
        Cell::Number(1.5),
        Cell::Moment(NaiveDate::from_ymd_opt(2024, 3, 1).unwrap().and_hms_opt(0, 0, 0).unwrap()),
        Cell::Truth(true),
        Cell::Formula,
        Cell::Broken("#N/A".into()),
    ] {
        let why = identifier(cell.clone()).unwrap_err();
        assert!(why.needed.contains("identifier") && why.found == cell.shown(), "{cell:?}: {why:?}");
    }
    assert_eq!(identifier(as_text("\u{200b} ")).unwrap(), None);
}

#[test]
fn days_are_asked_about_and_not_guessed() {
    let column = |texts: &[&str]| {
        let cells: Vec<Cell> = texts.iter().map(|text| as_text(text)).collect();
        value::order(cells.iter())
    };
    assert_eq!(column(&["2024-03-01", ""]), Order::Plain);
    assert_eq!(column(&["03/04/2024", "13/04/2024"]), Order::Proven(DayOrder::DayFirst));
    assert_eq!(column(&["03/04/2024", "04/13/2024"]), Order::Proven(DayOrder::MonthFirst));
    assert_eq!(column(&["03/04/2024"]), Order::Ambiguous);
    assert_eq!(column(&["05.05.2024"]), Order::Plain);
    assert_eq!(column(&["13/04/2024", "04/13/2024"]), Order::Contradicting);
    let day = |text: &str, order| value::day(&as_text(text), order).map(|day| day.map(|day| day.to_string()));
    for (text, order, wanted) in [
        ("05.12.2024", Some(DayOrder::DayFirst), "2024-12-05"),
        ("05.12.2024", Some(DayOrder::MonthFirst), "2024-05-12"),
        ("13/4/2024", None, "2024-04-13"),
        ("2024-02-29", None, "2024-02-29"),
        ("2024-02-29 13:05", None, "2024-02-29"),
    ] {
        assert_eq!(day(text, order).unwrap().as_deref(), Some(wanted), "{text}");
    }
    for (text, order, needed) in [
        ("05.12.2024", None, "which comes first"),
        ("30.02.2024", Some(DayOrder::DayFirst), "that exists"),
        ("2023-02-29", None, "that exists"),
        ("1/2/24", Some(DayOrder::DayFirst), "four digits of the year"),
        ("yesterday", None, "four digits of the year"),
    ] {
        assert!(day(text, order).unwrap_err().needed.contains(needed), "{text}");
    }
    assert!(value::day(&Cell::Number(45_352.0), None).unwrap_err().needed.contains("format the column"));
}

#[test]
fn numbers_keep_what_was_written() {
    let decimal = |text: &str, sign| value::decimal(&as_text(text), sign);
    for (text, sign, wanted) in [
        ("4,0", None, "4.0"),
        ("4.0", None, "4.0"),
        ("4,000", Some(DecimalSign::Comma), "4.000"),
        ("-0,5", None, "-0.5"),
        ("12", Some(DecimalSign::Point), "12"),
    ] {
        assert_eq!(decimal(text, sign).unwrap().as_deref(), Some(wanted), "{text}");
    }
    for (text, sign) in [
        ("1,234", None),
        ("4,0", Some(DecimalSign::Point)),
        ("1.234,5", Some(DecimalSign::Comma)),
        ("4 mm", None),
        (".5", None),
        ("1e3", None),
        ("٣", None),
    ] {
        assert!(decimal(text, sign).is_err(), "{text}");
    }
    assert_eq!(value::whole(&as_text("212")), Ok(Some(212)));
    for cell in [
        as_text("-1"),
        as_text("1.5"),
        as_text("99999999999999999999"),
        Cell::Number(1.5),
        Cell::Number(1e16),
    ] {
        assert!(value::whole(&cell).is_err(), "{cell:?}");
    }
}

/// A zip archive of one part that unpacks to very much, and one with a cell at the end of the largest sheet.
#[test]
fn a_workbook_costs_what_stands_in_it() {
    let archive = |parts: &[(&str, &[u8])]| {
        let mut out = zip::ZipWriter::new(Cursor::new(Vec::new()));
        for (name, bytes) in parts {
            out.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
            out.write_all(bytes).unwrap();
        }
        out.finish().unwrap().into_inner()
    };
    let bomb = archive(&[("xl/worksheets/sheet1.xml", &vec![b' '; 300 << 20])]);
    assert!(bomb.len() < 1 << 20);
    let Err(Refused::Fault(fault)) = grid::read(&bomb, None) else { panic!("it was read") };
    assert!(fault.found.contains("unpacks to more than"), "{fault:?}");
    let far = archive(&[
        ("[Content_Types].xml", br#"<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>"#),
        ("_rels/.rels", br#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="a" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#),
        ("xl/workbook.xml", br#"<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><workbookPr date1904="1"/><sheets><sheet name="Hidden" sheetId="2" state="hidden" r:id="b"/><sheet name="Parts" sheetId="1" r:id="b"/></sheets></workbook>"#),
        ("xl/_rels/workbook.xml.rels", br#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="b" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#),
        ("xl/styles.xml", br#"<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><cellXfs><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>"#),
        ("xl/worksheets/sheet1.xml", br#"<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>asset</t></is></c><c r="B1" t="inlineStr"><is><t>acquired</t></is></c></row><row r="3"><c r="A3"><f>1+1</f></c><c r="B3" s="1"><v>43890</v></c></row><row r="1048576"><c r="A1048576" t="inlineStr"><is><t>T-1</t></is></c><c r="XFD1048576"><v>1</v></c></row></sheetData></worksheet>"#),
    ]);
    let grid = grid::read(&far, None).unwrap();
    assert_eq!(grid.header, ["asset", "acquired"]);
    assert_eq!(grid.rows[0].cells[0], Cell::Formula);
    // Day 43,890 of the calendar that begins in 1904 (ECMA-376, part 1, 18.17.4.1).
    assert_eq!(value::day(&grid.rows[0].cells[1], None), Ok(NaiveDate::from_ymd_opt(2024, 3, 1)));
    assert_eq!((grid.rows[1].line, grid.faults.len()), (1_048_576, 1));
    assert!(grid.notes.iter().any(|note| note.contains("passed over")), "{:?}", grid.notes);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..300), start in 0usize..4) {
        let start: &[u8] = [&b""[..], b"PK\x03\x04", b"sep=;\n", b"\xff\xfe"][start];
        let bytes = [start, &bytes].concat();
        for declared in [None].into_iter().chain(Charset::ALL.map(Some)) {
            if let Ok(grid) = grid::read(&bytes, declared) {
                for cell in grid.rows.iter().flat_map(|row| &row.cells) {
                    let _ = (value::identifier(cell), value::text(cell), value::whole(cell));
                    let _ = (value::decimal(cell, None), value::day(cell, None));
                }
                prop_assert!(grid.rows.iter().all(|row| row.cells.len() == grid.header.len()));
            }
        }
    }

    /// What a library for such files writes is read as it was meant.
    #[test]
    fn what_a_library_writes_is_read(
        rows in prop::collection::vec(prop::collection::vec("[a-zåÅ\",;\t\r\n =+]{0,8}", 3), 1..6),
        separator in prop::sample::select(vec![b',', b';', b'\t']),
    ) {
        let mut builder = csv::WriterBuilder::new();
        builder.delimiter(separator).quote_style(csv::QuoteStyle::Always).terminator(csv::Terminator::CRLF);
        let mut writer = builder.from_writer(Vec::new());
        writer.write_record(["one", "two", "three"]).unwrap();
        for row in &rows {
            writer.write_record(row).unwrap();
        }
        let grid = grid::read(&writer.into_inner().unwrap(), None).unwrap();
        let one = |text: &str| text.replace("\r\n", "\n").replace('\r', "\n");
        let meant: Vec<Vec<String>> = rows
            .iter()
            .filter(|row| row.iter().any(|cell| !value::clean(cell).is_empty()))
            .map(|row| row.iter().map(|cell| one(cell)).collect())
            .collect();
        let found: Vec<Vec<String>> = grid.rows.iter().map(|row| row.cells.iter().map(|cell| match cell {
            Cell::Text(text) => text.clone(),
            _ => String::new(),
        }).collect()).collect();
        prop_assert_eq!(found, meant);
    }
}
