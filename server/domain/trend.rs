//! How a machine's cycles change: what each verdict measured, in the order of the cycles, with the limits that the
//! machine's own habit sets.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use serde_json::Value;

use super::id::Id;
use super::load::Load;
use super::model::StepKind;
use super::programme::Programme;
use super::time::Time;
use super::verdict::{Judged, short};
use crate::analysis::chart::{Individuals, individuals};
use crate::analysis::cycle::decimal_sum;
use crate::analysis::limits::{BAND_WIDTH_K, SATURATION_TOLERANCE_K};

/// What is followed from cycle to cycle.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Measured {
    Hold,
    Lowest,
    Highest,
    Saturation,
    A0,
}

impl Measured {
    pub const ALL: [Measured; 5] =
        [Measured::Hold, Measured::Lowest, Measured::Highest, Measured::Saturation, Measured::A0];

    pub fn name(self) -> &'static str {
        match self {
            Measured::Hold => "hold",
            Measured::Lowest => "lowest_temperature",
            Measured::Highest => "highest_temperature",
            Measured::Saturation => "saturation_deviation",
            Measured::A0 => "a0",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Measured::Hold => "hold time",
            Measured::Lowest => "lowest temperature in the hold",
            Measured::Highest => "highest temperature in the hold",
            Measured::Saturation => "distance from saturated steam",
            Measured::A0 => "A0",
        }
    }

    pub fn unit(self) -> &'static str {
        match self {
            Measured::Hold | Measured::A0 => "s",
            Measured::Lowest | Measured::Highest => "°C",
            Measured::Saturation => "K",
        }
    }

    /// Whether what is needed is a highest value, not a lowest.
    pub fn is_at_most(self) -> bool {
        matches!(self, Measured::Highest | Measured::Saturation)
    }

    fn of(self, answer: &Value) -> Option<f64> {
        let number = |path: &str| {
            let found = answer.pointer(path)?;
            found.as_f64().or_else(|| found.as_str().and_then(|text| text.parse::<f64>().ok()))
        };
        match self {
            Measured::Hold => number("/hold/duration_s").or_else(|| number("/continuous/duration_s")),
            Measured::Lowest => number("/temperature/min_c"),
            Measured::Highest => number("/temperature/max_c"),
            Measured::Saturation => {
                let (below, above) = (number("/saturation/max_below_k")?, number("/saturation/max_above_k")?);
                Some(below.max(above))
            }
            Measured::A0 => number("/a0_s/total/least"),
        }
        .filter(|value| value.is_finite())
    }

    fn needed(self, programme: &Programme) -> Option<f64> {
        match self {
            Measured::Hold => programme.hold_s.map(|q| q.f64()),
            Measured::Lowest => programme.band_c.map(|q| q.f64()),
            Measured::Highest => {
                let steam = programme.step() == StepKind::Sterilised;
                programme.band_c.filter(|_| steam).map(|q| decimal_sum(q.f64(), BAND_WIDTH_K))
            }
            Measured::Saturation => {
                (programme.step() == StepKind::Sterilised).then_some(SATURATION_TOLERANCE_K)
            }
            Measured::A0 => programme.a0_s.map(|q| q.f64()),
        }
    }
}

/// One cycle's value.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    pub load: Id,
    pub at: Time,
    pub value: f64,
    /// Its verdict passed. What failed has a cause of its own, and sets no limits.
    pub passed: bool,
}

/// One measure of one programme, oldest cycle first.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    pub programme: Id,
    pub measured: Measured,
    /// What the programme needs.
    pub needed: Option<f64>,
    pub points: Vec<Point>,
    /// None while there are too few cycles that passed.
    pub chart: Option<Individuals>,
    /// Places of points outside the limits.
    pub outside: Vec<usize>,
    /// Runs on one side of the mean, as places of points.
    pub runs: Vec<Range<usize>>,
}

/// What is said of a machine's habit is about its last cycles: so many.
const LATELY: usize = 8;

/// The trends of some loads of one machine by their verdicts. Programmes are in the order of their names.
pub fn trends(loads: &[&Load], verdicts: &BTreeMap<Id, Arc<Judged>>) -> Vec<Trend> {
    let mut by_programme: BTreeMap<&Id, Vec<(&Load, &Judged, Value)>> = BTreeMap::new();
    let mut sorted: Vec<&&Load> = loads.iter().collect();
    sorted.sort_by_key(|load| (load.started_at, load.entry));
    for load in sorted {
        if let Some(judged) = verdicts.get(&load.load) {
            let told = (&**load, &**judged, judged.answer.value());
            by_programme.entry(&load.programme.programme).or_default().push(told);
        }
    }
    let mut found = Vec::new();
    for (programme, cycles) in by_programme {
        for measured in Measured::ALL {
            let points: Vec<Point> = cycles
                .iter()
                .filter_map(|(load, judged, answer)| {
                    let value = measured.of(answer)?;
                    Some(Point { load: load.load.clone(), at: load.started_at, value, passed: judged.passed })
                })
                .collect();
            let needed = cycles.last().and_then(|(load, ..)| measured.needed(&load.programme));
            found
                .extend((!points.is_empty()).then(|| Trend::of(programme.clone(), measured, needed, points)));
        }
    }
    found
}

