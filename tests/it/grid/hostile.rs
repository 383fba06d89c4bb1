//! Files that are made to do harm: small ones of which much would become, and workbooks that promise more than they hold.

use std::io::{Cursor, Write};

use fettle::formats::grid::{self, COLUMNS_MOST, Cell, ROWS_MOST, Refused};
use fettle::formats::table::Fault;

const SHEETS: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
const OFFICE: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
const PACKAGE: &str = "http://schemas.openxmlformats.org/package/2006/relationships";

fn archive(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut out = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        out.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        out.write_all(bytes).unwrap();
    }
    out.finish().unwrap().into_inner()
}

/// A workbook of one sheet (ECMA-376) with these rows, and with these parts beside it.
fn book(rows: &str, beside: &[(&str, &[u8])]) -> Vec<u8> {
    let types = "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"/>";
    let related = |kind: &str, to: &str| {
        format!(
            "<Relationships xmlns=\"{PACKAGE}\"><Relationship Id=\"a\" Type=\"{OFFICE}/{kind}\" Target=\"{to}\"/></Relationships>"
        )
    };
    let (root, own) =
        (related("officeDocument", "xl/workbook.xml"), related("worksheet", "worksheets/sheet1.xml"));
    let workbook = format!(
        "<workbook xmlns=\"{SHEETS}\" xmlns:r=\"{OFFICE}\"><sheets><sheet name=\"Parts\" sheetId=\"1\" r:id=\"a\"/></sheets></workbook>"
    );
    let header = format!("<row r=\"1\">{}{}</row>", cell("A1", "asset"), cell("B1", "serial"));
    let sheet = format!("<worksheet xmlns=\"{SHEETS}\"><sheetData>{header}{rows}</sheetData></worksheet>");
    let mut parts: Vec<(&str, &[u8])> = vec![
        ("[Content_Types].xml", types.as_bytes()),
        ("_rels/.rels", root.as_bytes()),
        ("xl/workbook.xml", workbook.as_bytes()),
        ("xl/_rels/workbook.xml.rels", own.as_bytes()),
        ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
    ];
    parts.extend(beside);
    archive(&parts)
}

fn cell(place: &str, text: &str) -> String {
    format!("<c r=\"{place}\" t=\"inlineStr\"><is><t>{text}</t></is></c>")
}

fn row(line: u64, cells: &[(&str, &str)]) -> String {
    let cells: String = cells.iter().map(|(place, text)| cell(&format!("{place}{line}"), text)).collect();
    format!("<row r=\"{line}\">{cells}</row>")
}

fn fault(bytes: &[u8]) -> Fault {
    match grid::read(bytes, None) {
        Err(Refused::Fault(fault)) => fault,
        other => panic!("{:?}", other.map(|grid| grid.rows.len())),
    }
}

/// Readers make room at once for as many texts as a workbook says that it has, and for the number that a formula calls
/// itself by: four thousand million end the program, which no handler of errors sees.
#[test]
fn a_workbook_that_promises_more_than_it_holds_is_refused() {
    for count in ["4000000000", " 4000000000", "+4000000000", "99999999999999999999"] {
        for attribute in [format!("uniqueCount=\"{count}\""), format!("uniqueCount = '{count}'")] {
            let texts = format!("<sst xmlns=\"{SHEETS}\" {attribute}><si><t>a</t></si></sst>");
            let fault = fault(&book("", &[("xl/sharedStrings.xml", texts.as_bytes())]));
            assert!(fault.found.contains("promises"), "{attribute}: {fault:?}");
            // The same in another writing of its name, which readers find as well.
            let bytes = book("", &[("xl/SharedStrings.XML", texts.as_bytes())]);
            assert!(matches!(grid::read(&bytes, None), Err(Refused::Fault(_))), "{attribute}");
        }
    }
    let texts = format!("<sst xmlns=\"{SHEETS}\" count=\"2\" uniqueCount=\"1\"><si><t>T-1</t></si></sst>");
    let rows = "<row r=\"2\"><c r=\"A2\" t=\"s\"><v>0</v></c></row>";
    let grid = grid::read(&book(rows, &[("xl/sharedStrings.xml", texts.as_bytes())]), None).unwrap();
    assert_eq!(grid.rows[0].cells[0], Cell::Text("T-1".into()));
    let shared =
        "<row r=\"2\"><c r=\"A2\"><f t=\"shared\" si=\"4000000000\" ref=\"A2:A3\">B2</f><v>7</v></c></row>";
    let grid = grid::read(&book(shared, &[]), None).unwrap();
    assert_eq!(grid.rows[0].cells[0], Cell::Number(7.0));
}

