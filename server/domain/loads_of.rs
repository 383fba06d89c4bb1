//! In which loads each part lay. There are years of loads with dozens of parts each, so a load stands here as its number.

use std::sync::Arc;

use imbl::{OrdMap, Vector};

use super::id::Id;
use super::load::LoadPart;

/// The loads of each part, in the order of their entries.
#[derive(Clone, Debug, Default)]
pub struct LoadsOf {
    /// Every load; its place is its number.
    order: Vector<Id>,
    of: OrdMap<Id, Arc<Vec<Lay>>>,
}

/// A part lay in the load of this number, in this turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Lay {
    load: u32,
    turn: u32,
}

impl LoadsOf {
    /// Adds a load that no entry before named.
    pub fn add(&mut self, load: &Id, contents: &[LoadPart]) {
        let number = self.order.len() as u32;
        self.order.push_back(load.clone());
        for part in contents {
            let of = self.of.entry(part.asset.clone()).or_default();
            Arc::make_mut(of).push(Lay { load: number, turn: part.turn });
        }
    }

    /// Gives back the room that growing left over.
    pub fn trim(&mut self) {
        let parts: Vec<Id> = self.of.keys().cloned().collect();
        for part in &parts {
            if let Some(lays) = self.of.get_mut(part) {
                Arc::make_mut(lays).shrink_to_fit();
            }
        }
    }

    /// The loads in which a part lay, with its turn then, oldest entry first.
    pub fn of(&self, asset: &Id) -> impl DoubleEndedIterator<Item = (&Id, u32)> {
        let lays = self.of.get(asset).map(|lays| lays.as_slice()).unwrap_or_default();
        lays.iter().filter_map(|lay| Some((self.order.get(lay.load as usize)?, lay.turn)))
    }
}
