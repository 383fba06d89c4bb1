//! The picture of a trend: one value for each cycle in its order, with the mean and the control limits of the machine's
//! own habit, and what the programme needs.

use super::plot::axis::{Axis, plain, ticks};
use super::plot::ink::{Anchor, Ink, escaped, width_of};
use super::shared::{capital, count};
use crate::domain::trend::Trend;
use crate::domain::verdict::short;

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 210.0;
const FONT: f64 = 14.0;
const LEFT: f64 = 58.0;
const RIGHT: f64 = 118.0;

/// A trend as a page shows it.
pub struct Drawn {
    pub programme: String,
    pub what: String,
    pub svg: String,
    /// What the picture says, as sentences.
    pub said: String,
    pub drifts: bool,
}

pub fn drawn(trend: &Trend, id: &str) -> Drawn {
    let what = format!("{} in {}", capital(trend.measured.words()), trend.measured.unit());
    let said = said(trend);
    Drawn {
        programme: trend.programme.to_string(),
        svg: match trend.points.len() {
            // So few make no picture.
            0..3 => String::new(),
            _ => svg(trend, id, &format!("{what}, programme {}", trend.programme), &said),
        },
        what,
        said,
        drifts: !trend.drifts().is_empty(),
    }
}

fn said(trend: &Trend) -> String {
    let unit = trend.measured.unit();
    let mut said = vec![match &trend.chart {
        Some(chart) => format!(
            "Mean {} {unit}, control limits {} {unit}, from {} that passed",
            short(chart.mean),
            trend.limits_words(chart),
            count(trend.points.iter().filter(|point| point.passed).count(), "cycle", "cycles")
        ),
        None => format!(
            "{} so far; control limits need {}",
            count(trend.points.len(), "cycle", "cycles"),
            crate::analysis::chart::LEAST
        ),
    }];
    said.extend(trend.needed.map(|needed| format!("{} {} {unit} is needed", bound(trend), short(needed))));
    let outside: Vec<String> =
        trend.outside.iter().rev().map(|place| trend.points[*place].load.to_string()).collect();
    said.push(match outside.len() {
        0 if trend.chart.is_some() => "No cycle lies outside its limits".into(),
        0 => String::new(),
        _ => format!("Outside the limits: {}", super::shared::some_of(&outside, 4)),
    });
    let runs = trend.runs.iter().rev().map(|run| {
        let (first, last) = (&trend.points[run.start].load, &trend.points[run.end - 1].load);
        format!("{first} to {last}")
    });
    let runs: Vec<String> = runs.collect();
    said.push(match runs.len() {
        0 if trend.chart.is_some() => "no run of 8 on one side of the mean".into(),
        0 => String::new(),
        _ => format!("on one side of the mean for 8 cycles or more: {}", super::shared::some_of(&runs, 3)),
    });
    let told: Vec<String> = said.into_iter().filter(|it| !it.is_empty()).map(|it| capital(&it)).collect();
    format!("{}.", told.join(". "))
}

fn bound(trend: &Trend) -> &'static str {
    if trend.measured.is_at_most() { "at most" } else { "at least" }
}

/// The heights that the picture covers: what passed, the limits, and what is needed where that lies near. A cycle that
/// failed may lie far off; its cross stands at the edge then.
fn value_axis(trend: &Trend) -> Axis {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let limits = trend.chart.iter().flat_map(|chart| [trend.least_usual(chart), chart.high]);
    let limits = limits.skip(usize::from(!trend.has_lower_limit()));
    let is_any = trend.points.iter().any(|point| point.passed);
    let shown = trend.points.iter().filter(|point| point.passed || !is_any).map(|point| point.value);
    for value in shown.chain(limits) {
        (low, high) = (low.min(value), high.max(value));
    }
    let span = (high - low).max(high.abs() * 5e-3).max(1e-3);
    if let Some(needed) = trend.needed.filter(|it| *it > low - 3.0 * span && *it < high + 3.0 * span) {
        (low, high) = (low.min(needed), high.max(needed));
    }
    let pad = (high - low).max(span) * 0.08;
    Axis { low: low - pad, high: high + pad, from: HEIGHT - FONT * 2.4, to: FONT * 0.8 }
}

