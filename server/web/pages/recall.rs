//! One recall: what is still in the house and held, what was used meanwhile and on whom, what is not answered for.

use askama::Template;
use axum::extract::{self, Path, Query};
use axum::response::Response;

use super::recall_rows::{
    COLUMNS, CaseRow, Group, LoadRow, PartRow, cases, grouped, loads, parts, sheet, told_together,
};
use super::shared::{Done, Page, count, segment, some_of, when};
use crate::domain::affected::{Affected, Fate, affected};
use crate::domain::id::Id;
use crate::domain::machine::test_words;
use crate::domain::person::Role;
use crate::domain::recall::Recall;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

#[derive(Template)]
#[template(path = "recall.html")]
pub struct RecallPage {
    pub page: Page,
    pub recall: String,
    pub heading: String,
    pub open: bool,
    /// Every part and every case is answered for.
    pub whole: bool,
    pub facts: Vec<(&'static str, String)>,
    /// The parts without an answer, by set.
    pub to_answer: Vec<Group>,
    /// What is not answered for, for whoever wants to close it.
    pub unanswered: String,
    /// Where its loads are ticked that stay recalled.
    pub narrow: String,
    pub answered: Vec<PartRow>,
    /// The same for paper: what became of them and how they stand, and which parts.
    pub answered_told: Vec<(String, String)>,
    pub cases: Vec<CaseRow>,
    pub cases_open: usize,
    pub loads: Vec<LoadRow>,
    pub may_clear: bool,
    pub root: String,
    pub csv: String,
}

/// The answer first: what is held, what was used, what is not answered for.
fn heading(recall: &Recall, found: &Affected) -> String {
    let name = &recall.recall;
    if let Some(outcome) = &recall.outcome {
        return format!("{name} of {} is closed: {outcome}", recall.machine);
    }
    let here = found.parts.values().filter(|part| part.fate == Fate::Here && part.held).count();
    let loose = found.parts.values().filter(|part| matches!(part.fate, Fate::Out | Fate::Missing)).count();
    let mut words = format!(
        "{name} of {}: {} in the house on hold, {}",
        recall.machine,
        count(here, "part is", "parts are"),
        match found.cases.len() {
            0 => "no case opened any".to_string(),
            many => format!("{} opened such parts", count(many, "case", "cases")),
        }
    );
    if loose > 0 {
        words.push_str(&format!(", {} out or not accounted for", count(loose, "part is", "parts are")));
    }
    let (parts, cases) = found.open();
    match parts.len() + cases.len() {
        0 => words.push_str(". Everything is answered for; it may be closed."),
        many => words.push_str(&format!(". {} missing.", count(many, "answer is", "answers are"))),
    }
    words
}

fn facts(state: &State, recall: &Recall, now: Time) -> Vec<(&'static str, String)> {
    let told = |at: Time| when(state, at, now);
    let until = recall.to.map(|to| format!(", up to {}", told(to))).unwrap_or_default();
    let window = match (&recall.since, recall.from) {
        (Some(since), _) => match (&since.load, &since.test) {
            (None, Some(test)) => {
                let test = test_words(test.as_str());
                format!("since the {test} test of {}, which passed{until}", told(since.at))
            }
            (load, _) => format!(
                "since load {}, {}: its biological indicator showed no growth{until}",
                load.as_ref().map(Id::as_str).unwrap_or_default(),
                told(since.at)
            ),
        },
        (None, Some(from)) => {
            format!(
                "from {}{}",
                told(from),
                recall.to.map(|to| format!(" to {}", told(to))).unwrap_or_default()
            )
        }
        (None, None) => format!("everything from it: no good evidence is on record before{until}"),
    };
    let mut all = vec![
        ("Why", recall.reason.clone()),
        ("Machine", recall.machine.to_string()),
        ("Window", window),
        ("Loads", recall.loads.len().to_string()),
        ("Begun", format!("{} by {}", told(recall.opened_at), recall.opened_by)),
        ("Hold", recall.hold.to_string()),
    ];
    for narrowed in &recall.narrowed {
        let words = format!(
            "from {} to {} by {}, {}: {}",
            count(narrowed.before as usize, "load", "loads"),
            narrowed.after,
            narrowed.by,
            told(narrowed.at),
            narrowed.reason
        );
        all.push(("Narrowed", words));
    }
    if let (Some(at), Some(by)) = (recall.closed_at, &recall.closed_by) {
        all.push(("Closed", format!("{} by {by}", told(at))));
    }
    all
}

/// What keeps it from being closed, by name.
fn unanswered(groups: &[Group], cases: &[String]) -> String {
    let parts: usize = groups.iter().map(|group| group.parts.len()).sum();
    let of = |group: &Group| match group.set.as_str() {
        "" => group.parts.iter().map(|part| part.asset.clone()).collect::<Vec<_>>(),
        set => vec![format!("{} of {set}", group.parts.len())],
    };
    let mut said = Vec::new();
    if parts > 0 {
        let named: Vec<String> = groups.iter().flat_map(of).collect();
        said.push(format!("{} ({})", count(parts, "part", "parts"), some_of(&named, 6)));
    }
    if !cases.is_empty() {
        said.push(format!("{} ({})", count(cases.len(), "case", "cases"), some_of(cases, 6)));
    }
    said.join(" and ")
}

impl RecallPage {
    pub fn of(visitor: &Visitor, recall: &Recall, root: String, done: Option<u64>) -> RecallPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let found = affected(state, recall);
        let (to_answer, answered) = parts(state, recall, &found, now);
        let cases = cases(state, recall, &found, now);
        let path = format!("/recalls/{}", segment(recall.recall.as_str()));
        let cases_open = cases.iter().filter(|case| !case.answered).count();
        let open_cases: Vec<String> =
            cases.iter().filter(|case| !case.answered).map(|case| case.case.clone()).collect();
        let to_answer = grouped(state, to_answer);
        RecallPage {
            unanswered: unanswered(&to_answer, &open_cases),
            narrow: format!("{path}/narrow"),
            csv: format!("{path}/sheet.csv"),
            page: Page::of(visitor, "/recalls", path, done),
            recall: recall.recall.to_string(),
            heading: heading(recall, &found),
            open: recall.is_open(),
            whole: to_answer.is_empty() && cases_open == 0,
            facts: facts(state, recall, now),
            to_answer,
            answered_told: told_together(&answered),
            answered,
            cases,
            cases_open,
            loads: loads(state, recall, now),
            may_clear: visitor.actor.role == Role::Infection,
            root,
        }
    }
}

