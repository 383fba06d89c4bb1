//! The start: what waits for this role.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;

use super::alerts::Band;
use super::board::shown;
use super::cases;
use super::headline::{headline, is_today, of_cases, part_title, sheet_name, undercut};
use super::queue::waits_for;
use super::say::{Say, of_asset, of_load_now, of_machine, of_set};
use super::shared::{Done, Page, count, hold_kinds, listed, segment};
use crate::domain::board::Board;
use crate::domain::person::Role;
use crate::domain::readiness::{due, set_status};
use crate::domain::state::{Machine, State};
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const MOST_ROWS: usize = 12;

/// Something that waits for the reader, with the page where it is done.
pub struct Item {
    pub href: String,
    pub called: String,
    pub detail: String,
    pub say: Say,
}

#[derive(Template)]
#[template(path = "start.html")]
pub struct StartPage {
    pub page: Page,
    pub alerts: Band,
    pub heading: String,
    /// What the rows are.
    pub title: &'static str,
    pub items: Vec<Item>,
    pub more: usize,
    pub more_href: &'static str,
    /// Those who pre-clean at the point of use may say so here.
    pub treats: bool,
    /// Those who are seldom at a part's own page place holds here.
    pub hold_kinds: Vec<&'static str>,
    /// What became of the reader's own defect reports of the last days.
    pub reports: Vec<(String, String)>,
}

fn open_loads(state: &State) -> Vec<Item> {
    let open = state.loads.values().filter(|load| load.decided_at.is_none());
    open.map(|load| Item {
        href: format!("/loads/{}", segment(load.load.as_str())),
        called: format!("Load {}", load.load),
        detail: format!("{}, {}", load.machine, count(load.contents.len(), "part", "parts")),
        say: of_load_now(state, load),
    })
    .collect()
}

/// How many parts wait at each step, as rows that lead to the queue.
fn steps(state: &State) -> Vec<Item> {
    let mut waiting = std::collections::BTreeMap::new();
    for (step, _) in state.assets.values().filter_map(|asset| waits_for(state, asset)) {
        *waiting.entry(step).or_insert(0) += 1;
    }
    let rows = waiting.into_iter().map(|(step, parts)| Item {
        href: format!("/queue#{}", step.name()),
        called: format!("To be {}", step.words()),
        detail: String::new(),
        say: Say::plain(count(parts, "part", "parts")),
    });
    rows.collect()
}

fn troubled_sets(state: &State, now: Time) -> Vec<Item> {
    let all = state.sets.values().map(|set| (set, of_set(state, &set_status(state, set, now), now)));
    all.filter(|(_, say)| !say.is("ready"))
        .map(|(set, say)| Item {
            href: format!("/sets/{}", segment(set.set.as_str())),
            called: format!("Set {}", set.set),
            detail: set.name.0.clone(),
            say,
        })
        .collect()
}

fn held_or_due(state: &State, now: Time) -> Vec<Item> {
    let troubled = state.assets.values().filter(|asset| asset.retired.is_none()).filter_map(|asset| {
        let due = due(state, asset, now);
        let say = match (asset.holds.is_empty(), due.first()) {
            (false, _) => of_asset(state, asset, now),
            (true, Some(due)) => {
                Say::due(format!("due: {} of {} {}", due.found, due.limit, super::words::due(due.why)))
            }
            (true, None) if asset.missing || asset.in_repair => of_asset(state, asset, now),
            (true, None) => return None,
        };
        let reasons: Vec<String> = asset
            .holds
            .iter()
            .filter_map(|held| state.holds.get(&held.hold).map(|hold| hold.reason.clone()))
            .collect();
        Some(Item {
            href: format!("/assets/{}", segment(asset.asset.as_str())),
            called: asset.asset.to_string(),
            detail: reasons.join("; "),
            say,
        })
    });
    troubled.collect()
}

