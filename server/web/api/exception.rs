//! Exceptions: loads released alone, early or without a word on dryness, open and closed, with their counts by month; and
//! what was out of the ordinary in a month, by whom and why.

use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::command::Malformed;
use crate::domain::event::{Beside, Entry};
use crate::domain::exception::{Exceptions, month_of};
use crate::domain::immediate_use;
use crate::domain::load::Load;
use crate::domain::model::Model;
use crate::domain::odd::{self, MonthOfOdd};
use crate::domain::person::Role;
use crate::domain::release::{Spores, spores};
use crate::domain::signing::{REVIEWERS, is_month};
use crate::domain::state::State;
use crate::domain::time::Time;

fn alone(load: &Load, today: crate::domain::time::Date) -> Option<Value> {
    let it = load.alone.as_ref()?;
    Some(json!({
        "load": load.load,
        "machine": load.machine,
        "released_at": load.decided_at,
        "released_by": load.decided_by,
        "reason": it.alone.reason,
        "due": it.alone.due,
        "overdue": it.signed_at.is_none() && it.alone.due < today,
        "countersigned_by": it.signed_by,
        "countersigned_at": it.signed_at,
    }))
}

fn early(state: &State, load: &Load) -> Option<Value> {
    let it = load.early.as_ref()?;
    let implant = |model: &Model| model.implant;
    let parts = load.contents.iter().filter_map(|part| state.assets.get(&part.asset));
    let implants = parts.filter(|asset| state.model(&asset.model).is_some_and(implant));
    Some(json!({
        "load": load.load,
        "machine": load.machine,
        "released_at": load.decided_at,
        "released_by": load.decided_by,
        "case": it.early.case,
        "patient": it.early.patient.is_some(),
        "person": it.early.person,
        "reason": it.early.reason,
        "implants": implants.map(|asset| &asset.asset).collect::<Vec<_>>(),
        "read_at": it.read_at,
        "biological": match spores(load) {
            Spores::NotRead => None,
            Spores::Passed => Some("passed"),
            Spores::Grew => Some("growth"),
        },
    }))
}

/// A load of whose dryness nobody said anything: open while something is still as it made it.
fn dryness(load: &Load) -> Option<Value> {
    Some(json!({
        "load": load.load,
        "machine": load.machine,
        "released_at": load.decided_at,
        "released_by": load.decided_by,
    }))
}

/// The open ones all, the closed ones of one month of the site's calendar.
fn told(
    state: &State,
    all: &Exceptions,
    month: &str,
    open: impl Fn(&Load) -> bool,
    one: impl Fn(&Load) -> Option<Value>,
) -> Value {
    let (open, closed): (Vec<&Load>, Vec<&Load>) = all.loads.iter().copied().partition(|load| open(load));
    let of_month = |load: &&Load| month_of(state, load) == month;
    json!({
        "months": all.months,
        "open": open.into_iter().filter_map(&one).collect::<Vec<_>>(),
        "closed": closed.into_iter().filter(of_month).filter_map(&one).collect::<Vec<_>>(),
    })
}

/// An entry that is out of the ordinary: in which ways, by whom, why and when.
fn odd(entry: &Entry, beside: &Beside) -> Value {
    json!({
        "entry": entry.seq,
        "kind": entry.kind,
        "at": entry.at,
        "recorded_at": entry.recorded_at,
        "person": entry.actor,
        "station": entry.station,
        "override": beside.overridden,
        "deviation": beside.deviation,
        "late": beside.late,
        "note": beside.note,
    })
}

/// Who signed for a month, and how many entries of it came since.
fn reviews(state: &State, month: &str, entries: &[Entry]) -> Value {
    let one = |role: Role| {
        let signed = state.reviewed(month, role);
        let since = entries.iter().filter(|it| signed.is_none_or(|signed| it.seq > signed.read_to)).count();
        json!({"role": role, "signed": signed, "since": since})
    };
    REVIEWERS.map(one).into()
}

fn answer(
    state: &State,
    month: &str,
    (entries, cut): (&[Entry], bool),
    months: &[MonthOfOdd],
    now: Time,
) -> Value {
    let today = now.date(state.zone);
    let beside = odd::beside(entries);
    let still = state.dryness_open();
    let still = |load: &Load| still.contains(&load.load);
    json!({
        "as_of": now,
        "month": month,
        "months": months,
        "reviews": reviews(state, month, entries),
        "out_of_the_ordinary": {
            "counts": odd::counts(&beside),
            "reasons": odd::reasons(&beside),
            "entries": beside.iter().map(|(entry, beside)| odd(entry, beside)).collect::<Vec<_>>(),
            "cut": cut,
        },
        "immediate_use": immediate_use::months(state),
        "dryness_not_stated": told(state, &state.dryness_not_stated(), month, still, dryness),
        "released_alone": told(state, &state.released_alone(), month, Load::waits_for_countersignature, |load| {
            alone(load, today)
        }),
        "released_early": told(state, &state.released_early(), month, Load::waits_for_biological, |load| {
            early(state, load)
        }),
    })
}

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let month = params.take("month")?;
    params.done()?;
    if month.as_ref().is_some_and(|month| !is_month(month)) {
        let detail = "found no month; one as 2026-03 is needed".to_string();
        return Err(Problem::malformed(&[Malformed { pointer: "?month".into(), detail }]));
    }
    let (state, now) = caller.state().await?;
    let month = month.unwrap_or_else(|| odd::month(&state, now));
    let (entries, cut) = caller.app.house.out_of_the_ordinary(&state.site, &month).await?;
    let months = caller.app.house.odd_months(&state.site).await?;
    Ok(ok(&answer(&state, &month, (&entries, cut), &months, now)))
}
