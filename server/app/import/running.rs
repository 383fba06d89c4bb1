//! Imports under way: how far each is, for whoever comes back to look.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use super::Tried;
use crate::app::house::House;
use crate::domain::id::Id;
use crate::domain::import::{Chosen, Kind};
use crate::domain::person::Actor;
use crate::domain::time::Time;
use crate::formats::table::Fault;

/// How far an import is.
#[derive(Debug)]
pub struct Progress {
    pub total: usize,
    pub decided: Arc<AtomicUsize>,
    pub begun: Time,
    /// Why it came to nothing, where it did.
    pub failed: Mutex<Option<Vec<Fault>>>,
}

impl Progress {
    pub fn done(&self) -> usize {
        self.decided.load(Ordering::Relaxed)
    }

    /// Seconds that it will take yet, by what it took until now.
    pub fn left_s(&self, now: Time) -> Option<u64> {
        let (done, spent) = (self.done() as u64, u64::try_from(now.since_s(self.begun)).ok()?);
        let left = (self.total as u64).saturating_sub(done);
        (done > 0).then(|| (spent.max(1) * left).div_ceil(done))
    }
}

/// By site and list.
pub type Running = Mutex<BTreeMap<(Id, String), Arc<Progress>>>;

/// A list that is to be recorded, as it was looked at.
pub struct ToRecord {
    pub id: String,
    pub kind: Kind,
    pub raw: Arc<Vec<u8>>,
    pub chosen: Chosen,
    pub tried: Tried,
}

impl House {
    pub fn progress_of(&self, site: &Id, id: &str) -> Option<Arc<Progress>> {
        self.imports.lock().ok()?.get(&(site.clone(), id.to_string())).cloned()
    }

    /// Why the last attempt at a list came to nothing, told once.
    pub fn take_failure(&self, site: &Id, id: &str) -> Option<Vec<Fault>> {
        let key = (site.clone(), id.to_string());
        let mut running = self.imports.lock().ok()?;
        let failed = running.get(&key)?.failed.lock().ok()?.take()?;
        running.remove(&key);
        Some(failed)
    }

    /// Begins to record a list, and does not wait for it: whoever asked may go, and come back.
    pub fn begin_import(self: &Arc<House>, site: &Id, actor: &Actor, to_record: ToRecord) {
        let key = (site.clone(), to_record.id.clone());
        let progress = Arc::new(Progress {
            total: to_record.tried.plan.planned.len(),
            decided: Arc::default(),
            begun: self.clock.now(),
            failed: Mutex::default(),
        });
        match self.imports.lock() {
            // Pressed twice: the first one goes on.
            Ok(running) if running.contains_key(&key) => return,
            Ok(mut running) => drop(running.insert(key.clone(), progress.clone())),
            Err(_) => return,
        }
        let (house, actor) = (self.clone(), actor.clone());
        tokio::spawn(async move {
            let failed = house.import_now(&key.0, &actor, to_record, &progress).await;
            match failed {
                Some(faults) => {
                    if let Ok(mut failed) = progress.failed.lock() {
                        *failed = Some(faults);
                    }
                }
                None => {
                    if let Ok(mut running) = house.imports.lock() {
                        running.remove(&key);
                    }
                }
            }
        });
    }

    /// Records a list and says what became of it; answers why, where it came to nothing.
    async fn import_now(
        &self,
        site: &Id,
        actor: &Actor,
        to_record: ToRecord,
        progress: &Progress,
    ) -> Option<Vec<Fault>> {
        let ToRecord { id, kind, raw, chosen, mut tried } = to_record;
        let gone = |operation: &str| {
            let found = format!("a database that does not answer; operation {operation} stands in the log");
            Some(vec![Fault::new(0, "", found, "nothing was recorded: try again in a moment")])
        };
        match self.record_list(site, actor, &raw, &mut tried, progress.decided.clone()).await {
            Ok(Some(written)) => {
                // It stands in the ledger, whatever becomes of what is kept beside it.
                let kept = self.keep_mapping(site, kind, &chosen, actor).await;
                let said = self.finish_list(site, &id, &written).await;
                for gone in [kept.err(), said.err()].into_iter().flatten() {
                    tracing::error!(operation = gone.operation, "an import's end was not kept");
                }
                None
            }
            Ok(None) => Some(std::mem::take(&mut tried.plan.faults)),
            Err(unavailable) => gone(&unavailable.operation),
        }
    }
}
