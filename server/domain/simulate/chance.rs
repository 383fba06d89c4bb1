//! A seeded source of numbers, and the laws that are drawn from it.

/// The same seed gives the same numbers (SplitMix64; Steele, Lea and Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014).
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Chance {
        Chance(seed)
    }

    /// A source of its own for a name, whatever was drawn before.
    pub fn of(seed: u64, name: &str) -> Chance {
        // FNV-1a spreads the name; the generator's own mixing does the rest.
        let spread = name
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |hash, b| (hash ^ u64::from(b)).wrapping_mul(0x100_0000_01b3));
        let mut own = Chance(seed ^ spread);
        own.bits();
        own
    }

    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 up to, but not including, 1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A whole number below `n`; 0 where `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }

    /// A whole number from `low` to `high`, both possible.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        low + (self.unit() * (high - low + 1) as f64) as i64
    }

    pub fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    pub fn pick<'a, T>(&mut self, from: &'a [T]) -> Option<&'a T> {
        from.get(self.below(from.len()))
    }

    /// How often something happens that happens `mean` times on average (Poisson, by multiplying uniforms; Knuth).
    pub fn times(&mut self, mean: f64) -> u32 {
        let limit = (-mean.min(500.0)).exp();
        let (mut product, mut n) = (self.unit(), 0);
        while product > limit {
            product *= self.unit();
            n += 1;
        }
        n
    }

    /// A lifetime by Weibull's law, by inversion of its distribution.
    pub fn weibull(&mut self, shape: f64, scale: f64) -> f64 {
        scale * (-(1.0 - self.unit()).ln()).powf(1.0 / shape)
    }
}
