//! What a wall says beside a case, in a few words and without reasons: anybody passes it.

use super::say::of_set;
use super::theatre::out_at;
use crate::domain::board::BoardCase;
use crate::domain::id::Id;
use crate::domain::readiness::set_status;
use crate::domain::state::State;
use crate::domain::time::Time;

/// What the case waits for, set by set, where its own words do not say it.
pub(super) fn brief(state: &State, case: &BoardCase, needs: usize, now: Time) -> String {
    let sets = case.sets.iter().filter_map(|set| state.sets.get(set));
    let told = sets.map(|set| (&set.set, of_set(state, &set_status(state, set, now), now)));
    // What is out at the case itself waits for nothing.
    let is_here = |set: &Id| {
        let known = state.sets.get(set);
        known.and_then(|set| out_at(state, set)).is_some_and(|at| *at == case.case)
    };
    let waits: Vec<_> =
        told.filter(|(set, say)| !say.is("ready") && !say.is("ready_short") && !is_here(set)).collect();
    // What it gets is whichever is ready first.
    if let [first, .., last] = case.sets.as_slice()
        && case.sets.len() > needs
        && needs == 1
    {
        return format!("{first} or {last}");
    }
    // The case tells of one set in its own words; of several each is told.
    if let ([(set, _)], true) = (waits.as_slice(), case.sets.len() == needs) {
        return set.to_string();
    }
    let mut all: Vec<String> = waits.iter().map(|(set, say)| format!("{set} {}", say.words)).collect();
    if case.sets.len() < needs && case.because.is_none() {
        all.push("no set is free".into());
    }
    all.join("; ")
}

/// What stands against something that is out at the case all the same, as it is called across a room, without a reason.
pub(super) fn aloud(state: &State, case: &BoardCase, now: Time) -> String {
    let known = state.cases.get(&case.case).map(|known| known.loud(state, now)).unwrap_or_default();
    let mut words: Vec<String> = known
        .into_keys()
        .map(|word| word.split_once(" because ").map_or(word.clone(), |(brief, _)| brief.to_string()))
        .collect();
    words.dedup();
    words.join(", ")
}

/// What the wall says beside a case that has its instruments and no function check.
pub(super) fn with_check(case: &BoardCase, brief: String) -> String {
    let check = match case.check.as_ref().filter(|check| !check.done()) {
        None => return brief,
        Some(check) if !check.failed.is_empty() => "function check failed",
        Some(check) if check.open.len() == check.asked => "not checked",
        Some(_) => "function check not complete",
    };
    if brief.is_empty() { check.into() } else { format!("{brief}; {check}") }
}
