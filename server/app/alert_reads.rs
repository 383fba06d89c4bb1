//! What pages and programs read of alerts, and what a person says of one: seen. The secrets of addresses are made here.

use std::collections::BTreeMap;

use super::clock::random;
use super::house::{House, Unavailable, chain, operation, unavailable};
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::state::State;
use crate::domain::time::{Time, on_day};
use crate::formats::fhir::base64;
use crate::storage::alert::{self, AlertRow};
use crate::storage::alert_delivery::{self, Attempt, Delivery, Secret};

/// Before the secret, so that one knows what it is where one finds it.
const SECRET_BEGINS: &str = "whsec_";

/// An alert with those who have seen it.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenAlert {
    pub row: AlertRow,
    pub seen: Vec<(String, Time)>,
}

/// Messages with their tries.
pub type Tried = Vec<(Delivery, Vec<Attempt>)>;

impl House {
    /// What is open for a role, in how many rows, and how many of them this person has not seen. Nothing is asked of the
    /// database where no rule tells the role anything.
    pub async fn alerts_open(
        &self,
        state: &State,
        role: Role,
        person: &str,
    ) -> Result<(usize, usize), Unavailable> {
        if !state.alert_rules().any(|(_, rule)| rule.tells(role)) {
            return Ok((0, 0));
        }
        let open = self.alerts_of(state, role, Time(i64::MAX)).await?;
        let unseen = open.iter().filter(|it| !it.seen.iter().any(|(by, _)| by == person)).count();
        Ok((open.len(), unseen))
    }

    /// What a role is told of: what is open, and what ended at a time or later, the newest first.
    pub async fn alerts_of(
        &self,
        state: &State,
        role: Role,
        ended_since: Time,
    ) -> Result<Vec<SeenAlert>, Unavailable> {
        let gone = |error| unavailable(&error);
        let rows = alert::since(&self.db, state.site.as_str(), ended_since.0).await.map_err(gone)?;
        let is_told =
            |row: &AlertRow| state.alert_rules.get(row.rule.as_str()).is_some_and(|rule| rule.tells(role));
        let rows: Vec<AlertRow> = rows.into_iter().filter(is_told).collect();
        self.with_seen(&state.site, rows, ended_since).await
    }

    /// The day's beginning at the site.
    pub fn day_began(&self, state: &State, now: Time) -> Time {
        on_day(now.date(state.zone), chrono::NaiveTime::MIN, state.zone)
    }

    async fn with_seen(
        &self,
        site: &Id,
        rows: Vec<AlertRow>,
        since: Time,
    ) -> Result<Vec<SeenAlert>, Unavailable> {
        if rows.is_empty() {
            return Ok(Vec::new());
        }
        let read =
            alert::seen(&self.db, site.as_str(), since.0).await.map_err(|error| unavailable(&error))?;
        let mut seen: BTreeMap<String, Vec<(String, Time)>> = BTreeMap::new();
        for (alert, person, at) in read {
            seen.entry(alert).or_default().push((person, Time(at)));
        }
        let mut with = |row: AlertRow| SeenAlert { seen: seen.remove(&row.id).unwrap_or_default(), row };
        Ok(rows.into_iter().map(&mut with).collect())
    }

    /// A page of everything that was told, by its names.
    pub async fn alerts_page(
        &self,
        site: &Id,
        after: &str,
        open: bool,
        most: usize,
    ) -> Result<Vec<SeenAlert>, Unavailable> {
        let rows = alert::page(&self.db, site.as_str(), after, open, most).await;
        self.with_seen(site, rows.map_err(|error| unavailable(&error))?, Time(0)).await
    }

    /// Keeps that a person has seen an alert; `false` where there is none of that name.
    pub async fn see_alert(&self, site: &Id, alert: &str, person: &str) -> Result<bool, Unavailable> {
        let at = self.clock.now().0;
        alert::see(&self.db, site.as_str(), alert, person, at).await.map_err(|error| unavailable(&error))
    }

    /// A page of the messages to other programs, by their names.
    pub async fn messages_page(&self, site: &Id, after: &str, most: usize) -> Result<Tried, Unavailable> {
        let read = alert_delivery::page(&self.db, site.as_str(), after, most).await;
        self.with_tries(site, read.map_err(|error| unavailable(&error))?).await
    }

    /// The newest messages.
    pub async fn messages_newest(&self, site: &Id, most: u32) -> Result<Tried, Unavailable> {
        let read = alert_delivery::newest(&self.db, site.as_str(), most).await;
        self.with_tries(site, read.map_err(|error| unavailable(&error))?).await
    }

    async fn with_tries(&self, site: &Id, all: Vec<Delivery>) -> Result<Tried, Unavailable> {
        let read = alert_delivery::attempts(&self.db, site.as_str(), &all).await;
        let mut tries = read.map_err(|error| unavailable(&error))?;
        let mut with = |it: Delivery| {
            let tried = tries.remove(&it.id).unwrap_or_default();
            (it, tried)
        };
        Ok(all.into_iter().map(&mut with).collect())
    }

    /// The secrets of a site's rules. Only when they were made, and by whom, is for anybody to see.
    pub async fn alert_secrets(&self, site: &Id) -> Result<BTreeMap<String, Secret>, Unavailable> {
        alert_delivery::secrets(&self.db, site.as_str()).await.map_err(|error| unavailable(&error))
    }

    /// Makes a rule's secret, and tells it this once: 32 bytes, of which the text is base64 behind its beginning.
    pub async fn new_alert_secret(&self, site: &Id, rule: &Id, by: &str) -> Result<String, Unavailable> {
        let secret = random::<32>().map_err(|error| {
            let operation = operation();
            tracing::error!(operation, error = %chain(&error), "no secret could be drawn");
            Unavailable { operation }
        })?;
        let made = (self.clock.now().0, by);
        let kept =
            alert_delivery::set_secret(&self.db, site.as_str(), rule.as_str(), secret.to_vec(), made).await;
        kept.map_err(|error| unavailable(&error))?;
        Ok(format!("{SECRET_BEGINS}{}", base64(&secret)))
    }
}