fn svg(trend: &Trend, id: &str, title: &str, told: &str) -> String {
    let axis = value_axis(trend);
    let last = (trend.points.len() - 1).max(1) as f64;
    let cycles = Axis { low: -0.02 * last, high: 1.02 * last, from: LEFT, to: WIDTH - RIGHT };
    let mut ink = Ink::default();
    if let Some(chart) = &trend.chart {
        let low = if trend.has_lower_limit() { trend.least_usual(chart) } else { axis.low };
        let (low, high) = (axis.place(low), axis.place(chart.high));
        ink.area("zone", (LEFT, high), (cycles.to, low));
    }
    let found = ticks(axis.low, axis.high, 5);
    for at in &found.at {
        ink.line("grid", (LEFT, axis.place(*at)), (cycles.to, axis.place(*at)));
        ink.say("tick", (LEFT - 5.0, axis.place(*at)), Anchor::End, FONT, &plain(*at, found.step));
    }
    ink.area("frame", (LEFT, axis.to), (cycles.to, axis.from));
    levels(&mut ink, trend, &axis, cycles.to);
    let place = |n: usize| (cycles.place(n as f64), axis.place(trend.points[n].value));
    ink.path("curve c0 thin", (0..trend.points.len()).map(|n| trend.points[n].passed.then(|| place(n))));
    for run in &trend.runs {
        ink.path("curve run", run.clone().map(|n| trend.points[n].passed.then(|| place(n))));
    }
    let is_crowded = trend.points.len() > 80;
    for (n, point) in trend.points.iter().enumerate() {
        let (x, y) = place(n);
        match (point.passed, trend.outside.contains(&n)) {
            (false, _) => ink.path(
                "failed",
                [
                    Some((x - 4.0, y - 4.0)),
                    Some((x + 4.0, y + 4.0)),
                    None,
                    Some((x + 4.0, y - 4.0)),
                    Some((x - 4.0, y + 4.0)),
                ]
                .into_iter(),
            ),
            (true, true) => ink.pointer("here", (x, y - 1.0), FONT * 0.8),
            (true, false) if !is_crowded => ink.area("dot", (x - 1.5, y - 1.5), (x + 1.5, y + 1.5)),
            (true, false) => {}
        }
    }
    let y = HEIGHT - FONT * 1.4;
    for (n, anchor) in [(0, Anchor::Start), (trend.points.len() - 1, Anchor::End)] {
        let words = format!("load {}", trend.points[n].load);
        let fits = width_of(&words, FONT) < (cycles.to - LEFT) / 2.0;
        if fits && (n > 0 || trend.points.len() > 1) {
            let x = if n == 0 { LEFT } else { cycles.to };
            ink.say("tick", (x, y), anchor, FONT, &words);
        }
    }
    let (title, told) = (escaped(title), escaped(told));
    format!(
        r#"<svg class="plot" role="img" aria-labelledby="{id}-title {id}-told" viewBox="0 0 {WIDTH} {HEIGHT}" xmlns="http://www.w3.org/2000/svg"><title id="{id}-title">{title}</title><desc id="{id}-told">{told}</desc>{}</svg>"#,
        ink.text
    )
}

/// Mean, limits and what is needed, each named at the right edge, apart from each other.
fn levels(ink: &mut Ink, trend: &Trend, axis: &Axis, edge: f64) {
    let mut levels: Vec<(f64, &str, String)> = Vec::new();
    if let Some(chart) = &trend.chart {
        levels.push((chart.high, "limit", format!("limit {}", short(chart.high))));
        levels.push((chart.mean, "mean", format!("mean {}", short(chart.mean))));
        if trend.has_lower_limit() {
            let least = trend.least_usual(chart);
            levels.push((least, "limit", format!("limit {}", short(least))));
        }
    }
    let needed = trend.needed.filter(|needed| axis.holds(*needed));
    levels.extend(needed.map(|needed| (needed, "bound", format!("{} {}", bound(trend), short(needed)))));
    levels.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut above = axis.to - FONT;
    let left = levels.len();
    for (n, (value, class, words)) in levels.into_iter().enumerate() {
        let y = axis.place(value);
        ink.line(class, (LEFT, y), (edge, y));
        let room = axis.from + FONT * 0.4 - (left - 1 - n) as f64 * FONT * 1.1;
        let place = y.max(above + FONT * 1.1).min(room);
        ink.line("tie", (edge, y), (edge + 8.0, place));
        ink.say("name", (edge + 11.0, place), Anchor::Start, FONT, &words);
        above = place;
    }
}

