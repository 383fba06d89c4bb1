//! Configurations: the parts that are meant to work together in one case, what sits where, and what a case wishes for.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::Technique;
use super::command::{Malformed, wrong};
use super::fit::Answer;
use super::id::Id;
use super::model::Family;
use super::text::{Line, Quantity};
use super::time::Time;

/// The most parts in one configuration.
pub const MOST_PARTS: usize = 40;
/// The most instruments beside each other in one lumen.
pub const MOST_TOGETHER: usize = 7;

/// An end of a part, by the part's name and its own.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EndOf {
    pub part: Line,
    pub end: Line,
}

/// A part of a configuration. Where it sits or goes in may be left out where its couplings leave one place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Placed {
    pub asset: Line,
    /// The end that it sits on: of a head, an adapter, a connector, a cap.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<EndOf>,
    /// The opening through which it goes into the lumen: of an instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub through: Option<EndOf>,
}

/// The parts that are meant to work together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Configuration {
    pub barrel: Line,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<Placed>,
    /// Those that lie in the lumen at once; each group is judged by itself. Left out, all instruments do.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub together: Vec<Vec<Line>>,
    /// Where gas leaves: an opening that stays open.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub way_out: Vec<EndOf>,
}

/// What a case asks of its configuration.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Wish {
    /// The label of the barrel that is wished for, as people name it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub barrel_nominal: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub barrel_family: Option<Family>,
    /// The instruments that work in the lumen at once: each a family (`telescope`, `forceps`, `suction_tube`) or a model.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub together: Vec<Line>,
    /// What is changed to where the planned technique does not do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fall_back: Option<Technique>,
}

impl Configuration {
    pub fn whole(&self, at: &str) -> Result<(), Malformed> {
        if self.parts.len() > MOST_PARTS {
            let found = self.parts.len();
            return Err(wrong(
                format!("{at}/parts"),
                format!("found {found} parts; at most {MOST_PARTS} belong to one configuration"),
            ));
        }
        for (n, placed) in self.parts.iter().enumerate() {
            if placed.on.is_some() && placed.through.is_some() {
                return Err(wrong(
                    format!("{at}/parts/{n}"),
                    "found both on and through; a part sits on an end, or goes in through an opening",
                ));
            }
        }
        for (n, group) in self.together.iter().enumerate() {
            if group.is_empty() {
                let detail = "found no instrument; a group names those that lie in the lumen at once";
                return Err(wrong(format!("{at}/together/{n}"), detail));
            }
            if group.len() > MOST_TOGETHER {
                let found = group.len();
                return Err(wrong(
                    format!("{at}/together/{n}"),
                    format!("found {found} instruments; at most {MOST_TOGETHER} lie in one lumen"),
                ));
            }
        }
        Ok(())
    }
}

impl Wish {
    pub fn whole(&self) -> Result<(), Malformed> {
        let found = self.together.len();
        if found > MOST_TOGETHER {
            return Err(wrong(
                "/configuration/together",
                format!("found {found} instruments; at most {MOST_TOGETHER} lie in one lumen"),
            ));
        }
        if self.barrel_nominal.is_some_and(|label| label.0 <= rust_decimal::Decimal::ZERO) {
            let detail = "found zero or less; the label of a barrel is above zero";
            return Err(wrong("/configuration/barrel_nominal", detail));
        }
        if self.barrel_family.is_some_and(|family| !family.is_barrel()) {
            return Err(wrong(
                "/configuration/barrel_family",
                "found a family that is no barrel; bronchoscope or tracheoscope is needed",
            ));
        }
        Ok(())
    }
}

impl Family {
    pub fn is_barrel(self) -> bool {
        matches!(self, Family::Bronchoscope | Family::Tracheoscope)
    }

    /// Whether parts of this family go into the lumen of a barrel.
    pub fn is_instrument(self) -> bool {
        matches!(
            self,
            Family::Telescope
                | Family::Forceps
                | Family::SuctionTube
                | Family::Obturator
                | Family::Dilator
                | Family::StentPlacer
        )
    }

    /// Whether parts of this family are joined to the barrel, or to what is joined to it.
    pub fn is_joined(self) -> bool {
        matches!(
            self,
            Family::Head
                | Family::AnaesthesiaConnector
                | Family::JetAdapter
                | Family::PortAdapter
                | Family::Cap
                | Family::Window
        )
    }
}

/// What was chosen for a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Chosen {
    pub configuration: Configuration,
    pub by: String,
    pub at: Time,
    /// What was said of its fit then.
    pub answer: Answer,
    /// Told as done already.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub done: bool,
}

impl Chosen {
    /// Every piece of it, the barrel first.
    pub fn pieces(&self) -> impl Iterator<Item = &str> {
        self.configuration.pieces()
    }
}

impl Configuration {
    /// Every piece that it names, the barrel first.
    pub fn pieces(&self) -> impl Iterator<Item = &str> {
        std::iter::once(self.barrel.as_str()).chain(self.parts.iter().map(|placed| placed.asset.as_str()))
    }

    pub fn names(&self, asset: &Id) -> bool {
        self.pieces().any(|piece| piece == asset.as_str())
    }

    /// The same with another piece in one's place.
    pub fn with(&self, old: &Id, new: &Id) -> Configuration {
        let mut changed = self.clone();
        let put = |name: &mut Line| {
            if name.as_str() == old.as_str() {
                *name = Line(new.to_string());
            }
        };
        put(&mut changed.barrel);
        for placed in &mut changed.parts {
            put(&mut placed.asset);
            placed.on.iter_mut().chain(&mut placed.through).for_each(|end| put(&mut end.part));
        }
        changed.together.iter_mut().flatten().for_each(put);
        changed.way_out.iter_mut().for_each(|end| put(&mut end.part));
        changed
    }
}
