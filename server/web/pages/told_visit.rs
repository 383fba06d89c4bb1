//! Entries of loans, strangers, doubts of identity and the shelf, in words.

use super::shared::{count, some_of};
use crate::domain::event::{Event, What};
use crate::domain::id::Id;
use crate::domain::loan::{Arrived, LoanLeft};
use crate::domain::text::ended;
use crate::domain::time::told_day;

fn names<'a>(all: impl Iterator<Item = &'a Id>) -> String {
    some_of(&all.map(Id::to_string).collect::<Vec<_>>(), 6)
}

fn arrived(it: &Arrived) -> String {
    let set = it.set.as_ref().map(|set| format!(" as set {}", set.set)).unwrap_or_default();
    let parts = count(it.parts.len(), "part", "parts");
    let sheet = match it.pieces {
        Some(pieces) if pieces as usize != it.parts.len() => {
            format!(" Its count sheet names {pieces}.")
        }
        Some(_) => String::new(),
        None => " No count sheet came with it.".into(),
    };
    let risk = match (&it.instructions, &it.risk) {
        (Some(edition), _) => format!(" Maker's instructions: {}.", edition.0),
        (None, Some(risk)) => {
            format!(" Without the maker's instructions; the risk was taken by name: {}", ended(&risk.reason))
        }
        (None, None) => " Without the maker's instructions.".into(),
    };
    let back = it.due_back.map(|day| format!(" It goes back by {}.", told_day(day))).unwrap_or_default();
    format!("{} of {} arrived{set}, {parts}.{sheet}{risk}{back}", it.loan, it.from.0)
}

fn left(it: &LoanLeft) -> String {
    let lacking = match it.lacking.is_empty() {
        true => String::new(),
        false => format!(" Without {}.", names(it.lacking.iter())),
    };
    let not = it.not_decontaminated.as_ref().filter(|_| it.parts.iter().any(|part| part.by.is_none()));
    let not = not.map(|why| format!(" NOT DECONTAMINATED: {}", ended(why))).unwrap_or_default();
    format!("{} left, {}.{lacking}{not}", it.loan, count(it.parts.len(), "part", "parts"))
}

pub fn sentence(event: &Event) -> Option<String> {
    Some(match &event.what {
        What::Arrived(it) => arrived(it),
        What::LoanLeft(it) => left(it),
        What::StrangerReceived(it) => {
            let same = it.same_as.as_ref().map(|ours| format!(" Its mark is that of {ours}."));
            format!(
                "{} received, {}: {}.{}",
                it.added.asset,
                it.kind.words(),
                it.looks.0,
                same.unwrap_or_default()
            )
        }
        What::OwnerTold(it) => format!("{} told of {}: {}", it.owner.0, it.stranger, ended(&it.words)),
        What::StrangerSettled(it) => {
            let asset = it.asset.as_ref().map(|asset| format!(", {asset}")).unwrap_or_default();
            let words = it.words.as_ref().map(|words| format!(": {}", ended(words)));
            format!("{}: {}{asset}{}", it.stranger, it.outcome.words(), words.unwrap_or_else(|| ".".into()))
        }
        What::IdentityDoubted(it) => {
            let groups: Vec<String> =
                it.groups.iter().map(|group| names(group.iter().map(|part| &part.asset))).collect();
            format!("{}: {} may be each other. {}", it.doubt, groups.join("; "), ended(&it.how))
        }
        What::IdentitySettled(it) => {
            let swapped: Vec<String> = it
                .swapped
                .iter()
                .map(|(asset, was)| format!("{asset} is the piece that was {was}"))
                .collect();
            let found = match swapped.is_empty() {
                true => "each is what its record says".to_string(),
                false => some_of(&swapped, 6),
            };
            format!("{} settled, {found}: {}", it.doubt, ended(&it.how))
        }
        What::StockTakenIn(it) => {
            let lot = it.lot.as_ref().map(|lot| format!(", lot {}", lot.0)).unwrap_or_default();
            let day = it.expires.map(|day| format!(", good until {}", told_day(day))).unwrap_or_default();
            format!("{} of {} taken onto the shelf{lot}{day}.", it.quantity, it.model)
        }
        What::StockTakenOut(it) => {
            let lot = it.lot.as_ref().map(|lot| format!(", lot {}", lot.0)).unwrap_or_default();
            format!("{} of {} taken off the shelf{lot}: {}.", it.quantity, it.model, it.why.words())
        }
        What::StockMinimumSet(it) => format!("Minimum of {} on the shelf set to {}.", it.model, it.minimum),
        What::StockUsed(it) => {
            let items: Vec<String> = it
                .items
                .iter()
                .map(|used| {
                    let lot = used.lot.as_ref().map(|lot| format!(", lot {}", lot.0)).unwrap_or_default();
                    let serial = used
                        .serial
                        .as_ref()
                        .map(|serial| format!(", number {}", serial.0))
                        .unwrap_or_default();
                    format!("{} of {}{lot}{serial}", used.quantity, used.model)
                })
                .collect();
            format!("Used of the shelf at case {}: {}.", it.case, items.join("; "))
        }
        _ => return None,
    })
}

/// What such an entry says of one part.
pub fn act(event: &Event, asset: &str) -> Option<(Option<u32>, String)> {
    Some(match &event.what {
        What::Arrived(it) => {
            let part = it.parts.iter().find(|part| part.asset.as_str() == asset)?;
            let turn = part.again.as_ref().map_or(1, |again| again.moved.turn);
            (Some(turn), format!("arrived with {}", it.loan))
        }
        What::LoanLeft(it) => match it.parts.iter().find(|part| part.asset.as_str() == asset) {
            Some(part) => (Some(part.turn), format!("left with {}", it.loan)),
            None => (None, format!("not among what left with {}", it.loan)),
        },
        What::StrangerReceived(it) if it.added.asset.as_str() == asset => {
            (Some(1), format!("received as a stranger, {}", it.kind.words()))
        }
        What::StrangerReceived(it) => (None, format!("its mark stands on {} too", it.added.asset)),
        What::OwnerTold(it) => (None, format!("{} told", it.owner.0)),
        What::StrangerSettled(it) => (None, it.outcome.words().into()),
        What::IdentityDoubted(it) => (None, format!("mixed with others, {}", it.doubt)),
        What::IdentitySettled(it) => (None, format!("{} settled", it.doubt)),
        _ => return None,
    })
}
