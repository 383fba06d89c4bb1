//! The handover between shifts: what is open now, and what was out of the ordinary since the last one.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use serde::Deserialize;

use super::finding::{self, FindingRow, MissingRow, RepairRow};
use super::handover_open::{self as open, Item};
use super::shared::{Page, capital, count, listed, when};
use super::theatre::LostLine;
use super::told;
use crate::app::house::{House, Unavailable};
use crate::domain::event::{Entry, Event, What};
use crate::domain::signing::{Area, handovers};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const MOST_HOURS: u32 = 168;
/// Of those who took over before, as many as tell how it is done here.
const PAST_HANDOVERS: usize = 6;
/// The ledger is read in pages, back to the beginning of the time, but not further than so many entries.
const PAGE_ENTRIES: usize = 1_000;
const MOST_ENTRIES: usize = 20_000;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub hours: Option<String>,
    pub done: Option<String>,
}

impl Asked {
    /// The hours to look back over; what is no number of hours is the last shift.
    pub fn hours(&self) -> Option<u32> {
        let asked = self.hours.as_deref().and_then(|text| text.parse::<u32>().ok());
        asked.filter(|hours| (1..=MOST_HOURS).contains(hours))
    }
}

/// Since when it is told, and how that is said.
pub struct Window {
    pub from: Time,
    pub words: String,
    /// The place in the ledger up to which it was read and signed: what came after it is new, however long ago it was signed.
    pub read_to: Option<u64>,
    /// Chosen in hours, not by the shift.
    pub hours: Option<u32>,
}

impl Window {
    fn of(visitor: &Visitor, asked: &Asked) -> Window {
        let (state, now, area) = (&*visitor.state, visitor.now, Area::of(visitor.actor.role));
        if let Some(hours) = asked.hours() {
            let from = now.plus_minutes(-60 * i64::from(hours));
            return Window {
                from,
                words: format!("{} ago", count(hours as usize, "hour", "hours")),
                read_to: None,
                hours: Some(hours),
            };
        }
        let since = state.to_hand_over(area, now);
        let at = when(state, since.at, now);
        let words = match &since.signed {
            Some(signed) => format!("{at}, when {} took over {}", signed.by, area.words()),
            None => format!("{at}, when the last shift began"),
        };
        let read_to = since.signed.as_ref().map(|signed| signed.read_to);
        Window { from: since.at, words, read_to, hours: None }
    }

    /// Told since the entry that was read last, not since the signature: between the two something may have been recorded.
    async fn since_what_was_read(&mut self, house: &House, state: &State) -> Result<(), Unavailable> {
        let Some(read_to) = self.read_to else { return Ok(()) };
        if let Some(at) = house.recorded_at(&state.site, read_to).await? {
            self.from = self.from.min(Time(at.0 + 1));
        }
        Ok(())
    }
}

/// Somebody who took over before.
pub struct Past {
    pub at: String,
    pub by: String,
    /// Who handed over, where somebody was named.
    pub from: String,
    pub read_to: u64,
    pub entry: u64,
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
    /// Whose shift it is, in words.
    pub area: &'static str,
    pub window: Window,
    pub choices: [u32; 5],
    pub past: Vec<Past>,
    pub requests: Vec<Item>,
    pub late_starts: Vec<Item>,
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
    /// Emergencies of which the patient or the needs are to follow.
    pub follow: Vec<Item>,
    pub reserves: Vec<Item>,
    /// Sheets that are out or being entered, and reports of wrong scans, in words.
    pub paper: String,
    pub wrong: String,
    pub odd: Vec<Odd>,
    /// The ledger had more entries in this time than were read.
    pub cut: bool,
    pub trouble: String,
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

/// The entries that were written since then, newest first, and whether there were more than are read at once.
async fn since(house: &House, state: &State, window: &Window) -> Result<(Vec<Entry>, bool), Unavailable> {
    let is_new = |entry: &Entry| match window.read_to {
        Some(read_to) => entry.seq > read_to,
        None => entry.recorded_at >= window.from,
    };
    let mut all: Vec<Entry> = Vec::new();
    while all.len() < MOST_ENTRIES {
        let page = house.newest(&state.site, all.last().map(|entry| entry.seq), PAGE_ENTRIES).await?;
        let before = all.len();
        all.extend(page.into_iter().map(|(entry, _)| entry).take_while(is_new));
        if all.len() - before < PAGE_ENTRIES {
            return Ok((all, false));
        }
    }
    Ok((all, true))
}

/// What the entries tell, oldest first, each with when it happened.
fn events(entries: &[Entry]) -> Vec<(Time, Event)> {
    let read =
        |entry: &Entry| Some((entry.at, Event::read(&entry.kind, entry.version, entry.event.clone()).ok()?));
    entries.iter().rev().filter_map(read).collect()
}

fn past(state: &State, entries: &[Entry], now: Time) -> Vec<Past> {
    let one = |entry: &Entry| {
        let event = Event::read(&entry.kind, entry.version, entry.event.clone()).ok()?;
        let What::TakenOver(it) = event.what else { return None };
        let (at, by) = (when(state, entry.at, now), entry.actor.clone());
        let from = it.handed_over_by.as_deref().map(super::told::somebody).unwrap_or_default();
        Some(Past { at, by, from, read_to: it.entry, entry: entry.seq })
    };
    entries.iter().filter_map(one).collect()
}

impl HandoverPage {
    pub fn of(visitor: &Visitor, window: Window, entries: &[Entry]) -> HandoverPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let span = (window.from, now);
        let hours = ((now.0 - window.from.0) / (60 * crate::domain::time::MINUTE)).max(1) as u32;
        let mut page = HandoverPage {
            page: Page::of(visitor, "/handover", "/handover", None),
            heading: String::new(),
            area: Area::of(visitor.actor.role).words(),
            choices: [4, 8, 12, 24, 72],
            past: Vec::new(),
            requests: open::requests(state, span),
            late_starts: open::late_starts(state, &events(entries), span),
            loads: open::loads(state, span),
            machines: open::machines(state, span),
            exceptions: open::exceptions(state, span),
            recalls: open::recalls(state, span),
            missing: finding::missing(state, now),
            lines: finding::lines(state, now),
            holds: open::holds(state, span),
            visits: super::visit_notes::items(state, span),
            findings: finding::findings(state, now).0,
            repairs: finding::repairs(state, now).0,
            broken: super::broken::lately(state, hours, now),
            cases: open::cases(state, span),
            follow: super::unfollowed::items(state, now),
            reserves: open::reserves(state, now),
            paper: super::paper::open_words(state),
            wrong: super::wrong_things::open_words(state),
            odd: odd(state, entries, now),
            cut: false,
            trouble: String::new(),
            window,
        };
        page.heading = page.sentence();
        page
    }

