//! The sizes of a model, looked at before they stand in the catalogue. What cannot be is refused; what is doubtful is
//! told, and kept with the entry of whoever saved it all the same; what is lacking is told too, since nobody can say
//! then what fits. Stated numbers are the maker's: nothing here corrects one, or takes one from another.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::id::Id;
use super::malformed::{Malformed, wrong};
use super::model::{Family, Model};
use super::sizes_coupling as coupling;
use super::sizes_part as part;
use super::state::State;
use super::text::Quantity;

/// Something in a model that may be right, and looks as if it were not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Doubt {
    /// A JSON Pointer (RFC 6901) into the model.
    pub pointer: String,
    pub detail: String,
}

/// A field with what was found there and what is needed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Point {
    pub pointer: String,
    pub found: String,
    pub needed: String,
}

impl Point {
    pub fn new(pointer: impl Into<String>, found: impl Into<String>, needed: impl Into<String>) -> Point {
        Point { pointer: pointer.into(), found: found.into(), needed: needed.into() }
    }

    fn detail(&self) -> String {
        format!("found {}; {}", self.found, self.needed)
    }

    pub fn malformed(&self) -> Malformed {
        wrong(self.pointer.clone(), self.detail())
    }

    pub fn doubt(&self) -> Doubt {
        Doubt { pointer: self.pointer.clone(), detail: self.detail() }
    }
}

/// What a model is held against: the site's band for a wall, and the models that are there.
pub struct Known<'a> {
    pub wall_mm: [Quantity; 2],
    pub models: Vec<&'a Model>,
    /// The systems that models name, each with its model, by their names as people would take them for the same.
    pub(super) systems: BTreeMap<String, Vec<(&'a Id, &'a str)>>,
}

impl<'a> Known<'a> {
    pub fn of(state: &'a State) -> Known<'a> {
        Known::new(state.policy.wall_mm, state.models.values().map(|model| &**model).collect())
    }

    pub fn new(wall_mm: [Quantity; 2], models: Vec<&'a Model>) -> Known<'a> {
        let mut systems: BTreeMap<String, Vec<(&Id, &str)>> = BTreeMap::new();
        for model in &models {
            for end in &model.couplings {
                let system = end.system.as_str();
                systems.entry(coupling::alike(system)).or_default().push((&model.model, system));
            }
        }
        Known { wall_mm, models, systems }
    }
}

/// What came of looking.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Looked {
    /// Cannot be.
    pub wrong: Vec<Point>,
    /// May be.
    pub doubts: Vec<Point>,
}

impl Looked {
    /// Everything that was found, what cannot be first.
    pub fn all(&self) -> impl Iterator<Item = &Point> {
        self.wrong.iter().chain(&self.doubts)
    }

    pub(super) fn wrong(
        &mut self,
        pointer: impl Into<String>,
        found: impl Into<String>,
        needed: impl Into<String>,
    ) {
        self.wrong.push(Point::new(pointer, found, needed));
    }

