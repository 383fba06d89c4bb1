//! Makes an event so. The only code that changes what is true: the clerk, the rebuild and the tests all call it.

use super::apply_case::{aside, cases};
use super::apply_load::load;
use super::apply_missing::found_out;
use super::apply_parts::parts;
use std::sync::Arc;

use super::broken::{BrokenPack, packs_of};
use super::correct::Corrected;
use super::event::{Event, Moved, Noted, Thing, ToldLate, What};
use super::hold::HoldKind;
use super::id::Id;
use super::lifetime::Clock;
use super::machine::BackAfter;
use super::state::{Asset, Condition, InspectedAt, Machine, PackOf, Stage, State, TurnBegan};
use super::step::{Inspected, Outcome, PackBrokenDone, StepRecorded};
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
    let seen = super::pace::seen(state, when, event);
    let doer = event.beside.late.as_ref().and_then(ToldLate::doer);
    apply_what(state, &When { actor: doer.unwrap_or(when.actor), ..when.clone() }, &event.what);
    super::paper::entered(state, when, &event.beside);
    super::request_stands::lapse(state, when);
    super::pace::keep(state, when, seen);
}

fn apply_what(state: &mut State, when: &When, what: &What) {
    match what {
        What::SiteFounded(_) | What::PolicySet(_) | What::ReserveSet(_) => site(state, what),
        What::RouteDefined(_) | What::CountSheetDefined(_) | What::ModelDefined(_) => {
            catalogue(state, when, what)
        }
        What::MachineDefined(_) | What::MachineOut(_) => machine(state, when, what),
        What::MachineBack(_) | What::MachineTested(_) => machine(state, when, what),
        What::FlagCleared(_) | What::RecordFormDefined(_) => machine(state, when, what),
        What::LoadStarted(_) | What::LoadJudged(_) => load(state, when, what),
        What::IndicatorRecorded(_) | What::LoadReleased(_) => load(state, when, what),
        What::LoadRejected(_) | What::Countersigned(_) => load(state, when, what),
        What::ModelCostsSet(_) | What::LifeLimitSet(_) => super::upkeep::decided(state, when, what),
        What::InspectionRequested(it) => super::inspect_next::requested(state, when, it),
        What::AssetMeasured(it) => super::measuring::measured(state, when, it),
        What::MarkGiven(it) => super::marking::given(state, when, it),
        What::FitConfirmed(it) => super::tried::confirmed(state, when, it),
        What::AssetAdded(_) | What::PutAway(_) | What::Retired(_) => parts(state, when, what),
        What::SetBuilt(_) | What::PutInSet(_) | What::TakenFromSet(_) => parts(state, when, what),
        What::Replaced(_) | What::HoldPlaced(_) | What::HoldLifted(_) => parts(state, when, what),
        What::Dedicated(_) => parts(state, when, what),
        What::Recalled(_) | What::RecallNarrowed(_) | What::RecallAnswered(_) | What::RecallClosed(_) => {
            super::apply_recall::recalls(state, when, what)
        }
        What::Corrected(it) => corrected(state, when, it),
        What::CasePlanned(_) | What::CaseChanged(_) => cases(state, when, what),
        What::CaseCancelled(_) | What::Promised(_) => cases(state, when, what),
        What::PromiseWithdrawn(_) | What::PatientErased(_) => cases(state, when, what),
        What::ConfigurationChosen(_) | What::Issued(_) => cases(state, when, what),
        What::Opened(_) | What::Used(_) | What::CountClosed(_) => cases(state, when, what),
        What::Checked(_) | What::Counted(_) => found_out(state, when, what),
        What::MissingReported(_) | What::Found(_) => found_out(state, when, what),
        What::MissingClosed(_) | What::LineClosed(_) => found_out(state, when, what),
        What::FindingReported(_) | What::FindingWithdrawn(_) => found_out(state, when, what),
        What::PhotoAdded(_) => found_out(state, when, what),
        What::SentToRepair(_) | What::BackFromRepair(_) => aside(state, when, what),
        What::LookBackOpened(_) | What::LookBackClosed(_) => aside(state, when, what),
        What::ProcedureMapped(_) | What::ProceduresApplied(_) => said(state, when, what),
        What::ScheduleKept(_) | What::ScheduleSettled(_) => said(state, when, what),
        What::RequestSent(_) | What::RequestAnswered(_) => said(state, when, what),
        What::RequestWithdrawn(_) | What::SheetsPrinted(_) => said(state, when, what),
        What::SheetVoided(_) | What::SheetFinished(_) => said(state, when, what),
        What::WrongThingReported(_) | What::WrongThingSettled(_) => said(state, when, what),
        What::AlertSet(_) | What::AlertDropped(_) | What::TakenOver(_) => said(state, when, what),
        What::ExceptionsReviewed(_) => said(state, when, what),
        What::Arrived(_) | What::LoanLeft(_) => visits(state, when, what),
        What::StrangerReceived(_) | What::OwnerTold(_) => visits(state, when, what),
        What::StrangerSettled(_) | What::IdentityDoubted(_) => visits(state, when, what),
        What::IdentitySettled(_) | What::StockTakenIn(_) => visits(state, when, what),
        What::StockTakenOut(_) | What::StockUsed(_) => visits(state, when, what),
        What::StockMinimumSet(_) => visits(state, when, what),
        What::StepRecorded(it) => stepped(state, when, it),
        What::PackBroken(it) => pack_broken(state, when, it),
        What::Inspected(it) => inspected(state, when, it),
    }
}

