//! Lists that people bring: taken in pieces, so that one that is too large is refused before it is read whole.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::multipart::{Field, Multipart};
use axum::extract::{Form, Path, State as Of};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};

use super::api::import::told_length;
use super::form::{Fields, text};
use super::pages::import as page;
use super::visitor::Visitor;
use super::{App, fail};
use crate::app::import::{ToRecord, Waiting};
use crate::domain::command::Act;
use crate::domain::import::mapping::Mapping;
use crate::domain::import::{Chosen, Kind};
use crate::domain::person::Role;
use crate::formats::grid::value::{DayOrder, DecimalSign};
use crate::formats::grid::{self, BYTES_MOST, Charset};

/// A field of the form that is no file has at most this many bytes; what stands around the file, too.
const FIELD_MOST: usize = 64 * 1024;

/// The kinds of list that a role brings.
pub fn kinds(role: Role) -> Vec<Kind> {
    Kind::ALL.into_iter().filter(|kind| Act::roles(kind.command()).contains(&role)).collect()
}

async fn read(mut part: Field<'_>, most: usize) -> Option<Vec<u8>> {
    let mut all = Vec::new();
    loop {
        match part.chunk().await {
            Ok(Some(chunk)) if all.len() + chunk.len() <= most => all.extend_from_slice(&chunk),
            Ok(None) => return Some(all),
            Ok(Some(_)) | Err(_) => return None,
        }
    }
}

fn too_large() -> Response {
    let limit = BYTES_MOST >> 20;
    let detail = format!(
        "The list is larger than {limit} MiB, or broke off. Nothing was recorded. Divide the list, and choose each part."
    );
    super::pages::problem::page(StatusCode::PAYLOAD_TOO_LARGE, "The list was not taken.", &detail, "")
}

