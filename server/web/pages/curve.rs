//! What a load's record shows: read again from its raw bytes, drawn, and added up by channel. Made beside the threads that
//! answer, once for each record, and kept for the next who looks.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::Semaphore;

use super::plot::{self, Plotted, Size, Stretch, View, band_words, channel_name, clock};
use crate::analysis::cycle;
use crate::analysis::lethality::F0;
use crate::analysis::limits::Limits;
use crate::analysis::record::{Channel, Record};
use crate::analysis::span::{Span, range_within};
use crate::analysis::verdict::{A0Seconds, F0Min};
use crate::app::house::Unavailable;
use crate::domain::load::Load;
use crate::domain::model::Method;
use crate::domain::record::{self, Given};
use crate::domain::state::State;
use crate::domain::verdict::{Evidence, Judged, limits_of, short};
use crate::web::App;

/// So many drawn records are kept.
const KEPT: usize = 32;
/// So many are read and drawn at once: a long record takes a hundred megabytes while it is read.
const AT_ONCE: usize = 2;
/// The table beside the picture has so many rows at most.
const ROWS: usize = 60;

/// A record, drawn and told.
#[derive(Debug)]
pub struct Curve {
    pub page: Shown,
    pub phone: Shown,
    pub large: Shown,
    pub phases: Vec<Stretch>,
    pub breaches: Vec<String>,
    pub band: String,
    pub channels: Vec<ChannelRow>,
    /// F0 or A0, and its reference.
    pub lethality: String,
    /// The heads of the table's columns.
    pub columns: Vec<String>,
    pub rows: Vec<Row>,
    pub samples: usize,
}

/// The cycle and, where there is a hold, the hold alone.
#[derive(Debug, Default)]
pub struct Shown {
    pub cycle: String,
    pub hold: String,
}

/// One channel in numbers.
#[derive(Debug)]
pub struct ChannelRow {
    pub name: String,
    pub lowest: String,
    pub highest: String,
    pub lowest_held: String,
    pub highest_held: String,
    pub total: String,
    pub held: String,
}

/// A stretch of the record: from when, and from which to which value each column went.
#[derive(Debug)]
pub struct Row {
    pub from: String,
    pub cells: Vec<String>,
}

/// What the verdict computed for each channel.
enum Lethal {
    F0(F0Min),
    A0(A0Seconds),
}

/// The records that were drawn last.
pub struct Pictures {
    kept: Mutex<VecDeque<(String, Arc<Curve>)>>,
    places: Semaphore,
}

impl Default for Pictures {
    fn default() -> Self {
        Pictures { kept: Mutex::new(VecDeque::new()), places: Semaphore::new(AT_ONCE) }
    }
}

impl Pictures {
    fn find(&self, key: &str) -> Option<Arc<Curve>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|(known, _)| known == key).map(|(_, curve)| curve.clone())
    }

    fn keep(&self, key: String, curve: Arc<Curve>) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.push_front((key, curve));
        kept.truncate(KEPT);
    }
}

/// The curve of a load's record, where it has one that can be drawn.
/// The verdict on a load, whole, and what its record shows.
pub async fn judged(
    app: &App,
    state: &State,
    load: &Load,
) -> Result<(Option<Arc<Judged>>, Option<Arc<Curve>>), Unavailable> {
    let judged = app.house.verdict(&state.site, load).await?;
    let curve = of(app, state, load, judged.as_deref()).await?;
    Ok((judged, curve))
}

