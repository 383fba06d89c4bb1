//! The ledger and its facts in memory alone: commands decided and applied without a clerk or a database.

use std::collections::{BTreeMap, BTreeSet};

use fettle::app::house::Outcome;
use fettle::domain::apply::{When, apply};
use fettle::domain::command::{Act, Command, Correct, WrongThing};
use fettle::domain::deciding::{Asked, Turned, decide};
use fettle::domain::event::{Entry, Event, Thing};
use fettle::domain::id::Id;
use fettle::domain::person::{Actor, Role};
use fettle::domain::state::{Changes, KeptTest, State};
use fettle::domain::time::Time;
use fettle::ledger::canonical::canonical;
use fettle::storage::connection::Arg;
use fettle::storage::facts;
use serde_json::Value;

use super::acts::code;

/// What became of a command, as far as it must be the same everywhere.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    Accepted { entry: u64, at: Time, event: Value, replayed: bool },
    Turned(Turned),
    KeyReused,
    Else(String),
}

impl From<Outcome> for Verdict {
    fn from(outcome: Outcome) -> Verdict {
        match outcome {
            Outcome::Accepted(it) => {
                Verdict::Accepted { entry: it.entry, at: it.at, event: it.event, replayed: it.replayed }
            }
            Outcome::Turned(turned) => Verdict::Turned(turned),
            Outcome::KeyReused => Verdict::KeyReused,
            other => Verdict::Else(format!("{other:?}")),
        }
    }
}

/// One command as it was asked, with the clock at which it was.
#[derive(Debug, Clone)]
pub struct Told {
    pub role: Role,
    pub second: bool,
    pub now: Time,
    pub command: Command,
}

impl Told {
    pub fn actor(&self) -> Actor {
        Actor { code: code(self.role, self.second), role: self.role }
    }

    /// The command as text without its key, and who gave it: what a repeated key has to repeat.
    fn asked(&self) -> (String, String) {
        let mut value = self.command.to_value().expect("a command");
        value.as_object_mut().expect("an object").remove("key");
        (canonical(&value).expect("a canonical text"), self.actor().code)
    }
}

struct Known {
    asked: (String, String),
    verdict: Verdict,
}

/// The ledger and its facts without any database.
pub struct Pure {
    pub state: State,
    people: BTreeSet<String>,
    turns: BTreeMap<Id, Vec<(u32, Time)>>,
    known: BTreeMap<String, Known>,
    pub entries: Vec<String>,
    grown: BTreeMap<&'static str, Vec<Vec<Arg>>>,
}

impl Pure {
    pub fn new(site: &Id, people: &BTreeSet<String>) -> Pure {
        let mut grown = BTreeMap::new();
        for table in [facts::HISTORY, facts::TURN, facts::SEATING] {
            grown.insert(table.name, Vec::new());
        }
        let (people, state) = (people.clone(), State::new(site.clone()));
        Pure { state, people, turns: BTreeMap::new(), known: BTreeMap::new(), entries: Vec::new(), grown }
    }

    pub fn tell(&mut self, told: &Told) -> Verdict {
        let key = told.command.around.key.as_ref().map(|key| key.0.clone());
        if let Some(known) = key.as_ref().and_then(|key| self.known.get(key)) {
            return match &known.verdict {
                Verdict::Accepted { entry, at, event, .. } if known.asked == told.asked() => {
                    Verdict::Accepted { entry: *entry, at: *at, event: event.clone(), replayed: true }
                }
                _ => Verdict::KeyReused,
            };
        }
        let actor = told.actor();
        let corrected = self.corrected(&told.command);
        let asked = Asked {
            actor: &actor,
            now: told.now,
            salt: [7; 16],
            people: &self.people,
            own_name: None,
            turns: &self.turns,
            corrected: corrected.as_ref(),
            attachments: &BTreeMap::new(),
            same_patient: &BTreeSet::new(),
            prepared: None,
        };
        let decided = match decide(&self.state, &asked, &told.command) {
            Ok(decided) => decided,
            Err(turned) => return Verdict::Turned(turned),
        };
        assert!(decided.secrets.is_empty(), "the generator names only people who are known");
        let station = told.command.around.station.as_ref().map(|station| station.0.clone());
        let verdict = self.enter(&decided.event, decided.at, told.now, &actor.code, station, key.clone());
        if let Some(key) = key {
            self.known.insert(key, Known { asked: told.asked(), verdict: verdict.clone() });
        }
        verdict
    }

    /// The entry that a correction names.
    fn corrected(&self, command: &Command) -> Option<(Entry, Event)> {
        let seq = match &command.act {
            Act::Correct(Correct::Entry(it)) => it.entry,
            Act::WrongThing(WrongThing::Report(it)) => it.entry,
            Act::WrongThing(WrongThing::Settle(it)) => {
                self.state.wrong_things.get(&it.report)?.reported.entry
            }
            _ => return None,
        };
        let text = self.entries.get(usize::try_from(seq).ok()?.checked_sub(1)?)?;
        let entry: Entry = serde_json::from_str(text).expect("an entry");
        let event = Event::read(&entry.kind, entry.version, entry.event.clone()).expect("an event");
        Some((entry, event))
    }

