//! What the desk's form asks, as a command, and the answer to it as a line.

use serde_json::{Value, json};

use super::refused::Reason;
use super::shared::{self, count};
use crate::app::house::Accepted;

/// What became of the last scan.
pub struct Answer {
    pub accepted: bool,
    pub line: String,
    /// The first reason of a refusal, for the heading; the reasons stand below it in full.
    pub why: String,
    pub notes: Vec<String>,
    /// What was reported of it before it came: louder than a note.
    pub loud: Vec<String>,
    pub reasons: Vec<Reason>,
    /// The refused command, to be given again with a reason where the rule may be set aside.
    pub again: String,
    pub code: String,
}

/// A form's act on a scan, as a command. `None` where it is none that the desk knows.
pub fn command(act: &str, scan: &str, station: &str) -> Option<Value> {
    let mut command = match act.split_once(':')? {
        ("step", step) => json!({"do": "record_step", "step": step, "scan": scan}),
        ("delayed", step) => json!({"do": "record_step", "step": step, "scan": scan, "delayed": true}),
        ("inspect", "passed") => json!({"do": "inspect", "passed": true, "scan": scan}),
        ("found", _) => json!({"do": "found", "scan": scan}),
        ("broken", why) => json!({"do": "pack_broken", "why": why, "scan": scan}),
        ("inspect", outcome) => json!({"do": "inspect", "outcome": outcome, "scan": scan}),
        _ => return None,
    };
    // Where it was found is a place of its own.
    let place = if act.starts_with("found:") { "location" } else { "station" };
    if let (false, Value::Object(fields)) = (station.trim().is_empty(), &mut command) {
        fields.insert(place.into(), json!(station.trim()));
    }
    Some(command)
}

/// What the act is called in the line that answers it.
pub fn act_words(command: &Value) -> String {
    let text = |name: &str| command.get(name).and_then(Value::as_str).unwrap_or_default();
    match text("do") {
        "record_step" => {
            let steps = crate::domain::model::StepKind::ALL;
            let step = steps.into_iter().find(|step| step.name() == text("step"));
            step.map_or_else(|| text("step").to_string(), |step| step.words().to_string())
        }
        "inspect" if command.get("passed") == Some(&Value::Bool(true)) => "inspected, passed".into(),
        "inspect" => format!("inspected, not passed ({})", text("outcome")),
        "pack_broken" => format!("pack broken, {}", text("why").replace('_', " ")),
        "answer_request" => format!("answered, {}", text("answer")),
        other => super::words::command(other).to_lowercase(),
    }
}

/// The scan that a command names, or the part, the request or the entry.
pub fn scan_of(command: &Value) -> String {
    let named = command.get("scan").or_else(|| command.get("asset")).or_else(|| command.get("request"));
    let entry = || command.get("entry").and_then(Value::as_u64).map(|entry| format!("Entry {entry}"));
    named.and_then(Value::as_str).map(str::to_string).or_else(entry).unwrap_or_default()
}

pub fn accepted(it: &Accepted, scan: &str, words: &str) -> Answer {
    let list =
        |name: &str| it.event.get(name).and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    let parts = list("parts").len() + list("noted").len();
    let many = if parts > 1 { format!(" ({})", count(parts, "part", "parts")) } else { String::new() };
    let mut notes = Vec::new();
    let texts =
        |name: &str| list(name).iter().filter_map(Value::as_str).map(str::to_string).collect::<Vec<_>>();
    let deviations: Vec<String> = texts("deviation").iter().map(|code| code.replace('_', " ")).collect();
    if !deviations.is_empty() {
        notes.push(format!("Recorded as a deviation: {}.", shared::listed(&deviations)));
    }
    if !list("packs").is_empty() {
        notes.push("Unsterile. What lay in the pack goes back before packing, or is out at its case.".into());
    }
    let opened = texts("also_opened");
    if !opened.is_empty() {
        notes.push(format!("The pack is open; with it: {}.", shared::some_of(&opened, 6)));
    }
    let left = list("left");
    let text = |it: &Value, name: &str| it.get(name).and_then(Value::as_str).unwrap_or_default().to_string();
    match left {
        [] => {}
        [one] => notes.push(format!("{} was left as it was: {}", text(one, "asset"), text(one, "detail"))),
        [first, ..] => {
            let names: Vec<String> = left.iter().map(|it| text(it, "asset")).collect();
            let names = shared::some_of(&names, 6);
            notes.push(format!("Left as they were: {names}. The first: {}", text(first, "detail")));
        }
    }
    if it.replayed {
        notes.push("It was recorded before; nothing was recorded twice.".into());
    }
    Answer {
        accepted: true,
        line: format!("{scan}{many}: {words}. Entry {}.", it.entry),
        why: String::new(),
        notes,
        loud: Vec::new(),
        reasons: Vec::new(),
        again: String::new(),
        code: String::new(),
    }
}

pub fn refusal(reasons: Vec<Reason>, line: String, again: &Value) -> Answer {
    let open = reasons.iter().find(|reason| reason.open);
    let why = reasons.first().map(|reason| reason.found.clone()).unwrap_or_default();
    let code = open.map(|reason| reason.code.to_string()).unwrap_or_default();
    let again = if code.is_empty() { String::new() } else { again.to_string() };
    Answer { accepted: false, line, why, notes: Vec::new(), loud: Vec::new(), reasons, again, code }
}
