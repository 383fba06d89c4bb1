//! A refused form: every reason, the remedy as a button, and what was typed in the same form again.

use std::collections::BTreeSet;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::refused::{Field, Reason, reasons};
use super::shared::{Page, segment};
use super::words;
use crate::app::house::Outcome;
use crate::domain::deciding::Turned;
use crate::web::visitor::{Visitor, render};

#[derive(Template)]
#[template(path = "refusal.html")]
pub struct RefusalPage {
    pub page: Page,
    pub heading: String,
    /// A file was refused: it is chosen anew where it was given.
    pub again_elsewhere: bool,
    pub command: String,
    pub label: String,
    pub reasons: Vec<Reason>,
    pub fields: Vec<Field>,
    /// How the machine's files read, where a file of it could not be read.
    pub form_href: String,
    pub back: String,
    /// The codes that a reason may set aside, where there are any, in the form that a form sends them in.
    pub open: Option<Field>,
    /// The reason and the second person that were given with it.
    pub given: (String, String),
    /// What the thing is if it goes all the same, in the word that is called across a room.
    pub loud: Vec<&'static str>,
    /// What has to be known before it is sent again.
    pub caution: &'static str,
}

/// The codes that may be set aside, one by itself or all as a list.
fn open_codes(reasons: &[Reason]) -> Option<Field> {
    let mut codes: Vec<&str> =
        reasons.iter().filter(|reason| reason.open).map(|reason| reason.code).collect();
    codes.dedup();
    match codes.as_slice() {
        [] => None,
        [one] => Some(Field::new("override.code", *one)),
        all => Some(Field::new("override.code:json", serde_json::json!(all).to_string())),
    }
}

/// An emergency takes these with a second person beside it, and with their word, big.
fn loud(reasons: &[Reason], command: &str) -> Vec<&'static str> {
    let words = [("still_cooling", "HOT"), ("past_date", "PAST DATE"), ("held", "ON HOLD")];
    let stands = |code: &str| reasons.iter().any(|reason| reason.open && reason.code == code);
    words.into_iter().filter(|(code, _)| command == "issue" && stands(code)).map(|(_, word)| word).collect()
}

/// Fields that the form carries for itself, not for the command.
const OWN: [&str; 3] = ["csrf", "do", "back"];

/// The row of a list that a field belongs to: "lines.3" of "lines.3.pack".
fn row(name: &str) -> Option<&str> {
    let (list, rest) = name.split_once('.')?;
    let number = rest.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(rest.len());
    (number > 0).then(|| name.get(..list.len() + 1 + number)).flatten()
}

impl RefusalPage {
    /// `sent` is the form as it came, in its order.
    pub fn of(
        visitor: &Visitor,
        command: &str,
        sent: &[(String, String)],
        reasons: Vec<Reason>,
        back: &str,
    ) -> RefusalPage {
        let label = words::command(command);
        let override_field = |name: &str| name.starts_with("override.");
        let typed = |name: &str| {
            sent.iter().find(|(field, _)| field == name).map_or(String::new(), |(_, text)| text.clone())
        };
        let own = sent.iter().filter(|(name, _)| !OWN.contains(&name.as_str()) && !override_field(name));
        // The empty rows of a long form would bury the others.
        let filled: BTreeSet<&str> = sent
            .iter()
            .filter(|(_, value)| !value.trim().is_empty())
            .filter_map(|(name, _)| row(name))
            .collect();
        let own = own.filter(|(name, _)| row(name).is_none_or(|row| filled.contains(row)));
        let base = |name: &str| name.split(':').next().unwrap_or_default().to_string();
        let shown: BTreeSet<String> = own.clone().map(|(name, _)| base(name)).collect();
        // What was left empty has its field too, so that it can be filled in here.
        let missing = reasons.iter().filter(|it| !it.empty.is_empty() && !shown.contains(&base(&it.empty)));
        let left_empty: Vec<Field> = missing.map(|it| Field::of(command, &it.empty, "")).collect();
        RefusalPage {
            page: Page::of(visitor, back, back, None),
            heading: match reasons.as_slice() {
                [] => format!("Not done: {}.", label.to_lowercase()),
                [one] => format!("Not done: {}. {}", label.to_lowercase(), one.found),
                [first, ..] => {
                    format!(
                        "Not done: {}. {} reasons stand against it. {}",
                        label.to_lowercase(),
                        reasons.len(),
                        first.found
                    )
                }
            },
            again_elsewhere: command == "judge_load" && !sent.iter().any(|(name, _)| is_evidence(name)),
            command: command.into(),
            label,
            form_href: form_href(visitor, command, sent, &reasons),
            fields: own.map(|(name, value)| Field::of(command, name, value)).chain(left_empty).collect(),
            open: open_codes(&reasons),
            loud: loud(&reasons, command),
            caution: match command {
                "arrive" => "Whatever its label says: it is decontaminated here before its first use.",
                "start_load" if !typed("immediate_use.case").is_empty() => {
                    "USE NOW, DO NOT STORE: the release issues it to that case at once."
                }
                _ => "",
            },
            given: (typed("override.reason"), typed("override.second_person")),
            reasons,
            back: back.into(),
        }
    }
}

