//! Immediate-use sterilisation: for one case, used at once, never stored and never ready. A site may forbid it.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::Case;
use super::deciding::Deciding;
use super::event::Moved;
use super::hold::HoldKind;
use super::id::Id;
use super::load::{Load, LoadStatus};
use super::machine::MachineKind;
use super::model::{StepKind, reason_given};
use super::odd::month;
use super::planning::known_case;
use super::refusal::{Code, Problem};
use super::state::{Asset, Stage, State};
use super::text::Text;

/// The words that stand beside every such part until it is back.
pub const USE_NOW: &str = "USE NOW, DO NOT STORE";

/// Why it was asked for, as far as it can be counted. Which of them the published guidance admits: not for convenience, to
/// save time or instead of buying sets (CDC 2008, in copies); what it names as urgent is common practice.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Indication {
    /// It fell or was touched during the case, and there is no other.
    Contaminated,
    /// Its pack was found wet, torn or past its date at the table, and there is no other.
    FoundUnsterile,
    /// An emergency for which nothing sterile is there.
    Emergency,
    /// The house has too few of them for its list.
    TooFew,
    SaveTime,
    /// What was lent came too late for its turn.
    LoanLate,
    Other,
}

impl Indication {
    pub const ALL: [Indication; 7] = [
        Indication::Contaminated,
        Indication::FoundUnsterile,
        Indication::Emergency,
        Indication::TooFew,
        Indication::SaveTime,
        Indication::LoanLate,
        Indication::Other,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Indication::Contaminated => "contaminated",
            Indication::FoundUnsterile => "found_unsterile",
            Indication::Emergency => "emergency",
            Indication::TooFew => "too_few",
            Indication::SaveTime => "save_time",
            Indication::LoanLate => "loan_late",
            Indication::Other => "other",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Indication::Contaminated => "it fell or was touched during the case, and there is no other",
            Indication::FoundUnsterile => "its pack was found open, wet or past date, and there is no other",
            Indication::Emergency => "an emergency, and nothing sterile is there",
            Indication::TooFew => "there are too few of them for the day",
            Indication::SaveTime => "to save time",
            Indication::LoanLate => "a loan came too late",
            Indication::Other => "another reason",
        }
    }

    /// Whether published guidance takes it for a reason.
    pub fn is_acceptable(self) -> bool {
        matches!(self, Indication::Contaminated | Indication::FoundUnsterile | Indication::Emergency)
    }
}

/// For which case a load is, and why it does not go through the store.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ImmediateUse {
    pub case: Id,
    pub reason: Text,
    /// One of the list, so that it can be counted; without it nobody knows whether the reason was acceptable.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indication: Option<Indication>,
}

impl ImmediateUse {
    pub fn words(&self) -> String {
        let indication = self.indication.map_or("no indication named", Indication::words);
        format!("{indication}: {}", self.reason.0)
    }
}

/// What stands against a load for immediate use whatever lies in it; and the case that it is for.
pub(super) fn may(deciding: &mut Deciding, it: &ImmediateUse, kind: MachineKind) -> Option<Case> {
    reason_given(deciding, &it.reason);
    if deciding.state.policy.immediate_use_forbidden {
        deciding.against(Problem::new(
            Code::ProgrammeUnsuitable,
            "This site forbids immediate-use sterilisation.",
            "Here everything is wrapped, sterilised and stored before it is issued.",
            "Take another set or another part, or start it as a load for the store.",
        ));
    }
    if kind != MachineKind::Steriliser {
        deciding.against(
            Problem::new(
                Code::ProgrammeUnsuitable,
                format!("Immediate use is asked for in a {}.", kind.words()),
                "Only a steriliser makes anything sterile.",
                "Choose a steriliser, or leave the immediate use out.",
            )
            .even_late(),
        );
    }
    let case = known_case(deciding, &it.case)?;
    if !case.is_open() {
        deciding.against(Problem::new(
            Code::OutOfOrder,
            format!("Case {} is {}.", case.case, case.status().name()),
            "A case that is still to come, or under way, is needed.",
            "Name the case that needs it now; what no case needs goes through the store.",
        ));
    }
    Some(case)
}

/// What stands against one part in such a load.
pub(super) fn against(state: &State, asset: &Asset) -> Vec<Problem> {
    let Some(model) = state.model(&asset.model) else { return Vec::new() };
    let why = match (model.implant, model.processing.immediate_use) {
        (true, _) => "it is an implant",
        (_, Some(false)) => "its processing instructions do not admit it",
        _ => return Vec::new(),
    };
    vec![Problem::new(
        Code::ProgrammeUnsuitable,
        format!("{} does not suit immediate use: {why}.", asset.called()),
        "A part that may be used straight from the steriliser is needed.",
        "Leave it out of the load, and take another one from the store.",
    )]
}

