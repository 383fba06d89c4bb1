//! Steps of the route at the desk: recorded, inspected, and packs that broke.

use serde::{Deserialize, Serialize};

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Check, Moved, Noted, What};
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::model::{Method, StepKind};
use super::refusal::{Code, Problem};
use super::scan::{Mode, Picked, blocking_hold, broken_pack_of};
use super::state::{Asset, Stage};
use super::text::{Line, Scan, Text};

pub use super::model::StepKind as StepName;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordStep {
    pub step: StepKind,
    pub scan: Scan,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Except {
    pub asset: Line,
    pub outcome: Outcome,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Text>,
}

impl Inspect {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match (self.passed, self.outcome) {
            (None, None) => Err(wrong("/passed", "missing; passed or outcome is needed")),
            (Some(passed), Some(outcome)) if passed != (outcome == Outcome::Passed) => Err(wrong(
                "/outcome",
                "found an outcome that says otherwise than passed",
            )),
            _ => Ok(()),
        }
    }

    fn outcome(&self) -> Outcome {
        self.outcome.unwrap_or(if self.passed == Some(true) {
            Outcome::Passed
        } else {
            Outcome::Hold
        })
    }
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Broken {
    Wet,
    Torn,
    Dropped,
    PastDate,
    Indicator,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
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
}

/// What stands against a step as a permission.
fn against_step(deciding: &Deciding, asset: &Asset, step: StepKind) -> Vec<Problem> {
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
    let last_done = asset
        .next
        .checked_sub(1)
        .and_then(|last| route.get(last as usize));
    let is_last = last_done.is_some_and(|last| last.step == step) && asset.stage <= Stage::Ready;
    if let Some(elsewhere) = elsewhere {
        problems.push(out_of_order(asset, next, elsewhere));
    } else if is_last && (asset.stage == Stage::after(step) || asset.stage == Stage::Ready) {
        problems.push(Problem::new(
            Code::AlreadyDone,
            format!("{called} is already {}.", step.words()),
            next.map_or("It is ready.".to_string(), |next| {
                format!("Next it has to be {}.", next.words())
            }),
            "Nothing needs to be done here.",
        ));
    } else if next.is_none_or(|next| next.step != step) {
        let problem = out_of_order(
            asset,
            next,
            &format!("The route does not allow \"{}\" now.", step.words()),
        );
        let at = route.iter().position(|on| on.step == step);
        problems.push(
            if at.is_some_and(|at| skips_cleaning(route, asset.next, at)) || at.is_none() {
                problem
            } else {
                problem.open_to_override()
            },
        );
    }
    if step == StepKind::Packed {
        problems.extend(blocking_hold(state, asset));
        problems.extend(at_limit(deciding, asset));
    }
    problems
}

/// Skipping from `next` to the step at `to` would pass over cleaning or over what follows a part into its pack:
/// nothing soiled is ever packed, whoever signs for it.
pub(super) fn skips_cleaning(route: &[super::model::RouteStep], next: u32, to: usize) -> bool {
    route
        .iter()
        .enumerate()
        .any(|(i, on)| i >= next as usize && i < to && on.step == StepKind::Cleaned)
}

pub(super) fn out_of_order(asset: &Asset, next: Option<super::model::RouteStep>, needed: &str) -> Problem {
    let called = asset.called();
    let is = asset.stage.words();
    let (found, then) = match next {
        Some(next) => (
            format!("{called} is {is}; next it has to be {}.", next.words()),
            format!("Let it be {} first, or leave it out.", next.words()),
        ),
        None => (
            format!("{called} is {is}; this turn has no further step."),
            "Leave it out.".to_string(),
        ),
    };
    Problem::new(Code::OutOfOrder, found, needed, then)
}

/// A part for single use is not reprocessed once it was used, or came back as if it had been.
pub(super) fn single_use_spent(deciding: &Deciding, asset: &Asset) -> bool {
    let single = deciding
        .state
        .model(&asset.model)
        .is_some_and(|model| model.single_use);
    let came_back = matches!(asset.stage, Stage::Treated | Stage::Received | Stage::InUse);
    single && (asset.turn > 1 || asset.uses > asset.prior_uses || came_back)
}

pub(super) fn single_use(asset: &Asset) -> Problem {
    Problem::new(
        Code::SingleUse,
        format!("{} is for single use.", asset.called()),
        "What is for single use is not reprocessed.",
        "Discard it and have it retired.",
    )
}

/// The maker's limit, where one is given and reached. It binds at inspection and packing.
fn at_limit(deciding: &Deciding, asset: &Asset) -> Option<Problem> {
    let limits = &deciding.state.model(&asset.model)?.limits;
    let reached = |limit: Option<u32>, found: u32| limit.filter(|limit| found >= *limit);
    let (what, limit, found) = match (
        reached(limits.max_cycles, asset.cycles),
        reached(limits.max_uses, asset.uses),
    ) {
        (Some(limit), _) => ("cycles", limit, asset.cycles),
        (_, Some(limit)) => ("uses", limit, asset.uses),
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
    let step = it.step;
    if deciding.late() || matches!(step, StepKind::Treated | StepKind::Received) {
        return record_fact(deciding, it);
    }
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let parts = deciding.each(picked, |deciding, asset| against_step(deciding, asset, step));
    let state = deciding.state;
    let moved = parts.iter().map(|asset| asset.advanced(state, step)).collect();
    Some(What::StepRecorded(StepRecorded {
        step,
        parts: moved,
        noted: Vec::new(),
    }))
}

/// A fact about one part: what it does to it.
enum Told {
    Moves(Moved),
    Notes(Noted),
    Known(Problem),
}

fn record_fact(deciding: &mut Deciding, it: &RecordStep) -> Option<What> {
    let picked = deciding.pick(&it.scan, Mode::Fact);
    let alone: Vec<Picked> = picked.iter().filter(|part| part.alone).cloned().collect();
    let in_sets: Vec<Picked> = picked.into_iter().filter(|part| !part.alone).collect();
    // A set that came back although nobody recorded that it went out: its ready parts begin their next turn.
    let first: Vec<Picked> = in_sets
        .iter()
        .filter(|part| stands_for(deciding, &part.asset, it.step))
        .cloned()
        .collect();
    let chosen = if first.is_empty() && alone.is_empty() && back_at_desk(it.step) {
        in_sets
            .iter()
            .filter(|part| in_house(&part.asset) && part.asset.stage == Stage::Ready)
            .cloned()
            .collect()
    } else {
        first
    };
    let mut skipped = in_sets;
    skipped.retain(|part| !chosen.iter().any(|taken| taken.asset.asset == part.asset.asset));
    let (mut parts, mut noted) = (Vec::new(), Vec::new());
    for part in alone.iter().chain(&chosen) {
        match tell(deciding, &part.asset, it.step) {
            Told::Moves(moved) => parts.push(moved),
            Told::Notes(note) => noted.push(note),
            Told::Known(problem) => {
                deciding.against(problem);
                continue;
            }
        }
        deciding.touches(Some(part.asset.last_at));
    }
    let left: Vec<_> = skipped
        .into_iter()
        .map(|part| {
            let problem = why_not_meant(deciding, &part.asset, it.step);
            (part.asset, vec![problem])
        })
        .collect();
    if parts.is_empty() && noted.is_empty() {
        left.into_iter()
            .flat_map(|(_, problems)| problems)
            .for_each(|problem| deciding.against(problem));
    } else {
        deciding.leave(left);
    }
    Some(What::StepRecorded(StepRecorded {
        step: it.step,
        parts,
        noted,
    }))
}

fn back_at_desk(step: StepKind) -> bool {
    matches!(step, StepKind::Treated | StepKind::Received)
}

fn in_house(asset: &Asset) -> bool {
    !asset.missing && !asset.in_repair && asset.retired.is_none()
}

/// In a fact a set stands for every member in the house that has not done this act or a later one in this turn.
fn stands_for(deciding: &Deciding, asset: &Asset, step: StepKind) -> bool {
    let away = matches!(asset.stage, Stage::Issued | Stage::InUse);
    let not_yet = match step {
        StepKind::Treated => asset.stage < Stage::Treated || away,
        StepKind::Received => asset.stage < Stage::Received || away,
        _ => {
            let route = deciding.state.route_of(asset);
            route
                .iter()
                .position(|on| on.step == step)
                .is_some_and(|at| at as u32 >= asset.next)
        }
    };
    in_house(asset) && not_yet
}

fn why_not_meant(deciding: &Deciding, asset: &Asset, step: StepKind) -> Problem {
    if !in_house(asset)
        && let Some(problem) = super::scan::general_problems(asset).into_iter().next()
    {
        return problem;
    }
    let next = deciding.state.next_step(asset);
    Problem::new(
        Code::AlreadyDone,
        format!("{} is {} in this turn.", asset.called(), asset.stage.words()),
        next.map_or("It has no further step.".to_string(), |next| {
            format!("Next it has to be {}.", next.words())
        }),
        format!(
            "If it was {} all the same, scan the part by itself.",
            step.words()
        ),
    )
}

/// Takes a fact about one part as it comes: moves the part where it can, notes it where it cannot, and writes down
/// the rule that was broken.
fn tell(deciding: &mut Deciding, asset: &Asset, step: StepKind) -> Told {
    let at = deciding.at();
    if asset.missing {
        return Told::Known(super::asset::missing(asset));
    }
    if deciding.late() && at < asset.act_at {
        return Told::Notes(Noted {
            asset: asset.asset.clone(),
            turn: turn_at(deciding, asset),
        });
    }
    let note = Told::Notes(Noted {
        asset: asset.asset.clone(),
        turn: asset.turn,
    });
    let stays = [
        (asset.retired.is_some(), Code::Retired),
        (asset.in_repair, Code::InRepair),
        (asset.in_load.is_some(), Code::InLoad),
    ];
    if let Some((_, code)) = stays.into_iter().find(|(stays, _)| *stays) {
        deciding.deviates(code);
        return note;
    }
    if asset.stage == Stage::after(step) {
        return Told::Known(why_already(asset, step));
    }
    if back_at_desk(step) {
        return tell_back(deciding, asset, step, note);
    }
    let state = deciding.state;
    let route = state.route_of(asset);
    let Some(to) = route.iter().position(|on| on.step == step).map(|to| to as u32) else {
        deciding.deviates(Code::OutOfOrder);
        return note;
    };
    if to + 1 == asset.next && asset.stage == Stage::Ready {
        return Told::Known(why_already(asset, step));
    }
    if blocking_hold(state, asset).is_some() && step == StepKind::Packed {
        deciding.deviates(Code::Held);
    }
    let by_load = step == StepKind::Sterilised
        || (step == StepKind::Disinfected
            && route
                .get(to as usize)
                .is_some_and(|on| on.by() != Some(Method::Manual)));
    if by_load
        || step == StepKind::Inspected
        || to < asset.next
        || skips_cleaning(route, asset.next, to as usize)
    {
        deciding.deviates(Code::OutOfOrder);
        return note;
    }
    if to > asset.next {
        deciding.deviates(Code::OutOfOrder);
    }
    Told::Moves(asset.advanced(state, step))
}

fn why_already(asset: &Asset, step: StepKind) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} is already {}.", asset.called(), step.words()),
        "An act that is not yet recorded is needed.",
        "Nothing needs to be done.",
    )
}