pub async fn get(
    extract::State(app): extract::State<App>,
    visitor: Visitor,
    Path(recall): Path<String>,
    Query(done): Query<Done>,
) -> Response {
    let Some(found) = visitor.state.recalls.get(recall.as_str()) else {
        return super::problem::not_found("recall", &recall, "/recalls", "All recalls");
    };
    let root = app.house.root_at(&visitor.state.site, visitor.state.seq).await.ok().flatten();
    render(&RecallPage::of(&visitor, found, root.unwrap_or_default(), done.seq()))
}

pub async fn csv(visitor: Visitor, Path(recall): Path<String>) -> Response {
    let state = &visitor.state;
    let Some(found) = state.recalls.get(recall.as_str()) else {
        return fail::nothing_here();
    };
    let rows = sheet(state, found, &affected(state, found));
    super::sheet::download(COLUMNS, &rows, &format!("{}-entry-{}", found.recall, state.seq))
}

static BOOK: [crate::formats::cells::Column; COLUMNS.len()] = super::sheet::columns(COLUMNS);

/// The same as a workbook.
pub async fn book(visitor: Visitor, Path(recall): Path<String>) -> Response {
    let state = &visitor.state;
    let Some(found) = state.recalls.get(recall.as_str()) else {
        return fail::nothing_here();
    };
    let rows = sheet(state, found, &affected(state, found));
    super::sheet::book(&BOOK, rows, "Recall", &format!("{}-entry-{}", found.recall, state.seq))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::recalls::{Asked, RecallsPage};
    use crate::web::pages::sample;

    #[test]
    fn the_heading_says_what_is_held_and_what_is_missing() {
        let visitor = sample::recalled();
        let found = visitor.state.recalls.values().next().unwrap();
        let text = sample::show("recall", &RecallPage::of(&visitor, found, "a3f0".repeat(16), None));
        assert!(text.contains("on hold") && text.contains("missing."), "{text}");
        assert!(text.contains("possible contact, not infection"), "{text}");
        assert!(text.contains("recalled; it was released") && !text.contains(">released<"), "{text}");
        let list = sample::show("recalls", &RecallsPage::of(&visitor, Asked::default()));
        assert!(list.contains("is open") && list.contains("have no answer yet"), "{list}");
    }
}
