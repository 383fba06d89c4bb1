//! How long the parts of a model last, and of what they died: counted, not yet computed.

pub mod report;
pub mod survival;
mod tables;

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::shared::{self, Page, capital, count, segment};
use super::wear_line::{Mark, Ruler, Stroke};
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::wear::{FAILURES_NEEDED, Lifetime, Wear};
use crate::web::visitor::{Visitor, render};

/// As many lives as a person looks at, the failed ones first.
const MOST_LIVES: usize = 1_000;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub model: Option<String>,
    pub done: Option<String>,
}

/// A model among the others.
pub struct ModelRow {
    pub href: String,
    pub model: String,
    pub name: String,
    pub units: u32,
    pub in_service: u32,
    pub failures: u32,
    pub causes: String,
    pub limit: String,
}

/// A part's life as a row with its line.
pub struct Life {
    pub href: String,
    pub asset: String,
    pub entry: u32,
    pub age: u32,
    pub uses: u32,
    pub end: String,
    pub failed: bool,
    pub stroke: Stroke,
}

pub struct ModelWear {
    pub model: String,
    pub name: String,
    pub enough: bool,
    pub causes: Vec<(String, u32)>,
    pub lives: Vec<Life>,
    /// Lives beyond those that are shown.
    pub more: usize,
    pub ruler: Ruler,
    pub hold_kinds: Vec<&'static str>,
}

#[derive(Template)]
#[template(path = "wear.html")]
pub struct WearPage {
    pub page: Page,
    pub heading: String,
    pub models: Vec<ModelRow>,
    pub one: Option<ModelWear>,
}

fn cause(name: &str) -> String {
    name.replace('_', " ")
}

fn causes(wear: &Wear) -> Vec<(String, u32)> {
    let mut all: Vec<(String, u32)> = wear.causes.iter().map(|(name, many)| (cause(name), *many)).collect();
    all.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    all
}

/// "2 worn, 1 damaged".
fn causes_in_words(wear: &Wear) -> String {
    let each: Vec<String> = causes(wear).iter().map(|(name, many)| format!("{many} {name}")).collect();
    each.join(", ")
}

fn model_row(state: &State, wear: &Wear) -> ModelRow {
    let model = state.model(&wear.model);
    let limit = model.and_then(|model| model.limits.max_cycles);
    ModelRow {
        href: format!("/wear?model={}", segment(wear.model.as_str())),
        model: wear.model.to_string(),
        name: model.map(|model| model.name.0.clone()).unwrap_or_default(),
        units: wear.units,
        in_service: wear.in_service,
        failures: wear.failures,
        causes: causes_in_words(wear),
        limit: limit.map(|limit| format!("{limit} cycles")).unwrap_or_default(),
    }
}

fn life(it: &Lifetime, ruler: &Ruler) -> Life {
    let end = match (it.failed, it.retired) {
        (true, Some(why)) => format!("failed, {}", cause(why)),
        (_, Some(why)) => format!("retired without failure, {}", cause(why)),
        (_, None) => "still in service".into(),
    };
    let mark = match (it.failed, it.retired) {
        (true, _) => Mark::Failed,
        (false, Some(_)) => Mark::Retired,
        (false, None) => Mark::InService,
    };
    Life {
        href: format!("/assets/{}", segment(it.asset.as_str())),
        asset: it.asset.to_string(),
        entry: it.entry_cycles,
        age: it.cycles,
        uses: it.uses,
        end,
        failed: it.failed,
        stroke: ruler.stroke(it.entry_cycles, it.cycles, mark),
    }
}

