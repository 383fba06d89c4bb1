//! Holds: out of use until a named person lifts them, with a reason.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{self, Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::{reason_given, unknown};
use super::notice::{Notice, Unknown};
use super::person::Role;
use super::refusal::{Code, Problem};
use super::scan::Mode;
use super::state::Asset;
use super::text::{Line, Scan, Text};
use super::time::Time;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum HoldKind {
    Quality,
    Repair,
    Recall,
    Prion,
    /// Kept for one patient alone, by the decision on a prion hold.
    Dedicated,
}

impl HoldKind {
    pub fn name(self) -> &'static str {
        match self {
            HoldKind::Quality => "quality",
            HoldKind::Repair => "repair",
            HoldKind::Recall => "recall",
            HoldKind::Prion => "prion",
            HoldKind::Dedicated => "dedicated",
        }
    }

    pub fn placed_by(self) -> &'static [Role] {
        match self {
            HoldKind::Quality => &[Role::Desk, Role::Lead, Role::Charge, Role::Biomed],
            HoldKind::Repair => &[Role::Biomed],
            HoldKind::Recall => &[Role::Biomed, Role::Lead, Role::Infection],
            HoldKind::Prion => &[Role::Infection, Role::Lead],
            // It has a command of its own.
            HoldKind::Dedicated => &[],
        }
    }

    pub fn lifted_by(self) -> &'static [Role] {
        match self {
            HoldKind::Quality => &[Role::Lead, Role::Biomed],
            HoldKind::Repair => &[Role::Biomed],
            HoldKind::Recall => &[Role::Lead, Role::Infection],
            HoldKind::Prion | HoldKind::Dedicated => &[Role::Infection],
        }
    }
}

/// A hold names its parts in one of three ways.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Place {
    pub kind: HoldKind,
    pub reason: Text,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scan: Option<Scan>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lots: Option<Vec<Line>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serials: Option<Vec<Line>>,
    /// The ends of a range of serials, both among them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial_from: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial_to: Option<Line>,
    /// What becomes of pieces of the model whose lot or serial is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unknown: Option<Unknown>,
}

