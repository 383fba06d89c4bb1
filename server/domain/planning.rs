//! Cases planned, changed, cancelled; sets kept for them.

use super::case::{CancelCase, Case, ChangeCase, NewTechnique, PlanCase, Promise, Risk};
use super::command::wrong;
use super::configuration::Wish;
use super::deciding::Deciding;
use super::event::What;
use super::exposure::{CaseCancelled, CaseChanged, CasePlanned, Promised};
use super::hold::{HoldKind, HoldPlaced};
use super::id::Id;
use super::model::{Family, reason_given, unknown};
use super::refusal::{Code, Problem};
use super::schedule;
use super::set::SetState;
use super::sizes::Doubt;
use super::state::{Asset, State};
use super::text::Line;
use super::time::Time;

/// A case by name.
pub(super) fn known_case(deciding: &mut Deciding, case: &Id) -> Option<Case> {
    let Some(found) = deciding.state.cases.get(case).cloned() else {
        deciding.against(unknown("case", case.as_str()));
        return None;
    };
    deciding.touches(Some(found.last_at));
    Some((*found).clone())
}

pub(super) fn known_needs(deciding: &mut Deciding, needs: &[Id]) {
    for sheet in needs {
        if !deciding.state.sheets.contains_key(sheet) {
            deciding.against(unknown("count sheet", sheet.as_str()));
        }
    }
}

/// What a wish names works in the lumen: a family of instruments, or a model of this site that is of one.
fn known_wish(deciding: &mut Deciding, wish: Option<&Wish>) {
    for (n, name) in wish.iter().flat_map(|wish| &wish.together).enumerate() {
        let family = Family::ALL.into_iter().find(|family| family.name() == name.as_str());
        let model = deciding.state.models.values().find(|model| model.model.as_str() == name.as_str());
        match family.or(model.map(|model| model.family)) {
            Some(family) if family.is_instrument() => {}
            Some(family) => {
                let (name, family) = (name.as_str(), family.words());
                let found = match model {
                    Some(_) => format!("found \"{name}\", which is a {family}"),
                    None => format!("found \"{name}\""),
                };
                let needed = "what works in the lumen is needed: a telescope, forceps, a suction tube, or a model of one";
                let pointer = format!("/configuration/together/{n}");
                deciding.malformed.push(wrong(pointer, format!("{found}; {needed}")));
            }
            None => deciding.against(Problem::new(
                Code::UnknownThing,
                format!("No family of instruments and no model is named \"{}\".", name.as_str()),
                "What works together in the lumen is named by its family (telescope, forceps, suction_tube), or by a model of this site.",
                "Check the name against the catalogue.",
            )),
        }
    }
}

fn in_the_past(deciding: &Deciding, start: Time) -> Problem {
    let (start, now) = start.told_apart(deciding.at(), deciding.state.zone);
    Problem::new(
        Code::TooLate,
        format!("The case is said to start on {start}; now it is {now}."),
        "A planned case starts in the future.",
        "Correct the start, or enter the case as a late fact, with its cause.",
    )
}

pub(super) fn plan(deciding: &mut Deciding, it: &PlanCase) -> Option<What> {
    deciding.touches(None);
    if deciding.state.cases.contains_key(&it.case) {
        deciding.against(Problem::new(
            Code::NameTaken,
            format!("\"{}\" already names a case.", it.case),
            "A case's name is used once.",
            "Choose another name, or change the case that has it.",
        ));
    }
    known_needs(deciding, &it.needs);
    known_wish(deciding, it.configuration.as_deref());
    if !deciding.late() && it.start < deciding.at() {
        deciding.against(in_the_past(deciding, it.start));
    }
    let until = it.start.plus_minutes(i64::from(it.minutes));
    doubt_room(deciding, it.room.as_ref(), &it.case, (it.start, until));
    let patient = it.patient.as_ref().map(|patient| deciding.seal_always(patient.as_str()));
    let by_code = schedule::planned_needs(deciding, it.schedule.as_deref(), &it.needs);
    Some(What::CasePlanned(CasePlanned {
        case: it.case.clone(),
        start: it.start,
        minutes: it.minutes,
        room: it.room.clone(),
        technique: it.technique.or(by_code.technique),
        configuration: it.configuration.clone(),
        needs: by_code.needs,
        patient,
        risk: it.risk.unwrap_or_default(),
        schedule: it.schedule.clone(),
        unmapped: by_code.unmapped,
        needs_chosen: it.schedule.is_some() && !it.needs.is_empty(),
    }))
}

