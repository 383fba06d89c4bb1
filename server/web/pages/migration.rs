//! Parts that moved from one set to another: which, when, and by whom; those that never should have first.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::period::{Period, refused};
use super::shared::{Page, count, segment, when};
use crate::domain::migration::Migration;
use crate::domain::state::State;
use crate::domain::time::{Time, on_day};
use crate::web::visitor::{Visitor, render};

/// The days that are looked at where none are named.
const USUAL_DAYS: u64 = 365;
const MOST_ROWS: usize = 1_000;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub from: String,
    pub to: String,
}

pub struct Row {
    pub asset: String,
    pub href: String,
    pub from: String,
    pub to: String,
    pub at: String,
    pub by: String,
    pub entry: u64,
    pub forbidden: bool,
}

#[derive(Template)]
#[template(path = "migration.html")]
pub struct MigrationPage {
    pub page: Page,
    pub heading: String,
    pub from: String,
    pub to: String,
    pub rows: Vec<Row>,
    pub more: usize,
    /// The sets that keep their parts.
    pub keepers: Vec<String>,
}

fn row(state: &State, it: &Migration, now: Time) -> Row {
    Row {
        asset: it.asset.to_string(),
        href: format!("/assets/{}", segment(it.asset.as_str())),
        from: it.from.to_string(),
        to: it.to.to_string(),
        at: when(state, it.at, now),
        by: it.by.clone(),
        entry: it.entry,
        forbidden: it.forbidden,
    }
}

impl MigrationPage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> MigrationPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let period = Period::of(state, (&asked.from, &asked.to), USUAL_DAYS, now);
        let midnight = |day| on_day(day, chrono::NaiveTime::MIN, state.zone);
        let end = period.to.succ_opt().unwrap_or(period.to);
        let mut all = state.migrations(midnight(period.from), midnight(end));
        let wrong = all.iter().filter(|it| it.forbidden).count();
        all.sort_by_key(|it| (!it.forbidden, std::cmp::Reverse(it.entry)));
        let moved = match all.len() {
            0 => "No part moved from one set to another".to_string(),
            n => format!("{} from one set to another", count(n, "part moved", "parts moved")),
        };
        let heading = match wrong {
            0 => format!("{moved} {}.", period.words()),
            n => format!(
                "{} out of or into a set that must not exchange parts. {moved} {}.",
                count(n, "part moved", "parts moved"),
                period.words()
            ),
        };
        let keepers = state.sets.keys().filter(|set| state.keeps_parts(set)).map(ToString::to_string);
        MigrationPage {
            page: Page::of(visitor, "/sets", "/sets/moves", None),
            heading,
            from: period.from.to_string(),
            to: period.to.to_string(),
            more: all.len().saturating_sub(MOST_ROWS),
            rows: all.iter().take(MOST_ROWS).map(|it| row(state, it, now)).collect(),
            keepers: keepers.collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    if let Some(wrong) = refused((&asked.from, &asked.to)) {
        return wrong;
    }
    render(&MigrationPage::of(&visitor, &asked))
}
