//! One line of paper as a person types it, and the command that it is: its time on the clock of that day, who did it, what was
//! done to what. What cannot be read is told field by field, and nothing typed is lost.

use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

use super::command::Command;
use super::id::Id;
use super::paper::PaperSheet;
use super::paper_act::{Needs, PaperAct};
use super::paper_time;
use super::person::Role;
use super::state::State;
use super::time::{Date, Time};

/// What was typed, by field; a field that is not there is empty.
#[derive(Clone, Debug, Default)]
pub struct Typed(pub BTreeMap<String, String>);

impl Typed {
    pub fn get(&self, field: &str) -> &str {
        self.0.get(field).map_or("", |text| text.trim())
    }

    pub fn set(&mut self, field: &str, value: impl Into<String>) {
        self.0.insert(field.into(), value.into());
    }
}

/// What is wrong with a field, or what has to be said of it first.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldFault {
    pub field: &'static str,
    pub words: String,
    /// What may be meant, each as the field takes it and in words.
    pub choices: Vec<(String, String)>,
}

pub(super) fn fault(field: &'static str, words: impl Into<String>) -> FieldFault {
    FieldFault { field, words: words.into(), choices: Vec::new() }
}

/// A line that was read.
#[derive(Clone, Debug)]
pub struct Line {
    pub number: u32,
    pub act: PaperAct,
    pub at: Time,
    /// The day on which it happened: the next one where the clock passed midnight.
    pub day: Date,
    /// Who did it, as the command names them.
    pub by: String,
    /// Nobody of that name has, or had, an account here.
    pub stranger: bool,
    pub command: Command,
}

/// What a line is read with.
pub struct Beside<'a> {
    pub state: &'a State,
    pub sheet: &'a PaperSheet,
    pub role: Role,
    /// What people are called, by their codes; those who left are among them.
    pub people: &'a BTreeMap<String, String>,
}

/// Who is meant: a code, or a name that one person alone has.
fn person(people: &BTreeMap<String, String>, typed: &str) -> (String, bool) {
    let typed = typed.trim();
    let lower = typed.to_lowercase();
    if people.contains_key(typed) {
        return (typed.to_string(), false);
    }
    let mut named =
        people.iter().filter(|(code, name)| code.to_lowercase() == lower || name.to_lowercase() == lower);
    match (named.next(), named.next()) {
        (Some((code, _)), None) => (code.clone(), false),
        _ => (typed.to_string(), !typed.is_empty()),
    }
}

fn words(text: &str) -> Vec<&str> {
    text.split([',', ' ', ';']).map(str::trim).filter(|it| !it.is_empty()).collect()
}

/// What is scanned or written: one thing, or several between commas or spaces. A mark with a space in it is known whole.
fn scans(state: &State, text: &str) -> Vec<String> {
    if super::scan::find(state, text.trim()).is_ok() {
        return vec![text.trim().to_string()];
    }
    words(text).into_iter().map(String::from).collect()
}

/// Reads a line; every field that is wrong is told.
pub fn read(beside: &Beside, typed: &Typed) -> Result<Line, Vec<FieldFault>> {
    let mut faults = Vec::new();
    let number = typed.get("line").parse::<u32>().ok().filter(|line| (1..=999).contains(line));
    if number.is_none() {
        faults.push(fault("line", "The number of the line is needed, from 1 to 999."));
    }
    let at = paper_time::at(beside.state.zone, typed).map_err(|it| faults.push(it)).ok();
    let among = PaperAct::of(beside.sheet.of, beside.role);
    let act = PaperAct::typed(typed.get("what"), &among);
    if act.is_none() {
        let all: Vec<&str> = among.iter().map(|act| act.words()).collect();
        faults.push(fault(
            "what",
            format!("What was done is needed: one of {}. Its first letters will do.", all.join("; ")),
        ));
    }
    let (by, stranger) = person(beside.people, typed.get("by"));
    if by.is_empty() {
        faults.push(fault("by", "Who did it is needed: the code or the name on the sheet."));
    }
    let own = act.and_then(|act| own(beside, typed, act, &mut faults));
    let (Some(number), Some((at, day)), Some(act), Some(mut fields)) = (number, at, act, own) else {
        return Err(faults);
    };
    if !faults.is_empty() {
        return Err(faults);
    }
    let sheet = &beside.sheet.sheet;
    fields.insert("at".into(), json!(at));
    fields.insert("key".into(), json!(key(sheet, number)));
    fields.insert("late".into(), json!({"cause": "downtime", "sheet": sheet, "line": number, "done_by": by}));
    if !typed.get("note").is_empty() {
        fields.insert("note".into(), json!(typed.get("note")));
    }
    match Command::read(Value::Object(fields)) {
        Ok(command) => Ok(Line { number, act, at, day, by, stranger, command }),
        Err(errors) => Err(errors
            .into_iter()
            .map(|error| fault(field_of(&error.pointer), super::text::ended(&error.detail)))
            .collect()),
    }
}

