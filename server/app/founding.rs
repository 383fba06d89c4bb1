//! The founding of a site: its secret, its empty head, and the first entry of its ledger.

use super::accounts::AccountError;
use super::batch::gather;
use super::clerk::{Hand, empty_head};
use super::clock::random;
use super::house::House;
use crate::domain::apply::{When, apply};
use crate::domain::event::{Beside, Entry, Event, What};
use crate::domain::id::Id;
use crate::domain::site::SiteFounded;
use crate::domain::text::Line;
use crate::ledger::canonical::canonical;
use crate::ledger::leaf::leaf;
use crate::storage::ledger::{self, StoredEntry};
use crate::storage::{StorageError, facts};

impl House {
    /// Founds a site: its first entry says so.
    pub async fn add_site(&self, code: &str, name: &str, timezone: &str) -> Result<Id, AccountError> {
        self.found_site(code, name, timezone, false).await
    }

    /// Founds a site, for work or for practice.
    pub async fn found_site(
        &self,
        code: &str,
        name: &str,
        timezone: &str,
        practice: bool,
    ) -> Result<Id, AccountError> {
        let site = Id::new(code).ok_or_else(|| {
            AccountError::Unfit(
                "a site's code is 1 to 64 letters, digits, dots, hyphens or underscores".into(),
            )
        })?;
        if name.trim().is_empty() {
            return Err(AccountError::Unfit("a site needs a name".into()));
        }
        if timezone.parse::<chrono_tz::Tz>().is_err() {
            return Err(AccountError::Unfit(format!(
                "\"{timezone}\" is no time zone; one of the zone database is needed, as Europe/Berlin"
            )));
        }
        let mut conn = self.db.connect().await?;
        conn.begin().await?;
        if ledger::locked_head(&mut conn, code).await?.is_some() {
            conn.rollback().await?;
            return Err(AccountError::Unfit(format!("there is already a site \"{code}\"")));
        }
        let at = self.clock.now();
        let secret: [u8; 32] = random()?;
        ledger::found_site(&mut conn, code, name, timezone, &secret, at.0, &empty_head()).await?;
        let hand =
            gather(&mut conn, &site, None).await?.ok_or_else(|| AccountError::UnknownSite(code.into()))?;
        let founded = SiteFounded { name: Line(name.into()), timezone: timezone.into(), practice };
        let event = Event { beside: Beside::default(), what: What::SiteFounded(founded) };
        found(&mut conn, hand, event, at).await?;
        conn.commit().await?;
        Ok(site)
    }
}

/// Writes a site's first entry.
async fn found(
    conn: &mut crate::storage::Conn,
    mut hand: Hand,
    event: Event,
    at: crate::domain::time::Time,
) -> Result<(), StorageError> {
    let row = |error: String| StorageError::Row(error);
    let site = hand.state.site.clone();
    let entry = Entry {
        site: site.clone(),
        seq: 1,
        at,
        recorded_at: at,
        actor: "founder".into(),
        station: None,
        key: None,
        kind: event.what.kind().into(),
        version: event.what.version(),
        event,
    };
    let text = canonical(&entry).map_err(|error| row(error.to_string()))?;
    let hash = leaf(text.as_bytes());
    hand.frontier.push(hash);
    apply(&mut hand.state, &When { seq: 1, at, recorded_at: at, actor: &entry.actor }, &entry.event);
    let changes = hand.state.take_changes();
    let stored = StoredEntry {
        seq: 1,
        entry: text,
        leaf: hash.to_vec(),
        key: None,
        asked: Vec::new(),
        at: at.0,
        recorded_at: at.0,
        actor: entry.actor,
        kind: entry.kind,
    };
    ledger::ENTRY.add(conn, vec![stored.row(site.as_str())]).await?;
    for (table, rows) in facts::rows(&hand.state, &changes)? {
        table.put(conn, rows).await?;
    }
    let head = ledger::Head {
        seq: 1,
        recorded_at: at.0,
        root: hand.frontier.root().to_vec(),
        frontier: hand.frontier.to_bytes(),
    };
    ledger::move_head(conn, site.as_str(), head).await
}
