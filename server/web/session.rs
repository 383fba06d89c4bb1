//! Signing in and out.

use std::net::SocketAddr;

use axum::extract::{ConnectInfo, Form, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::App;
use super::fail;
use super::pages::sign_in;
use super::visitor::{COOKIE, Visitor, secret};
use crate::app::accounts::SESSION_HOURS;
use crate::app::house::{chain, operation};

#[derive(Deserialize)]
pub struct SignIn {
    site: String,
    person: String,
    password: String,
    #[serde(default)]
    back: String,
}

/// What the sign-in page says of the session before it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Ended {
    /// There was none.
    Never,
    Idle,
    /// It had ended before a form was sent.
    Unsent,
}

/// Where somebody signs in who wants to see a page.
pub fn sign_in_path(back: &str, ended: Ended) -> String {
    let ended = match ended {
        Ended::Never => None,
        Ended::Idle => Some("ended=idle".to_string()),
        Ended::Unsent => Some("ended=unsent".to_string()),
    };
    let back = (back != "/").then(|| format!("back={}", encoded(back)));
    let query: Vec<String> = ended.into_iter().chain(back).collect();
    if query.is_empty() { "/sign-in".into() } else { format!("/sign-in?{}", query.join("&")) }
}

/// A text as a part of a query: everything but letters, digits and a few marks is escaped.
pub fn encoded(text: &str) -> String {
    encoded_but(text, b"-._/")
}

/// A text as a part of an address, in which these marks stand as they are.
pub fn encoded_but(text: &str, marks: &[u8]) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        match byte.is_ascii_alphanumeric() || marks.contains(&byte) {
            true => out.push(char::from(byte)),
            false => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}

/// A path of this server to go back to; anything that could lead elsewhere is the start page.
pub fn local(back: &str) -> &str {
    let safe = back.starts_with('/') && !back.starts_with("//") && !back.contains(['\\', '\r', '\n']);
    if safe { back } else { "/" }
}

/// Who calls: the peer, or, behind a trusted proxy, the last address that it names.
pub(super) fn caller(app: &App, peer: SocketAddr, headers: &HeaderMap) -> String {
    let told = headers.get("x-forwarded-for").and_then(|value| value.to_str().ok());
    let last = told.and_then(|list| list.rsplit(',').next()).map(str::trim);
    match last.filter(|_| app.options.trusted_proxy) {
        Some(address) => address.to_string(),
        None => peer.ip().to_string(),
    }
}

pub(super) fn cookie(app: &App, value: &str, seconds: i64) -> Option<HeaderValue> {
    let secure = if app.options.secure_cookie { "; Secure" } else { "" };
    let text = format!("{COOKIE}={value}; Path=/; HttpOnly; SameSite=Lax; Max-Age={seconds}{secure}");
    HeaderValue::from_str(&text).ok()
}

pub async fn post(
    State(app): State<App>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    Form(form): Form<SignIn>,
) -> Response {
    let from = caller(&app, peer, &headers);
    let again =
        |status: StatusCode, error: &str| sign_in::again(status, &form.site, &form.person, &form.back, error);
    if app.attempts.check_key(&format!("{from} {} {}", form.site, form.person)).is_err() {
        return again(StatusCode::TOO_MANY_REQUESTS, "Too many attempts. Wait a minute, then try again.");
    }
    match app.house.sign_in(&form.site, &form.person, &form.password).await {
        Ok(Some(secret)) => {
            let mut response = Redirect::to(local(&form.back)).into_response();
            if let Some(cookie) = cookie(&app, &secret, SESSION_HOURS * 3_600) {
                response.headers_mut().insert(header::SET_COOKIE, cookie);
            }
            response
        }
        Ok(None) => {
            tracing::info!(site = form.site, person = form.person, from, "sign-in refused");
            again(StatusCode::UNAUTHORIZED, "Site, person and password do not go together. Check all three.")
        }
        Err(error) => {
            let operation = operation();
            tracing::error!(operation, error = %chain(&error), "no sign-in could be checked");
            fail::unavailable(&operation)
        }
    }
}

#[derive(Deserialize)]
pub struct SignOut {
    csrf: String,
    /// The page on which the station locked itself.
    #[serde(default)]
    locked: String,
}

pub async fn out(
    State(app): State<App>,
    visitor: Visitor,
    headers: HeaderMap,
    Form(form): Form<SignOut>,
) -> Response {
    if !visitor.owns(&form.csrf) {
        return fail::foreign_form();
    }
    if let Some(secret) = secret(&headers)
        && let Err(error) = app.house.sign_out(&secret).await
    {
        tracing::error!(error = %chain(&error), "a session could not be ended");
    }
    let to = match form.locked.as_str() {
        "" => "/sign-in?ended=out".to_string(),
        page => sign_in_path(local(page), Ended::Idle),
    };
    let mut response = Redirect::to(&to).into_response();
    if let Some(cookie) = cookie(&app, "", 0) {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_way_back_stays_on_this_server() {
        assert_eq!(local("/sets/SET-04?done=3"), "/sets/SET-04?done=3");
        for elsewhere in ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", ""] {
            assert_eq!(local(elsewhere), "/");
        }
        assert_eq!(sign_in_path("/sets?a=b", Ended::Never), "/sign-in?back=/sets%3Fa%3Db");
        assert_eq!(sign_in_path("/", Ended::Never), "/sign-in");
        assert_eq!(sign_in_path("/desk", Ended::Unsent), "/sign-in?ended=unsent&back=/desk");
    }
}
