//! Makes an event so. The only code that changes what is true: the clerk, the rebuild and the tests all call it.

use std::sync::Arc;

use super::asset::{AssetAdded, Cause};
use super::event::{Event, Moved, What};
use super::hold::{HoldPlaced, HoldState};
use super::id::Id;
use super::load::{Indicator, Load, LoadPart, LoadStarted, LoadStatus};
use super::machine::{BackAfter, EMPTY_CYCLE, EMPTY_CYCLES_NEEDED, MachineTested};
use super::model::StepKind;
use super::set::{Seat, SetState};
use super::state::{
    Asset, Condition, HeldBy, InspectedAt, LastTest, Machine, Named, PackOf, RetiredAs, Seating, Stage,
    State, TurnBegan,
};
use super::step::Outcome;
use super::time::Time;

/// The entry around an event, as far as it matters for what is true.
#[derive(Clone, Debug)]
pub struct When<'a> {
    pub seq: u64,
    pub at: Time,
    pub recorded_at: Time,
    pub actor: &'a str,
}

/// Applies one event at its place in the ledger.
pub fn apply(state: &mut State, when: &When, event: &Event) {
    state.seq = when.seq;
    state.recorded_at = when.recorded_at;
    match &event.what {
        What::SiteFounded(_) | What::PolicySet(_) | What::ReserveSet(_) => site(state, &event.what),
        What::RouteDefined(_) | What::ModelDefined(_) | What::CountSheetDefined(_) => {
            catalogue(state, &event.what)
        }
        What::MachineDefined(_) | What::MachineOut(_) | What::MachineBack(_) | What::MachineTested(_) => {
            machine(state, when, &event.what);
        }
        What::LoadStarted(_)
        | What::LoadJudged(_)
        | What::IndicatorRecorded(_)
        | What::LoadReleased(_)
        | What::LoadRejected(_) => load(state, when, &event.what),
        What::AssetAdded(_)
        | What::PutAway(_)
        | What::Retired(_)
        | What::SetBuilt(_)
        | What::PutInSet(_)
        | What::TakenFromSet(_)
        | What::Replaced(_)
        | What::HoldPlaced(_)
        | What::HoldLifted(_) => {
            parts(state, when, &event.what);
        }
        What::StepRecorded(it) => {
            moves(state, when, &it.parts);
            touch_all(state, when, it.noted.iter().map(|noted| &noted.asset));
        }
        What::PackBroken(it) => {
            moves(state, when, &it.parts);
            touch_all(state, when, it.noted.iter().map(|noted| &noted.asset));
        }
        What::Inspected(it) => {
            for part in &it.parts {
                moves(state, when, part.moved.as_slice());
                let passed = part.outcome == Outcome::Passed;
                change(state, when, &part.asset, |asset| {
                    if passed {
                        asset.inspected = Some(InspectedAt {
                            at: when.at,
                            cycles: asset.cycles,
                        });
                    }
                });
            }
            it.holds.iter().for_each(|hold| place_hold(state, when, hold));
        }
    }
}

fn site(state: &mut State, what: &What) {
    state.changes.site = true;
    match what {
        What::SiteFounded(it) => {
            state.name = it.name.0.clone();
            // A zone that this release does not know would be a defect of the founding; days are then UTC.
            state.zone = it.timezone.parse().unwrap_or(chrono_tz::UTC);
        }
        What::PolicySet(it) => state.policy.set(it),
        What::ReserveSet(it) => {
            state.changes.reserves.insert(it.count_sheet.clone());
            state.reserves.insert(it.count_sheet.clone(), it.minimum);
        }
        _ => {}
    }
}

fn catalogue(state: &mut State, what: &What) {
    match what {
        What::RouteDefined(it) => {
            let mut versions = state
                .routes
                .get(&it.route)
                .map_or_else(Vec::new, |versions| (**versions).clone());
            versions.push(Arc::from(it.steps.as_slice()));
            state.routes.insert(it.route.clone(), Arc::new(versions));
            state.changes.routes.insert(it.route.clone());
        }
        What::ModelDefined(it) => {
            state.models.insert(it.model.clone(), Arc::new(it.clone()));
            state.changes.models.insert(it.model.clone());
        }
        What::CountSheetDefined(it) => {
            state.sheets.insert(it.count_sheet.clone(), Arc::new(it.clone()));
            state.changes.sheets.insert(it.count_sheet.clone());
        }
        _ => {}
    }
}

