//! Instruments side by side in a lumen are circles in a circle: how wide must the lumen be, and where do they lie?
//!
//! One to three circles have an exact answer. Two lie on a diameter. A third lies in the gap beside them where it is small
//! enough, and else all three touch each other and the wall: Descartes' theorem on four touching circles. The gap is asked
//! first, for the theorem also answers where the third does not touch, and wrongly. Four to seven have a lower bound that is
//! proven (`bound`) and an upper bound that a placement proves (`search`).
//!
//! Geometry only: nothing here says how gas flows beside the instruments.

mod bound;
mod descent;
mod length;
mod place;
mod search;
mod shrink;

pub use length::{Length, TOLERANCE_MM};
pub use place::{Disc, Placement};

use place::Order;

/// More circles than these in one lumen are no question of the trade.
pub const MOST_DISCS: usize = 7;

/// Which discs are to lie together in a lumen, and how much wider it has to be than they need. It borrows the diameters and
/// allocates nothing.
#[derive(Clone, Copy, Debug)]
pub struct Problem<'a> {
    pub lumen: Length,
    pub clearance: Length,
    pub discs: &'a [Length],
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    Fits,
    DoesNotFit,
    /// The lumen lies between what is proven to be too small and what is known to suffice.
    Undecided,
}

/// The least diameter of a lumen that takes all discs lies between these two, which are one for up to three discs.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Needed {
    pub low_mm: f64,
    pub high_mm: f64,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Fit {
    pub answer: Answer,
    pub needed: Needed,
    /// Lumen less clearance less what is needed, 0 within a tolerance; negative where that is too wide.
    pub spare_mm: f64,
    /// Where the discs lie, in the order of the problem; only where they fit.
    pub placement: Option<Placement>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Unanswered {
    #[error("there are no parts; 1 to 7 are needed")]
    NoDiscs,
    #[error("there are {0} parts; 1 to 7 are needed")]
    TooMany(usize),
}

impl Problem<'_> {
    /// The whole answer, with a placement where the discs fit.
    pub fn fit(&self) -> Result<Fit, Unanswered> {
        let solved = self.solved()?;
        let (answer, spare_mm) = self.judged(&solved);
        let room_mm = self.lumen.mm() - self.clearance.mm();
        let placement =
            (answer == Answer::Fits).then(|| solved.placed().spread(solved.needed.high_mm, room_mm));
        Ok(Fit { answer, needed: solved.needed, spare_mm, placement })
    }

    /// Whether the discs fit, and how much room they leave, without saying where they lie: for searching among many.
    pub fn answer(&self) -> Result<(Answer, f64), Unanswered> {
        Ok(self.judged(&self.solved()?))
    }

    fn solved(&self) -> Result<Solved, Unanswered> {
        match self.discs.len() {
            0 => Err(Unanswered::NoDiscs),
            count if count > MOST_DISCS => Err(Unanswered::TooMany(count)),
            _ => Ok(solve(self.discs)),
        }
    }

    fn judged(&self, solved: &Solved) -> (Answer, f64) {
        let room = self.lumen.units() - self.clearance.units();
        let spare = |needed: Length| match room - needed.units() {
            spare if Length::is_nothing(spare) => 0,
            spare => spare,
        };
        let answer = match (spare(solved.high), spare(solved.low)) {
            (high, _) if high >= 0 => Answer::Fits,
            (_, low) if low < 0 => Answer::DoesNotFit,
            _ => Answer::Undecided,
        };
        (answer, Length::in_mm(spare(solved.high)))
    }
}

/// The least lumen for these discs, of which there are one to seven.
pub fn needed(discs: &[Length]) -> Result<Needed, Unanswered> {
    let any = Length::default();
    Problem { lumen: any, clearance: any, discs }.solved().map(|solved| solved.needed)
}

/// What is known of the least lumen, whatever the lumen is.
#[derive(Clone, Copy)]
struct Solved {
    order: Order,
    needed: Needed,
    /// The bounds again as they are compared: whole numbers.
    low: Length,
    high: Length,
    way: Way,
}

/// How the discs lie in the least lumen.
#[derive(Clone, Copy)]
enum Way {
    /// One in the middle, two on a diameter, further ones in the gap beside these.
    Gap,
    /// Three touch each other and the wall.
    Touching,
    /// As a search found them.
    Found(Placement),
}

impl Solved {
    fn exact(order: Order, needed: Length, needed_mm: f64, way: Way) -> Solved {
        let both = Needed { low_mm: needed_mm, high_mm: needed_mm };
        Solved { order, needed: both, low: needed, high: needed, way }
    }

    fn placed(&self) -> Placement {
        match self.way {
            Way::Gap => place::in_the_gap(&self.order),
            Way::Touching => place::touching(&self.order, self.needed.high_mm / 2.0),
            Way::Found(placement) => placement,
        }
    }
}

fn solve(discs: &[Length]) -> Solved {
    let order = Order::new(discs);
    match *order.widest_first() {
        [only] => Solved::exact(order, only, only.mm(), Way::Gap),
        [first, second] => two(order, first, second),
        [first, second, third] => three(order, first, second, third),
        _ => search::solve(order),
    }
}

fn two(order: Order, first: Length, second: Length) -> Solved {
    let both = first + second;
    Solved::exact(order, both, both.mm(), Way::Gap)
}

fn three(order: Order, first: Length, second: Length, third: Length) -> Solved {
    match soddy(first.mm(), second.mm(), third.mm()) {
        Some(needed_mm) if needed_mm > (first + second).mm() => {
            Solved::exact(order, Length::nearest(needed_mm), needed_mm, Way::Touching)
        }
        _ => two(order, first, second),
    }
}

/// The diameter of the circle around three that touch each other, the widest first; `None` where the third lies in the gap
/// beside the two others.
///
/// With the diameters 1, a and b it is (p + q) / (2(a + b) − (a − b)²/ab − ab), p = a + b + ab and q = 2√(ab(1 + a + b)):
/// Descartes' theorem without its difference of nearly equal numbers. Where the third just fills the gap the theorem's
/// two solutions are one, so that a rounding error in the test for the gap changes the answer by its square.
fn soddy(first: f64, second: f64, third: f64) -> Option<f64> {
    let (a, b) = (second / first, third / first);
    if b * (1.0 + a + a * a) <= a * (1.0 + a) {
        return None;
    }
    let p = a + b + a * b;
    let q = 2.0 * a.sqrt() * b.sqrt() * (1.0 + a + b).sqrt();
    Some(first * (p + q) / (2.0 * (a + b) - ((a - b) / a) * ((a - b) / b) - a * b))
}
