//! The board and the wall: what is ready, what is missing, when?

use super::alerts::Band;
use super::board_brief::{aloud, brief, with_check};
use super::board_say::{named, of_case};
use super::expected;
use super::folded::{Folded, ahead, folded};
use super::handover_open::Item;
use super::headline::{headline, is_today, part_title, ready_sets, reserve_row, room_words, sheet_name};
use super::requests::{self, ActRow, RequestRow};
use super::say::{Say, of_set};
use super::shared::{Done, Page, listed, segment, time};
use super::theatre;
use super::unfollowed;
use crate::app::board::Shown;
use crate::app::house::operation;
use crate::domain::board::{BoardCase, BoardLine, BoardMissing, BoardSet};
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::readiness::set_status;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::api::board::tagged;
use crate::web::visitor::Visitor;
use askama::Template;
use axum::body::Body;
use axum::extract::{Query, State as Reach};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

pub struct SetRow {
    pub href: String,
    pub set: String,
    pub name: String,
    pub say: Say,
    pub why: String,
}

pub struct CaseRow {
    pub href: String,
    pub case: String,
    pub start: String,
    pub room: String,
    /// The names of the count sheets that it needs.
    pub needs: String,
    pub say: Say,
    pub sets: Vec<(String, String)>,
    pub why: Vec<String>,
    pub acts: Vec<ActRow>,
    pub requests: Vec<RequestRow>,
    /// The same without reasons, for a wall that anybody passes: no patient, no indication.
    pub brief: String,
}

pub struct ReserveRow {
    pub name: String,
    pub say: Say,
    pub ready: u32,
    pub minimum: u32,
}

pub struct MissingRow {
    pub href: String,
    pub called: String,
    pub case: String,
    /// Since when, and who told of it.
    pub since: String,
    /// Who named the outcome, and when.
    pub named: String,
    pub loud: bool,
    pub say: Say,
}

/// What the board and the wall both show.
pub struct Facts {
    pub heading: String,
    pub ready: String,
    pub missing: Vec<MissingRow>,
    pub today: Vec<CaseRow>,
    pub tomorrow: Vec<CaseRow>,
    /// The cases of tomorrow, those that stand alike together.
    pub ahead: Vec<Folded>,
    pub reserves: Vec<ReserveRow>,
    pub sets: Vec<SetRow>,
    /// The names of the sets that are simply ready: a wall has no room for a row of each.
    pub ready_sets: Vec<String>,
    /// The others, those that stand alike together.
    pub folded: Vec<Folded>,
    pub ready_say: Say,
    /// How many parts are missed without a named outcome.
    pub loud: usize,
    pub as_of: String,
    /// The entry after which it was first so.
    pub entry: u64,
    /// Emergencies to be followed up, and what waits too long at the sink.
    pub follow: Vec<Item>,
    pub late: Vec<Item>,
    /// Messages of the schedule that wait for a person.
    pub schedule_waits: usize,
    /// What the forecast does not know.
    pub not_known: Vec<String>,
    pub zone: &'static str,
}

#[derive(Template)]
#[template(path = "board.html")]
pub struct BoardPage {
    pub page: Page,
    pub facts: Facts,
    pub alerts: Band,
    /// Whether the reader issues in an emergency.
    pub issues: bool,
    /// Whether the reader settles what the schedule asks.
    pub settles: bool,
    /// Whether the reader asks the desk by a press.
    pub asks: bool,
}

/// What of the board renews itself: the same for every reader.
#[derive(Template)]
#[template(path = "board_live.html")]
pub struct BoardLive {
    pub facts: Facts,
}

/// The cases that a set is kept for, the next one first.
fn kept_for(state: &State, set: &Id, now: Time) -> Option<String> {
    let mut cases: Vec<_> = state.open_cases().filter(|case| case.promised.contains(set)).collect();
    cases.sort_by_key(|case| (case.start, case.case.clone()));
    let told: Vec<String> =
        cases.iter().map(|case| format!("case {}, {}", case.case, time(state, case.start, now))).collect();
    (!told.is_empty()).then(|| format!("Kept for {}.", told.join("; ")))
}

