//! The board as it is shown: made anew only when an entry or the clock may have changed it, and since when it is so.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use sha2::{Digest, Sha256};

use super::house::{House, Unavailable};
use crate::domain::board::Board;
use crate::domain::forecast::Forecast;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;

/// The board of a site with what identifies its content.
#[derive(Clone, Debug)]
pub struct Shown {
    pub board: Arc<Board>,
    /// Since when this content is true.
    pub as_of: Time,
    /// The entry after which it was first so.
    pub entry: u64,
    /// A strong entity tag: the same as long as the answer is.
    pub tag: String,
    /// What is expected, where it was worked out and somebody asked for it.
    pub forecast: Option<Arc<Forecast>>,
}

impl Shown {
    /// The same with what is expected, so that every page that shows a case says one thing of it.
    pub fn with(self, forecast: Option<Arc<Forecast>>) -> Shown {
        let Some(told) = &forecast else { return Shown { forecast, ..self } };
        let mut board = (*self.board).clone();
        for case in &mut board.cases {
            case.expected = told.case(&case.case).cloned();
        }
        Shown { board: Arc::new(board), forecast, ..self }
    }
}

struct Kept {
    shown: Shown,
    content: [u8; 32],
    /// The entry that was looked at last, and the window of the clock in which the content holds with it.
    seq: u64,
    from: Time,
    until: Time,
}

/// What was shown last, by site.
#[derive(Default)]
pub struct Boards(Mutex<BTreeMap<Id, Kept>>);

impl House {
    /// The board now; `None` where there is no such site.
    pub async fn board(&self, site: &Id) -> Result<Option<Shown>, Unavailable> {
        let Some(state) = self.state(site).await? else { return Ok(None) };
        Ok(Some(self.board_of(&state, self.clock.now())))
    }

    /// The board of facts that the caller has, at the moment that it looks at them.
    pub fn board_of(&self, state: &State, now: Time) -> Shown {
        self.boards.show(state, now)
    }
}

impl Boards {
    /// The board of a state at a moment.
    pub fn show(&self, state: &State, now: Time) -> Shown {
        // A reader that panicked leaves a board that is as good as before it.
        let mut boards = self.0.lock().unwrap_or_else(|broken| broken.into_inner());
        let kept = boards.get_mut(&state.site);
        if let Some(kept) = &kept
            && kept.seq == state.seq
            && (kept.from..kept.until).contains(&now)
        {
            return kept.shown.clone();
        }
        let board = state.board(now);
        let content = Sha256::digest(serde_json::to_vec(&board).unwrap_or_default()).into();
        let (from, until) = (now, state.board_until(now));
        if let Some(kept) = kept.filter(|kept| kept.content == content) {
            (kept.seq, kept.from, kept.until) = (state.seq, from, until);
            return kept.shown.clone();
        }
        let as_of = since(boards.get(&state.site), state, now);
        let mut tag = Sha256::new();
        tag.update(content);
        tag.update(as_of.0.to_be_bytes());
        tag.update(state.seq.to_be_bytes());
        let tag = format!("\"{}\"", hex::encode(tag.finalize().get(..12).unwrap_or_default()));
        let shown = Shown { board: Arc::new(board), as_of, entry: state.seq, tag, forecast: None };
        let kept = Kept { shown: shown.clone(), content, seq: state.seq, from, until };
        boards.insert(state.site.clone(), kept);
        shown
    }
}

/// Since when a content is true that was not so before: the last entry, or the last time that the clock changed it.
fn since(before: Option<&Kept>, state: &State, now: Time) -> Time {
    let by_entry = before.is_none_or(|before| before.seq != state.seq).then_some(state.recorded_at);
    let by_clock = Some(state.board_since(now)).filter(|at| before.is_none_or(|before| *at > before.from));
    by_entry.max(by_clock).unwrap_or(now).min(now)
}
