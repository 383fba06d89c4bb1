//! Loads decided: started, judged, released or rejected. Evidence first, then a person.

use std::sync::Arc;

use super::broken::count_packs;
use super::case::Case;
use super::deciding::Deciding;
use super::doubt;
use super::event::What;
use super::exception::{self, Alone};
use super::fact::{turn_at, why_not_meant};
use super::id::{Id, next_free};
use super::load::*;
use super::machine::{MachineKind, known};
use super::model::{Method, StepKind, reason_given, unknown};
use super::person::Role;
use super::programme::Programme;
use super::recall::Recall;
use super::refusal::{Code, Problem};
use super::release;
use super::scan::{Mode, Picked, blocking_hold, general_problems};
use super::state::{Asset, Stage, State};
use super::step::{at_limit, out_of_order, single_use, single_use_spent, skips_cleaning};
use super::verdict;
use super::{dedicate, immediate_use, issuing};

pub(super) fn start(deciding: &mut Deciding, it: &Start) -> Option<What> {
    let state = deciding.state;
    let machine = known(deciding, &it.machine);
    let programme = machine.as_ref().and_then(|machine| {
        machine.programmes.iter().find(|programme| programme.programme == it.programme).cloned()
    });
    if machine.is_some() && programme.is_none() {
        deciding.against(unknown("programme of that machine", it.programme.as_str()));
    }
    if let Some(load) = it.load.as_ref().filter(|load| state.loads.contains_key(*load)) {
        deciding.against(Problem::new(
            Code::NameTaken,
            format!("\"{load}\" already names a load."),
            "A load's name is used once.",
            "Leave the name out, or choose another.",
        ));
    }
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let (machine, programme) = (machine?, programme?);
    if !matches!(machine.kind, MachineKind::Steriliser | MachineKind::WasherDisinfector) {
        deciding.against(Problem::new(
            Code::ProgrammeUnsuitable,
            format!("{} is a {}.", it.machine, machine.kind.words()),
            "Loads run in washer-disinfectors and sterilisers.",
            "Record the step itself.",
        ));
    }
    if let Some(problem) = machine.not_ready(state, &programme, deciding.at()) {
        deciding.against(problem);
    }
    if let Some(running) = &machine.running {
        deciding.against(runs(&it.machine, running));
    }
    let immediate = it.immediate_use.as_deref();
    let case = immediate.and_then(|asked| immediate_use::may(deciding, asked, machine.kind));
    let now = immediate.is_some();
    let (contents, moved_on) = if deciding.late() {
        told_inside(deciding, picked, &programme, now)
    } else {
        let parts =
            deciding.each(picked, |deciding, asset| against_loading(deciding, asset, &programme, now));
        whose(deciding, case.as_ref(), &parts);
        let contents = parts.iter().map(|part| LoadPart { asset: part.asset.clone(), turn: part.turn });
        (contents.collect(), Vec::new())
    };
    let load = it.load.clone().or_else(|| next_load(state))?;
    if it.load.is_none() {
        deciding.made = Some(load.clone());
    }
    let mut open = state.recalls.values().filter(|recall| recall.is_open());
    let covers = |recall: &&Arc<Recall>| recall.covers(&it.machine, deciding.at());
    let recall = open.find(covers).filter(|_| deciding.late()).map(|recall| recall.recall.clone());
    let packs =
        programme.method.sterilises().then(|| count_packs(state, contents.iter().map(|it| &it.asset)));
    Some(What::LoadStarted(LoadStarted {
        load,
        machine: it.machine.clone(),
        kind: machine.kind,
        programme: (*programme).clone(),
        cycle_no: it.cycle_no.clone(),
        contents,
        moved_on,
        recall,
        packs,
        immediate_use: it.immediate_use.clone(),
    }))
}

fn runs(machine: &Id, running: &Id) -> Problem {
    Problem::new(
        Code::MachineNotReady,
        format!("{machine} runs load {running}, which is not decided."),
        "One load at a time is in a machine.",
        format!("Release or reject load {running} first."),
    )
}

/// What goes in is kept for nobody else: for no other patient, and for no other case than the one that it is made for.
fn whose(deciding: &mut Deciding, case: Option<&Case>, parts: &[Arc<Asset>]) {
    let mut problems: Vec<Problem> = dedicate::mixed(deciding.state, parts).into_iter().collect();
    if let Some(case) = case {
        problems.extend(parts.iter().filter_map(|part| dedicate::for_another(deciding, part, case)));
    }
    problems.into_iter().for_each(|problem| deciding.against(problem));
    if let Some(case) = case.filter(|case| !case.emergency) {
        issuing::kept_for_others(deciding, case, parts);
    }
}

