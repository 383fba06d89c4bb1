//! What instruments that were chosen one by one have to meet together: the lumen, the bores, the caps, the way out.

use std::collections::BTreeMap;

use super::fit_caps::each_in_its_own;
use super::fit_complete::Completing;
use super::fit_hole::suits;
use super::fit_layout::End;
use super::fit_room::Way;
use crate::analysis::packing::{Answer, Length, Problem, TOLERANCE_MM, needed};

impl Completing<'_, '_> {
    /// Whether the kinds lie together in a lumen, and what they leave.
    pub(super) fn lie(&self, lumen: Length, kinds: &[usize]) -> Option<f64> {
        let discs: Vec<Length> = kinds.iter().map(|kind| self.shaft(*kind)).collect();
        let problem = Problem { lumen, clearance: self.clearance, discs: &discs };
        match problem.answer() {
            Ok((Answer::Fits, spare)) => Some(spare),
            Ok(_) => None,
            Err(_) => Some(f64::INFINITY),
        }
    }

    /// What a group leaves in the lumen, where it lies together there and in every bore on its way.
    pub(super) fn group_spare(
        &self,
        ways: &BTreeMap<End, Way>,
        chosen: &[usize],
        group: &[usize],
    ) -> Option<f64> {
        let kinds: Vec<usize> = group.iter().filter_map(|slot| chosen.get(*slot).copied()).collect();
        let spare = self.lie(self.lumen, &kinds)?;
        let mut sharing: BTreeMap<End, (Length, Vec<usize>)> = BTreeMap::new();
        for slot in group {
            let (Some(kind), Some(entry)) = (chosen.get(*slot), self.entries.get(*slot)) else { continue };
            for (end, bore) in ways.get(entry).into_iter().flat_map(|way| &way.bores) {
                sharing.entry(*end).or_insert((*bore, Vec::new())).1.push(*kind);
            }
        }
        sharing.values().all(|(bore, kinds)| self.lie(*bore, kinds).is_some()).then_some(spare)
    }

    /// What goes through an opening at once, group by group.
    pub(super) fn at_once(&self, end: End, chosen: &[usize]) -> Vec<Vec<usize>> {
        let here = |slot: &&usize| self.entries.get(**slot) == Some(&end);
        let group = |group: &Vec<usize>| -> Vec<usize> {
            group.iter().filter(here).filter_map(|slot| chosen.get(*slot).copied()).collect()
        };
        self.wanted.groups.iter().map(group).filter(|group| !group.is_empty()).collect()
    }

    /// Each instrument that goes through a cap has a hole that seals on it and bears it.
    pub(super) fn caps_suit(&self, chosen: &[usize]) -> bool {
        let policy = &self.wanted.house.setting.state.policy;
        self.layout.openings().into_iter().all(|end| {
            let cap = self.layout.on(end).and_then(|on| self.kinds.get(on));
            let Some(cap) = cap.and_then(|cap| self.wanted.house.kinds.get(*cap)) else { return true };
            self.at_once(end, chosen).iter().all(|here| {
                let places: Vec<usize> = (0..here.len()).collect();
                let fits = |hole: usize, n: usize| {
                    let kind = here.get(n).and_then(|kind| self.wanted.house.kinds.get(*kind));
                    let sizes = kind.and_then(|kind| kind.shaft.zip(kind.widest));
                    let hole = cap.holes.get(hole);
                    hole.zip(sizes).is_some_and(|(hole, (shaft, widest))| suits(policy, hole, shaft, widest))
                };
                cap.holes.len() >= here.len()
                    && each_in_its_own(here.len(), &places, &fits, &mut Vec::new()).is_some()
            })
        })
    }

    /// An opening that stays open beside what goes through it.
    pub(super) fn way_out(&self, chosen: &[usize]) -> Option<End> {
        let gap = self.wanted.house.setting.state.policy.way_out_gap_mm.f64();
        self.layout.openings().into_iter().filter(|end| self.layout.on(*end).is_none()).find(|end| {
            let bore = self.layout.coupling(*end).and_then(|end| end.bore_mm);
            self.at_once(*end, chosen).iter().all(|here| {
                let discs: Vec<Length> = here.iter().map(|kind| self.shaft(*kind)).collect();
                let needed = needed(&discs).ok();
                bore.zip(needed)
                    .is_some_and(|(bore, needed)| needed.high_mm + gap <= bore.f64() + TOLERANCE_MM)
            })
        })
    }
}
