//! One transaction of the clerk: gather what is not in memory, decide each command, write everything at once.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::value::RawValue;

use super::clerk::{Hand, Line, fingerprint};
use super::clock::{Clock, random};
use super::gathering::{Gathered, gather_for, looks_at, same_patients, turns_for};
use super::house::{Accepted, Outcome};
use crate::domain::apply::{When, apply};
use crate::domain::command::{Act, Load, wrong};
use crate::domain::deciding::{self, Decided, Turned};
use crate::domain::event::{Entry, Event, Thing, What};
use crate::domain::history::found_under;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::verdict::Evidence;
use crate::ledger::canonical::canonical;
use crate::ledger::frontier::Frontier;
use crate::ledger::leaf::leaf;
use crate::storage::ledger::{self, StoredEntry};
use crate::storage::{Conn, StorageError, facts};

/// What became of a command, before it is told: an event is put into its answer's form by whoever waits for it.
pub enum Done {
    Entered { entry: u64, at: Time, event: Arc<Event>, replayed: bool },
    Not(Outcome),
}

impl Done {
    /// Whether the ledger grew by it.
    pub fn is_new(&self) -> bool {
        matches!(self, Done::Entered { replayed: false, .. })
    }

    pub fn outcome(self) -> Outcome {
        match self {
            Done::Entered { entry, at, event, replayed } => {
                // It has a canonical text in the ledger, so it has a value too.
                let event = event.to_value().unwrap_or_default();
                Outcome::Accepted(Accepted { entry, at, event, replayed })
            }
            Done::Not(outcome) => outcome,
        }
    }
}

fn row_error(error: impl std::fmt::Display) -> StorageError {
    StorageError::Row(error.to_string())
}

/// Reads an entry's event back.
pub fn read_entry(stored: &StoredEntry) -> Result<(Entry, Event), StorageError> {
    let mut entry: Entry = serde_json::from_str(&stored.entry).map_err(row_error)?;
    let event = Event::read(&entry.kind, entry.version, entry.event.clone()).map_err(row_error)?;
    entry.seq = stored.seq;
    Ok((entry, event))
}

/// An entry whose event is read at once, without JSON in between.
pub type Read = Entry<Event>;

/// Reads an entry with its event.
pub fn read_event(stored: &StoredEntry) -> Result<Read, StorageError> {
    let entry: Entry<&RawValue> = serde_json::from_str(&stored.entry).map_err(row_error)?;
    let event = Event::read_text(&entry.kind, entry.version, entry.event.get()).map_err(row_error)?;
    Ok(Entry {
        site: entry.site,
        seq: stored.seq,
        at: entry.at,
        recorded_at: entry.recorded_at,
        actor: entry.actor,
        station: entry.station,
        key: entry.key,
        kind: entry.kind,
        version: entry.version,
        event,
    })
}

/// Makes an entry that was read so.
pub fn replay_read(state: &mut State, entry: &Read) {
    let when = When { seq: entry.seq, at: entry.at, recorded_at: entry.recorded_at, actor: &entry.actor };
    apply(state, &when, &entry.event);
}

/// Applies a stored entry to a state.
pub fn replay(state: &mut State, stored: &StoredEntry) -> Result<(Entry, Event), StorageError> {
    let (entry, event) = read_entry(stored)?;
    let when = When { seq: entry.seq, at: entry.at, recorded_at: entry.recorded_at, actor: &entry.actor };
    apply(state, &when, &event);
    Ok((entry, event))
}

/// Locks the site's head and brings what is in memory up to it. `None` where there is no such site.
pub async fn gather(conn: &mut Conn, site: &Id, hand: Option<Hand>) -> Result<Option<Hand>, StorageError> {
    let Some(head) = ledger::locked_head(conn, site.as_str()).await? else {
        return Ok(None);
    };
    let mut hand = match hand {
        Some(hand) => hand,
        None => {
            let secret = ledger::site_secret(conn, site.as_str()).await?.unwrap_or_default();
            let mut state = facts::load(conn, site).await?;
            state.seq = head.seq;
            state.recorded_at = Time(head.recorded_at);
            return Ok(Some(Hand { state, frontier: frontier(&head.frontier)?, secret }));
        }
    };
    while hand.state.seq < head.seq {
        let entries = ledger::after(conn, site.as_str(), hand.state.seq, 1_000).await?;
        if entries.is_empty() {
            return Err(StorageError::Row(format!(
                "the ledger of {site} lacks entries after {}",
                hand.state.seq
            )));
        }
        for stored in &entries {
            replay_read(&mut hand.state, &read_event(stored)?);
        }
        // Their rows were written by the server that wrote them.
        hand.state.take_changes();
        hand.frontier = frontier(&head.frontier)?;
    }
    Ok(Some(hand))
}

fn frontier(bytes: &[u8]) -> Result<Frontier, StorageError> {
    Frontier::from_bytes(bytes).map_err(row_error)
}