#[cfg(test)]
pub mod tests {
    use std::collections::BTreeMap;
    use std::sync::Arc;

    use super::*;
    use crate::domain::id::Id;
    use crate::domain::load::Load;
    use crate::domain::trend::trends;
    use crate::domain::verdict::{Answer, Judged};
    use crate::web::pages::{plot, sample};

    /// Cycles like one of the house, with these holds.
    pub fn like(holds: &[f64]) -> (Vec<Load>, BTreeMap<Id, Arc<Judged>>) {
        let visitor = sample::judged();
        let first = visitor.state.loads.get("S-311").unwrap();
        let whole = first.judged.as_ref().unwrap().whole.clone().unwrap();
        let (mut loads, mut verdicts) = (Vec::new(), BTreeMap::new());
        for (n, hold) in holds.iter().enumerate() {
            let mut load: Load = (**first).clone();
            load.load = Id::new(&format!("S-{}", 400 + n)).unwrap();
            load.started_at = first.started_at.plus_minutes(40 * n as i64);
            let answer = serde_json::json!({"hold": {"duration_s": hold.to_string()},
                "temperature": {"min_c": format!("134.{}", 1 + n % 3), "max_c": "135.2"},
                "saturation": {"max_below_k": "0.4", "max_above_k": format!("0.{}", 5 + n % 2)}});
            let judged = Judged { answer: Answer::of(&answer), passed: *hold >= 180.0, ..(*whole).clone() };
            verdicts.insert(load.load.clone(), Arc::new(judged));
            loads.push(load);
        }
        (loads, verdicts)
    }

    /// Holds that grow shorter at the end, and one that failed.
    pub fn falling() -> Vec<f64> {
        let mut holds: Vec<f64> = (0..30).map(|n| 205.0 + f64::from(n % 3)).collect();
        holds[11] = 120.0;
        holds.extend((0..9).map(|n| 203.0 - f64::from(n)));
        holds
    }

    fn cycles(holds: &[f64]) -> Vec<Trend> {
        let (loads, verdicts) = like(holds);
        trends(&loads.iter().collect::<Vec<_>>(), &verdicts)
    }

    #[test]
    fn to_come_nearer_to_saturated_steam_leaves_no_limit() {
        let all = cycles(&falling());
        let found = all.iter().find(|it| it.measured == crate::domain::trend::Measured::Saturation).unwrap();
        let shown = drawn(found, "t");
        assert!(shown.said.contains("control limits up to "), "{}", shown.said);
        assert_eq!(shown.svg.matches(">limit ").count(), 1, "{}", shown.svg);
        let hold = drawn(&all[0], "h");
        assert_eq!(hold.svg.matches(">limit ").count(), 2, "{}", hold.svg);
    }

    #[test]
    fn a_drift_is_drawn_and_said() {
        let trends = cycles(&falling());
        assert_eq!(trends.len(), 4);
        let drawn = drawn(&trends[0], "t");
        plot::tests::well_formed(&drawn.svg).unwrap();
        assert!(drawn.drifts && drawn.svg.contains("curve run") && drawn.svg.contains("class=\"here\""));
        assert!(
            drawn.said.contains("At least 180 s is needed") && drawn.said.contains("S-438"),
            "{}",
            drawn.said
        );
        plot::tests::texts_inside(&drawn.svg, (WIDTH, HEIGHT));
    }

    #[test]
    fn one_cycle_is_no_picture_and_equal_ones_can_be_drawn() {
        assert_eq!(drawn(&cycles(&[205.0])[0], "t").svg, "");
        for holds in [vec![205.0; 3], vec![205.0; 12]] {
            let drawn = drawn(&cycles(&holds)[0], "t");
            plot::tests::well_formed(&drawn.svg).unwrap();
            assert!(!drawn.drifts && !drawn.svg.contains("NaN") && !drawn.svg.contains("inf"));
        }
    }
}