/// Two cases in one room at one time are no rule broken, and seldom what is meant.
fn doubt_room(deciding: &mut Deciding, room: Option<&Line>, case: &Id, times: (Time, Time)) {
    let found = room.and_then(|room| deciding.state.at_once_in(room, case, times));
    deciding.doubts.extend(found.map(|detail| Doubt { pointer: "/room".into(), detail }));
}

pub(super) fn cancelled(case: &Case) -> Option<Problem> {
    case.cancelled.as_ref().map(|_| {
        Problem::new(
            Code::OutOfOrder,
            format!("Case {} is cancelled.", case.case),
            "A case that is still to come, or under way, is needed.",
            "Plan a new case.",
        )
    })
}

pub(super) fn change(deciding: &mut Deciding, it: &ChangeCase) -> Option<What> {
    let case = known_case(deciding, &it.case)?;
    if let Some(problem) = cancelled(&case) {
        deciding.against(problem);
    }
    schedule::may_change(deciding, &case, it);
    known_needs(deciding, it.needs.as_deref().unwrap_or_default());
    known_wish(deciding, it.configuration.as_deref());
    if let Some(start) = it.start
        && !deciding.late()
        && start < deciding.at()
    {
        deciding.against(in_the_past(deciding, start));
    }
    let mut moved = case.clone();
    moved.start = it.start.unwrap_or(case.start);
    moved.minutes = it.minutes.unwrap_or(case.minutes);
    // Only where its time moves: what was set aside before is not asked for again with every change.
    if it.start.is_some() || it.minutes.is_some() {
        let problems = deciding.state.lost_by_moving(&moved);
        problems.into_iter().for_each(|problem| deciding.against(problem));
    }
    if it.start.is_some() || it.minutes.is_some() || it.room.is_some() {
        let room = it.room.clone().or(moved.room.clone());
        doubt_room(deciding, room.as_ref(), &case.case, (moved.start, moved.end()));
    }
    if it.patient.is_some() && deciding.state.dedicated_cases().any(|kept| *kept == case.case) {
        deciding.against(super::dedicate::patient_stays(&case.case));
    }
    let suspected = it.risk == Some(Risk::PrionSuspected) && case.risk != Risk::PrionSuspected;
    let exposed = case.parts.iter().filter(|(_, part)| suspected && part.exposure.is_some());
    let exposed: Vec<Id> = exposed.map(|(asset, _)| asset.clone()).collect();
    let holds = prion_hold(deciding, &case.case, &exposed).into_iter().collect();
    let patient = it.patient.as_ref().map(|patient| deciding.seal_always(patient.as_str()));
    let by_code = schedule::changed_needs(deciding, &case, it);
    let technique = by_code.as_ref().and_then(|by_code| by_code.technique);
    let needs = by_code.as_ref().filter(|by_code| !by_code.kept).map(|by_code| by_code.needs.clone());
    Some(What::CaseChanged(CaseChanged {
        case: it.case.clone(),
        start: it.start,
        start_was: it.start.filter(|start| *start != case.start).map(|_| case.start),
        minutes: it.minutes,
        room: it.room.clone(),
        technique: it.technique.and_then(NewTechnique::decided).or(technique),
        technique_not_decided: it.technique == Some(NewTechnique::NotDecided),
        configuration: it.configuration.clone(),
        needs: it.needs.clone().or(needs),
        patient,
        risk: it.risk,
        holds,
        schedule: it.schedule.clone(),
        unmapped: by_code.map(|by_code| by_code.unmapped).unwrap_or_default(),
    }))
}

