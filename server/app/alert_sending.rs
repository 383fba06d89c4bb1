//! What other programs are told of alerts: which message goes when, how often it is tried, and what became of it. The way
//! there is another floor's.

use std::sync::Arc;

use super::clock::random;
use super::house::{House, Unavailable, unavailable};
use crate::domain::alert_address::Address;
use crate::domain::id::Id;
use crate::domain::time::Time;
use crate::storage::StorageError;
use crate::storage::alert_delivery::{self, Attempt, Delivery};

/// After each failed try the next one comes later, up to an hour; each a fifth sooner or later, so that what failed
/// together is not tried together.
const PAUSES_S: [i64; 5] = [5, 30, 2 * 60, 10 * 60, 60 * 60];
/// What was not taken within a day is given up.
const GIVEN_UP_MINUTES: i64 = 24 * 60;
/// Where nothing is heard of a try for so long, its server is gone, and another one tries.
const LEASE_S: i64 = 60;

/// A message that this server has taken for one try.
#[derive(Clone)]
pub struct Taken {
    pub site: Id,
    pub delivery: Delivery,
    pub address: Address,
    pub secret: Vec<u8>,
    /// The rule's entry that names the address.
    pub entry: u64,
}

/// What came of a try.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    Taken(String),
    /// The address wants no more.
    Gone(String),
    Failed(String),
}

/// When the next try is after this many, by a chance from 0 to 255; `None` where there is none.
pub fn next_try(tries: i64, made_at: Time, now: Time, chance: u8) -> Option<Time> {
    let place = usize::try_from(tries.saturating_sub(1)).unwrap_or_default();
    let pause = PAUSES_S.get(place).or(PAUSES_S.last()).copied().unwrap_or_default();
    let share = 800 + i64::from(chance) * 400 / 255;
    let next = Time(now.0.saturating_add(pause.saturating_mul(share).saturating_mul(1_000)));
    (next <= made_at.plus_minutes(GIVEN_UP_MINUTES)).then_some(next)
}

impl House {
    /// Takes what is due for one try, at most so many. What nobody wants any more is settled here.
    pub async fn take_messages(self: &Arc<House>, most: u32) -> Result<Vec<Taken>, Unavailable> {
        let now = self.clock.now();
        let due = alert_delivery::due(&self.db, now.0, most).await.map_err(|error| unavailable(&error))?;
        let mut all = Vec::new();
        for (site, mut delivery) in due {
            let until = now.plus_s(LEASE_S);
            let is_ours = alert_delivery::claim(&self.db, &site, &delivery, now.0, until.0).await;
            if !is_ours.map_err(|error| unavailable(&error))? {
                continue;
            }
            delivery.tries += 1;
            match self.destined(&site, &delivery).await? {
                Ok(taken) => all.push(taken),
                Err((status, why)) => {
                    let kept = self.keep(&site, &delivery, (status, now), why).await;
                    kept.map_err(|error| unavailable(&error))?;
                }
            }
        }
        Ok(all)
    }

    /// Where a message goes as its rule stands now; or what becomes of it instead, and why.
    async fn destined(
        &self,
        site: &str,
        delivery: &Delivery,
    ) -> Result<Result<Taken, (&'static str, &'static str)>, Unavailable> {
        let dropped = ("dropped", "Not sent: its rule was dropped, or names no address any more.");
        let Some(id) = Id::new(site) else { return Ok(Err(dropped)) };
        let Some(state) = self.state(&id).await? else { return Ok(Err(dropped)) };
        let secrets = alert_delivery::secrets(&self.db, site).await.map_err(|error| unavailable(&error))?;
        let rule = state.alert_rules.get(delivery.rule.as_str()).filter(|rule| rule.dropped.is_none());
        let address = rule.and_then(|rule| rule.set.webhook.as_ref());
        let (Some(rule), Some(address)) = (rule, address) else { return Ok(Err(dropped)) };
        let Some(secret) = secrets.get(&delivery.rule) else { return Ok(Err(dropped)) };
        if secret.gone_entry >= rule.entry.cast_signed() {
            let why = "Not sent: the address wants no more (410), until the rule is set anew.";
            return Ok(Err(("gone", why)));
        }
        let Ok(address) = Address::read(address.as_str()) else { return Ok(Err(dropped)) };
        let secret = secret.secret.clone();
        Ok(Ok(Taken { site: id, delivery: delivery.clone(), address, secret, entry: rule.entry }))
    }

    async fn keep(
        &self,
        site: &str,
        delivery: &Delivery,
        (status, due_at): (&str, Time),
        told: &str,
    ) -> Result<(), StorageError> {
        let attempt = Attempt { number: delivery.tries, at: self.clock.now().0, told: told.into() };
        alert_delivery::settle(&self.db, site, &delivery.id, (status, due_at.0), &attempt).await
    }

    /// Keeps what came of a try.
    pub async fn settle_message(&self, it: &Taken, heard: &Heard) -> Result<(), Unavailable> {
        let (now, made_at) = (self.clock.now(), Time(it.delivery.made_at));
        let site = it.site.as_str();
        let gone = |error| unavailable(&error);
        // Without randomness the pause is the plain one.
        let chance = random::<1>().map_or(128, |[chance]| chance);
        let (outcome, told) = match heard {
            Heard::Taken(told) => (("done", now), told.clone()),
            Heard::Gone(told) => {
                let entry = it.entry.cast_signed();
                alert_delivery::gone(&self.db, site, &it.delivery.rule, entry).await.map_err(gone)?;
                (("gone", now), told.clone())
            }
            Heard::Failed(told) => match next_try(it.delivery.tries, made_at, now, chance) {
                Some(next) => (("waits", next), told.clone()),
                None => (("given_up", now), format!("{told} Given up after a day.")),
            },
        };
        tracing::info!(
            site,
            delivery = it.delivery.id,
            tries = it.delivery.tries,
            outcome = outcome.0,
            "alert sent"
        );
        self.keep(site, &it.delivery, outcome, &told).await.map_err(gone)
    }
}
