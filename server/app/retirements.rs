//! Who retired a part: told by the entry that did it, since the facts keep what and when alone.

use std::collections::BTreeMap;

use super::batch::read_event;
use super::house::{House, Unavailable, unavailable};
use crate::domain::event::{Event, Thing, What};
use crate::domain::id::Id;
use crate::storage::ledger;

/// A retired part is touched seldom: its retirement stands among so many of its last entries.
const LAST: usize = 50;

/// The part that an event retires.
fn retires(what: &What) -> Option<&Id> {
    match what {
        What::Retired(it) => Some(&it.asset),
        What::Replaced(it) => Some(&it.old),
        other => {
            // Every other kind leaves its parts in the house.
            debug_assert!(!matches!(other.kind(), "retired" | "replaced"));
            None
        }
    }
}

impl House {
    /// The codes of those who retired these parts; each part with the place of the last entry that touched it.
    pub async fn retired_by(
        &self,
        site: &Id,
        parts: &[(Id, u64)],
    ) -> Result<BTreeMap<Id, String>, Unavailable> {
        let places: Vec<u64> = parts.iter().map(|(_, place)| *place).collect();
        let mut found = BTreeMap::new();
        let read = ledger::at_places(&self.db, site.as_str(), &places).await;
        for stored in read.map_err(|error| unavailable(&error))? {
            let entry = read_event(&stored).map_err(|error| unavailable(&error))?;
            if let Some(asset) = retires(&entry.event.what) {
                found.insert(asset.clone(), entry.actor);
            }
        }
        for (asset, _) in parts {
            if found.contains_key(asset) {
                continue;
            }
            // Something touched it since: a search that ended, a report that was looked into.
            let last = self.history(site, &Thing::asset(asset.as_str()), None, LAST).await?;
            let by = last.into_iter().find(|entry| {
                let event = Event::read(&entry.kind, entry.version, entry.event.clone());
                event.is_ok_and(|event| retires(&event.what) == Some(asset))
            });
            found.extend(by.map(|entry| (asset.clone(), entry.actor)));
        }
        Ok(found)
    }
}
