//! One transaction of the clerk: gather what is not in memory, decide each command, write everything at once.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::clerk::{Hand, Line, fingerprint};
use super::clock::{Clock, random};
use super::house::{Accepted, Outcome};
use crate::domain::apply::{When, apply};
use crate::domain::command::{Act, Asset, Case, Command, Correct, Finding, Load, Missing, Step};
use crate::domain::deciding::{self, Decided, Turned};
use crate::domain::event::{Entry, Event, Thing, What};
use crate::domain::id::Id;
use crate::domain::scan;
use crate::domain::state::{Named, State};
use crate::domain::text::Scan;
use crate::domain::time::Time;
use crate::domain::verdict::Evidence;
use crate::ledger::canonical::canonical;
use crate::ledger::frontier::Frontier;
use crate::ledger::leaf::leaf;
use crate::storage::ledger::{self, StoredEntry};
use crate::storage::{Conn, StorageError, account, facts};

/// What a command asks, as text: its canonical form less its key.
pub struct Asked {
    pub text: String,
}

impl Asked {
    pub fn of(command: &Command) -> Asked {
        let mut value = command.to_value().unwrap_or(Value::Null);
        if let Value::Object(fields) = &mut value {
            fields.remove("key");
        }
        Asked { text: canonical(&value).unwrap_or_default() }
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
            replay(&mut hand.state, stored)?;
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
    records: Vec<(String, String)>,
    /// Sealed texts whose words are erased.
    erased: Vec<String>,
}

struct Gathered {
    known: BTreeMap<String, StoredEntry>,
    people: BTreeSet<String>,
    turns: BTreeMap<Id, Vec<(u32, Time)>>,
    /// Entries that corrections name.
    corrected: BTreeMap<u64, StoredEntry>,
}

async fn gather_for(conn: &mut Conn, state: &State, lines: &[Line]) -> Result<Gathered, StorageError> {
    let site = state.site.as_str();
    let keys: BTreeSet<String> =
        lines.iter().filter_map(|line| line.command.around.key.as_ref()).map(|key| key.0.clone()).collect();
    let keys: Vec<String> = keys.into_iter().collect();
    let known = ledger::of_keys(conn, site, &keys).await?;
    let known = known.into_iter().filter_map(|entry| entry.key.clone().map(|key| (key, entry))).collect();
    let people = match lines.iter().any(|line| names_somebody(&line.command)) {
        true => account::codes(conn, site).await?,
        false => BTreeSet::new(),
    };
    let mut turns = BTreeMap::new();
    for line in lines.iter().filter(|line| line.command.around.late.is_some()) {
        for asset in named_parts(state, &line.command) {
            let began = ledger::turns_of(conn, site, asset.as_str()).await?;
            turns.insert(asset, began.into_iter().map(|(turn, at)| (turn, Time(at))).collect());
        }
    }
    let mut corrected = BTreeMap::new();
    for line in lines {
        if let Act::Correct(Correct::Entry(it)) = &line.command.act {
            let found = ledger::after(conn, site, it.entry.saturating_sub(1), 1).await?;
            corrected.extend(found.into_iter().filter(|e| e.seq == it.entry).map(|e| (e.seq, e)));
            let instead = it.instead.iter().flat_map(|scan| scanned(state, scan));
            for asset in instead {
                let began = ledger::turns_of(conn, site, asset.as_str()).await?;
                turns.insert(asset, began.into_iter().map(|(turn, at)| (turn, Time(at))).collect());
            }
        }
    }
    Ok(Gathered { known, people, turns, corrected })
}

fn names_somebody(command: &Command) -> bool {
    let around = &command.around;
    around.late.as_ref().is_some_and(|late| late.done_by.is_some())
        || around.overriding.as_ref().is_some_and(|given| given.second_person.is_some())
        || matches!(&command.act, Act::Load(Load::Judge(judge)) if judge.readings.is_some())
        || matches!(&command.act, Act::Missing(Missing::Close(_)))
}

/// The parts that a late command may name: their turns are looked up.
fn named_parts(state: &State, command: &Command) -> Vec<Id> {
    let scans: &Scan = match &command.act {
        Act::Step(Step::RecordStep(it)) => &it.scan,
        Act::Step(Step::Inspect(it)) => &it.scan,
        Act::Step(Step::PackBroken(it)) => &it.scan,
        Act::Asset(Asset::PutAway(it)) => &it.scan,
        Act::Load(Load::Start(it)) => &it.scan,
        Act::Case(Case::Issue(it)) => &it.scan,
        Act::Case(Case::Open(it)) => &it.scan,
        Act::Case(Case::Use(it)) => &it.scan,
        Act::Missing(Missing::Report(it)) => return named_part(state, it.asset.as_str()),
        Act::Finding(Finding::Report(it)) => return named_part(state, it.scan.as_str()),
        _ => return Vec::new(),
    };
    scanned(state, scans)
}

fn scanned(state: &State, scans: &Scan) -> Vec<Id> {
    let mut all = Vec::new();
    for text in &scans.0 {
        match scan::resolve(state, text) {
            Ok(Named::Asset(asset)) => all.push(asset),
            Ok(Named::Set(set)) => {
                let members = state.sets.get(&set).map(|set| set.seats.values().cloned().collect::<Vec<_>>());
                all.extend(members.unwrap_or_default());
            }
            Err(_) => {}
        }
    }
    all
}

fn named_part(state: &State, text: &str) -> Vec<Id> {
    match scan::resolve(state, text) {
        Ok(Named::Asset(asset)) => vec![asset],
        _ => Vec::new(),
    }
}

/// Decides every command of the batch against what the ones before it left, and writes what was accepted.
pub async fn decide_and_write(
    conn: &mut Conn,
    hand: &mut Hand,
    lines: &[Line],
    clock: &Clock,
) -> Result<Vec<Outcome>, StorageError> {
    let mut gathered = gather_for(conn, &hand.state, lines).await?;
    let now = clock.now();
    let mut written = Written::default();
    let mut outcomes = Vec::with_capacity(lines.len());
    for line in lines {
        outcomes.push(decide_one(hand, line, line.now.unwrap_or(now), &mut gathered, &mut written)?);
    }
    if written.entries.is_empty() {
        return Ok(outcomes);
    }
    write(conn, hand, written).await?;
    Ok(outcomes)
}

fn decide_one(
    hand: &mut Hand,
    line: &Line,
    now: Time,
    gathered: &mut Gathered,
    written: &mut Written,
) -> Result<Outcome, StorageError> {
    let asked = fingerprint(&hand.secret, &line.asked.text);
    let key = line.command.around.key.as_ref().map(|key| key.0.clone());
    if let Some(before) = key.as_ref().and_then(|key| gathered.known.get(key)) {
        if before.asked != asked || before.actor != line.actor.code {
            return Ok(Outcome::KeyReused);
        }
        let (entry, _) = read_entry(before)?;
        return Ok(Outcome::Accepted(Accepted {
            entry: before.seq,
            at: entry.at,
            event: entry.event,
            replayed: true,
        }));
    }
    let corrected = corrected_entry(line, gathered, written)?;
    let asks = deciding::Asked {
        actor: &line.actor,
        now,
        salt: random().map_err(row_error)?,
        people: &gathered.people,
        turns: &gathered.turns,
        corrected: corrected.as_ref(),
        prepared: line.prepared.as_ref(),
    };
    let decided = match deciding::decide(&hand.state, &asks, &line.command) {
        Ok(decided) => decided,
        Err(turned) => return Ok(Outcome::Turned(turned)),
    };
    let stored = enter(hand, line, now, decided, written, asked)?;
    let accepted = Accepted { entry: stored.0.seq, at: Time(stored.0.at), event: stored.1, replayed: false };
    if let Some(key) = key {
        gathered.known.insert(key, stored.0.clone());
    }
    written.entries.push(stored.0);
    Ok(Outcome::Accepted(accepted))
}

/// The entry that a correction names, from the ledger or from this very batch.
fn corrected_entry(
    line: &Line,
    gathered: &Gathered,
    written: &Written,
) -> Result<Option<(Entry, Event)>, StorageError> {
    let Act::Correct(Correct::Entry(it)) = &line.command.act else { return Ok(None) };
    let stored = gathered.corrected.get(&it.entry);
    let stored = stored.or_else(|| written.entries.iter().find(|entry| entry.seq == it.entry));
    stored.map(read_entry).transpose()
}

/// An event of at most this many bytes is written; a larger one is refused as malformed.
const EVENT_MOST: usize = 4 * 1024 * 1024;

/// Makes an accepted command an entry: canonical text, leaf, place in the tree; and applies it.
fn enter(
    hand: &mut Hand,
    line: &Line,
    now: Time,
    decided: Decided,
    written: &mut Written,
    asked: Vec<u8>,
) -> Result<(StoredEntry, Value), StorageError> {
    let state = &mut hand.state;
    let recorded_at = now.max(state.recorded_at);
    let event = decided.event.to_value().map_err(row_error)?;
    let key = line.command.around.key.as_ref().map(|key| key.0.clone());
    let entry = Entry {
        site: state.site.clone(),
        seq: state.seq + 1,
        at: decided.at,
        recorded_at,
        actor: line.actor.code.clone(),
        station: line.command.around.station.as_ref().map(|station| station.0.clone()),
        key: key.clone(),
        kind: decided.event.what.kind().into(),
        version: decided.event.what.version(),
        event,
    };
    let value = serde_json::to_value(&entry).map_err(row_error)?;
    let text = canonical(&value).map_err(row_error)?;
    if text.len() > EVENT_MOST {
        return Err(StorageError::Row(format!("an event of {} bytes is more than {EVENT_MOST}", text.len())));
    }
    let hash = leaf(text.as_bytes());
    hand.frontier.push(hash);
    let when = When { seq: entry.seq, at: entry.at, recorded_at, actor: &entry.actor };
    apply(state, &when, &decided.event);
    keep_beside(state, line, entry.seq, decided, written);
    let stored = StoredEntry {
        seq: entry.seq,
        entry: text,
        leaf: hash.to_vec(),
        key,
        asked,
        at: entry.at.0,
        recorded_at: recorded_at.0,
        actor: entry.actor,
        kind: entry.kind,
    };
    Ok((stored, entry.event))
}

/// What an entry leaves beside itself: the rows it is found by, sealed texts, a raw record.
fn keep_beside(state: &State, line: &Line, seq: u64, decided: Decided, written: &mut Written) {
    let scanned = &decided.event.beside.sets;
    let member = |asset: &str| {
        state
            .assets
            .get(asset)
            .and_then(|asset| asset.seat.as_ref())
            .is_some_and(|seat| scanned.contains(&seat.set))
    };
    written.history.push((seq, decided.event.history(member)));
    written.secrets.extend(decided.secrets);
    if let What::PatientErased(erased) = &decided.event.what {
        written.erased.push(erased.patient.clone());
    }
    if let (What::LoadJudged(judged), Act::Load(Load::Judge(judge))) =
        (&decided.event.what, &line.command.act)
        && let (Evidence::Record { sha256, .. }, Some(raw)) = (&judged.judged.by, &judge.record)
    {
        written.records.push((sha256.clone(), raw.clone()));
    }
}

async fn write(conn: &mut Conn, hand: &mut Hand, written: Written) -> Result<(), StorageError> {
    let site = hand.state.site.clone();
    let site = site.as_str();
    let changes = hand.state.take_changes();
    let entries = written.entries.into_iter().map(|entry| entry.row(site)).collect();
    ledger::ENTRY.add(conn, entries).await?;
    for (table, rows) in facts::rows(&hand.state, &changes)? {
        table.put(conn, rows).await?;
    }
    let history =
        written.history.iter().flat_map(|(seq, things)| facts::history_rows(site, *seq, things)).collect();
    facts::HISTORY.add(conn, history).await?;
    facts::TURN.put(conn, changes.turns.values().map(|it| facts::turn_row(site, it)).collect()).await?;
    facts::SEATING
        .add(conn, changes.seatings.iter().map(|it| facts::seating_row(site, it)).collect())
        .await?;
    for secret in &written.secrets {
        ledger::add_sealed(conn, site, &secret.sealed, &secret.salt, &secret.text).await?;
    }
    for sealed in &written.erased {
        ledger::erase_sealed(conn, site, sealed).await?;
    }
    for (sha256, raw) in written.records {
        ledger::add_record(conn, site, &sha256, raw.into_bytes()).await?;
    }
    let head = ledger::Head {
        seq: hand.state.seq,
        recorded_at: hand.state.recorded_at.0,
        root: hand.frontier.root().to_vec(),
        frontier: hand.frontier.to_bytes(),
    };
    ledger::move_head(conn, site, &head).await
}

/// Whether a turn-away is worth a line in the log.
pub fn turned_code(turned: &Turned) -> &'static str {
    match turned {
        Turned::Refused(refusal) => refusal.code().name(),
        Turned::Malformed(_) => "malformed",
        Turned::NotYourRole => "not_your_role",
    }
}
