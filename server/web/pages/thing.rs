//! What is in my hand and what does it need next? Answers a scan, and offers the next act first.

use std::collections::BTreeMap;

use super::headline::part_title;
use super::say::{Say, of_asset, of_set};
use super::shared::{count, segment, time};
use super::words::{self, PRION};
use crate::domain::hold::HoldKind;
use crate::domain::immediate_use::USE_NOW;
use crate::domain::model::{Method, RouteStep, StepKind};
use crate::domain::readiness::{due, set_status};
use crate::domain::refusal::Problem;
use crate::domain::scan::resolve;
use crate::domain::set::SetState;
use crate::domain::sink;
use crate::domain::state::{Asset, Named, Stage, Standing, State};
use crate::domain::step::Broken;
use crate::domain::time::Time;
use crate::formats::json::normal;

/// An act that the desk offers for what was scanned.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// As the desk's form sends it.
    pub act: String,
    pub label: String,
}

impl Offer {
    fn new(act: impl Into<String>, label: impl Into<String>) -> Offer {
        Offer { act: act.into(), label: label.into() }
    }
}

/// What a scan found.
pub struct Thing {
    pub scan: String,
    pub href: String,
    /// "Telescope T-0142, 0° 4.0 × 300"
    pub called: String,
    pub say: Say,
    pub next: String,
    pub facts: Vec<String>,
    pub cautions: Vec<&'static str>,
    /// What somebody reported as wrong with it and nobody has looked into, and what is missing: loud.
    pub loud: Vec<String>,
    /// The obvious one first.
    pub offers: Vec<Offer>,
    pub other_offers: Vec<Offer>,
    /// It lies in a closed pack, or one of its parts does.
    pub in_pack: bool,
    /// What stands in the heading instead of "how it stands, what is next": it, or one of its parts, is looked for.
    pub alarm: String,
}

pub fn look_up(state: &State, scan: &str, now: Time) -> Result<Thing, Problem> {
    match resolve(state, &normal(scan))? {
        Named::Asset(id) => match state.assets.get(&id) {
            Some(asset) => Ok(of_part(state, asset, scan, now)),
            None => Err(crate::domain::model::unknown("part", scan)),
        },
        Named::Set(id) => match state.sets.get(&id) {
            Some(set) => Ok(of_tray(state, set, scan, now)),
            None => Err(crate::domain::model::unknown("set", scan)),
        },
    }
}

/// What a route's step is done by at the desk.
fn offers(step: RouteStep) -> Vec<Offer> {
    match (step.step, step.by()) {
        (StepKind::Inspected, _) => vec![Offer::new("inspect:passed", "Inspected, passed")],
        (StepKind::Sterilised, _) => vec![Offer::new("load", "Start a steriliser load with it")],
        (StepKind::Disinfected, by) if by != Some(Method::Manual) => {
            vec![Offer::new("load", "Start a washer load with it")]
        }
        (step, _) => vec![Offer::new(format!("step:{}", step.name()), super::shared::capital(step.words()))],
    }
}

/// The same, where its cleaning begins too late: recorded with what that asks for.
fn at_sink(step: RouteStep, late: bool) -> Vec<Offer> {
    match step.step {
        StepKind::Cleaned | StepKind::Ultrasonic if late => {
            let label = format!("{}, and the delayed steps done", super::shared::capital(step.step.words()));
            vec![Offer::new(format!("delayed:{}", step.step.name()), label)]
        }
        _ => offers(step),
    }
}

/// The ways in which an inspection is not passed.
fn not_passed() -> Vec<Offer> {
    vec![
        Offer::new("inspect:reclean", "Not passed: clean it again"),
        Offer::new("inspect:hold", "Not passed: on hold"),
        Offer::new("inspect:repair", "Not passed: to repair"),
        Offer::new("inspect:retire", "Not passed: to be retired"),
    ]
}

