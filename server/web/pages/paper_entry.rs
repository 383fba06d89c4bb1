//! Entering a sheet of paper: one line after the other, by keyboard, each an entry of its own. What cannot be read is told beside
//! its field, what broke a rule beside its line, and nothing typed is lost.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Form, Path, State as Reach};
use axum::response::Response;

use super::paper_rows::{Row, Sum, rows};
use super::refused::{Reason, reasons};
use super::rules;
use super::shared::{Page, count, time};
use super::told;
use crate::app::house::{House, Outcome, Unavailable};
use crate::app::paper::Before;
use crate::domain::event::{Entry, Event};
use crate::domain::odd::Way;
use crate::domain::paper::{PaperSheet, SheetOf, SheetStatus, number};
use crate::domain::paper_act::PaperAct;
use crate::domain::paper_line::{self, Beside, FieldFault, Line, Typed};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::form::{Fields, text};
use crate::web::visitor::{Visitor, render};

/// What became of the line that was sent.
#[derive(Default)]
pub struct Answer {
    /// What it was recorded as.
    pub recorded: String,
    /// What it broke, in plain words.
    pub broken: Vec<String>,
    /// That it is entered already, by whom and as what.
    pub before: String,
    pub differs: bool,
    pub reasons: Vec<Reason>,
    pub faults: Vec<FieldFault>,
}

#[derive(Template)]
#[template(path = "paper_entry.html")]
pub struct EntryPage {
    pub page: Page,
    pub heading: String,
    pub sheet: String,
    pub of: &'static str,
    pub status: SheetStatus,
    pub printed: String,
    /// Why it is void.
    pub void: String,
    pub typed: Typed,
    pub answer: Answer,
    /// The acts that this reader may tell on it; empty where somebody else has to.
    pub acts: Vec<&'static str>,
    pub people: Vec<(String, String)>,
    pub with_loads: bool,
    pub with_cases: bool,
    pub with_places: bool,
    pub machines: Vec<(String, String)>,
    pub cases: Vec<String>,
    pub loads: Vec<String>,
    pub rows: Vec<Row>,
    pub sum: Sum,
}

impl EntryPage {
    pub fn value(&self, field: &str) -> &str {
        self.typed.get(field)
    }

    pub fn fault(&self, field: &str) -> Option<&FieldFault> {
        self.answer.faults.iter().find(|it| it.field == field)
    }

    pub fn is_open(&self) -> bool {
        matches!(self.status, SheetStatus::Out | SheetStatus::BeingEntered)
    }

    /// The field that the keys go to: the first that is wrong, else the time.
    pub fn first(&self, field: &str) -> bool {
        field == self.answer.faults.first().map_or("time", |it| it.field)
    }
}

/// What a page is made of beside the state.
pub struct Known<'a> {
    pub people: &'a BTreeMap<String, String>,
    pub entries: &'a [(Entry, Event)],
}

/// The line that follows: its number, and what is likely the same.
fn beginning(state: &State, sheet: &PaperSheet, known: &Known, role: crate::domain::person::Role) -> Typed {
    let mut typed = Typed::default();
    typed.set("line", sheet.next_line().to_string());
    let lines = known
        .entries
        .iter()
        .filter(|(_, event)| event.beside.late.as_ref().is_some_and(|late| late.line.is_some()));
    let last = lines.max_by_key(|(_, event)| event.beside.late.as_ref().and_then(|late| late.line));
    let at = last.map_or(sheet.printed.at, |(entry, _)| entry.at);
    let local = at.in_zone(state.zone);
    typed.set("day", local.format("%Y-%m-%d").to_string());
    if let Some((_, event)) = last {
        typed.set("before", local.format("%H:%M").to_string());
        let by = event.beside.late.as_ref().and_then(|late| late.doer()).unwrap_or_default();
        typed.set("by", by);
    }
    typed.set("what", PaperAct::first(sheet.of, role).map_or("", PaperAct::words));
    typed
}

/// The next line after one that was taken: everything that is likely the same is carried on, what was scanned is not.
fn after(state: &State, sheet: &PaperSheet, line: &Line, before: &Typed, load: Option<String>) -> Typed {
    let mut typed = Typed::default();
    for field in ["by", "case", "machine", "programme", "location"] {
        typed.set(field, before.get(field));
    }
    typed.set("by", line.by.clone());
    typed.set("load", load.unwrap_or_else(|| before.get("load").to_string()));
    typed.set("line", (line.number + 1).to_string());
    typed.set("day", line.day.format("%Y-%m-%d").to_string());
    typed.set("before", line.at.in_zone(state.zone).format("%H:%M").to_string());
    let then = line.act.then(sheet.of);
    typed.set("what", then.words());
    typed
}