/// What a batch gathers to write.
#[derive(Default)]
struct Written {
    entries: Vec<StoredEntry>,
    history: Vec<(u64, Vec<Thing>)>,
    secrets: Vec<deciding::Secret>,
    records: Vec<(String, Vec<u8>)>,
    /// Sealed texts whose words are erased.
    erased: Vec<String>,
}

/// Decides every command of the batch against what the ones before it left, and writes what was accepted.
pub async fn decide_and_write(
    conn: &mut Conn,
    hand: &mut Hand,
    lines: &[Line],
    clock: &Clock,
) -> Result<Vec<Done>, StorageError> {
    let mut gathered = gather_for(conn, &hand.state, lines).await?;
    let now = clock.now();
    let mut written = Written::default();
    let mut outcomes = Vec::with_capacity(lines.len());
    for line in lines {
        let corrects = looks_at(&hand.state, &line.command).is_some();
        if line.command.around.late.is_some() || corrects {
            gathered.turns = turns_for(conn, &hand.state, &line.command).await?;
        }
        gathered.same_patient = same_patients(conn, &hand.state, &line.command, &written.secrets).await?;
        outcomes.push(decide_one(hand, line, line.now.unwrap_or(now), &mut gathered, &mut written)?);
    }
    if written.entries.is_empty() {
        return Ok(outcomes);
    }
    write(conn, hand, written).await?;
    Ok(outcomes)
}

/// Decides all of the commands, and writes them where none was turned away; else answers with those that were, by their
/// places, and has written nothing. What is in memory is then ahead of the tables.
pub async fn decide_whole(
    conn: &mut Conn,
    hand: &mut Hand,
    lines: &[Line],
    clock: &Clock,
    decided: &AtomicUsize,
) -> Result<Result<Vec<Done>, Vec<(usize, Outcome)>>, StorageError> {
    let mut gathered = gather_for(conn, &hand.state, lines).await?;
    let now = clock.now();
    let mut written = Written::default();
    let mut outcomes = Vec::with_capacity(lines.len());
    let mut refused = Vec::new();
    for (place, line) in lines.iter().enumerate() {
        gathered.same_patient = same_patients(conn, &hand.state, &line.command, &written.secrets).await?;
        match decide_one(hand, line, line.now.unwrap_or(now), &mut gathered, &mut written)? {
            Done::Not(outcome) => refused.push((place, outcome)),
            entered => outcomes.push(entered),
        }
        decided.store(place + 1, Ordering::Relaxed);
        // So many take a while, and others wait for this thread.
        if place % 64 == 63 {
            tokio::task::yield_now().await;
        }
    }
    if !refused.is_empty() {
        return Ok(Err(refused));
    }
    if !written.entries.is_empty() {
        write(conn, hand, written).await?;
    }
    Ok(Ok(outcomes))
}

fn decide_one(
    hand: &mut Hand,
    line: &Line,
    now: Time,
    gathered: &mut Gathered,
    written: &mut Written,
) -> Result<Done, StorageError> {
    let asked = fingerprint(&hand.secret, &line.asked);
    let key = line.command.around.key.as_ref().map(|key| &key.0);
    let of_batch = key.and_then(|key| gathered.new.get(key)).and_then(|at| written.entries.get(*at));
    if let Some(before) = of_batch.or_else(|| key.and_then(|key| gathered.known.get(key))) {
        if before.asked != asked || before.actor != line.actor.code {
            return Ok(Done::Not(Outcome::KeyReused));
        }
        let Entry { seq, at, event, .. } = read_event(before)?;
        return Ok(Done::Entered { entry: seq, at, event: Arc::new(event), replayed: true });
    }
    let corrected = corrected_entry(&hand.state, line, gathered, written)?;
    let asks = deciding::Asked {
        actor: &line.actor,
        now,
        salt: random().map_err(row_error)?,
        people: &gathered.people,
        own_name: gathered.names.get(&line.actor.code).map(String::as_str),
        turns: &gathered.turns,
        corrected: corrected.as_ref(),
        attachments: &gathered.attachments,
        same_patient: &gathered.same_patient,
        prepared: line.prepared.as_ref(),
    };
    let decided = match deciding::decide(&hand.state, &asks, &line.command) {
        Ok(decided) => decided,
        Err(turned) => return Ok(Done::Not(Outcome::Turned(turned))),
    };
    let Some((stored, event)) = enter(hand, line, now, decided, written, asked)? else {
        let detail = format!("found a command whose event would be larger than {EVENT_MOST} bytes");
        return Ok(Done::Not(Outcome::Turned(Turned::Malformed(vec![wrong("", detail)]))));
    };
    if let Some(key) = key {
        gathered.new.insert(key.clone(), written.entries.len());
    }
    let done =
        Done::Entered { entry: stored.seq, at: Time(stored.at), event: Arc::new(event), replayed: false };
    written.entries.push(stored);
    Ok(done)
}

