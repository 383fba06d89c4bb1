//! One replication: what happens in a shop, in the order of its times.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::Shop;
use super::dice::{Dice, Purpose};
use super::serve::Served;

/// What became of a unit.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Course {
    /// When it was finished for the first time.
    pub ready_s: Option<f64>,
    /// How long its items waited for servers before that.
    pub waited_s: f64,
    /// The job at which the item that came last was longest.
    pub held_up_at: Option<usize>,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum What {
    /// A batch is done by a server.
    Done {
        station: u16,
        server: u16,
        slot: u32,
    },
    /// An item comes to its next place.
    Arrives {
        item: u32,
    },
    /// One that was kept up on its own is done.
    Late {
        item: u32,
    },
    /// Somebody turns to a station.
    Look {
        station: u16,
    },
    /// A want takes what it needs, and gives it back.
    Takes {
        want: u32,
    },
    Returns {
        want: u32,
    },
}

/// In order of time, then of what was foreseen first. Times are finite and not negative, so that their bits are in the
/// same order as they are.
type Event = Reverse<(u64, u32, What)>;

pub(super) struct ItemNow {
    pub step: usize,
    /// How many times it was taken in hand.
    pub(super) visit: u32,
    /// Since when it is at this place of its way.
    pub(super) entered_s: f64,
    pub(super) is_late_by_itself: bool,
    pub(super) longest_s: f64,
    pub(super) longest_at: Option<usize>,
}

pub(super) struct UnitNow {
    /// How many of its items are not finished.
    pub left: usize,
    pub due_s: f64,
    pub ready_since_s: f64,
    pub is_ready: bool,
    pub course: Course,
}

pub(super) struct Waiting {
    pub(super) due_s: f64,
    pub(super) arrived_s: f64,
    pub(super) item: usize,
}

pub(super) struct Desk {
    pub(super) is_busy: Vec<bool>,
    /// What is needed first stands last.
    pub(super) queue: Vec<Waiting>,
    /// Somebody is at it, and goes on until nothing waits.
    pub(super) is_turned_to: bool,
    pub(super) gate_s: Option<f64>,
}

#[derive(Default)]
pub(super) struct Pack {
    /// How many of its items have not come through the job that joins them.
    pub(super) due: usize,
    pub(super) here: Vec<usize>,
}

/// The state of a replication; its memory is used again by the next.
pub struct Run {
    pub(super) dice: Dice,
    pub(super) events: BinaryHeap<Event>,
    pub(super) foreseen: u32,
    pub(super) desks: Vec<Desk>,
    pub(super) items: Vec<ItemNow>,
    pub(super) units: Vec<UnitNow>,
    pub(super) packs: Vec<Pack>,
    pub(super) slots: Vec<Vec<usize>>,
    pub(super) free_slots: Vec<usize>,
    pub(super) day_at: usize,
    pub(super) wants: super::serve::Wants,
    /// How many units are not finished yet that can be, and wants that are not complete: without any, there is nothing
    /// left to learn.
    pub(super) open: usize,
    pub(super) can_open: usize,
    pub(super) scratch: Vec<usize>,
    /// The place of the job of each item's way that joins its pack, if any. It stays the same, as the next does.
    joins_at: Vec<Option<usize>>,
    /// The items of each unit.
    pub(super) items_of: Vec<Vec<usize>>,
}

impl Run {
    pub fn new(shop: &Shop) -> Run {
        let mut items_of = vec![Vec::new(); shop.units.len()];
        for (at, item) in shop.items.iter().enumerate() {
            items_of[item.unit].push(at);
        }
        let desk = |it: &super::Station| Desk {
            is_busy: vec![false; it.servers.len()],
            queue: Vec::new(),
            is_turned_to: false,
            gate_s: None,
        };
        let packs = shop.items.iter().map(|item| item.pack + 1).max().unwrap_or(0);
        Run {
            dice: Dice::new(0, 0),
            events: BinaryHeap::new(),
            foreseen: 0,
            desks: shop.stations.iter().map(desk).collect(),
            items: Vec::new(),
            units: Vec::new(),
            packs: (0..packs).map(|_| Pack::default()).collect(),
            slots: Vec::new(),
            free_slots: Vec::new(),
            day_at: 0,
            wants: super::serve::Wants::new(shop),
            open: 0,
            can_open: shop.wants.len() + items_of.iter().filter(|items| can_finish(shop, items)).count(),
            scratch: Vec::new(),
            joins_at: shop
                .items
                .iter()
                .map(|item| item.way.iter().position(|job| shop.jobs[*job].joins))
                .collect(),
            items_of,
        }
    }

    pub fn unit(&self, unit: usize) -> Course {
        self.units[unit].course
    }

    pub fn want(&self, want: usize) -> Served {
        self.wants.served(want)
    }

    /// The unit that each need of a want got.
    pub fn got(&self, want: usize) -> &[Option<usize>] {
        self.wants.got(want)
    }

