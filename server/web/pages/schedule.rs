//! What did the schedule say that a person has to look at?

use askama::Template;
use axum::extract::{Form, Path, Query, State as Reach};
use axum::response::Response;

use super::shared::{Done, Page, count, listed, segment, when};
use super::theatre::{self, Choice};
use crate::domain::case::Case;
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::schedule_line::{Answered, Became, ScheduleLine};
use crate::domain::state::State;
use crate::domain::text::Line;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::form::Fields;
use crate::web::visitor::{Visitor, render};

/// So many of the settled lines are shown.
const SETTLED_SHOWN: usize = 50;
/// So many of the open ones; the rest follows as these are settled.
const OPEN_SHOWN: usize = 50;

pub struct Row {
    pub line: String,
    pub title: String,
    pub came: String,
    pub why: Vec<String>,
    pub facts: Vec<(&'static str, String)>,
    /// The case that it is about.
    pub case: String,
    pub href: String,
    /// The message, where it was asked for just now, line by line.
    pub message: Vec<String>,
    /// What to do about it, in sentences.
    pub next: &'static str,
    /// What a case that is planned by hand begins with, where it is about none that is here.
    pub plan: Option<Plan>,
}

/// A case as the message tells it, to be planned by hand.
pub struct Plan {
    pub case: String,
    pub start: String,
    pub minutes: String,
    pub room: String,
}

pub struct SettledRow {
    pub line: String,
    pub title: String,
    pub outcome: String,
    pub by: String,
}

#[derive(Template)]
#[template(path = "schedule.html")]
pub struct SchedulePage {
    pub page: Page,
    pub heading: String,
    pub rows: Vec<Row>,
    /// How many open lines are not shown.
    pub more: usize,
    pub settled: Vec<SettledRow>,
    pub outcomes: Vec<(&'static str, &'static str)>,
    /// Those of them that may become of several lines at once.
    pub at_once: Vec<(&'static str, &'static str)>,
    pub needs: Vec<Vec<Choice>>,
    pub techniques: Vec<Choice>,
    /// Cases that a line may be about.
    pub cases: Vec<String>,
    pub reads: bool,
    /// Cases whose needs nobody knows.
    pub not_known: usize,
}

fn title(it: &ScheduleLine) -> String {
    let what = match it.kept.trigger.as_ref().map(|trigger| trigger.as_str()) {
        Some("S12") => "A new booking",
        Some("S13") => "A move to another time",
        Some("S14") => "A change",
        Some("S15") => "A cancellation",
        Some("S17") => "A deletion",
        Some("S26") => "A patient who did not come",
        _ => "A message",
    };
    let number = it.kept.schedule.filler.as_ref().or(it.kept.schedule.placer.as_ref());
    match number {
        Some(number) => format!("{what}, appointment {}", number.as_str()),
        None => format!("{what} without a number"),
    }
}

fn facts(state: &State, it: &ScheduleLine, now: Time) -> Vec<(&'static str, String)> {
    let told = &it.kept.schedule;
    let mut all = vec![("From", told.sender.0.clone())];
    all.extend(told.start.map(|start| ("Start told", when(state, start, now))));
    all.extend(told.minutes.map(|minutes| ("Length told", format!("{minutes} minutes"))));
    all.extend(told.room.as_ref().map(|room| ("Room told", room.0.clone())));
    let codes: Vec<String> = told
        .codes
        .iter()
        .flatten()
        .map(|coded| match &coded.name {
            Some(name) => format!("{} ({})", coded.code.0, name.0),
            None => coded.code.0.clone(),
        })
        .collect();
    all.extend((!codes.is_empty()).then(|| ("Procedure told", listed(&codes))));
    all.extend(it.kept.control_id.as_ref().map(|id| ("Message", id.0.clone())));
    all
}

fn outcomes() -> impl Iterator<Item = (&'static str, &'static str)> {
    Became::ALL.into_iter().map(|it| (it.name(), it.words()))
}

/// The case that the schedule made of this appointment, or changed, since the message came.
fn since<'a>(state: &'a State, it: &ScheduleLine) -> Option<&'a Case> {
    let case = state.case_of(&it.kept.schedule)?;
    (it.kept.case.is_none() && case.schedule.as_ref().is_some_and(|of| of.since > it.entry)).then_some(case)
}

/// Whether the message says that something does not take place.
fn ends(it: &ScheduleLine) -> bool {
    matches!(it.kept.trigger.as_ref().map(Line::as_str), Some("S15" | "S17" | "S26"))
}

