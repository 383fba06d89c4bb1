//! How a measured value of one piece goes: each value at its age, the site's limit, and where the line will cross it.

use super::plot::axis::{Axis, plain, ticks};
use super::plot::ink::{Anchor, Ink, escaped};
use super::shared::capital;
use crate::domain::course::Course;

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 220.0;
const FONT: f64 = 14.0;
const LEFT: f64 = 58.0;
const RIGHT: f64 = 110.0;

/// A course as a page shows it.
pub struct Drawn {
    pub what: String,
    pub svg: String,
    pub said: String,
    pub source: String,
    pub rows: Vec<(u32, String)>,
    pub warns: bool,
}

fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

pub fn drawn(course: &Course, id: &str) -> Drawn {
    let unit = match (&course.unit, course.of_first) {
        (_, true) => " in % of its first value".to_string(),
        (Some(unit), false) => format!(" in {}", unit.0),
        (None, false) => String::new(),
    };
    let what = format!("{}{unit}", capital(&course.check));
    Drawn {
        svg: if course.points.len() < 2 { String::new() } else { svg(course, id, &what) },
        what,
        said: course.said.clone(),
        source: course.source.as_ref().map(|source| source.0.clone()).unwrap_or_default(),
        rows: course.points.iter().map(|it| (it.point.cycles, number(it.compared))).collect(),
        warns: course.crosses.is_some() || course.beyond.is_some(),
    }
}

fn axes(course: &Course) -> (Axis, Axis) {
    let limits = [course.min, course.max].into_iter().flatten().map(|limit| limit.f64());
    let values = course.points.iter().map(|it| it.compared).chain(limits).filter(|value| value.is_finite());
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), it| (low.min(it), high.max(it)));
    let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
    let pad = ((high - low) * 0.1).max(high.abs() * 0.01).max(1e-3);
    let first = course.points.first().map_or(0.0, |it| f64::from(it.point.cycles));
    let last = course.points.last().map_or(first, |it| f64::from(it.point.cycles)).max(first + 1.0);
    // A crossing far ahead is told and not drawn: the values would shrink to a dot.
    let ahead = course.crosses.as_ref().map(|it| it.cycles).filter(|at| *at <= last + 2.0 * (last - first));
    let end = ahead.unwrap_or(last).max(last);
    let room = (end - first) * 0.04;
    let cycles = Axis { low: first - room, high: end + room, from: LEFT, to: WIDTH - RIGHT };
    (cycles, Axis { low: low - pad, high: high + pad, from: HEIGHT - FONT * 2.6, to: FONT * 0.8 })
}

fn svg(course: &Course, id: &str, title: &str) -> String {
    let (cycles, axis) = axes(course);
    let mut ink = Ink::default();
    let found = ticks(axis.low, axis.high, 5);
    for at in &found.at {
        ink.line("grid", (LEFT, axis.place(*at)), (cycles.to, axis.place(*at)));
        ink.say("tick", (LEFT - 5.0, axis.place(*at)), Anchor::End, FONT, &plain(*at, found.step));
    }
    let ages = ticks(cycles.low.max(0.0), cycles.high, 5);
    for at in ages.at.iter().filter(|at| cycles.holds(**at)) {
        ink.say("tick", (cycles.place(*at), axis.from + FONT), Anchor::Middle, FONT, &plain(*at, ages.step));
    }
    ink.say("tick strong", (cycles.to + 8.0, axis.from + FONT), Anchor::Start, FONT, "cycles");
    ink.area("frame", (LEFT, axis.to), (cycles.to, axis.from));
    for (limit, word) in [(course.max, "at most"), (course.min, "at least")] {
        let Some(limit) = limit.map(|limit| limit.f64()).filter(|limit| axis.holds(*limit)) else { continue };
        ink.line("bound", (LEFT, axis.place(limit)), (cycles.to, axis.place(limit)));
        let words = format!("{word} {}", number(limit));
        ink.say("name", (cycles.to + 8.0, axis.place(limit)), Anchor::Start, FONT, &words);
    }
    let place = |age: f64, value: f64| Some((cycles.place(age), axis.place(value)));
    ink.path("curve c0 thin", course.points.iter().map(|it| place(f64::from(it.point.cycles), it.compared)));
    for it in &course.points {
        let (x, y) = (cycles.place(f64::from(it.point.cycles)), axis.place(it.compared));
        ink.area("dot", (x - 2.5, y - 2.5), (x + 2.5, y + 2.5));
    }
    crossing(&mut ink, course, &cycles, &axis);
    let (title, told) = (escaped(title), escaped(&course.said));
    format!(
        r#"<svg class="plot" role="img" aria-labelledby="{id}-title {id}-told" viewBox="0 0 {WIDTH} {HEIGHT}" xmlns="http://www.w3.org/2000/svg"><title id="{id}-title">{title}</title><desc id="{id}-told">{told}</desc>{}</svg>"#,
        ink.text
    )
}

