//! Who looks at a page: a session of one person, at one site, in one role.

use std::sync::Arc;

use askama::Template;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use subtle::ConstantTimeEq;

use super::App;
use super::router::Admits;
use super::session::Ended;
use crate::app::house::operation;
use crate::domain::person::{Actor, Role};
use crate::domain::state::State;
use crate::domain::time::Time;

/// A signed-in person, with the site's facts as they stand at this request.
#[derive(Clone)]
pub struct Visitor {
    pub actor: Actor,
    /// What the person is called on the page.
    pub name: String,
    pub csrf: String,
    pub state: Arc<State>,
    pub now: Time,
}

pub const COOKIE: &str = "fettle_session";

impl Visitor {
    pub fn is(&self, roles: &[Role]) -> bool {
        roles.contains(&self.actor.role)
    }

    /// Whether a form came from a page of this session.
    pub fn owns(&self, csrf: &str) -> bool {
        self.csrf.as_bytes().ct_eq(csrf.as_bytes()).into()
    }
}

/// The session's secret from the cookies.
pub fn secret(headers: &HeaderMap) -> Option<String> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(name, _)| *name == COOKIE).map(|(_, value)| value.to_string())
}

impl FromRequestParts<App> for Visitor {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        let secret = secret(&parts.headers);
        let to_sign_in =
            || Redirect::to(&super::session::sign_in_path(&asked_for(parts), ended(parts))).into_response();
        let Some(secret) = secret else {
            return Err(to_sign_in());
        };
        let session = match app.house.session(&secret).await {
            Ok(Some(session)) => session,
            Ok(None) => return Err(to_sign_in()),
            Err(error) => {
                let operation = operation();
                tracing::error!(operation, error = %crate::app::house::chain(&error), "no session could be read");
                return Err(super::fail::unavailable(&operation));
            }
        };
        let state = match app.house.state(&session.site).await {
            Ok(Some(state)) => state,
            Ok(None) => return Err(to_sign_in()),
            Err(gone) => return Err(super::fail::unavailable(&gone.operation)),
        };
        let admits = parts.extensions.get::<Admits>().map_or(&[][..], |admits| admits.0);
        if !admits.contains(&session.actor.role) {
            return Err(super::fail::not_for(session.actor.role));
        }
        let now = app.house.clock.now();
        Ok(Visitor { actor: session.actor, name: session.name, csrf: session.csrf, state, now })
    }
}

/// The page to go back to: the one that was asked for, or the one whose form was sent.
fn asked_for(parts: &Parts) -> String {
    if parts.method == Method::GET {
        return parts.uri.path_and_query().map_or("/", |path| path.as_str()).to_string();
    }
    let from = parts.headers.get(header::REFERER).and_then(|value| value.to_str().ok());
    let path =
        from.and_then(|from| from.split_once("://")?.1.split_once('/').map(|(_, path)| format!("/{path}")));
    path.unwrap_or_else(|| "/".into())
}

/// How a session ended that somebody still holds; what was sent after its end is not recorded. Whoever signs out, or
/// whose station locks itself, sends nothing that could be.
fn ended(parts: &Parts) -> Ended {
    let asks = parts.method == Method::GET || parts.uri.path() == "/sign-out";
    match (asks, secret(&parts.headers).is_some()) {
        (false, _) => Ended::Unsent,
        (true, true) => Ended::Idle,
        (true, false) => Ended::Never,
    }
}

/// Renders a template as a page.
pub fn render(template: &impl Template) -> Response {
    match template.render() {
        Ok(page) => Html(super::unbroken::names(&page)).into_response(),
        Err(error) => {
            let operation = operation();
            tracing::error!(operation, %error, "a template does not render");
            (StatusCode::INTERNAL_SERVER_ERROR, format!("operation {operation}")).into_response()
        }
    }
}
