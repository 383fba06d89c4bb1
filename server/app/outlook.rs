//! The outlooks of a site's models as they are shown: made anew only when an entry or the day may have changed them.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use super::house::House;
use crate::domain::id::Id;
use crate::domain::outlook::Outlook;
use crate::domain::state::State;
use crate::domain::time::{Date, Time};

/// Every model's outlook.
pub type All = Arc<BTreeMap<Id, Outlook>>;

struct Kept {
    seq: u64,
    day: Date,
    all: All,
}

/// What was made last, by site.
#[derive(Default)]
pub struct Outlooks(Mutex<BTreeMap<Id, Kept>>);

impl House {
    /// The outlooks of facts that the caller has, on the day on which it looks at them.
    pub fn outlooks(&self, state: &State, now: Time) -> All {
        self.outlooks.show(state, now)
    }
}

impl Outlooks {
    pub fn show(&self, state: &State, now: Time) -> All {
        let day = now.date(state.zone);
        let known = |kept: &Kept| kept.seq == state.seq && kept.day == day;
        {
            // A reader that panicked leaves what is as good as before it.
            let kept = self.0.lock().unwrap_or_else(|broken| broken.into_inner());
            if let Some(kept) = kept.get(&state.site).filter(|kept| known(kept)) {
                return kept.all.clone();
            }
        }
        // Made without the lock, so that one site's lives do not wait for another's.
        let all: All = Arc::new(state.outlooks(now));
        let mut kept = self.0.lock().unwrap_or_else(|broken| broken.into_inner());
        kept.insert(state.site.clone(), Kept { seq: state.seq, day, all: all.clone() });
        all
    }
}
