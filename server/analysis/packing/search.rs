//! Four to seven discs: a placement is searched for, the same one every time.
//!
//! First the discs that prove the lower bound are put where they must lie, and the others are fitted in beside them: where
//! that succeeds the answer is exact. Else the radius of the lumen is made as small as it goes from some beginnings
//! (`shrink`), again and again with two discs exchanged or one put elsewhere, while that helps. However a placement was found, it is mended before it is believed: its centres move apart until nothing
//! overlaps, and the lumen is as wide as that needs.

use super::place::{self, Order};
use super::shrink::{Centres, Shrink};
use super::{Length, Needed, Solved, Way, bound, three};

/// From how many beginnings a lumen is shrunk.
const BEGINNINGS: usize = 6;
/// How many changes in a row may fail, for each disc above three, before a placement is left as it is.
const CHANGES: usize = 10;
/// How often the others are thrown in beside the discs that prove the bound.
const THROWS: usize = 6;
/// What differs by less than this share is the same placement, found again.
const SAME: f64 = 1e-7;

pub(super) fn solve(order: Order) -> Solved {
    let widest = order.widest_first();
    if widest[0] == widest[order.count() - 1] {
        return equal(order);
    }
    let core = three(order, widest[0], widest[1], widest[2]);
    let low_mm = core.needed.low_mm.max(bound::by_area_mm(widest)).max(bound::by_equals_mm(&order));
    let mut shrink = Shrink::new(&order);
    if low_mm <= core.needed.low_mm
        && let Some(centres) = beside(&order, &core, &mut shrink)
    {
        let placement = order.placement(&centres[..order.count()]);
        return Solved { way: Way::Found(placement), ..core };
    }
    let (centres, high_mm) = smallest(low_mm, &mut shrink);
    let found = Way::Found(order.placement(&centres[..order.count()]));
    let needed = Needed { low_mm: low_mm.min(high_mm), high_mm };
    let (low, high) = (Length::nearest(needed.low_mm), Length::nearest(needed.high_mm));
    Solved { order, needed, low, high, way: found }
}

/// Equal discs lie as nobody can place them better: four and five in a ring, six and seven as six in a ring with room for one
/// in the middle.
fn equal(order: Order) -> Solved {
    let (count, r_mm) = (order.count(), order.r_mm(0));
    let needed_mm = bound::by_equals_mm(&order);
    let (in_ring, far) = if count < 6 { (count, needed_mm / 2.0 - r_mm) } else { (6, 2.0 * r_mm) };
    let mut centres = Centres::default();
    for (at, centre) in centres.iter_mut().enumerate().take(in_ring) {
        let angle = std::f64::consts::TAU * at as f64 / in_ring as f64;
        *centre = (far * angle.cos(), far * angle.sin());
    }
    let placement = order.placement(&centres[..count]);
    Solved::exact(order, Length::nearest(needed_mm), needed_mm, Way::Found(placement))
}

/// A placement in the lumen that the two or three widest discs alone need, if the others find room beside them.
fn beside(order: &Order, core: &Solved, shrink: &mut Shrink) -> Option<Centres> {
    let radius = core.needed.low_mm / 2.0;
    let (fixed, held) = match core.way {
        Way::Touching => (place::touching_centres(order, radius), 3),
        Way::Gap | Way::Found(_) => (place::gap_centres(order), 2),
    };
    (0..THROWS).find_map(|_| shrink.fit_beside(&fixed[..held], radius))
}

fn smallest(low_mm: f64, shrink: &mut Shrink) -> (Centres, f64) {
    let (mut best, mut best_mm) = shrink.row();
    let changes = CHANGES * (shrink.count() - 3);
    for _ in 0..BEGINNINGS {
        let (mut here, mut here_mm) = shrink.thrown_anew();
        let mut left = changes;
        while left > 0 && here_mm > low_mm * (1.0 + SAME) {
            let (centres, high_mm) = shrink.changed(&here, here_mm);
            left -= 1;
            if high_mm < here_mm * (1.0 - SAME) {
                (here, here_mm, left) = (centres, high_mm, changes);
            }
        }
        if here_mm < best_mm {
            (best, best_mm) = (here, here_mm);
        }
        if best_mm <= low_mm * (1.0 + SAME) {
            break;
        }
    }
    shrink.polished(&best)
}
