//! A case in the room: is the instrument checked, what is wrong with it, and is everything there that went in?

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;

use super::reports::{self, Back};
use super::shared::{Page, capital, count, listed, segment, time};
use super::theatre::{self, LostLine, LostRow};
use super::words;
use crate::domain::case::Case;
use crate::domain::check::{CheckResult, CheckState, CheckTold, stands};
use crate::domain::check_lines::{AskedLine, lines, parts_of};
use crate::domain::replacement::{Replacement, replacements};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

/// A part that a line may fail on, as its button names it.
pub struct MayFail {
    pub asset: String,
    pub name: String,
}

/// One line of the function check.
pub struct LineRow {
    pub line: String,
    pub anchor: String,
    pub asks: String,
    pub parts: Vec<MayFail>,
    /// How it stands: empty while nobody has told it.
    pub stands: &'static str,
    pub failed: bool,
    pub told: String,
    pub instead: Vec<String>,
    /// How often it was told before: each telling is kept.
    pub before: usize,
}

/// A part in the list from which a defect is reported.
pub struct Pick {
    pub href: String,
    pub asset: String,
    pub name: String,
    pub set: String,
    pub out: bool,
    /// What is reported of it already.
    pub reported: String,
}

#[derive(Template)]
#[template(path = "room.html")]
pub struct RoomPage {
    pub page: Page,
    pub case: String,
    pub href: String,
    pub heading: String,
    pub caution: String,
    pub lost: Vec<LostRow>,
    pub lines_lost: Vec<LostLine>,
    pub lines: Vec<LineRow>,
    pub check: CheckState,
    pub picks: Vec<Pick>,
    pub reports: Vec<reports::Row>,
    /// The report that was made just now.
    pub reported: Option<reports::Row>,
    pub others: Vec<theatre::OtherRow>,
    pub counts: Vec<String>,
    pub out: usize,
    pub open: bool,
}

/// What a replacement is, where it is, and what taking it costs.
pub fn instead(state: &State, it: &Replacement) -> String {
    let name = state.model(&it.model).map(|model| model.name.0.clone()).unwrap_or_default();
    let like = match (it.fit, it.same_model) {
        (Some(fit), true) => format!("the same model, {} in its place", fit.words()),
        (Some(fit), false) => format!("another model, {} in its place", fit.words()),
        (None, true) => "the same model".to_string(),
        (None, false) => "the same family: compare its size".to_string(),
    };
    let mut place = match (&it.set, &it.location) {
        (Some(set), Some(location)) => format!("in set {set}, {location}"),
        (Some(set), None) => format!("in set {set}"),
        (None, Some(location)) => format!("packed by itself, {location}"),
        (None, None) => "packed by itself".into(),
    };
    if let Some(case) = &it.kept_for {
        place.push_str(&format!("; it is kept for case {case}"));
    }
    if it.takes_reserve {
        place.push_str("; it is the reserve for emergencies");
    }
    format!("Ready instead: {}, {name}, {like}; {place}.", it.asset)
}

fn told(state: &State, it: &CheckTold, now: Time) -> String {
    let on = it.told.asset.as_ref().map(|asset| format!(" on {asset}")).unwrap_or_default();
    let what = it.told.what.as_ref().map(|what| format!(": {what}")).unwrap_or_default();
    let report = it.told.finding.as_ref().map(|finding| format!(", {finding}")).unwrap_or_default();
    format!("{}{on}{what}, {} by {}{report}", it.told.result.words(), time(state, it.at, now), it.by)
}

fn line_row(state: &State, case: &Case, line: AskedLine, now: Time) -> LineRow {
    let stands = stands(state, case, &line.line);
    let failed = stands.filter(|it| it.told.result == CheckResult::Failed);
    let broken = failed.and_then(|it| state.assets.get(it.told.asset.as_ref()?));
    let instead = broken.map(|asset| {
        let all = replacements(state, case, asset, now);
        match all.is_empty() {
            true => vec!["No part of the same model or family is ready outside this case.".to_string()],
            false => all.iter().map(|it| self::instead(state, it)).collect(),
        }
    });
    let name = |asset: &crate::domain::id::Id| {
        let model = state.assets.get(asset).and_then(|asset| state.model(&asset.model));
        model.map(|model| model.name.0.clone()).unwrap_or_default()
    };
    let kept = case.checks.iter().filter(|it| it.told.line.as_str() == line.line).count();
    LineRow {
        anchor: format!("check-{}", segment(&line.line.replace(' ', "-"))),
        asks: line.asks,
        parts: line.parts.iter().map(|id| MayFail { asset: id.to_string(), name: name(id) }).collect(),
        stands: stands.map(|it| it.told.result.words()).unwrap_or_default(),
        failed: failed.is_some(),
        told: stands.map(|it| told(state, it, now)).unwrap_or_default(),
        instead: instead.unwrap_or_default(),
        before: kept.saturating_sub(1),
        line: line.line,
    }
}

