//! What must be inspected, tested or replaced, in order of need.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::say::{Say, of_asset, of_load_now};
use super::shared::{Page, date, segment, when};
use crate::domain::due::{BIOLOGICAL_PENDING, COUNTERSIGNATURE, DueItem, FLAGGED, REPORTED};
use crate::domain::readiness::{INSPECTION_ASKED, REPLACE_AT};
use crate::domain::state::{Asset, State};
use crate::domain::time::Time;
use crate::domain::visits_due::{LOAN_BACK, LOAN_LACKS, LOT_ENDS, LOT_PAST, STOCK_LOW};
use crate::web::visitor::{Visitor, render};

/// As many as a person reads, or a printer prints, at once.
const PAGE_ROWS: usize = 500;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub after: Option<String>,
    pub done: Option<String>,
}

pub struct Row {
    pub href: String,
    pub called: String,
    pub detail: String,
    pub why: String,
    pub found: String,
    pub since: String,
    pub place: String,
    pub say: Say,
}

#[derive(Template)]
#[template(path = "due.html")]
pub struct DuePage {
    pub page: Page,
    pub heading: String,
    pub rows: Vec<Row>,
    /// How many stand before the rows that are shown.
    pub before: usize,
    pub next: Option<usize>,
}

/// What a thing that is due calls for, in one verb.
fn call(why: &str) -> &'static str {
    match why {
        "max_cycles" | "max_uses" | REPLACE_AT => "to be replaced",
        "inspect_every_cycles" | "inspect_every_days" | INSPECTION_ASKED => "to be inspected",
        REPORTED => "to be looked into",
        FLAGGED | COUNTERSIGNATURE | BIOLOGICAL_PENDING => "to be answered",
        LOAN_BACK | LOAN_LACKS => "to be given back",
        STOCK_LOW => "to be ordered",
        LOT_PAST | LOT_ENDS => "to be taken off the shelf",
        _ => "to be tested",
    }
}

fn measured(item: &DueItem) -> String {
    let unit = match item.why {
        "max_uses" => "uses",
        "max_cycles" | "inspect_every_cycles" => "cycles",
        "inspect_every_days" => "days",
        "empty_cycle" => "good cycles",
        "leak_rate" | "biological" if item.since.is_none() => return "none yet".into(),
        "leak_rate" | "biological" => "days",
        REPORTED => return format!("{} open", item.found),
        INSPECTION_ASKED => return String::new(),
        FLAGGED => return format!("{} failed", item.found),
        COUNTERSIGNATURE | BIOLOGICAL_PENDING => return String::new(),
        LOAN_BACK => return super::shared::count(item.found as usize, "part", "parts"),
        LOAN_LACKS => return format!("{} not gone", item.found),
        LOT_PAST | LOT_ENDS => return super::shared::count(item.found as usize, "piece", "pieces"),
        _ => "",
    };
    let unit = if item.limit == 1 { unit.strip_suffix('s').unwrap_or(unit) } else { unit };
    format!("{} of {} {unit}", item.found, item.limit).trim_end().to_string()
}

/// In what the age of a part's model is told.
fn unit(state: &State, asset: &Asset, one: bool) -> &'static str {
    state.clock_of_model(&asset.model).unit(one)
}

/// What it calls for and why, the same words once.
fn why(item: &DueItem) -> String {
    let (call, words) = (call(item.why), item.words());
    if words.starts_with(call) { words.into() } else { format!("{call}: {words}") }
}

/// On what a request or a limit of the house's own rests.
fn evidence(state: &State, asset: &Asset, why: &str) -> String {
    match why {
        INSPECTION_ASKED => asset.asked.as_ref().map_or_else(String::new, |asked| {
            let chance = asked.evidence.as_ref().map(|it| {
                let high = it.high.as_ref().map_or("and more".into(), |high| format!("to {}", high.0));
                let within = match it.within {
                    1 => format!("1 more {}", unit(state, asset, true)),
                    many => format!("{many} more {}", unit(state, asset, false)),
                };
                format!(" {} % ({} {high} %) to fail within {within}.", it.percent.0, it.low.0)
            });
            format!("{}.{}", asked.reason.trim_end_matches('.'), chance.unwrap_or_default())
        }),
        REPLACE_AT => state.life_limit(&asset.model).map_or_else(String::new, |limit| {
            format!("set at {}. {}", limit.set.clock.told(limit.set.replace_at), limit.set.reason)
        }),
        _ => String::new(),
    }
}

