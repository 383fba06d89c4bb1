//! Commands as the people of the simulated hospital give them.

use crate::domain::asset::{AddAsset, Cause, PutAway, Retire};
use crate::domain::case::{CancelCase, ChangeCase, CloseCount, Issue, Open, PlanCase, Promise, Risk, Use};
use crate::domain::check::{CheckResult, RecordCheck, ToldLine};
use crate::domain::command::{
    Act, Asset, Case, Codes, Finding, Hold, Load, LookBack, Machine, Missing, Override, Repair, Set, Step,
};
use crate::domain::count::{Moment, RecordCount};
use crate::domain::exception::Countersign;
use crate::domain::finding::{ReportFinding, Severity};
use crate::domain::hold::{HoldKind, Lift, Place};
use crate::domain::id::Id;
use crate::domain::load::{
    CycleNo, IndicatorKind, IndicatorResult, Judge, Readings, RecordIndicator, Reject, Release, Start,
};
use crate::domain::lookback::{CloseLookBack, OpenLookBack, Origin};
use crate::domain::machine::{AIR_REMOVAL, BackAfter, ClearFlag, MachineBack, MachineOut, RecordMachineTest};
use crate::domain::missing::{CloseMissing, Found, ReportMissing, SearchOutcome};
use crate::domain::refusal::Code;
use crate::domain::repair::{BackFromRepair, SendToRepair};
use crate::domain::route::StepKind;
use crate::domain::set::{NewModel, NewPart, PutInSet, Replace, Seat};
use crate::domain::solution::{Solution, StrengthTest};
use crate::domain::step::{Broken, PackBroken, RecordStep};
use crate::domain::text::{Line, Quantity, Scan, Text};
use crate::domain::time::{Date, Time};

pub fn line(text: impl Into<String>) -> Line {
    Line(text.into())
}

pub fn text(words: &str) -> Text {
    Text(words.into())
}

pub fn scan<'a>(ids: impl IntoIterator<Item = &'a Id>) -> Scan {
    Scan(ids.into_iter().map(Id::to_string).collect())
}

pub fn step(step: StepKind, set: &Id) -> Act {
    let (scan, without) = (scan([set]), Vec::new());
    Act::Step(Step::RecordStep(RecordStep {
        step,
        scan,
        without,
        packaging: None,
        solution: None,
        delayed: false,
    }))
}

/// In a solution of the week, for the time of its invented label.
pub fn by_hand(set: &Id, day: Date) -> Act {
    let solution = Solution {
        product: Some(line("high-level disinfectant")),
        lot: line(format!("D-{}", day.format("%G-%V"))),
        use_by: day.checked_add_days(chrono::Days::new(7)).unwrap_or(day),
        strength_test: StrengthTest::Pass,
        strength_value: None,
        contact_s: Quantity(900.into()),
        temp_c: Quantity(21.into()),
    };
    let (step, scan, without) = (StepKind::Disinfected, scan([set]), Vec::new());
    let solution = Some(Box::new(solution));
    Act::Step(Step::RecordStep(RecordStep { step, scan, without, packaging: None, solution, delayed: false }))
}

pub fn pack_in(set: &Id, packaging: &str) -> Act {
    let (step, scan, packaging) = (StepKind::Packed, scan([set]), Some(line(packaging)));
    Act::Step(Step::RecordStep(RecordStep {
        step,
        scan,
        without: Vec::new(),
        packaging,
        solution: None,
        delayed: false,
    }))
}

pub fn pack_broken(what: &Id, why: Broken) -> Act {
    Act::Step(Step::PackBroken(PackBroken { scan: scan([what]), why }))
}

pub fn put_away(sets: &[Id], location: &str) -> Act {
    Act::Asset(Asset::PutAway(PutAway { scan: scan(sets), location: line(location) }))
}

pub fn start(load: &Id, machine: &Id, programme: &Id, cycle: u64, sets: &[Id]) -> Act {
    Act::Load(Load::Start(Start {
        load: Some(load.clone()),
        machine: machine.clone(),
        programme: programme.clone(),
        cycle_no: Some(CycleNo(cycle.to_string())),
        scan: scan(sets),
        immediate_use: None,
    }))
}

pub fn judge(load: &Id, record: Option<String>, readings: Option<Readings>) -> Act {
    Act::Load(Load::Judge(Judge { load: load.clone(), record, raw: None, ambient_kpa: None, readings }))
}

pub fn readings(min_c: i64, max_c: i64, hold_s: i64, complete: bool) -> Readings {
    Readings {
        min_c: Quantity(min_c.into()),
        max_c: Quantity(max_c.into()),
        hold_s: Some(Quantity(hold_s.into())),
        a0_s: None,
        complete,
        second_reader: line("lead"),
        photo: None,
    }
}