/// A prion hold on those of the parts that have none from this kind yet and are still in the house.
pub(super) fn prion_hold(deciding: &mut Deciding, case: &Id, parts: &[Id]) -> Option<HoldPlaced> {
    let state = deciding.state;
    let fresh = |asset: &Asset| asset.retired.is_none() && !asset.has_hold(HoldKind::Prion);
    let known = parts.iter().filter(|id| state.assets.get(*id).is_some_and(|asset| fresh(asset)));
    let assets: Vec<Id> = known.cloned().collect();
    if assets.is_empty() {
        return None;
    }
    let hold = deciding.new_hold()?;
    let reason = format!("case {case}: prion disease suspected");
    Some(HoldPlaced { hold, kind: HoldKind::Prion, reason, assets, notice: None, dedicated_to: None })
}

pub(super) fn cancel(deciding: &mut Deciding, it: &CancelCase) -> Option<What> {
    let case = known_case(deciding, &it.case)?;
    reason_given(deciding, &it.reason);
    if case.cancelled.is_some() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Case {} is already cancelled.", it.case),
            "A case that is still to come is needed.",
            "Nothing needs to be done.",
        ));
    } else if case.anything_out() {
        let out: Vec<&str> =
            case.parts.iter().filter(|(_, part)| part.out).map(|(asset, _)| asset.as_str()).collect();
        let problem = Problem::new(
            Code::CountOpen,
            format!("Out at case {}: {}.", it.case, listed(&out)),
            "A case is cancelled only after everything that was issued to it is counted back.",
            "Close the count first; what was not opened is named as unopened.",
        );
        deciding.against(problem.even_late());
    } else if case.closed && case.took_place() {
        let problem = Problem::new(
            Code::OutOfOrder,
            format!("Case {} is over: its count is closed.", it.case),
            "A case that is still to come is needed.",
            "Leave it as it is.",
        );
        deciding.against(problem.even_late());
    } else if let Some((line, went_in)) = case.counted_in() {
        let problem = Problem::new(
            Code::CountOpen,
            format!("At case {} \"{line}\" was counted in ({went_in}) and not out.", it.case),
            "A case is cancelled only where nothing that was counted in may have stayed.",
            "Close the count with what came out; the case then stands as one that took place.",
        );
        deciding.against(problem.even_late());
    }
    let (case, reason, schedule) = (it.case.clone(), it.reason.0.clone(), it.schedule.clone());
    Some(What::CaseCancelled(CaseCancelled { case, reason, schedule }))
}

/// At most three names, and how many more.
pub(super) fn listed(names: &[&str]) -> String {
    match names {
        [] => "Nothing".into(),
        [first @ .., last] if names.len() <= 3 => {
            if first.is_empty() {
                (*last).to_string()
            } else {
                format!("{} and {last}", first.join(", "))
            }
        }
        _ => {
            let first: Vec<&str> = names.iter().take(3).copied().collect();
            format!("{} and {} more", first.join(", "), names.len() - 3)
        }
    }
}

fn known_set(deciding: &mut Deciding, set: &Id) -> Option<SetState> {
    let Some(found) = deciding.state.sets.get(set).cloned() else {
        deciding.against(unknown("set", set.as_str()));
        return None;
    };
    deciding.touches(Some(found.last_at));
    Some((*found).clone())
}