fn row(state: &State, item: &DueItem, now: Time) -> Row {
    let why = why(item);
    // What is due by a day that is still to come has no since, and a countersignature is due on a day, not at an hour.
    let since = item.since.map(|at| match at > now || item.why == COUNTERSIGNATURE {
        true => format!("by {}", date(at.date(state.zone))),
        false => when(state, at, now),
    });
    let since = since.unwrap_or_default();
    let plain = Row {
        href: String::new(),
        called: String::new(),
        detail: String::new(),
        why,
        found: measured(item),
        since,
        place: String::new(),
        say: Say::plain(""),
    };
    if let Some(load) = &item.load {
        return Row {
            href: format!("/loads/{}", segment(load.as_str())),
            called: format!("Load {load}"),
            detail: item.machine.as_ref().map(|id| id.to_string()).unwrap_or_default(),
            say: state.loads.get(load).map_or_else(|| Say::plain(""), |it| of_load_now(state, it)),
            ..plain
        };
    }
    if item.loan.is_some() || item.model.is_some() {
        return visiting(state, item, plain);
    }
    if let Some(machine) = item.machine.as_ref().and_then(|id| state.machines.get(id)) {
        return Row {
            href: format!("/machines/{}", segment(machine.machine.as_str())),
            called: machine.machine.to_string(),
            detail: machine.kind.words().into(),
            say: super::say::of_machine(state, machine, now),
            ..plain
        };
    }
    let Some(asset) = item.asset.as_ref().and_then(|id| state.assets.get(id)) else { return plain };
    let evidence = evidence(state, asset, item.why);
    Row {
        why: if evidence.is_empty() { plain.why } else { format!("{}; {evidence}", plain.why) },
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        called: asset.asset.to_string(),
        detail: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
        place: asset.seat.as_ref().map(|seat| format!("set {}, {}", seat.set, seat.line)).unwrap_or_default(),
        say: of_asset(state, asset, now),
        ..plain
    }
}

/// A loan, or what lies on the shelf.
fn visiting(state: &State, item: &DueItem, plain: Row) -> Row {
    if let Some(loan) = item.loan.as_ref().and_then(|id| state.loans.get(id)) {
        let lacking: Vec<String> = loan.lacking(state).iter().map(|part| part.asset.to_string()).collect();
        let say = match lacking.is_empty() {
            true => Say::due("here"),
            false => {
                Say::new("missing", "stop", format!("left without {}", super::shared::some_of(&lacking, 3)))
            }
        };
        return Row {
            href: format!("/loans/{}", segment(loan.loan.as_str())),
            called: loan.loan.to_string(),
            detail: format!("{} of {}", loan.kind.words(), loan.from.0),
            place: loan.set.as_ref().map(|set| format!("set {set}")).unwrap_or_default(),
            say,
            ..plain
        };
    }
    let Some(model) = item.model.as_ref() else { return plain };
    let say = match item.why {
        LOT_PAST => Say::new("not_ready", "stop", "not to be used, past its date"),
        LOT_ENDS => Say::due("to be used first"),
        _ if item.found == 0 => Say::new("not_ready", "stop", "none on the shelf"),
        _ => Say::due("low"),
    };
    Row {
        href: format!("/shelf#{}", segment(model.as_str())),
        called: state.model(model).map_or_else(|| model.to_string(), |it| it.name.0.clone()),
        detail: item.lot.as_ref().map_or_else(|| model.to_string(), |lot| format!("{model}, lot {lot}")),
        say,
        ..plain
    }
}

