//! The rigid box of what a prion hold holds: its label to be printed, and the decision that ends the hold. No time does.
//!
//! What stands on the label (patient, date, procedure, responsible person) is that of the United Kingdom's guidance on
//! quarantine (ACDP, annex E, as hospital policies of 2007 and 2013 quote it).

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::extract::{Form, Path, Query, State as Reach};
use axum::response::Response;

use super::headline::sheet_name;
use super::shared::{Done, Page, capital, count, date, listed, segment};
use super::theatre;
use crate::domain::case::{Case, Risk};
use crate::domain::hold::{HoldKind, HoldState};
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::state::{Asset, State};
use crate::web::App;
use crate::web::form::Fields;
use crate::web::visitor::{Visitor, render};

pub struct Inside {
    pub asset: String,
    pub href: String,
    pub name: String,
    pub set: String,
}

pub struct AtCase {
    pub case: String,
    pub day: String,
    pub procedure: String,
    /// Somebody's reference is kept with it.
    pub has_patient: bool,
}

#[derive(Template)]
#[template(path = "sealed_box.html")]
pub struct BoxPage {
    pub page: Page,
    pub hold: String,
    pub heading: String,
    pub reason: String,
    pub since: String,
    pub inside: Vec<Inside>,
    /// The cases at which they were opened with that risk, the last one first.
    pub cases: Vec<AtCase>,
    pub reads_patient: bool,
    /// The reference, where it was asked for just now.
    pub patient: Option<String>,
}

fn inside(state: &State, hold: &HoldState) -> Vec<Inside> {
    let held = state
        .assets
        .values()
        .filter(|asset| asset.retired.is_none() && asset.holds.iter().any(|it| it.hold == hold.hold));
    let one = |asset: &std::sync::Arc<Asset>| Inside {
        asset: asset.asset.to_string(),
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        name: theatre::name(state, asset),
        set: asset.seat.as_ref().map(|seat| format!("{}, {}", seat.set, seat.line)).unwrap_or_default(),
    };
    held.map(one).collect()
}

fn procedure(state: &State, case: &Case) -> String {
    let codes = case.schedule.iter().flat_map(|of| of.codes().iter());
    let mut all: Vec<String> = codes
        .map(|coded| coded.name.as_ref().map_or_else(|| coded.code.0.clone(), |name| name.0.clone()))
        .collect();
    if all.is_empty() {
        all = case.needs.iter().map(|sheet| sheet_name(state, sheet)).collect();
    }
    all.extend(case.technique.map(|technique| technique.words().to_string()));
    capital(&listed(&all))
}

/// The cases with that risk at which one of the parts was opened, the last one first.
fn cases(state: &State, inside: &[Inside]) -> Vec<AtCase> {
    let of = inside.iter().filter_map(|part| state.cases_of.get(part.asset.as_str()));
    let all: BTreeSet<_> = of.flat_map(|cases| cases.iter()).collect();
    let known = all.into_iter().filter_map(|case| state.cases.get(case));
    let mut known: Vec<_> = known.filter(|case| case.risk == Risk::PrionSuspected).collect();
    known.sort_by_key(|case| (std::cmp::Reverse(case.start), case.case.clone()));
    let one = |case: &std::sync::Arc<Case>| AtCase {
        case: case.case.to_string(),
        day: date(case.start.date(state.zone)),
        procedure: procedure(state, case),
        has_patient: case.patient.is_some(),
    };
    known.into_iter().map(one).collect()
}

/// What of a set, a case or the house is sealed under a prion hold, with the page of its box.
pub struct Sealed {
    pub href: String,
    pub words: String,
}

/// The prion holds of the parts that are meant, each with how many of them it holds.
pub fn sealed<'a>(parts: impl Iterator<Item = &'a Asset>) -> Vec<Sealed> {
    let mut all: BTreeMap<&Id, usize> = BTreeMap::new();
    for asset in parts.filter(|asset| asset.retired.is_none()) {
        let held = asset.holds.iter().filter(|held| held.kind == HoldKind::Prion);
        held.for_each(|held| *all.entry(&held.hold).or_default() += 1);
    }
    let one = |(hold, many): (&Id, usize)| Sealed {
        href: format!("/holds/{}/box", segment(hold.as_str())),
        words: format!("{hold}, {}", count(many, "part", "parts")),
    };
    all.into_iter().map(one).collect()
}

