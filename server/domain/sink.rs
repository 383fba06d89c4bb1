//! Clocks at the sink: from the end of use until cleaning begins. What waited too long goes the delayed way.

use serde::{Deserialize, Serialize};

use super::command::{Act, Step};
use super::deciding::Deciding;
use super::event::Moved;
use super::hold::HoldKind;
use super::id::Id;
use super::model::{Model, StepKind};
use super::refusal::{Code, Problem};
use super::stage::Stage;
use super::state::{Asset, State};
use super::step::RecordStep;
use super::text::Line;
use super::time::{MINUTE, Time};

/// What is done where its maker's instructions name nothing: usual for dried soil, from memory.
const USUAL: &str = "soak it longer, clean it again, and look at it under magnification until it is clean";

/// How long a part has waited for its cleaning, and how long it may.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
pub struct Clock {
    /// The end of its use, as far as that is recorded.
    pub since: Time,
    pub limit_minutes: u32,
    pub waited_minutes: i64,
}

impl Clock {
    pub fn is_over(&self) -> bool {
        self.waited_minutes > i64::from(self.limit_minutes)
    }

    /// When it is over, to the minute in which people are told so.
    pub fn over_at(&self) -> Time {
        self.since.plus_minutes(i64::from(self.limit_minutes) + 1)
    }

    /// "waiting 52 of 60 min".
    pub fn words(&self) -> String {
        format!("waiting {} of {} min", self.waited_minutes, self.limit_minutes)
    }
}

/// A part whose cleaning began too late, and what was done about it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Delayed {
    pub asset: Id,
    pub since: Time,
    pub limit_minutes: u32,
    pub waited_minutes: i64,
    pub steps: Line,
    /// Whoever recorded the cleaning said that they were done.
    pub done: bool,
}

/// The limit of a model, or the site's where its instructions say nothing.
pub fn limit_of(state: &State, model: &Model) -> Option<u32> {
    model.processing.clean_within_minutes.or(state.policy.clean_within_minutes)
}

/// What is done beside the usual where a part of this model waited too long.
pub fn steps_of(model: &Model) -> Line {
    model.processing.delayed.clone().unwrap_or_else(|| Line(USUAL.into()))
}

/// How long a used part has waited for its cleaning at a moment; none where nothing limits it, or where it waits for none.
pub fn clock(state: &State, asset: &Asset, now: Time) -> Option<Clock> {
    let waits = asset.counts() && asset.stage <= Stage::Received && asset.in_load.is_none();
    let since = asset.soiled_since.filter(|_| waits && !asset.has_hold(HoldKind::Prion))?;
    let limit_minutes = limit_of(state, state.model(&asset.model)?)?;
    Some(Clock { since, limit_minutes, waited_minutes: (now.0 - since.0).max(0) / MINUTE })
}

fn begins_cleaning(step: StepKind) -> bool {
    matches!(step, StepKind::Cleaned | StepKind::Ultrasonic)
}

fn over(state: &State, asset: &Asset, step: StepKind, at: Time) -> Option<Clock> {
    clock(state, asset, at).filter(|clock| begins_cleaning(step) && clock.is_over())
}

fn says_done(deciding: &Deciding) -> bool {
    matches!(&deciding.command.act, Act::Step(Step::RecordStep(it)) if it.delayed)
}

/// Cleaning that began too late counts only with what is done beside the usual.
pub(super) fn against(deciding: &Deciding, asset: &Asset, step: StepKind) -> Option<Problem> {
    let state = deciding.state;
    let clock = over(state, asset, step, deciding.at()).filter(|_| !says_done(deciding))?;
    let steps = steps_of(state.model(&asset.model)?);
    let scan = match &deciding.command.act {
        Act::Step(Step::RecordStep(it)) => it.scan.0.clone(),
        _ => vec![asset.asset.to_string()],
    };
    let remedy = serde_json::json!({"do": "record_step", "step": step, "scan": scan, "delayed": true});
    let problem = Problem::new(
        Code::OutOfOrder,
        format!(
            "{} waited {} min for its cleaning; {} min are allowed.",
            asset.called(),
            clock.waited_minutes,
            clock.limit_minutes
        ),
        format!("It goes the delayed way: {}.", steps.as_str().trim_end_matches('.')),
        "Do that, and record the cleaning as done the delayed way.",
    );
    Some(problem.with_remedy(remedy))
}

/// The parts of a step whose cleaning began too late. Told after the fact without the delayed steps, it is a deviation.
pub(super) fn delayed(deciding: &mut Deciding, it: &RecordStep, parts: &[Moved]) -> Vec<Delayed> {
    let (state, at) = (deciding.state, deciding.at());
    let late = parts.iter().filter_map(|moved| {
        let asset = state.assets.get(&moved.asset)?;
        let clock = over(state, asset, it.step, at)?;
        Some(Delayed {
            asset: asset.asset.clone(),
            since: clock.since,
            limit_minutes: clock.limit_minutes,
            waited_minutes: clock.waited_minutes,
            steps: steps_of(state.model(&asset.model)?),
            done: it.delayed,
        })
    });
    let all: Vec<Delayed> = late.collect();
    if all.iter().any(|late| !late.done) {
        deciding.deviates(Code::OutOfOrder);
    }
    all
}

/// A set, or a part that sits in none, whose cleaning should have begun.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Late {
    pub set: Option<Id>,
    /// The one of its parts that waits longest.
    pub asset: Id,
    pub parts: u32,
    pub since: Time,
    pub limit_minutes: u32,
}

/// What waits too long, the longest first: each set once.
pub fn late(state: &State, now: Time) -> Vec<Late> {
    let mut all: Vec<Late> = Vec::new();
    for it in waiting(state, now).into_iter().filter(|it| it.clock.is_over()) {
        let set = it.asset.seat.as_ref().map(|seat| seat.set.clone());
        match all.iter_mut().find(|late| late.set.is_some() && late.set == set) {
            Some(known) => known.parts += 1,
            None => all.push(Late {
                set,
                asset: it.asset.asset.clone(),
                parts: 1,
                since: it.clock.since,
                limit_minutes: it.clock.limit_minutes,
            }),
        }
    }
    all
}

/// The moments at which the clock alone makes something late, or made it so.
pub fn moments(state: &State, now: Time) -> impl Iterator<Item = Time> + '_ {
    state.assets.values().filter_map(move |asset| Some(clock(state, asset, now)?.over_at()))
}

/// A part at the sink, with its clock.
#[derive(Clone, Debug, PartialEq)]
pub struct AtSink<'a> {
    pub asset: &'a Asset,
    pub clock: Clock,
}

/// What waits for its cleaning against a limit, the nearest to it first.
pub fn waiting(state: &State, now: Time) -> Vec<AtSink<'_>> {
    let mut all: Vec<AtSink> = state
        .assets
        .values()
        .filter_map(|asset| Some(AtSink { asset, clock: clock(state, asset, now)? }))
        .collect();
    all.sort_by_key(|it| {
        (i64::from(it.clock.limit_minutes) - it.clock.waited_minutes, it.asset.asset.clone())
    });
    all
}
