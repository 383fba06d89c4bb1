//! Look-back: who and what is affected, from one load, part, case or machine, or from one patient.

use askama::Template;
use axum::extract::{Form, Query, State as Reach};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::lookback_answer::{Answer, Began, COLUMNS, sheet};
use super::lookback_asked::{MINUTES, Typed, address, pairs, short};
use super::shared::{Page, count, hold_kinds, time};
use crate::domain::id::Id;
use crate::domain::lookback::{LookBack, Origin, Trace, trace, trace_cases};
use crate::domain::person::Role;
use crate::domain::state::State;
use crate::domain::text::LONGEST_LINE;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::form::Fields;
use crate::web::visitor::{Visitor, render};

/// An investigation, open or closed.
pub struct Row {
    pub look_back: String,
    pub origin: String,
    pub href: String,
    pub reason: String,
    pub opened: String,
    pub by: String,
    pub closed: String,
    pub outcome: String,
}

/// A hidden field of the form that opens an investigation.
pub struct Hidden {
    pub name: &'static str,
    pub value: String,
}

#[derive(Template)]
#[template(path = "lookback.html")]
pub struct LookbackPage {
    pub page: Page,
    pub heading: String,
    /// Why nothing was looked up.
    pub wrong: String,
    pub typed: Typed,
    pub machines: Vec<String>,
    pub answer: Option<Answer>,
    pub origin: Vec<Hidden>,
    /// Where the same answer is had as a sheet.
    pub csv: String,
    /// The reference that was typed, to be sent again for the sheet; it stands in no address.
    pub reference: String,
    pub root: String,
    pub asks_patients: bool,
    /// The kinds of hold that the reader may place on all parts of the answer.
    pub hold_kinds: Vec<&'static str>,
    pub open: Vec<Row>,
    pub closed: Vec<Row>,
}

/// How far back the form for a machine reaches before anybody changes it.
const USUAL_DAYS: i64 = 7;

/// Who may begin at a patient; the route admits the same.
const TRACERS: &[Role] = &[Role::Charge, Role::Infection, Role::Auditor, Role::Lead];

fn hidden(origin: &Origin) -> Vec<Hidden> {
    let named = pairs(origin).into_iter().map(|(name, value)| {
        let name = match name {
            "load" => "origin.load",
            "asset" => "origin.asset",
            "case" => "origin.case",
            "machine" => "origin.machine",
            "lot" => "origin.lot",
            "model" => "origin.model",
            "serial" => "origin.serial",
            "from" => "origin.from",
            _ => "origin.to",
        };
        Hidden { name, value }
    });
    named.collect()
}

fn row(state: &State, it: &LookBack, now: Time) -> Row {
    Row {
        look_back: it.look_back.to_string(),
        origin: Began::At(&it.origin).words(state),
        href: address("/look-back", &it.origin),
        reason: it.reason.clone(),
        opened: time(state, it.opened_at, now),
        by: it.opened_by.clone(),
        closed: it.closed_at.map(|at| time(state, at, now)).unwrap_or_default(),
        outcome: it.outcome.clone().unwrap_or_default(),
    }
}

