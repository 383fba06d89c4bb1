//! The wrong thing scanned: said of an entry by whoever noticed, settled by the lead.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use serde::Deserialize;

use super::paper_rows::rested_words;
use super::say::Say;
use super::shared::{Page, count, some_of, time};
use super::told;
use crate::app::house::Unavailable;
use crate::domain::event::{Entry, Noted};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::wrong_thing::WrongThing;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const SETTLED_MOST: usize = 100;

/// An entry, of which somebody is about to say so.
pub struct Of {
    pub seq: u64,
    pub what: String,
    pub at: String,
    pub by: String,
}

pub struct WrongRow {
    pub report: String,
    pub entry: u64,
    pub kind: String,
    pub named: String,
    pub meant: String,
    /// What the form of the lead begins with: the things meant.
    pub instead: String,
    pub because: String,
    pub reported: String,
    pub say: Say,
    /// What the lead said, and what it could not undo.
    pub settled: Vec<String>,
}

#[derive(Template)]
#[template(path = "wrong_things.html")]
pub struct WrongThingsPage {
    pub page: Page,
    pub heading: String,
    pub of: Option<Of>,
    pub open: Vec<WrongRow>,
    pub done: Vec<WrongRow>,
}

fn names(parts: &[Noted]) -> String {
    some_of(&parts.iter().map(|part| part.asset.to_string()).collect::<Vec<_>>(), 6)
}

/// Whether entries of a kind tell of parts that were scanned.
pub fn is_of_scans(kind: &str) -> bool {
    const KINDS: [&str; 7] =
        ["step_recorded", "inspected", "pack_broken", "issued", "opened", "used", "load_started"];
    KINDS.contains(&kind)
}

/// What waits for the lead, in words; nothing where nothing does.
pub fn open_words(state: &State) -> String {
    match state.open_wrong_things().count() {
        0 => String::new(),
        n => count(n, "report of a wrong thing scanned waits", "reports of a wrong thing scanned wait"),
    }
}

pub fn row(state: &State, it: &WrongThing, now: Time) -> WrongRow {
    let told = &it.reported;
    let say = match &it.settled {
        None => Say::due("waits for the lead; look-back counts both"),
        Some(settled) if settled.both => Say::held("confirmed; look-back counts both for good"),
        Some(settled) if settled.confirmed => Say::new("ready", "ready", "confirmed and corrected"),
        Some(_) => Say::new("ready", "ink", "not so: the entry stands"),
    };
    let settled = it.settled.iter().flat_map(|settled| {
        let who = format!("{}, {}: {}", settled.by, time(state, settled.at, now), settled.reason);
        let stands = settled.stands.iter().filter(|it| !it.is_nothing()).map(rested_words);
        std::iter::once(who).chain(stands)
    });
    let instead: Vec<String> = told.meant.iter().map(|part| part.asset.to_string()).collect();
    WrongRow {
        report: told.report.to_string(),
        entry: told.entry,
        kind: super::shared::capital(&told.kind.replace('_', " ")),
        named: names(&told.named),
        meant: if told.meant.is_empty() { "not known".into() } else { names(&told.meant) },
        instead: instead.join(" "),
        because: told.because.clone().unwrap_or_default(),
        reported: format!("{}, {}", it.by, time(state, it.reported_at, now)),
        say,
        settled: settled.collect(),
    }
}

impl WrongThingsPage {
    pub fn of(visitor: &Visitor, entry: Option<&Entry>, done: Option<u64>) -> WrongThingsPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let open: Vec<WrongRow> = state.open_wrong_things().map(|it| row(state, it, now)).collect();
        let over = state.wrong_things.values().rev().filter(|it| !it.is_open()).take(SETTLED_MOST);
        let words = open_words(state);
        let of = entry.map(|entry| Of {
            seq: entry.seq,
            what: told::entry(entry).what,
            at: time(state, entry.at, now),
            by: entry.actor.clone(),
        });
        let path = match &of {
            Some(of) => format!("/wrong-things?entry={}", of.seq),
            None => "/wrong-things".into(),
        };
        WrongThingsPage {
            page: Page::of(visitor, "/wrong-things", path, done),
            heading: match (&of, words.is_empty()) {
                (Some(of), _) => format!("Entry {} names the wrong thing?", of.seq),
                (None, true) => {
                    "Nobody has said that a wrong thing was scanned and waits for an answer.".into()
                }
                (None, false) => format!("{words} for the lead."),
            },
            of,
            done: over.map(|it| row(state, it, now)).collect(),
            open,
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub entry: Option<String>,
    pub done: Option<String>,
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let done = asked.done.as_deref().and_then(|text| text.parse().ok());
    // What was just reported stands in the list; its form is not shown again.
    let seq = asked.entry.as_deref().and_then(|text| text.parse::<u64>().ok()).filter(|_| done.is_none());
    let found = async {
        let Some(seq) = seq else { return Ok(None) };
        let page = app.house.newest(&visitor.state.site, Some(seq.saturating_add(1)), 1).await?;
        Ok::<_, Unavailable>(page.into_iter().map(|(entry, _)| entry).find(|entry| entry.seq == seq))
    };
    match found.await {
        Ok(entry) => render(&WrongThingsPage::of(&visitor, entry.as_ref(), done)),
        Err(gone) => super::problem::unavailable(&gone.operation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_entry_that_is_meant_stands_above_the_form() {
        let entries = sample::entries();
        let visitor = sample::visitor();
        let page = WrongThingsPage::of(&visitor, entries.last(), None);
        let text = sample::show("wrong-things", &page);
        assert!(text.contains("names the wrong thing?"), "{text}");
        let none = sample::show("wrong-things-none", &WrongThingsPage::of(&visitor, None, None));
        assert!(none.contains("Nobody has said"), "{none}");
    }
}
