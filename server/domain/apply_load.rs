//! Makes true what happened to loads, and by them to the parts inside.

use std::sync::Arc;

use super::apply::{When, change_machine, moves, turn};
use super::event::{Moved, What};
use super::exception::{ReleasedAlone, ReleasedEarly};
use super::id::Id;
use super::load::{
    Indicator, IndicatorKind, IndicatorRecorded, Load, LoadJudged, LoadPart, LoadStarted, LoadStatus, Verdict,
};
use super::machine::AIR_REMOVAL;
use super::model::StepKind;
use super::release::{self, Spores};
use super::state::{Condition, Stage, State};

fn change_load(state: &mut State, when: &When, id: &Id, change: impl FnOnce(&mut Load)) {
    if let Some(load) = state.loads.get_mut(id) {
        let load = Arc::make_mut(load);
        change(load);
        load.last_at = load.last_at.max(when.at);
        state.changes.loads.insert(id.clone());
        match load.open_exception() {
            true => state.loads_with_open_exception.insert(id.clone()),
            false => state.loads_with_open_exception.remove(id),
        };
    }
}

/// Who is named in an early release is named no more.
pub(super) fn patient_erased(state: &mut State, when: &When, load: &Id) {
    change_load(state, when, load, |load| {
        if let Some(early) = &mut load.early {
            early.early.patient = None;
        }
    });
}

pub(super) fn load(state: &mut State, when: &When, what: &What) {
    match what {
        What::LoadStarted(it) => start(state, when, it),
        What::LoadJudged(it) => judged(state, when, it),
        What::IndicatorRecorded(it) => indicator(state, when, it),
        What::LoadReleased(it) => {
            decide(state, when, &it.load, LoadStatus::Released, None);
            change_load(state, when, &it.load, |load| {
                load.dry = it.dry;
                let alone = it.alone.clone();
                load.alone =
                    alone.map(|alone| Box::new(ReleasedAlone { alone, signed_by: None, signed_at: None }));
                let early = it.early.clone();
                load.early = early.map(|early| Box::new(ReleasedEarly { early, read_at: None }));
            });
            let sterilised = cycled(state, when, &it.load, true);
            moves(state, when, &it.parts);
            let sterile = |moved: &&Moved| matches!(moved.to, Stage::Ready | Stage::Issued);
            for moved in it.parts.iter().filter(|moved| sterilised && sterile(moved)) {
                turn(state, when, &moved.asset, |asset| {
                    asset.load = Some(it.load.clone());
                    asset.cool_at = it.cool_at;
                });
            }
            if let Some(case) = &it.issued_to {
                super::apply_case::straight_to(state, when, case, &it.parts);
            }
        }
        What::LoadRejected(it) => {
            decide(state, when, &it.load, LoadStatus::Rejected, Some(it.reason.clone()));
            change_load(state, when, &it.load, |load| load.did_not_run = !it.ran);
            cycled(state, when, &it.load, it.ran);
            moves(state, when, &it.parts);
        }
        What::Countersigned(it) => change_load(state, when, &it.load, |load| {
            if let Some(alone) = &mut load.alone {
                alone.signed_by = Some(when.actor.to_string());
                alone.signed_at = Some(when.at);
            }
        }),
        _ => {}
    }
}

fn judged(state: &mut State, when: &When, it: &LoadJudged) {
    let by = state.code(when.actor);
    change_load(state, when, &it.load, |load| {
        load.judged = Some(Verdict {
            entry: when.seq,
            by,
            passed: it.judged.passed,
            ended_at: it.judged.ended_at,
            record: it.judged.by.record_hash(),
            whole: Some(Arc::new(it.judged.clone())),
        });
        load.status = LoadStatus::Judged;
    });
    let machine = state.loads.get(&it.load).map(|load| load.machine.clone());
    // Its cycle is over: the machine is free, however long the load waits for an indicator and for its decision.
    machine.iter().for_each(|machine| no_longer_runs(state, machine, &it.load));
    if let Some(machine) = machine.filter(|_| !it.judged.passed) {
        super::testing::flag(state, when, &machine, &it.load);
    }
}