    pub(super) fn doubt(
        &mut self,
        pointer: impl Into<String>,
        found: impl Into<String>,
        needed: impl Into<String>,
    ) {
        self.doubts.push(Point::new(pointer, found, needed));
    }
}

pub(super) const NOMINAL: &str = "/dimensions/nominal";
pub(super) const INNER: &str = "/dimensions/inner_diameter_mm";
pub(super) const OUTER: &str = "/dimensions/outer_diameter_mm";
pub(super) const LENGTH: &str = "/dimensions/length_mm";
pub(super) const SHAFT: &str = "/dimensions/shaft_diameter_mm";
pub(super) const WIDEST: &str = "/dimensions/max_width_mm";
pub(super) const HOLES: &str = "/dimensions/hole_diameters_mm";
pub(super) const FRENCH: &str = "/dimensions/french";

/// A children's-hospital chart of bronchoscopes (nominal label, inner and outer diameter in tenths of a millimetre), as
/// a public sizing tool gives it; that tool was reviewed by nobody. It serves to catch its own columns when they are
/// shifted by one, and is no source of sizes.
pub const CHART: [(i64, i64, i64); 7] =
    [(25, 35, 42), (30, 43, 50), (35, 50, 57), (40, 60, 67), (45, 66, 73), (50, 71, 78), (60, 75, 82)];

pub(super) fn mm(number: Decimal) -> String {
    format!("{} mm", number.round_dp(3).normalize())
}

pub(super) fn tenths(number: i64) -> Decimal {
    Decimal::new(number, 1).normalize()
}

/// Looks at a model, against what is known of the site.
pub fn look(model: &Model, known: &Known) -> Looked {
    let mut looked = Looked::default();
    tube(model, &mut looked);
    if model.family.is_barrel() {
        barrel(model, known, &mut looked);
    }
    part::look(model, &mut looked);
    coupling::look(model, known, &mut looked);
    looked
}

/// What holds of anything with a lumen.
fn tube(model: &Model, looked: &mut Looked) {
    let size = &model.dimensions;
    if let Some(nominal) = size.nominal.filter(|it| it.0 <= Decimal::ZERO) {
        looked.wrong(NOMINAL, format!("the label {nominal}"), "a label above zero is needed, or none");
    }
    if let (Some(inner), Some(outer)) = (size.inner_diameter_mm, size.outer_diameter_mm)
        && inner >= outer
    {
        let found = format!("an inner diameter of {inner} mm beside an outer one of {outer} mm");
        looked.wrong(INNER, found, "an inner diameter below the outer one is needed");
    }
}

fn barrel(model: &Model, known: &Known, looked: &mut Looked) {
    let size = &model.dimensions;
    let (nominal, inner, outer) = (size.nominal, size.inner_diameter_mm, size.outer_diameter_mm);
    if let (Some(nominal), Some(outer)) = (nominal, outer)
        && nominal > outer
    {
        let found = format!("the label {nominal} above the outer diameter {outer} mm");
        looked.wrong(NOMINAL, found, "a label no larger than the outer diameter is needed, or none");
    }
    if let (Some(nominal), Some(inner)) = (nominal, inner) {
        label(nominal, inner, looked);
    }
    if let (Some(inner), Some(outer)) = (inner, outer)
        && inner < outer
    {
        wall(inner, outer, known.wall_mm, looked);
        shifted(model, (inner, outer), known, looked);
    }
    if let Some(outer) = outer.filter(|it| it.0 < Decimal::TWO || it.0 > Decimal::from(18)) {
        let needed = "rigid barrels lie between 2 and 18 mm (two published tables); is the unit right?";
        looked.doubt(OUTER, format!("an outer diameter of {outer} mm"), needed);
    }
}

/// A label is a name. It equals no inner diameter but by chance.
fn label(nominal: Quantity, inner: Quantity, looked: &mut Looked) {
    if inner == nominal {
        let found = format!("an inner diameter of {inner} mm, which is the label itself");
        looked.doubt(INNER, found, "a label is a name and mostly smaller than the inner diameter; measure, or look into the instructions");
    } else if nominal > inner {
        let found = format!("the label {nominal} above the inner diameter {inner} mm");
        looked.doubt(
            NOMINAL,
            found,
            "labels are mostly no larger than the inner diameter; are two of the sizes exchanged?",
        );
    }
}

/// Published walls do not agree: 0.35 mm in the children's chart, 0.25 to 0.5 mm in common practice with adult barrels,
/// up to 1 mm in one table, 2 to 3 mm in an older one. So what is plausible is the site's, and never more than a doubt.
fn wall(inner: Quantity, outer: Quantity, [least, most]: [Quantity; 2], looked: &mut Looked) {
    let wall = (outer.0 - inner.0) / Decimal::TWO;
    if wall < least.0 || wall > most.0 {
        let found = format!("a wall of {} between inner {inner} and outer {outer}", mm(wall));
        let needed = format!(
            "{least} to {most} mm is plausible by this site's policy; is the outer diameter really the outer one?"
        );
        looked.doubt(OUTER, found, needed);
    }
}

/// The columns of a table shifted by one: the label entered as inner, the inner diameter as outer.
fn shifted(model: &Model, (inner, outer): (Quantity, Quantity), known: &Known, looked: &mut Looked) {
    let chart = CHART.map(|(nominal, inner, outer)| (tenths(nominal), tenths(inner), tenths(outer)));
    if let Some((_, its_inner, its_outer)) = chart.iter().find(|(n, i, _)| (*n, *i) == (inner.0, outer.0)) {
        let found = format!("inner {inner} and outer {outer}");
        let needed = format!(
            "these are the label and the inner diameter of a children's barrel in a published chart, which has inner \
             {its_inner} and outer {its_outer}; label, inner and outer are three numbers"
        );
        looked.doubt(INNER, found, needed);
    }
    let others = known.models.iter().filter(|it| it.model != model.model && it.family.is_barrel());
    for other in others {
        let size = &other.dimensions;
        let (Some(its_inner), Some(its_outer)) = (size.inner_diameter_mm, size.outer_diameter_mm) else {
            continue;
        };
        if size.nominal == Some(inner) && its_inner == outer && its_inner != inner {
            let found = format!("inner {inner} and outer {outer}");
            let needed = format!(
                "these are the label and the inner diameter of {}; label, inner and outer are three numbers",
                other.model
            );
            return looked.doubt(INNER, found, needed);
        }
        if inner == its_outer && size.nominal.is_some() && size.nominal == model.dimensions.nominal {
            let found = format!(
                "an inner diameter of {inner} mm, which is the outer one of {} with the same label",
                other.model
            );
            return looked.doubt(INNER, found, "the inner diameter is needed here");
        }
    }
}

/// What a model does not say, and without which nobody can say what fits. Read off the model whenever it is looked at.
pub fn lacks(model: &Model) -> Vec<Point> {
    let size = &model.dimensions;
    let lack = |pointer: &str, what: &str, needed: &str| Point::new(pointer, format!("no {what}"), needed);
    let mut all = Vec::new();
    if model.family.is_barrel() {
        if size.inner_diameter_mm.is_none() {
            all.push(lack(INNER, "inner diameter", "without it nobody can say what passes"));
        }
        if size.outer_diameter_mm.is_none() {
            all.push(lack(OUTER, "outer diameter", "the outer diameter is what meets the airway"));
        }
    }
    if part::is_passed_through(model.family) {
        let known = [size.outer_diameter_mm, size.shaft_diameter_mm, size.french, size.max_width_mm];
        if known.iter().all(Option::is_none) {
            all.push(lack(SHAFT, "diameter", "without it nobody can say what it passes"));
        }
        if model.family == Family::Forceps && size.max_width_mm.is_none() {
            let needed = "closed jaws are mostly wider than the shaft, and they have to pass";
            all.push(lack(WIDEST, "widest part", needed));
        }
    }
    if model.family == Family::Cap && size.hole_diameters_mm.is_none() {
        let needed = "without them nobody can say whether it closes; of a blank cap enter that it has none";
        all.push(lack(HOLES, "holes", needed));
    }
    if (model.family.is_barrel() || part::is_passed_through(model.family)) && size.length_mm.is_none() {
        all.push(lack(LENGTH, "length", "without it nobody can say whether it reaches"));
    }
    all
}
