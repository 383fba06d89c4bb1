//! Tables of current facts: what the ledger says now, one row a thing, and the rows that history is found by. They
//! are written by the clerk with the entries, and can be made anew from the ledger.

use std::collections::BTreeMap;
use std::sync::Arc;

use imbl::OrdMap;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::asset;
use super::connection::{Arg, Conn, StorageError};
pub use super::grown::{grown, history_rows, seating_row, turn_row};
use super::model::ModelFacts;
pub use super::rows::key_order;
use super::rows::{Table, plain};
use super::visiting::{self, CASE_STOCK, LOAN, MIXED, SHELF, STRANGER, SetFacts};
use crate::domain::id::Id;
use crate::domain::model::RouteStep;
use crate::domain::set::SetState;
use crate::domain::site::Policy;
use crate::domain::state::{Asset, Changes, KeptTest, Named, State};

pub const SITE: Table = plain!("site_now");
pub const ROUTE: Table = plain!("route_now");
pub const MODEL: Table = plain!("model_now");
pub const SHEET: Table = plain!("count_sheet_now");
pub const MACHINE: Table = plain!("machine_now");
pub const SET: Table = plain!("set_now");
pub const HOLD: Table = plain!("hold_now");
pub const RESERVE: Table = plain!("reserve_now");
pub const CASE: Table = plain!("case_now");
pub const MISSING: Table = plain!("missing_now");
pub const FINDING: Table = plain!("finding_now");
pub const REPAIR: Table = plain!("repair_now");
pub const LOOK_BACK: Table = plain!("look_back_now");
pub const RECALL: Table = plain!("recall_now");
pub const BROKEN: Table = plain!("broken_pack_now");
pub const TEST: Table = plain!("machine_test");
pub const TRIED: Table = plain!("tried_now");
pub const UPKEEP: Table = plain!("upkeep_now");
pub const VALUES: Table = plain!("value_now");
pub const PROCEDURE: Table = plain!("procedure_now");
pub const ALERT: Table = plain!("alert_rule_now");
pub const SIGNED: Table = plain!("signature_now");
pub const SCHEDULE: Table = plain!("schedule_line_now");
pub const REQUEST: Table = plain!("request_now");
pub const PAPER: Table = plain!("paper_sheet_now");
pub const WRONG_THING: Table = plain!("wrong_thing_now");
pub const PACE: Table = plain!("pace_now");
pub const CYCLE_PACE: Table = plain!("cycle_pace_now");
pub const ASSET: Table = Table {
    name: "asset_now",
    key: &["site", "id"],
    rest: &["mark", "model", "set_code", "facts"],
    definition: "CREATE TABLE asset_now (site TEXT NOT NULL, id TEXT NOT NULL, mark TEXT, model TEXT NOT NULL, \
                 set_code TEXT, facts TEXT NOT NULL, PRIMARY KEY (site, id))",
};
pub const TURNED: Table = plain!("turn_now");
pub const LOAD: Table = Table {
    name: "load_now",
    key: &["site", "id"],
    rest: &["machine", "status", "started_at", "facts"],
    definition: "CREATE TABLE load_now (site TEXT NOT NULL, id TEXT NOT NULL, machine TEXT NOT NULL, \
                 status TEXT NOT NULL, started_at BIGINT NOT NULL, facts TEXT NOT NULL, PRIMARY KEY (site, id))",
};
pub const HISTORY: Table = Table {
    name: "history",
    key: &["site", "kind", "thing", "seq"],
    rest: &[],
    definition: "CREATE TABLE history (site TEXT NOT NULL, kind TEXT NOT NULL, thing TEXT NOT NULL, \
                 seq BIGINT NOT NULL, PRIMARY KEY (site, kind, thing, seq))",
};
pub const TURN: Table = Table {
    name: "turn",
    key: &["site", "asset", "turn"],
    rest: &["seq", "at"],
    definition: "CREATE TABLE turn (site TEXT NOT NULL, asset TEXT NOT NULL, turn BIGINT NOT NULL, \
                 seq BIGINT NOT NULL, at BIGINT NOT NULL, PRIMARY KEY (site, asset, turn))",
};
pub const SEATING: Table = Table {
    name: "seating",
    key: &["site", "asset", "seq", "joined"],
    rest: &["set_code", "line", "position"],
    definition: "CREATE TABLE seating (site TEXT NOT NULL, asset TEXT NOT NULL, seq BIGINT NOT NULL, \
                 joined BIGINT NOT NULL, set_code TEXT NOT NULL, line TEXT NOT NULL, position BIGINT NOT NULL, \
                 PRIMARY KEY (site, asset, seq, joined))",
};

