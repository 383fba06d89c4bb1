//! The desk: one scan does the obvious thing.

use askama::Template;
use axum::extract::{Form, Query, State as Reach};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, accepted, act_words, command, refusal, scan_of};
use super::desk_beside::{self, Asks, BesideScan};
use super::desk_log::{Scanned, line, remember};
use super::desk_marks::{change_of_person, commanded};
use super::refused;
use super::requests::{self, RequestRow};
use super::shared::{self, Page};
use super::thing::{self, Thing};
use crate::app::house::Outcome;
use crate::domain::scan_miss::called;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::api::command::read;
use crate::web::visitor::{Visitor, render};

/// What the desk's form sends, and what its address may carry.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Sent {
    pub scan: String,
    /// What was looked up before: the act of a button is about it.
    pub thing: String,
    /// The act of the button that was pressed; Enter presses the first one.
    pub act: String,
    /// The step that every scan does, or empty to look things up.
    pub step: String,
    pub station: String,
    /// The last scans, a line each: sign, time, words.
    pub log: String,
    /// A whole command, as a remedy or an override sends it again.
    pub again: String,
    pub code: String,
    pub reason: String,
    /// The entry of this station's last act.
    pub last: String,
    pub csrf: String,
    #[serde(flatten)]
    pub beside: BesideScan,
}

pub struct Choice {
    pub value: &'static str,
    pub label: &'static str,
    pub chosen: bool,
}

#[derive(Template)]
#[template(path = "desk.html")]
pub struct DeskPage {
    pub page: Page,
    pub heading: String,
    pub step: String,
    pub station: String,
    pub choices: Vec<Choice>,
    pub answer: Option<Answer>,
    pub thing: Option<Thing>,
    pub log: Vec<Scanned>,
    pub log_text: String,
    pub last: String,
    pub asks: Asks,
    /// What is not accounted for and has no outcome: it stands above everything.
    pub missed: Vec<String>,
    /// What the board asks of the desk.
    pub requests: Vec<RequestRow>,
}

/// The acts that a scan may do at once, as the form names them.
pub const STEPS: [(&str, &str); 11] = [
    ("", "Look it up"),
    ("step:treated", "Pre-cleaned"),
    ("step:received", "Received"),
    ("step:cleaned", "Cleaned by hand"),
    ("step:ultrasonic", "Ultrasonic bath"),
    ("step:disinfected", "Disinfected by hand"),
    ("step:dried", "Dried"),
    ("inspect:passed", "Inspected, passed"),
    ("inspect:reclean", "Not passed: clean again"),
    ("inspect:hold", "Not passed: on hold"),
    ("step:packed", "Packed"),
];

/// What became of it, with the first reason where it was refused.
fn whole(answer: &Answer) -> String {
    format!("{} {}", answer.line, answer.why).trim_end().to_string()
}

fn heading(thing: Option<&Thing>, answer: Option<&Answer>, step: &str) -> String {
    match (answer, thing) {
        (Some(answer), _) if !answer.accepted => whole(answer),
        (_, Some(thing)) if !thing.alarm.is_empty() => thing.alarm.clone(),
        (_, Some(thing)) => format!("{}: {}. {}", thing.called, thing.say.words, thing.next),
        (Some(answer), None) => whole(answer),
        _ => match STEPS.iter().find(|(value, _)| *value == step && !value.is_empty()) {
            Some((_, label)) => {
                format!("Scan: each part or set is recorded as \"{}\" at once.", label.to_lowercase())
            }
            None => "Scan a part or a set to see what it needs next.".into(),
        },
    }
}