fn heading(items: &[DueItem]) -> String {
    let Some(first) = items.first() else {
        return "Nothing is due: no inspection, no test, no replacement.".into();
    };
    let mut kinds: Vec<String> = Vec::new();
    const CALLS: [&str; 8] = [
        "to be answered",
        "to be looked into",
        "to be given back",
        "to be tested",
        "to be replaced",
        "to be inspected",
        "to be ordered",
        "to be taken off the shelf",
    ];
    for call in CALLS {
        let many = items.iter().filter(|item| self::call(item.why) == call).count();
        if many > 0 {
            kinds.push(format!("{many} {call}"));
        }
    }
    let name = first
        .load
        .as_ref()
        .or(first.machine.as_ref())
        .or(first.asset.as_ref())
        .or(first.loan.as_ref())
        .or(first.model.as_ref())
        .map(ToString::to_string)
        .unwrap_or_default();
    if items.len() == 1 {
        return format!("One thing is due: {name}, {}.", first.words());
    }
    format!("{} things are due: {}. First {name}, {}.", items.len(), kinds.join(", "), first.words())
}

impl DuePage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> DuePage {
        let (state, now) = (&*visitor.state, visitor.now);
        let items = state.due(now);
        let before = asked.after.as_deref().and_then(|text| text.parse().ok()).unwrap_or(0).min(items.len());
        let end = before.saturating_add(PAGE_ROWS);
        let shown = items.iter().skip(before).take(PAGE_ROWS);
        DuePage {
            page: Page::of(visitor, "/due", "/due", asked.done.as_deref().and_then(|text| text.parse().ok())),
            heading: heading(&items),
            rows: shown.map(|item| row(state, item, now)).collect(),
            before,
            next: (items.len() > end).then_some(end),
        }
    }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&DuePage::of(&visitor, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn what_is_needed_is_said_once_and_counted_as_people_do() {
        let item = |why, limit, found, none_passed| DueItem {
            asset: None,
            machine: None,
            load: None,
            why,
            since: None,
            limit,
            found,
            none_passed,
            ..DueItem::default()
        };
        assert_eq!(why(&item(INSPECTION_ASKED, 1, 1, false)), "to be inspected, as somebody asked");
        assert_eq!(why(&item("max_uses", 1, 1, false)), "to be replaced: at the maker's limit of uses");
        // Two intervals that one part has passed are told apart.
        let both = ["inspect_every_cycles", "inspect_every_days"].map(|it| why(&item(it, 9, 9, true)));
        assert_ne!(both[0], both[1]);
        let counted = |limit| measured(&item("max_cycles", limit, 1, false));
        assert_eq!((counted(1), counted(2)), ("1 of 1 cycle".into(), "1 of 2 cycles".into()));
    }

    #[test]
    fn the_most_pressing_stands_first() {
        let text = sample::show("due", &DuePage::of(&sample::busy::visitor(), &Asked::default()));
        let says = "<h1>3 things are due: 1 to be looked into, 1 to be tested, 1 to be replaced. First ST-2, air-removal test of this test day.";
        assert!(text.contains(says) && text.contains("49 of 49 cycles"), "{text}");
        let alone = sample::released_alone(crate::domain::person::Role::Lead);
        let text = sample::show("due-signed", &DuePage::of(&alone, &Asked::default()));
        // What is due by a day that is to come has no since, and a load's name leads to the load.
        assert!(text.contains(">by 4 March 2026<") && text.contains("href=\"/loads/S-311\""), "{text}");
        // On the day itself, and after it, no hour is told: it is due on that day.
        let later = crate::web::visitor::Visitor { now: alone.now.plus_minutes(3 * 24 * 60), ..alone };
        let text = sample::show("due-overdue", &DuePage::of(&later, &Asked::default()));
        assert!(text.contains(">by 4 March 2026<") && !text.contains("00:00"), "{text}");
        let far = Asked { after: Some("99999999999999999999".into()), ..Asked::default() };
        sample::show("due-hostile", &DuePage::of(&sample::visitor(), &far));
    }
}
