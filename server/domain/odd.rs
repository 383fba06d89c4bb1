//! What was out of the ordinary: rules set aside, rules broken by facts, and what was told late; by whom, why and when.

use std::collections::{BTreeMap, BTreeSet};

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
    pub fn name(self) -> &'static str {
        match self {
            Way::Override => "override",
            Way::Deviation => "deviation",
            Way::Late => "late",
        }
    }

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
    Thing { kind: KIND, name: month.into() }
}

/// The kind of things under which such entries are found and counted.
pub const KIND: &str = "exception";

/// Under which an entry is found: its month, and its month by each way in which it is out of the ordinary.
pub fn things(month: &str, beside: &Beside) -> Vec<Thing> {
    let ways: BTreeSet<Way> = beside.ways().into_iter().map(|(way, _)| way).collect();
    let by_way = ways.into_iter().map(|way| Thing { kind: KIND, name: format!("{month} {}", way.name()) });
    std::iter::once(thing(month)).chain(by_way).collect()
}

/// How many entries of a month were out of the ordinary, and in which ways: one entry may be so in several.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct MonthOfOdd {
    pub month: String,
    pub entries: u64,
    #[serde(rename = "override")]
    pub overridden: u64,
    pub deviation: u64,
    pub late: u64,
}

/// Months from how many entries stand under each name, the latest first.
pub fn months(counted: &[(String, u64)]) -> Vec<MonthOfOdd> {
    let mut all: BTreeMap<&str, MonthOfOdd> = BTreeMap::new();
    for (name, count) in counted {
        let (month, way) = name.split_once(' ').unwrap_or((name, ""));
        let it =
            all.entry(month).or_insert_with(|| MonthOfOdd { month: month.into(), ..MonthOfOdd::default() });
        match way {
            "override" => it.overridden = *count,
            "deviation" => it.deviation = *count,
            "late" => it.late = *count,
            _ => it.entries = *count,
        }
    }
    all.into_values().rev().collect()
}

/// A reason that was given, how often, and by how many people.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Reason {
    pub way: Way,
    pub reason: String,
    pub count: u32,
    pub people: u32,
}

/// The reasons that were given for what was set aside or told late, the most frequent first. Small letters, capitals and
/// spaces make no other reason.
pub fn reasons(all: &[(&Entry, Beside)]) -> Vec<Reason> {
    let mut counted: BTreeMap<(Way, String), (String, u32, BTreeSet<&str>)> = BTreeMap::new();
    for (entry, beside) in all {
        let set_aside = beside.overridden.iter().map(|it| (Way::Override, it.reason.clone()));
        let late = beside.late.iter().map(|it| {
            let sheet =
                it.sheet.as_ref().map(|sheet| format!(", sheet {}", sheet.as_str())).unwrap_or_default();
            (Way::Late, format!("{}{sheet}", it.cause.name().replace('_', " ")))
        });
        for (way, reason) in set_aside.chain(late) {
            let alike = reason.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
            let it = counted.entry((way, alike)).or_insert_with(|| (reason, 0, BTreeSet::new()));
            it.1 += 1;
            it.2.insert(entry.actor.as_str());
        }
    }
    let told = |((way, _), (reason, count, people)): ((Way, String), (String, u32, BTreeSet<&str>))| Reason {
        way,
        reason,
        count,
        people: people.len() as u32,
    };
    let mut all: Vec<Reason> = counted.into_iter().map(told).collect();
    all.sort_by(|a, b| (a.way, b.count, &a.reason).cmp(&(b.way, a.count, &b.reason)));
    all
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
