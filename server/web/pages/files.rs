//! The style sheet, the small scripts and the signs, built into the program.

use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};

/// Each file with its type.
const FILES: &[(&str, &str, &str)] = &[
    ("style.css", "text/css; charset=utf-8", include_str!("../../../static/style.css")),
    ("scan.js", "text/javascript; charset=utf-8", include_str!("../../../static/scan.js")),
    ("desk.js", "text/javascript; charset=utf-8", include_str!("../../../static/desk.js")),
    ("keep.js", "text/javascript; charset=utf-8", include_str!("../../../static/keep.js")),
    ("alerts.js", "text/javascript; charset=utf-8", include_str!("../../../static/alerts.js")),
    ("board.js", "text/javascript; charset=utf-8", include_str!("../../../static/board.js")),
    ("favicon.svg", "image/svg+xml", include_str!("../../../static/favicon.svg")),
];

pub async fn get(Path(file): Path<String>) -> Response {
    match FILES.iter().find(|(name, ..)| *name == file) {
        Some((_, kind, text)) => {
            ([(header::CONTENT_TYPE, *kind), (header::CACHE_CONTROL, "public, max-age=300")], *text)
                .into_response()
        }
        None => super::super::fail::nothing_here(),
    }
}
