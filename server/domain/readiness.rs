//! What a set is ready for, and what a part is due for.

use std::collections::BTreeMap;

use serde::Serialize;

use super::case::Case;
use super::expected::expected_ready;
use super::hold::HoldKind;
use super::id::Id;
use super::immediate_use::USE_NOW;
use super::lifetime::Clock;
use super::model::StepKind;
use super::set::SetState;
use super::state::{Asset, Stage, State};
use super::time::{MINUTE, Time};

/// A set's status: the first of these that applies.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SetReadiness {
    Out,
    NotReady,
    Held,
    InTurn,
    ReadyShort,
    Ready,
}

impl SetReadiness {
    /// What people say.
    pub fn words(self) -> &'static str {
        match self {
            SetReadiness::Out => "out",
            SetReadiness::NotReady => "not ready",
            SetReadiness::Held => "on hold",
            SetReadiness::InTurn => "in reprocessing",
            SetReadiness::ReadyShort => "ready, but short",
            SetReadiness::Ready => "ready",
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            SetReadiness::Out => "out",
            SetReadiness::NotReady => "not_ready",
            SetReadiness::Held => "held",
            SetReadiness::InTurn => "in_turn",
            SetReadiness::ReadyShort => "ready_short",
            SetReadiness::Ready => "ready",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LineStatus {
    pub line: String,
    pub needed: u32,
    pub present: Vec<Id>,
    pub essential: bool,
    pub pack: String,
    /// What it lacks of parts that lies on the shelf instead: a line without parts of its own.
    #[serde(skip_serializing_if = "is_zero")]
    pub shelf: u32,
}

fn is_zero(many: &u32) -> bool {
    *many == 0
}

/// Something that is due, beside its limit and what was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Due {
    pub asset: Id,
    pub why: &'static str,
    pub limit: u32,
    pub found: u32,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeldPart {
    pub asset: Id,
    pub hold: Id,
    pub kind: super::hold::HoldKind,
    pub reason: String,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetStatus {
    pub status: SetReadiness,
    pub lines: Vec<LineStatus>,
    /// Lines with fewer parts than they need.
    pub missing: Vec<String>,
    pub due: Vec<Due>,
    pub held: Vec<HeldPart>,
    /// When the set is ready, where that is known: now, or when the last part has cooled.
    pub ready_at: Option<Time>,
    /// Where it is in turn: when the last of its parts is expected, as far as that can be told.
    #[serde(skip)]
    pub comes_at: Option<Time>,
    /// The case for which one of its parts is being sterilised alone.
    #[serde(skip)]
    pub made_for: Option<Id>,
}

impl SetStatus {
    /// When a set in turn comes, where that is only after a case begins.
    pub fn late_for(&self, case: &Case, now: Time) -> Option<Time> {
        self.comes_at.filter(|at| *at > case.start.max(now))
    }
}

impl Asset {
    /// In the house and fit to count: not missing, in repair or retired.
    pub fn counts(&self) -> bool {
        self.retired.is_none() && !self.missing && !self.in_repair
    }

    /// What is wrong with a part that went out all the same, in the words that are called across a room.
    pub fn loud(&self, state: &State, now: Time) -> Vec<String> {
        let hot = self.cool_at.is_some_and(|cool| cool > now);
        let words = [
            (hot, "HOT"),
            (self.past_date(state, now), "PAST DATE"),
            (state.use_now(self).is_some(), USE_NOW),
        ];
        let words = words.into_iter().filter(|(is, _)| *is).map(|(_, word)| word.to_string());
        words.chain(self.held_aloud(state)).collect()
    }

    /// Why it is on hold, but for a prion hold: what is known of a patient is called across no room.
    fn held_aloud(&self, state: &State) -> Option<String> {
        let hidden = |kind| matches!(kind, HoldKind::Prion | HoldKind::Dedicated);
        let told = self.holds.iter().filter(|held| !hidden(held.kind));
        let mut reasons: Vec<&str> =
            told.filter_map(|held| Some(state.holds.get(&held.hold)?.reason.as_str())).collect();
        reasons.dedup();
        match (self.holds.is_empty(), reasons.is_empty()) {
            (true, _) => None,
            (_, true) if self.holds.iter().all(|held| held.kind == HoldKind::Dedicated) => {
                Some("FOR ONE PATIENT ALONE".into())
            }
            (_, true) => Some("ON HOLD".into()),
            (..) => Some(format!("ON HOLD because {}", reasons.join("; "))),
        }
    }

    pub fn cooling_until(&self, now: Time) -> Option<Time> {
        self.cool_at.filter(|cool| *cool > now && self.stage == Stage::Ready)
    }

    /// Past the end of its shelf life: the day named is the last good one.
    pub fn past_date(&self, state: &State, now: Time) -> bool {
        self.sterile_until.is_some_and(|until| now.date(state.zone) > until)
    }

    pub fn ready(&self, state: &State, now: Time) -> bool {
        self.counts()
            && self.holds.is_empty()
            && self.stage == Stage::Ready
            && self.cooling_until(now).is_none()
            && !self.past_date(state, now)
    }
}

impl Case {
    /// What is out at it although something stands against it: HOT, PAST DATE, ON HOLD, each with its parts.
    pub fn loud(&self, state: &State, now: Time) -> BTreeMap<String, Vec<Id>> {
        let mut all: BTreeMap<String, Vec<Id>> = BTreeMap::new();
        let out = self.parts.iter().filter(|(_, part)| part.out);
        for asset in out.filter_map(|(id, _)| state.assets.get(id)) {
            for word in asset.loud(state, now) {
                all.entry(word).or_default().push(asset.asset.clone());
            }
        }
        all
    }
}

/// A set as it stands at a moment, with what its parts are due for.
pub fn set_status(state: &State, set: &SetState, now: Time) -> SetStatus {
    let mut status = glance(state, set, now);
    let members = status.lines.iter().flat_map(|line| &line.present).filter_map(|id| state.assets.get(id));
    status.due = members.flat_map(|asset| due(state, asset, now)).collect();
    status
}

/// A set as it stands at a moment, without what is due, which costs as much as all the rest: for hundreds at once.
pub fn glance(state: &State, set: &SetState, now: Time) -> SetStatus {
    let sheet = state.sheets.get(&set.count_sheet);
    let mut lines = Vec::new();
    let mut missing = Vec::new();
    let mut essential_lacks = false;
    let mut members: Vec<&Asset> = Vec::new();
    let today = now.date(state.zone);
    for line in sheet.iter().flat_map(|sheet| &sheet.lines) {
        let name = line.line.as_str();
        let from = (name.to_string(), 0);
        let seated = set.seats.range(from..).take_while(|((line, _), _)| line == name);
        let present: Vec<&Asset> = seated
            .filter_map(|(_, id)| state.assets.get(id).map(|asset| &**asset))
            .filter(|asset| asset.counts())
            .collect();
        let lacks = line.quantity.saturating_sub(present.len() as u32);
        let shelf = state.from_shelf(line, lacks, today);
        if lacks > shelf {
            missing.push(name.to_string());
            essential_lacks |= line.essential;
        }
        lines.push(LineStatus {
            line: name.into(),
            needed: line.quantity,
            present: present.iter().map(|asset| asset.asset.clone()).collect(),
            essential: line.essential,
            pack: line.pack.0.clone(),
            shelf,
        });
        members.extend(present);
    }
    let held: Vec<HeldPart> = members.iter().flat_map(|asset| held(state, asset)).collect();
    let out = members.iter().any(|asset| asset.stage.is_out());
    let all_ready = members.iter().all(|asset| asset.ready(state, now));
    let status = if out {
        SetReadiness::Out
    } else if essential_lacks || members.is_empty() {
        SetReadiness::NotReady
    } else if !held.is_empty() {
        SetReadiness::Held
    } else if !all_ready {
        SetReadiness::InTurn
    } else if missing.is_empty() {
        SetReadiness::Ready
    } else {
        SetReadiness::ReadyShort
    };
    let sterilised = members.iter().all(|asset| asset.stage == Stage::Ready && !asset.past_date(state, now));
    let ready_at = match status {
        SetReadiness::Ready | SetReadiness::ReadyShort => {
            members.iter().map(|a| a.cool_at.unwrap_or(a.act_at)).max()
        }
        SetReadiness::InTurn if sterilised => members.iter().filter_map(|asset| asset.cool_at).max(),
        _ => None,
    };
    let comes_at = match status {
        SetReadiness::InTurn => members.iter().filter_map(|asset| expected_ready(state, asset, now)).max(),
        _ => None,
    };
    let made_for = members.iter().find_map(|asset| state.made_for(asset)).map(|case| case.case.clone());
    SetStatus { status, lines, missing, due: Vec::new(), held, ready_at, comes_at, made_for }
}

pub fn held(state: &State, asset: &Asset) -> Vec<HeldPart> {
    let reason = |hold: &Id| state.holds.get(hold).map_or(String::new(), |hold| hold.reason.clone());
    let of = |held: &super::state::HeldBy| HeldPart {
        asset: asset.asset.clone(),
        hold: held.hold.clone(),
        kind: held.kind,
        reason: reason(&held.hold),
    };
    asset.holds.iter().map(of).collect()
}

/// At the age at which the house replaces parts of its model.
pub const REPLACE_AT: &str = "replace_at";
/// Somebody asked for its inspection, and it was not looked at since.
pub const INSPECTION_ASKED: &str = "inspection_asked";

/// What a part is due for: by its maker's limits, by the house's own, or because somebody asked.
pub fn due(state: &State, asset: &Asset, now: Time) -> Vec<Due> {
    let Some(limits) = state.model(&asset.model).map(|model| &model.limits) else {
        return Vec::new();
    };
    if asset.retired.is_some() {
        return Vec::new();
    }
    let (since_cycles, since) = match &asset.inspected {
        Some(last) => (asset.cycles.saturating_sub(last.cycles), last.at),
        None => (asset.cycles.saturating_sub(asset.prior_cycles), asset.added_at),
    };
    let days = u32::try_from((now.0 - since.0).max(0) / (24 * 60 * MINUTE)).unwrap_or(u32::MAX);
    // Of a part that may be another, the greatest age that it may have counts.
    let oldest = |clock: Clock| state.age_range(asset, clock, now).1;
    let all = [
        ("max_cycles", limits.max_cycles, oldest(Clock::Cycles)),
        ("max_uses", limits.max_uses, oldest(Clock::Uses)),
        ("inspect_every_cycles", limits.inspect_every_cycles, since_cycles),
        ("inspect_every_days", limits.inspect_every_days, days),
    ];
    let reached = all.into_iter().filter_map(|(why, limit, found)| {
        limit.filter(|limit| found >= *limit).map(|limit| Due {
            asset: asset.asset.clone(),
            why,
            limit,
            found,
        })
    });
    let own = state.life_limit(&asset.model).map(|limit| &limit.set);
    let own = own.map(|it| (it.replace_at, oldest(it.clock)));
    let replaced = own.filter(|(limit, found)| found >= limit).map(|(limit, found)| Due {
        asset: asset.asset.clone(),
        why: REPLACE_AT,
        limit,
        found,
    });
    let asked = asset.asked.as_ref().map(|_| Due {
        asset: asset.asset.clone(),
        why: INSPECTION_ASKED,
        limit: 1,
        found: 1,
    });
    reached.chain(replaced).chain(asked).collect()
}

/// What comes next for a part, where its turn has something left.
pub fn next_step(state: &State, asset: &Asset) -> Option<StepKind> {
    state.next_step(asset).map(|next| next.step)
}
