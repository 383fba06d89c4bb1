//! One part: its life as a line of turns, and what it is now.

use askama::Template;
use axum::extract::{Path, Query, State as Reach};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::headline::part_title;
use super::mark_advice::MarkAdvice;
use super::say::{Say, of_asset, of_stage};
use super::set::{Past, past};
use super::shared::{self, Page, capital, count, date, segment, time};
use super::{course, measure, theatre, told, words};
use crate::domain::asset::Cause;
use crate::domain::event::{Entry, Thing};
use crate::domain::finding::Severity;
use crate::domain::hold::HoldKind;
use crate::domain::inspection_checks::CheckRule;
use crate::domain::model::{Limits, StepKind};
use crate::domain::person::Role;
use crate::domain::readiness::due;
use crate::domain::scan::resolve;
use crate::domain::state::{Asset, Named, Stage, State};
use crate::domain::time::Time;
use crate::formats::json::normal;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const MOST_ENTRIES: usize = 200;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
    pub before: Option<String>,
}

pub struct Act {
    pub words: String,
    pub time: String,
    day: Time,
}

/// A turn with what was done in it, oldest first.
pub struct Turn {
    pub turn: u32,
    pub now: bool,
    pub acts: Vec<Act>,
    /// The steps of the route that are still to come, in the present turn.
    pub to_come: Vec<String>,
}

pub struct Hold {
    pub hold: String,
    pub kind: &'static str,
    pub reason: String,
    pub since: String,
    pub by: String,
    /// The open recall whose hold it is: its answers alone lift it.
    pub recall: Option<(String, String)>,
    pub may_lift: bool,
    /// Who may, for those who may not.
    pub lifters: String,
}