impl DeskPage {
    pub fn of(
        visitor: &Visitor,
        state: &State,
        sent: &Sent,
        answer: Option<Answer>,
        thing: Option<Thing>,
    ) -> DeskPage {
        let step = STEPS.iter().find(|(value, _)| *value == sent.step).map_or("", |(value, _)| value);
        let new = answer.as_ref().map(|answer| (if answer.accepted { "+" } else { "!" }, whole(answer)));
        let seen = thing.as_ref().map(|thing| ("?", format!("{}: {}", thing.called, thing.say.words)));
        let log_text = remember(state, visitor.now, new.or(seen), &sent.log);
        let page = Page::of(visitor, "/desk", "/desk", None);
        let mut thing = thing;
        if let Some(thing) = thing.as_mut().filter(|_| !page.may("found")) {
            thing.offers.retain(|offer| !offer.act.starts_with("found:"));
        }
        DeskPage {
            missed: missed(state, visitor.now),
            requests: requests::waiting(state, visitor.now),
            asks: Asks::of(state, sent, step, thing.as_ref(), page.may("pack_broken")),
            page,
            heading: heading(thing.as_ref(), answer.as_ref(), step),
            step: step.into(),
            station: sent.station.trim().chars().take(60).collect(),
            choices: STEPS
                .iter()
                .map(|(value, label)| Choice { value, label, chosen: *value == step })
                .collect(),
            answer,
            thing,
            log: log_text.lines().filter_map(line).collect(),
            log_text,
            last: sent.last.clone(),
        }
    }

    /// Accepted is what was recorded or found; a refusal says so in its status too.
    pub(super) fn respond(&self) -> Response {
        let refused = self.answer.as_ref().is_some_and(|answer| !answer.accepted);
        let status = if refused { StatusCode::CONFLICT } else { StatusCode::OK };
        (status, render(self)).into_response()
    }
}

/// Everything that is looked for without a named outcome.
fn missed(state: &State, now: Time) -> Vec<String> {
    let since = |at: Time, case: Option<&crate::domain::id::Id>, by: Option<&str>| {
        let case = case.map(|case| format!(", case {case}")).unwrap_or_default();
        format!("{case}, since {}", super::theatre::reported(state, at, by, now))
    };
    let loud = state.missing.values().filter(|it| it.over_at.is_none() && it.outcome.is_none());
    // What may have stayed in a patient comes before what was missed without a case.
    let mut loud: Vec<_> = loud.collect();
    loud.sort_by_key(|it| (it.case.is_none(), std::cmp::Reverse(it.since)));
    let parts = loud
        .into_iter()
        .map(|it| format!("{}{}", it.what(state), since(it.since, it.case.as_ref(), Some(&it.told_by))));
    let lines = state.lines_not_back().into_iter().filter(|line| line.loud);
    let told_by = |line: &crate::domain::board::BoardLine| {
        let others = state.cases.get(&line.case).map(|case| case.others.as_slice()).unwrap_or_default();
        others.iter().find(|it| it.line.0 == line.line)?.told_by.clone()
    };
    let lines = lines.map(|line| {
        let since = since(line.since, Some(&line.case), told_by(&line).as_deref());
        format!("{} {}{since}", line.lacks, line.line)
    });
    parts.chain(lines).collect()
}

pub async fn get(visitor: Visitor, Query(sent): Query<Sent>) -> Response {
    let state = visitor.state.clone();
    if sent.scan.trim().is_empty() {
        return DeskPage::of(&visitor, &state, &sent, None, None).respond();
    }
    looked_up(&visitor, &state, &sent, sent.scan.trim())
}

fn looked_up(visitor: &Visitor, state: &State, sent: &Sent, scan: &str) -> Response {
    match thing::look_up(state, scan, visitor.now) {
        Ok(thing) => DeskPage::of(visitor, state, sent, None, Some(thing)).respond(),
        Err(problem) => {
            let reasons = vec![refused::reason(&problem)];
            // A mistyped word takes nothing out of the hand.
            let hand = thing::look_up(state, &sent.thing, visitor.now).ok();
            let hand = hand.filter(|_| sent.step.is_empty() && !sent.thing.is_empty());
            let line = match &hand {
                Some(thing) => {
                    format!("{}: not known. {} is still in your hand.", called(scan), called(&thing.scan))
                }
                None => format!("{}: not known.", called(scan)),
            };
            let answer = refusal(reasons, line, &Value::Null);
            DeskPage::of(visitor, state, sent, Some(answer), hand).respond()
        }
    }
}

