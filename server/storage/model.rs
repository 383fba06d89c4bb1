//! What is kept of a model: itself, and which entry told it last.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::domain::model::Model;
use crate::domain::state::State;

#[derive(Serialize, Deserialize)]
pub(super) struct ModelFacts {
    pub model: Arc<Model>,
    pub told: u64,
}

impl ModelFacts {
    pub fn of(state: &State, model: &Arc<Model>) -> ModelFacts {
        let told = state.models_told.get(&model.model).copied().unwrap_or_default();
        ModelFacts { model: Arc::clone(model), told }
    }
}
