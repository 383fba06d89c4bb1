//! What a procedure needs: the codes of a schedule, each with the count sheets, the technique and the minutes that a nurse
//! gave it. An unmapped code makes no needs up.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::ToSchema;

use super::apply::When;
use super::apply_case::change_case;
use super::case::{Case, CaseStatus};
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::unknown;
use super::planning::{cancelled, known_case, known_needs};
use super::refusal::{Code, Problem};
use super::schedule::Coded;
use super::state::State;
use super::technique::Technique;
use super::text::Line;
use super::time::Time;

const LONGEST_MINUTES: u32 = 24 * 60;
const MOST_NEEDS: usize = 50;
const MOST_CASES: usize = 500;

/// Says what a procedure needs, anew and whole; or forgets it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MapProcedure {
    /// As the schedule writes it, letter by letter.
    pub code: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<Line>,
    #[serde(default)]
    pub needs: Vec<Id>,
    /// It needs none of the house's sets: said on purpose, never by a field that was left empty.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub nothing: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technique: Option<Technique>,
    /// Where the schedule tells no length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u32>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub forget: bool,
}

impl MapProcedure {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.code.is_blank() || self.code.as_str().trim() != self.code.as_str() {
            return Err(wrong("/code", "found blanks around it, or nothing; a code is needed"));
        }
        if self.minutes.is_some_and(|minutes| !(1..=LONGEST_MINUTES).contains(&minutes)) {
            return Err(wrong("/minutes", format!("found a length outside 1 to {LONGEST_MINUTES} minutes")));
        }
        let named = [!self.needs.is_empty(), self.nothing, self.forget].into_iter().filter(|it| *it).count();
        if named != 1 {
            let detail = "found none or several of needs, nothing and forget; the count sheets that it needs are \
                          needed, or nothing where it needs none of them";
            return Err(wrong("/needs", detail));
        }
        if self.needs.len() > MOST_NEEDS {
            return Err(wrong("/needs", format!("found more than {MOST_NEEDS} count sheets")));
        }
        Ok(())
    }
}

/// Gives cases of the schedule the needs that their procedures have by now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ApplyProcedures {
    pub cases: Vec<Id>,
}

impl ApplyProcedures {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self.cases.len() {
            1..=MOST_CASES => Ok(()),
            n => Err(wrong("/cases", format!("found {n} cases; 1 to {MOST_CASES} are needed"))),
        }
    }
}

/// What each of the cases needs from now on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProceduresApplied {
    pub cases: Vec<Needing>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Needing {
    pub case: Id,
    pub needs: Vec<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technique: Option<Technique>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unmapped: Vec<Line>,
}

/// What stands for a code now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Procedure {
    #[serde(flatten)]
    pub mapped: MapProcedure,
    pub at: Time,
    pub by: String,
    pub entry: u64,
}

/// Under which a code is kept: itself where it is a name, else what it comes to.
pub fn key(code: &str) -> Option<Id> {
    let plain = Id::new(code).filter(|_| !code.starts_with("code-"));
    plain.or_else(|| Id::new(&format!("code-{}", hex::encode(Sha256::digest(code.as_bytes())).get(..40)?)))
}

/// What procedures come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Resolved {
    pub needs: Vec<Id>,
    pub technique: Option<Technique>,
    pub minutes: Option<u32>,
    /// Codes that nobody has mapped.
    pub unmapped: Vec<Line>,
    /// The needs stay as a person chose them.
    pub kept: bool,
}

impl State {
    pub fn procedure(&self, code: &str) -> Option<&Arc<Procedure>> {
        self.procedures.get(&key(code)?).filter(|it| !it.mapped.forget)
    }
}