#[test]
fn a_workbook_that_is_not_as_it_should_be_is_refused_in_words() {
    let looks =
        format!("<styleSheet xmlns=\"{SHEETS}\"><cellXfs>{}</cellXfs></styleSheet>", "<xf/>".repeat(2 << 20));
    for (bytes, found) in [
        // A place far beyond every sheet.
        (book(&row(2, &[("AAAAAAAAAAAAAA", "T-1")]), &[]), "cannot be read"),
        (book("<row r=\"2\"><c r=\"A99999999999\"><v>1</v></c></row>", &[]), "cannot be read"),
        (book(&(row(3, &[("A", "T-3")]) + &row(2, &[("A", "T-2")])), &[]), "row 2 behind row 3"),
        (book(&row(2, &[("A", "T-1"), ("A", "T-2")]), &[]), "a cell in column 1 behind those that follow it"),
        (book(&row(2, &[("B", "1"), ("A", "T-1")]), &[]), "a cell in column 1 behind those that follow it"),
        (book("", &[("xl/styles.xml", looks.as_bytes())]), "of which a part unpacks to more than 8 MiB"),
        (book("", &[("xl/media/a.bin", &vec![0; 33 << 20])]), "of which a part unpacks to more than 32 MiB"),
    ] {
        let fault = fault(&bytes);
        assert!(fault.found.contains(found) && !fault.needed.is_empty(), "{found}: {fault:?}");
    }
    // One fault for a row, however many of its cells lie beyond.
    let far: String = (0..1_000).map(|_| "<c r=\"ZZ2\"><v>1</v></c>").collect();
    let grid = grid::read(&book(&format!("<row r=\"2\">{far}</row>"), &[]), None).unwrap();
    assert_eq!(grid.faults.len(), 1);
}

/// A file of a few megabytes may hold millions of rows, cells and faults: reading ends where no list goes on, so that what
/// is kept is what a list may have.
#[test]
fn a_small_file_of_very_many_rows_costs_little() {
    let head = "asset,model,serial\n";
    for rows in ["a\n", "\"a\"b\n", "a,b,c\n", "a,b,c,d\n"] {
        let fault = fault(format!("{head}{}", rows.repeat(100_000)).as_bytes());
        assert_eq!((fault.found.as_str(), fault.line), ("more rows", ROWS_MOST as u64 + 2), "{rows:?}");
    }
    // Blank rows are none, however many.
    for blank in ["\n", "\r", "\r\n", ",,\n", " , ,\n"] {
        let text = format!("{head}{}a,b,c\n", blank.repeat(100_000));
        let grid = grid::read(text.as_bytes(), None).unwrap();
        assert_eq!((grid.rows.len(), grid.faults.len()), (1, 0), "{blank:?}");
        assert_eq!(grid.rows[0].line, 100_002);
    }
    let grid = grid::read(format!("{head}a,b,c{}\n", ",".repeat(1_000_000)).as_bytes(), None).unwrap();
    assert_eq!(
        (grid.rows[0].cells.len(), grid.faults.len()),
        (3, 0),
        "blank cells beyond the header are nothing"
    );
    let grid = grid::read(format!("{head}a,b,c{}x\n", ",".repeat(1_000_000)).as_bytes(), None).unwrap();
    assert!(grid.faults[0].found.contains("more than 200 cells"), "{:?}", grid.faults);
    let names: Vec<String> = (0..1_000_000).map(|n| format!("c{n}")).collect();
    assert!(fault(names.join(",").as_bytes()).found.contains("more than 200 columns"));
    let names: Vec<String> = (0..COLUMNS_MOST).map(|n| format!("c{n}")).collect();
    assert_eq!(grid::read(names.join(",").as_bytes(), None).unwrap().header.len(), COLUMNS_MOST);
}

/// Programs put an empty row before the header: which sign divides the cells is seen in the header all the same.
#[test]
fn the_separator_is_found_behind_empty_rows() {
    for text in ["\r\n\r\nasset;serial\r\nT-1;7\r\n", "\nasset;serial\nT-1;7\n"] {
        let grid = grid::read(text.as_bytes(), None).unwrap();
        assert_eq!(grid.header, ["asset", "serial"], "{text:?}");
    }
}

#[test]
fn a_title_above_the_header_is_pointed_at() {
    let grid = grid::read(b"Inventory of the house,,\nasset,model,serial\nT-1,cap,7\n", None).unwrap();
    assert!(
        grid.notes.iter().any(|note| note.contains("take away what stands above them")),
        "{:?}",
        grid.notes
    );
    assert!(grid::read(b"asset\nT-1\n", None).unwrap().notes.is_empty());
}
