//! The recalls: what of a machine is recalled, and what is not answered for; and the start of one.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::say::Say;
use super::shared::{Page, count, segment, when};
use crate::domain::affected::affected;
use crate::domain::id::Id;
use crate::domain::recall::Recall;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

pub struct Row {
    pub href: String,
    pub recall: String,
    pub machine: String,
    pub reason: String,
    pub loads: usize,
    pub opened: String,
    pub by: String,
    /// Answers that are missing; how it ended, where it is closed.
    pub stands: String,
}

#[derive(Template)]
#[template(path = "recalls.html")]
pub struct RecallsPage {
    pub page: Page,
    pub heading: String,
    pub open: Vec<Row>,
    pub closed: Vec<Row>,
    pub machines: Vec<String>,
    /// The machine and the load that the reader came from.
    pub asked: Asked,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
    pub machine: String,
    pub load: String,
}

fn row(state: &State, it: &Recall, stands: String, now: Time) -> Row {
    Row {
        href: format!("/recalls/{}", segment(it.recall.as_str())),
        recall: it.recall.to_string(),
        machine: it.machine.to_string(),
        reason: it.reason.clone(),
        loads: it.loads.len(),
        opened: when(state, it.opened_at, now),
        by: it.opened_by.clone(),
        stands,
    }
}

/// How many parts and cases of an open recall have no answer.
type Unanswered = (usize, usize);

fn unanswered(state: &State, it: &Recall) -> Unanswered {
    let (parts, cases) = affected(state, it).open();
    (parts.len(), cases.len())
}

/// What has no answer, in words.
fn words((parts, cases): Unanswered) -> String {
    match (parts, cases) {
        (0, 0) => "all answered; may be closed".into(),
        _ => format!("{} and {}", count(parts, "part", "parts"), count(cases, "case", "cases")),
    }
}

/// The same as the end of a sentence.
fn sentence(open: Unanswered) -> String {
    match open {
        (0, 0) => "everything is answered for".into(),
        _ => format!("{} have no answer yet", words(open)),
    }
}

/// An open recall as other pages name it.
pub struct Open {
    pub href: String,
    pub recall: String,
    pub detail: String,
    pub since: Time,
    pub say: Say,
}

/// The recalls that are open, with what has no answer yet.
pub fn open(state: &State) -> impl Iterator<Item = Open> {
    let open = state.recalls.values().filter(|recall| recall.is_open());
    open.map(|recall| Open {
        href: format!("/recalls/{}", segment(recall.recall.as_str())),
        recall: recall.recall.to_string(),
        detail: format!("{}: {}", recall.machine, recall.reason),
        since: recall.opened_at,
        say: Say::held(sentence(unanswered(state, recall))),
    })
}

impl RecallsPage {
    pub fn of(visitor: &Visitor, asked: Asked) -> RecallsPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let mut all: Vec<&Recall> = state.recalls.values().map(|it| &**it).collect();
        all.sort_by(|a, b| (b.opened_at, &b.recall).cmp(&(a.opened_at, &a.recall)));
        let (open, closed): (Vec<_>, Vec<_>) = all.into_iter().partition(|it| it.is_open());
        let open: Vec<(&Recall, Unanswered)> =
            open.into_iter().map(|it| (it, unanswered(state, it))).collect();
        let heading = match open.as_slice() {
            [] => "No recall is open.".to_string(),
            [(one, missing)] => {
                format!("{} of {} is open: {}.", one.recall, one.machine, sentence(*missing))
            }
            many => {
                let held: Vec<String> = many.iter().map(|(it, _)| it.machine.to_string()).collect();
                format!("{} recalls are open, of {}.", many.len(), super::shared::listed(&distinct(held)))
            }
        };
        RecallsPage {
            page: Page::of(
                visitor,
                "/recalls",
                "/recalls",
                asked.done.as_deref().and_then(|seq| seq.parse().ok()),
            ),
            heading,
            open: open.into_iter().map(|(it, missing)| row(state, it, words(missing), now)).collect(),
            closed: closed
                .into_iter()
                .map(|it| row(state, it, it.outcome.clone().unwrap_or_default(), now))
                .collect(),
            machines: state.machines.keys().map(Id::to_string).collect(),
            asked,
        }
    }
}

fn distinct(mut all: Vec<String>) -> Vec<String> {
    all.sort();
    all.dedup();
    all
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&RecallsPage::of(&visitor, asked))
}
