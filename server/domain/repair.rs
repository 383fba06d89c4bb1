//! Repairs: a part leaves the loop for a time, and comes back soiled, with all that it has been through.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asset::opened_pack;
use super::deciding::Deciding;
use super::event::{Moved, What};
use super::id::{Id, next_free};
use super::model::reason_given;
use super::refusal::{Code, Problem};
use super::scan::general_problems;
use super::text::{Line, Text};
use super::time::{Date, Time};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SendToRepair {
    pub asset: Line,
    pub reason: Text,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Line>,
    /// What the label on the box says.
    pub decontaminated: bool,
    /// Who repairs it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
    /// What broke it, as the house sees it: wear, a fall, a wrong cleaning.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<Line>,
    /// The house holds that its supplier pays.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warranty: Option<bool>,
    /// When it is expected back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<Date>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BackFromRepair {
    pub asset: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost_cents: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<Text>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exchanged_for: Option<Exchange>,
    /// What the repairer found to have broken it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<Line>,
    /// Whether it was repaired under warranty after all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warranty: Option<bool>,
}

/// Another piece came back in its place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Exchange {
    pub serial: Line,
}

/// A repair, under way or over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Repair {
    pub repair: Id,
    pub asset: Id,
    pub reason: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Line>,
    pub decontaminated: bool,
    pub sent_at: Time,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub back_at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost_cents: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warranty: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<Date>,
    /// Another piece came back in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exchanged: Option<Line>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SentToRepair {
    pub repair: Id,
    pub asset: Id,
    pub turn: u32,
    pub reason: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Line>,
    pub decontaminated: bool,
    /// Its own pack, opened by taking it out.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moved: Vec<Moved>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warranty: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<Date>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CameFromRepair {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repair: Option<Id>,
    pub asset: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost_cents: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    pub moved: Moved,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warranty: Option<bool>,
}

pub(super) fn send(deciding: &mut Deciding, it: &SendToRepair) -> Option<What> {
    reason_given(deciding, &it.reason);
    let asset = deciding.one(it.asset.as_str())?;
    if asset.in_repair {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} is already in repair.", asset.called()),
            "A part in the house is needed.",
            "Nothing needs to be done.",
        ));
    } else {
        general_problems(deciding.state, &asset)
            .into_iter()
            .for_each(|problem| deciding.against(problem.even_late()));
    }
    if let Some(load) = &asset.in_load {
        deciding.against(super::load::in_load(&asset.called(), load).even_late());
    }
    if asset.stage.is_out() {
        let problem = Problem::new(
            Code::OutOfOrder,
            format!("{} is out at a case.", asset.called()),
            "A part that is back is needed.",
            "Close the count of the case, or record the part as received.",
        );
        deciding.against(problem);
    }
    let state = deciding.state;
    let repair = next_free("repair", 4, state.repairs.len(), |id| state.repairs.contains_key(id))?;
    deciding.made = Some(repair.clone());
    let moved = opened_pack(deciding, &asset, true);
    Some(What::SentToRepair(SentToRepair {
        repair,
        asset: asset.asset.clone(),
        turn: super::fact::turn_at(deciding, &asset),
        reason: it.reason.0.clone(),
        order: it.order.clone(),
        decontaminated: it.decontaminated,
        moved,
        supplier: it.supplier.clone(),
        cause: it.cause.clone(),
        warranty: it.warranty,
        expected: it.expected,
    }))
}

pub(super) fn back(deciding: &mut Deciding, it: &BackFromRepair) -> Option<What> {
    let asset = deciding.one(it.asset.as_str())?;
    if !asset.in_repair {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} is not in repair.", asset.called()),
            "A part that is in repair is needed.",
            "Nothing needs to be done.",
        ));
    }
    let state = deciding.state;
    let under_way =
        |repair: &&std::sync::Arc<Repair>| repair.asset == asset.asset && repair.back_at.is_none();
    Some(What::BackFromRepair(CameFromRepair {
        repair: state.repairs.values().find(under_way).map(|repair| repair.repair.clone()),
        asset: asset.asset.clone(),
        cost_cents: it.cost_cents,
        work: it.work.as_ref().map(|work| work.0.clone()),
        serial: it.exchanged_for.as_ref().map(|new| new.serial.clone()),
        moved: asset.returned_soiled(),
        cause: it.cause.clone(),
        warranty: it.warranty,
    }))
}
