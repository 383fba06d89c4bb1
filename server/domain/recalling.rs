//! Decides on recalls: what is held, what a narrower window frees, what an answer makes of a part, when one may close.

use std::collections::BTreeSet;

use super::affected::{Affected, Fate, affected, relies_on, relying};
use super::deciding::Deciding;
use super::doubt::{Reach, grew, last_negative, next_recall, recalled};
use super::event::{Moved, What};
use super::hold::HoldKind;
use super::id::Id;
use super::load::in_load;
use super::model::{StepKind, reason_given, unknown};
use super::person::Role;
use super::recall::{
    After, AnswerRecall, CloseRecall, NarrowRecall, OpenRecall, Recall, RecallAnswered, RecallClosed,
    RecallNarrowed, Recalled,
};
use super::refusal::{Code, Problem};
use super::scan::{Mode, broken_pack_of};
use super::state::{Asset, State};
use super::time::Time;

pub(super) fn open(deciding: &mut Deciding, it: &OpenRecall) -> Option<What> {
    let state = deciding.state;
    super::machine::known(deciding, &it.machine)?;
    reason_given(deciding, &it.reason);
    if let Some(taken) = it.recall.as_ref().filter(|id| state.recalls.contains_key(*id)) {
        deciding.against(Problem::new(
            Code::NameTaken,
            format!("\"{taken}\" already names a recall."),
            "A recall's name is used once.",
            "Leave the name out, or choose another.",
        ));
    }
    let before = match &it.load {
        None => Time(i64::MAX),
        Some(name) => match state.loads.get(name).filter(|load| load.machine == it.machine) {
            Some(load) => load.started_at,
            None => {
                deciding.against(unknown("load of that machine", name.as_str()));
                return None;
            }
        },
    };
    let since = match it.from {
        Some(_) => None,
        None => last_negative(state, &it.machine, before),
    };
    let recall = match &it.recall {
        Some(given) => given.clone(),
        None => {
            deciding.made = next_recall(state);
            deciding.made.clone()?
        }
    };
    let reach = Reach { since, from: it.from, to: it.to };
    let found = recalled(deciding, recall, &it.machine, reach, it.reason.0.clone())?;
    if found.loads.is_empty() {
        deciding.against(Problem {
            next: "Name an earlier beginning; or take the machine out of service by itself.".into(),
            ..unknown("load of that machine in the window", it.machine.as_str())
        });
    }
    Some(What::Recalled(Recalled { machine_out: it.out.unwrap_or(true), ..found }))
}

/// An open recall by name.
fn known(deciding: &mut Deciding, name: &Id) -> Option<Recall> {
    let Some(found) = deciding.state.recalls.get(name).map(|it| (**it).clone()) else {
        deciding.against(unknown("recall", name.as_str()));
        return None;
    };
    deciding.touches(Some(found.opened_at));
    if !found.is_open() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Recall {name} is already closed."),
            "A recall that is open is needed.",
            "Nothing needs to be done. If something new was found, begin another recall.",
        ));
    }
    Some(found)
}

pub(super) fn narrow(deciding: &mut Deciding, it: &NarrowRecall) -> Option<What> {
    let recall = known(deciding, &it.recall)?;
    reason_given(deciding, &it.reason);
    let state = deciding.state;
    if let Some(other) = it.loads.iter().flatten().find(|load| !recall.loads.contains(load)) {
        deciding.against(unknown("load in that recall", other.as_str()));
        return None;
    }
    let stays = |load: &&Id| match (&it.loads, it.from) {
        (Some(loads), _) => loads.contains(load),
        (None, Some(from)) => state.loads.get(*load).is_some_and(|load| load.started_at >= from),
        (None, None) => true,
    };
    let loads: Vec<Id> = recall.loads.iter().filter(stays).cloned().collect();
    if loads.is_empty() {
        deciding.against(unknown("load in the narrower window", it.recall.as_str()));
    } else if loads.len() == recall.loads.len() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Recall {} has no load outside that window.", it.recall),
            "A window that leaves loads out is needed.",
            "Nothing needs to be done.",
        ));
    }
    let left = recall.loads.iter().filter(|load| !loads.contains(load));
    if let Some(grown) = left.filter_map(|load| state.loads.get(load)).find(|load| grew(load)) {
        let problem = Problem::new(
            Code::IndicatorFailed,
            format!("The biological indicator of load {} grew.", grown.load),
            "A window that keeps every load whose indicator grew is needed.",
            "Tick that load too.",
        );
        deciding.against(problem.even_late());
    }
    let kept = relying(state, loads.iter());
    let held = relying(state, recall.loads.iter());
    let lifted = held.into_iter().filter(|asset| !kept.contains(asset)).collect();
    let (recall, reason) = (it.recall.clone(), it.reason.0.clone());
    Some(What::RecallNarrowed(RecallNarrowed { recall, reason, loads, lifted }))
}

/// The load with growth that a part is as it is because of, where one is.
fn grown_under<'a>(state: &'a State, recall: &'a Recall, asset: &Asset) -> Option<&'a Id> {
    let loads = recall.loads.iter().filter_map(|load| state.loads.get(load));
    loads.filter(|load| grew(load)).find(|load| relies_on(state, asset, load)).map(|load| &load.load)
}

