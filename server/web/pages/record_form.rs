//! How a machine's files read: the record form, tried on a sample before it is saved.

use std::sync::Arc;

use askama::Template;
use axum::extract::multipart::Multipart;
use axum::extract::{self, Path, Query};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::{Value, json};

use super::plainly;
use super::record_form_fields::{Fields, asked};
use super::record_form_read::Read;
use super::shared::{Done, Page};
use crate::app::house::Outcome;
use crate::domain::command::{Act, Malformed, read_form};
use crate::domain::deciding::Turned;
use crate::domain::dry_run::dry_run;
use crate::domain::programme::Programme;
use crate::domain::record_form::check;
use crate::domain::state::Machine;
use crate::formats::form::Form;
use crate::formats::json::normal;
use crate::formats::mapping::{Beginning, beginning};
use crate::web::api::command::read;
use crate::web::form::{command, text};
use crate::web::upload::{self, Parts};
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

/// A longer sample does not stand on the page again; its file has to be chosen again.
const SAMPLE_MOST: usize = 256 * 1024;

#[derive(Template)]
#[template(path = "record_form.html")]
pub struct RecordFormPage {
    pub page: Page,
    pub machine: String,
    pub heading: String,
    /// A form is saved for this machine.
    pub saved: bool,
    /// The roles that change it.
    pub who: Vec<&'static str>,
    pub fields: Fields,
    /// What stands against the form as it was typed.
    pub errors: Vec<String>,
    pub programmes: Vec<(String, String, bool)>,
    /// The sample again, so that it can be tried again; empty where it is too long.
    pub sample: String,
    pub first_lines: Vec<(usize, String)>,
    pub read: Option<Read>,
}

/// What was sent: the form as JSON, what is wrong with it, and the sample.
#[derive(Default)]
struct Sent {
    form: Option<Value>,
    errors: Vec<String>,
    programme: String,
    sample: String,
    beginning: Beginning,
    read: Option<Read>,
}

impl RecordFormPage {
    fn of(visitor: &Visitor, machine: &Machine, done: Option<u64>, sent: Sent) -> RecordFormPage {
        let name = &machine.machine;
        let form = sent.form.unwrap_or_else(|| {
            let own = machine.form.as_ref().and_then(|form| serde_json::to_value(form).ok());
            own.unwrap_or_else(|| json!({"separator": ";", "decimal": ",", "encoding": "windows-1252"}))
        });
        let programmes = machine.programmes.iter().map(|it| it.programme.to_string());
        let first = machine.programmes.first().map(|it| it.programme.to_string()).unwrap_or_default();
        let chosen = if sent.programme.is_empty() { first } else { sent.programme };
        RecordFormPage {
            page: Page::of(visitor, "/catalogue", format!("/machines/{name}/record-form"), done),
            heading: heading(machine, &sent.errors, sent.read.as_ref()),
            machine: name.to_string(),
            saved: machine.form.is_some(),
            who: Act::roles("define_record_form").iter().map(|role| role.words()).collect(),
            fields: Fields::of(&form, &sent.beginning.header),
            errors: sent.errors,
            programmes: programmes.map(|it| (it.clone(), it.clone(), it == chosen)).collect(),
            sample: sent.sample,
            first_lines: (1..).zip(sent.beginning.lines).collect(),
            read: sent.read,
        }
    }
}

fn heading(machine: &Machine, errors: &[String], read: Option<&Read>) -> String {
    let name = &machine.machine;
    match (errors, read) {
        ([first, ..], _) => format!("This form cannot be used yet. {first}"),
        ([], Some(read)) if read.sentence.is_empty() => {
            format!("The sample cannot be read. {}", read.errors.first().map_or("", String::as_str))
        }
        ([], Some(_)) => {
            format!("The sample was read. Nothing is saved yet: save this form if it suits {name}.")
        }
        ([], None) if machine.form.is_some() => format!("The files of {name} are read by its record form."),
        ([], None) => format!("{name} has no record form: only files in the plain form are read."),
    }
}

