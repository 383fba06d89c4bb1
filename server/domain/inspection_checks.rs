//! Check lists of inspections: which values a family's parts are measured for, within which limits, and on whose word.
//! Each is the site's own setting with a note of its source; a value beyond its limit has not passed.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::Check;
use super::id::Id;
use super::inspection_values::{Measured, Point};
use super::model::Family;
use super::refusal::{Code, Problem};
use super::scan::Picked;
use super::state::{Asset, State};
use super::text::{Line, Quantity};

/// More checks than this are no list that anybody goes through.
const MOST_RULES: usize = 200;

/// One line of a family's check list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckRule {
    pub family: Family,
    pub check: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub min: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max: Option<Quantity>,
    /// The limits are percent of the first value of the very piece.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub of_first: bool,
    /// On whose word: a publication, the maker, the kit, the house itself.
    pub source: Line,
}

impl CheckRule {
    pub fn is_of(&self, family: Family, check: &str) -> bool {
        self.family == family && self.check.as_str().trim().eq_ignore_ascii_case(check.trim())
    }

    /// The value as the limits take it. A first value of 0 is nothing to hold others against, and 0 is 0 % of any.
    pub fn compared(&self, value: f64, first: Option<f64>) -> f64 {
        match first.filter(|first| self.of_first && *first > 0.0) {
            Some(first) => value / first * 100.0,
            None if self.of_first && value > 0.0 => 100.0,
            None => value,
        }
    }

    /// The limit that a value lies beyond.
    pub fn beyond(&self, compared: f64) -> Option<Quantity> {
        let above = self.max.filter(|max| compared > max.f64());
        above.or_else(|| self.min.filter(|min| compared < min.f64()))
    }

    pub fn unit_words(&self) -> &str {
        match (&self.unit, self.of_first) {
            (_, true) => "% of its first value",
            (Some(unit), false) => unit.as_str(),
            (None, false) => "",
        }
    }
}

/// Whether a list of rules can be one.
pub(super) fn whole(rules: &[CheckRule]) -> Result<(), Malformed> {
    if rules.len() > MOST_RULES {
        let detail = format!("found {} checks; at most {MOST_RULES} are needed", rules.len());
        return Err(wrong("/inspection_checks", detail));
    }
    for (n, rule) in rules.iter().enumerate() {
        let at = |name: &str| format!("/inspection_checks/{n}/{name}");
        if rule.min.zip(rule.max).is_some_and(|(min, max)| min > max) {
            return Err(wrong(at("min"), "found the lower limit above the upper"));
        }
        if rule.source.as_str().trim().is_empty() {
            return Err(wrong(at("source"), "found a blank source; who says so is needed"));
        }
        if rules[..n].iter().any(|other| other.is_of(rule.family, rule.check.as_str())) {
            return Err(wrong(at("check"), "found the same check of this family twice"));
        }
    }
    Ok(())
}

impl State {
    pub fn check_rule(&self, family: Family, check: &str) -> Option<&CheckRule> {
        self.policy.inspection_checks.iter().find(|rule| rule.is_of(family, check))
    }

    pub fn check_rules(&self, family: Family) -> impl Iterator<Item = &CheckRule> {
        self.policy.inspection_checks.iter().filter(move |rule| rule.family == family)
    }

    /// The first value of a check on a piece that others can be held against, in the unit of the rule.
    pub fn first_value(&self, asset: &Id, check: &str) -> Option<f64> {
        let values = self.values.get(asset)?;
        let (_, points) =
            values.checks.iter().find(|(name, _)| name.trim().eq_ignore_ascii_case(check.trim()))?;
        first_of(points)
    }
}

/// The first value above 0.
pub fn first_of(points: &[Point]) -> Option<f64> {
    points.iter().map(|point| point.value.f64()).find(|value| *value > 0.0)
}

/// No check of an instrument has more than this; more is a slip of the finger.
const MOST_VALUE: f64 = 1e9;

/// Whether a value can have been measured at all.
pub(super) fn measurable(check: &Check) -> Result<(), String> {
    let Some(value) = check.value.map(Quantity::f64) else { return Ok(()) };
    let unit = check.unit.as_ref().map_or("", |unit| unit.as_str().trim());
    let none_below_zero = unit.starts_with('%') || unit.eq_ignore_ascii_case("RLU");
    match () {
        _ if value.abs() > MOST_VALUE => Err("found more than 1000000000; that was not measured".into()),
        _ if none_below_zero && value < 0.0 => Err(format!("found less than 0 {unit}; 0 or more is needed")),
        _ => Ok(()),
    }
}

/// What the check list of an inspection says, each line with the part that it is of.
#[derive(Default)]
pub(super) struct Checked {
    pub values: Vec<(Id, Measured)>,
    /// Checks that were not passed; of no part where nobody said of which.
    pub failed: Vec<(Option<Id>, Line)>,
}