    /// One replication from the beginning.
    pub(super) fn go(&mut self, shop: &Shop, dice: Dice) {
        self.dice = dice;
        self.begin(shop);
        while let Some(Reverse((bits, _, what))) = self.events.pop() {
            let now = f64::from_bits(bits);
            if now > shop.until_s {
                break;
            }
            while shop.day.get(self.day_at + 1).is_some_and(|(from, _)| *from <= now) {
                self.day_at += 1;
            }
            match what {
                What::Done { station, server, slot } => {
                    self.done(shop, now, station as usize, server as usize, slot as usize);
                }
                What::Arrives { item } => {
                    if let Some(station) = self.arrives(shop, now, now, item as usize) {
                        self.work(shop, now, station, false);
                    }
                }
                What::Late { item } => self.late(shop, now, item as usize),
                What::Look { station } => {
                    let station = station as usize;
                    if self.desks[station].gate_s == Some(now) {
                        self.work(shop, now, station, true);
                        self.desks[station].gate_s = None;
                    }
                }
                What::Takes { want } => self.takes(shop, now, want as usize),
                What::Returns { want } => self.returns(shop, now, want as usize),
            }
            if self.open == 0 {
                break;
            }
        }
        self.give_up(shop);
    }

    pub(super) fn foresee(&mut self, at_s: f64, what: What) {
        self.foreseen += 1;
        self.events.push(Reverse((at_s.max(0.0).to_bits(), self.foreseen, what)));
    }

    /// Sends a batch on, or back, once it is decided.
    pub(super) fn pass_on(&mut self, shop: &Shop, now: f64, job: usize, items: &[usize], taken_s: f64) {
        let it = &shop.jobs[job];
        let Some(first) = items.first().copied() else { return };
        let visit = self.items[first].visit;
        let after = it.after.as_ref().map_or(0.0, |after| {
            let share = self.dice.unit(first, job, visit, Purpose::After);
            after.of(shop.day[self.day_at].1).rest(taken_s, share)
        });
        let whole =
            it.batch_back > 0.0 && self.dice.unit(first, job, visit, Purpose::BatchBack) < it.batch_back;
        for at in items.iter().copied() {
            let own = self.items[at].visit;
            let alike = self.one_for_all(shop, at);
            let one = it.item_back > 0.0 && self.dice.unit(alike, job, own, Purpose::ItemBack) < it.item_back;
            let way = &shop.items[at].way;
            let is_ahead = self.joins_ahead(at, self.items[at].step + 1);
            let item = &mut self.items[at];
            let next_s = if whole || one {
                item.step = way.iter().take(item.step + 1).position(|own| *own == it.back_to).unwrap_or(0);
                now + after
            } else {
                item.step += 1;
                now + after.max(it.cools_s - taken_s)
            };
            let spent_s = next_s - item.entered_s;
            if spent_s > item.longest_s {
                (item.longest_s, item.longest_at) = (spent_s, Some(job));
            }
            (item.entered_s, item.is_late_by_itself) = (next_s, false);
            let step = item.step;
            if !is_ahead && self.joins_ahead(at, step) {
                self.packs[shop.items[at].pack].due += 1;
            }
            self.foresee(next_s, What::Arrives { item: at as u32 });
        }
    }

    pub(super) fn finish(&mut self, shop: &Shop, now: f64, at: usize) {
        let unit = shop.items[at].unit;
        let (longest_at, it) = (self.items[at].longest_at, &mut self.units[unit]);
        it.left = it.left.saturating_sub(1);
        if it.left > 0 {
            return;
        }
        (it.is_ready, it.ready_since_s) = (true, now);
        if it.course.ready_s.is_none() {
            (it.course.ready_s, it.course.held_up_at) = (Some(now), longest_at);
            self.open = self.open.saturating_sub(1);
        }
        self.is_finished(shop, now, unit);
    }

    /// Sends a unit on its whole way again.
    pub(super) fn again(&mut self, shop: &Shop, now: f64, unit: usize) {
        let items = std::mem::take(&mut self.items_of[unit]);
        self.units[unit].left = items.len();
        for at in items.iter().copied() {
            let item = &mut self.items[at];
            (item.step, item.entered_s, item.is_late_by_itself) = (0, now, false);
            if self.joins_ahead(at, 0) {
                self.packs[shop.items[at].pack].due += 1;
            }
            self.foresee(now, What::Arrives { item: at as u32 });
        }
        self.items_of[unit] = items;
    }
}

impl Run {
    /// The item whose draws count for all of its unit: a unit is kept up, or goes back, as one, by one act.
    pub(super) fn one_for_all(&self, shop: &Shop, at: usize) -> usize {
        self.items_of[shop.items[at].unit].first().copied().unwrap_or(at)
    }

    /// Whether an item has still to come through the job at which its pack is joined, from a place of its way on.
    pub(super) fn joins_ahead(&self, at: usize, step: usize) -> bool {
        self.joins_at[at].is_some_and(|joins| step <= joins)
    }
}

/// Whether a unit is finished at all in the end: it has items, and all are to be had.
fn can_finish(shop: &Shop, items: &[usize]) -> bool {
    !items.is_empty() && items.iter().all(|item| shop.items[*item].start != super::Start::Away)
}
