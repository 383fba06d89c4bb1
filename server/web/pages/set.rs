//! One set: is it whole, where is it, what is wrong with it?

use askama::Template;
use axum::extract::{Path, Query, State as Reach};
use axum::response::Response;

use super::say::{Say, of_asset, of_set};
use super::shared::{Done, Page, capital, count, listed, segment, when};
use super::{theatre, told, words};
use crate::domain::asset::Cause;
use crate::domain::event::{Entry, Thing};
use crate::domain::id::Id;
use crate::domain::readiness::{due, set_status};
use crate::domain::set::SetState;
use crate::domain::state::{Asset, Stage, State};
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const MOST_ENTRIES: usize = 20;

pub struct Member {
    pub href: String,
    pub asset: String,
    pub name: String,
    pub position: u32,
    pub place: String,
    pub say: Say,
    pub due: Vec<String>,
    /// The model, by which a new piece of the same kind takes its place.
    pub model: String,
    pub holds: Vec<String>,
}

pub struct Line {
    pub line: String,
    pub wants: String,
    pub needed: u32,
    pub essential: bool,
    pub pack: String,
    pub lacks: usize,
    pub members: Vec<Member>,
    /// So many of it come from the shelf: it has no parts of its own.
    pub shelf: u32,
}

pub struct Past {
    pub seq: u64,
    pub at: String,
    /// When it was written, where that was not when it happened.
    pub recorded: String,
    pub by: String,
    pub what: String,
    /// It tells of parts that were scanned, of which another may have been meant.
    pub scanned: bool,
}

#[derive(Template)]
#[template(path = "set.html")]
pub struct SetPage {
    pub page: Page,
    pub set: String,
    pub name: String,
    pub sheet: String,
    pub heading: String,
    pub say: Say,
    pub lines: Vec<Line>,
    pub causes: Vec<(&'static str, String)>,
    pub models: Vec<(String, String)>,
    pub history: Vec<Past>,
    pub hold_kinds: Vec<&'static str>,
    /// The cases at which its parts are out, or were missed.
    pub at_cases: Vec<(String, String)>,
    /// Its parts that are not accounted for: they count in no line.
    pub lost: Vec<Member>,
    /// Its parts that nobody washes.
    pub sealed: Vec<super::sealed_box::Sealed>,
    pub trouble: String,
}

fn member(state: &State, asset: &Asset, now: Time) -> Member {
    let hold = |id: &Id| state.holds.get(id).map(|hold| hold.reason.clone()).unwrap_or_default();
    Member {
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        asset: asset.asset.to_string(),
        name: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
        model: asset.model.to_string(),
        position: asset.seat.as_ref().map_or(0, |seat| seat.position),
        place: asset
            .location
            .as_ref()
            // What came back soiled is no longer where it was put away.
            .filter(|_| asset.stage == Stage::Ready)
            .map(|place| place.0.clone())
            .unwrap_or_default(),
        say: of_asset(state, asset, now),
        due: due(state, asset, now)
            .iter()
            .map(|due| format!("due: {} of {} {}", due.found, due.limit, words::due(due.why)))
            .collect(),
        holds: asset
            .holds
            .iter()
            .map(|held| format!("{} hold {}: {}", held.kind.name(), held.hold, hold(&held.hold)))
            .chain(super::visit_notes::doubt(state, asset))
            .collect(),
    }
}

fn lines(state: &State, set: &SetState, now: Time) -> Vec<Line> {
    let status = set_status(state, set, now);
    let sheet = state.sheets.get(&set.count_sheet);
    let all = status.lines.into_iter().map(|line| {
        let on_sheet = sheet.and_then(|sheet| sheet.line(&line.line));
        let present = line.present.iter().filter_map(|id| state.assets.get(id));
        Line {
            wants: on_sheet.map(|on| on.wants()).unwrap_or_default(),
            lacks: (line.needed as usize).saturating_sub(line.present.len() + line.shelf as usize),
            shelf: line.shelf,
            members: present.map(|asset| member(state, asset, now)).collect(),
            needed: line.needed,
            essential: line.essential,
            pack: line.pack,
            line: line.line,
        }
    });
    all.collect()
}

fn at_cases(state: &State, set: &SetState) -> Vec<(String, String)> {
    let of = |asset: &Asset| theatre::at_case(state, &asset.asset).map(Id::to_string);
    let all: std::collections::BTreeSet<String> = state.members(set).filter_map(|asset| of(asset)).collect();
    all.into_iter().map(|case| (format!("/cases/{}", segment(&case)), case)).collect()
}

/// A line that takes one part is lacking whole; of others it is told how many.
fn lacking(line: &Line) -> String {
    if line.needed == 1 {
        line.line.clone()
    } else {
        format!("{} ({} of {})", line.line, line.lacks, line.needed)
    }
}

fn heading(set: &SetState, say: &Say, lines: &[Line]) -> String {
    let lacking: Vec<String> = lines.iter().filter(|line| line.lacks > 0).map(lacking).collect();
    let parts = count(set.seats.len(), "part", "parts");
    let whole = match lacking.is_empty() {
        true => format!("It is whole, {parts}."),
        false => format!("It lacks {}.", listed(&lacking)),
    };
    let words = if say.is("not_ready") || say.is("ready_short") {
        say.words.split(',').next().unwrap_or_default()
    } else {
        &say.words
    };
    format!("Set {} is {words}. {whole}", set.set)
}

impl SetPage {
    pub fn of(visitor: &Visitor, set: &SetState, history: &[Entry], done: Option<u64>) -> SetPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let lines = lines(state, set, now);
        let say = of_set(state, &set_status(state, set, now), now);
        SetPage {
            page: Page::of(visitor, "/sets", format!("/sets/{}", segment(set.set.as_str())), done),
            heading: heading(set, &say, &lines),
            set: set.set.to_string(),
            name: set.name.0.clone(),
            sheet: set.count_sheet.to_string(),
            say,
            lines,
            causes: Cause::ALL
                .iter()
                .map(|cause| (cause.name(), capital(&cause.name().replace('_', " "))))
                .collect(),
            models: state
                .models
                .values()
                .map(|model| (model.model.to_string(), model.name.0.clone()))
                .collect(),
            history: past(state, history, now),
            hold_kinds: super::shared::hold_kinds(visitor.actor.role),
            at_cases: at_cases(state, set),
            lost: state.members(set).filter(|asset| asset.missing).map(|it| member(state, it, now)).collect(),
            sealed: super::sealed_box::sealed(state.members(set).map(|asset| &**asset)),
            trouble: String::new(),
        }
    }
}