pub(super) fn checked(deciding: &mut Deciding, checks: &[Check], picked: &[Picked]) -> Checked {
    let mut all = Checked::default();
    for (n, check) in checks.iter().enumerate() {
        let named = match &check.asset {
            None => None,
            Some(scan) => {
                let Some(asset) = deciding.one(scan.as_str()) else { continue };
                if !picked.iter().any(|part| part.asset.asset == asset.asset) {
                    deciding.against(super::model::unknown("scanned part", scan.as_str()));
                }
                Some(asset.asset.clone())
            }
        };
        let of = named.or_else(|| meant(deciding.state, check, picked));
        if !check.passed {
            all.failed.push((of.clone(), check.check.clone()));
        }
        let Some((id, measured)) = of.zip(Measured::of(check)) else { continue };
        let family = deciding.state.assets.get(&id).and_then(|it| deciding.state.model(&it.model));
        let rule = family.and_then(|it| deciding.state.check_rule(it.family, check.check.as_str()));
        let units = rule.and_then(|rule| rule.unit.as_ref()).zip(check.unit.as_ref());
        if let Some((needed, found)) = units.filter(|(needed, found)| needed != found) {
            let detail = format!("found {}; the site's limit is in {}", found.as_str(), needed.as_str());
            deciding.malformed.push(wrong(format!("/checks/{n}/unit"), detail));
        }
        all.values.push((id, measured));
    }
    all
}

/// The part that a value is of where none is named: the only one, or the only one whose family has this check.
fn meant(state: &State, check: &Check, picked: &[Picked]) -> Option<Id> {
    if let [one] = picked {
        return Some(one.asset.asset.clone());
    }
    let has = |part: &&Picked| {
        let model = state.model(&part.asset.model);
        model.is_some_and(|model| state.check_rule(model.family, check.check.as_str()).is_some())
    };
    let mut with = picked.iter().filter(has);
    with.next().filter(|_| with.next().is_none()).map(|part| part.asset.asset.clone())
}

/// What stands against passing a part with these checks.
pub(super) fn against(state: &State, asset: &Asset, checked: &Checked) -> Vec<Problem> {
    let failed = checked.failed.iter().filter(|(of, _)| of.as_ref().is_none_or(|id| *id == asset.asset));
    let mut all: Vec<Problem> = failed.map(|(_, check)| not_passed(asset, check)).collect();
    all.extend(beyond(state, asset, &checked.values));
    all
}

fn not_passed(asset: &Asset, check: &Line) -> Problem {
    let problem = Problem::new(
        Code::LimitReached,
        format!("{}: {} was not passed.", asset.called(), check.as_str()),
        "A part has passed an inspection when it passed each of its checks.",
        "Let it not pass: repair, retire or hold; or let the lead set the check aside with a reason.",
    );
    problem.open_to_override()
}

fn beyond(state: &State, asset: &Asset, values: &[(Id, Measured)]) -> Vec<Problem> {
    let Some(family) = state.model(&asset.model).map(|model| model.family) else { return Vec::new() };
    let own = values.iter().filter(|(id, _)| *id == asset.asset).map(|(_, measured)| measured);
    let beyond = own.filter_map(|measured| {
        let rule = state.check_rule(family, measured.check.as_str())?;
        let first = state.first_value(&asset.asset, measured.check.as_str());
        let compared = rule.compared(measured.value.f64(), first);
        let limit = rule.beyond(compared)?;
        let (check, unit) = (rule.check.as_str(), rule.unit_words());
        let found = Quantity::rounded(compared, 2).map_or(String::new(), |it| it.0.to_string());
        let problem = Problem::new(
            Code::LimitReached,
            format!("{}: {check} is {found} {unit}.", asset.called()),
            format!("The site's limit is {} {unit} ({}).", limit.0, rule.source.as_str()),
            "Let it not pass: repair, retire or hold; or let the lead set the limit aside with a reason.",
        );
        Some(problem.open_to_override())
    });
    beyond.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rule() -> CheckRule {
        CheckRule {
            family: Family::Telescope,
            check: Line("light transmission".into()),
            unit: None,
            min: Quantity::parse("70"),
            max: None,
            of_first: true,
            source: Line("house".into()),
        }
    }

    #[test]
    fn nothing_is_held_against_a_first_value_of_nothing() {
        let rule = rule();
        assert_eq!((rule.compared(800.0, None), rule.compared(400.0, Some(800.0))), (100.0, 50.0));
        // A dark telescope is no whole one.
        assert_eq!((rule.compared(0.0, None), rule.compared(0.0, Some(0.0))), (0.0, 0.0));
        assert!(rule.beyond(rule.compared(0.0, None)).is_some());
    }

    #[test]
    fn what_nobody_measures_is_malformed() {
        let check = |value: &str, unit: &str| Check {
            check: Line("c".into()),
            asset: None,
            passed: true,
            value: Quantity::parse(value),
            unit: Some(Line(unit.into())),
        };
        for (value, unit) in [("-1", "%"), ("-0.5", "rlu"), ("1000000001", "lx"), ("-2000000000", "mm")] {
            assert!(measurable(&check(value, unit)).is_err(), "{value} {unit}");
        }
        for (value, unit) in [("0", "%"), ("140", "%"), ("-1", "mm"), ("1000000000", "RLU")] {
            assert!(measurable(&check(value, unit)).is_ok(), "{value} {unit}");
        }
    }
}
