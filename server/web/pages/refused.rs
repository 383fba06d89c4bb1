//! A refusal, whole: every reason with what was found, what is needed and what to do next.

use serde_json::Value;

use super::plainly;
use super::shared::some_of;
use super::words;
use crate::app::house::Outcome;
use crate::domain::command::Act;
use crate::domain::deciding::Turned;
use crate::domain::refusal::Problem;
use crate::web::form::BEFORE;

/// One form field, as it was or will be sent.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    pub name: String,
    pub value: String,
    /// The choices that it has, where they are few.
    pub options: plainly::Options,
}

impl Field {
    pub fn new(name: impl Into<String>, value: impl Into<String>) -> Field {
        Field { name: name.into(), value: value.into(), options: Vec::new() }
    }

    /// The same field with the choices that it has in a command.
    pub fn of(command: &str, name: &str, value: &str) -> Field {
        Field { options: plainly::options(command, name), ..Field::new(name, value) }
    }

    /// What was sent and is none of its choices stays one of them, so that it is not lost.
    pub fn is_odd(&self) -> bool {
        !self.value.is_empty() && !self.options.iter().any(|(value, _)| *value == self.value)
    }

    pub fn label(&self) -> String {
        match self.name.strip_suffix(":into") {
            Some(thing) => thing.to_string(),
            None => words::field(&self.name),
        }
    }

    /// What the form carries along without anybody's typing it.
    pub fn hidden(&self) -> bool {
        // What was ticked stays ticked; a row of names to be typed would bury what is wrong.
        let ticked = ["scan:each", "cases:each", "loads:each", "recall", "then"];
        ticked.contains(&self.name.as_str())
            || self.name == "onward"
            || self.name.starts_with(BEFORE)
            || self.name.starts_with("emergency:")
    }

    /// The ways in which a part can have come back from a case, where the field is about one.
    pub fn backs(&self) -> Vec<(String, &'static str)> {
        let Some(thing) = self.name.strip_suffix(":into") else { return Vec::new() };
        let lists =
            [("unopened", "back, unopened"), ("broken", "back, piece missing"), ("missing", "not back")];
        let lists = lists.into_iter().map(|(list, words)| (format!("{list}={thing}"), words));
        std::iter::once((String::new(), "back")).chain(lists).collect()
    }

    pub fn is_local(&self) -> bool {
        self.name.ends_with(":local")
    }

    pub fn yes_no(&self) -> bool {
        self.name.ends_with(":bool")
    }

    /// Lists, JSON and long texts need more than one line.
    pub fn long(&self) -> bool {
        self.value.len() > 60
            || self.value.contains('\n')
            || self.name.ends_with(":lines")
            || self.name.ends_with(":json")
    }
}

/// A command that would put it right, as a button.
#[derive(Clone, Debug)]
pub struct Remedy {
    pub label: String,
    pub name: String,
    pub fields: Vec<Field>,
    pub json: String,
}

#[derive(Clone, Debug)]
pub struct Reason {
    pub code: &'static str,
    pub title: String,
    pub found: String,
    /// The other parts of which the same was found.
    pub others: String,
    pub needed: String,
    pub next: String,
    pub remedy: Option<Remedy>,
    /// The thing that may have been meant by a scan that misses by its letters alone.
    pub meant: String,
    /// An override with a reason may set it aside.
    pub open: bool,
    /// The field that was left empty, where that is what is wrong.
    pub empty: String,
}

/// A command as form fields. Whatever is not a text goes as JSON.
pub fn fields(command: &Value) -> Vec<Field> {
    let Value::Object(all) = command else {
        return Vec::new();
    };
    let own = all.iter().filter(|(name, _)| *name != "do");
    own.map(|(name, value)| match value {
        Value::String(text) => Field::new(name, text),
        other => Field::new(format!("{name}:json"), other.to_string()),
    })
    .collect()
}

fn remedy(command: &Value) -> Option<Remedy> {
    let name = command.get("do")?.as_str()?.to_string();
    // A remedy that this release has no command for stays a sentence; its button would lead nowhere.
    Act::NAMES.contains(&name.as_str()).then(|| Remedy {
        label: words::command(&name),
        fields: fields(command),
        json: command.to_string(),
        name,
    })
}

pub fn reason(problem: &Problem) -> Reason {
    Reason {
        code: problem.code.name(),
        title: problem.code.title().to_string(),
        found: problem.found.clone(),
        others: String::new(),
        needed: problem.needed.clone(),
        next: problem.next.clone(),
        remedy: problem.remedy.as_ref().and_then(remedy).map(|remedy| match &problem.meant {
            Some(meant) => Remedy { label: format!("Yes, it is {meant}"), ..remedy },
            None => remedy,
        }),
        meant: problem.meant.as_ref().map(ToString::to_string).unwrap_or_default(),
        open: problem.open_to_override,
        empty: String::new(),
    }
}

