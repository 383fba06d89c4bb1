//! A piece measured: what its maker states stays beside it, and the worse number counts.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::apply::{When, change};
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::Dimensions;
use super::refusal::Code;
use super::state::State;
use super::text::{Line, Quantity, Text};

/// No part of this trade is longer, in millimetres.
const MOST_MM: i64 = 10_000;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasureAsset {
    pub asset: Line,
    /// What was measured; the rest stays as it was measured before.
    pub dimensions: Dimensions,
    /// With what, and how.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<Text>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AssetMeasured {
    pub asset: Id,
    pub dimensions: Dimensions,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
}

impl MeasureAsset {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let it = &self.dimensions;
        if *it == Dimensions::default() {
            return Err(wrong("/dimensions", "found no size; at least one that was measured is needed"));
        }
        if it.nominal.is_some() {
            return Err(wrong(
                "/dimensions/nominal",
                "found a nominal label; a label is a name, nobody measures it",
            ));
        }
        let at = |name: &str| format!("/dimensions/{name}");
        let sizes = [
            ("inner_diameter_mm", it.inner_diameter_mm),
            ("outer_diameter_mm", it.outer_diameter_mm),
            ("length_mm", it.length_mm),
            ("shaft_diameter_mm", it.shaft_diameter_mm),
            ("max_width_mm", it.max_width_mm),
            ("french", it.french),
        ];
        let most = Decimal::from(MOST_MM);
        let above_zero = |size: Quantity| size.0 > Decimal::ZERO && size.0 <= most;
        let unfit = format!("found a size outside 0 to {MOST_MM} mm; a size is above zero");
        for (name, size) in sizes {
            if size.is_some_and(|size| !above_zero(size)) {
                return Err(wrong(at(name), unfit));
            }
        }
        if it.stack_height_mm.is_some_and(|size| size.0 < Decimal::ZERO || size.0 > most) {
            return Err(wrong(at("stack_height_mm"), unfit));
        }
        if it.holes().len() > 20 || it.holes().iter().any(|hole| !above_zero(*hole)) {
            return Err(wrong(at("hole_diameters_mm"), "found more than 20 holes, or one that is none"));
        }
        let half_round = Decimal::ZERO..=Decimal::from(180);
        if it.view_deg.is_some_and(|view| !half_round.contains(&view.0)) {
            return Err(wrong(at("view_deg"), "found a direction outside 0 to 180 degrees"));
        }
        if let (Some(inner), Some(outer)) = (it.inner_diameter_mm, it.outer_diameter_mm)
            && inner >= outer
        {
            return Err(wrong(
                at("inner_diameter_mm"),
                "found an inner diameter that is not smaller than the outer",
            ));
        }
        Ok(())
    }
}

pub(super) fn measure(deciding: &mut Deciding, it: &MeasureAsset) -> Option<What> {
    let asset = deciding.one(it.asset.as_str())?;
    if asset.retired.is_some() {
        deciding.deviates(Code::Retired);
    }
    Some(What::AssetMeasured(AssetMeasured {
        asset: asset.asset.clone(),
        dimensions: it.dimensions.clone(),
        how: it.how.as_ref().map(|how| how.0.clone()),
    }))
}

/// Keeps what was measured with the piece.
pub(super) fn measured(state: &mut State, when: &When, it: &AssetMeasured) {
    change(state, when, &it.asset, |asset| {
        asset.measured = Some(Box::new(merged(asset.measured.as_deref(), &it.dimensions)));
    });
}

/// What is measured now stands in the place of what was measured before; the rest stays.
fn merged(before: Option<&Dimensions>, now: &Dimensions) -> Dimensions {
    let Some(before) = before else { return now.clone() };
    let holes = now.hole_diameters_mm.as_ref().or(before.hole_diameters_mm.as_ref());
    Dimensions {
        nominal: None,
        inner_diameter_mm: now.inner_diameter_mm.or(before.inner_diameter_mm),
        outer_diameter_mm: now.outer_diameter_mm.or(before.outer_diameter_mm),
        length_mm: now.length_mm.or(before.length_mm),
        shaft_diameter_mm: now.shaft_diameter_mm.or(before.shaft_diameter_mm),
        max_width_mm: now.max_width_mm.or(before.max_width_mm),
        french: now.french.or(before.french),
        view_deg: now.view_deg.or(before.view_deg),
        hole_diameters_mm: holes.cloned(),
        stack_height_mm: now.stack_height_mm.or(before.stack_height_mm),
    }
}
