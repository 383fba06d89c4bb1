//! Inspections that somebody asks for: by the chance that a part fails before its next inspection, and what that would cost.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::{When, change};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::lifetime::{Clock, Lives, Piece};
use super::model::reason_given;
use super::scan::Mode;
use super::state::{Asset, State};
use super::step::InspectedPart;
use super::text::{Quantity, Scan, Text};
use super::time::Time;
use crate::analysis::life::Weibull;

/// Asks for parts to be looked at before they are packed again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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
    let mut chances = Chances::new(deciding.state, deciding.asked.now);
    let asked = parts.iter().map(|asset| AskedPart {
        asset: asset.asset.clone(),
        evidence: chances.of(asset),
        asked_before: asset.asked.clone(),
    });
    let parts = asked.collect();
    Some(What::InspectionRequested(InspectionRequested { reason: it.reason.0.clone(), parts }))
}

/// The laws of life of models, each fitted once where it is asked for.
struct Chances<'a> {
    state: &'a State,
    now: Time,
    fits: BTreeMap<Id, Option<(Lives, Weibull)>>,
}

impl<'a> Chances<'a> {
    fn new(state: &'a State, now: Time) -> Chances<'a> {
        Chances { state, now, fits: BTreeMap::new() }
    }

    fn of(&mut self, asset: &Asset) -> Option<Chance> {
        let (state, now) = (self.state, self.now);
        let fit = self.fits.entry(asset.model.clone()).or_insert_with(|| {
            let lives = state.lives(&asset.model, state.clock_of_model(&asset.model), now);
            let fit = lives.fit().ok()?;
            Some((lives, fit))
        });
        let (lives, fit) = fit.as_ref()?;
        let piece = lives.pieces.iter().find(|piece| piece.asset == asset.asset)?;
        let within = state.until_inspection(asset, piece, lives.clock);
        let age = f64::from(piece.whole_at);
        let limits = fit.fail_within_limits(age, f64::from(within));
        let percent = |share: f64| Quantity::rounded(share * 100.0, 2);
        Some(Chance {
            percent: percent(fit.fail_within(age, f64::from(within)))?,
            low: percent(limits.low)?,
            high: limits.high.and_then(percent),
            age: piece.whole_at,
            within,
        })
    }
}

/// A part to look at before others.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Next {
    pub asset: Id,
    pub model: Id,
    /// Its age at its last good inspection, and how much more it will have at the next.
    pub age: u32,
    pub within: u32,
    /// The chance that it fails before that.
    pub chance: f64,
    /// What a failure costs beyond a replacement in good time, where the house has told it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub consequence_cents: Option<u64>,
    /// Both together: what not looking costs on the average.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected_cents: Option<f64>,
    /// Somebody asked for its inspection already.
    pub asked: bool,
}

impl State {
    /// How much more age a part has at its next inspection, since its last good one: a route that inspects does so in
    /// every turn; else the maker's interval counts, or a month.
    pub(super) fn until_inspection(&self, asset: &Asset, piece: &Piece, clock: Clock) -> u32 {
        let limits = self.model(&asset.model).map(|model| &model.limits);
        let every_turn = self.is_inspected(asset);
        let step = match clock {
            Clock::Cycles | Clock::Uses if every_turn => 1,
            Clock::Cycles | Clock::Uses => limits.and_then(|it| it.inspect_every_cycles).unwrap_or(10),
            Clock::Days => limits.and_then(|it| it.inspect_every_days).unwrap_or(30),
        };
        let next = piece.whole_at.saturating_add(step).max(piece.age);
        (next - piece.whole_at).max(1)
    }

    /// The parts in use by what not looking at them costs; those of models without told costs follow by their chance.
    /// What is held, missing or away for repair is looked at by others.
    pub fn inspect_next(&self, lives: &BTreeMap<Id, Lives>, fits: &BTreeMap<Id, Weibull>) -> Vec<Next> {
        let mut all = Vec::new();
        for (model, fit) in fits {
            let Some(lives) = lives.get(model) else { continue };
            let consequence = self.costs_of(model).and_then(|costs| {
                costs.unplanned_cents.map(|cents| cents.saturating_sub(costs.planned_cents.unwrap_or(0)))
            });
            for piece in lives.in_service() {
                let Some(asset) = self.assets.get(&piece.asset).filter(|it| it.counts()) else { continue };
                if !asset.holds.is_empty() {
                    continue;
                }
                let within = self.until_inspection(asset, piece, lives.clock);
                let chance = fit.fail_within(f64::from(piece.whole_at), f64::from(within));
                all.push(Next {
                    asset: piece.asset.clone(),
                    model: model.clone(),
                    age: piece.whole_at,
                    within,
                    chance,
                    consequence_cents: consequence,
                    expected_cents: consequence.map(|cents| cents as f64 * chance),
                    asked: asset.asked.is_some(),
                });
            }
        }
        let worth = |it: &Next| (it.expected_cents.unwrap_or(-1.0), it.chance);
        all.sort_by(|a, b| {
            let (a_worth, b_worth) = (worth(a), worth(b));
            b_worth.0.total_cmp(&a_worth.0).then(b_worth.1.total_cmp(&a_worth.1)).then(a.asset.cmp(&b.asset))
        });
        all
    }
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
