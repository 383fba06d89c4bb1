//! What many replications say together.

use super::Shop;
use super::run::Run;

/// When something is reached, over all replications. Those in which it is not reached count as later than all others,
/// so that a time stands here only where it is one.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct When {
    pub median_s: f64,
    /// In nine of ten. None where it is not reached in as many.
    pub late_s: Option<f64>,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub struct UnitForecast {
    /// None where it is reached in fewer than half of the replications.
    pub ready: Option<When>,
    /// The share of the replications in which it is reached at all.
    pub reached: f64,
    /// The job at which it is longest, most often.
    pub held_up_at: Option<usize>,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub struct WantForecast {
    /// The share of the replications in which everything is there by its start.
    pub chance: f64,
    /// When the last of what it takes is finished.
    pub ready: Option<When>,
    /// Of the replications in which it is not in time: the need that is most often there last, and the job at which that
    /// one is longest.
    pub lacks: Option<usize>,
    pub held_up_at: Option<usize>,
}

#[derive(Clone, PartialEq, Debug)]
pub struct Forecast {
    pub units: Vec<UnitForecast>,
    pub wants: Vec<WantForecast>,
    /// The share of the replications in which nothing of a group is late.
    pub groups: Vec<f64>,
    /// How many wants are in time, replication by replication.
    pub in_time: Vec<u32>,
    /// For each need of each want the units that it got, the most often got first, and in how many replications.
    pub got: Vec<Vec<Vec<(usize, u32)>>>,
    pub replications: u32,
}

pub(super) struct Told {
    ready: Vec<Vec<f64>>,
    complete: Vec<Vec<f64>>,
    in_time: Vec<u32>,
    unit_held: Vec<Vec<u32>>,
    want_held: Vec<Vec<u32>>,
    want_lacks: Vec<Vec<u32>>,
    /// Whether each want is in time in the replication that is added.
    is_in_time: Vec<bool>,
    lacked: Vec<Option<usize>>,
    groups: Vec<u32>,
    each: Vec<u32>,
    /// How often each need of each want got each unit.
    got: Vec<Vec<Vec<u32>>>,
}

impl Told {
    pub fn new(shop: &Shop) -> Told {
        let jobs = shop.jobs.len();
        Told {
            ready: vec![Vec::new(); shop.units.len()],
            complete: vec![Vec::new(); shop.wants.len()],
            in_time: vec![0; shop.wants.len()],
            unit_held: vec![vec![0; jobs]; shop.units.len()],
            want_held: vec![vec![0; jobs]; shop.wants.len()],
            want_lacks: shop.wants.iter().map(|want| vec![0; want.needs.len()]).collect(),
            is_in_time: vec![false; shop.wants.len()],
            lacked: vec![None; shop.wants.len()],
            groups: vec![0; shop.groups.len()],
            each: Vec::new(),
            got: shop.wants.iter().map(|want| vec![vec![0; shop.units.len()]; want.needs.len()]).collect(),
        }
    }

    pub fn add(&mut self, shop: &Shop, run: &Run) {
        for at in 0..shop.units.len() {
            let course = run.unit(at);
            self.ready[at].extend(course.ready_s);
            if let Some(job) = course.held_up_at {
                self.unit_held[at][job] += 1;
            }
        }
        for (at, it) in shop.wants.iter().enumerate() {
            let want = run.want(at);
            for (counts, unit) in self.got[at].iter_mut().zip(run.got(at)) {
                if let Some(unit) = unit {
                    counts[*unit] += 1;
                }
            }
            self.complete[at].extend(want.ready_s);
            self.is_in_time[at] = want.complete_s.is_some_and(|complete| complete <= it.start_s);
            if self.is_in_time[at] {
                self.in_time[at] += 1;
                continue;
            }
            self.lacked[at] = want.lacked;
            if let Some(lacks) = want.lacked {
                self.want_lacks[at][lacks] += 1;
            }
            if let Some(job) = want.held_up_at {
                self.want_held[at][job] += 1;
            }
        }
        for (count, group) in self.groups.iter_mut().zip(&shop.groups) {
            let is_late = |(want, need): &(usize, Option<usize>)| {
                !self.is_in_time[*want] && (need.is_none() || self.lacked[*want] == *need)
            };
            *count += u32::from(!group.iter().any(is_late));
        }
        self.each.push(self.is_in_time.iter().map(|is_in_time| u32::from(*is_in_time)).sum());
    }

    pub fn finished(mut self, replications: u32) -> Forecast {
        let share = |many: usize| many as f64 / f64::from(replications.max(1));
        let units = self.ready.iter_mut().zip(&self.unit_held).map(|(ready, held)| UnitForecast {
            reached: share(ready.len()),
            ready: when(ready, replications),
            held_up_at: most(held),
        });
        let units = units.collect();
        let wants = self.complete.iter_mut().enumerate().map(|(at, complete)| WantForecast {
            chance: share(self.in_time[at] as usize),
            ready: when(complete, replications),
            lacks: most(&self.want_lacks[at]),
            held_up_at: most(&self.want_held[at]),
        });
        let wants = wants.collect();
        let groups = self.groups.iter().map(|count| share(*count as usize)).collect();
        let often = |counts: &Vec<u32>| {
            let mut all: Vec<(usize, u32)> =
                counts.iter().copied().enumerate().filter(|it| it.1 > 0).collect();
            all.sort_by_key(|(unit, count)| (std::cmp::Reverse(*count), *unit));
            all
        };
        let got = self.got.iter().map(|needs| needs.iter().map(often).collect()).collect();
        Forecast { units, wants, groups, in_time: self.each, got, replications }
    }
}

/// The place of what was counted most; of equal ones the first.
fn most(counts: &[u32]) -> Option<usize> {
    let most = counts.iter().enumerate().max_by_key(|(at, count)| (**count, usize::MAX - at))?;
    (*most.1 > 0).then_some(most.0)
}

fn when(times: &mut [f64], replications: u32) -> Option<When> {
    let count = f64::from(replications);
    let place = |share: f64| (share * count).ceil().max(1.0) as usize - 1;
    let mut at = |share: f64| {
        let place = place(share);
        (place < times.len()).then(|| *times.select_nth_unstable_by(place, f64::total_cmp).1)
    };
    Some(When { median_s: at(0.5)?, late_s: at(0.9) })
}
