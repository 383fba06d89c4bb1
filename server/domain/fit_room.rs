//! The same rules as the answer's, by numbers alone and without a sentence: for searching among many.

use rust_decimal::Decimal;

use super::fit_house::House;
use super::fit_layout::{End, Layout};
use super::fit_size::Reach;
use super::model::Family;
use crate::analysis::packing::{Answer, Length, Problem};

/// The way in through an opening: the bores along it, and what stands between its outside and the barrel.
#[derive(Clone, Debug)]
pub struct Way {
    pub bores: Vec<(End, Length)>,
    pub stack: Reach,
}

impl Way {
    /// `None` where a bore or a height on it is not known: nothing is called fitting then.
    pub fn of(layout: &Layout, entry: End) -> Option<Way> {
        let mut bores = Vec::new();
        let ends = layout.way_in(entry);
        for (n, end) in ends.iter().enumerate() {
            let bore = layout.coupling(*end).and_then(|end| end.bore_mm);
            match bore.and_then(|bore| Length::of_mm(bore.f64())) {
                Some(bore) => bores.push((*end, bore)),
                None if n == 0 => return None,
                None => {}
            }
        }
        let mut stack = Reach { low: Decimal::ZERO, high: Decimal::ZERO };
        for piece in ends.iter().map(|(piece, _)| *piece).chain(layout.on(entry)).filter(|piece| *piece != 0)
        {
            let height = layout.pieces.get(piece)?.stack()?;
            stack.low += height.low;
            stack.high += height.high;
        }
        Some(Way { bores, stack })
    }
}

/// The room that a barrel gives to each instrument by itself.
pub struct Room<'h, 'a> {
    pub house: &'h House<'a>,
    pub lumen: Length,
    pub clearance: Length,
}

impl Room<'_, '_> {
    /// Whether an instrument of this kind passes by itself and has the right length.
    pub fn takes(&self, kind: usize, way: &Way, barrel: Reach) -> bool {
        let Some(kind) = self.house.kinds.get(kind) else { return false };
        let (Some(widest), Some(_), Some(length)) = (kind.widest, kind.shaft, kind.length) else {
            return false;
        };
        let passes = |lumen: Length| {
            let problem = Problem { lumen, clearance: self.clearance, discs: &[widest.high] };
            matches!(problem.answer(), Ok((Answer::Fits, _)))
        };
        if !passes(self.lumen) || !way.bores.iter().all(|(_, bore)| passes(*bore)) {
            return false;
        }
        let policy = &self.house.setting.state.policy;
        match kind.piece.family() {
            Family::Telescope => {
                let [low, high] = policy.telescope_window_mm;
                let deep = length.high - barrel.low - way.stack.low;
                let short = length.low - barrel.high - way.stack.high;
                let cover = policy.telescope_cover_mm.0;
                let out = (deep + cover).max(Decimal::ZERO);
                short >= low.0 && deep <= high.0 && cover <= barrel.low && out <= length.low
            }
            Family::Obturator => true,
            _ => length.low >= barrel.high + way.stack.high + policy.reach_mm.0,
        }
    }
}
