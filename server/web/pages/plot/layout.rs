//! How the room of a picture is shared out.

use super::axis::Axis;
use super::breach::Breach;
use super::{Plotted, Size, View};

/// Places and axes, in the picture's own units.
pub struct Layout {
    pub view: View,
    pub width: f64,
    pub height: f64,
    pub font: f64,
    pub time: Axis,
    pub temp: Axis,
    /// Where a pressure was measured.
    pub pressure: Option<Axis>,
    /// The top of the rows in which breaches are named.
    pub rows_top: f64,
}

/// Of the time of the hold, so much is shown on both sides of it.
const EDGE: f64 = 0.12;
/// Around the band, so many K are shown.
const AROUND_K: f64 = 1.5;
/// The farthest that the enlarged hold reaches to show what left the band, in K.
const FARTHEST_K: f64 = 4.0;

impl Layout {
    pub fn of(plotted: &Plotted, found: &[Breach], view: View, size: Size) -> Option<Layout> {
        let (width, height, font, left, right) = match size {
            Size::Phone => (360.0, 380.0, 12.0, 40.0, 84.0),
            Size::Half => (480.0, 440.0, 14.0, 56.0, 122.0),
            Size::Page => (960.0, 440.0, 14.0, 56.0, 130.0),
            Size::Large => (1600.0, 760.0, 16.0, 64.0, 170.0),
        };
        let (from_s, to_s) = window(plotted, view)?;
        let row = font * 1.5;
        let rows = match view {
            View::Cycle => found.len() as f64,
            View::Hold => 0.0,
        };
        let rows_top = font * 0.5;
        let top = rows_top + row * (rows + 1.0);
        let bottom = height - font * 3.2;
        let time = Axis { low: from_s, high: to_s, from: left, to: width - right };
        let measured = plotted.record.pressure_kpa_abs.as_ref();
        let (temp_bottom, pressure) = match measured {
            None => (bottom, None),
            Some(values) => {
                let split = top + (bottom - top) * 0.72;
                (split, Some(pressure_axis(plotted, values, (from_s, to_s), (bottom, split + row))))
            }
        };
        let temp = temp_axis(plotted, view, (from_s, to_s), (temp_bottom, top), font);
        Some(Layout { view, width, height, font, time, temp, pressure, rows_top })
    }

    /// The height of a row of text.
    pub fn row(&self) -> f64 {
        self.font * 1.5
    }

    /// How many columns of points the lines may have.
    pub fn columns(&self) -> usize {
        (self.time.to - self.time.from) as usize
    }

    pub fn window(&self) -> (f64, f64) {
        (self.time.low, self.time.high)
    }

    /// The edges of the whole plot: the top of the temperatures and the bottom of the last panel.
    pub fn ends(&self) -> (f64, f64) {
        (self.temp.to, self.pressure.map_or(self.temp.from, |axis| axis.from))
    }
}

fn window(plotted: &Plotted, view: View) -> Option<(f64, f64)> {
    let times = &plotted.record.time_s;
    let (first_s, last_s) = (*times.first()?, *times.last()?);
    match view {
        View::Cycle => Some((first_s, last_s)),
        View::Hold => {
            let span = plotted.hold?;
            let edge_s = span.duration_s * EDGE;
            Some((first_s.max(span.start_s - edge_s), last_s.min(span.end_s + edge_s)))
        }
    }
    .filter(|(from_s, to_s)| to_s > from_s)
}

/// The lowest and the highest of the samples in a window.
fn extremes(time_s: &[f64], values: &[f64], (from_s, to_s): (f64, f64)) -> (f64, f64) {
    let first = time_s.partition_point(|t| *t < from_s);
    let end = time_s.partition_point(|t| *t <= to_s).max(first);
    let within = values[first..end].iter();
    within.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)))
}

fn temp_axis(plotted: &Plotted, view: View, window: (f64, f64), (from, to): (f64, f64), font: f64) -> Axis {
    let (band_low, band_high) = plotted.limits.band();
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for channel in &plotted.record.channels {
        let (least, most) = extremes(&plotted.record.time_s, &channel.temp_c, window);
        (low, high) = (low.min(least), high.max(most));
    }
    let top_c = band_high.unwrap_or(band_low);
    match view {
        View::Cycle => {
            low = low.min(band_low);
            high = high.max(top_c);
            let pad = (high - low).max(1.0) * 0.02;
            (low, high) = (low - pad, high + pad);
        }
        View::Hold => {
            let most = if band_high.is_some() { top_c } else { high.max(top_c) };
            high = high.clamp(most + AROUND_K, most + FARTHEST_K);
            low = band_low - AROUND_K;
        }
    }
    // The hold's length is written above the band.
    Axis { low, high, from, to }.with_room(font * 2.6)
}

fn pressure_axis(plotted: &Plotted, values: &[f64], window: (f64, f64), (from, to): (f64, f64)) -> Axis {
    let (low, high) = extremes(&plotted.record.time_s, values, window);
    let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
    let pad = ((high - low) * 0.08).max(high.abs() * 0.005).max(0.5);
    Axis { low: low - pad, high: high + pad, from, to }
}
