//! What is wrong with parts: defect reports, parts not accounted for, repairs under way.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::say::{Say, of_asset};
use super::shared::{Page, capital, count, segment, time};
use super::theatre::{LostLine, lines_lost};
use crate::domain::finding::{Finding, Severity};
use crate::domain::missing::{MissingState, SearchOutcome};
use crate::domain::repair::Repair;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

/// As many of what is over as are listed.
const MOST_PAST: usize = 50;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
    /// The part that a report is to be about.
    pub scan: String,
    pub case: String,
}

/// A part as the rows name it.
pub struct Part {
    pub href: String,
    pub asset: String,
    pub name: String,
    pub say: Say,
}

pub struct FindingRow {
    pub part: Part,
    pub finding: String,
    pub what: String,
    pub severity: &'static str,
    pub stops: bool,
    pub at: String,
    pub told_at: Time,
    pub by: String,
    pub case: String,
    pub hold: String,
}

pub struct MissingRow {
    pub part: Part,
    pub since: String,
    pub by: String,
    pub case: String,
    /// Empty while nobody has named one.
    pub outcome: &'static str,
    /// Who named it, and when.
    pub named: String,
    /// The part is here; a piece of it is looked for.
    pub piece: bool,
}

pub struct RepairRow {
    pub part: Part,
    pub repair: String,
    pub label: String,
    pub reason: String,
    pub order: String,
    pub sent: String,
    pub sent_at: Time,
    pub back: String,
    pub decontaminated: bool,
    pub work: String,
    pub supplier: String,
    pub cause: String,
    pub warranty: &'static str,
    pub cost: String,
    pub away: String,
    pub expected: String,
}

