//! The label that goes on the box of a part that is sent to repair.

use askama::Template;
use axum::extract::Path;
use axum::response::Response;

use super::finding::{RepairRow, repair_row};
use super::shared::Page;
use crate::domain::repair::Repair;
use crate::web::visitor::{Visitor, render};

#[derive(Template)]
#[template(path = "repair.html")]
pub struct RepairPage {
    pub page: Page,
    pub heading: String,
    pub row: RepairRow,
    pub sent: String,
    pub serial: String,
}

impl RepairPage {
    pub fn of(visitor: &Visitor, repair: &Repair) -> RepairPage {
        let state = &*visitor.state;
        let row = repair_row(state, repair, visitor.now);
        let how = if repair.decontaminated { "decontaminated" } else { "NOT decontaminated" };
        let asset = state.assets.get(&repair.asset);
        RepairPage {
            page: Page::of(visitor, "/findings", row.label.clone(), None),
            heading: match &repair.back_at {
                None => format!("{} is in repair; its box is labelled {how}.", repair.asset),
                Some(_) => format!("{} is back; its box was labelled {how}.", repair.asset),
            },
            sent: repair.sent_at.told(state.zone),
            serial: asset
                .and_then(|asset| asset.serial.as_ref())
                .map(|serial| serial.0.clone())
                .unwrap_or_default(),
            row,
        }
    }
}

pub async fn get(visitor: Visitor, Path(repair): Path<String>) -> Response {
    match visitor.state.repairs.get(repair.as_str()) {
        Some(found) => render(&RepairPage::of(&visitor, found)),
        None => super::problem::not_found("repair", &repair, "/findings", "Defect reports and repairs"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_label_says_whether_it_was_decontaminated() {
        let visitor = sample::busy::visitor();
        let repair = visitor.state.repairs.values().next().unwrap();
        let text = sample::show("repair", &RepairPage::of(&visitor, repair));
        assert!(text.contains("<p class=\"verdict\">NOT decontaminated</p>"), "{text}");
    }
}
