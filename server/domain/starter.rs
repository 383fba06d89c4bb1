//! Published programmes for a new site to begin with. Each names its source, and whether that source was read or is
//! told from memory. None replaces the machine's validation or the maker's instructions.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::Serialize;

use super::id::Id;
use super::machine::MachineKind;
use super::model::Method;
use super::programme::{Biological, Programme};
use super::text::{Line, Quantity};

/// How far a published number was checked against its source.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Checked {
    /// The number was read in a copy of the source that is named.
    Read,
    /// The number was read in a text that quotes the source.
    ReadSecondHand,
    /// The source was not at hand.
    FromMemory,
}

impl Checked {
    pub fn words(self) -> &'static str {
        match self {
            Checked::Read => "read in it",
            Checked::ReadSecondHand => "read in a text that quotes it",
            Checked::FromMemory => "from memory: check it before use",
        }
    }
}

/// A pair of limits as it was published.
#[derive(Clone, Copy, Debug)]
pub struct Published {
    pub name: &'static str,
    /// What it is for, in a few words.
    pub about: &'static str,
    pub kind: MachineKind,
    pub band_c: Option<i64>,
    pub hold_s: Option<i64>,
    pub a0_s: Option<i64>,
    /// Air is drawn out of the chamber, so that its removal is tested.
    pub air_removal: bool,
    pub source: &'static str,
    pub checked: Checked,
}

const CDC: &str = "CDC Guideline for Disinfection and Sterilization in Healthcare Facilities 2008, Table 7";
const PAIRS: &str =
    "Common moist-heat pairs, sterilising-club handbook 2025, Table 10.2 (Medical Research Council)";
const US_PAIR: &str =
    "Common moist-heat pairs, sterilising-club handbook 2025, Table 10.2 (132 °C, as in the USA)";
const A0_600: &str =
    "A0 concept of ISO 15883-1: 600 s for surgical instruments; 10 min at 80 °C or 1 min at 90 °C";
const A0_3000: &str = "A0 concept of ISO 15883-1: 3000 s against heat-resistant viruses; 5 min at 90 °C";

const fn steam(
    name: &'static str,
    about: &'static str,
    (band_c, hold_s): (i64, i64),
    air_removal: bool,
    source: &'static str,
) -> Published {
    let kind = MachineKind::Steriliser;
    let (band_c, hold_s, a0_s) = (Some(band_c), Some(hold_s), None);
    Published { name, about, kind, band_c, hold_s, a0_s, air_removal, source, checked: Checked::Read }
}

const fn wash(
    name: &'static str,
    about: &'static str,
    (band_c, a0_s): (i64, i64),
    source: &'static str,
) -> Published {
    let (kind, air_removal) = (MachineKind::WasherDisinfector, false);
    let (band_c, hold_s, a0_s) = (Some(band_c), None, Some(a0_s));
    Published {
        name,
        about,
        kind,
        band_c,
        hold_s,
        a0_s,
        air_removal,
        source,
        checked: Checked::ReadSecondHand,
    }
}

/// The published programmes, sterilisers first.
pub const PUBLISHED: [Published; 16] = [
    steam("steam-134-3", "Common pair", (134, 180), true, PAIRS),
    steam("steam-132-4", "Common pair in the USA", (132, 240), true, US_PAIR),
    steam("steam-126-10", "Common pair", (126, 600), true, PAIRS),
    steam("steam-121-15", "Common pair", (121, 900), true, PAIRS),
    steam("gravity-121-30-instruments", "Gravity, wrapped instruments", (121, 1_800), false, CDC),
    steam("gravity-132-15-instruments", "Gravity, wrapped instruments", (132, 900), false, CDC),
    steam("gravity-121-30-textiles", "Gravity, textile packs", (121, 1_800), false, CDC),
    steam("gravity-132-25-textiles", "Gravity, textile packs", (132, 1_500), false, CDC),
    steam("gravity-121-30-utensils", "Gravity, wrapped utensils", (121, 1_800), false, CDC),
    steam("gravity-132-15-utensils", "Gravity, wrapped utensils", (132, 900), false, CDC),
    steam("dynamic-132-4-instruments", "Dynamic air removal, wrapped instruments", (132, 240), true, CDC),
    steam("dynamic-132-4-textiles", "Dynamic air removal, textile packs", (132, 240), true, CDC),
    steam("dynamic-132-4-utensils", "Dynamic air removal, wrapped utensils", (132, 240), true, CDC),
    wash("wash-a0-600-80", "Before sterilisation", (80, 600), A0_600),
    wash("wash-a0-600-90", "Before sterilisation", (90, 600), A0_600),
    wash("wash-a0-3000-90", "Where disinfection is the last step", (90, 3_000), A0_3000),
];

/// The published programme of a name.
pub fn published(name: &str) -> Option<&'static Published> {
    PUBLISHED.iter().find(|it| it.name == name)
}

impl Published {
    /// The source with how far it was checked.
    pub fn source_words(&self) -> String {
        format!("{} ({})", self.source, self.checked.words())
    }

    /// The programme as a machine may be defined with it. Its name keeps to the letters of ids.
    pub fn programme(&self) -> Option<Programme> {
        let quantity = |number: Option<i64>| number.map(|number| Quantity(Decimal::from(number)));
        let limits = [("band_c", self.band_c), ("hold_s", self.hold_s), ("a0_s", self.a0_s)];
        let named = limits.into_iter().filter(|(_, limit)| limit.is_some());
        let mut sources: BTreeMap<String, Line> =
            named.map(|(name, _)| (name.to_string(), Line(self.source_words()))).collect();
        if self.air_removal {
            let daily =
                "Practice with sterilisers that draw the air out: a test each day of use (from memory)";
            sources.insert("air_removal_test".into(), Line(daily.into()));
        }
        Some(Programme {
            programme: Id::new(self.name)?,
            method: if self.kind == MachineKind::Steriliser { Method::Steam } else { Method::Machine },
            band_c: quantity(self.band_c),
            hold_s: quantity(self.hold_s),
            a0_s: quantity(self.a0_s),
            air_removal_test: self.air_removal,
            aeration_s: None,
            cooling_s: None,
            chemical: None,
            biological: Biological::None,
            sources,
        })
    }
}
