//! What the board asks of the desk for a case: words and the things that they name. A request takes nothing and moves nothing;
//! the desk answers it, and does what it asks by scanning, as ever.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::When;
use super::command::{Malformed, wrong};
use super::event::What;
use super::id::Id;
use super::request_stands::Lapsed;
use super::route::StepKind;
use super::state::State;
use super::text::{Line, Text};
use super::time::Time;

/// What the desk is asked to do.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RequestKind {
    /// To take a set before everything else at each step.
    TakeNext,
    /// To begin a machine with a set now, without waiting for more.
    StartNow,
    /// To put a part into a set, and to wrap it anew.
    PutIn,
    /// To borrow a set, or what a line of a set lacks.
    Borrow,
}

/// What is asked for, and for which case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SendRequest {
    pub kind: RequestKind,
    pub case: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    /// The part that is to go into the set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    /// The step that a machine is to begin: `disinfected` or `sterilised`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<StepKind>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<Id>,
    /// Of which a set is to be borrowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count_sheet: Option<Id>,
    /// The line of the set that a borrowed part is to fill.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Line>,
}

impl SendRequest {
    /// One that names its case and nothing else yet.
    pub fn of(kind: RequestKind, case: &Id) -> SendRequest {
        let case = case.clone();
        SendRequest {
            kind,
            case,
            set: None,
            asset: None,
            step: None,
            machine: None,
            count_sheet: None,
            line: None,
        }
    }

    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let (set, asset, step) = (self.set.is_some(), self.asset.is_some(), self.step.is_some());
        let (sheet, line) = (self.count_sheet.is_some(), self.line.is_some());
        // Each field with whether it is there and whether it may be: `None` where either will do.
        let wanted = match self.kind {
            RequestKind::TakeNext => [Some(true), Some(false), Some(false), Some(false), Some(false)],
            RequestKind::StartNow => [Some(true), Some(false), Some(true), Some(false), Some(false)],
            RequestKind::PutIn => [Some(true), Some(true), Some(false), Some(false), Some(false)],
            RequestKind::Borrow => [Some(!sheet), Some(false), Some(false), None, Some(!sheet)],
        };
        let names = ["set", "asset", "step", "count_sheet", "line"];
        let found = [set, asset, step, sheet, line];
        for ((name, is), wanted) in names.into_iter().zip(found).zip(wanted) {
            match wanted {
                Some(true) if !is => {
                    return Err(wrong(format!("/{name}"), "missing; this kind of request needs it"));
                }
                Some(false) if is => {
                    let detail = "found a value; this kind of request has none";
                    return Err(wrong(format!("/{name}"), detail));
                }
                _ => {}
            }
        }
        if self.machine.is_some() && self.kind != RequestKind::StartNow {
            return Err(wrong("/machine", "found a value; this kind of request has none"));
        }
        match self.step {
            None | Some(StepKind::Disinfected | StepKind::Sterilised) => Ok(()),
            Some(_) => Err(wrong("/step", "found another step; disinfected or sterilised is needed")),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RequestSent {
    pub request: Id,
    pub asks: Box<SendRequest>,
    /// Where a set is to be borrowed: how many of its count sheet the house had then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub had: Option<u32>,
}

/// What the desk says to a request.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reply {
    Accepted,
    Done,
    Cannot,
}

impl Reply {
    pub fn name(self) -> &'static str {
        match self {
            Reply::Accepted => "accepted",
            Reply::Done => "done",
            Reply::Cannot => "cannot",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Reply::Accepted => "accepted",
            Reply::Done => "done",
            Reply::Cannot => "can't be done",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswerRequest {
    pub request: Id,
    pub answer: Reply,
    /// Why it cannot be done, or what else there is to say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<Text>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RequestAnswered {
    pub request: Id,
    pub case: Id,
    pub answer: Reply,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WithdrawRequest {
    pub request: Id,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RequestWithdrawn {
    pub request: Id,
    pub case: Id,
}

/// An answer, or what else somebody did with a request.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Told {
    pub at: Time,
    pub by: String,
    pub entry: u64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answered {
    pub answer: Reply,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
    #[serde(flatten)]
    pub told: Told,
}

/// A request with what became of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Request {
    pub request: Id,
    pub asks: SendRequest,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub had: Option<u32>,
    pub sent: Told,
    /// The last one stands.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answered>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<Told>,
    /// What it asks for has become so, whoever did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub so_since: Option<Lapsed>,
    /// Its case has begun, is over or cancelled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over: Option<Lapsed>,
}

impl Request {
    pub fn answer(&self) -> Option<&Answered> {
        self.answers.last()
    }

    /// The last thing that somebody did with it.
    pub(super) fn last_at(&self) -> Time {
        let answered = self.answer().map(|it| it.told.at);
        let withdrawn = self.withdrawn.as_ref().map(|it| it.at);
        answered.max(withdrawn).map_or(self.sent.at, |at| at.max(self.sent.at))
    }
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    let told = Told { at: when.at, by: when.actor.to_string(), entry: when.seq };
    match what {
        What::RequestSent(it) => {
            let request = Request {
                request: it.request.clone(),
                asks: (*it.asks).clone(),
                had: it.had,
                sent: told,
                answers: Vec::new(),
                withdrawn: None,
                so_since: None,
                over: None,
            };
            state.requests.insert(it.request.clone(), Arc::new(request));
            state.index_request(&it.request);
        }
        What::RequestAnswered(it) => state.change_request(&it.request, |request| {
            request.answers.push(Answered { answer: it.answer, because: it.because.clone(), told });
        }),
        What::RequestWithdrawn(it) => {
            state.change_request(&it.request, |request| request.withdrawn = Some(told));
        }
        _ => {}
    }
}
