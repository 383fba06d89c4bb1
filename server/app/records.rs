//! Records that machines put into a folder: matched to their load, judged on the one write path, and put by. What cannot
//! be matched or read stays where it is, with the reason, and is tried again when a load or the machine's form changes.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use sha2::{Digest, Sha256};
use tokio::task::spawn_blocking;

use super::folder::{self, Found, Stamp};
use super::house::{House, Outcome};
use crate::domain::command::{Act, Around, Command, Key, Load as LoadAct};
use crate::domain::deciding::Turned;
use crate::domain::id::Id;
use crate::domain::load::{Judge, Load, LoadStatus};
use crate::domain::person::{Actor, Role};
use crate::domain::record::{self, Given};
use crate::domain::sha256::Sha256Of;
use crate::domain::state::{Machine, State};
use crate::domain::text::Line;
use crate::domain::time::Time;
use crate::formats::form::Form;

/// How long between two looks.
const BETWEEN: Duration = Duration::from_secs(2);
/// A file is taken when it was the same in so many looks after the first.
const STILL_LOOKS: u32 = 2;
/// A larger file is not read: as much as an upload may have.
pub const FILE_MOST: u64 = 64 * 1024 * 1024;
/// Who judges what the folder brings, as the ledger names it.
pub const ACTOR: &str = "records";
const STATION: &str = "folder";

/// A file that was not judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Waiting {
    pub machine: String,
    pub file: String,
    pub bytes: Option<u64>,
    pub since: Time,
    pub reason: String,
}

/// What waits, by site. Empty where no folder is watched.
#[derive(Default)]
pub struct Watched(Mutex<BTreeMap<Id, Vec<Waiting>>>);

impl Watched {
    pub fn of(&self, site: &Id) -> Vec<Waiting> {
        self.0.lock().ok().and_then(|all| all.get(site).cloned()).unwrap_or_default()
    }

    fn set(&self, site: Id, waiting: Vec<Waiting>) {
        if let Ok(mut all) = self.0.lock() {
            all.insert(site, waiting);
        }
    }
}

/// What a file was tried with: it is not tried again while this is the same.
#[derive(Clone, PartialEq)]
struct With {
    form: Option<Arc<Form>>,
    /// The machine's loads that are not decided, with their cycle numbers and records.
    loads: Vec<(Id, Option<String>, Option<Sha256Of>)>,
}

struct Known {
    stamp: Result<Stamp, String>,
    still: u32,
    since: Time,
    /// Why it stays, and what it was tried with; with nothing where it is tried at each look.
    stays: Option<(String, Option<With>)>,
}

/// What became of a file.
enum Tried {
    /// Judged and moved, or gone: there is nothing to tell.
    Done,
    /// Until something changes.
    Stays(String),
    /// Until the next look.
    Later(String),
}

/// Watches a folder until it is stopped.
pub async fn watch(house: Arc<House>, root: PathBuf) {
    let mut watcher = Watcher { house, root, known: BTreeMap::new(), told: BTreeSet::new() };
    tracing::info!(folder = %watcher.root.display(), "watching for records");
    loop {
        watcher.look().await;
        tokio::time::sleep(BETWEEN).await;
    }
}

struct Watcher {
    house: Arc<House>,
    root: PathBuf,
    known: BTreeMap<PathBuf, Known>,
    /// What the log has said, so that it is not said at each look.
    told: BTreeSet<String>,
}

impl Watcher {
    fn tell(&mut self, troubles: BTreeSet<String>) {
        for trouble in troubles.difference(&self.told) {
            tracing::warn!(folder = %self.root.display(), "{trouble}");
        }
        self.told = troubles;
    }

