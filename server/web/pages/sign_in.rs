//! Signing in.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::{no_site, problem};
use crate::web::App;
use crate::web::visitor::render;

/// What may stand in the address, so that a desk's bookmark fills in its site.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub site: String,
    pub person: String,
    /// The page that was asked for before the sign-in.
    pub back: String,
    /// Set after signing out, or when a session ended by itself.
    pub ended: Option<String>,
}

#[derive(Template)]
#[template(path = "sign_in.html")]
pub struct SignInPage {
    pub site: String,
    pub person: String,
    pub back: String,
    pub error: String,
    /// What became of the session before; empty where there is nothing to say.
    pub ended: &'static str,
}

/// What the page says of a session that ended.
fn ended(how: Option<&str>) -> &'static str {
    match how {
        None => "",
        Some("unsent") => {
            "Your session had ended before this was sent: it was not recorded. Sign in and repeat it."
        }
        Some("idle") => "Your session has ended. What was recorded before is kept.",
        Some(_) => "You are signed out. What was recorded is kept.",
    }
}

pub async fn get(Reach(app): Reach<App>, Query(asked): Query<Asked>) -> Response {
    match app.house.site_codes().await {
        Ok(codes) if codes.is_empty() => no_site::page(),
        // A house with one site need not be asked which.
        Ok(codes) => {
            let only = codes.first().filter(|_| codes.len() == 1 && asked.site.is_empty()).cloned();
            let ended = ended(asked.ended.as_deref());
            let site = only.unwrap_or(asked.site);
            render(&SignInPage { site, person: asked.person, back: asked.back, error: String::new(), ended })
        }
        Err(gone) => problem::unavailable(&gone.operation),
    }
}

/// The form again, with what was typed but the password, and a sentence that says what is wrong.
pub fn again(status: StatusCode, site: &str, person: &str, back: &str, error: &str) -> Response {
    let page = SignInPage {
        site: site.into(),
        person: person.into(),
        back: back.into(),
        error: error.into(),
        ended: "",
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
            back: "/desk".into(),
            error: "Site, code and password do not belong together.".into(),
            ended: ended(Some("unsent")),
        };
        let text = sample::show("sign_in", &page);
        assert!(
            text.contains("it was not recorded")
                && text.contains("do not belong together")
                && text.contains("value=\"p-0001\"")
        );
    }
}
