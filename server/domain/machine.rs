//! Machines: washer-disinfectors, sterilisers, baths and cabinets, with their programmes and periodic tests.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::{Method, reason_given, unknown};
use super::programme::{Programme, SOURCED};
use super::refusal::{Code, Problem};
use super::state::{Condition, Machine, State};
pub use super::testing::{ClearFlag, MachineTested, RecordMachineTest};
use super::text::{Text, ended};
use super::time::{Time, told_day};

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MachineKind {
    WasherDisinfector,
    Steriliser,
    Ultrasonic,
    DryingCabinet,
}

impl MachineKind {
    pub fn words(self) -> &'static str {
        match self {
            MachineKind::WasherDisinfector => "washer-disinfector",
            MachineKind::Steriliser => "steriliser",
            MachineKind::Ultrasonic => "ultrasonic bath",
            MachineKind::DryingCabinet => "drying cabinet",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DefineMachine {
    pub machine: Id,
    pub kind: MachineKind,
    pub programmes: Vec<Programme>,
}

impl DefineMachine {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        for (i, programme) in self.programmes.iter().enumerate() {
            if self.programmes.iter().take(i).any(|earlier| earlier.programme == programme.programme) {
                return Err(wrong(format!("/programmes/{i}/programme"), "found the name twice"));
            }
            let suits = match self.kind {
                MachineKind::Steriliser => programme.method.sterilises(),
                _ => programme.method == Method::Machine,
            };
            if !suits {
                let needed = "a steriliser takes steam, hydrogen_peroxide or ethylene_oxide, another machine takes machine";
                return Err(wrong(format!("/programmes/{i}/method"), needed));
            }
            let amounts =
                [("band_c", programme.band_c), ("hold_s", programme.hold_s), ("a0_s", programme.a0_s)];
            for (name, amount) in amounts {
                if amount.is_some_and(|q| q.0 <= Decimal::ZERO) {
                    return Err(wrong(
                        format!("/programmes/{i}/{name}"),
                        "found zero or less; a limit is above zero",
                    ));
                }
            }
            if let Some(name) = programme.sources.keys().find(|name| !SOURCED.contains(&name.as_str())) {
                let needed = format!("found no limit of that name; one of {} is needed", SOURCED.join(", "));
                return Err(wrong(format!("/programmes/{i}/sources/{name}"), needed));
            }
            if programme.hold_s.is_some() && programme.band_c.is_none() {
                let detail = "missing; a hold needs the band in which it lies";
                return Err(wrong(format!("/programmes/{i}/band_c"), detail));
            }
        }
        Ok(())
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MachineOut {
    pub machine: Id,
    pub reason: Text,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BackAfter {
    Installed,
    Relocated,
    MajorRepair,
    Failure,
    Minor,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MachineBack {
    pub machine: Id,
    pub after: BackAfter,
}

/// The air-removal test of a pre-vacuum steriliser.
pub const AIR_REMOVAL: &str = "air_removal";
pub const LEAK_RATE: &str = "leak_rate";
pub const EMPTY_CYCLE: &str = "empty_cycle";
/// A spore test of the machine itself, beside those that loads carry.
pub const BIOLOGICAL: &str = "biological";

/// A test's name as it stands before the word "test".
pub fn test_words(test: &str) -> String {
    match test {
        AIR_REMOVAL => "air-removal".into(),
        LEAK_RATE => "leak-rate".into(),
        EMPTY_CYCLE => "empty-cycle".into(),
        other => other.replace('_', " "),
    }
}

/// Good empty cycles before a steriliser is used again after installation, relocation, major repair or a
/// sterilisation failure (CDC Guideline for Disinfection and Sterilization 2008, Sterilizing Practices).
pub const EMPTY_CYCLES_NEEDED: u32 = 3;

pub(super) fn define_machine(deciding: &mut Deciding, it: &DefineMachine) -> Option<What> {
    deciding.touches(None);
    Some(What::MachineDefined(it.clone()))
}

pub(super) fn machine_out(deciding: &mut Deciding, it: &MachineOut) -> Option<What> {
    deciding.touches(None);
    let machine = known(deciding, &it.machine)?;
    reason_given(deciding, &it.reason);
    if let Condition::Out { reason, .. } = &machine.condition {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} is already out of service: {}", it.machine, ended(reason)),
            "A machine in service is needed.",
            "Nothing needs to be done.",
        ));
    }
    Some(What::MachineOut(it.clone()))
}

pub(super) fn machine_back(deciding: &mut Deciding, it: &MachineBack) -> Option<What> {
    deciding.touches(None);
    let machine = known(deciding, &it.machine)?;
    if machine.condition == Condition::InService && it.after == BackAfter::Minor {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} is in service.", it.machine),
            "A machine out of service is needed.",
            "Nothing needs to be done.",
        ));
    }
    if machine.went_out_since(deciding.at(), deciding.asked.now) {
        // It came back from an earlier time out; what is said of it now stands.
        deciding.deviates(Code::OutOfOrder);
    } else if let Some(problem) = machine.not_back_after(it.after) {
        deciding.against(problem.even_late());
    }
    Some(What::MachineBack(it.clone()))
}

