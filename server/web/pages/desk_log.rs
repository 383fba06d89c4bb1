//! The last scans of a station: they travel with its forms, so that the server keeps nothing of them.

use crate::domain::state::State;
use crate::domain::time::Time;

/// How many of the last scans stay in sight.
const REMEMBERED: usize = 8;

pub struct Scanned {
    pub sign: String,
    pub time: String,
    pub words: String,
}

/// The newest line first, then those of before, as far as they are remembered.
pub(super) fn remember(state: &State, now: Time, new: Option<(&str, String)>, before: &str) -> String {
    let clock = now.in_zone(state.zone).format("%H:%M");
    let new = new.map(|(sign, words)| format!("{sign}\t{clock}\t{}", words.replace(['\n', '\r', '\t'], " ")));
    let cut = |text: &str| text.chars().take(240).collect::<String>();
    let all = new.iter().map(String::as_str).chain(before.lines().filter(|line| !line.trim().is_empty()));
    all.take(REMEMBERED).map(cut).collect::<Vec<_>>().join("\n")
}

pub(super) fn line(text: &str) -> Option<Scanned> {
    let mut parts = text.splitn(3, '\t');
    let word = match parts.next()? {
        "+" => "recorded",
        "!" => "refused",
        _ => "looked up",
    };
    Some(Scanned { sign: word.into(), time: parts.next()?.into(), words: parts.next()?.trim().into() })
}
