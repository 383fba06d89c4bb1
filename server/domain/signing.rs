//! What a person signs for having read: the handover of a shift, and the exceptions of a month. A signature names the
//! place in the ledger up to which it was read; what is recorded after it was not signed for.

use std::sync::Arc;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::When;
use super::command::{self, Malformed, wrong};
use super::deciding::Deciding;
use super::event::{Thing, What};
use super::id::Id;
use super::odd;
use super::person::Role;
use super::refusal::{Code, Problem};
use super::state::State;
use super::text::{Line, Sealed};
use super::time::Time;

/// Whose shift it is: that of sterile processing, or that of the theatres.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Area {
    Desk,
    Theatre,
}

impl Area {
    pub const ALL: [Area; 2] = [Area::Desk, Area::Theatre];

    pub fn of(role: Role) -> Area {
        match role {
            Role::Charge | Role::Clinician => Area::Theatre,
            Role::Desk | Role::Lead | Role::Biomed | Role::Infection | Role::Auditor | Role::Admin => {
                Area::Desk
            }
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            Area::Desk => "desk",
            Area::Theatre => "theatre",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Area::Desk => "sterile processing",
            Area::Theatre => "the theatres",
        }
    }

    pub(super) fn key(self) -> String {
        format!("handover.{}", self.name())
    }
}

/// Takes a shift over: says who it is that has read the handover, and up to which entry.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TakeOver {
    /// The ledger's place at which the handover was read; left out, that of now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<u64>,
    /// Who read it out, or was there before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub handed_over_by: Option<Line>,
}

impl TakeOver {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self.handed_over_by.as_ref().is_some_and(Line::is_blank) {
            true => Err(wrong("/handed_over_by", "found a blank; a name, or nothing, is needed")),
            false => Ok(()),
        }
    }
}

/// Signs that the exceptions of a month were reviewed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReviewExceptions {
    /// Of the site's calendar, such as `2026-03`.
    pub month: Line,
    /// The ledger's place at which they were read; left out, that of now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<u64>,
}

impl ReviewExceptions {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match is_month(self.month.as_str()) {
            true => Ok(()),
            false => Err(wrong("/month", "found no month; one as 2026-03 is needed")),
        }
    }
}

/// Whether a text is a month as it is written here.
pub fn is_month(text: &str) -> bool {
    text.len() == 7 && NaiveDate::parse_from_str(&format!("{text}-01"), "%Y-%m-%d").is_ok()
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TakenOver {
    pub area: Area,
    pub entry: u64,
    /// Since when the handover told.
    pub since: Time,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub handed_over_by: Option<Sealed>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ExceptionsReviewed {
    pub month: Line,
    pub entry: u64,
    pub role: Role,
}

/// The last signature of its kind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Signed {
    pub at: Time,
    pub by: String,
    /// Up to which entry it was read.
    pub read_to: u64,
    /// The entry that tells of it.
    pub entry: u64,
}

/// Who signs for exceptions.
pub const REVIEWERS: [Role; 2] = [Role::Lead, Role::Infection];

fn review_key(month: &str, role: Role) -> String {
    format!("exceptions.{month}.{}", role.name())
}

impl Signed {
    /// Whether this place says nothing that was not signed for: at most the signature itself came after it.
    fn covers(&self, entry: u64) -> bool {
        self.read_to >= entry || (self.entry == entry && self.read_to + 1 == entry)
    }
}

impl State {
    pub fn reviewed(&self, month: &str, role: Role) -> Option<&Arc<Signed>> {
        self.signed.get(review_key(month, role).as_str())
    }

    pub fn taken_over(&self, area: Area) -> Option<&Arc<Signed>> {
        self.signed.get(area.key().as_str())
    }
}

/// Under which the handovers of an area are found.
pub fn handovers(area: Area) -> Thing {
    Thing { kind: "handover", name: area.name().into() }
}

/// The place up to which was read. Nobody has read what is not written yet.
fn read_to(deciding: &mut Deciding, entry: Option<u64>) -> u64 {
    let seq = deciding.state.seq;
    let entry = entry.unwrap_or(seq);
    if entry == 0 || entry > seq {
        deciding.against(
            Problem::new(
                Code::UnknownThing,
                format!("There is no entry {entry}; the ledger has entries 1 to {seq}."),
                "The place in the ledger up to which it was read is needed.",
                "Leave the entry out, or name the one that the page shows.",
            )
            .even_late(),
        );
    }
    entry
}

impl command::Signature {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self {
            command::Signature::TakeOver(it) => it.whole(),
            command::Signature::Review(it) => it.whole(),
        }
    }
}

