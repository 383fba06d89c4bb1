//! What biomed decides of a model: what its parts cost, and the age at which they are replaced before they fail.
//!
//! Such an age is the house's own. It makes due entries and refuses nothing: inspection outranks any counter, and the
//! maker's limits bind beside it.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::When;
use super::command::{Malformed, Wear, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::lifetime::Clock;
use super::model::{reason_given, unknown};
use super::refusal::{Code, Problem};
use super::sizes::{Doubt, Point};
use super::state::State;
use super::text::{Quantity, Text};
use super::time::Time;

/// A part costs less than this; more is a slip of the finger.
pub(super) const MOST_CENTS: u64 = 10_000_000_000;
/// No part goes through more cycles or uses.
pub(super) const MOST_AGE: u32 = 1_000_000;
const MOST_DAYS: u32 = 3 * 365;

/// What a model's parts cost, in cents of the house's own money. What is absent keeps what it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetModelCosts {
    pub model: Id,
    /// A replacement in good time: the part, and the work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned_cents: Option<u64>,
    /// A replacement after a failure: that, and what the failure costs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unplanned_cents: Option<u64>,
    /// From the order until the part lies in the store.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    /// So many should lie in the store.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stock_target: Option<u32>,
}

impl SetModelCosts {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let all = [
            ("planned_cents", self.planned_cents, MOST_CENTS),
            ("unplanned_cents", self.unplanned_cents, MOST_CENTS),
            ("lead_days", self.lead_days.map(u64::from), u64::from(MOST_DAYS)),
            ("stock_target", self.stock_target.map(u64::from), 100_000),
        ];
        if all.iter().all(|(_, value, _)| value.is_none()) {
            return Err(wrong("", "found nothing that changes; at least one field beside model is needed"));
        }
        match all.into_iter().find(|(_, value, most)| value.is_some_and(|value| value > *most)) {
            Some((name, _, most)) => {
                Err(wrong(format!("/{name}"), format!("found more than {most}; 0 to {most} is needed")))
            }
            None => Ok(()),
        }
    }
}

/// Sets the age at which a model's parts are replaced before they fail; 0 takes it back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetLifeLimit {
    pub model: Id,
    /// In the clock of the model's family.
    pub replace_at: u32,
    pub reason: Text,
}

impl SetLifeLimit {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self.replace_at {
            0..=MOST_AGE => Ok(()),
            _ => Err(wrong("/replace_at", format!("found more than {MOST_AGE}; 0 to {MOST_AGE} is needed"))),
        }
    }
}

/// The limit as it was decided, with the figures of that day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LifeLimitSet {
    pub model: Id,
    pub clock: Clock,
    pub replace_at: u32,
    pub reason: String,
    pub evidence: Evidence,
}

/// On what a limit rests: what the ledger said of the model's lives when it was set, and what was made of that.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// Up to and with this entry.
    pub ledger: u64,
    pub units: u32,
    pub failures: u32,
    pub oldest: u32,
    /// Why no law of life was found, where none was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beta: Option<Figure>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub eta: Option<Figure>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned_cents: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unplanned_cents: Option<u64>,
    /// The age that costs least, with the ages that cost hardly more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub optimum: Option<Figure>,
    /// What it saves against waiting for failures, of the cost of these.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saving_percent: Option<Quantity>,
}

/// An estimate with its limits; no upper limit where the record bears none.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    pub value: Quantity,
    pub low: Quantity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high: Option<Quantity>,
}

/// What a model's parts cost, as it stands now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Costs {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned_cents: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unplanned_cents: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stock_target: Option<u32>,
}

/// What stands for a model now.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Upkeep {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub costs: Option<Costs>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<LifeLimit>,
    /// When the limit was decided or taken back, and each of the costs told: what is told late gives way to the newer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit_at: Option<Time>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub costs_at: BTreeMap<String, Time>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LifeLimit {
    #[serde(flatten)]
    pub set: LifeLimitSet,
    pub at: Time,
    pub by: String,
    pub entry: u64,
}

pub(super) fn act(deciding: &mut Deciding, act: &super::command::Wear) -> Option<What> {
    use super::command::Wear;
    match act {
        Wear::SetCosts(it) => set_costs(deciding, it),
        Wear::SetLimit(it) => set_limit(deciding, it),
        Wear::RequestInspection(it) => super::inspect_next::request(deciding, it),
    }
}

