//! Problems of the statistics of life, as JSON: `{"kind": …, "data": …}`, or the data alone where the kind is known.

use std::fmt;
use std::marker::PhantomData;

use serde::de::value::MapAccessDeserializer;
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer};

use crate::analysis::life::{Life, Refused, Row, Unit};

/// What kinds there are.
pub const KINDS: [&str; 12] = [
    "weibull_mle",
    "kaplan_meier",
    "logrank",
    "mcf",
    "nhpp_power_law",
    "age_replacement",
    "spares_poisson",
    "spares_fleet",
    "weibayes",
    "rate_exact",
    "chart_p",
    "chart_g",
];

/// A problem whose form is right. Its rows may still make no sense, which is an answer and no error.
#[derive(Debug)]
pub enum Problem {
    Weibull { rows: Sense<Vec<Row>>, at: Option<f64>, horizon: Option<f64> },
    KaplanMeier { lives: Sense<Vec<Life>>, start_from: Option<f64> },
    LogRank { groups: Sense<Vec<Vec<Life>>> },
    Mcf { units: Sense<Vec<Unit>> },
    PowerLaw(PowerLaw),
    Replacement(Replacement),
    SparesPoisson(SparesPoisson),
    SparesFleet(SparesFleet),
    Weibayes { beta: f64, failures: Sense<u64>, ages: Sense<Vec<(f64, u64)>> },
    Rate { failures: Sense<u64>, exposure: f64 },
    ChartP { points: Sense<Vec<(u64, u64)>> },
    ChartG { between: Sense<Vec<f64>> },
}

/// Numbers of the right form, or why they mean nothing.
pub type Sense<T> = Result<T, Refused>;
type Cells = Vec<Option<f64>>;

/// An object, and never a list of its fields in some order.
#[derive(Debug)]
pub struct Object<T>(pub T);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Object<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Fields<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for Fields<T> {
            type Value = Object<T>;
            fn expecting(&self, to: &mut fmt::Formatter) -> fmt::Result {
                to.write_str("an object")
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
                T::deserialize(MapAccessDeserializer::new(map)).map(Object)
            }
        }
        from.deserialize_map(Fields(PhantomData))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Whole<'a> {
    kind: String,
    #[serde(borrow)]
    data: &'a serde_json::value::RawValue,
}

