//! The downtime pack in a folder of the house's own choice: made anew every hour, so that it is there when the network and this server
//! are not. FOLDER/SITE/downtime-DAY-HOUR.html, the last ones kept, and the newest as downtime.html.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::task::spawn_blocking;

use super::house::{House, Outcome};
use crate::domain::command::{Act, Around, Command, Key, Paper};
use crate::domain::id::Id;
use crate::domain::paper::{PaperSheet, PrintSheets, SheetOf, SheetStatus, Wanted};
use crate::domain::person::{Actor, Role};
use crate::domain::state::State;
use crate::domain::text::Line;
use crate::domain::time::Time;

/// How long between two packs.
const BETWEEN: Duration = Duration::from_secs(3_600);
/// A folder that could not be written is tried again sooner.
const AGAIN: Duration = Duration::from_secs(60);
/// Who numbers the sheets that lie in the folder, as the ledger names it.
pub const ACTOR: &str = "downtime";
const BEGINS: &str = "downtime-";
const NEWEST: &str = "downtime.html";

/// What makes the text of a pack: the state, its blank sheets, and the time.
pub type Written = fn(&State, &[&PaperSheet], Time) -> Result<String, String>;

/// Where packs are kept, how many of each site, and what they say.
pub struct Pack {
    pub folder: PathBuf,
    pub keep: usize,
    pub written: Written,
}

/// The sheets of one pack: enough for a shift of a small department.
fn of_a_pack() -> Vec<Wanted> {
    let wanted = [
        (SheetOf::Sink, 2),
        (SheetOf::Washer, 1),
        (SheetOf::Packing, 2),
        (SheetOf::Steriliser, 2),
        (SheetOf::Theatre, 2),
    ];
    wanted.map(|(of, sheets)| Wanted { of, sheets }).into()
}

/// Keeps the packs of every site until it is stopped.
pub async fn keep(house: Arc<House>, pack: Pack) {
    tracing::info!(folder = %pack.folder.display(), "keeping the downtime pack");
    loop {
        let written = once(&house, &pack).await;
        tokio::time::sleep(if written { BETWEEN } else { AGAIN }).await;
    }
}

/// Writes the pack of each site once; says whether all of them were.
pub async fn once(house: &House, pack: &Pack) -> bool {
    let Ok(sites) = house.site_codes().await else { return false };
    let mut all = true;
    for site in sites.iter().filter_map(|code| Id::new(code)) {
        if let Err(why) = of_site(house, pack, &site).await {
            tracing::warn!(%site, folder = %pack.folder.display(), "the downtime pack was not written: {why}");
            all = false;
        }
    }
    all
}

/// The sheets that lie in the folder: those that were numbered for it last, while nothing of them was entered or voided. A number
/// that was written on is never printed again.
fn lying(state: &State) -> Vec<&PaperSheet> {
    let last = state.paper.values().filter(|it| it.printed.by == ACTOR).map(|it| it.printed.entry).max();
    let of_last: Vec<&PaperSheet> =
        state.paper.values().filter(|it| Some(it.printed.entry) == last).map(|it| &**it).collect();
    match of_last.iter().all(|it| it.status() == SheetStatus::Out) {
        true => of_last,
        false => Vec::new(),
    }
}

async fn of_site(house: &House, pack: &Pack, site: &Id) -> Result<(), String> {
    let gone = || "the database does not answer".to_string();
    let read = || async { house.state(site).await.ok().flatten().ok_or_else(gone) };
    let mut state = read().await?;
    if lying(&state).is_empty() {
        number(house, &state).await?;
        state = read().await?;
    }
    let now = house.clock.now();
    let text = (pack.written)(&state, &lying(&state), now)?;
    let hour = now.in_zone(state.zone).format("%Y-%m-%d-%H%z").to_string();
    let (folder, keep) = (pack.folder.join(site.as_str()), pack.keep);
    let put = spawn_blocking(move || put(&folder, &hour, text.as_bytes(), keep)).await;
    put.map_err(|error| error.to_string())?.map_err(|error| error.to_string())
}

async fn number(house: &House, state: &State) -> Result<(), String> {
    // Two servers with one folder number one pack.
    let key = Some(Key(format!("downtime pack after {}", state.paper.len())));
    let around = Around { key, station: Some(Line("folder".into())), ..Around::default() };
    let act = Act::Paper(Paper::Print(PrintSheets { pages: of_a_pack() }));
    let actor = Actor { code: ACTOR.into(), role: Role::Desk };
    let given = house.submit(&state.site, &actor, vec![Command { around, act }]).await;
    match given.into_iter().next() {
        Some(Outcome::Accepted(_)) => Ok(()),
        _ => Err("its sheets could not be numbered".into()),
    }
}

/// Writes a pack whole or not at all, and lets the oldest go.
fn put(folder: &Path, hour: &str, bytes: &[u8], keep: usize) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    whole(folder, &format!("{BEGINS}{hour}.html"), bytes)?;
    whole(folder, NEWEST, bytes)?;
    let mut names: Vec<String> = fs::read_dir(folder)?
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter(|name| name.starts_with(BEGINS) && name.ends_with(".html"))
        .collect();
    names.sort();
    let old = names.len().saturating_sub(keep);
    for name in names.into_iter().take(old) {
        match fs::remove_file(folder.join(name)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    Ok(())
}

/// Whoever opens the file reads the one before or this one, never half of it.
fn whole(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    let beside = folder.join(format!(".{name}.{}.part", std::process::id()));
    let mut file = fs::File::create(&beside)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    drop(file);
    fs::rename(&beside, folder.join(name))
}
