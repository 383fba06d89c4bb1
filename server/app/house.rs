//! The running house: its database, its clerks, its accounts. What the web asks, it asks here.

use std::collections::BTreeMap;
use std::sync::atomic::AtomicUsize;
use std::sync::{Arc, Mutex};

use serde_json::Value;
use tokio::sync::{Semaphore, mpsc, oneshot};
use tokio::task::JoinHandle;

use super::alerts::Bell;
use super::batch::{Done, turned_code};
use super::board::Boards;
use super::clerk::whole::Whole;
use super::clerk::{self, Job, Line, Published};
use super::clock::{Clock, random};
use super::forecast::Forecasts;
use super::import::Running;
use super::outlook::Outlooks;
use super::records::Watched;
use super::week::Weeks;
use crate::domain::command::{Act, Command, LessKey, Load};
use crate::domain::deciding::Turned;
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::domain::record::Given;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::verdict::{Prepared, judge_record};
use crate::ledger::canonical::canonical;
use crate::storage::dialect::Dialect;
use crate::storage::migrate::{self, Facts};
use crate::storage::{Db, StorageError, ledger};

/// The database does not answer; the operation's id stands in the log.
#[derive(Clone, Debug)]
pub struct Unavailable {
    pub operation: String,
}

/// What became of a command.
#[derive(Clone, Debug)]
pub enum Outcome {
    Accepted(Accepted),
    Turned(Turned),
    /// The key is known with another command or from another actor.
    KeyReused,
    UnknownSite,
    Unavailable(Unavailable),
}

#[derive(Clone, Debug)]
pub struct Accepted {
    pub entry: u64,
    pub at: Time,
    pub event: Value,
    /// The command was accepted before, under the same key.
    pub replayed: bool,
}

/// A person's account, as the people page lists it.
#[derive(Clone, Debug)]
pub struct PersonRow {
    pub code: String,
    pub name: String,
    pub role: Role,
    pub disabled: bool,
}

/// An API token, as the people page lists it. The token itself is never kept.
#[derive(Clone, Debug)]
pub struct TokenRow {
    pub id: String,
    pub name: String,
    pub role: Role,
    pub revoked: bool,
}

/// How many passwords are hashed at once: hashing is meant to be slow, and must not starve everything else.
const HASHING_AT_ONCE: usize = 2;

type Senders = BTreeMap<Id, mpsc::Sender<Job>>;

pub struct House {
    pub db: Db,
    pub clock: Arc<Clock>,
    pub(super) hashing: Semaphore,
    pub(super) boards: Boards,
    pub(super) outlooks: Outlooks,
    pub(super) forecasts: Forecasts,
    pub(super) weeks: Weeks,
    /// What waits in the folder of records.
    pub records: Watched,
    /// Lists that are being imported.
    pub(super) imports: Running,
    /// Rung when another program may have to be told of an alert.
    pub bell: Bell,
    /// The sites that messages of a schedule may be for.
    pub(super) sites: super::schedule::Sites,
    pub(super) published: Published,
    /// Looks whether other servers wrote, while anybody follows.
    pub(super) following: Mutex<Option<JoinHandle<()>>>,
    /// On SQLite one clerk serves every site, since the file has one writer; on PostgreSQL each site has its own.
    clerks: Mutex<Senders>,
    ends: Mutex<Vec<JoinHandle<()>>>,
}

/// An id by which a failure is found in the log.
pub fn operation() -> String {
    random::<8>().map(hex::encode).unwrap_or_else(|_| "unnumbered".into())
}

/// An error with everything under it, once.
pub fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut under = error.source();
    while let Some(cause) = under {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        under = cause.source();
    }
    text
}

pub fn unavailable(error: &StorageError) -> Unavailable {
    let operation = operation();
    tracing::error!(operation, error = %chain(error), "the database does not answer");
    Unavailable { operation }
}

impl House {
    /// Opens and migrates a database, and fills the tables of current facts where their form is new.
    pub async fn open(url: &str) -> Result<House, StorageError> {
        let db = Db::open(url).await?;
        if migrate::migrate(&db).await? == Facts::ToReplay {
            super::rebuild::replay_all(&db).await?;
        }
        Ok(House {
            db,
            clock: Arc::new(Clock::default()),
            hashing: Semaphore::new(HASHING_AT_ONCE),
            boards: Boards::default(),
            outlooks: Outlooks::default(),
            forecasts: Forecasts::default(),
            weeks: Weeks::default(),
            records: Watched::default(),
            imports: Running::default(),
            bell: Bell::default(),
            sites: super::schedule::Sites::default(),
            published: Published::default(),
            following: Mutex::default(),
            clerks: Mutex::new(BTreeMap::new()),
            ends: Mutex::new(Vec::new()),
        })
    }

    fn clerk(&self, site: &Id) -> Option<mpsc::Sender<Job>> {
        let mut clerks = self.clerks.lock().ok()?;
        let one_for_all = self.db.dialect() == Dialect::Embedded;
        let known = if one_for_all { clerks.values().next() } else { clerks.get(site) };
        if let Some(known) = known {
            return Some(known.clone());
        }
        let (to, end) = clerk::start(self.db.clone(), self.clock.clone(), self.published.clone());
        clerks.insert(site.clone(), to.clone());
        self.ends.lock().ok()?.push(end);
        Some(to)
    }

    fn seen(&self, site: &Id) -> Option<Arc<State>> {
        let published = self.published.lock().ok()?;
        published.get(site).map(|sender| sender.borrow().clone())
    }