/// What to do about a line. Whoever keeps the schedule is asked first where the message is wrong: what they send anew
/// settles it for everybody.
fn next(state: &State, it: &ScheduleLine) -> &'static str {
    if since(state, it).is_some() {
        return "A later message of the schedule has made the case of this appointment. Look at it: if it is right, settle \
                this as overtaken.";
    }
    let known = it.kept.case.is_some();
    match (it.kept.answered, known, ends(it)) {
        (_, true, true) => {
            "Look at the case. Cancel it by hand if that is right, then settle this as entered by hand, with that case; \
             or tell whoever keeps the schedule that it takes place."
        }
        (_, true, false) => {
            "Look at the case. Change it by hand if the schedule is right, then settle this as entered by hand, with \
             that case; or tell whoever keeps the schedule what is right."
        }
        (_, false, true) => {
            "If a case was planned for it by hand, cancel that one, and settle this as entered by hand, with that case. \
             If there is none, nothing needs to be cancelled: it is not ours."
        }
        (Answered::Error, false, false) => {
            "Ask whoever keeps the schedule to put it right and send it anew: that makes the case by itself, and this is \
             overtaken. Or plan the case by hand, then settle this as entered by hand, with that case."
        }
        (Answered::Accepted, false, false) => {
            "If it is still to come, ask whoever keeps the schedule for its right time, or plan it by hand and settle \
             this with that case. If it is over and was not here, it is not ours."
        }
    }
}

/// The case that the message would have made, as far as it tells it.
fn plan(state: &State, it: &ScheduleLine) -> Option<Plan> {
    if it.kept.case.is_some() || ends(it) || since(state, it).is_some() {
        return None;
    }
    let told = &it.kept.schedule;
    let number = told.filler.as_ref().or(told.placer.as_ref()).map_or("", |number| number.as_str());
    let plain = |sign: char| if sign.is_ascii_alphanumeric() || "._-".contains(sign) { sign } else { '-' };
    let stem: String = number.chars().map(plain).take(56).collect();
    let stem = if stem.is_empty() { it.kept.line.to_string() } else { stem };
    let mut names = (1..1_000).map(|n| if n == 1 { stem.clone() } else { format!("{stem}-{n}") });
    let local = |start: Time| start.in_zone(state.zone).format("%Y-%m-%dT%H:%M").to_string();
    Some(Plan {
        case: names.find(|name| !state.cases.contains_key(name.as_str())).unwrap_or_default(),
        start: told.start.map(local).unwrap_or_default(),
        minutes: told.minutes.map(|minutes| minutes.to_string()).unwrap_or_default(),
        room: told.room.as_ref().map(|room| room.0.clone()).unwrap_or_default(),
    })
}

impl SchedulePage {
    pub fn of(visitor: &Visitor, read: Option<(&Id, &str)>, done: Option<u64>) -> SchedulePage {
        let (state, now) = (&*visitor.state, visitor.now);
        let open = state.open_schedule_lines();
        let about = |it: &&ScheduleLine| {
            it.kept.case.clone().or_else(|| since(state, it).map(|case| case.case.clone()))
        };
        let row = |it: &&ScheduleLine| Row {
            line: it.kept.line.to_string(),
            title: title(it),
            came: when(state, it.at, now),
            why: it.kept.why.clone(),
            facts: facts(state, it, now),
            next: next(state, it),
            plan: plan(state, it),
            case: about(it).map(|case| case.to_string()).unwrap_or_default(),
            href: about(it).map(|case| format!("/cases/{}", segment(case.as_str()))).unwrap_or_default(),
            message: read
                .filter(|(line, _)| **line == it.kept.line)
                .map(|(_, text)| text.lines().map(String::from).collect())
                .unwrap_or_default(),
        };
        let mut settled: Vec<&ScheduleLine> =
            state.schedule_lines.values().filter(|it| it.settled.is_some()).map(|it| &**it).collect();
        settled.sort_by_key(|it| std::cmp::Reverse(it.settled.as_ref().map(|settled| settled.entry)));
        let not_known = state.open_cases().filter(|case| case.by_schedule_not_known()).count();
        SchedulePage {
            page: Page::of(visitor, "/schedule", "/schedule", done),
            heading: heading(open.len(), open.first().map(|it| when(state, it.at, now))),
            more: open.len().saturating_sub(OPEN_SHOWN),
            rows: open.iter().take(OPEN_SHOWN).map(row).collect(),
            settled: settled
                .into_iter()
                .take(SETTLED_SHOWN)
                .filter_map(|it| settled_row(state, it, now))
                .collect(),
            at_once: outcomes().filter(|it| it.0 != Became::EnteredByHand.name()).collect(),
            outcomes: outcomes().collect(),
            needs: theatre::needs(state, &[]),
            techniques: theatre::techniques(None),
            cases: state.open_cases().map(|case| case.case.to_string()).collect(),
            reads: matches!(visitor.actor.role, Role::Charge | Role::Infection | Role::Auditor),
            not_known,
        }
    }
}

