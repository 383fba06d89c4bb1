//! What a program may ask of this house, and how: the API's own document, laid out to be read.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;
use serde_json::Value;

use super::shared::Page;
use crate::domain::command::Act;
use crate::domain::person::Role;
use crate::web::api::reference::{SITE, USUAL, document, examples, meaning};
use crate::web::visitor::{Visitor, render};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub role: String,
}

/// The kind of a body that is a form.
const FORM: &str = "application/x-www-form-urlencoded";

/// A piece of what a type is called, with the shape that it leads to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    pub text: String,
    pub shape: Option<String>,
}

/// A field, a parameter.
pub struct Field {
    pub name: String,
    pub kind: Vec<Piece>,
    pub needed: bool,
    pub says: String,
}

pub struct Answer {
    pub status: String,
    pub says: String,
    pub kind: Vec<Piece>,
}

/// An address with a method.
pub struct Operation {
    pub id: String,
    pub method: String,
    pub path: String,
    /// The path without what all have before it.
    pub short: String,
    pub says: String,
    pub roles: String,
    pub fields: Vec<Field>,
    /// What its body is, in a word.
    pub body: Vec<Piece>,
    pub answers: Vec<Answer>,
    pub example: String,
}

/// A command, or a shape that others name.
pub struct Shape {
    pub name: String,
    pub says: String,
    pub roles: String,
    pub kind: Vec<Piece>,
    pub fields: Vec<Field>,
    pub example: String,
}

/// A role that the page can be read for.
pub struct Choice {
    pub name: &'static str,
    pub words: &'static str,
    pub chosen: bool,
}

#[derive(Template)]
#[template(path = "api_reference.html")]
pub struct ApiReferencePage {
    pub page: Page,
    pub heading: String,
    pub choices: Vec<Choice>,
    pub operations: Vec<Operation>,
    /// What every address may refuse.
    pub usual: Vec<(u16, &'static str)>,
    pub commands: Vec<Shape>,
    /// What stands around every command.
    pub around: Vec<Field>,
    pub shapes: Vec<Shape>,
}

fn text(value: &Value, name: &str) -> String {
    value[name].as_str().unwrap_or_default().to_owned()
}

fn plain(text: impl Into<String>) -> Piece {
    Piece { text: text.into(), shape: None }
}

/// What a schema is called: words, and the names of shapes.
fn kind(schema: &Value) -> Vec<Piece> {
    if let Some(name) = schema["$ref"].as_str().and_then(|it| it.rsplit('/').next()) {
        if name == "Command" {
            return vec![plain("command")];
        }
        return vec![Piece { text: name.into(), shape: Some(name.into()) }];
    }
    for several in ["oneOf", "anyOf"] {
        if let Some(all) = schema[several].as_array() {
            let mut pieces = Vec::new();
            for (at, one) in all.iter().enumerate() {
                pieces.extend((at > 0).then(|| plain(" or ")));
                pieces.extend(kind(one));
            }
            return pieces;
        }
    }
    if let Some(words) = schema["enum"].as_array() {
        let words: Vec<&str> = words.iter().filter_map(Value::as_str).collect();
        return vec![plain(words.join(" | "))];
    }
    if let Some(word) = schema["const"].as_str() {
        return vec![plain(format!("\"{word}\""))];
    }
    // A page of a list: what it lists is what its reader looks for.
    if schema["properties"]["items"].is_object() && schema["properties"]["next"].is_object() {
        let mut pieces = vec![plain("items, a ")];
        pieces.extend(kind(&schema["properties"]["items"]));
        return pieces;
    }
    let types: Vec<&str> = match &schema["type"] {
        Value::String(one) => vec![one.as_str()],
        Value::Array(many) => many.iter().filter_map(Value::as_str).collect(),
        _ => return vec![plain("anything")],
    };
    let mut pieces = Vec::new();
    for (at, name) in types.into_iter().enumerate() {
        pieces.extend((at > 0).then(|| plain(" or ")));
        match name {
            "array" => {
                pieces.push(plain("list of "));
                pieces.extend(kind(&schema["items"]));
            }
            name => pieces.push(plain(word(name, schema))),
        }
    }
    pieces
}

fn word(name: &str, schema: &Value) -> String {
    match (name, schema["format"].as_str(), schema["maxLength"].as_u64()) {
        ("string", Some("date-time"), _) => "time".into(),
        ("string", Some("date"), _) => "day".into(),
        ("string", _, Some(most)) => format!("text of at most {most} characters"),
        ("string", ..) => "text".into(),
        ("integer", ..) => "whole number".into(),
        ("boolean", ..) => "true or false".into(),
        (other, ..) => other.into(),
    }
}

/// The fields of an object, those of objects within it behind its name.
fn fields(schema: &Value, before: &str, leave_out: &[&str]) -> Vec<Field> {
    let needed: Vec<&str> =
        schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    let mut all = Vec::new();
    for (name, own) in schema["properties"].as_object().into_iter().flatten() {
        if before.is_empty() && leave_out.contains(&name.as_str()) {
            continue;
        }
        let whole = format!("{before}{name}");
        let (inner, behind) = inside(own);
        all.push(Field {
            name: whole.clone(),
            kind: kind(own),
            needed: needed.contains(&name.as_str()),
            says: text(own, "description").replace('`', ""),
        });
        if let Some(inner) = inner {
            all.extend(fields(inner, &format!("{whole}{behind}."), leave_out));
        }
    }
    all
}

/// The object within a type, where it holds one of its own: in a list, or where it may be null.
fn inside(schema: &Value) -> (Option<&Value>, &'static str) {
    if schema["properties"].is_object() {
        return (Some(schema), "");
    }
    if schema["items"]["properties"].is_object() {
        return (Some(&schema["items"]), "[]");
    }
    let of =
        |name: &str| schema[name].as_array().into_iter().flatten().find(|it| it["properties"].is_object());
    (of("anyOf").or_else(|| of("oneOf")), "")
}

fn pretty(value: &Value) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default()
}

