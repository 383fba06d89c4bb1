//! The board: which sets are ready, which of today's and tomorrow's cases are equipped, and why not.

use std::collections::BTreeMap;

use chrono::{Days, NaiveTime};
use serde::Serialize;

use super::allotted::statuses;
use super::board_cases::board_cases;
use super::case::{Case, CaseStatus};
use super::check::CheckState;
use super::closing::Short;
use super::fit_lost::Fails;
use super::forecast::CaseForecast;
use super::id::Id;
use super::issuing::is_ready;
use super::missing::SearchOutcome;
use super::readiness::{HeldPart, SetReadiness, SetStatus};
use super::request_stands::RequestTold;
use super::set::SetState;
use super::sink::{self, Late};
use super::state::{Asset, Stage, State};
use super::text::ended;
use super::time::{Time, on_day};

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardSet {
    pub set: Id,
    pub name: String,
    pub count_sheet: Id,
    pub status: SetReadiness,
    /// Why it is not simply ready, in sentences.
    pub why: Vec<String>,
    pub ready_at: Option<Time>,
}

/// Whether a case has what it needs.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Equipped {
    Ready,
    InTurn,
    NotReady,
}

impl Equipped {
    pub fn name(self) -> &'static str {
        match self {
            Equipped::Ready => "ready",
            Equipped::InTurn => "in_turn",
            Equipped::NotReady => "not_ready",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardCase {
    pub case: Id,
    pub start: Time,
    pub minutes: u32,
    pub room: Option<String>,
    pub status: Equipped,
    /// The same by its sets alone, whatever else stands against it.
    #[serde(skip)]
    pub by_sets: Equipped,
    /// Its start has passed, and nothing was issued to it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub should_have_begun: bool,
    /// The sets that are ready and go to an earlier case first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub goes_first: Vec<GoesFirst>,
    /// The case that the set went to which is kept for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub robbed_by: Option<Id>,
    /// What is expected of it, where somebody asked for the forecast too.
    #[serde(skip)]
    pub expected: Option<CaseForecast>,
    /// What keeps it from being equipped, in a few words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
    pub progress: CaseStatus,
    /// The sets that it has, or would take.
    pub sets: Vec<Id>,
    pub why: Vec<String>,
    /// The essential lines that it is short of, with what would close them.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub short: Vec<Short>,
    /// Why what was chosen for it does not do any more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chosen_fails: Option<Fails>,
    /// What the desk was asked to do for it, and what it answered.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub requests: Vec<RequestTold>,
    /// How far the function check is of a case that has its instruments.
    pub check: Option<CheckState>,
}

/// A set that has to come round again, since an earlier case takes it first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GoesFirst {
    pub set: Id,
    /// The earlier case.
    pub case: Id,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardReserve {
    pub count_sheet: Id,
    pub minimum: u32,
    pub ready: u32,
}

/// A part that is being looked for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardMissing {
    pub asset: Id,
    pub case: Option<Id>,
    pub since: Time,
    /// Nobody has named an outcome yet.
    pub loud: bool,
    /// The part is here; a piece of it is looked for.
    pub piece: bool,
}

/// What a line without parts lacks after its case: swabs, a throat pack.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardLine {
    pub case: Id,
    pub line: String,
    pub lacks: u32,
    pub since: Time,
    pub loud: bool,
    pub outcome: Option<SearchOutcome>,
}

/// What the board shows at a moment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Board {
    pub sets: Vec<BoardSet>,
    pub cases: Vec<BoardCase>,
    pub reserves: Vec<BoardReserve>,
    pub not_accounted_for: Vec<BoardMissing>,
    pub lines_not_back: Vec<BoardLine>,
    /// What waits for its cleaning longer than it may.
    pub late_at_sink: Vec<Late>,
    /// Emergencies of which something is to follow.
    pub unfollowed: Vec<BoardEmergency>,
}

/// An emergency without a patient's reference or needs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardEmergency {
    pub case: Id,
    pub start: Time,
    pub sentence: String,
}

