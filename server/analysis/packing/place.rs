//! Where discs lie in a lumen. A placement is a proof that anybody can check.

use super::{Length, MOST_DISCS};

/// One disc in a lumen whose centre is the origin.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct Disc {
    pub x_mm: f64,
    pub y_mm: f64,
    pub r_mm: f64,
}

/// Discs in the order in which the problem names them.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Placement {
    discs: [Disc; MOST_DISCS],
    count: usize,
}

impl std::ops::Deref for Placement {
    type Target = [Disc];

    fn deref(&self) -> &[Disc] {
        self.discs.get(..self.count).unwrap_or(&self.discs)
    }
}

impl Placement {
    /// The placement in a lumen that may be wider, with the room shared out: all centres move away from the middle alike,
    /// so that no two come nearer and none leaves the wall behind.
    pub(super) fn spread(mut self, needed_mm: f64, room_mm: f64) -> Placement {
        let by = (room_mm / needed_mm).max(1.0);
        for disc in &mut self.discs {
            disc.x_mm *= by;
            disc.y_mm *= by;
        }
        self
    }

    /// How far the worst disc stands through the wall of a lumen, in millimetres; 0 where none does.
    pub fn through_the_wall_mm(&self, lumen_mm: f64) -> f64 {
        self.iter().map(|disc| disc.x_mm.hypot(disc.y_mm) + disc.r_mm - lumen_mm / 2.0).fold(0.0, f64::max)
    }

    /// How far the worst two discs overlap, in millimetres; 0 where none do.
    pub fn overlap_mm(&self) -> f64 {
        let pairs = self.iter().enumerate().flat_map(|(i, a)| self.iter().skip(i + 1).map(move |b| (a, b)));
        let overlap = |(a, b): (&Disc, &Disc)| a.r_mm + b.r_mm - (a.x_mm - b.x_mm).hypot(a.y_mm - b.y_mm);
        pairs.map(overlap).fold(0.0, f64::max)
    }
}

/// The discs of a problem from the widest to the narrowest, with the places at which it names them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Order {
    widest_first: [Length; MOST_DISCS],
    places: [usize; MOST_DISCS],
    count: usize,
}

impl Order {
    /// Takes the first seven.
    pub(super) fn new(discs: &[Length]) -> Order {
        let mut order = Order { widest_first: Default::default(), places: [0; MOST_DISCS], count: 0 };
        for (place, disc) in discs.iter().take(MOST_DISCS).enumerate() {
            let mut at = order.count;
            while at > 0 && order.widest_first[at - 1] < *disc {
                order.widest_first[at] = order.widest_first[at - 1];
                order.places[at] = order.places[at - 1];
                at -= 1;
            }
            order.widest_first[at] = *disc;
            order.places[at] = place;
            order.count += 1;
        }
        order
    }

    pub(super) fn widest_first(&self) -> &[Length] {
        self.widest_first.get(..self.count).unwrap_or(&self.widest_first)
    }

    pub(super) fn count(&self) -> usize {
        self.count
    }

    /// Half the diameter of the nth widest disc.
    pub(super) fn r_mm(&self, nth: usize) -> f64 {
        self.widest_first[nth].mm() / 2.0
    }

    /// A placement from the centres of the discs, the widest first.
    pub(super) fn placement(&self, centres: &[(f64, f64)]) -> Placement {
        let mut placement = Placement { discs: Default::default(), count: self.count };
        for (nth, (x_mm, y_mm)) in centres.iter().take(self.count).enumerate() {
            placement.discs[self.places[nth]] = Disc { x_mm: *x_mm, y_mm: *y_mm, r_mm: self.r_mm(nth) };
        }
        placement
    }
}

/// One disc in the middle; or two on a diameter, and where there is a third it lies in the middle of the gap beside them.
pub(super) fn in_the_gap(order: &Order) -> Placement {
    order.placement(&gap_centres(order)[..order.count.min(3)])
}

pub(super) fn gap_centres(order: &Order) -> [(f64, f64); 3] {
    if order.count == 1 {
        return [(0.0, 0.0); 3];
    }
    let (r1, r2) = (order.r_mm(0), order.r_mm(1));
    let t = r2 / r1;
    // The circle that fills the gap has the radius h r2.
    let h = (1.0 + t) / (1.0 + t + t * t);
    let x = ((2.0 * r1 + r2) * (2.0 * h - 1.0) - r2) / 2.0;
    let from_middle = r1 + r2 - h * r2;
    let y = (from_middle * from_middle - x * x).max(0.0).sqrt();
    [(-r2, 0.0), (r1, 0.0), (x, y)]
}

/// Three discs that touch each other and the wall of a lumen of this radius: the widest at the left, the others above and
/// below the line from it through the middle.
pub(super) fn touching(order: &Order, radius: f64) -> Placement {
    order.placement(&touching_centres(order, radius))
}

pub(super) fn touching_centres(order: &Order, radius: f64) -> [(f64, f64); 3] {
    let (r1, r2, r3) = (order.r_mm(0), order.r_mm(1), order.r_mm(2));
    let (to1, to2, to3) = (radius - r1, radius - r2, radius - r3);
    // Two discs that touch each other and the wall are seen from the middle under an angle w: sin²(w/2) = r r'/(to to').
    let half = |squared_sine: f64| squared_sine.clamp(0.0, 1.0).sqrt().asin();
    let between = 2.0 * half(r2 * r3 / (to2 * to3));
    // The third lies so far from the point opposite the first: cos²(w/2) = R(R − r − r')/(to to').
    let below = (2.0 * half(radius * (radius - r1 - r3) / (to1 * to3))).min(between);
    let above = between - below;
    let at = |angle: f64, from_middle: f64| (from_middle * angle.cos(), from_middle * angle.sin());
    [(-to1, 0.0), at(above, to2), at(-below, to3)]
}
