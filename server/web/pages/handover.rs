//! The handover between shifts: what is open now, and what was out of the ordinary since the last one.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use serde::Deserialize;

use super::finding::{self, FindingRow, MissingRow, RepairRow};
use super::say::{Say, of_load_now};
use super::shared::{Page, capital, count, listed, segment, some_of, time, when};
use super::theatre::LostLine;
use super::told;
use crate::app::house::{House, Unavailable};
use crate::domain::event::{Entry, Event};
use crate::domain::state::{Condition, Machine, State};
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

/// A shift and its handover.
const USUAL_HOURS: u32 = 12;
const MOST_HOURS: u32 = 168;
/// The ledger is read in pages, back to the beginning of the time, but not further than so many entries.
const PAGE_ENTRIES: usize = 1_000;
const MOST_ENTRIES: usize = 20_000;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub hours: Option<String>,
}

impl Asked {
    /// The hours to look back over; what is no number of hours is the usual shift.
    pub fn hours(&self) -> u32 {
        let asked = self.hours.as_deref().and_then(|text| text.parse::<u32>().ok());
        asked.filter(|hours| (1..=MOST_HOURS).contains(hours)).unwrap_or(USUAL_HOURS)
    }
}

/// Something that is open, in a word or two and a sentence.
pub struct Item {
    pub href: String,
    pub called: String,
    pub detail: String,
    pub since: String,
    pub say: Say,
}

/// An entry that broke a rule, set one aside or came late.
pub struct Odd {
    pub seq: u64,
    pub at: String,
    pub by: String,
    pub what: String,
    pub beside: Vec<String>,
}

#[derive(Template)]
#[template(path = "handover.html")]
pub struct HandoverPage {
    pub page: Page,
    pub heading: String,
    pub hours: u32,
    pub choices: [u32; 5],
    pub since: String,
    pub loads: Vec<Item>,
    pub machines: Vec<Item>,
    /// Loads released alone or early whose answer is open.
    pub exceptions: Vec<Item>,
    pub recalls: Vec<Item>,
    pub missing: Vec<MissingRow>,
    /// Lines without parts that did not all come back from their cases.
    pub lines: Vec<LostLine>,
    pub holds: Vec<Item>,
    /// Loans, strangers, doubts of identity and the shelf.
    pub visits: Vec<Item>,
    pub findings: Vec<FindingRow>,
    pub repairs: Vec<RepairRow>,
    /// Packs that broke meanwhile; empty where none did.
    pub broken: String,
    pub cases: Vec<Item>,
    pub reserves: Vec<Item>,
    pub odd: Vec<Odd>,
    /// The ledger had more entries in this time than were read.
    pub cut: bool,
    pub trouble: String,
}

fn loads(state: &State, now: Time) -> Vec<Item> {
    let mut open: Vec<_> = state.loads.values().filter(|load| load.decided_at.is_none()).collect();
    // Those with a record wait for a person; those without wait for their machine.
    open.sort_by_key(|load| (load.judged.is_none(), load.started_at, load.load.clone()));
    let item = |load: &std::sync::Arc<crate::domain::load::Load>| Item {
        href: format!("/loads/{}", segment(load.load.as_str())),
        called: load.load.to_string(),
        detail: format!("{}, {}", load.machine, count(load.contents.len(), "part", "parts")),
        since: time(state, load.started_at, now),
        say: of_load_now(state, load),
    };
    open.into_iter().map(item).collect()
}

fn machines(state: &State, now: Time) -> Vec<Item> {
    let asks = |machine: &&Arc<Machine>| machine.condition != Condition::InService || machine.flag.is_some();
    let not_in_service = state.machines.values().filter(asks);
    not_in_service
        .map(|machine| Item {
            href: format!("/machines/{}", segment(machine.machine.as_str())),
            called: machine.machine.to_string(),
            detail: machine.kind.words().into(),
            since: match &machine.condition {
                Condition::Out { since, .. } => time(state, *since, now),
                Condition::InService | Condition::Requalifying { .. } => {
                    let since = machine.not_in_service_since.or(machine.flag.as_ref().map(|flag| flag.since));
                    since.map(|since| time(state, since, now)).unwrap_or_default()
                }
            },
            say: super::say::of_machine(state, machine, now),
        })
        .collect()
}