fn change_machine(state: &mut State, id: &Id, change: impl FnOnce(&mut Machine)) {
    if let Some(machine) = state.machines.get_mut(id) {
        change(Arc::make_mut(machine));
        state.changes.machines.insert(id.clone());
    }
}

fn machine(state: &mut State, when: &When, what: &What) {
    match what {
        What::MachineDefined(it) => {
            let before = state.machines.get(&it.machine).map(|machine| (**machine).clone());
            let machine = Machine {
                machine: it.machine.clone(),
                kind: it.kind,
                programmes: it.programmes.clone(),
                condition: before
                    .as_ref()
                    .map_or(Condition::InService, |before| before.condition.clone()),
                last_tests: before
                    .as_ref()
                    .map(|before| before.last_tests.clone())
                    .unwrap_or_default(),
                running: before.and_then(|before| before.running),
            };
            state.machines.insert(it.machine.clone(), Arc::new(machine));
            state.changes.machines.insert(it.machine.clone());
        }
        What::MachineOut(it) => change_machine(state, &it.machine, |machine| {
            machine.condition = Condition::Out {
                reason: it.reason.0.clone(),
                since: when.at,
            };
        }),
        What::MachineBack(it) => change_machine(state, &it.machine, |machine| {
            machine.condition = match it.after {
                BackAfter::Minor => Condition::InService,
                _ => Condition::Requalifying { good: 0 },
            };
        }),
        What::MachineTested(it) => {
            change_machine(state, &it.test.machine, |machine| tested(machine, when, it))
        }
        _ => {}
    }
}

fn tested(machine: &mut Machine, when: &When, it: &MachineTested) {
    let test = it.test.test.to_string();
    let newer = machine
        .last_tests
        .get(&test)
        .is_none_or(|last| last.at <= when.at);
    if newer {
        machine.last_tests.insert(
            test.clone(),
            LastTest {
                good: it.good,
                at: when.at,
            },
        );
    }
    if !it.good {
        let reason = format!("{} failed", test.replace('_', " "));
        machine.condition = Condition::Out {
            reason,
            since: when.at,
        };
    } else if let Condition::Requalifying { good } = machine.condition
        && test == EMPTY_CYCLE
    {
        machine.condition = match good + 1 {
            EMPTY_CYCLES_NEEDED.. => Condition::InService,
            good => Condition::Requalifying { good },
        };
    }
}

/// Changes a part and marks its row.
fn change(state: &mut State, when: &When, id: &Id, change: impl FnOnce(&mut Asset)) {
    if let Some(asset) = state.assets.get_mut(id) {
        let asset = Arc::make_mut(asset);
        change(asset);
        asset.last_at = asset.last_at.max(when.at);
        state.changes.assets.insert(id.clone());
    }
}

fn touch_all<'a>(state: &mut State, when: &When, ids: impl Iterator<Item = &'a Id>) {
    ids.for_each(|id| change(state, when, id, |_| {}));
}

fn moves(state: &mut State, when: &When, moved: &[Moved]) {
    moved.iter().for_each(|moved| move_one(state, when, moved));
}

fn move_one(state: &mut State, when: &When, moved: &Moved) {
    let Some(before) = state.assets.get(&moved.asset) else {
        return;
    };
    let new_turn = moved.turn > before.turn;
    let route = state.current_route(&before.model);
    let (route, route_version) = (route.0, route.1);
    change(state, when, &moved.asset, |asset| {
        if new_turn {
            asset.turn = moved.turn;
            asset.turn_began_at = when.at;
            asset.route = route.unwrap_or_else(|| asset.route.clone());
            asset.route_version = route_version.max(1);
        }
        asset.stage = moved.to;
        asset.next = moved.next;
        asset.in_load = None;
        asset.act_at = asset.act_at.max(when.at);
        if !moved.to.in_pack() {
            asset.pack = None;
            asset.load = None;
            asset.cool_at = None;
            asset.sterile_until = None;
        }
        if let (Some(pack), Some(seat)) = (&moved.pack, &asset.seat) {
            asset.pack = Some(PackOf {
                entry: when.seq,
                set: seat.set.clone(),
                pack: pack.clone(),
            });
        }
        if moved.sterile_until.is_some() {
            asset.sterile_until = moved.sterile_until;
        }
    });
    if new_turn {
        let began = TurnBegan {
            seq: when.seq,
            asset: moved.asset.clone(),
            turn: moved.turn,
            at: when.at,
        };
        state.changes.turns.push(began);
    }
}

