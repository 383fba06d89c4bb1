//! Strangers: another site's contaminated return, a part without a mark, a part thought retired. Each gets a tag and is washed
//! under it; somebody asks what and whose it is, and tells its owner. Nothing of it is packed before that is settled.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asset::{AddAsset, AssetAdded};
use super::command::{Malformed, wrong};
use super::event::Moved;
use super::hold::HoldPlaced;
use super::id::Id;
use super::loan::CleanedBy;
use super::model::{DefineModel, RouteDefined};
use super::request::Told;
use super::state::State;
use super::text::{Line, Sealed, Text, a_person, somebody};
use super::time::Time;

/// The model and the route under which a stranger goes that nobody recognised.
pub const NOT_IDENTIFIED: &str = "not-identified";

/// What kind of stranger it is, as it lies at the sink.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StrangerKind {
    OtherSite,
    Unmarked,
    ThoughtRetired,
}

impl StrangerKind {
    pub const ALL: [StrangerKind; 3] =
        [StrangerKind::OtherSite, StrangerKind::Unmarked, StrangerKind::ThoughtRetired];

    pub fn name(self) -> &'static str {
        match self {
            StrangerKind::OtherSite => "other_site",
            StrangerKind::Unmarked => "unmarked",
            StrangerKind::ThoughtRetired => "thought_retired",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            StrangerKind::OtherSite => "of another site",
            StrangerKind::Unmarked => "without a mark",
            StrangerKind::ThoughtRetired => "thought retired",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReceiveStranger {
    /// Its tag, which is scanned from then on; made if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tag: Option<Id>,
    pub kind: StrangerKind,
    /// What it looks like.
    pub looks: Line,
    /// The mark that stands on it, as it was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    /// The model that it is, where somebody recognises it: it is washed as its instructions say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<Id>,
    /// The site that it belongs to, where that is known or guessed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<Line>,
}

impl ReceiveStranger {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.looks.is_blank() {
            return Err(wrong("/looks", "found a blank; what it looks like is needed, since it has no name"));
        }
        super::mark::may_be_kept("", self.mark.as_ref())
    }
}

/// What is defined with the first stranger that nobody recognised.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WayOfStrangers {
    pub route: RouteDefined,
    pub model: DefineModel,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StrangerReceived {
    pub kind: StrangerKind,
    pub looks: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<Line>,
    pub added: AssetAdded,
    /// It keeps it from being packed until it is settled.
    pub hold: HoldPlaced,
    /// The part of this house whose mark says the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub same_as: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub way: Option<Box<WayOfStrangers>>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TellOwner {
    pub stranger: Id,
    /// The site that was told.
    #[serde(deserialize_with = "a_person")]
    pub owner: Line,
    /// Who there was told.
    #[serde(default, deserialize_with = "somebody", skip_serializing_if = "Option::is_none")]
    pub person: Option<Line>,
    /// What was said, and what they answered.
    pub words: Text,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OwnerTold {
    pub stranger: Id,
    pub owner: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<Sealed>,
    pub words: String,
}

/// What became of a stranger.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StrangerOutcome {
    /// It is a part of this house, which goes on in its place.
    Ours,
    /// It belongs to another site, whatever its mark says; it still waits to be fetched.
    Theirs,
    /// It becomes a part of this house.
    Adopted,
    /// Its owner has it back.
    Collected,
    Discarded,
}

impl StrangerOutcome {
    pub fn name(self) -> &'static str {
        match self {
            StrangerOutcome::Ours => "ours",
            StrangerOutcome::Theirs => "theirs",
            StrangerOutcome::Adopted => "adopted",
            StrangerOutcome::Collected => "collected",
            StrangerOutcome::Discarded => "discarded",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            StrangerOutcome::Ours => "it is ours",
            StrangerOutcome::Theirs => "it is theirs",
            StrangerOutcome::Adopted => "adopted",
            StrangerOutcome::Collected => "collected by its owner",
            StrangerOutcome::Discarded => "discarded",
        }
    }

