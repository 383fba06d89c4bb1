//! What another system's schedule says of a case: whose appointment it is, and what was told of it last. What a person
//! decided stands beside it, and is not overwritten.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::{Case, ChangeCase};
use super::deciding::Deciding;
use super::exposure::{CaseChanged, CasePlanned};
use super::id::Id;
use super::procedure::{Resolved, resolve};
use super::refusal::{Code, Problem};
use super::state::State;
use super::text::{Line, Sealed};
use super::time::Time;

/// A procedure as the schedule codes it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Coded {
    pub code: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<Line>,
}

/// When a message was sent: from the first to the last instant that its text may mean, since clocks that are set back
/// tell an hour twice, and some senders tell the day alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Sent {
    pub from: Time,
    pub until: Time,
}

/// An appointment by its ids, and what a message tells of it. What is absent is not told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Scheduled {
    /// The system that keeps the schedule.
    pub sender: Line,
    /// The number that the one who asked for the appointment gave it, and the one who keeps the schedule.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub placer: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub filler: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sent: Option<Sent>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub codes: Option<Vec<Coded>>,
}

impl Scheduled {
    /// Keeps what is told beside what was told before.
    pub(super) fn take(&mut self, newer: &Scheduled) {
        fn put<T: Clone>(to: &mut Option<T>, from: &Option<T>) {
            if from.is_some() {
                to.clone_from(from);
            }
        }
        put(&mut self.placer, &newer.placer);
        put(&mut self.filler, &newer.filler);
        put(&mut self.sent, &newer.sent);
        put(&mut self.start, &newer.start);
        put(&mut self.minutes, &newer.minutes);
        put(&mut self.room, &newer.room);
        put(&mut self.codes, &newer.codes);
    }

    /// Whether it tells the same of the same appointment, whenever it was sent.
    pub fn says_as(&self, other: &Scheduled) -> bool {
        Scheduled { sent: None, ..self.clone() } == Scheduled { sent: None, ..other.clone() }
    }

    /// Whether it was certainly sent before what is known already.
    pub fn is_older_than(&self, known: &Scheduled) -> bool {
        self.sent.zip(known.sent).is_some_and(|(this, known)| this.until < known.from)
    }

    /// Under which it is found: by the keeper's number, and by the asker's.
    pub fn keys(&self) -> impl Iterator<Item = String> {
        let key = |kind: &str, number: &Option<Line>| {
            number
                .as_ref()
                .map(|number| format!("{kind}\u{1f}{}\u{1f}{}", self.sender.as_str(), number.as_str()))
        };
        [key("filler", &self.filler), key("placer", &self.placer)].into_iter().flatten()
    }
}

/// What the schedule has to do with a case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OfSchedule {
    /// What was told last of each.
    pub told: Scheduled,
    /// The entry since which it is the schedule's.
    pub since: u64,
    /// The patient's reference as the schedule gave it last, sealed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patient: Option<Sealed>,
    /// Codes that nobody had mapped when the needs were made of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unmapped: Vec<Line>,
    /// A person chose the needs, or the technique.
    #[serde(default)]
    pub needs_chosen: bool,
    #[serde(default)]
    pub technique_chosen: bool,
    /// The schedule named another procedure since a person chose the needs.
    #[serde(default)]
    pub procedure_changed: bool,
}

impl OfSchedule {
    pub fn planned(it: &CasePlanned, since: u64) -> Option<Box<OfSchedule>> {
        let told = (**it.schedule.as_ref()?).clone();
        Some(Box::new(OfSchedule {
            told,
            since,
            patient: it.patient.clone(),
            unmapped: it.unmapped.clone(),
            needs_chosen: it.needs_chosen,
            technique_chosen: false,
            procedure_changed: false,
        }))
    }

    /// Of a case that a person planned: what they decided stays theirs.
    pub fn planned_by_hand(told: &Scheduled, since: u64) -> Box<OfSchedule> {
        Box::new(OfSchedule {
            told: told.clone(),
            since,
            patient: None,
            unmapped: Vec::new(),
            needs_chosen: true,
            technique_chosen: true,
            procedure_changed: false,
        })
    }

    pub fn codes(&self) -> &[Coded] {
        self.told.codes.as_deref().unwrap_or_default()
    }

    /// Nobody knows yet what the case needs.
    pub fn needs_not_known(&self) -> bool {
        !self.needs_chosen && (self.codes().is_empty() || !self.unmapped.is_empty())
    }

    /// Makes true what a change says, by the schedule or by a person.
    pub fn changed(&mut self, it: &CaseChanged) {
        let Some(told) = &it.schedule else {
            self.needs_chosen |= it.needs.is_some();
            self.procedure_changed &= it.needs.is_none();
            self.technique_chosen |= it.technique.is_some() || it.technique_not_decided;
            return;
        };
        let other = told.codes.as_ref().is_some_and(|codes| codes.as_slice() != self.codes());
        if other {
            self.procedure_changed |= self.needs_chosen;
            self.unmapped.clone_from(&it.unmapped);
        }
        self.told.take(told);
        if it.patient.is_some() {
            self.patient.clone_from(&it.patient);
        }
    }
}

