//! The sets: which are ready, and what the others lack.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;

use super::say::{Say, of_set};
use super::shared::{Done, Page, count, segment};
use crate::domain::readiness::{SetReadiness, set_status};
use crate::web::visitor::{Visitor, render};

pub struct Row {
    pub href: String,
    pub set: String,
    pub name: String,
    pub sheet: String,
    pub parts: usize,
    pub say: Say,
}

pub struct Reserve {
    pub sheet: String,
    pub minimum: u32,
    pub ready: usize,
    pub say: Say,
}

#[derive(Template)]
#[template(path = "sets.html")]
pub struct SetsPage {
    pub page: Page,
    pub heading: String,
    pub rows: Vec<Row>,
    pub reserves: Vec<Reserve>,
    pub sheets: Vec<(String, String)>,
}

impl SetsPage {
    pub fn of(visitor: &Visitor, done: Option<u64>) -> SetsPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let judged: Vec<_> = state.sets.values().map(|set| (set, set_status(state, set, now))).collect();
        let is_ready = |status| matches!(status, SetReadiness::Ready | SetReadiness::ReadyShort);
        let rows: Vec<Row> = judged
            .iter()
            .map(|(set, status)| Row {
                href: format!("/sets/{}", segment(set.set.as_str())),
                set: set.set.to_string(),
                name: set.name.0.clone(),
                sheet: set.count_sheet.to_string(),
                parts: set.seats.len(),
                say: of_set(state, status, now),
            })
            .collect();
        let ready = judged.iter().filter(|(_, status)| is_ready(status.status)).count();
        let reserves: Vec<Reserve> = state
            .reserves
            .iter()
            .filter(|(_, minimum)| **minimum > 0)
            .map(|(sheet, minimum)| {
                let of_sheet = judged.iter().filter(|(set, _)| set.count_sheet == *sheet);
                let ready = of_sheet.filter(|(_, status)| is_ready(status.status)).count();
                let say = match ready < *minimum as usize {
                    true => Say::new("not_ready", "stop", "below minimum"),
                    false => Say::new("ready", "ready", "ready"),
                };
                Reserve { sheet: sheet.to_string(), minimum: *minimum, ready, say }
            })
            .collect();
        SetsPage {
            page: Page::of(visitor, "/sets", "/sets", done),
            heading: heading(&rows, ready, &reserves),
            rows,
            reserves,
            sheets: state.sheets.values().map(|it| (it.count_sheet.to_string(), it.name.0.clone())).collect(),
        }
    }
}

/// The worst fact first: an undercut reserve, then the first set that is not ready.
fn heading(rows: &[Row], ready: usize, reserves: &[Reserve]) -> String {
    if rows.is_empty() {
        return "No set is built yet.".into();
    }
    let verb = if ready == 1 { "is" } else { "are" };
    let all = format!("{ready} of {} {verb} ready.", count(rows.len(), "set", "sets"));
    let undercut = reserves.iter().find(|reserve| reserve.say.is("not_ready"));
    let worst = rows.iter().find(|row| row.say.is("not_ready") || row.say.is("held"));
    match (undercut, worst) {
        (Some(reserve), _) => format!(
            "The reserve of {} is below its minimum: {} ready, {} needed. {all}",
            reserve.sheet, reserve.ready, reserve.minimum
        ),
        (None, Some(row)) => format!("{all} Set {} is {}.", row.set, row.say.words),
        _ => all,
    }
}

pub async fn get(visitor: Visitor, Query(done): Query<Done>) -> Response {
    render(&SetsPage::of(&visitor, done.seq()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_worst_fact_is_in_the_heading() {
        let text = sample::show("sets", &SetsPage::of(&sample::visitor(), None));
        assert!(text.contains("of 2 sets"));
    }
}
