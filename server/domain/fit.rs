//! Whether parts fit together: the answer, as the set-up sheet shows it and programs read it. Geometry and couplings
//! can tell; nothing here says anything of ventilation or of a patient's airway.
//!
//! Lengths and diameters are millimetres. A part is named by its place in [`Fit::parts`], from 0.

use serde::{Deserialize, Serialize};

use super::case::Technique;
pub use super::fit_part::{
    EndAt, FitPart, Gas, Have, Joint, Opening, OpeningState, Processing, Size, Sizes, TriedBy, Whence,
};

/// How one rule came out, the worst last.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Holds,
    /// It may be done, and somebody should look first.
    Warns,
    /// A size or a coupling is not known: nobody may call it fitting.
    NotKnown,
    Fails,
    /// Gas could not leave. It is shown loudest, and no sheet says that this fits.
    Stops,
}

impl Verdict {
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Holds => "holds",
            Verdict::Warns => "look first",
            Verdict::NotKnown => "not known",
            Verdict::Fails => "does not fit",
            Verdict::Stops => "stop",
        }
    }
}

/// What may be said of a whole configuration: the worst of its rules.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    Fits,
    NotKnown,
    DoesNotFit,
    Stop,
}

impl Answer {
    pub fn name(self) -> &'static str {
        match self {
            Answer::Fits => "fits",
            Answer::NotKnown => "not_known",
            Answer::DoesNotFit => "does_not_fit",
            Answer::Stop => "stop",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Answer::Fits => "fits",
            Answer::NotKnown => "fit not known",
            Answer::DoesNotFit => "does not fit",
            Answer::Stop => "stop: gas must be able to leave",
        }
    }
}

/// The rules, in the order in which they are told where they are equally bad.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// Jet ventilation: a declared way out stays open.
    WayOut,
    /// The openings suit the technique.
    Openings,
    /// Everything that the technique needs is there.
    Complete,
    /// The two sides of a joint name the same system, or were tried together.
    Coupling,
    /// The widest part of an instrument passes the lumen by itself.
    Pass,
    /// Those that work together lie side by side in the lumen by their shafts.
    Work,
    /// The widest part passes beside the shafts that are in already.
    PassBeside,
    /// What goes in through an opening passes its bore, alone and together.
    EntryBore,
    /// The tip of the telescope lies inside the window.
    TelescopeLength,
    /// Pulled back, its tip is covered.
    TelescopeCovered,
    /// Forceps and suction are long enough.
    Reach,
    /// A cap's hole is smaller than the instrument in it.
    CapSeals,
    /// And not so small that it tears.
    CapTears,
    /// As many holes as instruments.
    CapHoles,
    /// The sizes that were entered are plausible.
    Sizes,
    /// Its parts are in the house, and no other case's.
    Had,
}

/// One rule, with its numbers and in words.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Check {
    pub rule: Rule,
    pub verdict: Verdict,
    pub parts: Vec<usize>,
    pub sentence: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub needed_mm: Option<f64>,
    /// Found less needed, the site's clearance taken off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spare_mm: Option<f64>,
}

impl Check {
    /// In words alone.
    pub fn of(rule: Rule, verdict: Verdict, parts: Vec<usize>, sentence: String) -> Check {
        Check { rule, verdict, parts, sentence, found_mm: None, needed_mm: None, spare_mm: None }
    }
}

/// A part beside the others in the lumen: its centre, the lumen's centre being the origin.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Circle {
    pub part: usize,
    pub x_mm: f64,
    pub y_mm: f64,
    pub r_mm: f64,
}

/// Instruments that work together, in the lumen of the barrel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Together {
    pub parts: Vec<usize>,
    pub lumen_mm: f64,
    pub clearance_mm: f64,
    /// Bounds on the smallest lumen that takes them all.
    pub needed_low_mm: f64,
    pub needed_high_mm: f64,
    /// What is left, the clearance taken off; below 0 it is too narrow.
    pub spare_mm: f64,
    pub verdict: Verdict,
    /// How they may lie, where they fit.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub circles: Vec<Circle>,
}

/// The telescope in one of its two positions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Position {
    /// How much of it stands out of the cap.
    pub out_mm: f64,
    /// Its tip beyond the barrel's end; below 0 it lies inside.
    pub tip_mm: f64,
}

/// A telescope against the barrel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TelescopeAt {
    pub part: usize,
    pub working_length_mm: f64,
    pub barrel_length_mm: f64,
    /// Head, adapter and cap.
    pub stack_mm: f64,
    pub window_mm: [f64; 2],
    /// Pushed in as far as it goes.
    pub full: Position,
    /// Pulled back until its tip is covered.
    pub back: Position,
}

/// The answer on one configuration.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fit {
    pub answer: Answer,
    /// One sentence that answers; the worst fact first.
    pub sentence: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub technique: Option<Technique>,
    /// The barrel first, then in the order of assembly see [`FitPart::step`].
    pub parts: Vec<FitPart>,
    pub joints: Vec<Joint>,
    pub openings: Vec<Opening>,
    pub together: Vec<Together>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub telescopes: Vec<TelescopeAt>,
    /// Every rule that was looked at, the worst first.
    pub checks: Vec<Check>,
    /// Whether all its parts can be had; absent where only models were looked at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub have: Option<Have>,
    pub cautions: Vec<String>,
}
