//! What a case has with it: its parts as they went out and came back, the sets that it takes, and the choices of its
//! forms.

use std::collections::BTreeSet;

use super::headline::sheet_name;
use super::say::{Say, of_asset, of_set};
use super::shared::{segment, time};
use crate::domain::board::BoardCase;
use crate::domain::case::{Case, Risk, Technique};
use crate::domain::count::CountKept;
use crate::domain::count_other::{OTHERS, OtherState};
use crate::domain::event::{Entry, Event, What};
use crate::domain::exposure::{Back, CasePart, Exposure};
use crate::domain::id::Id;
use crate::domain::issuing::is_ready;
use crate::domain::missing::SearchOutcome;
use crate::domain::readiness::{SetReadiness, set_status};
use crate::domain::set::SetState;
use crate::domain::state::{Asset, State};
use crate::domain::time::Time;

/// How many sets are suggested for each count sheet.
const MOST_SUGGESTED: usize = 4;

/// One part on a case's count sheet.
pub struct PartRow {
    pub asset: String,
    pub href: String,
    pub name: String,
    pub set: String,
    pub line: String,
    pub say: Say,
    pub out: bool,
    /// Not opened at the case: it may go back as it went.
    pub untouched: bool,
    pub used: bool,
    /// What is called across a room: HOT, PAST DATE, ON HOLD.
    pub loud: Vec<String>,
}

/// A part that did not come back, with what is known of the search.
pub struct LostRow {
    pub asset: String,
    /// The part is back; a piece of it is looked for.
    pub piece: bool,
    pub href: String,
    pub name: String,
    /// Since when, and who told of it.
    pub since: String,
    pub outcome: &'static str,
    /// Who named the outcome, and when.
    pub named: String,
}

/// A line without parts that did not all come back.
pub struct LostLine {
    pub case: String,
    pub line: String,
    pub words: String,
    pub outcome: &'static str,
    /// Who named the outcome, and when.
    pub named: String,
}

/// A line without parts, as a form asks for its numbers.
pub struct OtherRow {
    pub n: usize,
    pub line: String,
    pub went_in: String,
    pub came_out: String,
}

/// A set that a case takes, or could take.
pub struct SetRow {
    pub set: String,
    pub href: String,
    pub name: String,
    pub sheet: String,
    pub say: Say,
    pub kept: bool,
    /// Ready to go out for this case.
    pub goes: bool,
}

/// A choice of a form.
pub struct Choice {
    pub value: String,
    pub label: String,
    pub chosen: bool,
}

pub fn name(state: &State, asset: &Asset) -> String {
    state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default()
}

/// The parts that came back from the case with a piece missing, from the entry that closed its count.
pub fn broken(history: &[Entry]) -> BTreeSet<String> {
    let closed = history.iter().filter_map(|entry| {
        match Event::read(&entry.kind, entry.version, entry.event.clone()).ok()?.what {
            What::CountClosed(count) => Some(count.parts),
            _ => None,
        }
    });
    let back = closed.flatten().filter(|part| part.back == Back::Broken);
    back.map(|part| part.asset.to_string()).collect()
}

fn say_of(state: &State, asset: &Asset, part: &CasePart, broken: bool) -> Say {
    let exposure = match part.exposure {
        None => "not opened",
        Some(Exposure::Opened) => "opened",
        Some(Exposure::Used) => "used",
    };
    if part.missing && asset.missing {
        let outcome = state.missing.get(&asset.asset).and_then(|known| known.outcome);
        let told = outcome.map(|outcome| format!(", {}", outcome.words())).unwrap_or_default();
        return Say::new("missing", "stop", format!("not accounted for{told}"));
    }
    match (part.out, part.missing) {
        (true, _) => Say::new("out", "ink", format!("out, {exposure}")),
        (false, true) => Say::plain("missed, found since"),
        (false, false) if broken => Say::new("missing", "stop", "back, a piece is missing"),
        (false, false) if part.exposure.is_none() && state.came_straight(&asset.asset, part.turn) => {
            Say::plain("back, not opened; never stored, so that its next turn began")
        }
        (false, false) => Say::plain(format!("back, {exposure}")),
    }
}

/// In the order of the count sheets, so that paper and screen read alike.
pub fn place(state: &State, asset: &Asset) -> (String, usize, u32, String) {
    let Some(seat) = &asset.seat else { return (String::new(), 0, 0, asset.asset.to_string()) };
    let sheet = state.sets.get(&seat.set).and_then(|set| state.sheets.get(&set.count_sheet));
    let line = sheet.and_then(|sheet| sheet.lines.iter().position(|line| line.line.as_str() == seat.line));
    (seat.set.to_string(), line.unwrap_or(usize::MAX), seat.position, asset.asset.to_string())
}

