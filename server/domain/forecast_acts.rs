//! What would save a case that is short: each act is tried in the simulation, with the same chances drawn, so that what
//! differs is the act's doing. What others lose by it is said beside what the case wins.

use serde::Serialize;

use super::allotted::Allotted;
use super::configuration::Configuration;
use super::forecast::{CaseForecast, SEED, odds};
use super::forecast_borrow::borrow;
use super::forecast_shop::Plan;
use super::forecast_size::sizes;
use super::forecast_tries::tries;
use super::id::Id;
use super::request::SendRequest;
use super::state::State;
use super::time::Time;
use crate::analysis::queue::{self, Forecast, Shop};

/// A case with better odds needs no help.
const GOOD: f64 = 0.8;
/// So much has an act to win, or it is not worth its words; a loss of another case is told from this on.
const WORTH: f64 = 0.1;
const LOSS: f64 = 0.05;
/// The cases that are helped, the first to start; the acts that are told of each.
const MOST_CASES: usize = 4;
const MOST_TOLD: usize = 3;
const REPLICATIONS: u32 = 300;

/// What a person may do.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Act {
    TakeNext,
    StartNow,
    TakeSet,
    PutIn,
    NextSize,
    Swap,
    TakeReserve,
    Borrow,
}

/// An act with its effect.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Saves {
    pub act: Act,
    /// The case's chance by it.
    pub chance: f64,
    pub sentence: String,
    /// The other cases that lose by it, with their chance then.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub loses: Vec<(Id, f64)>,
    /// What the desk would be asked for it, as `send_request` takes it; the others are acts of who plans the cases.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub request: Option<SendRequest>,
    /// What would be chosen, as `choose_configuration` takes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub configuration: Option<Configuration>,
}

/// An act, and the department as it would be by it.
#[derive(Clone, Debug)]
pub struct Tried {
    pub act: Act,
    pub does: String,
    pub shop: Shop,
    /// The want of each case, where the act changes their order.
    pub wants: Vec<Id>,
    pub request: Option<SendRequest>,
    pub configuration: Option<Configuration>,
}

impl Tried {
    pub fn of(plan: &Plan, act: Act, does: String, shop: Shop) -> Tried {
        Tried { act, does, shop, wants: plan.wants.clone(), request: None, configuration: None }
    }

    pub fn asks(mut self, request: SendRequest) -> Tried {
        self.request = Some(request);
        self
    }
}

/// Looks for acts, and adds those that help to the cases.
pub(super) fn help(
    (state, now): (&State, Time),
    plan: &Plan,
    allotted: &[Allotted],
    replications: u32,
    cases: &mut [CaseForecast],
) {
    let short = |it: &&mut CaseForecast| it.chance.is_some_and(|chance| chance < GOOD) && it.start >= now;
    // An act is tried in fewer runs: what it wins there is added to the chance that its case is told with.
    let all: Vec<(Id, f64)> = cases.iter().filter_map(|it| Some((it.case.clone(), it.chance?))).collect();
    let mut short: Vec<&mut CaseForecast> = cases.iter_mut().filter(short).collect();
    if short.is_empty() {
        return;
    }
    let replications = replications.min(REPLICATIONS);
    let Ok(base) = queue::forecast(&plan.shop, replications, SEED) else { return };
    for case in short.iter_mut().take(MOST_CASES) {
        let Some(own) = allotted.iter().find(|it| it.case.case == case.case) else { continue };
        let worth = |tried: Tried| {
            let told = queue::forecast(&tried.shop, replications, SEED).ok()?;
            judged(state, plan, (&base, &told), tried, (&case.case, &all))
        };
        let mut found: Vec<Saves> = tries((state, now), plan, own).into_iter().filter_map(worth).collect();
        found.extend(sizes((state, now), plan, own).into_iter().filter_map(worth));
        // Nobody borrows while the house can help itself, and robs nobody by that.
        if !found.iter().any(|it| it.chance >= GOOD && it.loses.is_empty()) {
            found.extend(borrow(state, plan, own).into_iter().filter_map(worth));
        }
        let lost = |it: &Saves| it.loses.len();
        found.sort_by(|a, b| b.chance.total_cmp(&a.chance).then(lost(a).cmp(&lost(b))));
        found.truncate(MOST_TOLD);
        case.saves = found;
    }
}

fn chance(told: &Forecast, wants: &[Id], case: &Id) -> Option<f64> {
    let at = wants.iter().position(|it| it == case)?;
    told.wants.get(at).map(|want| want.chance)
}

/// An act that is worth its words, with what it wins and what others lose.
fn judged(
    state: &State,
    plan: &Plan,
    (base, told): (&Forecast, &Forecast),
    it: Tried,
    (case, all): (&Id, &[(Id, f64)]),
) -> Option<Saves> {
    let own = |case: &Id, tried: f64| all.iter().find(|(own, _)| own == case).map_or(tried, |(_, own)| *own);
    let moved = |case: &Id| {
        let (was, is) = (chance(base, &plan.wants, case)?, chance(told, &it.wants, case)?);
        let before = own(case, was);
        Some((before, (before + is - was).clamp(0.0, 1.0)))
    };
    let (before, after) = moved(case)?;
    if after - before < WORTH {
        return None;
    }
    let others = plan.wants.iter().filter(|other| *other != case);
    let loses: Vec<(Id, f64)> = others
        .filter_map(|other| {
            let (was, is) = moved(other)?;
            (was - is >= LOSS).then(|| (other.clone(), is))
        })
        .collect();
    let lost: Vec<String> = loses
        .iter()
        .map(|(other, is)| {
            let was = moved(other).map(|(was, _)| odds(was)).unwrap_or_default();
            let start = state.cases.get(other).map(|case| super::board::hour(state, case.start));
            format!("case {other} at {} falls from {was} to {}", start.unwrap_or_default(), odds(*is))
        })
        .collect();
    let others = match lost.as_slice() {
        [] => "no other case loses".to_string(),
        lost => lost.join("; "),
    };
    let sentence = format!("{}: from {} to {}; {others}.", it.does, odds(before), odds(after));
    let Tried { act, request, configuration, .. } = it;
    Some(Saves { act, chance: after, sentence, loses, request, configuration })
}
