//! Whether the server and its database answer.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::super::App;

pub async fn get(State(app): State<App>) -> Response {
    match app.house.answers().await {
        Ok(()) => "ok".into_response(),
        Err(gone) => {
            (StatusCode::SERVICE_UNAVAILABLE, format!("operation {}", gone.operation)).into_response()
        }
    }
}
