//! The ruler and the lines of a picture of lives: from the age at entry to the age at the end, in steriliser cycles.

/// How a life ended, or that it goes on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Mark {
    Failed,
    Retired,
    InService,
}

/// A life on the ruler: places in hundredths of a per cent of its width, told as per cent.
#[derive(Debug)]
pub struct Stroke {
    pub from: String,
    pub to: String,
    mark: Mark,
}

impl Stroke {
    pub fn failed(&self) -> bool {
        self.mark == Mark::Failed
    }

    pub fn in_service(&self) -> bool {
        self.mark == Mark::InService
    }
}

/// A tick with its number.
pub struct Tick {
    pub cycles: u32,
    pub at: String,
}

pub struct Ruler {
    end: u32,
    pub ticks: Vec<Tick>,
    /// The maker's limit, where there is one, and its place.
    pub limit: Option<(u32, String)>,
}

/// The marks keep off the edges of the picture by this much, in per cent.
const MARGIN: u64 = 4;

impl Ruler {
    /// Long enough for the oldest part and for the limit, and ending at a round number.
    pub fn of(oldest: u32, limit: Option<u32>) -> Ruler {
        let longest = oldest.max(limit.unwrap_or(0)).max(1);
        let step = step(longest);
        let end = longest.div_ceil(step).saturating_mul(step).max(1);
        let mut ruler = Ruler { end, ticks: Vec::new(), limit: None };
        ruler.ticks = (0..=end / step)
            .map(|n| n.saturating_mul(step))
            .map(|cycles| Tick { cycles, at: ruler.place(cycles) })
            .collect();
        ruler.limit = limit.map(|limit| (limit, ruler.place(limit)));
        ruler
    }

    /// A number of cycles as a place on the ruler, such as "48.50%".
    fn place(&self, cycles: u32) -> String {
        let inner = (100 - 2 * MARGIN) * 100;
        let at = MARGIN * 100 + u64::from(cycles.min(self.end)) * inner / u64::from(self.end);
        format!("{}.{:02}%", at / 100, at % 100)
    }

    pub fn stroke(&self, from: u32, to: u32, mark: Mark) -> Stroke {
        Stroke { from: self.place(from), to: self.place(to.max(from)), mark }
    }
}

/// 1, 2 or 5 times a power of ten, so that four to ten steps make the ruler.
fn step(longest: u32) -> u32 {
    let mut power = 1u32;
    loop {
        for digit in [1, 2, 5] {
            let step = power.saturating_mul(digit);
            if longest / step < 6 {
                return step;
            }
        }
        power = power.saturating_mul(10);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ruler_ends_at_a_round_number_and_holds_everything() {
        for (oldest, limit, end) in [(0, None, 1), (88, Some(100), 100), (611, Some(600), 800), (7, None, 8)]
        {
            assert_eq!(Ruler::of(oldest, limit).end, end, "{oldest} {limit:?}");
        }
        assert_eq!(Ruler::of(u32::MAX, None).place(u32::MAX), "96.00%");
        let ruler = Ruler::of(50, Some(100));
        assert_eq!((ruler.place(0), ruler.place(50)), ("4.00%".into(), "50.00%".into()));
        assert!(ruler.ticks.len() >= 3 && ruler.limit.as_ref().is_some_and(|limit| limit.1 == "96.00%"));
    }
}
