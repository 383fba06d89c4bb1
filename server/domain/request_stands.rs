//! How a request stands: it waits, was answered, was taken back, or has lapsed, since its case has begun or is over, or since
//! what it asks for is so. What lapsed by an entry is kept with the request; what lapses by the clock is seen when it is looked at.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::apply::When;
use super::board::hour;
use super::case::{Case, CaseStatus};
use super::id::Id;
use super::issuing::is_ready;
use super::readiness::glance;
use super::request::{Answered, Reply, Request, RequestKind, SendRequest, Told};
use super::route::StepKind;
use super::state::State;
use super::time::Time;

/// Why nobody has to do any more what was asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    IsSo,
    CaseBegun,
    CaseOver,
    CaseCancelled,
    /// The planned end of the case has passed, and nobody told of a beginning.
    TimePassed,
}

impl Why {
    pub fn words(self, case: &Id) -> String {
        match self {
            Why::IsSo => "What was asked for is so.".into(),
            Why::CaseBegun => format!("Case {case} has begun."),
            Why::CaseOver => format!("Case {case} is over."),
            Why::CaseCancelled => format!("Case {case} is cancelled."),
            Why::TimePassed => format!("The time that was planned for case {case} has passed."),
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lapsed {
    pub why: Why,
    pub at: Time,
    pub entry: u64,
}

/// How a request stands, as one word.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    Sent,
    Accepted,
    Done,
    Cannot,
    Lapsed,
    Withdrawn,
}

impl Standing {
    pub fn words(self) -> &'static str {
        match self {
            Standing::Sent => "not answered yet",
            Standing::Accepted => Reply::Accepted.words(),
            Standing::Done => Reply::Done.words(),
            Standing::Cannot => Reply::Cannot.words(),
            Standing::Lapsed => "lapsed",
            Standing::Withdrawn => "taken back",
        }
    }
}

/// A request as it is told: what is asked, how it stands, and who said so.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RequestTold {
    pub request: Id,
    #[serde(flatten)]
    pub asks: SendRequest,
    /// What is asked, as people say it.
    pub sentence: String,
    pub status: Standing,
    /// Why it lapsed, in a sentence.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lapsed: Option<String>,
    pub at: Time,
    pub by: String,
    pub entry: u64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answered>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<Told>,
}

impl Request {
    /// Whether the desk still has to do something about it.
    pub fn waits(&self, state: &State, now: Time) -> bool {
        matches!(self.stands(state, now), Standing::Sent | Standing::Accepted)
    }

    pub fn stands(&self, state: &State, now: Time) -> Standing {
        let answer = self.answer().map(|it| it.answer);
        match answer {
            _ if self.withdrawn.is_some() => Standing::Withdrawn,
            Some(Reply::Done) => Standing::Done,
            Some(Reply::Cannot) => Standing::Cannot,
            _ if self.lapsed(state, now).is_some() => Standing::Lapsed,
            Some(Reply::Accepted) => Standing::Accepted,
            None => Standing::Sent,
        }
    }

    /// Why nobody has to do any more what it asks: a sentence.
    fn lapsed(&self, state: &State, now: Time) -> Option<String> {
        let case = &self.asks.case;
        let over = || self.over.map(|it| it.why).or_else(|| state.over_for(case, now));
        if let Some(so) = state.is_so(&self.asks, (self.had, self.sent.entry), now) {
            return Some(so);
        }
        self.so_since.map(|it| it.why).or_else(over).map(|why| why.words(case))
    }

    /// Why there is nothing left to answer or to take back, but for an answer.
    pub(super) fn closed(&self, state: &State, now: Time) -> Option<String> {
        let taken_back =
            self.withdrawn.as_ref().map(|it| format!("{} was taken back by {}.", self.request, it.by));
        taken_back.or_else(|| self.lapsed(state, now))
    }

    /// Whether its case is still to come, so that what became of it stands beside the case.
    fn is_current(&self) -> bool {
        self.withdrawn.is_none() && self.over.is_none()
    }

    pub fn told(&self, state: &State, now: Time) -> RequestTold {
        let status = self.stands(state, now);
        RequestTold {
            request: self.request.clone(),
            asks: self.asks.clone(),
            sentence: self.asks.sentence(state, now),
            status,
            lapsed: (status == Standing::Lapsed).then(|| self.lapsed(state, now)).flatten(),
            at: self.sent.at,
            by: self.sent.by.clone(),
            entry: self.sent.entry,
            answers: self.answers.clone(),
            withdrawn: self.withdrawn.clone(),
        }
    }
}