/// One is told by its name, several by what is wrong with them.
fn troubles(items: &[Item]) -> String {
    let kinds = [("held", "on hold"), ("due", "due"), ("missing", "not accounted for"), ("", "in repair")];
    let told = kinds.iter().filter_map(|(sign, words)| {
        let number = items.iter().filter(|item| item.say.is(sign)).count();
        (number > 0).then(|| format!("{number} {words}"))
    });
    match items {
        [] => "Nothing is on hold, due, in repair or unaccounted for.".to_string(),
        [one] => format!("One part needs a look: {}, {}.", one.called, one.say.words),
        _ => format!("{} parts need a look: {}.", items.len(), listed(&told.collect::<Vec<_>>())),
    }
}

/// Today's cases as rows.
fn todays(state: &State, board: &Board, now: Time) -> Vec<Item> {
    let rows = cases::today(state, board, now).into_iter().map(|row| Item {
        href: row.href,
        called: format!("{}, case {}", row.start, row.case),
        detail: if row.room.is_empty() { row.needs } else { format!("{}, {}", row.room, row.needs) },
        say: row.say,
    });
    rows.collect()
}

/// What is out of the ordinary: parts without a named outcome, reserves below their minimum, loads alone.
fn exceptions(state: &State, board: &Board) -> Vec<Item> {
    let missing = board.not_accounted_for.iter().filter(|part| part.loud).map(|part| Item {
        href: format!("/assets/{}", segment(part.asset.as_str())),
        called: match part.piece {
            true => format!("A piece of {}", super::headline::part_name(state, &part.asset)),
            false => part_title(state, &part.asset),
        },
        detail: part.case.as_ref().map(|case| format!("case {case}")).unwrap_or_default(),
        say: Say::new("missing", "stop", "not accounted for"),
    });
    let reserves = board.reserves.iter().filter(|reserve| undercut(reserve)).map(|reserve| Item {
        href: "/board".into(),
        called: format!("Reserve of {}", sheet_name(state, &reserve.count_sheet)),
        detail: format!("{} ready, {} needed", reserve.ready, reserve.minimum),
        say: Say::new("not_ready", "stop", "below minimum"),
    });
    let lines = board.lines_not_back.iter().filter(|line| line.loud).map(|line| Item {
        href: format!("/cases/{}#missing", segment(line.case.as_str())),
        called: format!("{} {}", line.lacks, line.line),
        detail: format!("case {}", line.case),
        say: Say::new("missing", "stop", "not accounted for"),
    });
    missing.chain(lines).chain(reserves).collect()
}

/// Recalls that are open, with what has no answer yet.
fn recalls(state: &State) -> Vec<Item> {
    let item = |open: super::recalls::Open| Item {
        href: open.href,
        called: open.recall,
        detail: open.detail,
        say: open.say,
    };
    super::recalls::open(state).map(item).collect()
}

/// What waits for somebody's answer: releases alone or early, flags of machines.
fn to_answer(state: &State, now: Time) -> Vec<Item> {
    let loads = super::exception::open_rows(state, now).map(|row| Item {
        href: format!("/loads/{}", segment(&row.load)),
        called: format!("Load {}", row.load),
        detail: row.why,
        say: row.say,
    });
    let flagged = state.machines.values().filter(|machine| machine.flag.is_some());
    let flagged = flagged.map(|machine| machine_item(state, machine, now));
    loads.chain(flagged).collect()
}

/// Machines whose periodic tests are due.
fn tests(state: &State, now: Time) -> Vec<Item> {
    let due = |machine: &&Arc<Machine>| machine.flag.is_none() && !machine.tests_due(state, now).is_empty();
    state.machines.values().filter(due).map(|machine| machine_item(state, machine, now)).collect()
}

fn machine_item(state: &State, machine: &Machine, now: Time) -> Item {
    Item {
        href: format!("/machines/{}", segment(machine.machine.as_str())),
        called: machine.machine.to_string(),
        detail: machine.kind.words().into(),
        say: of_machine(state, machine, now),
    }
}

fn waiting(state: &State, board: &Board, role: Role, now: Time) -> (String, Vec<Item>) {
    let loads = open_loads(state);
    let mut odd = if role == Role::Lead { exceptions(state, board) } else { Vec::new() };
    if role == Role::Lead {
        odd.extend(recalls(state));
        odd.extend(to_answer(state, now));
    }
    odd.extend(tests(state, now));
    let mut words = match loads.len() {
        0 => "No load waits for a decision.".to_string(),
        1 => "One load waits for its record or your decision.".to_string(),
        n => format!("{n} loads wait for a record or your decision."),
    };
    if let Some(first) = odd.first() {
        words.push_str(&format!(" {}: {}.", first.called, first.say.words));
    }
    (words, odd.into_iter().chain(loads).chain(steps(state)).collect())
}

