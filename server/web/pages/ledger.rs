//! The ledger: who did what when.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use serde::Deserialize;

use super::shared::{Page, when};
use super::told;
use crate::domain::event::Entry;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const PAGE_ROWS: usize = 100;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub before: Option<String>,
}

pub struct Row {
    pub seq: u64,
    pub at: String,
    /// When it was written, where that was not when it happened.
    pub recorded: String,
    pub by: String,
    pub station: String,
    pub what: String,
    pub beside: Vec<String>,
    /// It tells of parts that were scanned, of which another may have been meant.
    pub scanned: bool,
    pub leaf: String,
}

#[derive(Template)]
#[template(path = "ledger.html")]
pub struct LedgerPage {
    pub page: Page,
    pub heading: String,
    pub rows: Vec<Row>,
    pub older: Option<u64>,
    pub newest: bool,
}

fn row(state: &State, entry: &Entry, leaf: &str, now: Time) -> Row {
    let told = told::entry(entry);
    let late = entry.recorded_at.since_s(entry.at) >= 60;
    Row {
        seq: entry.seq,
        at: when(state, entry.at, now),
        recorded: if late { when(state, entry.recorded_at, now) } else { String::new() },
        by: entry.actor.clone(),
        station: entry.station.clone().unwrap_or_default(),
        what: told.what,
        beside: told.beside,
        scanned: super::wrong_things::is_of_scans(&entry.kind),
        leaf: leaf.chars().take(12).collect(),
    }
}

impl LedgerPage {
    pub fn of(visitor: &Visitor, before: Option<u64>, entries: &[(Entry, String)]) -> LedgerPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let oldest = entries.last().map(|(entry, _)| entry.seq).filter(|seq| *seq > 1);
        let heading = match state.seq {
            0 => "The ledger is empty.".to_string(),
            seq => {
                let last = when(state, state.recorded_at, now);
                format!("The ledger stands at entry {seq}, written {last}.")
            }
        };
        LedgerPage {
            page: Page::of(visitor, "/ledger", "/ledger", None),
            heading,
            rows: entries.iter().map(|(entry, leaf)| row(state, entry, leaf, now)).collect(),
            older: oldest,
            newest: before.is_none(),
        }
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let before = asked.before.and_then(|text| text.parse().ok());
    match app.house.newest(&visitor.state.site, before, PAGE_ROWS).await {
        Ok(entries) => render(&LedgerPage::of(&visitor, before, &entries)),
        Err(unavailable) => super::problem::unavailable(&unavailable.operation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn entries_read_as_sentences() {
        let entries: Vec<(Entry, String)> =
            sample::entries().into_iter().rev().map(|entry| (entry, "a3f0".repeat(16))).collect();
        let text = sample::show("ledger", &LedgerPage::of(&sample::visitor(), None, &entries));
        assert!(text.contains("Load S-311 started") && text.contains("The ledger stands at entry"));
    }
}