impl SendRequest {
    /// What is asked, without the case: "put T-0138 of set C into set E".
    pub fn words(&self, state: &State) -> String {
        let asset = self.asset.as_ref().and_then(|asset| state.assets.get(asset));
        let from = asset.and_then(|asset| asset.seat.as_ref()).map(|seat| &seat.set);
        let from = from.filter(|from| self.set.as_ref() != Some(*from));
        let sheet = self.count_sheet.as_ref().and_then(|sheet| state.sheets.get(sheet));
        self.named(from, sheet.map(|sheet| sheet.name.as_str()))
    }

    /// The same by the names of the request alone, as its entry has them.
    pub fn plain_words(&self) -> String {
        self.named(None, None)
    }

    fn named(&self, from: Option<&Id>, sheet: Option<&str>) -> String {
        let set = self.set.as_ref().map(Id::as_str).unwrap_or_default();
        let line = self.line.as_ref().map(|line| line.as_str()).unwrap_or_default();
        match (self.kind, &self.count_sheet) {
            (RequestKind::TakeNext, _) => format!("take set {set} before everything else at each step"),
            (RequestKind::StartNow, _) => {
                let step = match self.step {
                    Some(StepKind::Disinfected) => "disinfection",
                    _ => "sterilising",
                };
                let machine =
                    self.machine.as_ref().map(|machine| format!(" in {machine}")).unwrap_or_default();
                format!("begin {step}{machine} with set {set} now, without waiting for more")
            }
            (RequestKind::PutIn, _) => {
                let asset = self.asset.as_ref().map(Id::as_str).unwrap_or_default();
                let from = from.map(|from| format!(" of set {from}")).unwrap_or_default();
                format!("put {asset}{from} into set {set}")
            }
            (RequestKind::Borrow, Some(id)) => format!("borrow a set “{}”", sheet.unwrap_or(id.as_str())),
            (RequestKind::Borrow, None) => format!("borrow what line \"{line}\" of set {set} lacks"),
        }
    }

    /// The same with its case and its hour: "put T-0138 into set E, for case K-1 at 10:30".
    pub fn sentence(&self, state: &State, now: Time) -> String {
        let start = state.cases.get(&self.case).map(|case| {
            let today = case.start.date(state.zone) == now.date(state.zone);
            if today {
                format!(" at {}", hour(state, case.start))
            } else {
                format!(" on {}", case.start.told(state.zone))
            }
        });
        format!("{}, for case {}{}", self.words(state), self.case, start.unwrap_or_default())
    }
}

/// Why a case has no use any more for what was asked for it.
fn over_for(case: &Case, now: Time) -> Option<Why> {
    match case.status() {
        CaseStatus::Cancelled => Some(Why::CaseCancelled),
        CaseStatus::Closed => Some(Why::CaseOver),
        CaseStatus::Opened => Some(Why::CaseBegun),
        // A case that is late is helped all the same; nobody waits for one whose whole time is over.
        CaseStatus::Planned | CaseStatus::Issued => (case.end() <= now).then_some(Why::TimePassed),
    }
}

impl State {
    pub(super) fn over_for(&self, case: &Id, now: Time) -> Option<Why> {
        self.cases.get(case).and_then(|case| over_for(case, now))
    }

    /// How many sets of a count sheet the house has.
    pub(super) fn sets_built(&self, sheet: &Id) -> u32 {
        self.sets.values().filter(|set| set.count_sheet == *sheet).count() as u32
    }

