//! The sizes of what passes through a barrel, of caps, and the lengths of all.

use rust_decimal::Decimal;

use super::model::{Family, Model};
use super::sizes::{FRENCH, INNER, LENGTH, Looked, OUTER, SHAFT, WIDEST, mm};
use super::text::Quantity;

const VIEW: &str = "/dimensions/view_deg";
const STACK: &str = "/dimensions/stack_height_mm";

/// What is put through a barrel, and so needs a width and a length. Dilators come in series of widths.
pub(super) fn is_passed_through(family: Family) -> bool {
    family.is_instrument() && family != Family::Dilator
}

/// The lengths in millimetres between which rigid parts lie. From memory and common practice: barrels for children
/// from 185 mm, bronchoscopes to 430 mm, tracheoscopes 250 to 330 mm, telescopes 200 to 550 mm; forceps and suction
/// tubes are longer than their barrels. With a margin, and never more than a doubt.
fn usual_length(family: Family) -> Option<(i64, i64)> {
    match family {
        Family::Bronchoscope => Some((150, 470)),
        Family::Tracheoscope => Some((120, 370)),
        Family::Telescope => Some((150, 650)),
        Family::Forceps | Family::SuctionTube | Family::Obturator | Family::StentPlacer => Some((150, 750)),
        Family::Head
        | Family::AnaesthesiaConnector
        | Family::JetAdapter
        | Family::PortAdapter
        | Family::Cap
        | Family::LightCable
        | Family::CameraHead
        | Family::MouthGuard
        | Family::Window
        | Family::Injector
        | Family::Dilator
        | Family::LightSource
        | Family::Container
        | Family::Accessory => None,
    }
}

pub(super) fn look(model: &Model, looked: &mut Looked) {
    widest(model, looked);
    french(model, looked);
    length(model, looked);
    view(model, looked);
    holes(model, looked);
    lumen(model, looked);
    let size = &model.dimensions;
    if let Some(stack) = size.stack_height_mm {
        if stack.0 < Decimal::ZERO {
            looked.wrong(STACK, format!("a height of {stack} mm"), "zero or more is needed");
        } else if stack.0 > Decimal::from(150) {
            let needed = "heads and caps add a few centimetres at most; is the unit millimetres?";
            looked.doubt(STACK, format!("a height of {stack} mm"), needed);
        }
    }
    let shaft = size.shaft_diameter_mm.filter(|_| is_passed_through(model.family));
    if let Some(shaft) = shaft.filter(|it| it.0 < Decimal::new(5, 1) || it.0 > Decimal::from(12)) {
        let needed = "what passes a rigid barrel is 0.5 to 12 mm; is the unit millimetres, and not French?";
        looked.doubt(SHAFT, format!("a shaft of {shaft} mm"), needed);
    }
}

/// What has no lumen has no inner diameter.
fn lumen(model: &Model, looked: &mut Looked) {
    use Family::{CameraHead, Forceps, LightCable, LightSource, MouthGuard, Telescope};
    let solid = [Telescope, Forceps, LightCable, CameraHead, LightSource, MouthGuard];
    if let Some(inner) = model.dimensions.inner_diameter_mm.filter(|_| solid.contains(&model.family)) {
        let found = format!("an inner diameter of {inner} mm on a {}", model.family.words());
        looked.doubt(INNER, found, "nothing passes through one; was the shaft measured?");
    }
}

/// The widest part is no narrower than any other.
fn widest(model: &Model, looked: &mut Looked) {
    let size = &model.dimensions;
    let Some(widest) = size.max_width_mm else { return };
    for (what, other) in [("shaft", size.shaft_diameter_mm), ("outer diameter", size.outer_diameter_mm)] {
        if let Some(other) = other.filter(|other| widest < *other) {
            let found = format!("a widest part of {widest} mm below the {what} of {other} mm");
            return looked.wrong(WIDEST, found, format!("the {what} or more is needed"));
        }
    }
}

