//! Loads: what was in one machine for one cycle, with the record, the indicators and the decision.

use serde::{Deserialize, Serialize};

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Moved, What};
use super::id::Id;
use super::machine::{MachineKind, known};
use super::model::{StepKind, reason_given, unknown};
use super::programme::Programme;
use super::refusal::{Code, Problem};
use super::release;
use super::scan::{Mode, blocking_hold};
use super::state::{Asset, Stage, State};
use super::step::{out_of_order, single_use, single_use_spent, skips_cleaning};
use super::text::{Line, Quantity, Scan, Text};
use super::time::Time;
use super::verdict::{self, Judged};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Start {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<Id>,
    pub machine: Id,
    pub programme: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cycle_no: Option<CycleNo>,
    pub scan: Scan,
}

/// The machine's own number of the cycle: a text, or a whole number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CycleNo(pub String);

impl<'de> Deserialize<'de> for CycleNo {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(
            untagged,
            expecting = "found no cycle number; a text or a whole number is needed"
        )]
        enum Form {
            Number(u64),
            Text(Line),
        }
        Ok(CycleNo(match Form::deserialize(from)? {
            Form::Number(number) => number.to_string(),
            Form::Text(text) => text.0,
        }))
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Judge {
    pub load: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub record: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient_kpa: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<Readings>,
}

/// Read from the machine's printout by one person and confirmed by another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Readings {
    pub min_c: Quantity,
    pub max_c: Quantity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_s: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub a0_s: Option<Quantity>,
    pub complete: bool,
    pub second_reader: Line,
}

