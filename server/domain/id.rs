//! Names of things: short, exact, shared.

use std::borrow::Borrow;
use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// What a thing is called in its site: 1 to 64 of `A-Z a-z 0-9 . _ -`, compared exactly, case and all.
/// Cloning is cheap: a fleet of parts repeats the same few names.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Id(Arc<str>);

impl Id {
    /// The most characters that an id may have.
    pub const LONGEST: usize = 64;

    /// An id, or `None` where the text is empty, too long or has another character.
    pub fn new(text: &str) -> Option<Id> {
        let fits = !text.is_empty()
            && text.len() <= Id::LONGEST
            && text.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'_' | b'-'));
        fits.then(|| Id(Arc::from(text)))
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// The first free name of a kind: `stem-0007`, counted on from how many there are.
pub fn next_free(stem: &str, width: usize, there_are: usize, taken: impl Fn(&Id) -> bool) -> Option<Id> {
    let from = there_are as u64 + 1;
    (from..from + 1_000_000).find_map(|n| Id::new(&format!("{stem}-{n:0width$}")).filter(|id| !taken(id)))
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", &*self.0)
    }
}

impl Borrow<str> for Id {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl AsRef<str> for Id {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

impl Serialize for Id {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Id {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Id::new(&text).ok_or_else(|| {
            serde::de::Error::custom(
                "found no id; an id is 1 to 64 letters, digits, dots, hyphens or underscores",
            )
        })
    }
}
