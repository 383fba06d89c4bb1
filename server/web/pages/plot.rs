//! The picture of a cycle: temperatures over time with the band, the hold and what broke a limit drawn on them, and the
//! pressure below. It needs a record and limits, nothing of the house, and is made of text on the server.

pub mod axis;
mod breach;
pub mod ink;
mod layout;
mod panel;
mod phase;
mod reduce;

pub use axis::clock;
pub use breach::{Breach, breaches};
use ink::escaped;
pub use phase::{Stretch, stretches};

use super::told_time::lasting;
use crate::analysis::limits::Limits;
use crate::analysis::phases::Phase;
use crate::analysis::record::Record;
use crate::analysis::span::Span;
use crate::domain::verdict::short;
use layout::Layout;

/// The band in words.
pub fn band_words(limits: &Limits) -> String {
    match limits.band() {
        (low, Some(high)) => format!("{} to {} °C", short(low), short(high)),
        (low, None) => format!("{} °C and above", short(low)),
    }
}

/// A cycle to be drawn.
pub struct Plotted<'a> {
    /// It has passed [`Record::check`].
    pub record: &'a Record,
    pub limits: Limits,
    /// The longest span in the band.
    pub hold: Option<Span>,
    /// What the machine did when, as far as it is known.
    pub phases: &'a [Phase],
    /// What the verdict says, as a sentence: the picture's title for whoever does not see it.
    pub says: &'a str,
}

/// What of the cycle is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// From the first sample to the last.
    Cycle,
    /// The hold with its edges, and the temperatures about the band.
    Hold,
}

/// For which room the picture is made. It may be shown smaller or larger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    Phone,
    /// Beside another.
    Half,
    Page,
    Large,
}

/// The picture as the text of an `svg` element. `id` must be the only one of its kind on the page. The hold alone cannot
/// be shown where there is none.
pub fn svg(plotted: &Plotted, view: View, size: Size, id: &str) -> Option<String> {
    let found = breaches(plotted.record, &plotted.limits, plotted.hold);
    let layout = Layout::of(plotted, &found, view, size)?;
    let ink = panel::draw(plotted, &found, &layout);
    let (width, height, title) = (layout.width, layout.height, escaped(plotted.says));
    let told = escaped(&told(plotted, &found, view));
    Some(format!(
        r#"<svg class="plot" role="img" aria-labelledby="{id}-title {id}-told" viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg"><title id="{id}-title">{title}</title><desc id="{id}-told">{told}</desc>{}</svg>"#,
        ink.text
    ))
}

/// The hold in a few words, with what was needed where it is too short.
fn held(plotted: &Plotted) -> Option<String> {
    let span = plotted.hold?;
    let needed_s = plotted.limits.hold_s();
    let lasted = lasting(span.duration_s);
    let is_short = span.duration_s < needed_s * (1.0 - crate::analysis::span::SAME);
    Some(if is_short {
        format!("held {lasted}, {} needed", lasting(needed_s))
    } else {
        format!("held {lasted}")
    })
}

/// The picture in words.
fn told(plotted: &Plotted, found: &[Breach], view: View) -> String {
    let times = &plotted.record.time_s;
    let mut said = vec![match view {
        View::Cycle => "Temperature over time, the whole cycle".to_string(),
        View::Hold => "Temperature over time, the hold enlarged".to_string(),
    }];
    if let (View::Cycle, [first, .., last]) = (view, times.as_slice()) {
        said.push(format!("from {} to {}", clock(*first, 1.0), clock(*last, 1.0)));
    }
    let mut sentences = vec![said.join(", ")];
    let band = band_words(&plotted.limits);
    sentences.push(match (plotted.hold, held(plotted)) {
        (Some(span), Some(held)) => {
            let (from, to) = (clock(span.start_s, 1.0), clock(span.end_s, 1.0));
            format!("{} in the band {band}, from {from} to {to}", super::shared::capital(&held))
        }
        _ => format!("Never in the band {band}"),
    });
    sentences.extend(found.iter().map(|breach| super::shared::capital(&breach.words)));
    let phases: Vec<String> = stretches(plotted.phases).iter().map(Stretch::sentence).collect();
    sentences.extend((!phases.is_empty()).then(|| format!("Phases: {}", phases.join(", "))));
    let channels: Vec<String> =
        plotted.record.channels.iter().map(|channel| channel_name(&channel.name)).collect();
    sentences.push(format!("Channels: {}", channels.join(", ")));
    if plotted.record.pressure_kpa_abs.is_some() {
        sentences.push("With the absolute pressure, and the temperature of saturated steam at it".into());
    }
    format!("{}.", sentences.join(". "))
}

/// A channel as people call it: its column without what every column begins with.
pub fn channel_name(column: &str) -> String {
    match column.strip_prefix("temp_c_") {
        Some(name) if !name.is_empty() => name.replace('_', " "),
        _ => "temperature".into(),
    }
}

#[cfg(test)]
pub mod tests;
