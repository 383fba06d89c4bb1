//! How long something took, counted in classes that grow by a tenth: a short row, whatever the years bring.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// Above so many the counts are halved, so that what was lately so outweighs what was so once.
const MOST: u32 = 256;
/// The end of the first class, and what nothing lasts longer than: two weeks.
const FIRST_S: u64 = 10;
const LONGEST_S: u64 = 14 * 24 * 3_600;

/// Lengths of time by their class.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Lengths(BTreeMap<u16, u32>);

/// The end of a class, in whole seconds, so that every machine has the same ones.
fn next_end(end_s: u64) -> u64 {
    end_s + (end_s / 10).max(1)
}

fn class_of(length_s: u64) -> u16 {
    let (mut class, mut end_s) = (0, FIRST_S);
    while length_s >= end_s && end_s < LONGEST_S {
        end_s = next_end(end_s);
        class += 1;
    }
    class
}

/// A class with how much it weighs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Class {
    pub from_s: f64,
    pub to_s: f64,
    pub weight: f64,
}

impl Lengths {
    pub fn add(&mut self, length_s: i64) {
        let length_s = u64::try_from(length_s).unwrap_or(0);
        *self.0.entry(class_of(length_s)).or_default() += 1;
        if self.count() > MOST {
            self.0.values_mut().for_each(|count| *count /= 2);
            self.0.retain(|_, count| *count > 0);
        }
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn count(&self) -> u32 {
        self.0.values().sum()
    }

    /// The classes in their order, each count weighing so much.
    pub fn classes(&self, weight: f64) -> Vec<Class> {
        let (mut class, mut from_s, mut end_s) = (0, 0, FIRST_S);
        let mut all = Vec::with_capacity(self.0.len());
        for (wanted, count) in &self.0 {
            while class < *wanted {
                (from_s, end_s) = (end_s, next_end(end_s));
                class += 1;
            }
            all.push(Class { from_s: from_s as f64, to_s: end_s as f64, weight: f64::from(*count) * weight });
        }
        all
    }

    /// The length that a share of all stay below.
    pub fn at(&self, share: f64) -> Option<f64> {
        (!self.is_empty()).then(|| quantile(&self.classes(1.0), share))
    }
}

/// The length that a share of the classes' weight lies below; within a class evenly. The classes may overlap.
pub fn quantile(classes: &[Class], share: f64) -> f64 {
    quantiles(classes, &[share]).first().copied().unwrap_or(0.0)
}

/// As [`quantile`], for rising shares.
pub fn quantiles(classes: &[Class], shares: &[f64]) -> Vec<f64> {
    let mut edges: Vec<f64> = classes.iter().flat_map(|class| [class.from_s, class.to_s]).collect();
    edges.sort_by(f64::total_cmp);
    edges.dedup();
    let total: f64 = classes.iter().map(|class| class.weight).sum();
    let mut rises: Vec<(f64, f64)> = Vec::with_capacity(edges.len());
    let mut sum = 0.0;
    for pair in edges.windows(2) {
        let [from, to] = pair else { continue };
        let inside = classes.iter().filter(|class| class.from_s <= *from && class.to_s >= *to);
        rises.push((*from, sum));
        sum += inside.map(|class| class.weight * (to - from) / (class.to_s - class.from_s)).sum::<f64>();
    }
    rises.extend(edges.last().map(|end| (*end, sum)));
    let mut found = Vec::with_capacity(shares.len());
    for share in shares {
        let wanted = share.clamp(0.0, 1.0) * total;
        let after = rises.partition_point(|(_, sum)| *sum < wanted);
        let below = after.checked_sub(1).and_then(|before| rises.get(before));
        found.push(match (below, rises.get(after).or(rises.last())) {
            (Some((from, low)), Some((to, high))) if high > low => {
                from + (to - from) * (wanted - low) / (high - low)
            }
            (_, Some((at, _))) => *at,
            _ => 0.0,
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_hold_what_they_count_and_no_more() {
        for length in [0, 9, 10, 11, 59, 60, 61, 3_600, 86_400, 604_800] {
            let mut one = Lengths::default();
            one.add(length);
            let class = one.classes(1.0)[0];
            assert!(class.from_s <= length as f64 && (length as f64) < class.to_s, "{length}: {class:?}");
            assert!(class.to_s - class.from_s <= (class.from_s / 10.0).max(10.0), "{length}: {class:?}");
        }
        let mut beyond = Lengths::default();
        beyond.add(i64::MAX);
        beyond.add(-5);
        assert_eq!((beyond.count(), beyond.at(0.0)), (2, Some(0.0)));
    }

    #[test]
    fn what_is_recent_outweighs_what_was_once() {
        let mut lengths = Lengths::default();
        (0..1_000).for_each(|_| lengths.add(60));
        (0..400).for_each(|_| lengths.add(600));
        assert!(lengths.count() <= MOST);
        assert!(lengths.at(0.5).is_some_and(|middle| (540.0..700.0).contains(&middle)), "{lengths:?}");
    }

    #[test]
    fn quantiles_of_classes_that_overlap() {
        let class = |from_s, to_s, weight| Class { from_s, to_s, weight };
        // Half of the weight lies evenly from 0 to 10, half from 0 to 20: up to 10 lie 0.75 of it.
        let all = [class(0.0, 10.0, 1.0), class(0.0, 20.0, 1.0)];
        assert_eq!(quantiles(&all, &[0.0, 0.375, 0.75, 1.0]), [0.0, 5.0, 10.0, 20.0]);
        assert_eq!(quantiles(&[], &[0.5]), [0.0]);
    }
}
