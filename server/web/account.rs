//! Accounts from the people page: what an administrator types becomes a call of the house.

use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::pages::people::PeoplePage;
use super::pages::shared::capital;
use super::visitor::{Visitor, render};
use super::{App, fail};
use crate::app::accounts::AccountError;
use crate::app::house::{chain, operation};
use crate::domain::person::Role;

/// The fields of all the forms; each uses some.
#[derive(Deserialize)]
#[serde(default)]
#[derive(Default)]
pub struct Sent {
    csrf: String,
    code: String,
    name: String,
    role: String,
    password: String,
    badge: String,
    pin: String,
    id: String,
}

/// The page again, with what went wrong or a token that is shown once.
async fn page(app: &App, visitor: &Visitor, status: StatusCode, trouble: &str, token: &str) -> Response {
    match app.house.people(&visitor.state.site).await {
        Ok((people, tokens)) => {
            let mut page = PeoplePage::of(visitor, people, tokens, None);
            page.trouble = trouble.into();
            page.token = token.into();
            (status, render(&page)).into_response()
        }
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

async fn answered<T>(app: &App, visitor: &Visitor, done: Result<T, AccountError>) -> Response {
    match done {
        Ok(_) => Redirect::to("/people").into_response(),
        Err(AccountError::Unfit(why)) => {
            let why = format!("{}.", capital(why.trim_end_matches('.')));
            page(app, visitor, StatusCode::CONFLICT, &why, "").await
        }
        Err(error) => {
            let operation = operation();
            tracing::error!(operation, error = %chain(&error), "an account could not be changed");
            fail::unavailable(&operation)
        }
    }
}

fn role(sent: &Sent) -> Result<Role, AccountError> {
    Role::parse(&sent.role).ok_or_else(|| AccountError::Unfit("Choose a role.".into()))
}

fn found(found: bool, what: &str) -> Result<(), AccountError> {
    if found { Ok(()) } else { Err(AccountError::Unfit(format!("There is no {what} of that name here."))) }
}

pub async fn add(State(app): State<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let site = visitor.state.site.as_str();
    let done = match role(&sent) {
        Ok(role) => {
            app.house.add_person(site, Some(&sent.code), &sent.name, role, &sent.password).await.map(|_| ())
        }
        Err(error) => Err(error),
    };
    answered(&app, &visitor, done).await
}

pub async fn disable(State(app): State<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    if sent.code == visitor.actor.code {
        let why = "You cannot disable yourself; let another administrator do it.";
        return page(&app, &visitor, StatusCode::CONFLICT, why, "").await;
    }
    let done = app.house.disable_person(visitor.state.site.as_str(), &sent.code).await;
    answered(&app, &visitor, done.and_then(|it| found(it, "person"))).await
}

pub async fn password(State(app): State<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let done = app.house.set_password(visitor.state.site.as_str(), &sent.code, &sent.password).await;
    answered(&app, &visitor, done.and_then(|it| found(it, "person"))).await
}

pub async fn badge(State(app): State<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let done = app.house.set_badge(visitor.state.site.as_str(), &sent.code, &sent.badge).await;
    answered(&app, &visitor, done.and_then(|it| found(it, "person"))).await
}

pub async fn pin(State(app): State<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let done = app.house.set_pin(visitor.state.site.as_str(), &sent.code, &sent.pin).await;
    answered(&app, &visitor, done.and_then(|it| found(it, "person"))).await
}

pub async fn token(State(app): State<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let made = match role(&sent) {
        Ok(role) => app.house.add_token(visitor.state.site.as_str(), role, Some(&sent.name)).await,
        Err(error) => Err(error),
    };
    match made {
        Ok((_, secret)) => page(&app, &visitor, StatusCode::OK, "", &secret).await,
        Err(error) => answered::<()>(&app, &visitor, Err(error)).await,
    }
}

pub async fn revoke(State(app): State<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let done = app.house.revoke_token(visitor.state.site.as_str(), &sent.id).await;
    answered(&app, &visitor, done.and_then(|it| found(it, "token"))).await
}