pub async fn of(
    app: &App,
    state: &State,
    load: &Load,
    judged: Option<&Judged>,
) -> Result<Option<Arc<Curve>>, Unavailable> {
    let Some(Evidence::Record { sha256, ambient_kpa, form, .. }) = judged.map(|judged| &judged.by) else {
        return Ok(None);
    };
    let Some(limits) = limits_of(&load.programme) else { return Ok(None) };
    let says = super::verdict::sentence(load, judged.is_some_and(|judged| judged.passed));
    let key = format!("{} {sha256} {ambient_kpa:?} {form:?} {limits:?} {says}", state.site);
    if let Some(known) = app.pictures.find(&key) {
        return Ok(Some(known));
    }
    let Ok(_place) = app.pictures.places.acquire().await else { return Ok(None) };
    if let Some(known) = app.pictures.find(&key) {
        return Ok(Some(known));
    }
    let Some(raw) = app.house.raw_record(&state.site, sha256).await? else { return Ok(None) };
    let (ambient_kpa, form, by_steam) = (*ambient_kpa, form.clone(), load.programme.method == Method::Steam);
    let made = tokio::task::spawn_blocking(move || {
        let given = Given { bytes: &raw, form: form.as_ref(), ambient_kpa };
        drawn(&given, by_steam, &limits, &says)
    });
    let made = made.await;
    let curve = match made {
        Ok(Some(curve)) => Arc::new(curve),
        // It was read when it was judged; if it cannot be read now, the page says what the verdict says, without it.
        Ok(None) => {
            tracing::warn!(load = %load.load, sha256, "a record that was judged cannot be drawn");
            return Ok(None);
        }
        Err(error) => {
            tracing::error!(load = %load.load, %error, "a record could not be drawn");
            return Ok(None);
        }
    };
    app.pictures.keep(key, curve.clone());
    Ok(Some(curve))
}

fn drawn(given: &Given, by_steam: bool, limits: &Limits, says: &str) -> Option<Curve> {
    let taken = record::take(given, by_steam).ok()?;
    curve(&taken.record, limits, says)
}

/// Draws a record and adds it up. `None` where it cannot be judged by these limits.
pub fn curve(record: &Record, limits: &Limits, says: &str) -> Option<Curve> {
    let (hold, lethal) = match limits {
        Limits::Steam(limits) => {
            let verdict = cycle::judge_steam(record, limits).ok()?;
            (verdict.hold, Lethal::F0(verdict.f0_min))
        }
        Limits::Disinfection(limits) => {
            let verdict = cycle::judge_disinfection(record, limits).ok()?;
            (verdict.continuous, Lethal::A0(verdict.a0_s))
        }
    };
    let phases = limits.phases(record, hold);
    let plotted = Plotted { record, limits: *limits, hold, phases: &phases, says };
    let shown = |cycle: Size, part: Size, id: &str| Shown {
        cycle: plot::svg(&plotted, View::Cycle, cycle, &format!("{id}-cycle")).unwrap_or_default(),
        hold: plot::svg(&plotted, View::Hold, part, &format!("{id}-hold")).unwrap_or_default(),
    };
    let (columns, rows) = table(record);
    Some(Curve {
        page: shown(Size::Page, Size::Half, "page"),
        phone: shown(Size::Phone, Size::Phone, "phone"),
        large: shown(Size::Large, Size::Large, "large"),
        phases: plot::stretches(&phases),
        breaches: plot::breaches(record, limits, hold).into_iter().map(|breach| breach.words).collect(),
        band: band_words(limits),
        channels: record.channels.iter().map(|channel| channel_row(record, channel, &lethal, hold)).collect(),
        lethality: match &lethal {
            Lethal::F0(it) => {
                format!("F0 in min, reference {} °C, z {} K: information", short(it.ref_c), short(it.z_k))
            }
            Lethal::A0(it) => format!(
                "A0 in s, reference {} °C, z {} K, from {} °C",
                short(it.ref_c),
                short(it.z_k),
                short(it.floor_c)
            ),
        },
        columns,
        rows,
        samples: record.time_s.len(),
    })
}

fn channel_row(record: &Record, channel: &Channel, lethal: &Lethal, hold: Option<Span>) -> ChannelRow {
    let (low, high) = extremes(&channel.temp_c);
    let alone =
        Record { time_s: record.time_s.clone(), channels: vec![channel.clone()], ..Record::default() };
    let within = hold.map(|span| range_within(&alone, span));
    let of =
        |values: &BTreeMap<String, F0>| values.get(&channel.name).map(|f0| short(f0.0)).unwrap_or_default();
    let (total, held) = match lethal {
        Lethal::F0(it) => (of(&it.total.channels), hold.map(|_| of(&it.hold.channels))),
        Lethal::A0(it) => {
            let total = it.total.channels.get(&channel.name).map(|a0| short(a0.0));
            (total.unwrap_or_default(), None)
        }
    };
    let celsius = |temp_c: f64| format!("{} °C", short(temp_c));
    ChannelRow {
        name: channel_name(&channel.name),
        lowest: celsius(low),
        highest: celsius(high),
        lowest_held: within.map(|range| celsius(range.min_c)).unwrap_or_default(),
        highest_held: within.map(|range| celsius(range.max_c)).unwrap_or_default(),
        total,
        held: held.unwrap_or_default(),
    }
}

