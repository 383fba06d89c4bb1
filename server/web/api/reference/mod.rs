//! What this API takes and answers, as an OpenAPI 3.1 document: the routes are those of the router, the forms of commands those
//! that read them.

mod operations;
mod shape;
mod shapes;

use std::sync::OnceLock;

use axum::response::Response;
use serde_json::{Map, Value, json};

pub use operations::{Body, OPERATIONS, Operation, PARAMETERS};
pub use shape::{is_unknown, schema};
pub use shapes::SHAPES;

use crate::domain::command::{Act, Around};
use crate::domain::configuration::Configuration;
use crate::domain::person::Role;
use crate::domain::programme::Programme;
use crate::domain::schema::Form;
use crate::formats::fhir::MEDIA_TYPE;
use crate::formats::form::Form as RecordForm;
use crate::web::router::{Door, ROUTES, Route};

/// One command a line, with the role that gives it, in an order in which the demo accepts them all. Between the two stands
/// what a program has to put in from the answers before, or the status of a refusal.
pub const EXAMPLES: &str = include_str!("commands.txt");
/// Where the paths of a site begin.
pub const SITE: &str = "/api/v1/{site}";

/// An example of a command.
pub struct Example {
    pub role: Role,
    /// A field with what it takes (`hold=made`, `entry=entry`), a status, or `-`.
    pub takes: &'static str,
    pub command: Value,
}

/// The examples in their order; a line that does not read is left out, which a test finds.
pub fn examples() -> impl Iterator<Item = Example> {
    EXAMPLES.lines().filter_map(|line| {
        let mut words = line.splitn(3, ' ');
        let (role, takes) = (Role::parse(words.next()?)?, words.next()?);
        Some(Example { role, takes, command: serde_json::from_str(words.next()?).ok()? })
    })
}

/// What stands of a route in the table of operations.
pub fn operation_of(route: &Route) -> Option<&'static Operation> {
    let path = route.path.strip_prefix(SITE).or(Some(route.path).filter(|path| path.starts_with("/api/")))?;
    OPERATIONS.iter().find(|it| it.path == path && it.method == route.method)
}

/// The whole document. It is made once: nothing in it changes while the program runs.
pub fn document() -> &'static Value {
    static MADE: OnceLock<Value> = OnceLock::new();
    MADE.get_or_init(|| {
        let mut paths = Map::new();
        for route in ROUTES {
            if let Some(operation) = operation_of(route) {
                let path = paths.entry(route.path).or_insert_with(|| json!({}));
                path[route.method] = told(route, operation);
            }
        }
        json!({
            "openapi": "3.1.0",
            "info": {
                "title": "Fettle",
                "version": env!("CARGO_PKG_VERSION"),
                "summary": "Commands to a house of rigid instruments, and what is known of it.",
                "description": "People decide; this API keeps the record. Local policy, makers' instructions and licensed \
                                practice decide where they differ from it.",
            },
            "servers": [{"url": "/"}],
            "security": [{"token": []}],
            "paths": paths,
            "components": {
                "securitySchemes": {"token": {"type": "http", "scheme": "bearer",
                    "description": "A token of one site and one role, made by `fettle token` or on the page of people."}},
                "schemas": schemas(),
            },
        })
    })
}

/// The forms of commands, what they name, and the shapes of answers.
fn schemas() -> Map<String, Value> {
    let around = Form::of::<Around>();
    let mut all = Map::new();
    let mut name = |parts: &[(String, Value)]| {
        for (name, schema) in parts {
            all.insert(name.clone(), schema.clone());
        }
    };
    for (_, _, form) in Act::forms() {
        name(&form.parts);
    }
    for form in others() {
        name(&form.parts);
    }
    name(&around.parts);
    for (name, form) in NAMED.iter().zip(others()) {
        all.insert((*name).into(), form.schema);
    }
    for (name, shape) in SHAPES {
        all.insert((*name).into(), schema(shape));
    }
    let mut names = Vec::new();
    for (command, roles, form) in Act::forms() {
        all.insert(command.into(), of_command(command, roles, &form, &around));
        names.push(json!({"$ref": format!("#/components/schemas/{command}")}));
    }
    all.insert("Command".into(), json!({"oneOf": names, "discriminator": {"propertyName": "do"}}));
    all
}