/// Pre-cleaned at the point of use, or received: moves what is soiled, begins the next turn of what was out or ready.
fn tell_back(deciding: &mut Deciding, asset: &Asset, step: StepKind, note: Told) -> Told {
    let state = deciding.state;
    let moved = match asset.stage {
        Stage::Soiled | Stage::Treated => asset.advanced(state, step),
        Stage::Issued | Stage::InUse => asset.next_turn(state, step),
        Stage::Ready => {
            deciding.deviates(Code::OutOfOrder);
            asset.next_turn(state, step)
        }
        _ => {
            deciding.deviates(Code::OutOfOrder);
            return note;
        }
    };
    let route = match moved.was {
        Some(_) => state.current_route(&asset.model).2,
        None => state.route_of(asset),
    };
    let from = if moved.was.is_some() { 0 } else { asset.next };
    let jumped = route
        .iter()
        .take(moved.next.saturating_sub(1) as usize)
        .skip(from as usize);
    if jumped.into_iter().any(|on| on.step != step && on.step < step) {
        deciding.deviates(Code::OutOfOrder);
    }
    Told::Moves(moved)
}

/// The turn in whose span the told time lies.
fn turn_at(deciding: &Deciding, asset: &Asset) -> u32 {
    let at = deciding.at();
    if at >= asset.turn_began_at {
        return asset.turn;
    }
    let turns = deciding.asked.turns.get(&asset.asset);
    let spans = turns.into_iter().flatten().filter(|(_, began)| *began <= at);
    spans.map(|(turn, _)| *turn).next_back().unwrap_or(1)
}