/// The reasons for which a closed pack is unsterile.
fn broke() -> impl Iterator<Item = Offer> {
    Broken::ALL
        .into_iter()
        .map(|why| Offer::new(format!("broken:{}", why.name()), format!("Pack broken: {}", why.words())))
}

/// What begins the next turn of a part that is out, or that came back without anybody having said that it went.
fn came_back() -> Vec<Offer> {
    [StepKind::Received, StepKind::Treated]
        .map(|step| Offer::new(format!("step:{}", step.name()), format!("It came back: {}", step.words())))
        .into()
}

/// Enter does one act: the first; the others stand behind it.
fn one_first(mut offers: Vec<Offer>, others: Vec<Offer>) -> (Vec<Offer>, Vec<Offer>) {
    let mut rest = offers.split_off(offers.len().min(1));
    rest.extend(others);
    (offers, rest)
}

/// Where a part sits, what holds it, what is due, and how far it has come.
fn facts_of(state: &State, asset: &Asset, now: Time) -> Vec<String> {
    let mut facts = Vec::new();
    if let Some(seat) = &asset.seat {
        facts.push(format!("In set {}, line {}, position {}.", seat.set, seat.line, seat.position));
    }
    for held in &asset.holds {
        let reason = state.holds.get(&held.hold).map_or("", |hold| hold.reason.as_str());
        facts.push(format!("{} hold {}: {reason}", super::shared::capital(held.kind.name()), held.hold));
    }
    facts.extend(sink::clock(state, asset, now).map(|clock| super::shared::capital(&clock.words()) + "."));
    facts.extend(
        due(state, asset, now)
            .iter()
            .map(|due| format!("Due: {} of {} {}.", due.found, due.limit, words::due(due.why))),
    );
    facts.push(format!(
        "Turn {}, {}, {}.",
        asset.turn,
        count(asset.cycles as usize, "steriliser cycle", "steriliser cycles"),
        count(asset.uses as usize, "use", "uses")
    ));
    facts
}

/// What has to be said at once of a part that is scanned: that it is looked for, and what was reported of it.
pub fn loud_of(state: &State, asset: &Asset, now: Time) -> Vec<String> {
    let mut all = Vec::new();
    if asset.has_hold(HoldKind::Prion) {
        all.push(format!("{}: {PRION}", asset.asset));
    }
    if let Some(clock) = sink::clock(state, asset, now).filter(|clock| clock.is_over()) {
        let steps = state.model(&asset.model).map(sink::steps_of);
        let steps = steps.map(|steps| format!(": {}", steps.0)).unwrap_or_default();
        all.push(format!("{} is {}. It goes the delayed way{steps}.", asset.asset, clock.words()));
    }
    if state.use_now(asset).is_some() {
        all.push(format!("{}: {USE_NOW}. It came straight from the steriliser for one case.", asset.asset));
    }
    if asset.missing {
        all.push(crate::domain::missing::since(state, asset));
    }
    for it in state.open_findings(&asset.asset) {
        let case = it.case.as_ref().map(|case| format!(" at case {case}")).unwrap_or_default();
        let at = super::shared::when(state, it.at, now);
        all.push(format!(
            "{} was reported{case}, {at}: {} ({}, {}).",
            asset.asset,
            it.what,
            it.severity.words(),
            it.finding
        ));
    }
    all
}

/// The same of a set. What is said of many of its parts alike is said once.
fn loud_of_tray(state: &State, members: &[&std::sync::Arc<Asset>], now: Time) -> Vec<String> {
    let mut all: Vec<(String, Vec<&str>)> = Vec::new();
    for asset in members {
        for words in loud_of(state, asset, now) {
            let own = words.strip_prefix(asset.asset.as_str()).map(str::to_string);
            let of = own.clone().unwrap_or(words);
            match all.iter_mut().find(|(known, _)| own.is_some() && *known == of) {
                Some((_, names)) => names.push(asset.asset.as_str()),
                None => all.push((of, own.map(|_| asset.asset.as_str()).into_iter().collect())),
            }
        }
    }
    let one = |(words, names): (String, Vec<&str>)| match names.as_slice() {
        [] => words,
        [one] => format!("{one}{words}"),
        [first, rest @ ..] => {
            let first = first.to_string();
            format!(
                "{first} and {} of the same set{words}",
                super::shared::count(rest.len(), "part", "parts")
            )
        }
    };
    all.into_iter().map(one).collect()
}