/// French is outer diameter, in thirds of a millimetre (by the definition of the scale), and compared as such.
fn french(model: &Model, looked: &mut Looked) {
    let size = &model.dimensions;
    let Some(Quantity(french)) = size.french.filter(|it| it.0 > Decimal::ZERO) else { return };
    let three = Decimal::from(3);
    let says = format!("{french} Fr is {}", mm(french / three));
    let outer = [(SHAFT, "shaft", size.shaft_diameter_mm), (OUTER, "outer diameter", size.outer_diameter_mm)];
    for (pointer, what, stated) in outer {
        let Some(Quantity(stated)) = stated else { continue };
        let apart = (stated * three - french).abs();
        let found = format!("{french} Fr beside a {what} of {}", mm(stated));
        if apart > three {
            // More than a millimetre: beyond what tools measure and makers round.
            looked.wrong(pointer, found, format!("{says}; one of the two is needed, or both the same"));
        } else if apart > Decimal::new(25, 2) {
            looked.doubt(pointer, found, format!("{says}; which of the two was measured?"));
        }
    }
    if let Some(Quantity(inner)) = size.inner_diameter_mm
        && size.outer_diameter_mm.is_none()
        && (inner * three - french).abs() <= Decimal::new(25, 2)
    {
        let needed = "French is the outer diameter, never that of the lumen";
        looked.doubt(INNER, format!("an inner diameter of {}, which is {french} Fr", mm(inner)), needed);
    }
    if !(Decimal::ONE..=Decimal::from(40)).contains(&french) {
        let needed = "rigid suction tubes and catheters are 1 to 40 Fr; is it millimetres?";
        looked.doubt(FRENCH, format!("{french} Fr"), needed);
    }
}

fn length(model: &Model, looked: &mut Looked) {
    let Some((least, most)) = usual_length(model.family) else { return };
    let Some(Quantity(length)) = model.dimensions.length_mm else { return };
    let usual = Decimal::from(least)..=Decimal::from(most);
    if length <= Decimal::ZERO || usual.contains(&length) {
        return;
    }
    let ten = Decimal::TEN;
    let guess = match (usual.contains(&(length * ten)), usual.contains(&(length / ten))) {
        (true, _) => format!("it looks like centimetres: {} would be {}", length, mm(length * ten)),
        (_, true) => format!("it looks ten times too long: {}", mm(length / ten)),
        (false, false) => "is the unit millimetres?".into(),
    };
    let found = format!("a length of {} for a {}", mm(length), model.family.words());
    looked.doubt(LENGTH, found, format!("{least} to {most} mm is usual; {guess}"));
}

/// Directions of view lie between straight on and straight back; 0, 30, 70 and 90 degrees are common (common practice).
fn view(model: &Model, looked: &mut Looked) {
    let Some(Quantity(view)) = model.dimensions.view_deg else { return };
    let found = format!("a view of {view}°");
    if view < Decimal::ZERO || view > Decimal::from(180) {
        looked.wrong(VIEW, found, "0 to 180 is needed");
    } else if view > Decimal::from(120) {
        looked.doubt(VIEW, found, "0, 30, 70 and 90 are common");
    } else if model.family != Family::Telescope && model.family != Family::Forceps {
        let found = format!("a view of {view}° on a {}", model.family.words());
        looked.doubt(VIEW, found, "telescopes have a direction of view; is the family right?");
    }
}

fn holes(model: &Model, looked: &mut Looked) {
    let holes = model.dimensions.holes();
    let at = |n: usize| format!("/dimensions/hole_diameters_mm/{n}");
    let bore = model.couplings.iter().filter_map(|it| it.bore_mm).max();
    for (n, hole) in holes.iter().enumerate() {
        let found = format!("a hole of {hole} mm");
        if hole.0 <= Decimal::ZERO {
            looked.wrong(at(n), found, "a diameter above zero is needed; a blank cap names no hole");
        } else if hole.0 > Decimal::from(12) {
            looked.doubt(at(n), found, "a hole seals around an instrument of at most 12 mm");
        } else if let Some(bore) = bore.filter(|bore| bore < hole) {
            let found = format!("a hole of {hole} mm over a bore of {bore} mm");
            looked.doubt(at(n), found, "a hole no wider than the bore behind it is usual");
        }
    }
    if !holes.is_empty() && model.family != Family::Cap && model.family != Family::Window {
        let found = format!("holes on a {}", model.family.words());
        looked.doubt("/dimensions/hole_diameters_mm", found, "caps have holes; is the family right?");
    }
    if holes.len() > 4 {
        let found = format!("{} holes", holes.len());
        looked.doubt("/dimensions/hole_diameters_mm", found, "a cap has one or two, rarely more");
    }
}