/// Whether a part may go in as it is: unwrapped after its inspection, where packing and this method come next.
pub(super) fn goes_unwrapped(state: &State, asset: &Asset, sterilised_at: Option<usize>) -> bool {
    let next = asset.next as usize;
    let packing = state.route_of(asset).get(next).is_some_and(|on| on.step == StepKind::Packed);
    asset.stage == Stage::Inspected && packing && sterilised_at == Some(next + 1)
}

/// What the release of such a load makes of a part: it goes to its case at once, or back before packing where the case is
/// over, or where the part is not fit to go.
pub(super) fn released(state: &State, load: &Load, asset: &Asset) -> Option<Moved> {
    let case = &load.immediate_use.as_ref()?.case;
    let wanted = state.cases.get(case).is_some_and(|case| case.is_open());
    Some(match wanted && asset.counts() && asset.holds.iter().all(|held| held.kind == HoldKind::Dedicated) {
        true => asset.issued_from_chamber(state),
        false => asset.back_before(state, StepKind::Packed),
    })
}

impl State {
    /// The case for which a part lies in a load that is not decided yet.
    pub fn made_for(&self, asset: &Asset) -> Option<&Arc<Case>> {
        let load = self.loads.get(asset.in_load.as_ref()?)?;
        self.cases.get(&load.immediate_use.as_ref()?.case)
    }

    /// Whether a part lies in a load for another case than this one.
    pub fn made_for_another(&self, asset: &Asset, case: Option<&Id>) -> Option<&Arc<Case>> {
        self.made_for(asset).filter(|made| case != Some(&made.case))
    }

    /// The load from which a part that is out came straight to its case.
    pub fn use_now(&self, asset: &Asset) -> Option<&Arc<Load>> {
        if !asset.stage.is_out() {
            return None;
        }
        let (load, _) = self.loads_of.of(&asset.asset).rfind(|(_, turn)| *turn == asset.turn)?;
        let load = self.loads.get(load)?;
        (load.immediate_use.is_some() && load.status == LoadStatus::Released).then_some(load)
    }

    /// Whether a part went to a case straight from its steriliser in this turn.
    pub fn came_straight(&self, asset: &Id, turn: u32) -> bool {
        let mut of_turn = self.loads_of.of(asset).filter(|(_, of)| *of == turn);
        of_turn.any(|(load, _)| {
            self.loads
                .get(load)
                .is_some_and(|load| load.immediate_use.is_some() && load.status == LoadStatus::Released)
        })
    }

    /// The loads for immediate use at a case, oldest first.
    pub fn immediate_loads_of(&self, case: &Id) -> Vec<&Arc<Load>> {
        let of_case = |load: &&Arc<Load>| load.immediate_use.as_ref().is_some_and(|it| it.case == *case);
        let mut all: Vec<&Arc<Load>> = self.loads.values().filter(of_case).collect();
        all.sort_by_key(|load| load.entry);
        all
    }
}

/// Immediate use in one month of the site's calendar.
#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize, ToSchema)]
pub struct Month {
    pub month: String,
    /// Steriliser loads of the month that ran.
    pub loads: u32,
    pub immediate: u32,
    /// Those of them with a reason that published guidance takes for one.
    pub acceptable: u32,
    /// How often each indication was named; `not_stated` where none was.
    pub reasons: BTreeMap<String, u32>,
}

impl Month {
    /// How many of a hundred steriliser loads were for immediate use, in tenths.
    pub fn rate_tenths(&self) -> Option<u32> {
        tenths(self.immediate, self.loads)
    }

    pub fn acceptable_tenths(&self) -> Option<u32> {
        tenths(self.acceptable, self.immediate)
    }
}

fn tenths(part: u32, whole: u32) -> Option<u32> {
    let (part, whole) = (u64::from(part) * 1_000, u64::from(whole));
    (whole > 0).then(|| ((part + whole / 2) / whole) as u32)
}

/// How many steriliser loads were for immediate use, month by month as they were started, newest first, and why.
pub fn months(state: &State) -> Vec<Month> {
    let mut all: BTreeMap<String, Month> = BTreeMap::new();
    let ran = |load: &&Arc<Load>| load.programme.method.sterilises() && !load.did_not_run;
    for load in state.loads.values().filter(ran) {
        let name = month(state, load.started_at);
        let of = all.entry(name.clone()).or_insert_with(|| Month { month: name, ..Month::default() });
        of.loads += 1;
        let Some(asked) = &load.immediate_use else { continue };
        of.immediate += 1;
        of.acceptable += u32::from(asked.indication.is_some_and(Indication::is_acceptable));
        let reason = asked.indication.map_or("not_stated", Indication::name);
        *of.reasons.entry(reason.into()).or_default() += 1;
    }
    all.into_values().rev().collect()
}
