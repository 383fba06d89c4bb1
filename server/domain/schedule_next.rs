//! What a scheduling message comes to: a case made, changed or cancelled, nothing, or a line for a person.

use super::case::{CancelCase, Case, ChangeCase, PlanCase};
use super::command::{Act, Case as CaseAct, Schedule as ScheduleAct};
use super::id::Id;
use super::procedure::resolve;
use super::schedule::{Scheduled, other_codes, under_way};
use super::schedule_line::{Answered, KeepScheduleMessage, Raw};
use super::schedule_read::{Incoming, Trigger};
use super::state::State;
use super::text::{Line, Text};
use super::time::Time;

/// What is to be done about a message.
// It is looked at once, where it was made: a box would cost more than the room.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq)]
pub enum Next {
    /// Everything that it says is so already, or was overtaken: why, in a sentence.
    Nothing(String),
    Give(Act),
    /// A person has to look: why, in sentences, and the case that it is about.
    Ask {
        why: Vec<String>,
        case: Option<Id>,
        answered: Answered,
        error: Option<u16>,
    },
}

fn ask(why: impl Into<String>, case: Option<&Case>) -> Next {
    let case = case.map(|case| case.case.clone());
    Next::Ask { why: vec![why.into()], case, answered: Answered::Accepted, error: None }
}

/// What follows from a message by what is known. `patient` is the reference that the schedule gave the message's case
/// last, or that the case has.
pub fn next(state: &State, it: &Incoming, patient: Option<&str>, now: Time) -> Next {
    let known = state.case_of(&it.schedule);
    if let Some(first) = it.faults.first() {
        let why = it.faults.iter().map(|fault| fault.words.clone()).take(20).collect();
        let case = known.map(|case| case.case.clone());
        return Next::Ask { why, case, answered: Answered::Error, error: Some(first.number) };
    }
    let Some(trigger) = it.trigger else {
        return Next::Nothing("The message is about no appointment.".into());
    };
    let older = |case: &Case| case.schedule.as_ref().is_some_and(|of| it.schedule.is_older_than(&of.told));
    match known {
        Some(case) if older(case) => {
            Next::Nothing(format!("The message is older than what is known of case {}.", case.case))
        }
        Some(case) if trigger.ends() => cancel(case, it, trigger),
        Some(case) if case.cancelled.is_some() && trigger != Trigger::Book => {
            let told = case.cancelled.as_deref().unwrap_or_default();
            ask(
                format!("The schedule changes case {}, which is cancelled here: {told}", case.case),
                Some(case),
            )
        }
        Some(case) if case.cancelled.is_none() => change(case, it, patient, state, now),
        None if trigger.ends() => ask(
            "The schedule cancels an appointment that no case here stands for. Was it planned by hand?",
            None,
        ),
        Some(_) | None => plan(state, it, now),
    }
}

fn cancel(case: &Case, it: &Incoming, trigger: Trigger) -> Next {
    if case.cancelled.is_some() {
        return Next::Nothing(format!("Case {} is cancelled already.", case.case));
    }
    let what = match trigger {
        Trigger::NoShow => "the patient did not come",
        Trigger::Delete => "it was deleted there",
        _ => "it was cancelled there",
    };
    if let Some(problem) = under_way(case) {
        return ask(
            format!("The schedule says of case {}: {what}. {}", case.case, problem.found),
            Some(case),
        );
    }
    let code = it.reason.as_ref().map(|code| format!(" ({code})")).unwrap_or_default();
    let reason = Text(format!("By the schedule: {what}{code}."));
    let schedule = Some(Box::new(it.schedule.clone()));
    Next::Give(Act::Case(CaseAct::Cancel(CancelCase { case: case.case.clone(), reason, schedule })))
}

