//! What a person says of alerts outside the ledger: that one was seen, and that a rule gets a new secret.

use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::pages::alerts::{AlertsPage, read};
use super::visitor::{Visitor, render};
use super::{App, fail};
use crate::domain::id::Id;

#[derive(Default, Deserialize)]
#[serde(default)]
pub struct Sent {
    csrf: String,
}

pub async fn seen(
    State(app): State<App>,
    visitor: Visitor,
    Path(alert): Path<String>,
    Form(sent): Form<Sent>,
) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let (state, actor) = (&*visitor.state, &visitor.actor);
    // What a role is not told of, nobody of it has seen.
    let began = app.house.day_began(state, visitor.now);
    let told = match app.house.alerts_of(state, actor.role, began).await {
        Ok(told) => told,
        Err(gone) => return fail::unavailable(&gone.operation),
    };
    if !told.iter().any(|it| it.row.id == alert) {
        return fail::nothing_here();
    }
    match app.house.see_alert(&state.site, &alert, &actor.code).await {
        Ok(true) => Redirect::to("/alerts").into_response(),
        Ok(false) => fail::nothing_here(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

pub async fn secret(
    State(app): State<App>,
    visitor: Visitor,
    Path(rule): Path<String>,
    Form(sent): Form<Sent>,
) -> Response {
    if !visitor.owns(&sent.csrf) {
        return fail::foreign_form();
    }
    let state = &*visitor.state;
    let known = Id::new(&rule).filter(|id| state.alert_rules().any(|(own, _)| own == id));
    let Some(id) = known else { return fail::nothing_here() };
    let made = app.house.new_alert_secret(&state.site, &id, &visitor.actor.code).await;
    let page = async {
        let secret = made?;
        let mut page = AlertsPage::of(&visitor, &read(&app, &visitor).await?, None);
        page.secret = (rule, secret);
        Ok::<_, crate::app::house::Unavailable>(page)
    };
    match page.await {
        Ok(page) => (StatusCode::OK, render(&page)).into_response(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}
