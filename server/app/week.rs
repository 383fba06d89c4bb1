//! The days to come as they are asked about: worked out away from whoever asks, one question at a time, and kept for those
//! who ask the same.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};

use super::house::House;
use crate::domain::forecast::minute;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::{MINUTE, Time};
use crate::domain::week::Week;
use crate::domain::what_if::Question;

/// So many answers are kept.
const KEPT: usize = 32;
/// An answer of so many minutes ago is still worth showing, with its time, where nothing was recorded since.
const STALE_MINUTES: i64 = 10;

/// An answer, or why there is none.
pub type Answer = Result<Arc<Week>, Vec<String>>;

struct Kept {
    site: Id,
    entry: u64,
    asked_at: Time,
    asks: Question,
    answer: Answer,
}

/// What was asked last.
#[derive(Default)]
pub struct Weeks {
    kept: Mutex<VecDeque<Kept>>,
    /// One is worked out at a time: each takes a processor for seconds, and boards come first.
    turn: tokio::sync::Mutex<()>,
}

impl Weeks {
    fn known(&self, state: &State, now: Time, asks: &Question) -> Option<Answer> {
        let kept = self.kept.lock().unwrap_or_else(|broken| broken.into_inner());
        let is_same = |it: &&Kept| {
            it.site == state.site
                && it.entry == state.seq
                && it.asks == *asks
                && (0..=STALE_MINUTES * MINUTE).contains(&(now.0 - it.asked_at.0))
        };
        kept.iter().find(is_same).map(|it| it.answer.clone())
    }
}

impl House {
    /// The days to come, of facts that the caller has.
    pub async fn week(&self, state: Arc<State>, now: Time, asks: Question) -> Answer {
        let now = minute(now);
        if let Some(known) = self.weeks.known(&state, now, &asks) {
            return known;
        }
        let _turn = self.weeks.turn.lock().await;
        // Whoever had the turn before may have asked the same.
        if let Some(known) = self.weeks.known(&state, now, &asks) {
            return known;
        }
        let (own, question) = (state.clone(), asks.clone());
        let made = tokio::task::spawn_blocking(move || own.week(now, &question).map(Arc::new)).await;
        // The task ends with its answer; one that was ended from outside is done here instead.
        let answer = made.unwrap_or_else(|_| state.week(now, &asks).map(Arc::new));
        let mut kept = self.weeks.kept.lock().unwrap_or_else(|broken| broken.into_inner());
        kept.push_front(Kept {
            site: state.site.clone(),
            entry: state.seq,
            asked_at: now,
            asks,
            answer: answer.clone(),
        });
        kept.truncate(KEPT);
        answer
    }
}
