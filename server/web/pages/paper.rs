//! Days on paper: which sheets are out, being entered, entered or void, and what to print before the network goes.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::say::Say;
use super::shared::{Done, Page, count, listed, segment, time};
use crate::domain::paper::{PaperSheet, SheetOf, SheetStatus, number};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

/// As many of those that are done as a person looks at.
const DONE_MOST: usize = 100;

pub struct SheetRow {
    pub href: String,
    pub sheet: String,
    pub of: &'static str,
    pub say: Say,
    pub lines: usize,
    pub printed: String,
    /// Who finished or voided it, and why it is void.
    pub done: String,
    pub pack: String,
}

/// Sheets that are out, or being entered: what the handover tells too.
pub fn open_words(state: &State) -> String {
    let (out, begun): (Vec<_>, Vec<_>) = state.open_paper().partition(|it| it.status() == SheetStatus::Out);
    let mut all = Vec::new();
    if !begun.is_empty() {
        all.push(count(begun.len(), "sheet is being entered", "sheets are being entered"));
    }
    if !out.is_empty() {
        all.push(count(out.len(), "numbered sheet is out", "numbered sheets are out"));
    }
    listed(&all)
}

#[derive(Template)]
#[template(path = "paper.html")]
pub struct PaperPage {
    pub page: Page,
    pub heading: String,
    pub kinds: Vec<(&'static str, &'static str, &'static str)>,
    pub open: Vec<SheetRow>,
    pub done: Vec<SheetRow>,
    pub asked: String,
}

fn row(state: &State, it: &PaperSheet, now: Time) -> SheetRow {
    let say = match it.status() {
        SheetStatus::Out => Say::new("out", "ink", "out, nothing entered"),
        SheetStatus::BeingEntered => Say::due("being entered"),
        SheetStatus::Entered => Say::new("ready", "ready", "entered"),
        SheetStatus::Void => Say::new("retired", "ink", "void"),
    };
    let by = |it: &crate::domain::paper::By| format!("{}, {}", time(state, it.at, now), it.by);
    let done = match (&it.void, &it.finished) {
        (Some((told, why)), _) => format!("{}: {why}", by(told)),
        (None, Some(told)) => by(told),
        (None, None) => String::new(),
    };
    SheetRow {
        href: format!("/paper/{}", segment(it.sheet.as_str())),
        sheet: it.sheet.to_string(),
        of: it.of.words(),
        say,
        lines: it.entered.len(),
        printed: by(&it.printed),
        done,
        pack: format!("/paper/pack?with={}", segment(it.sheet.as_str())),
    }
}

impl PaperPage {
    pub fn of(visitor: &Visitor, asked: &str, done: Option<u64>) -> PaperPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let open = state.open_paper().map(|it| row(state, it, now)).collect();
        let over = state.paper.values().rev().filter(|it| !it.is_open()).take(DONE_MOST);
        let words = open_words(state);
        // A pack that lasts a small department for a shift.
        let usual = |of: SheetOf| match of {
            SheetOf::Sink | SheetOf::Theatre => "2",
            SheetOf::Other => "",
            _ => "1",
        };
        PaperPage {
            page: Page::of(visitor, "/paper", "/paper", done),
            heading: match (asked.is_empty(), words.is_empty()) {
                (false, _) => format!("No sheet has the number \"{asked}\"."),
                (true, true) => "No sheet of paper waits to be entered.".into(),
                (true, false) => format!("{words}."),
            },
            kinds: SheetOf::ALL.map(|of| (of.name(), of.words(), usual(of))).into(),
            open,
            done: over.map(|it| row(state, it, now)).collect(),
            asked: asked.into(),
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// The number that stands on a sheet.
    pub sheet: String,
    pub done: Option<String>,
}

pub async fn get(_: Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let known = number(&asked.sheet).filter(|id| visitor.state.paper.contains_key(id));
    if let Some(sheet) = known {
        return Redirect::to(&format!("/paper/{}", segment(sheet.as_str()))).into_response();
    }
    let done = Done { done: asked.done };
    render(&PaperPage::of(&visitor, asked.sheet.trim(), done.seq()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn where_no_sheet_is_out_the_page_says_so() {
        let text = sample::show("paper", &PaperPage::of(&sample::visitor(), "", None));
        assert!(text.contains("No sheet of paper waits to be entered."), "{text}");
        let text = sample::show("paper-unknown", &PaperPage::of(&sample::visitor(), "99", None));
        assert!(text.contains("No sheet has the number \"99\".") || text.contains("&#34;99&#34;"), "{text}");
    }
}