/// What lay in a load that is told after the fact, each in the turn that it belongs to; and those of them that the
/// load's decision will not move, because they have moved on, or were not prepared for it.
fn told_inside(
    deciding: &mut Deciding,
    picked: Vec<Picked>,
    programme: &Programme,
    now: bool,
) -> (Vec<LoadPart>, Vec<Id>) {
    let (mut contents, mut moved_on, mut left) = (Vec::new(), Vec::new(), Vec::new());
    let step = programme.step();
    for part in picked {
        let asset = &part.asset;
        let route = deciding.state.route_of(asset);
        let at_step = route.iter().position(|on| on.step == step && on.by() == Some(programme.method));
        let later_act = deciding.at() < asset.act_at;
        let meant = at_step.is_some_and(|to| later_act || to as u32 >= asset.next) && asset.counts();
        if !part.alone && !meant {
            let problem = why_not_meant(deciding, asset, step);
            left.push((part.asset, vec![problem]));
            continue;
        }
        let mut stays = later_act || asset.missing;
        if asset.missing {
            deciding.against(super::asset::missing(deciding.state, asset));
        } else if !later_act {
            let mut problems = general_problems(deciding.state, asset);
            problems.extend(against_loading(deciding, asset, programme, now));
            for problem in problems {
                // Where a lead could set the order aside, the part went in all the same.
                let out_of_order = problem.code == Code::OutOfOrder && !problem.open_to_override;
                let elsewhere = matches!(problem.code, Code::Retired | Code::InRepair | Code::InLoad);
                stays |= out_of_order || elsewhere;
                deciding.against(problem);
            }
        }
        contents.push(LoadPart { asset: asset.asset.clone(), turn: turn_at(deciding, asset) });
        if stays {
            moved_on.push(asset.asset.clone());
        }
        deciding.touches(Some(asset.last_at));
    }
    if contents.is_empty() {
        left.into_iter().flat_map(|(_, problems)| problems).for_each(|problem| deciding.against(problem));
    } else {
        deciding.leave(left);
    }
    (contents, moved_on)
}

fn next_load(state: &State) -> Option<Id> {
    next_free("load", 5, state.loads.len(), |id| state.loads.contains_key(id))
}

/// What stands against a part in a load; `now`: for immediate use.
fn against_loading(deciding: &Deciding, asset: &Asset, programme: &Programme, now: bool) -> Vec<Problem> {
    let state = deciding.state;
    let route = state.route_of(asset);
    let called = asset.called();
    let step = programme.step();
    let mut problems = Vec::new();
    if single_use_spent(deciding, asset) {
        problems.push(single_use(asset));
    }
    if step == StepKind::Sterilised {
        problems.extend(blocking_hold(state, asset));
    }
    if let Some(load) = &asset.in_load {
        problems.push(in_load(&called, load));
    }
    let wanted = |on: &super::model::RouteStep| on.step == step && on.by() == Some(programme.method);
    let next = state.next_step(asset);
    let to = route.iter().position(wanted);
    let unwrapped = now && immediate_use::goes_unwrapped(state, asset, to);
    let before_pack = step == StepKind::Sterilised && asset.stage != Stage::Packed && !unwrapped;
    if now {
        problems.extend(immediate_use::against(state, asset));
    }
    if unwrapped {
        problems.extend(at_limit(deciding, asset));
    }
    if asset.stage == Stage::after(step) {
        problems.push(Problem::new(
            Code::AlreadyDone,
            format!("{called} is already {}.", step.words()),
            "A part whose next act this is is needed.",
            "Nothing needs to be done here.",
        ));
    } else if !unwrapped && (!next.as_ref().is_some_and(wanted) || before_pack) {
        let needed = format!(
            "A part whose next act is \"{}\" by {} is needed.",
            step.words(),
            programme.method.words()
        );
        let problem = out_of_order(asset, next, &needed);
        let open = to.is_some_and(|to| !skips_cleaning(route, asset, to)) && !before_pack;
        problems.push(if open { problem.open_to_override() } else { problem });
    }
    let unsuitable = state.model(&asset.model).and_then(|model| programme.unsuitable(model));
    if let Some(why) = unsuitable {
        problems.push(Problem::new(
            Code::ProgrammeUnsuitable,
            format!("{called} does not suit programme {}: {why}.", programme.programme),
            "A programme that meets its processing instructions is needed.",
            "Choose another programme, or leave it out of the load.",
        ));
    }
    problems
}