    async fn look(&mut self) {
        let root = self.root.clone();
        let Ok(look) = spawn_blocking(move || folder::look(&root)).await else { return };
        let mut troubles: BTreeSet<String> = look.troubles.into_iter().collect();
        let here: BTreeSet<&PathBuf> = look.found.iter().map(|found| &found.path).collect();
        self.known.retain(|path, _| here.contains(path));
        let empty = |(site, machines)| (site, (machines, Vec::new()));
        let mut by_site: BTreeMap<String, (Vec<String>, Vec<Found>)> =
            look.places.into_iter().map(empty).collect();
        for found in look.found {
            by_site.entry(found.site.clone()).or_default().1.push(found);
        }
        // A site whose folder is gone has nothing that waits.
        let listed: Vec<Id> =
            self.house.records.0.lock().map(|all| all.keys().cloned().collect()).unwrap_or_default();
        for site in listed.into_iter().filter(|site| !by_site.contains_key(site.as_str())) {
            self.house.records.set(site, Vec::new());
        }
        for (name, (machines, files)) in by_site {
            let site = Id::new(&name);
            let state = match &site {
                Some(site) => self.house.state(site).await,
                None => Ok(None),
            };
            match (site, state) {
                (Some(site), Ok(Some(state))) => {
                    let unknown = machines.iter().filter(|name| !state.machines.contains_key(name.as_str()));
                    troubles.extend(unknown.map(|name| format!("\"{name}\" is no machine of site {site}")));
                    self.look_at(&site, files).await;
                }
                // The database does not answer, which the log has; what waits is told as before.
                (_, Err(_)) => {}
                _ => drop(troubles.insert(format!("\"{name}\" is no site of this database"))),
            }
        }
        self.tell(troubles);
    }

    async fn look_at(&mut self, site: &Id, files: Vec<Found>) {
        let mut waiting = Vec::new();
        for found in files {
            // Each file is looked at with what the one before it left.
            let Ok(Some(state)) = self.house.state(site).await else { return };
            // What lies under another name is told in the log.
            let Some(machine) = state.machines.get(found.machine.as_str()).cloned() else { continue };
            if let Some(told) = self.one(&state, &machine, found).await {
                waiting.push(told);
            }
        }
        self.house.records.set(site.clone(), waiting);
    }

    /// Looks at one file, and tries it where it stands still; answers what is told of it where it stays.
    async fn one(&mut self, state: &State, machine: &Machine, found: Found) -> Option<Waiting> {
        let now = self.house.clock.now();
        let known = self.known.entry(found.path.clone()).or_insert_with(|| Known {
            stamp: found.stamp.clone(),
            still: 0,
            since: now,
            stays: None,
        });
        if known.stamp == found.stamp {
            known.still = known.still.saturating_add(1);
        } else {
            *known = Known { stamp: found.stamp.clone(), still: 1, since: now, stays: None };
        }
        // The first look makes it known; it is the same in so many more.
        let stands = known.still > STILL_LOOKS;
        let since = known.since;
        let with = with(state, machine);
        let reason = match (&found.stamp, &known.stays) {
            (Err(why), _) => Some(why.clone()),
            (Ok(_), Some((why, Some(before)))) if *before == with => Some(why.clone()),
            (Ok(_), _) if !stands => None,
            (Ok(stamp), _) => {
                let (why, with) = match self.try_one(state, machine, &found, stamp).await {
                    Tried::Done => (None, None),
                    Tried::Stays(why) => (Some(why), Some(with)),
                    Tried::Later(why) => (Some(why), None),
                };
                if let Some(known) = self.known.get_mut(&found.path) {
                    known.stays = why.clone().map(|why| (why, with));
                }
                why
            }
        };
        reason.map(|reason| Waiting {
            machine: found.machine,
            file: found.name,
            bytes: found.stamp.ok().map(|stamp| stamp.bytes),
            since,
            reason,
        })
    }