/// Forms that answers or bodies name beside those of commands.
const NAMED: [&str; 5] = ["Id", "Line", "Programme", "Configuration", "Form"];

fn others() -> [Form; 5] {
    use crate::domain::{id::Id, text::Line};
    [
        Form::of::<Id>(),
        Form::of::<Line>(),
        Form::of::<Programme>(),
        Form::of::<Configuration>(),
        Form::of::<RecordForm>(),
    ]
}

/// A command whole: its name, what stands around every command, and its own fields.
fn of_command(name: &str, roles: &[Role], form: &Form, around: &Form) -> Value {
    let mut properties = Map::new();
    properties.insert("do".into(), json!({"const": name}));
    for fields in [&form.schema, &around.schema] {
        if let Some(fields) = fields["properties"].as_object() {
            properties.extend(fields.clone());
        }
    }
    let own = form.schema["required"].as_array().into_iter().flatten().cloned();
    let required: Vec<Value> = std::iter::once(json!("do")).chain(own).collect();
    let mut whole = json!({"type": "object", "properties": properties, "required": required,
                           "additionalProperties": false, "x-roles": names_of(roles)});
    if let Some(description) = form.schema.get("description") {
        whole["description"] = description.clone();
    }
    if let Some(example) = examples().find(|it| it.command["do"] == name) {
        whole["examples"] = json!([example.command]);
    }
    whole
}

fn names_of(roles: &[Role]) -> Vec<&'static str> {
    roles.iter().map(|role| role.name()).collect()
}

/// The parameters of an operation, in the path and behind the question mark.
fn parameters(route: &Route, operation: &Operation) -> Vec<Value> {
    let mut all = Vec::new();
    let value_of = |name: &str| {
        let pairs = operation.example.split('&').filter_map(|pair| pair.split_once('='));
        pairs.filter(|(own, _)| *own == name).map(|(_, value)| value).next()
    };
    let mut add = |name: &str, at: &str, required: bool| {
        let known = PARAMETERS.iter().find(|(own, ..)| *own == name);
        let (kind, says) = known.map_or(("x-not-understood", ""), |(_, kind, says)| (*kind, *says));
        let mut it = json!({"name": name, "in": at, "required": required, "schema": schema(kind), "description": says});
        if let Some(value) = value_of(name) {
            it["example"] = match (kind, value.parse::<i64>()) {
                ("int", Ok(number)) => number.into(),
                ("bool", _) => (value == "true").into(),
                _ => value.into(),
            };
        }
        all.push(it);
    };
    for name in route.path.split('{').skip(1).filter_map(|part| part.split('}').next()) {
        add(name, "path", true);
    }
    for name in operation.query.split_whitespace() {
        let bare = name.trim_end_matches('!');
        add(bare, "query", bare != name);
    }
    all
}

/// Of what kind the bytes are that are no JSON.
fn media(path: &str) -> &'static [&'static str] {
    match path {
        "/ledger" => &["application/x-ndjson"],
        "/board/live" => &["text/event-stream"],
        _ => &["image/jpeg", "image/png", "image/webp", "application/pdf"],
    }
}

/// What is answered beside JSON, where it is asked for.
fn beside(path: &str) -> &'static [&'static str] {
    match path {
        "/labels" => &["application/pdf", "text/plain"],
        _ => &[],
    }
}

fn answers(route: &Route, operation: &Operation) -> Map<String, Value> {
    let fhir = operation.path.starts_with("/fhir");
    let json = if fhir { MEDIA_TYPE } else { "application/json" };
    let mut all = Map::new();
    for (status, shape) in operation.answers {
        let content: Map<String, Value> = match *shape {
            "bytes" => media(operation.path).iter().map(|kind| ((*kind).to_owned(), json!({}))).collect(),
            shape => {
                let beside = beside(operation.path).iter().map(|kind| ((*kind).to_owned(), json!({})));
                std::iter::once((json.to_owned(), json!({"schema": schema(shape)}))).chain(beside).collect()
            }
        };
        let says = if *status == 201 { "Recorded" } else { "Answered" };
        all.insert(status.to_string(), json!({"description": says, "content": content}));
    }
    let usual: &[u16] = if route.door == Door::Open { &[] } else { &USUAL };
    let (kind, shape) =
        if fhir { (MEDIA_TYPE, "#OperationOutcome") } else { ("application/problem+json", "#Problem") };
    for status in operation.refuses.iter().chain(usual) {
        let mut it = json!({"description": meaning(*status)});
        if *status != 304 {
            it["content"][kind] = json!({"schema": schema(shape)});
        }
        all.insert(status.to_string(), it);
    }
    all
}

