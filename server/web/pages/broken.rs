//! Which packs broke, why, and where do they come from?

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use chrono::{Days, NaiveDate, NaiveTime};
use serde::Deserialize;

use super::shared::{Page, count, segment, when};
use crate::domain::broken::{BrokenPack, Counted, Report, report};
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::step::Broken;
use crate::domain::text::Line;
use crate::domain::time::{Date, Time, on_day};
use crate::web::visitor::{Visitor, render};

/// So many days back, today included, where nobody asked for others.
const USUAL_DAYS: u64 = 30;
const MOST_ROWS: usize = 500;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub from: String,
    pub to: String,
    pub done: Option<String>,
}

/// A window of whole days of the site's zone, the last one included.
struct Window {
    from: Date,
    to: Date,
}

impl Window {
    /// The days that were asked for; what is no day is the usual one. The wrong way round they are turned.
    fn of(state: &State, asked: &Asked, now: Time) -> Window {
        let today = now.date(state.zone);
        let day = |text: &str| NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d").ok().filter(near);
        let to = day(&asked.to).unwrap_or(today);
        let usual = to.checked_sub_days(Days::new(USUAL_DAYS - 1)).unwrap_or(to);
        let from = day(&asked.from).unwrap_or(usual);
        Window { from: from.min(to), to: from.max(to) }
    }

    fn days(&self) -> usize {
        usize::try_from((self.to - self.from).num_days() + 1).unwrap_or_default()
    }

    fn report(&self, state: &State) -> Report {
        let begins = |day: Date| on_day(day, NaiveTime::MIN, state.zone);
        let after = self.to.checked_add_days(Days::new(1)).unwrap_or(self.to);
        report(state, begins(self.from), begins(after))
    }
}

fn near(day: &Date) -> bool {
    use chrono::Datelike;
    (1970..=9998).contains(&day.year())
}

/// A row of counts: what it counts, all of them, each reason, and the rate where it is known.
pub struct Row {
    pub name: String,
    pub all: u32,
    pub why: Vec<u32>,
    pub packs: String,
    pub rate: String,
}

pub struct Group {
    pub title: &'static str,
    pub rows: Vec<Row>,
    /// Packs that came out of it are counted too.
    pub rates: bool,
}

pub struct PackRow {
    pub entry: u64,
    pub why: &'static str,
    pub what: String,
    pub href: String,
    pub machine: String,
    pub load: String,
    pub load_href: String,
    pub location: String,
    pub packaging: String,
    pub at: String,
    pub by: String,
}

