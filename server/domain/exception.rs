//! Exceptions that stay on an open list: loads released alone until somebody countersigns, and loads with an implant
//! released early until their biological indicator is read.

use std::collections::BTreeSet;

use chrono::{Datelike, Days, Weekday};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::affected::relies_on;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::load::{Load, LoadStatus};
use super::model::{Method, reason_given, unknown};
use super::refusal::{Code, Problem};
use super::release::{self, Spores};
use super::state::State;
use super::text::{Line, Sealed, Text, a_person, somebody};
use super::time::{Date, Time, told_day};

/// Why a load with an implant is released before its biological indicator is read: for whom, who asked, and why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AskEarly {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, deserialize_with = "somebody", skip_serializing_if = "Option::is_none")]
    pub patient: Option<Line>,
    #[serde(deserialize_with = "a_person")]
    pub person: Line,
    pub reason: Text,
}

impl AskEarly {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.case.is_some() == self.patient.is_some() {
            return Err(wrong("/early", "found none or both of case and patient; one of them is needed"));
        }
        if self.names_the_patient(&self.reason.0) {
            let detail = "found the patient's reference; the reason is kept in clear, so say it without";
            return Err(wrong("/early/reason", detail));
        }
        Ok(())
    }

    /// Whether a text that is kept in clear holds the patient's reference.
    fn names_the_patient(&self, text: &str) -> bool {
        let named = self.patient.as_ref().map(|patient| patient.0.to_lowercase());
        named.is_some_and(|patient| text.to_lowercase().contains(&patient))
    }

    /// The note beside the command is kept in clear as well.
    pub(super) fn note_is_clear(&self, note: Option<&Text>) -> Result<(), Malformed> {
        match note.is_some_and(|note| self.names_the_patient(&note.0)) {
            true => Err(wrong(
                "/note",
                "found the patient's reference; the note is kept in clear, so say it without",
            )),
            false => Ok(()),
        }
    }
}

/// An early release as the ledger keeps it. Who is named stands sealed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Early {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patient: Option<Sealed>,
    pub person: Sealed,
    pub reason: String,
}

/// An early release with what became of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReleasedEarly {
    #[serde(flatten)]
    pub early: Early,
    /// When the biological indicator was read, be it with growth or without.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_at: Option<Time>,
}

/// What a release by one person alone leaves to be done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Alone {
    pub reason: String,
    /// The day by which somebody else countersigns.
    pub due: Date,
}

/// A release alone, and who countersigned it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReleasedAlone {
    #[serde(flatten)]
    pub alone: Alone,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signed_by: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signed_at: Option<Time>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Countersign {
    pub load: Id,
}

/// The day by which a release alone is countersigned: the first from Monday to Friday after the test day that the
/// release belongs to, so that all of one night is due on one day. Public holidays are not known here.
pub fn countersign_due(state: &State, released_at: Time) -> Date {
    let mut day = state.test_day(released_at) + Days::new(1);
    while matches!(day.weekday(), Weekday::Sat | Weekday::Sun) {
        day = day + Days::new(1);
    }
    day
}

pub(super) fn countersign(deciding: &mut Deciding, it: &Countersign) -> Option<What> {
    let Some(load) = deciding.state.loads.get(&it.load).cloned() else {
        deciding.against(unknown("load", it.load.as_str()));
        return None;
    };
    deciding.touches(Some(load.last_at));
    match &load.alone {
        None => deciding.against(
            Problem::new(
                Code::OutOfOrder,
                format!("Load {} was not released by one person alone.", it.load),
                "A load that waits for a countersignature is needed.",
                "Look at the open list, and countersign a load that stands there.",
            )
            .even_late(),
        ),
        Some(alone) if alone.signed_at.is_some() => deciding.against(Problem::new(
            Code::AlreadyDone,
            format!(
                "Load {} is countersigned by {}.",
                it.load,
                alone.signed_by.as_deref().unwrap_or_default()
            ),
            "A load that waits for a countersignature is needed.",
            "Nothing needs to be done.",
        )),
        Some(_) if load.decided_by.as_deref() == Some(&deciding.asked.actor.code) => deciding.against(
            Problem::new(
                Code::SamePerson,
                format!("The same person released load {} alone.", it.load),
                "A second person countersigns what one released alone.",
                "Let somebody else look at the record and countersign.",
            )
            .even_late(),
        ),
        Some(_) => {}
    }
    Some(What::Countersigned(it.clone()))
}

