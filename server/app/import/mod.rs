//! Imports: a list is read, understood, and tried against a draft of the house; then all of it is recorded, or none.

mod files;
mod running;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::batch::Done;
use super::clerk::whole::Whole;
use super::house::{House, Outcome, Unavailable, operation, unavailable};
use crate::domain::command::{Command, Key};
use crate::domain::id::Id;
use crate::domain::import::{self, Chosen, Drafting, Kind, Plan, Planned};
use crate::domain::person::{Actor, Role};
use crate::domain::state::State;
use crate::formats::grid::{self, Refused};
use crate::formats::table::Fault;
use crate::storage::{account, import as stored};

pub use files::{KEPT_DAYS, Waiting};
pub use running::{Progress, Running, ToRecord};

/// Who imports from the command line, as the ledger names it.
pub const ACTOR: &str = "import";
/// As many commands as one import may become.
pub const COMMANDS_MOST: usize = 20_000;

/// The role in which the command line imports a list: one that may give its commands.
pub fn role_for(kind: Kind) -> Role {
    match kind {
        Kind::Models => Role::Admin,
        Kind::Assets | Kind::CountSheets | Kind::Sets => Role::Lead,
        Kind::Cases => Role::Charge,
    }
}

/// What an import became.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Written {
    pub first: u64,
    pub last: u64,
    pub entries: usize,
    pub new: usize,
    pub changes: usize,
    pub same: usize,
}

/// A list, tried.
pub struct Tried {
    pub plan: Plan,
    /// The place in the ledger up to which it was tried.
    pub seq: u64,
}

impl Tried {
    /// What would be done, so that nothing else is done than what was seen.
    pub fn digest(&self) -> String {
        let mut all = Sha256::new();
        for planned in &self.plan.planned {
            all.update(serde_json::to_vec(&planned.command).unwrap_or_default());
        }
        for doubt in &self.plan.doubts {
            all.update(format!("{}\0{}\0{}", doubt.line, doubt.column, doubt.found));
        }
        hex::encode(all.finalize())
    }
}

impl House {
    /// Reads a list and tries it against a draft of the house as it stands; nothing is recorded.
    pub async fn try_list(
        &self,
        state: &Arc<State>,
        actor: &Actor,
        kind: Kind,
        raw: Arc<Vec<u8>>,
        chosen: Chosen,
    ) -> Result<Result<Tried, Refused>, Unavailable> {
        let seq = state.seq;
        let before = state.clone();
        let planned = tokio::task::spawn_blocking(move || {
            let grid = grid::read(&raw, chosen.charset)?;
            Ok(import::plan(&before, kind, &grid, &chosen))
        });
        let mut plan: Plan = match planned.await.map_err(|_| broken_off())? {
            Ok(plan) => plan,
            Err(refused) => return Ok(Err(refused)),
        };
        if plan.planned.len() > COMMANDS_MOST {
            let found = format!("{} things to record", plan.planned.len());
            let needed = format!("at most {COMMANDS_MOST} at once are needed: divide the list");
            plan.faults.push(Fault::new(plan.mapping.header_line, "", found, needed));
            return Ok(Ok(Tried { plan, seq }));
        }
        let mut kept = BTreeMap::new();
        for photo in plan.photos() {
            if let Some(kind) = self.attachment_kind(&state.site, &photo).await? {
                kept.insert(photo, kind);
            }
        }
        let people =
            account::people(&self.db, state.site.as_str()).await.map_err(|error| unavailable(&error))?;
        let people: BTreeSet<String> = people.into_iter().map(|person| person.code).collect();
        let (state, actor, now) = (state.clone(), actor.clone(), self.clock.now());
        let tried = tokio::task::spawn_blocking(move || {
            let with = Drafting { actor: &actor, now, people: &people, attachments: &kept };
            import::decide_all(&state, &with, &mut plan);
            plan
        });
        let plan = tried.await.map_err(|_| broken_off())?;
        Ok(Ok(Tried { plan, seq }))
    }