fn exceptions(state: &State, now: Time) -> Vec<Item> {
    let item = |row: super::exception::Row| Item {
        href: row.href,
        called: row.load,
        detail: row.why,
        since: row.released,
        say: row.say,
    };
    let dryness = super::exception::dryness_rows(state, now);
    super::exception::open_rows(state, now).chain(dryness).map(item).collect()
}

fn recalls(state: &State, now: Time) -> Vec<Item> {
    let item = |open: super::recalls::Open| Item {
        href: open.href,
        called: open.recall,
        detail: open.detail,
        since: time(state, open.since, now),
        say: open.say,
    };
    super::recalls::open(state).map(item).collect()
}

fn holds(state: &State, now: Time) -> Vec<Item> {
    let mut open: Vec<_> = state.holds.values().filter(|hold| hold.lifted_at.is_none()).collect();
    open.sort_by_key(|hold| (std::cmp::Reverse(hold.kind), hold.placed_at, hold.hold.clone()));
    let items = open.into_iter().filter_map(|hold| {
        let held = state.assets.values().filter(|asset| {
            // What is retired waits for nobody any more.
            asset.retired.is_none() && asset.holds.iter().any(|it| it.hold == hold.hold)
        });
        let held: Vec<String> = held.map(|asset| asset.asset.to_string()).collect();
        let first = held.first()?;
        Some(Item {
            href: format!("/assets/{}", segment(first)),
            called: hold.hold.to_string(),
            detail: format!("{}: {}", some_of(&held, 6), hold.reason),
            since: format!("{}, {}", time(state, hold.placed_at, now), hold.placed_by),
            say: Say::held(format!("{} hold, {}", hold.kind.name(), count(held.len(), "part", "parts"))),
        })
    });
    items.collect()
}

fn cases(state: &State, now: Time) -> Vec<Item> {
    let mut out: Vec<_> = state.open_cases().filter(|case| case.anything_out()).collect();
    out.sort_by_key(|case| (case.start, case.case.clone()));
    out.into_iter()
        .map(|case| {
            let parts = case.parts.values().filter(|part| part.out).count();
            let room = case.room.as_ref().map(|room| format!("{}, ", room.0)).unwrap_or_default();
            Item {
                href: format!("/cases/{}", segment(case.case.as_str())),
                called: case.case.to_string(),
                detail: format!("{room}{} not counted back", count(parts, "part", "parts")),
                since: time(state, case.start, now),
                say: Say::new("out", "ink", "out, count open"),
            }
        })
        .collect()
}

fn reserves(state: &State, now: Time) -> Vec<Item> {
    let below = state.board(now).reserves.into_iter().filter(|reserve| reserve.ready < reserve.minimum);
    below
        .map(|reserve| Item {
            href: "/sets".into(),
            called: reserve.count_sheet.to_string(),
            detail: format!("{} ready, {} needed for emergencies", reserve.ready, reserve.minimum),
            since: String::new(),
            say: Say::new("not_ready", "stop", "below minimum"),
        })
        .collect()
}

/// Whether an entry is out of the ordinary. One that this release cannot read is.
fn is_odd(entry: &Entry) -> bool {
    Event::read(&entry.kind, entry.version, entry.event.clone()).map_or(true, |event| {
        let beside = &event.beside;
        beside.late.is_some() || beside.overridden.is_some() || !beside.deviation.is_empty()
    })
}

pub fn odd(state: &State, entries: &[Entry], now: Time) -> Vec<Odd> {
    let all = entries.iter().filter(|entry| is_odd(entry));
    all.map(|entry| {
        let told = told::entry(entry);
        Odd {
            seq: entry.seq,
            at: when(state, entry.at, now),
            by: entry.actor.clone(),
            what: told.what,
            beside: told.beside,
        }
    })
    .collect()
}

/// The entries that were written since a moment, newest first, and whether there were more than are read at once.
async fn since(house: &House, state: &State, from: Time) -> Result<(Vec<Entry>, bool), Unavailable> {
    let mut all: Vec<Entry> = Vec::new();
    while all.len() < MOST_ENTRIES {
        let page = house.newest(&state.site, all.last().map(|entry| entry.seq), PAGE_ENTRIES).await?;
        let before = all.len();
        all.extend(page.into_iter().map(|(entry, _)| entry).take_while(|entry| entry.recorded_at >= from));
        if all.len() - before < PAGE_ENTRIES {
            return Ok((all, false));
        }
    }
    Ok((all, true))
}

