//! What people sign for, and what they ask of each other: shifts that are taken over, months of exceptions, and the board's
//! requests to the desk.

use chrono::Datelike;

use super::{Hospital, Task};
use crate::domain::case::Case;
use crate::domain::command::{Act, Request, Signature};
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::readiness::{SetReadiness, set_status};
use crate::domain::request::{RequestKind, SendRequest};
use crate::domain::signing::{ReviewExceptions, TakeOver};
use crate::domain::state::State;
use crate::domain::text::Line;
use crate::domain::time::Date;

impl Hospital {
    /// Seven in the morning and in the evening: who comes on duty reads the handover, and signs.
    pub(super) fn shift_begins(&mut self) {
        let morning = self.hour() < 12;
        let at = if morning { self.on(self.clock.date(self.plan.zone), 19, 0) } else { self.tomorrow(7, 0) };
        self.later(at, Task::Shift);
        let take = || Act::Signature(Signature::TakeOver(TakeOver { entry: None, handed_over_by: None }));
        self.give(if morning { Role::Lead } else { Role::Desk }, take());
        if morning {
            self.give(Role::Charge, take());
            self.sign_last_month();
        }
    }

    /// On the second of each month the lead signs the exceptions of the last one; infection prevention on the fifth.
    fn sign_last_month(&mut self) {
        let today = self.clock.date(self.plan.zone);
        let role = match today.day() {
            2 => Role::Lead,
            5 => Role::Infection,
            _ => return,
        };
        let Some(last) = today.with_day(1).as_ref().and_then(Date::pred_opt) else { return };
        let month = Line(last.format("%Y-%m").to_string());
        let review = ReviewExceptions { month, entry: None };
        self.give(role, Act::Signature(Signature::Review(review)));
    }

    /// A case that lacks a set asks the desk to take one next that is on its way.
    pub(super) fn ask_the_desk(&mut self, state: &State, case: &Case) {
        if self.paper_until.is_some() {
            return;
        }
        let lacks = case.needs.iter().find(|need| self.for_case(state, case, need).is_none());
        let on_its_way = |sheet: &Id| {
            state.sets.values().find(|set| {
                set.count_sheet == *sheet && set_status(state, set, self.clock).status == SetReadiness::InTurn
            })
        };
        let Some(set) = lacks.and_then(on_its_way) else { return };
        let asks =
            SendRequest { set: Some(set.set.clone()), ..SendRequest::of(RequestKind::TakeNext, &case.case) };
        self.give(Role::Charge, Act::Request(Request::Send(asks)));
    }
}