pub(super) fn inspect(deciding: &mut Deciding, it: &Inspect) -> Option<What> {
    let mut picked = deciding.pick(&it.scan, Mode::Permission);
    let mut special: Vec<(Id, Outcome, Option<String>)> = Vec::new();
    for except in &it.except {
        let Some(asset) = deciding.one(except.asset.as_str()) else {
            continue;
        };
        special.push((
            asset.asset.clone(),
            except.outcome,
            except.note.as_ref().map(|note| note.0.clone()),
        ));
        match picked.iter_mut().find(|part| part.asset.asset == asset.asset) {
            // Named by itself, so it has to be acceptable by itself.
            Some(part) => part.alone = true,
            None => deciding.against(super::model::unknown("scanned part", except.asset.as_str())),
        }
    }
    let outcome_of = |asset: &Asset| {
        let own = special.iter().find(|(id, ..)| *id == asset.asset);
        own.map_or((it.outcome(), None), |(_, outcome, note)| {
            (*outcome, note.clone())
        })
    };
    let parts = deciding.each(picked, |deciding, asset| {
        let state = deciding.state;
        let next = state.next_step(asset);
        let mut problems = Vec::new();
        if single_use_spent(deciding, asset) {
            problems.push(single_use(asset));
        }
        if let Some(load) = &asset.in_load {
            problems.push(super::load::in_load(&asset.called(), load));
        }
        if asset.stage == Stage::Inspected {
            problems.push(why_already(asset, StepKind::Inspected));
        } else if next.is_none_or(|next| next.step != StepKind::Inspected) {
            let problem = out_of_order(asset, next, "The route does not allow an inspection now.");
            let route = state.route_of(asset);
            let to = route.iter().position(|on| on.step == StepKind::Inspected);
            let open = to.is_some_and(|to| !skips_cleaning(route, asset.next, to));
            problems.push(if open { problem.open_to_override() } else { problem });
        }
        if outcome_of(asset).0 == Outcome::Passed {
            problems.extend(at_limit(deciding, asset));
        }
        problems
    });
    let state = deciding.state;
    let mut done = Vec::new();
    for asset in &parts {
        let (outcome, note) = outcome_of(asset);
        let moved = match outcome {
            Outcome::Passed => Some(asset.advanced(state, StepKind::Inspected)),
            Outcome::Reclean => Some(asset.back_before(state, StepKind::Cleaned)),
            Outcome::Repair | Outcome::Retire | Outcome::Hold => None,
        };
        done.push(InspectedPart {
            asset: asset.asset.clone(),
            turn: asset.turn,
            outcome,
            note,
            moved,
        });
    }
    let holds = holds_after(deciding, &done);
    Some(What::Inspected(Inspected {
        parts: done,
        checks: it.checks.clone(),
        holds,
    }))
}