/// Takes a list.
pub async fn upload(
    Of(app): Of<App>,
    visitor: Visitor,
    headers: HeaderMap,
    mut parts: Multipart,
) -> Response {
    if told_length(&headers).is_some_and(|length| length > (BYTES_MOST + FIELD_MOST) as u64) {
        return too_large();
    }
    let mut fields: Fields = Vec::new();
    let mut file: Option<(String, Vec<u8>)> = None;
    loop {
        let part = match parts.next_field().await {
            Ok(Some(part)) => part,
            Ok(None) => break,
            Err(_) => return too_large(),
        };
        let name = part.name().unwrap_or_default().to_string();
        let file_name = part.file_name().unwrap_or_default().to_string();
        let most = if name == "list" { BYTES_MOST } else { FIELD_MOST };
        let Some(bytes) = read(part, most).await else { return too_large() };
        match name.as_str() {
            "list" if !file_name.is_empty() || !bytes.is_empty() => file = Some((file_name, bytes)),
            "list" => {}
            _ => fields.push((name, String::from_utf8_lossy(&bytes).into_owned())),
        }
    }
    if !visitor.owns(text(&fields, "csrf")) {
        return fail::foreign_form();
    }
    let kind = Kind::named(text(&fields, "kind")).filter(|kind| kinds(visitor.actor.role).contains(kind));
    let (Some(kind), Some((name, raw))) = (kind, file) else {
        return page::first(&app, &visitor, "Choose a list, and say what it is a list of.").await;
    };
    match app.house.keep_list(&visitor.state.site, &visitor.actor, kind, &name, raw).await {
        Ok(id) => Redirect::to(&format!("/import/{id}")).into_response(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

/// A list of the visitor's own, or the answer that there is none.
async fn own(app: &App, visitor: &Visitor, id: &str) -> Result<(Waiting, Vec<u8>), Box<Response>> {
    match app.house.list_of(&visitor.state.site, &visitor.actor, id).await {
        Ok(Some(found)) => Ok(found),
        Ok(None) => Err(Box::new(fail::nothing_here())),
        Err(gone) => Err(Box::new(fail::unavailable(&gone.operation))),
    }
}

/// Takes the answers: which column is what, and how dates and numbers are written.
pub async fn choose(
    Of(app): Of<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    if !visitor.owns(text(&fields, "csrf")) {
        return fail::foreign_form();
    }
    let (waiting, raw) = match own(&app, &visitor, &id).await {
        Ok(found) => found,
        Err(answer) => return *answer,
    };
    let kind = waiting.kind;
    let found = tokio::task::spawn_blocking(move || answers(kind, &raw, waiting.chosen, &fields)).await;
    let Ok(chosen) = found else { return fail::unreadable(StatusCode::BAD_REQUEST) };
    let site = &visitor.state.site;
    let kept = match app.house.choose_for_list(site, &id, &chosen).await {
        Ok(()) => app.house.keep_mapping(site, kind, &chosen, &visitor.actor).await,
        Err(gone) => Err(gone),
    };
    match kept {
        Ok(()) => Redirect::to(&format!("/import/{id}")).into_response(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

/// What the form says. A column that the names of the file tell already is not kept: the next file may have another.
fn answers(kind: Kind, raw: &[u8], before: Chosen, fields: &Fields) -> Chosen {
    let mut chosen = before;
    if let Some(charset) = Charset::named(text(fields, "charset")) {
        chosen.charset = Some(charset);
    }
    match text(fields, "decimal") {
        "point" => chosen.decimal = Some(DecimalSign::Point),
        "comma" => chosen.decimal = Some(DecimalSign::Comma),
        _ => {}
    }
    let by_name =
        grid::read(raw, chosen.charset).ok().map(|grid| Mapping::of(kind, &grid, &Chosen::default()));
    let found: BTreeMap<&str, String> = by_name
        .iter()
        .flat_map(|it| it.wanted.iter().map(|own| (own, &it.header)))
        .filter_map(|(own, header)| Some((own.column.key, header.get(own.from?.0)?.clone())))
        .collect();
    for (name, value) in fields {
        let Some((what, key)) = name.split_once('.') else { continue };
        match what {
            "column" if found.get(key).map_or("", String::as_str) == value => {
                drop(chosen.columns.remove(key))
            }
            "column" => drop(chosen.columns.insert(key.into(), value.clone())),
            "fixed" if value.trim().is_empty() => drop(chosen.fixed.remove(key)),
            "fixed" => drop(chosen.fixed.insert(key.into(), value.trim().into())),
            "dates" if value == "day_first" => drop(chosen.dates.insert(key.into(), DayOrder::DayFirst)),
            "dates" if value == "month_first" => drop(chosen.dates.insert(key.into(), DayOrder::MonthFirst)),
            _ => {}
        }
    }
    chosen
}

/// Begins to record a list as it was looked at; another one is looked at again first.
pub async fn record(
    Of(app): Of<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    if !visitor.owns(text(&fields, "csrf")) {
        return fail::foreign_form();
    }
    let (waiting, raw) = match own(&app, &visitor, &id).await {
        Ok(found) => found,
        Err(answer) => return *answer,
    };
    let to = Redirect::to(&format!("/import/{id}"));
    if waiting.written.is_some() || app.house.progress_of(&visitor.state.site, &id).is_some() {
        return to.into_response();
    }
    let raw = Arc::new(raw);
    let (kind, chosen) = (waiting.kind, waiting.chosen);
    let tried = app.house.try_list(&visitor.state, &visitor.actor, kind, raw.clone(), chosen.clone()).await;
    match tried {
        Ok(Ok(tried)) if tried.plan.may_import() && tried.digest() == text(&fields, "sure") => {
            let to_record = ToRecord { id, kind, raw, chosen, tried };
            app.house.begin_import(&visitor.state.site, &visitor.actor, to_record);
            to.into_response()
        }
        Ok(_) => Redirect::to(&format!("/import/{id}?changed=1")).into_response(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

/// Lets a list go.
pub async fn drop_list(
    Of(app): Of<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    if !visitor.owns(text(&fields, "csrf")) {
        return fail::foreign_form();
    }
    if let Err(answer) = own(&app, &visitor, &id).await {
        return *answer;
    }
    match app.house.drop_list(&visitor.state.site, &id).await {
        Ok(()) => Redirect::to("/import").into_response(),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}
