//! Check lists to start from: what is published or common practice, each with its word. Nothing of it holds until the site
//! says so; makers' instructions and the site's own policy decide.

use super::inspection_checks::CheckRule;
use super::model::Family;
use super::text::{Line, Quantity};

/// Family, check, unit, least, most, of its first value, source.
type Offered = (Family, &'static str, &'static str, Option<i64>, Option<i64>, bool, &'static str);

const HOUSE: &str = "No published limit found; the house decides";
const BY_KIT: &str =
    "Read against the limit of the meter and kit in use; readings of different kits do not compare";

const OFFERED: [Offered; 12] = [
    (
        Family::Telescope,
        "light-post dark area",
        "%",
        None,
        Some(30),
        false,
        "Common practice: repair or replace above 30 %",
    ),
    (
        Family::Telescope,
        "light transmission",
        "lx",
        Some(70),
        None,
        true,
        "Against this piece's own first value. Common practice, 20 to 30 % loss; PLOS ONE 2013 e59579: no one percentage holds for all types",
    ),
    (
        Family::LightCable,
        "broken fibres",
        "%",
        None,
        Some(20),
        false,
        "Common practice: replace above 20 %; others say 30 %",
    ),
    (
        Family::LightCable,
        "light transmission",
        "lx",
        Some(70),
        None,
        true,
        "Against this piece's own first value; common practice",
    ),
    (Family::Forceps, "jaw misalignment", "mm", None, None, false, HOUSE),
    (
        Family::Forceps,
        "insulation test voltage",
        "kV",
        None,
        None,
        false,
        "Surg Endosc 2010;24:462 tested at 2.5 kV and above; passed or not is what counts",
    ),
    (
        Family::Forceps,
        "residual protein",
        "µg",
        None,
        Some(5),
        false,
        "HTM 01-01 (2016): at most 5 µg for each side of an instrument, then less",
    ),
    (Family::Forceps, "ATP", "RLU", None, None, false, BY_KIT),
    (
        Family::Cap,
        "tear at the hole",
        "mm",
        None,
        Some(0),
        false,
        "Common practice: a torn cap leaks; Anesth Analg 2005;100:590: discard on a failed check rather than after a number",
    ),
    (
        Family::Bronchoscope,
        "residual protein",
        "µg",
        None,
        Some(5),
        false,
        "HTM 01-01 (2016): at most 5 µg for each side of an instrument, then less",
    ),
    (Family::Bronchoscope, "ATP", "RLU", None, None, false, BY_KIT),
    (Family::SuctionTube, "ATP", "RLU", None, None, false, BY_KIT),
];

/// The checks that the site may take over and change.
pub fn offered() -> Vec<CheckRule> {
    let line = |text: &str| Line(text.to_string());
    let number = |n: Option<i64>| n.map(|n| Quantity(n.into()));
    let rule = |(family, check, unit, min, max, of_first, source): Offered| CheckRule {
        family,
        check: line(check),
        unit: Some(line(unit)),
        min: number(min),
        max: number(max),
        of_first,
        source: line(source),
    };
    OFFERED.into_iter().map(rule).collect()
}
