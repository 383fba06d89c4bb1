//! The wall: the board for whoever stands four metres away. It names no patient, and where the site names the address of
//! its display, nobody has to sign in there.

use std::net::{IpAddr, SocketAddr};

use askama::Template;
use axum::extract::{ConnectInfo, FromRequestParts, Query, State as Reach};
use axum::http::HeaderMap;
use axum::http::request::Parts;
use axum::response::Response;
use serde::Deserialize;

use super::board::{Facts, current, shown};
use crate::app::board::Shown;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::session::caller;
use crate::web::visitor::Visitor;

#[derive(Template)]
#[template(path = "board_wall.html")]
pub struct WallPage {
    pub site: String,
    pub practice: bool,
    pub facts: Facts,
}

/// What of the wall renews itself.
#[derive(Template)]
#[template(path = "board_wall_live.html")]
pub struct WallLive {
    pub site: String,
    pub practice: bool,
    pub facts: Facts,
}

impl WallLive {
    pub fn of(state: &State, shown: &Shown, now: Time) -> WallLive {
        let site = if state.name.is_empty() { state.site.to_string() } else { state.name.clone() };
        WallLive { site, practice: state.practice, facts: Facts::of(state, shown, now) }
    }
}

impl WallPage {
    pub fn of(state: &State, shown: &Shown, now: Time) -> WallPage {
        let WallLive { site, practice, facts } = WallLive::of(state, shown, now);
        WallPage { site, practice, facts }
    }
}

/// Who looks at a wall: a person who is signed in, or a display at an address that the site names.
pub enum Viewer {
    Person(Visitor),
    Display { state: std::sync::Arc<State>, address: String },
}

/// The site whose wall a display shows; a server with one site needs no name.
#[derive(Deserialize)]
struct Asked {
    site: Option<String>,
}

impl Viewer {
    pub fn state(&self) -> &std::sync::Arc<State> {
        match self {
            Viewer::Person(visitor) => &visitor.state,
            Viewer::Display { state, .. } => state,
        }
    }
}

/// Whether a site shows its wall at an address without a sign-in.
pub fn is_display(state: &State, address: &str) -> bool {
    let Ok(address) = address.parse::<IpAddr>() else { return false };
    // An address of the older kind may come in the form of the newer one.
    let address = address.to_canonical();
    state.policy.wall_addresses.iter().any(|it| it.contains(address))
}

impl FromRequestParts<App> for Viewer {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        if let Some(display) = display(parts, app).await {
            return Ok(display);
        }
        Visitor::from_request_parts(parts, app).await.map(Viewer::Person)
    }
}

async fn display(parts: &mut Parts, app: &App) -> Option<Viewer> {
    let ConnectInfo(peer) = ConnectInfo::<SocketAddr>::from_request_parts(parts, app).await.ok()?;
    let address = caller(app, peer, &parts.headers);
    let Query(asked) = Query::<Asked>::try_from_uri(&parts.uri).ok()?;
    let site = match asked.site {
        Some(site) => Id::new(&site)?,
        None => match app.house.site_codes().await.ok()?.as_slice() {
            [only] => Id::new(only)?,
            _ => return None,
        },
    };
    let state = app.house.state(&site).await.ok()??;
    is_display(&state, &address).then_some(Viewer::Display { state, address })
}

pub async fn get(Reach(app): Reach<App>, viewer: Viewer, headers: HeaderMap) -> Response {
    let (state, now) = (viewer.state(), app.house.clock.now());
    current(&headers, &WallPage::of(state, &shown(&app, state, now), now))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::board::Boards;
    use crate::web::pages::{sample, words};

    #[test]
    fn the_wall_names_no_patient_and_no_indication() {
        let visitor = sample::in_theatre();
        let shown = Boards::default().show(&visitor.state, visitor.now);
        let text = sample::show("board_wall", &WallPage::of(&visitor.state, &shown, visitor.now));
        assert!(text.contains(words::SEARCH), "{text}");
        let text = text.replace(words::SEARCH, "");
        for word in ["patient", "prion", "hold: ", "image dim", "airborne"] {
            assert!(!text.contains(word), "{word}");
        }
        assert!(text.contains("Not accounted for") && text.contains("K-2"));
    }
}
