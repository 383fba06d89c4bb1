//! When something is not there or does not answer: what happened, and what to do now.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::web::visitor::render;

#[derive(Template)]
#[template(path = "problem.html")]
pub struct ProblemPage {
    pub heading: String,
    pub detail: String,
    /// The id under which the log tells more; empty where there is nothing to tell.
    pub operation: String,
    pub back: String,
    pub back_label: String,
}

/// Answers with a page that says what is wrong and where to go on.
pub fn page(status: StatusCode, heading: &str, detail: &str, operation: &str) -> Response {
    let page = ProblemPage {
        heading: heading.into(),
        detail: detail.into(),
        operation: operation.into(),
        back: "/".into(),
        back_label: "To the start".into(),
    };
    (status, render(&page)).into_response()
}

/// Nothing of this kind has that name here.
pub fn not_found(kind: &str, name: &str, back: &str, back_label: &str) -> Response {
    let page = ProblemPage {
        heading: format!("No {kind} here is called \"{name}\"."),
        detail: "Names are compared exactly, capitals and all. Check the name, or scan again.".into(),
        operation: String::new(),
        back: back.into(),
        back_label: back_label.into(),
    };
    (StatusCode::NOT_FOUND, render(&page)).into_response()
}

pub fn no_page() -> Response {
    page(StatusCode::NOT_FOUND, "There is no such page.", "The address may be old or mistyped.", "")
}

/// An address or a form that cannot be read.
pub fn unreadable(status: StatusCode) -> Response {
    let detail = "The address or the form is broken. Nothing was recorded. Go back, open the page again and repeat it.";
    page(status, "This cannot be read.", detail, "")
}

pub fn too_large() -> Response {
    let limit = crate::web::api::command::BODY_MOST / (1024 * 1024);
    let detail = format!("What was sent is larger than the limit of {limit} MiB. Nothing was recorded.");
    page(StatusCode::PAYLOAD_TOO_LARGE, "This is too large.", &detail, "")
}

/// An address that takes forms, opened as a page.
pub fn not_here() -> Response {
    let detail = "This address is no page of its own. If you were signed out meanwhile, what you sent was not recorded: repeat it.";
    page(StatusCode::METHOD_NOT_ALLOWED, "There is nothing to see here.", detail, "")
}

/// The database does not answer.
pub fn unavailable(operation: &str) -> Response {
    let detail = "The database does not answer. Nothing was recorded. Try again in a moment; until then write it down on paper.";
    page(StatusCode::SERVICE_UNAVAILABLE, "The record cannot be reached now.", detail, operation)
}

/// A form of another session, or one that was open too long.
pub fn stale_form() -> Response {
    let detail = "The form belongs to another session, or stood open too long. Nothing was recorded. Open the page again and repeat it.";
    page(StatusCode::FORBIDDEN, "This form is no longer valid.", detail, "")
}

/// The page is not for this role.
pub fn not_your_role(role: &str) -> Response {
    let detail = format!(
        "You are signed in as {role}; this page is for another role. Sign in as somebody else, or ask one who may."
    );
    page(StatusCode::FORBIDDEN, "This page is not for your role.", &detail, "")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_problem_carries_its_operation() {
        let page = ProblemPage {
            heading: "The record cannot be reached now.".into(),
            detail: "The database does not answer. Nothing was recorded.".into(),
            operation: "op-7f3a".into(),
            back: "/".into(),
            back_label: "To the start".into(),
        };
        assert!(sample::show("problem", &page).contains("op-7f3a"));
    }
}
