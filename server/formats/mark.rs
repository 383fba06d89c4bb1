//! A mark read by its standard, as the answer that people and programs get.

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use super::{gs1, hibc};

/// A GS1 mark as an answer: `ok`, where it came from, its elements, dates, warnings, what it names; or what is wrong.
pub fn gs1_answer(sent: &str, today: NaiveDate) -> Value {
    let mark = match gs1::read(sent, today) {
        Ok(mark) => mark,
        Err(fault) => {
            let mut said = refused(fault.code.name(), fault.code.words());
            put(&mut said, "source", fault.source.map(gs1::Source::name));
            put(&mut said, "at", fault.at);
            return Value::Object(said);
        }
    };
    let mut said = Map::new();
    put(&mut said, "ok", Some(true));
    put(&mut said, "source", Some(mark.source.name()));
    let elements = mark.elements.iter().map(|(ai, value)| json!([ai, value])).collect();
    said.insert("elements".into(), Value::Array(elements));
    said.insert("dates".into(), json!(mark.dates));
    let warnings = mark.day_zero.iter().map(|ai| json!(format!("day_zero:{ai}"))).collect();
    said.insert("warnings".into(), Value::Array(warnings));
    put(&mut said, "kind", Some(mark.named.kind.name()));
    said.insert("key".into(), json!(mark.named.key));
    put(&mut said, "assembly", mark.named.assembly);
    Value::Object(said)
}

/// A HIBC mark as an answer: `ok`, its structure and what it says; or what is wrong.
pub fn hibc_answer(sent: &str, today: NaiveDate) -> Value {
    let mark = match hibc::read(sent, today) {
        Ok(mark) => mark,
        Err(fault) => {
            let mut said = refused(fault.code.name(), fault.code.words());
            put(&mut said, "expected", fault.expected.map(String::from));
            return Value::Object(said);
        }
    };
    let mut said = Map::new();
    put(&mut said, "ok", Some(true));
    put(&mut said, "structure", Some(mark.structure()));
    if let Some(primary) = &mark.primary {
        put(&mut said, "lic", Some(primary.lic.as_str()));
        put(&mut said, "pcn", Some(primary.pcn.as_str()));
        put(&mut said, "unit_of_measure", Some(primary.unit_of_measure));
        put(&mut said, "di", Some(primary.di()));
    }
    let mut warnings = Vec::new();
    warnings.extend(mark.asterisks.then_some("asterisks_stripped"));
    if let Some(secondary) = &mark.secondary {
        put(&mut said, "quantity", secondary.quantity);
        put(&mut said, "expiry", secondary.expiry.as_ref().map(ToString::to_string));
        put(&mut said, "lot", secondary.lot.as_deref());
        put(&mut said, "serial", secondary.serial.as_deref());
        put(&mut said, "made", secondary.made.map(|day| day.to_string()));
        warnings.extend(secondary.expiry.as_ref().is_some_and(|day| day.month_only).then_some("month_only"));
    }
    said.insert("warnings".into(), json!(warnings));
    put(&mut said, "link", mark.link.map(String::from));
    if let Some((key, one_piece)) = mark.key() {
        put(&mut said, "kind", Some(if one_piece { "asset" } else { "product" }));
        put(&mut said, "key", Some(key));
    }
    Value::Object(said)
}

fn refused(code: &str, words: &str) -> Map<String, Value> {
    let mut said = Map::new();
    put(&mut said, "ok", Some(false));
    said.insert("errors".into(), json!([code]));
    put(&mut said, "why", Some(words));
    said
}

/// What is not told is left out.
fn put(said: &mut Map<String, Value>, name: &str, value: Option<impl Into<Value>>) {
    if let Some(value) = value {
        said.insert(name.to_owned(), value.into());
    }
}
