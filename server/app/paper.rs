//! Sheets of paper: their entries, and what a line was entered as before.

use std::collections::BTreeMap;

use super::batch::read_entry;
use super::clerk::fingerprint;
use super::house::{House, Unavailable, unavailable};
use crate::domain::command::{Command, LessKey};
use crate::domain::event::{Entry, Event, Thing};
use crate::domain::id::Id;
use crate::ledger::canonical::canonical;
use crate::storage::{StorageError, account, ledger};

/// So many entries of one sheet are read.
const ENTRIES_MOST: usize = 1_000;

/// What a line was entered as before.
pub struct Before {
    pub entry: Entry,
    /// The same command: what it says is what is typed now.
    pub same: bool,
}

impl House {
    /// The entries of a sheet with their events, oldest first; one whose form this release does not know is left out.
    pub async fn of_sheet(&self, site: &Id, sheet: &Id) -> Result<Vec<(Entry, Event)>, Unavailable> {
        let thing = Thing::paper_sheet(sheet.as_str());
        let entries = self.history(site, &thing, None, ENTRIES_MOST).await?;
        let read = |entry: Entry| {
            let event = Event::read(&entry.kind, entry.version, entry.event.clone()).ok()?;
            Some((entry, event))
        };
        Ok(entries.into_iter().rev().filter_map(read).collect())
    }

    /// What stands under a command's key, and whether it is the same command, whoever sent it.
    pub async fn entered_before(&self, site: &Id, command: &Command) -> Result<Option<Before>, Unavailable> {
        let Some(key) = &command.around.key else { return Ok(None) };
        let found = self.under_key(site, &key.0, command).await;
        found.map_err(|error| unavailable(&error))
    }

    async fn under_key(
        &self,
        site: &Id,
        key: &str,
        command: &Command,
    ) -> Result<Option<Before>, StorageError> {
        let Some(stored) = ledger::of_key(&self.db, site.as_str(), key).await? else { return Ok(None) };
        let mut conn = self.db.connect().await?;
        let secret = ledger::site_secret(&mut conn, site.as_str()).await?.unwrap_or_default();
        let asked = canonical(&LessKey(command)).unwrap_or_default();
        let same = fingerprint(&secret, &asked) == stored.asked;
        Ok(Some(Before { entry: read_entry(&stored)?.0, same }))
    }

    /// What the people of the site are called, by their codes; those who left are among them.
    pub async fn names(&self, site: &Id) -> Result<BTreeMap<String, String>, Unavailable> {
        let read = async {
            let mut conn = self.db.connect().await?;
            account::codes(&mut conn, site.as_str()).await
        };
        read.await.map_err(|error| unavailable(&error))
    }
}
