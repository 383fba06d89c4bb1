//! Who gets what: asks that come in an order are given things, so that no earlier one is worse off for a later one.
//!
//! Each ask takes one of several things, each at a level, 0 the best. Two asks that clash over a thing do not both have
//! it; others do. The answer is the first in the order of the asks: the first ask has its best level, the second the best
//! that leaves the first its own, and so on. A new ask is given room by augmenting paths (Kuhn, "The Hungarian method for
//! the assignment problem", 1955; Berge 1957): earlier ones move to other things of their own level.

/// What one ask would take, in the order in which it likes them, with the level of each.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ask {
    pub options: Vec<(usize, u8)>,
}

/// A search for room gives up after so many tries; up to then it is exhaustive.
const MOST_TRIES: u32 = 4_000;

/// The thing that each ask has, or none.
///
/// `clash(a, b, thing)` says whether two asks do not both have a thing; it is the same for both orders.
pub fn assign(asks: &[Ask], clash: &dyn Fn(usize, usize, usize) -> bool) -> Vec<Option<usize>> {
    let things = asks.iter().flat_map(|ask| &ask.options).map(|(thing, _)| thing + 1).max().unwrap_or(0);
    let (at, most, holders) = (vec![None; asks.len()], vec![0; asks.len()], vec![Vec::new(); things]);
    let mut search = Search { asks, clash, at, most, holders, tries: 0 };
    for (ask, it) in asks.iter().enumerate() {
        let mut levels: Vec<u8> = it.options.iter().map(|(_, level)| *level).collect();
        levels.sort_unstable();
        levels.dedup();
        for level in levels {
            search.most[ask] = level;
            search.tries = MOST_TRIES;
            if search.place(&mut vec![ask], &mut Vec::new()) {
                break;
            }
        }
    }
    search.at
}

struct Search<'a> {
    asks: &'a [Ask],
    clash: &'a dyn Fn(usize, usize, usize) -> bool,
    at: Vec<Option<usize>>,
    /// The worst level that each ask may come to.
    most: Vec<u8>,
    /// The asks that have each thing.
    holders: Vec<Vec<usize>>,
    tries: u32,
}

impl Search<'_> {
    /// Gives every waiting ask something; those that were given something on this path stay where they are. Where it
    /// fails, everything is as it was.
    fn place(&mut self, waiting: &mut Vec<usize>, settled: &mut Vec<usize>) -> bool {
        let Some(ask) = waiting.pop() else { return true };
        let asks = self.asks;
        // What is free comes first, in the order of liking; then what somebody else would have to leave.
        for is_free in [true, false] {
            for (thing, level) in asks[ask].options.iter().copied() {
                if level > self.most[ask] {
                    continue;
                }
                let moved = self.clashing(ask, thing);
                if moved.is_empty() != is_free || moved.iter().any(|other| settled.contains(other)) {
                    continue;
                }
                if self.tries == 0 {
                    waiting.push(ask);
                    return false;
                }
                self.tries -= 1;
                moved.iter().for_each(|other| self.leave(*other));
                self.take(ask, thing);
                settled.push(ask);
                let before = waiting.clone();
                waiting.extend(&moved);
                if self.place(waiting, settled) {
                    return true;
                }
                *waiting = before;
                settled.pop();
                self.leave(ask);
                moved.iter().for_each(|other| self.take(*other, thing));
            }
        }
        waiting.push(ask);
        false
    }

    fn take(&mut self, ask: usize, thing: usize) {
        self.at[ask] = Some(thing);
        self.holders[thing].push(ask);
    }

    fn leave(&mut self, ask: usize) {
        if let Some(thing) = self.at[ask].take() {
            self.holders[thing].retain(|holder| *holder != ask);
        }
    }

    fn clashing(&self, ask: usize, thing: usize) -> Vec<usize> {
        self.holders[thing].iter().copied().filter(|other| (self.clash)(ask, *other, thing)).collect()
    }
}
