//! Alerts: each server judges the rules of every site that has some, whenever its facts change and each minute for the
//! clock. What became true and what ended is kept beside the ledger, once, however many servers judge it.
//!
//! What is so again within ten minutes of its end is the same alert gone on: a page says at each moment what is so, but
//! another program hears of an end only when it has lasted so long, and is not told a second time meanwhile.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use serde_json::json;
use tokio::sync::Notify;
use tokio::task::{AbortHandle, JoinSet};

use super::clock::random;
use super::house::{House, Unavailable, chain, operation, unavailable};
use crate::domain::alert::AlertRule;
use crate::domain::alert_told::{Seen, Told};
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::{MINUTE, Time};
use crate::storage::alert::{self, AlertRow, Change};
use crate::storage::alert_delivery::{self, Delivery, Secret};

/// So long after its end a thing is still the same one when it is so again.
pub const FLICKER_MINUTES: i64 = 10;
/// How often is looked for sites that have rules by now.
const LOOK: Duration = Duration::from_secs(5);
/// Between two judgements of a site, since each may ask for a forecast.
const REST: Duration = Duration::from_secs(1);
/// What ended is kept so long.
const KEPT_DAYS: i64 = 90;
const PURGE_EVERY: u32 = 720;

/// Rung when there may be something to send.
#[derive(Default)]
pub struct Bell(Notify);

impl Bell {
    pub fn ring(&self) {
        self.0.notify_one();
    }

    pub async fn rung(&self) {
        self.0.notified().await;
    }
}

/// Watches over every site's rules until it is ended.
pub async fn watch(house: Arc<House>) {
    // Dropped with this task, it ends every site's.
    let mut tasks = JoinSet::new();
    let mut sites: BTreeMap<String, AbortHandle> = BTreeMap::new();
    let mut look: u32 = 0;
    loop {
        match alert::sites_with_rules(&house.db).await {
            Ok(codes) => {
                for (code, site) in codes.iter().filter_map(|code| Some((code, Id::new(code)?))) {
                    if sites.get(code).is_none_or(AbortHandle::is_finished) {
                        sites.insert(code.clone(), tasks.spawn(kept(house.clone(), site)));
                    }
                }
            }
            Err(error) => tracing::warn!(error = %chain(&error), "the rules of alerts could not be read"),
        }
        if look.is_multiple_of(PURGE_EVERY) {
            let before = house.clock.now().plus_minutes(-KEPT_DAYS * 24 * 60);
            if let Err(error) = alert::drop_before(&house.db, before.0).await {
                tracing::warn!(error = %chain(&error), "old alerts could not be dropped");
            }
        }
        look = look.wrapping_add(1);
        while tasks.try_join_next().is_some() {}
        tokio::time::sleep(LOOK).await;
    }
}

/// Judges one site's rules for as long as it can be followed.
async fn kept(house: Arc<House>, site: Id) {
    // What does not answer now is tried again at the next look.
    let Ok(Some(mut states)) = house.follow(&site).await else { return };
    loop {
        let (state, now) = (states.borrow_and_update().clone(), house.clock.now());
        let is_told = house.tell(state, now).await.is_ok();
        tokio::time::sleep(REST).await;
        if !is_told {
            continue;
        }
        let left = MINUTE - house.clock.now().0.rem_euclid(MINUTE);
        let minute = Duration::from_micros(u64::try_from(left).unwrap_or_default());
        tokio::select! {
            changed = states.changed() => if changed.is_err() { return },
            () = tokio::time::sleep(minute) => {}
        }
    }
}

/// What a rule's address is told by: where it has one, a secret, and wants to be told.
fn is_told_too(rule: &AlertRule, secret: Option<&Secret>) -> bool {
    rule.set.webhook.is_some() && secret.is_some_and(|secret| secret.gone_entry < rule.entry.cast_signed())
}

