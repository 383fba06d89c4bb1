//! Inspections that somebody asks for: by the chance that a part fails before its next inspection, and what that would cost.

use serde::{Deserialize, Serialize};

use super::apply::{When, change};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::reason_given;
use super::scan::Mode;
use super::state::State;
use super::step::InspectedPart;
use super::text::{Quantity, Scan, Text};
use super::time::Time;

/// Asks for parts to be looked at before they are packed again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RequestInspection {
    pub scan: Scan,
    pub reason: Text,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InspectionRequested {
    pub reason: String,
    pub parts: Vec<AskedPart>,
}

/// A part to be looked at, with the chance on which that rests, where its model's failures give one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AskedPart {
    pub asset: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Chance>,
    /// A request of before, which this one takes the place of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asked_before: Option<Box<AskedFor>>,
}

/// The chance that a part fails within so much more age, in percent with its limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Chance {
    pub percent: Quantity,
    pub low: Quantity,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high: Option<Quantity>,
    pub age: u32,
    pub within: u32,
}

/// A request as the part carries it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AskedFor {
    pub at: Time,
    pub by: String,
    pub reason: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Chance>,
}

pub(super) fn request(deciding: &mut Deciding, it: &RequestInspection) -> Option<What> {
    reason_given(deciding, &it.reason);
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let parts = deciding.each_freely(picked, |asset| {
        asset.retired.is_some().then(|| super::scan::retired(asset).even_late()).into_iter().collect()
    });
    let asked = parts.iter().map(|asset| AskedPart {
        asset: asset.asset.clone(),
        evidence: None,
        asked_before: asset.asked.clone(),
    });
    let parts = asked.collect();
    Some(What::InspectionRequested(InspectionRequested { reason: it.reason.0.clone(), parts }))
}

pub(super) fn requested(state: &mut State, when: &When, it: &InspectionRequested) {
    for part in &it.parts {
        let asked = AskedFor {
            at: when.at,
            by: when.actor.to_string(),
            reason: it.reason.clone(),
            evidence: part.evidence.clone(),
        };
        // One told late does not take the place of a newer one, nor ask for what was looked at since.
        change(state, when, &part.asset, |asset| {
            let newer = asset.asked.as_ref().is_some_and(|known| known.at > when.at);
            let looked_at = asset.inspected.as_ref().is_some_and(|last| last.at > when.at);
            if !newer && !looked_at {
                asset.asked = Some(Box::new(asked));
            }
        });
    }
}

/// The part was looked at, whatever came of it: what was asked for before is answered.
pub(super) fn looked_at(state: &mut State, when: &When, part: &InspectedPart) {
    let asked = state.assets.get(&part.asset).and_then(|asset| asset.asked.as_ref());
    if asked.is_some_and(|asked| asked.at <= when.at) {
        change(state, when, &part.asset, |asset| asset.asked = None);
    }
}
