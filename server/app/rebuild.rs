//! Replays ledgers: to make the tables of current facts anew, and to check that they are what the ledger says.

use std::collections::BTreeMap;

use super::batch::{read_event, replay_read};
use super::pages::Pages;
use crate::domain::checks;
use crate::domain::history::found_under;
use crate::domain::id::Id;
use crate::domain::state::{Changes, State};
use crate::ledger::frontier::Frontier;
use crate::storage::connection::Arg;
use crate::storage::ledger;
use crate::storage::rows::Table;
use crate::storage::{Conn, Db, StorageError, facts};

/// Entries replayed and written at a time.
const PAGE: usize = 2_000;

/// What a check found.
#[derive(Debug, Default)]
pub struct Report {
    pub entries: u64,
    pub sites: u64,
    /// Differences and broken rules, in sentences; the first hundred of each site.
    pub wrong: Vec<String>,
}

/// Drops the tables of current facts and makes them from the ledger. No server may be writing meanwhile.
pub async fn make_anew(db: &Db) -> Result<(), StorageError> {
    let mut conn = db.connect().await?;
    conn.begin().await?;
    facts::make_anew(&mut conn).await?;
    conn.commit().await?;
    replay_all(db).await
}

/// Fills empty tables of current facts from every site's ledger.
pub async fn replay_all(db: &Db) -> Result<(), StorageError> {
    for site in ledger::sites(db).await? {
        let Some(site) = Id::new(&site) else { continue };
        let mut conn = db.connect().await?;
        conn.begin().await?;
        ledger::locked_head(&mut conn, site.as_str()).await?;
        let mut state = State::new(site.clone());
        loop {
            let page = ledger::after(&mut conn, site.as_str(), state.seq, PAGE).await?;
            if page.is_empty() {
                break;
            }
            let mut rows = Vec::new();
            for stored in &page {
                let entry = read_event(stored)?;
                replay_read(&mut state, &entry);
                rows.extend(facts::history_rows(
                    site.as_str(),
                    entry.seq,
                    &found_under(&state, &entry.event),
                ));
            }
            let changes = state.take_changes();
            write(&mut conn, &state, &changes, rows).await?;
        }
        conn.commit().await?;
    }
    Ok(())
}

async fn write(
    conn: &mut Conn,
    state: &State,
    changes: &Changes,
    history: Vec<Vec<Arg>>,
) -> Result<(), StorageError> {
    let site = state.site.as_str();
    let mut writes: Vec<_> =
        facts::rows(state, changes)?.into_iter().map(|(table, rows)| table.putting(rows)).collect();
    writes.push(facts::HISTORY.adding(history));
    writes.extend(facts::grown(site, changes));
    conn.write(writes).await
}

/// Replays every ledger in memory and compares: the chain of leaves, the head, every table, the checker's rules.
pub async fn check(db: &Db) -> Result<Report, StorageError> {
    let mut report = Report::default();
    for site in ledger::sites(db).await? {
        let Some(site) = Id::new(&site) else { continue };
        report.sites += 1;
        let mut conn = db.connect().await?;
        conn.execute(conn.dialect().snapshot(), &[]).await?;
        let wrong = check_site(&mut conn, &site, &mut report.entries).await?;
        conn.commit().await?;
        report.wrong.extend(wrong.into_iter().take(100).map(|what| format!("site {site}: {what}")));
    }
    Ok(report)
}

/// The rows that only ever grow, as the ledger makes them.
#[derive(Default)]
struct Grown {
    rows: BTreeMap<&'static str, Vec<Vec<Arg>>>,
}

impl Grown {
    fn add(&mut self, table: &Table, rows: impl IntoIterator<Item = Vec<Arg>>) {
        self.rows.entry(table.name).or_default().extend(rows);
    }
}

