//! Signing in.

use askama::Template;
use axum::extract::Query;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::web::visitor::render;

/// What may stand in the address, so that a desk's bookmark fills in its site.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub site: String,
    pub person: String,
    /// Set after signing out, or when a session ended by itself.
    pub ended: Option<String>,
}

#[derive(Template)]
#[template(path = "sign_in.html")]
pub struct SignInPage {
    pub site: String,
    pub person: String,
    pub error: String,
    pub ended: bool,
}

pub async fn get(Query(asked): Query<Asked>) -> Response {
    let ended = asked.ended.is_some();
    render(&SignInPage {
        site: asked.site,
        person: asked.person,
        error: String::new(),
        ended,
    })
}

/// The form again, with what was typed but the password, and a sentence that says what is wrong.
pub fn again(status: StatusCode, site: &str, person: &str, error: &str) -> Response {
    let page = SignInPage {
        site: site.into(),
        person: person.into(),
        error: error.into(),
        ended: false,
    };
    (status, render(&page)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_error_is_a_sentence_and_the_password_is_not_repeated() {
        let page = SignInPage {
            site: "airway".into(),
            person: "p-0001".into(),
            error: "Site, code and password do not belong together.".into(),
            ended: false,
        };
        let text = sample::show("sign_in", &page);
        assert!(text.contains("do not belong together") && text.contains("value=\"p-0001\""));
    }
}