    pub fn enter(
        &mut self,
        event: &Event,
        at: Time,
        now: Time,
        actor: &str,
        station: Option<String>,
        key: Option<String>,
    ) -> Verdict {
        let recorded_at = now.max(self.state.recorded_at);
        let seq = self.state.seq + 1;
        let value = event.to_value().expect("an event");
        let (kind, version) = (event.what.kind().to_string(), event.what.version());
        let site = self.state.site.clone();
        let (actor, event_value) = (actor.to_string(), value.clone());
        let entry = Entry {
            site: site.clone(),
            seq,
            at,
            recorded_at,
            actor,
            station,
            key,
            kind,
            version,
            event: event_value,
        };
        self.entries.push(canonical(&serde_json::to_value(&entry).expect("an entry")).expect("a text"));
        let before = self.state.clone();
        apply(&mut self.state, &When { seq, at, recorded_at, actor: &entry.actor }, event);
        super::told::versions_follow(&before, &self.state);
        let Changes { turns, seatings, .. } = self.state.take_changes();
        let state = &self.state;
        let mut history = event.history(|asset| {
            let seat = state.asset(asset).and_then(|asset| asset.seat.as_ref());
            seat.is_some_and(|seat| event.beside.sets.contains(&seat.set))
        });
        let beside = &event.beside;
        if let Some(sheet) = event.beside.late.as_ref().and_then(|late| late.sheet.as_ref()) {
            // The sheets of this house are numbered P0001 and on; other paper is found by what was written.
            let sheet = Thing { kind: "paper_sheet", name: sheet.0.clone() };
            history.retain(|thing| *thing != sheet);
            history.push(sheet);
        }
        if beside.late.is_some() || beside.overridden.is_some() || !beside.deviation.is_empty() {
            let month = recorded_at.in_zone(state.zone).format("%Y-%m").to_string();
            history.extend(exceptions(&month, beside));
        }
        let mut grow =
            |name: &'static str, rows: Vec<Vec<Arg>>| self.grown.entry(name).or_default().extend(rows);
        grow(facts::HISTORY.name, facts::history_rows(site.as_str(), seq, &history));
        grow(facts::SEATING.name, seatings.iter().map(|it| facts::seating_row(site.as_str(), it)).collect());
        for turn in turns.into_values() {
            let known = self.turns.entry(turn.asset.clone()).or_default();
            // One that was taken back may begin again.
            known.retain(|(n, _)| *n != turn.turn);
            known.push((turn.turn, turn.at));
            known.sort();
            let rows = self.grown.entry(facts::TURN.name).or_default();
            let row = facts::turn_row(site.as_str(), &turn);
            rows.retain(|other| other.get(..3) != row.get(..3));
            rows.push(row);
        }
        Verdict::Accepted { entry: seq, at, event: value, replayed: false }
    }

    /// Every row of every table, as the state makes it.
    pub fn tables(&self) -> BTreeMap<&'static str, Vec<Vec<Arg>>> {
        let state = &self.state;
        let tests = state.machines.values().flat_map(|machine| {
            let of = &machine.machine;
            machine
                .tests
                .iter()
                .map(|test| (test.entry, KeptTest { machine: of.clone(), test: test.clone() }))
        });
        let all = Changes {
            site: true,
            routes: state.routes.keys().cloned().collect(),
            models: state.models.keys().cloned().collect(),
            sheets: state.sheets.keys().cloned().collect(),
            machines: state.machines.keys().cloned().collect(),
            assets: state.assets.keys().cloned().collect(),
            turned: state.assets.keys().cloned().collect(),
            sets: state.sets.keys().chain(state.sets_left.keys()).cloned().collect(),
            loads: state.loads.keys().cloned().collect(),
            holds: state.holds.keys().cloned().collect(),
            reserves: state.reserves.keys().cloned().collect(),
            cases: state.cases.keys().cloned().collect(),
            missing: state.missing.keys().cloned().collect(),
            findings: state.findings.keys().cloned().collect(),
            repairs: state.repairs.keys().cloned().collect(),
            look_backs: state.look_backs.keys().cloned().collect(),
            recalls: state.recalls.keys().cloned().collect(),
            broken: state.broken.keys().cloned().collect(),
            tests: tests.collect(),
            tried: state.tried.keys().cloned().collect(),
            upkeep: state.upkeep.keys().cloned().collect(),
            values: state.values.keys().cloned().collect(),
            procedures: state.procedures.keys().cloned().collect(),
            requests: state.requests.keys().cloned().collect(),
            loans: state.loans.keys().cloned().collect(),
            strangers: state.strangers.keys().cloned().collect(),
            mixed: state.mixed.keys().cloned().collect(),
            shelf: state.shelf.keys().cloned().collect(),
            case_stock: state.case_stock.keys().cloned().collect(),
            paper: state.paper.keys().cloned().collect(),
            wrong_things: state.wrong_things.keys().cloned().collect(),
            alert_rules: state.alert_rules.keys().cloned().collect(),
            signed: state.signed.keys().cloned().collect(),
            schedule_lines: state.schedule_lines.keys().cloned().collect(),
            paces: state.paces.works.keys().cloned().collect(),
            machine_paces: state.paces.machines.keys().cloned().collect(),
            ..Changes::default()
        };
        let mut tables = self.grown.clone();
        for (table, rows) in facts::rows(state, &all).expect("rows") {
            tables.insert(table.name, rows);
        }
        for table in facts::ALL {
            let keys = table.key.len();
            let rows = tables.entry(table.name).or_default();
            rows.sort_by(|a, b| facts::key_order(a.iter().take(keys), b.iter().take(keys)));
        }
        tables
    }
}

/// Under which an entry that is out of the ordinary is found: its month, and its month by each way.
fn exceptions(month: &str, beside: &fettle::domain::event::Beside) -> Vec<Thing> {
    let ways = [
        ("", true),
        (" override", beside.overridden.as_ref().is_some_and(|it| !it.codes.is_empty())),
        (" deviation", !beside.deviation.is_empty()),
        (" late", beside.late.is_some()),
    ];
    let named = |way: &str| Thing { kind: "exception", name: format!("{month}{way}") };
    ways.into_iter().filter(|(_, is)| *is).map(|(way, _)| named(way)).collect()
}