impl StartPage {
    pub fn of(visitor: &Visitor, board: &Board, done: Option<u64>) -> StartPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let role = visitor.actor.role;
        let (title, mut items, more_href, heading) = match role {
            Role::Desk | Role::Lead => {
                let (words, items) = waiting(state, board, role, now);
                ("What waits", items, "/queue", words)
            }
            Role::Charge => {
                let items = exceptions(state, board).into_iter().chain(todays(state, board, now));
                let items = items.chain(troubled_sets(state, now)).collect();
                ("Today, and what is not ready", items, "/board", headline(state, board, now))
            }
            Role::Clinician => {
                let today: Vec<_> = board.cases.iter().filter(|case| is_today(state, case, now)).collect();
                ("Today's cases", todays(state, board, now), "/cases", of_cases(state, &today, "today", now))
            }
            Role::Biomed | Role::Infection => {
                let troubled = held_or_due(state, now);
                let open = recalls(state);
                let words = match open.first() {
                    Some(first) => format!("{}: {}. {}", first.called, first.say.words, troubles(&troubled)),
                    None => troubles(&troubled),
                };
                let items = open.into_iter().chain(troubled).collect();
                ("Recalled, held and due", items, "/assets", words)
            }
            Role::Auditor => {
                ("", Vec::new(), "/ledger", format!("The ledger stands at entry {}.", state.seq))
            }
            Role::Admin => ("", Vec::new(), "/people", founding(state)),
        };
        let more = items.len().saturating_sub(MOST_ROWS);
        items.truncate(MOST_ROWS);
        StartPage {
            page: Page::of(visitor, "/", "/", done),
            alerts: Band::default(),
            reports: super::reports::recent(visitor),
            heading,
            title,
            items,
            more,
            more_href,
            treats: matches!(role, Role::Charge | Role::Clinician),
            hold_kinds: if matches!(role, Role::Charge | Role::Infection) {
                hold_kinds(role)
            } else {
                Vec::new()
            },
        }
    }
}

/// What a new site still lacks, in the order in which it is needed.
fn founding(state: &State) -> String {
    let lacks = [
        (state.routes.is_empty(), "Define a route first; every model needs one."),
        (state.models.is_empty(), "Define the models next; every part is one of them."),
        (state.machines.is_empty(), "Define the machines next; loads run in them."),
        (state.sheets.is_empty(), "Define a count sheet next; every set is built to one."),
        (state.assets.is_empty(), "The catalogue stands; the lead can add the parts."),
    ];
    let first = lacks.iter().find(|(lacks, _)| *lacks).map(|(_, words)| words.to_string());
    first.unwrap_or_else(|| "The site is set up. Accounts and policies are yours.".into())
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(done): Query<Done>) -> Response {
    let mut page = StartPage::of(&visitor, &shown(&app, &visitor.state, visitor.now).board, done.seq());
    page.alerts = Band::of(&app, &visitor).await;
    render(&page)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_lead_begins_with_what_waits_for_an_answer() {
        for (visitor, says) in [
            (sample::released_alone(Role::Lead), "to be countersigned by 4 March 2026"),
            (sample::troubled_machines(), "flagged: the verdict on load S-311 failed"),
        ] {
            let board = visitor.state.board(visitor.now);
            let text = sample::show("start-answers", &StartPage::of(&visitor, &board, None));
            assert!(text.contains(says), "{text}");
        }
    }

    #[test]
    fn no_role_finds_an_empty_start() {
        for role in Role::ALL {
            let mut visitor = sample::in_theatre();
            visitor.actor.role = role;
            let board = visitor.state.board(visitor.now);
            let page = StartPage::of(&visitor, &board, None);
            let text = sample::show(&format!("start-{}", role.name()), &page);
            assert!(text.matches("<li").count() > 3, "{}", role.name());
        }
    }
}