fn row(state: &State, asset: &Asset, part: Option<&CasePart>, broken: bool, now: Time) -> PartRow {
    let out = part.is_some_and(|part| part.out);
    PartRow {
        asset: asset.asset.to_string(),
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        name: name(state, asset),
        set: asset.seat.as_ref().map(|seat| seat.set.to_string()).unwrap_or_default(),
        line: asset.seat.as_ref().map(|seat| seat.line.clone()).unwrap_or_default(),
        say: part.map_or_else(|| of_asset(state, asset, now), |part| say_of(state, asset, part, broken)),
        out,
        // What was sterilised for immediate use is not counted back into the store.
        untouched: part.is_some_and(|part| part.exposure.is_none()) && state.use_now(asset).is_none(),
        used: part.is_some_and(|part| part.exposure == Some(Exposure::Used)),
        loud: if out { asset.loud(state, now) } else { Vec::new() },
    }
}

/// What went to the case; where nothing has gone yet, what the sets hold that it would take.
pub fn parts(
    state: &State,
    case: &Case,
    sets: &[SetRow],
    broken: &BTreeSet<String>,
    now: Time,
) -> Vec<PartRow> {
    let mut all: Vec<(&Asset, Option<&CasePart>)> = Vec::new();
    for (asset, part) in case.parts.iter() {
        all.extend(state.assets.get(asset).map(|asset| (&**asset, Some(part))));
    }
    if all.is_empty() {
        let kept = sets.iter().filter(|set| set.kept).filter_map(|set| state.sets.get(set.set.as_str()));
        all.extend(kept.flat_map(|set| state.members(set)).map(|asset| (&**asset, None)));
    }
    all.sort_by_key(|(asset, _)| place(state, asset));
    all.into_iter()
        .map(|(asset, part)| row(state, asset, part, broken.contains(asset.asset.as_str()), now))
        .collect()
}

/// The parts that are missed from it, those without an outcome first.
pub fn lost(state: &State, case: &Case, now: Time) -> Vec<LostRow> {
    let missed = state.missing.values().filter(|known| known.case.as_ref() == Some(&case.case));
    let mut open: Vec<_> = missed.filter(|known| known.over_at.is_none()).collect();
    open.sort_by_key(|known| (known.outcome.is_some(), known.since));
    let say = |known: &&std::sync::Arc<crate::domain::missing::MissingState>| LostRow {
        asset: known.asset.to_string(),
        piece: !state.assets.get(&known.asset).is_some_and(|asset| asset.missing),
        href: format!("/assets/{}", segment(known.asset.as_str())),
        name: state.assets.get(&known.asset).map(|asset| name(state, asset)).unwrap_or_default(),
        since: reported(state, known.since, Some(&known.told_by), now),
        outcome: known.outcome.map(|outcome| outcome.words()).unwrap_or_default(),
        named: named(state, known.named_by.as_deref(), known.named_at, now),
    };
    open.iter().map(say).collect()
}

/// Since when something is not accounted for, and who told of it: "14:16, told by charge-1".
pub fn reported(state: &State, since: Time, by: Option<&str>, now: Time) -> String {
    let by = by.map(|by| format!(", told by {by}")).unwrap_or_default();
    format!("{}{by}", time(state, since, now))
}

/// Who named the outcome of a search, and when: ", named by charge-1, 15:02". Nothing where nobody did.
pub fn named(state: &State, by: Option<&str>, at: Option<Time>, now: Time) -> String {
    match (by, at) {
        (Some(by), Some(at)) => format!(", named by {by}, {}", time(state, at, now)),
        _ => String::new(),
    }
}

/// Whether the outcome of a search is still to be named: only then is it loud.
pub fn searched(lost: &[LostRow], lines: &[LostLine]) -> bool {
    lost.iter().any(|part| part.outcome.is_empty()) || lines.iter().any(|line| line.outcome.is_empty())
}

/// The lines without parts that did not all come back from it.
pub fn lines_lost(state: &State, case: &Case, now: Time) -> Vec<LostLine> {
    let line = |it: &OtherState| LostLine {
        case: case.case.to_string(),
        line: it.line.0.clone(),
        words: format!(
            "{}: {} of {} not back since {}",
            it.line.0,
            it.lacks(),
            it.went_in.unwrap_or_default(),
            it.closed_at.map(|at| reported(state, at, it.told_by.as_deref(), now)).unwrap_or_default()
        ),
        outcome: it.outcome.map(|outcome| outcome.words()).unwrap_or_default(),
        named: named(state, it.named_by.as_deref(), it.named_at, now),
    };
    case.not_back().map(line).collect()
}

/// The lines without parts: those that every case is asked for, and those that this one has beside them.
pub fn others(case: &Case) -> Vec<OtherRow> {
    let of = |name: &str| case.others.iter().find(|it| it.line.as_str() == name);
    let own = case.others.iter().map(|it| it.line.as_str()).filter(|name| !OTHERS.contains(name));
    let number = |it: Option<u32>| it.map(|number| number.to_string()).unwrap_or_default();
    let row = |(n, name): (usize, &str)| OtherRow {
        n,
        line: name.to_string(),
        went_in: number(of(name).and_then(|it| it.went_in)),
        came_out: number(of(name).and_then(|it| it.came_out)),
    };
    OTHERS.into_iter().chain(own).enumerate().map(row).collect()
}

