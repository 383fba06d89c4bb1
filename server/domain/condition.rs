//! A machine as it stands: in service, due, flagged, out of service or requalifying, with its tests.

use std::collections::BTreeMap;
use std::sync::Arc;

use imbl::Vector;
use serde::{Deserialize, Serialize};

use super::id::Id;
use super::machine::{
    AIR_REMOVAL, BIOLOGICAL, EMPTY_CYCLE, EMPTY_CYCLES_NEEDED, LEAK_RATE, MachineKind, test_words,
};
use super::programme::{Biological, Programme};
use super::state::State;
use super::text::ended;
use super::time::{Date, Time, on_day, told_day};
use crate::formats::form::Form;

/// A test day of any moment began, and ends, within so many minutes of it, whatever the clocks do that day.
pub(super) const AROUND_A_DAY: i64 = 26 * 60;
const BIOLOGICALS_KEPT: usize = 8;

/// A machine with its programmes, its condition and its tests.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Machine {
    pub machine: Id,
    pub kind: MachineKind,
    pub programmes: Vec<Arc<Programme>>,
    pub condition: Condition,
    pub last_tests: BTreeMap<String, LastTest>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub running: Option<Id>,
    /// Since when it is out of service or requalifying.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_in_service_since: Option<Time>,
    /// It grew, failed an empty cycle or was to be requalified: nothing but three good empty cycles ends that.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub empty_cycles_needed: bool,
    /// Since when good empty cycles count towards the three.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub row_since: Option<Time>,
    /// A verdict failed, and nobody has said yet what that means for the machine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flag: Option<Flag>,
    /// All its tests, oldest first. They have rows of their own, so that the machine's own row stays short.
    #[serde(skip)]
    pub tests: Vector<Test>,
    /// Its last loads with a biological indicator that passed, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub biologicals: Vec<PassedBiological>,
    /// How its own files read, where they are not in the plain form.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub form: Option<Arc<Form>>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    InService,
    Out {
        reason: String,
        since: Time,
        /// The test that took it out: one repeat on the same test day may bring it back.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        test: Option<String>,
        /// The load whose biological indicator grew.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        load: Option<Id>,
        /// The good empty cycles that it had, where it was requalifying.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        good: Option<u32>,
    },
    Requalifying {
        good: u32,
    },
}

impl Condition {
    pub fn out(reason: String, since: Time) -> Condition {
        Condition::Out { reason, since, test: None, load: None, good: None }
    }

    pub fn words(&self) -> String {
        match self {
            Condition::InService => "in service".into(),
            Condition::Out { reason, .. } => format!("out of service: {reason}"),
            Condition::Requalifying { good } => {
                format!("requalifying, {good} of {EMPTY_CYCLES_NEEDED} empty cycles good")
            }
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LastTest {
    pub good: bool,
    pub at: Time,
}

/// A test of a machine, as far as a rule may ask for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Test {
    pub test: Id,
    pub good: bool,
    pub at: Time,
    /// It repeats an earlier one of the same test day that failed for a wrong set-up.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub repeat: bool,
    /// The entry that tells it.
    #[serde(default)]
    pub entry: u64,
}

/// A test with its machine, as its row has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptTest {
    pub machine: Id,
    #[serde(flatten)]
    pub test: Test,
}

/// Failed verdicts that a person has to answer: by clearing them, or by taking the machine out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    /// The last load whose verdict failed.
    pub load: Id,
    /// Since the first of them.
    pub since: Time,
    /// How many verdicts failed since then.
    pub failed: u32,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PassedBiological {
    pub load: Id,
    /// When that load was started.
    pub at: Time,
}

/// How a machine stands, in one of six words and a sentence.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ConditionWords {
    /// `in service`, `due`, `flagged`, `test failed`, `out of service` or `requalifying`.
    pub word: &'static str,
    /// What people say of it beside the word; empty where the word says it all.
    pub detail: String,
}

/// A periodic test that is due.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TestDue {
    pub test: &'static str,
    /// Since when, where that is known.
    pub since: Option<Time>,
    /// When it was last done with a good result, as far as it is known.
    pub last: Option<Time>,
    /// Days, or good empty cycles.
    pub limit: u32,
    pub found: u32,
}

impl TestDue {
    pub fn words(&self) -> &'static str {
        super::due::why_words(self.test)
    }
}

impl Machine {
    /// How it stands now. What stops it comes first, then what asks a person, then what is due.
    pub fn condition_words(&self, state: &State, now: Time) -> ConditionWords {
        let told = |word, detail| ConditionWords { word, detail };
        match (&self.condition, &self.flag) {
            (Condition::Out { test: Some(test), since, .. }, _) => told(
                "test failed",
                format!("{} test of {}", test_words(test), told_day(state.test_day(*since))),
            ),
            (Condition::Out { reason, .. }, _) => told("out of service", reason.clone()),
            (Condition::Requalifying { good }, _) => {
                told("requalifying", format!("{good} of {EMPTY_CYCLES_NEEDED} empty cycles good"))
            }
            (Condition::InService, Some(flag)) => told("flagged", flag.words()),
            (Condition::InService, None) => match self.tests_due(state, now).first() {
                Some(due) => told("due", due.words().to_string()),
                None => told("in service", String::new()),
            },
        }
    }

