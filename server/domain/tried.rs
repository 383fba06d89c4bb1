//! Two parts tried together: the only thing that makes a joint known whose systems do not name each other. By whom and
//! when stands in every answer that rests on it; that they did not fit is kept as well.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::When;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::fit::TriedBy;
use super::id::{Id, next_free};
use super::model::unknown;
use super::refusal::Code;
use super::state::State;
use super::text::{Line, Text};
use super::time::Time;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ConfirmFit {
    /// Two pieces that were tried.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<[Line; 2]>,
    /// Or two models: it holds for every piece of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub models: Option<[Id; 2]>,
    /// The ends that were joined, in the same order. Left out, any two ends of these parts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends: Option<[Line; 2]>,
    pub fits: bool,
    /// How it was tried.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<Text>,
}

/// A part is joined to another one.
const WITH_ITSELF: &str = "found the same part twice; two parts that were tried together are needed";

impl ConfirmFit {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.parts.is_some() == self.models.is_some() {
            return Err(wrong(
                "/parts",
                "found both parts and models, or neither; two of one kind are needed",
            ));
        }
        if self.parts.as_ref().is_some_and(|[one, other]| one == other) {
            return Err(wrong("/parts/1", WITH_ITSELF));
        }
        if self.how.as_ref().is_some_and(Text::is_blank) {
            return Err(wrong("/how", "found a blank; say how it was tried, or leave it out"));
        }
        Ok(())
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FitConfirmed {
    pub fit: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<[Id; 2]>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub models: Option<[Id; 2]>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends: Option<[Line; 2]>,
    pub fits: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
}

/// What somebody tried.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tried {
    #[serde(flatten)]
    pub it: FitConfirmed,
    pub by: String,
    pub at: Time,
    pub entry: u64,
}

pub(super) fn confirm(deciding: &mut Deciding, it: &ConfirmFit) -> Option<What> {
    deciding.touches(None);
    let state = deciding.state;
    let mut parts = None;
    let mut of = it.models.clone();
    if let Some([one, other]) = &it.parts {
        let (one, other) = (deciding.one(one.as_str()), deciding.one(other.as_str()));
        let (one, other) = (one?, other?);
        // By its id and by its mark it is the same part.
        if one.asset == other.asset {
            deciding.malformed.push(wrong("/parts/1", WITH_ITSELF));
        }
        // Whoever tries a part has it in hand, whatever is known of it.
        for part in [&one, &other] {
            let known = [
                (part.retired.is_some(), Code::Retired),
                (part.missing, Code::Missing),
                (part.in_repair, Code::InRepair),
            ];
            known.into_iter().filter(|(is, _)| *is).for_each(|(_, code)| deciding.deviates(code));
        }
        parts = Some([one.asset.clone(), other.asset.clone()]);
        of = Some([one.model.clone(), other.model.clone()]);
    }
    for (n, model) in of.iter().flatten().enumerate() {
        let Some(known) = state.model(model) else {
            deciding.against(unknown("model", model.as_str()));
            continue;
        };
        let end = it.ends.as_ref().and_then(|ends| ends.get(n));
        if let Some(end) = end.filter(|end| known.couplings.iter().all(|coupling| coupling.end != **end)) {
            deciding.against(unknown("end of that part", end.as_str()));
        }
    }
    let fit = next_free("fit", 4, state.tried.len(), |id| state.tried.contains_key(id))?;
    deciding.made = Some(fit.clone());
    Some(What::FitConfirmed(FitConfirmed {
        fit,
        parts,
        models: it.models.clone(),
        ends: it.ends.clone(),
        fits: it.fits,
        how: it.how.as_ref().map(|how| how.0.clone()),
    }))
}

/// Keeps what was tried.
pub(super) fn confirmed(state: &mut State, when: &When, it: &FitConfirmed) {
    let tried = Tried { it: it.clone(), by: when.actor.to_string(), at: when.at, entry: when.seq };
    state.tried.insert(it.fit.clone(), Arc::new(tried));
    state.changes.tried.insert(it.fit.clone());
}

/// One side of a joint: the piece, its model and its end.
#[derive(Clone, Copy, Debug)]
pub struct Side<'a> {
    pub asset: Option<&'a Id>,
    pub model: &'a Id,
    pub end: Option<&'a str>,
}

impl Tried {
    /// Whether it tells of this joint, one way round or the other.
    fn tells_of(&self, one: Side, other: Side) -> bool {
        let is = |n: usize, side: Side| {
            let named = match (&self.it.parts, &self.it.models) {
                (Some(parts), _) => side.asset.is_some() && parts.get(n) == side.asset,
                (None, Some(models)) => models.get(n) == Some(side.model),
                (None, None) => false,
            };
            let end = self.it.ends.as_ref().and_then(|ends| ends.get(n));
            named && end.is_none_or(|end| side.end.is_none_or(|of| of == end.as_str()))
        };
        (is(0, one) && is(1, other)) || (is(0, other) && is(1, one))
    }
}

impl State {
    /// What was tried last of this joint; what was tried of these very pieces outranks what was told of their models.
    pub fn tried_together(&self, one: Side, other: Side) -> Option<TriedBy> {
        let of = self.tried.values().filter(|tried| tried.tells_of(one, other));
        let last = of.max_by_key(|tried| (tried.it.parts.is_some(), tried.at, tried.entry))?;
        Some(TriedBy {
            by: last.by.clone(),
            at: last.at,
            fits: last.it.fits,
            models: last.it.parts.is_none(),
            note: last.it.how.clone(),
        })
    }
}
