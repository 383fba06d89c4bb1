//! The shelf: what is kept without parts of its own, how much of it there is and until when it is good; and what a case used of it.

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;
use serde::Deserialize;

use super::say::Say;
use super::shared::{Page, count, date, segment, some_of, time};
use crate::domain::case::Case;
use crate::domain::shelf::{EXPIRES_SOON_DAYS, Lot, Shelf, StockWhy};
use crate::domain::state::State;
use crate::domain::time::{Date, Time};
use crate::web::visitor::{Visitor, render};

pub struct LotRow {
    pub lot: String,
    pub expires: String,
    pub left: u32,
    pub say: Say,
}

pub struct ModelRow {
    pub model: String,
    pub name: String,
    pub good: u32,
    pub minimum: String,
    pub say: Say,
    pub lots: Vec<LotRow>,
}

#[derive(Template)]
#[template(path = "shelf.html")]
pub struct ShelfPage {
    pub page: Page,
    pub heading: String,
    pub rows: Vec<ModelRow>,
    pub models: Vec<(String, String)>,
    pub whys: Vec<(&'static str, &'static str)>,
}

fn lot_say(lot: &Lot, today: Date) -> Say {
    match lot.expires {
        Some(last) if last < today => Say::new("not_ready", "stop", "not to be used, past its date"),
        Some(last) if (last - today).num_days() <= EXPIRES_SOON_DAYS => Say::due("use it first"),
        _ => Say::plain("good"),
    }
}

fn row(state: &State, shelf: &Shelf, today: Date) -> ModelRow {
    let good = shelf.good(today);
    let say = match (good, shelf.is_low(today)) {
        (0, _) => Say::new("not_ready", "stop", "none that is good"),
        (_, true) => Say::new("not_ready", "due", "below minimum"),
        (_, false) => Say::new("ready", "ready", "enough"),
    };
    let lot = |lot: &&Lot| LotRow {
        lot: lot.lot.as_ref().map_or("no lot told".into(), |lot| lot.0.clone()),
        expires: lot.expires.map(date).unwrap_or_default(),
        left: lot.left,
        say: lot_say(lot, today),
    };
    ModelRow {
        model: shelf.model.to_string(),
        name: state.model(&shelf.model).map_or_else(|| shelf.model.to_string(), |it| it.name.0.clone()),
        good,
        minimum: shelf.minimum.map(|it| it.to_string()).unwrap_or_default(),
        say,
        lots: shelf.there().iter().map(lot).collect(),
    }
}

fn heading(state: &State, today: Date) -> String {
    let named = |shelf: &Shelf| {
        state.model(&shelf.model).map_or_else(|| shelf.model.to_string(), |it| it.name.0.clone())
    };
    let all = || state.shelf.values();
    let past = all().filter(|it| it.there().iter().any(|lot| lot.is_past(today)));
    let past: Vec<String> = past.map(|it| named(it)).collect();
    let low: Vec<String> = all().filter(|it| it.is_low(today)).map(|it| named(it)).collect();
    match (past.is_empty(), low.is_empty()) {
        _ if state.shelf.is_empty() => "Nothing is kept on the shelf by lot yet.".into(),
        (true, true) => {
            format!(
                "{} on the shelf, none low and none past its date.",
                count(all().count(), "thing", "things")
            )
        }
        (false, true) => format!("Past its date on the shelf: {}.", some_of(&past, 4)),
        (true, false) => format!("Below minimum: {}.", some_of(&low, 4)),
        (false, false) => {
            format!("Past its date on the shelf: {}. Below minimum: {}.", some_of(&past, 4), some_of(&low, 4))
        }
    }
}

/// Models whose pieces are kept so.
fn models(state: &State) -> Vec<(String, String)> {
    let kept = state.models.values().filter(|model| model.single_use || model.implant);
    kept.map(|model| (model.model.to_string(), model.name.0.clone())).collect()
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
}

impl Asked {
    fn seq(&self) -> Option<u64> {
        self.done.as_deref().and_then(|text| text.parse().ok())
    }
}

impl ShelfPage {
    pub fn of(visitor: &Visitor, done: Option<u64>) -> ShelfPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let today = now.date(state.zone);
        let mut shelves: Vec<&Shelf> = state.shelf.values().map(|it| &**it).collect();
        let past = |it: &Shelf| it.there().iter().any(|lot| lot.is_past(today));
        shelves.sort_by_key(|it| (!past(it), !it.is_low(today), it.model.clone()));
        ShelfPage {
            page: Page::of(visitor, "/shelf", "/shelf", done),
            heading: heading(state, today),
            rows: shelves.into_iter().map(|it| row(state, it, today)).collect(),
            models: models(state),
            whys: StockWhy::ALL.iter().map(|why| (why.name(), why.words())).collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&ShelfPage::of(&visitor, asked.seq()))
}