/// What was said about the work: on a schedule, a board, a sheet of paper, of an entry, or by a signature.
fn said(state: &mut State, when: &When, what: &What) {
    super::procedure::applied(state, when, what);
    super::schedule_line::applied(state, when, what);
    super::request::applied(state, when, what);
    super::paper::applied(state, when, what);
    super::wrong_thing::applied(state, when, what);
    super::alert::applied(state, when, what);
    super::signing::applied(state, when, what);
}

/// What is not the house's own, or not a part: loans, strangers, doubts, the shelf.
fn visits(state: &mut State, when: &When, what: &What) {
    super::loaning::applied(state, when, what);
    super::strangers::applied(state, when, what);
    super::shelving::applied(state, when, what);
}

fn stepped(state: &mut State, when: &When, it: &StepRecorded) {
    for out in &it.taken_out {
        super::apply_parts::seat(state, when, &out.asset, &out.seat, false);
    }
    moved_or_noted(state, when, &it.parts, &it.noted);
    packed_in(state, when, it);
    for held in &it.held {
        super::apply_parts::hold_on(state, when, &held.hold, HoldKind::Recall, &held.asset);
    }
}

fn inspected(state: &mut State, when: &When, it: &Inspected) {
    for part in &it.parts {
        moves(state, when, part.moved.as_slice());
        let passed = part.outcome == Outcome::Passed;
        let cycles = state
            .assets
            .get(&part.asset)
            .map(|asset| state.age_then(asset, Clock::Cycles, (when.at, when.seq)));
        turn(state, when, &part.asset, |asset| {
            // One told late does not hide a newer one.
            let newest = asset.inspected.as_ref().is_none_or(|last| last.at <= when.at);
            if passed && newest {
                asset.inspected = Some(InspectedAt {
                    at: when.at,
                    cycles: cycles.unwrap_or(asset.cycles),
                    entry: when.seq,
                });
            }
        });
        super::inspect_next::looked_at(state, when, part);
    }
    super::inspection_values::keep(state, when, it);
    it.holds.iter().for_each(|hold| super::apply_parts::place_hold(state, when, hold));
}

/// Takes an entry back, and does instead what it should have said. Whatever it touched is touched by this entry.
pub(super) fn corrected(state: &mut State, when: &When, it: &Corrected) {
    super::undo::undo(state, it.entry, &it.undone.0);
    let things = super::history::things(&it.undone.0);
    touched(state, when, &things);
    if let Some(instead) = &it.instead {
        told_of(state, when, it.at.unwrap_or(when.at), &instead.0);
    }
}