fn heading(case: &Case, check: &CheckState, lost: usize) -> String {
    let id = &case.case;
    if lost > 0 {
        return format!("Case {id}: {} not accounted for.", count(lost, "thing is", "things are"));
    }
    if !check.failed.is_empty() {
        return format!("Case {id}: the function check failed on {}.", listed(&check.failed));
    }
    match check.open.len() {
        0 => format!("Case {id}: the function check is done, {}.", count(check.asked, "line", "lines")),
        n if n == check.asked => format!("Case {id}: the function check is not recorded yet."),
        n => format!("Case {id}: {n} of {} lines of the function check are open.", check.asked),
    }
}

fn picks(state: &State, case: &Case) -> Vec<Pick> {
    let mut all: Vec<_> = parts_of(state, case);
    all.sort_by_key(|asset| theatre::place(state, asset));
    let pick = |asset: std::sync::Arc<crate::domain::state::Asset>| {
        let open: Vec<String> = state.open_findings(&asset.asset).iter().map(|it| it.what.clone()).collect();
        let (part, of) = (segment(asset.asset.as_str()), segment(case.case.as_str()));
        Pick {
            href: format!("/report?case={of}&part={part}"),
            asset: asset.asset.to_string(),
            name: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
            set: asset.seat.as_ref().map(|seat| seat.set.to_string()).unwrap_or_default(),
            out: case.parts.get(&asset.asset).is_some_and(|part| part.out),
            reported: listed(&open),
        }
    };
    all.into_iter().map(pick).collect()
}

impl RoomPage {
    pub fn of(visitor: &Visitor, case: &Case, back: &Back) -> RoomPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let check = CheckState::of(state, case);
        let (lost, lines_lost) = (theatre::lost(state, case, now), theatre::lines_lost(state, case, now));
        let loud = lost.iter().filter(|part| part.outcome.is_empty()).count()
            + lines_lost.iter().filter(|line| line.outcome.is_empty()).count();
        let of_case = |it: &&std::sync::Arc<crate::domain::finding::Finding>| {
            it.case.as_ref() == Some(&case.case) && !it.taken_back
        };
        let mut found: Vec<_> = state.findings.values().filter(of_case).collect();
        found.sort_by_key(|it| std::cmp::Reverse((it.at, it.finding.clone())));
        let href = format!("/cases/{}", segment(case.case.as_str()));
        let reported = reports::just_now(visitor, back);
        // What was reported is said in its own words, not as a number alone.
        let done = back.done().filter(|_| reported.is_none());
        RoomPage {
            page: Page::of(visitor, "/cases", format!("{href}/room"), done),
            reported,
            case: case.case.to_string(),
            heading: heading(case, &check, loud),
            caution: words::NOT_BACK.into(),
            lost,
            lines_lost,
            lines: lines(state, case).into_iter().map(|line| line_row(state, case, line, now)).collect(),
            check,
            picks: picks(state, case),
            reports: found.iter().map(|it| reports::row(visitor, it)).collect(),
            others: theatre::others(case),
            counts: case.counts.iter().rev().map(|it| capital(&theatre::kept(state, it, now))).collect(),
            out: case.parts.values().filter(|part| part.out).count(),
            open: case.is_open(),
            href,
        }
    }
}

pub async fn get(visitor: Visitor, Path(case): Path<String>, Query(back): Query<Back>) -> Response {
    match visitor.state.cases.get(case.as_str()) {
        Some(found) => render(&RoomPage::of(&visitor, found, &back)),
        None => super::problem::not_found("case", &case, "/cases", "All cases"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_failed_line_names_what_is_ready_instead() {
        let visitor = sample::in_the_room();
        let case = visitor.state.cases.get("K-1").unwrap();
        let text = sample::show("room", &RoomPage::of(&visitor, case, &Back::default()));
        assert!(text.contains("<h1>Case K-1: the function check failed on caps whole.</h1>"), "{text}");
        assert!(text.contains("failed on CAP-01: torn"), "{text}");
        assert!(text.contains("outside this case") || text.contains("Ready instead"), "{text}");
        assert!(text.contains("value=\"withdraw_finding\""), "{text}");
        assert!(!text.contains("id=\"said\""), "{text}");
    }

    #[test]
    fn what_was_reported_is_said_with_its_way_back() {
        let mut visitor = sample::in_the_room();
        let case = visitor.state.cases.get("K-1").unwrap().clone();
        let known = visitor.state.findings.values().next().unwrap().clone();
        visitor.actor.code = known.by.clone();
        let back = Back { done: Some("31".into()), reported: known.finding.to_string() };
        let text = sample::show("room-reported", &RoomPage::of(&visitor, &case, &back));
        let said = text.split("id=\"said\"").nth(1).unwrap().split("</div>").next().unwrap();
        let words = format!("{}: {}; {}", known.asset, known.what, known.severity.words());
        assert!(said.contains(&words) && said.contains("Take back"), "{said}");
        assert!(!text.contains("Recorded as entry"), "{text}");
        // Another person is told of nothing and takes nothing back.
        visitor.actor.code = "somebody else".into();
        assert!(RoomPage::of(&visitor, &case, &back).reported.is_none());
    }
}