pub struct UsedRow {
    pub what: String,
    pub lot: String,
    pub serial: String,
    pub quantity: u32,
    pub implant: bool,
    pub at: String,
    pub say: Say,
    pub look_back: String,
}

#[derive(Template)]
#[template(path = "case_shelf.html")]
pub struct CaseShelfPage {
    pub page: Page,
    pub heading: String,
    pub case: String,
    pub href: String,
    pub used: Vec<UsedRow>,
    pub models: Vec<(String, String)>,
}

fn used(state: &State, case: &Case, now: Time) -> Vec<UsedRow> {
    let row = |it: &crate::domain::shelf::UsedAt| {
        let used = &it.used;
        let past = used.expires.is_some_and(|last| last < it.told.at.date(state.zone));
        let say = match (past, used.from_shelf < used.quantity) {
            (true, _) => Say::new("not_ready", "stop", "was past its date"),
            (_, true) => Say::due("not on the shelf by its record"),
            _ => Say::plain("from the shelf"),
        };
        let lot = used.lot.as_ref().map(|lot| lot.0.clone()).unwrap_or_default();
        let origin = match (&used.serial, lot.is_empty()) {
            (Some(serial), _) => {
                format!("?serial={}&model={}", segment(&serial.0), segment(used.model.as_str()))
            }
            (None, false) => format!("?lot={}&model={}", segment(&lot), segment(used.model.as_str())),
            (None, true) => String::new(),
        };
        UsedRow {
            what: state.model(&used.model).map_or_else(|| used.model.to_string(), |it| it.name.0.clone()),
            lot,
            serial: used.serial.as_ref().map(|serial| serial.0.clone()).unwrap_or_default(),
            quantity: used.quantity,
            implant: used.implant,
            at: time(state, it.told.at, now),
            say,
            look_back: origin,
        }
    };
    state.stock_at(&case.case).iter().map(row).collect()
}

impl CaseShelfPage {
    pub fn of(visitor: &Visitor, case: &Case, done: Option<u64>) -> CaseShelfPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let used = used(state, case, now);
        let implants = used.iter().filter(|it| it.implant).count();
        let many = used.iter().fold(0usize, |sum, it| sum.saturating_add(it.quantity as usize));
        let heading = match (used.is_empty(), implants) {
            (true, _) => format!("Case {} has used nothing of the shelf so far.", case.case),
            (false, 0) => format!("Case {} used {} of the shelf.", case.case, count(many, "piece", "pieces")),
            (false, n) => format!(
                "Case {} used {} of the shelf; {} in the patient.",
                case.case,
                count(many, "piece", "pieces"),
                count(n, "implant stays", "implants stay")
            ),
        };
        CaseShelfPage {
            page: Page::of(visitor, "/cases", format!("/cases/{}/shelf", segment(case.case.as_str())), done),
            heading,
            href: format!("/cases/{}", segment(case.case.as_str())),
            case: case.case.to_string(),
            used,
            models: models(state),
        }
    }
}

pub async fn of_case(visitor: Visitor, Path(case): Path<String>, Query(asked): Query<Asked>) -> Response {
    match visitor.state.cases.get(case.as_str()) {
        Some(found) => render(&CaseShelfPage::of(&visitor, found, asked.seq())),
        None => super::problem::not_found("case", &case, "/cases", "All cases"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    #[test]
    fn what_is_low_or_past_its_date_is_in_the_heading() {
        let visitor = sample::visiting::visitor(Role::Charge);
        let text = sample::show("shelf", &ShelfPage::of(&visitor, None));
        assert!(text.contains("<h1>Below minimum: Suction catheter 12 Fr.</h1>"), "{text}");
        assert!(text.contains("use it first") && !text.contains("<x>"), "{text}");
        let later = Visitor { now: visitor.now.plus_minutes(30 * 24 * 60), ..visitor };
        let text = sample::show("shelf-past", &ShelfPage::of(&later, None));
        assert!(text.contains("Past its date on the shelf: Suction catheter 12 Fr. Below minimum"), "{text}");
        let case = later.state.cases.get("K-8").unwrap();
        let text = sample::show("case-shelf", &CaseShelfPage::of(&later, case, None));
        assert!(
            text.contains("Case K-8 used 3 pieces of the shelf.")
                && text.contains("not on the shelf by its record"),
            "{text}"
        );
        assert!(text.contains("/look-back?lot=L-SOON"), "{text}");
    }
}