    pub fn holds_old(&self) -> Vec<&Item> {
        self.holds.iter().filter(|row| !row.is_new).collect()
    }

    pub fn findings_new(&self) -> impl Iterator<Item = &FindingRow> {
        self.findings.iter().filter(|row| row.told_at >= self.window.from)
    }

    pub fn findings_old(&self) -> Vec<&FindingRow> {
        self.findings.iter().filter(|row| row.told_at < self.window.from).collect()
    }

    pub fn repairs_new(&self) -> impl Iterator<Item = &RepairRow> {
        self.repairs.iter().filter(|row| row.sent_at >= self.window.from)
    }

    pub fn repairs_old(&self) -> Vec<&RepairRow> {
        self.repairs.iter().filter(|row| row.sent_at < self.window.from).collect()
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
        say(self.requests.len(), "request waits for the desk", "requests wait for the desk");
        say(self.cases.len(), "case has an open count", "cases have an open count");
        say(self.follow.len(), "emergency is to be followed up", "emergencies are to be followed up");
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
    let done = asked.done.as_deref().and_then(|text| text.parse().ok());
    let mut window = Window::of(&visitor, &asked);
    let (state, now) = (&visitor.state, visitor.now);
    let thing = handovers(Area::of(visitor.actor.role));
    let told = match window.since_what_was_read(&app.house, state).await {
        Ok(()) => since(&app.house, state, &window).await,
        Err(gone) => Err(gone),
    };
    let before = app.house.history(&state.site, &thing, None, PAST_HANDOVERS).await;
    let mut page = match (told, before) {
        (Ok((entries, cut)), Ok(before)) => {
            let past = past(state, &before, now);
            HandoverPage { cut, past, ..HandoverPage::of(&visitor, window, &entries) }
        }
        (Err(gone), _) | (_, Err(gone)) => {
            let trouble = format!("What happened cannot be shown now (operation {}).", gone.operation);
            HandoverPage { trouble, ..HandoverPage::of(&visitor, window, &[]) }
        }
    };
    page.page.done = done;
    render(&page)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    fn shown(visitor: &Visitor, entries: &[Entry]) -> HandoverPage {
        HandoverPage::of(visitor, Window::of(visitor, &Asked::default()), entries)
    }

    #[test]
    fn the_worst_stands_first() {
        let entries = sample::busy::entries();
        let text = sample::show("handover", &shown(&sample::busy::visitor(), &entries));
        assert!(text.contains("<h1>1 part is not accounted for, 1 reserve is below its minimum"), "{text}");
        assert!(text.contains("Deviation: "), "{text}");
        let lead = sample::released_alone(crate::domain::person::Role::Lead);
        let text = sample::show("handover-alone", &shown(&lead, &[]));
        assert!(
            text.contains("1 release waits for an answer") && text.contains("to be countersigned by"),
            "{text}"
        );
        let text = sample::show("handover-machines", &shown(&sample::troubled_machines(), &[]));
        assert!(text.contains("1 machine is out of service, 1 machine is flagged"), "{text}");
        assert!(text.contains("test failed: leak-rate test of 3 March 2026"), "{text}");
        assert!(text.contains("flagged: the verdict on load S-311 failed"), "{text}");
        let asked = |hours: &str| Asked { hours: Some(hours.into()), done: None }.hours();
        assert_eq!(
            [asked("24"), asked("0"), asked("-1"), asked("99999999999"), asked("<b>")],
            [Some(24), None, None, None, None]
        );
    }
}