impl HandoverPage {
    pub fn of(visitor: &Visitor, hours: u32, entries: &[Entry]) -> HandoverPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let mut page = HandoverPage {
            page: Page::of(visitor, "/handover", "/handover", None),
            heading: String::new(),
            hours,
            choices: [4, 8, 12, 24, 72],
            since: when(state, now.plus_minutes(-60 * i64::from(hours)), now),
            loads: loads(state, now),
            machines: machines(state, now),
            exceptions: exceptions(state, now),
            recalls: recalls(state, now),
            missing: finding::missing(state, now),
            lines: finding::lines(state, now),
            holds: holds(state, now),
            visits: super::visit_notes::items(state, now),
            findings: finding::findings(state, now).0,
            repairs: finding::repairs(state, now).0,
            broken: super::broken::lately(state, hours, now),
            cases: cases(state, now),
            reserves: reserves(state, now),
            odd: odd(state, entries, now),
            cut: false,
            trouble: String::new(),
        };
        page.heading = page.sentence();
        page
    }

    /// What is open, the worst first.
    fn sentence(&self) -> String {
        let mut all = Vec::new();
        let mut say = |many: usize, one: &str, several: &str| {
            if many > 0 {
                all.push(count(many, one, several));
            }
        };
        say(self.missing.len(), "part is not accounted for", "parts are not accounted for");
        say(
            self.lines.len(),
            "line of a count is not accounted for",
            "lines of counts are not accounted for",
        );
        say(self.reserves.len(), "reserve is below its minimum", "reserves are below their minimum");
        let out = self.machines.iter().filter(|item| !item.say.is("due")).count();
        say(out, "machine is out of service", "machines are out of service");
        say(self.machines.len() - out, "machine is flagged", "machines are flagged");
        say(self.recalls.len(), "recall is open", "recalls are open");
        say(self.exceptions.len(), "release waits for an answer", "releases wait for an answer");
        say(self.cases.len(), "case has an open count", "cases have an open count");
        say(self.loads.len(), "load is not decided", "loads are not decided");
        say(self.holds.len(), "hold is in force", "holds are in force");
        say(self.findings.len(), "defect report is open", "defect reports are open");
        say(self.repairs.len(), "part is in repair", "parts are in repair");
        match all.is_empty() {
            true => "Nothing is open.".into(),
            false => format!("{}.", capital(&listed(&all))),
        }
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let hours = asked.hours();
    let from = visitor.now.plus_minutes(-60 * i64::from(hours));
    match since(&app.house, &visitor.state, from).await {
        Ok((entries, cut)) => render(&HandoverPage { cut, ..HandoverPage::of(&visitor, hours, &entries) }),
        Err(gone) => {
            let trouble = format!("What happened cannot be shown now (operation {}).", gone.operation);
            render(&HandoverPage { trouble, ..HandoverPage::of(&visitor, hours, &[]) })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_worst_stands_first() {
        let entries = sample::busy::entries();
        let text = sample::show("handover", &HandoverPage::of(&sample::busy::visitor(), 12, &entries));
        assert!(text.contains("<h1>1 part is not accounted for, 1 reserve is below its minimum"), "{text}");
        assert!(text.contains("Deviation: "), "{text}");
        let lead = sample::released_alone(crate::domain::person::Role::Lead);
        let text = sample::show("handover-alone", &HandoverPage::of(&lead, 12, &[]));
        assert!(
            text.contains("1 release waits for an answer") && text.contains("to be countersigned by"),
            "{text}"
        );
        let text =
            sample::show("handover-machines", &HandoverPage::of(&sample::troubled_machines(), 12, &[]));
        assert!(text.contains("1 machine is out of service, 1 machine is flagged"), "{text}");
        assert!(text.contains("test failed: leak-rate test of 3 March 2026"), "{text}");
        assert!(text.contains("flagged: the verdict on load S-311 failed"), "{text}");
        let asked = |hours: &str| Asked { hours: Some(hours.into()) }.hours();
        assert_eq!(
            [asked("24"), asked("0"), asked("-1"), asked("99999999999"), asked("<b>")],
            [24, 12, 12, 12, 12]
        );
    }
}
