//! A ledger kept in memory only: decides and applies the commands of a simulation, so that the hospital sees what came
//! of them. What is true is made by `decide` and `apply` alone, as everywhere.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::Given;
use crate::domain::apply::{When, apply};
use crate::domain::command::{Act, Command, Correct, WrongThing};
use crate::domain::deciding::{Asked, Turned, decide};
use crate::domain::event::{Beside, Entry, Event, What};
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::domain::site::SiteFounded;
use crate::domain::state::{Changes, State};
use crate::domain::text::Line;
use crate::domain::time::Time;

/// Who of a role is at work at a time.
pub type OnDuty = fn(Role, Time) -> &'static str;

pub struct Paper {
    pub state: State,
    on_duty: OnDuty,
    people: BTreeSet<String>,
    /// When each turn of each part began, where somebody tells something late.
    turns: BTreeMap<Id, Vec<(u32, Time)>>,
    /// The last entries, of which somebody may say that they name the wrong thing.
    last: VecDeque<(Entry, Event)>,
}

/// So many entries are remembered.
const REMEMBERED: usize = 1_024;

impl Paper {
    /// The entry that a command is about, as far back as it is remembered.
    fn corrected(&self, command: &Command) -> Option<&(Entry, Event)> {
        let seq = match &command.act {
            Act::Correct(Correct::Entry(it)) => it.entry,
            Act::WrongThing(WrongThing::Report(it)) => it.entry,
            Act::WrongThing(WrongThing::Settle(it)) => {
                self.state.wrong_things.get(&it.report)?.reported.entry
            }
            _ => return None,
        };
        self.last.iter().find(|(entry, _)| entry.seq == seq)
    }

    fn remember(&mut self, when: &When, event: &Event) {
        let entry = Entry {
            site: self.state.site.clone(),
            seq: when.seq,
            at: when.at,
            recorded_at: when.recorded_at,
            actor: when.actor.into(),
            station: None,
            key: None,
            kind: event.what.kind().into(),
            version: event.what.version(),
            event: serde_json::Value::Null,
        };
        self.last.push_back((entry, event.clone()));
        if self.last.len() > REMEMBERED {
            self.last.pop_front();
        }
    }
}

impl Paper {
    /// A site that was just founded.
    pub fn new(site: Id, zone: chrono_tz::Tz, at: Time) -> Paper {
        let name = Line(format!("Simulated hospital {site}"));
        let founded = SiteFounded { name, timezone: zone.name().into(), practice: false };
        let mut state = State::new(site);
        let event = Event { beside: Beside::default(), what: What::SiteFounded(founded) };
        apply(&mut state, &When { seq: 1, at, recorded_at: at, actor: "founder" }, &event);
        Paper::on(state)
    }

    /// A site as it stands now.
    pub fn on(state: State) -> Paper {
        let people = ["lead", "charge"].map(String::from).into();
        let (turns, last) = (BTreeMap::new(), VecDeque::new());
        Paper { state, on_duty: |role, _| role.name(), people, turns, last }
    }

    /// The same with these people at work; otherwise each role is one person.
    pub fn staffed(self, on_duty: OnDuty) -> Paper {
        Paper { on_duty, ..self }
    }

    /// Decides one command, and makes it so.
    #[allow(clippy::result_large_err)] // A refusal is an answer as good as a decision, and as large.
    pub fn take(&mut self, given: &Given) -> Result<Event, Turned> {
        let changes = self.take_with_changes(given);
        changes.map(|(event, _)| event)
    }

    /// As [`Paper::take`], with what changed by it.
    #[allow(clippy::result_large_err)]
    pub fn take_with_changes(&mut self, given: &Given) -> Result<(Event, Changes), Turned> {
        let told_at = given.command.around.at.unwrap_or(given.now);
        let code = (self.on_duty)(given.role, told_at);
        let actor = Actor { code: code.into(), role: given.role };
        let asked = Asked {
            actor: &actor,
            now: given.now.max(self.state.recorded_at),
            salt: [0; 16],
            people: &self.people,
            own_name: None,
            turns: &self.turns,
            corrected: self.corrected(&given.command),
            attachments: &BTreeMap::new(),
            same_patient: &BTreeSet::new(),
            prepared: None,
        };
        let decided = decide(&self.state, &asked, &given.command)?;
        let recorded_at = asked.now;
        let when = When { seq: self.state.seq + 1, at: decided.at, recorded_at, actor: code };
        apply(&mut self.state, &when, &decided.event);
        self.remember(&when, &decided.event);
        let changes = self.state.take_changes();
        for began in changes.turns.values() {
            let of = self.turns.entry(began.asset.clone()).or_default();
            of.retain(|(turn, _)| *turn < began.turn);
            of.push((began.turn, began.at));
        }
        Ok((decided.event, changes))
    }
}