/// Every table of current facts, in the order in which they are compared.
pub const ALL: [Table; 39] = [
    SITE,
    ROUTE,
    MODEL,
    SHEET,
    MACHINE,
    SET,
    HOLD,
    RESERVE,
    CASE,
    MISSING,
    FINDING,
    REPAIR,
    LOOK_BACK,
    RECALL,
    BROKEN,
    TEST,
    TRIED,
    UPKEEP,
    VALUES,
    PROCEDURE,
    ALERT,
    SIGNED,
    SCHEDULE,
    REQUEST,
    PAPER,
    WRONG_THING,
    PACE,
    CYCLE_PACE,
    LOAN,
    STRANGER,
    MIXED,
    SHELF,
    CASE_STOCK,
    ASSET,
    TURNED,
    LOAD,
    HISTORY,
    TURN,
    SEATING,
];

pub async fn make_anew(conn: &mut Conn) -> Result<(), StorageError> {
    for table in ALL {
        conn.execute(&format!("DROP TABLE IF EXISTS {}", table.name), &[]).await?;
        conn.execute(&conn.dialect().facts_definition(table.definition), &[]).await?;
    }
    Ok(())
}

#[derive(Serialize, Deserialize)]
struct SiteFacts {
    name: String,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    practice: bool,
    zone: String,
    policy: Policy,
}

pub(super) fn json(facts: &impl Serialize) -> Result<Arg, StorageError> {
    serde_json::to_string(facts).map(Arg::Text).map_err(|error| StorageError::Row(error.to_string()))
}

pub type Rows = Vec<Vec<Arg>>;
/// The rows of what changed, by table.
pub fn rows(state: &State, changes: &Changes) -> Result<Vec<(Table, Rows)>, StorageError> {
    let site = || Arg::from(state.site.as_str());
    let mut all: Vec<(Table, Rows)> = Vec::new();
    if changes.site {
        let facts = SiteFacts {
            name: state.name.clone(),
            practice: state.practice,
            zone: state.zone.name().into(),
            policy: state.policy.clone(),
        };
        all.push((SITE, vec![vec![site(), site(), json(&facts)?]]));
    }
    macro_rules! things {
        ($table:expr, $changed:expr, $map:expr, $facts:expr) => {{
            let mut rows: Rows = Vec::with_capacity($changed.len());
            for id in &$changed {
                if let Some(thing) = $map.get(id) {
                    rows.push(vec![site(), id.as_str().into(), json(&$facts(thing))?]);
                }
            }
            all.push(($table, rows));
        }};
    }
    things!(ROUTE, changes.routes, state.routes, Arc::clone);
    things!(MODEL, changes.models, state.models, |it| ModelFacts::of(state, it));
    things!(SHEET, changes.sheets, state.sheets, Arc::clone);
    things!(MACHINE, changes.machines, state.machines, Arc::clone);
    let sets = state.sets.clone().union(state.sets_left.clone());
    things!(SET, changes.sets, sets, |it: &Arc<SetState>| {
        SetFacts::of(it, state.sets_left.contains_key(&it.set))
    });
    things!(HOLD, changes.holds, state.holds, Arc::clone);
    things!(RESERVE, changes.reserves, state.reserves, u32::clone);
    things!(CASE, changes.cases, state.cases, Arc::clone);
    things!(MISSING, changes.missing, state.missing, Arc::clone);
    things!(FINDING, changes.findings, state.findings, Arc::clone);
    things!(REPAIR, changes.repairs, state.repairs, Arc::clone);
    things!(LOOK_BACK, changes.look_backs, state.look_backs, Arc::clone);
    things!(RECALL, changes.recalls, state.recalls, Arc::clone);
    things!(BROKEN, changes.broken, state.broken, Arc::clone);
    things!(TRIED, changes.tried, state.tried, Arc::clone);
    things!(UPKEEP, changes.upkeep, state.upkeep, Arc::clone);
    things!(VALUES, changes.values, state.values, Arc::clone);
    things!(PROCEDURE, changes.procedures, state.procedures, Arc::clone);
    things!(ALERT, changes.alert_rules, state.alert_rules, Arc::clone);
    things!(SIGNED, changes.signed, state.signed, Arc::clone);
    things!(SCHEDULE, changes.schedule_lines, state.schedule_lines, Arc::clone);
    things!(REQUEST, changes.requests, state.requests, Arc::clone);
    things!(PAPER, changes.paper, state.paper, Arc::clone);
    things!(WRONG_THING, changes.wrong_things, state.wrong_things, Arc::clone);
    things!(PACE, changes.paces, state.paces.works, Arc::clone);
    things!(CYCLE_PACE, changes.machine_paces, state.paces.machines, Arc::clone);
    all.extend(visiting::rows(state, changes)?);
    let mut tests: Rows = Vec::with_capacity(changes.tests.len());
    for (entry, test) in &changes.tests {
        tests.push(vec![site(), entry.to_string().into(), json(test)?]);
    }
    all.push((TEST, tests));
    all.push((ASSET, asset::fixed_rows(state, changes)?));
    all.push((TURNED, asset::turned_rows(state, changes)?));
    let mut loads: Rows = Vec::new();
    for load in changes.loads.iter().filter_map(|id| state.loads.get(id)) {
        let (machine, status) = (load.machine.as_str().into(), load.status.name().into());
        let (id, started) = (load.load.as_str().into(), load.started_at.0.into());
        loads.push(vec![site(), id, machine, status, started, json(&**load)?]);
    }
    all.push((LOAD, loads));
    Ok(all)
}