/// What is said first of a part that is looked for, and to whom, while nobody has named an outcome.
fn alarm(state: &State, asset: &Asset, now: Time) -> String {
    let name = part_title(state, &asset.asset);
    let known = state.missing.get(&asset.asset).filter(|known| known.over_at.is_none());
    let Some(known) = known.filter(|_| asset.missing) else {
        return if asset.has_hold(HoldKind::Prion) { format!("{name}: {PRION}") } else { String::new() };
    };
    let since = time(state, known.since, now);
    match (&known.case, known.outcome) {
        (Some(case), None) => format!(
            "{name} was missing after case {case}, since {since}: tell the charge nurse at once; it was a possible retained item."
        ),
        (None, None) => format!("{name} is missing since {since}: tell the charge nurse at once."),
        (Some(case), Some(outcome)) => format!(
            "{name} was missing after case {case}, since {since}; outcome of the search: {}. Tell the charge nurse.",
            outcome.words()
        ),
        (None, Some(outcome)) => {
            format!("{name} is missing since {since}; outcome of the search: {}.", outcome.words())
        }
    }
}

/// A part that is missing and lies here is told as such; the ledger goes on from there.
fn is_here(asset: &Asset) -> Vec<Offer> {
    vec![Offer::new("found:", format!("It is found: {}", asset.asset))]
}

fn of_part(state: &State, asset: &Asset, scan: &str, now: Time) -> Thing {
    let model = state.model(&asset.model);
    let name = model.map(|model| format!(", {}", model.name.0)).unwrap_or_default();
    let facts = facts_of(state, asset, now);
    let gone = !matches!(asset.standing(), Standing::InService | Standing::Held);
    let step = state.next_step(asset).filter(|_| !gone);
    let back = matches!(asset.stage, Stage::Ready | Stage::Issued | Stage::InUse) && !gone;
    let (next, first) = match (&asset.in_load, step) {
        _ if asset.has_hold(HoldKind::Prion) => (PRION.into(), Vec::new()),
        (Some(load), _) => (format!("Release or reject load {load} first."), Vec::new()),
        (None, Some(step)) => {
            let late = sink::clock(state, asset, now).is_some_and(|clock| clock.is_over());
            (format!("Next it has to be {}.", step.words()), at_sink(step, late))
        }
        (None, None) if asset.stage == Stage::Ready && !gone => {
            ("It needs nothing more in this turn.".into(), Vec::new())
        }
        (None, None) if back => ("Next it has to come back.".into(), came_back()),
        (None, None) if asset.standing() == Standing::Missing => {
            ("Say that it is found, if it is in your hand.".into(), is_here(asset))
        }
        (None, None) => {
            (format!("It is {}; there is no next step here.", asset.standing().words()), Vec::new())
        }
    };
    let mut other = if asset.stage == Stage::Ready && !gone { came_back() } else { Vec::new() };
    if step.is_some_and(|step| step.step == StepKind::Inspected) {
        other.extend(not_passed());
    }
    let in_pack = asset.stage.in_pack() && !gone;
    if in_pack {
        other.extend(broke());
    }
    let (first, other) = one_first(first, other);
    Thing {
        scan: scan.into(),
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        called: format!("{}{name}", part_title(state, &asset.asset)),
        say: of_asset(state, asset, now),
        next,
        facts,
        cautions: model.map(|model| model.cautions()).unwrap_or_default(),
        loud: loud_of(state, asset, now),
        offers: first,
        other_offers: other,
        in_pack,
        alarm: alarm(state, asset, now),
    }
}

