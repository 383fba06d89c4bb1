//! What was out of the ordinary: rules set aside, rules broken by facts, and what was told late; by whom, why and when.

use std::collections::BTreeMap;

use chrono::Datelike;
use serde::Serialize;

use super::command::LateCause;
use super::event::{Beside, Entry, Thing};
use super::state::State;
use super::time::Time;

/// How an entry is out of the ordinary; it may be so in several ways.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// A rule was set aside on purpose.
    Override,
    /// A fact broke a rule.
    Deviation,
    /// It was told after the fact.
    Late,
}

impl Way {
    pub fn words(self) -> &'static str {
        match self {
            Way::Override => "set aside",
            Way::Deviation => "broken by a fact",
            Way::Late => "told late",
        }
    }
}

/// How often a person did a thing out of the ordinary.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Count {
    pub way: Way,
    /// The rule's code, or the cause for which it was told late.
    pub code: String,
    pub person: String,
    pub count: u32,
}

impl LateCause {
    pub fn name(self) -> &'static str {
        match self {
            LateCause::Downtime => "downtime",
            LateCause::Forgotten => "forgotten",
            LateCause::WrongThing => "wrong_thing",
        }
    }
}

impl Beside {
    pub fn is_odd(&self) -> bool {
        self.late.is_some() || self.overridden.is_some() || !self.deviation.is_empty()
    }

    /// In which ways, each with its code or its cause.
    pub fn ways(&self) -> Vec<(Way, &'static str)> {
        let set_aside = self.overridden.iter().flat_map(|it| &it.codes);
        let set_aside = set_aside.map(|code| (Way::Override, code.name()));
        let broken = self.deviation.iter().map(|code| (Way::Deviation, code.name()));
        let late = self.late.iter().map(|late| (Way::Late, late.cause.name()));
        set_aside.chain(broken).chain(late).collect()
    }
}

/// The month of the site's calendar, such as `2026-03`.
pub fn month(state: &State, at: Time) -> String {
    let day = at.date(state.zone);
    format!("{:04}-{:02}", day.year(), day.month())
}

/// Under which an entry that is out of the ordinary is found: the month in which it was recorded.
pub fn thing(month: &str) -> Thing {
    Thing { kind: "exception", name: month.into() }
}

/// Entries with what stands beside their events; one whose form this release does not know is left out.
pub fn beside(entries: &[Entry]) -> Vec<(&Entry, Beside)> {
    let read = |entry: &Entry| serde_json::from_value::<Beside>(entry.event.clone()).ok();
    entries.iter().filter_map(|entry| Some((entry, read(entry)?))).collect()
}

/// By way, code and person.
pub fn counts(all: &[(&Entry, Beside)]) -> Vec<Count> {
    let mut counted: BTreeMap<(Way, &str, &str), u32> = BTreeMap::new();
    for (entry, beside) in all {
        for (way, code) in beside.ways() {
            *counted.entry((way, code, entry.actor.as_str())).or_default() += 1;
        }
    }
    let told = |((way, code, person), count): ((Way, &str, &str), u32)| Count {
        way,
        code: code.into(),
        person: person.into(),
        count,
    };
    counted.into_iter().map(told).collect()
}
