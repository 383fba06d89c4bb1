//! One loan: what came, what is still here, what left; and the certificate that goes with it.

use askama::Template;
use axum::extract::{Path, Query, State as Reach};
use axum::response::Response;

use super::loans::say;
use super::say::{Say, of_asset};
use super::set::{Past, past};
use super::shared::{Done, Page, capital, count, date, segment, time};
use crate::domain::event::Thing;
use crate::domain::loan::CleanedBy;
use crate::domain::loan_kept::Loan;
use crate::domain::state::{Asset, State};
use crate::domain::stranger::{Stranger, StrangerOutcome};
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const MOST_ENTRIES: usize = 20;

pub struct PartRow {
    pub href: String,
    pub asset: String,
    pub mark: String,
    pub name: String,
    pub again: bool,
    /// Its age as it is recorded here.
    pub age: String,
    pub say: Say,
}

/// A part on a certificate.
pub struct Certified {
    pub asset: String,
    pub mark: String,
    pub name: String,
    /// By what it was decontaminated; empty where it was not.
    pub by: String,
    /// The load that sterilised it since.
    pub sterilised: String,
}

/// What goes with a box that leaves the house.
pub struct Certificate {
    pub of: String,
    pub to: String,
    pub decontaminated: bool,
    pub parts: Vec<Certified>,
    pub came: usize,
    pub lacking: Vec<String>,
    pub retired: Vec<String>,
    pub because: String,
    pub by: String,
    pub at: String,
    pub entry: u64,
}

#[derive(Template)]
#[template(path = "loan.html")]
pub struct LoanPage {
    pub page: Page,
    pub heading: String,
    pub loan: String,
    pub say: Say,
    pub facts: Vec<(&'static str, String)>,
    /// A set of the loan that is still in the house.
    pub set: Option<(String, String)>,
    pub case: Option<(String, String)>,
    pub here: Vec<PartRow>,
    pub certificates: Vec<Certificate>,
    pub risk: String,
    pub history: Vec<Past>,
    pub trouble: String,
}

fn part(state: &State, asset: &Asset, again: bool, now: Time) -> PartRow {
    PartRow {
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        asset: asset.asset.to_string(),
        mark: asset.mark.as_ref().map(|mark| mark.0.clone()).unwrap_or_default(),
        name: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
        again,
        age: format!(
            "{}, {}",
            count(asset.cycles as usize, "cycle", "cycles"),
            count(asset.uses as usize, "use", "uses")
        ),
        say: of_asset(state, asset, now),
    }
}

fn cleaned(state: &State, by: Option<&CleanedBy>) -> (String, String) {
    let Some(by) = by else { return (String::new(), String::new()) };
    let told = |load: &crate::domain::id::Id| {
        state.loads.get(load).map_or_else(
            || format!("load {load}"),
            |found| {
                let cycle = found.cycle_no.as_ref().map(|no| format!(", cycle {}", no.0)).unwrap_or_default();
                format!("load {load}, {}{cycle}, {}", found.machine, found.started_at.told(state.zone))
            },
        )
    };
    let how = by.load.as_ref().map_or_else(|| "by hand".to_string(), told);
    (how, by.sterilised.as_ref().map(told).unwrap_or_default())
}

fn certified(state: &State, asset: &crate::domain::id::Id, by: Option<&CleanedBy>) -> Certified {
    let found = state.assets.get(asset);
    let (how, sterilised) = cleaned(state, by);
    Certified {
        asset: asset.to_string(),
        mark: found.and_then(|it| it.mark.as_ref()).map(|mark| mark.0.clone()).unwrap_or_default(),
        name: found
            .and_then(|it| state.model(&it.model))
            .map(|model| model.name.0.clone())
            .unwrap_or_default(),
        by: how,
        sterilised,
    }
}

fn certificates(state: &State, loan: &Loan) -> Vec<Certificate> {
    let retired: Vec<String> = loan
        .retired_here(state)
        .iter()
        .map(|asset| {
            let why = asset.retired.as_ref().map_or("", |it| it.cause.name()).replace('_', " ");
            format!("{} ({why})", asset.asset)
        })
        .collect();
    let one = |leaving: &crate::domain::loan_kept::Leaving| Certificate {
        of: format!("{} {}", capital(loan.kind.words()), loan.loan),
        to: loan.from.0.clone(),
        decontaminated: leaving.parts.iter().all(|part| part.by.is_some()),
        parts: leaving.parts.iter().map(|part| certified(state, &part.asset, part.by.as_ref())).collect(),
        came: loan.parts.len(),
        lacking: leaving.lacking.iter().map(ToString::to_string).collect(),
        retired: retired.clone(),
        because: leaving.not_decontaminated.clone().unwrap_or_default(),
        by: leaving.told.by.clone(),
        at: leaving.told.at.told(state.zone),
        entry: leaving.told.entry,
    };
    loan.leavings.iter().rev().map(one).collect()
}

fn facts(state: &State, loan: &Loan, now: Time) -> Vec<(&'static str, String)> {
    let sheet = match (loan.pieces, loan.differs()) {
        (None, _) => "none came".to_string(),
        (Some(pieces), None) => format!("came; {pieces} pieces, and as many came"),
        (Some(pieces), Some((_, came))) => format!("came; it names {pieces} pieces, and {came} came"),
    };
    let label = match loan.labelled_decontaminated {
        Some(true) => "says decontaminated; it is decontaminated here all the same",
        Some(false) => "says not decontaminated",
        None => "none told",
    };
    let mut all = vec![
        ("Lent by", loan.from.0.clone()),
        ("Came", format!("{}, {}", time(state, loan.came.at, now), loan.came.by)),
        ("Goes back by", loan.due(state).map_or("no day told".into(), date)),
        ("Count sheet", sheet),
        ("Maker's instructions", loan.instructions.as_ref().map_or("none came".into(), |it| it.0.clone())),
        ("Its label", label.into()),
    ];
    all.extend(loan.condition.as_ref().map(|words| ("Condition as it came", words.clone())));
    all
}

impl LoanPage {
    pub fn of(visitor: &Visitor, loan: &Loan, done: Option<u64>) -> LoanPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let again =
            |asset: &crate::domain::id::Id| loan.parts.iter().any(|(id, again)| id == asset && *again);
        let here: Vec<PartRow> =
            loan.still_here(state).iter().map(|asset| part(state, asset, again(&asset.asset), now)).collect();
        let open = state.open_loans(now).into_iter().find(|it| it.loan == loan.loan);
        let heading = match &open {
            Some(open) => open.sentence.clone(),
            None => format!("Everything of {} went back to {}.", loan.loan, loan.from.0),
        };
        LoanPage {
            page: Page::of(visitor, "/loans", format!("/loans/{}", segment(loan.loan.as_str())), done),
            heading,
            loan: loan.loan.to_string(),
            say: open.map_or_else(|| Say::plain("gone"), |it| say(&it, state, now)),
            facts: facts(state, loan, now),
            set: loan
                .set
                .as_ref()
                .filter(|set| state.sets.contains_key(*set))
                .map(|set| (format!("/sets/{}", segment(set.as_str())), set.to_string())),
            case: loan
                .case
                .as_ref()
                .map(|case| (format!("/cases/{}", segment(case.as_str())), case.to_string())),
            here,
            certificates: certificates(state, loan),
            risk: loan.risk.as_ref().map(|risk| risk.reason.clone()).unwrap_or_default(),
            history: Vec::new(),
            trouble: String::new(),
        }
    }
}

