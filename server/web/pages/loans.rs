//! Loans and trials: what goes back, by when and to whom; and what comes, with what came with it.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::say::Say;
use super::shared::{Done, Page, count, date, segment, some_of, time};
use crate::domain::loan_kept::{Loan, OpenLoan};
use crate::domain::set::CountSheet;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

pub struct Row {
    pub href: String,
    pub loan: String,
    pub kind: &'static str,
    pub from: String,
    pub set: String,
    pub case: String,
    pub due: String,
    pub parts: String,
    pub say: Say,
}

#[derive(Template)]
#[template(path = "loans.html")]
pub struct LoansPage {
    pub page: Page,
    pub heading: String,
    pub open: Vec<Row>,
    pub gone: Vec<Row>,
}

/// As many as a person reads of what is gone.
const MOST_GONE: usize = 100;

/// How an open loan stands: what lacks of it comes first.
pub fn say(it: &OpenLoan, state: &State, now: Time) -> Say {
    let lacking: Vec<String> = it.lacking.iter().map(ToString::to_string).collect();
    let today = now.date(state.zone);
    match (lacking.is_empty(), it.due) {
        (false, _) => Say::new("missing", "stop", format!("left without {}", some_of(&lacking, 3))),
        (true, Some(due)) if due < today => Say::due(format!("to go back, due since {}", date(due))),
        (true, Some(due)) if due == today => Say::due("to go back today"),
        (true, Some(due)) => Say::plain(format!("here, goes back by {}", date(due))),
        (true, None) => Say::plain("here"),
    }
}

fn row(state: &State, loan: &Loan, say: Say, due: String, parts: usize) -> Row {
    let now_here = loan.set.as_ref().filter(|set| state.sets.contains_key(*set));
    Row {
        href: format!("/loans/{}", segment(loan.loan.as_str())),
        loan: loan.loan.to_string(),
        kind: loan.kind.words(),
        from: loan.from.0.clone(),
        set: now_here.or(loan.set.as_ref()).map(ToString::to_string).unwrap_or_default(),
        case: loan.case.as_ref().map(ToString::to_string).unwrap_or_default(),
        due,
        parts: count(parts, "part", "parts"),
        say,
    }
}

fn heading(open: &[OpenLoan]) -> String {
    let lacks = open.iter().filter(|it| !it.lacking.is_empty()).count();
    let late = open.iter().filter(|it| it.overdue && it.lacking.is_empty()).count();
    let here = count(open.len(), "loan is", "loans are");
    let first = open.first().map(|it| format!(" {}", it.sentence)).unwrap_or_default();
    match (open.len(), lacks, late) {
        (0, ..) => "Nothing is on loan or on trial here.".into(),
        (_, 0, 0) => format!("{here} open.{first}"),
        (_, 0, late) => format!("{here} open, {late} of them overdue.{first}"),
        (_, lacks, 0) => format!("{here} open; {} without a part.{first}", count(lacks, "left", "left")),
        (_, lacks, late) => {
            format!("{here} open; {} without a part, {late} overdue.{first}", count(lacks, "left", "left"))
        }
    }
}

impl LoansPage {
    pub fn of(visitor: &Visitor, done: Option<u64>) -> LoansPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let open = state.open_loans(now);
        let rows = open.iter().filter_map(|it| {
            let loan = state.loans.get(&it.loan)?;
            let due = it.due.map(date).unwrap_or_default();
            Some(row(state, loan, say(it, state, now), due, it.parts))
        });
        let mut gone: Vec<&Loan> =
            state.loans.values().map(|loan| &**loan).filter(|loan| !loan.is_open(state)).collect();
        gone.sort_by_key(|loan| std::cmp::Reverse(loan.leavings.last().map(|it| it.told.at)));
        let gone = gone.into_iter().take(MOST_GONE).map(|loan| {
            let left = loan.leavings.last().map(|it| time(state, it.told.at, now)).unwrap_or_default();
            row(state, loan, Say::plain("gone"), left, loan.parts.len())
        });
        LoansPage {
            page: Page::of(visitor, "/loans", "/loans", done),
            heading: heading(&open),
            open: rows.collect(),
            gone: gone.collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(done): Query<Done>) -> Response {
    render(&LoansPage::of(&visitor, done.seq()))
}

/// One piece of the form that takes a loan in.
pub struct Piece {
    pub n: usize,
    pub line: String,
    pub label: String,
    /// The models that the line takes: one is settled, several are chosen from.
    pub models: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "loan_arrive.html")]
