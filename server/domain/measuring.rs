//! A piece measured: what its maker states stays beside it, and the worse number counts.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::{When, change};
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::{Dimensions, Model};
use super::refusal::Code;
use super::sizes::{self, Known, Point, look};
use super::state::{Asset, State};
use super::text::{Line, Quantity, Text};

/// No part of this trade is longer, in millimetres.
const MOST_MM: i64 = 10_000;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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
    let (refused, doubts) = looked_at(deciding.state, &asset, &it.dimensions);
    deciding.malformed.extend(refused.iter().map(Point::malformed));
    deciding.doubts = doubts.iter().map(Point::doubt).collect();
    Some(What::AssetMeasured(AssetMeasured {
        asset: asset.asset.clone(),
        dimensions: it.dimensions.clone(),
        how: it.how.as_ref().map(|how| how.0.clone()),
    }))
}

/// What cannot be in a piece as it is measured now, and what is doubtful, by the checks that a model goes through. What
/// was measured is held against itself, and then against what the maker states of the rest; there only what lies more
/// than a millimetre apart is refused, since the maker may be wrong by less.
fn looked_at(state: &State, asset: &Asset, now: &Dimensions) -> (Vec<Point>, Vec<Point>) {
    let Some(model) = state.model(&asset.model) else { return (Vec::new(), Vec::new()) };
    let known = Known::of(state);
    let alone = merged(asset.measured.as_deref(), now);
    let with = |dimensions: Dimensions| look(&Model { dimensions, ..model.clone() }, &known);
    let (measured, before) = (with(alone.clone()), look(model, &known));
    let both = Dimensions { nominal: model.dimensions.nominal, ..merged(Some(&model.dimensions), &alone) };
    let mixed = with(both.clone());
    let mut refused = measured.wrong;
    let mut doubts: Vec<Point> = Vec::new();
    for point in mixed.wrong {
        if before.wrong.contains(&point) || refused.iter().any(|it| it.pointer == point.pointer) {
            continue;
        }
        if is_far(&both, &point) { refused.push(point) } else { doubts.push(point) }
    }
    for point in mixed.doubts.into_iter().chain(measured.doubts) {
        if !before.doubts.contains(&point) && !doubts.contains(&point) {
            doubts.push(point);
        }
    }
    (refused, doubts)
}

/// Whether two sizes that exclude each other lie more than a millimetre apart. French and millimetres do wherever they are
/// said to exclude each other; a label is a name, and excludes nothing that was measured.
fn is_far(size: &Dimensions, point: &Point) -> bool {
    let over = |inner: Option<Quantity>, outer: Option<Quantity>| {
        inner.zip(outer).is_some_and(|(inner, outer)| inner.0 - outer.0 > Decimal::ONE)
    };
    match point.pointer.as_str() {
        sizes::NOMINAL => false,
        sizes::INNER => over(size.inner_diameter_mm, size.outer_diameter_mm),
        sizes::WIDEST => {
            over(size.shaft_diameter_mm, size.max_width_mm) || over(size.outer_diameter_mm, size.max_width_mm)
        }
        _ => true,
    }
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
