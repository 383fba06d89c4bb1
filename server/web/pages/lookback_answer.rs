//! The answer to a look-back: what was touched, where it came from, where it went; as rows and as a sheet.

use std::collections::BTreeMap;

use super::say::{Say, of_asset, of_load_now};
use super::shared::{capital, count, segment};
use crate::domain::exposure::Exposure;
use crate::domain::id::Id;
use crate::domain::load::Load;
use crate::domain::lookback::{AtCase, Origin, Trace};
use crate::domain::shelf::UsedAt;
use crate::domain::state::{Asset, Standing, State};
use crate::domain::time::Time;

pub struct LoadRow {
    pub href: String,
    pub load: String,
    pub machine: String,
    pub cycle: String,
    pub started: String,
    pub parts: usize,
    pub say: Say,
}

pub struct PartRow {
    pub href: String,
    pub asset: String,
    pub model: String,
    pub turns: String,
    pub turn_now: u32,
    pub say: Say,
}

pub struct CaseRow {
    pub href: String,
    pub case: String,
    pub start: String,
    pub room: String,
    pub patient: bool,
    pub used: Vec<String>,
    pub opened: Vec<String>,
    /// What of the shelf was used there.
    pub stock: Vec<String>,
}

pub struct Answer {
    pub heading: String,
    pub loads: Vec<LoadRow>,
    pub parts: Vec<PartRow>,
    pub cases: Vec<CaseRow>,
    /// How the parts stand now, in a sentence.
    pub stand: String,
    /// Those in the house that no hold keeps back.
    pub free: Vec<String>,
    /// Parts that may be each other, and are counted together.
    pub doubts: Vec<String>,
    /// A table has more rows than are shown.
    pub cut: bool,
}

/// As many rows as a person reads in one table; the sheet has them all.
const MOST_ROWS: usize = 500;

/// What a look-back began at.
#[derive(Clone, Copy)]
pub enum Began<'a> {
    At(&'a Origin),
    /// All cases of one patient, who is not named.
    Patient(&'a [Id]),
}

impl Began<'_> {
    /// What it began at, in words.
    pub fn words(&self, state: &State) -> String {
        let Began::At(origin) = self else { return "one patient".into() };
        let end = |word: &str, at: Option<Time>| {
            at.map(|at| format!(" {word} {}", at.told(state.zone))).unwrap_or_default()
        };
        format!("{}{}{}", origin.words(), end("from", origin.from), end("to", origin.to))
    }

    /// The one case that it began at, to count turns from.
    fn case(&self) -> Option<&Id> {
        match self {
            Began::At(origin) => origin.case.as_ref(),
            Began::Patient(_) => None,
        }
    }

    fn is_own(&self, case: &Id) -> bool {
        match self {
            Began::At(origin) => origin.case.as_ref() == Some(case),
            Began::Patient(cases) => cases.contains(case),
        }
    }
}

fn load_row(load: &Load, state: &State) -> LoadRow {
    LoadRow {
        href: format!("/loads/{}", segment(load.load.as_str())),
        load: load.load.to_string(),
        machine: format!("{}, {}", load.machine, load.programme.programme),
        cycle: load.cycle_no.as_ref().map(|cycle| cycle.0.clone()).unwrap_or_default(),
        started: load.started_at.told(state.zone),
        parts: load.contents.len(),
        say: of_load_now(state, load),
    }
}

/// How many turns of the part lie between the case that the trace began at and this one.
fn since(state: &State, from: Option<&Id>, at: &AtCase) -> Option<u32> {
    let first = state.cases.get(from?)?.parts.get(&at.asset)?;
    Some(at.turn.saturating_sub(first.turn))
}

fn at_case(state: &State, from: Option<&Id>, at: &AtCase) -> String {
    match since(state, from, at) {
        Some(0) | None => format!("{} (turn {})", at.asset, at.turn),
        Some(later) => {
            format!("{} (turn {}, {} later)", at.asset, at.turn, count(later as usize, "turn", "turns"))
        }
    }
}

/// The cases of a trace, the earliest first.
fn in_time<'a>(state: &'a State, trace: &'a Trace) -> Vec<(&'a crate::domain::case::Case, Vec<&'a AtCase>)> {
    let known = trace.cases.iter().filter_map(|(id, parts)| Some((&**state.cases.get(id)?, parts)));
    let mut all: Vec<_> = known.map(|(case, parts)| (case, parts.iter().collect())).collect();
    all.sort_by_key(|(case, _)| (case.start, case.case.clone()));
    all
}