pub async fn get(visitor: Visitor, Path(machine): Path<String>, Query(done): Query<Done>) -> Response {
    match visitor.state.machines.get(machine.as_str()) {
        Some(found) => render(&RecordFormPage::of(&visitor, found, done.seq(), Sent::default())),
        None => unknown(&machine),
    }
}

fn unknown(machine: &str) -> Response {
    super::problem::not_found("machine", machine, "/catalogue", "The catalogue")
}

/// Tries the form on a sample, saves it, or takes it away, as the pressed button says.
pub async fn post(
    visitor: Visitor,
    extract::State(app): extract::State<App>,
    Path(machine): Path<String>,
    upload: Multipart,
) -> Response {
    let parts = match upload::parts(upload).await {
        Ok(parts) => parts,
        Err(answer) => return answer,
    };
    if !visitor.owns(text(&parts.fields, "csrf")) {
        return fail::foreign_form();
    }
    let Some(found) = visitor.state.machines.get(machine.as_str()).cloned() else {
        return unknown(&machine);
    };
    let form = command(&parts.fields, visitor.state.zone).map(|mut all| asked(all["form"].take()));
    match (text(&parts.fields, "act"), form) {
        ("take_away", _) => save(&app, &visitor, &found, parts, Value::Null).await,
        ("save", Ok(form)) => save(&app, &visitor, &found, parts, form).await,
        (_, Ok(form)) => attempt(&visitor, &found, parts, form).await,
        (_, Err(errors)) => {
            let sent = Sent { errors: words(&errors), ..Sent::default() };
            answer(&RecordFormPage::of(&visitor, &found, None, sent))
        }
    }
}

fn words(errors: &[Malformed]) -> Vec<String> {
    let told = |it: &Malformed| match (it.detail.starts_with("missing field"), it.pointer.as_str()) {
        (true, "/columns" | "/form/columns") => {
            "No column is named yet; the time and at least one temperature are needed.".to_string()
        }
        (true, pointer) => format!("{} is empty.", place(pointer)),
        (false, pointer) => format!("{}: {}.", place(pointer), plainly::detail(&it.detail)),
    };
    errors.iter().map(told).collect()
}

/// A place of the form as people find it on the page: `/form/columns/1/unit` is the unit of column 2.
fn place(pointer: &str) -> String {
    let pointer = pointer.trim_start_matches("/form").trim_start_matches('/');
    let parts: Vec<&str> = pointer.split('/').collect();
    match parts.as_slice() {
        [""] => "The form".into(),
        ["marks", n, field] => match n.parse::<usize>() {
            Ok(n) => format!("Marked line {}, {}", n + 1, part(field)),
            Err(_) => pointer.into(),
        },
        ["columns", n, field] => match n.parse::<usize>() {
            Ok(n) => format!("Column {}, {}", n + 1, part(field)),
            Err(_) => pointer.into(),
        },
        [one] => super::shared::capital(&one.replace('_', " ")),
        _ => pointer.into(),
    }
}

/// A part of a row by its head on the page.
fn part(field: &str) -> &str {
    match field {
        "column" => "name in the file",
        "is" => "what it is",
        "name" => "name of the channel",
        "line" => "how the line begins",
        "reference" => "absolute or gauge",
        other => other,
    }
}

fn answer(page: &RecordFormPage) -> Response {
    let status = if page.errors.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    (status, render(page)).into_response()
}

/// The sample as text, where it may stand on the page again. What is UTF-8 is read as such whatever the form's encoding.
fn sample(record: Option<&[u8]>, form: &Value) -> String {
    let shown = record.filter(|bytes| bytes.len() <= SAMPLE_MOST);
    let encoding = form.get("encoding").cloned().and_then(|it| serde_json::from_value(it).ok());
    let text = shown.map(|bytes| crate::formats::encoding::readable(bytes, encoding.unwrap_or_default()));
    text.unwrap_or_default()
}

