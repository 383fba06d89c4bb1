//! A maker's safety notice: one hold by model, lot or serial range. First who is concerned, then the hold, then every
//! piece by where it is, today's cases, and the pieces of which nobody knows the serial.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;
use serde::Deserialize;

use crate::domain::case::CaseStatus;
use crate::domain::hold::{HoldKind, Place};
use crate::domain::id::Id;
use crate::domain::notice::{CaseTouched, Concerned, NamedPieces, NoticeReport, Touch, Unknown};
use crate::domain::state::State;
use crate::domain::text::{Line, Text};
use crate::web::pages::shared::{self, Page, count, listed, segment, time};
use crate::web::visitor::{Visitor, render};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub model: String,
    pub lots: String,
    pub serials: String,
    pub serial_from: String,
    pub serial_to: String,
    pub done: Option<String>,
}

pub struct PieceRow {
    pub href: String,
    pub asset: String,
    pub serial: String,
    pub lot: String,
    pub set: String,
    pub place: String,
    pub held: bool,
}

pub struct CaseRow {
    pub href: String,
    pub case: String,
    pub start: String,
    pub why: String,
}

/// Who is concerned, of a notice that was looked at or of a hold that stands.
pub struct Answer {
    pub pieces: Vec<PieceRow>,
    pub not_known: Vec<PieceRow>,
    pub cases: Vec<CaseRow>,
}

#[derive(Template)]
#[template(path = "wear_notice.html")]
pub struct NoticePage {
    pub page: Page,
    pub heading: String,
    pub models: Vec<(String, String)>,
    pub asked: Asked,
    /// Why what was typed names nothing.
    pub wrong: String,
    pub answer: Option<Answer>,
    pub hold_kinds: Vec<&'static str>,
    /// The hold that stands, with what it says.
    pub hold: Option<(String, String)>,
}

fn line(text: &str) -> Option<Line> {
    let text = text.trim();
    (!text.is_empty()).then(|| Line(text.chars().take(200).collect()))
}

fn lines(text: &str) -> Option<Vec<Line>> {
    let all: Vec<Line> = text.split(',').filter_map(line).collect();
    (!all.is_empty()).then_some(all)
}

impl Asked {
    fn place(&self) -> Option<Place> {
        Some(Place {
            kind: HoldKind::Recall,
            reason: Text(String::new()),
            scan: None,
            load: None,
            model: Some(Id::new(self.model.trim())?),
            lots: lines(&self.lots),
            serials: lines(&self.serials),
            serial_from: line(&self.serial_from),
            serial_to: line(&self.serial_to),
            unknown: Some(Unknown::Hold),
        })
    }
}

fn text(line: &Option<Line>) -> String {
    line.as_ref().map(|line| line.0.clone()).unwrap_or_default()
}

fn piece_row(it: &Concerned) -> PieceRow {
    PieceRow {
        href: format!("/assets/{}", segment(it.asset.as_str())),
        asset: it.asset.to_string(),
        serial: text(&it.serial),
        lot: text(&it.lot),
        set: it.set.as_ref().map(ToString::to_string).unwrap_or_default(),
        place: it.place.clone(),
        held: it.held,
    }
}

/// The pieces by how they have to do with a case, what was done first, and the sets that it has or would take.
fn why(it: &CaseTouched) -> String {
    let names = |ids: &[Id]| listed(&ids.iter().map(ToString::to_string).collect::<Vec<_>>());
    let mut by: BTreeMap<Reverse<Touch>, Vec<Id>> = BTreeMap::new();
    it.touches.iter().for_each(|(id, touch)| by.entry(Reverse(*touch)).or_default().push(id.clone()));
    let each: Vec<String> = by.iter().map(|(how, ids)| format!("{} {}", names(ids), how.0.words())).collect();
    let sets = match it.sets.len() {
        0 => String::new(),
        1 => format!(" (set {})", names(&it.sets)),
        _ => format!(" (sets {})", names(&it.sets)),
    };
    let over = if it.status == CaseStatus::Closed { "closed; " } else { "" };
    format!("{over}{}{sets}", each.join("; "))
}

fn answer(state: &State, report: &NoticeReport, visitor: &Visitor) -> Answer {
    Answer {
        pieces: report.places.values().flatten().map(piece_row).collect(),
        not_known: report.not_known.iter().map(piece_row).collect(),
        cases: report
            .cases
            .iter()
            .map(|it| CaseRow {
                href: format!("/cases/{}", segment(it.case.as_str())),
                case: it.case.to_string(),
                start: time(state, it.start, visitor.now),
                why: why(it),
            })
            .collect(),
    }
}

fn heading(answer: &Answer, hold: Option<&str>) -> String {
    let places: std::collections::BTreeSet<&str> = answer.pieces.iter().map(|it| it.place.as_str()).collect();
    let pieces = count(answer.pieces.len(), "piece", "pieces");
    let what = match hold {
        Some(hold) => {
            let held = answer.pieces.iter().chain(&answer.not_known).filter(|it| it.held).count();
            format!("{} on hold by {hold}", count(held, "piece is", "pieces are"))
        }
        None => {
            format!("The notice names {pieces} in the house, in {}", count(places.len(), "place", "places"))
        }
    };
    // Those that the hold took too are counted among the others already.
    let among = answer.not_known.iter().filter(|it| hold.is_some() && it.held).count();
    let unknown = match (among, answer.not_known.len() - among) {
        (0, 0) => String::new(),
        (0, more) => format!("; of {} more nobody knows the serial or lot", count(more, "piece", "pieces")),
        (among, 0) => format!("; of {among} of these nobody knows the serial or lot"),
        (among, more) => format!("; of {among} of these and of {more} more nobody knows the serial or lot"),
    };
    let cases: Vec<String> = answer.cases.iter().map(|it| it.case.clone()).collect();
    let cases = match cases.len() {
        0 => " No case of today is affected.".to_string(),
        1 => format!(" Case {} of today is affected.", cases[0]),
        _ => format!(" Cases {} of today are affected.", listed(&cases)),
    };
    format!("{what}{unknown}.{cases}")
}