/// The members that wait, by the step that they wait for, in the order of the route.
fn waiting(state: &State, set: &SetState) -> BTreeMap<StepKind, (RouteStep, usize)> {
    let mut groups: BTreeMap<StepKind, (RouteStep, usize)> = BTreeMap::new();
    for asset in state.members(set) {
        let here = asset.in_load.is_none()
            && matches!(asset.standing(), Standing::InService | Standing::Held)
            && !asset.has_hold(HoldKind::Prion);
        if let Some(step) = state.next_step(asset).filter(|_| here) {
            groups.entry(step.step).or_insert((step, 0)).1 += 1;
        }
    }
    groups
}

fn of_tray(state: &State, set: &SetState, scan: &str, now: Time) -> Thing {
    let status = set_status(state, set, now);
    let groups = waiting(state, set);
    let members: Vec<_> = state.members(set).collect();
    let out = members.iter().any(|part| part.stage.is_out());
    let ready = !members.is_empty() && members.iter().all(|part| part.stage == Stage::Ready);
    let mut facts: Vec<String> = groups
        .values()
        .map(|(step, number)| {
            let verb = if *number == 1 { "waits" } else { "wait" };
            format!("{} {verb} to be {}.", count(*number, "part", "parts"), step.words())
        })
        .collect();
    let loaded: Vec<_> = members.iter().filter_map(|part| part.in_load.as_ref()).collect();
    if let Some(load) = loaded.first() {
        facts.push(format!(
            "{} in load {load}, which is not decided.",
            count(loaded.len(), "part is", "parts are")
        ));
    }
    let left = |clock: &sink::Clock| i64::from(clock.limit_minutes) - clock.waited_minutes;
    let clock = members.iter().filter_map(|part| sink::clock(state, part, now)).min_by_key(left);
    facts.extend(clock.filter(|clock| !clock.is_over()).map(|it| super::shared::capital(&it.words()) + "."));
    // The status names the first three; more than these are told in full.
    if status.missing.len() > 3 {
        facts.push(format!("Short of {}.", super::shared::listed(&status.missing)));
    }
    let mut steps = groups.values().map(|(step, _)| *step);
    let (next, offers_first) = match steps.next() {
        Some(step) => {
            let over = |part: &&std::sync::Arc<Asset>| {
                sink::clock(state, part, now).is_some_and(|clock| clock.is_over())
            };
            let late = members.iter().any(over);
            (format!("Next it has to be {}.", step.words()), at_sink(step, late))
        }
        None if members.iter().any(|part| part.has_hold(HoldKind::Prion)) => (PRION.into(), Vec::new()),
        None if members.is_empty() => ("It is empty; put its parts in.".to_string(), Vec::new()),
        None if !loaded.is_empty() => ("Its load has to be released or rejected.".into(), Vec::new()),
        None if out => ("Next it has to come back.".into(), came_back()),
        None => ("It needs nothing more in this turn.".into(), Vec::new()),
    };
    let mut other: Vec<Offer> = steps.flat_map(offers).collect();
    if groups.contains_key(&StepKind::Inspected) {
        other.extend(not_passed());
    }
    if ready || (out && !groups.is_empty()) {
        other.extend(came_back());
    }
    let in_pack = members.iter().any(|part| part.stage.in_pack() && part.counts());
    if in_pack {
        other.extend(broke());
    }
    let (offers_first, other) = one_first(offers_first, other);
    Thing {
        scan: scan.into(),
        href: format!("/sets/{}", segment(set.set.as_str())),
        called: format!("Set {}, {}, {}", set.set, set.name.0, count(members.len(), "part", "parts")),
        say: of_set(state, &status, now),
        next,
        facts,
        cautions: Vec::new(),
        loud: loud_of_tray(state, &members, now),
        offers: offers_first,
        other_offers: other,
        in_pack,
        alarm: String::new(),
    }
}
