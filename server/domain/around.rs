//! What stands around every command: its key, its time, a note, a rule set aside, and that it is told late.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::malformed::{Malformed, wrong};
use super::refusal::Code;
use super::text::{Line, Text};
use super::time::Time;

/// The fields that every command takes, all optional.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Around {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<Key>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<Time>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub station: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Text>,
    #[serde(default, rename = "override", skip_serializing_if = "Option::is_none")]
    pub overriding: Option<Override>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late: Option<Late>,
}

/// The names of the fields of [`Around`], as they stand in a command.
pub const AROUND: [&str; 6] = ["key", "at", "station", "note", "override", "late"];

/// An idempotency key: any text of 1 to 64 characters.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Key(pub String);

impl<'de> Deserialize<'de> for Key {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        match text.chars().count() {
            1..=64 => Ok(Key(text)),
            n => Err(serde::de::Error::custom(format!("found {n} characters; a key is 1 to 64 characters"))),
        }
    }
}

/// A rule set aside on purpose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Override {
    pub code: Codes,
    pub reason: Text,
    #[serde(default, deserialize_with = "super::text::somebody", skip_serializing_if = "Option::is_none")]
    pub second_person: Option<Line>,
}

/// One code or a list of them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(untagged, expecting = "found no refusal code; a code or a list of codes is needed")]
pub enum Codes {
    One(Code),
    Many(Vec<Code>),
}

impl Codes {
    pub fn names(&self, code: Code) -> bool {
        match self {
            Codes::One(one) => *one == code,
            Codes::Many(many) => many.contains(&code),
        }
    }
}

/// Told after the fact: from a paper day, forgotten, or because the wrong thing was scanned.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Late {
    pub cause: LateCause,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheet: Option<Line>,
    /// The line of the sheet, from 1: a line of a sheet that was printed here is entered once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<u32>,
    #[serde(default, deserialize_with = "super::text::somebody", skip_serializing_if = "Option::is_none")]
    pub done_by: Option<Line>,
}

impl Around {
    /// A line stands on a sheet.
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self.late.as_ref().and_then(|late| Some((late, late.line?))) {
            Some((late, _)) if late.sheet.is_none() => {
                Err(wrong("/late/line", "found it without a sheet; the number of the sheet is needed too"))
            }
            Some((_, line)) if !(1..=LINES_MOST).contains(&line) => {
                let detail = format!("found {line}; a line from 1 to {LINES_MOST} is needed");
                Err(wrong("/late/line", detail))
            }
            _ => Ok(()),
        }
    }
}

/// A sheet has at most so many lines.
const LINES_MOST: u32 = 999;

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LateCause {
    Downtime,
    Forgotten,
    WrongThing,
}
