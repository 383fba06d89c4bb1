//! What a case has no more of what was chosen for it: parts that left the house, are on hold, have no life left, pass their
//! date before the case, or are somebody else's at the same time; each with why, and with one that is alike and ready.

use std::collections::BTreeSet;
use std::sync::Arc;

use serde::Serialize;

use super::case::Case;
use super::expected::{expected_late, late};
use super::fit::{Answer, Check, Fit, Rule, Verdict};
use super::fit_judge::Setting;
use super::fit_memo::geometry;
use super::fit_ready::{left, spent};
use super::id::Id;
use super::scan::{kept_back, pack_kept_back};
use super::state::{Asset, Stage, State};
use super::time::{Time, told_day};

/// So many parts are told in a sentence.
const MOST_TOLD: usize = 3;

/// A part that was chosen for a case and that the case does not have.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lost {
    pub asset: Id,
    /// Why, in sentences.
    pub why: String,
    /// The same in a few words, for a wall: "T-1 is out at case K-2".
    pub brief: String,
    /// The other case that has it, or is to have it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    /// One of the same model and measures that is ready and nobody else's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instead: Option<Id>,
}

/// Why the configuration that was chosen for a case does not do any more.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fails {
    pub sentence: String,
    /// In a few words, for a wall.
    pub brief: String,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lost: Vec<Lost>,
}

/// One thing that stands against a part: the sentence, the few words, and the case that has it.
type Against = (String, String, Option<Id>);

/// What stands against a part of what was chosen for a case. Nothing here changes with the clock but by a date: whether
/// a part comes in time is told by its set.
fn against(state: &State, case: &Case, asset: &Asset, now: Time) -> Vec<Against> {
    let called = asset.called();
    let standing = format!("{called} is {}", asset.standing().words());
    let mut all: Vec<Against> =
        kept_back(state, asset).map(|problem| (problem.found, standing.clone(), None)).collect();
    // What is at the case, or came back from it, was had.
    if case.parts.contains_key(&asset.asset) {
        return all;
    }
    all.extend(
        pack_kept_back(state, asset).map(|why| (why, format!("{called} lies in a pack on hold"), None)),
    );
    all.extend(another_has(state, case, asset));
    if asset.retired.is_none() && spent(state, asset) {
        let what = match left(state, asset) {
            (Some(0), _) => "gone through as many cycles as its maker allows",
            _ => "been used as often as its maker allows",
        };
        all.push((format!("{called} has {what}."), format!("{called} has no life left"), None));
    }
    let by = case.start.max(now).date(state.zone);
    let until = asset.sterile_until.filter(|until| asset.stage == Stage::Ready && by > *until);
    all.extend(until.map(|until| {
        let until = told_day(until);
        let found = format!("{called} is sterile until {until}, and the case is on {}.", told_day(by));
        (found, format!("{called} will be past its date"), None)
    }));
    all
}

/// The other case that has a part at the same time: it is out there, was chosen there later, or lies in a set that is kept
/// for it since this one had it last.
fn another_has(state: &State, case: &Case, asset: &Asset) -> Option<Against> {
    let called = asset.called();
    let out = |other: &&Case| other.parts.get(&asset.asset).is_some_and(|part| part.out);
    if let Some(other) = state.overlapping(case).find(out) {
        let words = format!("{called} is out at case {}", other.case);
        return Some((format!("{words}."), words, Some(other.case.clone())));
    }
    if let Some(other) = state.chooser(asset, case) {
        let words = format!("{called} was chosen for case {} since", other.case);
        return Some((format!("{words}."), words, Some(other.case.clone())));
    }
    let set = asset.seat.as_ref().map(|seat| &seat.set)?;
    let other = state.keeper(set, case)?;
    let found = format!("{called} lies in set {set}, which is kept for case {}.", other.case);
    Some((found, format!("{called} is kept for case {}", other.case), Some(other.case.clone())))
}