impl State {
    /// The board as it is at a moment.
    pub fn board(&self, now: Time) -> Board {
        let statuses = statuses(self, now);
        let sets =
            self.sets.values().filter_map(|set| Some(board_set(self, set, statuses.get(&set.set)?, now)));
        let mut ready: BTreeMap<&Id, u32> = BTreeMap::new();
        for set in self.sets.values().filter(|set| statuses.get(&set.set).is_some_and(|s| is_ready(s.status)))
        {
            *ready.entry(&set.count_sheet).or_default() += 1;
        }
        let reserves = self.reserves.iter().filter(|(_, minimum)| **minimum > 0);
        let reserves = reserves.map(|(sheet, minimum)| BoardReserve {
            count_sheet: sheet.clone(),
            minimum: *minimum,
            ready: ready.get(sheet).copied().unwrap_or(0),
        });
        let missing = self.missing.values().filter(|missing| missing.over_at.is_none());
        let missing = missing.map(|missing| BoardMissing {
            asset: missing.asset.clone(),
            case: missing.case.clone(),
            since: missing.since,
            loud: missing.outcome.is_none(),
            piece: !self.assets.get(&missing.asset).is_some_and(|asset| asset.missing),
        });
        Board {
            sets: sets.collect(),
            cases: board_cases(self, &statuses, now),
            reserves: reserves.collect(),
            not_accounted_for: missing.collect(),
            lines_not_back: self.lines_not_back(),
            late_at_sink: sink::late(self, now),
            unfollowed: self.unfollowed_emergencies().iter().map(|it| it.told(self)).collect(),
        }
    }

    /// The lines without parts that did not all come back, of every case, those without an outcome first.
    pub fn lines_not_back(&self) -> Vec<BoardLine> {
        let of = |case: &Case| -> Vec<BoardLine> {
            let line = |it: &super::count_other::OtherState| BoardLine {
                case: case.case.clone(),
                line: it.line.0.clone(),
                lacks: it.lacks(),
                since: it.closed_at.unwrap_or(case.last_at),
                loud: it.is_loud(),
                outcome: it.outcome,
            };
            case.not_back().map(line).collect()
        };
        let mut all: Vec<BoardLine> = self.cases.values().flat_map(|case| of(case)).collect();
        all.sort_by_key(|it| (!it.loud, it.since, it.case.clone()));
        all
    }

    /// The moment at which the clock alone may change the board: something has cooled, or the site's day ends.
    pub fn board_until(&self, now: Time) -> Time {
        let tomorrow = now.date(self.zone).checked_add_days(Days::new(1));
        let midnight = tomorrow.map_or(Time(i64::MAX), |day| on_day(day, NaiveTime::MIN, self.zone));
        let cooling = self.assets.values().filter_map(|asset| asset.cooling_until(now));
        let ends = self.requests_end().filter(|end| *end > now);
        let sink = sink::moments(self, now).filter(|at| *at > now);
        let begun = self.case_moments().filter(|at| *at > now);
        cooling
            .chain(begun)
            .chain(ends)
            .chain(sink)
            .chain(std::iter::once(midnight))
            .min()
            .unwrap_or(midnight)
    }

    /// The last moment at which the clock alone may have changed it.
    pub fn board_since(&self, now: Time) -> Time {
        let midnight = on_day(now.date(self.zone), NaiveTime::MIN, self.zone);
        let cooled = self.assets.values().filter(|asset| asset.stage == Stage::Ready);
        let cooled = cooled.filter_map(|asset| asset.cool_at).filter(|cool| *cool <= now);
        let ends = self.requests_end().filter(|end| *end <= now);
        let sink = sink::moments(self, now).filter(|at| *at <= now);
        let begun = self.case_moments().filter(|at| *at <= now);
        cooled.chain(begun).chain(ends).chain(sink).chain(std::iter::once(midnight)).max().unwrap_or(midnight)
    }
}

/// An hour of the site's day, as sentences tell it.
pub fn hour(state: &State, at: Time) -> String {
    at.clock(state.zone)
}

