//! A workbook (ECMA-376, `.xlsx`): the first sheet that is shown. Cells are read one after the other, so that a sheet
//! whose last cell lies a million rows down costs nothing; what it unpacks to is measured before anything is read.

use std::io::{Cursor, Read};

use calamine::{DataRef, Reader, SheetType, SheetVisible, Xlsx};

use super::{CELL_MOST, COLUMNS_MOST, Cell, ROWS_MOST, Raw, Row};
use crate::formats::table::Fault;

/// What a workbook may unpack to.
const UNPACKED_MOST: u64 = 256 << 20;
const PARTS_MOST: usize = 1_000;

/// Reads the rows of the first sheet that is shown.
pub fn read(bytes: &[u8]) -> Result<Raw, Fault> {
    bounded(bytes)?;
    let broken = |error: &dyn std::fmt::Display| {
        Fault::new(
            1,
            "",
            format!("a workbook that cannot be read ({error})"),
            "a workbook saved as .xlsx is needed",
        )
    };
    let mut book = Xlsx::new(Cursor::new(bytes)).map_err(|error| broken(&error))?;
    let sheets: Vec<_> = book
        .sheets_metadata()
        .iter()
        .filter(|sheet| sheet.typ == SheetType::WorkSheet && sheet.visible == SheetVisible::Visible)
        .map(|sheet| sheet.name.clone())
        .collect();
    let Some(name) = sheets.first() else {
        return Err(Fault::new(
            1,
            "",
            "a workbook without a sheet that is shown",
            "a sheet with a list is needed",
        ));
    };
    let mut raw =
        Raw { rows: Vec::new(), faults: Vec::new(), notes: vec![format!("The sheet \"{name}\" was read.")] };
    let others =
        book.sheets_metadata().iter().filter(|sheet| sheet.name != *name).map(|sheet| match sheet.visible {
            SheetVisible::Visible => format!("\"{}\"", sheet.name),
            SheetVisible::Hidden | SheetVisible::VeryHidden => format!("\"{}\", which is hidden", sheet.name),
        });
    let others: Vec<String> = others.collect();
    if !others.is_empty() {
        raw.notes.push(format!("Not read of the workbook: {}. They were passed over.", others.join(", ")));
    }
    let mut cells = book.worksheet_cells_reader(name).map_err(|error| broken(&error))?;
    while let Some(cell) = cells.next_cell_with_formula().map_err(|error| broken(&error))? {
        let (row, column) = cell.pos;
        let found = read_cell(&cell.value, cell.formula.is_some());
        if found == Cell::Blank {
            continue;
        }
        let line = u64::from(row) + 1;
        if column as usize >= COLUMNS_MOST {
            let needed = format!("cells in the first {COLUMNS_MOST} columns are needed");
            raw.faults.push(Fault::new(
                line,
                "",
                format!("a cell in column {}", u64::from(column) + 1),
                needed,
            ));
            continue;
        }
        if raw.rows.last().is_none_or(|last| last.line != line) {
            // The header is a row, too.
            if raw.rows.len() > ROWS_MOST {
                return Err(Fault::new(line, "", "more rows", format!("at most {ROWS_MOST} are needed")));
            }
            raw.rows.push(Row { line, cells: Vec::new() });
        }
        if let Some(last) = raw.rows.last_mut() {
            last.cells.resize((column as usize).max(last.cells.len()), Cell::Blank);
            last.cells.push(found);
        }
    }
    even(&mut raw.rows);
    Ok(raw)
}

/// A sheet has no end of a row: every row is as long as the header at least.
fn even(rows: &mut [Row]) {
    let long = rows.first().map_or(0, |header| header.cells.len());
    for row in rows {
        row.cells.resize(long.max(row.cells.len()), Cell::Blank);
    }
}

fn read_cell(value: &DataRef<'_>, is_formula: bool) -> Cell {
    let text = |text: &str| match text.char_indices().nth(CELL_MOST) {
        _ if text.is_empty() => Cell::Blank,
        Some(_) => Cell::Broken(format!("of more than {CELL_MOST} characters")),
        None => Cell::Text(text.to_owned()),
    };
    match value {
        DataRef::Empty if is_formula => Cell::Formula,
        DataRef::String(empty) if is_formula && empty.is_empty() => Cell::Formula,
        DataRef::Empty => Cell::Blank,
        DataRef::Int(number) => Cell::Number(*number as f64),
        DataRef::Float(number) => Cell::Number(*number),
        DataRef::String(own) => text(own),
        DataRef::SharedString(own) => text(own),
        DataRef::Bool(truth) => Cell::Truth(*truth),
        DataRef::DateTime(moment) => match moment.as_datetime() {
            Some(told) if moment.is_datetime() => Cell::Moment(told),
            _ => Cell::Number(moment.as_f64()),
        },
        DataRef::DateTimeIso(own) | DataRef::DurationIso(own) => text(own),
        DataRef::Error(error) => Cell::Broken(error.to_string()),
    }
}

/// A small file may unpack to very much: everything is unpacked once into nothing, and counted.
fn bounded(bytes: &[u8]) -> Result<(), Fault> {
    let broken = || Fault::new(1, "", "a broken workbook", "a workbook saved as .xlsx is needed");
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| broken())?;
    if archive.len() > PARTS_MOST {
        let found = format!("a workbook of {} parts", archive.len());
        return Err(Fault::new(1, "", found, format!("at most {PARTS_MOST} are needed")));
    }
    let mut left = UNPACKED_MOST;
    for part in 0..archive.len() {
        let part = archive.by_index(part).map_err(|_| broken())?;
        let unpacked = std::io::copy(&mut part.take(left + 1), &mut std::io::sink()).map_err(|_| broken())?;
        left = left.checked_sub(unpacked).ok_or_else(|| {
            let found = format!("a workbook that unpacks to more than {} MiB", UNPACKED_MOST >> 20);
            Fault::new(1, "", found, "a smaller one is needed, or text (CSV)")
        })?;
    }
    Ok(())
}
