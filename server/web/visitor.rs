//! Who looks at a page: a session of one person, at one site, in one role.

use std::sync::Arc;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

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

impl Visitor {
    pub fn is(&self, roles: &[Role]) -> bool {
        roles.contains(&self.actor.role)
    }
}

/// Renders a template as a page.
pub fn render(template: &impl Template) -> Response {
    match template.render() {
        Ok(page) => Html(page).into_response(),
        Err(error) => {
            tracing::error!(%error, "a template does not render");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

impl axum::extract::FromRequestParts<super::App> for Visitor {
    type Rejection = StatusCode;

    async fn from_request_parts(
        _parts: &mut axum::http::request::Parts,
        _app: &super::App,
    ) -> Result<Self, Self::Rejection> {
        Err(StatusCode::UNAUTHORIZED)
    }
}
