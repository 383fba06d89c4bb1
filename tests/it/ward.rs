//! A steriliser department in memory, at any hour of any day: commands decided and applied without a database.

use fettle::domain::checks;
use fettle::domain::command::Command;
use fettle::domain::deciding::Turned;
use fettle::domain::event::Event;
use fettle::domain::id::Id;
use fettle::domain::load::Load;
use fettle::domain::person::Role::{self, Admin, Biomed, Desk, Lead};
use fettle::domain::refusal::{Code, Refusal};
use fettle::domain::release;
use fettle::domain::simulate::Given;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::state::Machine;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::served::steam_record;

pub struct Ward {
    pub paper: Paper,
    pub now: Time,
}

/// Gives a command to a house in memory, which stays sound whatever becomes of it; a second passes.
#[allow(clippy::result_large_err)] // A refusal is an answer as good as a decision, and as large.
fn take(paper: &mut Paper, now: &mut Time, role: Role, command: Value) -> Result<Event, Turned> {
    let command = Command::read(command).expect("a command");
    assert!(command.act.admits(role), "{role:?} may not");
    let taken = paper.take(&Given { now: *now, role, command });
    *now = now.plus_s(1);
    let wrong = checks::check(&paper.state);
    assert!(wrong.is_empty(), "{wrong:?}");
    taken
}

pub fn done(paper: &mut Paper, now: &mut Time, role: Role, command: Value) -> Event {
    let told = command.to_string();
    take(paper, now, role, command).unwrap_or_else(|turned| panic!("{told}: {turned:?}"))
}

pub fn refused(paper: &mut Paper, now: &mut Time, role: Role, command: Value, code: &str) -> Refusal {
    let told = command.to_string();
    match take(paper, now, role, command) {
        Err(Turned::Refused(refusal)) => {
            assert_eq!(refusal.code().name(), code, "{told}: {:?}", refusal.first);
            refusal
        }
        other => panic!("{told}: {other:?}"),
    }
}

pub fn time(text: &str) -> Time {
    Time::parse(text).expect("a time")
}

/// An air-removal test, passed or not.
pub fn air(passed: bool) -> Value {
    json!({"do": "record_machine_test", "machine": "st", "test": "air_removal", "passed": passed})
}

pub fn again(passed: bool) -> Value {
    let mut test = air(passed);
    test["repeat_because"] = json!("test pack put over the drain");
    test
}

pub fn release(load: &str) -> Value {
    json!({"do": "release_load", "load": load, "dry": true})
}

pub fn indicator(load: &str, kind: &str, result: &str, lot: Option<&str>) -> Value {
    let mut all = json!({"do": "record_indicator", "load": load, "indicator": kind, "result": result});
    if let Some(lot) = lot {
        all["lot"] = json!(lot);
    }
    all
}

/// The command, told after the fact as happened at this time.
pub fn late(mut command: Value, at: &str) -> Value {
    command["at"] = at.into();
    command["late"] = json!({"cause": "downtime", "sheet": "paper 7"});
    command
}

pub fn model(name: &str, more: Value) -> Value {
    let mut all = json!({"do": "define_model", "model": name, "family": "accessory", "name": name, "route": "plain",
                         "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    for (field, value) in more.as_object().expect("an object") {
        all[field.as_str()] = value.clone();
    }
    all
}

impl Ward {
    /// A pre-vacuum steriliser `st`, one `plain` without the daily test, parts `P-1` to `P-4` and an implant `I-1`, all
    /// packed; nine in the morning of Monday, 2 March 2026, in Berlin.
    pub fn open() -> Ward {
        let start = time("2026-03-02T06:00:00+01:00");
        let site = Id::new("ward").expect("an id");
        let mut ward = Ward { paper: Paper::new(site, chrono_tz::Europe::Berlin, start), now: start };
        let steps = json!([{"step": "packed"}, {"step": "sterilised"}]);
        ward.done(Admin, json!({"do": "define_route", "route": "plain", "steps": steps}));
        ward.done(Biomed, model("part", json!({})));
        ward.done(Biomed, model("stent", json!({"implant": true})));
        ward.machine("st", json!({"air_removal_test": true}));
        ward.machine("plain", json!({}));
        for (asset, model) in
            [("P-1", "part"), ("P-2", "part"), ("P-3", "part"), ("P-4", "part"), ("I-1", "stent")]
        {
            ward.done(Lead, json!({"do": "add_asset", "asset": asset, "model": model}));
            ward.done(Desk, json!({"do": "record_step", "step": "packed", "scan": asset}));
        }
        ward.at("2026-03-02T09:00:00+01:00");
        ward
    }

    /// Defines a steam steriliser with one programme `p134`, and what it asks beside band and hold.
    pub fn machine(&mut self, name: &str, more: Value) {
        let mut programme = json!({"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 180});
        for (field, value) in more.as_object().expect("an object") {
            programme[field.as_str()] = value.clone();
        }
        self.done(
            Admin,
            json!({"do": "define_machine", "machine": name, "kind": "steriliser", "programmes": [programme]}),
        );
    }

    pub fn at(&mut self, now: &str) -> &mut Ward {
        self.now = time(now);
        self
    }

    pub fn done(&mut self, role: Role, command: Value) -> Event {
        done(&mut self.paper, &mut self.now, role, command)
    }

    pub fn refused(&mut self, role: Role, command: Value, code: &str) -> Refusal {
        refused(&mut self.paper, &mut self.now, role, command, code)
    }

    /// Refused as it is, and with an override by the lead that names every code there is.
    pub fn never(&mut self, role: Role, command: Value, code: &str) {
        self.refused(role, command.clone(), code);
        let mut forced = command;
        let codes = [
            "machine_not_ready",
            "programme_unsuitable",
            "indicator_missing",
            "indicator_failed",
            "same_person",
            "still_cooling",
            "out_of_order",
            "record_failed",
        ];
        forced["override"] = json!({"code": codes, "reason": "the case waits", "second_person": "charge"});
        self.refused(Lead, forced, code);
    }

    /// Starts a load by the desk.
    pub fn start(&mut self, load: &str, machine: &str, scan: &str) {
        self.done(
            Desk,
            json!({"do": "start_load", "load": load, "machine": machine, "programme": "p134", "scan": scan}),
        );
    }

    /// A load with its record and its chemical indicator; the cycle took 15 minutes.
    pub fn passed(&mut self, load: &str, machine: &str, scan: &str) {
        self.start(load, machine, scan);
        self.now = self.now.plus_minutes(15);
        self.judged(load, 200);
        self.done(Desk, indicator(load, "chemical", "pass", None));
    }

    pub fn judged(&mut self, load: &str, hold_s: u32) {
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(hold_s)}));
    }

    pub fn of(&self, machine: &str) -> &Machine {
        self.paper.state.machines.get(machine).expect("a machine")
    }

    pub fn load(&self, load: &str) -> &Load {
        self.paper.state.loads.get(load).expect("a load")
    }

    pub fn word(&self, machine: &str) -> &'static str {
        self.of(machine).condition_words(&self.paper.state, self.now).word
    }

    /// The codes that stand against a load now, whoever releases it.
    pub fn against(&self, load: &str) -> Vec<Code> {
        let all = release::against(&self.paper.state, self.load(load), None, Some(true), self.now);
        all.iter().map(|problem| problem.code).collect()
    }
}