/// The page of the record form by which a refused file would be read; empty where that was not the trouble.
fn form_href(visitor: &Visitor, command: &str, sent: &[(String, String)], reasons: &[Reason]) -> String {
    let unread = command == "judge_load" && reasons.iter().any(|it| it.found.starts_with("Record"));
    let load = sent.iter().find(|(name, _)| name == "load").filter(|_| unread);
    let load = load.and_then(|(_, load)| visitor.state.loads.get(load.as_str()));
    load.map(|load| format!("/machines/{}/record-form", segment(load.machine.as_str()))).unwrap_or_default()
}

/// Whether a field of a verdict's form holds what is judged; a file is chosen anew on the load's own page.
fn is_evidence(field: &str) -> bool {
    field == "record" || field.starts_with("readings.")
}

/// The status of an outcome that is no success.
pub fn status(outcome: &Outcome) -> StatusCode {
    match outcome {
        Outcome::Accepted(_) => StatusCode::OK,
        Outcome::Turned(Turned::Malformed(_)) => StatusCode::UNPROCESSABLE_ENTITY,
        Outcome::Turned(Turned::NotYourRole) => StatusCode::FORBIDDEN,
        Outcome::Turned(Turned::Refused(_)) | Outcome::KeyReused => StatusCode::CONFLICT,
        Outcome::UnknownSite => StatusCode::NOT_FOUND,
        Outcome::Unavailable(_) => StatusCode::SERVICE_UNAVAILABLE,
    }
}

/// Answers a form whose command did not become an entry.
pub fn respond(
    visitor: &Visitor,
    command: &str,
    sent: &[(String, String)],
    outcome: &Outcome,
    back: &str,
) -> Response {
    let page = RefusalPage::of(visitor, command, sent, reasons(outcome, command), back);
    (status(outcome), render(&page)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::refusal::{Code, Problem, Refusal};
    use crate::web::pages::sample;

    #[test]
    fn nothing_typed_is_lost_and_all_reasons_stand() {
        let held = Problem::new(Code::Held, "T-0142 is on quality hold hold-0001: image dim", "A part without a hold is needed.", "Set it aside.")
            .with_remedy(serde_json::json!({"do": "take_from_set", "set": "B2", "line": "telescope", "position": 1, "asset": "T-0142"}));
        let order = Problem::new(
            Code::OutOfOrder,
            "T-0142 is cleaned by hand; next it has to be inspected.",
            "The route does not allow \"packed\" now.",
            "Let it be inspected first.",
        )
        .open_to_override();
        let refusal = Refusal::of(vec![order, held]).unwrap();
        let sent: Vec<(String, String)> = [
            ("csrf", "x"),
            ("do", "record_step"),
            ("back", "/sets/B2"),
            ("step", "packed"),
            ("scan:lines", "B2\nT-0142"),
        ]
        .map(|(name, value)| (name.to_string(), value.to_string()))
        .into();
        let reasons = reasons(&Outcome::Turned(Turned::Refused(refusal)), "record_step");
        let page = RefusalPage::of(&sample::visitor(), "record_step", &sent, reasons, "/sets/B2");
        let text = sample::show("refusal", &page);
        assert!(text.contains("image dim") && text.contains("next it has to be inspected"));
        assert!(text.contains("T-0142</textarea>") && text.contains("Take out of the set"));
    }
}
