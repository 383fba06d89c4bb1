//! Parts that may be each other: with which others look-back counts one, and between which ages its own lies.

use std::sync::Arc;

use serde::Serialize;

use super::id::Id;
use super::lifetime::{Clock, Failed};
use super::mixed::Mixed;
use super::state::{Asset, State};
use super::time::Time;

/// The age at which a record begins, the age now, the last age at which it was whole, and its failure.
type Life = (u32, u32, u32, Option<Failed>);

/// Another part with which look-back counts one, since when, and why.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Kin {
    pub asset: Id,
    /// The turn of the one that is asked about from which it counts.
    pub own_turn: u32,
    /// The turn of the other from which it counts.
    pub turn: u32,
    /// The doubt, or the tag of the stranger, that says so.
    pub because: Id,
    pub since: Time,
}

impl State {
    /// The parts that one may be, or may have been since, by what is recorded of mixed parts and of strangers.
    pub fn kin(&self, asset: &Id) -> Vec<Kin> {
        let mut all: Vec<Kin> = Vec::new();
        for mixed in self.mixed.values() {
            let mine = mixed.groups.iter().flatten().find(|part| part.asset == *asset);
            let Some(mine) = mine else { continue };
            all.extend(mixed.with(asset).into_iter().map(|other| Kin {
                asset: other.asset.clone(),
                own_turn: mine.turn,
                turn: other.turn,
                because: mixed.doubt.clone(),
                since: mixed.since.at,
            }));
        }
        for stranger in self.strangers.values() {
            let other = stranger.doubts().or(stranger.is_one_with());
            let Some(other) = other else { continue };
            let pair = [(&stranger.tag, other), (other, &stranger.tag)];
            all.extend(pair.into_iter().filter(|(one, _)| *one == asset).map(|(_, other)| Kin {
                asset: other.clone(),
                own_turn: 1,
                turn: 1,
                because: stranger.tag.clone(),
                since: stranger.received.at,
            }));
        }
        all
    }

    /// The doubts that a part is in, the oldest first.
    pub fn doubts_of(&self, asset: &Id) -> Vec<&Arc<Mixed>> {
        let in_it = self.mixed.values().filter(|mixed| mixed.assets().any(|it| it == asset));
        let mut all: Vec<&Arc<Mixed>> = in_it.collect();
        all.sort_by_key(|mixed| (mixed.since.at, mixed.since.entry));
        all
    }

    /// The least and the greatest age that a part may have now: where nobody mixed it with others, the age that its record tells.
    pub fn age_range(&self, asset: &Asset, clock: Clock, now: Time) -> (u32, u32) {
        let own = self.age(asset, clock, now);
        if self.mixed.is_empty() { (own, own) } else { self.range_at(asset, clock, own, (now, u64::MAX)) }
    }

    /// The same at a moment, where the record says that it was so old then.
    pub(super) fn range_at(
        &self,
        asset: &Asset,
        clock: Clock,
        recorded: u32,
        then: (Time, u64),
    ) -> (u32, u32) {
        let doubts = self.doubts_of(&asset.asset).into_iter().rev();
        let mut before = doubts.filter(|it| (it.since.at, it.since.entry) < then);
        let Some((mixed, may_be)) = before
            .find_map(|mixed| Some((mixed, mixed.may_be(&asset.asset))).filter(|(_, all)| !all.is_empty()))
        else {
            return (recorded, recorded);
        };
        let when = (mixed.since.at, mixed.since.entry);
        let since = recorded.saturating_sub(self.age_then(asset, clock, when));
        let ranges = may_be.iter().filter_map(|part| {
            let piece = self.assets.get(&part.asset)?;
            Some(self.range_at(piece, clock, self.age_then(piece, clock, when), when))
        });
        let (low, high) = ranges.fold((u32::MAX, 0), |(low, high), it| (low.min(it.0), high.max(it.1)));
        if low > high { (recorded, recorded) } else { (low + since, high + since) }
    }

    /// A life of a piece that may be another: its record begins at the youngest of them, what is whole is so at the least age
    /// that it may have, and a failure lies between the least and the greatest.
    pub(super) fn in_doubt(&self, asset: &Asset, clock: Clock, life: Life, range: (u32, u32)) -> Life {
        let (entry, age, whole_at, failed) = life;
        let (low, high) = range;
        if (low, high) == (age, age) {
            return (entry, age, whole_at, failed);
        }
        let others = self.doubts_of(&asset.asset).into_iter().flat_map(|mixed| mixed.may_be(&asset.asset));
        let others = others.filter_map(|part| self.assets.get(&part.asset));
        let entry = others.map(|piece| self.entry_age(piece, clock)).fold(entry.min(low), u32::min);
        let less = age.saturating_sub(whole_at);
        let failed = failed.map(|failed| {
            let (after, by) = (age.saturating_sub(failed.after), age.saturating_sub(failed.by));
            let (after, by) = (low.saturating_sub(after).max(entry), high.saturating_sub(by));
            Failed { after, by: by.max(after), exact: after == by, ..failed }
        });
        // The middle of what it may be is told as its age; nothing that is decided rests on it alone.
        let middle = low + (high - low) / 2;
        (entry, middle, low.saturating_sub(less).max(entry), failed)
    }
}