fn seat(state: &mut State, when: &When, asset: &Id, seat: &Seat, joined: bool) {
    let key = (seat.line.clone(), seat.position);
    if let Some(set) = state.sets.get_mut(&seat.set) {
        let set = Arc::make_mut(set);
        if joined {
            set.seats.insert(key, asset.clone());
        } else {
            set.seats.remove(&key);
        }
        set.last_at = set.last_at.max(when.at);
        state.changes.sets.insert(seat.set.clone());
    }
    change(state, when, asset, |asset| {
        asset.seat = joined.then(|| seat.clone())
    });
    state.changes.seatings.push(Seating {
        seq: when.seq,
        asset: asset.clone(),
        set: seat.set.clone(),
        line: seat.line.clone(),
        position: seat.position,
        joined,
    });
}

fn parts(state: &mut State, when: &When, what: &What) {
    match what {
        What::AssetAdded(it) => add(state, when, it),
        What::PutAway(it) => {
            for part in &it.parts {
                change(state, when, &part.asset, |asset| {
                    asset.location = Some(it.location.clone())
                });
            }
        }
        What::Retired(it) => {
            it.seat
                .iter()
                .for_each(|taken| seat(state, when, &it.asset, taken, false));
            retire(state, when, &it.asset, it.cause, it.failure);
        }
        What::SetBuilt(it) => {
            let set = SetState {
                set: it.set.clone(),
                count_sheet: it.count_sheet.clone(),
                name: it.name.clone(),
                seats: Default::default(),
                last_at: when.at,
            };
            state.sets.insert(it.set.clone(), Arc::new(set));
            state.names.insert(it.set.to_string(), Named::Set(it.set.clone()));
            state.changes.sets.insert(it.set.clone());
        }
        What::PutInSet(it) => {
            moves(state, when, &it.moved);
            seat(state, when, &it.asset, &it.seat, true);
        }
        What::TakenFromSet(it) => {
            moves(state, when, &it.moved);
            seat(state, when, &it.asset, &it.seat, false);
        }
        What::Replaced(it) => {
            it.added.iter().for_each(|added| add(state, when, added));
            moves(state, when, &it.moved);
            seat(state, when, &it.old, &it.seat, false);
            retire(state, when, &it.old, it.cause, it.failure);
            seat(state, when, &it.new, &it.seat, true);
        }
        What::HoldPlaced(it) => place_hold(state, when, it),
        What::HoldLifted(it) => {
            for id in &it.assets {
                change(state, when, id, |asset| {
                    asset.holds.retain(|held| held.hold != it.hold)
                });
            }
            if let Some(hold) = state.holds.get_mut(&it.hold) {
                Arc::make_mut(hold).lifted_at = Some(when.at);
                state.changes.holds.insert(it.hold.clone());
            }
        }
        _ => {}
    }
}

fn add(state: &mut State, when: &When, it: &AssetAdded) {
    let asset = Asset {
        asset: it.asset.clone(),
        mark: it.mark.clone(),
        model: it.model.clone(),
        serial: it.serial.clone(),
        lot: it.lot.clone(),
        acquired: it.acquired,
        prior_cycles: it.prior_cycles,
        prior_uses: it.prior_uses,
        cost_cents: it.cost_cents,
        owner: it.owner,
        seat: None,
        location: None,
        turn: 1,
        turn_began_at: when.at,
        route: it.route.clone(),
        route_version: it.route_version,
        next: 0,
        stage: Stage::Soiled,
        pack: None,
        in_load: None,
        load: None,
        sterile_until: None,
        cool_at: None,
        cycles: it.prior_cycles,
        uses: it.prior_uses,
        holds: Vec::new(),
        in_repair: false,
        missing: false,
        retired: None,
        inspected: None,
        added_at: when.at,
        last_at: when.at,
        act_at: when.at,
    };
    let named = Named::Asset(it.asset.clone());
    state.names.insert(it.asset.to_string(), named.clone());
    if let Some(mark) = &it.mark {
        state.names.insert(mark.0.clone(), named);
    }
    state.assets.insert(it.asset.clone(), Arc::new(asset));
    state.changes.assets.insert(it.asset.clone());
    state.changes.turns.push(TurnBegan {
        seq: when.seq,
        asset: it.asset.clone(),
        turn: 1,
        at: when.at,
    });
}