impl Trend {
    fn of(programme: Id, measured: Measured, needed: Option<f64>, points: Vec<Point>) -> Trend {
        // Runs are looked for among what passed, and told as places among all.
        let passed: Vec<usize> = (0..points.len()).filter(|i| points[*i].passed).collect();
        let values: Vec<f64> = passed.iter().map(|i| points[*i].value).collect();
        let chart = individuals(&values);
        let outside: Vec<usize> = match &chart {
            Some(chart) => passed.iter().copied().filter(|i| chart.is_outside(points[*i].value)).collect(),
            None => Vec::new(),
        };
        let runs = chart.map(|chart| chart.runs(&values)).unwrap_or_default();
        let runs = runs.into_iter().map(|run| passed[run.start]..passed[run.end - 1] + 1);
        // To come nearer to saturated steam is no drift.
        let matters = |place: usize| {
            measured != Measured::Saturation || chart.is_none_or(|chart| points[place].value > chart.mean)
        };
        let outside: Vec<usize> = outside.into_iter().filter(|place| matters(*place)).collect();
        let runs: Vec<Range<usize>> = runs.filter(|run| matters(run.start)).collect();
        Trend { programme, measured, needed, points, chart, outside, runs }
    }

    /// What shows in the last cycles that the machine does not do what it did, as words: "the hold time in steam-134 left
    /// its limits in load L-9 (172 s, 181 to 190 s)".
    pub fn drifts(&self) -> Vec<String> {
        let Some(chart) = &self.chart else { return Vec::new() };
        let since = self.points.len().saturating_sub(LATELY);
        let (what, unit) = (self.measured.words(), self.measured.unit());
        let mut told = Vec::new();
        if let Some(last) = self.outside.last().filter(|i| **i >= since) {
            let point = &self.points[*last];
            told.push(format!(
                "the {what} in {} left its control limits in load {} ({} {unit}; usual {} {unit})",
                self.programme,
                point.load,
                short(point.value),
                self.limits_words(chart)
            ));
        }
        if let Some(run) = self.runs.last().filter(|run| run.end == self.points.len()) {
            let side = if self.points[run.start].value > chart.mean { "above" } else { "below" };
            told.push(format!(
                "the {what} in {} was {side} its mean of {} {unit} in each of the last {} cycles",
                self.programme,
                short(chart.mean),
                run.len()
            ));
        }
        told
    }

    /// Whether a low value leaves its limits: to come nearer to saturated steam is no drift.
    pub fn has_lower_limit(&self) -> bool {
        self.measured != Measured::Saturation
    }

    /// The control limits as people say them.
    pub fn limits_words(&self, chart: &Individuals) -> String {
        match self.has_lower_limit() {
            true => format!("{} to {}", short(self.least_usual(chart)), short(chart.high)),
            false => format!("up to {}", short(chart.high)),
        }
    }

    /// None of the measures can be less than zero.
    pub fn least_usual(&self, chart: &Individuals) -> f64 {
        chart.low.max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trend(values: &[f64]) -> Trend {
        let point = |(n, value): (usize, &f64)| Point {
            load: Id::new(&format!("L-{n}")).unwrap(),
            at: Time::default(),
            value: *value,
            passed: *value > 0.0,
        };
        let points = values.iter().enumerate().map(point).collect();
        Trend::of(Id::new("steam-134").unwrap(), Measured::Hold, Some(180.0), points)
    }

    #[test]
    fn a_steady_machine_does_not_drift() {
        let steady: Vec<f64> = (0..40).map(|n| 200.0 + f64::from(n % 3)).collect();
        assert_eq!(trend(&steady).drifts(), Vec::<String>::new());
        assert_eq!(trend(&steady[..5]).chart, None);
    }

    #[test]
    fn a_falling_hold_is_named_while_every_cycle_still_passes() {
        let mut values: Vec<f64> = (0..40).map(|n| 200.0 + f64::from(n % 3)).collect();
        values.extend((0..9).map(|n| 198.0 - f64::from(n)));
        let told = trend(&values).drifts().join("; ");
        assert!(told.contains("left its control limits in load L-48 (190 s; usual"), "{told}");
        assert!(
            told.contains("was below its mean of") && told.contains("each of the last 9 cycles"),
            "{told}"
        );
    }

    #[test]
    fn nearer_to_saturated_steam_is_no_drift() {
        let mut values: Vec<f64> = (0..40).map(|n| 0.5 + f64::from(n % 3) * 0.1).collect();
        values.extend([0.1; 9]);
        let of =
            |measured, values: &[f64]| Trend::of(Id::new("p").unwrap(), measured, None, trend(values).points);
        assert!(of(Measured::Saturation, &values).drifts().is_empty());
        assert!(!of(Measured::Lowest, &values).drifts().is_empty());
        values.iter_mut().for_each(|value| *value = 1.2 - *value);
        assert!(!of(Measured::Saturation, &values).drifts().is_empty());
    }

    #[test]
    fn a_failed_cycle_sets_no_limits_and_breaks_no_run() {
        let mut values: Vec<f64> = (0..40).map(|n| 200.0 + f64::from(n % 3)).collect();
        values[20] = 0.0;
        let told = trend(&values);
        assert!(told.outside.is_empty() && told.chart.unwrap().low > 190.0, "{told:?}");
        values.extend([198.0; 4]);
        values.push(0.0);
        values.extend([198.0; 4]);
        assert_eq!(trend(&values).runs.last(), Some(&(39..49)));
    }
}
