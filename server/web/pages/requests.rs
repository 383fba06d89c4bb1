//! What the board asks of the desk: beside its case on the board, with what the desk said, and above everything at the desk.

use serde_json::{Value, json};

use super::say::Say;
use super::shared::{capital, segment, time};
use crate::domain::board::BoardCase;
use crate::domain::forecast::CaseForecast;
use crate::domain::id::Id;
use crate::domain::request::SendRequest;
use crate::domain::request_stands::{RequestTold, Standing};
use crate::domain::state::State;
use crate::domain::time::Time;

/// A desk's page shows so many requests; the queue shows all of them.
pub const MOST_AT_DESK: usize = 3;

/// A button of the board: what it sends, as the fields of the form that stands beside the board.
pub struct Press {
    pub id: String,
    pub label: String,
    pub fields: String,
}

/// What would help a case, and the request that it would be.
pub struct ActRow {
    pub sentence: String,
    pub ask: Option<Press>,
}

pub struct RequestRow {
    pub request: String,
    /// What is asked; at the desk with its case and hour.
    pub asks: String,
    pub sent: String,
    pub say: Say,
    /// Who said so and why, or why it lapsed.
    pub why: String,
    pub links: Vec<(String, String)>,
    pub accepted: bool,
    pub back: Option<Press>,
}

impl RequestRow {
    /// The desk's answer as a command.
    pub fn reply(&self, answer: &str) -> String {
        json!({"do": "answer_request", "request": self.request, "answer": answer}).to_string()
    }
}

/// An answer is told in the first person of nobody: a word, and a tone where the case has to be looked after.
fn say(standing: Standing) -> Say {
    let tone = match standing {
        Standing::Sent | Standing::Lapsed | Standing::Withdrawn => "ink",
        Standing::Accepted => "turn",
        Standing::Done => "ready",
        Standing::Cannot => "stop",
    };
    Say::new("", tone, standing.words())
}

fn press(id: String, label: String, mut fields: Value, entry: u64) -> Press {
    // The same button of the same board sends the same command, however often it is pressed.
    if let Value::Object(all) = &mut fields {
        all.insert("key".into(), json!(format!("{id}-{entry}")));
    }
    Press { id, label, fields: fields.to_string() }
}

fn ask(state: &State, asks: &SendRequest, id: String) -> Option<Press> {
    let mut fields = serde_json::to_value(asks).ok()?;
    if let Value::Object(all) = &mut fields {
        all.insert("do".into(), json!("send_request"));
    }
    let label = format!("Ask the desk: {}", asks.words(state));
    Some(press(id, label, fields, state.seq))
}

/// The acts that would help most, each with its request, but for what was asked already.
pub fn acts(state: &State, told: &CaseForecast, most: usize, now: Time) -> Vec<ActRow> {
    let asked =
        |asks: &SendRequest| state.requests_of(&told.case).any(|it| it.asks == *asks && it.waits(state, now));
    let one = |(n, saves): (usize, &crate::domain::forecast_acts::Saves)| {
        let id = format!("ask-{}-{n}", told.case);
        let request = saves.request.as_ref().filter(|asks| !asked(asks));
        ActRow { sentence: saves.sentence.clone(), ask: request.and_then(|asks| ask(state, asks, id)) }
    };
    // What the desk said it can't do is not asked again.
    let cannot = |asks: &SendRequest| {
        let of = state.requests_of(&told.case);
        of.into_iter().any(|it| it.asks == *asks && it.stands(state, now) == Standing::Cannot)
    };
    let open = told.saves.iter().filter(|it| !it.request.as_ref().is_some_and(cannot));
    open.take(most).enumerate().map(one).collect()
}

fn row(state: &State, it: &RequestTold, asks: String, now: Time) -> RequestRow {
    let answered = it.answers.last();
    let why = match (it.status, answered) {
        (Standing::Lapsed, _) => it.lapsed.clone().unwrap_or_default(),
        (Standing::Accepted | Standing::Done | Standing::Cannot, Some(last)) => {
            let because = last.because.as_ref().map(|because| format!(": {because}")).unwrap_or_default();
            format!("{}, {}{because}", last.told.by, time(state, last.told.at, now))
        }
        _ => String::new(),
    };
    let link = |href: &str, id: &Id| (format!("{href}/{}", segment(id.as_str())), id.to_string());
    let asset = it.asks.asset.iter().map(|asset| link("/assets", asset));
    let set = it.asks.set.iter().map(|set| link("/sets", set));
    let machine = it.asks.machine.iter().map(|machine| link("/machines", machine));
    let case = std::iter::once(link("/cases", &it.asks.case));
    let may_go_back = matches!(it.status, Standing::Sent | Standing::Accepted | Standing::Cannot);
    let back = json!({"do": "withdraw_request", "request": it.request});
    let id = format!("back-{}", it.request);
    RequestRow {
        request: it.request.to_string(),
        asks: capital(&asks),
        sent: format!("{}, {}", it.by, time(state, it.at, now)),
        say: say(it.status),
        why,
        links: asset.chain(set).chain(machine).chain(case).collect(),
        accepted: it.status == Standing::Accepted,
        back: may_go_back.then(|| press(id, format!("Take {} back", it.request), back, state.seq)),
    }
}

/// The requests for a case of the board, the oldest first.
pub fn of_case(state: &State, case: &BoardCase, now: Time) -> Vec<RequestRow> {
    case.requests.iter().map(|it| row(state, it, it.asks.words(state), now)).collect()
}

/// What waits for the desk, what is not answered first.
pub fn waiting(state: &State, now: Time) -> Vec<RequestRow> {
    state.waiting_requests(now).iter().map(|it| row(state, it, it.sentence.clone(), now)).collect()
}

/// How many wait, for a heading.
pub fn heading(rows: &[RequestRow]) -> String {
    match rows.len() {
        1 => "The board asks for one thing".into(),
        n => format!("The board asks for {n} things"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::request::RequestKind;

    #[test]
    fn a_button_sends_the_same_however_often_it_is_pressed() {
        let state = State::new(Id::new("north").unwrap());
        let mut asks = SendRequest::of(RequestKind::PutIn, &Id::new("K-1").unwrap());
        (asks.set, asks.asset) = (Id::new("E"), Id::new("T-0138"));
        let button = ask(&state, &asks, "ask-K-1-0".into()).unwrap();
        assert_eq!(button.label, "Ask the desk: put T-0138 into set E");
        let fields: Value = serde_json::from_str(&button.fields).unwrap();
        let wanted = json!({"do": "send_request", "key": "ask-K-1-0-0", "kind": "put_in", "case": "K-1", "set": "E",
                            "asset": "T-0138"});
        assert_eq!(fields, wanted);
    }
}