pub async fn post(Reach(app): Reach<App>, visitor: Visitor, Form(sent): Form<Sent>) -> Response {
    if sent.csrf != visitor.csrf {
        return super::problem::stale_form();
    }
    let state = visitor.state.clone();
    let scan = sent.scan.trim();
    if !sent.again.is_empty() {
        let again = overridden(&sent);
        return done(&app, &visitor, &sent, again).await;
    }
    if let Some(mark) = super::command_mark::read(scan) {
        return commanded(&app, &visitor, sent, mark).await;
    }
    if let Some(asked) = change_of_person(&app, &state, &sent).await {
        return asked;
    }
    if let Some((thing, why)) = desk_beside::broken(&state, &sent)
        && let Some(command) = command(&format!("broken:{}", why.name()), &thing, &sent.station)
    {
        return done(&app, &visitor, &sent, command).await;
    }
    // What is scanned now outranks the button of what was scanned before: Enter sends both.
    let (act, thing) = match (scan.is_empty(), sent.step.is_empty()) {
        (true, _) => (sent.act.as_str(), sent.thing.as_str()),
        (false, true) => return looked_up(&visitor, &state, &sent, scan),
        (false, false) => (sent.step.as_str(), scan),
    };
    if thing.is_empty() {
        return DeskPage::of(&visitor, &state, &sent, None, None).respond();
    }
    if act == "load" {
        return Redirect::to(&format!("/loads?scan={}", shared::segment(thing))).into_response();
    }
    match command(act, thing, &sent.station) {
        Some(mut command) => {
            desk_beside::with(&sent.beside, act, &mut command);
            done(&app, &visitor, &sent, command).await
        }
        None => looked_up(&visitor, &state, &sent, thing),
    }
}

/// The command that was refused, with the reason for which its rule is set aside, or an answer to a request.
fn overridden(sent: &Sent) -> Value {
    let mut again = serde_json::from_str(&sent.again).unwrap_or(Value::Null);
    let reason = sent.reason.trim();
    match &mut again {
        Value::Object(fields) if !sent.code.is_empty() => {
            fields.insert("override".into(), json!({"code": sent.code, "reason": sent.reason}))
        }
        Value::Object(fields) if !reason.is_empty() => fields.insert("because".into(), json!(reason)),
        _ => None,
    };
    again
}

pub(super) async fn done(app: &App, visitor: &Visitor, sent: &Sent, value: Value) -> Response {
    let name = value.get("do").and_then(Value::as_str).unwrap_or_default().to_string();
    let (scan, words) = (scan_of(&value), act_words(&value));
    let line = format!("{}: not {words}.", called(&scan));
    let command = match read(value.clone()) {
        Ok(command) => command,
        Err(wrong) => {
            let answer = refusal(wrong.iter().map(refused::malformed).collect(), line, &Value::Null);
            return DeskPage::of(visitor, &visitor.state, sent, Some(answer), None).respond();
        }
    };
    let site = &visitor.state.site;
    let outcome = app.house.submit(site, &visitor.actor, vec![command]).await.into_iter().next();
    let mut answer = match &outcome {
        Some(Outcome::Accepted(it)) => accepted(it, &scan, &words),
        Some(other) => refusal(refused::reasons(other, &name), line, &value),
        None => refusal(Vec::new(), line, &value),
    };
    let state = app.house.state(site).await.ok().flatten().unwrap_or_else(|| visitor.state.clone());
    let taken_back = name == "correct";
    let last = match &outcome {
        Some(Outcome::Accepted(it)) if !taken_back => it.entry.to_string(),
        Some(Outcome::Accepted(_)) => String::new(),
        _ => sent.last.clone(),
    };
    let sent = &Sent { last, ..sent.clone() };
    // What arrives brings its reports with it, whatever the next scan is.
    if let Some(Outcome::Accepted(it)) = outcome.as_ref().filter(|_| is_receipt(&value)) {
        answer.loud = arrived(&state, &it.event, visitor.now);
    }
    // With a step chosen the next scan is another thing; without one, the same thing goes on to its next act.
    let thing = if sent.step.is_empty() { thing::look_up(&state, &scan, visitor.now).ok() } else { None };
    DeskPage::of(visitor, &state, sent, Some(answer), thing).respond()
}

fn is_receipt(command: &Value) -> bool {
    command.get("step").and_then(Value::as_str).is_some_and(|step| matches!(step, "received" | "treated"))
}