fn roles(it: &Value) -> String {
    let names: Vec<&str> = it["x-roles"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    if names.len() == Role::ALL.len() { "every role".into() } else { names.join(", ") }
}

fn is_for(it: &Value, role: Option<Role>) -> bool {
    let names = || it["x-roles"].as_array().into_iter().flatten().filter_map(Value::as_str);
    role.is_none_or(|role| names().any(|name| name == role.name()))
}

/// The address of an example, as one types it.
fn example(path: &str, it: &Value) -> String {
    let (mut path, mut query) = (path.to_owned(), Vec::new());
    for param in it["parameters"].as_array().into_iter().flatten() {
        let value = match &param["example"] {
            Value::Null => continue,
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        let name = text(param, "name");
        match param["in"].as_str() {
            Some("path") => path = path.replace(&format!("{{{name}}}"), &value),
            _ => query.push(format!("{name}={value}")),
        }
    }
    let behind = if query.is_empty() { String::new() } else { format!("?{}", query.join("&")) };
    format!("{path}{behind}")
}

fn operation(path: &str, method: &str, it: &Value) -> Operation {
    let params = it["parameters"].as_array().into_iter().flatten().map(|param| Field {
        name: text(param, "name"),
        kind: kind(&param["schema"]),
        needed: param["required"] == true,
        says: text(param, "description"),
    });
    let mut all: Vec<Field> = params.collect();
    let content = it["requestBody"]["content"].as_object().into_iter().flatten().next();
    let body = content.map(|(media, content)| {
        all.extend(fields(&content["schema"], "", &[]));
        let schema = &content["schema"];
        match schema.is_object() {
            true if *media == FORM => vec![plain("a form")],
            true => kind(schema),
            false => vec![plain(format!("bytes, as {media}"))],
        }
    });
    let usual = USUAL.map(|status| status.to_string());
    let own = it["responses"].as_object().into_iter().flatten().filter(|(status, _)| !usual.contains(status));
    let answers = own.map(|(status, answer)| {
        let content = answer["content"].as_object().into_iter().flatten().next();
        let kind = content.map_or_else(Vec::new, |(media, content)| match &content["schema"] {
            Value::Null => vec![plain(media.clone())],
            schema => kind(schema),
        });
        Answer { status: status.clone(), says: text(answer, "description"), kind }
    });
    let sent = content.and_then(|(media, content)| match &content["example"] {
        Value::Object(pairs) if *media == FORM => {
            let plain = |value: &Value| value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            let pairs: Vec<String> =
                pairs.iter().map(|(name, value)| format!("{name}={}", plain(value))).collect();
            Some(pairs.join("&"))
        }
        Value::Object(_) => Some(pretty(&content["example"])),
        other => other.as_str().map(str::to_owned),
    });
    let line = format!("{} {}", method.to_uppercase(), example(path, it));
    Operation {
        id: text(it, "operationId"),
        method: method.to_uppercase(),
        path: path.into(),
        short: path.strip_prefix(SITE).unwrap_or(path).into(),
        says: text(it, "summary"),
        roles: roles(it),
        fields: all,
        body: body.unwrap_or_default(),
        answers: answers.collect(),
        example: sent.map_or(line.clone(), |sent| format!("{line}\n{sent}")),
    }
}

fn shape(name: &str, it: &Value, leave_out: &[&str]) -> Shape {
    Shape {
        name: name.into(),
        says: text(it, "description").replace('`', ""),
        roles: roles(it),
        kind: kind(it),
        fields: fields(it, "", leave_out),
        example: it["examples"][0].as_object().map_or(String::new(), |_| pretty(&it["examples"][0])),
    }
}

impl ApiReferencePage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> ApiReferencePage {
        let role = Role::parse(&asked.role);
        let document = document();
        let operations: Vec<Operation> = document["paths"]
            .as_object()
            .into_iter()
            .flatten()
            .flat_map(|(path, methods)| {
                let methods = methods.as_object().into_iter().flatten();
                methods.filter(|(_, it)| is_for(it, role)).map(|(method, it)| operation(path, method, it))
            })
            .collect();
        let schemas = &document["components"]["schemas"];
        let around = crate::domain::command::AROUND;
        let mut not_own = vec!["do"];
        not_own.extend(around);
        let is_command = |name: &str| Act::NAMES.contains(&name);
        let commands: Vec<Shape> = Act::NAMES
            .iter()
            .filter(|name| is_for(&schemas[**name], role))
            .map(|name| shape(name, &schemas[*name], &not_own))
            .collect();
        let own: Vec<&str> = not_own.iter().copied().filter(|name| !around.contains(name)).collect();
        let any = examples().next().map(|it| text(&it.command, "do")).unwrap_or_default();
        let around = fields(&schemas[any.as_str()], "", &own);
        let around = around.into_iter().filter(|it| not_own.contains(&it.name.as_str())).collect();
        let shapes = schemas.as_object().into_iter().flatten();
        let shapes = shapes.filter(|(name, _)| !is_command(name) && *name != "Command");
        let whose = role.map_or("A program", |role| match role {
            Role::Desk => "The desk",
            Role::Lead => "The lead",
            Role::Charge => "The charge nurse",
            Role::Clinician => "A clinician",
            Role::Biomed => "Biomed",
            Role::Infection => "Infection prevention",
            Role::Auditor => "The auditor",
            Role::Admin => "The administrator",
        });
        ApiReferencePage {
            page: Page::of(visitor, "/api-reference", "/api-reference", None),
            heading: format!(
                "{whose} may give {} commands and ask at {} addresses.",
                commands.len(),
                operations.len()
            ),
            choices: Role::ALL
                .into_iter()
                .map(|it| Choice { name: it.name(), words: it.words(), chosen: role == Some(it) })
                .collect(),
            operations,
            usual: USUAL.into_iter().map(|status| (status, meaning(status))).collect(),
            commands,
            around,
            shapes: shapes.map(|(name, it)| shape(name, it, &[])).collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&ApiReferencePage::of(&visitor, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_reference_reads_for_one_role_or_all() {
        let page = |role: &str| {
            let asked = Asked { role: role.into() };
            sample::show("api_reference", &ApiReferencePage::of(&sample::visitor(), &asked))
        };
        let all = page("");
        assert!(all.contains("id=\"do-define_route\"") && all.contains("id=\"do-release_load\""));
        let desk = page("desk");
        assert!(!desk.contains("id=\"do-define_route\"") && desk.contains("id=\"do-release_load\""));
        assert!(page("auditor").contains("The auditor may give 0 commands"));
        // Whatever a type names stands on the page.
        for part in all.split("href=\"#").skip(1) {
            let to = part.split('"').next().unwrap();
            assert!(all.contains(&format!("id=\"{to}\"")), "{to} is nowhere");
        }
    }
}