fn case_row(state: &State, (case, sets): (&BoardCase, &[BoardSet]), now: Time) -> CaseRow {
    let named = named(case, sets);
    let case = &named;
    let needs = state.cases.get(&case.case).map(|case| case.needs.clone()).unwrap_or_default();
    let (say, brief) = (of_case(state, case, now), brief(state, case, needs.len(), now));
    CaseRow {
        href: format!("/cases/{}", segment(case.case.as_str())),
        case: case.case.to_string(),
        start: case.start.clock(state.zone),
        room: room_words(case.room.as_deref().unwrap_or_default()),
        needs: listed(&needs.iter().map(|sheet| sheet_name(state, sheet)).collect::<Vec<_>>()),
        sets: case
            .sets
            .iter()
            .map(|set| (format!("/sets/{}", segment(set.as_str())), set.to_string()))
            .collect(),
        why: case.why.clone(),
        acts: Vec::new(),
        requests: requests::of_case(state, case, now),
        // What the case is said to lack needs no second word.
        brief: [
            aloud(state, case, now),
            with_check(case, if say.words.contains(&brief) { String::new() } else { brief }),
        ]
        .into_iter()
        .filter(|told| !told.is_empty())
        .collect::<Vec<_>>()
        .join("; "),
        say,
    }
}

fn set_row(state: &State, set: &BoardSet, now: Time) -> SetRow {
    let known = state.sets.get(&set.set).map(|known| of_set(state, &set_status(state, known, now), now));
    SetRow {
        href: format!("/sets/{}", segment(set.set.as_str())),
        set: set.set.to_string(),
        name: set.name.clone(),
        say: known.unwrap_or_else(|| Say::plain(set.status.words())),
        why: set.why.iter().cloned().chain(kept_for(state, &set.set, now)).collect::<Vec<_>>().join(" "),
    }
}

fn missing_row(state: &State, part: &BoardMissing, now: Time) -> MissingRow {
    let known = state.missing.get(&part.asset);
    let outcome = known.and_then(|known| known.outcome);
    let told = outcome.map(|outcome| format!(", {}", outcome.words())).unwrap_or_default();
    MissingRow {
        href: match &part.case {
            Some(case) => format!("/cases/{}#missing", segment(case.as_str())),
            None => format!("/assets/{}", segment(part.asset.as_str())),
        },
        called: match part.piece {
            true => format!("A piece of {}", super::headline::part_name(state, &part.asset)),
            false => part_title(state, &part.asset),
        },
        case: part.case.as_ref().map(|case| format!("case {case}")).unwrap_or_default(),
        since: theatre::reported(state, part.since, known.map(|it| it.told_by.as_str()), now),
        named: known
            .map(|it| theatre::named(state, it.named_by.as_deref(), it.named_at, now))
            .unwrap_or_default(),
        loud: part.loud,
        say: Say::new("missing", "stop", format!("not accounted for{told}")),
    }
}

fn line_row(state: &State, line: &BoardLine, now: Time) -> MissingRow {
    let case = state.cases.get(&line.case);
    let it = case.and_then(|case| case.others.iter().find(|it| it.line.0 == line.line));
    let told = line.outcome.map(|outcome| format!(", {}", outcome.words())).unwrap_or_default();
    MissingRow {
        href: format!("/cases/{}#missing", segment(line.case.as_str())),
        called: format!("{} {}", line.lacks, line.line),
        case: format!("case {}", line.case),
        since: theatre::reported(state, line.since, it.and_then(|it| it.told_by.as_deref()), now),
        named: it
            .map(|it| theatre::named(state, it.named_by.as_deref(), it.named_at, now))
            .unwrap_or_default(),
        loud: line.loud,
        say: Say::new("missing", "stop", format!("not accounted for{told}")),
    }
}