impl Judge {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match (&self.record, &self.readings) {
            (None, None) => Err(wrong("/record", "missing; a record or readings are needed")),
            (Some(_), Some(_)) => Err(wrong(
                "/readings",
                "found a record and readings; one of them is needed",
            )),
            (_, Some(readings)) if readings.hold_s.is_none() == readings.a0_s.is_none() => Err(wrong(
                "/readings",
                "found none or both of hold_s and a0_s; one of them is needed",
            )),
            (_, Some(readings)) if readings.min_c > readings.max_c => {
                Err(wrong("/readings/min_c", "found a minimum above the maximum"))
            }
            _ => Ok(()),
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IndicatorKind {
    Chemical,
    Biological,
    BiologicalControl,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IndicatorResult {
    Pass,
    Fail,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordIndicator {
    pub load: Id,
    pub indicator: IndicatorKind,
    pub result: IndicatorResult,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Release {
    pub load: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dry: Option<bool>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reject {
    pub load: Id,
    pub reason: Text,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ran: Option<bool>,
}

/// A part in a load, in the turn in which it went in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadPart {
    pub asset: Id,
    pub turn: u32,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LoadStatus {
    Running,
    Judged,
    Released,
    Rejected,
}

impl LoadStatus {
    pub fn name(self) -> &'static str {
        match self {
            LoadStatus::Running => "running",
            LoadStatus::Judged => "judged",
            LoadStatus::Released => "released",
            LoadStatus::Rejected => "rejected",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Indicator {
    pub indicator: IndicatorKind,
    pub result: IndicatorResult,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    pub at: Time,
    pub by: String,
}

/// A load with the limits that were copied when it started.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    pub load: Id,
    pub machine: Id,
    pub kind: MachineKind,
    pub programme: Programme,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cycle_no: Option<CycleNo>,
    pub contents: Vec<LoadPart>,
    pub status: LoadStatus,
    pub started_at: Time,
    pub started_by: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub judged: Option<Judged>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub indicators: Vec<Indicator>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decided_by: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decided_at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    pub last_at: Time,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadStarted {
    pub load: Id,
    pub machine: Id,
    pub kind: MachineKind,
    pub programme: Programme,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cycle_no: Option<CycleNo>,
    pub contents: Vec<LoadPart>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadJudged {
    pub load: Id,
    #[serde(flatten)]
    pub judged: Judged,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct IndicatorRecorded {
    pub load: Id,
    pub indicator: IndicatorKind,
    pub result: IndicatorResult,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    /// Growth takes the machine out of service.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_out: Option<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadReleased {
    pub load: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dry: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cool_at: Option<Time>,
    pub parts: Vec<Moved>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadRejected {
    pub load: Id,
    pub reason: String,
    pub ran: bool,
    pub parts: Vec<Moved>,
}

/// A part in a running load.
pub fn in_load(called: &str, load: &Id) -> Problem {
    Problem::new(
        Code::InLoad,
        format!("{called} is in load {load}, which is not decided."),
        "A part outside a running load is needed.",
        format!("Release or reject load {load} first."),
    )
}

pub(super) fn start(deciding: &mut Deciding, it: &Start) -> Option<What> {
    let state = deciding.state;
    let machine = known(deciding, &it.machine);
    let programme = machine.as_ref().and_then(|machine| {
        machine
            .programmes
            .iter()
            .find(|programme| programme.programme == it.programme)
            .cloned()
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
    if !matches!(
        machine.kind,
        MachineKind::Steriliser | MachineKind::WasherDisinfector
    ) {
        deciding.against(Problem::new(
            Code::ProgrammeUnsuitable,
            format!("{} is a {}.", it.machine, machine.kind.words()),
            "Loads run in washer-disinfectors and sterilisers.",
            "Record the step itself.",
        ));
    }
    let (zone, starts) = (state.zone, state.policy.test_day_starts.0);
    let today = deciding.at().test_day(zone, starts);
    if let Some(problem) = machine.not_ready(&programme, today, |at| at.test_day(zone, starts)) {
        deciding.against(problem);
    }
    if let Some(running) = &machine.running {
        deciding.against(Problem::new(
            Code::MachineNotReady,
            format!("{} runs load {running}, which is not decided.", it.machine),
            "One load at a time is in a machine.",
            format!("Release or reject load {running} first."),
        ));
    }
    let parts = deciding.each(picked, |deciding, asset| {
        against_loading(deciding, asset, &programme)
    });
    let load = it.load.clone().or_else(|| next_load(state))?;
    if it.load.is_none() {
        deciding.made = Some(load.clone());
    }
    Some(What::LoadStarted(LoadStarted {
        load,
        machine: it.machine.clone(),
        kind: machine.kind,
        programme,
        cycle_no: it.cycle_no.clone(),
        contents: parts
            .iter()
            .map(|part| LoadPart {
                asset: part.asset.clone(),
                turn: part.turn,
            })
            .collect(),
    }))
}

fn next_load(state: &State) -> Option<Id> {
    let from = state.loads.len() as u64 + 1;
    (from..from + 1_000_000)
        .find_map(|n| Id::new(&format!("load-{n:05}")).filter(|id| !state.loads.contains_key(id)))
}

fn against_loading(deciding: &Deciding, asset: &Asset, programme: &Programme) -> Vec<Problem> {
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
    let before_pack = step == StepKind::Sterilised && asset.stage != Stage::Packed;
    if asset.stage == Stage::after(step) {
        problems.push(Problem::new(
            Code::AlreadyDone,
            format!("{called} is already {}.", step.words()),
            "A part whose next act this is is needed.",
            "Nothing needs to be done here.",
        ));
    } else if !next.as_ref().is_some_and(wanted) || before_pack {
        let needed = format!(
            "A part whose next act is \"{}\" by {} is needed.",
            step.words(),
            programme.method.words()
        );
        let problem = out_of_order(asset, next, &needed);
        let to = route.iter().position(wanted);
        let open = to.is_some_and(|to| !skips_cleaning(route, asset.next, to)) && !before_pack;
        problems.push(if open { problem.open_to_override() } else { problem });
    }
    let unsuitable = state
        .model(&asset.model)
        .and_then(|model| programme.unsuitable(model));
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
    let judged = match (&it.record, &it.readings) {
        (Some(record), _) => verdict::of_record(deciding, &load, record, it.ambient_kpa, at)?,
        (_, Some(readings)) => verdict::of_readings(deciding, &load, readings, at)?,
        _ => return None,
    };
    Some(What::LoadJudged(LoadJudged {
        load: it.load.clone(),
        judged,
    }))
}

pub(super) fn record_indicator(deciding: &mut Deciding, it: &RecordIndicator) -> Option<What> {
    let Some(load) = deciding.state.loads.get(&it.load).cloned() else {
        deciding.against(unknown("load", it.load.as_str()));
        return None;
    };
    deciding.touches(Some(load.last_at));
    let growth = it.indicator == IndicatorKind::Biological && it.result == IndicatorResult::Fail;
    Some(What::IndicatorRecorded(IndicatorRecorded {
        load: it.load.clone(),
        indicator: it.indicator,
        result: it.result,
        lot: it.lot.clone(),
        machine_out: growth.then(|| load.machine.clone()),
    }))
}

pub(super) fn release(deciding: &mut Deciding, it: &Release) -> Option<What> {
    let load = undecided(deciding, &it.load)?;
    for problem in release::against(deciding.state, &load, Some(&deciding.asked.actor.code), it.dry) {
        deciding.against(problem);
    }
    let at = deciding.at();
    Some(What::LoadReleased(LoadReleased {
        load: it.load.clone(),
        dry: it.dry,
        cool_at: release::cool_at(&load, at),
        parts: release::parts(deciding.state, &load, at),
    }))
}

pub(super) fn reject(deciding: &mut Deciding, it: &Reject) -> Option<What> {
    let load = undecided(deciding, &it.load)?;
    reason_given(deciding, &it.reason);
    let before = match load.programme.step() {
        StepKind::Sterilised => StepKind::Packed,
        _ => StepKind::Cleaned,
    };
    let state = deciding.state;
    let inside = release::inside(state, &load);
    let parts = inside
        .iter()
        .map(|asset| asset.back_before(state, before))
        .collect();
    Some(What::LoadRejected(LoadRejected {
        load: it.load.clone(),
        reason: it.reason.0.clone(),
        ran: it.ran.unwrap_or(true),
        parts,
    }))
}
