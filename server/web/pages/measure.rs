//! The form in which a piece is measured: the sizes that its family has, what the maker states of each beside the field.

use crate::domain::model::{Dimensions, Family};
use crate::domain::state::{Asset, State};
use crate::domain::text::Quantity;

/// One size, as the form asks for it.
pub struct SizeField {
    /// As the form sends it.
    pub name: &'static str,
    pub label: &'static str,
    /// What is known of it: stated by the maker, and measured before.
    pub known: String,
}

type Size = (&'static str, &'static str, fn(&Dimensions) -> Option<String>);

fn one(size: Option<Quantity>) -> Option<String> {
    size.map(|size| size.0.to_string())
}

const INNER: Size =
    ("dimensions.inner_diameter_mm:decimal", "Inner diameter in mm", |it| one(it.inner_diameter_mm));
const OUTER: Size =
    ("dimensions.outer_diameter_mm:decimal", "Outer diameter in mm", |it| one(it.outer_diameter_mm));
const LENGTH: Size = ("dimensions.length_mm:decimal", "Working length in mm", |it| one(it.length_mm));
const SHAFT: Size =
    ("dimensions.shaft_diameter_mm:decimal", "Shaft diameter in mm", |it| one(it.shaft_diameter_mm));
const WIDEST: Size =
    ("dimensions.max_width_mm:decimal", "Widest part in mm, jaws closed", |it| one(it.max_width_mm));
const STACK: Size =
    ("dimensions.stack_height_mm:decimal", "Height that it adds in mm", |it| one(it.stack_height_mm));
const HOLES: Size =
    ("dimensions.hole_diameters_mm:holes", "Holes in mm, a space between; of a blank cap \"none\"", holes);

fn holes(it: &Dimensions) -> Option<String> {
    let holes = it.hole_diameters_mm.as_ref()?;
    let all: Vec<String> = holes.iter().map(|hole| hole.0.to_string()).collect();
    Some(if all.is_empty() { "none".into() } else { all.join(" ") })
}

/// What can be measured of a family; nothing of what has no size that decides a fit.
fn sizes(family: Family) -> &'static [Size] {
    match family {
        Family::Bronchoscope | Family::Tracheoscope => &[INNER, OUTER, LENGTH],
        Family::Telescope | Family::Obturator | Family::Dilator | Family::StentPlacer => {
            &[SHAFT, WIDEST, LENGTH]
        }
        Family::Forceps => &[WIDEST, SHAFT, LENGTH],
        Family::SuctionTube => &[OUTER, WIDEST, LENGTH],
        Family::Cap | Family::Window => &[HOLES, STACK],
        Family::Head | Family::AnaesthesiaConnector | Family::JetAdapter | Family::PortAdapter => &[STACK],
        Family::LightCable
        | Family::CameraHead
        | Family::MouthGuard
        | Family::Injector
        | Family::LightSource
        | Family::Container
        | Family::Accessory => &[],
    }
}

pub fn fields(state: &State, asset: &Asset) -> Vec<SizeField> {
    let Some(model) = state.model(&asset.model) else { return Vec::new() };
    let field = |(name, label, of): &Size| {
        let stated = of(&model.dimensions).map(|size| format!("stated {size}"));
        let measured = asset.measured.as_ref().and_then(|it| of(it)).map(|size| format!("measured {size}"));
        let known: Vec<String> = stated.into_iter().chain(measured).collect();
        SizeField { name, label, known: if known.is_empty() { "not known".into() } else { known.join(", ") } }
    };
    sizes(model.family).iter().map(field).collect()
}