    async fn try_one(&self, state: &State, machine: &Machine, found: &Found, stamp: &Stamp) -> Tried {
        if stamp.bytes > FILE_MOST {
            return Tried::Stays(format!(
                "It has {} bytes; a record of at most {FILE_MOST} bytes is read.",
                stamp.bytes
            ));
        }
        let (path, seen, form) = (found.path.clone(), *stamp, machine.form.clone());
        let read = spawn_blocking(move || {
            let bytes = folder::read(&path, &seen)?;
            Ok(bytes.map(|bytes| {
                let given = Given { bytes: &bytes, form: form.as_ref(), ambient_kpa: None };
                let said = record::take(&given, false).map(|taken| taken.said.cycle_no);
                (Sha256Of::of(&bytes), said, bytes)
            }))
        });
        let (hash, said, bytes) = match read.await {
            Ok(Ok(Some(read))) => read,
            Ok(Ok(None)) => return Tried::Done,
            Ok(Err::<_, std::io::Error>(error)) => {
                return Tried::Later(format!("It cannot be read: {error}."));
            }
            Err(_) => return Tried::Later("It cannot be read.".into()),
        };
        let cycle = match said {
            Ok(cycle) => cycle.map(|(number, _)| number),
            Err(error) => return Tried::Stays(format!("It is no record that can be read: {error}.")),
        };
        match belongs(state, machine, found, cycle.as_deref(), hash) {
            Belongs::To(load) => self.judge(state, found, stamp, &load, hash, bytes).await,
            Belongs::Judged(load) => self.put_by(found, stamp, hash, &load).await,
            Belongs::Nowhere(why) => Tried::Stays(why),
        }
    }

    async fn judge(
        &self,
        state: &State,
        found: &Found,
        stamp: &Stamp,
        load: &Id,
        hash: Sha256Of,
        bytes: Vec<u8>,
    ) -> Tried {
        // The same file for the same load is one command, however often and from however many servers it is given.
        let key = Sha256::new().chain_update(hash.0).chain_update(load.as_str()).finalize();
        let around = Around {
            key: Some(Key(hex::encode(key))),
            station: Some(Line(STATION.into())),
            ..Around::default()
        };
        let act = Act::Load(LoadAct::Judge(Judge::by_file(load.clone(), bytes)));
        let actor = Actor { code: ACTOR.into(), role: Role::Desk };
        let given = self.house.submit(&state.site, &actor, vec![Command { around, act }]).await;
        match given.into_iter().next() {
            Some(Outcome::Accepted(accepted)) => {
                let (file, entry) = (&found.name, accepted.entry);
                tracing::info!(site = %state.site, machine = found.machine, file, %load, entry, "record judged");
                self.put_by(found, stamp, hash, load).await
            }
            Some(Outcome::Turned(Turned::Malformed(errors))) => {
                let why = errors.first().map(|error| error.detail.clone()).unwrap_or_default();
                Tried::Stays(format!("It cannot be judged for load {load}: {why}."))
            }
            Some(Outcome::Turned(Turned::Refused(refusal))) => {
                let first = &refusal.first;
                Tried::Stays(format!("{} {} {}", first.found, first.needed, first.next))
            }
            Some(Outcome::Turned(Turned::NotYourRole)) | Some(Outcome::KeyReused) => {
                Tried::Stays(format!("It was not taken for load {load}; judge it on the load's page."))
            }
            Some(Outcome::UnknownSite | Outcome::Unavailable(_)) | None => {
                Tried::Later("The database does not answer; it is tried again.".into())
            }
        }
    }

    async fn put_by(&self, found: &Found, stamp: &Stamp, hash: Sha256Of, load: &Id) -> Tried {
        let (path, seen, sha256) = (found.path.clone(), *stamp, hex::encode(hash.0));
        match spawn_blocking(move || folder::put_by(&path, &seen, &sha256)).await {
            Ok(Ok(())) => Tried::Done,
            Ok(Err(error)) => Tried::Later(format!(
                "It was judged for load {load}, but cannot be moved into {}: {error}.",
                folder::JUDGED
            )),
            Err(_) => Tried::Later(format!("It was judged for load {load}, but was not moved.")),
        }
    }
}

fn undecided<'a>(state: &'a State, machine: &'a Machine) -> impl Iterator<Item = &'a Arc<Load>> {
    state.loads.values().filter(|load| {
        load.machine == machine.machine && matches!(load.status, LoadStatus::Running | LoadStatus::Judged)
    })
}

