//! Rows as a file for a spreadsheet.

use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use crate::app::house::operation;
use crate::formats;

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