pub struct ArrivePage {
    pub page: Page,
    pub sheets: Vec<(String, String)>,
    pub sheet: String,
    pub pieces: Vec<Piece>,
    pub cases: Vec<(String, String)>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub sheet: Option<String>,
    pub done: Option<String>,
}

/// So many pieces without a set are told in one go.
const LOOSE: usize = 6;

fn models(state: &State, takes: impl Fn(&crate::domain::model::Model) -> bool) -> Vec<(String, String)> {
    let fit = state.models.values().filter(|model| takes(model));
    fit.map(|model| (model.model.to_string(), model.name.0.clone())).collect()
}

/// A row for each piece that the count sheet names, or some without a set.
fn pieces(state: &State, sheet: Option<&CountSheet>) -> Vec<Piece> {
    let Some(sheet) = sheet else {
        let all = models(state, |model| !model.single_use);
        let loose = |n: usize| Piece {
            n,
            line: String::new(),
            label: format!("Piece {}", n + 1),
            models: all.clone(),
        };
        return (0..LOOSE).map(loose).collect();
    };
    let mut all = Vec::new();
    for line in &sheet.lines {
        let fit = models(state, |model| line.takes(model));
        for position in 1..=line.quantity {
            let label = match line.quantity {
                1 => line.line.0.clone(),
                many => format!("{} {position} of {many}", line.line.0),
            };
            all.push(Piece { n: all.len(), line: line.line.0.clone(), label, models: fit.clone() });
        }
    }
    all
}

impl ArrivePage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> ArrivePage {
        let state = &*visitor.state;
        let sheet = asked.sheet.as_deref().and_then(|name| state.sheets.get(name));
        let open = state
            .open_cases()
            .map(|case| (case.case.to_string(), format!("{}, {}", case.case, case.start.told(state.zone))));
        let path = match sheet {
            Some(sheet) => format!("/loans/arrive?sheet={}", segment(sheet.count_sheet.as_str())),
            None => "/loans/arrive".into(),
        };
        let done = asked.done.as_deref().and_then(|text| text.parse().ok());
        ArrivePage {
            page: Page::of(visitor, "/loans", path, done),
            sheets: state
                .sheets
                .values()
                .map(|sheet| (sheet.count_sheet.to_string(), sheet.name.0.clone()))
                .collect(),
            sheet: sheet.map(|sheet| sheet.count_sheet.to_string()).unwrap_or_default(),
            pieces: pieces(state, sheet.map(|sheet| &**sheet)),
            cases: open.collect(),
        }
    }
}

pub async fn arrive(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&ArrivePage::of(&visitor, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    #[test]
    fn what_left_without_a_part_stands_first() {
        let text = sample::show("loans", &LoansPage::of(&sample::visiting::visitor(Role::Desk), None));
        assert!(text.contains("<h1>2 loans are open; 1 left without a part. loan-0001 of Lender"), "{text}");
        assert!(text.contains("left without loan-0001.2") && !text.contains("<script>"), "{text}");
        let none = sample::show("loans-none", &LoansPage::of(&sample::visitor(), None));
        assert!(none.contains("Nothing is on loan or on trial here."), "{none}");
    }

    #[test]
    fn a_set_is_counted_in_against_its_sheet() {
        let visitor = sample::visiting::visitor(Role::Desk);
        let asked = Asked { sheet: Some("adult".into()), done: None };
        let text = sample::show("loan-arrive", &ArrivePage::of(&visitor, &asked));
        assert!(text.contains("caps 1 of 2") && text.contains("name=\"parts.0.mark\""), "{text}");
        let loose = sample::show("loan-arrive-loose", &ArrivePage::of(&visitor, &Asked::default()));
        assert!(loose.contains("Model of Piece 6") && !loose.contains("set.set"), "{loose}");
    }
}
