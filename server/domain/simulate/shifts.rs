//! What people sign for, and what they ask of each other: shifts that are taken over, months of exceptions, and the board's
//! requests to the desk.

use chrono::Datelike;

use super::{Hospital, Task};
use crate::domain::case::Case;
use crate::domain::command::{Act, Request, Signature};
use crate::domain::id::Id;
use crate::domain::odd;
use crate::domain::person::Role;
use crate::domain::readiness::{SetReadiness, set_status};
use crate::domain::request::{AnswerRequest, Reply, RequestKind, SendRequest};
use crate::domain::request_stands::Standing;
use crate::domain::signing::{ReviewExceptions, TakeOver};
use crate::domain::state::State;
use crate::domain::text::Line;
use crate::domain::time::Date;

impl Hospital {
    /// Seven in the morning and in the evening: who comes on duty reads the handover, and signs.
    pub(super) fn shift_begins(&mut self, state: &State) {
        let morning = self.hour() < 12;
        let at = if morning { self.on(self.clock.date(self.plan.zone), 19, 0) } else { self.tomorrow(7, 0) };
        self.later(at, Task::Shift);
        let take =
            || Act::Signature(Signature::TakeOver(TakeOver { entry: state.seq, handed_over_by: None }));
        self.give(if morning { Role::Lead } else { Role::Desk }, take());
        if morning {
            self.give(Role::Charge, take());
            self.sign_last_month(state);
        }
    }

    /// On the second of each month the lead signs the exceptions of the last one; infection prevention on the fifth.
    fn sign_last_month(&mut self, state: &State) {
        let today = self.clock.date(self.plan.zone);
        let role = match today.day() {
            2 => Role::Lead,
            5 => Role::Infection,
            _ => return,
        };
        let Some(last) = today.with_day(1).as_ref().and_then(Date::pred_opt) else { return };
        let month = Line(odd::month(state, self.on(last, 12, 0)));
        let review = ReviewExceptions { month, entry: state.seq };
        self.give(role, Act::Signature(Signature::Review(review)));
    }

    /// A case that lacks a set asks the desk to take one next that is on its way.
    pub(super) fn ask_the_desk(&mut self, state: &State, case: &Case) {
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

    /// The desk says yes to what it is asked; it is done by scanning, as ever.
    pub(super) fn answer_the_board(&mut self, state: &State) {
        for it in state.waiting_requests(self.clock).into_iter().filter(|it| it.status == Standing::Sent) {
            let answer = AnswerRequest { request: it.request, answer: Reply::Accepted, because: None };
            self.give(Role::Desk, Act::Request(Request::Answer(answer)));
        }
    }
}