/// The answer in one sentence: what was touched, who opened it, how many of those cases name a patient.
fn heading(state: &State, began: Began, trace: &Trace) -> String {
    let exposed: Vec<_> = in_time(state, trace)
        .into_iter()
        .filter(|(case, parts)| !parts.is_empty() && !began.is_own(&case.case))
        .map(|(case, _)| case)
        .collect();
    let named = exposed.iter().filter(|case| case.patient.is_some()).count();
    let patients = match (exposed.len(), named) {
        (0, _) => String::new(),
        (_, 0) => "; none of these names a patient".into(),
        (_, many) => format!("; {}", count(many, "of these names a patient", "of these name a patient")),
    };
    let parts = count(trace.assets.len(), "part", "parts");
    let loads = count(trace.loads.len(), "load", "loads");
    let opened_by = |what: &str, one: &str, many: &str| match exposed.len() {
        0 => format!("no {one} opened {what}"),
        n => format!("{} opened {what}", count(n, one, many)),
    };
    let what = capital(&began.words(state));
    let (first, then) = match began {
        Began::At(Origin { asset: Some(_), .. }) => {
            (format!("{what} went through {loads}"), opened_by("it", "case", "cases"))
        }
        Began::At(Origin { case: Some(_), .. }) => (
            format!("{what} opened {parts}, which went through {loads} before it"),
            opened_by("one of them since", "other case", "other cases"),
        ),
        Began::At(Origin { machine: Some(_), .. }) => {
            (format!("{what}: {loads} with {parts}"), opened_by("them", "case", "cases"))
        }
        Began::At(Origin { load: None, machine: None, .. }) => {
            let at = count(trace.stock.len(), "case", "cases");
            let others = match trace.assets.len() {
                0 => String::new(),
                n => format!(", and {} of it went to others", count(n, "part", "parts")),
            };
            let named = trace.stock.keys().filter_map(|case| state.cases.get(case));
            let named = named.filter(|case| case.patient.is_some()).count();
            let patients = count(named, "of these names a patient", "of these name a patient");
            return format!("{what} was used at {at}{others}; {patients}.");
        }
        Began::At(_) => {
            let them = if trace.assets.len() == 1 { "it" } else { "them" };
            (format!("{what} touched {parts}"), opened_by(them, "case", "cases"))
        }
        Began::Patient(cases) => (
            format!("This patient was in {}, which opened {parts}", count(cases.len(), "case", "cases")),
            opened_by("one of them since", "other case", "other cases"),
        ),
    };
    format!("{first}; {then}{patients}.")
}

/// Whether it is all held: how many are, and what became of the others.
fn stand(parts: &[&Asset]) -> String {
    let with = |standing: Standing| parts.iter().filter(|asset| asset.standing() == standing).count();
    let held = parts.iter().filter(|asset| !asset.holds.is_empty() && asset.retired.is_none()).count();
    let mut all = vec![format!("{held} of {} on hold", count(parts.len(), "part is", "parts are"))];
    for standing in [Standing::Missing, Standing::InRepair, Standing::Retired] {
        let many = with(standing);
        if many > 0 {
            all.push(format!("{many} {}", standing.words()));
        }
    }
    format!("{}.", all.join("; "))
}

/// "2 of suction-catheter, lot L7".
pub fn stock_words(it: &UsedAt) -> String {
    let used = &it.used;
    let lot = used.lot.as_ref().map_or(", lot not told".into(), |lot| format!(", lot {}", lot.0));
    let serial = used.serial.as_ref().map(|serial| format!(", number {}", serial.0)).unwrap_or_default();
    format!("{} of {}{lot}{serial}", used.quantity, used.model)
}

/// Each pair once, with why it is counted together.
fn doubts(state: &State, trace: &Trace) -> Vec<String> {
    let mut all: BTreeMap<(&Id, &Id), String> = BTreeMap::new();
    for (asset, kin) in &trace.kin {
        let pair = if *asset < kin.asset { (asset, &kin.asset) } else { (&kin.asset, asset) };
        let since = kin.since.told(state.zone);
        all.entry(pair).or_insert_with(|| {
            format!(
                "{} and {} may be each other since {since} ({}); both are counted.",
                pair.0, pair.1, kin.because
            )
        });
    }
    all.into_values().collect()
}

