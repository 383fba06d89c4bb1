//! The parts of a configuration in the answer on its fit: their sizes, how they are joined, what sits on each opening.

use serde::{Deserialize, Serialize};

use super::fit::Verdict;
use super::fit_size::mm;
use super::id::Id;
use super::model::{Family, Port};
use super::text::Quantity;
use super::time::Time;

/// Where the number that was used comes from: the worse one of the two.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Whence {
    Stated,
    Measured,
}

/// One size of a part: as its maker states it and as somebody measured it; the worse one is used.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Size {
    pub stated: Option<Quantity>,
    pub measured: Option<Quantity>,
    pub used_mm: f64,
    pub from: Whence,
}

/// The sizes of a part. The nominal label is a name, and never a diameter.
#[derive(Clone, Debug, PartialEq, Default, Serialize)]
pub struct Sizes {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inner: Option<Size>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outer: Option<Size>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length: Option<Size>,
    /// What lies in the lumen: the shaft. Stated as French it is an outer diameter, thirds of a millimetre.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shaft: Option<Size>,
    /// The widest part, jaws closed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub widest: Option<Size>,
    /// What the part adds to the way from the cap to the barrel's end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stack: Option<Size>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub french: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub view_deg: Option<Quantity>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub holes: Vec<Size>,
    /// Known to have no hole.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub blank: bool,
}

/// An end of a part of the configuration.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct EndAt {
    pub part: usize,
    pub end: String,
}

/// Whether a part can be had for the case.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Have {
    /// Sterile (or as its route ends), in date, cool, on no hold; or already out at this very case.
    Ready,
    /// On its way, and by the site's turnaround there before the case begins.
    Expected,
    NotReady,
}

impl Have {
    pub fn words(self) -> &'static str {
        match self {
            Have::Ready => "ready",
            Have::Expected => "in reprocessing, expected in time",
            Have::NotReady => "not ready",
        }
    }
}

/// Whether a part can be had, since when or from when, and how much life its maker's limits leave.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Processing {
    pub have: Have,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ready_at: Option<Time>,
    /// Each thing that stands in the way or is soon due, in a sentence of its own.
    pub why: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cycles_left: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uses_left: Option<u32>,
}

/// One part of a configuration.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FitPart {
    /// The piece; absent where only its model was looked at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mark: Option<String>,
    pub model: Id,
    pub name: String,
    pub family: Family,
    /// When it goes on, from 1: the chain of couplings from the connector outwards, or what the site entered.
    pub step: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assembly_note: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assembly_edition: Option<String>,
    pub sizes: Sizes,
    /// The end that it sits on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<EndAt>,
    /// The opening through which it goes into the lumen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub through: Option<EndAt>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub location: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub processing: Option<Processing>,
}

/// Who tried two parts together, and when.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TriedBy {
    pub by: String,
    pub at: Time,
    pub fits: bool,
    /// Told of their models, not of these very pieces.
    pub models: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// Two ends that meet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Joint {
    /// The side towards the barrel.
    pub inner: EndAt,
    /// The side of the part that sits on it; absent where none of its ends is known to go there.
    pub outer: Option<EndAt>,
    pub outer_part: usize,
    pub inner_system: Option<String>,
    pub outer_system: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tried: Option<TriedBy>,
    pub verdict: Verdict,
    pub sentence: String,
}

/// The state of an opening: what sits on it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OpeningState {
    Open,
    /// A cap without a hole.
    Blank,
    HoledCap,
    /// A cap of which nobody said whether it has holes.
    HolesNotKnown,
    Connector,
    Jet,
    Window,
    /// Something that is none of these.
    Other,
}

impl OpeningState {
    pub fn words(self) -> &'static str {
        match self {
            OpeningState::Open => "open",
            OpeningState::Blank => "blank cap",
            OpeningState::HoledCap => "cap with a hole",
            OpeningState::HolesNotKnown => "cap, holes not known",
            OpeningState::Connector => "anaesthesia connector",
            OpeningState::Jet => "jet attachment",
            OpeningState::Window => "window",
            OpeningState::Other => "another part",
        }
    }

    /// The same where the holes of the cap are known.
    pub fn told(self, holes: usize) -> String {
        match (self, holes) {
            (OpeningState::HoledCap, 2..) => format!("cap with {holes} holes"),
            (state, _) => state.words().to_string(),
        }
    }
}

/// Whether gas can pass from the lumen to the air.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gas {
    Closed,
    NotKnown,
    Open,
}

/// One opening into the lumen with what sits on it and goes through it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Opening {
    pub at: EndAt,
    pub port: Port,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bore_mm: Option<f64>,
    pub state: OpeningState,
    /// The part that sits on it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<usize>,
    /// Of a holed cap.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub holes_mm: Vec<f64>,
    /// What goes in here.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub instruments: Vec<usize>,
    /// Whether gas can leave here whichever of the groups is in.
    pub gas: Gas,
    /// Whether gas can pass here while any of them is: what a closed system asks.
    #[serde(skip)]
    pub leaks: Gas,
    /// Somebody declared that gas leaves here.
    pub way_out: bool,
    pub sentence: String,
}

impl FitPart {
    /// How a barrel is named: by its label, with inner, outer and length where they are known.
    pub fn fit_name(&self) -> String {
        let sizes = &self.sizes;
        let size = |name: &str, size: &Option<Size>| {
            size.as_ref().map(|size| format!("{name} {}", mm(size.used_mm)))
        };
        let all: Vec<String> =
            [size("inner", &sizes.inner), size("outer", &sizes.outer), size("length", &sizes.length)]
                .into_iter()
                .flatten()
                .collect();
        if all.is_empty() { self.name.clone() } else { format!("{} ({})", self.name, all.join(", ")) }
    }
}
