//! How a replication begins: what is under way, what waits, and what is here already.

use super::dice::Purpose;
use super::run::{Course, ItemNow, Run, UnitNow, What};
use super::station::{done, takes};
use super::{Shop, Start};

impl Run {
    pub(super) fn clear(&mut self, shop: &Shop) {
        self.events.clear();
        (self.foreseen, self.day_at) = (0, 0);
        self.free_slots.clear();
        self.free_slots.extend(0..self.slots.len());
        for desk in &mut self.desks {
            desk.is_busy.fill(false);
            desk.queue.clear();
            (desk.is_turned_to, desk.gate_s) = (false, None);
        }
        for pack in &mut self.packs {
            pack.due = 0;
            pack.here.clear();
        }
        self.open = self.can_open;
        self.items.clear();
        self.units.clear();
        let unit = |(it, items): (&super::Unit, &Vec<usize>)| UnitNow {
            left: items.len(),
            due_s: it.due_s.unwrap_or(f64::INFINITY),
            ready_since_s: 0.0,
            is_ready: false,
            course: Course::default(),
        };
        self.units.extend(shop.units.iter().zip(&self.items_of).map(unit));
        self.wants.clear();
    }

    pub(super) fn begin(&mut self, shop: &Shop) {
        self.clear(shop);
        let mut together: Vec<(usize, usize, usize)> = Vec::new();
        let mut undecided: Vec<(usize, usize, Vec<usize>, f64)> = Vec::new();
        for (at, item) in shop.items.iter().enumerate() {
            let (step, entered_s) = match item.start {
                Start::Waiting { step, from_s } => (step, from_s.max(0.0)),
                Start::InHand { step, .. } | Start::Undecided { step, .. } => (step, 0.0),
                Start::Away => (item.way.len(), 0.0),
            };
            let (longest_s, longest_at) = (0.0, None);
            self.items.push(ItemNow {
                step,
                visit: 0,
                entered_s,
                is_late_by_itself: false,
                longest_s,
                longest_at,
            });
            // What is in hand is past the waiting for its pack.
            let from = if matches!(item.start, Start::Waiting { .. }) { step } else { step + 1 };
            if self.joins_ahead(at, from) {
                self.packs[item.pack].due += 1;
            }
            match item.start {
                Start::InHand { step, taken_s, batch, server } => {
                    let station = shop.jobs[item.way[step]].station;
                    let known = together.iter().find(|(own, number, _)| (*own, *number) == (station, batch));
                    let slot = known.map(|known| known.2).unwrap_or_else(|| {
                        let slot = self.slot();
                        together.push((station, batch, slot));
                        self.desks[station].is_busy[server] = true;
                        self.desks[station].is_turned_to = true;
                        let law = takes(shop, station, server, item.way[step]);
                        let share = self.dice.unit(at, item.way[step], 0, Purpose::Takes);
                        let left = law.map_or(0.0, |law| law.rest(taken_s, share));
                        self.foresee(left, done(station, server, slot));
                        slot
                    });
                    self.slots[slot].push(at);
                }
                Start::Undecided { step, taken_s, batch } => {
                    let job = item.way[step];
                    match undecided.iter_mut().find(|known| (known.0, known.1) == (job, batch)) {
                        Some(known) => known.2.push(at),
                        None => undecided.push((job, batch, vec![at], taken_s)),
                    }
                }
                Start::Waiting { from_s, .. } if from_s > 0.0 => {
                    self.foresee(from_s, What::Arrives { item: at as u32 })
                }
                Start::Waiting { .. } | Start::Away => {}
            }
        }
        for (job, _, items, taken_s) in undecided {
            self.pass_on(shop, 0.0, job, &items, taken_s);
        }
        // What is here already is seen as a whole before anybody takes the first of it.
        for (at, item) in shop.items.iter().enumerate() {
            match item.start {
                Start::Waiting { from_s, .. } if from_s <= 0.0 => {
                    self.items[at].is_late_by_itself = true;
                    let _ = self.arrives(shop, 0.0, from_s, at);
                }
                _ => {}
            }
        }
        (0..shop.stations.len()).for_each(|station| self.work(shop, 0.0, station, false));
        self.foresee_wants(shop);
    }

    /// An empty batch.
    pub(super) fn slot(&mut self) -> usize {
        if let Some(slot) = self.free_slots.pop() {
            self.slots[slot].clear();
            return slot;
        }
        self.slots.push(Vec::new());
        self.slots.len() - 1
    }
}