/// What every route with a token may refuse.
pub const USUAL: [u16; 5] = [401, 403, 404, 422, 503];

/// When a status is answered.
pub fn meaning(status: u16) -> &'static str {
    match status {
        304 => "Nothing that it shows has changed",
        400 => "The search cannot be read",
        401 => "No token, or an unknown one",
        403 => "Not for this role, or the token is another site's",
        404 => "No such site, or nothing has that name",
        406 => "Not in that format",
        409 => "Refused: what was found, what is needed, and the next step",
        413 => "Too large",
        415 => "A body of another kind",
        422 => "Not readable: the field or parameter is named",
        429 => "Too many at once; try again in a second",
        _ => "The database does not answer; nothing was written",
    }
}

const STORY: &str = "The examples are one story, in the order of their keys: the demo accepts each after those before it, from the \
                     role in x-role, with the status in x-status. x-takes names a field and what of the answers before goes \
                     into it: the last `made`, or the last `entry`. The picture that one of them names is posted first, to \
                     /attachments; the examples of other addresses work when the story was told.";

/// The examples of commands as one story, in the order of their keys: each with the role that gives it, the status where it
/// is refused, and the field that takes what the server made before.
fn story() -> Map<String, Value> {
    let told = examples().enumerate().map(|(at, example)| {
        let name = example.command["do"].as_str().unwrap_or_default().to_owned();
        let mut it = json!({"value": example.command, "x-role": example.role.name(), "x-status": 201});
        match example.takes.split_once('=') {
            Some((field, from)) => it["x-takes"] = json!({"field": field, "from": from}),
            None => {
                if let Ok(status) = example.takes.parse::<u16>() {
                    it["x-status"] = status.into();
                }
            }
        }
        (format!("{:03}_{name}", at + 1), it)
    });
    told.collect()
}

fn body(operation: &Operation) -> Option<Value> {
    let content = match operation.body {
        Body::Nothing => return None,
        Body::Commands => {
            let command = json!({"$ref": "#/components/schemas/Command"});
            let list = json!({"type": "array", "items": command, "maxItems": super::command::ARRAY_MOST});
            json!({"application/json": {"schema": {"oneOf": [command, list]}, "examples": story()}})
        }
        Body::Json(shape) => {
            let example: Value = serde_json::from_str(operation.sends).unwrap_or_default();
            json!({"application/json": {"schema": schema(shape), "example": example}})
        }
        Body::Form(shape) => {
            let example: Map<String, Value> = operation
                .sends
                .split('&')
                .filter_map(|pair| pair.split_once('='))
                .map(|(name, value)| {
                    (name.to_owned(), value.parse::<i64>().map_or(value.into(), Value::from))
                })
                .collect();
            json!({"application/x-www-form-urlencoded": {"schema": schema(shape), "example": example}})
        }
        Body::Bytes(kind) => json!({kind: {"example": operation.sends}}),
        Body::Picture(kind) => json!({kind: {"x-example-base64": operation.sends}}),
    };
    Some(json!({"required": true, "content": content}))
}

fn told(route: &Route, operation: &Operation) -> Value {
    let slug = |text: &str| text.replace(['/', '-', '.'], "_").replace(['{', '}'], "");
    let mut it = json!({
        "operationId": format!("{}{}", operation.method, slug(operation.path)),
        "summary": operation.says,
        "tags": [operation.path.split('/').nth(1).unwrap_or_default()],
        "x-roles": names_of(route.admits),
        "parameters": parameters(route, operation),
        "responses": answers(route, operation),
    });
    if operation.body == Body::Commands {
        it["description"] = STORY.into();
    }
    if let Some(body) = body(operation) {
        it["requestBody"] = body;
    }
    if route.door == Door::Open {
        it["security"] = json!([]);
    }
    it
}

/// The document as a program reads it. It says nothing of any house, so that nobody has to sign in.
pub async fn get() -> Response {
    super::ok(document())
}