fn settled_row(state: &State, it: &ScheduleLine, now: Time) -> Option<SettledRow> {
    let settled = it.settled.as_ref()?;
    let case = settled.case.as_ref().map(|case| format!(", case {case}")).unwrap_or_default();
    Some(SettledRow {
        line: it.kept.line.to_string(),
        title: title(it),
        outcome: format!("{}{case}", settled.outcome.words()),
        by: format!("{}, {}", settled.by, when(state, settled.at, now)),
    })
}

fn heading(open: usize, oldest: Option<String>) -> String {
    match oldest {
        None => "Nothing of the schedule waits for a person.".into(),
        Some(oldest) => {
            let verb = if open == 1 { "waits" } else { "wait" };
            let since = if open == 1 { "since" } else { "the oldest since" };
            format!(
                "{} of the schedule {verb} for a person, {since} {oldest}.",
                count(open, "message", "messages")
            )
        }
    }
}

pub async fn get(visitor: Visitor, Query(done): Query<Done>) -> Response {
    render(&SchedulePage::of(&visitor, None, done.seq()))
}

/// The same page with one message on it, which may hold a patient's number. The reading is logged before it is answered.
pub async fn message(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(line): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let csrf = fields.iter().find(|(name, _)| name == "csrf").map_or("", |(_, value)| value.as_str());
    if !visitor.owns(csrf) {
        return crate::web::fail::foreign_form();
    }
    let found = Id::new(&line).and_then(|id| visitor.state.schedule_lines.get(&id).cloned());
    let Some(found) = found else {
        return super::problem::not_found(
            "line of the schedule",
            &line,
            "/schedule",
            "Messages of the schedule",
        );
    };
    match app.house.schedule_message(&visitor.state.site, &found, &visitor.actor).await {
        Ok(text) => {
            let text = text.unwrap_or_else(|| "It was erased.".into());
            render(&SchedulePage::of(&visitor, Some((&found.kept.line, &text)), None))
        }
        Err(gone) => crate::web::fail::unavailable(&gone.operation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn what_waits_says_why_and_by_whom_it_was_settled() {
        let visitor = sample::scheduled();
        let text = sample::show("schedule", &SchedulePage::of(&visitor, None, None));
        assert!(text.contains("<h1>1 message of the schedule waits for a person, since"), "{text}");
        assert!(text.contains("its room is booked for"), "{text}");
        assert!(text.contains("not ours") && text.contains("p-charge"), "{text}");
        assert!(text.contains("What to do.</b> Ask whoever keeps the schedule"), "{text}");
        assert!(text.contains("Plan the case of line-00001 by hand"), "{text}");
        assert!(!text.contains("REF-77"), "{text}");
    }

    /// Whoever has to look is told where they look anyway; nobody else is.
    #[test]
    fn the_charge_nurse_is_told_on_the_pages_that_they_read() {
        let mut visitor = sample::scheduled();
        let board = visitor.state.board(visitor.now);
        let cases = |visitor: &Visitor| {
            let page = crate::web::pages::cases::CasesPage::of(visitor, &board, 0, None);
            sample::show("cases-scheduled", &page)
        };
        let text = cases(&visitor);
        assert!(
            text.contains("1 message of the schedule waits") && text.contains("Needs not known"),
            "{text}"
        );
        visitor.actor.role = Role::Clinician;
        assert!(!cases(&visitor).contains("of the schedule waits"));
    }

    #[test]
    fn a_message_is_shown_where_it_was_asked_for() {
        let visitor = sample::scheduled();
        let line = visitor.state.open_schedule_lines()[0].kept.line.clone();
        let page = SchedulePage::of(&visitor, Some((&line, "MSH|1\nPID|||REF-77")), None);
        let text = sample::show("schedule-message", &page);
        assert!(text.contains("PID|||REF-77"), "{text}");
    }
}
