//! The clerk: one task that owns the writing connection. It takes what waits, decides in order, writes once, and
//! only then answers.

pub mod whole;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use tokio::sync::{mpsc, oneshot, watch};

use super::batch::{self, Done};
use super::clock::Clock;
use super::house::{Outcome, Unavailable};
use crate::domain::command::Command;
use crate::domain::id::Id;
use crate::domain::person::Actor;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::verdict::Prepared;
use crate::ledger::frontier::Frontier;
use crate::storage::{Conn, Db, StorageError, ledger, notices};

/// How many commands go into one transaction at most.
const BATCH: usize = 256;

/// What is asked of a clerk.
pub enum Job {
    /// Commands of one caller, in order, each by itself.
    Submit { site: Id, lines: Vec<Line>, answer: oneshot::Sender<Vec<Done>> },
    /// Commands that belong together: all of them, or none. How many are decided can be watched.
    Whole { site: Id, lines: Vec<Line>, decided: Arc<AtomicUsize>, answer: oneshot::Sender<whole::Whole> },
    /// The state as far as the ledger goes now: entries that another server wrote are applied.
    CatchUp { site: Id, answer: oneshot::Sender<Result<Arc<State>, Unavailable>> },
}

/// A site as the clerk holds it.
pub struct Hand {
    pub state: State,
    pub frontier: Frontier,
    pub secret: Vec<u8>,
}

/// Where the newest state of each site is published.
pub type Published = Arc<std::sync::Mutex<BTreeMap<Id, watch::Sender<Arc<State>>>>>;

pub struct Clerk {
    pub db: Db,
    pub clock: Arc<Clock>,
    pub published: Published,
    conn: Option<Conn>,
    hands: BTreeMap<Id, Hand>,
}

/// Starts a clerk; it ends when the last sender is dropped, after it has finished what it took.
pub fn start(
    db: Db,
    clock: Arc<Clock>,
    published: Published,
) -> (mpsc::Sender<Job>, tokio::task::JoinHandle<()>) {
    let (to, from) = mpsc::channel(4_096);
    let clerk = Clerk { db, clock, published, conn: None, hands: BTreeMap::new() };
    (to, tokio::spawn(clerk.run(from)))
}

/// One command, with what can be worked out before it is decided.
pub struct Line {
    pub actor: Actor,
    pub command: Command,
    /// The verdict on a record that the command brings.
    pub prepared: Option<Prepared>,
    /// What the command asks, as text: its canonical form less its key.
    pub asked: String,
    /// When it is given, where a history is written; else the clock says it.
    pub now: Option<Time>,
}

impl Clerk {
    async fn run(mut self, mut jobs: mpsc::Receiver<Job>) {
        while let Some(first) = jobs.recv().await {
            let mut waiting = vec![first];
            let mut commands = size(&waiting);
            while commands < BATCH {
                match jobs.try_recv() {
                    Ok(job) => {
                        commands += size(std::slice::from_ref(&job));
                        waiting.push(job);
                    }
                    Err(_) => break,
                }
            }
            self.serve(waiting).await;
        }
    }

    async fn serve(&mut self, waiting: Vec<Job>) {
        // By site, in the order in which they came.
        let mut by_site: BTreeMap<Id, Vec<Job>> = BTreeMap::new();
        for job in waiting {
            let site = match &job {
                Job::Submit { site, .. } | Job::Whole { site, .. } | Job::CatchUp { site, .. } => {
                    site.clone()
                }
            };
            by_site.entry(site).or_default().push(job);
        }
        for (site, jobs) in by_site {
            self.serve_site(&site, jobs).await;
        }
    }

    async fn serve_site(&mut self, site: &Id, jobs: Vec<Job>) {
        let mut lines: Vec<Line> = Vec::new();
        let mut callers: Vec<(usize, oneshot::Sender<Vec<Done>>)> = Vec::new();
        let mut readers = Vec::new();
        let mut wholes = Vec::new();
        for job in jobs {
            match job {
                Job::Submit { lines: asked, answer, .. } => {
                    callers.push((asked.len(), answer));
                    lines.extend(asked);
                }
                Job::CatchUp { answer, .. } => readers.push(answer),
                Job::Whole { lines, decided, answer, .. } => wholes.push((lines, decided, answer)),
            }
        }
        let mut outcomes = Vec::with_capacity(lines.len());
        // Long arrays go in pieces, so that no transaction grows without bound.
        let mut rest = lines.as_slice();
        while !rest.is_empty() || outcomes.is_empty() {
            let (now, then) = rest.split_at(rest.len().min(BATCH));
            outcomes.extend(self.write_or_retry(site, now).await);
            rest = then;
            if rest.is_empty() {
                break;
            }
        }
        let mut answers = Vec::with_capacity(wholes.len());
        for (lines, decided, answer) in wholes {
            answers.push((self.whole(site, &lines, &decided).await, answer));
        }
        let state = self.hands.get(site).map(|hand| Arc::new(hand.state.clone()));
        if let (Some(state), true) = (&state, lines.is_empty() || !outcomes.is_empty()) {
            self.publish(site, state.clone());
        }
        let grew = outcomes.iter().any(Done::is_new) || answers.iter().any(|(whole, _)| whole.is_new());
        let mut outcomes = outcomes.into_iter();
        for (count, answer) in callers {
            // A caller that went away is not missed: what it asked for stands.
            let _ = answer.send(outcomes.by_ref().take(count).collect());
        }
        for (whole, answer) in answers {
            let _ = answer.send(whole);
        }
        for answer in readers {
            let gone = || Unavailable { operation: super::house::operation() };
            let fresh = self.conn.is_some().then(|| state.clone()).flatten();
            let _ = answer.send(fresh.ok_or_else(gone));
        }
        if grew {
            self.tell_others(site).await;
        }
    }