pub fn indicator(load: &Id, indicator: IndicatorKind, passed: bool) -> Act {
    let result = if passed { IndicatorResult::Pass } else { IndicatorResult::Fail };
    Act::Load(Load::RecordIndicator(RecordIndicator { load: load.clone(), indicator, result, lot: None }))
}

pub fn release(load: &Id) -> Act {
    Act::Load(Load::Release(Release { load: load.clone(), dry: Some(true), early: None }))
}

pub fn reject(load: &Id, reason: &str) -> Act {
    Act::Load(Load::Reject(Reject { load: load.clone(), reason: text(reason), ran: None }))
}

pub fn machine_test(machine: &Id, test: &str, passed: bool) -> Option<Act> {
    let test = Id::new(test)?;
    let it = RecordMachineTest {
        machine: machine.clone(),
        test,
        passed: Some(passed),
        value: None,
        unit: None,
        repeat_because: None,
    };
    Some(Act::Machine(Machine::RecordMachineTest(it)))
}

pub fn repeat_air_removal(machine: &Id, why: &str, passed: bool) -> Option<Act> {
    let mut act = machine_test(machine, AIR_REMOVAL, passed)?;
    if let Act::Machine(Machine::RecordMachineTest(test)) = &mut act {
        test.repeat_because = Some(text(why));
    }
    Some(act)
}

pub fn clear_flag(machine: &Id, reason: &str) -> Act {
    Act::Machine(Machine::ClearFlag(ClearFlag { machine: machine.clone(), reason: text(reason) }))
}

pub fn countersign(load: &Id) -> Act {
    Act::Load(Load::Countersign(Countersign { load: load.clone() }))
}

pub fn plan(it: PlanCase) -> Act {
    Act::Case(Case::Plan(it))
}

pub fn promise(case: &Id, set: &Id) -> Act {
    Act::Case(Case::Promise(Promise { case: case.clone(), set: set.clone() }))
}

pub fn withdraw(case: &Id, set: &Id) -> Act {
    Act::Case(Case::Withdraw(Promise { case: case.clone(), set: set.clone() }))
}

pub fn cancel(case: &Id, reason: &str) -> Act {
    Act::Case(Case::Cancel(CancelCase { case: case.clone(), reason: text(reason), schedule: None }))
}

pub fn issue(case: Option<&Id>, sets: &[Id]) -> Act {
    let emergency = case.is_none().then_some(true);
    Act::Case(Case::Issue(Issue { case: case.cloned(), scan: scan(sets), emergency }))
}

pub fn open(case: &Id, sets: &[Id], pack_intact: Option<bool>) -> Act {
    Act::Case(Case::Open(Open { case: case.clone(), scan: scan(sets), pack_intact, indicator: None }))
}

pub fn used(case: &Id, parts: &[Id]) -> Act {
    Act::Case(Case::Use(Use { case: case.clone(), scan: scan(parts) }))
}

pub fn close_count(case: &Id, unopened: &[Id], missing: &[Id], broken: &[Id]) -> Act {
    let named = |ids: &[Id]| ids.iter().map(|id| line(id.as_str())).collect();
    Act::Case(Case::CloseCount(CloseCount {
        case: case.clone(),
        unopened: (!unopened.is_empty()).then(|| scan(unopened)),
        missing: named(missing),
        broken: named(broken),
        counted: None,
        others: Vec::new(),
    }))
}

/// The function check, every line of it passed.
pub fn checked(case: &Id, lines: impl Iterator<Item = String>) -> Act {
    let passed = |name: String| ToldLine {
        line: line(&name),
        result: CheckResult::Passed,
        asset: None,
        what: None,
        severity: None,
    };
    Act::Case(Case::Check(RecordCheck {
        case: case.clone(),
        line: None,
        result: None,
        asset: None,
        what: None,
        severity: None,
        lines: lines.map(passed).collect(),
    }))
}

/// Everything that went to the case is there.
pub fn counted_in(case: &Id) -> Act {
    Act::Case(Case::Count(RecordCount {
        moment: Moment::Opening,
        case: Some(case.clone()),
        set: None,
        counted: None,
        missing: Vec::new(),
        broken: Vec::new(),
        others: Vec::new(),
    }))
}

pub fn report_missing(set: &Id, asset: &Id) -> Act {
    let it = ReportMissing { scan: line(set.as_str()), asset: line(asset.as_str()) };
    Act::Missing(Missing::Report(it))
}

pub fn found(asset: &Id, location: &str) -> Act {
    Act::Missing(Missing::Found(Found { scan: line(asset.as_str()), location: Some(line(location)) }))
}

pub fn close_missing(asset: &Id, outcome: SearchOutcome) -> Act {
    let it = CloseMissing {
        asset: Some(line(asset.as_str())),
        case: None,
        line: None,
        outcome,
        person: line("charge"),
    };
    Act::Missing(Missing::Close(it))
}

