//! What to open for a case, as lines of its set-up sheet.

use super::say::Say;
use super::setup_alike;
use super::shared::{capital, listed, segment};
use crate::domain::readiness::SetReadiness;
use crate::domain::setup_sheet::{Offer, SetUpSheet};
use crate::domain::to_open::{Meant, SetUpPart, ToOpen};

/// A set to open, or a need that none fills.
pub struct OpenRow {
    pub set: String,
    pub href: String,
    pub sentence: String,
    pub place: String,
    pub say: Option<Say>,
    pub why: Vec<String>,
    pub parts: Vec<String>,
}

fn said(status: SetReadiness) -> Say {
    let words = status.words();
    match status {
        SetReadiness::Ready | SetReadiness::ReadyShort => Say::new("ready", "ready", words),
        SetReadiness::InTurn => Say::new("turn2", "turn", words),
        SetReadiness::Held => Say::held(words),
        SetReadiness::NotReady => Say::new("not_ready", "stop", words),
        SetReadiness::Out => Say::new("out", "due", words),
    }
}

fn part(it: &SetUpPart) -> String {
    let mark = it.mark.as_ref().filter(|mark| mark.as_str() != it.asset.as_str());
    let mark = mark.map_or_else(String::new, |mark| format!(", mark {mark}"));
    let at = it.location.as_ref().map_or_else(String::new, |at| format!(", {at}"));
    let not = if it.ready { "" } else { ", not ready" };
    format!(
        "{} {} ({}{mark}; {} {}{at}){not}",
        capital(&it.family.words()),
        it.asset,
        it.name,
        it.line,
        it.position
    )
}

fn row(it: &ToOpen) -> OpenRow {
    OpenRow {
        set: it.set.as_ref().map_or_else(|| "none".into(), ToString::to_string),
        href: it.set.as_ref().map(|set| format!("/sets/{}", segment(set.as_str()))).unwrap_or_default(),
        sentence: it.sentence.clone(),
        place: if it.meant == Some(Meant::Out) { "at this case".into() } else { listed(&it.locations) },
        say: match it.status {
            Some(SetReadiness::Out) if it.meant == Some(Meant::Out) => {
                Some(Say::new("out", "turn", "out, at this case"))
            }
            Some(status) => Some(said(status)),
            None => Some(Say::new("not_ready", "stop", "none free")),
        },
        why: it.why.clone(),
        parts: it.parts.iter().map(part).collect(),
    }
}

pub fn rows(sheet: &SetUpSheet) -> Vec<OpenRow> {
    sheet.to_open.iter().map(row).collect()
}

fn open(sets: impl Iterator<Item = String>, loose: impl Iterator<Item = String>) -> String {
    let loose: Vec<String> = loose.collect();
    setup_alike::to_open(sets.map(|set| format!("set {set}")).collect(), &loose).unwrap_or_default()
}

/// What is opened for one offer by itself.
pub fn of_offer(offer: &Offer) -> String {
    let open = open(offer.open.iter().map(ToString::to_string), offer.loose.iter().map(ToString::to_string));
    let all: Vec<String> =
        std::iter::once(open).filter(|it| !it.is_empty()).chain(offer.beware.clone()).collect();
    all.join(" ")
}

/// All that is opened for the case, and what comes with it that has no set; not what is barred, nor a set that is opened
/// for nothing else.
pub fn of_case(sheet: &SetUpSheet, beware: &[String]) -> String {
    let barred = |asset: &crate::domain::id::Id| sheet.barred.iter().any(|it| it.asset == *asset);
    let shown = sheet.chosen.as_ref().map(|it| &it.fit).or_else(|| sheet.offers.first().map(|it| &it.fit));
    let parts = || shown.iter().flat_map(|fit| &fit.parts);
    let usable = |set: &crate::domain::id::Id| {
        let mut of = parts().filter(|part| part.set.as_ref() == Some(set)).peekable();
        of.peek().is_none() || of.any(|part| part.asset.as_ref().is_none_or(|asset| !barred(asset)))
    };
    let sets = sheet.to_open.iter().filter_map(|it| it.set.as_ref()).filter(|set| usable(set));
    let loose: Vec<String> = match (&sheet.chosen, sheet.offers.first()) {
        (Some(_), _) => {
            let loose = parts().filter(|part| part.set.is_none()).filter_map(|part| part.asset.as_ref());
            loose.filter(|asset| !barred(asset)).map(ToString::to_string).collect()
        }
        (None, Some(offer)) => offer.loose.iter().map(ToString::to_string).collect(),
        (None, None) => Vec::new(),
    };
    let open = open(sets.map(ToString::to_string), loose.into_iter());
    let nothing: Vec<&str> =
        sheet.to_open.iter().filter(|it| it.set.is_none()).map(|it| it.sentence.as_str()).collect();
    let all: Vec<String> = std::iter::once(open)
        .filter(|it| !it.is_empty())
        .chain(nothing.into_iter().map(String::from))
        .chain(beware.iter().cloned())
        .collect();
    all.join(" ")
}