impl Facts {
    pub fn of(state: &State, shown: &Shown, now: Time) -> Facts {
        let board = &shown.board;
        let day = |today: bool| {
            let of = board.cases.iter().filter(move |case| is_today(state, case, now) == today);
            of.map(|case| {
                expected::case(case_row(state, (case, &board.sets), now), shown, case, (state, now))
            })
            .collect()
        };
        let mut missing: Vec<MissingRow> =
            board.not_accounted_for.iter().map(|part| missing_row(state, part, now)).collect();
        missing.extend(board.lines_not_back.iter().map(|line| line_row(state, line, now)));
        missing.sort_by_key(|part| (!part.loud, part.case.is_empty()));
        let row = |set| expected::set(set_row(state, set, now), shown, set, (state, now));
        let sets: Vec<SetRow> = board.sets.iter().map(row).collect();
        let ready: Vec<String> =
            sets.iter().filter(|row| row.say.is("ready")).map(|row| row.set.clone()).collect();
        let tomorrow: Vec<CaseRow> = day(false);
        Facts {
            ahead: ahead(&tomorrow),
            heading: headline(state, board, now) + &expected::heading(state, shown, now),
            ready: ready_sets(board),
            loud: missing.iter().filter(|part| part.loud).count(),
            missing,
            today: day(true),
            tomorrow,
            reserves: board.reserves.iter().map(|reserve| reserve_row(state, reserve)).collect(),
            folded: folded(&sets),
            sets,
            ready_sets: ready,
            ready_say: Say::new("ready", "ready", "ready"),
            as_of: time(state, shown.as_of, now),
            entry: shown.entry,
            follow: unfollowed::items(state, now),
            late: unfollowed::late_items(state, now),
            schedule_waits: state.open_schedule_lines().len(),
            not_known: expected::not_known(state, shown.forecast.as_deref(), now),
            zone: state.zone.name(),
        }
    }
}

impl Facts {
    /// Since when all of this is so.
    pub fn clock(&self) -> String {
        format!("unchanged since {}", self.as_of)
    }

    /// How close the rows of a wall stand, so that the day's cases fit: board.js goes on from here where they do not.
    pub fn density(&self) -> &'static str {
        match self.today.len().max(self.folded.len() + self.reserves.len() + 3) {
            0..=8 => "",
            9..=12 => " dense-1",
            _ => " dense-2",
        }
    }
}

impl BoardPage {
    pub fn of(visitor: &Visitor, shown: &Shown, done: Option<u64>) -> BoardPage {
        let mut page = Page::of(visitor, "/board", "/board", done);
        let facts = Facts::of(&visitor.state, shown, visitor.now);
        // The page tells since when it is true, not when it was asked for: it is the same until something changes.
        page.clock = facts.clock();
        page.seq = shown.entry;
        let settles = visitor.is(&[Role::Charge, Role::Lead]);
        BoardPage {
            issues: page.sees("/emergency"),
            settles,
            asks: page.may("send_request"),
            page,
            facts,
            alerts: Band::default(),
        }
    }
}

/// A page that is told apart from its former self by every letter of it, since it shows more than the board's facts:
/// names of sheets, who looks at it.
pub(super) fn current(headers: &HeaderMap, template: &impl Template) -> Response {
    let text = match template.render() {
        Ok(text) => crate::web::unbroken::names(&text),
        Err(error) => {
            let operation = operation();
            tracing::error!(operation, %error, "a template does not render");
            return super::problem::unavailable(&operation);
        }
    };
    let tag = hex::encode(Sha256::digest(&text).get(..16).unwrap_or_default());
    tagged(headers, &format!("\"{tag}\""), || {
        ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], Body::from(text)).into_response()
    })
}

/// The board of these facts at this moment, with the forecast as far as it is known.
pub fn shown(app: &App, state: &State, now: Time) -> Shown {
    app.house.board_of(state, now).with(app.house.forecast_seen(state, now))
}

pub async fn get(
    Reach(app): Reach<App>,
    visitor: Visitor,
    headers: HeaderMap,
    Query(done): Query<Done>,
) -> Response {
    let mut page = BoardPage::of(&visitor, &shown(&app, &visitor.state, visitor.now), done.seq());
    page.alerts = Band::of(&app, &visitor).await;
    current(&headers, &page)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::board::Boards;
    use crate::web::pages::sample;

    #[test]
    fn the_worst_fact_opens_the_board() {
        let visitor = sample::in_theatre();
        let shown = Boards::default().show(&visitor.state, visitor.now);
        let text = sample::show("board", &BoardPage::of(&visitor, &shown, None));
        let heading = text.split("<h1>").nth(1).unwrap().split("</h1>").next().unwrap();
        assert!(heading.starts_with("Not accounted for: cap CAP-02 ("), "{heading}");
        assert!(heading.contains(") of case K-1, since"), "{heading}");
        assert!(text.contains(super::super::words::NOT_BACK), "{text}");
        assert!(heading.contains("No set for an emergency: “Adult rigid bronchoscopy”."), "{heading}");
        assert!(text.contains("below minimum"));
    }
}