impl Place {
    pub fn whole(&self) -> Result<(), Malformed> {
        let ways = [self.scan.is_some(), self.load.is_some(), self.model.is_some()];
        if ways.into_iter().filter(|given| *given).count() != 1 {
            return Err(wrong("", "found none or several of scan, load and model; one of them is needed"));
        }
        let range = (&self.serial_from, &self.serial_to);
        let narrowed = [self.lots.is_some(), self.serials.is_some(), range.0.is_some() || range.1.is_some()];
        if self.model.is_none() && (narrowed.contains(&true) || self.unknown.is_some()) {
            return Err(wrong("/model", "missing; lots and serials narrow a model"));
        }
        for (name, list) in [("lots", &self.lots), ("serials", &self.serials)] {
            if list.as_ref().is_some_and(Vec::is_empty) {
                let detail = "found an empty list; leave it out for every piece of the model";
                return Err(wrong(format!("/{name}"), detail));
            }
        }
        match range {
            (Some(from), Some(to)) => super::notice::range_whole(from, to)?,
            (None, None) => {}
            (Some(_), None) => return Err(wrong("/serial_to", "missing; a range of serials has two ends")),
            (None, Some(_)) => return Err(wrong("/serial_from", "missing; a range of serials has two ends")),
        }
        if self.serials.is_some() && self.serial_from.is_some() {
            return Err(wrong("/serial_from", "found serials and a range of them; one of them is needed"));
        }
        if self.lots.is_some() && self.serials.is_some() {
            return Err(wrong("/serials", "found lots and serials; one of them is needed"));
        }
        Ok(())
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Lift {
    pub hold: Id,
    pub reason: Text,
}

/// A hold as the state keeps it. Which parts it holds stands with the parts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldState {
    pub hold: Id,
    pub kind: HoldKind,
    pub reason: String,
    pub placed_at: Time,
    pub placed_by: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lifted_at: Option<Time>,
    /// The notice that it follows, where it named a model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notice: Option<Box<Notice>>,
    /// The case for whose patient its parts are kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dedicated_to: Option<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldPlaced {
    pub hold: Id,
    pub kind: HoldKind,
    pub reason: String,
    pub assets: Vec<Id>,
    /// What it named, where it named a model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notice: Option<Box<Notice>>,
    /// The case for whose patient they are kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dedicated_to: Option<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldLifted {
    pub hold: Id,
    pub reason: String,
    pub assets: Vec<Id>,
}

impl Asset {
    pub fn has_hold(&self, kind: HoldKind) -> bool {
        self.holds.iter().any(|held| held.kind == kind)
    }
}

pub(super) fn act(deciding: &mut Deciding, act: &command::Hold) -> Option<What> {
    match act {
        command::Hold::Place(it) => place(deciding, it),
        command::Hold::Lift(it) => lift(deciding, it),
        command::Hold::Dedicate(it) => super::dedicate::dedicate(deciding, it),
    }
}

fn place(deciding: &mut Deciding, it: &Place) -> Option<What> {
    reason_given(deciding, &it.reason);
    let mut notice = None;
    let assets = match (&it.scan, &it.load, &it.model) {
        (Some(scan), ..) => {
            let picked = deciding.pick(scan, Mode::Permission);
            let parts = deciding.each_freely(picked, |asset| {
                asset.retired.is_some().then(|| super::scan::retired(asset).even_late()).into_iter().collect()
            });
            parts.iter().map(|asset| asset.asset.clone()).collect()
        }
        (_, Some(load), _) => match deciding.state.loads.get(load) {
            Some(load) => held_of(deciding, load.contents.iter().map(|part| part.asset.clone())),
            None => {
                deciding.against(unknown("load", load.as_str()));
                return None;
            }
        },
        (.., Some(model)) => {
            if !deciding.state.models.contains_key(model) {
                deciding.against(unknown("model", model.as_str()));
                return None;
            }
            let pieces = deciding.state.named_by(it);
            let unknown = it.unknown_are();
            notice = Some(Box::new(Notice {
                model: model.clone(),
                lots: it.lots.clone(),
                serials: it.serials.clone(),
                serial_from: it.serial_from.clone(),
                serial_to: it.serial_to.clone(),
                not_known: pieces.not_known.clone(),
                unknown,
            }));
            let too = if unknown == Unknown::Hold { pieces.not_known } else { Vec::new() };
            held_of(deciding, pieces.named.into_iter().chain(too))
        }
        _ => return None,
    };
    if assets.is_empty() {
        deciding.against(Problem::new(
            Code::UnknownThing,
            "No part in service is what the hold names.",
            "At least one part in service is needed.",
            "Look at the model, the lots and the serials; what is retired needs no hold.",
        ));
    }
    let hold = deciding.new_hold()?;
    deciding.made = Some(hold.clone());
    Some(What::HoldPlaced(HoldPlaced {
        hold,
        kind: it.kind,
        reason: it.reason.0.clone(),
        assets,
        notice,
        dedicated_to: None,
    }))
}

/// Those of the named parts that are still in the house; each counts as touched.
fn held_of(deciding: &mut Deciding, named: impl Iterator<Item = Id>) -> Vec<Id> {
    let state = deciding.state;
    let mut kept = Vec::new();
    for asset in named.filter_map(|id| state.assets.get(&id)) {
        if asset.retired.is_none() {
            deciding.touches(Some(asset.last_at));
            kept.push(asset.asset.clone());
        }
    }
    kept
}

fn lift(deciding: &mut Deciding, it: &Lift) -> Option<What> {
    let Some(hold) = deciding.state.holds.get(&it.hold) else {
        deciding.against(unknown("hold", it.hold.as_str()));
        return None;
    };
    if !hold.kind.lifted_by().contains(&deciding.asked.actor.role) {
        deciding.not_your_role = true;
    }
    reason_given(deciding, &it.reason);
    if hold.lifted_at.is_some() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Hold {} is already lifted.", it.hold),
            "A hold in force is needed.",
            "Nothing needs to be done.",
        ));
    }
    let state = deciding.state;
    if let Some(recall) = state.recalls.values().find(|open| open.is_open() && open.hold == it.hold) {
        let problem = Problem::new(
            Code::StillReferenced,
            format!("Hold {} is that of recall {}, which is open.", it.hold, recall.recall),
            "A recall's hold ends part by part, with an answer for each, or by a narrower window.",
            "Answer for the parts with answer_recall, or let infection prevention narrow the recall.",
        );
        deciding.against(problem);
    }
    if let Some(stranger) = state.strangers.values().find(|open| open.is_open() && open.hold == it.hold) {
        let problem = Problem::new(
            Code::StillReferenced,
            format!(
                "Hold {} is that of {}, a stranger about which something is still to be settled.",
                it.hold, stranger.tag
            ),
            "A stranger's hold ends when it is settled what it is.",
            "Settle what it is, or that its owner has it back.",
        );
        deciding.against(problem);
    }
    let mut assets = Vec::new();
    for asset in state.assets.values().filter(|asset| asset.holds.iter().any(|held| held.hold == it.hold)) {
        deciding.touches(Some(asset.last_at));
        assets.push(asset.asset.clone());
    }
    Some(What::HoldLifted(HoldLifted { hold: it.hold.clone(), reason: it.reason.0.clone(), assets }))
}