/// Structs of fields that are read as they stand, a field not named being refused.
macro_rules! data {
    ($($(#[$about:meta])* $name:ident { $($field:ident: $type:ty),+ })+) => { $(
        $(#[$about])*
        #[derive(Deserialize, Debug)]
        #[serde(deny_unknown_fields)]
        pub struct $name { $(pub $field: $type),+ }
    )+ };
}

data! {
    WeibullData { rows: Vec<Cells>, at: Option<f64>, horizon: Option<f64> }
    CurveData { columns: Option<Vec<String>>, rows: Vec<Cells>, start_from: Option<f64> }
    GroupData { columns: Option<Vec<String>>, groups: Vec<Vec<Cells>> }
    McfData { units: Vec<Object<UnitData>> }
    UnitData { id: Option<serde::de::IgnoredAny>, start: Option<f64>, end: Option<f64>, events: Cells }
    Replacement { cost_planned: f64, cost_unplanned: f64, eta: f64, beta: f64 }
    SparesPoisson { mean: f64, level: f64 }
    SparesFleet { ages: Vec<f64>, eta: f64, beta: f64, window: f64 }
    WeibayesData { beta: f64, failures: f64, age_count: Vec<Cells> }
    RateData { failures: f64, exposure: f64 }
    ChartPData { defectives: Vec<f64>, sizes: Vec<f64> }
    ChartGData { between: Vec<f64> }
}

/// Repairs of one thing.
#[derive(Deserialize, Debug)]
#[serde(deny_unknown_fields)]
pub struct PowerLaw {
    pub times: Vec<f64>,
    #[serde(rename = "T")]
    pub end: f64,
    pub truncation: Truncation,
}

/// When watching ended: at a time that somebody chose, or at a failure.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Truncation {
    Time,
    Failure,
}

/// Reads a problem whose kind stands in it.
///
/// # Errors
/// A sentence that says which field, what was found and what is needed.
pub fn read(bytes: &[u8]) -> Result<Problem, String> {
    let Object(whole): Object<Whole> = object(bytes, NEEDED)?;
    read_data(&whole.kind, whole.data.get().as_bytes()).map_err(|error| format!("data: {error}"))
}

/// Reads the data of a kind.
///
/// # Errors
/// As [`read`].
pub fn read_data(kind: &str, bytes: &[u8]) -> Result<Problem, String> {
    match kind {
        "weibull_mle" => weibull(bytes),
        "kaplan_meier" => kaplan_meier(bytes),
        "logrank" => logrank(bytes),
        "mcf" => mcf(bytes),
        "nhpp_power_law" => data(bytes, r#"{"times": [2.7, 10.3, 12.5], "T": 20, "truncation": "time"}"#)
            .map(Problem::PowerLaw),
        "age_replacement" => {
            let example = r#"{"cost_planned": 1, "cost_unplanned": 5, "eta": 1000, "beta": 2.5}"#;
            data(bytes, example).map(Problem::Replacement)
        }
        "spares_poisson" => data(bytes, r#"{"mean": 3.7, "level": 0.95}"#).map(Problem::SparesPoisson),
        "spares_fleet" => {
            let example = r#"{"ages": [30, 75], "eta": 120, "beta": 2.6, "window": 15}"#;
            data(bytes, example).map(Problem::SparesFleet)
        }
        "weibayes" => weibayes(bytes),
        "rate_exact" => {
            let data: RateData = data(bytes, r#"{"failures": 3, "exposure": 41000}"#)?;
            Ok(Problem::Rate { failures: whole("failures", data.failures), exposure: data.exposure })
        }
        "chart_p" => chart_p(bytes),
        "chart_g" => {
            let data: ChartGData = data(bytes, r#"{"between": [449, 92, 113]}"#)?;
            let whole = |found: &f64| whole("between", *found).map(|found| found as f64);
            Ok(Problem::ChartG { between: data.between.iter().map(whole).collect() })
        }
        other => Err(format!("found kind {other:?}, one of {} is needed", KINDS.join(", "))),
    }
}

const NEEDED: &str = r#"{"kind": "rate_exact", "data": {"failures": 3, "exposure": 41000}}"#;

fn data<'a, T: Deserialize<'a>>(bytes: &'a [u8], example: &str) -> Result<T, String> {
    object(bytes, example).map(|Object(data)| data)
}

fn object<'a, T: Deserialize<'a>>(bytes: &'a [u8], example: &str) -> Result<Object<T>, String> {
    let mut json = serde_json::Deserializer::from_slice(bytes);
    let found = serde_path_to_error::deserialize(&mut json).map_err(|error| {
        let path = error.path().to_string();
        let place = if path == "." { String::new() } else { format!("{path}: ") };
        format!("{place}{}; needed is an object such as {example}", error.inner())
    })?;
    json.end()
        .map_err(|error| format!("{error} after the problem; needed is an object such as {example}"))?;
    Ok(found)
}

fn weibull(bytes: &[u8]) -> Result<Problem, String> {
    let example = r#"{"rows": [[0, 54, 54, 1], [0, 500, null, 10]], "at": 300, "horizon": 50}"#;
    let data: WeibullData = data(bytes, example)?;
    lengths("rows", &data.rows, 4, "entry, lo, hi and count")?;
    let row = |(at, row): (usize, &Cells)| {
        let hi = row.get(2).copied().flatten();
        Ok(Row { entry: cell(row, 0), lo: cell(row, 1), hi, count: count(cell(row, 3), at)? })
    };
    let rows = data.rows.iter().enumerate().map(row).collect();
    Ok(Problem::Weibull { rows, at: data.at, horizon: data.horizon })
}

fn kaplan_meier(bytes: &[u8]) -> Result<Problem, String> {
    let data: CurveData = data(bytes, r#"{"rows": [[0, 10, 1], [0, 32, 0]], "start_from": null}"#)?;
    columns(data.columns.as_deref())?;
    Ok(Problem::KaplanMeier { lives: lives("rows", &data.rows)?, start_from: data.start_from })
}

fn logrank(bytes: &[u8]) -> Result<Problem, String> {
    let data: GroupData = data(bytes, r#"{"groups": [[[0, 10, 1], [0, 32, 0]], [[0, 12, 1]]]}"#)?;
    columns(data.columns.as_deref())?;
    let group = |(at, rows): (usize, &Vec<Cells>)| {
        let said =
            |refused: Refused| Refused { said: format!("Group {}: {}", at + 1, refused.said), ..refused };
        lives(&format!("groups[{at}]"), rows).map(|sense| sense.map_err(said))
    };
    let groups: Result<Vec<Sense<Vec<Life>>>, String> = data.groups.iter().enumerate().map(group).collect();
    Ok(Problem::LogRank { groups: groups?.into_iter().collect() })
}

fn mcf(bytes: &[u8]) -> Result<Problem, String> {
    let data: McfData = data(bytes, r#"{"units": [{"id": "A", "start": 0, "end": 17, "events": [5, 10]}]}"#)?;
    // What is no number is refused with the unit it stands in, where all ages are looked at.
    let unit = |Object(unit): Object<UnitData>| Unit {
        start: unit.start.unwrap_or(f64::NAN),
        end: unit.end.unwrap_or(f64::NAN),
        events: unit.events.into_iter().map(|event| event.unwrap_or(f64::NAN)).collect(),
    };
    Ok(Problem::Mcf { units: Ok(data.units.into_iter().map(unit).collect()) })
}

fn weibayes(bytes: &[u8]) -> Result<Problem, String> {
    let data: WeibayesData =
        data(bytes, r#"{"beta": 2, "failures": 0, "age_count": [[500, 10], [800, 20]]}"#)?;
    lengths("age_count", &data.age_count, 2, "age and count")?;
    let row = |(at, row): (usize, &Cells)| Ok((cell(row, 0), count(cell(row, 1), at)?));
    let ages = data.age_count.iter().enumerate().map(row).collect();
    Ok(Problem::Weibayes { beta: data.beta, failures: whole("failures", data.failures), ages })
}

fn chart_p(bytes: &[u8]) -> Result<Problem, String> {
    let data: ChartPData = data(bytes, r#"{"defectives": [12, 15], "sizes": [50, 50]}"#)?;
    let (defectives, sizes) = (data.defectives, data.sizes);
    if defectives.len() != sizes.len() {
        return Err(format!(
            "sizes: found {} numbers, one for each of {} defectives is needed",
            sizes.len(),
            defectives.len()
        ));
    }
    let point =
        |(defective, size): (&f64, &f64)| Ok((whole("defectives", *defective)?, whole("sizes", *size)?));
    Ok(Problem::ChartP { points: defectives.iter().zip(&sizes).map(point).collect() })
}

/// The names of columns may stand beside the rows; they are these.
fn columns(found: Option<&[String]>) -> Result<(), String> {
    match found {
        Some(names) if names != ["entry", "exit", "event"] => {
            Err(format!("columns: found {names:?}, [\"entry\", \"exit\", \"event\"] is needed"))
        }
        _ => Ok(()),
    }
}

fn lengths(place: &str, rows: &[Cells], needed: usize, names: &str) -> Result<(), String> {
    match rows.iter().position(|row| row.len() != needed) {
        Some(at) => {
            Err(format!("{place}[{at}]: found {} numbers, {needed} are needed: {names}", rows[at].len()))
        }
        None => Ok(()),
    }
}

/// A number of a row; `null` is none.
fn cell(row: &Cells, place: usize) -> f64 {
    row.get(place).copied().flatten().unwrap_or(f64::NAN)
}

/// Rows of entry, exit and event; an error is one of form, a refusal one of sense.
fn lives(place: &str, rows: &[Cells]) -> Result<Sense<Vec<Life>>, String> {
    lengths(place, rows, 3, "entry, exit and event")?;
    let life = |(at, row): (usize, &Cells)| {
        let event = match cell(row, 2) {
            0.0 => false,
            1.0 => true,
            _ => return Err(Refused::invalid(format!("Row {}: event is neither 0 nor 1.", at + 1))),
        };
        Ok(Life { entry: cell(row, 0), exit: cell(row, 1), event, count: 1 })
    };
    Ok(rows.iter().enumerate().map(life).collect())
}

/// As far as every whole number is one.
const MOST: f64 = 9_007_199_254_740_992.0;

fn count(found: f64, at: usize) -> Sense<u64> {
    if (1.0..=MOST).contains(&found) && found.fract() == 0.0 {
        return Ok(found as u64);
    }
    let found = if found.is_finite() { found.to_string() } else { "none".to_owned() };
    Err(Refused::invalid(format!("Row {}: the count is {found}; a whole number from 1 is needed.", at + 1)))
}

fn whole(name: &str, found: f64) -> Sense<u64> {
    if (0.0..=MOST).contains(&found) && found.fract() == 0.0 {
        return Ok(found as u64);
    }
    Err(Refused::invalid(format!("{name}: found {found}; a whole number from 0 is needed.")))
}