fn retire(state: &mut State, when: &When, id: &Id, cause: Cause, failure: bool) {
    change(state, when, id, |asset| {
        asset.retired = Some(RetiredAs {
            cause,
            failure,
            at: when.at,
        });
        asset.missing = false;
        asset.pack = None;
    });
}

fn place_hold(state: &mut State, when: &When, it: &HoldPlaced) {
    let held = HeldBy {
        hold: it.hold.clone(),
        kind: it.kind,
    };
    for id in &it.assets {
        change(state, when, id, |asset| asset.holds.push(held.clone()));
    }
    let hold = HoldState {
        hold: it.hold.clone(),
        kind: it.kind,
        reason: it.reason.clone(),
        placed_at: when.at,
        placed_by: when.actor.to_string(),
        lifted_at: None,
    };
    state.holds.insert(it.hold.clone(), Arc::new(hold));
    state.changes.holds.insert(it.hold.clone());
}

fn change_load(state: &mut State, when: &When, id: &Id, change: impl FnOnce(&mut Load)) {
    if let Some(load) = state.loads.get_mut(id) {
        let load = Arc::make_mut(load);
        change(load);
        load.last_at = load.last_at.max(when.at);
        state.changes.loads.insert(id.clone());
    }
}

fn load(state: &mut State, when: &When, what: &What) {
    match what {
        What::LoadStarted(it) => start(state, when, it),
        What::LoadJudged(it) => change_load(state, when, &it.load, |load| {
            load.judged = Some(it.judged.clone());
            load.status = LoadStatus::Judged;
        }),
        What::IndicatorRecorded(it) => {
            change_load(state, when, &it.load, |load| {
                load.indicators.push(Indicator {
                    indicator: it.indicator,
                    result: it.result,
                    lot: it.lot.clone(),
                    at: when.at,
                    by: when.actor.to_string(),
                });
            });
            if let Some(machine) = &it.machine_out {
                let reason = format!("growth in the biological indicator of load {}", it.load);
                change_machine(state, machine, |m| {
                    m.condition = Condition::Out {
                        reason,
                        since: when.at,
                    }
                });
            }
        }
        What::LoadReleased(it) => {
            decide(state, when, &it.load, LoadStatus::Released, None);
            let sterilised = cycled(state, when, &it.load, true);
            moves(state, when, &it.parts);
            for moved in it
                .parts
                .iter()
                .filter(|moved| sterilised && moved.to == Stage::Ready)
            {
                change(state, when, &moved.asset, |asset| {
                    asset.load = Some(it.load.clone());
                    asset.cool_at = it.cool_at;
                });
            }
        }
        What::LoadRejected(it) => {
            decide(
                state,
                when,
                &it.load,
                LoadStatus::Rejected,
                Some(it.reason.clone()),
            );
            cycled(state, when, &it.load, it.ran);
            moves(state, when, &it.parts);
        }
        _ => {}
    }
}

fn start(state: &mut State, when: &When, it: &LoadStarted) {
    let load = Load {
        load: it.load.clone(),
        machine: it.machine.clone(),
        kind: it.kind,
        programme: it.programme.clone(),
        cycle_no: it.cycle_no.clone(),
        contents: it.contents.clone(),
        status: LoadStatus::Running,
        started_at: when.at,
        started_by: when.actor.to_string(),
        judged: None,
        indicators: Vec::new(),
        decided_by: None,
        decided_at: None,
        reason: None,
        last_at: when.at,
    };
    for part in &it.contents {
        change(state, when, &part.asset, |asset| {
            asset.in_load = Some(it.load.clone())
        });
    }
    change_machine(state, &it.machine, |machine| {
        machine.running = Some(it.load.clone())
    });
    state.loads.insert(it.load.clone(), Arc::new(load));
    state.changes.loads.insert(it.load.clone());
}

fn decide(state: &mut State, when: &When, id: &Id, status: LoadStatus, reason: Option<String>) {
    change_load(state, when, id, |load| {
        load.status = status;
        load.decided_by = Some(when.actor.to_string());
        load.decided_at = Some(when.at);
        load.reason = reason;
    });
    let machine = state.loads.get(id).map(|load| load.machine.clone());
    if let Some(machine) = machine {
        change_machine(state, &machine, |machine| {
            if machine.running.as_ref() == Some(id) {
                machine.running = None;
            }
        });
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
            change(state, when, asset, |asset| asset.cycles += 1);
        }
    }
    sterilises
}