async fn check_site(conn: &mut Conn, site: &Id, entries: &mut u64) -> Result<Vec<String>, StorageError> {
    let mut wrong = Vec::new();
    let mut state = State::new(site.clone());
    let mut frontier = Frontier::new();
    let mut changes = Changes::default();
    let mut grown = Grown::default();
    let mut recorded_at = i64::MIN;
    let mut pages = Pages::new(site);
    while let Some(page) = pages.next(conn).await? {
        for looked in page {
            if looked.entry.seq != state.seq + 1 {
                wrong.push(format!("entry {} follows entry {}", looked.entry.seq, state.seq));
            }
            wrong.extend(looked.wrong);
            if looked.recorded_at < recorded_at {
                let seq = looked.entry.seq;
                wrong.push(format!("entry {seq}: it was recorded before the entry under it"));
            }
            recorded_at = looked.recorded_at;
            frontier.push(looked.leaf);
            replay_read(&mut state, &looked.entry);
            let things = found_under(&state, &looked.entry.event);
            grown.add(&facts::HISTORY, facts::history_rows(site.as_str(), looked.entry.seq, &things));
            *entries += 1;
        }
        merge(&mut changes, state.take_changes(), site, &mut grown);
    }
    match ledger::seen_head(conn, site.as_str()).await? {
        Some(head)
            if head.seq == state.seq
                && head.root == frontier.root()
                && head.recorded_at == state.recorded_at.0 => {}
        _ => wrong.push("the head differs from the entries under it".into()),
    }
    for (table, rows) in facts::rows(&state, &changes)? {
        grown.add(&table, rows);
    }
    grown.add(&facts::TURN, changes.turns.values().map(|it| facts::turn_row(site.as_str(), it)));
    for table in facts::ALL {
        let made = grown.rows.remove(table.name).unwrap_or_default();
        compare(conn, site, &table, made, &mut wrong).await?;
    }
    wrong.extend(checks::check(&state));
    Ok(wrong)
}

fn merge(into: &mut Changes, from: Changes, site: &Id, grown: &mut Grown) {
    into.site |= from.site;
    into.routes.extend(from.routes);
    into.models.extend(from.models);
    into.sheets.extend(from.sheets);
    into.machines.extend(from.machines);
    into.assets.extend(from.assets);
    into.turned.extend(from.turned);
    into.sets.extend(from.sets);
    into.loads.extend(from.loads);
    into.holds.extend(from.holds);
    into.reserves.extend(from.reserves);
    into.cases.extend(from.cases);
    into.missing.extend(from.missing);
    into.findings.extend(from.findings);
    into.repairs.extend(from.repairs);
    into.look_backs.extend(from.look_backs);
    into.recalls.extend(from.recalls);
    into.broken.extend(from.broken);
    into.tests.extend(from.tests);
    into.tried.extend(from.tried);
    into.upkeep.extend(from.upkeep);
    into.values.extend(from.values);
    into.procedures.extend(from.procedures);
    into.alert_rules.extend(from.alert_rules);
    into.signed.extend(from.signed);
    into.schedule_lines.extend(from.schedule_lines);
    into.requests.extend(from.requests);
    into.loans.extend(from.loans);
    into.strangers.extend(from.strangers);
    into.mixed.extend(from.mixed);
    into.shelf.extend(from.shelf);
    into.case_stock.extend(from.case_stock);
    into.paper.extend(from.paper);
    into.wrong_things.extend(from.wrong_things);
    into.paces.extend(from.paces);
    into.machine_paces.extend(from.machine_paces);
    into.turns.extend(from.turns);
    grown.add(&facts::SEATING, from.seatings.iter().map(|it| facts::seating_row(site.as_str(), it)));
}

/// Compares a table with what the ledger makes of it, both in the order of the key.
async fn compare(
    conn: &mut Conn,
    site: &Id,
    table: &Table,
    mut made: Vec<Vec<Arg>>,
    wrong: &mut Vec<String>,
) -> Result<(), StorageError> {
    let keys = table.key.len();
    made.sort_by(|a, b| facts::key_order(a.iter().take(keys), b.iter().take(keys)));
    let stored = facts::all_rows(conn, table, site.as_str()).await?;
    if stored.len() != made.len() {
        wrong.push(format!(
            "table {} has {} rows, the ledger makes {}",
            table.name,
            stored.len(),
            made.len()
        ));
    }
    for (stored, made) in stored.iter().zip(&made) {
        if stored != made {
            wrong.push(format!("table {} has {stored:?}, the ledger makes {made:?}", table.name));
            if wrong.len() > 100 {
                break;
            }
        }
    }
    Ok(())
}