/// The field of the form that a part of the command stands for.
fn field_of(pointer: &str) -> &'static str {
    let names = [
        ("/late/done_by", "by"),
        ("/readings/second_reader", "second"),
        ("/readings/min_c", "min_c"),
        ("/readings/max_c", "max_c"),
        ("/readings/hold_s", "hold_s"),
        ("/readings/a0_s", "a0_s"),
        ("/machine", "machine"),
        ("/programme", "programme"),
        ("/cycle_no", "cycle_no"),
        ("/case", "case"),
        ("/load", "load"),
        ("/location", "location"),
        ("/reason", "reason"),
        ("/note", "note"),
        ("/unopened", "unopened"),
        ("/missing", "missing"),
    ];
    names.iter().find(|(start, _)| pointer.starts_with(start)).map_or("scan", |(_, field)| field)
}

/// A line is one command, whoever sends it however often.
pub fn key(sheet: &Id, line: u32) -> String {
    format!("sheet {sheet} line {line}")
}

/// The fields of the act itself.
fn own(
    beside: &Beside,
    typed: &Typed,
    act: PaperAct,
    faults: &mut Vec<FieldFault>,
) -> Option<Map<String, Value>> {
    let Value::Object(mut fields) = act.command() else { return None };
    let wanted = |field: &'static str, what: &str, faults: &mut Vec<FieldFault>| {
        let text = typed.get(field).to_string();
        if text.is_empty() {
            faults.push(fault(field, format!("\"{}\" needs {what}.", act.words())));
        }
        text
    };
    let scan = |fields: &mut Map<String, Value>, text: &str| {
        fields.insert("scan".into(), json!(scans(beside.state, text)));
    };
    match act.needs() {
        Needs::Scan => {
            let text = wanted("scan", "the set or the part", faults);
            scan(&mut fields, &text);
        }
        Needs::ScanAndPlace => {
            let text = wanted("scan", "the set or the part", faults);
            scan(&mut fields, &text);
            fields.insert("location".into(), json!(wanted("location", "the place", faults)));
        }
        Needs::ScanAndCase => {
            let text = wanted("scan", "the set or the part", faults);
            scan(&mut fields, &text);
            fields.insert("case".into(), json!(wanted("case", "the case", faults)));
        }
        Needs::Case => {
            fields.insert("case".into(), json!(wanted("case", "the case", faults)));
            counted(beside, typed, &mut fields);
        }
        Needs::Machine => {
            let text = wanted("scan", "what went in", faults);
            scan(&mut fields, &text);
            fields.insert("machine".into(), json!(wanted("machine", "the machine", faults)));
            fields.insert("programme".into(), json!(wanted("programme", "the programme", faults)));
            if !typed.get("cycle_no").is_empty() {
                fields.insert("cycle_no".into(), json!(typed.get("cycle_no")));
            }
        }
        Needs::Readings => {
            fields.insert("load".into(), json!(wanted("load", "the load", faults)));
            let min = wanted("min_c", "the lowest temperature of the hold", faults);
            let max = wanted("max_c", "the highest temperature of the hold", faults);
            let second = wanted("second", "the second reader: two people read a printout", faults);
            fields.insert("readings".into(), readings(beside, typed, (&min, &max, &second)));
        }
        Needs::Load => {
            fields.insert("load".into(), json!(wanted("load", "the load", faults)));
            if act == PaperAct::Released && !typed.get("dry").is_empty() {
                fields.insert("dry".into(), json!(yes(typed.get("dry"))));
            }
        }
        Needs::LoadAndReason => {
            fields.insert("load".into(), json!(wanted("load", "the load", faults)));
            fields.insert("reason".into(), json!(wanted("reason", "the reason", faults)));
        }
    }
    Some(fields)
}

fn yes(text: &str) -> bool {
    matches!(text.to_lowercase().as_str(), "y" | "yes" | "true" | "on" | "1")
}

fn pointed(text: &str) -> String {
    text.replace(',', ".")
}

fn readings(beside: &Beside, typed: &Typed, (min, max, second): (&str, &str, &str)) -> Value {
    let (second, _) = person(beside.people, second);
    let complete = typed.get("complete").is_empty() || yes(typed.get("complete"));
    let mut all = json!({"min_c": pointed(min), "max_c": pointed(max), "complete": complete,
                         "second_reader": second});
    for field in ["hold_s", "a0_s"] {
        if !typed.get(field).is_empty() {
            all[field] = json!(pointed(typed.get(field)));
        }
    }
    all
}