#[derive(Template)]
#[template(path = "finding.html")]
pub struct FindingPage {
    pub page: Page,
    pub heading: String,
    pub scan: String,
    pub case: String,
    pub severities: Vec<(&'static str, String)>,
    pub outcomes: Vec<(&'static str, String)>,
    pub open: Vec<FindingRow>,
    pub looked_into: Vec<FindingRow>,
    pub missing: Vec<MissingRow>,
    /// Lines without parts that did not all come back from their cases.
    pub lines: Vec<LostLine>,
    pub repairs: Vec<RepairRow>,
    pub repaired: Vec<RepairRow>,
}

pub fn part(state: &State, asset: &str, now: Time) -> Part {
    let found = state.assets.get(asset);
    let model = found.and_then(|asset| state.model(&asset.model));
    Part {
        href: format!("/assets/{}", segment(asset)),
        asset: asset.to_string(),
        name: model.map(|model| model.name.0.clone()).unwrap_or_default(),
        say: found.map_or_else(|| Say::plain(""), |asset| of_asset(state, asset, now)),
    }
}

/// The reports, the worst first and the latest of them first, parted into open ones and others.
pub fn findings(state: &State, now: Time) -> (Vec<FindingRow>, Vec<FindingRow>) {
    let mut all: Vec<&Finding> = state.findings.values().map(|it| &**it).collect();
    all.sort_by(|a, b| (b.severity, b.at, &b.finding).cmp(&(a.severity, a.at, &a.finding)));
    let (open, mut over): (Vec<_>, Vec<_>) = all.into_iter().partition(|it| state.is_open(it));
    over.sort_by(|a, b| (b.at, &b.finding).cmp(&(a.at, &a.finding)));
    let row = |it: &Finding| FindingRow {
        part: part(state, it.asset.as_str(), now),
        finding: it.finding.to_string(),
        what: it.what.clone(),
        severity: it.severity.words(),
        stops: it.severity == Severity::Stop,
        at: time(state, it.at, now),
        told_at: it.at,
        by: it.by.clone(),
        case: it.case.as_ref().map(ToString::to_string).unwrap_or_default(),
        hold: it.hold.as_ref().map(ToString::to_string).unwrap_or_default(),
    };
    (open.into_iter().map(row).collect(), over.into_iter().take(MOST_PAST).map(row).collect())
}

/// Parts that are looked for, those without a named outcome first.
pub fn missing(state: &State, now: Time) -> Vec<MissingRow> {
    let mut all: Vec<&MissingState> =
        state.missing.values().filter(|it| it.over_at.is_none()).map(|it| &**it).collect();
    all.sort_by_key(|it| (it.outcome.is_some(), std::cmp::Reverse(it.since), it.asset.clone()));
    all.into_iter()
        .map(|it| MissingRow {
            part: part(state, it.asset.as_str(), now),
            since: time(state, it.since, now),
            by: it.told_by.clone(),
            case: it.case.as_ref().map(ToString::to_string).unwrap_or_default(),
            outcome: it.outcome.map(SearchOutcome::words).unwrap_or_default(),
            named: super::theatre::named(state, it.named_by.as_deref(), it.named_at, now),
            piece: !state.assets.get(&it.asset).is_some_and(|asset| asset.missing),
        })
        .collect()
}

fn text(line: &Option<crate::domain::text::Line>) -> String {
    line.as_ref().map(|line| line.0.clone()).unwrap_or_default()
}

pub fn repair_row(state: &State, it: &Repair, now: Time) -> RepairRow {
    RepairRow {
        part: part(state, it.asset.as_str(), now),
        repair: it.repair.to_string(),
        label: format!("/repairs/{}", segment(it.repair.as_str())),
        reason: it.reason.clone(),
        order: it.order.as_ref().map(|order| order.0.clone()).unwrap_or_default(),
        sent: time(state, it.sent_at, now),
        sent_at: it.sent_at,
        back: it.back_at.map(|at| time(state, at, now)).unwrap_or_default(),
        decontaminated: it.decontaminated,
        work: it.work.clone().unwrap_or_default(),
        supplier: text(&it.supplier),
        cause: text(&it.cause),
        warranty: match it.warranty {
            Some(true) => "under warranty",
            Some(false) => "not under warranty",
            None => "",
        },
        cost: it.cost_cents.map(super::wear::report::money).unwrap_or_default(),
        away: super::shared::count(it.days_out(now) as usize, "day", "days"),
        expected: it.expected.map(super::shared::date).unwrap_or_default(),
    }
}

/// Repairs, the latest first, parted into those under way and those that are over.
pub fn repairs(state: &State, now: Time) -> (Vec<RepairRow>, Vec<RepairRow>) {
    let mut all: Vec<&Repair> = state.repairs.values().map(|it| &**it).collect();
    all.sort_by(|a, b| (b.sent_at, &b.repair).cmp(&(a.sent_at, &a.repair)));
    let (away, back): (Vec<_>, Vec<_>) = all.into_iter().partition(|it| it.back_at.is_none());
    let row = |it: &Repair| repair_row(state, it, now);
    (away.into_iter().map(row).collect(), back.into_iter().take(MOST_PAST).map(row).collect())
}

/// Lines without parts that did not all come back, those without an outcome first.
pub fn lines(state: &State, now: Time) -> Vec<LostLine> {
    let cases: Vec<_> = state.lines_not_back().into_iter().map(|line| (line.case, line.line)).collect();
    let of = |(case, line): (crate::domain::id::Id, String)| {
        let case = state.cases.get(&case)?;
        lines_lost(state, case, now).into_iter().find(|it| it.line == line)
    };
    cases.into_iter().filter_map(of).collect()
}

fn heading(
    open: &[FindingRow],
    (missing, lines): (&[MissingRow], &[LostLine]),
    repairs: &[RepairRow],
) -> String {
    let loud = missing.iter().filter(|row| row.outcome.is_empty()).count();
    let loud_lines: Vec<&LostLine> = lines.iter().filter(|line| line.outcome.is_empty()).collect();
    let stops = open.iter().filter(|row| row.stops).count();
    let mut all = Vec::new();
    if loud > 0 {
        all.push(format!(
            "{} not accounted for, with no outcome named.",
            count(loud, "part is", "parts are")
        ));
    } else if !missing.is_empty() {
        all.push(format!("{} still not accounted for.", count(missing.len(), "part is", "parts are")));
    }
    if let Some(first) = loud_lines.first() {
        let more = loud_lines.len() - 1;
        let more =
            if more == 0 { String::new() } else { format!(", and {} more", count(more, "line", "lines")) };
        all.push(format!("Case {}: {}{more}.", first.case, first.words));
    }
    all.push(match (open.len(), stops) {
        (0, _) => "No defect report is open.".into(),
        (many, 0) => format!("{} open.", count(many, "defect report is", "defect reports are")),
        (many, stops) => {
            let reports = count(many, "defect report is", "defect reports are");
            format!("{reports} open, {}.", count(stops, "part not to be used", "parts not to be used"))
        }
    });
    if !repairs.is_empty() {
        all.push(format!("{} in repair.", count(repairs.len(), "part is", "parts are")));
    }
    all.join(" ")
}

impl FindingPage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> FindingPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let ((open, looked_into), (repairs, repaired)) = (findings(state, now), repairs(state, now));
        let missing = missing(state, now);
        let lines = lines(state, now);
        let done = asked.done.as_deref().and_then(|text| text.parse().ok());
        FindingPage {
            page: Page::of(visitor, "/findings", "/findings", done),
            heading: heading(&open, (&missing, &lines), &repairs),
            scan: asked.scan.chars().take(200).collect(),
            case: asked.case.chars().take(64).collect(),
            severities: Severity::ALL.iter().map(|it| (it.name(), capital(it.words()))).collect(),
            outcomes: SearchOutcome::ALL.iter().map(|it| (it.name(), capital(it.words()))).collect(),
            open,
            looked_into,
            missing,
            lines,
            repairs,
            repaired,
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&FindingPage::of(&visitor, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_part_that_nobody_found_stands_first() {
        let asked = Asked { scan: "<b>\"CAP-01\"</b>".into(), ..Asked::default() };
        let text = sample::show("finding", &FindingPage::of(&sample::busy::visitor(), &asked));
        assert!(text.contains("1 part is not accounted for, with no outcome named."), "{text}");
        assert!(
            text.contains("1 defect report is open, 1 part not to be used. 1 part is in repair."),
            "{text}"
        );
        assert!(text.contains("NOT decontaminated") && !text.contains("<b>\"CAP"));
        let quiet = sample::show("finding-none", &FindingPage::of(&sample::visitor(), &Asked::default()));
        assert!(quiet.contains("No defect report is open."));
    }
}