pub(super) fn known(deciding: &mut Deciding, machine: &Id) -> Option<Machine> {
    match deciding.state.machines.get(machine) {
        Some(found) => Some((**found).clone()),
        None => {
            deciding.against(unknown("machine", machine.as_str()));
            None
        }
    }
}

impl Machine {
    /// Whether this machine may come back after that.
    pub fn comes_back_after(&self, after: BackAfter) -> bool {
        self.not_back_after(after).is_none()
    }

    /// Why this machine does not come back after that, or `None`. What grew, failed an empty cycle, or was to be
    /// requalified comes back by three good empty cycles alone.
    fn not_back_after(&self, after: BackAfter) -> Option<Problem> {
        let name = &self.machine;
        let grown = match &self.condition {
            Condition::Out { load, .. } => load.as_ref(),
            Condition::InService | Condition::Requalifying { .. } => None,
        };
        let refused = match after {
            BackAfter::Minor => grown.is_some() || self.empty_cycles_needed,
            BackAfter::Installed | BackAfter::Relocated | BackAfter::MajorRepair => grown.is_some(),
            BackAfter::Failure => false,
        };
        let after = if grown.is_some() { "a failure" } else { "a failure or a major repair" };
        let next = match self.condition {
            Condition::Requalifying { .. } => {
                "Run the next empty cycle and record it as a machine test.".into()
            }
            _ => format!("Have it looked at, put {name} back after {after}, then run the empty cycles."),
        };
        refused.then(|| {
            Problem::new(
                Code::MachineNotReady,
                format!("{name} is {}", ended(&self.condition.words())),
                format!("It comes back after {after}, by {EMPTY_CYCLES_NEEDED} good empty cycles in a row."),
                next,
            )
        })
    }

    /// Why this machine runs no load now, or `None`: out of service, requalifying, or its air-removal test of the
    /// test day is missing.
    pub fn not_ready(&self, state: &State, programme: &Programme, at: Time) -> Option<Problem> {
        let name = &self.machine;
        match &self.condition {
            Condition::Out { reason, .. } => {
                return Some(Problem::new(
                    Code::MachineNotReady,
                    format!("{name} is out of service: {}", ended(reason)),
                    "A machine in service is needed.",
                    format!("Use another machine, or have {name} brought back by the lead or biomed."),
                ));
            }
            Condition::Requalifying { good } => {
                return Some(Problem::new(
                    Code::MachineNotReady,
                    format!("{name} is requalifying: {good} of {EMPTY_CYCLES_NEEDED} empty cycles are good."),
                    format!("{EMPTY_CYCLES_NEEDED} good empty cycles in a row are needed."),
                    "Run the next empty cycle and record it as a machine test.",
                ));
            }
            Condition::InService => {}
        }
        if !programme.air_removal_test {
            return None;
        }
        self.no_air_removal_test(state, at)
    }

    /// Its air-removal test of the test day of this moment is missing, or failed.
    pub fn no_air_removal_test(&self, state: &State, at: Time) -> Option<Problem> {
        let (name, today) = (&self.machine, state.test_day(at));
        if self.passed_by(state, AIR_REMOVAL, at) {
            return None;
        }
        let found = match self.last_tests.get(AIR_REMOVAL) {
            Some(test) if test.at > at => format!(
                "The last air-removal test of {name} was on {}, after {}.",
                test.at.told(state.zone),
                at.told(state.zone)
            ),
            Some(test) => {
                format!("The last air-removal test of {name} was on {}.", told_day(state.test_day(test.at)))
            }
            None => format!("No air-removal test of {name} is recorded."),
        };
        Some(Problem::new(
            Code::MachineNotReady,
            found,
            format!(
                "A passed air-removal test of the test day {} is needed before its first load.",
                told_day(today)
            ),
            "Run the air-removal test and record it as a machine test.",
        ))
    }
}
