//! The ends of a model: names that are compared letter by letter, bores, and cones of the standard.

use rust_decimal::Decimal;

use super::model::{Coupling, Model};
use super::sizes::{Known, Looked, tenths};

/// ISO 5356-1: 8.5 and 11.5 mm for newborns and children, 15 and 22 in general, 23 for vaporisers only, 30 for
/// scavenging; in tenths of a millimetre. It says nothing of the joints between barrel and head.
pub const CONES: [i64; 6] = [85, 115, 150, 220, 230, 300];

/// A system's name without what people vary without meaning anything by it.
pub fn alike(system: &str) -> String {
    system.chars().filter(|letter| letter.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// The size of a cone, where the system calls itself one: "cone-15", "15 mm cone".
fn cone(system: &str) -> Option<Decimal> {
    let words = |letter: char| !(letter.is_alphanumeric() || letter == '.' || letter == ',');
    let lower = system.to_lowercase();
    let mut all = lower.split(words).filter(|word| !word.is_empty());
    if !all.clone().any(|word| word == "cone" || word == "conical") {
        return None;
    }
    let number = |word: &str| word.trim_end_matches(char::is_alphabetic).replace(',', ".").parse().ok();
    all.find_map(number)
}

pub(super) fn look(model: &Model, known: &Known, looked: &mut Looked) {
    for (n, coupling) in model.couplings.iter().enumerate() {
        let at = |field: &str| format!("/couplings/{n}/{field}");
        let (end, system) = (coupling.end.as_str(), coupling.system.as_str());
        if model.couplings.iter().take(n).any(|it| it.end == coupling.end) {
            let found = format!("the end \"{end}\" a second time");
            looked.doubt(at("end"), found, "each end has its own name, as side 1 and side 2");
        }
        if let Some(size) =
            cone(system).filter(|size| !CONES.iter().any(|it| tenths(*it) == size.normalize()))
        {
            let found = format!("a cone of {size} mm");
            looked.doubt(at("system"), found, "ISO 5356-1 has 8.5, 11.5, 15, 22, 23 and 30 mm");
        }
        if let Some(other) = nearly(model, coupling, known) {
            let needed = format!(
                "\"{other}\" is known here; names are compared letter by letter, so these two do not fit"
            );
            looked.doubt(at("system"), format!("the system \"{system}\""), needed);
        }
        bore(model, coupling, &at("bore_mm"), looked);
    }
    let orders_by = model.assembly.as_ref().filter(|it| it.order.is_some());
    if orders_by.is_some_and(|it| it.edition.is_none()) {
        let needed = "the edition of the maker's instructions that give it";
        looked.doubt("/assembly/edition", "a place in the assembly without an edition", needed);
    }
}

/// A system of another model, or of another end, whose name is the same but for capitals, spaces and strokes. Where some
/// other model uses the very same name, it is no slip.
fn nearly<'a>(model: &'a Model, coupling: &Coupling, known: &Known<'a>) -> Option<&'a str> {
    let (system, wanted) = (coupling.system.as_str(), alike(coupling.system.as_str()));
    let others = known.systems.get(&wanted).into_iter().flatten().filter(|(of, _)| **of != model.model);
    let others = others.map(|(_, name)| *name);
    if others.clone().any(|name| name == system) {
        return None;
    }
    let own = model.couplings.iter().map(|it| it.system.as_str()).filter(|name| alike(name) == wanted);
    others.chain(own).find(|name| *name != system)
}

fn bore(model: &Model, coupling: &Coupling, pointer: &str, looked: &mut Looked) {
    let Some(bore) = coupling.bore_mm else { return };
    if let Some(outer) = model.dimensions.outer_diameter_mm.filter(|outer| bore > *outer) {
        let found = format!("a bore of {bore} mm in an outer diameter of {outer} mm");
        looked.doubt(pointer, found, "a bore no wider than the part is usual");
    } else if bore.0 > Decimal::from(30) {
        let needed = "no opening of a rigid set is wider than its largest cone; is the unit millimetres?";
        looked.doubt(pointer, format!("a bore of {bore} mm"), needed);
    }
}
