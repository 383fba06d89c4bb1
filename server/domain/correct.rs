//! Corrections: an entry that names the wrong thing is taken back by a new entry, and the same act may be recorded for
//! the right one. Nothing is overwritten.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::ToSchema;

use super::case::{Issue, Open, Use};
use super::command::{self, Act, Around, Command, Late, LateCause};
use super::deciding::{Deciding, Turned, decide_act};
use super::event::{Beside, Event, What};
use super::model::reason_given;
use super::refusal::{Code, Problem};
use super::state::State;
use super::step::{Inspect, PackBroken, RecordStep};
use super::text::{Scan, Text};
use super::time::Time;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Correct {
    /// The place in the ledger of what is corrected.
    pub entry: u64,
    pub reason: Text,
    /// The things that the act should have named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead: Option<Scan>,
}

/// What another entry said, as it said it.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded(pub Box<What>);

impl Serialize for Recorded {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let plain = Event { beside: Beside::default(), what: (*self.0).clone() };
        let event = plain.to_value().map_err(serde::ser::Error::custom)?;
        serde_json::json!({"kind": self.0.kind(), "version": self.0.version(), "event": event}).serialize(to)
    }
}

impl<'de> Deserialize<'de> for Recorded {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        struct Form {
            kind: String,
            version: u32,
            event: serde_json::Value,
        }
        let form = Form::deserialize(from)?;
        let event = Event::read(&form.kind, form.version, form.event).map_err(serde::de::Error::custom)?;
        Ok(Recorded(Box::new(event.what)))
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Corrected {
    pub entry: u64,
    pub reason: String,
    pub undone: Recorded,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead: Option<Recorded>,
    /// When what it tells instead happened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<Time>,
}

pub(super) fn correct(deciding: &mut Deciding, it: &Correct) -> Option<What> {
    reason_given(deciding, &it.reason);
    let Some((entry, event)) = deciding.asked.corrected.filter(|(entry, _)| entry.seq == it.entry) else {
        deciding.against(super::model::unknown("entry", &it.entry.to_string()));
        return None;
    };
    if !correctable(&event.what) {
        deciding.against(Problem::new(
            Code::OutOfOrder,
            format!("Entry {} is \"{}\".", it.entry, entry.kind.replace('_', " ")),
            "Load decisions, verdicts, definitions and what stands for itself are not corrected.",
            "Use the command that undoes it: reject, cancel, withdraw, lift, define anew.",
        ));
        return None;
    }
    for (name, last) in touched(deciding.state, event) {
        if last > it.entry {
            deciding.against(Problem::new(
                Code::NotLast,
                format!("Entry {last} about {name} came after entry {}.", it.entry),
                "Only the last entry of everything that it touched is corrected.",
                format!("Correct entry {last} first, or enter what happened as a late fact."),
            ));
        }
    }
    let instead = match &it.instead {
        None => None,
        Some(scan) => Some(done_instead(deciding, it.entry, &event.what, scan)?),
    };
    let undone = Recorded(Box::new(event.what.clone()));
    let at = instead.is_some().then_some(entry.at);
    Some(What::Corrected(Corrected { entry: it.entry, reason: it.reason.0.clone(), undone, instead, at }))
}

/// Whether an act can be taken back by an entry of its own.
pub(super) fn correctable(what: &What) -> bool {
    matches!(
        what,
        What::StepRecorded(_)
            | What::Inspected(_)
            | What::PackBroken(_)
            | What::PutAway(_)
            | What::PutInSet(_)
            | What::TakenFromSet(_)
            | What::HoldPlaced(_)
            | What::HoldLifted(_)
            | What::Issued(_)
            | What::Opened(_)
            | What::Used(_)
            | What::CountClosed(_)
            | What::MissingReported(_)
            | What::Found(_)
            | What::FindingReported(_)
            | What::StockUsed(_)
    )
}

/// Everything that the entry touched, with the last entry of each.
pub(super) fn touched(state: &State, event: &Event) -> Vec<(String, u64)> {
    let mut all = Vec::new();
    for thing in event.things() {
        let last = match thing.kind {
            "asset" => state.assets.get(thing.name.as_str()).map(|asset| asset.last_entry),
            "case" => state.cases.get(thing.name.as_str()).map(|case| case.last_entry),
            _ => None,
        };
        all.extend(last.map(|last| (thing.name, last)));
    }
    all
}

/// The same act of other things; none where it is no act of scanned things.
pub(super) fn same_act(what: &What, scan: &Scan) -> Option<Act> {
    Some(match what {
        What::StepRecorded(it) => Act::Step(command::Step::RecordStep(RecordStep {
            step: it.step,
            scan: scan.clone(),
            without: Vec::new(),
            packaging: it.packaging.clone(),
            solution: it.solution.clone(),
            delayed: it.delayed.iter().any(|late| late.done),
        })),
        What::Inspected(it) => {
            let outcome = it.parts.first().map(|part| part.outcome);
            let (passed, except, checks) = (None, Vec::new(), it.checks.clone());
            Act::Step(command::Step::Inspect(Inspect { scan: scan.clone(), passed, outcome, except, checks }))
        }
        What::PackBroken(it) => {
            Act::Step(command::Step::PackBroken(PackBroken { scan: scan.clone(), why: it.why }))
        }
        What::PutAway(it) => Act::Asset(command::Asset::PutAway(super::asset::PutAway {
            scan: scan.clone(),
            location: it.location.clone(),
        })),
        What::Issued(it) => Act::Case(command::Case::Issue(Issue {
            case: Some(it.case.clone()),
            scan: scan.clone(),
            emergency: it.emergency.then_some(true),
        })),
        What::Opened(it) => Act::Case(command::Case::Open(Open {
            case: it.case.clone(),
            scan: scan.clone(),
            pack_intact: it.pack_intact,
            indicator: it.indicator,
        })),
        What::Used(it) => Act::Case(command::Case::Use(Use { case: it.case.clone(), scan: scan.clone() })),
        _ => return None,
    })
}

/// The same act, for the right things, at the time of the wrong one: decided on what is true without it.
pub(super) fn done_instead(
    deciding: &mut Deciding,
    entry: u64,
    what: &What,
    scan: &Scan,
) -> Option<Recorded> {
    let Some(act) = same_act(what, scan) else {
        deciding.malformed.push(command::wrong("/instead", "found it for an act that names no scan"));
        return None;
    };
    let at = deciding.asked.corrected.map(|(entry, _)| entry.at);
    let mut without = deciding.state.clone();
    super::undo::undo(&mut without, entry, what);
    told_late(deciding, &without, (act, at), |deciding, problem| deciding.against(problem.even_late()))
}

/// What an act becomes where it is told late because something wrong was recorded first; `refused` is what is made of each
/// problem that stands against it.
pub(super) fn told_late(
    deciding: &mut Deciding,
    state: &State,
    (act, at): (Act, Option<Time>),
    refused: impl Fn(&mut Deciding, Problem),
) -> Option<Recorded> {
    let late = Late { cause: LateCause::WrongThing, sheet: None, line: None, done_by: None };
    let around = Around { at, late: Some(late), ..Around::default() };
    match decide_act(state, deciding.asked, &Command { around, act }) {
        Ok(decided) => {
            decided.event.beside.deviation.iter().for_each(|code| deciding.deviates(*code));
            deciding.also_opened.extend(decided.event.beside.also_opened);
            deciding.sets.extend(decided.event.beside.sets);
            deciding.takes_holds(&decided.event.what);
            Some(Recorded(Box::new(decided.event.what)))
        }
        Err(Turned::Refused(refusal)) => {
            refusal.reasons().cloned().for_each(|problem| refused(deciding, problem));
            None
        }
        Err(Turned::Malformed(errors)) => {
            deciding.malformed.extend(errors);
            None
        }
        Err(Turned::NotYourRole) => None,
    }
}

/// Names that a correction's own parts stand under: those taken back, and those named instead.
pub(super) fn named(it: &Corrected) -> [&What; 2] {
    let undone = &*it.undone.0;
    [undone, it.instead.as_ref().map_or(undone, |instead| &*instead.0)]
}
