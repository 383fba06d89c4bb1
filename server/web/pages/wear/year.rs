//! A year of wear on paper: what was retired, repaired and spent, and each model's lives as a picture.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::http::StatusCode;
use axum::response::Response;
use chrono::{Datelike, NaiveDate};
use serde::Deserialize;

use super::costs::{self, CostRow};
use super::one::causes;
use super::picture::Picture;
use super::report::{FailureRow, failure_row, heading};
use super::words;
use crate::domain::id::Id;
use crate::domain::lifetime::Clock;
use crate::domain::outlook::Outlook;
use crate::web::App;
use crate::web::pages::period::Period;
use crate::web::pages::problem;
use crate::web::pages::shared::Page;
use crate::web::visitor::{Visitor, render};

/// As many pictures as a year's book has.
const MOST_MODELS: usize = 60;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub year: String,
}

impl Asked {
    /// The year that was asked for, where it is one of which there can be a book.
    fn year(&self, today: NaiveDate) -> Option<i32> {
        match self.year.trim() {
            "" => Some(today.year()),
            year => year.parse().ok().filter(|year| (1970..=today.year()).contains(year)),
        }
    }

    fn refused(&self, today: NaiveDate) -> Option<Response> {
        let detail = match self.year(today) {
            Some(_) => return None,
            None => format!("\"{}\" is no year from 1970 to {}.", self.year.trim(), today.year()),
        };
        let status = StatusCode::UNPROCESSABLE_ENTITY;
        Some(problem::page(status, "This year cannot be shown.", &detail, ""))
    }
}

pub struct ModelSheet {
    pub model: String,
    pub name: String,
    pub sentence: String,
    pub said: Vec<String>,
    pub few: bool,
    pub causes: String,
    pub replaced_at: String,
    pub svg: String,
    pub dashed: bool,
}

#[derive(Template)]
#[template(path = "wear_year.html")]
pub struct YearPage {
    pub page: Page,
    pub year: i32,
    pub before: i32,
    pub after: Option<i32>,
    pub heading: String,
    pub retired: Vec<(String, usize, usize)>,
    pub failures: Vec<FailureRow>,
    pub costs: Vec<CostRow>,
    pub delays: String,
    pub models: Vec<ModelSheet>,
    pub more: usize,
}

fn sheet(visitor: &Visitor, outlook: &Outlook, place: usize) -> Option<ModelSheet> {
    let state = &*visitor.state;
    let id = &outlook.lives.model;
    let model = state.model(id);
    let family = model.map(|model| model.family);
    let limit = model.and_then(|model| model.limits.max_cycles).filter(|_| outlook.clock() == Clock::Cycles);
    let curve = outlook.curve().ok()?;
    let picture = Picture::of(outlook, &curve, family, limit);
    let causes: Vec<String> = causes(outlook).iter().map(|(cause, many)| format!("{many} {cause}")).collect();
    Some(ModelSheet {
        model: id.to_string(),
        name: model.map(|model| model.name.0.clone()).unwrap_or_default(),
        sentence: words::sentence(outlook, family),
        said: words::beside(outlook),
        few: outlook.law.is_ok() && outlook.few(),
        causes: causes.join(", "),
        replaced_at: state
            .life_limit(id)
            .map(|limit| limit.set.clock.told(limit.set.replace_at))
            .unwrap_or_default(),
        // Each picture of the page has names of its own.
        svg: picture
            .page
            .replace("lives-title", &format!("lives{place}-title"))
            .replace("lives-told", &format!("lives{place}-told")),
        dashed: picture.dashed,
    })
}

impl YearPage {
    pub fn of(visitor: &Visitor, asked: &Asked, outlooks: &BTreeMap<Id, Outlook>) -> YearPage {
        let (state, today) = (&*visitor.state, visitor.now.date(visitor.state.zone));
        let year = asked.year(today).unwrap_or(today.year());
        let day = |month, day| NaiveDate::from_ymd_opt(year, month, day).unwrap_or(today);
        let period = Period { from: day(1, 1), to: day(12, 31).min(today) };
        let report = state.wear_report(period.from, period.to);
        let mut retired: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
        for it in &report.retired {
            let row = retired.entry(it.how.cause.name()).or_default();
            row.0 += 1;
            row.1 += usize::from(it.how.failure);
        }
        let (from, to) = report.window(state);
        let money = state.money(from, to);
        // What failed is drawn, the model with the most failures first.
        let mut told: Vec<&Outlook> = outlooks.values().filter(|outlook| outlook.failures > 0).collect();
        told.sort_by(|a, b| b.failures.cmp(&a.failures).then_with(|| a.lives.model.cmp(&b.lives.model)));
        let shown = told.iter().take(MOST_MODELS).enumerate();
        YearPage {
            page: Page::of(visitor, "/wear", format!("/wear/year?year={year}"), None),
            year,
            before: year - 1,
            after: (year < today.year()).then_some(year + 1),
            heading: heading(state, &report, &period),
            retired: retired.into_iter().map(|(cause, it)| (super::cause(cause), it.0, it.1)).collect(),
            failures: report.failures.iter().map(|it| failure_row(state, it)).collect(),
            costs: costs::rows(state, &money),
            delays: money.delays.said(),
            models: shown.filter_map(|(place, outlook)| sheet(visitor, outlook, place)).collect(),
            more: told.len().saturating_sub(MOST_MODELS),
        }
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    if let Some(refused) = asked.refused(visitor.now.date(visitor.state.zone)) {
        return refused;
    }
    match super::outlooks(&app, &visitor).await {
        Ok(all) => render(&YearPage::of(&visitor, &asked, &all)),
        Err(gone) => gone,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_year_is_told_with_its_pictures() {
        let visitor = sample::busy::visitor();
        let all = visitor.state.outlooks(visitor.now);
        let text = sample::show("wear-year", &YearPage::of(&visitor, &Asked::default(), &all));
        assert!(
            text.contains("from 1 January 2026 to 3 March 2026")
                && text.contains("<svg class=\"plot lifetimes\""),
            "{text}"
        );
        assert!(text.contains("as of ledger entry"), "{text}");
        let today = visitor.now.date(visitor.state.zone);
        for (year, refused) in [("2099", true), ("20x6", true), ("", false), ("2025", false)] {
            let found = Asked { year: year.into() }.refused(today);
            assert_eq!(found.map(|it| it.status().as_u16()), refused.then_some(422), "{year}");
        }
        let odd = Asked { year: "-99999999999".into() };
        let text = sample::show("wear-year-hostile", &YearPage::of(&visitor, &odd, &all));
        assert!(text.contains("Wear in 2026"), "{text}");
    }
}
