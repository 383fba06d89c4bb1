//! A set counted at receipt or at packing: is everything there that belongs to it?

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;
use serde::Deserialize;

use super::say::{Say, of_asset};
use super::shared::{Page, count, listed, segment};
use super::words;
use crate::domain::set::SetState;
use crate::web::visitor::{Visitor, render};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub moment: String,
    pub done: Option<String>,
}

pub struct MemberRow {
    pub asset: String,
    pub name: String,
    pub line: String,
    pub say: Say,
    /// What was reported of it and nobody has looked into yet.
    pub reported: String,
}

#[derive(Template)]
#[template(path = "set_count.html")]
pub struct SetCountPage {
    pub page: Page,
    pub heading: String,
    pub set: String,
    pub href: String,
    pub moment: &'static str,
    pub caution: &'static str,
    pub members: Vec<MemberRow>,
    /// Members that are looked for already.
    pub missing: Vec<String>,
}

impl SetCountPage {
    pub fn of(visitor: &Visitor, set: &SetState, asked: &Asked) -> SetCountPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let moment = if asked.moment == "packing" { "packing" } else { "receipt" };
        let (here, away): (Vec<_>, Vec<_>) = state.members(set).partition(|asset| asset.counts());
        let row = |asset: &&std::sync::Arc<crate::domain::state::Asset>| {
            let open = state.open_findings(&asset.asset);
            MemberRow {
                asset: asset.asset.to_string(),
                name: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
                line: asset.seat.as_ref().map(|seat| seat.line.clone()).unwrap_or_default(),
                say: of_asset(state, asset, now),
                reported: listed(&open.iter().map(|it| it.what.clone()).collect::<Vec<_>>()),
            }
        };
        let missing: Vec<_> = away.into_iter().filter(|asset| asset.missing).collect();
        let href = format!("/sets/{}", segment(set.set.as_str()));
        let done = asked.done.as_deref().and_then(|text| text.parse().ok());
        SetCountPage {
            page: Page::of(visitor, "/sets", format!("{href}/count?moment={moment}"), done),
            heading: format!("Set {}, count at {moment}: {}.", set.set, count(here.len(), "part", "parts")),
            set: set.set.to_string(),
            href,
            moment,
            caution: words::NOT_BACK,
            members: here.iter().map(row).collect(),
            missing: missing.iter().map(|asset| crate::domain::missing::since(state, asset)).collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Path(set): Path<String>, Query(asked): Query<Asked>) -> Response {
    match visitor.state.sets.get(set.as_str()) {
        Some(found) => render(&SetCountPage::of(&visitor, found, &asked)),
        None => super::problem::not_found("set", &set, "/sets", "All sets"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn what_is_looked_for_says_since_which_case() {
        let visitor = sample::in_theatre();
        let set =
            visitor.state.sets.values().find(|set| visitor.state.members(set).any(|asset| asset.missing));
        let text = sample::show("set_count", &SetCountPage::of(&visitor, set.unwrap(), &Asked::default()));
        assert!(text.contains("is missing since case K-1"), "{text}");
        assert!(text.contains("possible retained item") && text.contains("before the patient leaves"));
    }
}
