//! How often a site wants spores read.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How often the site wants a biological indicator of a steriliser. `periodic` programmes are due weekly at least.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BiologicalPolicy {
    /// On each test day (ST79, from memory: preferably every day used).
    Daily,
    /// MMWR 2003;52(RR17): at least weekly.
    Weekly,
    /// In each steriliser load; none is released without.
    EachLoad,
    /// On the cycle's own record: usual for validated steam in Europe (EN ISO 17665, from memory).
    #[default]
    Parametric,
}

impl BiologicalPolicy {
    pub fn every_days(self) -> Option<u32> {
        match self {
            BiologicalPolicy::Daily => Some(1),
            BiologicalPolicy::Weekly => Some(7),
            BiologicalPolicy::EachLoad | BiologicalPolicy::Parametric => None,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            BiologicalPolicy::Daily => "daily",
            BiologicalPolicy::Weekly => "weekly",
            BiologicalPolicy::EachLoad => "each_load",
            BiologicalPolicy::Parametric => "parametric",
        }
    }
}
