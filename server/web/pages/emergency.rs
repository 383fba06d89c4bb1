//! An emergency: one field, one scan, one act. Whoever the set was kept for, it goes.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;

use super::board::shown;
use super::handover_open::Item;
use super::headline::{reserves, sheet_name};
use super::shared::{Done, Page, count, listed, segment};
use crate::domain::board::{Board, BoardCase, BoardSet, hour};
use crate::domain::issuing::is_ready;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

pub struct Ready {
    pub set: String,
    pub href: String,
    pub name: String,
    pub sheet: String,
    /// Who loses it, and when that case starts.
    pub robs: Vec<String>,
}

#[derive(Template)]
#[template(path = "emergency.html")]
pub struct EmergencyPage {
    pub page: Page,
    pub heading: String,
    pub ready: Vec<Ready>,
    pub follow: Vec<Item>,
}

/// The open cases that have a set, or count on it, in the order in which they start.
fn robs(state: &State, board: &Board, set: &BoardSet, now: Time) -> Vec<String> {
    let here = board.cases.iter().filter(|case| case.sets.contains(&set.set));
    let told = |case: &BoardCase| {
        let kept = state.cases.get(&case.case).is_some_and(|it| it.promised.contains(&set.set));
        let word = if kept { "Kept for" } else { "Counted on by" };
        let today = case.start.date(state.zone) == now.date(state.zone);
        let at = if today {
            format!("at {}", hour(state, case.start))
        } else {
            format!("on {}", case.start.told(state.zone))
        };
        format!("{word} case {} {at}", case.case)
    };
    here.map(told).collect()
}

fn ready(state: &State, board: &Board, now: Time) -> Vec<Ready> {
    let all = board.sets.iter().filter(|set| is_ready(set.status)).map(|set| Ready {
        set: set.set.to_string(),
        href: format!("/sets/{}", segment(set.set.as_str())),
        name: set.name.clone(),
        sheet: sheet_name(state, &set.count_sheet),
        robs: robs(state, board, set, now),
    });
    let mut all: Vec<Ready> = all.collect();
    // Of each count sheet those first that nobody waits for.
    all.sort_by(|one, other| {
        (&one.sheet, !one.robs.is_empty(), &one.set).cmp(&(&other.sheet, !other.robs.is_empty(), &other.set))
    });
    all
}

/// What is ready, by count sheet: a camera is no bronchoscope.
fn heading(state: &State, board: &Board, ready: &[Ready], now: Time) -> String {
    let mut told = reserves(state, board, now);
    let mut sheets: BTreeMap<&str, usize> = BTreeMap::new();
    ready.iter().for_each(|set| *sheets.entry(set.sheet.as_str()).or_default() += 1);
    let all: Vec<String> =
        sheets.into_iter().map(|(sheet, n)| format!("{} of “{sheet}”", count(n, "set", "sets"))).collect();
    if all.is_empty() {
        told.push("No set is ready. Scan what there is; what stands against it will be said.".into());
    } else {
        told.push(format!("Ready: {}. Scan the set that goes out now.", listed(&all)));
    }
    told.join(" ")
}

impl EmergencyPage {
    pub fn of(visitor: &Visitor, board: &Board, done: Option<u64>) -> EmergencyPage {
        let ready = ready(&visitor.state, board, visitor.now);
        let heading = heading(&visitor.state, board, &ready, visitor.now);
        EmergencyPage {
            page: Page::of(visitor, "/emergency", "/emergency", done),
            heading,
            ready,
            follow: super::unfollowed::items(&visitor.state, visitor.now),
        }
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(done): Query<Done>) -> Response {
    render(&EmergencyPage::of(&visitor, &shown(&app, &visitor.state, visitor.now).board, done.seq()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn an_emergency_asks_one_thing() {
        let visitor = sample::in_theatre();
        let board = visitor.state.board(visitor.now);
        let text = sample::show("emergency", &EmergencyPage::of(&visitor, &board, None));
        assert_eq!(text.matches("autofocus").count(), 1);
        assert!(text.contains("<h1>No set for an emergency: “Adult rigid bronchoscopy”."), "{text}");
        assert!(text.contains("name=\"emergency:bool\" value=\"true\""));
    }
}
