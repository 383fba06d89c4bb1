//! The board in a sentence, the worst fact first: what is not accounted for, what an emergency would not find, which
//! case lacks what.

use std::cmp::Reverse;

use super::board::ReserveRow;
use super::board_say::{follows, is_lacking};
use super::say::Say;
use super::shared::{capital, count, listed, some_of, time};
use crate::domain::board::{Board, BoardCase, BoardLine, BoardMissing, BoardReserve, BoardSet, Equipped};
use crate::domain::id::Id;
use crate::domain::readiness::{SetReadiness, SetStatus, set_status};
use crate::domain::state::State;
use crate::domain::time::Time;

/// A count sheet as people call it: its name.
pub fn sheet_name(state: &State, sheet: &Id) -> String {
    state.sheets.get(sheet).map_or_else(|| sheet.to_string(), |sheet| sheet.name.0.clone())
}

/// What a part is called where it matters that a person finds it: its family and its id.
pub fn part_name(state: &State, asset: &Id) -> String {
    let family = state.assets.get(asset).and_then(|asset| state.model(&asset.model));
    let family = family.map(|model| model.family.words()).unwrap_or_default();
    // An id that was made from the family says it already.
    if asset.as_str().starts_with(&family.replace(' ', "-")) {
        asset.to_string()
    } else {
        format!("{family} {asset}")
    }
}

/// The same where a line begins with it; an id is told as it is.
pub fn part_title(state: &State, asset: &Id) -> String {
    let name = part_name(state, asset);
    if name == asset.as_str() { name } else { capital(&name) }
}

/// A room as people say it, whether or not its name says that it is one.
pub fn room_words(room: &str) -> String {
    let says_it = ["room", "theatre", "operating", "suite", "ward", "clinic"];
    if room.is_empty() || says_it.iter().any(|word| room.to_lowercase().starts_with(word)) {
        room.into()
    } else {
        format!("room {room}")
    }
}

