//! Reading what is not current: entries of the ledger, of a thing, raw records.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::batch::{read_entry, read_event};
use super::house::{House, Unavailable, unavailable};
use crate::domain::case::Case;
use crate::domain::event::{Entry, Thing, What};
use crate::domain::id::Id;
use crate::domain::load::Load;
use crate::domain::odd::{self, MonthOfOdd};
use crate::domain::person::Actor;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::verdict::Judged;
use crate::storage::StorageError;
use crate::storage::ledger::{self, StoredEntry};

/// Verdicts by the loads that they judge.
pub type Verdicts = BTreeMap<Id, Arc<Judged>>;

/// So many entries of a month that are out of the ordinary are read at once.
pub const ODD_MOST: usize = 10_000;

impl House {
    /// Entries of a thing, newest first, before a place in the ledger. A part is found through its sets too, and
    /// then only where the entry names it.
    pub async fn history(
        &self,
        site: &Id,
        thing: &Thing,
        before: Option<u64>,
        limit: usize,
    ) -> Result<Vec<Entry>, Unavailable> {
        let mut found = Vec::new();
        let mut before = before.unwrap_or(u64::MAX);
        while found.len() < limit {
            let page =
                ledger::of_thing(&self.db, site.as_str(), (thing.kind, &thing.name), before, limit.max(100))
                    .await
                    .map_err(|error| unavailable(&error))?;
            let Some(last) = page.last() else { break };
            before = last.seq;
            for stored in &page {
                let (entry, event) = read_entry(stored).map_err(|error| unavailable(&error))?;
                if thing.kind != "asset" || event.names(&thing.name) {
                    found.push(entry);
                }
            }
        }
        found.truncate(limit);
        Ok(found)
    }

    /// What was out of the ordinary in a month of the site's calendar, newest first, and whether there was more than is
    /// read at once.
    pub async fn out_of_the_ordinary(
        &self,
        site: &Id,
        month: &str,
    ) -> Result<(Vec<Entry>, bool), Unavailable> {
        let entries = self.history(site, &odd::thing(month), None, ODD_MOST + 1).await?;
        let cut = entries.len() > ODD_MOST;
        Ok((entries.into_iter().take(ODD_MOST).collect(), cut))
    }

    /// How many entries were out of the ordinary in each month of the site's calendar, the latest first.
    pub async fn odd_months(&self, site: &Id) -> Result<Vec<MonthOfOdd>, Unavailable> {
        let counted = ledger::counted(&self.db, site.as_str(), odd::KIND).await;
        Ok(odd::months(&counted.map_err(|error| unavailable(&error))?))
    }

    /// Entries of the whole ledger with their leaves, newest first, before a place in it.
    pub async fn newest(
        &self,
        site: &Id,
        before: Option<u64>,
        limit: usize,
    ) -> Result<Vec<(Entry, String)>, Unavailable> {
        let page = ledger::page_before(&self.db, site.as_str(), before.unwrap_or(u64::MAX), limit).await;
        let page = page.map_err(|error| unavailable(&error))?;
        let read = |stored: &StoredEntry| Ok((read_entry(stored)?.0, hex::encode(&stored.leaf)));
        page.iter().map(read).collect::<Result<_, StorageError>>().map_err(|error| unavailable(&error))
    }

    /// When an entry was recorded.
    pub async fn recorded_at(&self, site: &Id, seq: u64) -> Result<Option<Time>, Unavailable> {
        let times = ledger::times_of(&self.db, site.as_str(), seq).await;
        Ok(times.map_err(|error| unavailable(&error))?.map(|(_, recorded_at)| Time(recorded_at)))
    }

    /// Entries after a place, oldest first: the canonical text and the leaf's hex.
    pub async fn ledger_after(
        &self,
        site: &Id,
        seq: u64,
        limit: usize,
    ) -> Result<Vec<(u64, String, String)>, Unavailable> {
        let page = ledger::page_after(&self.db, site.as_str(), seq, limit).await;
        let page = page.map_err(|error| unavailable(&error))?;
        Ok(page.into_iter().map(|stored| (stored.seq, stored.entry, hex::encode(stored.leaf))).collect())
    }

    /// The root of the tree over the entries up to one, as hex, where the ledger still ends with that entry.
    pub async fn root_at(&self, site: &Id, seq: u64) -> Result<Option<String>, Unavailable> {
        let head = ledger::head_of(&self.db, site.as_str()).await.map_err(|error| unavailable(&error))?;
        Ok(head.filter(|head| head.seq == seq).map(|head| hex::encode(&head.root)))
    }