fn board_set(state: &State, set: &SetState, status: &SetStatus, now: Time) -> BoardSet {
    BoardSet {
        set: set.set.clone(),
        name: set.name.0.clone(),
        count_sheet: set.count_sheet.clone(),
        status: status.status,
        why: why(state, set, status, now),
        ready_at: status.ready_at,
    }
}

/// Why a set is not simply ready.
pub fn why(state: &State, set: &SetState, status: &SetStatus, now: Time) -> Vec<String> {
    let mut why = Vec::new();
    match status.status {
        SetReadiness::Ready => {}
        SetReadiness::Out => {
            let at = state.open_cases().find(|case| {
                state.members(set).any(|asset| case.parts.get(&asset.asset).is_some_and(|part| part.out))
            });
            why.push(at.map_or("It is out.".into(), |case| format!("It is out at case {}.", case.case)));
        }
        SetReadiness::NotReady | SetReadiness::ReadyShort => {}
        SetReadiness::Held => {
            let mut by_hold: BTreeMap<&Id, (&HeldPart, usize)> = BTreeMap::new();
            for held in &status.held {
                by_hold.entry(&held.hold).or_insert((held, 0)).1 += 1;
            }
            for (held, parts) in by_hold.into_values() {
                let (asset, kind) = (&held.asset, held.kind.name());
                let others = match parts {
                    1 => "is".into(),
                    n => format!("and {} more are", n - 1),
                };
                why.push(format!("{asset} {others} on {kind} hold: {}", ended(&held.reason)));
            }
        }
        SetReadiness::InTurn => why.extend(where_it_is(state, set, now)),
    }
    let short = status.lines.iter().filter(|line| status.missing.contains(&line.line));
    for line in short {
        let here = line.present.len() + line.shelf as usize;
        let away: Vec<String> =
            seated(state, set, &line.line).filter(|asset| !asset.counts()).map(away).collect();
        let needed = if line.essential { "" } else { ", which is not essential" };
        let because = if away.is_empty() { String::new() } else { format!(": {}", away.join("; ")) };
        why.push(format!("Line \"{}\" has {here} of {}{needed}{because}.", line.line, line.needed));
    }
    why
}

fn seated<'a>(state: &'a State, set: &'a SetState, line: &'a str) -> impl Iterator<Item = &'a Asset> {
    let from = (line.to_string(), 0);
    let seats = set.seats.range(from..).take_while(move |((on, _), _)| on == line);
    seats.filter_map(|(_, id)| state.assets.get(id).map(|asset| &**asset))
}

fn away(asset: &Asset) -> String {
    format!("{} is {}", asset.called(), asset.standing().words())
}

/// How far the parts of a set are that is on its way, the furthest behind first.
fn where_it_is(state: &State, set: &SetState, now: Time) -> Vec<String> {
    let mut at: BTreeMap<(Stage, Where), u32> = BTreeMap::new();
    for asset in state.members(set).filter(|asset| asset.counts() && !asset.ready(state, now)) {
        let place = if let Some(load) = &asset.in_load {
            Where::Load(load)
        } else if let Some(cool) = asset.cooling_until(now) {
            Where::Cooling(cool)
        } else if asset.past_date(state, now) {
            Where::PastDate
        } else {
            Where::Stage
        };
        *at.entry((asset.stage, place)).or_default() += 1;
    }
    let told = at.into_iter().map(|((stage, place), n)| {
        let parts = if n == 1 { "1 part is".into() } else { format!("{n} parts are") };
        match place {
            Where::Load(load) => format!("{parts} in load {load}."),
            Where::Cooling(cool) => format!("{parts} sterile and cooling until {}.", hour(state, cool)),
            Where::PastDate => format!("{parts} past the date until which it was sterile."),
            Where::Stage => format!("{parts} {}.", stage.words()),
        }
    });
    told.collect()
}

/// Where a part is that is not ready: by its stage, unless there is more to say.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Where<'a> {
    Stage,
    Load(&'a Id),
    Cooling(Time),
    PastDate,
}
