//! What a part's page says of loans, tags and doubts: beside what it is, before anything else about it.

use super::shared::{date, segment, time};
use crate::domain::lifetime::Clock;
use crate::domain::state::{Asset, State};
use crate::domain::time::Time;

pub struct Note {
    pub words: String,
    pub href: String,
    pub label: String,
    /// It changes what may be done, or what look-back says.
    pub loud: bool,
}

pub fn notes(state: &State, asset: &Asset, now: Time) -> Vec<Note> {
    let mut all = Vec::new();
    if let Some(stranger) = state.strangers.get(&asset.asset) {
        let words = match (stranger.is_open(), stranger.outcome()) {
            (true, _) => format!("A stranger, {}: {}.", stranger.kind.words(), stranger.asks()),
            (false, Some(settled)) => {
                let which = settled.asset.as_ref().map(|asset| format!(", {asset}")).unwrap_or_default();
                format!("It was a stranger: {}{which}.", settled.outcome.words())
            }
            (false, None) => "A stranger.".into(),
        };
        all.push(Note {
            words,
            href: format!("/strangers#{}", segment(stranger.tag.as_str())),
            label: "Strangers".into(),
            loud: stranger.is_open(),
        });
    }
    for stranger in state.strangers.values().filter(|it| it.doubts() == Some(&asset.asset)) {
        all.push(Note {
            words: format!(
                "Stranger {} has the same mark. Until it is settled which is which, look-back counts both.",
                stranger.tag
            ),
            href: format!("/strangers#{}", segment(stranger.tag.as_str())),
            label: "Settle it".into(),
            loud: true,
        });
    }
    for mixed in state.doubts_of(&asset.asset).into_iter().filter(|mixed| mixed.is_open()) {
        let others: Vec<String> = mixed.with(&asset.asset).iter().map(|it| it.asset.to_string()).collect();
        let (low, high) = state.age_range(asset, Clock::Cycles, now);
        let (fewest, most) = state.age_range(asset, Clock::Uses, now);
        all.push(Note {
            words: format!(
                "It may be {} since {}: look-back counts each of them. It has {low} to {high} cycles and {fewest} to {most} uses behind it.",
                super::shared::listed(&others),
                time(state, mixed.since.at, now)
            ),
            href: format!("/strangers#{}", segment(mixed.doubt.as_str())),
            label: "Settle it".into(),
            loud: true,
        });
    }
    if let Some(loan) = state.loan_of(&asset.asset) {
        let gone = asset.retired.is_some();
        let back = loan.due(state).map(|day| format!(", goes back by {}", date(day))).unwrap_or_default();
        let words = match gone {
            true => format!("It came with {} of {}, and is no longer here.", loan.loan, loan.from.0),
            false => format!("On {} of {}{back}.", loan.kind.words(), loan.from.0),
        };
        let href = format!("/loans/{}", segment(loan.loan.as_str()));
        all.push(Note { words, href, label: loan.loan.to_string(), loud: false });
    }
    all
}

/// That a member of a set may be another, in the words of its line.
pub fn doubt(state: &State, asset: &Asset) -> Option<String> {
    let open = state.doubts_of(&asset.asset).into_iter().find(|mixed| mixed.is_open())?;
    let others: Vec<String> = open.with(&asset.asset).iter().map(|it| it.asset.to_string()).collect();
    Some(format!("in doubt: it may be {} ({})", super::shared::listed(&others), open.doubt))
}

/// What is open of them, as the handover lists it.
pub fn items(state: &State, (from, now): (Time, Time)) -> Vec<super::handover_open::Item> {
    use crate::domain::visits_open::OpenKind;
    let open = state.open_visits(now).into_iter();
    open.map(|it| {
        let name = segment(it.name.as_str());
        let (href, word) = match it.kind {
            OpenKind::Loan => (format!("/loans/{name}"), "on loan"),
            OpenKind::Stranger => (format!("/strangers#{name}"), "stranger"),
            OpenKind::Doubt => (format!("/strangers#{name}"), "in doubt"),
            OpenKind::Stock => (format!("/shelf#{name}"), "shelf"),
        };
        super::handover_open::Item {
            href,
            called: it.name.to_string(),
            detail: it.sentence,
            since: time(state, it.since, now),
            is_new: it.since >= from,
            say: if it.wrong { super::say::Say::due(word) } else { super::say::Say::plain(word) },
        }
    })
    .collect()
}