/// An undecided load by name.
pub(super) fn undecided(deciding: &mut Deciding, name: &Id) -> Option<Load> {
    let Some(load) = deciding.state.loads.get(name).map(|load| (**load).clone()) else {
        deciding.against(unknown("load", name.as_str()));
        return None;
    };
    deciding.touches(Some(load.last_at));
    if load.status == LoadStatus::Released || load.status == LoadStatus::Rejected {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Load {name} is already {}.", load.status.name()),
            "A load that is not decided is needed.",
            "Nothing needs to be done.",
        ));
    }
    Some(load)
}

pub(super) fn judge(deciding: &mut Deciding, it: &Judge) -> Option<What> {
    let load = undecided(deciding, &it.load)?;
    let at = deciding.at();
    let judged = match (it.bytes(), &it.readings) {
        (Some(bytes), _) => verdict::of_record(deciding, &load, bytes, it.ambient_kpa)?,
        (_, Some(readings)) => verdict::of_readings(deciding, &load, readings, at)?,
        _ => return None,
    };
    Some(What::LoadJudged(LoadJudged { load: it.load.clone(), judged }))
}

pub(super) fn record_indicator(deciding: &mut Deciding, it: &RecordIndicator) -> Option<What> {
    let Some(load) = deciding.state.loads.get(&it.load).cloned() else {
        deciding.against(unknown("load", it.load.as_str()));
        return None;
    };
    deciding.touches(Some(load.last_at));
    let growth = it.indicator == IndicatorKind::Biological && it.result == IndicatorResult::Fail;
    let failed = it.indicator == IndicatorKind::Chemical && it.result == IndicatorResult::Fail;
    let void = doubt::voids(deciding, &load, it);
    let recall = match (growth, failed, void) {
        (true, ..) => doubt::after_growth(deciding, &load),
        (_, true, _) => doubt::after_release(deciding, &load),
        (.., true) => doubt::after_void(deciding, &load),
        _ => None,
    };
    Some(What::IndicatorRecorded(IndicatorRecorded {
        load: it.load.clone(),
        indicator: it.indicator,
        result: it.result,
        lot: it.lot.clone(),
        machine_out: growth.then(|| load.machine.clone()),
        void,
        recall,
    }))
}

pub(super) fn release(deciding: &mut Deciding, it: &Release) -> Option<What> {
    if it.early.is_some() && deciding.asked.actor.role != Role::Lead {
        deciding.not_your_role = true;
    }
    let load = undecided(deciding, &it.load)?;
    let at = deciding.at();
    let by = deciding.doer();
    // A release is a decision of now, whatever time is told: a time ahead ends no aeration.
    let (others, pending) =
        release::weighed(deciding.state, &load, Some(by), it.dry, at.min(deciding.asked.now));
    if deciding.late() {
        let before = release::decided_before(deciding.state, &load, at, load.last_at);
        before.into_iter().for_each(|problem| deciding.against(problem));
    }
    let mut early = None;
    if let Some(asked) = &it.early {
        early = Some(exception::early(deciding, &load, asked, others, pending));
    } else {
        for problem in others.into_iter().chain(pending) {
            // A release is a decision on evidence, whenever it is told.
            deciding.against(problem.even_late());
        }
    }
    let parts = release::parts(deciding.state, &load, at);
    let (issued_to, robs) = issuing::straight_to(deciding, &load, &parts);
    let reason = deciding.set_aside(Code::SamePerson).map(|given| given.reason.0.clone());
    let due = exception::countersign_due(deciding.state, at);
    Some(What::LoadReleased(LoadReleased {
        load: it.load.clone(),
        dry: it.dry,
        dryness_not_stated: load.programme.method == Method::Steam && it.dry.is_none(),
        cool_at: release::cool_at(&load, at),
        parts,
        alone: reason.map(|reason| Alone { reason, due }),
        early,
        issued_to,
        robs,
    }))
}

pub(super) fn reject(deciding: &mut Deciding, it: &Reject) -> Option<What> {
    let load = undecided(deciding, &it.load)?;
    if deciding.late() {
        let before = release::decided_before(deciding.state, &load, deciding.at(), load.started_at);
        before.into_iter().for_each(|problem| deciding.against(problem));
    }
    reason_given(deciding, &it.reason);
    let before = match load.programme.step() {
        StepKind::Sterilised => StepKind::Packed,
        _ => StepKind::Cleaned,
    };
    let state = deciding.state;
    let inside = release::inside(state, &load);
    let parts = inside.iter().map(|asset| asset.back_before(state, before)).collect();
    Some(What::LoadRejected(LoadRejected {
        load: it.load.clone(),
        reason: it.reason.0.clone(),
        ran: it.ran.unwrap_or(true),
        parts,
    }))
}
