//! Rows as a file for a spreadsheet.

use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use crate::app::house::operation;
use crate::formats;
use crate::formats::cells::{Cell, Column, Table, column};
use crate::formats::xlsx;

/// The rows as a CSV file to keep, under a name of plain letters.
pub fn download<const N: usize>(columns: [&str; N], rows: &[[String; N]], called: &str) -> Response {
    let bytes = match formats::sheet::csv(columns, rows) {
        Ok(bytes) => bytes,
        Err(error) => {
            let operation = operation();
            tracing::error!(operation, %error, "a sheet could not be written");
            return crate::web::fail::unavailable(&operation);
        }
    };
    let mut response = bytes.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/csv; charset=utf-8"));
    if let Ok(name) = HeaderValue::from_str(&format!("attachment; filename=\"{called}.csv\"")) {
        headers.insert(header::CONTENT_DISPOSITION, name);
    }
    response
}

/// The columns of a sheet as those of a workbook.
pub const fn columns<const N: usize>(names: [&'static str; N]) -> [Column; N] {
    let mut all = [column("", 16); N];
    let mut place = 0;
    while place < N {
        all[place] = column(names[place], 16);
        place += 1;
    }
    all
}

/// The rows as a workbook to keep, every cell as text: a serial number keeps its noughts.
pub fn book<const N: usize>(
    columns: &'static [Column],
    rows: Vec<[String; N]>,
    title: &'static str,
    called: &str,
) -> Response {
    let rows = rows.into_iter().map(|row| row.into_iter().map(Cell::text).collect());
    let table = Table { name: title, columns, rows: Box::new(rows) };
    let head = xlsx::Head { title: title.into(), shown: called.into() };
    let bytes = match xlsx::book(vec![table], &head) {
        Ok(bytes) => bytes,
        Err(error) => {
            let operation = operation();
            tracing::error!(operation, %error, "a workbook could not be written");
            return crate::web::fail::unavailable(&operation);
        }
    };
    let mut response = bytes.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(crate::web::export::XLSX));
    if let Ok(name) = HeaderValue::from_str(&format!("attachment; filename=\"{called}.xlsx\"")) {
        headers.insert(header::CONTENT_DISPOSITION, name);
    }
    response
}
