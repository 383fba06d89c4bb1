//! A patient's reference erased for good, of a case or of an early release: the ledger keeps its commitment, and every hash.

use super::case::{Case, ErasePatient};
use super::deciding::Deciding;
use super::event::What;
use super::exposure::PatientErased;
use super::id::Id;
use super::load::Load;
use super::lookback::{Trace, trace, trace_loads};
use super::model::{reason_given, unknown};
use super::planning::known_case;
use super::refusal::{Code, Problem};
use super::text::Sealed;
use super::time::{Date, Time, told_day};

/// What names the patient.
enum Named {
    Case(Box<Case>),
    Load(Box<Load>),
}

impl Named {
    fn words(&self) -> String {
        match self {
            Named::Case(it) => format!("case {}", it.case),
            Named::Load(it) => format!("load {}", it.load),
        }
    }

    fn capital(&self) -> String {
        match self {
            Named::Case(it) => format!("Case {}", it.case),
            Named::Load(it) => format!("Load {}", it.load),
        }
    }

    fn in_trace(&self, trace: &Trace) -> bool {
        match self {
            Named::Case(it) => trace.cases.contains_key(&it.case),
            Named::Load(it) => trace.loads.contains(&it.load),
        }
    }

    /// From when on the site keeps its records.
    fn over_at(&self) -> Time {
        match self {
            Named::Case(it) => it.end(),
            Named::Load(it) => it.decided_at.unwrap_or(it.last_at),
        }
    }

    fn patient(&self) -> Option<Sealed> {
        match self {
            Named::Case(it) => it.patient.clone(),
            Named::Load(it) => it.early.as_ref().and_then(|it| it.early.patient.clone()),
        }
    }
}

pub(super) fn erase(deciding: &mut Deciding, it: &ErasePatient) -> Option<What> {
    if let Some(line) = &it.schedule_line {
        reason_given(deciding, &it.reason);
        let (schedule_line, reason) = (Some(line.clone()), it.reason.0.clone());
        let patient = super::schedule_line::erased(deciding, line)?;
        return Some(What::PatientErased(PatientErased {
            case: None,
            load: None,
            schedule_line,
            patient,
            reason,
        }));
    }
    let named = match (&it.case, &it.load) {
        (Some(case), _) => Named::Case(Box::new(known_case(deciding, case)?)),
        (None, load) => Named::Load(Box::new(known_load(deciding, load.as_ref()?)?)),
    };
    reason_given(deciding, &it.reason);
    referenced(deciding, &named);
    let Some(patient) = named.patient() else {
        deciding.against(names_nobody(&named));
        return None;
    };
    let (case, load, reason) = (it.case.clone(), it.load.clone(), it.reason.0.clone());
    Some(What::PatientErased(PatientErased { case, load, schedule_line: None, patient, reason }))
}

fn known_load(deciding: &mut Deciding, load: &Id) -> Option<Load> {
    let Some(found) = deciding.state.loads.get(load).cloned() else {
        deciding.against(unknown("load", load.as_str()));
        return None;
    };
    deciding.touches(Some(found.last_at));
    Some((*found).clone())
}

/// Where the reference is needed still: by a look-back, by a recall, by an indicator that is not read, by the retention.
fn referenced(deciding: &mut Deciding, named: &Named) {
    let (state, what) = (deciding.state, named.words());
    let still =
        |found: String, needed: &str, next: String| Problem::new(Code::StillReferenced, found, needed, next);
    let mut problems = Vec::new();
    let open = state.look_backs.values().filter(|look_back| look_back.closed_at.is_none());
    for look_back in open.filter(|it| trace(state, &it.origin).is_some_and(|it| named.in_trace(&it))) {
        problems.push(still(
            format!("{} is inside look-back {}, which is open.", named.capital(), look_back.look_back),
            "A patient is erased only when no open look-back needs them.",
            format!("Close look-back {} first.", look_back.look_back),
        ));
    }
    let recalls = state.recalls.values().filter(|recall| recall.is_open());
    for recall in recalls.filter(|it| named.in_trace(&trace_loads(state, &it.loads))) {
        problems.push(still(
            format!("{} is affected by recall {}, which is open.", named.capital(), recall.recall),
            "A patient is erased only when no open recall needs them.",
            format!("Answer for it and close recall {} first.", recall.recall),
        ));
    }
    if let Named::Case(case) = named
        && state.dedicated_cases().any(|kept| *kept == case.case)
    {
        problems.push(super::dedicate::patient_stays(&case.case));
    }
    if matches!(named, Named::Load(load) if load.waits_for_biological()) {
        problems.push(still(
            format!("The biological indicator of {what} is not read yet."),
            "A patient is erased only when the indicator that they were not to wait for is read.",
            "Read the indicator and record it first.".into(),
        ));
    }
    let years = state.policy.retention_years;
    let day: Date = named.over_at().date(state.zone);
    let until = day.checked_add_months(chrono::Months::new(years.saturating_mul(12)));
    if until.is_none_or(|until| deciding.asked.now.date(state.zone) < until) {
        let until = until.map_or("the end of time".into(), told_day);
        problems.push(still(
            format!("The site keeps records for {years} years: those of {what} until {until}."),
            "A patient is erased only after the retention time.",
            "Wait, or let the administrator change the retention time.".into(),
        ));
    }
    problems.into_iter().for_each(|problem| deciding.against(problem));
}

fn names_nobody(named: &Named) -> Problem {
    let of_case = match named {
        Named::Case(_) => None,
        Named::Load(load) => load.early.as_ref().and_then(|it| it.early.case.as_ref()),
    };
    Problem::new(
        Code::AlreadyDone,
        format!("{} names no patient, or no longer.", named.capital()),
        match named {
            Named::Case(_) => "A case that names a patient is needed.",
            Named::Load(_) => "A load released early for a patient without a case is needed.",
        },
        match of_case {
            Some(case) => format!("It was released for case {case}: erase the reference there."),
            None => "Nothing needs to be done.".into(),
        },
    )
}
