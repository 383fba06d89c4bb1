//! The SHA-256 of a record, by which the same bytes are known again.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};

/// Thirty-two bytes; hexadecimal as text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sha256Of(pub [u8; 32]);

impl Serialize for Sha256Of {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&hex::encode(self.0))
    }
}

impl<'de> Deserialize<'de> for Sha256Of {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Sha256Of::parse(&text).ok_or_else(|| serde::de::Error::custom("found no SHA-256 in hexadecimal"))
    }
}

impl Sha256Of {
    pub fn parse(text: &str) -> Option<Sha256Of> {
        let mut hash = [0; 32];
        hex::decode_to_slice(text, &mut hash).ok().map(|()| Sha256Of(hash))
    }

    pub fn of(bytes: &[u8]) -> Sha256Of {
        Sha256Of(Sha256::digest(bytes).into())
    }
}
