//! What happens at a station: something comes, somebody turns to it, takes a batch in hand, and is done with it.

use super::Shop;
use super::dice::Purpose;
use super::run::{Run, Waiting, What};

impl Run {
    /// Puts an item where it waits; the station, where it has work by that.
    pub(super) fn arrives(&mut self, shop: &Shop, now: f64, since_s: f64, at: usize) -> Option<usize> {
        let item = &shop.items[at];
        let Some(job) = item.way.get(self.items[at].step).copied() else {
            self.finish(shop, now, at);
            return None;
        };
        let it = &shop.jobs[job];
        let visit = self.items[at].visit;
        if let Some((share, law)) = it.straggles.as_ref().filter(|_| !self.items[at].is_late_by_itself) {
            self.items[at].is_late_by_itself = true;
            let alike = self.one_for_all(shop, at);
            if self.dice.unit(alike, job, visit, Purpose::Straggles) < *share {
                let by = law.at(self.dice.unit(alike, job, visit, Purpose::StragglesBy));
                let item = at as u32;
                // Its whole wait is told, from when it came until it was done; a pack waits for its others first.
                self.foresee(now + by, if it.joins { What::Arrives { item } } else { What::Late { item } });
                return None;
            }
        }
        if !it.joins {
            self.queues(it.station, since_s, at, item.unit);
            return Some(it.station);
        }
        let pack = &mut self.packs[item.pack];
        pack.here.push(at);
        if pack.here.len() < pack.due {
            return None;
        }
        pack.due = 0;
        for at in std::mem::take(&mut pack.here) {
            self.queues(it.station, since_s, at, item.unit);
        }
        Some(it.station)
    }

    /// What was kept up on its own is done by itself, whatever goes on at its station.
    pub(super) fn late(&mut self, shop: &Shop, now: f64, at: usize) {
        let Some(job) = shop.items[at].way.get(self.items[at].step).copied() else { return };
        self.items[at].visit += 1;
        self.pass_on(shop, now, job, &[at], 0.0);
    }

    fn queues(&mut self, station: usize, arrived_s: f64, item: usize, unit: usize) {
        let own = Waiting { due_s: self.units[unit].due_s, arrived_s, item };
        let queue = &mut self.desks[station].queue;
        let place =
            queue.partition_point(|other| (other.due_s, other.arrived_s) > (own.due_s, own.arrived_s));
        queue.insert(place, own);
    }

    /// Begins as much as may begin at a station.
    pub(super) fn work(&mut self, shop: &Shop, now: f64, station: usize, is_open: bool) {
        let it = &shop.stations[station];
        while let Some((head, server)) = self.startable(shop, station) {
            if let Some(gathers) = it.gathers.as_ref().filter(|_| !is_open) {
                if self.desks[station].gate_s.is_none() {
                    let head = &self.desks[station].queue[head];
                    let (item, oldest) = (head.item, self.desks[station].queue.iter().map(|it| it.arrived_s));
                    let waited = now - oldest.fold(now, f64::min);
                    let taken = waited.min(now + it.servers[server].idle_s);
                    let job = shop.items[item].way[self.items[item].step];
                    let share = self.dice.unit(item, job, self.items[item].visit, Purpose::Gathers);
                    // Only what was there before the beginning has been waiting without anybody turning to it.
                    let taken = if now > 0.0 { 0.0 } else { taken };
                    let gate = now + gathers.of(shop.day[self.day_at].1).rest(taken, share);
                    self.desks[station].gate_s = Some(gate.max(0.0));
                    self.foresee(gate, What::Look { station: station as u16 });
                }
                return;
            }
            self.take(shop, now, station, head, server);
        }
    }

    /// The first in the queue for which a server is free that can do it.
    fn startable(&self, shop: &Shop, station: usize) -> Option<(usize, usize)> {
        let desk = &self.desks[station];
        if desk.queue.is_empty() || desk.is_busy.iter().all(|busy| *busy) {
            return None;
        }
        let mut tried = None;
        for (place, waiting) in desk.queue.iter().enumerate().rev() {
            let job = shop.items[waiting.item].way[self.items[waiting.item].step];
            if tried == Some(job) {
                continue;
            }
            tried = Some(job);
            let mut free = (0..desk.is_busy.len()).filter(|server| !desk.is_busy[*server]);
            if let Some(server) = free.find(|server| takes(shop, station, *server, job).is_some()) {
                return Some((place, server));
            }
        }
        None
    }

    /// Takes a batch in hand: what waits for the same job, in the order of the queue, as many units as go in at once.
    fn take(&mut self, shop: &Shop, now: f64, station: usize, head: usize, server: usize) {
        let it = &shop.stations[station];
        let slot = self.slot();
        let mut queue = std::mem::take(&mut self.desks[station].queue);
        let first = queue[head].item;
        let job = shop.items[first].way[self.items[first].step];
        let waited_s = now - queue[head].arrived_s;
        let mut units = std::mem::take(&mut self.scratch);
        units.clear();
        for place in (0..=head).rev() {
            let (item, arrived_s) = (queue[place].item, queue[place].arrived_s);
            let unit = shop.items[item].unit;
            if shop.items[item].way[self.items[item].step] != job {
                continue;
            }
            if !units.contains(&unit) {
                if units.len() == it.batch as usize {
                    continue;
                }
                units.push(unit);
            }
            if self.units[unit].course.ready_s.is_none() {
                self.units[unit].course.waited_s += now - arrived_s.max(0.0);
            }
            self.items[item].visit += 1;
            self.slots[slot].push(item);
            queue.remove(place);
        }
        self.scratch = units;
        let visit = self.items[first].visit;
        let desk = &mut self.desks[station];
        desk.queue = queue;
        desk.is_busy[server] = true;
        let turns = !std::mem::replace(&mut desk.is_turned_to, true);
        let begins = shop.jobs[job].first.as_ref().filter(|_| turns);
        let lasts = match (begins, takes(shop, station, server, job)) {
            (Some(first_law), _) => {
                let share = self.dice.unit(first, job, visit, Purpose::First);
                first_law.of(shop.day[self.day_at].1).rest(waited_s, share)
            }
            (None, Some(law)) => law.at(self.dice.unit(first, job, visit, Purpose::Takes)),
            (None, None) => 0.0,
        };
        self.foresee(now + lasts, done(station, server, slot));
    }

    pub(super) fn done(&mut self, shop: &Shop, now: f64, station: usize, server: usize, slot: usize) {
        let items = std::mem::take(&mut self.slots[slot]);
        if let Some(first) = items.first().copied() {
            let job = shop.items[first].way[self.items[first].step];
            self.pass_on(shop, now, job, &items, 0.0);
        }
        self.slots[slot] = items;
        self.free_slots.push(slot);
        let desk = &mut self.desks[station];
        desk.is_busy[server] = false;
        desk.is_turned_to = !desk.queue.is_empty() || desk.is_busy.iter().any(|busy| *busy);
        self.work(shop, now, station, false);
    }
}

pub(super) fn done(station: usize, server: usize, slot: usize) -> What {
    What::Done { station: station as u16, server: server as u16, slot: slot as u32 }
}

pub(super) fn takes(shop: &Shop, station: usize, server: usize, job: usize) -> Option<&super::Law> {
    shop.stations[station].servers[server].does.iter().find(|(own, _)| *own == job).map(|(_, law)| law)
}
