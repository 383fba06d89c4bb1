//! Alerts for programs: what was told, by which rules, and what other programs were told of it.

use axum::extract::Path;
use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::params::Params;
use super::{listed, ok, paged};
use crate::app::alert_reads::SeenAlert;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::storage::alert_delivery::{Attempt, Delivery};

fn told(state: &State, it: &SeenAlert) -> Value {
    let rule = state.alert_rules.get(it.row.rule.as_str());
    let seen: Vec<Value> = it.seen.iter().map(|(by, at)| json!({"by": by, "at": at})).collect();
    json!({
        "alert": it.row.id,
        "rule": it.row.rule,
        "about": rule.map(|rule| rule.set.about),
        "tells": rule.map(|rule| rule.set.tells.clone()).unwrap_or_default(),
        "subject": it.row.subject,
        "sentence": it.row.sentence,
        "raised_at": Time(it.row.raised_at),
        "ended_at": (it.row.ended_at > 0).then_some(Time(it.row.ended_at)),
        "seen": seen,
    })
}

/// What was told, by its names; `open=true` that alone which is so still.
pub async fn list(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit, open) = (params.take("after")?, params.limit()?, params.flag("open")?);
    params.done()?;
    let (state, _) = caller.state().await?;
    let after = after.unwrap_or_default();
    let page = caller.app.house.alerts_page(&caller.site, &after, open, limit + 1).await?;
    let rows = page.iter().map(|it| (it.row.id.clone(), told(&state, it)));
    Ok(ok(&listed(rows, limit)))
}

/// The rules, by their names.
pub async fn rules(caller: Caller, params: Params) -> Result<Response, Problem> {
    let secrets = caller.app.house.alert_secrets(&caller.site).await?;
    paged(
        caller,
        params,
        |state| &state.alert_rules,
        |_, it, _| {
            let set = &it.set;
            let secret = set.rule.as_ref().and_then(|rule| secrets.get(rule.as_str()));
            Some(json!({
                "rule": set.rule,
                "about": set.about,
                "tells": set.tells,
                "before": set.before,
                "below": set.below,
                "count_sheet": set.count_sheet,
                "minutes": set.minutes,
                "webhook": set.webhook,
                "since": it.since,
                "at": it.at,
                "by": it.by,
                "entry": it.entry,
                "dropped": it.dropped,
                "secret": secret.map(|secret| json!({"made_at": Time(secret.made_at), "by": secret.made_by})),
                "gone": secret.is_some_and(|secret| secret.gone_entry >= it.entry.cast_signed()),
            }))
        },
    )
    .await
}

/// Makes a rule's secret, and tells it this once.
pub async fn secret(
    caller: Caller,
    Path((_, rule)): Path<(String, String)>,
    params: Params,
) -> Result<Response, Problem> {
    params.done()?;
    let (state, _) = caller.state().await?;
    let known = Id::new(&rule).filter(|id| state.alert_rules().any(|(own, _)| own == id));
    let id = known.ok_or_else(|| Problem::unknown_thing("rule of alerts", &rule))?;
    let secret = caller.app.house.new_alert_secret(&caller.site, &id, &caller.actor.code).await?;
    Ok(ok(&json!({"rule": id, "secret": secret})))
}

fn delivered((it, attempts): &(Delivery, Vec<Attempt>)) -> Value {
    let tried = |one: &Attempt| json!({"number": one.number, "at": Time(one.at), "told": one.told});
    json!({
        "delivery": it.id,
        "alert": it.alert,
        "rule": it.rule,
        "kind": it.kind,
        "status": it.status,
        "from": Time(it.made_at),
        "due_at": (it.status == "waits").then_some(Time(it.due_at)),
        "tries": it.tries,
        "attempts": attempts.iter().map(tried).collect::<Vec<_>>(),
    })
}

/// What other programs were told, by its names, with each try.
pub async fn deliveries(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let (after, limit) = (params.take("after")?, params.limit()?);
    params.done()?;
    let page = caller.app.house.messages_page(&caller.site, &after.unwrap_or_default(), limit + 1).await?;
    let rows = page.iter().map(|it| (it.0.id.clone(), delivered(it)));
    Ok(ok(&listed(rows, limit)))
}