    /// The verdicts on these loads, whole. Those of decided loads are read from their entries.
    pub async fn verdicts(
        &self,
        site: &Id,
        loads: impl Iterator<Item = &Load>,
    ) -> Result<Verdicts, Unavailable> {
        let mut found = Verdicts::new();
        let mut places = Vec::new();
        for load in loads {
            match load.judged.as_ref().map(|judged| (judged.entry, &judged.whole)) {
                Some((_, Some(whole))) => drop(found.insert(load.load.clone(), whole.clone())),
                Some((entry, None)) => places.push(entry),
                None => {}
            }
        }
        let read = ledger::at_places(&self.db, site.as_str(), &places).await;
        for stored in read.map_err(|error| unavailable(&error))? {
            let entry = read_event(&stored).map_err(|error| unavailable(&error))?;
            if let What::LoadJudged(it) = entry.event.what {
                found.insert(it.load, Arc::new(it.judged));
            }
        }
        Ok(found)
    }

    /// The verdict on one load, whole, where there is one.
    pub async fn verdict(&self, site: &Id, load: &Load) -> Result<Option<Arc<Judged>>, Unavailable> {
        Ok(self.verdicts(site, std::iter::once(load)).await?.remove(&load.load))
    }

    /// A cycle record as it came, by its SHA-256.
    pub async fn raw_record(&self, site: &Id, sha256: &str) -> Result<Option<Vec<u8>>, Unavailable> {
        ledger::record(&self.db, site.as_str(), sha256).await.map_err(|error| unavailable(&error))
    }

    /// The words of a patient's reference, where there are any; that they were read is written down first.
    pub async fn patient_of(
        &self,
        case: &Case,
        site: &Id,
        actor: &Actor,
    ) -> Result<Option<String>, Unavailable> {
        let what = format!("patient of case {}", case.case);
        let now = self.clock.now();
        ledger::log_read(&self.db, site.as_str(), now.0, &actor.code, &what)
            .await
            .map_err(|error| unavailable(&error))?;
        let Some(sealed) = &case.patient else { return Ok(None) };
        ledger::sealed(&self.db, site.as_str(), sealed).await.map_err(|error| unavailable(&error))
    }

    /// The cases of a patient, by their reference; that they were asked for is written down first.
    pub async fn cases_of_patient(
        &self,
        state: &State,
        reference: &str,
        actor: &Actor,
    ) -> Result<Vec<Id>, Unavailable> {
        let site = state.site.as_str();
        let now = self.clock.now();
        ledger::log_read(&self.db, site, now.0, &actor.code, "cases of a patient")
            .await
            .map_err(|error| unavailable(&error))?;
        let sealed =
            ledger::sealed_as(&self.db, site, reference).await.map_err(|error| unavailable(&error))?;
        let of = |case: &&std::sync::Arc<Case>| case.patient.as_ref().is_some_and(|it| sealed.contains(it));
        Ok(state.cases.values().filter(of).map(|case| case.case.clone()).collect())
    }

    /// Whether the database answers.
    pub async fn answers(&self) -> Result<(), Unavailable> {
        ledger::sites(&self.db).await.map(|_| ()).map_err(|error| unavailable(&error))
    }

    pub async fn site_codes(&self) -> Result<Vec<String>, Unavailable> {
        ledger::sites(&self.db).await.map_err(|error| unavailable(&error))
    }

    /// When entries happened and when they were recorded, by their places in the ledger.
    pub async fn times(&self, site: &Id, places: &[u64]) -> Result<BTreeMap<u64, (Time, Time)>, Unavailable> {
        let read = ledger::at_places(&self.db, site.as_str(), places).await;
        let read = read.map_err(|error| unavailable(&error))?;
        Ok(read.into_iter().map(|it| (it.seq, (Time(it.at), Time(it.recorded_at)))).collect())
    }

    /// The first place of the ledger, up to and with `last`, whose entry was recorded at a time or later; behind the last
    /// one where there is none. The times of recording never decrease, so that few entries are looked at.
    pub async fn place_at(&self, site: &Id, time: Time, last: u64) -> Result<u64, Unavailable> {
        let (mut from, mut to) = (1, last + 1);
        while from < to {
            let middle = from + (to - from) / 2;
            let times = ledger::times_of(&self.db, site.as_str(), middle).await;
            match times.map_err(|error| unavailable(&error))? {
                Some((_, recorded_at)) if recorded_at < time.0 => from = middle + 1,
                _ => to = middle,
            }
        }
        Ok(from)
    }
}
