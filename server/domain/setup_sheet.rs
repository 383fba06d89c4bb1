//! The set-up sheet of a case: what was chosen, what could be, and what lies beside it.

use serde::Serialize;

use super::case::Technique;
use super::configuration::{Configuration, Wish};
use super::fit::Fit;
use super::id::Id;
use super::model::Family;
use super::replacement::Replacement;
use super::time::Time;
use super::to_open::ToOpen;

/// What taking a configuration costs somebody else.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cost {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count_sheet: Option<Id>,
    pub sentence: String,
}

/// A complete configuration that fits, with what it takes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Offer {
    pub sentence: String,
    /// As `choose_configuration` takes it.
    pub configuration: Configuration,
    pub fit: Fit,
    /// The sets to open.
    pub open: Vec<Id>,
    /// Parts that lie in no set.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub loose: Vec<Id>,
    /// What else lies in these sets and is not to be used.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub beware: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spare_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ready_at: Option<Time>,
    pub costs: Vec<Cost>,
}

/// A complete alternative beside the offers, or why there is none.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Beside {
    pub sentence: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offer: Option<Offer>,
}

/// What has to be changed for the fall-back technique.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FallBack {
    pub technique: Technique,
    pub sentence: String,
    /// What comes off and what goes on, in sentences.
    pub changes: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offer: Option<Offer>,
}

/// What nearly everybody would reach for first, and what stands against it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Obvious {
    pub sentence: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fit: Option<Fit>,
}

/// What was chosen for the case, judged as things stand now.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChosenFit {
    pub by: String,
    pub at: Time,
    pub configuration: Configuration,
    pub fit: Fit,
}

/// A part of what is shown that is not to be laid out, whatever its sizes: held, retired, missing or in repair.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Barred {
    pub asset: Id,
    pub sentence: String,
    /// What is ready in its place, the best first.
    pub instead: Vec<Replacement>,
}

fn is_none(left_out: &usize) -> bool {
    *left_out == 0
}

/// The answer on a case: what was chosen, what could be, and what lies beside it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetUpSheet {
    pub case: Id,
    pub start: Time,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub technique: Option<Technique>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wish: Option<Wish>,
    /// One sentence that answers.
    pub sentence: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chosen: Option<ChosenFit>,
    /// What of the shown configuration is not to be laid out.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub barred: Vec<Barred>,
    /// Every set that is opened for the case: those of its needs, and those of the configuration that is shown.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub to_open: Vec<ToOpen>,
    /// What belongs to a set-up and is in none of them.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lacking: Vec<String>,
    /// The best first, at most three.
    pub offers: Vec<Offer>,
    /// Sets that the search did not look at, and that may hold something better.
    #[serde(skip_serializing_if = "is_none")]
    pub left_out: usize,
    /// Why the obvious choice is not among them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub obvious: Option<Obvious>,
    /// The next smaller barrel with all that belongs to it.
    pub smaller: Beside,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fall_back: Option<FallBack>,
    pub cautions: Vec<String>,
}

impl SetUpSheet {
    /// What the sheet shows: what was chosen, else the best that is offered, else what one would reach for first.
    pub fn shown(&self) -> Option<&Fit> {
        let offered = || self.offers.first().map(|offer| &offer.fit);
        let obvious = || self.obvious.as_ref().and_then(|obvious| obvious.fit.as_ref());
        self.chosen.as_ref().map(|chosen| &chosen.fit).or_else(offered).or_else(obvious)
    }
}

/// On every set-up sheet and its print.
pub const CAUTION: &str = "Geometry only; it says nothing of ventilation or of the patient's airway. Makers' instructions and the clinician decide.";
/// The first line of a sheet for jet ventilation.
pub const GAS_OUT: &str = "Gas must be able to leave.";
/// For a barrel without side holes.
pub const NO_SIDE_HOLES: &str =
    "No side holes: do not advance it into one main bronchus while the other lung is ventilated through it.";

/// The cautions of a sheet, the loudest first.
/// `families` are those of the parts that are shown, the barrel's first.
pub fn cautions(technique: Option<Technique>, families: impl IntoIterator<Item = Family>) -> Vec<String> {
    let families: Vec<Family> = families.into_iter().collect();
    let barrel = families.first().copied();
    // Whatever the technique is called: what a jet blows in has to leave.
    let jet = families.contains(&Family::JetAdapter);
    let mut all = Vec::new();
    if jet || technique == Some(Technique::JetOpen) {
        all.push(GAS_OUT.to_string());
    }
    if barrel == Some(Family::Tracheoscope) {
        all.push(NO_SIDE_HOLES.to_string());
    }
    all.push(CAUTION.to_string());
    all
}
