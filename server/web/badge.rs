//! Signing in at a station by badge and PIN, with what is in hand kept.

use std::net::SocketAddr;

use axum::extract::{ConnectInfo, Form, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::pages::badge::{BadgePage, InHand, LEFT};
use super::pages::sign_in;
use super::session::{caller, cookie, encoded, local};
use super::visitor::secret;
use super::{App, fail};
use crate::app::accounts::SESSION_HOURS;
use crate::app::badges::{ByBadge, Owner};
use crate::app::house::{House, chain, operation};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Sent {
    pub site: String,
    pub badge: String,
    pub pin: String,
    pub thing: String,
    pub step: String,
    pub station: String,
    pub back: String,
}

impl Sent {
    fn hand(&self) -> InHand {
        InHand {
            thing: self.thing.clone(),
            step: self.step.clone(),
            station: self.station.clone(),
            back: self.back.clone(),
        }
    }

    /// The page to go on with: the desk with its thing, or where somebody wanted to go.
    fn onward(&self) -> String {
        if self.thing.is_empty() && self.step.is_empty() && self.station.is_empty() {
            return local(&self.back).into();
        }
        let query = [("scan", &self.thing), ("step", &self.step), ("station", &self.station)];
        let query = query.iter().filter(|(_, value)| !value.is_empty());
        let query: Vec<String> = query.map(|(name, value)| format!("{name}={}", encoded(value))).collect();
        format!("/desk?{}", query.join("&"))
    }
}

fn failed(error: &(dyn std::error::Error + 'static)) -> Response {
    let operation = operation();
    tracing::error!(operation, error = %chain(error), "no badge could be looked up");
    fail::unavailable(&operation)
}

pub async fn post(
    State(app): State<App>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    Form(sent): Form<Sent>,
) -> Response {
    let badge = sent.badge.trim();
    let again = |status, error: &str| sign_in::again(status, &sent.site, "", &sent.back, error);
    if badge.len() > 200 || House::no_badge(badge).is_some() {
        let why = House::no_badge(badge).unwrap_or("it is too long");
        return again(StatusCode::UNAUTHORIZED, &format!("Nobody signs in with that: {}.", within(why)));
    }
    let owner = match app.house.badge_owner(&sent.site, badge).await {
        Ok(owner) => owner,
        Err(error) => return failed(&error),
    };
    let name = match owner {
        Owner::Person { name, .. } => name,
        Owner::Left => {
            let page = BadgePage::refused(&sent.site, badge, &sent.hand(), LEFT.into(), String::new());
            return page.respond(StatusCode::UNAUTHORIZED);
        }
        Owner::Nobody => return again(StatusCode::UNAUTHORIZED, "This badge is nobody's here."),
    };
    let ask = |status, error: String| {
        BadgePage::asking(&sent.site, badge, &name, &sent.hand(), error).respond(status)
    };
    if sent.pin.is_empty() {
        return ask(StatusCode::OK, String::new());
    }
    let from = caller(&app, peer, &headers);
    if app.attempts.check_key(&format!("{from} {} {badge}", sent.site)).is_err() {
        let words = "Too many attempts. Wait a minute, then try again.";
        return ask(StatusCode::TOO_MANY_REQUESTS, words.into());
    }
    match app.house.sign_in_by_badge(&sent.site, badge, &sent.pin).await {
        Ok(ByBadge::In(session)) => changed(&app, &headers, &session, &sent.onward()).await,
        Ok(refused) => {
            tracing::info!(site = sent.site, from, "sign-in by badge refused");
            ask(StatusCode::UNAUTHORIZED, words(&refused))
        }
        Err(error) => failed(&error),
    }
}

/// A sentence as the end of another one.
fn within(sentence: &str) -> String {
    let mut letters = sentence.trim_end_matches('.').chars();
    let first: String = letters.next().map(|first| first.to_lowercase().collect()).unwrap_or_default();
    first + letters.as_str()
}

fn words(refused: &ByBadge) -> String {
    match refused {
        ByBadge::Wrong(1) => "That is not the PIN. One more wrong one locks the badge.".into(),
        ByBadge::Wrong(left) => format!("That is not the PIN. {left} tries are left."),
        ByBadge::Locked => {
            "This badge is locked after too many wrong PINs. Sign in with your password, and let an administrator \
             give a new PIN."
                .into()
        }
        ByBadge::NoPin => {
            "This badge has no PIN yet. Sign in with your password, and let an administrator give one.".into()
        }
        ByBadge::Left => LEFT.into(),
        ByBadge::Nobody | ByBadge::In(_) => "This badge is nobody's here.".into(),
    }
}

/// The person before is signed out by the same step that signs the next one in.
async fn changed(app: &App, headers: &HeaderMap, session: &str, onward: &str) -> Response {
    if let Some(before) = secret(headers)
        && let Err(error) = app.house.sign_out(&before).await
    {
        tracing::error!(error = %chain(&error), "a session could not be ended");
    }
    let mut response = Redirect::to(onward).into_response();
    if let Some(cookie) = cookie(app, session, SESSION_HOURS * 3_600) {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    response
}
