//! One model: its sizes, what it couples to, and what looks wrong in it.

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;

use super::catalogue::{end, limit_words, processing, sizes};
use super::model_fields::label;
use super::shared::{Done, Page, capital, count, segment, when};
use crate::domain::coupled::{Coupled, coupled};
use crate::domain::id::Id;
use crate::domain::model::Model;
use crate::domain::sizes::{Known, Point, lacks, look};
use crate::domain::state::State;
use crate::domain::text::ended;
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

/// Another model at an end of this one.
pub struct Other {
    pub end: String,
    pub model: String,
    pub href: String,
    pub name: String,
    pub family: String,
    pub its_end: String,
    pub system: String,
    pub its_system: String,
}

/// What somebody tried with this model, or with a part of it.
pub struct TriedRow {
    pub with: String,
    pub fits: bool,
    pub at: String,
    pub by: String,
    pub how: String,
}

#[derive(Template)]
#[template(path = "model.html")]
pub struct ModelPage {
    pub page: Page,
    pub model: String,
    pub heading: String,
    pub facts: Vec<(&'static str, String)>,
    /// Where and what: what looks wrong, or is lacking.
    pub doubts: Vec<(String, String)>,
    pub ends: Vec<String>,
    /// Models whose ends name the same system.
    pub couples: Vec<Other>,
    /// Models whose systems are called nearly the same, and so do not fit until somebody writes them alike.
    pub nearly: Vec<Other>,
    pub tried: Vec<TriedRow>,
    /// The models that it may be tried with: code and words.
    pub others: Vec<(String, String)>,
    pub parts: usize,
    /// Where the house's own picture of it is.
    pub photo: String,
}

fn tried(state: &State, model: &Model, now: Time) -> Vec<TriedRow> {
    let mut all: Vec<(u64, TriedRow)> = Vec::new();
    for known in state.tried.values() {
        let it = &known.it;
        let models: Vec<Option<&Id>> = match (&it.models, &it.parts) {
            (Some(models), _) => models.iter().map(Some).collect(),
            (None, Some(parts)) => {
                parts.iter().map(|part| state.assets.get(part).map(|it| &it.model)).collect()
            }
            (None, None) => Vec::new(),
        };
        let Some(own) = models.iter().position(|it| *it == Some(&model.model)) else { continue };
        let other = models.iter().enumerate().find(|(n, _)| *n != own).and_then(|(_, it)| *it);
        let parts = it.parts.iter().flatten().map(Id::to_string).collect::<Vec<_>>();
        let which = if parts.is_empty() { "every part of both".to_string() } else { parts.join(" and ") };
        let row = TriedRow {
            with: format!("{} ({which})", other.map(Id::to_string).unwrap_or_default()),
            fits: it.fits,
            at: when(state, known.at, now),
            by: known.by.clone(),
            how: it.how.clone().unwrap_or_default(),
        };
        all.push((known.entry, row));
    }
    all.sort_by_key(|(entry, _)| std::cmp::Reverse(*entry));
    all.into_iter().map(|(_, row)| row).collect()
}

fn others(state: &State, model: &Model) -> Vec<(String, String)> {
    let other = state.models.values().filter(|it| it.model != model.model);
    other.map(|it| (it.model.to_string(), format!("{} ({})", it.name.0, it.model))).collect()
}

fn other(state: &State, it: &Coupled) -> Other {
    let found = state.models.get(&it.model);
    Other {
        end: it.end.clone(),
        model: it.model.to_string(),
        href: format!("/models/{}", segment(it.model.as_str())),
        name: found.map(|it| it.name.0.clone()).unwrap_or_default(),
        family: found.map(|it| it.family.words()).unwrap_or_default(),
        its_end: it.its_end.clone(),
        system: it.system.clone(),
        its_system: it.its_system.clone(),
    }
}

impl ModelPage {
    fn of(visitor: &Visitor, model: &Model, done: Option<u64>) -> ModelPage {
        let state = &*visitor.state;
        let looked = look(model, &Known::of(state));
        let lacking = lacks(model);
        let told = |point: &Point| {
            (label(&point.pointer), ended(&capital(&format!("{}; {}", point.found, point.needed))))
        };
        let doubts: Vec<(String, String)> = looked.all().chain(&lacking).map(told).collect();
        let (couples, nearly): (Vec<Coupled>, Vec<Coupled>) =
            coupled(state, model).into_iter().partition(|it| it.same);
        let parts =
            state.assets.values().filter(|it| it.model == model.model && it.retired.is_none()).count();
        let path = format!("/models/{}", segment(model.model.as_str()));
        ModelPage {
            page: Page::of(visitor, "/catalogue", path, done),
            heading: heading(model, &couples, doubts.len(), parts),
            model: model.model.to_string(),
            facts: facts(model),
            doubts,
            ends: model.couplings.iter().map(end).collect(),
            couples: couples.iter().map(|it| other(state, it)).collect(),
            nearly: nearly.iter().map(|it| other(state, it)).collect(),
            tried: tried(state, model, visitor.now),
            others: others(state, model),
            photo: model.photo().map(|sha| format!("/attachments/{sha}")).unwrap_or_default(),
            parts,
        }
    }
}

fn heading(model: &Model, couples: &[Coupled], doubts: usize, parts: usize) -> String {
    let mut names: Vec<&str> = couples.iter().map(|it| it.model.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let name = &model.name.0;
    let joins = match (model.couplings.is_empty(), names.len()) {
        (true, _) => "names no end, so nobody can say what it couples to".to_string(),
        (false, 0) => "couples to no other model here".to_string(),
        (false, other) => format!("couples to {}", count(other, "other model", "other models")),
    };
    let here = count(parts, "part is", "parts are");
    let wrong = match doubts {
        0 => String::new(),
        1 => " One thing looks wrong or is lacking.".into(),
        many => format!(" {many} things look wrong or are lacking."),
    };
    format!("{name} {joins}; {here} in the house.{wrong}")
}

fn facts(model: &Model) -> Vec<(&'static str, String)> {
    let assembly = model.assembly.as_ref().map(|it| {
        let order = it.order.map(|order| format!("place {order}"));
        let note = it.note.as_ref().map(|note| note.0.clone());
        let edition = it.edition.as_ref().map(|edition| format!("edition {}", edition.0));
        [order, note, edition].into_iter().flatten().collect::<Vec<_>>().join(", ")
    });
    let line = |text: Option<&crate::domain::text::Line>| text.map(|text| text.0.clone()).unwrap_or_default();
    let all = [
        ("Model code", model.model.to_string()),
        ("Family", model.family.words()),
        ("Maker", line(model.maker.as_ref())),
        ("GTIN", line(model.gtin.as_ref())),
        ("Route", model.route.to_string()),
        ("Sizes, stated", sizes(model)),
        ("Assembly", assembly.unwrap_or_default()),
        ("Processing", processing(model)),
        ("Limits", limit_words(model)),
    ];
    all.into_iter().filter(|(_, value)| !value.is_empty()).collect()
}

pub async fn get(visitor: Visitor, Path(model): Path<String>, Query(done): Query<Done>) -> Response {
    match visitor.state.models.get(model.as_str()) {
        Some(found) => render(&ModelPage::of(&visitor, found, done.seq())),
        None => super::problem::not_found("model", &model, "/catalogue#models", "The catalogue"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_model_shows_its_sizes_and_what_it_lacks() {
        let visitor = sample::visitor();
        let model = visitor
            .state
            .models
            .values()
            .find(|it| it.family == crate::domain::model::Family::Telescope)
            .unwrap();
        let text = sample::show("model", &ModelPage::of(&visitor, model, None));
        assert!(text.contains("names no end") && text.contains(model.model.as_str()), "{text}");
    }
}