/// A part that did not pass is out of use until somebody with the right to it says otherwise.
fn holds_after(deciding: &mut Deciding, parts: &[InspectedPart]) -> Vec<HoldPlaced> {
    let wanted = [
        (Outcome::Repair, HoldKind::Repair, "inspection: to be repaired"),
        (Outcome::Retire, HoldKind::Quality, "inspection: to be retired"),
        (Outcome::Hold, HoldKind::Quality, "inspection not passed"),
    ];
    let mut holds: Vec<HoldPlaced> = Vec::new();
    for (outcome, kind, reason) in wanted {
        let of = parts.iter().filter(|part| part.outcome == outcome);
        let assets: Vec<Id> = of.map(|part| part.asset.clone()).collect();
        let taken: Vec<&Id> = holds.iter().map(|hold| &hold.hold).collect();
        let free = (1..10_000u64).find_map(|n| {
            let id = Id::new(&format!("hold-{:04}", deciding.state.holds.len() as u64 + n))?;
            (!deciding.state.holds.contains_key(&id) && !taken.contains(&&id)).then_some(id)
        });
        if let (false, Some(hold)) = (assets.is_empty(), free) {
            deciding.made.get_or_insert_with(|| hold.clone());
            holds.push(HoldPlaced {
                hold,
                kind,
                reason: reason.into(),
                assets,
            });
        }
    }
    holds
}

pub(super) fn pack_broken(deciding: &mut Deciding, it: &PackBroken) -> Option<What> {
    let picked = deciding.pick(&it.scan, Mode::Fact);
    let state = deciding.state;
    let (mut parts, mut noted): (Vec<Moved>, Vec<Noted>) = (Vec::new(), Vec::new());
    for part in &picked {
        let asset = &part.asset;
        if !part.alone && (!in_house(asset) || !asset.stage.in_pack()) {
            continue;
        }
        if asset.missing {
            deciding.against(super::asset::missing(asset));
            continue;
        }
        deciding.touches(Some(asset.last_at));
        if !asset.stage.in_pack()
            || asset.retired.is_some()
            || (deciding.late() && deciding.at() < asset.act_at)
        {
            if !deciding.late() {
                deciding.deviates(if asset.retired.is_some() {
                    Code::Retired
                } else {
                    Code::OutOfOrder
                });
            }
            noted.push(Noted {
                asset: asset.asset.clone(),
                turn: turn_at(deciding, asset),
            });
            continue;
        }
        let mates = broken_pack_of(state, asset);
        for broken in std::iter::once(asset).chain(&mates) {
            if parts.iter().any(|moved| moved.asset == broken.asset) {
                continue;
            }
            if !picked.iter().any(|other| other.asset.asset == broken.asset) {
                deciding.also_opened.push(broken.asset.clone());
            }
            parts.push(broken.back_before_packed(state));
        }
    }
    if parts.is_empty() && noted.is_empty() {
        // A fact may not be refused: the set was scanned although none of its packs is closed.
        deciding.deviates(Code::OutOfOrder);
        noted.extend(picked.iter().map(|part| Noted {
            asset: part.asset.asset.clone(),
            turn: part.asset.turn,
        }));
    }
    Some(What::PackBroken(PackBrokenDone {
        why: it.why,
        parts,
        noted,
    }))
}
