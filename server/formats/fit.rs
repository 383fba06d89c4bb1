//! A problem of parts that are to lie side by side in a lumen, as JSON.

use std::collections::BTreeSet;

use serde::{Deserialize, Deserializer};

use super::objects::{self, Objects};
use crate::analysis::packing::{Length, MOST_DISCS, TOLERANCE_MM};

/// A problem that can be answered.
#[derive(Clone, PartialEq, Debug)]
pub struct Problem {
    pub lumen: Length,
    pub clearance: Length,
    pub names: Vec<String>,
    pub discs: Vec<Length>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Given {
    lumen_mm: f64,
    #[serde(default)]
    clearance_mm: f64,
    parts: Vec<Part>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    name: String,
    #[serde(default, deserialize_with = "number")]
    od_mm: Option<f64>,
    #[serde(default, deserialize_with = "number")]
    french: Option<f64>,
}

/// A field that stands there holds a number: `null` is none.
fn number<'de, D: Deserializer<'de>>(from: D) -> Result<Option<f64>, D::Error> {
    f64::deserialize(from).map(Some)
}

/// Reads a problem.
///
/// # Errors
/// A sentence that says which field, what was found and what is needed.
pub fn read(bytes: &[u8]) -> Result<Problem, String> {
    let mut json = serde_json::Deserializer::from_slice(bytes);
    let given: Given = serde_path_to_error::deserialize(Objects(&mut json)).map_err(|error| {
        let path = error.path().to_string();
        let place = if path == "." { String::new() } else { format!("{path}: ") };
        format!("{place}{}; {NEEDED}", objects::told(&error.inner().to_string()))
    })?;
    json.end().map_err(|error| format!("{error} after the problem; {NEEDED}"))?;
    let count = given.parts.len();
    if count == 0 || count > MOST_DISCS {
        return Err(format!("parts: found {count} parts, 1 to {MOST_DISCS} are needed"));
    }
    let lumen = above_zero("lumen_mm", given.lumen_mm, Length::of_mm)?;
    let clearance = clearance(given.clearance_mm)?;
    let mut problem = Problem { lumen, clearance, names: Vec::new(), discs: Vec::new() };
    let mut named = BTreeSet::new();
    for (at, part) in given.parts.iter().enumerate() {
        if !named.insert(part.name.as_str()) {
            let name = &part.name;
            return Err(format!("parts[{at}].name: found {name:?} twice, a name for each part is needed"));
        }
        if part.name.chars().any(char::is_control) {
            let name = &part.name;
            return Err(format!(
                "parts[{at}].name: found {name:?} with a control character, a name in letters is needed"
            ));
        }
        problem.discs.push(diameter(part, at)?);
    }
    problem.names = given.parts.into_iter().map(|part| part.name).collect();
    Ok(problem)
}

const NEEDED: &str = "needed is an object such as \
    {\"lumen_mm\": 11.0, \"clearance_mm\": 0, \"parts\": [{\"name\": \"telescope\", \"od_mm\": 5.5}]}";

fn diameter(part: &Part, at: usize) -> Result<Length, String> {
    let place = format!("parts[{at}] ({:?})", part.name);
    match (part.od_mm, part.french) {
        (Some(od_mm), None) => above_zero(&format!("{place}.od_mm"), od_mm, Length::of_mm),
        (None, Some(french)) => above_zero(&format!("{place}.french"), french, Length::of_french),
        (Some(od_mm), Some(french)) => Err(format!(
            "{place}: found od_mm {} and french {}, one of the two is needed",
            figure(od_mm),
            figure(french)
        )),
        (None, None) => Err(format!("{place}: found no diameter, od_mm or french is needed")),
    }
}

/// A number as it is told: with a power of ten where its digits would fill a line.
fn figure(found: f64) -> String {
    if found != 0.0 && !(1e-6..1e9).contains(&found.abs()) { format!("{found:e}") } else { found.to_string() }
}

/// A length that nothing could be told apart from none is none.
fn too_small(place: &str, found: f64) -> String {
    format!(
        "{place}: found {}, which is no length that could be told from 0; at least {LEAST} mm is needed",
        figure(found)
    )
}

/// As [`TOLERANCE_MM`] is written by people.
const LEAST: &str = "0.000000001";

fn clearance(found: f64) -> Result<Length, String> {
    if found > 0.0 && found < TOLERANCE_MM {
        return Err(format!("{}, or 0", too_small("clearance_mm", found)));
    }
    let most = Length::MOST_MM;
    Length::of_mm(found)
        .ok_or_else(|| format!("clearance_mm: found {}, a number from 0 to {most} is needed", figure(found)))
}

fn above_zero(place: &str, found: f64, length: fn(f64) -> Option<Length>) -> Result<Length, String> {
    let whole = length(found).filter(|length| *length > Length::default()).ok_or_else(|| {
        let (found, most) = (figure(found), Length::MOST_MM);
        format!("{place}: found {found}, a number above 0 is needed, up to {most} mm")
    })?;
    if whole.mm() < TOLERANCE_MM { Err(too_small(place, found)) } else { Ok(whole) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sentence about one part with these fields.
    fn part(fields: &str) -> String {
        let problem = format!(r#"{{"lumen_mm": 8.5, "parts": [{{"name": "a", {fields}}}]}}"#);
        read(problem.as_bytes()).unwrap_err()
    }

    #[test]
    fn what_can_not_be_used_gets_a_sentence() {
        let both = r#"parts[0] ("a"): found od_mm 4 and french 12, one of the two is needed"#;
        assert_eq!(part(r#""od_mm": 4, "french": 12"#), both);
        assert!(part(r#""od_mm": 0"#).starts_with(r#"parts[0] ("a").od_mm: found 0, a number above 0"#));
        assert!(part(r#""french": -3"#).starts_with(r#"parts[0] ("a").french: found -3, a number above 0"#));
        assert!(part(r#""french": 1e7"#).contains("400000 mm"));
        assert!(part(r#""od_mm": 1e999"#).contains("out of range"));
        assert!(part(r#""od_mm": NaN"#).contains("line 1"));
        assert!(
            part(r#""od_mm": "5.5""#)
                .starts_with("parts[0].od_mm: found the text \"5.5\"; a number is needed")
        );
        assert!(
            part(r#""od_mm": null, "french": 12"#)
                .starts_with("parts[0].od_mm: found null; a number is needed")
        );
        assert!(part(r#""od_mm": 4, "od_mm": 5"#).contains("duplicate field `od_mm`"));
        assert!(part(r#""od_mm": 4, "colour": "blue""#).contains("unknown field `colour`"));
    }

    #[test]
    fn a_list_is_no_object() {
        let refused = |text: &str| read(text.as_bytes()).unwrap_err();
        assert!(refused(r#"[11.0, 0, [{"name": "a", "od_mm": 5}]]"#).starts_with("found a list;"));
        let part = refused(r#"{"lumen_mm": 9, "parts": [["a", 5.5]]}"#);
        assert!(part.starts_with("parts[0]: found a list; an object with named fields is needed"), "{part}");
    }

    #[test]
    fn a_length_that_is_as_good_as_nothing_is_refused() {
        for field in [r#""od_mm": 1e-300"#, r#""od_mm": 9e-10"#, r#""french": 1e-12"#] {
            assert!(part(field).contains("no length that could be told from 0"), "{field}: {}", part(field));
        }
        let of = |text: &str| read(text.as_bytes());
        assert!(of(r#"{"lumen_mm": 1e-300, "parts": [{"name": "a", "od_mm": 1}]}"#).is_err());
        let clearance =
            of(r#"{"lumen_mm": 9, "clearance_mm": 1e-300, "parts": [{"name": "a", "od_mm": 1}]}"#);
        assert!(clearance.unwrap_err().contains("or 0"));
        assert!(of(r#"{"lumen_mm": 1e-9, "parts": [{"name": "a", "od_mm": 1e-9}]}"#).is_ok());
    }

    #[test]
    fn a_problem_is_whole() {
        let refused = |text: &str| read(text.as_bytes()).unwrap_err();
        let twice = r#"{"name": "a", "od_mm": 1}, {"name": "a", "od_mm": 2}"#;
        let lumen = |lumen: &str| format!(r#"{{"lumen_mm": {lumen}, "parts": [{twice}]}}"#);
        assert!(refused(&lumen("9")).contains(r#"found "a" twice"#));
        assert!(refused(&lumen("-9")).starts_with("lumen_mm: found -9"));
        let clearance = r#"{"lumen_mm": 9, "clearance_mm": -0.1, "parts": [{"name": "a", "od_mm": 1}]}"#;
        assert!(refused(clearance).starts_with("clearance_mm: found -0.1"));
        assert!(refused("").contains("EOF"));
        assert!(refused(r#"{"lumen_mm": 9, "parts": []} x"#).contains("after the problem"));
        let hundred = vec![r#"{"name": "a", "od_mm": 1}"#; 100].join(",");
        let refused = refused(&format!(r#"{{"lumen_mm": 9, "parts": [{hundred}]}}"#));
        assert_eq!(refused, "parts: found 100 parts, 1 to 7 are needed");
    }

    #[test]
    fn french_are_thirds_of_a_millimetre() {
        let read =
            read(br#"{"lumen_mm": 9, "parts": [{"name": "a", "french": 14}, {"name": "b", "od_mm": 5.5}]}"#);
        let problem = read.unwrap();
        assert_eq!(problem.discs[0] + problem.discs[0] + problem.discs[0], Length::of_mm(14.0).unwrap());
        assert_eq!(problem.clearance, Length::default());
    }
}
