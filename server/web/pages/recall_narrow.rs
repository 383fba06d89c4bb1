//! Before a recall is narrowed: what that frees, what stays held, and which loads are better not left out.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;

use super::recall_rows::by_set;
use super::shared::{Page, capital, count, segment, some_of};
use crate::domain::id::Id;
use crate::domain::narrowing::{Doubt, Narrowing, narrowing};
use crate::domain::recall::Recall;
use crate::domain::state::State;
use crate::web::form::Fields;
use crate::web::visitor::{Visitor, render};

#[derive(Template)]
#[template(path = "recall_narrow.html")]
pub struct NarrowPage {
    pub page: Page,
    pub recall: String,
    pub href: String,
    pub heading: String,
    /// The loads that stay recalled.
    pub kept: Vec<String>,
    /// Loads with growth: they stay, whatever was ticked.
    pub forbidden: Vec<String>,
    /// Loads that are not decided or failed, which the narrower window leaves out.
    pub doubts: Vec<String>,
    pub facts: Vec<(&'static str, String)>,
    /// It leaves some loads out and keeps some, and none with growth is left out.
    pub may: bool,
}

/// The loads that were ticked, or those from the chosen one on.
fn kept(state: &State, recall: &Recall, asked: &Fields) -> BTreeSet<Id> {
    let named = |field: &str| -> BTreeSet<&str> {
        asked.iter().filter(|(name, _)| name == field).map(|(_, value)| value.as_str()).collect()
    };
    let (ticked, since) = (named("loads"), named("since"));
    let began = |id: &Id| state.loads.get(id).map(|load| (load.started_at, load.entry));
    let from = recall.loads.iter().filter(|id| since.contains(id.as_str())).filter_map(began).min();
    let stays = |id: &&Id| match (from, began(id)) {
        (Some(from), Some(at)) if at >= from => true,
        _ => ticked.contains(id.as_str()),
    };
    recall.loads.iter().filter(stays).cloned().collect()
}

fn names(all: &[Id]) -> String {
    some_of(&all.iter().map(Id::to_string).collect::<Vec<_>>(), 12)
}

fn heading(recall: &Recall, found: &Narrowing) -> String {
    let all = recall.loads.len();
    if !recall.is_open() {
        return format!("{} is closed; it is narrowed no more.", recall.recall);
    }
    if found.kept.is_empty() {
        return "Not narrowed: no load is ticked. At least one stays recalled.".into();
    }
    if found.dropped.is_empty() {
        return format!("Nothing changes: all {all} loads stay recalled.");
    }
    let parts = |n: usize| count(n, "part", "parts");
    let held = found.held.len() + found.still_held.len();
    format!(
        "Narrowed to {} of {}, {} frees {} at once; {} on hold.",
        found.kept.len(),
        count(all, "load", "loads"),
        recall.recall,
        parts(found.freed.len()),
        match held {
            0 => "none stays".to_string(),
            1 => "1 part stays".to_string(),
            many => format!("{} stay", parts(many)),
        },
    )
}

fn facts(state: &State, found: &Narrowing) -> Vec<(&'static str, String)> {
    let told = |parts: &BTreeSet<Id>| match parts.len() {
        0 => "none".to_string(),
        n => format!("{}: {}", count(n, "part", "parts"), by_set(state, parts)),
    };
    let cases: Vec<String> = found.cases.iter().map(Id::to_string).collect();
    vec![
        ("Stays recalled", names(&found.kept)),
        ("Left out", names(&found.dropped)),
        ("Free again", told(&found.freed)),
        ("Held by this recall", told(&found.held)),
        ("On hold for another reason", told(&found.still_held)),
        ("Cases not asked for any more", if cases.is_empty() { "none".into() } else { some_of(&cases, 12) }),
    ]
}

impl NarrowPage {
    pub fn of(visitor: &Visitor, recall: &Recall, asked: &Fields) -> NarrowPage {
        let state = &*visitor.state;
        let found = narrowing(state, recall, &kept(state, recall, asked));
        let of = |grew: bool| -> Vec<String> {
            let these = found.doubts.iter().filter(|(_, doubt)| (*doubt == Doubt::Grew) == grew);
            these.map(|(load, doubt)| format!("Load {load}: {}.", doubt.words())).collect()
        };
        let (forbidden, doubts) = (of(true), of(false));
        let href = format!("/recalls/{}", segment(recall.recall.as_str()));
        NarrowPage {
            page: Page::of(visitor, "/recalls", href.clone(), None),
            recall: recall.recall.to_string(),
            heading: capital(&heading(recall, &found)),
            facts: facts(state, &found),
            may: recall.is_open()
                && forbidden.is_empty()
                && !found.kept.is_empty()
                && !found.dropped.is_empty(),
            kept: found.kept.iter().map(Id::to_string).collect(),
            href,
            forbidden,
            doubts,
        }
    }
}

pub async fn get(visitor: Visitor, Path(recall): Path<String>, Query(asked): Query<Fields>) -> Response {
    let Some(found) = visitor.state.recalls.get(recall.as_str()) else {
        return super::problem::not_found("recall", &recall, "/recalls", "All recalls");
    };
    render(&NarrowPage::of(&visitor, found, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_load_with_growth_is_never_left_out() {
        let visitor = sample::recalled();
        let mut found = (**visitor.state.recalls.values().next().unwrap()).clone();
        found.loads.push(Id::new("S-309").unwrap());
        let asked = |load: &str| vec![("loads".to_string(), load.to_string())];
        let text = sample::show("recall-narrow-grew", &NarrowPage::of(&visitor, &found, &asked("S-309")));
        assert!(text.contains("its biological indicator grew") && !text.contains("narrow_recall"), "{text}");
        let text = sample::show("recall-narrow", &NarrowPage::of(&visitor, &found, &asked("S-311")));
        assert!(text.contains("Narrowed to 1 of 3 loads") && text.contains("narrow_recall"), "{text}");
        let text = sample::show("recall-narrow-none", &NarrowPage::of(&visitor, &found, &Fields::new()));
        assert!(text.contains("no load is ticked") && !text.contains("narrow_recall"), "{text}");
    }
}