/// The entry that a correction names, from the ledger or from this very batch.
fn corrected_entry(
    state: &State,
    line: &Line,
    gathered: &Gathered,
    written: &Written,
) -> Result<Option<(Entry, Event)>, StorageError> {
    let Some(seq) = looks_at(state, &line.command) else { return Ok(None) };
    let stored = gathered.corrected.get(&seq);
    let stored = stored.or_else(|| written.entries.iter().find(|entry| entry.seq == seq));
    stored.map(read_entry).transpose()
}

/// An event of at most this many bytes is written; a larger one is refused as malformed.
const EVENT_MOST: usize = 4 * 1024 * 1024;

/// Makes an accepted command an entry: canonical text, leaf, place in the tree; and applies it. `None`, and nothing
/// done, where the entry would be too large.
fn enter(
    hand: &mut Hand,
    line: &Line,
    now: Time,
    decided: Decided,
    written: &mut Written,
    asked: Vec<u8>,
) -> Result<Option<(StoredEntry, Event)>, StorageError> {
    let state = &mut hand.state;
    let recorded_at = now.max(state.recorded_at);
    let key = line.command.around.key.as_ref().map(|key| key.0.clone());
    let entry = Entry {
        site: state.site.clone(),
        seq: state.seq + 1,
        at: decided.at,
        recorded_at,
        actor: line.actor.code.clone(),
        station: line.command.around.station.as_ref().map(|station| station.0.clone()),
        key,
        kind: decided.event.what.kind().into(),
        version: decided.event.what.version(),
        event: decided.event,
    };
    let text = canonical(&entry).map_err(row_error)?;
    if text.len() > EVENT_MOST {
        return Ok(None);
    }
    let hash = leaf(text.as_bytes());
    hand.frontier.push(hash);
    let when = When { seq: entry.seq, at: entry.at, recorded_at, actor: &entry.actor };
    apply(state, &when, &entry.event);
    written.secrets.extend(decided.secrets);
    keep_beside(state, line, entry.seq, &entry.event, written);
    let stored = StoredEntry {
        seq: entry.seq,
        entry: text,
        leaf: hash.to_vec(),
        key: entry.key,
        asked,
        at: entry.at.0,
        recorded_at: recorded_at.0,
        actor: entry.actor,
        kind: entry.kind,
    };
    Ok(Some((stored, entry.event)))
}

/// What an entry leaves beside itself: the rows it is found by, sealed texts, a raw record.
fn keep_beside(state: &State, line: &Line, seq: u64, event: &Event, written: &mut Written) {
    written.history.push((seq, found_under(state, event)));
    if let What::PatientErased(erased) = &event.what {
        written.erased.push(erased.patient.clone());
    }
    if let (What::LoadJudged(judged), Act::Load(Load::Judge(judge))) = (&event.what, &line.command.act)
        && let (Evidence::Record { sha256, .. }, Some(raw)) = (&judged.judged.by, judge.bytes())
    {
        written.records.push((sha256.clone(), raw.to_vec()));
    }
}

async fn write(conn: &mut Conn, hand: &mut Hand, written: Written) -> Result<(), StorageError> {
    let site = hand.state.site.clone();
    let site = site.as_str();
    let changes = hand.state.take_changes();
    let entries = written.entries.into_iter().map(|entry| entry.row(site)).collect();
    let history =
        written.history.iter().flat_map(|(seq, things)| facts::history_rows(site, *seq, things)).collect();
    let head = ledger::Head {
        seq: hand.state.seq,
        recorded_at: hand.state.recorded_at.0,
        root: hand.frontier.root().to_vec(),
        frontier: hand.frontier.to_bytes(),
    };
    let mut writes = vec![ledger::ENTRY.adding(entries), ledger::HEAD_NOW.putting(vec![head.row(site)])];
    writes.extend(facts::rows(&hand.state, &changes)?.into_iter().map(|(table, rows)| table.putting(rows)));
    writes.push(facts::HISTORY.adding(history));
    writes.extend(facts::grown(site, &changes));
    conn.write(writes).await?;
    for secret in &written.secrets {
        ledger::add_sealed(conn, site, &secret.sealed, &secret.salt, &secret.text).await?;
    }
    for sealed in &written.erased {
        ledger::erase_sealed(conn, site, sealed).await?;
    }
    for (sha256, raw) in written.records {
        ledger::add_record(conn, site, &sha256, raw).await?;
    }
    Ok(())
}

/// Whether a turn-away is worth a line in the log.
pub fn turned_code(turned: &Turned) -> &'static str {
    match turned {
        Turned::Refused(refusal) => refusal.code().name(),
        Turned::Malformed(_) => "malformed",
        Turned::NotYourRole => "not_your_role",
    }
}
