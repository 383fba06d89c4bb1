//! Strangers and parts in doubt: what is it, whose is it, who was told, and what is to be done?

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::say::{Say, of_asset};
use super::shared::{Page, capital, count, segment, some_of, time};
use crate::domain::mixed::Mixed;
use crate::domain::state::State;
use crate::domain::stranger::{Stranger, StrangerKind, StrangerOutcome};
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

pub struct Row {
    pub tag: String,
    pub href: String,
    pub certificate: String,
    pub kind: &'static str,
    pub looks: String,
    pub mark: String,
    pub owner: String,
    pub same_as: String,
    pub received: String,
    pub asks: String,
    /// Each time that an owner was told.
    pub told: Vec<String>,
    /// What was settled of it so far.
    pub settled: Vec<String>,
    pub theirs: bool,
    pub say: Say,
}

pub struct Doubt {
    pub doubt: String,
    pub parts: Vec<(String, String)>,
    pub how: String,
    pub since: String,
    pub settled: String,
    /// Two alone may be settled with one press.
    pub pair: Option<(String, String)>,
}

#[derive(Template)]
#[template(path = "strangers.html")]
pub struct StrangersPage {
    pub page: Page,
    pub heading: String,
    pub kinds: Vec<(&'static str, &'static str)>,
    pub models: Vec<(String, String)>,
    pub scan: String,
    pub open: Vec<Row>,
    pub settled: Vec<Row>,
    pub doubts: Vec<Doubt>,
    pub over: Vec<Doubt>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub scan: Option<String>,
    pub done: Option<String>,
}

/// As many as a person reads of what is over.
const MOST_OVER: usize = 50;

fn row(state: &State, it: &Stranger, now: Time) -> Row {
    let told = it
        .owners_told
        .iter()
        .map(|told| format!("{} told {}: {}", told.owner.0, time(state, told.told.at, now), told.words));
    let settled = it.settled.iter().map(|settled| {
        let asset = settled.asset.as_ref().map(|asset| format!(", {asset}")).unwrap_or_default();
        let words = settled.words.as_ref().map(|words| format!(": {words}")).unwrap_or_default();
        format!(
            "{}{asset}, {}, {}{words}",
            settled.outcome.words(),
            settled.told.by,
            time(state, settled.told.at, now)
        )
    });
    let asset = state.assets.get(&it.tag);
    Row {
        tag: it.tag.to_string(),
        href: format!("/assets/{}", segment(it.tag.as_str())),
        certificate: format!("/strangers/{}/certificate", segment(it.tag.as_str())),
        kind: it.kind.words(),
        looks: it.looks.0.clone(),
        mark: it.mark.as_ref().map(|mark| mark.0.clone()).unwrap_or_default(),
        owner: it.owner.as_ref().map(|owner| owner.0.clone()).unwrap_or_default(),
        same_as: it.doubts().map(ToString::to_string).unwrap_or_default(),
        received: format!("{}, {}", time(state, it.received.at, now), it.received.by),
        asks: capital(&it.asks()),
        told: told.collect(),
        settled: settled.collect(),
        theirs: it.outcome().is_some_and(|it| it.outcome == StrangerOutcome::Theirs),
        say: asset.map_or_else(|| Say::plain(""), |asset| of_asset(state, asset, now)),
    }
}

fn doubt(state: &State, it: &Mixed, now: Time) -> Doubt {
    let parts: Vec<(String, String)> = it
        .assets()
        .map(|asset| (format!("/assets/{}", segment(asset.as_str())), asset.to_string()))
        .collect();
    let settled = it.settled.as_ref().map(|settled| {
        let swapped: Vec<String> = settled
            .swapped
            .iter()
            .map(|(asset, was)| format!("{asset} is the piece that was {was}"))
            .collect();
        let found = match swapped.is_empty() {
            true => "each is what its record says".to_string(),
            false => some_of(&swapped, 6),
        };
        format!("{found}: {} ({}, {})", settled.how, settled.told.by, time(state, settled.told.at, now))
    });
    let pair = match it.groups.as_slice() {
        [group] => match group.as_slice() {
            [one, two] => Some((one.asset.to_string(), two.asset.to_string())),
            _ => None,
        },
        _ => None,
    };
    Doubt {
        doubt: it.doubt.to_string(),
        parts,
        how: it.how.clone(),
        since: format!("{}, {}", time(state, it.since.at, now), it.since.by),
        settled: settled.unwrap_or_default(),
        pair,
    }
}

