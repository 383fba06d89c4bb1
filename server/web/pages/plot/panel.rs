//! The drawing itself, from the back to the front: band, grid, hold, lines, breaches, names.

use super::axis::{clock, plain, ticks, time_ticks};
use super::breach::Breach;
use super::ink::{Anchor, Ink, Point, cut, width_of};
use super::layout::Layout;
use super::phase::stretches;
use super::reduce::reduced;
use super::{Limits, Plotted, View, band_words, channel_name, held};
use crate::analysis::steam::{saturation_pressure_kpa, saturation_temp_c};
use crate::domain::verdict::short;

/// So many channels can be told apart by their dashes.
const DASHES: usize = 6;
/// So many channels are named at their lines; all of them stand in the table.
const NAMED: usize = 10;

pub fn draw(plotted: &Plotted, found: &[Breach], layout: &Layout) -> Ink {
    let mut ink = Ink::default();
    zones(&mut ink, plotted, layout);
    axes(&mut ink, layout);
    phase_names(&mut ink, plotted, layout);
    hold_area(&mut ink, plotted, layout);
    breach_areas(&mut ink, found, layout);
    lines(&mut ink, plotted, layout);
    band_names(&mut ink, plotted, layout);
    hold_name(&mut ink, plotted, layout);
    breach_names(&mut ink, found, layout);
    ink
}

/// The band, and what of the pressure belongs to it.
fn zones(ink: &mut Ink, plotted: &Plotted, layout: &Layout) {
    let (low_c, high_c) = plotted.limits.band();
    let top = high_c.map_or(layout.temp.to, |high| layout.temp.place(high));
    ink.area("zone", (layout.time.from, top), (layout.time.to, layout.temp.place(low_c)));
    if let (Some(axis), Some(high_c)) = (layout.pressure, high_c)
        && let (Ok(low), Ok(high)) = (saturation_pressure_kpa(low_c), saturation_pressure_kpa(high_c))
    {
        ink.area("zone", (layout.time.from, axis.place(high)), (layout.time.to, axis.place(low)));
    }
}

fn axes(ink: &mut Ink, layout: &Layout) {
    let (left, right, font) = (layout.time.from, layout.time.to, layout.font);
    let (top, bottom) = layout.ends();
    let most = ((right - left) / (font * 5.0)) as usize;
    let times = time_ticks(layout.time.low, layout.time.high, most.min(12));
    for at in &times.at {
        let x = layout.time.place(*at);
        ink.line("grid", (x, top), (x, bottom));
        ink.say("tick", (x, bottom + font), Anchor::Middle, font, &clock(*at, times.step));
    }
    let middle = (left + right) / 2.0;
    ink.say("tick", (middle, bottom + font * 2.4), Anchor::Middle, font, "time in min:s");
    let panels = [(Some(layout.temp), "°C"), (layout.pressure, "kPa absolute")];
    for (axis, unit) in panels.into_iter().filter_map(|(axis, unit)| Some((axis?, unit))) {
        let most = ((axis.from - axis.to) / (font * 2.2)) as usize;
        let found = ticks(axis.low, axis.high, most.clamp(2, 10));
        for at in &found.at {
            let y = axis.place(*at);
            ink.line("grid", (left, y), (right, y));
            ink.say("tick", (left - font * 0.4, y), Anchor::End, font, &plain(*at, found.step));
        }
        ink.say("tick strong", (font * 0.3, axis.to - font * 0.75), Anchor::Start, font, unit);
        ink.area("frame", (left, axis.to), (right, axis.from));
    }
}

/// The phases along the top edge, each by its name, or by its number where the name has no room.
fn phase_names(ink: &mut Ink, plotted: &Plotted, layout: &Layout) {
    if layout.view == View::Hold {
        return;
    }
    let (font, top) = (layout.font, layout.temp.to);
    let bottom = layout.ends().1;
    for stretch in stretches(plotted.phases) {
        let (from, to) = (layout.time.place(stretch.start_s), layout.time.place(stretch.end_s));
        for x in [from, to] {
            ink.line("phase", (x, top - font * 1.2), (x, bottom));
        }
        let number = stretch.number.to_string();
        let first = stretch.name.split(',').next().unwrap_or_default().to_string();
        let fitting = [&stretch.name, &first, &number].into_iter().find(|it| width_of(it, font) <= to - from);
        if let Some(words) = fitting {
            ink.say("tick", ((from + to) / 2.0, top - font * 0.75), Anchor::Middle, font, words);
        }
    }
}

fn hold_area(ink: &mut Ink, plotted: &Plotted, layout: &Layout) {
    let Some(span) = plotted.hold else { return };
    let (from, to) = (layout.time.place(span.start_s), layout.time.place(span.end_s));
    let (low_c, high_c) = plotted.limits.band();
    let top = high_c.map_or(layout.temp.to, |high| layout.temp.place(high));
    ink.area("held", (from, top), (to, layout.temp.place(low_c)));
    if let Some(axis) = layout.pressure {
        ink.area("held", (from, axis.to), (to, axis.from));
    }
}