/// A count that the case keeps, in one sentence: who, when, what was counted, what lacked.
pub fn kept(state: &State, it: &CountKept, now: Time) -> String {
    let parts = super::shared::count(it.counted as usize, "part", "parts");
    let mut all = vec![format!("{parts} there")];
    let names = |ids: &[Id]| ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    if !it.lacked.is_empty() {
        all.push(format!("not there: {}", names(&it.lacked)));
    }
    if !it.broken.is_empty() {
        all.push(format!("a piece missing: {}", names(&it.broken)));
    }
    all.extend(it.others.iter().map(super::told_case::other));
    format!("{}, {} by {}: {}.", it.moment.name(), time(state, it.at, now), it.by, all.join("; "))
}

fn grade(status: SetReadiness) -> u8 {
    match status {
        SetReadiness::Ready => 0,
        SetReadiness::ReadyShort => 1,
        SetReadiness::InTurn => 2,
        SetReadiness::Out => 3,
        SetReadiness::Held | SetReadiness::NotReady => 4,
    }
}

fn set_row(state: &State, set: &SetState, kept: bool, now: Time) -> SetRow {
    let status = set_status(state, set, now);
    SetRow {
        set: set.set.to_string(),
        href: format!("/sets/{}", segment(set.set.as_str())),
        name: set.name.0.clone(),
        sheet: sheet_name(state, &set.count_sheet),
        say: of_set(state, &status, now),
        kept,
        goes: is_ready(status.status),
    }
}

/// The sets that are kept for a case, then those that fit a need of it and are free, the best first.
pub fn sets(state: &State, case: &Case, now: Time) -> Vec<SetRow> {
    let kept = case.promised.iter().filter_map(|set| state.sets.get(set));
    let mut all: Vec<SetRow> = kept.map(|set| set_row(state, set, true, now)).collect();
    let mut needs = case.needs.clone();
    needs.dedup();
    for need in &needs {
        let free = state.sets.values().filter(|set| {
            set.count_sheet == *need
                && !case.promised.contains(&set.set)
                && state.taken_elsewhere(set, case).is_empty()
        });
        let mut free: Vec<_> = free.map(|set| (grade(set_status(state, set, now).status), set)).collect();
        free.retain(|(grade, _)| *grade < 4);
        free.sort_by_key(|(grade, set)| (*grade, set.set.clone()));
        all.extend(free.into_iter().take(MOST_SUGGESTED).map(|(_, set)| set_row(state, set, false, now)));
    }
    all
}

/// What the board says of a case, where it is one of today or tomorrow.
pub fn on_board<'a>(board: &'a crate::domain::board::Board, case: &Id) -> Option<&'a BoardCase> {
    board.cases.iter().find(|known| known.case == *case)
}

pub fn techniques(chosen: Option<Technique>) -> Vec<Choice> {
    let all = Technique::ALL.into_iter().map(|it| (it.name(), it.words(), chosen == Some(it)));
    all.map(choice).collect()
}

pub fn risks(chosen: Risk) -> Vec<Choice> {
    Risk::ALL.into_iter().map(|it| (it.name(), it.words(), chosen == it)).map(choice).collect()
}

fn choice((value, label, chosen): (&str, &str, bool)) -> Choice {
    Choice { value: value.into(), label: super::shared::capital(label), chosen }
}

/// A list of count sheets for each need, and one more that may stay empty.
pub fn needs(state: &State, needed: &[Id]) -> Vec<Vec<Choice>> {
    let rows = needed.iter().map(Some).chain([None, None]).take(needed.len().max(1) + 1);
    let sheets = |need: Option<&Id>| {
        let all = state.sheets.values().map(|sheet| Choice {
            value: sheet.count_sheet.to_string(),
            label: sheet.name.0.clone(),
            chosen: need == Some(&sheet.count_sheet),
        });
        all.collect()
    };
    rows.map(sheets).collect()
}

/// The outcomes of a search that a person may name; what is found has a button of its own, with its place.
pub fn outcomes() -> Vec<(&'static str, String)> {
    let named = SearchOutcome::ALL.into_iter().filter(|outcome| *outcome != SearchOutcome::Found);
    named.map(|outcome| (outcome.name(), super::shared::capital(outcome.words()))).collect()
}

/// The case at which a set, or some of it, is out.
pub fn out_at<'a>(state: &'a State, set: &SetState) -> Option<&'a Id> {
    let out_of = |case: &&Case| {
        state.members(set).any(|asset| case.parts.get(&asset.asset).is_some_and(|part| part.out))
    };
    state.open_cases().find(out_of).map(|case| &case.case)
}

/// The case at which a part is out, or at which it was missed.
pub fn at_case<'a>(state: &'a State, asset: &Id) -> Option<&'a Id> {
    let out = state.open_cases().find(|case| case.parts.get(asset).is_some_and(|part| part.out));
    let missed = || state.missing.get(asset).filter(|known| known.over_at.is_none())?.case.as_ref();
    out.map(|case| &case.case).or_else(missed)
}
