//! Forms of pages as commands: the names of the fields say what they are in JSON.
//!
//! A plain name is text; `name:int`, `name:bool`, `name:lines` (a list of texts), `name:step` (a step of a route, or a
//! step and its method after a stroke) and `name:json` say otherwise; dots nest, and numbers between them make a list.
//! An empty field is left out, so that an optional one may stay empty, and so is a row of a list that is all empty.

use std::collections::BTreeMap;

use axum::extract::{Form, State};
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::{Map, Value, json};

use super::App;
use super::api::command::read;
use super::fail;
use super::pages::refusal;
use super::session::local;
use super::visitor::Visitor;
use crate::app::house::{Outcome, Unavailable, operation};
use crate::domain::command::{Malformed, wrong};
use crate::domain::deciding::Turned;

/// The fields of a form, in order.
pub type Fields = Vec<(String, String)>;

/// Names that the form itself uses.
const OWN: [&str; 2] = ["csrf", "back"];

/// The command that a form asks for, as JSON.
pub fn command(fields: &Fields) -> Result<Value, Vec<Malformed>> {
    let mut all = Map::new();
    let mut errors = Vec::new();
    for (name, text) in fields {
        let (path, kind) = name.split_once(':').unwrap_or((name, ""));
        let text = text.trim();
        if OWN.contains(&path) || text.is_empty() {
            continue;
        }
        match value(kind, text) {
            Ok(value) => put(&mut all, path, value),
            Err(detail) => errors.push(wrong(format!("/{}", path.replace('.', "/")), detail)),
        }
    }
    if errors.is_empty() { Ok(listed(Value::Object(all))) } else { Err(errors) }
}

/// What is numbered becomes a list, in the order of its numbers; empty rows have left no number behind.
fn listed(value: Value) -> Value {
    let Value::Object(fields) = value else {
        return value;
    };
    let fields = fields.into_iter().map(|(name, value)| (name, listed(value)));
    let (mut rows, mut named) = (BTreeMap::new(), Map::new());
    for (name, value) in fields {
        match name.parse::<usize>() {
            Ok(number) => drop(rows.insert(number, value)),
            Err(_) => drop(named.insert(name, value)),
        }
    }
    if rows.is_empty() { Value::Object(named) } else { rows.into_values().collect() }
}

fn value(kind: &str, text: &str) -> Result<Value, String> {
    match kind {
        "int" => text
            .parse::<u64>()
            .map(Value::from)
            .map_err(|_| format!("found \"{text}\"; a whole number is needed")),
        "bool" => Ok(Value::Bool(matches!(text, "true" | "on" | "yes" | "1"))),
        "lines" => Ok(text.split_whitespace().map(Value::from).collect()),
        "step" => Ok(match text.split_once('/') {
            Some((step, method)) => json!({"step": step, "method": method}),
            None => json!({"step": text}),
        }),
        "json" => serde_json::from_str(text).map_err(|error| format!("found no JSON: {error}")),
        _ => Ok(Value::from(text)),
    }
}

fn put(all: &mut Map<String, Value>, path: &str, value: Value) {
    match path.split_once('.') {
        None => {
            all.insert(path.into(), value);
        }
        Some((outer, inner)) => {
            let nested = all.entry(outer).or_insert_with(|| Value::Object(Map::new()));
            if let Value::Object(nested) = nested {
                put(nested, inner, value);
            }
        }
    }
}

fn text<'a>(fields: &'a Fields, name: &str) -> &'a str {
    fields.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.as_str())
}

/// The path with the entry that was just written in its query.
fn with_done(back: &str, entry: u64) -> String {
    let (page, mark) =
        back.split_once('#').map_or((back, String::new()), |(page, mark)| (page, format!("#{mark}")));
    let (path, query) = page.split_once('?').unwrap_or((page, ""));
    let kept = query.split('&').filter(|pair| !pair.is_empty() && !pair.starts_with("done="));
    let query: Vec<String> = kept.map(String::from).chain([format!("done={entry}")]).collect();
    format!("{path}?{}{mark}", query.join("&"))
}

pub async fn post(State(app): State<App>, visitor: Visitor, Form(fields): Form<Fields>) -> Response {
    submit(&app, &visitor, fields).await
}

/// Submits a form's command and answers with the page that it came from, or with the refusal, whole.
pub async fn submit(app: &App, visitor: &Visitor, fields: Fields) -> Response {
    if !visitor.owns(text(&fields, "csrf")) {
        return fail::foreign_form();
    }
    let back = local(text(&fields, "back")).to_string();
    let outcome = match command(&fields).and_then(read) {
        Ok(command) => {
            let outcomes = app.house.submit(&visitor.state.site, &visitor.actor, vec![command]).await;
            let lost = || Outcome::Unavailable(Unavailable { operation: operation() });
            outcomes.into_iter().next().unwrap_or_else(lost)
        }
        Err(errors) => Outcome::Turned(Turned::Malformed(errors)),
    };
    match outcome {
        Outcome::Accepted(accepted) => Redirect::to(&with_done(&back, accepted.entry)).into_response(),
        Outcome::Unavailable(gone) => fail::unavailable(&gone.operation),
        turned => refusal::respond(visitor, text(&fields, "do"), &fields, &turned, &back),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_names_of_fields_say_their_types() {
        let fields = [
            ("csrf", "x"),
            ("do", "judge_load"),
            ("readings.min_c", "134.1"),
            ("readings.complete:bool", "true"),
            ("position:int", "2"),
            ("scan:lines", "A B\nC"),
            ("note", " "),
        ];
        let fields = fields.map(|(name, value)| (name.to_string(), value.to_string())).to_vec();
        let expected = json!({"do": "judge_load", "readings": {"min_c": "134.1", "complete": true}, "position": 2,
                              "scan": ["A", "B", "C"]});
        assert_eq!(command(&fields), Ok(expected));
    }

    #[test]
    fn numbered_fields_make_a_list_without_its_empty_rows() {
        let fields = [
            ("do", "define_route"),
            ("window.0", "-5"),
            ("window.1", "15"),
            ("steps.0:step", "treated"),
            ("steps.1:step", ""),
            ("steps.10:step", "sterilised/steam"),
            ("steps.2:step", "disinfected/manual"),
            ("lines.0.line", "barrel"),
            ("lines.0.essential:bool", "false"),
            ("lines.1.line", " "),
        ];
        let fields = fields.map(|(name, value)| (name.to_string(), value.to_string())).to_vec();
        let expected = json!({"do": "define_route", "window": ["-5", "15"],
            "steps": [{"step": "treated"}, {"step": "disinfected", "method": "manual"},
                      {"step": "sterilised", "method": "steam"}],
            "lines": [{"line": "barrel", "essential": false}]});
        assert_eq!(command(&fields), Ok(expected));
    }

    #[test]
    fn a_page_is_told_what_was_done() {
        assert_eq!(with_done("/sets/B2?done=3&x=1#lines", 9), "/sets/B2?x=1&done=9#lines");
    }
}
