//! The pack for a day without the network: the list of what is ready, and numbered blank sheets. The same matter stands on the
//! page that prints it, and in a file of its own that is read with the server dead.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use serde::Deserialize;

use super::shared::{Page, count, date, listed, long, time};
use crate::domain::downtime::{PaperCase, PaperList, PaperSet};
use crate::domain::paper::{PaperSheet, SheetOf, SheetStatus, number};
use crate::domain::paper_act::PaperAct;
use crate::domain::person::Role;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

/// A blank sheet as it is printed.
pub struct Blank {
    pub sheet: String,
    pub of: &'static str,
    pub columns: &'static [&'static str],
    pub lines: Vec<u32>,
    /// The words that are written for what was done.
    pub acts: String,
    pub printed: String,
}

pub struct SetRow {
    pub set: String,
    pub name: String,
    pub status: String,
    pub places: String,
    pub until: String,
    pub why: String,
}

pub struct CaseRow {
    pub case: String,
    pub start: String,
    pub room: String,
    pub needs: String,
    pub sets: String,
    pub why: String,
}

pub struct ReserveRow {
    pub count_sheet: String,
    pub minimum: u32,
    pub ready: u32,
    pub below: bool,
}

/// What both forms of the pack show.
pub struct Matter {
    pub site: String,
    pub heading: String,
    pub as_of: String,
    pub seq: u64,
    pub ready: Vec<SetRow>,
    pub others: Vec<SetRow>,
    pub cases: Vec<CaseRow>,
    pub reserves: Vec<ReserveRow>,
    pub blanks: Vec<Blank>,
}

fn columns(of: SheetOf) -> &'static [&'static str] {
    match of {
        SheetOf::Sink | SheetOf::Packing => &["Time", "Set or part", "What was done", "Done by", "Remarks"],
        SheetOf::Washer => &[
            "Time",
            "What",
            "Machine, programme, cycle",
            "What went in",
            "Lowest °C",
            "Highest °C",
            "A0 in s",
            "1st reader",
            "2nd reader",
        ],
        SheetOf::Steriliser => &[
            "Time",
            "What",
            "Machine, programme, cycle",
            "What went in",
            "Lowest °C",
            "Highest °C",
            "Held for s",
            "1st reader",
            "2nd reader",
            "Dry",
        ],
        SheetOf::Theatre => {
            &["Time", "Case", "Set or part", "What was done", "Not opened", "Not back", "Done by"]
        }
        SheetOf::Other => &["Time", "What", "Set or part", "Case or load", "Done by", "Remarks"],
    }
}

/// Every act that stands on a kind of sheet, whoever tells it.
fn acts(of: SheetOf) -> String {
    let by = |role| PaperAct::of(of, role).into_iter().map(PaperAct::words);
    let mut all: Vec<&str> = by(Role::Lead).collect();
    let others: Vec<&str> = by(Role::Charge).filter(|words| !all.contains(words)).collect();
    all.extend(others);
    all.join("; ")
}

pub fn blank(state: &State, sheet: &PaperSheet, now: Time) -> Blank {
    Blank {
        sheet: sheet.sheet.to_string(),
        of: sheet.of.words(),
        columns: columns(sheet.of),
        lines: (1..=sheet.lines).collect(),
        acts: acts(sheet.of),
        printed: format!("{}, {}", time(state, sheet.printed.at, now), sheet.printed.by),
    }
}

fn set_row(state: &State, it: &PaperSet, now: Time) -> SetRow {
    let until = match (it.cools_until, it.sterile_until) {
        (Some(cool), _) => format!("HOT until {}", time(state, cool.minute_up(), now)),
        (None, Some(day)) => date(day),
        (None, None) if is_sterile(it) => "while the pack is intact".into(),
        (None, None) => String::new(),
    };
    SetRow {
        set: it.set.to_string(),
        name: it.name.clone(),
        status: it.status.words().into(),
        places: if it.places.is_empty() { "place not recorded".into() } else { it.places.join(", ") },
        until,
        why: it.why.join(" "),
    }
}

fn is_sterile(it: &PaperSet) -> bool {
    crate::domain::issuing::is_ready(it.status)
}

fn case_row(state: &State, it: &PaperCase, now: Time) -> CaseRow {
    let names =
        |all: &[crate::domain::id::Id]| listed(&all.iter().map(ToString::to_string).collect::<Vec<_>>());
    CaseRow {
        case: it.case.to_string(),
        start: time(state, it.start, now),
        room: it.room.clone().unwrap_or_default(),
        needs: names(&it.needs),
        sets: names(&it.sets),
        why: it.why.join(" "),
    }
}

impl Matter {
    pub fn of(state: &State, blanks: Vec<Blank>, now: Time) -> Matter {
        let list: PaperList = state.paper_list(now);
        let reserves = list.reserves.iter().map(|it| ReserveRow {
            count_sheet: it.count_sheet.to_string(),
            minimum: it.minimum,
            ready: it.ready,
            below: it.ready < it.minimum,
        });
        let sets = list.ready.len() + list.others.len();
        Matter {
            site: if state.name.is_empty() { state.site.to_string() } else { state.name.clone() },
            heading: format!(
                "{} of {} ready, {} today",
                list.ready.len(),
                count(sets, "set is", "sets are"),
                count(list.cases.len(), "case", "cases")
            ),
            as_of: long(state, now),
            seq: list.seq,
            ready: list.ready.iter().map(|it| set_row(state, it, now)).collect(),
            others: list.others.iter().map(|it| set_row(state, it, now)).collect(),
            cases: list.cases.iter().map(|it| case_row(state, it, now)).collect(),
            reserves: reserves.collect(),
            blanks,
        }
    }
}

#[derive(Template)]
#[template(path = "paper_pack.html")]
pub struct PackPage {
    pub page: Page,
    pub matter: Matter,
}

/// The pack as one file, with its style in it.
#[derive(Template)]
#[template(path = "paper_file.html")]
pub struct PackFile {
    pub matter: Matter,
}

/// The file that lies in a folder of the house's own choice.
pub fn file(state: &State, sheets: &[&PaperSheet], now: Time) -> Result<String, String> {
    let blanks = sheets.iter().map(|sheet| blank(state, sheet, now)).collect();
    PackFile { matter: Matter::of(state, blanks, now) }.render().map_err(|error| error.to_string())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// A sheet: it is shown with all that were numbered together with it.
    pub with: Option<String>,
}

impl PackPage {
    pub fn of(visitor: &Visitor, with: Option<&str>) -> PackPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let wanted = with.and_then(number).and_then(|id| state.paper.get(&id)).map(|it| it.printed.entry);
        let of_pack = state.paper.values().filter(|it| Some(it.printed.entry) == wanted);
        let blanks = of_pack.filter(|it| it.status() == SheetStatus::Out).map(|it| blank(state, it, now));
        PackPage {
            page: Page::of(visitor, "/paper", "/paper/pack", None),
            matter: Matter::of(state, blanks.collect(), now),
        }
    }
}

pub async fn get(_: Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&PackPage::of(&visitor, asked.with.as_deref()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_pack_names_what_is_ready_and_no_patient() {
        let visitor = sample::visitor();
        let page = PackPage::of(&visitor, None);
        let text = sample::show("paper-pack", &page);
        assert!(text.contains("Phone") && text.contains("ready"), "{text}");
        let alone = file(&visitor.state, &[], visitor.now).unwrap();
        for outside in ["href=\"/", "src=", "http", "<script"] {
            assert!(!alone.contains(outside), "a file of its own holds {outside}");
        }
        assert!(!alone.contains("patient") && !text.contains("P-"), "{alone}");
    }
}