/// Makes an act so that an entry tells as of another time than its own.
pub(super) fn told_of(state: &mut State, when: &When, at: Time, what: &What) {
    apply_what(state, &When { at, ..when.clone() }, what);
}

/// Names this entry as the last of each thing.
fn touched(state: &mut State, when: &When, things: &[Thing]) {
    for thing in things {
        let Some(id) = Id::new(&thing.name) else { continue };
        match thing.kind {
            "asset" => change(state, when, &id, |_| {}),
            "case" => super::apply_case::change_case(state, when, &id, |_| {}),
            _ => {}
        }
    }
}

/// What an act moved, with what it opened at a case by that, and what it only named.
fn moved_or_noted(state: &mut State, when: &When, parts: &[Moved], noted: &[Noted]) {
    moves(state, when, parts);
    super::apply_case::opened_otherwise(state, when, parts);
    touch_all(state, when, noted.iter().map(|noted| &noted.asset));
}

/// Keeps with each part of a pack what it is wrapped in.
fn packed_in(state: &mut State, when: &When, it: &StepRecorded) {
    if it.packaging.is_some() {
        for part in it.parts.iter().filter(|part| part.to.in_pack()) {
            turn(state, when, &part.asset, |asset| asset.packaging = it.packaging.clone());
        }
    }
}

/// Opens the packs and keeps what is counted of them. An entry of an earlier form tells only what moved: the rest
/// follows from the parts as they stand before it.
fn pack_broken(state: &mut State, when: &When, it: &PackBrokenDone) {
    let packs = if it.packs.is_empty() { packs_of(state, &it.parts) } else { it.packs.clone() };
    moved_or_noted(state, when, &it.parts, &it.noted);
    for (n, facts) in packs.into_iter().enumerate() {
        let Some(broken) = Id::new(&format!("{}.{}", when.seq, n + 1)) else { continue };
        let (entry, at, by, why) = (when.seq, when.at, when.actor.to_string(), it.why);
        let kept = BrokenPack { broken: broken.clone(), entry, at, by, why, facts, taken_back: false };
        state.broken.insert(broken.clone(), Arc::new(kept));
        state.changes.broken.insert(broken);
    }
}