fn one(state: &State, visitor: &Visitor, wear: &Wear) -> ModelWear {
    let model = state.model(&wear.model);
    let limit = model.and_then(|model| model.limits.max_cycles);
    let oldest = wear.lifetimes.iter().map(|it| it.cycles).max().unwrap_or(0);
    let ruler = Ruler::of(oldest, limit);
    let mut lives: Vec<&Lifetime> = wear.lifetimes.iter().collect();
    // Those that failed first, the shortest life above the longer ones; then the oldest in service.
    lives.sort_by_key(|it| match it.failed {
        true => (0, u64::from(it.cycles), it.asset.clone()),
        false => (1, u64::MAX - u64::from(it.cycles), it.asset.clone()),
    });
    ModelWear {
        model: wear.model.to_string(),
        name: model.map(|model| model.name.0.clone()).unwrap_or_default(),
        enough: wear.failures >= FAILURES_NEEDED,
        causes: causes(wear),
        more: lives.len().saturating_sub(MOST_LIVES),
        lives: lives.into_iter().take(MOST_LIVES).map(|it| life(it, &ruler)).collect(),
        ruler,
        hold_kinds: shared::hold_kinds(visitor.actor.role),
    }
}

fn heading_of_one(wear: &Wear) -> String {
    let failed: Vec<u32> = wear.lifetimes.iter().filter(|it| it.failed).map(|it| it.cycles).collect();
    let parts = count(wear.units as usize, "part", "parts");
    let span = match (failed.iter().min(), failed.iter().max()) {
        (Some(first), Some(last)) if first == last => format!(" at {first} cycles"),
        (Some(first), Some(last)) => format!(", at {first} to {last} cycles"),
        _ => String::new(),
    };
    let service = format!("{} in service", wear.in_service);
    match failed.len() {
        0 => format!("{}: none of {parts} has failed; {service}.", wear.model),
        many => format!("{}: {many} of {parts} failed{span}; {service}.", wear.model),
    }
}

fn heading_of_all(models: &[ModelRow]) -> String {
    let failures: u32 = models.iter().map(|row| row.failures).sum();
    let Some(worst) = models.first().filter(|row| row.failures > 0) else {
        return "No part has failed yet; how long parts last is not known here.".into();
    };
    let enough = models.iter().filter(|row| row.failures >= FAILURES_NEEDED).count();
    let of = match enough {
        0 => "no model has enough of them to say how long its parts last".into(),
        _ => format!("{} enough to go by", count(enough, "model has", "models have")),
    };
    let all = count(failures as usize, "part has failed", "parts have failed");
    format!("{all}, most of {} ({} of {}); {of}.", worst.model, worst.failures, worst.units)
}

impl WearPage {
    pub fn of_all(visitor: &Visitor) -> WearPage {
        let state = &*visitor.state;
        let mut models: Vec<ModelRow> = state
            .models
            .keys()
            .filter_map(|id| state.wear(id))
            .filter(|wear| wear.units > 0)
            .map(|wear| model_row(state, &wear))
            .collect();
        models.sort_by(|a, b| {
            b.failures.cmp(&a.failures).then(b.units.cmp(&a.units)).then(a.model.cmp(&b.model))
        });
        WearPage {
            page: Page::of(visitor, "/wear", "/wear", None),
            heading: capital(&heading_of_all(&models)),
            models,
            one: None,
        }
    }

    pub fn of_one(visitor: &Visitor, wear: &Wear, done: Option<u64>) -> WearPage {
        let path = format!("/wear?model={}", segment(wear.model.as_str()));
        WearPage {
            page: Page::of(visitor, "/wear", path, done),
            heading: heading_of_one(wear),
            models: Vec::new(),
            one: Some(one(&visitor.state, visitor, wear)),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let model = asked.model.filter(|model| !model.is_empty());
    let Some(model) = model else {
        return render(&WearPage::of_all(&visitor));
    };
    let done = asked.done.and_then(|text| text.parse().ok());
    match Id::new(&model).and_then(|id| visitor.state.wear(&id)) {
        Some(wear) => render(&WearPage::of_one(&visitor, &wear, done)),
        None => super::problem::not_found("model", &model, "/wear", "All models"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn two_failures_say_nothing_of_lifetimes() {
        let visitor = sample::busy::visitor();
        let all = sample::show("wear", &WearPage::of_all(&visitor));
        assert!(all.contains("1 part has failed, most of CAP-2 (1 of 3)"), "{all}");
        let wear = visitor.state.wear(&Id::new("CAP-2").unwrap()).unwrap();
        let text = sample::show("wear-model", &WearPage::of_one(&visitor, &wear, None));
        assert!(text.contains("nothing can be said") && text.contains("<svg class=\"life\""), "{text}");
    }
}