/// Rows read at a time: a site of many years is never in memory twice, as text and as facts.
const PAGE: i64 = 1_000;

/// Gives each row of a table to `take`, in the order of ids.
async fn read_each<T: DeserializeOwned>(
    conn: &mut Conn,
    table: &Table,
    site: &str,
    mut take: impl FnMut(Id, T),
) -> Result<(), StorageError> {
    let text =
        format!("SELECT id, facts FROM {} WHERE site = $1 AND id > $2 ORDER BY id LIMIT $3", table.name);
    let mut after = String::new();
    loop {
        let page = conn.fetch(&text, &[site.into(), after.as_str().into(), PAGE.into()]).await?;
        for row in &page {
            let (id, facts) = (row.text(0)?, row.text(1)?);
            let unfit = |what: String| StorageError::Row(format!("{} {id}: {what}", table.name));
            let facts = serde_json::from_str(&facts).map_err(|error| unfit(error.to_string()))?;
            take(Id::new(&id).ok_or_else(|| unfit("no id".into()))?, facts);
            after = id;
        }
        if (page.len() as i64) < PAGE {
            return Ok(());
        }
    }
}

pub(super) async fn read<T: DeserializeOwned>(
    conn: &mut Conn,
    table: &Table,
    site: &str,
) -> Result<Vec<(Id, T)>, StorageError> {
    let mut all = Vec::new();
    read_each(conn, table, site, |id, facts| all.push((id, facts))).await?;
    Ok(all)
}

async fn read_assets(conn: &mut Conn, site: &str) -> Result<OrdMap<Id, Arc<Asset>>, StorageError> {
    let text = "SELECT a.id, a.facts, t.facts FROM asset_now a JOIN turn_now t ON t.site = a.site AND t.id = a.id \
                WHERE a.site = $1";
    let mut all = OrdMap::new();
    for row in conn.fetch(text, &[site.into()]).await? {
        let name = row.text(0)?;
        let unfit = |what: String| StorageError::Row(format!("asset_now {name}: {what}"));
        let id = Id::new(&name).ok_or_else(|| unfit("no id".into()))?;
        let fixed = serde_json::from_str(&row.text(1)?).map_err(|error| unfit(error.to_string()))?;
        let asset =
            asset::whole(id.clone(), fixed, &row.text(2)?).map_err(|error| unfit(error.to_string()))?;
        all.insert(id, Arc::new(asset));
    }
    Ok(all)
}

async fn load_said(conn: &mut Conn, code: &str, state: &mut State) -> Result<(), StorageError> {
    state.procedures = read::<Arc<_>>(conn, &PROCEDURE, code).await?.into_iter().collect();
    state.alert_rules = read::<Arc<_>>(conn, &ALERT, code).await?.into_iter().collect();
    state.signed = read::<Arc<_>>(conn, &SIGNED, code).await?.into_iter().collect();
    state.schedule_lines = read::<Arc<_>>(conn, &SCHEDULE, code).await?.into_iter().collect();
    state.paper = read::<Arc<_>>(conn, &PAPER, code).await?.into_iter().collect();
    state.wrong_things = read::<Arc<_>>(conn, &WRONG_THING, code).await?.into_iter().collect();
    state.requests = read::<Arc<_>>(conn, &REQUEST, code).await?.into_iter().collect();
    Ok(())
}