impl NoticePage {
    /// A notice that was looked at, before anything is put on hold.
    pub fn of(visitor: &Visitor, asked: Asked) -> NoticePage {
        let state = &*visitor.state;
        let place = asked.place();
        let known =
            place.as_ref().and_then(|it| it.model.as_ref()).is_some_and(|id| state.models.contains_key(id));
        let range = (asked.serial_from.trim().is_empty(), asked.serial_to.trim().is_empty());
        let mut wrong = String::new();
        if !asked.model.trim().is_empty() && !known {
            wrong = format!("Model {} is not in the catalogue.", asked.model.trim());
        } else if range.0 != range.1 {
            wrong = "A range of serials needs both ends.".into();
        } else if let Some(Err(malformed)) = place.as_ref().map(Place::whole) {
            wrong = format!("{}.", shared::capital(&malformed.detail));
        }
        let place = place.filter(|_| known && wrong.is_empty());
        let found = place.map(|place| {
            let pieces = state.named_by(&place);
            answer(state, &state.notice(None, &pieces, visitor.now), visitor)
        });
        let models =
            state.models.values().map(|model| (model.model.to_string(), model.name.0.clone())).collect();
        NoticePage {
            page: Page::of(
                visitor,
                "/wear",
                "/wear/notice",
                asked.done.as_deref().and_then(|it| it.parse().ok()),
            ),
            heading: match &found {
                Some(found) => heading(found, None),
                None => "Which pieces does a maker's safety notice name?".into(),
            },
            models,
            asked,
            wrong,
            answer: found,
            hold_kinds: shared::hold_kinds(visitor.actor.role),
            hold: None,
        }
    }

    /// A hold that stands.
    pub fn of_hold(visitor: &Visitor, hold: &Id, pieces: &NamedPieces, done: Option<u64>) -> NoticePage {
        let state = &*visitor.state;
        let found = answer(state, &state.notice(Some(hold), pieces, visitor.now), visitor);
        let reason = state.holds.get(hold).map(|known| known.reason.clone()).unwrap_or_default();
        let path = format!("/wear/notice/{}", segment(hold.as_str()));
        NoticePage {
            page: Page::of(visitor, "/wear", path, done),
            heading: heading(&found, Some(hold.as_str())),
            models: Vec::new(),
            asked: Asked::default(),
            wrong: String::new(),
            answer: Some(found),
            hold_kinds: Vec::new(),
            hold: Some((hold.to_string(), reason)),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&NoticePage::of(&visitor, asked))
}

pub async fn of_hold(
    visitor: Visitor,
    Path(hold): Path<String>,
    Query(done): Query<shared::Done>,
) -> Response {
    let found = Id::new(&hold).and_then(|id| visitor.state.pieces_of_hold(&id).map(|pieces| (id, pieces)));
    match found {
        Some((id, pieces)) => render(&NoticePage::of_hold(&visitor, &id, &pieces, done.seq())),
        None => crate::web::pages::problem::not_found("hold", &hold, "/wear/notice", "A safety notice"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_notice_names_pieces_by_place_and_those_nobody_knows_of() {
        let visitor = sample::busy::visitor();
        let all = Asked { model: "CAP-2".into(), ..Asked::default() };
        let text = sample::show("wear-notice", &NoticePage::of(&visitor, all));
        assert!(text.contains("<h1>The notice names 2 pieces in the house, in "), "{text}");
        assert!(text.contains("name=\"do\" value=\"hold\"") && text.contains(">CAP-03</a>"), "{text}");
        // Nobody told the serial of any: each may be one of them.
        let some = Asked {
            model: "CAP-2".into(),
            serial_from: "A1".into(),
            serial_to: "A9".into(),
            ..Asked::default()
        };
        let text = sample::show("wear-notice-serials", &NoticePage::of(&visitor, some));
        assert!(text.contains("names 0 pieces") && text.contains("of 2 pieces more nobody knows"), "{text}");
        let reversed = Asked {
            model: "CAP-2".into(),
            serial_from: "A9".into(),
            serial_to: "A1".into(),
            ..Asked::default()
        };
        let text = sample::show("wear-notice-reversed", &NoticePage::of(&visitor, reversed));
        assert!(
            text.contains("end of the range before its beginning") && !text.contains("pieces in the house"),
            "{text}"
        );
        let row = |held| PieceRow {
            href: String::new(),
            asset: "CAP-1".into(),
            serial: String::new(),
            lot: String::new(),
            set: String::new(),
            place: "shelf".into(),
            held,
        };
        let held =
            Answer { pieces: vec![row(true)], not_known: vec![row(true), row(true)], cases: Vec::new() };
        assert!(heading(&held, Some("h")).starts_with("3 pieces are on hold by h; of 2 of these nobody"));
        let left = Answer { pieces: vec![row(true)], not_known: vec![row(false)], cases: Vec::new() };
        assert!(heading(&left, Some("h")).starts_with("1 piece is on hold by h; of 1 piece more nobody"));
        let hostile = Asked { model: "<b>".into(), serial_from: "\"".into(), ..Asked::default() };
        let text = sample::show("wear-notice-hostile", &NoticePage::of(&visitor, hostile));
        assert!(text.contains("is not in the catalogue") && !text.contains("value=\"<b>\""), "{text}");
    }
}