impl EntryPage {
    pub fn of(
        visitor: &Visitor,
        sheet: &PaperSheet,
        known: &Known,
        typed: Option<Typed>,
        answer: Answer,
    ) -> EntryPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let role = visitor.actor.role;
        let path = format!("/paper/{}", sheet.sheet);
        let typed = typed.unwrap_or_else(|| beginning(state, sheet, known, role));
        let has = |of: &[SheetOf]| of.contains(&sheet.of);
        let sum = Sum::of(state, known.entries);
        let undecided = state.loads.values().filter(|load| load.decided_at.is_none());
        let programmes = state.machines.values().flat_map(|machine| {
            machine.programmes.iter().map(|it| (machine.machine.to_string(), it.programme.to_string()))
        });
        EntryPage {
            page: Page::of(visitor, "/paper", path, None),
            heading: heading(sheet, &sum),
            sheet: sheet.sheet.to_string(),
            of: sheet.of.words(),
            status: sheet.status(),
            printed: format!("{}, {}", time(state, sheet.printed.at, now), sheet.printed.by),
            void: sheet.void.as_ref().map(|(_, why)| why.clone()).unwrap_or_default(),
            typed,
            answer,
            acts: PaperAct::of(sheet.of, role).into_iter().map(PaperAct::words).collect(),
            people: known.people.iter().map(|(code, name)| (code.clone(), name.clone())).collect(),
            with_loads: has(&[SheetOf::Washer, SheetOf::Steriliser, SheetOf::Other]),
            with_cases: has(&[SheetOf::Theatre, SheetOf::Other]),
            with_places: has(&[SheetOf::Packing, SheetOf::Steriliser, SheetOf::Other]),
            machines: programmes.collect(),
            cases: state.open_cases().map(|case| case.case.to_string()).collect(),
            loads: undecided.map(|load| load.load.to_string()).collect(),
            rows: rows(state, known, now),
            sum,
        }
    }
}

fn heading(sheet: &PaperSheet, sum: &Sum) -> String {
    let lines = count(sheet.entered.len(), "line is", "lines are");
    let deviations = count(sum.deviations, "deviation", "deviations");
    match sheet.status() {
        SheetStatus::Out => {
            format!("Sheet {}: enter its first line.", sheet.sheet)
        }
        SheetStatus::BeingEntered => {
            format!("Sheet {}: {lines} entered, {deviations}.", sheet.sheet)
        }
        SheetStatus::Entered if sum.left.is_empty() => {
            format!(
                "Sheet {} is entered: {} and {deviations}. Nothing of it is left to do.",
                sheet.sheet,
                count(sheet.entered.len(), "line", "lines")
            )
        }
        SheetStatus::Entered => {
            format!(
                "Sheet {} is entered: {} and {deviations}. {}.",
                sheet.sheet,
                count(sheet.entered.len(), "line", "lines"),
                count(sum.left.len(), "thing is left to do", "things are left to do")
            )
        }
        SheetStatus::Void => format!("Sheet {} is void.", sheet.sheet),
    }
}

fn gone(name: &str) -> Response {
    super::problem::not_found("sheet", name, "/paper", "To the sheets")
}

async fn shown(
    house: &House,
    visitor: &Visitor,
    sheet: &PaperSheet,
    people: &BTreeMap<String, String>,
    (typed, answer): (Option<Typed>, Answer),
) -> Result<Response, Unavailable> {
    let entries = house.of_sheet(&visitor.state.site, &sheet.sheet).await?;
    let known = Known { people, entries: &entries };
    Ok(render(&EntryPage::of(visitor, sheet, &known, typed, answer)))
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Path(name): Path<String>) -> Response {
    let Some(sheet) = number(&name).and_then(|id| visitor.state.paper.get(&id)).cloned() else {
        return gone(&name);
    };
    let made = async {
        let people = app.house.names(&visitor.state.site).await?;
        shown(&app.house, &visitor, &sheet, &people, (None, Answer::default())).await
    };
    made.await.unwrap_or_else(|gone| super::problem::unavailable(&gone.operation))
}

/// A line that was entered before, in words.
fn before_words(state: &State, before: &Before, line: u32, now: Time) -> String {
    let entry = &before.entry;
    let told = told::entry(entry);
    let (at, by) = (time(state, entry.recorded_at, now), &entry.actor);
    match before.same {
        true => format!("Line {line} is entered already, just so: entry {}, by {by}, {at}.", entry.seq),
        false => format!(
            "Line {line} is entered already, and differs: entry {}, by {by}, {at}, says \"{}\" of {}.",
            entry.seq,
            told.what,
            time(state, entry.at, now)
        ),
    }
}

