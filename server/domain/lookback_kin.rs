//! Look-back over parts that may be each other, and over lots that have no parts of their own.

use std::collections::BTreeSet;

use super::exposure::CasePart;
use super::id::Id;
use super::kin::Kin;
use super::load::Load;
use super::lookback::{Origin, Trace};
use super::state::State;

impl Trace {
    fn counts_with(&mut self, asset: &Id, kin: &Kin) {
        self.kin.insert((asset.clone(), kin.clone()));
    }

    /// Every load and case of another part from the moment at which it may have been this one.
    fn whole_kin(&mut self, state: &State, kin: &Kin) {
        for (load, turn) in state.loads_of.of(&kin.asset).filter(|(_, turn)| *turn >= kin.turn) {
            self.loads.insert(load.clone());
            self.part(&kin.asset, turn);
        }
        if let Some(asset) = state.assets.get(&kin.asset) {
            self.part(&kin.asset, asset.turn);
        }
        self.exposures(state, &kin.asset, |at| at.turn >= kin.turn);
    }

    /// All that may be this part, and all that may be one of those.
    pub(super) fn kin_of_asset(&mut self, state: &State, asset: &Id) {
        let mut seen = BTreeSet::from([asset.clone()]);
        let mut open = vec![asset.clone()];
        while let Some(one) = open.pop() {
            for kin in state.kin(&one) {
                self.counts_with(&one, &kin);
                self.whole_kin(state, &kin);
                if seen.insert(kin.asset.clone()) {
                    open.push(kin.asset);
                }
            }
        }
    }

    /// Those with which a part of a load was mixed in the turn of that load: what the load made of it may have been opened
    /// under their names. Mixed in another turn, each was through another load by then.
    pub(super) fn kin_of_load(&mut self, state: &State, load: &Load, turn: u32, asset: &Id) {
        for kin in state.kin(asset) {
            let tagged = state.strangers.contains_key(asset) || state.strangers.contains_key(&kin.asset);
            if kin.own_turn == turn && !tagged {
                self.counts_with(asset, &kin);
                self.part(&kin.asset, kin.turn);
                self.exposures(state, &kin.asset, |at| at.turn == kin.turn);
            } else if tagged && load.started_at >= kin.since {
                self.counts_with(asset, &kin);
                let now = state.assets.get(&kin.asset).map_or(1, |asset| asset.turn);
                self.part(&kin.asset, now);
            }
        }
    }

    /// The later cases of every part that may be one which was opened at a case, and the loads before it of those with which
    /// it was mixed in that very turn.
    pub(super) fn kin_of_case(&mut self, state: &State, asset: &Id, part: &CasePart) {
        let mut seen = BTreeSet::from([asset.clone()]);
        let mut open: Vec<(Id, u32)> = vec![(asset.clone(), part.turn)];
        while let Some((one, turn)) = open.pop() {
            for kin in state.kin(&one) {
                if !seen.insert(kin.asset.clone()) {
                    continue;
                }
                self.counts_with(&one, &kin);
                self.part(&kin.asset, kin.turn);
                if kin.own_turn == turn {
                    let before = state.loads_of.of(&kin.asset).filter(|(_, turn)| *turn == kin.turn);
                    self.loads.extend(before.map(|(load, _)| load.clone()));
                }
                // Opened after they were mixed, only what was opened since may be the same piece; before that, all from then on.
                let since = if turn > kin.own_turn { part.since } else { 0 };
                self.exposures(state, &kin.asset, |at| at.turn >= kin.turn && at.since >= since);
                open.push((kin.asset.clone(), kin.turn));
            }
        }
    }

    /// The cases at which a lot was used, or one piece by its number; and the parts of that lot, with all that they were at.
    pub(super) fn follow_lot(&mut self, state: &State, origin: &Origin) -> Option<()> {
        let (lot, serial) = (origin.lot.as_ref(), origin.serial.as_ref());
        let of_shelf = state.cases_of_stock(
            origin.model.as_ref(),
            lot.map(|lot| lot.as_str()),
            serial.map(|serial| serial.as_str()),
        );
        let on_shelf = state.shelf.values().any(|shelf| {
            origin.model.as_ref().is_none_or(|model| *model == shelf.model)
                && lot.is_some_and(|lot| serial.is_none() && shelf.of_lot(Some(lot)).is_some())
        });
        let parts: Vec<Id> = state
            .assets
            .values()
            .filter(|asset| {
                origin.model.as_ref().is_none_or(|model| *model == asset.model)
                    && lot.is_none_or(|lot| asset.lot.as_ref() == Some(lot))
                    && serial.is_none_or(|serial| asset.serial.as_ref() == Some(serial))
            })
            .map(|asset| asset.asset.clone())
            .collect();
        if of_shelf.is_empty() && parts.is_empty() && !on_shelf {
            return None;
        }
        for (case, used) in of_shelf {
            self.cases.entry(case.clone()).or_default();
            self.stock.insert(case, used);
        }
        parts.iter().for_each(|asset| self.follow_asset(state, asset));
        Some(())
    }
}