/// A part of the same model and measures that is ready, with life left, and no other case's at that time. What was tried
/// with other parts is alike none.
fn alike<'a>(
    state: &'a State,
    case: &Case,
    lost: &Asset,
    (opened, now): (&BTreeSet<&Id>, Time),
) -> Option<&'a Asset> {
    let by = case.start.max(now);
    let tried: BTreeSet<&Id> =
        state.tried.values().flat_map(|tried| tried.it.parts.iter().flatten()).collect();
    if tried.contains(&lost.asset) {
        return None;
    }
    let is_alike = |asset: &&Arc<Asset>| {
        asset.model == lost.model
            && asset.asset != lost.asset
            && asset.measured == lost.measured
            && asset.ready(state, now)
            && pack_kept_back(state, asset).is_none()
            && !asset.past_date(state, by)
            && !spent(state, asset)
            && !tried.contains(&asset.asset)
            && !case.parts.contains_key(&asset.asset)
            && !case.claims(&asset.asset)
            && another_has(state, case, asset).is_none()
            && state.chosen_elsewhere([&asset.asset], None, case).is_empty()
    };
    let all = state.assets.values().filter(is_alike);
    // One that opens no further set first.
    let opens = |asset: &Asset| {
        let set = asset.seat.as_ref().map(|seat| &seat.set);
        set.is_some_and(|set| !case.promised.contains(set) && !opened.contains(set))
    };
    all.min_by_key(|asset| opens(asset)).map(|asset| &**asset)
}

/// Why a part of what was chosen for a case is not had, in the first sentence.
pub(super) fn why_lost(state: &State, case: &Case, asset: &Asset, now: Time) -> Option<String> {
    let chosen = case.chosen.as_ref().filter(|chosen| chosen.configuration.names(&asset.asset));
    let against = chosen.map(|_| against(state, case, asset, now))?;
    against.into_iter().next().map(|(found, ..)| found)
}

/// What a case lacks of what was chosen for it.
pub fn lost(state: &State, case: &Case, now: Time) -> Vec<Lost> {
    let pieces = case.chosen.iter().flat_map(|chosen| chosen.pieces()).filter_map(|it| state.asset(it));
    // The sets that were named already for what is alike: nobody opens a set for each part.
    let mut opened: BTreeSet<&Id> = BTreeSet::new();
    let one = |asset: &Arc<Asset>| {
        let against = against(state, case, asset, now);
        let (_, brief, _) = against.first()?;
        let (brief, other) = (brief.clone(), against.iter().find_map(|(.., case)| case.clone()));
        let found: Vec<String> = against.into_iter().map(|(found, ..)| found).collect();
        let instead = alike(state, case, asset, (&opened, now));
        opened.extend(instead.and_then(|other| other.seat.as_ref()).map(|seat| &seat.set));
        let ready = instead.map_or_else(String::new, |other| {
            let set = other.seat.as_ref().map(|seat| format!(" in set {}", seat.set)).unwrap_or_default();
            format!(" Alike and ready: {}{set}.", other.asset)
        });
        let why = format!("{}{ready}", found.join(" "));
        let instead = instead.map(|other| other.asset.clone());
        Some(Lost { asset: asset.asset.clone(), why, brief, case: other, instead })
    };
    pieces.filter_map(one).collect()
}

/// Why the configuration that was chosen for a case does not do any more: by its sizes, or since a part is not there.
pub fn chosen_fails(state: &State, case: &Case, now: Time) -> Option<Fails> {
    case.chosen.as_ref()?;
    let (answer, told) = geometry(state, case, now)?;
    let lost = lost(state, case, now);
    let mut sentences: Vec<String> = Vec::new();
    if answer != Answer::Fits {
        sentences.push(format!("The chosen configuration: {told}"));
    }
    if !lost.is_empty() {
        let lacks = match lost.len() {
            1 => "a part".to_string(),
            n => format!("{n} parts"),
        };
        let more = match lost.len().saturating_sub(MOST_TOLD) {
            0 => String::new(),
            n => format!(" And {n} more."),
        };
        let told: Vec<&str> = lost.iter().take(MOST_TOLD).map(|it| it.why.as_str()).collect();
        sentences.push(format!("The chosen configuration lacks {lacks}. {}{more}", told.join(" ")));
    }
    let brief = match (answer, lost.as_slice()) {
        (Answer::Stop, _) => "as chosen, gas can't leave".to_string(),
        (_, [one]) => one.brief.clone(),
        (_, [one, more @ ..]) => format!("{}, and {} more", one.brief, more.len()),
        (Answer::Fits, []) => return None,
        (Answer::NotKnown | Answer::DoesNotFit, []) => "as chosen, its fit is not certain".to_string(),
    };
    Some(Fails { sentence: sentences.join(" "), brief, lost })
}

