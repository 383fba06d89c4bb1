//! What is asked of the days to come: one more set, one away, a machine out of service, a case added.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::Serialize;
use serde_json::{Value, json};

use super::apply::{When, apply};
use super::command::{Command, Malformed};
use super::deciding::{Asked, Turned, decide};
use super::forecast_shop::Plan;
use super::id::Id;
use super::person::{Actor, Role};
use super::state::{Condition, Machine, State};
use super::time::Time;
use crate::analysis::queue::{Item, Start, Unit};

pub const DAYS_USUAL: u32 = 7;
pub const DAYS_MOST: u32 = 14;
/// So many sets more may be asked for.
pub const SETS_MOST: u32 = 10;
/// The case that is added for the asking.
const ADDED: &str = "what-if";

/// A case that nobody has planned yet.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Added {
    pub count_sheet: Id,
    pub start: Time,
    pub minutes: u32,
}

/// A question about the days to come.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Question {
    /// So many days, today among them.
    pub days: u32,
    /// So many sets of a count sheet more, ready now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub more: Option<(Id, u32)>,
    /// A set that is not to be had.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub without: Option<Id>,
    /// A machine that is out of service from now on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub down: Option<Id>,
    /// A machine that is in service again, however it went out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub back: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case: Option<Added>,
}

impl Default for Question {
    fn default() -> Self {
        Question { days: DAYS_USUAL, more: None, without: None, down: None, back: None, case: None }
    }
}

impl Question {
    /// Whether nothing is to be different.
    pub fn is_empty(&self) -> bool {
        *self == Question { days: self.days, ..Question::default() }
    }
}

/// The house as it would be: by the rules of the ledger, on a draft that nobody keeps.
pub(super) fn with(state: &State, now: Time, asks: &Question) -> Result<State, Vec<String>> {
    let mut draft = state.clone();
    if let Some(set) = asks.without.as_ref().filter(|set| !state.sets.contains_key(*set)) {
        return Err(vec![format!("No set is named \"{set}\". Choose one of the house's sets.")]);
    }
    if let Some(sheet) =
        asks.more.as_ref().map(|(sheet, _)| sheet).filter(|it| !state.sheets.contains_key(*it))
    {
        return Err(vec![format!("No count sheet is named \"{sheet}\". Choose one of the house's.")]);
    }
    if let Some(machine) = &asks.down {
        // A machine that is out already stays so.
        let runs = state.machines.get(machine).is_none_or(|it| it.condition == Condition::InService);
        if runs {
            let out = json!({"do": "machine_out", "machine": machine, "reason": "what if"});
            done(&mut draft, now, Role::Lead, out)?;
        }
    }
    if let Some(back) = &asks.back {
        let Some(machine) = state.machines.get(back) else {
            return Err(vec![format!("No machine is named \"{back}\". Choose one of the house's.")]);
        };
        // What a return asks for (tests, empty cycles) is not what is asked about.
        let again = Machine { condition: Condition::InService, ..(**machine).clone() };
        draft.machines.insert(back.clone(), Arc::new(again));
    }
    if let Some(case) = &asks.case {
        let is_free = |it: &String| !state.cases.keys().any(|case| case.as_str() == it);
        let name = (0..).map(|n| format!("{ADDED}-{n}")).find(is_free).unwrap_or_default();
        let plan = json!({
            "do": "plan_case", "case": name, "start": case.start, "minutes": case.minutes, "needs": [case.count_sheet],
        });
        done(&mut draft, now, Role::Charge, plan)?;
    }
    Ok(draft)
}

/// Decides a command and applies it to a draft.
fn done(draft: &mut State, now: Time, role: Role, command: Value) -> Result<(), Vec<String>> {
    let malformed = |errors: Vec<Malformed>| {
        errors
            .iter()
            .map(|it| format!("{}: {}.", it.pointer.trim_start_matches('/'), it.detail))
            .collect::<Vec<_>>()
    };
    let command = Command::read(command).map_err(malformed)?;
    let actor = Actor { code: "what-if".into(), role };
    let (turns, people, attachments) = (BTreeMap::new(), BTreeSet::new(), BTreeMap::new());
    let asked = Asked {
        actor: &actor,
        now: now.max(draft.recorded_at),
        salt: [0; 16],
        people: &people,
        own_name: None,
        turns: &turns,
        corrected: None,
        attachments: &attachments,
        same_patient: &BTreeSet::new(),
        prepared: None,
    };
    let decided = decide(draft, &asked, &command).map_err(|turned| match turned {
        Turned::Refused(refusal) => {
            refusal.reasons().map(|it| format!("{} {}", it.found, it.needed)).collect()
        }
        Turned::Malformed(errors) => malformed(errors),
        Turned::NotYourRole => vec!["This cannot be asked.".to_string()],
    })?;
    let when = When { seq: draft.seq + 1, at: decided.at, recorded_at: asked.now, actor: &actor.code };
    apply(draft, &when, &decided.event);
    Ok(())
}

/// Adds a set of a count sheet that is ready now, and goes the ways of one that is there.
pub(super) fn another_set(state: &State, plan: &mut Plan, sheet: &Id) -> Result<(), Vec<String>> {
    let of_sheet = |set: &Id| state.sets.get(set).is_some_and(|it| it.count_sheet == *sheet);
    let like = plan.sets.iter().enumerate().filter(|(_, set)| of_sheet(set));
    let whole = |unit: usize| plan.shop.items.iter().filter(move |item| item.unit == unit);
    // The one with the most items is the nearest to a whole one.
    let like = like.map(|(at, _)| at).filter(|at| whole(*at).any(|item| !item.way.is_empty()));
    let Some(like) = like.max_by_key(|at| whole(*at).count()) else {
        let name = state.sheets.get(sheet).map_or(sheet.as_str(), |it| it.name.0.as_str());
        return Err(vec![format!(
            "The house has no set “{name}” with parts, so that nobody knows how long another one takes. Assemble one first."
        )]);
    };
    let Some(kind) = plan.shop.units.get(like).map(|unit| unit.kind) else { return Ok(()) };
    let (unit, packs) =
        (plan.shop.units.len(), plan.shop.items.iter().map(|it| it.pack + 1).max().unwrap_or(0));
    let mut new: BTreeMap<usize, usize> = BTreeMap::new();
    let items: Vec<Item> = whole(like)
        .map(|item| {
            let next = packs + new.len();
            let pack = *new.entry(item.pack).or_insert(next);
            Item {
                unit,
                way: item.way.clone(),
                pack,
                start: Start::Waiting { step: item.way.len(), from_s: 0.0 },
            }
        })
        .collect();
    plan.shop.units.push(Unit { kind, due_s: None, unfit: false });
    plan.shop.items.extend(items);
    Ok(())
}

/// Takes a set away from everybody.
pub(super) fn set_away(plan: &mut Plan, set: &Id) {
    if let Some(unit) = plan.sets.iter().position(|it| it == set).and_then(|at| plan.shop.units.get_mut(at)) {
        unit.unfit = true;
    }
}