/// An early release of a load, or what stands against it: it is for an implant whose biological indicator is not read
/// yet, and for nothing else that may stand against the load.
pub(super) fn early(
    deciding: &mut Deciding,
    load: &Load,
    it: &AskEarly,
    others: Vec<Problem>,
    pending: Option<Problem>,
) -> Early {
    reason_given(deciding, &it.reason);
    if let Some(case) = it.case.as_ref().filter(|case| !deciding.state.cases.contains_key(*case)) {
        deciding.against(unknown("case", case.as_str()));
    }
    others.into_iter().for_each(|problem| deciding.against(problem.even_late()));
    if pending.is_none() || release::implants(deciding.state, load).is_empty() {
        deciding.against(
            Problem::new(
                Code::OutOfOrder,
                format!(
                    "Load {} holds no implant whose biological indicator is still to be read.",
                    load.load
                ),
                "An early release is for an implant alone, as an exception.",
                "Release the load without the exception, or wait for what it lacks.",
            )
            .even_late(),
        );
    }
    Early {
        case: it.case.clone(),
        patient: it.patient.as_ref().map(|patient| deciding.seal_always(patient.as_str())),
        person: deciding.seal(it.person.as_str()),
        reason: it.reason.0.clone(),
    }
}

impl Load {
    pub fn waits_for_countersignature(&self) -> bool {
        self.alone.as_ref().is_some_and(|alone| alone.signed_at.is_none())
    }

    pub fn waits_for_biological(&self) -> bool {
        self.early.as_ref().is_some_and(|early| early.read_at.is_none())
    }

    /// Whether it was released without a word on its dryness, which a person sees at unloading.
    pub fn dryness_not_stated(&self) -> bool {
        self.status == LoadStatus::Released && self.programme.method == Method::Steam && self.dry.is_none()
    }

    pub fn open_exception(&self) -> bool {
        self.waits_for_countersignature() || self.waits_for_biological()
    }

    /// Whether a biological indicator that was read closes the early release.
    pub(super) fn biological_read(&mut self, at: Time) {
        let read = matches!(release::spores(self), Spores::Passed | Spores::Grew);
        if let Some(early) = &mut self.early {
            early.read_at = read.then_some(at);
        }
    }
}

/// How many of a kind of exception there were in a month of the site's calendar, and how many are open still.
#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize)]
pub struct Month {
    /// `2026-03`.
    pub month: String,
    pub open: u32,
    pub closed: u32,
}

/// The loads of a kind of exception, by month and one by one, oldest release first.
#[derive(Clone, Debug, Default)]
pub struct Exceptions<'a> {
    pub months: Vec<Month>,
    pub loads: Vec<&'a Load>,
}

/// The month of the site's calendar in which a load was released.
pub fn month_of(state: &State, load: &Load) -> String {
    super::odd::month(state, load.decided_at.unwrap_or_default())
}

impl State {
    /// Loads whose countersignature or biological indicator is still open.
    pub fn open_exceptions(&self) -> impl Iterator<Item = &Load> {
        self.loads_with_open_exception.iter().filter_map(|load| self.loads.get(load)).map(|load| &**load)
    }

    pub fn released_alone(&self) -> Exceptions<'_> {
        self.exceptions(|load| load.alone.is_some(), Load::waits_for_countersignature)
    }

    pub fn released_early(&self) -> Exceptions<'_> {
        self.exceptions(|load| load.early.is_some(), Load::waits_for_biological)
    }

    /// The loads released without a word on their dryness of which something is still as the load made it: somebody may
    /// look at these packs.
    pub fn dryness_open(&self) -> BTreeSet<Id> {
        let parts = self.assets.values().filter_map(|asset| {
            let load = self.loads.get(asset.load.as_ref()?)?;
            (load.dryness_not_stated() && relies_on(self, asset, load)).then(|| load.load.clone())
        });
        parts.collect()
    }

    pub fn dryness_not_stated(&self) -> Exceptions<'_> {
        let open = self.dryness_open();
        self.exceptions(Load::dryness_not_stated, |load| open.contains(&load.load))
    }

    fn exceptions(&self, is: impl Fn(&Load) -> bool, open: impl Fn(&Load) -> bool) -> Exceptions<'_> {
        let released = |load: &&Load| load.status == LoadStatus::Released && is(load);
        let mut loads: Vec<&Load> = self.loads.values().map(|load| &**load).filter(released).collect();
        loads.sort_by_key(|load| (load.decided_at, load.entry));
        let mut months: Vec<Month> = Vec::new();
        for load in &loads {
            let month = month_of(self, load);
            if months.last().is_none_or(|last| last.month != month) {
                months.push(Month { month, ..Month::default() });
            }
            if let Some(last) = months.last_mut() {
                let open = open(load);
                last.open += u32::from(open);
                last.closed += u32::from(!open);
            }
        }
        Exceptions { months, loads }
    }
}

impl ReleasedAlone {
    /// What is open, as people say it.
    pub fn words(&self, today: Date) -> String {
        let due = told_day(self.alone.due);
        match self.alone.due < today {
            true => format!("to be countersigned, overdue since {due}"),
            false => format!("to be countersigned by {due}"),
        }
    }
}