/// What the procedures of an appointment need together. Where two of them ask for different techniques, none is said.
pub fn resolve(state: &State, codes: &[Coded]) -> Resolved {
    let mut all = Resolved::default();
    let mut techniques: Vec<Technique> = Vec::new();
    for coded in codes {
        let Some(it) = state.procedure(coded.code.as_str()) else {
            all.unmapped.push(coded.code.clone());
            continue;
        };
        for need in &it.mapped.needs {
            if !all.needs.contains(need) && all.needs.len() < MOST_NEEDS {
                all.needs.push(need.clone());
            }
        }
        techniques.extend(it.mapped.technique);
        all.minutes = all.minutes.max(it.mapped.minutes);
    }
    techniques.dedup();
    if let [one] = techniques.as_slice() {
        all.technique = Some(*one);
    }
    all
}

pub(super) fn map(deciding: &mut Deciding, it: &MapProcedure) -> Option<What> {
    deciding.touches(None);
    if it.forget && deciding.state.procedure(it.code.as_str()).is_none() {
        deciding.against(unknown("procedure", it.code.as_str()));
    }
    known_needs(deciding, &it.needs);
    Some(What::ProcedureMapped(it.clone()))
}

/// What a case would need by the procedures that its schedule names, where that is something else than it needs now. A
/// person's own choice is no question.
pub fn offered(state: &State, case: &Case) -> Option<Needing> {
    let of = case.schedule.as_ref().filter(|of| !of.needs_chosen && !of.codes().is_empty())?;
    if case.status() != CaseStatus::Planned {
        return None;
    }
    let resolved = resolve(state, of.codes());
    let technique = resolved.technique.filter(|_| !of.technique_chosen);
    let same = resolved.needs == case.needs
        && resolved.unmapped == of.unmapped
        && (technique.is_none() || technique == case.technique);
    let it =
        Needing { case: case.case.clone(), needs: resolved.needs, technique, unmapped: resolved.unmapped };
    (!same).then_some(it)
}

pub(super) fn take_over(deciding: &mut Deciding, it: &ApplyProcedures) -> Option<What> {
    let mut cases = Vec::new();
    for id in &it.cases {
        let Some(case) = known_case(deciding, id) else { continue };
        if cases.iter().any(|known: &Needing| known.case == *id) {
            continue;
        }
        match (cancelled(&case), offered(deciding.state, &case)) {
            (Some(problem), _) => deciding.against(problem.even_late()),
            (None, Some(needing)) => cases.push(needing),
            (None, None) => deciding.against(nothing_to_take(&case).even_late()),
        }
    }
    Some(What::ProceduresApplied(ProceduresApplied { cases }))
}

fn nothing_to_take(case: &Case) -> Problem {
    let (id, of) = (&case.case, case.schedule.as_ref());
    let found = match of {
        None => format!("Case {id} is none of the schedule."),
        Some(of) if of.needs_chosen => format!("The needs of case {id} were chosen by a person."),
        Some(_) if case.status() != CaseStatus::Planned => format!("Case {id} is under way or over."),
        Some(_) => format!("Case {id} has what its procedures need already."),
    };
    Problem::new(
        Code::AlreadyDone,
        found,
        "A planned case of the schedule is needed whose procedures need something else than it has.",
        "Leave it as it is, or change its needs by hand.",
    )
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    match what {
        What::ProcedureMapped(it) => {
            let Some(key) = key(it.code.as_str()) else { return };
            let newest = state.procedures.get(&key).is_none_or(|known| known.at <= when.at);
            if newest {
                let by = when.actor.to_string();
                let kept = Procedure { mapped: it.clone(), at: when.at, by, entry: when.seq };
                state.changes.procedures.insert(key.clone());
                state.procedures.insert(key, Arc::new(kept));
            }
        }
        What::ProceduresApplied(it) => {
            for needing in &it.cases {
                change_case(state, when, &needing.case, |case| {
                    case.needs.clone_from(&needing.needs);
                    case.technique = needing.technique.or(case.technique);
                    if let Some(of) = &mut case.schedule {
                        of.unmapped.clone_from(&needing.unmapped);
                    }
                });
            }
        }
        _ => {}
    }
}