pub async fn get(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(loan): Path<String>,
    Query(done): Query<Done>,
) -> Response {
    let state = visitor.state.clone();
    let Some(found) = state.loans.get(loan.as_str()) else {
        return super::problem::not_found("loan", &loan, "/loans", "All loans");
    };
    let mut page = LoanPage::of(&visitor, found, done.seq());
    let thing = Thing::loan(found.loan.as_str());
    match app.house.history(&state.site, &thing, None, MOST_ENTRIES).await {
        Ok(entries) => page.history = past(&state, &entries, visitor.now),
        Err(gone) => {
            page.trouble = format!("Its past cannot be shown now (operation {}).", gone.operation);
        }
    }
    render(&page)
}

#[derive(Template)]
#[template(path = "certificate.html")]
pub struct CertificatePage {
    pub page: Page,
    pub heading: String,
    pub certificate: Certificate,
    pub back: (&'static str, &'static str),
}

impl CertificatePage {
    /// What goes with a stranger that its owner fetched, or that is still to be fetched.
    pub fn of(visitor: &Visitor, stranger: &Stranger) -> CertificatePage {
        let state = &*visitor.state;
        let fetched = stranger.settled.iter().find(|it| it.outcome == StrangerOutcome::Collected);
        let now = state.assets.get(&stranger.tag).and_then(|asset| state.cleaned_by(asset));
        let by = match fetched {
            Some(fetched) => fetched.cleaned.clone(),
            None => now,
        };
        let (who, at, entry) = match fetched {
            Some(it) => (it.told.by.clone(), it.told.at, it.told.entry),
            None => (visitor.actor.code.clone(), visitor.now, state.seq),
        };
        let certificate = Certificate {
            of: format!("Stranger {}, {}", stranger.tag, stranger.looks.0),
            to: stranger.owner.as_ref().map_or("not known".into(), |owner| owner.0.clone()),
            decontaminated: by.is_some(),
            parts: vec![certified(state, &stranger.tag, by.as_ref())],
            came: 1,
            lacking: Vec::new(),
            retired: Vec::new(),
            because: String::new(),
            by: who,
            at: at.told(state.zone),
            entry,
        };
        let how = if certificate.decontaminated { "decontaminated" } else { "NOT decontaminated" };
        CertificatePage {
            page: Page::of(visitor, "/strangers", "/strangers", None),
            heading: format!("{} leaves {how}.", stranger.tag),
            certificate,
            back: ("/strangers", "All strangers"),
        }
    }
}

pub async fn of_stranger(visitor: Visitor, Path(tag): Path<String>) -> Response {
    match visitor.state.strangers.get(tag.as_str()) {
        Some(found) => render(&CertificatePage::of(&visitor, found)),
        None => super::problem::not_found("stranger", &tag, "/strangers", "All strangers"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    #[test]
    fn a_certificate_says_what_it_is_and_what_lacks() {
        let visitor = sample::visiting::visitor(Role::Desk);
        let loan = visitor.state.loans.get("loan-0001").unwrap();
        let text = sample::show("loan", &LoanPage::of(&visitor, loan, None));
        assert!(text.contains("<p class=\"verdict\">NOT decontaminated</p>"), "{text}");
        assert!(text.contains("1 of 2 that came") && text.contains("Not among it"), "{text}");
        assert!(text.contains("It was let in without the maker's instructions"), "{text}");
        assert!(text.contains("it names 3 pieces, and 2 came") && !text.contains("<b>clean"), "{text}");
        let stranger = visitor.state.strangers.get("tag-0001").unwrap();
        let text = sample::show("certificate", &CertificatePage::of(&visitor, stranger));
        assert!(text.contains("tag-0001 leaves NOT decontaminated."), "{text}");
    }
}
