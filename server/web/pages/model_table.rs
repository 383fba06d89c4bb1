//! A table of models, pasted: looked at line by line first, then saved together.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::extract::{Form, Query, State as Of};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::Value;

use super::model_fields::label;
use super::refused::reasons;
use super::shared::{Done, Page, count};
use crate::app::house::Outcome;
use crate::domain::model::Model;
use crate::domain::model_columns::headings;
use crate::domain::model_table::{Change, Checked, LINES_MOST, Line, check};
use crate::domain::sha256::Sha256Of;
use crate::domain::state::State;
use crate::formats::table::Fault;
use crate::web::api::command::read;
use crate::web::form::{Fields, text};
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

/// A line that can be saved, or what became of it.
pub struct LineRow {
    pub line: u64,
    pub model: String,
    pub name: String,
    pub family: String,
    pub sizes: String,
    pub becomes: String,
}

#[derive(Template)]
#[template(path = "model_table.html")]
pub struct ModelTablePage {
    pub page: Page,
    pub heading: String,
    pub table: String,
    pub routes: Vec<(String, bool)>,
    pub columns: Vec<String>,
    pub most: usize,
    pub faults: Vec<Fault>,
    pub doubts: Vec<Fault>,
    pub lines: Vec<LineRow>,
    /// What may be saved now, and no other; empty where nothing may.
    pub sure: String,
    pub to_save: usize,
    /// What became of the lines, where not all were recorded.
    pub torn: bool,
}

/// What was checked, so that nothing else is saved than what was seen.
fn digest(checked: &Checked) -> String {
    let lines = checked.to_save().map(|line| line.command.to_string());
    let doubts =
        checked.doubts.iter().map(|it| format!("{} {} {} {}", it.line, it.column, it.found, it.needed));
    let all: Vec<String> = lines.chain(doubts).collect();
    hex::encode(Sha256Of::of(all.join("\u{0}").as_bytes()).0)
}

fn becomes(state: &State, line: &Line) -> String {
    match (line.change, state.models.get(&line.model.model)) {
        (Change::New, _) | (Change::Changes, None) => "new".into(),
        (Change::Same, _) => "stands so already".into(),
        (Change::Changes, Some(known)) => format!("changes {}", changes(state, known, &line.model)),
    }
}

/// What a line changes of a model that is there, and how many parts of it there are: "Working length in mm: 400 → 430; 4
/// parts in the house".
fn changes(state: &State, known: &Model, new: &Model) -> String {
    let of = |model: &Model| {
        let mut all = BTreeMap::new();
        told(&serde_json::to_value(model).unwrap_or_default(), "", &mut all);
        all
    };
    let (before, after) = (of(known), of(new));
    let places: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    let word = |all: &BTreeMap<String, String>, at: &str| all.get(at).map_or("none".into(), String::clone);
    let differ = places.into_iter().filter(|at| before.get(*at) != after.get(*at));
    let mut all: Vec<String> =
        differ.map(|at| format!("{}: {} → {}", label(at), word(&before, at), word(&after, at))).collect();
    let parts = state.assets.values().filter(|it| it.model == known.model && it.retired.is_none()).count();
    all.push(match parts {
        0 => "no part in the house".into(),
        n => format!("{} in the house", count(n, "part", "parts")),
    });
    all.join("; ")
}

/// Every value of a model by its place; a list of plain values is one.
fn told(value: &Value, at: &str, all: &mut BTreeMap<String, String>) {
    let plain = |value: &Value| match value {
        Value::String(text) => text.clone(),
        Value::Bool(true) => "yes".into(),
        Value::Bool(false) => "no".into(),
        other => other.to_string(),
    };
    match value {
        Value::Null => {}
        Value::Object(fields) => {
            fields.iter().for_each(|(name, value)| told(value, &format!("{at}/{name}"), all));
        }
        Value::Array(list) if list.iter().any(Value::is_object) => {
            list.iter().enumerate().for_each(|(n, value)| told(value, &format!("{at}/{n}"), all));
        }
        Value::Array(list) => {
            let words: Vec<String> = list.iter().map(plain).collect();
            all.insert(at.into(), words.join(", "));
        }
        Value::Bool(_) | Value::Number(_) | Value::String(_) => {
            all.insert(at.into(), plain(value));
        }
    }
}

