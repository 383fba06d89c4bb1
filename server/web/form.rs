//! Forms of pages as commands: the names of the fields say what they are in JSON.
//!
//! A plain name is text; `name:decimal` is one in which a decimal comma will do; `name:int`, `name:cents` (an amount as people write it), `name:bool`, `name:lines` (a list of
//! texts), `name:commas` and `name:holes` (a list of texts, between commas or between spaces, or "none"), `name:step` (a step of a route, or a step and its method after a stroke), `name:json`, `name:local` (a day
//! and an hour of the site) and `name:each` (one text of a list, as often as the form has it) say otherwise; dots nest,
//! and numbers between them make a list.
//! `name:into` is a choice between lists: its value is `list=text`. An empty field is left out, so that an optional one
//! may stay empty, and so is a row of a list that is all empty; what is named `name:beside` is left out with the rest of its row; so is a field whose twin `was.name` has the same value,
//! since it does not change. A button named `:fields` carries whole fields.

use std::collections::BTreeMap;

use axum::extract::{Form, State};
use axum::response::{IntoResponse, Redirect, Response};
use chrono::NaiveDateTime;
use chrono_tz::Tz;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};

use super::App;
use super::api::command::read;
use super::fail;
use super::pages::refusal;
use super::pages::shared::segment;
use super::session::local;
use super::visitor::Visitor;
use crate::app::house::{Outcome, Unavailable, operation};
use crate::domain::command::{Command, Malformed, wrong};
use crate::domain::deciding::Turned;
use crate::domain::import::instant;

/// The fields of a form, in order.
pub type Fields = Vec<(String, String)>;

/// Names that the form itself uses: whose it is, the page that it returns to, and the page that it goes on to.
const OWN: [&str; 3] = ["csrf", "back", "onward"];
/// Before the name of a field whose value is what it was when the form was made.
pub const BEFORE: &str = "was.";

fn is_unchanged(fields: &Fields, name: &str) -> bool {
    let was = format!("{BEFORE}{name}");
    let values = |name: &str| -> Vec<&str> {
        let of = fields.iter().filter(|(field, value)| field == name && !value.is_empty());
        of.map(|(_, value)| value.trim()).collect()
    };
    fields.iter().any(|(field, _)| *field == was) && values(name) == values(&was)
}

/// Whether the row of a field has anything in it that a person gave.
fn has_company(fields: &Fields, path: &str) -> bool {
    let row = |name: &str| name.rsplit_once('.').map(|(row, _)| row.to_string());
    let given = |(name, text): &(String, String)| {
        let (other, kind) = name.split_once(':').unwrap_or((name, ""));
        kind != "beside" && row(other) == row(path) && !text.trim().is_empty()
    };
    fields.iter().any(given)
}

