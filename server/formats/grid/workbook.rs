//! A workbook (ECMA-376, `.xlsx`): the first sheet that is shown. Cells are read one after the other, so that a sheet
//! whose last cell lies a million rows down costs nothing; what it unpacks to is measured before anything is read.

use std::io::Cursor;

use calamine::{DataRef, Reader, SheetType, SheetVisible, Xlsx};

use super::packed::bounded;
use super::{CELL_MOST, COLUMNS_MOST, Cell, ROWS_MOST, Raw, Row, more_rows};
use crate::formats::table::Fault;

/// Why a workbook is none.
fn broken(error: &dyn std::fmt::Display) -> Fault {
    let found = format!("a workbook that cannot be read ({error})");
    Fault::new(1, "", found, "a workbook saved as .xlsx is needed")
}

/// Reads the rows of the first sheet that is shown.
pub fn read(bytes: &[u8]) -> Result<Raw, Fault> {
    bounded(bytes)?;
    // The library counts without care where a file names a cell far beyond every sheet.
    std::panic::catch_unwind(|| first_sheet(bytes))
        .unwrap_or_else(|_| Err(broken(&"it is not as it should be")))
}

fn first_sheet(bytes: &[u8]) -> Result<Raw, Fault> {
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
    // With what a formula is, and not with its text: a shared one may call itself the four thousand millionth.
    while let Some(cell) = cells.next_cell_with_formula_metadata().map_err(|error| broken(&error))? {
        let found = read_cell(&cell.value, cell.formula.is_some());
        if found != Cell::Blank {
            put(&mut raw, cell.pos, found)?;
        }
    }
    even(&mut raw.rows);
    Ok(raw)
}

/// Puts a cell where it says that it stands. Programs write rows and cells in their order; what stands in another is not
/// read, since nobody knows which of two is meant.
fn put(raw: &mut Raw, (row, column): (u32, u32), found: Cell) -> Result<(), Fault> {
    let line = u64::from(row) + 1;
    let last = raw.rows.last().map_or(0, |row| row.line);
    if line < last {
        let found = format!("row {line} behind row {last}");
        return Err(Fault::new(line, "", found, "rows in their order are needed: save the workbook again"));
    }
    if line > last {
        // The header is a row, too.
        if raw.rows.len() > ROWS_MOST {
            return Err(more_rows(line));
        }
        raw.rows.push(Row { line, cells: Vec::new() });
    }
    let column = column as usize;
    if column >= COLUMNS_MOST {
        if raw.faults.last().is_none_or(|fault| fault.line != line) {
            let needed = format!("cells in the first {COLUMNS_MOST} columns are needed");
            raw.faults.push(Fault::new(line, "", format!("a cell in column {}", column + 1), needed));
        }
        return Ok(());
    }
    let Some(last) = raw.rows.last_mut() else { return Ok(()) };
    if last.cells.len() > column {
        let found = format!("a cell in column {} behind those that follow it", column + 1);
        return Err(Fault::new(line, "", found, "cells in their order are needed: save the workbook again"));
    }
    last.cells.resize(column, Cell::Blank);
    last.cells.push(found);
    Ok(())
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