/// The parts that were chosen for a case and are on their way, but for those of these sets, which tell of themselves, and
/// for what is lost anyway; and whether one of them comes only after the case begins.
pub fn waits_for(
    state: &State,
    case: &Case,
    (sets, lost): (&[Id], &[Lost]),
    now: Time,
) -> (Vec<String>, bool) {
    let pieces = case.chosen.iter().flat_map(|chosen| chosen.pieces()).filter_map(|it| state.asset(it));
    let by_set = |asset: &Asset| asset.seat.as_ref().is_some_and(|seat| sets.contains(&seat.set));
    let is_lost = |asset: &Asset| lost.iter().any(|it| it.asset == asset.asset);
    let others = pieces.filter(|it| !by_set(it) && !is_lost(it) && !case.parts.contains_key(&it.asset));
    let mut is_late = false;
    let told = |asset: &Arc<Asset>| {
        let late = late(state, case, asset, now);
        is_late |= late.is_some();
        let then = late.map_or_else(String::new, |at| format!(" {}", expected_late(state, at, now)));
        on_its_way(state, asset, now).map(|told| format!("{told}{then}"))
    };
    let all = others.filter_map(told).collect();
    (all, is_late)
}

fn on_its_way(state: &State, asset: &Asset, now: Time) -> Option<String> {
    match (&asset.in_load, asset.cooling_until(now)) {
        (Some(load), _) => Some(format!("{} is in load {load}.", asset.called())),
        (None, Some(cool)) => {
            Some(format!("{} is sterile and cooling until {}.", asset.called(), cool.told(state.zone)))
        }
        (None, None) if asset.stage != Stage::Ready => {
            Some(format!("{} is {}.", asset.called(), asset.stage.words()))
        }
        (None, None) => None,
    }
}

/// What parts of a configuration are not to be had, beside the rules of their sizes: retired, missing, in repair, on hold,
/// or another case's. The geometry is what it is, so this warns.
pub fn not_had(setting: &Setting, fit: &Fit) -> Vec<Check> {
    let mut all = Vec::new();
    for (n, part) in fit.parts.iter().enumerate() {
        let Some(asset) = part.asset.as_ref().and_then(|id| setting.state.assets.get(id)) else { continue };
        let mut sentences: Vec<String> =
            kept_back(setting.state, asset).map(|problem| problem.found).collect();
        sentences.extend(of_another(setting, asset));
        all.extend(sentences.into_iter().map(|it| Check::of(Rule::Had, Verdict::Warns, vec![n], it)));
    }
    all
}

/// The other case that a part is out at or chosen for: at the same time as this one, or at any where no case is named.
fn of_another(setting: &Setting, asset: &Asset) -> Option<String> {
    let state = setting.state;
    let own = |case: &&Case| setting.case.is_some_and(|of| of.case == case.case);
    let turnaround = state.policy.turnaround_minutes;
    let meets = |other: &&Case| setting.case.is_none_or(|case| case.overlaps(other, turnaround));
    let mut others = state.open_cases().filter(|other| !own(other) && meets(other));
    let other = others.find(|other| {
        other.claims(&asset.asset) || other.parts.get(&asset.asset).is_some_and(|part| part.out)
    })?;
    let how = match other.parts.get(&asset.asset).is_some_and(|part| part.out) {
        true => "out at",
        false => "chosen for",
    };
    let start = other.start.told(state.zone);
    Some(format!("{} is {how} case {}, which starts on {start}.", asset.called(), other.case))
}