/// A stretch of a breach as it is drawn: at least so wide, joined where two would touch.
fn joined(breach: &Breach, layout: &Layout) -> Vec<(f64, f64)> {
    const THIN: f64 = 1.5;
    let mut bars: Vec<(f64, f64)> = Vec::new();
    for (from_s, to_s) in &breach.stretches {
        if *to_s < layout.time.low || *from_s > layout.time.high {
            continue;
        }
        let (from, to) = (layout.time.place(*from_s), layout.time.place(*to_s));
        let (from, to) = (from.min(layout.time.to - THIN), to.max(from + THIN));
        match bars.last_mut() {
            Some(bar) if from <= bar.1 + 1.0 => bar.1 = bar.1.max(to),
            _ => bars.push((from, to)),
        }
    }
    bars
}

fn breach_areas(ink: &mut Ink, found: &[Breach], layout: &Layout) {
    for (from, to) in found.iter().flat_map(|breach| joined(breach, layout)) {
        ink.area("breach", (from, layout.temp.to), (to, layout.temp.from));
    }
}

/// Where a line is named, and its name.
struct Named {
    at: Point,
    words: String,
}

/// Where the lines are named: at their ends, and where the hold is enlarged at the end of it.
fn named_place(points: &[Option<Point>], plotted: &Plotted, layout: &Layout) -> Option<Point> {
    let last = match (layout.view, plotted.hold) {
        (View::Hold, Some(span)) => layout.time.beyond(span.end_s),
        _ => f64::INFINITY,
    };
    let drawn = || points.iter().flatten().copied();
    drawn().take_while(|point| point.0 <= last).last().or_else(|| drawn().last())
}

fn lines(ink: &mut Ink, plotted: &Plotted, layout: &Layout) {
    let record = plotted.record;
    let mut names = Vec::new();
    // Inner pictures cut off what leaves the panel.
    let (left, right) = (layout.time.from, layout.time.to);
    open_panel(ink, (left, layout.temp.to), (right, layout.temp.from));
    if let Some(pressure) = &record.pressure_kpa_abs {
        let kept = reduced(&record.time_s, pressure, layout.window(), layout.columns());
        let points: Vec<Option<Point>> = kept
            .iter()
            .map(|i| {
                let steam_c = saturation_temp_c(pressure[*i]).ok()?;
                Some((layout.time.beyond(record.time_s[*i]), layout.temp.beyond(steam_c)))
            })
            .collect();
        names.extend(named_place(&points, plotted, layout).map(|at| Named { at, words: "steam".into() }));
        ink.path("curve steam", points.into_iter());
    }
    if let Limits::Disinfection(limits) = &plotted.limits
        && layout.temp.holds(limits.floor_c)
    {
        let y = layout.temp.place(limits.floor_c);
        ink.line("floor", (left, y), (right, y));
    }
    for (n, channel) in record.channels.iter().enumerate() {
        let kept = reduced(&record.time_s, &channel.temp_c, layout.window(), layout.columns());
        let place =
            |i: &usize| (layout.time.beyond(record.time_s[*i]), layout.temp.beyond(channel.temp_c[*i]));
        let points: Vec<Option<Point>> = kept.iter().map(|i| Some(place(i))).collect();
        let named = named_place(&points, plotted, layout).filter(|_| n < NAMED);
        names.extend(named.map(|at| Named { at, words: channel_name(&channel.name) }));
        ink.path(&format!("curve c{}", n % DASHES), points.into_iter());
    }
    ink.raw("</svg>");
    if let (Some(axis), Some(pressure)) = (layout.pressure, &record.pressure_kpa_abs) {
        open_panel(ink, (left, axis.to), (right, axis.from));
        let kept = reduced(&record.time_s, pressure, layout.window(), layout.columns());
        let place = |i: &usize| (layout.time.beyond(record.time_s[*i]), axis.beyond(pressure[*i]));
        let points: Vec<Option<Point>> = kept.iter().map(|i| Some(place(i))).collect();
        let named = named_place(&points, plotted, layout);
        ink.path("curve pressure", points.into_iter());
        ink.raw("</svg>");
        let named = named.map(|at| Named { at, words: "pressure".into() });
        line_names(ink, layout, (axis.to, axis.from), named.into_iter().collect());
    }
    line_names(ink, layout, (layout.temp.to, layout.temp.from), names);
}

fn open_panel(ink: &mut Ink, (x1, y1): Point, (x2, y2): Point) {
    let (width, height) = (x2 - x1, y2 - y1);
    ink.raw(&format!(
        r#"<svg x="{x1:.1}" y="{y1:.1}" width="{width:.1}" height="{height:.1}" viewBox="{x1:.1} {y1:.1} {width:.1} {height:.1}" preserveAspectRatio="none">"#
    ));
}