    /// One notice for a batch, after it was answered: to be told late costs others a moment, and to tell within the
    /// transaction would make every site's commit wait for the others'.
    async fn tell_others(&mut self, site: &Id) {
        let Some(conn) = &mut self.conn else { return };
        let Some(text) = conn.dialect().notice() else { return };
        if let Err(error) = conn.execute(text, &[notices::CHANNEL.into(), site.as_str().into()]).await {
            // They look by themselves every few seconds; the next write finds out what became of the connection.
            tracing::debug!(error = %super::house::chain(&error), "other servers were not told");
        }
    }

    fn publish(&self, site: &Id, state: Arc<State>) {
        if let Ok(mut published) = self.published.lock() {
            match published.get(site) {
                Some(sender) => {
                    sender.send_replace(state);
                }
                None => {
                    published.insert(site.clone(), watch::Sender::new(state));
                }
            }
        }
    }

    /// Writes a batch; if a statement of it fails, once more command by command, so that one that cannot be written
    /// harms none of the others.
    async fn write_or_retry(&mut self, site: &Id, lines: &[Line]) -> Vec<Done> {
        match self.write(site, lines).await {
            Ok(outcomes) => outcomes,
            Err(error) if error.of_statement() && lines.len() > 1 => {
                let mut outcomes = Vec::with_capacity(lines.len());
                for line in lines {
                    outcomes.extend(match self.write(site, std::slice::from_ref(line)).await {
                        Ok(outcomes) => outcomes,
                        Err(error) => self.unavailable(1, &error),
                    });
                }
                outcomes
            }
            Err(error) => self.unavailable(lines.len(), &error),
        }
    }

    fn unavailable(&self, count: usize, error: &StorageError) -> Vec<Done> {
        let operation = super::house::operation();
        tracing::error!(operation, error = %super::house::chain(error), "nothing was written");
        let gone = Unavailable { operation };
        (0..count).map(|_| Done::Not(Outcome::Unavailable(gone.clone()))).collect()
    }

    async fn write(&mut self, site: &Id, lines: &[Line]) -> Result<Vec<Done>, StorageError> {
        let mut conn = self.connection().await?;
        let written = self.in_transaction(&mut conn, site, lines).await;
        self.after(site, conn, written.as_ref().err()).await;
        written
    }

    async fn connection(&mut self) -> Result<Conn, StorageError> {
        match self.conn.take() {
            Some(conn) => Ok(conn),
            None => self.db.connect_to_write().await,
        }
    }

    /// Keeps the connection of a write, unless it failed in a way that leaves it in doubt.
    async fn after(&mut self, site: &Id, mut conn: Conn, failed: Option<&StorageError>) {
        if let Some(error) = failed {
            // What memory says may be ahead of what was written, so it is read again; so is the connection.
            self.hands.remove(site);
            if !(error.of_statement() && conn.rollback().await.is_ok()) {
                return;
            }
        }
        self.conn = Some(conn);
    }

    async fn in_transaction(
        &mut self,
        conn: &mut Conn,
        site: &Id,
        lines: &[Line],
    ) -> Result<Vec<Done>, StorageError> {
        conn.begin().await?;
        let hand = self.hands.remove(site);
        let Some(mut hand) = batch::gather(conn, site, hand).await? else {
            conn.commit().await?;
            return Ok(lines.iter().map(|_| Done::Not(Outcome::UnknownSite)).collect());
        };
        if lines.is_empty() {
            conn.commit().await?;
            self.hands.insert(site.clone(), hand);
            return Ok(Vec::new());
        }
        let outcomes = batch::decide_and_write(conn, &mut hand, lines, &self.clock).await?;
        conn.commit().await?;
        self.hands.insert(site.clone(), hand);
        Ok(outcomes)
    }
}

fn size(jobs: &[Job]) -> usize {
    let of = |job: &Job| match job {
        Job::Submit { lines, .. } | Job::Whole { lines, .. } => lines.len(),
        Job::CatchUp { .. } => 1,
    };
    jobs.iter().map(of).sum()
}

/// Whether a repeated key repeats the same command: an HMAC under the site's secret, which is not in the ledger.
pub fn fingerprint(secret: &[u8], text: &str) -> Vec<u8> {
    match Hmac::<Sha256>::new_from_slice(secret) {
        Ok(mut mac) => {
            mac.update(text.as_bytes());
            mac.finalize().into_bytes().to_vec()
        }
        // HMAC takes a key of any length.
        Err(_) => Vec::new(),
    }
}

/// The head before the first entry.
pub fn empty_head() -> ledger::Head {
    let frontier = Frontier::new();
    ledger::Head { seq: 0, recorded_at: 0, root: frontier.root().to_vec(), frontier: frontier.to_bytes() }
}
