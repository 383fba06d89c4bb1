//! What a cycle was measured by: temperatures and, for steam, the pressure over time.
//!
//! Between samples every channel is a straight line, here and wherever a record is judged.

use std::collections::BTreeSet;

/// The coldest temperature that exists, in °C. Some loggers write a number below it for a broken sensor.
pub const COLDEST_C: f64 = -273.15;

/// The hottest temperature that is taken, in °C. The lethal rate of a hotter one leaves the range of a double.
pub const HOTTEST_C: f64 = 3000.0;

/// The farthest that a time may lie from 0, in s: three centuries, so that no integral leaves the range of a
/// double.
pub const FARTHEST_S: f64 = 1e10;

/// One cycle as it was recorded. All columns have one value per sample, of which there are at least two.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    /// The time of each sample, in s from the start, strictly increasing.
    pub time_s: Vec<f64>,
    /// At least one temperature channel, no name twice.
    pub channels: Vec<Channel>,
    /// The absolute pressure, in kPa, where it was measured.
    pub pressure_kpa_abs: Option<Vec<f64>>,
    /// When the first sample was taken, in µs since 1970-01-01T00:00:00Z, where the record says so.
    pub started_us: Option<i64>,
    /// When the last sample was taken, in µs since 1970-01-01T00:00:00Z, where the record says so.
    pub ended_us: Option<i64>,
}

/// One temperature sensor.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Channel {
    /// The name of its column, `temp_c` or `temp_c_<name>`.
    pub name: String,
    /// Its temperatures, in °C.
    pub temp_c: Vec<f64>,
}

/// Why a record or its limits cannot be judged.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Unusable {
    /// Columns that do not belong together.
    #[error("found {found}; {needed}")]
    Shape { found: String, needed: &'static str },
    /// A sample, counted from 0, that cannot have been measured.
    #[error("sample {sample}, {column}: found {found}; {needed}")]
    Sample { sample: usize, column: String, found: f64, needed: &'static str },
    /// A pressure inside the hold, at a sample counted from 0, at which water does not boil.
    #[error("sample {}, the pressure inside the hold: {range}", .sample + 1)]
    Pressure { sample: usize, range: super::steam::OutOfRange },
    /// A limit that cannot be meant.
    #[error("{name}: found {found}; {needed}")]
    Limit { name: &'static str, found: f64, needed: &'static str },
}

impl Record {
    /// Whether the record has the shape and the values that every function on it relies on.
    ///
    /// # Errors
    /// The first fault found: fewer than two samples, no channel, two of one name, columns of different lengths,
    /// times that do not increase, and values that are not finite or lie outside [`COLDEST_C`] to [`HOTTEST_C`].
    pub fn check(&self) -> Result<(), Unusable> {
        let samples = self.time_s.len();
        if samples < 2 {
            let found = format!("{samples} samples");
            return Err(Unusable::Shape { found, needed: "at least two are needed" });
        }
        if self.channels.is_empty() {
            let found = "no temperature channel".to_owned();
            return Err(Unusable::Shape { found, needed: "at least one is needed" });
        }
        check_column("time", &self.time_s, samples, "a time within 1e10 s of the start is needed", |t| {
            t.abs() <= FARTHEST_S
        })?;
        for i in 1..samples {
            if self.time_s[i] <= self.time_s[i - 1] {
                let (column, found) = ("time".to_owned(), self.time_s[i]);
                let needed = "a time after the one before it is needed";
                return Err(Unusable::Sample { sample: i, column, found, needed });
            }
        }
        let mut names = BTreeSet::new();
        for channel in &self.channels {
            if !names.insert(&channel.name) {
                let found = format!("two channels named {}", channel.name);
                return Err(Unusable::Shape { found, needed: "a name of its own for each is needed" });
            }
            let needed = "a temperature from -273.15 to 3000 °C is needed";
            check_column(&channel.name, &channel.temp_c, samples, needed, |t| {
                (COLDEST_C..=HOTTEST_C).contains(&t)
            })?;
        }
        if let Some(pressure) = &self.pressure_kpa_abs {
            check_column("pressure", pressure, samples, "a finite number is needed", f64::is_finite)?;
        }
        Ok(())
    }
}

fn check_column(
    name: &str,
    values: &[f64],
    samples: usize,
    needed: &'static str,
    is_usable: impl Fn(f64) -> bool,
) -> Result<(), Unusable> {
    if values.len() != samples {
        let found = format!("{} values in {name} for {samples} times", values.len());
        return Err(Unusable::Shape { found, needed: "one value for each time is needed" });
    }
    match values.iter().position(|value| !is_usable(*value)) {
        None => Ok(()),
        Some(sample) => {
            Err(Unusable::Sample { sample, column: name.to_owned(), found: values[sample], needed })
        }
    }
}