async fn attempt(visitor: &Visitor, machine: &Arc<Machine>, parts: Parts, form: Value) -> Response {
    let programme = text(&parts.fields, "programme").to_string();
    let (read, errors) = match form_of(&form) {
        Ok(form) => (Some(Arc::new(form.in_zone(visitor.state.zone))), Vec::new()),
        Err(error) => (None, words(&[error])),
    };
    let mut sent = Sent {
        sample: sample(parts.record.as_deref(), &form),
        beginning: parts.record.as_deref().map(|bytes| beginning(bytes, &form)).unwrap_or_default(),
        programme: programme.clone(),
        form: Some(form),
        errors,
        read: None,
    };
    match (read, parts.record) {
        (Some(form), Some(bytes)) => {
            let machine = machine.clone();
            let tried = tokio::task::spawn_blocking(move || {
                let by = machine.programmes.iter().find(|it| it.programme.as_str() == programme);
                let by: Option<&Programme> = by.map(|it| &**it);
                Read::of(&dry_run(machine.kind, Some(&form), by, &bytes), true, by)
            });
            sent.read = tried.await.ok();
        }
        (Some(_), None) => {
            sent.errors.push("No sample was given: choose a file, or paste it as text.".into())
        }
        (None, _) => {}
    }
    answer(&RecordFormPage::of(visitor, machine, None, sent))
}

fn form_of(form: &Value) -> Result<Form, Malformed> {
    let form: Form = read_form(normalised(form))?;
    check(&form, "/form")?;
    Ok(form)
}

/// Text as a command would have it.
fn normalised(form: &Value) -> Value {
    serde_json::from_str(&normal(&form.to_string())).unwrap_or_default()
}

async fn save(app: &App, visitor: &Visitor, machine: &Machine, parts: Parts, form: Value) -> Response {
    let asked = json!({"do": "define_record_form", "machine": machine.machine, "form": form});
    let outcome = match read(asked) {
        Ok(command) => {
            app.house.submit(&visitor.state.site, &visitor.actor, vec![command]).await.into_iter().next()
        }
        Err(errors) => Some(Outcome::Turned(Turned::Malformed(errors))),
    };
    let errors = match outcome {
        Some(Outcome::Accepted(accepted)) => {
            let to = format!("/machines/{}/record-form?done={}", machine.machine, accepted.entry);
            return Redirect::to(&to).into_response();
        }
        Some(Outcome::Turned(Turned::Malformed(errors))) => words(&errors),
        Some(Outcome::Turned(Turned::Refused(refusal))) => refusal.reasons().map(|it| it.detail()).collect(),
        Some(Outcome::Turned(Turned::NotYourRole)) => return fail::not_for(visitor.actor.role),
        Some(Outcome::Unavailable(gone)) => return fail::unavailable(&gone.operation),
        Some(Outcome::KeyReused | Outcome::UnknownSite) | None => return fail::nothing_here(),
    };
    let sent = Sent {
        sample: sample(parts.record.as_deref(), &form),
        beginning: parts.record.as_deref().map(|bytes| beginning(bytes, &form)).unwrap_or_default(),
        programme: text(&parts.fields, "programme").to_string(),
        form: Some(form).filter(|form| !form.is_null()),
        errors,
        read: None,
    };
    answer(&RecordFormPage::of(visitor, machine, None, sent))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_form_stands_on_its_page_and_says_how_it_is_read() {
        let visitor = sample::visitor();
        let machine = visitor.state.machines.values().next().unwrap();
        let page = RecordFormPage::of(&visitor, machine, None, Sent::default());
        let text = sample::show("record-form", &page);
        assert!(text.contains("only files in the plain form are read") && text.contains("Try this form"));
        let sent = Sent { errors: vec!["Pattern: <missing>.".into()], ..Sent::default() };
        let text = sample::show("record-form-wrong", &RecordFormPage::of(&visitor, machine, None, sent));
        assert!(text.contains("cannot be used yet. Pattern: &#60;missing&#62;"));
    }

    #[test]
    fn a_place_is_told_as_it_stands_on_the_page() {
        assert_eq!(place("/form/columns/1/unit"), "Column 2, unit");
        assert_eq!(place("/form/skip_lines"), "Skip lines");
        assert_eq!(place("/form"), "The form");
    }
}
