//! The parts: found by an exact scan, or paged through.

use askama::Template;
use axum::extract::Query;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::say::{Say, of_asset};
use super::shared::{Page, count, segment};
use crate::domain::scan::resolve;
use crate::domain::state::{Asset, Named, Stage, State};
use crate::domain::time::Time;
use crate::formats::json::normal;
use crate::web::visitor::{Visitor, render};

const PAGE_ROWS: usize = 50;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub q: String,
    pub after: String,
    pub done: Option<String>,
}

pub struct Row {
    pub href: String,
    pub asset: String,
    pub mark: String,
    pub family: String,
    pub model: String,
    pub seat: String,
    pub place: String,
    pub say: Say,
}

#[derive(Template)]
#[template(path = "assets.html")]
pub struct AssetsPage {
    pub page: Page,
    pub heading: String,
    pub q: String,
    pub rows: Vec<Row>,
    /// The last row, where more follow.
    pub next: String,
    pub models: Vec<(String, String)>,
}

fn row(state: &State, asset: &Asset, now: Time) -> Row {
    let model = state.model(&asset.model);
    Row {
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        asset: asset.asset.to_string(),
        mark: asset.mark.as_ref().map(|mark| mark.0.clone()).unwrap_or_default(),
        family: model.map(|model| model.family.words()).unwrap_or_default(),
        model: model.map_or_else(|| asset.model.to_string(), |model| model.name.0.clone()),
        seat: asset.seat.as_ref().map(|seat| format!("{}, {}", seat.set, seat.line)).unwrap_or_default(),
        place: asset
            .location
            .as_ref()
            // What came back soiled is no longer where it was put away.
            .filter(|_| asset.stage == Stage::Ready)
            .map(|place| place.0.clone())
            .unwrap_or_default(),
        say: of_asset(state, asset, now),
    }
}

/// Whether the part's names or its model hold the text somewhere.
fn holds_text(state: &State, asset: &Asset, text: &str) -> bool {
    let within = |name: &str| name.to_lowercase().contains(text);
    let line = |line: &Option<crate::domain::text::Line>| line.as_ref().is_some_and(|line| within(&line.0));
    let by_model = || {
        state.model(&asset.model).is_some_and(|model| within(&model.name.0) || within(&model.family.words()))
    };
    within(asset.asset.as_str())
        || within(asset.model.as_str())
        || line(&asset.mark)
        || line(&asset.serial)
        || line(&asset.lot)
        || by_model()
}

impl AssetsPage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> AssetsPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let text = normal(asked.q.trim()).to_lowercase();
        let fits = |asset: &Asset| text.is_empty() || holds_text(state, asset, &text);
        let found = state.assets.values().filter(|asset| fits(asset)).count();
        let after = state.assets.values().filter(|asset| asset.asset.as_str() > asked.after.as_str());
        let mut shown: Vec<&Asset> =
            after.map(|asset| &**asset).filter(|asset| fits(asset)).take(PAGE_ROWS + 1).collect();
        let more = shown.len() > PAGE_ROWS;
        shown.truncate(PAGE_ROWS);
        let heading = match (text.is_empty(), found) {
            (true, 0) => "No part is in the house yet.".to_string(),
            (true, n) => {
                format!("{} in the house. Scan one to see its life.", count(n, "part is", "parts are"))
            }
            (false, 0) => format!("Nothing here is called \"{}\" or holds that text.", asked.q.trim()),
            (false, n) => {
                let held = if n == 1 { "1 part holds".to_string() } else { format!("{n} parts hold") };
                format!("Nothing is called exactly \"{}\"; {held} that text.", asked.q.trim())
            }
        };
        let done = asked.done.as_deref().and_then(|text| text.parse().ok());
        AssetsPage {
            page: Page::of(visitor, "/assets", "/assets", done),
            heading,
            q: asked.q.trim().into(),
            next: shown.last().filter(|_| more).map(|asset| asset.asset.to_string()).unwrap_or_default(),
            rows: shown.into_iter().map(|asset| row(state, asset, now)).collect(),
            models: state
                .models
                .values()
                .map(|model| (model.model.to_string(), model.name.0.clone()))
                .collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let q = asked.q.trim();
    match resolve(&visitor.state, &normal(q)) {
        Ok(Named::Asset(id)) if !q.is_empty() => {
            Redirect::to(&format!("/assets/{}", segment(id.as_str()))).into_response()
        }
        Ok(Named::Set(id)) if !q.is_empty() => {
            Redirect::to(&format!("/sets/{}", segment(id.as_str()))).into_response()
        }
        _ => render(&AssetsPage::of(&visitor, &asked)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn parts_are_found_by_what_they_hold() {
        let visitor = sample::visitor();
        let all = sample::show("assets", &AssetsPage::of(&visitor, &Asked::default()));
        assert!(all.contains("T-0142"));
        let asked = Asked { q: "zzz".into(), ..Asked::default() };
        let none = sample::show("assets-none", &AssetsPage::of(&visitor, &asked));
        assert!(none.contains("Nothing here is called") && !none.contains("T-0142"));
    }
}