pub async fn post(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(name): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    if !visitor.owns(text(&fields, "csrf")) {
        return super::problem::stale_form();
    }
    let Some(sheet) = number(&name).and_then(|id| visitor.state.paper.get(&id)).cloned() else {
        return gone(&name);
    };
    let typed = Typed(fields.into_iter().filter(|(name, _)| name != "csrf").collect());
    let made = entered(&app.house, visitor, &sheet, typed).await;
    made.unwrap_or_else(|gone| super::problem::unavailable(&gone.operation))
}

async fn entered(
    house: &House,
    visitor: Visitor,
    sheet: &PaperSheet,
    typed: Typed,
) -> Result<Response, Unavailable> {
    let people = house.names(&visitor.state.site).await?;
    let beside = Beside { state: &visitor.state, sheet, role: visitor.actor.role, people: &people };
    let line = match paper_line::read(&beside, &typed) {
        Ok(line) => line,
        Err(faults) => {
            let answer = Answer { faults, ..Answer::default() };
            return shown(house, &visitor, sheet, &people, (Some(typed), answer)).await;
        }
    };
    if let Some(before) = house.entered_before(&visitor.state.site, &line.command).await? {
        return known_line(house, &visitor, sheet, &people, (typed, line, before)).await;
    }
    let given = house.submit(&visitor.state.site, &visitor.actor, vec![line.command.clone()]).await;
    let state = house.state(&visitor.state.site).await?.unwrap_or_else(|| visitor.state.clone());
    let now = house.clock.now();
    let visitor = Visitor { state, now, ..visitor };
    let sheet = visitor.state.paper.get(&sheet.sheet).map_or_else(|| sheet.clone(), |it| (**it).clone());
    let outcome = given.into_iter().next();
    match outcome {
        Some(Outcome::Accepted(accepted)) => {
            let made = accepted.event.get("made").and_then(serde_json::Value::as_str).map(String::from);
            let load = made.filter(|_| line.act == PaperAct::LoadStarted);
            let next = after(&visitor.state, &sheet, &line, &typed, load);
            let answer = recorded(&visitor.state, &line, accepted.entry, &accepted.event, now);
            shown(house, &visitor, &sheet, &people, (Some(next), answer)).await
        }
        Some(Outcome::Unavailable(gone)) => Err(gone),
        // Somebody else entered it in this very moment.
        Some(Outcome::KeyReused) => match house.entered_before(&visitor.state.site, &line.command).await? {
            Some(before) => known_line(house, &visitor, &sheet, &people, (typed, line, before)).await,
            None => shown(house, &visitor, &sheet, &people, (Some(typed), Answer::default())).await,
        },
        turned => {
            let name = line.command.act.name();
            let reasons = turned.map(|it| reasons(&it, name)).unwrap_or_default();
            let answer = Answer { reasons, ..Answer::default() };
            shown(house, &visitor, &sheet, &people, (Some(typed), answer)).await
        }
    }
}

/// The same line again goes on to the next one; one that differs stays in the form, to be compared.
async fn known_line(
    house: &House,
    visitor: &Visitor,
    sheet: &PaperSheet,
    people: &BTreeMap<String, String>,
    (typed, line, before): (Typed, Line, Before),
) -> Result<Response, Unavailable> {
    let words = before_words(&visitor.state, &before, line.number, visitor.now);
    let answer = Answer { before: words, differs: !before.same, ..Answer::default() };
    let next = match before.same {
        true => {
            let made = before.entry.event.get("made").and_then(serde_json::Value::as_str).map(String::from);
            let load = made.filter(|_| line.act == PaperAct::LoadStarted);
            after(&visitor.state, sheet, &line, &typed, load)
        }
        false => typed,
    };
    shown(house, visitor, sheet, people, (Some(next), answer)).await
}

fn recorded(state: &State, line: &Line, seq: u64, event: &serde_json::Value, now: Time) -> Answer {
    let kept = serde_json::from_value::<crate::domain::event::Beside>(event.clone()).unwrap_or_default();
    let broken = kept.deviation.iter().map(|code| rules::told(Way::Deviation, code.name())).collect();
    let stranger = match line.stranger {
        true => format!(" Nobody called \"{}\" has an account here; the name is kept sealed.", line.by),
        false => String::new(),
    };
    let recorded = format!(
        "Line {} is entry {seq}: {}, {}.{stranger}",
        line.number,
        line.act.words(),
        time(state, line.at, now)
    );
    Answer { recorded, broken, ..Answer::default() }
}