    /// The site's current facts, as far as the ledger goes now. `None` where there is no such site.
    pub async fn state(&self, site: &Id) -> Result<Option<Arc<State>>, Unavailable> {
        let head = ledger::head_of(&self.db, site.as_str()).await.map_err(|error| unavailable(&error))?;
        let Some(head) = head else { return Ok(None) };
        if let Some(state) = self.seen(site).filter(|state| state.seq >= head.seq) {
            return Ok(Some(state));
        }
        let gone = || Unavailable { operation: operation() };
        let clerk = self.clerk(site).ok_or_else(gone)?;
        let (answer, state) = oneshot::channel();
        clerk.send(Job::CatchUp { site: site.clone(), answer }).await.map_err(|_| gone())?;
        state.await.map_err(|_| gone())?.map(Some)
    }

    /// Gives commands in order, each by itself; later ones see earlier ones. What was taken is finished, whatever
    /// becomes of the caller.
    pub async fn submit(&self, site: &Id, actor: &Actor, commands: Vec<Command>) -> Vec<Outcome> {
        let count = commands.len();
        let lost = |operation: String| vec![Outcome::Unavailable(Unavailable { operation }); count];
        let lines = self.prepare(site, actor, commands).await;
        let Some(clerk) = self.clerk(site) else {
            return lost(operation());
        };
        let (answer, outcomes) = oneshot::channel();
        let job = Job::Submit { site: site.clone(), lines, answer };
        if clerk.send(job).await.is_err() {
            return lost(operation());
        }
        let outcomes = match outcomes.await {
            Ok(done) => done.into_iter().map(Done::outcome).collect(),
            Err(_) => lost(operation()),
        };
        for outcome in &outcomes {
            match outcome {
                Outcome::Turned(turned) => {
                    tracing::info!(site = %site, actor = actor.code, code = turned_code(turned), "refused");
                }
                Outcome::Accepted(accepted) => {
                    tracing::debug!(site = %site, actor = actor.code, entry = accepted.entry, "accepted");
                }
                _ => {}
            }
        }
        outcomes
    }

    /// Gives commands that belong together: in one transaction, and one that is turned away lets none of them be. At most
    /// 20,000 go together; how many are decided can be watched meanwhile.
    pub async fn submit_all(
        &self,
        site: &Id,
        actor: &Actor,
        commands: Vec<Command>,
        decided: Arc<AtomicUsize>,
    ) -> Whole {
        let gone = || Whole::Unavailable(Unavailable { operation: operation() });
        let lines = self.prepare(site, actor, commands).await;
        let Some(clerk) = self.clerk(site) else { return gone() };
        let (answer, whole) = oneshot::channel();
        if clerk.send(Job::Whole { site: site.clone(), lines, decided, answer }).await.is_err() {
            return gone();
        }
        whole.await.unwrap_or_else(|_| gone())
    }

    /// Writes a history: commands of several people in order, each recorded as if it were given at its own time.
    pub async fn submit_history(&self, site: &Id, given: Vec<(Actor, Time, Command)>) -> Vec<Outcome> {
        let count = given.len();
        let lost = || vec![Outcome::Unavailable(Unavailable { operation: operation() }); count];
        let line = |(actor, now, command): (Actor, Time, Command)| {
            let asked = canonical(&LessKey(&command)).unwrap_or_default();
            Line { actor, command, prepared: None, asked, now: Some(now) }
        };
        let lines = given.into_iter().map(line).collect();
        let Some(clerk) = self.clerk(site) else { return lost() };
        let (answer, outcomes) = oneshot::channel();
        if clerk.send(Job::Submit { site: site.clone(), lines, answer }).await.is_err() {
            return lost();
        }
        outcomes.await.map_or_else(|_| lost(), |done| done.into_iter().map(Done::outcome).collect())
    }

    /// Works out what needs no turn: above all the verdict on a record, since a long one would hold up everybody.
    async fn prepare(&self, site: &Id, actor: &Actor, commands: Vec<Command>) -> Vec<Line> {
        let mut all = Vec::with_capacity(commands.len());
        for command in commands {
            let mut prepared = None;
            if let Act::Load(Load::Judge(judge)) = &command.act
                && judge.bytes().is_some()
                && let Ok(Some(state)) = self.state(site).await
                && let Some(load) = state.loads.get(&judge.load)
            {
                let form = state.machines.get(&load.machine).and_then(|machine| machine.form.clone());
                let (programme, judge) = (load.programme.clone(), judge.clone());
                let judged = tokio::task::spawn_blocking(move || {
                    let bytes = judge.bytes().unwrap_or_default();
                    let given = Given { bytes, form: form.as_ref(), ambient_kpa: judge.ambient_kpa };
                    let judgement = judge_record(&programme, &given)?;
                    Some(Prepared { programme, form, judgement })
                });
                prepared = judged.await.ok().flatten();
            }
            // A command was read from JSON, so it has a canonical text.
            let asked = canonical(&LessKey(&command)).unwrap_or_default();
            all.push(Line { actor: actor.clone(), command, prepared, asked, now: None });
        }
        all
    }

    /// Lets the clerks finish what they took, then closes the database.
    pub async fn close(&self) {
        self.stop_following();
        if let Ok(mut clerks) = self.clerks.lock() {
            clerks.clear();
        }
        let ends = self.ends.lock().map(|mut ends| std::mem::take(&mut *ends)).unwrap_or_default();
        for end in ends {
            // A clerk that ended by itself has already said why.
            let _ = end.await;
        }
        self.db.close().await;
    }
}