impl ModelTablePage {
    fn blank(visitor: &Visitor, table: &str, route: &str) -> ModelTablePage {
        let routes = visitor.state.routes.keys().map(|it| (it.to_string(), it.as_str() == route));
        ModelTablePage {
            page: Page::of(visitor, "/catalogue", "/catalogue/models", None),
            heading: "Paste a table of models. It is looked at line by line, and nothing is saved yet."
                .into(),
            table: table.into(),
            routes: routes.collect(),
            columns: headings(),
            most: LINES_MOST,
            faults: Vec::new(),
            doubts: Vec::new(),
            lines: Vec::new(),
            sure: String::new(),
            to_save: 0,
            torn: false,
        }
    }

    fn of(visitor: &Visitor, table: &str, route: &str, checked: &Checked) -> ModelTablePage {
        let to_save = checked.to_save().count();
        let may = checked.faults.is_empty() && to_save > 0;
        let row = |it: &Line| LineRow {
            line: it.line,
            model: it.model.model.to_string(),
            name: it.model.name.0.clone(),
            family: it.model.family.words(),
            sizes: super::catalogue::sizes(&it.model),
            becomes: becomes(&visitor.state, it),
        };
        ModelTablePage {
            heading: heading(checked, to_save),
            faults: checked.faults.clone(),
            doubts: checked.doubts.clone(),
            lines: checked.lines.iter().map(row).collect(),
            sure: if may { digest(checked) } else { String::new() },
            to_save,
            ..ModelTablePage::blank(visitor, table, route)
        }
    }
}

fn heading(checked: &Checked, to_save: usize) -> String {
    let wrong = checked.faults.len();
    let doubts = match checked.doubts.len() {
        0 => "nothing looks wrong".to_string(),
        1 => "one thing looks wrong or is lacking".into(),
        many => format!("{many} things look wrong or are lacking"),
    };
    match (wrong, to_save) {
        (0, 0) => "Every line stands in the catalogue as it is. There is nothing to save.".into(),
        (0, _) => {
            format!("{} can be saved; {doubts}. Nothing is saved yet.", count(to_save, "model", "models"))
        }
        (1, _) => match checked.faults.first() {
            Some(it) if it.column.is_empty() => {
                format!("Nothing can be saved: line {} cannot be so, {}.", it.line, it.found)
            }
            Some(it) => {
                format!("Nothing can be saved: line {} cannot be so, {}: {}.", it.line, it.column, it.found)
            }
            None => "Nothing can be saved.".into(),
        },
        _ => format!("Nothing can be saved: {wrong} things in the table cannot be so."),
    }
}

pub async fn get(visitor: Visitor, Query(done): Query<Done>) -> Response {
    let mut page = ModelTablePage::blank(&visitor, "", "");
    page.page.done = done.seq();
    render(&page)
}

/// Checks the table, or saves what was checked.
pub async fn post(Of(app): Of<App>, visitor: Visitor, Form(fields): Form<Fields>) -> Response {
    if !visitor.owns(text(&fields, "csrf")) {
        return fail::foreign_form();
    }
    let (table, route) = (text(&fields, "table").to_string(), text(&fields, "route").to_string());
    let (state, copy, given) = (visitor.state.clone(), table.clone(), route.clone());
    let checked = tokio::task::spawn_blocking(move || {
        check(&state, &copy, Some(given.as_str()).filter(|it| !it.is_empty()))
    });
    let Ok(checked) = checked.await else { return fail::nothing_here() };
    let mut page = ModelTablePage::of(&visitor, &table, &route, &checked);
    let sure = text(&fields, "sure");
    if page.sure.is_empty() || sure != page.sure {
        if !sure.is_empty() {
            page.heading = format!(
                "Not saved: the table or the catalogue changed since it was looked at. {}",
                page.heading
            );
        }
        let status = if page.faults.is_empty() && sure.is_empty() {
            StatusCode::OK
        } else {
            StatusCode::UNPROCESSABLE_ENTITY
        };
        return (status, render(&page)).into_response();
    }
    save(&app, &visitor, page, &checked).await
}