fn indicator(state: &mut State, when: &When, it: &IndicatorRecorded) {
    let by = state.code(when.actor);
    change_load(state, when, &it.load, |load| {
        load.indicators.push(Indicator {
            indicator: it.indicator,
            result: it.result,
            lot: it.lot.clone(),
            at: when.at,
            by,
        });
        load.biological_read(when.at);
    });
    let of_spores = it.indicator != IndicatorKind::Chemical;
    if let Some(load) = state.loads.get(&it.load).filter(|_| of_spores).cloned() {
        let passed = release::spores(&load) == Spores::Passed;
        change_machine(state, &load.machine, |machine| {
            machine.keep_biological(&load.load, load.started_at, passed);
        });
    }
    if let Some(machine) = &it.machine_out {
        let reason = format!("growth in the biological indicator of load {}", it.load);
        let load = Some(it.load.clone());
        let condition = Condition::Out { reason, since: when.at, test: None, load, good: None };
        change_machine(state, machine, |machine| {
            machine.becomes(condition, when.at);
            machine.needs_empty_cycles(when.at);
        });
    }
    it.recall.iter().for_each(|recall| super::apply_recall::begin(state, when, recall));
}

fn start(state: &mut State, when: &When, it: &LoadStarted) {
    let tested =
        state.machines.get(&it.machine).is_some_and(|machine| machine.passed_by(state, AIR_REMOVAL, when.at));
    let unsuited = it.contents.iter().filter(|part| {
        let model = state.assets.get(&part.asset).and_then(|asset| state.model(&asset.model));
        model.is_some_and(|model| it.programme.unsuitable(model).is_some())
    });
    let load = Load {
        tested,
        unsuited: unsuited.map(|part| part.asset.clone()).collect(),
        dry: None,
        alone: None,
        early: None,
        did_not_run: false,
        load: it.load.clone(),
        machine: it.machine.clone(),
        kind: it.kind,
        programme: state.shared_programme(&it.machine, &it.programme),
        cycle_no: it.cycle_no.clone(),
        contents: it.contents.clone(),
        packs: it.packs,
        immediate_use: it.immediate_use.clone(),
        status: LoadStatus::Running,
        started_at: when.at,
        started_by: state.code(when.actor),
        judged: None,
        indicators: Vec::new(),
        decided_by: None,
        decided_at: None,
        reason: None,
        entry: when.seq,
        last_at: when.at,
    };
    state.loads_of.add(&it.load, &it.contents);
    for part in &it.contents {
        let inside = !it.moved_on.contains(&part.asset);
        turn(state, when, &part.asset, |asset| {
            if inside {
                asset.in_load = Some(it.load.clone());
            }
        });
    }
    // A load told late does not hide the one that runs.
    change_machine(state, &it.machine, |machine| {
        machine.running.get_or_insert_with(|| it.load.clone());
    });
    state.loads.insert(it.load.clone(), Arc::new(load));
    state.changes.loads.insert(it.load.clone());
    it.recall.iter().for_each(|recall| super::apply_recall::joins(state, when, recall, it));
}

fn decide(state: &mut State, when: &When, id: &Id, status: LoadStatus, reason: Option<String>) {
    let by = state.code(when.actor);
    change_load(state, when, id, |load| {
        load.status = status;
        load.decided_by = Some(by);
        load.decided_at = Some(when.at);
        load.reason = reason;
        if let Some(judged) = &mut load.judged {
            judged.whole = None;
        }
    });
    let machine = state.loads.get(id).map(|load| load.machine.clone());
    if let Some(machine) = machine {
        no_longer_runs(state, &machine, id);
    }
}

fn no_longer_runs(state: &mut State, machine: &Id, load: &Id) {
    if state.machines.get(machine).is_some_and(|machine| machine.running.as_ref() == Some(load)) {
        change_machine(state, machine, |machine| machine.running = None);
    }
}

/// Counts a steriliser cycle for everything that was in the chamber; says whether the load was one that sterilises.
fn cycled(state: &mut State, when: &When, id: &Id, ran: bool) -> bool {
    let Some(load) = state.loads.get(id).cloned() else {
        return false;
    };
    let sterilises = load.programme.step() == StepKind::Sterilised;
    if sterilises && ran {
        for LoadPart { asset, .. } in &load.contents {
            turn(state, when, asset, |asset| {
                asset.cycles += 1;
                // A load of before the last inspection, told after it: the part was that much older then.
                if let Some(inspected) =
                    asset.inspected.as_mut().filter(|it| (load.started_at, load.entry) < (it.at, it.entry))
                {
                    inspected.cycles += 1;
                }
            });
        }
    }
    sterilises
}