/// What stands against many parts in the same words is told once, with their names: found begins with the name.
fn together(all: impl Iterator<Item = Reason>) -> Vec<Reason> {
    fn rest(found: &str) -> &str {
        found.split_once(' ').map_or("", |(_, rest)| rest)
    }
    let mut told: Vec<(Reason, Vec<String>)> = Vec::new();
    for reason in all {
        let same = told.iter_mut().find(|(first, _)| {
            let alike =
                (first.code, &first.needed, &first.next) == (reason.code, &reason.needed, &reason.next);
            alike
                && first.remedy.is_none()
                && reason.remedy.is_none()
                && rest(&first.found) == rest(&reason.found)
        });
        match (same, reason.found.split_once(' ')) {
            (Some((_, others)), Some((name, _))) => others.push(name.to_string()),
            _ => told.push((reason, Vec::new())),
        }
    }
    let whole = told.into_iter().map(|(mut reason, others)| {
        if !others.is_empty() {
            reason.others = format!("The same of {}.", some_of(&others, 5));
        }
        reason
    });
    whole.collect()
}

pub fn plain(title: &str, found: impl Into<String>, needed: &str, next: &str) -> Reason {
    Reason {
        code: "",
        title: title.into(),
        found: found.into(),
        others: String::new(),
        needed: needed.into(),
        next: next.into(),
        remedy: None,
        meant: String::new(),
        open: false,
        empty: String::new(),
    }
}

/// Why a command did not become an entry; empty where it did.
pub fn reasons(outcome: &Outcome, command: &str) -> Vec<Reason> {
    match outcome {
        Outcome::Accepted(_) => Vec::new(),
        Outcome::Turned(Turned::Refused(refusal)) => together(refusal.reasons().map(reason)),
        Outcome::Turned(Turned::Malformed(all)) => all.iter().map(malformed).collect(),
        Outcome::Turned(Turned::NotYourRole) => {
            let who: Vec<String> = Act::roles(command).iter().map(|role| role.words().to_string()).collect();
            let needed = format!("It is for: {}.", super::shared::listed(&who));
            vec![plain("Not for your role", "Your role may not do this here.", &needed, "Ask one of them.")]
        }
        Outcome::KeyReused => vec![plain(
            "Sent before",
            "This form was already sent with other words in it.",
            "A fresh form is needed.",
            "Open the page again and repeat it.",
        )],
        Outcome::UnknownSite => vec![plain(
            "Unknown site",
            "The site of this session is not here any more.",
            "Nothing was recorded.",
            "Sign in again.",
        )],
        Outcome::Unavailable(unavailable) => vec![plain(
            "Not recorded",
            format!("The database does not answer (operation {}).", unavailable.operation),
            "Nothing was recorded.",
            "Try again in a moment; until then write it down on paper.",
        )],
    }
}

pub fn malformed(wrong: &crate::domain::command::Malformed) -> Reason {
    if wrong.pointer.is_empty() {
        let found = format!("{}.", super::shared::capital(&plainly::detail(&wrong.detail)));
        return plain("Not understood", found, "", "Change it and send it again.");
    }
    let place = words::field(&wrong.pointer);
    if wrong.detail.starts_with("missing field") {
        let empty = plainly::field_of(&wrong.pointer);
        let reason = plain("Left empty", format!("{place} is empty."), "", "Fill it in and send it again.");
        return Reason { empty, ..reason };
    }
    plain(
        "Not understood",
        format!("{place}: {}.", plainly::detail(&wrong.detail)),
        "",
        "Correct it and send it again.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_of_many_parts_is_told_once() {
        let of = |part: &str, next: &str| plain("Order", format!("{part} is received."), "Clean it.", next);
        let all = ["B-1", "C-1", "C-2"].map(|part| of(part, "Clean first."));
        let told = together(all.into_iter().chain([of("T-1", "Leave it.")]));
        let found: Vec<_> = told.iter().map(|it| (it.found.as_str(), it.others.as_str())).collect();
        assert_eq!(found, [("B-1 is received.", "The same of C-1 and C-2."), ("T-1 is received.", "")]);
        let empty = malformed(&crate::domain::command::wrong("/reason", "missing field `reason`"));
        assert_eq!((empty.title.as_str(), empty.found.as_str()), ("Left empty", "Reason is empty."));
    }

    #[test]
    fn a_command_becomes_fields_and_keeps_its_types() {
        let command = serde_json::json!({"do": "take_from_set", "set": "B2", "position": 1});
        assert_eq!(fields(&command), [Field::new("position:json", "1"), Field::new("set", "B2")]);
        assert!(remedy(&command).is_some());
        assert!(remedy(&serde_json::json!({"do": "polish", "scan": "T1"})).is_none());
    }
}