pub(super) fn act(deciding: &mut Deciding, act: &command::Signature) -> Option<What> {
    match act {
        command::Signature::TakeOver(it) => take_over(deciding, it),
        command::Signature::Review(it) => review(deciding, it),
    }
}

fn take_over(deciding: &mut Deciding, it: &TakeOver) -> Option<What> {
    let (state, me) = (deciding.state, deciding.asked.actor.clone());
    let area = Area::of(me.role);
    let entry = read_to(deciding, it.entry);
    let known = state.taken_over(area).cloned();
    deciding.touches(known.as_ref().map(|known| known.at));
    if let Some(known) = known.filter(|known| known.by == me.code && known.covers(entry)) {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!(
                "The same person took over {} on {}, and read up to entry {}.",
                area.words(),
                known.at.told(state.zone),
                known.read_to
            ),
            "A later entry, or another person, is needed.",
            "Nothing needs to be done.",
        ));
    }
    if it.handed_over_by.as_ref().is_some_and(|by| deciding.is_doer(by)) {
        deciding.against(
            Problem::new(
                Code::SamePerson,
                "The one who takes over is named as the one who hands over.",
                "Two people are needed, or nobody who hands over.",
                "Name the other person, or leave the field empty.",
            )
            .even_late(),
        );
    }
    let since = state.to_hand_over(area, deciding.asked.now).at;
    let handed_over_by = it.handed_over_by.as_ref().map(|by| deciding.seal(by.as_str()));
    Some(What::TakenOver(TakenOver { area, entry, since, handed_over_by }))
}

fn review(deciding: &mut Deciding, it: &ReviewExceptions) -> Option<What> {
    let (state, me) = (deciding.state, deciding.asked.actor.clone());
    let entry = read_to(deciding, it.entry);
    let known = state.reviewed(it.month.as_str(), me.role).cloned();
    deciding.touches(known.as_ref().map(|known| known.at));
    let present = odd::month(state, deciding.asked.now);
    if *it.month.0 > *present {
        deciding.against(
            Problem::new(
                Code::InTheFuture,
                format!("{} has not begun; it is {present}.", it.month.0),
                "A month that has begun is needed.",
                "Name this month or an earlier one.",
            )
            .even_late(),
        );
    }
    if let Some(known) = known.filter(|known| known.covers(entry)) {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!(
                "The exceptions of {} are signed by {} up to entry {}.",
                it.month.0, known.by, known.read_to
            ),
            "A later entry is needed.",
            "Nothing needs to be done until something is recorded after it.",
        ));
    }
    Some(What::ExceptionsReviewed(ExceptionsReviewed { month: it.month.clone(), entry, role: me.role }))
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    let (key, read_to) = match what {
        What::TakenOver(it) => (it.area.key(), it.entry),
        What::ExceptionsReviewed(it) => (review_key(it.month.as_str(), it.role), it.entry),
        _ => return,
    };
    let Some(key) = Id::new(&key) else { return };
    // What is told late of before the last one takes nothing back.
    if state.signed.get(&key).is_some_and(|known| known.at > when.at) {
        return;
    }
    let signed = Signed { at: when.at, by: when.actor.to_string(), read_to, entry: when.seq };
    state.changes.signed.insert(key.clone());
    state.signed.insert(key, Arc::new(signed));
}