/// The line on to its limit.
fn crossing(ink: &mut Ink, course: &Course, cycles: &Axis, axis: &Axis) {
    let (Some(crosses), Some(slope)) = (&course.crosses, course.slope) else { return };
    let limit = if slope > 0.0 { course.max } else { course.min };
    let Some(limit) = limit.map(|limit| limit.f64()).filter(|_| cycles.holds(crosses.cycles)) else { return };
    let first = course.points.first().map_or(cycles.low, |it| f64::from(it.point.cycles));
    let start = limit - slope * (crosses.cycles - first);
    let place = |age: f64, value: f64| Some((cycles.place(age), axis.place(value)));
    ink.path("law", [place(first, start), place(crosses.cycles, limit)].into_iter());
    ink.pointer("here", (cycles.place(crosses.cycles), axis.place(limit) - 1.0), FONT * 0.8);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::course::{Compared, CrossesAt};
    use crate::domain::inspection_values::Point;
    use crate::domain::text::{Line, Quantity};
    use crate::domain::time::Time;
    use crate::web::pages::plot::tests::{texts_inside, well_formed};

    fn course(values: &[(u32, f64)], crosses: Option<f64>) -> Course {
        let point = |(cycles, value): &(u32, f64)| Compared {
            point: Point {
                at: Time(0),
                entry: 1,
                cycles: *cycles,
                value: Quantity::rounded(*value, 2).unwrap(),
                unit: None,
            },
            compared: *value,
        };
        Course {
            check: "light-post dark area <b>".into(),
            unit: Some(Line("%".into())),
            of_first: false,
            min: None,
            max: Quantity::rounded(30.0, 0),
            source: Some(Line("common practice".into())),
            points: values.iter().map(point).collect(),
            slope: crosses.map(|_| 0.1),
            crosses: crosses.map(|cycles| CrossesAt {
                cycles,
                cycles_low: cycles - 5.0,
                cycles_high: None,
                day: None,
                day_low: None,
                day_high: None,
            }),
            beyond: None,
            said: "It crosses its limit at about 290 cycles.".into(),
        }
    }

    #[test]
    fn a_course_shows_its_limit_and_where_it_crosses_it() {
        let shown = drawn(&course(&[(10, 2.0), (100, 11.0), (200, 21.0)], Some(290.0)), "v1");
        well_formed(&shown.svg).unwrap();
        texts_inside(&shown.svg, (WIDTH, HEIGHT));
        assert!(shown.svg.contains("class=\"law\"") && shown.svg.contains("at most 30") && shown.warns);
        assert!(
            shown.svg.contains("&lt;b&gt;") && shown.rows[1] == (100, "11".to_string()),
            "{:?}",
            shown.rows
        );
        let mut over = course(&[(10, 2.0), (20, 95.0)], None);
        over.beyond = Quantity::rounded(30.0, 0);
        assert!(drawn(&over, "v3").warns);
        // What lies far ahead is told and not drawn.
        let far = drawn(&course(&[(10, 2.0), (20, 2.1), (30, 2.2)], Some(9_000.0)), "v2");
        assert!(!far.svg.contains("class=\"law\"") && far.warns);
    }

    #[test]
    fn equal_values_and_one_value_can_be_drawn() {
        for values in [&[(5, 0.0), (5, 0.0)][..], &[(0, 1.0), (1, 1.0), (2, 1.0)], &[(7, 3.0)], &[]] {
            let shown = drawn(&course(values, None), "v");
            assert!(!shown.svg.contains("NaN") && !shown.svg.contains("inf"));
            assert_eq!(shown.svg.is_empty(), values.len() < 2);
        }
    }
}