    /// The periodic tests that are due now, the most pressing first. A machine out of service has none: it is
    /// requalified, or comes back first.
    pub fn tests_due(&self, state: &State, now: Time) -> Vec<TestDue> {
        match self.condition {
            Condition::Out { .. } => Vec::new(),
            Condition::Requalifying { good } => {
                let last = self.last_good(EMPTY_CYCLE);
                let due =
                    TestDue { test: EMPTY_CYCLE, since: None, last, limit: EMPTY_CYCLES_NEEDED, found: good };
                vec![due]
            }
            Condition::InService => {
                let (today, policy) = (state.test_day(now), &state.policy);
                let pre_vacuum = self.programmes.iter().any(|programme| programme.air_removal_test);
                let air = (pre_vacuum && !self.passed_on(state, AIR_REMOVAL, today)).then(|| TestDue {
                    test: AIR_REMOVAL,
                    since: Some(on_day(today, policy.test_day_starts.0, state.zone)),
                    last: self.last_good(AIR_REMOVAL),
                    limit: 1,
                    found: 0,
                });
                let leak_days = policy.leak_rate_every_days.filter(|_| pre_vacuum);
                let leak = overdue(state, LEAK_RATE, self.last_good(LEAK_RATE), leak_days, today);
                let days = self.biological_every_days(state);
                let biological = overdue(state, BIOLOGICAL, self.last_biological(), days, today);
                air.into_iter().chain(leak).chain(biological).collect()
            }
        }
    }

    /// How often a biological indicator of this machine is due, in days: by the site's policy, and at least weekly
    /// where a programme asks for it at intervals (MMWR 2003;52(RR17): at least weekly).
    pub fn biological_every_days(&self, state: &State) -> Option<u32> {
        let periodic =
            || self.programmes.iter().any(|programme| programme.biological == Biological::Periodic);
        let sterilises = self.kind == MachineKind::Steriliser;
        let by_policy = state.policy.biological.every_days();
        sterilises.then(|| by_policy.or_else(|| periodic().then_some(7))).flatten()
    }

    /// When a biological indicator last passed: that of the load that carried it, or a test of its own.
    pub fn last_biological(&self) -> Option<Time> {
        let in_load = self.biologicals.last().map(|passed| passed.at);
        in_load.max(self.last_good(BIOLOGICAL))
    }

    fn last_good(&self, test: &str) -> Option<Time> {
        let last = self.last_tests.get(test)?;
        let before = || self.tests.iter().rev().find(|it| it.good && it.test.as_str() == test);
        if last.good { Some(last.at) } else { before().map(|it| it.at) }
    }

    /// Whether a test of a test day stands: its last one was good. A repeat takes the place of the one it repeats.
    pub fn passed_on(&self, state: &State, test: &str, day: Date) -> bool {
        let mut tests = self.tests.iter().rev().take_while(|it| state.test_day(it.at) >= day);
        let last = tests.find(|it| it.test.as_str() == test && state.test_day(it.at) == day);
        last.is_some_and(|last| last.good)
    }

    /// Whether a test stood at a moment: the last one of its test day until then was good.
    pub fn passed_by(&self, state: &State, test: &str, at: Time) -> bool {
        let until = |done: Time| done <= at && state.test_day(done) == state.test_day(at);
        let last = self.tests_since(at.plus_minutes(-AROUND_A_DAY));
        let last = last.filter(|it| it.at <= at).find(|it| it.test.as_str() == test && until(it.at));
        last.is_some_and(|last| last.good)
    }

    /// Takes in a test, each kind in the order in which it was done.
    pub fn keep_test(&mut self, mut test: Test) {
        // Years of tests have a handful of names: each stands in memory once or twice.
        if let Some(same) = self.tests.iter().rev().take(8).find(|it| it.test == test.test) {
            test.test = same.test.clone();
        }
        let later = self.tests.iter().rev().take_while(|it| test.at < it.at).count();
        self.tests.insert(self.tests.len() - later, test);
    }

    /// Its tests from one time on, newest first.
    pub(super) fn tests_since(&self, from: Time) -> impl Iterator<Item = &Test> {
        self.tests.iter().rev().take_while(move |it| from <= it.at)
    }

    /// Whether a load's biological indicator passed may change, with its control or another reading.
    pub(super) fn keep_biological(&mut self, load: &Id, at: Time, passed: bool) {
        self.biologicals.retain(|it| it.load != *load);
        if passed {
            let place = self.biologicals.partition_point(|it| it.at <= at);
            self.biologicals.insert(place, PassedBiological { load: load.clone(), at });
            let over = self.biologicals.len().saturating_sub(BIOLOGICALS_KEPT);
            self.biologicals.drain(..over);
        }
    }
}

impl Flag {
    pub fn words(&self) -> String {
        match self.failed {
            1 => format!("the verdict on load {} failed", self.load),
            n => format!("{n} verdicts failed, the last on load {}", self.load),
        }
    }

    pub fn sentence(&self) -> String {
        ended(&self.words())
    }
}

fn overdue(
    state: &State,
    test: &'static str,
    last: Option<Time>,
    every: Option<u32>,
    today: Date,
) -> Option<TestDue> {
    let every = every.filter(|days| *days > 0)?;
    let Some(at) = last else {
        return Some(TestDue { test, since: None, last, limit: every, found: every });
    };
    let found = u32::try_from((today - state.test_day(at)).num_days()).unwrap_or(0);
    let since = state.test_day(at) + chrono::Days::new(u64::from(every));
    let since = on_day(since, state.policy.test_day_starts.0, state.zone);
    (found >= every).then_some(TestDue { test, since: Some(since), last, limit: every, found })
}

impl State {
    /// The test day that a moment belongs to, by the site's hour.
    pub fn test_day(&self, at: Time) -> Date {
        at.test_day(self.zone, self.policy.test_day_starts.0)
    }
}