#[derive(Template)]
#[template(path = "asset.html")]
pub struct AssetPage {
    pub page: Page,
    pub asset: String,
    pub heading: String,
    pub say: Say,
    pub facts: Vec<(&'static str, String)>,
    pub limits: Vec<(String, String)>,
    pub due: Vec<Say>,
    pub cautions: Vec<&'static str>,
    pub holds: Vec<Hold>,
    /// What is said of loans, tags and doubts.
    pub notes: Vec<super::visit_notes::Note>,
    pub hold_kinds: Vec<&'static str>,
    pub causes: Vec<(&'static str, String)>,
    pub turns: Vec<Turn>,
    pub history: Vec<Past>,
    pub before: Option<u64>,
    pub in_service: bool,
    pub in_repair: bool,
    pub inspects: bool,
    /// The case at which it is out, or was missed.
    pub at_case: Option<(String, String)>,
    pub missing: bool,
    /// What is known of the search: since when, and the outcome where one is named.
    pub search: String,
    pub outcomes: Vec<(&'static str, String)>,
    pub severities: Vec<(&'static str, String)>,
    pub trouble: String,
    /// What its family is measured for at inspections.
    pub checks: Vec<CheckField>,
    /// The sizes that may be measured of it.
    pub sizes: Vec<measure::SizeField>,
    pub courses: Vec<course::Drawn>,
    /// Whether one more repair is worth its money; empty where it was never repaired.
    pub repairs_said: String,
    pub asked: String,
    /// How large its mark would be on the part itself.
    pub mark: Option<MarkAdvice>,
}

/// A line of the check list as a form shows it.
pub struct CheckField {
    pub check: String,
    pub unit: String,
    pub limit: String,
    pub source: String,
}

fn check_fields(state: &State, asset: &Asset) -> Vec<CheckField> {
    let Some(family) = state.model(&asset.model).map(|model| model.family) else { return Vec::new() };
    let field = |rule: &CheckRule| {
        let within = match (rule.min, rule.max) {
            (Some(min), Some(max)) => format!("{} to {} ", min.0, max.0),
            (Some(min), None) => format!("at least {} ", min.0),
            (None, Some(max)) => format!("at most {} ", max.0),
            (None, None) => String::new(),
        };
        CheckField {
            check: rule.check.0.clone(),
            unit: rule.unit.as_ref().map(|unit| unit.0.clone()).unwrap_or_default(),
            limit: if within.is_empty() {
                "no limit set".into()
            } else {
                format!("{within}{}", rule.unit_words())
            },
            source: rule.source.0.clone(),
        }
    };
    state.check_rules(family).map(field).collect()
}

/// The entries of a life, put under the turns that they belong to. What names no turn stands in the one under way.
fn turns(state: &State, asset: &Asset, entries: &[Entry], now: Time) -> Vec<Turn> {
    let mut all: Vec<Turn> = Vec::new();
    for entry in entries.iter().rev() {
        let (turn, words) = told::act_of(entry, asset.asset.as_str());
        let turn = turn.or_else(|| all.last().map(|turn| turn.turn)).unwrap_or(asset.turn);
        let act = |since: Time| Act { words, time: time(state, entry.at, since), day: entry.at };
        match all.iter_mut().find(|known| known.turn == turn) {
            // The day stands where it changes.
            Some(known) => {
                let before = known.acts.last().map_or(now, |last| last.day);
                known.acts.push(act(before));
            }
            None => all.push(Turn { turn, now: false, acts: vec![act(now)], to_come: Vec::new() }),
        }
    }
    if asset.retired.is_none() {
        let to_come =
            state.route_of(asset).iter().skip(asset.next as usize).map(|step| step.words()).collect();
        match all.iter_mut().find(|known| known.turn == asset.turn) {
            Some(known) => (known.now, known.to_come) = (true, to_come),
            None => all.push(Turn { turn: asset.turn, now: true, acts: Vec::new(), to_come }),
        }
    }
    all.sort_by_key(|turn| std::cmp::Reverse(turn.turn));
    all
}

fn facts(state: &State, asset: &Asset, now: Time) -> Vec<(&'static str, String)> {
    let model = state.model(&asset.model);
    let line = |line: &Option<crate::domain::text::Line>| line.as_ref().map(|line| line.0.clone());
    let mut all = vec![("Standing", asset.standing().words().to_string())];
    all.push(("Stage", of_stage(state, asset, now).words));
    all.extend(state.next_step(asset).map(|step| ("Next step", step.words())));
    all.extend(
        model.map(|model| ("Model", format!("{}, {} ({})", model.family.words(), model.name.0, model.model))),
    );
    all.extend(model.and_then(|model| line(&model.maker)).map(|maker| ("Maker", maker)));
    all.extend(line(&asset.mark).map(|mark| ("Mark", mark)));
    all.extend(line(&asset.serial).map(|serial| ("Serial number", serial)));
    all.extend(asset.measured.as_ref().map(|it| ("Measured", super::told_fit::sizes(it))));
    all.extend(line(&asset.lot).map(|lot| ("Lot", lot)));
    all.extend(line(&asset.supplier).map(|supplier| ("Supplier", supplier)));
    all.extend(line(&asset.location).filter(|_| asset.stage == Stage::Ready).map(|place| ("Place", place)));
    all.extend(asset.acquired.map(|day| ("Acquired", date(day))));
    if let Some(load) = &asset.load {
        let found = state.loads.get(load).map(|load| super::say::of_load_now(state, load));
        let recalled = found.filter(|say| say.is("held")).map(|_| ", which is recalled").unwrap_or_default();
        all.push(("Made ready by", format!("load {load}{recalled}")));
    }
    if asset.stage.in_pack() && asset.load.is_some() {
        let until = asset.sterile_until.map_or_else(|| "while the pack is intact".to_string(), date);
        all.push(("Sterile until", until));
    }
    all.push(("Turn", asset.turn.to_string()));
    all
}

fn limits(state: &State, asset: &Asset) -> Vec<(String, String)> {
    let none = Limits::default();
    let limits = state.model(&asset.model).map_or(&none, |model| &model.limits);
    let of = |limit: Option<u32>, unit: &str| {
        limit.map_or("no limit given".to_string(), |limit| format!("limit {limit}{unit}"))
    };
    let mut all = vec![
        (count(asset.cycles as usize, "steriliser cycle", "steriliser cycles"), of(limits.max_cycles, "")),
        (count(asset.uses as usize, "use", "uses"), of(limits.max_uses, "")),
    ];
    all.extend(
        limits.inspect_every_cycles.map(|every| {
            ("Inspection".into(), format!("every {}", count(every as usize, "cycle", "cycles")))
        }),
    );
    all.extend(
        limits
            .inspect_every_days
            .map(|every| ("Inspection".into(), format!("every {}", count(every as usize, "day", "days")))),
    );
    all.extend(limits.shelf_life_days.map(|days| ("Shelf life".into(), count(days as usize, "day", "days"))));
    all
}

fn holds(state: &State, asset: &Asset, role: Role, now: Time) -> Vec<Hold> {
    let known = asset.holds.iter().filter_map(|held| state.holds.get(&held.hold));
    known
        .map(|hold| Hold {
            hold: hold.hold.to_string(),
            kind: hold.kind.name(),
            reason: hold.reason.clone(),
            since: time(state, hold.placed_at, now),
            by: hold.placed_by.clone(),
            recall: state.recalls.values().find(|recall| recall.hold == hold.hold && recall.is_open()).map(
                |recall| (format!("/recalls/{}", segment(recall.recall.as_str())), recall.recall.to_string()),
            ),
            may_lift: hold.kind.lifted_by().contains(&role),
            lifters: {
                let roles = hold.kind.lifted_by().iter().map(|role| role.words().to_string());
                shared::listed(&roles.collect::<Vec<_>>())
            },
        })
        .collect()
}

/// What is never to be done with it.
fn cautions(state: &State, asset: &Asset) -> Vec<&'static str> {
    let prion = asset.has_hold(HoldKind::Prion) && asset.retired.is_none();
    let sealed = prion.then_some(words::PRION);
    let model = state.model(&asset.model).map(|model| model.cautions()).unwrap_or_default();
    sealed.into_iter().chain(model).collect()
}

fn at_case(state: &State, asset: &Asset) -> Option<(String, String)> {
    let case = theatre::at_case(state, &asset.asset)?;
    Some((format!("/cases/{}", segment(case.as_str())), case.to_string()))
}

fn search(state: &State, asset: &Asset) -> String {
    let known = state.missing.get(&asset.asset).filter(|known| known.over_at.is_none());
    match known {
        None => String::new(),
        Some(_) if asset.missing => crate::domain::missing::since(state, asset),
        Some(known) => {
            let told = known.since.told(state.zone);
            let case = known.case.as_ref().map(|case| format!(" since case {case}")).unwrap_or_default();
            let outcome = known.outcome.map_or("no outcome is named yet", |outcome| outcome.words());
            format!("A piece of it is missing{case}, {told}; {outcome}.")
        }
    }
}

fn heading(state: &State, asset: &Asset, say: &Say) -> String {
    let seat = match &asset.seat {
        Some(seat) => format!(" It belongs to set {}, line {}.", seat.set, seat.line),
        None => " It belongs to no set.".into(),
    };
    // What is sealed has no next step: a named person decides.
    let waits = asset.retired.is_none() && !asset.missing && asset.in_load.is_none();
    let next = state.next_step(asset).filter(|_| waits && !asset.has_hold(HoldKind::Prion));
    let next = next.map(|step| format!(" Next it has to be {}.", step.words())).unwrap_or_default();
    format!("{} is {}.{next}{seat}", part_title(state, &asset.asset), say.words)
}

impl AssetPage {
    pub fn of(visitor: &Visitor, asset: &Asset, history: &[Entry], done: Option<u64>) -> AssetPage {
        let (state, now, role) = (&*visitor.state, visitor.now, visitor.actor.role);
        let say = of_asset(state, asset, now);
        let due_words = |due: &crate::domain::readiness::Due| {
            Say::due(format!("due: {} of {} {}", due.found, due.limit, words::due(due.why)))
        };
        AssetPage {
            page: Page::of(visitor, "/assets", format!("/assets/{}", segment(asset.asset.as_str())), done),
            asset: asset.asset.to_string(),
            heading: heading(state, asset, &say),
            say,
            facts: facts(state, asset, now),
            limits: limits(state, asset),
            due: due(state, asset, now).iter().map(due_words).collect(),
            cautions: cautions(state, asset),
            holds: holds(state, asset, role, now),
            notes: super::visit_notes::notes(state, asset, now),
            hold_kinds: shared::hold_kinds(role),
            causes: Cause::ALL
                .iter()
                .map(|cause| (cause.name(), capital(&cause.name().replace('_', " "))))
                .collect(),
            turns: turns(state, asset, history, now),
            history: past(state, history, now),
            before: (history.len() >= MOST_ENTRIES).then(|| history.last().map(|entry| entry.seq)).flatten(),
            in_service: asset.retired.is_none(),
            in_repair: asset.in_repair,
            inspects: state.next_step(asset).is_some_and(|step| step.step == StepKind::Inspected),
            at_case: at_case(state, asset),
            missing: asset.missing,
            search: search(state, asset),
            outcomes: theatre::outcomes(),
            severities: Severity::ALL.iter().map(|it| (it.name(), capital(it.words()))).collect(),
            trouble: String::new(),
            checks: check_fields(state, asset),
            sizes: measure::fields(state, asset),
            courses: state
                .courses(asset)
                .iter()
                .enumerate()
                .map(|(n, it)| course::drawn(it, &format!("course{n}")))
                .collect(),
            repairs_said: match state.repair_or_replace(asset, now) {
                told if told.repairs == 0 => String::new(),
                told => told.said,
            },
            asked: asset.asked.as_ref().map(|it| it.reason.clone()).unwrap_or_default(),
            mark: MarkAdvice::of(state, asset, visitor.now.in_zone(state.zone).date_naive()),
        }
    }
}

pub async fn get(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(scan): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    let state = visitor.state.clone();
    let found = match resolve(&state, &normal(&scan)) {
        Ok(Named::Asset(id)) => state.assets.get(&id),
        Ok(Named::Set(id)) => {
            return Redirect::to(&format!("/sets/{}", segment(id.as_str()))).into_response();
        }
        Err(_) => None,
    };
    let Some(asset) = found else {
        return super::problem::not_found("part", &scan, "/assets", "All parts");
    };
    let before = asked.before.and_then(|text| text.parse().ok());
    let thing = Thing::asset(asset.asset.as_str());
    let history = app.house.history(&state.site, &thing, before, MOST_ENTRIES).await;
    let done = asked.done.and_then(|text| text.parse().ok());
    let mut page = AssetPage::of(&visitor, asset, history.as_deref().unwrap_or_default(), done);
    if let Err(unavailable) = history {
        page.trouble = format!("Its life cannot be shown now (operation {}).", unavailable.operation);
    }
    render(&page)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn a_life_is_a_line_of_turns() {
        let visitor = sample::visitor();
        let asset = visitor.state.assets.get("T-0142").unwrap();
        let history = sample::history(&Thing::asset("T-0142"));
        let text = sample::show("asset", &AssetPage::of(&visitor, asset, &history, None));
        assert!(text.contains("Turn 2") && text.contains("on hold"));
    }
}