/// All of the lines go to the clerk together, each having passed the check. Should the clerk take some and not others
/// all the same (the database went away between two of them), the page says which.
async fn save(app: &App, visitor: &Visitor, mut page: ModelTablePage, checked: &Checked) -> Response {
    let commands = checked.to_save().map(|line| read(line.command.clone())).collect::<Result<Vec<_>, _>>();
    let Ok(commands) = commands else { return fail::unreadable(StatusCode::BAD_REQUEST) };
    let outcomes = app.house.submit(&visitor.state.site, &visitor.actor, commands).await;
    let entries: Vec<u64> = outcomes
        .iter()
        .filter_map(|outcome| match outcome {
            Outcome::Accepted(accepted) => Some(accepted.entry),
            Outcome::Turned(_) | Outcome::KeyReused | Outcome::UnknownSite | Outcome::Unavailable(_) => None,
        })
        .collect();
    let (recorded, of) = (entries.len(), outcomes.len());
    for (line, outcome) in checked.to_save().zip(&outcomes) {
        let told = match outcome {
            Outcome::Accepted(accepted) => format!("recorded as entry {}", accepted.entry),
            other => {
                let why = reasons(other, "define_model").into_iter().next();
                format!("not recorded: {}", why.map(|it| it.found).unwrap_or_default())
            }
        };
        if let Some(row) = page.lines.iter_mut().find(|row| row.line == line.line) {
            row.becomes = told;
        }
    }
    page.sure = String::new();
    page.to_save = 0;
    if recorded == of {
        page.heading = match (entries.first(), entries.last()) {
            (Some(first), Some(last)) if first != last => {
                format!("{} saved, as entries {first} to {last}.", count(recorded, "model is", "models are"))
            }
            (first, _) => format!("One model is saved, as entry {}.", first.copied().unwrap_or_default()),
        };
        page.table = String::new();
        return render(&page);
    }
    page.torn = recorded > 0;
    page.heading = match recorded {
        0 => "Nothing was saved.".into(),
        _ => format!(
            "Only {recorded} of {of} models were saved. Check the table again: what was saved stands so already."
        ),
    };
    let gone = outcomes.iter().any(|it| matches!(it, Outcome::Unavailable(_)));
    let status = if gone { StatusCode::SERVICE_UNAVAILABLE } else { StatusCode::CONFLICT };
    (status, render(&page)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    #[test]
    fn a_changed_model_says_what_changes_and_for_how_many_parts() {
        let visitor = sample::visitor();
        let known = visitor.state.assets.values().find(|it| it.retired.is_none()).unwrap().model.clone();
        let model = visitor.state.model(&known).unwrap();
        let table = format!("model;name\n{known};Renamed");
        let checked = check(&visitor.state, &table, None);
        let told = becomes(&visitor.state, checked.lines.first().unwrap());
        assert!(told.contains(&format!("{} → Renamed; ", model.name.0)), "{told}");
        assert!(told.starts_with("changes Name") && told.ends_with(" in the house"), "{told}");
        let mut longer = (*model).clone();
        longer.dimensions.length_mm = serde_json::from_value(serde_json::json!("431")).unwrap();
        let told = changes(&visitor.state, model, &longer);
        assert!(told.starts_with("Working length in mm: ") && told.contains(" → 431; "), "{told}");
    }

    #[test]
    fn the_page_names_line_and_column() {
        let mut visitor = sample::visitor();
        visitor.actor.role = Role::Biomed;
        let table = "model;name;family;ID mm;OD mm;length cm\nb-1;Barrel 1;bronchoscope;5,0;4,3;30\nb-2;Barrel 2;bronchoscope;5,0;5,7;30";
        let checked = check(&visitor.state, table, Some("rigid"));
        let text = sample::show("model-table-wrong", &ModelTablePage::of(&visitor, table, "rigid", &checked));
        assert!(
            text.contains("Nothing can be saved: line 2 cannot be so, ") && !text.contains("name=\"sure\""),
            "{text}"
        );
        let table = table.replace("4,3", "5,7");
        let checked = check(&visitor.state, &table, Some("rigid"));
        let text = sample::show("model-table", &ModelTablePage::of(&visitor, &table, "rigid", &checked));
        assert!(
            text.contains("2 models can be saved; nothing looks wrong") && text.contains("name=\"sure\""),
            "{text}"
        );
    }
}
