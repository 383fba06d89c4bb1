//! The demo's present moment: whatever the hour is, there is something to do, and something on somebody's mind.

use std::sync::Arc;

use serde_json::{Value, json};

use super::{DemoError, Writer};
use crate::domain::hold::HoldKind;
use crate::domain::issuing::is_ready;
use crate::domain::machine::{AIR_REMOVAL, MachineKind};
use crate::domain::person::Role;
use crate::domain::readiness::{SetReadiness, set_status};
use crate::domain::set::SetState;
use crate::domain::simulate::catalogue::STEAM;
use crate::domain::state::{Asset, Condition, State};
use crate::domain::time::{MINUTE, Time};

/// A set that is kept for a case this far ahead is there again by then.
const AHEAD_MINUTES: i64 = 8 * 60;

/// Sets that are ready and were left alone for so long, the least needed last: kept for no case, then for a distant one.
fn idle(state: &State, now: Time, minutes: i64) -> Vec<Arc<SetState>> {
    let before = Time(now.0 - minutes * MINUTE);
    let needed = |set: &SetState| {
        state.open_cases().filter(|case| case.promised.contains(&set.set)).map(|case| case.start).min()
    };
    let soon = now.plus_minutes(AHEAD_MINUTES);
    let alone = |set: &Arc<SetState>| {
        is_ready(set_status(state, set, now).status)
            && set.count_sheet.as_str() != "camera"
            && state.members(set).all(|asset| asset.last_at < before)
            && needed(set).is_none_or(|start| start > soon)
    };
    let mut all: Vec<Arc<SetState>> = state.sets.values().filter(|set| alone(set)).cloned().collect();
    all.sort_by_key(|set| needed(set).map_or(Time(i64::MAX), |start| start));
    all
}

pub fn write(writer: &mut Writer, now: Time) -> Result<(), DemoError> {
    let at = |minutes: i64| Time(now.0 - minutes * MINUTE);
    if writer.paper.state.machines.values().all(|machine| machine.running.is_none()) {
        running(writer, now)?;
    }
    let looked_for =
        writer.paper.state.missing.values().any(|it| it.over_at.is_none() && it.outcome.is_none());
    let state = &writer.paper.state;
    let lacks = |set: &Arc<SetState>| {
        matches!(set_status(state, set, now).status, SetReadiness::ReadyShort | SetReadiness::NotReady)
    };
    let short = state.sets.values().any(lacks);
    if !(looked_for && short)
        && let Some((set, cap)) = some_cap(&writer.paper.state, now)
    {
        let missed = json!({"do": "report_missing", "scan": set, "asset": cap, "note": "not in the basket at unpacking"});
        writer.give(Role::Desk, at(12), missed)?;
    }
    let held = |asset: &Arc<Asset>| asset.retired.is_none() && asset.has_hold(HoldKind::Quality);
    if !writer.paper.state.assets.values().any(held)
        && let Some(scope) = spare_scope(&writer.paper.state)
    {
        let hold = json!({"do": "hold", "kind": "quality", "scan": scope, "reason": "image dim, fibres to be looked at"});
        writer.give(Role::Charge, at(9), hold)?;
    }
    if writer.paper.state.due(now).iter().all(|due| due.asset.is_none()) {
        // Whatever else was inspected in time, one spare lay in a cupboard too long.
        let spare = json!({"do": "add_asset", "asset": "T-90001", "model": "scope-4",
                           "late": {"cause": "forgotten"}, "note": "found in a cupboard"});
        writer.give(Role::Lead, at(70 * 24 * 60), spare)?;
    }
    visitors(writer, now)?;
    cases(writer, now)
}

/// Something on loan, something of another site at the sink, and a lot on the shelf that is near its date.
fn visitors(writer: &mut Writer, now: Time) -> Result<(), DemoError> {
    let at = |minutes: i64| Time(now.0 - minutes * MINUTE);
    let zone = writer.paper.state.zone;
    let day = |days: i64| now.plus_minutes(days * 24 * 60).date(zone);
    if !writer.paper.state.loans.values().any(|loan| loan.is_open(&writer.paper.state)) {
        let loan = json!({"do": "arrive", "kind": "loan", "from": "Northmoor instrument library", "due_back": day(1),
            "parts": [{"model": "barrel-9", "mark": "NM-20417", "prior_cycles": 61}, {"model": "barrel-9", "mark": "NM-20418"}],
            "pieces": 2, "instructions": "edition 3, 2024", "condition": "clean, one box", "labelled_decontaminated": true});
        writer.give(Role::Desk, at(180), loan)?;
    }
    if writer.paper.state.open_strangers().is_empty() {
        let stranger = json!({"do": "receive_stranger", "kind": "other_site", "looks": "Suction tube, bent, green band",
                              "owner": "Eastgate Hospital"});
        writer.give(Role::Desk, at(95), stranger)?;
    }
    let lot = json!({"do": "stock_in", "model": "mouth-guard", "lot": "MG-0417", "expires": day(20), "quantity": 12});
    writer.give(Role::Desk, at(60), lot)
}