fn heading(open: &[Row], doubts: &[Doubt]) -> String {
    let strangers = count(open.len(), "stranger is", "strangers are");
    let mixed = count(doubts.len(), "doubt of identity is", "doubts of identity are");
    match (open.first(), doubts.first()) {
        (None, None) => "No stranger is here, and every part is what its record says.".into(),
        (None, Some(doubt)) => {
            let parts: Vec<String> = doubt.parts.iter().map(|part| part.1.clone()).collect();
            format!("{mixed} open: {} may be each other.", some_of(&parts, 6))
        }
        (Some(first), None) => format!("{strangers} here. {}: {}.", first.tag, first.asks),
        (Some(first), Some(_)) => {
            format!("{strangers} here, and {mixed} open. {}: {}.", first.tag, first.asks)
        }
    }
}

impl StrangersPage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> StrangersPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let open: Vec<Row> = state.open_strangers().iter().map(|it| row(state, it, now)).collect();
        let mut over: Vec<_> = state.strangers.values().filter(|it| !it.is_open()).collect();
        over.sort_by_key(|it| std::cmp::Reverse((it.outcome().map(|it| it.told.at), it.tag.clone())));
        let (mut unsettled, mut known): (Vec<_>, Vec<_>) = state.mixed.values().partition(|it| it.is_open());
        unsettled.sort_by_key(|it| (it.since.at, it.doubt.clone()));
        known.sort_by_key(|it| std::cmp::Reverse((it.since.at, it.doubt.clone())));
        let doubts: Vec<Doubt> = unsettled.into_iter().map(|it| doubt(state, it, now)).collect();
        let known_model = |name: &str| name != crate::domain::stranger::NOT_IDENTIFIED;
        StrangersPage {
            page: Page::of(
                visitor,
                "/strangers",
                "/strangers",
                asked.done.as_deref().and_then(|text| text.parse().ok()),
            ),
            heading: heading(&open, &doubts),
            kinds: StrangerKind::ALL.iter().map(|kind| (kind.name(), kind.words())).collect(),
            models: state
                .models
                .values()
                .filter(|model| known_model(model.model.as_str()) && !model.single_use)
                .map(|model| (model.model.to_string(), model.name.0.clone()))
                .collect(),
            scan: asked.scan.clone().unwrap_or_default(),
            open,
            settled: over.into_iter().take(MOST_OVER).map(|it| row(state, it, now)).collect(),
            doubts,
            over: known.into_iter().take(MOST_OVER).map(|it| doubt(state, it, now)).collect(),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&StrangersPage::of(&visitor, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    #[test]
    fn what_is_in_doubt_says_what_to_do() {
        let text = sample::show(
            "strangers",
            &StrangersPage::of(&sample::visiting::visitor(Role::Lead), &Asked::default()),
        );
        let says = "<h1>1 stranger is here, and 1 doubt of identity is open. tag-0001: Its mark is that of loan-0002.1 of this house";
        assert!(text.contains(says), "{text}");
        assert!(
            text.contains("MIX-1 and MIX-2 were swapped") && text.contains("tag-0001 is theirs"),
            "{text}"
        );
        // What it is, the lead says; the desk sees it go.
        let desk = sample::show(
            "strangers-desk",
            &StrangersPage::of(&sample::visiting::visitor(Role::Desk), &Asked::default()),
        );
        assert!(desk.contains("was fetched by its owner") && !desk.contains("tag-0001 is theirs"), "{desk}");
        let part = sample::visiting::visitor(Role::Desk);
        let notes =
            crate::web::pages::visit_notes::notes(&part.state, part.state.asset("MIX-1").unwrap(), part.now);
        assert!(notes.iter().any(|note| note.words.contains("It has 3 to 30 cycles")), "a range");
    }
}
