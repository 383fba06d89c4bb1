//! The cases: what comes today, tomorrow, later; what was; and a new one.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use chrono::Days;
use serde::Deserialize;

use super::board::shown;
use super::board_say::of_case;
use super::handover_open::Item;
use super::headline::{is_today, of_cases, room_words, sheet_name};
use super::say::Say;
use super::shared::{Page, count, listed, segment, time};
use super::theatre::{self, Choice};
use crate::domain::board::{Board, BoardCase};
use crate::domain::case::{Case, CaseStatus, Risk};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

/// How many cases of the past stand on a page.
const MOST_PAST: usize = 50;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
    /// The place in the list of past cases at which the page begins.
    pub from: Option<String>,
}

pub struct Row {
    pub href: String,
    pub case: String,
    pub start: String,
    pub room: String,
    pub needs: String,
    pub say: Say,
    pub why: String,
}

pub struct Group {
    pub title: &'static str,
    /// Its day is in the title, and its rows tell the hour alone.
    pub near: bool,
    pub rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "cases.html")]
pub struct CasesPage {
    pub page: Page,
    pub heading: String,
    pub groups: Vec<Group>,
    pub next: Option<usize>,
    /// A name that no case has yet.
    pub free: String,
    pub techniques: Vec<Choice>,
    pub risks: Vec<Choice>,
    pub needs: Vec<Vec<Choice>>,
    pub issues: bool,
    /// Emergencies of which the patient or the needs are to follow.
    pub follow: Vec<Item>,
}

fn missed(state: &State, case: &Case) -> usize {
    let missed =
        case.parts.iter().filter(|(_, part)| part.missing).filter_map(|(id, _)| state.missing.get(id));
    missed.filter(|known| known.over_at.is_none() && known.outcome.is_none()).count()
}

fn row(state: &State, case: &Case, board: &Board, now: Time) -> Row {
    let known = theatre::on_board(board, &case.case);
    let out = case.parts.values().filter(|part| part.out).count();
    let say = match (case.status(), known) {
        _ if missed(state, case) > 0 => {
            let parts = count(missed(state, case), "part", "parts");
            Say::new("missing", "stop", format!("{parts} not accounted for"))
        }
        (CaseStatus::Cancelled, _) => Say::plain("cancelled"),
        (CaseStatus::Closed, _) => Say::plain("over, counted"),
        (CaseStatus::Issued | CaseStatus::Opened, _) => {
            Say::new("out", "ink", format!("{} out", count(out, "part", "parts")))
        }
        (CaseStatus::Planned, Some(known)) => of_case(state, known, now),
        (CaseStatus::Planned, None) => Say::plain("planned"),
    };
    let needs: Vec<String> = case.needs.iter().map(|sheet| sheet_name(state, sheet)).collect();
    Row {
        href: format!("/cases/{}", segment(case.case.as_str())),
        case: case.case.to_string(),
        start: match group(state, case, now) {
            1 | 2 => case.start.clock(state.zone),
            _ => time(state, case.start, now),
        },
        room: case.room.as_ref().map(|room| room_words(&room.0)).unwrap_or_default(),
        needs: listed(&needs),
        say,
        why: known.map(|known| known.why.join(" ")).unwrap_or_default(),
    }
}

/// Under which heading a case stands; what is open from an earlier day comes first of all.
fn group(state: &State, case: &Case, now: Time) -> usize {
    let (day, today) = (case.start.date(state.zone), now.date(state.zone));
    let tomorrow = today.checked_add_days(Days::new(1));
    match case.is_open() {
        false => 4,
        true if day < today => 0,
        true if day == today => 1,
        true if Some(day) == tomorrow => 2,
        true => 3,
    }
}

/// Today's cases as rows, for those whose first question they are.
pub fn today(state: &State, board: &Board, now: Time) -> Vec<Row> {
    let mut open: Vec<&Case> = state.open_cases().filter(|case| group(state, case, now) <= 1).collect();
    open.sort_by_key(|case| (case.start, case.case.clone()));
    open.into_iter().map(|case| row(state, case, board, now)).collect()
}

fn heading(state: &State, board: &Board, groups: &[Group], now: Time) -> String {
    let today: Vec<&BoardCase> = board.cases.iter().filter(|case| is_today(state, case, now)).collect();
    let words = of_cases(state, &today, "today", now);
    let of =
        |title: &str| groups.iter().find(|group| group.title == title).map_or(0, |group| group.rows.len());
    match of(TITLES[0]) {
        0 => words,
        1 => format!("One case of an earlier day is still open. {words}"),
        n => format!("{n} cases of earlier days are still open. {words}"),
    }
}

const TITLES: [&str; 5] = ["Open from an earlier day", "Today", "Tomorrow", "Later", "Past"];

impl CasesPage {
    pub fn of(visitor: &Visitor, board: &Board, from: usize, done: Option<u64>) -> CasesPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let mut all: Vec<(usize, &Case)> =
            state.cases.values().map(|case| (group(state, case, now), &**case)).collect();
        all.sort_by_key(|(group, case)| {
            let start = if *group == 4 { -case.start.0 } else { case.start.0 };
            (*group, start, case.case.clone())
        });
        let mut groups: Vec<Group> = Vec::new();
        let mut past = 0;
        for (group, case) in all {
            let title = TITLES.get(group).copied().unwrap_or_default();
            if group == 4 {
                past += 1;
                if past <= from || past > from + MOST_PAST {
                    continue;
                }
            }
            let row = row(state, case, board, now);
            match groups.last_mut().filter(|group| group.title == title) {
                Some(group) => group.rows.push(row),
                None => groups.push(Group { title, near: matches!(group, 1 | 2), rows: vec![row] }),
            }
        }
        let page = Page::of(visitor, "/cases", "/cases", done);
        let from_number = state.cases.len() + 1;
        let free = (from_number..).map(|n| format!("K-{n:04}"));
        CasesPage {
            heading: heading(state, board, &groups, now),
            groups,
            next: (past > from + MOST_PAST).then_some(from + MOST_PAST),
            free: free.into_iter().find(|name| !state.cases.contains_key(name.as_str())).unwrap_or_default(),
            techniques: theatre::techniques(None),
            risks: theatre::risks(Risk::None),
            needs: theatre::needs(state, &[]),
            issues: page.sees("/emergency"),
            follow: super::unfollowed::items(state, now),
            page,
        }
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let shown = shown(&app, &visitor.state, visitor.now);
    let number = |text: Option<String>| text.and_then(|text| text.parse::<u64>().ok());
    let from = number(asked.from).and_then(|from| usize::try_from(from).ok()).unwrap_or(0);
    render(&CasesPage::of(&visitor, &shown.board, from.min(10_000_000), number(asked.done)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn cases_stand_by_their_day() {
        let visitor = sample::in_theatre();
        let text =
            sample::show("cases", &CasesPage::of(&visitor, &visitor.state.board(visitor.now), 0, None));
        assert!(
            text.contains("<caption>Past</caption>") && text.contains("<caption>Today</caption>"),
            "{text}"
        );
        assert!(text.contains("1 part not accounted for"));
        assert!(!text.contains("P-4711"));
    }
}