/// The fields in which the message says something else than the schedule said before. What a person changed meanwhile
/// stays, as long as the schedule says what it said.
fn change(case: &Case, it: &Incoming, patient: Option<&str>, state: &State, now: Time) -> Next {
    let told = case.schedule.as_ref().map(|of| &of.told);
    fn news<T: Clone + PartialEq>(new: &Option<T>, told: Option<&T>, is: Option<&T>) -> Option<T> {
        new.clone().filter(|new| told.or(is) != Some(new))
    }
    let (start, minutes, room) = (
        news(&it.schedule.start, told.and_then(|told| told.start.as_ref()), Some(&case.start)),
        news(&it.schedule.minutes, told.and_then(|told| told.minutes.as_ref()), Some(&case.minutes)),
        news(&it.schedule.room, told.and_then(|told| told.room.as_ref()), case.room.as_ref()),
    );
    let other = it.patient.as_ref().filter(|new| patient.is_none_or(|known| known != new.as_str()));
    // Where the reference was erased or never kept, the schedule gives none again to a case that is over.
    let other = other.filter(|_| case.is_open()).cloned();
    let other_codes = other_codes(case, &it.schedule);
    let numbers =
        |number: &Option<Line>, known: Option<&Line>| number.as_ref().is_some_and(|it| Some(it) != known);
    let other_numbers = numbers(&it.schedule.filler, told.and_then(|told| told.filler.as_ref()))
        || numbers(&it.schedule.placer, told.and_then(|told| told.placer.as_ref()));
    if start.is_none()
        && minutes.is_none()
        && room.is_none()
        && other.is_none()
        && !other_codes
        && !other_numbers
    {
        return Next::Nothing(format!("Case {} is as the schedule says already.", case.case));
    }
    let moves = start.is_some() || minutes.is_some() || other.is_some() || other_codes;
    if let Some(problem) = under_way(case).filter(|_| moves || !case.is_open()) {
        let mut what: Vec<&str> = Vec::new();
        what.extend(start.map(|_| "its start").into_iter().chain(minutes.map(|_| "its length")));
        what.extend(other.map(|_| "its patient").into_iter().chain(other_codes.then_some("its procedure")));
        what.extend(room.map(|_| "its room"));
        let to =
            start.map(|start| format!(" It would start on {}.", start.told(state.zone))).unwrap_or_default();
        let why = format!("The schedule changes {}. {}{to}", super::planning::listed(&what), problem.found);
        return ask(why, Some(case));
    }
    if let Some(start) = start.filter(|start| *start < now) {
        let told = start.told(state.zone);
        return ask(format!("The schedule moves case {} to {told}, which is past.", case.case), Some(case));
    }
    Next::Give(Act::Case(CaseAct::Change(ChangeCase {
        case: case.case.clone(),
        start,
        minutes,
        room,
        technique: None,
        configuration: None,
        needs: None,
        patient: other,
        risk: None,
        schedule: Some(Box::new(it.schedule.clone())),
    })))
}

fn plan(state: &State, it: &Incoming, now: Time) -> Next {
    let error = |why: &str| Next::Ask {
        why: vec![why.into()],
        case: None,
        answered: Answered::Error,
        error: Some(101),
    };
    let Some(start) = it.schedule.start else {
        return error("No time stands in it, and no case is known by its ids.");
    };
    let by_code = resolve(state, it.schedule.codes.as_deref().unwrap_or_default());
    let Some(minutes) = it.schedule.minutes.or(by_code.minutes) else {
        return error("It tells no length and no end, and its procedure is mapped to none.");
    };
    let case = match name(state, &it.schedule) {
        Ok(case) => case,
        Err(why) => return *why,
    };
    if start < now {
        return ask(format!("The appointment is on {}, which is past.", start.told(state.zone)), None);
    }
    Next::Give(Act::Case(CaseAct::Plan(PlanCase {
        case,
        start,
        minutes,
        room: it.schedule.room.clone(),
        technique: None,
        configuration: None,
        needs: Vec::new(),
        patient: it.patient.clone(),
        risk: None,
        schedule: Some(Box::new(it.schedule.clone())),
    })))
}

/// What the case is called: as the schedule numbers it, where that is a name here; a number follows it where an earlier
/// booking of the schedule has that name.
fn name(state: &State, schedule: &Scheduled) -> Result<Id, Box<Next>> {
    let number = schedule.filler.as_ref().or(schedule.placer.as_ref()).map_or("", |number| number.as_str());
    let plain = |sign: char| if sign.is_ascii_alphanumeric() || "._-".contains(sign) { sign } else { '-' };
    let stem: String = number.chars().map(plain).take(56).collect();
    let tries =
        (1..10_000).filter_map(|n| Id::new(&if n == 1 { stem.clone() } else { format!("{stem}-{n}") }));
    for case in tries {
        match state.cases.get(&case) {
            None => return Ok(case),
            Some(known) if known.schedule.is_none() && known.cancelled.is_none() => {
                let why = format!(
                    "Case {case} was planned by hand under the number of this appointment. If it is the same, settle this as entered by hand, with that case."
                );
                return Err(Box::new(ask(why, Some(known))));
            }
            Some(_) => {}
        }
    }
    Err(Box::new(ask("No name is left for its case.", None)))
}

/// The command that puts a message on the list for a person.
pub fn kept(it: &Incoming, next: &Next, message: &str) -> Option<Act> {
    let Next::Ask { why, case, answered, error } = next else { return None };
    Some(Act::Schedule(ScheduleAct::Keep(KeepScheduleMessage {
        trigger: it.event.clone(),
        control_id: it.control_id.clone(),
        schedule: Box::new(it.schedule.clone()),
        case: case.clone(),
        why: why.iter().map(|why| Text(why.chars().take(1_000).collect())).collect(),
        answered: *answered,
        error: *error,
        message: Raw(message.to_string()),
    })))
}