pub fn finding(asset: &Id, what: &str, severity: Severity, case: Option<&Id>) -> Act {
    let it = ReportFinding { scan: line(asset.as_str()), what: text(what), severity, case: case.cloned() };
    Act::Finding(Finding::Report(it))
}

pub fn send_to_repair(asset: &Id, reason: &str) -> Act {
    let (asset, reason) = (line(asset.as_str()), text(reason));
    Act::Repair(Repair::Send(SendToRepair {
        asset,
        reason,
        order: None,
        decontaminated: true,
        supplier: None,
        cause: None,
        warranty: None,
        expected: None,
    }))
}

pub fn back_from_repair(asset: &Id, cost_cents: u64) -> Act {
    let (asset, work) = (line(asset.as_str()), Some(text("repaired and tested")));
    let it = BackFromRepair {
        asset,
        cost_cents: Some(cost_cents),
        work,
        exchanged_for: None,
        cause: None,
        warranty: None,
    };
    Act::Repair(Repair::Back(it))
}

pub fn retire(asset: &Id, cause: Cause, failure: bool) -> Act {
    Act::Asset(Asset::Retire(Retire { asset: line(asset.as_str()), cause, failure }))
}

pub fn add(asset: Option<Id>, model: &Id, mark: Option<Line>) -> Act {
    Act::Asset(Asset::AddAsset(AddAsset { asset, mark, ..AddAsset::of(model) }))
}

pub fn put_in(set: &Id, seat_line: &str, asset: &Id) -> Act {
    let (line, asset) = (line(seat_line), line(asset.as_str()));
    Act::Set(Set::PutInSet(PutInSet { set: set.clone(), line, position: None, asset }))
}

pub fn take_from(seat: &Seat, asset: &Id) -> Act {
    Act::Set(Set::TakeFromSet(PutInSet {
        set: seat.set.clone(),
        line: line(&seat.line),
        position: Some(seat.position),
        asset: line(asset.as_str()),
    }))
}

pub fn replace(seat: &Seat, cause: Cause, failure: bool, model: &Id) -> Act {
    Act::Set(Set::Replace(Replace {
        set: seat.set.clone(),
        line: line(&seat.line),
        position: Some(seat.position),
        cause,
        failure,
        new: NewPart::New(NewModel { model: model.clone(), mark: None, lot: None }),
    }))
}

fn place(kind: HoldKind, reason: &str) -> Place {
    Place {
        kind,
        reason: text(reason),
        scan: None,
        load: None,
        model: None,
        lots: None,
        serials: None,
        serial_from: None,
        serial_to: None,
        unknown: None,
    }
}

pub fn hold(kind: HoldKind, what: &Id, reason: &str) -> Act {
    Act::Hold(Hold::Place(Place { scan: Some(scan([what])), ..place(kind, reason) }))
}

pub fn lift(hold: &Id, reason: &str) -> Act {
    Act::Hold(Hold::Lift(Lift { hold: hold.clone(), reason: text(reason) }))
}

pub fn overriding(code: Code, reason: &str, second: Option<&str>) -> Override {
    Override { code: Codes::One(code), reason: text(reason), second_person: second.map(line) }
}

pub fn machine_out(machine: &Id, reason: &str) -> Act {
    Act::Machine(Machine::MachineOut(MachineOut { machine: machine.clone(), reason: text(reason) }))
}

pub fn machine_back(machine: &Id, after: BackAfter) -> Act {
    Act::Machine(Machine::MachineBack(MachineBack { machine: machine.clone(), after }))
}

fn change(case: &Id) -> ChangeCase {
    ChangeCase {
        case: case.clone(),
        start: None,
        minutes: None,
        room: None,
        technique: None,
        configuration: None,
        needs: None,
        patient: None,
        risk: None,
        schedule: None,
    }
}

pub fn put_off(case: &Id, start: Time) -> Act {
    Act::Case(Case::Change(ChangeCase { start: Some(start), ..change(case) }))
}

pub fn at_risk(case: &Id, risk: Risk) -> Act {
    Act::Case(Case::Change(ChangeCase { risk: Some(risk), ..change(case) }))
}

pub fn look_back_on_load(load: &Id, reason: &str) -> Act {
    let origin = Origin { load: Some(load.clone()), ..Origin::default() };
    Act::LookBack(LookBack::Open(OpenLookBack { look_back: None, origin, reason: text(reason) }))
}

pub fn look_back_on_case(case: &Id, reason: &str) -> Act {
    let origin = Origin { case: Some(case.clone()), ..Origin::default() };
    Act::LookBack(LookBack::Open(OpenLookBack { look_back: None, origin, reason: text(reason) }))
}

pub fn close_look_back(look_back: &Id, outcome: &str) -> Act {
    let it = CloseLookBack { look_back: look_back.clone(), outcome: text(outcome) };
    Act::LookBack(LookBack::Close(it))
}
