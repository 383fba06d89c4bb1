//! What was measured, tried together and chosen, in sentences.

use crate::domain::choosing::ConfigurationChosen;
use crate::domain::fit::Answer;
use crate::domain::model::Dimensions;
use crate::domain::tried::FitConfirmed;

/// Sizes as people read them.
pub fn sizes(it: &Dimensions) -> String {
    let mm = [
        ("inner diameter", it.inner_diameter_mm),
        ("outer diameter", it.outer_diameter_mm),
        ("length", it.length_mm),
        ("shaft", it.shaft_diameter_mm),
        ("widest part", it.max_width_mm),
        ("stack height", it.stack_height_mm),
    ];
    let mut all: Vec<String> =
        mm.into_iter().filter_map(|(name, size)| size.map(|size| format!("{name} {size} mm"))).collect();
    all.extend(it.french.map(|french| format!("{french} Fr")));
    all.extend(it.view_deg.map(|view| format!("view {view}°")));
    match &it.hole_diameters_mm {
        None => {}
        Some(holes) if holes.is_empty() => all.push("no hole".into()),
        Some(holes) => {
            let holes: Vec<String> = holes.iter().map(ToString::to_string).collect();
            all.push(format!("holes {} mm", holes.join(" and ")));
        }
    }
    all.join(", ")
}

pub fn tried(it: &FitConfirmed) -> String {
    let of = it.parts.as_ref().or(it.models.as_ref());
    let two = of.map_or_else(String::new, |[one, other]| format!("{one} and {other}"));
    let ends = it
        .ends
        .as_ref()
        .map_or_else(String::new, |[one, other]| format!(" at \"{}\" and \"{}\"", one.0, other.0));
    let how = it.how.as_ref().map_or_else(String::new, |how| format!(" ({how})"));
    let came = if it.fits { "fit" } else { "do not fit" };
    format!("{two} tried together{ends}{how}: they {came}.")
}

pub fn chosen(it: &ConfigurationChosen) -> String {
    let parts: Vec<&str> = it.configuration.pieces().collect();
    let (how, said) = (if it.done { "put together" } else { "chosen" }, it.answer.words());
    let loud = if it.answer == Answer::Fits { "" } else { " all the same" };
    format!("Configuration {how} for case {}{loud}: {} ({said}).", it.case, parts.join(", "))
}
