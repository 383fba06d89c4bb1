//! What do the procedures of the schedule need, and which cases wait for an answer?

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::Query;
use axum::response::Response;

use super::headline::sheet_name;
use super::shared::{Done, Page, capital, count, listed, segment, when};
use super::theatre::{self, Choice};
use crate::domain::id::Id;
use crate::domain::procedure::{self, Procedure};
use crate::domain::state::State;
use crate::domain::technique::Technique;
use crate::web::visitor::{Visitor, render};

/// So many of each list are shown.
const MOST: usize = 300;

/// A code that nobody has mapped, and the cases that wait for it.
pub struct Unknown {
    pub code: String,
    pub name: String,
    pub cases: Vec<(String, String)>,
    pub needs: Vec<Vec<Choice>>,
    pub techniques: Vec<Choice>,
}

pub struct Row {
    pub code: String,
    pub name: String,
    pub told: String,
    pub technique: String,
    pub minutes: String,
    pub by: String,
    pub needs: Vec<Vec<Choice>>,
    pub techniques: Vec<Choice>,
}

/// A case that would need something else by now.
pub struct Offer {
    pub case: String,
    pub href: String,
    pub start: String,
    pub has: String,
    pub would: String,
}

#[derive(Template)]
#[template(path = "procedures.html")]
pub struct ProceduresPage {
    pub page: Page,
    pub heading: String,
    pub unknown: Vec<Unknown>,
    pub offers: Vec<Offer>,
    pub rows: Vec<Row>,
    pub needs: Vec<Vec<Choice>>,
    pub techniques: Vec<Choice>,
}

fn names(state: &State, needs: &[Id], technique: Option<Technique>) -> String {
    let mut all: Vec<String> = needs.iter().map(|sheet| sheet_name(state, sheet)).collect();
    all.extend(technique.map(|technique| technique.words().to_string()));
    if all.is_empty() { "nothing of the house's sets".into() } else { listed(&all) }
}

/// The codes of open cases that are mapped to nothing, each with its cases; the one that is needed first comes first.
fn unknown(state: &State) -> Vec<Unknown> {
    let mut all: BTreeMap<String, (String, Vec<(String, String)>)> = BTreeMap::new();
    let mut first: Vec<String> = Vec::new();
    let mut open: Vec<_> = state.open_cases().collect();
    open.sort_by_key(|case| (case.start, case.case.clone()));
    for case in open {
        for coded in case.schedule.iter().flat_map(|of| of.codes()) {
            if state.procedure(coded.code.as_str()).is_some() {
                continue;
            }
            if !all.contains_key(&coded.code.0) {
                first.push(coded.code.0.clone());
            }
            let (name, cases) = all.entry(coded.code.0.clone()).or_default();
            if let Some(told) = &coded.name {
                name.clone_from(&told.0);
            }
            let link = (case.case.to_string(), format!("/cases/{}", segment(case.case.as_str())));
            if cases.last() != Some(&link) {
                cases.push(link);
            }
        }
    }
    let one = |(code, (name, cases)): (String, (String, _))| Unknown {
        code,
        name,
        cases,
        needs: theatre::needs(state, &[]),
        techniques: theatre::techniques(None),
    };
    let in_turn = first.into_iter().filter_map(|code| all.remove_entry(&code));
    in_turn.take(MOST).map(one).collect()
}

fn row(visitor: &Visitor, it: &Procedure) -> Row {
    let state = &*visitor.state;
    let mapped = &it.mapped;
    Row {
        code: mapped.code.0.clone(),
        name: mapped.name.as_ref().map(|name| name.0.clone()).unwrap_or_default(),
        told: names(state, &mapped.needs, None),
        technique: mapped.technique.map_or("not said", Technique::words).into(),
        minutes: mapped.minutes.map(|minutes| minutes.to_string()).unwrap_or_default(),
        by: format!("{}, {}", it.by, when(state, it.at, visitor.now)),
        needs: theatre::needs(state, &mapped.needs),
        techniques: theatre::techniques(mapped.technique),
    }
}

fn offers(visitor: &Visitor) -> Vec<Offer> {
    let state = &*visitor.state;
    let offered = state.open_cases().filter_map(|case| Some((case, procedure::offered(state, case)?)));
    let mut all: Vec<_> = offered.collect();
    all.sort_by_key(|(case, _)| (case.start, case.case.clone()));
    let one = |(case, would): (&crate::domain::case::Case, procedure::Needing)| Offer {
        case: case.case.to_string(),
        href: format!("/cases/{}", segment(case.case.as_str())),
        start: when(state, case.start, visitor.now),
        has: capital(&match case.needs_not_known() {
            true => "not known".to_string(),
            false => names(state, &case.needs, case.technique),
        }),
        would: capital(&names(state, &would.needs, would.technique)),
    };
    all.into_iter().take(MOST).map(one).collect()
}

fn heading(unknown: &[Unknown], offers: &[Offer], known: usize) -> String {
    match (unknown, offers.len()) {
        ([], 0) if known == 0 => "No procedure of the schedule is known here yet.".into(),
        ([], 0) => format!("Every procedure of the open cases is known: {}.", count(known, "code", "codes")),
        ([], n) => format!("{} would need something else by what is mapped now.", count(n, "case", "cases")),
        (some, _) => {
            let mut cases: Vec<&str> =
                some.iter().flat_map(|it| &it.cases).map(|(case, _)| case.as_str()).collect();
            cases.sort_unstable();
            cases.dedup();
            let verb = if some.len() == 1 { "is" } else { "are" };
            format!(
                "{} of the schedule {verb} not known, for {}.",
                count(some.len(), "procedure", "procedures"),
                count(cases.len(), "case", "cases")
            )
        }
    }
}

impl ProceduresPage {
    pub fn of(visitor: &Visitor, done: Option<u64>) -> ProceduresPage {
        let state = &*visitor.state;
        let known = state.procedures.values().filter(|it| !it.mapped.forget);
        let rows: Vec<Row> = known.map(|it| row(visitor, it)).collect();
        let (unknown, offers) = (unknown(state), offers(visitor));
        ProceduresPage {
            page: Page::of(visitor, "/procedures", "/procedures", done),
            heading: heading(&unknown, &offers, rows.len()),
            unknown,
            offers,
            rows,
            needs: theatre::needs(state, &[]),
            techniques: theatre::techniques(None),
        }
    }
}

pub async fn get(visitor: Visitor, Query(done): Query<Done>) -> Response {
    render(&ProceduresPage::of(&visitor, done.seq()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn unknown_codes_stand_first_and_cases_are_offered_what_is_known_by_now() {
        let visitor = sample::scheduled();
        let text = sample::show("procedures", &ProceduresPage::of(&visitor, None));
        assert!(text.contains("<h1>1 procedure of the schedule is not known, for 1 case.</h1>"), "{text}");
        assert!(text.contains("STENT-REMOVAL") && text.contains("name=\"cases:each\""), "{text}");
        assert!(text.contains("Give these cases what their procedures need"), "{text}");
    }
}
