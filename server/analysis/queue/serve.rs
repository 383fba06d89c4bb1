//! Who gets what is finished: wants take at their time, in the order of their starts, and give back.

use super::dice::Purpose;
use super::run::{Run, What};
use super::{Need, Shop};

/// What became of a want.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Served {
    /// When it had everything: not before it takes anything.
    pub complete_s: Option<f64>,
    /// When the last of what it took was finished.
    pub ready_s: Option<f64>,
    /// The need that was there last, or is still lacking, and the job at which that unit was longest.
    pub lacked: Option<usize>,
    pub held_up_at: Option<usize>,
}

pub(super) struct Wants {
    served: Vec<Served>,
    /// Those that began and are not complete, the earliest first; what each holds already, by need.
    pending: Vec<usize>,
    claims: Vec<Vec<Option<usize>>>,
    ready_of_kind: Vec<usize>,
    /// The wants that name a unit, and the units of each kind: both stay the same.
    named_by: Vec<Vec<usize>>,
    of_kind: Vec<Vec<usize>>,
}

impl Wants {
    pub fn new(shop: &Shop) -> Wants {
        let mut named_by = vec![Vec::new(); shop.units.len()];
        for (at, want) in shop.wants.iter().enumerate() {
            want.needs.iter().filter_map(|need| need.unit).for_each(|unit| named_by[unit].push(at));
        }
        let mut of_kind = vec![Vec::new(); shop.kept.len()];
        for (at, unit) in shop.units.iter().enumerate() {
            of_kind[unit.kind].push(at);
        }
        Wants {
            served: vec![Served::default(); shop.wants.len()],
            pending: Vec::new(),
            claims: shop.wants.iter().map(|want| vec![None; want.needs.len()]).collect(),
            ready_of_kind: vec![0; shop.kept.len()],
            named_by,
            of_kind,
        }
    }

    pub fn clear(&mut self) {
        self.served.fill(Served::default());
        self.pending.clear();
        self.claims.iter_mut().for_each(|claims| claims.fill(None));
        self.ready_of_kind.fill(0);
    }

    pub fn got(&self, want: usize) -> &[Option<usize>] {
        &self.claims[want]
    }

    pub fn served(&self, want: usize) -> Served {
        self.served[want]
    }
}

impl Run {
    pub(super) fn foresee_wants(&mut self, shop: &Shop) {
        for (at, want) in shop.wants.iter().enumerate() {
            self.foresee(want.start_s - want.lead_s, What::Takes { want: at as u32 });
        }
    }

    pub(super) fn takes(&mut self, shop: &Shop, now: f64, want: usize) {
        self.wants.pending.push(want);
        self.wants.pending.sort_unstable();
        self.serve(shop, now);
    }

    pub(super) fn is_finished(&mut self, shop: &Shop, now: f64, unit: usize) {
        if shop.units[unit].unfit {
            self.units[unit].is_ready = false;
            return;
        }
        self.wants.ready_of_kind[shop.units[unit].kind] += 1;
        self.serve(shop, now);
    }

    /// Gives wants that have begun what is there, the earliest first; what one holds no later one gets.
    fn serve(&mut self, shop: &Shop, now: f64) {
        let mut at = 0;
        while let Some(want) = self.wants.pending.get(at).copied() {
            let mut is_complete = true;
            for (place, need) in shop.wants[want].needs.iter().enumerate() {
                if self.wants.claims[want][place].is_some() {
                    continue;
                }
                let Some(unit) = self.found(shop, want, *need) else {
                    is_complete = false;
                    continue;
                };
                self.units[unit].is_ready = false;
                self.wants.ready_of_kind[shop.units[unit].kind] -= 1;
                self.wants.claims[want][place] = Some(unit);
                let served = &mut self.wants.served[want];
                // What was finished and not to be had, as the reserve is, counts from when it was.
                let it = &shop.wants[want];
                let since_s = if now > it.start_s - it.lead_s { now } else { self.units[unit].ready_since_s };
                if served.ready_s.is_none_or(|ready| since_s >= ready) {
                    served.ready_s = Some(since_s);
                    (served.lacked, served.held_up_at) = (Some(place), self.units[unit].course.held_up_at);
                }
            }
            if !is_complete {
                at += 1;
                continue;
            }
            self.wants.served[want].complete_s = Some(now);
            self.open = self.open.saturating_sub(1);
            self.wants.pending.remove(at);
            let it = &shop.wants[want];
            let lasts = it.lasts.at(self.dice.unit(want, 0, 0, Purpose::Lasts));
            self.foresee(now.max(it.start_s) + lasts, What::Returns { want: want as u32 });
        }
    }

    /// A finished unit for a need: the one that is named, or any free one; one that is named for another want is free
    /// only where it comes back before that one begins.
    fn found(&self, shop: &Shop, want: usize, need: Need) -> Option<usize> {
        if let Some(unit) = need.unit {
            return self.units[unit].is_ready.then_some(unit);
        }
        let it = &shop.wants[want];
        let kept = if it.takes_reserve { 0 } else { shop.kept[need.kind] };
        if self.wants.ready_of_kind[need.kind] <= kept {
            return None;
        }
        let back_s = it.start_s + it.lasts.mean() + shop.turnaround_s;
        let is_named = |unit: usize| {
            let mut by = self.wants.named_by[unit].iter();
            by.any(|other| {
                *other != want
                    && self.wants.served[*other].complete_s.is_none()
                    && shop.wants[*other].start_s < back_s
            })
        };
        // What is kept back lies beside what is kept for somebody: the one is not the other.
        let all = self.wants.of_kind[need.kind].iter().copied();
        let mut free = all.filter(|unit| self.units[*unit].is_ready && !is_named(*unit));
        let found = free.next()?;
        (free.count() >= kept).then_some(found)
    }

    pub(super) fn returns(&mut self, shop: &Shop, now: f64, want: usize) {
        for place in 0..self.wants.claims[want].len() {
            let Some(unit) = self.wants.claims[want][place] else { continue };
            self.units[unit].due_s = self.next_need(shop, unit).unwrap_or(f64::INFINITY);
            self.again(shop, now, unit);
        }
    }

    /// The start of the first want that still needs such a unit.
    fn next_need(&self, shop: &Shop, unit: usize) -> Option<f64> {
        let kind = shop.units[unit].kind;
        let lacks = |(at, want): &(usize, &super::Want)| {
            self.wants.served[*at].complete_s.is_none() && want.needs.iter().any(|need| need.kind == kind)
        };
        shop.wants.iter().enumerate().find(lacks).map(|(_, want)| want.start_s)
    }

    /// At the end: what the wants that are not complete lack.
    pub(super) fn give_up(&mut self, shop: &Shop) {
        for want in 0..shop.wants.len() {
            if self.wants.served[want].complete_s.is_some() {
                continue;
            }
            let lacked = self.wants.claims[want].iter().position(Option::is_none);
            let served = &mut self.wants.served[want];
            (served.lacked, served.held_up_at, served.ready_s) = (lacked, None, None);
        }
    }
}