    /// Whether nothing more is to be done about it.
    pub fn is_last(self) -> bool {
        self != StrangerOutcome::Theirs
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SettleStranger {
    pub stranger: Id,
    pub outcome: StrangerOutcome,
    /// The part of this house that it is, with `ours`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Line>,
    /// The part that it becomes, with `adopted`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub adopt: Option<AddAsset>,
    /// By what it was known, or who fetched it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<Text>,
}

impl SettleStranger {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let (ours, adopted) =
            (self.outcome == StrangerOutcome::Ours, self.outcome == StrangerOutcome::Adopted);
        if ours != self.asset.is_some() {
            let found =
                if ours { "missing; the part that it is" } else { "found a part; only ours names one" };
            return Err(wrong("/asset", found));
        }
        if adopted != self.adopt.is_some() {
            let found = if adopted {
                "missing; the part that it becomes"
            } else {
                "found a part; only adopted has one"
            };
            return Err(wrong("/adopt", found));
        }
        match &self.adopt {
            Some(adopt) => super::mark::may_be_kept("/adopt", adopt.mark.as_ref()),
            None => Ok(()),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StrangerSettled {
    pub stranger: Id,
    pub outcome: StrangerOutcome,
    /// The part that goes on in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    /// That part comes to the sink with this: soiled, whatever it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved: Option<Moved>,
    /// That part had been retired, and goes on.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub reinstated: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub added: Option<AssetAdded>,
    /// Packs that were opened, where that part was recorded as packed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub opened: Vec<Moved>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
    /// How it left, where it did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<CleanedBy>,
}

/// What was settled last, by whom and when.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settled {
    pub outcome: StrangerOutcome,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cleaned: Option<CleanedBy>,
    #[serde(flatten)]
    pub told: Told,
}

/// Who of the owner was told, and what was said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ToldOwner {
    pub owner: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<Sealed>,
    pub words: String,
    #[serde(flatten)]
    pub told: Told,
}

/// A stranger with what became of it. Where it is in its washing stands with the part that bears its tag.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stranger {
    pub tag: Id,
    pub kind: StrangerKind,
    pub looks: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<Line>,
    pub hold: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub same_as: Option<Id>,
    pub received: Told,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub owners_told: Vec<ToldOwner>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub settled: Vec<Settled>,
}

impl Stranger {
    pub fn outcome(&self) -> Option<&Settled> {
        self.settled.last()
    }

    /// Something is still to be done about it.
    pub fn is_open(&self) -> bool {
        self.outcome().is_none_or(|settled| !settled.outcome.is_last())
    }

    /// Its mark says the same as that of one of ours, and nobody has settled which is which.
    pub fn doubts(&self) -> Option<&Id> {
        self.same_as.as_ref().filter(|_| self.outcome().is_none())
    }

    /// The part of this house that it turned out to be.
    pub fn is_one_with(&self) -> Option<&Id> {
        self.outcome().and_then(|settled| settled.asset.as_ref())
    }

    pub(super) fn last_at(&self) -> Time {
        let told = self.owners_told.last().map(|it| it.told.at);
        let settled = self.settled.last().map(|it| it.told.at);
        told.max(settled).map_or(self.received.at, |at| at.max(self.received.at))
    }

    /// What is to be done about it next, in words.
    pub fn asks(&self) -> String {
        let settled = self.outcome().map(|it| it.outcome);
        match (self.doubts(), settled, self.owners_told.is_empty()) {
            (Some(ours), ..) => format!(
                "its mark is that of {ours} of this house: settle which is which; until then look-back counts both"
            ),
            (None, Some(StrangerOutcome::Theirs), false) => "its owner was told, and is to fetch it".into(),
            (None, _, true) => match self.kind {
                StrangerKind::OtherSite => "its owner is to be told".into(),
                StrangerKind::Unmarked => "what it is and whose is to be settled".into(),
                StrangerKind::ThoughtRetired => "why it is here is to be settled".into(),
            },
            (None, _, false) => "its owner was told; what becomes of it is to be settled".into(),
        }
    }
}

impl State {
    /// Strangers about which something is still to be done, the oldest first.
    pub fn open_strangers(&self) -> Vec<Arc<Stranger>> {
        let mut all: Vec<Arc<Stranger>> =
            self.strangers.values().filter(|it| it.is_open()).cloned().collect();
        all.sort_by_key(|it| (it.doubts().is_none(), it.received.at, it.tag.clone()));
        all
    }

    /// The stranger that a tag names, while it is no part of this house.
    pub fn stranger(&self, asset: &Id) -> Option<&Arc<Stranger>> {
        self.strangers.get(asset)
    }
}