/// Of what was there at a case.
pub fn of_case(state: &State, case: &Case) -> Vec<Sealed> {
    sealed(case.parts.keys().filter_map(|asset| state.assets.get(asset)).map(|asset| &**asset))
}

impl BoxPage {
    pub fn of(visitor: &Visitor, hold: &HoldState, done: Option<u64>) -> BoxPage {
        let state = &*visitor.state;
        let inside = inside(state, hold);
        let stands = match inside.len() {
            0 => "holds nothing any more: everything was decided".to_string(),
            1 => "holds 1 part until a named person decides".into(),
            n => format!("holds {n} parts until a named person decides"),
        };
        BoxPage {
            page: Page::of(visitor, "/handover", format!("/holds/{}/box", segment(hold.hold.as_str())), done),
            hold: hold.hold.to_string(),
            heading: format!("{} {stands}. No time ends it.", hold.hold),
            reason: hold.reason.clone(),
            since: format!("{}, {}", hold.placed_at.told(state.zone), hold.placed_by),
            cases: cases(state, &inside),
            inside,
            reads_patient: matches!(visitor.actor.role, Role::Charge | Role::Infection | Role::Auditor),
            patient: None,
        }
    }
}

fn of_prion<'a>(state: &'a State, hold: &str) -> Option<&'a HoldState> {
    state.holds.get(hold).map(|hold| &**hold).filter(|hold| hold.kind == HoldKind::Prion)
}

fn unknown(hold: &str) -> Response {
    super::problem::not_found("prion hold", hold, "/handover", "Handover")
}

pub async fn get(visitor: Visitor, Path(hold): Path<String>, Query(done): Query<Done>) -> Response {
    match of_prion(&visitor.state, &hold) {
        Some(found) => render(&BoxPage::of(&visitor, found, done.seq())),
        None => unknown(&hold),
    }
}

/// The same page with the patient's reference on its label. The reading is logged before it is answered.
pub async fn patient(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(hold): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let csrf = fields.iter().find(|(name, _)| name == "csrf").map_or("", |(_, value)| value.as_str());
    if !visitor.owns(csrf) {
        return crate::web::fail::foreign_form();
    }
    let Some(found) = of_prion(&visitor.state, &hold) else { return unknown(&hold) };
    let mut page = BoxPage::of(&visitor, found, None);
    let case = page.cases.first().and_then(|it| visitor.state.cases.get(it.case.as_str()));
    let Some(case) = case else { return render(&page) };
    match app.house.patient_of(case, &visitor.state.site, &visitor.actor).await {
        Ok(patient) => page.patient = patient,
        Err(gone) => return crate::web::fail::unavailable(&gone.operation),
    }
    render(&page)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_label_says_what_is_never_to_be_done_and_leaves_room_for_the_patient() {
        let visitor = sample::in_theatre();
        let hold = HoldState {
            hold: crate::domain::id::Id::new("hold-9").unwrap(),
            kind: HoldKind::Prion,
            reason: "case K-1: prion disease suspected".into(),
            placed_at: visitor.now,
            placed_by: "charge".into(),
            lifted_at: None,
            notice: None,
            dedicated_to: None,
        };
        let empty = sample::show("sealed-box-empty", &BoxPage::of(&visitor, &hold, None));
        assert!(!empty.contains("Do not wash") && empty.contains("nothing is sealed"), "{empty}");
        let mut page = BoxPage::of(&visitor, &hold, None);
        page.inside.push(Inside {
            asset: "B-1".into(),
            href: "/assets/B-1".into(),
            name: "a barrel".into(),
            set: String::new(),
        });
        let text = sample::show("sealed-box", &page);
        assert!(text.contains("Do not wash. Do not open.") && text.contains("Hospital number"), "{text}");
    }
}
