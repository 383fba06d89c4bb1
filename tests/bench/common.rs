//! What the benchmarks share: a fresh database of each kind, and a department of sets of twelve parts.

use std::sync::Arc;

use fettle::app::house::{House, Outcome};
use fettle::domain::command::Command;
use fettle::domain::id::Id;
use fettle::domain::person::{Actor, Role};
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use tempfile::TempDir;

/// How many sets there are: as many as there are stations at most.
pub const SETS: usize = 32;
/// Parts in a set.
pub const PARTS: usize = 12;
/// The acts of a turn that need no machine, in the order of the route.
pub const STEPS: [&str; 7] =
    ["treated", "received", "cleaned", "ultrasonic", "dried", "disinfected", "packed"];

/// A database that is made for one run and goes with it.
pub struct Fresh {
    pub url: String,
    _folder: Option<TempDir>,
    dropped: Option<(String, String)>,
}

impl Fresh {
    pub fn embedded() -> Fresh {
        let folder = tempfile::tempdir().expect("a folder");
        let url = format!("sqlite:{}", folder.path().join("fettle.db").display());
        Fresh { url, _folder: Some(folder), dropped: None }
    }

    /// A database of its own in the PostgreSQL that the tests run on.
    pub async fn server() -> Fresh {
        let base = std::env::var("FETTLE_TEST_POSTGRES").expect("FETTLE_TEST_POSTGRES names a PostgreSQL");
        let (server, _) = base.rsplit_once('/').expect("a database's name at the end");
        let name = format!("fettle_bench_{}", std::process::id());
        let mut conn = PgConnection::connect(&base).await.expect("a connection");
        run(&mut conn, &format!("DROP DATABASE IF EXISTS {name}")).await;
        run(&mut conn, &format!("CREATE DATABASE {name}")).await;
        Fresh { url: format!("{server}/{name}"), _folder: None, dropped: Some((base, name)) }
    }

    pub async fn drop(self) {
        if let Some((base, name)) = &self.dropped {
            let mut conn = PgConnection::connect(base).await.expect("a connection");
            run(&mut conn, &format!("DROP DATABASE {name} WITH (FORCE)")).await;
        }
    }
}

pub async fn run(conn: &mut PgConnection, text: &str) {
    sqlx::query(AssertSqlSafe(text.to_string())).execute(conn).await.expect("a statement that runs");
}

pub fn actor(role: Role) -> Actor {
    Actor { code: role.name().into(), role }
}

pub fn command(value: Value) -> Command {
    Command::read(value).expect("a command")
}

pub fn set(n: usize) -> String {
    format!("SET-{n:02}")
}

/// Gives commands that all have to be accepted.
pub async fn give(house: &House, site: &Id, role: Role, commands: Vec<Command>) {
    for outcome in house.submit(site, &actor(role), commands).await {
        let told = || format!("{outcome:?}").chars().take(400).collect::<String>();
        assert!(matches!(outcome, Outcome::Accepted(_)), "{}", told());
    }
}

/// Opens a house on a fresh database, with one site, one route, and the sets with their parts. `last` is a step after
/// those at the desk.
pub async fn furnished(url: &str, last: Option<&str>) -> (Arc<House>, Id) {
    let house = Arc::new(House::open(url).await.expect("a house"));
    let site = house.add_site("bench", "Bench service", "Europe/Berlin").await.expect("a site");
    let steps: Vec<Value> = STEPS
        .into_iter()
        .chain(last)
        .map(|step| match step {
            "disinfected" => json!({"step": step, "method": "manual"}),
            step => json!({"step": step}),
        })
        .collect();
    give(
        &house,
        &site,
        Role::Admin,
        vec![command(json!({"do": "define_route", "route": "by-hand", "steps": steps}))],
    )
    .await;
    let model = json!({"do": "define_model", "model": "cap", "family": "cap", "name": "Sealing cap", "route": "by-hand",
                       "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    give(&house, &site, Role::Biomed, vec![command(model)]).await;
    let lines =
        json!([{"line": "cap", "family": "cap", "quantity": PARTS, "essential": true, "pack": "tray"}]);
    let sheet = json!({"do": "define_count_sheet", "count_sheet": "caps", "name": "Caps", "lines": lines});
    let mut commands = vec![command(sheet)];
    for n in 0..SETS {
        let name = format!("Caps {n}");
        commands
            .push(command(json!({"do": "build_set", "set": set(n), "count_sheet": "caps", "name": name})));
        for part in 1..=PARTS {
            let asset = format!("C-{n:02}{part:02}");
            let mark = format!("0104012345{n:04}{part:04}");
            commands.push(command(
                json!({"do": "add_asset", "asset": asset, "mark": mark, "model": "cap", "serial": format!("SN-{n}-{part}")}),
            ));
            commands.push(command(
                json!({"do": "put_in_set", "set": set(n), "line": "cap", "position": part, "asset": asset}),
            ));
        }
    }
    give(&house, &site, Role::Lead, commands).await;
    (house, site)
}

/// The `n`th act of a station, which takes its set round and round the route.
pub fn act(station: usize, n: usize, key: Option<String>) -> Command {
    let step = STEPS[n % STEPS.len()];
    let mut value = json!({"do": "record_step", "step": step, "scan": [set(station)],
                           "station": format!("desk-{station}")});
    if let Some(key) = key {
        value["key"] = key.into();
    }
    command(value)
}
