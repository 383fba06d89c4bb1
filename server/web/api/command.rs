//! The door for commands: one, or an array of up to 500.

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value, json};

use super::super::App;
use super::super::problem::Problem;
use super::caller::Caller;
use crate::app::house::{Accepted, Outcome};
use crate::domain::command::{Act, Command, Malformed, Model, wrong};
use crate::domain::deciding::Turned;
use crate::domain::sizes::{self, Doubt};
use crate::formats::json::cleaned;

/// A body of commands has at most this many bytes: a cycle record of a million samples fits.
pub const BODY_MOST: usize = 64 * 1024 * 1024;
/// An array has at most this many commands.
pub const ARRAY_MOST: usize = 500;

pub async fn post(
    State(app): State<App>,
    caller: Caller,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Problem> {
    let _place = app.places.try_acquire().map_err(|_| Problem::too_many())?;
    let length =
        headers.get(header::CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse::<usize>().ok());
    if length.is_some_and(|length| length > BODY_MOST) {
        return Err(Problem::too_large(BODY_MOST));
    }
    let body = axum::body::to_bytes(body, BODY_MOST).await.map_err(|_| Problem::too_large(BODY_MOST))?;
    let value: Value = serde_json::from_slice(&body)
        .map_err(|error| Problem::malformed(&[wrong("", format!("found no JSON: {error}"))]))?;
    match value {
        Value::Array(items) if items.len() > ARRAY_MOST => {
            let detail = format!("found {} commands; at most {ARRAY_MOST} are needed", items.len());
            Err(Problem::malformed(&[wrong("", detail)]))
        }
        Value::Array(items) => Ok(many(&app, &caller, items).await),
        one => {
            let outcomes = submit(&app, &caller, vec![one]).await;
            let first = outcomes.into_iter().next();
            Ok(first.map_or_else(|| Problem::too_many().into_response(), answer))
        }
    }
}

async fn many(app: &App, caller: &Caller, items: Vec<Value>) -> Response {
    let outcomes = submit(app, caller, items).await;
    let results = outcomes.into_iter().map(|result| {
        let (status, mut body) = match result {
            Ok((status, body)) => (status, body),
            Err(problem) => (problem.status, problem.members),
        };
        body.insert("status".into(), status.as_u16().into());
        Value::Object(body)
    });
    super::ok(&json!({"results": results.collect::<Vec<_>>()}))
}

type Answered = Result<(StatusCode, Map<String, Value>), Problem>;

/// Reads and submits; what cannot be read is answered in its place, the others keep their order.
async fn submit(app: &App, caller: &Caller, items: Vec<Value>) -> Vec<Answered> {
    let mut answers: Vec<Option<Answered>> = Vec::with_capacity(items.len());
    let mut commands = Vec::new();
    let mut lacking = Vec::new();
    for item in items {
        match read(item) {
            Ok(command) if command.act.admits(caller.actor.role) => {
                lacking.push(lacks(&command));
                commands.push(command);
                answers.push(None);
            }
            Ok(command) => {
                let detail =
                    format!("\"{}\" is not for the role {}.", command.act.name(), caller.actor.role.name());
                answers.push(Some(Err(Problem::not_your_role(detail))));
            }
            Err(errors) => answers.push(Some(Err(Problem::malformed(&errors)))),
        }
    }
    let outcomes = match commands.is_empty() {
        true => Vec::new(),
        false => app.house.submit(&caller.site, &caller.actor, commands).await,
    };
    let mut outcomes = outcomes.into_iter().zip(lacking);
    let answered = answers.into_iter().map(|answer| match answer {
        Some(answer) => answer,
        None => outcomes.next().map_or_else(
            || Err(Problem::too_many()),
            |(outcome, lacking)| {
                told(outcome, caller).map(|(status, body)| (status, with_doubts(body, lacking)))
            },
        ),
    });
    answered.collect()
}

/// What a model that is defined does not say, beside what was doubtful in it.
fn lacks(command: &Command) -> Vec<Doubt> {
    match &command.act {
        Act::Model(Model::DefineModel(model)) => {
            sizes::lacks(model).iter().map(sizes::Point::doubt).collect()
        }
        _ => Vec::new(),
    }
}

fn with_doubts(mut body: Map<String, Value>, lacking: Vec<Doubt>) -> Map<String, Value> {
    if !lacking.is_empty() {
        let doubts = body.entry("doubts").or_insert_with(|| Value::Array(Vec::new()));
        if let Value::Array(doubts) = doubts {
            doubts.extend(lacking.iter().map(|it| json!(it)));
        }
    }
    body
}

/// A command from JSON, its text normalised; U+0000 stands nowhere.
pub fn read(item: Value) -> Result<Command, Vec<Malformed>> {
    let item = cleaned(item, &["record"]).map_err(|pointer| {
        vec![Malformed { pointer, detail: "found the character U+0000; text without it is needed".into() }]
    })?;
    Command::read(item)
}

fn told(outcome: Outcome, caller: &Caller) -> Answered {
    match outcome {
        Outcome::Accepted(accepted) => {
            let status = if accepted.replayed { StatusCode::OK } else { StatusCode::CREATED };
            Ok((status, body(accepted)))
        }
        Outcome::Turned(Turned::NotYourRole) => {
            Err(Problem::not_your_role(format!("This is not for the role {}.", caller.actor.role.name())))
        }
        other => Err(Problem::of(&other, caller.site.as_str()).unwrap_or_else(Problem::too_many)),
    }
}

/// The answer to an accepted command: the same for its repetition, whatever happened since.
pub fn body(accepted: Accepted) -> Map<String, Value> {
    let beside = |name: &str| accepted.event.get(name).cloned();
    let list = |name: &str| beside(name).unwrap_or_else(|| Value::Array(Vec::new()));
    let mut body = Map::new();
    body.insert("entry".into(), accepted.entry.into());
    body.insert("at".into(), accepted.at.to_string().into());
    if let Some(made) = beside("made") {
        body.insert("made".into(), made);
    }
    body.insert("left".into(), list("left"));
    body.insert("deviation".into(), list("deviation"));
    for name in ["also_opened", "short", "doubts"] {
        if let Some(list) = beside(name) {
            body.insert(name.into(), list);
        }
    }
    body.insert("event".into(), accepted.event);
    body
}

fn answer(answered: Answered) -> Response {
    match answered {
        Ok((status, body)) => super::json(status, &Value::Object(body)),
        Err(problem) => problem.into_response(),
    }
}
