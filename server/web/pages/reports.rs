//! What I reported, and what became of it.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::headline::part_title;
use super::say::{Say, of_asset};
use super::shared::{Page, count, segment, when};
use crate::domain::finding::Finding;
use crate::domain::finding_words::{Fate, fate};
use crate::domain::person::Actor;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

/// As many as are listed.
const MOST: usize = 100;
/// For so many days a start page tells what became of a report.
const RECENT_DAYS: i64 = 7;

pub struct Row {
    pub finding: String,
    pub asset: String,
    pub href: String,
    pub called: String,
    pub what: String,
    pub severity: &'static str,
    pub stops: bool,
    pub at: String,
    pub by: String,
    pub case: String,
    pub became: String,
    pub waits: bool,
    /// The reader reported it just now, and may take it back.
    pub withdraws: bool,
    pub photos: Vec<String>,
    pub adds_photo: bool,
    pub say: Say,
}

#[derive(Template)]
#[template(path = "reports.html")]
pub struct ReportsPage {
    pub page: Page,
    pub heading: String,
    pub reports: Vec<Row>,
    /// The report that was made just now.
    pub reported: Option<Row>,
}

/// The query of a page to which a report returned.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Back {
    pub done: Option<String>,
    /// The report that was made.
    pub reported: String,
}

impl Back {
    pub fn done(&self) -> Option<u64> {
        self.done.as_deref().and_then(|text| text.parse().ok())
    }
}

/// The reader's own report, to which a page returned.
pub fn just_now(visitor: &Visitor, back: &Back) -> Option<Row> {
    let known = visitor.state.findings.get(back.reported.as_str()).filter(|_| back.done().is_some());
    let own = known.filter(|it| it.by == visitor.actor.code && it.withdrawn_at.is_none() && !it.taken_back);
    own.map(|it| row(visitor, it))
}

/// What became of a report, in one sentence.
pub fn became(state: &State, it: &Finding, now: Time) -> String {
    let at = |at: Time| when(state, at, now);
    match fate(state, it) {
        Fate::Withdrawn => "Withdrawn by the person who reported it.".into(),
        Fate::Corrected => "Taken back: the report named the wrong thing.".into(),
        Fate::Held { hold } => format!("It is on hold ({hold}) until biomed or the lead has looked into it."),
        Fate::Waits => "It waits to be inspected.".into(),
        Fate::InRepair { since, reason } => format!("In repair since {}: {reason}.", at(since)),
        Fate::Retired { at: then, cause } => format!("Retired {}: {}.", at(then), cause.replace('_', " ")),
        Fate::Lifted { at: then } => format!("Looked into; its hold was lifted {}.", at(then)),
        Fate::Repaired { at: then, work } => {
            let work = work.map(|work| format!(": {work}")).unwrap_or_default();
            format!("Back from repair {}{work}.", at(then))
        }
        Fate::Passed { at: then } => format!("It passed its inspection {}.", at(then)),
    }
}

/// Whether the one who asks may still take the report back.
pub fn withdraws(state: &State, it: &Finding, actor: &Actor, now: Time) -> bool {
    let within = it.at.plus_minutes(i64::from(state.policy.undo_minutes));
    it.by == actor.code && state.is_open(it) && now <= within
}

pub fn row(visitor: &Visitor, it: &Finding) -> Row {
    let (state, now) = (&*visitor.state, visitor.now);
    let asset = state.assets.get(&it.asset);
    Row {
        finding: it.finding.to_string(),
        asset: it.asset.to_string(),
        href: format!("/assets/{}", segment(it.asset.as_str())),
        called: part_title(state, &it.asset),
        what: it.what.clone(),
        severity: it.severity.words(),
        stops: it.severity == crate::domain::finding::Severity::Stop,
        at: when(state, it.at, now),
        by: it.by.clone(),
        case: it.case.as_ref().map(ToString::to_string).unwrap_or_default(),
        became: became(state, it, now),
        waits: state.is_open(it),
        withdraws: withdraws(state, it, &visitor.actor, now),
        photos: it.photos.clone(),
        adds_photo: it.by == visitor.actor.code && !it.taken_back,
        say: asset.map_or_else(|| Say::plain(""), |asset| of_asset(state, asset, now)),
    }
}

/// The reports of one person, the latest first.
pub fn of<'a>(state: &'a State, code: &str) -> Vec<&'a Finding> {
    let mut all: Vec<&Finding> = state.findings.values().filter(|it| it.by == code).map(|it| &**it).collect();
    all.sort_by(|a, b| (b.at, &b.finding).cmp(&(a.at, &a.finding)));
    all
}

/// What a start page tells of one's own reports of the last days: what each is about, and what became of it.
pub fn recent(visitor: &Visitor) -> Vec<(String, String)> {
    let since = visitor.now.plus_minutes(-RECENT_DAYS * 24 * 60);
    let all =
        of(&visitor.state, &visitor.actor.code).into_iter().filter(|it| it.at >= since && !it.taken_back);
    let told = |it: &Finding| {
        let what = format!("{}: {}", part_title(&visitor.state, &it.asset), it.what);
        (what, became(&visitor.state, it, visitor.now))
    };
    all.map(told).collect()
}

impl ReportsPage {
    pub fn of(visitor: &Visitor, back: &Back) -> ReportsPage {
        let all = of(&visitor.state, &visitor.actor.code);
        let waits = all.iter().filter(|it| visitor.state.is_open(it)).count();
        let heading = match (all.len(), waits) {
            (0, _) => "You have reported no defect yet.".into(),
            (n, 0) => format!("{} of yours, all looked into.", count(n, "report", "reports")),
            (n, waits) => {
                let verb = if waits == 1 { "waits" } else { "wait" };
                format!("{} of yours; {waits} {verb} to be looked into.", count(n, "report", "reports"))
            }
        };
        let reported = just_now(visitor, back);
        let done = back.done().filter(|_| reported.is_none());
        ReportsPage {
            page: Page::of(visitor, "/reports", "/reports", done),
            reported,
            heading,
            reports: all.into_iter().take(MOST).map(|it| row(visitor, it)).collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(back): Query<Back>) -> Response {
    render(&ReportsPage::of(&visitor, &back))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn whoever_reported_it_reads_what_became_of_it() {
        let mut visitor = sample::busy::visitor();
        visitor.actor.code = "p-clinician".into();
        let text = sample::show("reports", &ReportsPage::of(&visitor, &Back::default()));
        assert!(text.contains("1 report of yours; 1 waits to be looked into."), "{text}");
        assert!(text.contains("until biomed or the lead has looked into it."), "{text}");
        visitor.actor.code = "somebody else".into();
        assert!(ReportsPage::of(&visitor, &Back::default()).reports.is_empty());
    }
}
