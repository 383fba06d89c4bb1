//! Whether the sets that a case has or would take hold a configuration that fits, where somebody said what is wished for and
//! nothing is chosen yet: a set that is complete by count may hold the wrong mix.

use std::cell::LazyCell;

use super::board::Equipped;
use super::case::{Case, CaseStatus};
use super::fit::Answer;
use super::fit_house::{Candidate, House};
use super::fit_judge::Setting;
use super::fit_memo::{own_sets, searched};
use super::fit_search::Search;
use super::id::Id;
use super::state::State;
use super::time::Time;

/// What the board says of a case whose own sets hold nothing that fits.
pub fn own_sets_fail(state: &State, case: &Case, sets: &[Id], now: Time) -> Option<(Equipped, String)> {
    let technique = case.technique?;
    let wish = case.wish.as_deref()?;
    if case.chosen.is_some() || case.status() != CaseStatus::Planned || sets.is_empty() {
        return None;
    }
    // What was found of these pieces before needs no house.
    let house = LazyCell::new(|| House::of(Setting::of_case(state, case, now)));
    let holds = || {
        let own = |piece: &Candidate| {
            piece.set.and_then(|at| house.sets.get(at)).is_some_and(|set| sets.contains(&set.set))
        };
        let search = Search::new(&house, technique, Some(wish));
        let found = search.best(&house.barrels(Some(wish)), &own);
        found.ranked.iter().any(|one| search.offer(one).is_some())
    };
    if own_sets(state, case, sets, holds) == Answer::Fits {
        return None;
    }
    Some(searched(state, case, (sets, now), || {
        let names: Vec<&str> = sets.iter().map(Id::as_str).collect();
        let by_itself =
            format!("{} by itself holds no complete configuration that fits as wished", names.join(" with "));
        let search = Search::new(&house, technique, Some(wish));
        let found = search.best(&house.barrels(Some(wish)), &|_| true);
        match found.ranked.iter().find_map(|one| search.offer(one)) {
            Some(offer) => {
                let open: Vec<&str> = offer.open.iter().map(Id::as_str).collect();
                let with = if open.is_empty() {
                    "with parts of the store".into()
                } else {
                    format!("with {}", open.join(" and "))
                };
                (Equipped::InTurn, format!("{by_itself}; {with} one does. See its set-up sheet, and choose."))
            }
            None => (
                Equipped::NotReady,
                format!(
                    "{by_itself}, nor does anything that is or will be ready. Its set-up sheet says why."
                ),
            ),
        }
    }))
}
