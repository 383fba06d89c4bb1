//! JSON from outside, made fit for the ledger: text in NFC, and no U+0000, which PostgreSQL does not store.

use serde_json::{Map, Value};
use unicode_normalization::{UnicodeNormalization, is_nfc};

/// Normalises every text of a value to NFC, names included. Top-level members named in `raw` keep their bytes: a
/// cycle record is hashed as it came.
///
/// # Errors
/// The JSON Pointer (RFC 6901) of the first text that holds U+0000.
pub fn cleaned(value: Value, raw: &[&str]) -> Result<Value, String> {
    clean(value, raw, &mut String::new())
}

/// A text as the ledger holds it, so that what is scanned is found however its letters were composed.
pub fn normal(text: &str) -> String {
    text.nfc().collect()
}

fn clean(value: Value, raw: &[&str], at: &mut String) -> Result<Value, String> {
    Ok(match value {
        Value::String(text) => Value::String(text_of(text, at)?),
        Value::Array(items) => {
            let mut all = Vec::with_capacity(items.len());
            for (i, item) in items.into_iter().enumerate() {
                all.push(within(at, &i.to_string(), |at| clean(item, &[], at))?);
            }
            Value::Array(all)
        }
        Value::Object(members) => {
            let mut all = Map::new();
            for (name, member) in members {
                let name = text_of(name, at)?;
                let member = within(at, &name, |at| match member {
                    Value::String(text) if raw.contains(&name.as_str()) && !text.contains('\0') => {
                        Ok(Value::String(text))
                    }
                    other => clean(other, &[], at),
                })?;
                all.insert(name, member);
            }
            Value::Object(all)
        }
        other => other,
    })
}

fn within<T>(at: &mut String, name: &str, act: impl FnOnce(&mut String) -> T) -> T {
    let before = at.len();
    at.push('/');
    at.push_str(&name.replace('~', "~0").replace('/', "~1"));
    let done = act(at);
    at.truncate(before);
    done
}

fn text_of(text: String, at: &str) -> Result<String, String> {
    if text.contains('\0') {
        return Err(at.to_string());
    }
    Ok(if is_nfc(&text) { text } else { text.nfc().collect() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn text_is_normalised_but_for_what_is_raw() {
        let given = json!({"a": "e\u{301}", "record": "e\u{301}"});
        assert_eq!(cleaned(given, &["record"]), Ok(json!({"a": "\u{e9}", "record": "e\u{301}"})));
        assert_eq!(cleaned(json!({"a": [1, "x\u{0}"]}), &[]), Err("/a/1".into()));
    }
}
