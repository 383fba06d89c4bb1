//! Who calls the API: a token of one site and one role.

use std::sync::Arc;

use axum::extract::{FromRequestParts, RawPathParams};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};

use super::super::App;
use super::super::problem::Problem;
use super::super::router::Admits;
use crate::app::house::unavailable;
use crate::domain::command::wrong;
use crate::domain::id::Id;
use crate::domain::person::Actor;
use crate::domain::state::State;
use crate::domain::time::Time;

/// A caller with the site that the path names.
pub struct Caller {
    pub app: App,
    pub site: Id,
    pub actor: Actor,
}

impl Caller {
    /// The site's facts as they stand now, and the time at which they are looked at.
    pub async fn state(&self) -> Result<(Arc<State>, Time), Problem> {
        let state = self.app.house.state(&self.site).await?;
        let state = state.ok_or_else(|| Problem::unknown_site(self.site.as_str()))?;
        Ok((state, self.app.house.clock.now()))
    }
}

/// The token that a request brings.
pub fn bearer(headers: &HeaderMap) -> Option<String> {
    let value = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, secret) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| secret.trim().to_string())
}

impl FromRequestParts<App> for Caller {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let Some(secret) = bearer(&parts.headers) else {
            return Err(Problem::not_signed_in());
        };
        let found =
            app.house.token(&secret).await.map_err(|error| Problem::unavailable(&unavailable(&error)))?;
        let Some((site, actor)) = found else {
            return Err(Problem::not_signed_in());
        };
        let params = RawPathParams::from_request_parts(parts, app).await;
        let named = params.ok().and_then(|params| {
            params.iter().find(|(name, _)| *name == "site").map(|(_, value)| value.to_string())
        });
        let named = named.unwrap_or_default();
        if named != site.as_str() {
            let known = app.house.site_codes().await?.contains(&named);
            return Err(if known {
                Problem::not_your_role(format!("The token belongs to another site than \"{named}\"."))
            } else {
                Problem::unknown_site(&named)
            });
        }
        let admits = parts.extensions.get::<Admits>().map_or(&[][..], |admits| admits.0);
        if !admits.contains(&actor.role) {
            let told = format!("This is not for the role {}.", actor.role.name());
            return Err(Problem::not_your_role(told));
        }
        // Nothing in the ledger holds that character, so no name is spelled with it.
        if parts.uri.path_and_query().is_some_and(|asked| asked.as_str().contains("%00")) {
            let detail = "found the character U+0000; text without it is needed";
            return Err(Problem::malformed(&[wrong("", detail)]));
        }
        Ok(Caller { app: app.clone(), site, actor })
    }
}