/// What a case needs by the procedures that the schedule names.
pub(super) fn planned_needs(deciding: &Deciding, schedule: Option<&Scheduled>, needs: &[Id]) -> Resolved {
    match schedule {
        Some(schedule) if needs.is_empty() => {
            resolve(deciding.state, schedule.codes.as_deref().unwrap_or_default())
        }
        _ => Resolved { needs: needs.to_vec(), ..Resolved::default() },
    }
}

/// What the schedule may not do to a case that is under way, and what was overtaken.
pub(super) fn may_change(deciding: &mut Deciding, case: &Case, it: &ChangeCase) {
    let Some(schedule) = &it.schedule else { return };
    if case.schedule.as_ref().is_some_and(|known| schedule.is_older_than(&known.told)) {
        deciding.against(Problem::new(
            Code::TooLate,
            format!("Of case {} something newer was told by the schedule.", case.case),
            "What was sent after the last message is needed.",
            "Nothing needs to be done.",
        ));
    }
    let moves = it.start.is_some() || it.minutes.is_some() || it.patient.is_some();
    if let Some(problem) = under_way(case).filter(|_| moves || other_codes(case, schedule)) {
        deciding.against(problem.even_late());
    }
}

/// Why the schedule alone does not move a case, where things are out or were opened at it.
pub fn under_way(case: &Case) -> Option<Problem> {
    use super::case::CaseStatus;
    let (code, found) = match case.status() {
        CaseStatus::Planned | CaseStatus::Cancelled => return None,
        CaseStatus::Issued => (Code::CountOpen, "has things issued to it"),
        CaseStatus::Opened => (Code::CountOpen, "is under way: things were opened at it"),
        CaseStatus::Closed => (Code::OutOfOrder, "is over: its count is closed"),
    };
    Some(Problem::new(
        code,
        format!("Case {} {found}.", case.case),
        "The schedule changes only a case that nothing was issued to.",
        "Look at the case: change it by hand, or tell the schedule that it took place.",
    ))
}

/// Whether the schedule names other procedures than before.
pub fn other_codes(case: &Case, schedule: &Scheduled) -> bool {
    let known = case.schedule.as_ref().map(|known| known.codes()).unwrap_or_default();
    schedule.codes.as_ref().is_some_and(|codes| codes.as_slice() != known)
}

/// The needs that follow where the schedule names other procedures; none where a person chose them.
pub(super) fn changed_needs(deciding: &Deciding, case: &Case, it: &ChangeCase) -> Option<Resolved> {
    let schedule = it.schedule.as_ref().filter(|schedule| other_codes(case, schedule))?;
    let chosen = case.schedule.as_ref().is_none_or(|known| known.needs_chosen);
    let mut resolved = resolve(deciding.state, schedule.codes.as_deref().unwrap_or_default());
    if chosen || it.needs.is_some() {
        // What nobody mapped is told all the same.
        resolved.kept = true;
    }
    if case.schedule.as_ref().is_none_or(|known| known.technique_chosen) {
        resolved.technique = None;
    }
    Some(resolved)
}

impl State {
    /// The case of an appointment: by the keeper's number; by the asker's only where the keeper's says nothing else,
    /// since one who asks may ask for several under one number.
    pub fn case_of(&self, schedule: &Scheduled) -> Option<&Case> {
        let by = |number: Option<&Line>, kind: &str| {
            let key = format!("{kind}\u{1f}{}\u{1f}{}", schedule.sender.as_str(), number?.as_str());
            self.scheduled.get(&key).and_then(|id| self.cases.get(id)).map(|case| &**case)
        };
        by(schedule.filler.as_ref(), "filler").or_else(|| {
            by(schedule.placer.as_ref(), "placer").filter(|case| {
                let known = case.schedule.as_ref().and_then(|known| known.told.filler.as_ref());
                known.is_none() || schedule.filler.is_none() || known == schedule.filler.as_ref()
            })
        })
    }

    /// Keeps under which numbers a case is found; the newest case of a number is the one. `before` are the keys under which
    /// it was found until now.
    pub(super) fn index_schedule(&mut self, case: &Id, before: &[String]) {
        let now = self.keys_of(case);
        for gone in before.iter().filter(|key| !now.contains(key)) {
            if self.scheduled.get(gone) == Some(case) {
                self.scheduled.remove(gone);
                let others =
                    self.cases.values().filter_map(|other| Some((other.schedule.as_ref()?, &other.case)));
                let others = others.filter(|(of, _)| of.told.keys().any(|key| key == *gone));
                let newest = others.max_by_key(|(of, _)| of.since).map(|(_, other)| other.clone());
                newest.into_iter().for_each(|other| drop(self.scheduled.insert(gone.clone(), other)));
            }
        }
        let since = |id: &Id| self.cases.get(id).and_then(|case| case.schedule.as_ref()).map(|of| of.since);
        let own = since(case);
        let newest = |key: &String| self.scheduled.get(key).is_none_or(|other| since(other) <= own);
        let keys: Vec<String> = now.into_iter().filter(newest).collect();
        keys.into_iter().for_each(|key| drop(self.scheduled.insert(key, case.clone())));
    }

    /// The keys under which a case of the schedule is found.
    pub(super) fn keys_of(&self, case: &Id) -> Vec<String> {
        let of = self.cases.get(case).and_then(|case| case.schedule.as_ref());
        of.map(|of| of.told.keys().collect()).unwrap_or_default()
    }
}
