//! Steps of the route at the desk: recorded, inspected, and packs that broke.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::broken::PackFacts;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Check, Moved, Noted, What};
use super::hold::HoldPlaced;
use super::id::Id;
use super::inspect_next::AskedFor;
use super::inspection_values::Measured;
use super::lifetime::Clock;
use super::model::{Method, StepKind};
use super::refusal::{Code, Problem};
use super::scan::{Mode, blocking_hold};
use super::set::Seat;
use super::sink::Delayed;
use super::solution::{self, Solution};
use super::state::{Asset, InspectedAt, Stage};
use super::text::{Line, Scan, Text};

pub use super::model::StepKind as StepName;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordStep {
    pub step: StepKind,
    pub scan: Scan,
    /// Members of a pack that are left out of it, and leave their set.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub without: Vec<Line>,
    /// What a pack is wrapped in, as wrap, pouch or rigid container.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packaging: Option<Line>,
    /// The record of a manual disinfection.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub solution: Option<Box<Solution>>,
    /// Its cleaning began too late, and what that asks for beside the usual was done.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub delayed: bool,
}

impl RecordStep {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.step != StepKind::Packed && !self.without.is_empty() {
            return Err(wrong("/without", "found it for another step than packed"));
        }
        if self.step != StepKind::Packed && self.packaging.is_some() {
            return Err(wrong("/packaging", "found it for another step than packed"));
        }
        if self.delayed && !matches!(self.step, StepKind::Cleaned | StepKind::Ultrasonic) {
            return Err(wrong("/delayed", "found it for a step that begins no cleaning"));
        }
        match &self.solution {
            Some(_) if self.step != StepKind::Disinfected => {
                Err(wrong("/solution", "found it for another step than disinfected"))
            }
            Some(solution) => solution.whole(),
            None => Ok(()),
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    Passed,
    Reclean,
    Repair,
    Retire,
    Hold,
}

impl Outcome {
    pub fn name(self) -> &'static str {
        match self {
            Outcome::Passed => "passed",
            Outcome::Reclean => "reclean",
            Outcome::Repair => "repair",
            Outcome::Retire => "retire",
            Outcome::Hold => "hold",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Inspect {
    pub scan: Scan,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub passed: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<Outcome>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub except: Vec<Except>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<Check>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Except {
    pub asset: Line,
    pub outcome: Outcome,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Text>,
}

/// No check list is longer.
const MOST_CHECKS: usize = 100;

impl Inspect {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.checks.len() > MOST_CHECKS {
            let detail = format!("found {} checks; at most {MOST_CHECKS} are needed", self.checks.len());
            return Err(wrong("/checks", detail));
        }
        for (n, check) in self.checks.iter().enumerate() {
            super::inspection_checks::measurable(check)
                .map_err(|detail| wrong(format!("/checks/{n}/value"), detail))?;
        }
        match (self.passed, self.outcome) {
            (None, None) => Err(wrong("/passed", "missing; passed or outcome is needed")),
            (Some(passed), Some(outcome)) if passed != (outcome == Outcome::Passed) => {
                Err(wrong("/outcome", "found an outcome that says otherwise than passed"))
            }
            _ => Ok(()),
        }
    }

    pub(super) fn outcome(&self) -> Outcome {
        self.outcome.unwrap_or(if self.passed == Some(true) { Outcome::Passed } else { Outcome::Hold })
    }
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Broken {
    Wet,
    Torn,
    Dropped,
    PastDate,
    Indicator,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PackBroken {
    pub scan: Scan,
    pub why: Broken,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StepRecorded {
    pub step: StepKind,
    pub parts: Vec<Moved>,
    /// Named by the act, but not moved by it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub noted: Vec<Noted>,
    /// Left out of a pack, and so out of the set.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub taken_out: Vec<TakenOut>,
    /// Lines of the packs that have fewer parts than they need.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub short: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packaging: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub solution: Option<Box<Solution>>,
    /// By this act a part is again as a recalled load made it: the recall's hold takes it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub held: Vec<RecallHeld>,
    /// Parts whose cleaning began later than their limit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub delayed: Vec<Delayed>,
}

/// A part that an open recall takes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RecallHeld {
    pub asset: Id,
    pub hold: Id,
}

/// A part that left its seat with a step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TakenOut {
    pub asset: Id,
    pub seat: Seat,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InspectedPart {
    pub asset: Id,
    pub turn: u32,
    pub outcome: Outcome,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved: Option<Moved>,
    /// The inspection that counted before this one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inspected_before: Option<InspectedAt>,
    /// The request that this inspection answers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asked_before: Option<Box<AskedFor>>,
    /// What was measured of this part, as numbers of the checks beside it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub values: Vec<Measured>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Inspected {
    pub parts: Vec<InspectedPart>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<Check>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PackBrokenDone {
    pub why: Broken,
    pub parts: Vec<Moved>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub noted: Vec<Noted>,
    /// The packs that were closed until then, with what is counted of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub packs: Vec<PackFacts>,
}

/// What stands against a step as a permission.
pub(super) fn against_step(deciding: &Deciding, asset: &Asset, step: StepKind) -> Vec<Problem> {
    let state = deciding.state;
    let route = state.route_of(asset);
    let called = asset.called();
    let next = state.next_step(asset);
    let mut problems = Vec::new();
    if step >= StepKind::Cleaned && single_use_spent(deciding, asset) {
        problems.push(single_use(asset));
    }
    if let Some(load) = &asset.in_load {
        problems.push(super::load::in_load(&called, load));
    }
    let elsewhere = match step {
        StepKind::Inspected => Some("An inspection is recorded with its outcome."),
        StepKind::Sterilised => Some("Sterilising is recorded by starting, judging and releasing a load."),
        StepKind::Disinfected if next.is_none_or(|next| next.by() != Some(Method::Manual)) => {
            Some("Machine disinfection is recorded by starting, judging and releasing a load.")
        }
        _ => None,
    };
    let last_done = asset.next.checked_sub(1).and_then(|last| route.get(last as usize));
    let is_last = last_done.is_some_and(|last| last.step == step) && asset.stage <= Stage::Ready;
    if let Some(elsewhere) = elsewhere {
        problems.push(out_of_order(asset, next, elsewhere));
    } else if is_last && (asset.stage == Stage::after(step) || asset.stage == Stage::Ready) {
        problems.push(Problem::new(
            Code::AlreadyDone,
            format!("{called} is already {}.", step.words()),
            next.map_or("It is ready.".to_string(), |next| format!("Next it has to be {}.", next.words())),
            "Nothing needs to be done here.",
        ));
    } else if next.is_none_or(|next| next.step != step) {
        let problem =
            out_of_order(asset, next, &format!("The route does not allow \"{}\" now.", step.words()));
        let at = route.iter().position(|on| on.step == step);
        problems.push(if at.is_some_and(|at| skips_cleaning(route, asset, at)) || at.is_none() {
            problem
        } else {
            problem.open_to_override()
        });
    }
    problems.extend(super::sink::against(deciding, asset, step));
    if step == StepKind::Packed {
        problems.extend(blocking_hold(state, asset));
        problems.extend(at_limit(deciding, asset));
    }
    problems
}

/// Skipping from `next` to the step at `to` would pass over cleaning or over what follows a part into its pack:
/// nothing soiled is ever packed, whoever signs for it.
pub(super) fn skips_cleaning(route: &[super::model::RouteStep], asset: &Asset, to: usize) -> bool {
    // What is out at a case begins its next turn first, and no step of the last one does it again.
    let out = asset.stage.is_out();
    let next = asset.next as usize;
    out || route.iter().enumerate().any(|(i, on)| i >= next && i < to && on.step == StepKind::Cleaned)
}

pub(super) fn out_of_order(asset: &Asset, next: Option<super::model::RouteStep>, needed: &str) -> Problem {
    let called = asset.called();
    let is = asset.stage.words();
    let (found, then) = match next {
        Some(next) => (
            format!("{called} is {is}; next it has to be {}.", next.words()),
            format!("Let it be {} first, or leave it out.", next.words()),
        ),
        None => (format!("{called} is {is}; this turn has no further step."), "Leave it out.".to_string()),
    };
    Problem::new(Code::OutOfOrder, found, needed, then)
}

/// A part for single use is not reprocessed once it was used, or came back as if it had been.
pub(super) fn single_use_spent(deciding: &Deciding, asset: &Asset) -> bool {
    let single = deciding.state.model(&asset.model).is_some_and(|model| model.single_use);
    let came_back = matches!(asset.stage, Stage::Treated | Stage::Received | Stage::InUse);
    single && (asset.turn > 1 || asset.uses > asset.prior_uses || came_back)
}

pub(super) fn single_use(asset: &Asset) -> Problem {
    Problem::new(
        Code::SingleUse,
        format!("Single-use: discard. {} is for single use.", asset.called()),
        "What is for single use is not reprocessed.",
        "Discard it and have it retired.",
    )
}

/// The maker's limit, where one is given and reached. It binds at inspection and packing.
pub(super) fn at_limit(deciding: &Deciding, asset: &Asset) -> Option<Problem> {
    let limits = &deciding.state.model(&asset.model)?.limits;
    // Of a part that may be another, the greatest age that it may have counts.
    let oldest = |clock: Clock| deciding.state.age_range(asset, clock, deciding.at()).1;
    let (cycles, uses) = (oldest(Clock::Cycles), oldest(Clock::Uses));
    let reached = |limit: Option<u32>, found: u32| limit.filter(|limit| found >= *limit);
    let (what, limit, found) = match (reached(limits.max_cycles, cycles), reached(limits.max_uses, uses)) {
        (Some(limit), _) => ("cycles", limit, cycles),
        (_, Some(limit)) => ("uses", limit, uses),
        _ => return None,
    };
    Some(
        Problem::new(
            Code::LimitReached,
            format!("{} has gone through {found} {what}.", asset.called()),
            format!("Its maker's instructions allow {limit}."),
            "Replace it, or let the lead set the limit aside with a reason.",
        )
        .open_to_override(),
    )
}

pub(super) fn record(deciding: &mut Deciding, it: &RecordStep) -> Option<What> {
    let mut what = recorded(deciding, it)?;
    if let What::StepRecorded(done) = &mut what {
        // Past its order, a part may come to rest on a wash that was recalled while it lay before it.
        done.held = super::affected::taken_by(deciding.state, &done.parts);
        done.delayed = super::sink::delayed(deciding, it, &done.parts);
    }
    Some(what)
}

fn recorded(deciding: &mut Deciding, it: &RecordStep) -> Option<What> {
    let step = it.step;
    if deciding.late() || matches!(step, StepKind::Treated | StepKind::Received) {
        if !it.without.is_empty() {
            deciding
                .malformed
                .push(wrong("/without", "found it for a late act; take the part from its set by itself"));
        }
        return super::fact::record_fact(deciding, it);
    }
    if step == StepKind::Packed {
        return super::packing::pack(deciding, it);
    }
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let parts = deciding.each(picked, |deciding, asset| {
        let mut problems = against_step(deciding, asset, step);
        if step == StepKind::Disinfected {
            problems.extend(solution::against(deciding, asset, it.solution.as_deref()));
        }
        problems
    });
    let state = deciding.state;
    let moved = parts.iter().map(|asset| asset.advanced(state, step)).collect();
    Some(What::StepRecorded(StepRecorded {
        step,
        parts: moved,
        noted: Vec::new(),
        taken_out: Vec::new(),
        short: Vec::new(),
        packaging: None,
        solution: it.solution.clone(),
        held: Vec::new(),
        delayed: Vec::new(),
    }))
}