/// What a closing count names; what it does not name is back.
fn counted(beside: &Beside, typed: &Typed, fields: &mut Map<String, Value>) {
    if !typed.get("unopened").is_empty() {
        fields.insert("unopened".into(), json!(scans(beside.state, typed.get("unopened"))));
    }
    if !typed.get("missing").is_empty() {
        fields.insert("missing".into(), json!(words(typed.get("missing"))));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::paper::{By, SheetOf};

    fn told(fields: &[(&str, &str)]) -> Result<Line, Vec<FieldFault>> {
        let mut state = State::new(Id::new("north").unwrap());
        state.zone = chrono_tz::Europe::Berlin;
        let printed = By { entry: 1, at: Time::default(), by: "lead".into() };
        let sheet = PaperSheet {
            sheet: Id::new("P0007").unwrap(),
            of: SheetOf::Sink,
            lines: 30,
            printed,
            entered: BTreeMap::new(),
            finished: None,
            void: None,
        };
        let people = [("desk-9", "Dana Sink"), ("gone-1", "Gus Gone")];
        let people = people.into_iter().map(|(code, name)| (code.to_string(), name.to_string())).collect();
        let mut typed = Typed::default();
        for (field, text) in
            [("line", "3"), ("day", "2026-03-02"), ("what", "rec"), ("scan", "SET-1"), ("by", "desk-9")]
        {
            typed.set(field, text);
        }
        fields.iter().for_each(|(field, text)| typed.set(field, *text));
        read(&Beside { state: &state, sheet: &sheet, role: Role::Desk, people: &people }, &typed)
    }

    fn at(fields: &[(&str, &str)]) -> String {
        told(fields).unwrap().at.to_string()
    }

    /// Central European Time: clocks go forward on the last Sunday of March at 02:00, back on that of October at 03:00
    /// (Directive 2000/84/EC).
    #[test]
    fn midnight_and_the_change_of_clocks_are_kept_apart() {
        assert_eq!(at(&[("time", "0715")]), "2026-03-02T06:15:00Z");
        assert_eq!(at(&[("before", "07:20")]), "2026-03-02T06:20:00Z", "no time is that of the line before");
        assert_eq!(at(&[("before", "23:50"), ("time", "0:10")]), "2026-03-02T23:10:00Z", "past midnight");
        // A line that somebody wrote a little too low on the sheet is of the same day.
        assert_eq!(at(&[("before", "09:50"), ("time", "09:10")]), "2026-03-02T08:10:00Z");
        let left_out = told(&[("day", "2026-03-29"), ("time", "02:30")]).unwrap_err();
        assert_eq!((left_out[0].field, left_out[0].choices.len()), ("time", 0));
        assert!(left_out[0].words.contains("there was no 02:30"), "{left_out:?}");
        let twice = [("day", "2026-10-25"), ("time", "02:30")];
        let asked = told(&twice).unwrap_err();
        assert_eq!((asked[0].field, asked[0].choices.len()), ("again", 2), "{asked:?}");
        let with = |again| at(&[twice[0], twice[1], ("again", again)]);
        assert_eq!(with("1"), "2026-10-25T00:30:00Z");
        assert_eq!(with("2"), "2026-10-25T01:30:00Z");
    }

    #[test]
    fn whoever_did_it_is_found_by_code_or_name_also_if_they_left() {
        let by = |text| told(&[("time", "0715"), ("by", text)]).map(|line| (line.by, line.stranger));
        assert_eq!(by("DESK-9"), Ok(("desk-9".into(), false)));
        assert_eq!(by("gus gone"), Ok(("gone-1".into(), false)));
        assert_eq!(by("A. Temp"), Ok(("A. Temp".into(), true)));
        assert_eq!(by("").unwrap_err()[0].field, "by");
    }

    #[test]
    fn every_field_that_is_wrong_is_told() {
        let wrong = told(&[("time", "25:00"), ("what", "d"), ("by", ""), ("line", "0")]).unwrap_err();
        let fields: Vec<&str> = wrong.iter().map(|it| it.field).collect();
        assert_eq!(fields, ["line", "time", "what", "by"]);
        assert_eq!(told(&[("time", "0715"), ("scan", "")]).unwrap_err()[0].field, "scan");
    }

    #[test]
    fn a_line_is_one_command_of_its_sheet() {
        let line = told(&[("time", "0715"), ("note", "wet")]).unwrap();
        let value = line.command.to_value().unwrap();
        let late = json!({"cause": "downtime", "sheet": "P0007", "line": 3, "done_by": "desk-9"});
        assert_eq!((&value["late"], &value["key"]), (&late, &json!("sheet P0007 line 3")));
        assert_eq!((&value["scan"], &value["note"]), (&json!(["SET-1"]), &json!("wet")));
    }
}