/// Who entered it, and who did it, where a sheet of paper names somebody else.
fn by(entry: &Entry) -> String {
    let beside = serde_json::from_value::<crate::domain::event::Beside>(entry.event.clone());
    let late = beside.ok().and_then(|beside| beside.late);
    match late.as_ref().and_then(|late| late.doer()).filter(|doer| *doer != entry.actor) {
        Some(doer) => format!("{doer}, entered by {}", entry.actor),
        None => entry.actor.clone(),
    }
}

/// Entries as rows.
pub fn past(state: &State, entries: &[Entry], now: Time) -> Vec<Past> {
    entries
        .iter()
        .map(|entry| Past {
            seq: entry.seq,
            at: when(state, entry.at, now),
            recorded: match entry.recorded_at.since_s(entry.at) >= 60 {
                true => when(state, entry.recorded_at, now),
                false => String::new(),
            },
            by: by(entry),
            what: told::entry(entry).what,
            scanned: super::wrong_things::is_of_scans(&entry.kind),
        })
        .collect()
}

pub async fn get(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(set): Path<String>,
    Query(done): Query<Done>,
) -> Response {
    let state = visitor.state.clone();
    let Some(found) = state.sets.get(set.as_str()) else {
        return super::problem::not_found("set", &set, "/sets", "All sets");
    };
    let thing = Thing::set(found.set.as_str());
    let history = app.house.history(&state.site, &thing, None, MOST_ENTRIES).await;
    let mut page = SetPage::of(&visitor, found, history.as_deref().unwrap_or_default(), done.seq());
    if let Err(unavailable) = history {
        page.trouble = format!("Its past cannot be shown now (operation {}).", unavailable.operation);
    }
    render(&page)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_set_says_what_it_lacks() {
        let visitor = sample::visitor();
        for (set, says) in [("B2", "Set B2 is"), ("C1", "It lacks")] {
            let found = visitor.state.sets.get(set).unwrap();
            let history = sample::history(&Thing::set(set));
            let text = sample::show(&format!("set-{set}"), &SetPage::of(&visitor, found, &history, None));
            assert!(text.contains(says), "{set}");
        }
    }
}