    /// Records everything that was tried, or nothing: then why stands among the plan's faults.
    pub async fn record_list(
        &self,
        site: &Id,
        actor: &Actor,
        raw: &[u8],
        tried: &mut Tried,
        decided: Arc<AtomicUsize>,
    ) -> Result<Option<Written>, Unavailable> {
        if !tried.plan.may_import() {
            return Ok(None);
        }
        let count = |change| tried.plan.count(change);
        let mut written = Written {
            first: 0,
            last: 0,
            entries: 0,
            new: count(import::Change::New),
            changes: count(import::Change::Changes),
            same: count(import::Change::Same),
        };
        if tried.plan.planned.is_empty() {
            return Ok(Some(written));
        }
        let commands = keyed(&tried.plan.planned, raw, tried.seq);
        match self.submit_all(site, actor, commands, decided).await {
            Whole::Written(done) => {
                let entries = done.iter().filter_map(|it| match it {
                    Done::Entered { entry, .. } => Some(*entry),
                    Done::Not(_) => None,
                });
                let entries: Vec<u64> = entries.collect();
                written.first = entries.iter().min().copied().unwrap_or_default();
                written.last = entries.iter().max().copied().unwrap_or_default();
                written.entries = entries.len();
                Ok(Some(written))
            }
            Whole::Refused(refused) => {
                refusals(&mut tried.plan, actor, &refused);
                Ok(None)
            }
            Whole::UnknownSite => Err(Unavailable { operation: operation() }),
            Whole::Unavailable(gone) => Err(gone),
        }
    }

    /// How lists of this kind were read before; nothing where none was.
    pub async fn kept_mapping(&self, site: &Id, kind: Kind) -> Result<Chosen, Unavailable> {
        let found = stored::mapping(&self.db, site.as_str(), kind.name()).await;
        let found = found.map_err(|error| unavailable(&error))?;
        Ok(found.and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default())
    }

    /// Keeps how a list was read, so that the next one of its kind needs no telling. A value for all rows is of this list
    /// alone: the next one, whose column is lacking, has other rows.
    pub async fn keep_mapping(
        &self,
        site: &Id,
        kind: Kind,
        chosen: &Chosen,
        actor: &Actor,
    ) -> Result<(), Unavailable> {
        let kept = Chosen { fixed: BTreeMap::new(), ..chosen.clone() };
        let text = serde_json::to_string(&kept).unwrap_or_default();
        let at_and_by = (self.clock.now().0, actor.code.as_str());
        let kept = stored::keep_mapping(&self.db, site.as_str(), kind.name(), &text, at_and_by).await;
        kept.map_err(|error| unavailable(&error))
    }
}

fn broken_off() -> Unavailable {
    Unavailable { operation: operation() }
}

/// Each command with a key from the list and from how far the ledger went: pressed twice, it is done once.
fn keyed(planned: &[Planned], raw: &[u8], seq: u64) -> Vec<Command> {
    let file = hex::encode(Sha256::digest(raw));
    let file = file.get(..16).unwrap_or_default();
    let with_key = |(place, it): (usize, &Planned)| {
        let mut command = it.command.clone();
        command.around.key = Some(Key(format!("import-{file}-{seq}-{place}")));
        command
    };
    planned.iter().enumerate().map(with_key).collect()
}

/// What was turned away after all, since the house had gone on meanwhile.
fn refusals(plan: &mut Plan, actor: &Actor, refused: &[(usize, Outcome)]) {
    let mut roles = BTreeSet::new();
    for (place, outcome) in refused {
        let Some(planned) = plan.planned.get(*place) else { continue };
        let faults = match outcome {
            Outcome::Turned(turned) => import::told(planned, turned, actor, &mut roles),
            Outcome::KeyReused => {
                let needed = "the list has to be looked at again";
                vec![Fault::new(
                    planned.line,
                    "",
                    "the same list under way with something else in it",
                    needed,
                )]
            }
            Outcome::Accepted(_) | Outcome::UnknownSite | Outcome::Unavailable(_) => Vec::new(),
        };
        plan.faults.extend(faults);
    }
}