impl Answer {
    pub fn of(state: &State, began: Began, trace: &Trace, now: Time) -> Answer {
        let mut loads: Vec<&Load> =
            trace.loads.iter().filter_map(|id| state.loads.get(id)).map(|load| &**load).collect();
        loads.sort_by_key(|load| (load.started_at, load.load.clone()));
        let known: Vec<_> =
            trace.assets.iter().filter_map(|(id, turns)| Some((&**state.assets.get(id)?, turns))).collect();
        let assets: Vec<&Asset> = known.iter().map(|(asset, _)| *asset).collect();
        let free = assets.iter().filter(|asset| asset.holds.is_empty() && asset.retired.is_none());
        let parts = known.iter().map(|(asset, turns)| PartRow {
            href: format!("/assets/{}", segment(asset.asset.as_str())),
            asset: asset.asset.to_string(),
            model: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
            turns: turns.iter().map(u32::to_string).collect::<Vec<_>>().join(", "),
            turn_now: asset.turn,
            say: of_asset(state, asset, now),
        });
        let cases = in_time(state, trace).into_iter().map(|(case, at)| {
            let with = |exposure: Exposure| {
                let these = at.iter().filter(|at| at.exposure == exposure);
                these.map(|at| at_case(state, began.case(), at)).collect()
            };
            CaseRow {
                href: format!("/cases/{}", segment(case.case.as_str())),
                case: case.case.to_string(),
                start: case.start.told(state.zone),
                room: case.room.as_ref().map(|room| room.0.clone()).unwrap_or_default(),
                patient: case.patient.is_some(),
                used: with(Exposure::Used),
                opened: with(Exposure::Opened),
                stock: trace.stock.get(&case.case).into_iter().flatten().map(stock_words).collect(),
            }
        });
        Answer {
            heading: heading(state, began, trace),
            cut: [loads.len(), assets.len(), trace.cases.len()].into_iter().any(|rows| rows > MOST_ROWS),
            loads: loads.into_iter().take(MOST_ROWS).map(|load| load_row(load, state)).collect(),
            parts: parts.take(MOST_ROWS).collect(),
            cases: cases.take(MOST_ROWS).collect(),
            stand: stand(&assets),
            free: free.map(|asset| asset.asset.to_string()).collect(),
            doubts: doubts(state, trace),
        }
    }
}

/// The columns of the sheet.
pub const COLUMNS: [&str; 16] = [
    "row",
    "origin",
    "load",
    "machine",
    "programme",
    "cycle_no",
    "started_at",
    "load_status",
    "asset",
    "model",
    "turns",
    "now",
    "case",
    "case_start",
    "exposure",
    "patient_named",
];

/// A row of the sheet; what does not apply stays empty.
#[derive(Default)]
struct Cells {
    row: &'static str,
    load: String,
    machine: String,
    programme: String,
    cycle_no: String,
    started_at: String,
    load_status: String,
    asset: String,
    model: String,
    turns: String,
    now: String,
    case: String,
    case_start: String,
    exposure: &'static str,
    patient_named: &'static str,
}

impl Cells {
    fn line(self, origin: &str) -> [String; 16] {
        [
            self.row.into(),
            origin.into(),
            self.load,
            self.machine,
            self.programme,
            self.cycle_no,
            self.started_at,
            self.load_status,
            self.asset,
            self.model,
            self.turns,
            self.now,
            self.case,
            self.case_start,
            self.exposure.into(),
            self.patient_named.into(),
        ]
    }
}

/// The whole answer as rows: each load, each part, each exposure at a case.
pub fn sheet(state: &State, began: Began, trace: &Trace) -> Vec<[String; 16]> {
    let loads = trace.loads.iter().filter_map(|id| state.loads.get(id)).map(|load| Cells {
        row: "load",
        load: load.load.to_string(),
        machine: load.machine.to_string(),
        programme: load.programme.programme.to_string(),
        cycle_no: load.cycle_no.as_ref().map(|cycle| cycle.0.clone()).unwrap_or_default(),
        started_at: load.started_at.to_string(),
        load_status: of_load_now(state, load).words,
        ..Cells::default()
    });
    let parts = trace.assets.iter().filter_map(|(id, turns)| Some((state.assets.get(id)?, turns)));
    let parts = parts.map(|(asset, turns)| Cells {
        row: "part",
        asset: asset.asset.to_string(),
        model: asset.model.to_string(),
        turns: turns.iter().map(u32::to_string).collect::<Vec<_>>().join(" "),
        now: format!("{}, {}", asset.standing().words(), asset.stage.words()),
        ..Cells::default()
    });
    let exposures = in_time(state, trace).into_iter().flat_map(|(case, at)| {
        at.into_iter().map(move |at| Cells {
            row: "exposure",
            asset: at.asset.to_string(),
            turns: at.turn.to_string(),
            case: case.case.to_string(),
            case_start: case.start.to_string(),
            exposure: at.exposure.name(),
            patient_named: if case.patient.is_some() { "yes" } else { "no" },
            ..Cells::default()
        })
    });
    let shelf = trace.stock.iter().filter_map(|(id, used)| Some((state.cases.get(id)?, used)));
    let shelf = shelf.flat_map(|(case, used)| {
        used.iter().map(move |it| Cells {
            row: "used of the shelf",
            asset: stock_words(it),
            model: it.used.model.to_string(),
            case: case.case.to_string(),
            case_start: case.start.to_string(),
            exposure: Exposure::Used.name(),
            patient_named: if case.patient.is_some() { "yes" } else { "no" },
            ..Cells::default()
        })
    });
    let origin = began.words(state);
    loads.chain(parts).chain(exposures).chain(shelf).map(|cells| cells.line(&origin)).collect()
}
