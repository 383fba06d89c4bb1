//! How a measured value of one piece goes, against its own first value, and when its line crosses the site's limit.

use chrono::Days;
use serde::Serialize;

use super::inspection_checks::CheckRule;
use super::inspection_values::Point;
use super::state::{Asset, State};
use super::text::{Line, Quantity};
use super::time::{Date, MINUTE, told_day};
use crate::analysis::line::{FEWEST, line};

/// One value with the limit's measure of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Compared {
    #[serde(flatten)]
    pub point: Point,
    /// As the limit takes it: the value, or percent of the first one.
    pub compared: f64,
}

/// At which age, and on which day, a line crosses its limit, each with what the scatter leaves open.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CrossesAt {
    pub cycles: f64,
    pub cycles_low: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cycles_high: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub day: Option<Date>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub day_low: Option<Date>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub day_high: Option<Date>,
}

/// The course of one check on one piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Course {
    pub check: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Line>,
    pub of_first: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub min: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<Line>,
    pub points: Vec<Compared>,
    /// What the line gains with each cycle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slope: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crosses: Option<CrossesAt>,
    /// The limit that its last value lies beyond.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beyond: Option<Quantity>,
    /// One sentence.
    pub said: String,
}

/// Nobody plans further ahead, and a line does not hold so long.
const FURTHEST_DAYS: f64 = 20.0 * 365.0;

impl State {
    /// Every check that was measured on a piece, with where its line goes.
    pub fn courses(&self, asset: &Asset) -> Vec<Course> {
        let Some(values) = self.values.get(&asset.asset) else { return Vec::new() };
        let family = self.model(&asset.model).map(|model| model.family);
        let course = |(check, points): (&String, &Vec<Point>)| {
            let rule = family.and_then(|family| self.check_rule(family, check));
            self.course(check, points, rule)
        };
        values.checks.iter().map(course).collect()
    }

    fn course(&self, check: &str, points: &[Point], rule: Option<&CheckRule>) -> Course {
        let first = super::inspection_checks::first_of(points);
        let compared = |point: &Point| {
            let value = point.value.f64();
            let compared = rule.map_or(value, |rule| rule.compared(value, first));
            Compared { point: point.clone(), compared }
        };
        let points: Vec<Compared> = points.iter().map(compared).collect();
        let by_cycles: Vec<(f64, f64)> =
            points.iter().map(|it| (f64::from(it.point.cycles), it.compared)).collect();
        let through = line(&by_cycles);
        let toward = through.and_then(|line| match (rule?.max, rule?.min) {
            (Some(max), _) if line.slope > 0.0 => Some(max),
            (_, Some(min)) if line.slope < 0.0 => Some(min),
            _ => None,
        });
        let crosses = through.zip(toward).and_then(|(line, limit)| {
            let at = line.crosses(limit.f64())?;
            let mut crosses = CrossesAt {
                cycles: at.at,
                cycles_low: at.low,
                cycles_high: at.high,
                day: None,
                day_low: None,
                day_high: None,
            };
            self.days_of(&points, limit, &mut crosses);
            Some(crosses)
        });
        let mut course = Course {
            check: check.into(),
            unit: rule
                .and_then(|rule| rule.unit.clone())
                .or_else(|| points.last().and_then(|it| it.point.unit.clone())),
            of_first: rule.is_some_and(|rule| rule.of_first),
            min: rule.and_then(|rule| rule.min),
            max: rule.and_then(|rule| rule.max),
            source: rule.map(|rule| rule.source.clone()),
            points,
            slope: through.map(|line| line.slope),
            crosses,
            beyond: None,
            said: String::new(),
        };
        course.beyond = rule.zip(course.points.last()).and_then(|(rule, last)| rule.beyond(last.compared));
        course.said = said(&course, rule, toward.is_some());
        course
    }

    /// The same crossing on the calendar, by a line through the days on which it was measured.
    fn days_of(&self, points: &[Compared], limit: Quantity, crosses: &mut CrossesAt) {
        let Some(first) = points.first().map(|it| it.point.at) else { return };
        let day = |at: super::time::Time| (at.0 - first.0) as f64 / (24 * 60 * MINUTE) as f64;
        let by_days: Vec<(f64, f64)> = points.iter().map(|it| (day(it.point.at), it.compared)).collect();
        let Some(at) = line(&by_days).and_then(|line| line.crosses(limit.f64())) else { return };
        let begun = first.date(self.zone);
        let date = |days: f64| {
            let days = (0.0..=FURTHEST_DAYS).contains(&days).then_some(days as u64)?;
            begun.checked_add_days(Days::new(days))
        };
        crosses.day = date(at.at);
        crosses.day_low = date(at.low.max(0.0));
        crosses.day_high = at.high.and_then(date);
    }
}

fn with(number: &str, unit: &str) -> String {
    format!("{number} {unit}").trim_end().to_string()
}

fn said(it: &Course, rule: Option<&CheckRule>, nearer: bool) -> String {
    let mut ages: Vec<u32> = it.points.iter().map(|it| it.point.cycles).collect();
    ages.dedup();
    let last = it.points.last().map_or(0, |it| it.point.cycles);
    if let Some((limit, last)) = it.beyond.zip(it.points.last()) {
        let found = Quantity::rounded(last.compared, 2).map_or(String::new(), |it| it.0.to_string());
        let unit = rule.map_or("", CheckRule::unit_words);
        return format!("Last measured {}, beyond {}.", with(&found, unit), with(&limit.0.to_string(), unit));
    }
    if rule.is_none_or(|rule| rule.min.is_none() && rule.max.is_none()) {
        return "The site has set no limit for it.".into();
    }
    if it.slope.is_none() {
        return format!(
            "Measured at {} so far; {FEWEST} different ages are needed before a line says anything.",
            if ages.len() == 1 { "one age".to_string() } else { format!("{} ages", ages.len()) }
        );
    }
    let Some(crosses) = &it.crosses else {
        return match nearer {
            true => "It comes nearer its limit, but no more than its own scatter.".into(),
            false => "It does not come nearer its limit.".into(),
        };
    };
    if crosses.cycles <= f64::from(last) {
        return "Its line has reached the limit already, though the last value has not.".into();
    }
    let until =
        |high: Option<f64>| high.map_or(String::from("no end in sight"), |it| format!("{}", it.ceil()));
    let day = crosses.day.map_or(String::new(), |day| format!(", about {}", told_day(day)));
    format!(
        "It crosses its limit at about {} cycles{day} (plausible {} to {}), if it goes on as it did.",
        crosses.cycles.round(),
        crosses.cycles_low.floor().max(0.0),
        until(crosses.cycles_high)
    )
}
