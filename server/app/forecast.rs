//! Forecasts as they are shown: worked out once for each place in the ledger and each minute, away from whoever asks.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use super::house::House;
use crate::domain::forecast::{Forecast, minute};
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::{MINUTE, Time};

/// A forecast of a minute ago is still worth showing, with its time; one of before that is not.
const STALE_MINUTES: i64 = 3;

#[derive(Default)]
struct Kept {
    told: Option<Arc<Forecast>>,
    /// What is being worked out: the place in the ledger and the minute.
    under_way: Option<(u64, Time)>,
}

/// What was worked out last, by site.
#[derive(Default)]
pub struct Forecasts(Arc<Mutex<BTreeMap<Id, Kept>>>);

impl House {
    /// The forecast of facts that the caller has, worked out now where it is not there yet.
    pub async fn forecast(&self, state: Arc<State>, now: Time) -> Arc<Forecast> {
        if let Some(known) = self.forecasts.known(&state, now) {
            return known;
        }
        let forecasts = self.forecasts.clone();
        let own = state.clone();
        let worked_out = tokio::task::spawn_blocking(move || forecasts.work_out(&own, now)).await;
        // The task ends with its answer; one that was ended from outside is done here instead.
        worked_out.unwrap_or_else(|_| self.forecasts.work_out(&state, now))
    }

    /// The forecast of these facts, if it is worked out within a time; it is gone on with in any case.
    pub async fn forecast_within(
        &self,
        state: &State,
        now: Time,
        patience: Duration,
    ) -> Option<Arc<Forecast>> {
        let last = self.forecast_seen(state, now);
        let known = async {
            loop {
                if let Some(known) = self.forecasts.known(state, now) {
                    return known;
                }
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        tokio::time::timeout(patience, known).await.ok().or(last)
    }

    /// What is known already, for a page that does not wait; what is not is worked out meanwhile.
    pub fn forecast_seen(&self, state: &State, now: Time) -> Option<Arc<Forecast>> {
        if let Some(known) = self.forecasts.known(state, now) {
            return Some(known);
        }
        let last = self.forecasts.last(state, now);
        if self.forecasts.begins(state, now)
            && let Ok(runtime) = tokio::runtime::Handle::try_current()
        {
            let (forecasts, state) = (self.forecasts.clone(), state.clone());
            runtime.spawn_blocking(move || forecasts.work_out(&state, now));
        }
        last
    }
}

impl Clone for Forecasts {
    fn clone(&self) -> Forecasts {
        Forecasts(self.0.clone())
    }
}

impl Forecasts {
    fn kept<T>(&self, site: &Id, look: impl FnOnce(&mut Kept) -> T) -> T {
        // A reader that panicked leaves what is as good as before it.
        let mut all = self.0.lock().unwrap_or_else(|broken| broken.into_inner());
        look(all.entry(site.clone()).or_default())
    }

    fn known(&self, state: &State, now: Time) -> Option<Arc<Forecast>> {
        self.kept(&state.site, |kept| {
            let told = kept.told.as_ref();
            told.filter(|told| (told.entry, told.as_of) == (state.seq, minute(now))).cloned()
        })
    }

    /// One of this place in the ledger that is hardly older.
    fn last(&self, state: &State, now: Time) -> Option<Arc<Forecast>> {
        self.kept(&state.site, |kept| {
            let is_near = |told: &&Arc<Forecast>| {
                told.entry == state.seq && (0..=STALE_MINUTES * MINUTE).contains(&(now.0 - told.as_of.0))
            };
            kept.told.as_ref().filter(is_near).cloned()
        })
    }

    /// Whether it falls to the caller to work it out: nobody is at it.
    fn begins(&self, state: &State, now: Time) -> bool {
        let wanted = (state.seq, minute(now));
        self.kept(&state.site, |kept| kept.under_way.replace(wanted) != Some(wanted))
    }

    fn work_out(&self, state: &State, now: Time) -> Arc<Forecast> {
        let told = Arc::new(state.forecast(now));
        self.kept(&state.site, |kept| {
            let newest =
                kept.told.as_ref().is_none_or(|known| (known.entry, known.as_of) <= (told.entry, told.as_of));
            if newest {
                kept.told = Some(told.clone());
            }
            if kept.under_way == Some((told.entry, told.as_of)) {
                kept.under_way = None;
            }
        });
        told
    }
}