fn site(state: &mut State, what: &What) {
    state.changes.site = true;
    match what {
        What::SiteFounded(it) => {
            state.name = it.name.0.clone();
            state.practice = it.practice;
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

pub(super) fn catalogue(state: &mut State, when: &When, what: &What) {
    match what {
        What::RouteDefined(it) => {
            let mut versions =
                state.routes.get(&it.route).map_or_else(Vec::new, |versions| (**versions).clone());
            versions.push(Arc::from(it.steps.as_slice()));
            state.routes.insert(it.route.clone(), Arc::new(versions));
            state.changes.routes.insert(it.route.clone());
        }
        What::ModelDefined(it) => {
            if !state.models.get(&it.model).is_some_and(|before| super::fhir::told_alike(before, it)) {
                state.models_told.insert(it.model.clone(), when.seq);
            }
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

pub(super) fn change_machine(state: &mut State, id: &Id, change: impl FnOnce(&mut Machine)) {
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
                programmes: it.programmes.iter().cloned().map(Arc::new).collect(),
                condition: before.as_ref().map_or(Condition::InService, |before| before.condition.clone()),
                last_tests: before.as_ref().map(|before| before.last_tests.clone()).unwrap_or_default(),
                form: before.as_ref().and_then(|before| before.form.clone()),
                flag: before.as_ref().and_then(|before| before.flag.clone()),
                tests: before.as_ref().map(|before| before.tests.clone()).unwrap_or_default(),
                biologicals: before.as_ref().map(|before| before.biologicals.clone()).unwrap_or_default(),
                empty_cycles_needed: before.as_ref().is_some_and(|before| before.empty_cycles_needed),
                row_since: before.as_ref().and_then(|before| before.row_since),
                not_in_service_since: before.as_ref().and_then(|before| before.not_in_service_since),
                running: before.and_then(|before| before.running),
            };
            state.machines.insert(it.machine.clone(), Arc::new(machine));
            state.changes.machines.insert(it.machine.clone());
        }
        What::MachineOut(it) => change_machine(state, &it.machine, |machine| {
            machine.becomes(Condition::out(it.reason.0.clone(), when.at), when.at);
            machine.flag = None;
        }),
        What::MachineBack(it) => change_machine(state, &it.machine, |machine| {
            if machine.went_out_since(when.at, when.recorded_at) {
                return;
            }
            let condition = match it.after {
                BackAfter::Minor => Condition::InService,
                BackAfter::Installed | BackAfter::Relocated | BackAfter::MajorRepair | BackAfter::Failure => {
                    machine.needs_empty_cycles(when.at);
                    Condition::Requalifying { good: 0 }
                }
            };
            machine.becomes(condition, when.at);
            machine.flag = None;
        }),
        What::MachineTested(it) => super::testing::tested(state, when, it),
        What::RecordFormDefined(it) => {
            change_machine(state, &it.machine, |machine| machine.form = it.form.clone())
        }
        What::FlagCleared(it) => change_machine(state, &it.machine, |machine| machine.flag = None),
        _ => {}
    }
}

/// Changes what a part is, where it belongs, or what keeps it: marks both its rows.
pub(super) fn change(state: &mut State, when: &When, id: &Id, change: impl FnOnce(&mut Asset)) {
    state.changes.assets.insert(id.clone());
    turn(state, when, id, change);
}

/// Changes where a part stands in its turn, and no more: most acts do only that, so it has a row of its own.
pub(super) fn turn(state: &mut State, when: &When, id: &Id, change: impl FnOnce(&mut Asset)) {
    if let Some(asset) = state.assets.get_mut(id) {
        let asset = Arc::make_mut(asset);
        change(asset);
        asset.last_at = asset.last_at.max(when.at);
        asset.last_entry = when.seq;
        state.changes.turned.insert(id.clone());
    }
}

pub(super) fn touch_all<'a>(state: &mut State, when: &When, ids: impl Iterator<Item = &'a Id>) {
    ids.for_each(|id| turn(state, when, id, |_| {}));
}

pub(super) fn moves(state: &mut State, when: &When, moved: &[Moved]) {
    moved.iter().for_each(|moved| move_one(state, when, moved));
}

fn move_one(state: &mut State, when: &When, moved: &Moved) {
    let Some(before) = state.assets.get(&moved.asset) else {
        return;
    };
    let new_turn = moved.turn > before.turn;
    let route = state.current_route(&before.model);
    let (route, route_version) = (route.0, route.1);
    let (in_use, last_act) = (before.stage == Stage::InUse, before.act_at);
    turn(state, when, &moved.asset, |asset| {
        if new_turn {
            asset.turn = moved.turn;
            asset.turn_began_at = when.at;
            asset.route = route.unwrap_or_else(|| asset.route.clone());
            asset.route_version = route_version.max(1);
            // Received before anybody counted it back: it was last in use when it was last opened or used.
            let at_once = !(in_use && moved.to >= Stage::Received);
            asset.soiled_since = Some(if at_once { when.at } else { last_act });
        }
        if moved.to >= Stage::Cleaned {
            asset.soiled_since = None;
        }
        asset.stage = moved.to;
        asset.next = moved.next;
        asset.in_load = None;
        asset.act_at = asset.act_at.max(when.at);
        if !moved.to.in_pack() {
            asset.pack = None;
            asset.packaging = None;
            asset.load = None;
            asset.cool_at = None;
            asset.sterile_until = None;
        }
        if let (Some(pack), Some(seat)) = (&moved.pack, &asset.seat) {
            asset.pack = Some(PackOf { entry: when.seq, set: seat.set.clone(), pack: pack.clone() });
        }
        if moved.sterile_until.is_some() {
            asset.sterile_until = moved.sterile_until;
        }
    });
    if new_turn {
        let began = TurnBegan { seq: when.seq, asset: moved.asset.clone(), turn: moved.turn, at: when.at };
        state.changes.turns.insert((began.asset.clone(), began.turn), began);
    }
}