#[derive(Template)]
#[template(path = "broken.html")]
pub struct BrokenPage {
    pub page: Page,
    pub heading: String,
    pub from: String,
    pub to: String,
    pub csv: String,
    pub reasons: [&'static str; 5],
    pub groups: Vec<Group>,
    pub packs: Vec<PackRow>,
    pub cut: bool,
}

fn row(counted: &Counted, unknown: &str) -> Row {
    let rate = match counted.packs {
        Some(packs) if packs > 0 && counted.all <= packs => {
            let percent = 100.0 * f64::from(counted.all) / f64::from(packs);
            format!("{} of {packs}, {} %", counted.all, crate::domain::verdict::short(percent))
        }
        _ => String::new(),
    };
    let beside = match counted.loads_not_counted {
        Some(loads) => format!(
            " and {} of which the packs were not counted",
            count(loads as usize, "earlier load", "earlier loads")
        ),
        None => String::new(),
    };
    Row {
        name: counted.name.clone().unwrap_or_else(|| unknown.to_string()),
        all: counted.all,
        why: Broken::ALL.iter().map(|why| counted.of(*why)).collect(),
        packs: match (counted.packs, beside.is_empty()) {
            (Some(packs), _) => format!("{packs}{beside}"),
            (None, false) => format!("none counted{beside}"),
            (None, true) => String::new(),
        },
        rate,
    }
}

fn groups(report: &Report) -> Vec<Group> {
    let group = |title, of: &[Counted], unknown: &str, rates| Group {
        title,
        rows: of.iter().map(|counted| row(counted, unknown)).collect(),
        rates,
    };
    vec![
        group("By machine", &report.machines, "not sterilised, or not known", true),
        group("By shelf", &report.shelves, "not put away", false),
        group("By packaging", &report.packagings, "not recorded", false),
    ]
}

/// What broke in the last hours, in one sentence; nothing where nothing did.
pub fn lately(state: &State, hours: u32, now: Time) -> String {
    let report = report(state, now.plus_minutes(-60 * i64::from(hours)), now.plus_s(1));
    match report.all.all {
        0 => String::new(),
        _ => heading(&report, &count(hours as usize, "hour", "hours")),
    }
}

fn heading(report: &Report, window: &str) -> String {
    let all = &report.all;
    if all.all == 0 {
        return format!("No pack is recorded as broken in {window}.");
    }
    let packs = count(all.all as usize, "pack", "packs");
    // Of the same number the reason that is named first in the list of them.
    let most = Broken::ALL.iter().rev().max_by_key(|why| all.of(**why));
    let Some(why) = most else { return format!("{packs} broken in {window}.") };
    let from = report.machines.iter().filter(|row| row.name.is_some() && row.of(*why) > 0);
    let worst = from.max_by_key(|row| row.of(*why));
    let (number, reason) = (all.of(*why), why.words());
    let machine = worst.and_then(|row| {
        let of_them = if row.of(*why) == number { "all".to_string() } else { row.of(*why).to_string() };
        Some(format!(", {of_them} of them from {}", row.name.as_deref()?))
    });
    let machine = if number == 1 {
        worst.and_then(|row| row.name.as_deref()).map(|name| format!(", from {name}"))
    } else {
        machine
    };
    format!("{packs} broken in {window}; {number} {reason}{}.", machine.unwrap_or_default())
}

/// A pack as people call it: its set and its own name, or the part alone.
fn called(pack: &BrokenPack) -> String {
    match (&pack.facts.set, &pack.facts.pack) {
        (Some(set), Some(name)) => {
            format!("Set {set}, {name}, {}", count(pack.facts.parts.len(), "part", "parts"))
        }
        _ => pack.facts.parts.iter().map(Id::as_str).collect::<Vec<_>>().join(", "),
    }
}

fn text(line: &Option<Line>) -> String {
    line.as_ref().map(|line| line.0.clone()).unwrap_or_default()
}

fn id(id: &Option<Id>) -> String {
    id.as_ref().map(Id::to_string).unwrap_or_default()
}

fn pack_row(state: &State, pack: &BrokenPack, now: Time) -> PackRow {
    let facts = &pack.facts;
    let first = facts.parts.first().map(|part| format!("/assets/{}", segment(part.as_str())));
    let set = facts.set.as_ref().map(|set| format!("/sets/{}", segment(set.as_str())));
    PackRow {
        entry: pack.entry,
        why: pack.why.words(),
        what: called(pack),
        href: set.or(first).unwrap_or_default(),
        machine: id(&facts.machine),
        load_href: facts
            .load
            .as_ref()
            .map(|it| format!("/loads/{}", segment(it.as_str())))
            .unwrap_or_default(),
        load: id(&facts.load),
        location: text(&facts.location),
        packaging: text(&facts.packaging),
        at: when(state, pack.at, now),
        by: pack.by.clone(),
    }
}

impl BrokenPage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> BrokenPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let window = Window::of(state, asked, now);
        let report = window.report(state);
        let (from, to) = (window.from.to_string(), window.to.to_string());
        BrokenPage {
            page: Page::of(visitor, "/broken-packs", "/broken-packs", None),
            heading: heading(&report, &count(window.days(), "day", "days")),
            csv: format!("/broken-packs.csv?from={from}&to={to}"),
            from,
            to,
            reasons: Broken::ALL.map(Broken::words),
            groups: groups(&report),
            cut: report.packs.len() > MOST_ROWS,
            packs: report.packs.iter().take(MOST_ROWS).map(|pack| pack_row(state, pack, now)).collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&BrokenPage::of(&visitor, &asked))
}

/// The columns of the sheet.
const COLUMNS: [&str; 12] = [
    "broken",
    "entry",
    "at",
    "why",
    "set",
    "pack",
    "parts",
    "load",
    "machine",
    "location",
    "packaging",
    "by",
];

/// Every broken pack of the window, a row each.
/// The packs of a window as rows.
fn rows(state: &State, window: &Window) -> Vec<[String; 12]> {
    let line = |pack: &std::sync::Arc<BrokenPack>| {
        let facts = &pack.facts;
        let parts: Vec<&str> = facts.parts.iter().map(Id::as_str).collect();
        [
            pack.broken.to_string(),
            pack.entry.to_string(),
            pack.at.to_string(),
            pack.why.words().to_string(),
            id(&facts.set),
            facts.pack.clone().unwrap_or_default(),
            parts.join(" "),
            id(&facts.load),
            id(&facts.machine),
            text(&facts.location),
            text(&facts.packaging),
            pack.by.clone(),
        ]
    };
    window.report(state).packs.iter().map(line).collect()
}

fn file_name(state: &State, window: &Window) -> String {
    format!("broken-packs-{}-{}-entry-{}", window.from, window.to, state.seq)
}

pub async fn csv(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let state = &visitor.state;
    let window = Window::of(state, &asked, visitor.now);
    super::sheet::download(COLUMNS, &rows(state, &window), &file_name(state, &window))
}

static BOOK: [crate::formats::cells::Column; COLUMNS.len()] = super::sheet::columns(COLUMNS);

/// The same as a workbook.
pub async fn book(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let state = &visitor.state;
    let window = Window::of(state, &asked, visitor.now);
    super::sheet::book(&BOOK, rows(state, &window), "Broken packs", &file_name(state, &window))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_heading_counts_and_names_the_machine() {
        let visitor = sample::broken();
        let text = sample::show("broken", &BrokenPage::of(&visitor, &Asked::default()));
        let says = "<h1>3 packs broken in 30 days; 2 wet, all of them from ST-1.</h1>";
        assert!(text.contains(says) && text.contains("pouch") && text.contains("past date"), "{text}");
        let none = sample::show("broken-none", &BrokenPage::of(&sample::visitor(), &Asked::default()));
        assert!(none.contains("No pack is recorded as broken in 30 days."), "{none}");
        let hostile = Asked { from: "99999-01-01".into(), to: "<b>".into(), done: None };
        sample::show("broken-hostile", &BrokenPage::of(&visitor, &hostile));
    }
}