/// A cap of a set that nobody keeps for a case.
fn some_cap(state: &State, now: Time) -> Option<(String, String)> {
    let before = Time(now.0 - 15 * MINUTE);
    let cap = |set: &&Arc<SetState>| {
        let caps = state.members(set).filter(|asset| asset.model.as_str().starts_with("cap"));
        let mut quiet = caps.filter(|asset| {
            let here = !asset.stage.is_out() && asset.in_load.is_none();
            here && asset.counts() && asset.last_at < before
        });
        quiet.next().map(|asset| asset.asset.to_string())
    };
    // Of a ready set, so that it is seen to be short; and rather of one that has another beside it.
    let rank = |set: &&Arc<SetState>| {
        let ready = is_ready(set_status(state, set, now).status);
        (!ready, state.ready_sets(&set.count_sheet, now) < 2)
    };
    let mut sets: Vec<&Arc<SetState>> = state.sets.values().collect();
    sets.sort_by_key(rank);
    sets.iter().find_map(|set| Some((set.set.to_string(), cap(set)?)))
}

fn spare_scope(state: &State) -> Option<String> {
    let spare = state
        .assets
        .values()
        .find(|asset| asset.model.as_str().starts_with("scope") && asset.seat.is_none() && asset.counts());
    spare.map(|asset| asset.asset.to_string())
}

/// A tray was dropped in the store, packed anew, and is in the steriliser now.
fn running(writer: &mut Writer, now: Time) -> Result<(), DemoError> {
    let at = |minutes: i64| Time(now.0 - minutes * MINUTE);
    let state = &writer.paper.state;
    let machine = state.machines.values().find(|machine| {
        machine.kind == MachineKind::Steriliser
            && machine.condition == Condition::InService
            && machine.programmes.iter().any(|programme| programme.programme.as_str() == STEAM)
    });
    // What has reached its maker's limit is not packed again.
    let at_limit = |asset: &Arc<Asset>| {
        let limits = state.model(&asset.model).map(|model| &model.limits);
        let reached = |limit: Option<u32>, found: u32| limit.is_some_and(|limit| found >= limit);
        limits.is_some_and(|it| reached(it.max_cycles, asset.cycles) || reached(it.max_uses, asset.uses))
    };
    let mut packable = idle(state, now, 70);
    packable.retain(|set| !state.members(set).any(at_limit));
    let set = packable.pop();
    let tray = set.as_ref().and_then(|set| {
        state.members(set).find(|asset| asset.pack.as_ref().is_some_and(|pack| pack.pack == "tray"))
    });
    let (Some(machine), Some(set), Some(tray)) = (machine, &set, tray) else { return Ok(()) };
    let (machine, set, tray) = (machine.machine.clone(), set.set.clone(), tray.asset.clone());
    let all: [(i64, Value); 4] = [
        (60, json!({"do": "pack_broken", "scan": tray, "why": "dropped"})),
        (48, json!({"do": "record_step", "step": "packed", "scan": set, "packaging": "wrap"})),
        (22, json!({"do": "record_machine_test", "machine": machine, "test": AIR_REMOVAL, "passed": true})),
        (22, json!({"do": "start_load", "machine": machine, "programme": STEAM, "scan": set})),
    ];
    for (minutes, command) in all {
        writer.give(Role::Desk, at(minutes), command)?;
    }
    Ok(())
}

/// Cases later today and tomorrow, beside those that are planned already, with sets kept for some of them.
fn cases(writer: &mut Writer, now: Time) -> Result<(), DemoError> {
    // Of the wide tracheoscope nobody has recorded yet whether the head goes on it.
    let later = [
        (75, "adult", "jet_open", "8"),
        (195, "child", "assisted", "4"),
        (24 * 60, "tracheal", "controlled_closed", "12"),
    ];
    for (n, (minutes, sheet, technique, barrel)) in later.into_iter().enumerate() {
        // On the next quarter of an hour.
        let quarter = 15 * MINUTE;
        let start = Time((now.0 + minutes * MINUTE) / quarter * quarter + quarter);
        let case = format!("list-{}", n + 1);
        let plan = json!({"do": "plan_case", "case": case, "start": start, "minutes": 60, "room": format!("room {}", n + 1),
                          "technique": technique, "needs": [sheet, "camera"], "patient": format!("P-9000{n}"),
                          "configuration": {"barrel_nominal": barrel, "together": ["telescope", "forceps"],
                                            "fall_back": "controlled_closed"}});
        writer.give(Role::Charge, Time(now.0 - 8 * MINUTE), plan)?;
        let state = &writer.paper.state;
        let Some(known) = state.cases.get(case.as_str()) else { continue };
        let free = state.sets.values().find(|set| {
            set.count_sheet.as_str() == sheet
                && is_ready(set_status(state, set, now).status)
                && state.taken_elsewhere(set, known).is_empty()
        });
        if let Some(set) = free.map(|set| set.set.clone()) {
            let keep = json!({"do": "promise", "case": case, "set": set});
            writer.give(Role::Charge, Time(now.0 - 7 * MINUTE), keep)?;
        }
    }
    alerts(writer, now)
}

/// What the house wants to be told of.
fn alerts(writer: &mut Writer, now: Time) -> Result<(), DemoError> {
    for rule in [
        json!({"do": "set_alert", "tells": ["charge", "lead"], "about": "case", "before": "12:00"}),
        json!({"do": "set_alert", "tells": ["charge", "lead"], "about": "reserve"}),
        json!({"do": "set_alert", "tells": ["charge", "clinician", "lead"], "about": "missing"}),
        json!({"do": "set_alert", "tells": ["lead", "desk"], "about": "load", "minutes": 45}),
    ] {
        writer.give(Role::Charge, Time(now.0 - 6 * MINUTE), rule)?;
    }
    Ok(())
}