pub(super) fn set_costs(deciding: &mut Deciding, it: &SetModelCosts) -> Option<What> {
    deciding.touches(None);
    if !deciding.state.models.contains_key(&it.model) {
        deciding.against(unknown("model", it.model.as_str()));
    }
    Some(What::ModelCostsSet(it.clone()))
}

pub(super) fn set_limit(deciding: &mut Deciding, it: &SetLifeLimit) -> Option<What> {
    deciding.touches(None);
    reason_given(deciding, &it.reason);
    if !deciding.state.models.contains_key(&it.model) {
        deciding.against(unknown("model", it.model.as_str()));
        return None;
    }
    if it.replace_at == 0 && deciding.state.life_limit(&it.model).is_none() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("No age is set at which parts of model {} are replaced.", it.model),
            "An age that is set is needed, to be taken back.",
            "Nothing needs to be done.",
        ));
    }
    let clock = deciding.state.clock_of_model(&it.model);
    let useless = deciding.state.makers_limit(&it.model, clock).filter(|limit| it.replace_at > *limit);
    deciding.doubts.extend(useless.map(|limit| above_makers(it.replace_at, limit, clock)));
    let evidence = super::evidence::of(deciding.state, &it.model, clock, deciding.asked.now);
    let (model, replace_at, reason) = (it.model.clone(), it.replace_at, it.reason.0.clone());
    Some(What::LifeLimitSet(LifeLimitSet { model, clock, replace_at, reason, evidence }))
}

impl Wear {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self {
            Wear::SetCosts(it) => it.whole(),
            Wear::SetLimit(it) => it.whole(),
            Wear::RequestInspection(_) => Ok(()),
        }
    }
}

fn upkeep<'a>(state: &'a mut State, model: &Id) -> &'a mut Upkeep {
    state.changes.upkeep.insert(model.clone());
    Arc::make_mut(state.upkeep.entry(model.clone()).or_default())
}

/// Takes what is told, unless something newer was told of it.
fn newest<T>(known: &mut Option<T>, found: Option<T>, told: (&mut BTreeMap<String, Time>, &str, Time)) {
    let (times, name, at) = told;
    if found.is_some() && times.get(name).is_none_or(|newest| *newest <= at) {
        *known = found;
        times.insert(name.into(), at);
    }
}

pub(super) fn decided(state: &mut State, when: &When, what: &What) {
    match what {
        What::ModelCostsSet(it) => {
            let known = upkeep(state, &it.model);
            let told = &mut known.costs_at;
            let costs = known.costs.get_or_insert_default();
            newest(&mut costs.planned_cents, it.planned_cents, (told, "planned_cents", when.at));
            newest(&mut costs.unplanned_cents, it.unplanned_cents, (told, "unplanned_cents", when.at));
            newest(&mut costs.lead_days, it.lead_days, (told, "lead_days", when.at));
            newest(&mut costs.stock_target, it.stock_target, (told, "stock_target", when.at));
        }
        What::LifeLimitSet(it) => {
            let (at, by, entry) = (when.at, when.actor.to_string(), when.seq);
            let limit = LifeLimit { set: it.clone(), at, by, entry };
            let known = upkeep(state, &it.model);
            if known.limit_at.is_none_or(|newest| newest <= at) {
                known.limit = Some(limit).filter(|it| it.set.replace_at > 0);
                known.limit_at = Some(at);
            }
        }
        _ => {}
    }
}

/// An age that no part reaches, since its maker allows less.
fn above_makers(replace_at: u32, limit: u32, clock: Clock) -> Doubt {
    let found = format!("{}, above the maker's own limit of {limit}", clock.told(replace_at));
    let needed = "it changes nothing, since the maker's limit comes due before it; a lower age is needed to replace earlier";
    Point::new("/replace_at", found, needed).doubt()
}

impl State {
    /// What the maker allows of a model, in a clock of its own.
    pub fn makers_limit(&self, model: &Id, clock: Clock) -> Option<u32> {
        let limits = &self.model(model)?.limits;
        match clock {
            Clock::Cycles => limits.max_cycles,
            Clock::Uses => limits.max_uses,
            Clock::Days => None,
        }
    }

    /// The age at which the house replaces the parts of a model, where it has set one.
    pub fn life_limit(&self, model: &Id) -> Option<&LifeLimit> {
        self.upkeep.get(model)?.limit.as_ref()
    }

    pub fn costs_of(&self, model: &Id) -> Option<Costs> {
        self.upkeep.get(model)?.costs
    }
}
