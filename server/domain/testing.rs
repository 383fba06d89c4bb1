//! Periodic tests of machines, what they do to a machine's condition, and the flag that a failed verdict raises.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::{When, change_machine};
use super::command::{Malformed, wrong};
use super::condition::{AROUND_A_DAY, Condition, Flag, KeptTest, LastTest, Machine, Test};
use super::deciding::Deciding;
use super::doubt;
use super::event::What;
use super::id::Id;
use super::machine::{AIR_REMOVAL, EMPTY_CYCLE, EMPTY_CYCLES_NEEDED, LEAK_RATE, known, test_words};
use super::model::reason_given;
use super::recall::Recalled;
use super::refusal::{Code, Problem};
use super::state::State;
use super::text::{Line, Quantity, Text};
use super::time::Time;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordMachineTest {
    pub machine: Id,
    pub test: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub passed: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Line>,
    /// The wrong set-up for which an air-removal test of this test day failed and is done once more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeat_because: Option<Text>,
}

/// The leak rate that a chamber may have at most, in mbar/min (EN 285, air leakage: 1.3 mbar/min, which is
/// 0.13 kPa/min; read in a secondary text).
fn leak_limit_mbar_per_min() -> Decimal {
    Decimal::new(13, 1)
}

impl RecordMachineTest {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.repeat_because.is_some() && self.test.as_str() != AIR_REMOVAL {
            return Err(wrong("/repeat_because", "found a repeat of another test; it is for air_removal"));
        }
        if let Some(value) = self.value.filter(|_| self.test.as_str() == LEAK_RATE) {
            if value.0 < Decimal::ZERO {
                return Err(wrong(
                    "/value",
                    "found a leak rate below zero; air that came in is zero or more",
                ));
            }
            let Some(in_mbar) = self.mbar_per_min() else {
                let needed = "found no unit of a leak rate; mbar/min, kPa/min or mmHg/min is needed";
                return Err(wrong("/unit", needed));
            };
            let rate = value.0.checked_mul(in_mbar);
            return rate.map(|_| ()).ok_or_else(|| wrong("/value", "found more than any leak rate can be"));
        }
        if self.passed.is_none() {
            return Err(wrong("/passed", "missing; only a leak rate with a value is judged by its number"));
        }
        Ok(())
    }

    /// So many mbar/min are one of the unit that was told.
    fn mbar_per_min(&self) -> Option<Decimal> {
        match self.unit.as_ref().map(|unit| unit.as_str().to_ascii_lowercase()).as_deref() {
            None | Some("mbar/min") => Some(Decimal::ONE),
            Some("kpa/min") => Some(Decimal::TEN),
            Some("mmhg/min") => Some(Decimal::new(133_322, 5)),
            Some(_) => None,
        }
    }

    fn leak_mbar_per_min(&self) -> Option<Decimal> {
        self.value?.0.checked_mul(self.mbar_per_min()?)
    }

    /// Whether the test is good. A leak rate above its limit is not, whatever the person said.
    fn good(&self) -> bool {
        let by_number = (self.test.as_str() == LEAK_RATE)
            .then(|| self.leak_mbar_per_min())
            .flatten()
            .map(|rate| rate <= leak_limit_mbar_per_min());
        by_number.unwrap_or(true) && self.passed.unwrap_or(true)
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MachineTested {
    #[serde(flatten)]
    pub test: RecordMachineTest,
    pub good: bool,
    /// It is the one repeat that a test day has after a wrong set-up.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub repeat: bool,
    /// It failed after loads that stood on it were released: what came from them is held.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recall: Option<Recalled>,
}

/// What failed verdicts mean for a machine that stays in service, answered by a person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClearFlag {
    pub machine: Id,
    pub reason: Text,
}

pub(super) fn record_test(deciding: &mut Deciding, it: &RecordMachineTest) -> Option<What> {
    deciding.touches(None);
    let machine = known(deciding, &it.machine)?;
    let mut repeat = false;
    if let Some(why) = &it.repeat_because {
        reason_given(deciding, why);
        repeat = machine.may_repeat(deciding.state, &it.test, deciding.at());
        if !repeat {
            // What a test showed is a fact; as a repeat it does not count, so the machine stays as it is.
            deciding.deviates(Code::OutOfOrder);
        }
    }
    if it.test.as_str() == EMPTY_CYCLE && it.good() && !machine.counts_empty_cycle(deciding.at()) {
        // It ran before the row of three began again, so it is none of them.
        deciding.deviates(Code::OutOfOrder);
    }
    let recall = if it.good() { None } else { doubt::after_test(deciding, &machine, it) };
    Some(What::MachineTested(MachineTested { test: it.clone(), good: it.good(), repeat, recall }))
}

pub(super) fn clear_flag(deciding: &mut Deciding, it: &ClearFlag) -> Option<What> {
    deciding.touches(None);
    let machine = known(deciding, &it.machine)?;
    reason_given(deciding, &it.reason);
    if machine.flag.is_none() {
        deciding.against(
            Problem::new(
                Code::AlreadyDone,
                format!("{} is not flagged.", it.machine),
                "A machine whose failed verdict waits for an answer is needed.",
                "Nothing needs to be done.",
            )
            .even_late(),
        );
    }
    Some(What::FlagCleared(it.clone()))
}

