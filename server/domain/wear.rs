//! Wear: how long the parts of a model have lasted, and of what they died. The plain table; what it says about
//! parts to come is statistics, and stands with the analysis.

use std::collections::BTreeMap;

use serde::Serialize;

use super::id::Id;
use super::state::State;

/// Fewer failures than this say nothing of a law of lifetimes.
pub const FAILURES_NEEDED: u32 = 3;

/// One part's life in steriliser cycles: from the age at which it came under observation to the age now, or at its
/// retirement.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lifetime {
    pub asset: Id,
    pub entry_cycles: u32,
    pub cycles: u32,
    pub uses: u32,
    /// It was retired because it failed; anything else is censored at its present age.
    pub failed: bool,
    pub retired: Option<&'static str>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Wear {
    pub model: Id,
    pub units: u32,
    pub failures: u32,
    pub in_service: u32,
    pub lifetimes: Vec<Lifetime>,
    /// Why parts of the model were retired.
    pub causes: BTreeMap<&'static str, u32>,
}

impl State {
    /// The lives of a model's parts, by id; `None` where there is no such model.
    pub fn wear(&self, model: &Id) -> Option<Wear> {
        self.models.get(model)?;
        let mut wear = Wear {
            model: model.clone(),
            units: 0,
            failures: 0,
            in_service: 0,
            lifetimes: Vec::new(),
            causes: BTreeMap::new(),
        };
        let of_house =
            |asset: &&std::sync::Arc<super::state::Asset>| !self.strangers.contains_key(&asset.asset);
        for asset in self.assets.values().filter(|asset| asset.model == *model).filter(of_house) {
            let retired = asset.retired.as_ref();
            let failed = retired.is_some_and(|retired| retired.failure);
            wear.units += 1;
            wear.failures += u32::from(failed);
            wear.in_service += u32::from(retired.is_none());
            // What went back to its lender is no end of a life.
            if let Some(retired) = retired.filter(|retired| !retired.cause.is_parting()) {
                *wear.causes.entry(retired.cause.name()).or_default() += 1;
            }
            wear.lifetimes.push(Lifetime {
                asset: asset.asset.clone(),
                entry_cycles: asset.prior_cycles,
                cycles: asset.cycles,
                uses: asset.uses,
                failed,
                retired: retired.map(|retired| retired.cause.name()),
            });
        }
        Some(wear)
    }
}
