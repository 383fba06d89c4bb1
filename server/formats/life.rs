//! Problems of the statistics of life, as JSON: `{"kind": …, "data": …}`, or the data alone where the kind is known.

use std::fmt;
use std::marker::PhantomData;

use serde::de::value::MapAccessDeserializer;
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer};

use crate::analysis::life::{Life, Refused, Row};

/// What kinds there are, in the order of their description.
pub const KINDS: [&str; 2] = ["weibull_mle", "kaplan_meier"];

/// A problem whose form is right. Its rows may still make no sense, which is an answer and no error.
#[derive(Debug)]
pub enum Problem {
    Weibull { rows: Result<Vec<Row>, Refused>, at: Option<f64>, horizon: Option<f64> },
    KaplanMeier { lives: Result<Vec<Life>, Refused>, start_from: Option<f64> },
}

/// An object, and never a list of its fields in some order.
struct Object<T>(T);

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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WeibullData {
    rows: Vec<Vec<Option<f64>>>,
    at: Option<f64>,
    horizon: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CurveData {
    columns: Option<Vec<String>>,
    rows: Vec<Vec<Option<f64>>>,
    start_from: Option<f64>,
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
        other => Err(format!("found kind {other:?}, one of {} is needed", KINDS.join(", "))),
    }
}

const NEEDED: &str = "needed is an object such as {\"kind\": \"rate_exact\", \"data\": {\"failures\": 3, \"exposure\": 41000}}";

fn object<'a, T: Deserialize<'a>>(bytes: &'a [u8], needed: &str) -> Result<Object<T>, String> {
    let mut json = serde_json::Deserializer::from_slice(bytes);
    let found = serde_path_to_error::deserialize(&mut json).map_err(|error| {
        let path = error.path().to_string();
        let place = if path == "." { String::new() } else { format!("{path}: ") };
        format!("{place}{}; {needed}", error.inner())
    })?;
    json.end().map_err(|error| format!("{error} after the problem; {needed}"))?;
    Ok(found)
}

fn weibull(bytes: &[u8]) -> Result<Problem, String> {
    let needed = "needed is an object such as {\"rows\": [[0, 54, 54, 1], [0, 500, null, 10]], \"at\": 300, \"horizon\": 50}";
    let Object(data): Object<WeibullData> = object(bytes, needed)?;
    lengths(&data.rows, 4, "entry, lo, hi and count")?;
    let row = |(at, row): (usize, &Vec<Option<f64>>)| {
        let age = |place: usize| row.get(place).copied().flatten().unwrap_or(f64::NAN);
        let hi = row.get(2).copied().flatten();
        Ok(Row { entry: age(0), lo: age(1), hi, count: count(age(3), at)? })
    };
    let rows = data.rows.iter().enumerate().map(row).collect();
    Ok(Problem::Weibull { rows, at: data.at, horizon: data.horizon })
}

fn kaplan_meier(bytes: &[u8]) -> Result<Problem, String> {
    let needed = "needed is an object such as {\"rows\": [[0, 10, 1], [0, 32, 0]], \"start_from\": null}";
    let Object(data): Object<CurveData> = object(bytes, needed)?;
    columns(data.columns.as_deref())?;
    Ok(Problem::KaplanMeier { lives: lives(&data.rows)?, start_from: data.start_from })
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

fn lengths(rows: &[Vec<Option<f64>>], needed: usize, names: &str) -> Result<(), String> {
    match rows.iter().position(|row| row.len() != needed) {
        Some(at) => {
            Err(format!("rows[{at}]: found {} numbers, {needed} are needed: {names}", rows[at].len()))
        }
        None => Ok(()),
    }
}

/// Rows of entry, exit and event; an error is one of form, a refusal one of sense.
fn lives(rows: &[Vec<Option<f64>>]) -> Result<Result<Vec<Life>, Refused>, String> {
    lengths(rows, 3, "entry, exit and event")?;
    let life = |(at, row): (usize, &Vec<Option<f64>>)| {
        let number = |place: usize| row.get(place).copied().flatten().unwrap_or(f64::NAN);
        let event = match number(2) {
            0.0 => false,
            1.0 => true,
            _ => return Err(Refused::invalid(format!("Row {}: event is neither 0 nor 1.", at + 1))),
        };
        Ok(Life { entry: number(0), exit: number(1), event, count: 1 })
    };
    Ok(rows.iter().enumerate().map(life).collect())
}

fn count(found: f64, at: usize) -> Result<u64, Refused> {
    const MOST: f64 = 9_007_199_254_740_992.0;
    if found >= 1.0 && found <= MOST && found.fract() == 0.0 {
        return Ok(found as u64);
    }
    let found = if found.is_finite() { found.to_string() } else { "none".to_owned() };
    Err(Refused::invalid(format!("Row {}: the count is {found}; a whole number from 1 is needed.", at + 1)))
}