impl LookbackPage {
    /// The page with its forms and its list, before anything is asked.
    pub fn of(visitor: &Visitor, typed: Typed) -> LookbackPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let mut all: Vec<&LookBack> = state.look_backs.values().map(|it| &**it).collect();
        all.sort_by(|a, b| (b.opened_at, &b.look_back).cmp(&(a.opened_at, &a.look_back)));
        let (open, closed): (Vec<_>, Vec<_>) = all.into_iter().partition(|it| it.closed_at.is_none());
        // Most who ask about a machine ask about its last days.
        let mut typed = typed;
        if typed.is_empty() {
            let week_ago = now.plus_minutes(-USUAL_DAYS * 24 * 60);
            typed.from = week_ago.in_zone(state.zone).format(MINUTES).to_string();
        }
        let heading = match open.len() {
            0 => "Who and what is affected? Begin at a load, a part, a case or a machine.".to_string(),
            many => format!(
                "{} open. Who and what is affected? Begin at a load, a part, a case or a machine.",
                count(many, "look-back is", "look-backs are")
            ),
        };
        LookbackPage {
            page: Page::of(visitor, "/look-back", "/look-back", typed.done),
            heading,
            wrong: String::new(),
            typed,
            machines: state.machines.keys().map(Id::to_string).collect(),
            answer: None,
            origin: Vec::new(),
            csv: String::new(),
            reference: String::new(),
            root: String::new(),
            asks_patients: visitor.is(TRACERS),
            hold_kinds: hold_kinds(visitor.actor.role),
            open: open.into_iter().map(|it| row(state, it, now)).collect(),
            closed: closed.into_iter().map(|it| row(state, it, now)).collect(),
        }
    }

    /// The page with what is wrong with what was asked.
    fn wrong(visitor: &Visitor, typed: Typed, why: String) -> LookbackPage {
        let heading = format!("Nothing was looked up. {why}");
        LookbackPage { heading, wrong: why, ..LookbackPage::of(visitor, typed) }
    }

    fn answered(visitor: &Visitor, typed: Typed, began: Began, trace: &Trace, root: String) -> LookbackPage {
        let answer = Answer::of(&visitor.state, began, trace, visitor.now);
        let mut page = LookbackPage::of(visitor, typed);
        if let Began::At(origin) = began {
            page.page.path = address("/look-back", origin);
            page.origin = hidden(origin);
            page.csv = address("/look-back.csv", origin);
            let local = |at: Option<Time>| {
                at.map(|at| at.in_zone(visitor.state.zone).format(MINUTES).to_string()).unwrap_or_default()
            };
            (page.typed.from, page.typed.to) = (local(origin.from), local(origin.to));
        }
        LookbackPage { heading: answer.heading.clone(), answer: Some(answer), root, ..page }
    }
}

/// An origin with all that follows from it, or the answer that says why there is none.
fn looked(visitor: &Visitor, typed: &Typed) -> Result<(Origin, Trace), Box<Response>> {
    let state = &visitor.state;
    let turned = |status: StatusCode, why: String| {
        Box::new((status, render(&LookbackPage::wrong(visitor, typed.clone(), why))).into_response())
    };
    let origin = typed.origin(state).map_err(|why| turned(StatusCode::UNPROCESSABLE_ENTITY, why))?;
    match trace(state, &origin) {
        Some(trace) => Ok((origin, trace)),
        None => {
            let why =
                format!("Nothing here is called {}. Names are compared exactly.", short(&origin.words()));
            Err(turned(StatusCode::NOT_FOUND, why))
        }
    }
}

/// The root of the ledger that the answer shows, where it is at hand.
async fn root(app: &App, state: &State) -> String {
    app.house.root_at(&state.site, state.seq).await.ok().flatten().unwrap_or_default()
}

pub async fn get(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::of(&pairs);
    if typed.is_empty() {
        return render(&LookbackPage::of(&visitor, typed));
    }
    match looked(&visitor, &typed) {
        Ok((origin, trace)) => {
            let root = root(&app, &visitor.state).await;
            render(&LookbackPage::answered(&visitor, typed, Began::At(&origin), &trace, root))
        }
        Err(response) => *response,
    }
}