/// Names at the right edge, apart from each other, each tied to the end of its line.
fn line_names(ink: &mut Ink, layout: &Layout, (top, bottom): (f64, f64), mut names: Vec<Named>) {
    let (font, apart) = (layout.font, layout.font * 1.2);
    names.sort_by(|a, b| a.at.1.total_cmp(&b.at.1));
    let mut places: Vec<f64> =
        names.iter().map(|name| name.at.1.clamp(top + font * 0.5, bottom - font * 0.5)).collect();
    for n in 1..places.len() {
        places[n] = places[n].max(places[n - 1] + apart);
    }
    // What was pushed below the panel is pushed up again, as far as there is room.
    let mut lowest = bottom - font * 0.5;
    for place in places.iter_mut().rev() {
        *place = place.min(lowest);
        lowest = *place - apart;
    }
    let edge = layout.time.to;
    let room = layout.width - edge - font * 1.6;
    for (name, place) in names.iter().zip(places) {
        let end = (name.at.0.min(edge), name.at.1.clamp(top, bottom));
        ink.line("tie", end, (edge + font, place));
        let letters = (room / width_of("n", font)) as usize;
        ink.say("name", (edge + font * 1.3, place), Anchor::Start, font, &cut(&name.words, letters));
    }
}

/// The limits of the band, written where the curve is still low.
fn band_names(ink: &mut Ink, plotted: &Plotted, layout: &Layout) {
    let (font, x) = (layout.font, layout.time.from + layout.font * 0.5);
    let (low_c, high_c) = plotted.limits.band();
    let low = layout.temp.place(low_c);
    match (layout.view, high_c) {
        (View::Hold, Some(high_c)) => {
            let high = layout.temp.place(high_c);
            ink.say("mark", (x, high - font * 0.8), Anchor::Start, font, &format!("{} °C", short(high_c)));
            ink.say("mark", (x, low + font * 0.8), Anchor::Start, font, &format!("{} °C", short(low_c)));
        }
        _ => {
            let words = format!("band {}", band_words(&plotted.limits));
            ink.say("mark", (x, low + font * 0.9), Anchor::Start, font, &words);
        }
    }
    if let Limits::Disinfection(limits) = &plotted.limits
        && layout.temp.holds(limits.floor_c)
    {
        let y = layout.temp.place(limits.floor_c) + font * 0.9;
        let words = format!("A0 counts from {} °C", short(limits.floor_c));
        ink.say("mark", (x, y), Anchor::Start, font, &words);
    }
    if let (Some(axis), Some(high_c)) = (layout.pressure, high_c)
        && let (Ok(kpa), View::Cycle) = (saturation_pressure_kpa(high_c), layout.view)
        && axis.holds(kpa)
    {
        let y = (axis.place(kpa) + font * 1.4).min(axis.from - font * 0.8);
        let words = format!("saturated steam of {}", band_words(&plotted.limits));
        ink.say("mark", (x, y), Anchor::Start, font, &words);
    }
}

/// A bracket over the hold with its length.
fn hold_name(ink: &mut Ink, plotted: &Plotted, layout: &Layout) {
    let (Some(span), Some(words)) = (plotted.hold, held(plotted)) else { return };
    let font = layout.font;
    let (from, to) = (layout.time.place(span.start_s), layout.time.place(span.end_s));
    let y = layout.temp.to + font * 2.0;
    ink.line("bracket", (from, y), (to, y));
    for x in [from, to] {
        ink.line("bracket", (x, y - font * 0.4), (x, y + font * 0.4));
    }
    let x = inside(layout, (from + to) / 2.0, &words, font);
    ink.say("mark strong", (x, y - font), Anchor::Middle, font, &words);
}

/// The middle of a text, moved so that the text stays between the edges of the plot.
fn inside(layout: &Layout, x: f64, words: &str, font: f64) -> f64 {
    let half = width_of(words, font) / 2.0;
    let (least, most) = (layout.time.from + half, layout.time.to - half);
    if least > most { (layout.time.from + layout.time.to) / 2.0 } else { x.clamp(least, most) }
}

/// Each breach on a row of its own above the plot, with a pointer down to its place.
fn breach_names(ink: &mut Ink, found: &[Breach], layout: &Layout) {
    if layout.view == View::Hold {
        return;
    }
    let (font, row) = (layout.font, layout.row());
    for (n, breach) in found.iter().enumerate() {
        let y = layout.rows_top + row * (n as f64 + 0.5);
        let x = layout.time.place(breach.worst_s);
        let place = breach.worst_c.map_or(layout.temp.to, |temp_c| layout.temp.place(temp_c));
        ink.line("points", (x, y + font * 0.6), (x, place));
        ink.pointer("here", (x, place), font * 0.7);
        let room = layout.time.to - layout.time.from;
        let fits = width_of(&breach.words, font) <= room;
        let words = if fits { &breach.words } else { &breach.brief };
        ink.say("mark stop", (inside(layout, x, words, font), y), Anchor::Middle, font, words);
    }
}
