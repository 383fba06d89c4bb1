//! Chance by name: what is drawn depends on the seed, the replication, and on what it is drawn for, never on what was
//! drawn before. So a change in one place changes nothing elsewhere, and two runs that differ in one act differ by that
//! act alone (common random numbers; Law and Kelton, "Simulation Modeling and Analysis", variance reduction).

/// One replication's source of numbers.
#[derive(Clone, Copy, Debug)]
pub struct Dice(u64);

/// What a number decides.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Purpose {
    Takes = 1,
    First,
    Gathers,
    After,
    BatchBack,
    ItemBack,
    Straggles,
    StragglesBy,
    Lasts,
}

/// The finishing mix of SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

const STEP: u64 = 0x9e37_79b9_7f4a_7c15;

impl Dice {
    pub fn new(seed: u64, replication: u32) -> Dice {
        Dice(mix(seed.wrapping_add(STEP).wrapping_add(mix(u64::from(replication).wrapping_mul(STEP)))))
    }

    /// A number from 0 to below 1, of 53 bits, for the so-manieth visit of a thing at a job.
    pub fn unit(self, thing: usize, job: usize, visit: u32, purpose: Purpose) -> f64 {
        let place = ((thing as u64) << 32) | ((job as u64 & 0xffff) << 16) | u64::from(visit & 0xffff);
        let bits =
            mix(mix(self.0 ^ place.wrapping_mul(STEP)).wrapping_add((purpose as u64).wrapping_mul(STEP)));
        (bits >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }
}