    /// That what is asked for is so already, in a sentence. `had` and `since` are of the moment at which it was asked.
    pub(super) fn is_so(
        &self,
        asks: &SendRequest,
        (had, since): (Option<u32>, u64),
        now: Time,
    ) -> Option<String> {
        let set = asks.set.as_ref().and_then(|set| self.sets.get(set));
        match asks.kind {
            RequestKind::PutIn => {
                let (set, asset) = (set?, self.assets.get(asks.asset.as_ref()?)?);
                let lies = asset.seat.as_ref().is_some_and(|seat| seat.set == set.set);
                lies.then(|| format!("{} lies in set {}.", asset.called(), set.set))
            }
            RequestKind::TakeNext => {
                let set = set?;
                is_ready(glance(self, set, now).status).then(|| format!("Set {} is ready.", set.set))
            }
            RequestKind::StartNow => {
                let set = set?;
                let is_new = |load: &Id| self.loads.get(load).is_some_and(|load| load.entry > since);
                let mut loads = self.members(set).filter_map(|asset| asset.in_load.as_ref());
                if let Some(load) = loads.find(|load| is_new(load)) {
                    return Some(format!("Set {} is in load {load}.", set.set));
                }
                is_ready(glance(self, set, now).status).then(|| format!("Set {} is ready.", set.set))
            }
            RequestKind::Borrow => match (&asks.count_sheet, set, &asks.line) {
                (Some(sheet), ..) => {
                    let more = self.sets_built(sheet) > had?;
                    let name = self.sheets.get(sheet).map_or(sheet.as_str(), |sheet| sheet.name.0.as_str());
                    more.then(|| format!("The house has one more set “{name}”."))
                }
                (None, Some(set), Some(line)) => {
                    let needed = self.sheets.get(&set.count_sheet)?.line(line.as_str())?.quantity;
                    let whole = self.present(set, line.as_str()) >= needed;
                    whole.then(|| format!("Line \"{}\" of set {} lacks nothing.", line.as_str(), set.set))
                }
                (None, ..) => None,
            },
        }
    }

    /// The requests for a case that were not taken back, the oldest first.
    pub fn requests_of<'a>(&'a self, case: &'a Id) -> impl Iterator<Item = &'a Arc<Request>> {
        let current = self.current_requests.iter().filter_map(|id| self.requests.get(id));
        current.filter(move |request| request.asks.case == *case)
    }

    /// The requests that wait for the desk: those not answered yet first, each by the start of their case.
    pub fn waiting_requests(&self, now: Time) -> Vec<RequestTold> {
        let current = self.current_requests.iter().filter_map(|id| self.requests.get(id));
        let waiting = current.filter(|request| request.waits(self, now));
        let mut all: Vec<RequestTold> = waiting.map(|request| request.told(self, now)).collect();
        let start = |it: &RequestTold| self.cases.get(&it.asks.case).map(|case| case.start);
        all.sort_by_key(|it| (it.status, start(it), it.entry));
        all
    }

    /// When requests that wait lapse by the clock alone: at the planned ends of their cases.
    pub(super) fn requests_end(&self) -> impl Iterator<Item = Time> + '_ {
        let current = self.current_requests.iter().filter_map(|id| self.requests.get(id));
        current.filter_map(|request| self.cases.get(&request.asks.case)).map(|case| case.end())
    }

    pub(super) fn change_request(&mut self, request: &Id, change: impl FnOnce(&mut Request)) {
        let Some(known) = self.requests.get_mut(request) else { return };
        change(Arc::make_mut(known));
        self.index_request(request);
    }

    /// Keeps the index of requests whose case is still to come, and notes that the request changed.
    pub(super) fn index_request(&mut self, request: &Id) {
        if self.requests.get(request).is_some_and(|it| it.is_current()) {
            self.current_requests.insert(request.clone());
        } else {
            self.current_requests.remove(request);
        }
        self.changes.requests.insert(request.clone());
    }

    /// The same index, from requests that were read whole.
    pub(super) fn index_requests(&mut self) {
        let current = self.requests.values().filter(|it| it.is_current());
        self.current_requests = current.map(|it| it.request.clone()).collect();
    }
}

/// What an entry has made so, or overtaken, is kept with the request: it does not come back when the part leaves again.
pub(super) fn lapse(state: &mut State, when: &When) {
    if state.current_requests.is_empty() {
        return;
    }
    let (at, entry) = (when.recorded_at, when.seq);
    let lapsed = |why: Why| Lapsed { why, at, entry };
    let mut found: Vec<(Id, Option<Lapsed>, Option<Lapsed>)> = Vec::new();
    for request in state.current_requests.iter().filter_map(|id| state.requests.get(id)) {
        let over = state.over_for(&request.asks.case, at).map(lapsed);
        let so = request.so_since.is_none()
            && state.is_so(&request.asks, (request.had, request.sent.entry), at).is_some();
        if over.is_some() || so {
            found.push((request.request.clone(), over, so.then(|| lapsed(Why::IsSo))));
        }
    }
    for (request, over, so) in found {
        state.change_request(&request, |request| {
            request.over = request.over.or(over);
            request.so_since = request.so_since.or(so);
        });
    }
}