pub fn words_of(number: usize) -> String {
    let small = ["none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];
    small.get(number).map_or_else(|| number.to_string(), |word| (*word).to_string())
}

/// So many of the cases that cannot be equipped are named, with the reason.
const TOLD: usize = 2;

/// How many of the losses the heading names; the others stand in the list below it.
pub const NAMED: usize = 2;

/// What is missed without a named outcome, in words. What may have stayed in a patient comes first, the latest before the
/// others, since that patient may still be in the house; then what was missed without a case.
fn missing(state: &State, board: &Board, now: Time) -> Option<String> {
    let part = |it: &BoardMissing| {
        let piece = if it.piece { "a piece of " } else { "" };
        let model = state.assets.get(&it.asset).and_then(|asset| state.model(&asset.model));
        let model = model.map(|model| format!(" ({})", model.name.0)).unwrap_or_default();
        let case = it.case.as_ref().map(|case| format!(" of case {case}")).unwrap_or_default();
        let since = time(state, it.since, now);
        let told = format!("{piece}{}{model}{case}, since {since}", part_name(state, &it.asset));
        ((it.case.is_none(), Reverse(it.since)), told)
    };
    let line = |it: &BoardLine| {
        let since = time(state, it.since, now);
        ((false, Reverse(it.since)), format!("{} {} of case {}, since {since}", it.lacks, it.line, it.case))
    };
    let parts = board.not_accounted_for.iter().filter(|part| part.loud).map(part);
    let lines = board.lines_not_back.iter().filter(|line| line.loud).map(line);
    let only_parts = !board.lines_not_back.iter().any(|line| line.loud);
    let mut all: Vec<_> = parts.chain(lines).collect();
    all.sort();
    let number = all.len();
    let mut told: Vec<String> = all.into_iter().take(NAMED).map(|(_, told)| told).collect();
    if number > NAMED {
        told.push(format!("and {} more", words_of(number - NAMED)));
    }
    let what = if only_parts { "parts" } else { "parts and lines" };
    match number {
        0 => None,
        1 => Some(format!("Not accounted for: {}.", told.join(""))),
        _ => Some(format!("{number} {what} are not accounted for: {}.", told.join("; "))),
    }
}

/// When the next set of a count sheet has cooled, as far as that is known.
fn next_ready(state: &State, sets: &[BoardSet], sheet: &Id, now: Time) -> String {
    let coming = sets.iter().filter(|set| set.count_sheet == *sheet && set.status == SetReadiness::InTurn);
    let at = coming.filter_map(|set| set.ready_at).min();
    at.map(|at| format!(" until {}", time(state, at, now))).unwrap_or_default()
}

pub fn undercut(reserve: &BoardReserve) -> bool {
    reserve.ready < reserve.minimum
}

pub fn reserve_row(state: &State, reserve: &BoardReserve) -> ReserveRow {
    ReserveRow {
        name: sheet_name(state, &reserve.count_sheet),
        say: match undercut(reserve) {
            true => Say::new("not_ready", "stop", "below minimum"),
            false => Say::new("ready", "ready", "ready"),
        },
        ready: reserve.ready,
        minimum: reserve.minimum,
    }
}

/// The reserves for emergencies that are not kept, those of which no set is ready first.
pub fn reserves(state: &State, board: &Board, now: Time) -> Vec<String> {
    let short = board.reserves.iter().filter(|reserve| undercut(reserve));
    let (none, few): (Vec<_>, Vec<_>) = short.partition(|reserve| reserve.ready == 0);
    let until = |reserve: &BoardReserve| next_ready(state, &board.sets, &reserve.count_sheet, now);
    let say = |reserve: &&BoardReserve| {
        let name = sheet_name(state, &reserve.count_sheet);
        let until = until(reserve);
        match reserve.ready {
            0 => format!("“{name}”{until}"),
            n => format!(
                "Only {} of {} emergency sets of “{name}” {}{until}.",
                words_of(n as usize),
                words_of(reserve.minimum as usize),
                if n == 1 { "is ready" } else { "are ready" }
            ),
        }
    };
    let none: Vec<String> = none.iter().map(say).collect();
    let mut all: Vec<String> = few.iter().map(say).collect();
    if !none.is_empty() {
        all.insert(0, format!("No set for an emergency: {}.", listed(&none)));
    }
    all
}

/// What an essential line has too few of: "no telescope", "only 1 of 2 cap blank".
fn lacking(status: &SetStatus) -> Vec<String> {
    let short =
        status.lines.iter().filter(|line| line.essential && (line.present.len() as u32) < line.needed);
    let told = short.map(|line| match line.present.len() {
        0 => format!("no {}", line.line),
        here => format!("only {here} of {} {}", line.needed, line.line),
    });
    told.collect()
}

/// What a case lacks, in a few words: "lacks telescope", "set B2 is on hold", "no set is free".
pub fn lacks(state: &State, case: &BoardCase, now: Time) -> String {
    if case.should_have_begun {
        return "should have begun, and nothing was issued to it".into();
    }
    let told = follows(case);
    let because = told.and_then(|told| told.because.as_ref()).or(case.because.as_ref());
    match because.map(String::as_str) {
        Some("no set is free") => return "has no set that is free".into(),
        Some("needs not known") => return "has needs that nobody knows".into(),
        Some(because) if case.robbed_by.is_some() || case.chosen_fails.is_none() => {
            return format!("is not equipped: {because}");
        }
        Some(_) | None => {}
    }
    if let Some(fails) = &case.chosen_fails {
        let lost: Vec<String> = fails.lost.iter().map(|lost| lost.asset.to_string()).collect();
        return match lost.as_slice() {
            [] => "has a chosen configuration that does not do".into(),
            _ => format!("has not what was chosen for it, {}", some_of(&lost, 2)),
        };
    }
    for set in &case.sets {
        let Some(set) = state.sets.get(set) else { continue };
        let status = set_status(state, set, now);
        match status.status {
            SetReadiness::NotReady if status.missing.is_empty() => {
                return format!("has an empty set {}", set.set);
            }
            SetReadiness::NotReady => return format!("has {}", listed(&lacking(&status))),
            SetReadiness::Held => return format!("has only set {}, which is on hold", set.set),
            SetReadiness::Out => return format!("has only set {}, which is out until too late", set.set),
            SetReadiness::InTurn | SetReadiness::ReadyShort | SetReadiness::Ready => {}
        }
    }
    match case.sets.first() {
        Some(_) => "has no set that is ready in time".into(),
        None => "has no set that is free".into(),
    }
}

/// Of these cases, how many have what they need, and what the others lack.
pub fn of_cases(state: &State, cases: &[&BoardCase], day: &str, now: Time) -> String {
    let lacking: Vec<&BoardCase> = cases.iter().copied().filter(|case| is_lacking(case)).collect();
    let is_ready = |case: &BoardCase| case.status == Equipped::Ready && !is_lacking(case);
    let ready = cases.iter().filter(|case| is_ready(case)).count();
    let all = cases.len();
    let at = |case: &BoardCase| case.start.clock(state.zone);
    if all == 0 {
        return format!("No case is planned for {day}.");
    }
    let mut text = match (ready, all) {
        (1, 1) => format!("The one case of {day} has its sets"),
        (0, 1) => format!("The one case of {day} does not have its sets yet"),
        (0, _) => format!("None of {day}'s {} cases has its sets yet", words_of(all)),
        (2, 2) => format!("Both cases of {day} have their sets"),
        (n, _) if n == all => format!("All {} cases of {day} have their sets", words_of(all)),
        (1, _) => format!("One of {day}'s {} cases has its sets", words_of(all)),
        (n, _) => {
            format!("{} of {day}'s {} cases have their sets", capital(&words_of(n)), words_of(all))
        }
    };
    // The worst first: what has no set, then what waits for one.
    for case in lacking.iter().take(TOLD) {
        text.push_str(&format!("; the {} {}", at(case), lacks(state, case, now)));
    }
    match lacking.len().saturating_sub(TOLD) {
        0 => {}
        1 => text.push_str("; one more is not equipped"),
        n => text.push_str(&format!("; {} more are not equipped", words_of(n))),
    }
    let waits = cases.iter().filter(|case| !is_ready(case) && !is_lacking(case));
    let waiting: Vec<String> = waits.map(|case| at(case)).collect();
    if !waiting.is_empty() {
        let verb = if waiting.len() == 1 { "waits" } else { "wait" };
        text.push_str(&format!("; the {} {verb} for reprocessing", listed(&waiting)));
    }
    format!("{text}.")
}

/// What of tomorrow cannot be equipped, since it is today that something can be done about it.
fn of_tomorrow(state: &State, board: &Board, now: Time) -> Option<String> {
    let cases = board.cases.iter().filter(|case| !is_today(state, case, now) && is_lacking(case));
    let all: Vec<&BoardCase> = cases.collect();
    let told = all.iter().take(TOLD).map(|case| {
        let at = case.start.clock(state.zone);
        format!("the {at} {}", lacks(state, case, now))
    });
    let mut told: Vec<String> = told.collect();
    match all.len().saturating_sub(TOLD) {
        0 => {}
        1 => told.push("one more is not equipped".into()),
        n => told.push(format!("{} more are not equipped", words_of(n))),
    }
    (!told.is_empty()).then(|| format!("Tomorrow {}.", told.join("; ")))
}

pub fn ready_sets(board: &Board) -> String {
    let ready = board.sets.iter().filter(|set| crate::domain::issuing::is_ready(set.status)).count();
    let verb = if ready == 1 { "is" } else { "are" };
    format!("{ready} of {} {verb} ready.", count(board.sets.len(), "set", "sets"))
}

pub fn is_today(state: &State, case: &BoardCase, now: Time) -> bool {
    // What should have begun yesterday evening stands among today's.
    case.start.date(state.zone) <= now.date(state.zone)
}

/// The heading of the board.
pub fn headline(state: &State, board: &Board, now: Time) -> String {
    if board.sets.is_empty() {
        return "No set is built yet, so that no case can be equipped.".into();
    }
    let mut all: Vec<String> = missing(state, board, now).into_iter().collect();
    all.extend(reserves(state, board, now));
    let today: Vec<&BoardCase> = board.cases.iter().filter(|case| is_today(state, case, now)).collect();
    all.push(of_cases(state, &today, "today", now));
    all.extend(of_tomorrow(state, board, now));
    all.join(" ")
}
