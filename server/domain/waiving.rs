//! Which rules an override may set aside, and for whom.

use super::deciding::Deciding;
use super::person::Role;
use super::refusal::{Code, Problem};
use super::text::Line;

impl Deciding<'_> {
    /// Whether somebody who is named as another person is the one who does it, by code or by name.
    pub(super) fn is_doer(&self, named: &Line) -> bool {
        let same = |own: &str| named.as_str().trim().to_lowercase() == own.trim().to_lowercase();
        let (doer, actor) = (self.doer(), self.asked.actor.code.as_str());
        same(doer) || self.asked.own_name.is_some_and(|name| doer == actor && same(name))
    }

    /// Whether the command's override sets this aside.
    pub fn may_waive(&self, problem: &Problem) -> bool {
        let Some(given) = &self.command.around.overriding else {
            return false;
        };
        let role = self.asked.actor.role;
        problem.open_to_override
            && given.code.names(problem.code)
            && !given.reason.is_blank()
            && match problem.code {
                Code::SamePerson => {
                    role == Role::Lead || (role == Role::Desk && self.names_a_reserve(&given.reason.0))
                }
                Code::OutOfOrder | Code::LimitReached => role == Role::Lead,
                Code::PromisedElsewhere => matches!(role, Role::Lead | Role::Charge),
                Code::ReserveWouldBeUndercut => role == Role::Charge,
                Code::PastDate | Code::StillCooling | Code::Held => {
                    // What is open here is an emergency issue; a second person stands by it.
                    let second = given.second_person.as_ref();
                    matches!(role, Role::Clinician | Role::Charge)
                        && second.is_some_and(|who| !who.is_blank() && !self.is_doer(who))
                }
                _ => false,
            }
    }

    /// Alone at night only because a reserve needs it: the reason names its count sheet.
    fn names_a_reserve(&self, reason: &str) -> bool {
        let words = reason.split(|c: char| !(c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-')));
        words.map(|word| word.trim_end_matches('.')).any(|word| {
            self.state.reserves.get(word).is_some_and(|n| *n > 0) || self.state.open_cases.contains(word)
        })
    }
}
