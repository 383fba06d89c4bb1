//! What stands against a request of the board, against an answer to one, and against taking it back.

use std::sync::Arc;

use super::command;
use super::deciding::Deciding;
use super::event::What;
use super::id::{Id, next_free};
use super::model::unknown;
use super::refusal::{Code, Problem};
use super::request::{
    AnswerRequest, Reply, Request, RequestAnswered, RequestSent, RequestWithdrawn, SendRequest,
    WithdrawRequest,
};
use super::scan::general_problems;
use super::state::State;
use super::time::Time;

pub(super) fn act(deciding: &mut Deciding, act: &command::Request) -> Option<What> {
    match act {
        command::Request::Send(it) => send(deciding, it),
        command::Request::Answer(it) => answer(deciding, it),
        command::Request::Withdraw(it) => withdraw(deciding, it),
    }
}

/// A request is about what is to come, so that what stands against it stands however late it is told.
fn send(deciding: &mut Deciding, it: &SendRequest) -> Option<What> {
    deciding.touches(None);
    let state = deciding.state;
    let mut problems = not_known(state, it);
    if problems.is_empty() {
        problems = against(state, it, deciding.at());
    }
    problems.into_iter().for_each(|problem| deciding.against(problem.even_late()));
    let taken = |id: &Id| state.requests.contains_key(id);
    let request = next_free("request", 5, state.requests.len(), taken)?;
    deciding.made = Some(request.clone());
    let had = it.count_sheet.as_ref().map(|sheet| state.sets_built(sheet));
    Some(What::RequestSent(RequestSent { request, asks: Box::new(it.clone()), had }))
}

/// What it names that nobody knows.
fn not_known(state: &State, it: &SendRequest) -> Vec<Problem> {
    let mut all = Vec::new();
    if !state.cases.contains_key(&it.case) {
        all.push(unknown("case", it.case.as_str()));
    }
    let set = it.set.as_ref().map(|set| (set, state.sets.get(set)));
    all.extend(set.iter().filter(|(_, known)| known.is_none()).map(|(set, _)| unknown("set", set.as_str())));
    let asset = it.asset.iter().filter(|asset| !state.assets.contains_key(*asset));
    all.extend(asset.map(|asset| unknown("part", asset.as_str())));
    let machine = it.machine.iter().filter(|machine| !state.machines.contains_key(*machine));
    all.extend(machine.map(|machine| unknown("machine", machine.as_str())));
    let sheet = it.count_sheet.iter().filter(|sheet| !state.sheets.contains_key(*sheet));
    all.extend(sheet.map(|sheet| unknown("count sheet", sheet.as_str())));
    if let (Some(line), Some((_, Some(set)))) = (&it.line, set)
        && state.sheets.get(&set.count_sheet).is_none_or(|sheet| sheet.line(line.as_str()).is_none())
    {
        all.push(unknown(&format!("line of set {}", set.set), line.as_str()));
    }
    all
}

/// What stands against asking for it.
fn against(state: &State, it: &SendRequest, at: Time) -> Vec<Problem> {
    let mut all = Vec::new();
    if let Some(over) = state.over_for(&it.case, at) {
        all.push(Problem::new(
            Code::OutOfOrder,
            over.words(&it.case),
            "A case that is still to begin is needed.",
            "Ask the desk by word of mouth for what is needed now.",
        ));
    }
    all.extend(
        it.asset
            .iter()
            .filter_map(|asset| state.assets.get(asset))
            .flat_map(|asset| general_problems(state, asset)),
    );
    let mut others = state.requests_of(&it.case).filter(|other| other.asks == *it && other.waits(state, at));
    if let Some(other) = others.next() {
        let answered = other
            .answer()
            .map_or("it is not answered yet".to_string(), |it| format!("it is {}", it.answer.words()));
        all.push(Problem::new(
            Code::AlreadyDone,
            format!("{} asks the desk for the same: {answered}.", other.request),
            "A request that nobody has sent yet is needed.",
            "Wait for the desk, or take that one back.",
        ));
    }
    all.extend(super::request_sense::against(state, it));
    let had = it.count_sheet.as_ref().map(|sheet| state.sets_built(sheet));
    if let Some(so) = state.is_so(it, (had, state.seq), at) {
        all.push(Problem::new(
            Code::AlreadyDone,
            so,
            "Something that is still to be done is needed.",
            "Nothing needs to be asked.",
        ));
    }
    all
}

fn known(deciding: &mut Deciding, request: &Id) -> Option<Arc<Request>> {
    let Some(found) = deciding.state.requests.get(request).cloned() else {
        deciding.against(unknown("request", request.as_str()));
        return None;
    };
    deciding.touches(Some(found.last_at()));
    Some(found)
}

fn answer(deciding: &mut Deciding, it: &AnswerRequest) -> Option<What> {
    let request = known(deciding, &it.request)?;
    let because = it.because.as_ref().filter(|because| !because.is_blank());
    if it.answer == Reply::Cannot && because.is_none() {
        deciding.against(Problem::new(
            Code::NeedsReason,
            "Why it can't be done is not said.",
            "A reason in words is needed: whoever asked has to find another way.",
            "Say why, in a few words.",
        ));
    }
    let last = request.answer();
    if let Some(last) = last.filter(|last| last.answer == it.answer || last.answer == Reply::Done) {
        let problem = Problem::new(
            Code::AlreadyDone,
            format!("{} was answered by {}: {}.", it.request, last.told.by, last.answer.words()),
            "A request that has no such answer yet is needed.",
            "Nothing needs to be done.",
        );
        deciding.against(problem.even_late());
    }
    if let Some(found) = request.closed(deciding.state, deciding.at()) {
        let problem = Problem::new(
            Code::OutOfOrder,
            found,
            "A request that still waits for the desk is needed.",
            "Nothing needs to be done for it.",
        );
        // That it was done is a fact, whatever became of the request meanwhile.
        match it.answer {
            Reply::Done => deciding.deviates(problem.code),
            Reply::Accepted | Reply::Cannot => deciding.against(problem.even_late()),
        }
    }
    let (case, because) = (request.asks.case.clone(), because.map(|because| because.0.clone()));
    let answered = RequestAnswered { request: it.request.clone(), case, answer: it.answer, because };
    Some(What::RequestAnswered(answered))
}

fn withdraw(deciding: &mut Deciding, it: &WithdrawRequest) -> Option<What> {
    let request = known(deciding, &it.request)?;
    let done = request.answer().filter(|last| last.answer == Reply::Done);
    let found = match done {
        Some(done) => Some(format!("{} was done, {} says.", it.request, done.told.by)),
        None => request.closed(deciding.state, deciding.at()),
    };
    if let Some(found) = found {
        let problem = Problem::new(
            Code::AlreadyDone,
            found,
            "A request that still waits is needed.",
            "Nothing needs to be taken back.",
        );
        deciding.against(problem.even_late());
    }
    let (request, case) = (it.request.clone(), request.asks.case.clone());
    Some(What::RequestWithdrawn(RequestWithdrawn { request, case }))
}