/// A message as CloudEvents 1.0 has it, in structured mode.
fn message(state: &State, rule: &AlertRule, it: &AlertRow, kind: &str, at: Time) -> Delivery {
    let id = format!("{}-{kind}", it.id);
    let ended_at = (kind == "ended").then_some(at);
    let body = json!({
        "specversion": "1.0",
        "id": id,
        "source": format!("/fettle/{}", state.site),
        "type": format!("fettle.alert.{kind}"),
        "subject": it.subject,
        "time": at,
        "datacontenttype": "application/json",
        "data": {
            "site": state.site,
            "alert": it.id,
            "rule": it.rule,
            "about": rule.set.about,
            "tells": rule.set.tells,
            "subject": it.subject,
            "sentence": it.sentence,
            "raised_at": Time(it.raised_at),
            "ended_at": ended_at,
        },
    });
    let due_at = if ended_at.is_some() { at.plus_minutes(FLICKER_MINUTES) } else { at };
    Delivery {
        id,
        alert: it.id.clone(),
        rule: it.rule.clone(),
        kind: kind.into(),
        body: body.to_string(),
        made_at: due_at.0,
        due_at: due_at.0,
        tries: 0,
        status: "waits".into(),
    }
}

/// What has to change of what is known, so that it is what is told.
fn changes(
    state: &State,
    told: Vec<Told>,
    known: &[AlertRow],
    secrets: &BTreeMap<String, Secret>,
    now: Time,
) -> Result<Vec<Change>, getrandom::Error> {
    let seq = state.seq.cast_signed();
    let mut all = Vec::new();
    let is = |row: &AlertRow, it: &Told| row.rule == it.rule.as_str() && row.subject == it.subject;
    let then = |it: &AlertRow, kind: &str| {
        let rule = state.alert_rules.get(it.rule.as_str())?;
        is_told_too(rule, secrets.get(&it.rule)).then(|| message(state, rule, it, kind, now))
    };
    for row in known.iter().filter(|row| row.ended_at == 0) {
        if !told.iter().any(|it| is(row, it)) {
            all.push(Change::End { id: row.id.clone(), at: now.0, seq, then: then(row, "ended") });
        }
    }
    for it in told {
        let open = known.iter().find(|row| row.ended_at == 0 && is(row, &it));
        let ended =
            known.iter().filter(|row| row.ended_at > 0 && is(row, &it)).max_by_key(|row| row.ended_at);
        match (open, ended) {
            (Some(open), _) if open.sentence == it.sentence => {}
            (Some(open), _) => {
                all.push(Change::Reword { id: open.id.clone(), sentence: it.sentence, seq });
            }
            (None, Some(ended)) => {
                all.push(Change::GoOn { id: ended.id.clone(), sentence: it.sentence, seq });
            }
            (None, None) => {
                let alert = AlertRow {
                    id: format!("alert-{}", hex::encode(random::<8>()?)),
                    rule: it.rule.to_string(),
                    subject: it.subject,
                    sentence: it.sentence,
                    raised_at: now.0,
                    ended_at: 0,
                    seq,
                };
                let then = then(&alert, "raised");
                all.push(Change::Raise { alert, then });
            }
        }
    }
    Ok(all)
}

impl House {
    /// Judges a site's rules on these facts, and keeps what became true and what ended; says how much of it.
    pub async fn tell(&self, state: Arc<State>, now: Time) -> Result<usize, Unavailable> {
        let forecast = match state.alerts_need_forecast() {
            true => Some(self.forecast(state.clone(), now).await),
            false => None,
        };
        let board = self.board_of(&state, now).board;
        let told = state.alerts(Seen { board: &board, forecast: forecast.as_deref() }, now);
        let (site, recent) = (state.site.as_str(), now.plus_minutes(-FLICKER_MINUTES));
        let gone = |error| unavailable(&error);
        let known = alert::since(&self.db, site, recent.0).await.map_err(gone)?;
        let secrets = alert_delivery::secrets(&self.db, site).await.map_err(gone)?;
        let changes = changes(&state, told, &known, &secrets, now).map_err(|error| {
            let operation = operation();
            tracing::error!(operation, error = %chain(&error), "no name could be drawn for an alert");
            Unavailable { operation }
        })?;
        if changes.is_empty() {
            return Ok(0);
        }
        let done = alert::change(&self.db, site, &changes).await.map_err(gone)?;
        self.bell.ring();
        Ok(done)
    }
}
