//! Where a text is no command, and the reading of forms that says it.

use serde::Deserialize;
use serde_json::Value;

use crate::formats::objects::{self, Objects};

/// Why a text is no command: where, and what was found and is needed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Malformed {
    /// A JSON Pointer (RFC 6901).
    pub pointer: String,
    pub detail: String,
}

/// A malformed field.
pub fn wrong(pointer: impl Into<String>, detail: impl Into<String>) -> Malformed {
    Malformed { pointer: pointer.into(), detail: detail.into() }
}

/// A name as a part of a JSON Pointer.
fn escaped(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}

/// Reads a form and says where it fails, as a JSON Pointer.
pub fn read_form<T: for<'de> Deserialize<'de>>(fields: Value) -> Result<T, Malformed> {
    serde_path_to_error::deserialize(Objects(fields)).map_err(|error| {
        let mut pointer = String::new();
        for segment in error.path().iter() {
            use serde_path_to_error::Segment;
            let part = match segment {
                Segment::Seq { index } => index.to_string(),
                Segment::Map { key } => key.clone(),
                Segment::Enum { variant } => variant.clone(),
                Segment::Unknown => continue,
            };
            pointer.push('/');
            pointer.push_str(&escaped(&part));
        }
        let detail = objects::told(&error.into_inner().to_string());
        for lead in ["unknown field `", "missing field `"] {
            let name = detail.strip_prefix(lead).and_then(|rest| rest.split('`').next());
            let Some(name) = name else { continue };
            let part = format!("/{}", escaped(name));
            if !pointer.ends_with(&part) {
                pointer.push_str(&part);
            }
        }
        Malformed { pointer, detail }
    })
}