fn extremes(values: &[f64]) -> (f64, f64) {
    values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)))
}

/// The record in a table that can be read aloud: in each row the lowest and the highest of a stretch, so that nothing
/// that stands out is left out.
fn table(record: &Record) -> (Vec<String>, Vec<Row>) {
    let time_s = &record.time_s;
    let mut columns: Vec<String> =
        record.channels.iter().map(|channel| format!("{} in °C", channel_name(&channel.name))).collect();
    columns.extend(record.pressure_kpa_abs.as_ref().map(|_| "pressure in kPa, absolute".to_string()));
    let values: Vec<&[f64]> = record
        .channels
        .iter()
        .map(|channel| &channel.temp_c[..])
        .chain(record.pressure_kpa_abs.as_deref())
        .collect();
    let (first_s, last_s) = (time_s[0], time_s[time_s.len() - 1]);
    let step_s = (last_s - first_s) / ROWS as f64;
    let mut starts: Vec<usize> =
        (0..ROWS).map(|n| time_s.partition_point(|t| *t < first_s + step_s * n as f64)).collect();
    starts.push(time_s.len());
    let rows = starts.windows(2).filter(|pair| pair[0] < pair[1]).map(|pair| {
        let cell = |values: &&[f64]| {
            let (low, high) = extremes(&values[pair[0]..pair[1]]);
            let (low, high) = (short(low), short(high));
            if low == high { low } else { format!("{low} to {high}") }
        };
        Row { from: clock(time_s[pair[0]], 1.0), cells: values.iter().map(cell).collect() }
    });
    (columns, rows.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::limits::SteamLimits;
    use crate::web::pages::plot::tests::steam;

    #[test]
    fn the_table_keeps_what_stands_out_and_the_numbers_are_those_of_the_verdict() {
        let mut record = steam();
        record.channels[0].temp_c[777] = 99.5;
        let limits = SteamLimits::new(134.0, 180.0);
        let verdict = cycle::judge_steam(&record, &limits).unwrap();
        let told = curve(&record, &Limits::Steam(limits), "x").unwrap();
        assert!(told.rows.len() <= ROWS && told.rows.iter().any(|row| row.cells[0].ends_with("to 99.5")));
        assert!(told.rows.iter().all(|row| row.cells.len() == told.columns.len()));
        let least = told.channels.iter().map(|row| row.held.parse::<f64>().unwrap()).fold(f64::MAX, f64::min);
        assert!((least - verdict.f0_min.hold.least.0).abs() < 0.01);
        let range = verdict.temperature.unwrap();
        assert!(told.channels.iter().any(|row| row.lowest_held == format!("{} °C", short(range.min_c))));
        assert!(!told.page.hold.is_empty() && !told.phone.cycle.is_empty());
    }

    #[test]
    fn what_was_drawn_last_is_kept_and_no_more() {
        let pictures = Pictures::default();
        let limits = Limits::Steam(SteamLimits::new(134.0, 180.0));
        let told = Arc::new(curve(&steam(), &limits, "x").unwrap());
        for n in 0..KEPT + 3 {
            pictures.keep(n.to_string(), told.clone());
        }
        assert!(pictures.find("0").is_none() && pictures.find("34").is_some());
        assert_eq!(pictures.kept.lock().unwrap().len(), KEPT);
    }

    #[test]
    fn a_raw_record_that_cannot_be_read_is_no_picture() {
        let limits = Limits::Steam(SteamLimits::new(134.0, 180.0));
        let given = |bytes| Given { bytes, form: None, ambient_kpa: None };
        assert!(drawn(&given(b"\xff\xfe"), true, &limits, "x").is_none());
        assert!(drawn(&given(b"time_s,temp_c\n0,20\n1,21\n"), true, &limits, "x").is_some());
    }
}
