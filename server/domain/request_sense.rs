//! Whether a request makes sense: a machine that can do the step, a set that the case needs, a line that takes the part.

use super::refusal::{Code, Problem};
use super::request::{RequestKind, SendRequest};
use super::route::StepKind;
use super::state::{Condition, State};

/// What of a request nobody could do, with what is needed instead.
pub(super) fn against(state: &State, it: &SendRequest) -> Vec<Problem> {
    let all = [of_machine(state, it), of_case(state, it), of_line(state, it)];
    all.into_iter().flatten().collect()
}

fn of_machine(state: &State, it: &SendRequest) -> Option<Problem> {
    let machine = state.machines.get(it.machine.as_ref()?)?;
    let step = it.step?;
    let sterilises = step == StepKind::Sterilised;
    let (what, needed) = match sterilises {
        true => ("sterilises", "A steriliser is needed."),
        false => ("disinfects", "A washer-disinfector is needed."),
    };
    if !machine.programmes.iter().any(|programme| programme.method.sterilises() == sterilises) {
        return Some(Problem::new(
            Code::ProgrammeUnsuitable,
            format!("No programme of {} {what}.", machine.machine),
            needed,
            "Name another machine, or none: the desk knows which is free.",
        ));
    }
    (machine.condition != Condition::InService).then(|| {
        Problem::new(
            Code::MachineNotReady,
            format!("{} is out of service.", machine.machine),
            "A machine in service is needed.",
            "Name another machine, or none: the desk knows which is free.",
        )
    })
}

/// What is done with a set for a case is done with one that it needs.
fn of_case(state: &State, it: &SendRequest) -> Option<Problem> {
    let case = state.cases.get(&it.case).filter(|case| !case.needs.is_empty())?;
    let set = state.sets.get(it.set.as_ref()?)?;
    if case.needs.contains(&set.count_sheet) || case.promised.contains(&set.set) {
        return None;
    }
    let needs: Vec<String> = case.needs.iter().map(|sheet| state.sheet_words(sheet)).collect();
    Some(Problem::new(
        Code::NotOnSheet,
        format!(
            "Case {} needs {}, and set {} is a set “{}”.",
            it.case,
            needs.join(" and "),
            set.set,
            state.sheet_words(&set.count_sheet)
        ),
        "A set of a count sheet that the case needs is needed.",
        "Name such a set, or change what the case needs.",
    ))
}

fn of_line(state: &State, it: &SendRequest) -> Option<Problem> {
    let put_in = it.kind == RequestKind::PutIn;
    let (set, asset) = (state.sets.get(it.set.as_ref()?)?, state.assets.get(it.asset.as_ref()?)?);
    let model = state.model(&asset.model).filter(|_| put_in)?;
    let sheet = state.sheets.get(&set.count_sheet)?;
    let no_line = !sheet.lines.iter().any(|line| line.takes(model));
    no_line.then(|| {
        Problem::new(
            Code::NotOnSheet,
            format!("No line of set {} takes {}.", set.set, asset.called()),
            "A part that one of its lines takes is needed.",
            "Name another part, or another set.",
        )
    })
}