pub(super) fn promise(deciding: &mut Deciding, it: &Promise) -> Option<What> {
    let case = known_case(deciding, &it.case);
    let set = known_set(deciding, &it.set);
    let (case, set) = (case?, set?);
    let mut problems: Vec<Problem> = cancelled(&case).into_iter().collect();
    if case.cancelled.is_none() && !case.is_open() {
        problems.push(Problem::new(
            Code::OutOfOrder,
            format!("Case {} is over.", it.case),
            "A case that is still to come is needed.",
            "Choose another case.",
        ));
    }
    if case.promised.contains(&it.set) {
        problems.push(Problem::new(
            Code::AlreadyDone,
            format!("Set {} is already kept for case {}.", it.set, it.case),
            "A set that is not yet kept for it is needed.",
            "Nothing needs to be done.",
        ));
    }
    problems.extend(whole_enough(deciding.state, &set));
    problems.extend(deciding.state.taken_elsewhere(&set, &case));
    let members = deciding.state.members(&set);
    problems.extend(members.filter_map(|part| super::dedicate::for_another(deciding, part, &case)));
    // To keep a set is a decision about what is to come, so that it is never told after the fact.
    problems.into_iter().for_each(|problem| deciding.against(problem.even_late()));
    Some(What::Promised(Promised { case: it.case.clone(), set: it.set.clone() }))
}

/// What stands against keeping a set at all: not complete in its essential lines, or a part that will not come.
fn whole_enough(state: &State, set: &SetState) -> Vec<Problem> {
    let mut problems = Vec::new();
    for asset in state.members(set) {
        let grave = |kind| asset.has_hold(kind);
        problems.extend(super::scan::general_problems(state, asset));
        if grave(HoldKind::Recall) && !grave(HoldKind::Prion) {
            problems.extend(super::scan::blocking_hold(state, asset));
        }
    }
    problems.extend(lacking(state, set, "Fill the line, or keep another set."));
    problems
}

/// Each essential line of a set that has fewer parts in the house than it needs, with what to do next.
pub(super) fn lacking(state: &State, set: &SetState, next: &str) -> Vec<Problem> {
    let lines = state.sheets.get(&set.count_sheet).into_iter().flat_map(|sheet| &sheet.lines);
    let mut problems = Vec::new();
    for line in lines.filter(|line| line.essential) {
        let (name, here) = (line.line.as_str(), state.present(set, line.line.as_str()));
        if here < line.quantity {
            problems.push(Problem::new(
                Code::NotComplete,
                format!("Set {} has {here} of {} in line \"{name}\".", set.set, line.quantity),
                "A set that is complete in its essential lines is needed.",
                next,
            ));
        }
    }
    problems
}

pub(super) fn withdraw(deciding: &mut Deciding, it: &Promise) -> Option<What> {
    let case = known_case(deciding, &it.case);
    let set = known_set(deciding, &it.set);
    let (case, _) = (case?, set?);
    if !case.promised.contains(&it.set) {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Set {} is not kept for case {}.", it.set, it.case),
            "A set that is kept for that case is needed.",
            "Nothing needs to be done.",
        ));
    }
    Some(What::PromiseWithdrawn(Promised { case: it.case.clone(), set: it.set.clone() }))
}

impl State {
    /// The other case that a set is kept for, where both need it at once.
    pub fn kept_elsewhere(&self, set: &Id, case: &Case) -> Option<Problem> {
        let other = self.keeper(set, case)?;
        Some(self.is_kept(set, other))
    }

    /// What is said of a set that is kept for a case.
    pub(super) fn is_kept(&self, set: &Id, other: &Case) -> Problem {
        let turnaround = self.policy.turnaround_minutes;
        let problem = Problem::new(
            Code::PromisedElsewhere,
            format!(
                "Set {set} is kept for case {}, which starts on {}.",
                other.case,
                other.start.told(self.zone)
            ),
            format!(
                "The two cases need it at once: {turnaround} minutes are planned for its reprocessing in between."
            ),
            "Take another set, or let the lead or the charge nurse set the promise aside with a reason.",
        );
        problem.open_to_override()
    }

    /// The cases still to come or under way.
    pub fn open_cases(&self) -> impl Iterator<Item = &Case> {
        self.open_cases.iter().filter_map(|id| self.cases.get(id).map(|case| &**case))
    }
}