/// The command that a form asks for, as JSON; hours are those of the zone.
pub fn command(fields: &Fields, zone: Tz) -> Result<Value, Vec<Malformed>> {
    let mut all = Map::new();
    let mut errors = Vec::new();
    for (name, text) in fields {
        let (path, kind) = name.split_once(':').unwrap_or((name, ""));
        let text = text.trim();
        let own = OWN.contains(&path) || name.starts_with(BEFORE);
        let alone = kind == "beside" && !has_company(fields, path);
        if own || text.is_empty() || alone || is_unchanged(fields, name) {
            continue;
        }
        match value(kind, text, zone) {
            Ok(value) if kind == "each" => add(&mut all, path, value),
            Ok(value) if kind == "into" => match text.split_once('=') {
                Some((list, one)) => add(&mut all, list, Value::from(one)),
                None => put(&mut all, path, value),
            },
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

/// A day and an hour of the site.
fn day_and_hour(text: &str) -> Result<NaiveDateTime, String> {
    NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M")
        .map_err(|_| format!("found \"{text}\"; a day and an hour are needed, as 2026-03-02T07:15"))
}

fn value(kind: &str, text: &str, zone: Tz) -> Result<Value, String> {
    match kind {
        "int" => text
            .parse::<u64>()
            .map(Value::from)
            .map_err(|_| format!("found \"{text}\"; a whole number is needed")),
        "cents" => cents(text)
            .map(Value::from)
            .ok_or_else(|| format!("found \"{text}\"; an amount such as 120.50 is needed")),
        "bool" => Ok(Value::Bool(matches!(text, "true" | "on" | "yes" | "1"))),
        "decimal" => Ok(Value::from(pointed(text))),
        "holes" if text.eq_ignore_ascii_case("none") => Ok(json!([])),
        "holes" => Ok(text.split_whitespace().map(|hole| Value::from(pointed(hole))).collect()),
        "lines" => Ok(text.split_whitespace().map(Value::from).collect()),
        "commas" if text.eq_ignore_ascii_case("none") => Ok(json!([])),
        "commas" => Ok(text.split(',').map(str::trim).filter(|it| !it.is_empty()).map(Value::from).collect()),
        "step" => Ok(match text.split_once('/') {
            Some((step, method)) => json!({"step": step, "method": method}),
            None => json!({"step": text}),
        }),
        "local" => day_and_hour(text).and_then(|local| {
            let at = instant(local.date(), local.time(), zone);
            at.map(|at| Value::from(at.to_string()))
                .map_err(|(found, needed)| format!("found {found}; {needed}"))
        }),
        "json" => serde_json::from_str(text).map_err(|error| format!("found no JSON: {error}")),
        _ => Ok(Value::from(text)),
    }
}

/// The same with a point for each decimal comma: one that stands between digits.
pub fn pointed(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let digit = |at: Option<usize>| at.and_then(|at| letters.get(at)).is_some_and(char::is_ascii_digit);
    let each = letters.iter().enumerate().map(|(n, letter)| match letter {
        ',' if digit(n.checked_sub(1)) && digit(Some(n + 1)) => '.',
        other => *other,
    });
    each.collect()
}

/// An amount with at most two decimals, as cents.
fn cents(text: &str) -> Option<u64> {
    let (whole, part) = text.split_once(['.', ',']).unwrap_or((text, ""));
    let digits =
        |text: &str| !text.is_empty() && text.len() <= 12 && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || !(part.is_empty() || digits(part)) || part.len() > 2 {
        return None;
    }
    format!("{whole}{part:0<2}").parse().ok()
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

fn add(all: &mut Map<String, Value>, list: &str, value: Value) {
    let list = all.entry(list).or_insert_with(|| Value::Array(Vec::new()));
    if let Value::Array(list) = list {
        list.push(value);
    }
}

pub fn text<'a>(fields: &'a Fields, name: &str) -> &'a str {
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

/// Where an accepted form goes on to: its own page, or the thing that it named or made.
fn onward(fields: &Fields, event: &Value, back: &str) -> String {
    let then = local(text(fields, "onward"));
    let made = event.get("made").and_then(Value::as_str).unwrap_or_default();
    match text(fields, "onward") {
        "" => back.to_string(),
        _ => then.replace("{made}", &segment(made)).replace("{case}", &segment(text(fields, "case"))),
    }
}

/// A button that carries fields of its own, as JSON: they stand in the form as if they had been there. Its key is that of who
/// pressed it, since two people may press one button.
fn spread(fields: Fields, who: &str) -> Fields {
    let mut all = Fields::new();
    for (name, text) in fields {
        let own = name.ends_with(":fields").then(|| serde_json::from_str::<Map<String, Value>>(&text).ok());
        let Some(own) = own.flatten() else {
            all.push((name, text));
            continue;
        };
        all.extend(own.iter().filter_map(|(name, value)| {
            let value = value.as_str()?;
            let key = || hex::encode(Sha256::digest(format!("{value} {who}")).get(..16).unwrap_or_default());
            Some((name.clone(), if name == "key" { key() } else { value.to_string() }))
        }));
    }
    all
}

pub async fn post(State(app): State<App>, visitor: Visitor, Form(fields): Form<Fields>) -> Response {
    submit(&app, &visitor, fields).await
}

/// Submits a form's command and answers with the page that it came from, or with the refusal, whole.
pub async fn submit(app: &App, visitor: &Visitor, fields: Fields) -> Response {
    let fields = spread(fields, &visitor.actor.code);
    let asked = command(&fields, visitor.state.zone).and_then(read);
    submit_read(app, visitor, &fields, asked).await
}

/// Submits what was read of a form, or why it could not be read.
pub async fn submit_read(
    app: &App,
    visitor: &Visitor,
    fields: &Fields,
    asked: Result<Command, Vec<Malformed>>,
) -> Response {
    if !visitor.owns(text(fields, "csrf")) {
        return fail::foreign_form();
    }
    let back = local(text(fields, "back")).to_string();
    let outcome = match asked {
        Ok(command) => {
            let outcomes = app.house.submit(&visitor.state.site, &visitor.actor, vec![command]).await;
            let lost = || Outcome::Unavailable(Unavailable { operation: operation() });
            outcomes.into_iter().next().unwrap_or_else(lost)
        }
        Err(errors) => Outcome::Turned(Turned::Malformed(errors)),
    };
    match outcome {
        Outcome::Accepted(accepted) => {
            let to = onward(fields, &accepted.event, &back);
            Redirect::to(&with_done(&to, accepted.entry)).into_response()
        }
        Outcome::Unavailable(gone) => fail::unavailable(&gone.operation),
        turned => refusal::respond(visitor, text(fields, "do"), fields, &turned, &back),
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
            ("start:local", "2026-07-01T10:30"),
            ("needs:each", "adult"),
            ("needs:each", ""),
            ("needs:each", "adult"),
            ("C.1:into", "missing=C.1"),
            ("B-1:into", ""),
        ];
        let expected = json!({"do": "judge_load", "readings": {"min_c": "134.1", "complete": true}, "position": 2,
                              "scan": ["A", "B", "C"], "start": "2026-07-01T08:30:00Z", "needs": ["adult", "adult"],
                              "missing": ["C.1"]});
        assert_eq!(command(&owned(&fields), chrono_tz::Europe::Berlin), Ok(expected));
        let wrong = owned(&[("start:local", "half past ten")]);
        assert!(command(&wrong, Tz::UTC).is_err_and(|all| all[0].pointer == "/start"));
    }

    fn owned(fields: &[(&str, &str)]) -> Fields {
        fields.iter().map(|(name, value)| (name.to_string(), value.to_string())).collect()
    }

    #[test]
    fn what_does_not_change_is_not_sent() {
        let fields = [
            ("minutes:int", "60"),
            ("was.minutes:int", "60"),
            ("needs:each", "adult"),
            ("needs:each", "child"),
            ("was.needs:each", "adult"),
            ("room", "2"),
            ("was.room", ""),
            ("patient", "P-9"),
        ];
        let expected = json!({"needs": ["adult", "child"], "room": "2", "patient": "P-9"});
        assert_eq!(command(&owned(&fields), Tz::UTC), Ok(expected));
    }

    #[test]
    fn an_accepted_form_goes_on_to_what_it_made() {
        let fields = owned(&[("onward", "/cases/{made}"), ("case", "K-1")]);
        assert_eq!(
            onward(&fields, &json!({"made": "emergency-0001"}), "/emergency"),
            "/cases/emergency-0001"
        );
        assert_eq!(onward(&owned(&[("case", "K-1")]), &json!({}), "/sets/B2"), "/sets/B2");
        assert_eq!(onward(&owned(&[("onward", "//elsewhere")]), &json!({}), "/sets/B2"), "/");
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
        let expected = json!({"do": "define_route", "window": ["-5", "15"],
            "steps": [{"step": "treated"}, {"step": "disinfected", "method": "manual"},
                      {"step": "sterilised", "method": "steam"}],
            "lines": [{"line": "barrel", "essential": false}]});
        assert_eq!(command(&owned(&fields), Tz::UTC), Ok(expected));
    }

    #[test]
    fn what_stands_beside_a_field_goes_with_it() {
        let fields = [
            ("checks.0.check:beside", "dark area"),
            ("checks.0.value", "12"),
            ("checks.0.passed:bool", "true"),
            ("checks.1.check:beside", "jaws"),
            ("checks.1.value", " "),
        ];
        let expected = json!({"checks": [{"check": "dark area", "value": "12", "passed": true}]});
        assert_eq!(command(&owned(&fields), Tz::UTC), Ok(expected));
    }

    #[test]
    fn an_amount_becomes_cents() {
        for (text, expected) in
            [("120.50", Some(12_050)), ("7", Some(700)), ("0,5", Some(50)), ("007.05", Some(705))]
        {
            assert_eq!(cents(text), expected, "{text}");
        }
        for text in ["", ".", "1.234", "-3", "1e3", "1.2.3", "99999999999999999999", "٣"] {
            assert_eq!(cents(text), None, "{text}");
        }
    }

    #[test]
    fn a_page_is_told_what_was_done() {
        assert_eq!(with_done("/sets/B2?done=3&x=1#lines", 9), "/sets/B2?x=1&done=9#lines");
    }
}