impl Machine {
    /// Whether a test done at this moment is the one repeat of its test day: the same test took the machine out on that
    /// day, and none was repeated then.
    fn may_repeat(&self, state: &State, test: &Id, at: Time) -> bool {
        let Condition::Out { test: Some(failed), since, .. } = &self.condition else { return false };
        let day = state.test_day(at);
        let mut tests = self.tests_since(at.plus_minutes(-AROUND_A_DAY));
        let repeated = tests.any(|it| it.repeat && state.test_day(it.at) == day);
        failed == test.as_str() && *since <= at && state.test_day(*since) == day && !repeated
    }

    /// Whether a failed test is made good by the repeat of its test day.
    pub fn made_good(&self, state: &State, failed: &Test) -> bool {
        let of_day = |it: &Test| state.test_day(it.at) == state.test_day(failed.at);
        self.tests_since(failed.at).any(|it| it.repeat && it.good && it.test == failed.test && of_day(it))
    }

    /// Takes the machine from one condition to another; it remembers since when it is not in service.
    pub(super) fn becomes(&mut self, condition: Condition, at: Time) {
        if condition == Condition::InService {
            self.empty_cycles_needed = false;
            self.row_since = None;
        }
        self.not_in_service_since = match condition {
            Condition::InService => None,
            Condition::Out { .. } | Condition::Requalifying { .. } => self.not_in_service_since.or(Some(at)),
        };
        self.condition = condition;
    }

    /// Whether an empty cycle of this moment is one of the row of three that is under way, if one is.
    fn counts_empty_cycle(&self, at: Time) -> bool {
        let requalifying = matches!(self.condition, Condition::Requalifying { .. });
        !requalifying || self.row_since.is_none_or(|since| since <= at)
    }

    /// Begins the row of empty cycles that a machine needs, and that nothing but three good ones ends.
    pub(super) fn needs_empty_cycles(&mut self, at: Time) {
        self.empty_cycles_needed = true;
        self.row_since = self.row_since.max(Some(at));
    }

    /// Whether a return to service of this moment is of an earlier time than the one for which it is out now.
    pub(super) fn went_out_since(&self, at: Time, now: Time) -> bool {
        let failed_since = || self.tests_since(at).any(|test| !test.good && at < test.at && test.at <= now);
        match &self.condition {
            Condition::Out { since, .. } => at < now.min(*since) || failed_since(),
            Condition::Requalifying { .. } => self.row_since.is_some_and(|since| at < now.min(since)),
            Condition::InService => false,
        }
    }

    fn failed(&mut self, test: &str, at: Time) {
        if test == EMPTY_CYCLE {
            self.needs_empty_cycles(at);
        }
        let named = format!("{} test", test_words(test));
        let out = |good| Condition::Out {
            reason: format!("{named} failed"),
            since: at,
            test: Some(test.to_string()),
            load: None,
            good,
        };
        let condition = match &self.condition {
            Condition::InService => out(None),
            // Three in a row are needed: one that fails begins the row again.
            Condition::Requalifying { .. } if test == EMPTY_CYCLE => Condition::Requalifying { good: 0 },
            Condition::Requalifying { good } => out(Some(*good)),
            // After a second failure no repeat helps: somebody looks at the machine, and brings it back.
            Condition::Out { test: Some(before), since, .. } if before == test => {
                Condition::out(format!("{named} failed again"), *since)
            }
            Condition::Out { test: Some(before), since, .. } => {
                Condition::out(format!("{} test and {named} failed", test_words(before)), *since)
            }
            Condition::Out { .. } => return,
        };
        self.becomes(condition, at);
    }

    fn passed(&mut self, test: &str, repeat: bool, at: Time) {
        let condition = match &self.condition {
            Condition::Out { test: Some(failed), good, .. } if repeat && failed == test => match good {
                Some(good) => Condition::Requalifying { good: *good },
                None => Condition::InService,
            },
            Condition::Requalifying { good } if test == EMPTY_CYCLE => match good + 1 {
                _ if !self.counts_empty_cycle(at) => return,
                EMPTY_CYCLES_NEEDED.. => Condition::InService,
                good => Condition::Requalifying { good },
            },
            Condition::InService | Condition::Out { .. } | Condition::Requalifying { .. } => return,
        };
        self.becomes(condition, at);
    }
}

pub(super) fn tested(state: &mut State, when: &When, it: &MachineTested) {
    let test = it.test.test.to_string();
    let (named, entry) = (it.test.test.clone(), when.seq);
    let kept = Test { test: named, good: it.good, at: when.at, repeat: it.repeat, entry };
    let row = KeptTest { machine: it.test.machine.clone(), test: kept.clone() };
    state.changes.tests.insert(when.seq, row);
    change_machine(state, &it.test.machine, |machine| {
        let newer = machine.last_tests.get(&test).is_none_or(|last| last.at <= when.at);
        if newer {
            machine.last_tests.insert(test.clone(), LastTest { good: it.good, at: when.at });
        }
        if it.good {
            machine.passed(&test, it.repeat, when.at);
        } else {
            machine.failed(&test, when.at);
        }
        machine.keep_test(kept);
    });
    it.recall.iter().for_each(|recall| super::apply_recall::begin(state, when, recall));
}

/// A failed verdict flags the machine and asks a person; it does not take the machine out.
pub(super) fn flag(state: &mut State, when: &When, machine: &Id, load: &Id) {
    change_machine(state, machine, |machine| {
        let before = machine.flag.take();
        let again = before.as_ref().is_some_and(|flag| flag.load == *load);
        let failed = before.as_ref().map_or(0, |flag| flag.failed) + u32::from(!again);
        let since = before.map_or(when.at, |flag| flag.since);
        machine.flag = Some(Flag { load: load.clone(), since, failed });
    });
}
