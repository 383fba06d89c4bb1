//! Lists that wait: kept for a few days, each for the one who brought it.

use super::Written;
use crate::app::clock::random;
use crate::app::house::{House, Unavailable, operation, unavailable};
use crate::domain::id::Id;
use crate::domain::import::{Chosen, Kind};
use crate::domain::person::Actor;
use crate::domain::time::Time;
use crate::storage::StorageError;
use crate::storage::import::{self as stored, ImportFile};

/// A list that nobody imports goes after so many days.
pub const KEPT_DAYS: i64 = 7;

/// A list that waits, or that became something.
pub struct Waiting {
    pub id: String,
    pub kind: Kind,
    pub name: String,
    pub chosen: Chosen,
    pub written: Option<Written>,
    pub at: Time,
    pub by: String,
}

fn read(it: ImportFile) -> Option<Waiting> {
    Some(Waiting {
        kind: Kind::named(&it.kind)?,
        chosen: serde_json::from_str(&it.chosen).unwrap_or_default(),
        written: serde_json::from_str(&it.outcome).ok(),
        id: it.id,
        name: it.name,
        at: Time(it.stored_at),
        by: it.stored_by,
    })
}

fn told<T>(result: Result<T, StorageError>) -> Result<T, Unavailable> {
    result.map_err(|error| unavailable(&error))
}

impl House {
    /// Keeps a list that somebody brings; answers its id. What was known of its kind before is taken as said.
    pub async fn keep_list(
        &self,
        site: &Id,
        actor: &Actor,
        kind: Kind,
        name: &str,
        raw: Vec<u8>,
    ) -> Result<String, Unavailable> {
        let now = self.clock.now();
        told(stored::drop_before(&self.db, now.plus_minutes(-KEPT_DAYS * 24 * 60).0).await)?;
        let id = random::<8>().map(hex::encode).map_err(|_| Unavailable { operation: operation() })?;
        let chosen = self.kept_mapping(site, kind).await?;
        let it = ImportFile {
            id: id.clone(),
            kind: kind.name().into(),
            name: name.chars().filter(|letter| !letter.is_control()).take(200).collect(),
            chosen: serde_json::to_string(&chosen).unwrap_or_default(),
            outcome: String::new(),
            stored_at: now.0,
            stored_by: actor.code.clone(),
        };
        told(stored::add(&self.db, site.as_str(), &it, raw).await)?;
        Ok(id)
    }

    /// A person's lists, newest first.
    pub async fn lists_of(&self, site: &Id, actor: &Actor) -> Result<Vec<Waiting>, Unavailable> {
        let found = told(stored::of_person(&self.db, site.as_str(), &actor.code).await)?;
        Ok(found.into_iter().filter_map(read).collect())
    }

    /// A list with its bytes. It is shown to the one who brought it, and to nobody else.
    pub async fn list_of(
        &self,
        site: &Id,
        actor: &Actor,
        id: &str,
    ) -> Result<Option<(Waiting, Vec<u8>)>, Unavailable> {
        let found = told(stored::get(&self.db, site.as_str(), id).await)?;
        let own = found.filter(|(it, _)| it.stored_by == actor.code);
        Ok(own.and_then(|(it, raw)| Some((read(it)?, raw))))
    }

    pub async fn choose_for_list(&self, site: &Id, id: &str, chosen: &Chosen) -> Result<(), Unavailable> {
        let text = serde_json::to_string(chosen).unwrap_or_default();
        told(stored::choose(&self.db, site.as_str(), id, &text).await)
    }

    pub(super) async fn finish_list(
        &self,
        site: &Id,
        id: &str,
        written: &Written,
    ) -> Result<(), Unavailable> {
        let text = serde_json::to_string(written).unwrap_or_default();
        told(stored::finish(&self.db, site.as_str(), id, &text).await)
    }

    pub async fn drop_list(&self, site: &Id, id: &str) -> Result<(), Unavailable> {
        told(stored::drop_file(&self.db, site.as_str(), id).await)
    }
}