/// What was reported of the parts that an event names.
fn arrived(state: &State, event: &Value, now: Time) -> Vec<String> {
    let of = |list: &str| event.get(list).and_then(Value::as_array).cloned().unwrap_or_default();
    let named: Vec<Value> = of("parts").into_iter().chain(of("noted")).collect();
    let assets = named.iter().filter_map(|part| state.assets.get(part.get("asset")?.as_str()?));
    assets.flat_map(|asset| thing::loud_of(state, asset, now)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::house::Accepted;
    use crate::web::pages::sample;

    #[test]
    fn a_look_up_offers_the_next_act_first() {
        let visitor = sample::visitor();
        let thing = thing::look_up(&visitor.state, "C1", visitor.now).unwrap();
        assert_eq!(thing.offers.first().unwrap().act, "step:cleaned");
        let sent = Sent { log: "+\t08:01\tB2: packed. Entry 31.".into(), ..Sent::default() };
        let text =
            sample::show("desk-look-up", &DeskPage::of(&visitor, &visitor.state, &sent, None, Some(thing)));
        let first = text.split("<button").nth(2).unwrap();
        assert!(first.contains("step:cleaned"), "{first}");
        sample::show("desk", &DeskPage::of(&visitor, &visitor.state, &Sent::default(), None, None));
    }

    #[test]
    fn a_part_that_is_looked_for_is_no_find() {
        let visitor = sample::in_theatre();
        let thing = thing::look_up(&visitor.state, "CAP-02", visitor.now).unwrap();
        assert_eq!(thing.offers.first().unwrap().act, "found:");
        let page = DeskPage::of(&visitor, &visitor.state, &Sent::default(), None, Some(thing));
        let text = sample::show("desk-missing", &page);
        assert!(text.contains("<h1>Cap CAP-02 was missing after case "), "{text}");
        assert!(text.contains("tell the charge nurse at once; it was a possible retained item.</h1>"));
        let band = text.split("class=\"band\"").nth(1).unwrap().split("</div>").next().unwrap();
        assert!(!band.contains("Found") && band.contains("Nothing is recorded yet."), "{band}");
        assert!(text.contains("image by local policy, before the patient leaves."), "{text}");
        let told = super::command("found:", "CAP-02", "sink 1").unwrap();
        assert_eq!(told, json!({"do": "found", "scan": "CAP-02", "location": "sink 1"}));
    }

    #[test]
    fn a_refusal_is_shown_whole_with_a_way_on() {
        let visitor = sample::visitor();
        let problem = crate::domain::refusal::Problem::new(
            crate::domain::refusal::Code::OutOfOrder,
            "CAP-03 is received; next it has to be cleaned by hand.",
            "The route does not allow \"packed\" now.",
            "Let it be cleaned by hand first, or leave it out.",
        );
        let again = json!({"do": "record_step", "step": "packed", "scan": "CAP-03"});
        let reasons = vec![refused::reason(&problem.clone().open_to_override()), refused::reason(&problem)];
        let answer = refusal(reasons, "CAP-03: not packed.".into(), &again);
        let sent = Sent { step: "step:packed".into(), station: "packing 1".into(), ..Sent::default() };
        let text =
            sample::show("desk-refused", &DeskPage::of(&visitor, &visitor.state, &sent, Some(answer), None));
        assert!(text.matches("<dt>Found</dt><dd>CAP-03 is received").count() == 2);
        assert!(text.contains("data-sound=\"refused\"") && text.contains("out_of_order"));
    }

    #[test]
    fn an_accepted_act_says_its_entry_and_what_was_left() {
        let event = json!({"parts": [{}, {}], "left": [{"asset": "T-0142", "detail": "T-0142 is on hold."}]});
        let it = Accepted { entry: 44, at: Time(0), event, replayed: false };
        let answer = accepted(&it, "B2", "packed");
        assert_eq!(answer.line, "B2 (2 parts): packed. Entry 44.");
        assert!(answer.notes[0].starts_with("T-0142 was left"));
        let visitor = sample::visitor();
        let thing = thing::look_up(&visitor.state, "T-0138", visitor.now).ok();
        let page = DeskPage::of(&visitor, &visitor.state, &Sent::default(), Some(answer), thing);
        assert!(sample::show("desk-accepted", &page).contains("data-sound=\"accepted\""));
    }
}