/// Reads a site's current facts whole. The caller holds the head, and sets the place in the ledger.
pub async fn load(conn: &mut Conn, site: &Id) -> Result<State, StorageError> {
    let mut state = State::new(site.clone());
    let code = site.as_str();
    for (_, facts) in read::<SiteFacts>(conn, &SITE, code).await? {
        state.name = facts.name;
        state.practice = facts.practice;
        state.zone =
            facts.zone.parse().map_err(|_| StorageError::Row(format!("site {code}: no time zone")))?;
        state.policy = facts.policy;
    }
    for (id, versions) in read::<Vec<Arc<[RouteStep]>>>(conn, &ROUTE, code).await? {
        state.routes.insert(id, Arc::new(versions));
    }
    for (id, facts) in read::<ModelFacts>(conn, &MODEL, code).await? {
        state.models_told.insert(id.clone(), facts.told);
        state.models.insert(id, facts.model);
    }
    state.sheets = read::<Arc<_>>(conn, &SHEET, code).await?.into_iter().collect();
    state.machines = read::<Arc<_>>(conn, &MACHINE, code).await?.into_iter().collect();
    let mut tests = read::<KeptTest>(conn, &TEST, code).await?;
    tests.sort_by_key(|(_, kept)| (kept.test.at, kept.test.entry));
    for (_, kept) in tests {
        if let Some(machine) = state.machines.get_mut(&kept.machine) {
            Arc::make_mut(machine).keep_test(kept.test);
        }
    }
    state.holds = read::<Arc<_>>(conn, &HOLD, code).await?.into_iter().collect();
    state.reserves = read::<u32>(conn, &RESERVE, code).await?.into_iter().collect();
    state.missing = read::<Arc<_>>(conn, &MISSING, code).await?.into_iter().collect();
    state.findings = read::<Arc<_>>(conn, &FINDING, code).await?.into_iter().collect();
    state.repairs = read::<Arc<_>>(conn, &REPAIR, code).await?.into_iter().collect();
    state.recalls = read::<Arc<_>>(conn, &RECALL, code).await?.into_iter().collect();
    state.look_backs = read::<Arc<_>>(conn, &LOOK_BACK, code).await?.into_iter().collect();
    state.broken = read::<Arc<_>>(conn, &BROKEN, code).await?.into_iter().collect();
    state.tried = read::<Arc<_>>(conn, &TRIED, code).await?.into_iter().collect();
    state.upkeep = read::<Arc<_>>(conn, &UPKEEP, code).await?.into_iter().collect();
    state.values = read::<Arc<_>>(conn, &VALUES, code).await?.into_iter().collect();
    load_said(conn, code, &mut state).await?;
    state.paces.works = read::<Arc<_>>(conn, &PACE, code).await?.into_iter().collect();
    state.paces.machines = read::<Arc<_>>(conn, &CYCLE_PACE, code).await?.into_iter().collect();
    visiting::load(conn, code, &mut state).await?;
    state.assets = read_assets(conn, code).await?;
    read_each(conn, &LOAD, code, |_, load| state.adopt_load(load)).await?;
    read_each(conn, &CASE, code, |_, case| state.adopt_case(case)).await?;
    let mut seats: BTreeMap<Id, BTreeMap<(String, u32), Id>> = BTreeMap::new();
    let assets: Vec<Arc<Asset>> = state.assets.values().cloned().collect();
    for asset in &assets {
        state.name_asset(asset);
        if let Some(seat) = &asset.seat {
            let of_set = seats.entry(seat.set.clone()).or_default();
            of_set.insert((seat.line.clone(), seat.position), asset.asset.clone());
        }
    }
    for (set, facts) in read::<SetFacts>(conn, &SET, code).await? {
        let seats = seats.remove(&set).unwrap_or_default();
        let SetFacts { count_sheet, name, last_at, left } = facts;
        let kept = Arc::new(SetState { set: set.clone(), count_sheet, name, seats, last_at });
        if left {
            state.sets_left.insert(set, kept);
        } else {
            state.names.insert(set.to_string(), Named::Set(set.clone()));
            state.sets.insert(set, kept);
        }
    }
    state.index();
    Ok(state)
}

/// Every row of a table of current facts, in the order of its key.
pub async fn all_rows(conn: &mut Conn, table: &Table, site: &str) -> Result<Rows, StorageError> {
    let columns: Vec<&str> = table.columns().collect();
    let text = format!(
        "SELECT {} FROM {} WHERE site = $1 ORDER BY {}",
        columns.join(", "),
        table.name,
        table.key.join(", ")
    );
    let number =
        |column: &str| matches!(column, "seq" | "turn" | "at" | "started_at" | "joined" | "position");
    let optional = |column: &str| matches!(column, "mark" | "set_code") && table.name == ASSET.name;
    let mut all = Vec::new();
    for row in conn.fetch(&text, &[site.into()]).await? {
        let mut args = Vec::with_capacity(columns.len());
        for (i, column) in columns.iter().enumerate() {
            args.push(match (number(column), optional(column)) {
                (true, _) => Arg::Int(row.int(i)?),
                (_, true) => Arg::OptText(row.opt_text(i)?),
                _ => Arg::Text(row.text(i)?),
            });
        }
        all.push(args);
    }
    Ok(all)
}
