//! One model: how long its pieces last, how sure that is, which will fail next, and what to do about it.

use askama::Template;

use super::compare::{self, Comparison};
use super::decide::{Chances, Decisions, chances, remaining};
use super::picture::Picture;
use super::repairs::{RepairsOf, repairs_of};
use super::{cause, words};
use crate::domain::asset::Cause;
use crate::domain::model::Family;
use crate::domain::outlook::Outlook;
use crate::domain::state::State;
use crate::web::pages::say::{Say, of_asset};
use crate::web::pages::shared::{Page, segment};
use crate::web::visitor::Visitor;

/// As many pieces as a person looks at, those that may fail next first.
const MOST_PIECES: usize = 100;
/// Of so many the range of the chance is worked out too.
const WITH_RANGE: usize = 12;
const MOST_GONE: usize = 200;

/// A piece that is in service.
pub struct PieceRow {
    pub href: String,
    pub asset: String,
    pub age: u32,
    /// Where it was mixed with others: what its age may be.
    pub between: String,
    pub case: String,
    pub inspection: String,
    pub remaining: String,
    pub place: String,
    pub say: Say,
}

/// A piece that left.
pub struct GoneRow {
    pub href: String,
    pub asset: String,
    pub entry: u32,
    pub age: u32,
    pub end: String,
    pub failed: bool,
}

#[derive(Template)]
#[template(path = "wear_model.html")]
pub struct ModelPage {
    pub page: Page,
    pub model: String,
    pub name: String,
    pub kinds: String,
    pub unit: &'static str,
    pub heading: String,
    pub said: Vec<String>,
    pub few: Option<String>,
    pub picture: Option<Picture>,
    /// Why there is no picture.
    pub no_picture: String,
    pub decisions: Decisions,
    pub pieces: Vec<PieceRow>,
    pub more_pieces: usize,
    pub fitted: bool,
    pub causes: Vec<(String, u32)>,
    pub gone: Vec<GoneRow>,
    pub more_gone: usize,
    pub comparisons: Vec<Comparison>,
    pub not_compared: String,
    pub repairs: RepairsOf,
}

fn piece_row(
    state: &State,
    outlook: &Outlook,
    it: &Chances<'_>,
    place: usize,
    visitor: &Visitor,
) -> PieceRow {
    let piece = it.piece;
    let asset = state.assets.get(&piece.asset);
    let age = f64::from(piece.age);
    let with_range = place < WITH_RANGE;
    let law = outlook.law.as_ref().ok();
    let chance = |share: Option<f64>, (from, ahead): (f64, f64)| {
        let limits = law.filter(|_| with_range).map(|law| law.fail_within_limits(from, ahead));
        share.map(|share| words::percent(share, limits)).unwrap_or_default()
    };
    PieceRow {
        href: format!("/assets/{}", segment(piece.asset.as_str())),
        asset: piece.asset.to_string(),
        age: piece.age,
        between: piece
            .between
            .map(|(low, high)| format!("{low} to {high}, its identity in doubt"))
            .unwrap_or_default(),
        case: chance(it.case, (it.next.seen_whole, it.next.case)),
        inspection: chance(it.inspection, (it.next.seen_whole, it.next.inspection)),
        remaining: law.map(|law| remaining(law, age, with_range)).unwrap_or_default(),
        place: asset
            .and_then(|asset| asset.seat.as_ref())
            .map(|seat| format!("set {}, {}", seat.set, seat.line))
            .unwrap_or_default(),
        say: asset.map_or_else(|| Say::plain(""), |asset| of_asset(state, asset, visitor.now)),
    }
}

fn gone(outlook: &Outlook) -> Vec<GoneRow> {
    let mut all: Vec<_> = outlook.lives.pieces.iter().filter(|piece| !piece.in_service()).collect();
    // Those that failed first, the shortest life above the longer ones.
    all.sort_by_key(|piece| (piece.failed.is_none(), piece.age, piece.asset.clone()));
    let row = |piece: &crate::domain::lifetime::Piece| {
        let why = piece.retired.map(Cause::name).map(cause).unwrap_or_default();
        GoneRow {
            href: format!("/assets/{}", segment(piece.asset.as_str())),
            asset: piece.asset.to_string(),
            entry: piece.entry,
            age: piece.age,
            end: match &piece.failed {
                Some(failed) if failed.exact => format!("failed at {}, {why}", failed.by),
                Some(failed) => {
                    format!("failed between {} and {}, found at inspection, {why}", failed.after, failed.by)
                }
                None => format!("retired without failure, {why}"),
            },
            failed: piece.failed.is_some(),
        }
    };
    all.into_iter().map(row).collect()
}

/// Why those that failed did.
pub fn causes(outlook: &Outlook) -> Vec<(String, u32)> {
    let mut all: Vec<(String, u32)> = Vec::new();
    for failed in outlook.lives.pieces.iter().filter_map(|piece| piece.failed.as_ref()) {
        let name = cause(failed.cause.name());
        match all.iter_mut().find(|(known, _)| *known == name) {
            Some((_, many)) => *many += 1,
            None => all.push((name, 1)),
        }
    }
    all.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    all
}

/// The badge of what rests on few failures.
fn few(outlook: &Outlook) -> Option<String> {
    (outlook.law.is_ok() && outlook.few()).then(|| {
        format!("{} so far: the ranges are wide, and the next failures may shift all of it", outlook.failures)
    })
}

impl ModelPage {
    /// The others are those of its family.
    pub fn of(visitor: &Visitor, outlook: &Outlook, others: &[&Outlook], done: Option<u64>) -> ModelPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let id = &outlook.lives.model;
        let model = state.model(id);
        let family: Option<Family> = model.map(|model| model.family);
        let limit = model.and_then(|model| model.limits.max_cycles);
        let limit = limit.filter(|_| outlook.clock() == crate::domain::lifetime::Clock::Cycles);
        let picture = outlook.curve().map(|curve| Picture::of(outlook, &curve, family, limit));
        let all = chances(state, outlook);
        let mut gone = gone(outlook);
        let more_gone = gone.len().saturating_sub(MOST_GONE);
        gone.truncate(MOST_GONE);
        let comparisons = compare::comparisons(outlook, others);
        ModelPage {
            page: Page::of(visitor, "/wear", format!("/wear?model={}", segment(id.as_str())), done),
            model: id.to_string(),
            name: model.map(|model| model.name.0.clone()).unwrap_or_default(),
            kinds: words::kind(family, true),
            unit: outlook.clock().name(),
            heading: words::sentence(outlook, family),
            said: words::beside(outlook),
            few: few(outlook),
            no_picture: picture.as_ref().err().map(|refused| refused.said.clone()).unwrap_or_default(),
            picture: picture.ok(),
            decisions: Decisions::of(state, outlook, &all, now),
            more_pieces: all.len().saturating_sub(MOST_PIECES),
            pieces: all
                .iter()
                .take(MOST_PIECES)
                .enumerate()
                .map(|(place, it)| piece_row(state, outlook, it, place, visitor))
                .collect(),
            fitted: outlook.law.is_ok(),
            causes: causes(outlook),
            gone,
            more_gone,
            not_compared: compare::not_compared(&comparisons),
            comparisons,
            repairs: repairs_of(state, id, now),
        }
    }
}