/// All cases of a patient at once. The reference comes in the body: an address is logged.
pub async fn post(Reach(app): Reach<App>, visitor: Visitor, Form(fields): Form<Fields>) -> Response {
    let text = |name: &str| {
        fields.iter().find(|(key, _)| key == name).map(|(_, value)| value.trim()).unwrap_or_default()
    };
    if !visitor.owns(text("csrf")) {
        return crate::web::fail::foreign_form();
    }
    let reference = text("patient");
    if reference.is_empty() || reference.chars().count() > LONGEST_LINE || reference.contains('\0') {
        let why = "The patient's reference is needed, of at most 200 characters.".to_string();
        let page = LookbackPage::wrong(&visitor, Typed::default(), why);
        return (StatusCode::UNPROCESSABLE_ENTITY, render(&page)).into_response();
    }
    let cases = match app.house.cases_of_patient(&visitor.state, reference, &visitor.actor).await {
        Ok(cases) => cases,
        Err(gone) => return crate::web::fail::unavailable(&gone.operation),
    };
    let (began, trace) = (Began::Patient(&cases), trace_cases(&visitor.state, &cases));
    if text("as") == "csv" {
        return download(&visitor, began, &trace, "patient");
    }
    let root = root(&app, &visitor.state).await;
    let mut page = LookbackPage::answered(&visitor, Typed::default(), began, &trace, root);
    page.reference = reference.to_string();
    render(&page)
}

pub async fn csv(visitor: Visitor, Query(pairs): Query<Vec<(String, String)>>) -> Response {
    match looked(&visitor, &Typed::of(&pairs)) {
        Ok((origin, trace)) => download(&visitor, Began::At(&origin), &trace, &origin.words()),
        Err(response) => *response,
    }
}

/// The answer as a file, whose name tells the ledger position that it shows.
fn download(visitor: &Visitor, began: Began, trace: &Trace, called: &str) -> Response {
    let state = &visitor.state;
    let plain = |c: char| if c.is_ascii_alphanumeric() || c == '.' { c } else { '-' };
    let called: String = called.chars().map(plain).take(80).collect();
    let called = format!("look-back-{called}-entry-{}", state.seq);
    super::sheet::download(COLUMNS, &sheet(state, began, trace), &called)
}

static BOOK: [crate::formats::cells::Column; COLUMNS.len()] = super::sheet::columns(COLUMNS);

/// The same as a workbook.
pub async fn book(visitor: Visitor, Query(pairs): Query<Vec<(String, String)>>) -> Response {
    match looked(&visitor, &Typed::of(&pairs)) {
        Ok((origin, trace)) => {
            let rows = sheet(&visitor.state, Began::At(&origin), &trace);
            let called = format!("look-back-entry-{}", visitor.state.seq);
            super::sheet::book(&BOOK, rows, "Look-back", &called)
        }
        Err(response) => *response,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    fn answered(pairs: &[(&str, &str)]) -> String {
        let visitor = sample::busy::visitor();
        let pairs: Vec<_> = pairs.iter().map(|(name, value)| (name.to_string(), value.to_string())).collect();
        let typed = Typed::of(&pairs);
        let origin = typed.origin(&visitor.state).unwrap();
        let trace = trace(&visitor.state, &origin).unwrap();
        let page = LookbackPage::answered(&visitor, typed, Began::At(&origin), &trace, "a3f0".repeat(16));
        sample::show("lookback", &page)
    }

    #[test]
    fn the_answer_is_one_sentence() {
        let text = answered(&[("load", "S-311")]);
        assert!(
            text.contains("Load S-311 touched 5 parts; 1 case opened them; 1 of these names a patient."),
            "{text}"
        );
        assert!(text.contains("possible contact, not infection") && text.contains("class=\"print-head\""));
        assert!(
            answered(&[("asset", "BR-0031")]).contains("Part BR-0031 went through 2 loads; 1 case opened it")
        );
        assert!(answered(&[("case", "K-7")]).contains("Case K-7 opened 6 parts"));
        let window = [("machine", "ST-1"), ("from", "2026-03-03T00:00"), ("to", "2026-03-03T23:59")];
        assert!(answered(&window).contains("Machine ST-1 from 3 March 2026, 00:00"));
        let none =
            sample::show("lookback-ask", &LookbackPage::of(&sample::busy::visitor(), Typed::default()));
        assert!(none.contains("1 look-back is open"), "{none}");
    }
}
