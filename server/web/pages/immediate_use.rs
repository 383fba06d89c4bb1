//! Immediate use as people see it: what is told of its loads, what the forms offer, and how often it is done and why.

use askama::Template;

use super::shared::{count, some_of};
use crate::domain::exposure::{Back, CountClosed};
use crate::domain::id::Id;
use crate::domain::immediate_use::{Indication, Month, USE_NOW, months};
use crate::domain::load::{Load, LoadReleased, LoadStarted, LoadStatus};
use crate::domain::state::{Stage, State};

/// Months that the page shows at once.
const MOST_MONTHS: usize = 24;

/// What an entry says beside a load's start.
pub fn started(it: &LoadStarted) -> String {
    it.immediate_use.as_ref().map_or(String::new(), |asked| {
        format!(
            " For immediate use at case {}, never for the store. {}",
            asked.case,
            sentence(&asked.words())
        )
    })
}

fn sentence(text: &str) -> String {
    crate::domain::text::ended(&super::shared::capital(text))
}

/// What an entry says beside a load's release.
pub fn released(it: &LoadReleased) -> String {
    let back = it.parts.iter().filter(|part| part.from >= Stage::Inspected && part.to <= Stage::Inspected);
    let back: Vec<String> = back.map(|part| part.asset.to_string()).collect();
    let mut all = String::new();
    if let Some(case) = &it.issued_to {
        all = format!(" {USE_NOW}: what was in it is issued to case {case}.");
    }
    if !back.is_empty() {
        all = format!("{all} Back before packing: {}.", some_of(&back, 4));
    }
    it.robs.iter().fold(all, |all, robbed| all + &super::told_case::robbed(robbed))
}

/// The parts that a count names as unopened and that begin their next turn all the same.
pub fn not_stored(it: &CountClosed) -> Vec<&Id> {
    let unopened = it.parts.iter().filter(|part| part.back == Back::Unopened);
    let moved = unopened.filter(|part| part.moved.as_ref().is_some_and(|moved| moved.to != Stage::Ready));
    moved.map(|part| &part.asset).collect()
}

/// Whether something of such a load is out at its case.
fn is_out(state: &State, load: &Load) -> bool {
    let parts = load.contents.iter().filter_map(|part| state.assets.get(&part.asset));
    parts.filter_map(|asset| state.use_now(asset)).any(|it| it.load == load.load)
}

/// Above a load that is for immediate use: for which case, and what became of it.
pub fn band(state: &State, load: &Load) -> String {
    let Some(asked) = &load.immediate_use else { return String::new() };
    let case = state.cases.get(&asked.case);
    let gone = case.is_none_or(|case| !case.is_open());
    let stands = match load.status {
        LoadStatus::Running | LoadStatus::Judged if gone => {
            "That case is over: after the release everything goes back before packing"
        }
        LoadStatus::Running | LoadStatus::Judged => "The release issues it to that case at once",
        LoadStatus::Released if is_out(state, load) => "It is out at that case",
        LoadStatus::Released => "Nothing of it is out any more",
        LoadStatus::Rejected => "It was rejected",
    };
    format!("for case {} alone. {stands}. {}", asked.case, sentence(&asked.words()))
}

/// What stands beside a load in a list of loads.
pub fn beside(load: &Load) -> String {
    load.immediate_use.as_ref().map_or(String::new(), |it| format!(", for immediate use at case {}", it.case))
}

/// A load of a case, as the case's page and its sheets show it.
pub struct AtCase {
    pub load: String,
    pub words: String,
    /// It is still to come, or out at that case.
    pub now: bool,
}

pub fn of_case(state: &State, case: &Id) -> Vec<AtCase> {
    let told = state.immediate_loads_of(case).into_iter().map(|load| AtCase {
        load: load.load.to_string(),
        now: load.decided_at.is_none() || is_out(state, load),
        words: format!("{}, {}", count(load.contents.len(), "part", "parts"), load.status.name()),
    });
    told.collect()
}

/// What the form of a new load offers.
#[derive(Default)]
pub struct Offer {
    pub forbidden: bool,
    /// The cases that are still to come or under way, the next one first.
    pub cases: Vec<(String, String)>,
    pub indications: Vec<(&'static str, String)>,
}

impl Offer {
    pub fn of(state: &State) -> Offer {
        let mut open: Vec<_> = state.open_cases().collect();
        open.sort_by_key(|case| (!case.anything_out(), case.start));
        let case = |case: &crate::domain::case::Case| {
            (case.case.to_string(), format!("{}, {}", case.case, case.start.told(state.zone)))
        };
        Offer {
            forbidden: state.policy.immediate_use_forbidden,
            cases: open.into_iter().map(case).collect(),
            indications: Indication::ALL.into_iter().map(|it| (it.name(), told(it))).collect(),
        }
    }
}

fn told(it: Indication) -> String {
    let counts = if it.is_acceptable() { "" } else { " (guidance takes it for no reason)" };
    format!("{}{counts}", super::shared::capital(it.words()))
}

pub struct Row {
    pub month: String,
    pub loads: u32,
    pub immediate: u32,
    pub rate: String,
    pub acceptable: String,
    pub reasons: String,
}

/// The section of the exceptions page.
#[derive(Template)]
#[template(path = "immediate_use.html")]
pub struct Section {
    pub sentence: String,
    pub rows: Vec<Row>,
}

fn percent(tenths: Option<u32>) -> String {
    tenths.map_or("–".into(), |tenths| format!("{}.{} %", tenths / 10, tenths % 10))
}

fn row(it: &Month) -> Row {
    let name = |code: &str| {
        let known = Indication::ALL.into_iter().find(|it| it.name() == code);
        known.map_or("no indication named", Indication::words).to_string()
    };
    let reasons: Vec<String> = it.reasons.iter().map(|(code, n)| format!("{n} × {}", name(code))).collect();
    Row {
        month: it.month.clone(),
        loads: it.loads,
        immediate: it.immediate,
        rate: percent(it.rate_tenths()),
        acceptable: match it.immediate {
            0 => "–".into(),
            all => format!("{} of {all}, {}", it.acceptable, percent(it.acceptable_tenths())),
        },
        reasons: reasons.join("; "),
    }
}

impl Section {
    pub fn of(state: &State) -> Section {
        let all = months(state);
        let sum = |of: fn(&Month) -> u32| all.iter().map(of).sum::<u32>();
        let whole = Month {
            loads: sum(|it| it.loads),
            immediate: sum(|it| it.immediate),
            acceptable: sum(|it| it.acceptable),
            ..Month::default()
        };
        let forbidden = if state.policy.immediate_use_forbidden { " This site forbids it." } else { "" };
        let sentence = match whole.immediate {
            0 => format!("No steriliser load was for immediate use.{forbidden}"),
            n => format!(
                "{n} of {} were for immediate use ({}); {} of these named an indication that guidance accepts ({}).{forbidden}",
                count(whole.loads as usize, "steriliser load", "steriliser loads"),
                percent(whole.rate_tenths()),
                whole.acceptable,
                percent(whole.acceptable_tenths())
            ),
        };
        let rows = all.iter().filter(|it| it.immediate > 0).take(MOST_MONTHS).map(row).collect();
        Section { sentence, rows }
    }
}