fn with(state: &State, machine: &Machine) -> With {
    let told = |load: &Arc<Load>| {
        let cycle = load.cycle_no.as_ref().map(|cycle| cycle.0.clone());
        (load.load.clone(), cycle, load.judged.as_ref().and_then(|judged| judged.record))
    };
    With { form: machine.form.clone(), loads: undecided(state, machine).map(told).collect() }
}

/// Where a file belongs.
enum Belongs {
    To(Id),
    /// It is the record of that load already.
    Judged(Id),
    Nowhere(String),
}

fn belongs(state: &State, machine: &Machine, found: &Found, cycle: Option<&str>, hash: Sha256Of) -> Belongs {
    let is_of = |load: &&Arc<Load>| {
        let number = load.cycle_no.as_ref().map(|number| number.0.as_str());
        number.is_some_and(|number| match cycle {
            Some(cycle) => record::same_cycle(cycle, number),
            None => stands_in(number, &found.name),
        })
    };
    let of: Vec<&Arc<Load>> = undecided(state, machine).filter(is_of).collect();
    let has_it = |load: &&Arc<Load>| load.judged.as_ref().is_some_and(|it| it.record == Some(hash));
    let judged: Vec<&Arc<Load>> = state.loads.values().filter(has_it).collect();
    let name = &machine.machine;
    let called = match cycle {
        Some(cycle) => format!("cycle number {cycle}"),
        None => "a cycle number that stands in the file's name".to_string(),
    };
    match (of.as_slice(), judged.as_slice()) {
        ([one], judged) if judged.iter().any(|it| it.load == one.load) => Belongs::Judged(one.load.clone()),
        ([one], [other, ..]) => Belongs::Nowhere(format!(
            "These very bytes are the record of load {}; two cycles do not write the same file. Find the file of load \
             {}, or enter it on that load's page.",
            other.load, one.load
        )),
        ([one], []) => Belongs::To(one.load.clone()),
        ([], judged) => match judged.iter().find(|it| it.machine == *name) {
            Some(load) => Belongs::Judged(load.load.clone()),
            None => Belongs::Nowhere(format!("No load of {name} that is not decided has {called}.")),
        },
        (many, _) => {
            let loads: Vec<&str> = many.iter().map(|load| load.load.as_str()).collect();
            Belongs::Nowhere(format!("Loads {} of {name} have {called}; one is needed.", loads.join(" and ")))
        }
    }
}

/// Whether a cycle number stands in a file's name as itself: not as a part of a longer number or word.
fn stands_in(number: &str, name: &str) -> bool {
    let parts_of_one = |a: char, b: char| {
        (a.is_ascii_digit() && b.is_ascii_digit()) || (a.is_alphabetic() && b.is_alphabetic())
    };
    !number.is_empty()
        && name.match_indices(number).any(|(at, _)| {
            let before = name.get(..at).and_then(|text| text.chars().next_back());
            let after = name.get(at + number.len()..).and_then(|text| text.chars().next());
            let begins = before.zip(number.chars().next()).is_none_or(|(a, b)| !parts_of_one(a, b));
            let ends = number.chars().next_back().zip(after).is_none_or(|(a, b)| !parts_of_one(a, b));
            begins && ends
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_stands_in_a_name_as_itself() {
        for (number, name, stands) in [
            ("311", "cycle_311.csv", true),
            ("311", "S1-311.csv", true),
            ("311", "cycle311.csv", true),
            ("311", "1311.csv", false),
            ("311", "3110.csv", false),
            ("311", "00311.csv", false),
            ("24-311", "S1_24-311.csv", true),
            ("24-311", "124-311.csv", false),
            ("A7", "A7.csv", true),
            ("A7", "BA7.csv", false),
            ("", "x.csv", false),
        ] {
            assert_eq!(stands_in(number, name), stands, "{number} in {name}");
        }
    }
}
