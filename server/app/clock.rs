//! The one room with a clock and with randomness. Everything below gets both as arguments.

use std::sync::atomic::{AtomicI64, Ordering};

use crate::domain::time::Time;

/// What time it is: the machine's clock, or, while a history is written, the time that the history has reached.
#[derive(Debug, Default)]
pub struct Clock {
    set_to: AtomicI64,
}

impl Clock {
    #[allow(clippy::disallowed_methods)] // This is the clock's room.
    pub fn now(&self) -> Time {
        match self.set_to.load(Ordering::Relaxed) {
            0 => Time(chrono::Utc::now().timestamp_micros()),
            at => Time(at),
        }
    }

    /// Stands still at a time, until it is set on or freed.
    pub fn set(&self, at: Time) {
        self.set_to.store(at.0, Ordering::Relaxed);
    }

    pub fn free(&self) {
        self.set_to.store(0, Ordering::Relaxed);
    }
}

/// Fresh random bytes from the system.
#[allow(clippy::disallowed_methods)] // Randomness lives beside the clock.
pub fn random<const N: usize>() -> Result<[u8; N], getrandom::Error> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)?;
    Ok(bytes)
}