/// What stands against answering for a part.
fn against_answer(
    state: &State,
    recall: &Recall,
    affected: &Affected,
    it: &AnswerRecall,
    asset: &Asset,
) -> Vec<Problem> {
    let (called, name) = (asset.called(), &recall.recall);
    let Some(part) = affected.parts.get(&asset.asset) else {
        return vec![Problem::new(
            Code::OutOfOrder,
            format!("{called} is not in recall {name}."),
            "A part that went through a recalled load is needed.",
            "Leave it out.",
        )];
    };
    let mut problems = Vec::new();
    if part.answered() {
        problems.push(Problem::new(
            Code::AlreadyDone,
            format!("{called} needs no answer in recall {name}: {}.", part.fate.words()),
            "A part without an answer is needed.",
            "Leave it out.",
        ));
    } else if part.held && it.then.is_none() {
        problems.push(Problem::new(
            Code::OutOfOrder,
            format!("{called} is still on hold for recall {name}."),
            "For a part on hold it is needed whether it is reprocessed or cleared.",
            "Say which.",
        ));
    }
    if it.then == Some(After::Reprocess) && asset.stage.is_out() {
        problems.push(Problem::new(
            Code::OutOfOrder,
            format!("{called} is out at a case."),
            "A part in the house is needed.",
            "Call it back unopened and close the count; or answer without reprocessing.",
        ));
    }
    if it.then == Some(After::Clear)
        && let Some(load) = grown_under(state, recall, asset)
    {
        problems.push(Problem::new(
            Code::IndicatorFailed,
            format!("{called} came from load {load}, whose biological indicator grew."),
            "A part that no load with growth made ready is needed to be cleared.",
            "Send it through the machine's step again.",
        ));
    }
    let loaded = asset.in_load.as_ref().filter(|_| it.then == Some(After::Reprocess));
    problems.extend(loaded.map(|load| in_load(&called, load)));
    // An answer is a decision: told late, it rests on the same evidence.
    problems.into_iter().map(Problem::even_late).collect()
}

pub(super) fn answer(deciding: &mut Deciding, it: &AnswerRecall) -> Option<What> {
    let recall = known(deciding, &it.recall)?;
    reason_given(deciding, &it.outcome);
    if it.then == Some(After::Clear) && deciding.asked.actor.role != Role::Infection {
        deciding.not_your_role = true;
    }
    let affected = affected(deciding.state, &recall);
    let (assets, parts) = answered_parts(deciding, &recall, &affected, it);
    for case in &it.cases {
        if !affected.cases.contains_key(case) {
            deciding.against(unknown("case in that recall", case.as_str()));
        } else if recall.cases.contains_key(case) {
            deciding.against(Problem::new(
                Code::AlreadyDone,
                format!("Case {case} is already answered for in recall {}.", it.recall),
                "A case without an answer is needed.",
                "Leave it out.",
            ));
        }
    }
    Some(What::RecallAnswered(RecallAnswered {
        recall: it.recall.clone(),
        outcome: it.outcome.0.clone(),
        then: it.then,
        assets: assets.into_iter().collect(),
        parts,
        cases: it.cases.iter().cloned().collect::<BTreeSet<_>>().into_iter().collect(),
    }))
}

/// The parts that are answered for, and where those go that are reprocessed.
fn answered_parts(
    deciding: &mut Deciding,
    recall: &Recall,
    affected: &Affected,
    it: &AnswerRecall,
) -> (BTreeSet<Id>, Vec<Moved>) {
    let state = deciding.state;
    let (mut assets, mut parts) = (BTreeSet::new(), Vec::new());
    let Some(scan) = &it.scan else { return (assets, parts) };
    let picked = deciding.pick(scan, Mode::Permission);
    let accepted = deciding.each_freely(picked, |asset| against_answer(state, recall, affected, it, asset));
    let again = it.then == Some(After::Reprocess);
    for asset in accepted {
        // One part taken out opens the pack; what lay in it went through the same load.
        let here = affected.parts.get(&asset.asset).is_some_and(|part| part.fate == Fate::Here);
        let mates = if again && here { broken_pack_of(state, &asset) } else { Vec::new() };
        for one in std::iter::once(&asset).chain(&mates) {
            // What is under a prion hold stays where it is; only the recall's hold is answered for.
            let moves = again && here && !one.has_hold(HoldKind::Prion);
            if moves && !parts.iter().any(|moved: &Moved| moved.asset == one.asset) {
                parts.push(one.back_before(state, before(recall.step)));
            }
            if affected.parts.contains_key(&one.asset) {
                assets.insert(one.asset.clone());
            }
        }
    }
    (assets, parts)
}

/// The step before which a part goes back, to go through the recalled machine's step again: what was sterilised in its
/// pack is packed anew.
fn before(step: StepKind) -> StepKind {
    if step == StepKind::Sterilised { StepKind::Packed } else { StepKind::Cleaned }
}

pub(super) fn close(deciding: &mut Deciding, it: &CloseRecall) -> Option<What> {
    let recall = known(deciding, &it.recall)?;
    reason_given(deciding, &it.outcome);
    let (parts, cases) = affected(deciding.state, &recall).open();
    if !parts.is_empty() || !cases.is_empty() {
        let first = parts.iter().chain(&cases).next().map(Id::to_string).unwrap_or_default();
        let problem = Problem::new(
            Code::NotComplete,
            format!(
                "Recall {} has no answer yet for {} parts and {} cases; the first is {first}.",
                it.recall,
                parts.len(),
                cases.len()
            ),
            "An answer for every part and every case is needed.",
            "Answer for them, then close the recall.",
        );
        deciding.against(problem.even_late());
    }
    Some(What::RecallClosed(RecallClosed { recall: it.recall.clone(), outcome: it.outcome.0.clone() }))
}
