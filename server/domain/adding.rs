//! What is told of a piece that comes into the house.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asset::Owner;
use super::id::Id;
use super::text::Line;
use super::time::Date;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AddAsset {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acquired: Option<Date>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prior_cycles: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prior_uses: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost_cents: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<Owner>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
}

impl AddAsset {
    /// A piece of a model of which nothing else is told.
    pub fn of(model: &Id) -> AddAsset {
        AddAsset {
            asset: None,
            mark: None,
            model: model.clone(),
            serial: None,
            lot: None,
            acquired: None,
            prior_cycles: None,
            prior_uses: None,
            cost_cents: None,
            owner: None,
            supplier: None,
        }
    }
}
