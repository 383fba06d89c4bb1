//! What is opened for a case: every set that it needs, with what of it belongs to the set-up beside the configuration
//! (camera head, light cable, injector …), which one is meant, and what lacks.

use std::collections::BTreeSet;

use serde::Serialize;

use super::allotted::counting_on;
use super::case::{Case, Technique};
use super::fit::Fit;
use super::fit_house::House;
use super::id::Id;
use super::issuing::is_ready;
use super::model::Family;
use super::readiness::{SetReadiness, glance};
use super::set::SetState;
use super::setup_sheet::Cost;
use super::state::{Asset, State};
use super::time::Time;

/// How it is known which set is meant.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Meant {
    /// It is out at the case already.
    Out,
    /// It is kept for the case.
    Kept,
    /// What was chosen lies in it.
    Chosen,
    /// What is offered first lies in it.
    Offered,
    /// The board counts on it for the case.
    CountedOn,
}

impl Meant {
    fn words(self) -> &'static str {
        match self {
            Meant::Out => "out at this case",
            Meant::Kept => "kept for this case",
            Meant::Chosen => "what was chosen lies in it",
            Meant::Offered => "the best offer lies in it",
            Meant::CountedOn => "the board counts on it for this case, and nobody has kept it yet",
        }
    }
}

/// A part of the set-up that stands in no configuration.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetUpPart {
    pub asset: Id,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mark: Option<String>,
    pub family: Family,
    pub name: String,
    pub line: String,
    pub position: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub location: Option<String>,
    pub ready: bool,
}

/// A set to open, or a need that none fills.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ToOpen {
    pub count_sheet: Id,
    pub name: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub meant: Option<Meant>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub status: Option<SetReadiness>,
    /// Where its parts are.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub locations: Vec<String>,
    /// Which one is meant and how it stands, and what opening it costs others.
    pub sentence: String,
    /// Why it is not simply ready, and what lacks in it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub why: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub costs: Vec<Cost>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<SetUpPart>,
}

/// What belongs to a set-up and stands in no configuration.
pub(super) const BESIDE: [Family; 5] =
    [Family::CameraHead, Family::LightCable, Family::LightSource, Family::Injector, Family::MouthGuard];
/// What may stand in the configuration; where none of its family does, the set's own is told.
const EITHER: [Family; 3] = [Family::JetAdapter, Family::SuctionTube, Family::Telescope];

/// Every set to open for a case, those of its needs first.
pub fn to_open(house: &House, case: &Case, shown: Option<&Fit>, chosen: bool) -> Vec<ToOpen> {
    let state = house.setting.state;
    let fit_sets: BTreeSet<&Id> =
        shown.iter().flat_map(|fit| &fit.parts).filter_map(|part| part.set.as_ref()).collect();
    let mut all = Vec::new();
    let mut taken: BTreeSet<Id> = BTreeSet::new();
    let needs = house.allotted.iter().find(|it| it.case.case == case.case);
    for need in needs.iter().flat_map(|it| &it.needs) {
        let of_fit = fit_sets.iter().copied().find(|id| {
            !taken.contains(*id) && state.sets.get(*id).is_some_and(|set| set.count_sheet == need.count_sheet)
        });
        match of_fit.or(need.set.as_ref()).and_then(|id| state.sets.get(id)) {
            Some(set) => {
                taken.insert(set.set.clone());
                let mut it = one(house, case, set, shown, chosen && of_fit.is_some());
                let counted = need.set.as_ref().filter(|other| **other != set.set);
                let until = if chosen { "this case" } else { "this case until another is chosen" };
                it.sentence += &counted.map_or_else(String::new, |other| {
                    format!(" The board counts on set {other} for {until}.")
                });
                all.push(it);
            }
            None => all.push(none(house, case, &need.count_sheet, &need.why)),
        }
    }
    let rest = fit_sets.into_iter().filter(|id| !taken.contains(*id)).filter_map(|id| state.sets.get(id));
    all.extend(rest.map(|set| one(house, case, set, shown, chosen)).collect::<Vec<_>>());
    all
}

fn sheet_name(state: &State, sheet: &Id) -> String {
    state.sheets.get(sheet).map_or_else(|| sheet.to_string(), |sheet| sheet.name.0.clone())
}

/// A need that no set fills, with what ready sets there are and whose they are.
fn none(house: &House, case: &Case, sheet: &Id, why: &[String]) -> ToOpen {
    let state = house.setting.state;
    let name = sheet_name(state, sheet);
    let of_sheet = state.sets.values().filter(|set| set.count_sheet == *sheet);
    let ready = of_sheet.filter(|set| is_ready(glance(state, set, house.setting.now).status));
    let others: Vec<String> = ready
        .filter_map(|set| {
            let other = counting_on(state, &house.allotted, &set.set, case).next()?;
            Some(format!(
                "Set {} is ready, and is case {}'s, which starts on {}.",
                set.set,
                other.case,
                other.start.told(state.zone)
            ))
        })
        .take(3)
        .collect();
    ToOpen {
        count_sheet: sheet.clone(),
        sentence: format!("{name}: no set is free for this case."),
        name,
        set: None,
        meant: None,
        status: None,
        locations: Vec::new(),
        why: why.iter().filter(|it| !it.contains("no set is free")).cloned().chain(others).collect(),
        costs: Vec::new(),
        parts: Vec::new(),
    }
}

fn one(house: &House, case: &Case, set: &SetState, shown: Option<&Fit>, chosen: bool) -> ToOpen {
    let (state, now) = (house.setting.state, house.setting.now);
    let status = glance(state, set, now);
    let in_fit = shown.is_some_and(|fit| fit.parts.iter().any(|part| part.set.as_ref() == Some(&set.set)));
    let out = state.members(set).any(|asset| case.parts.get(&asset.asset).is_some_and(|part| part.out));
    let meant = match () {
        () if out => Meant::Out,
        () if case.promised.contains(&set.set) => Meant::Kept,
        () if in_fit && chosen => Meant::Chosen,
        () if in_fit => Meant::Offered,
        () => Meant::CountedOn,
    };
    let costs = house.costs_of(&set.set);
    let name = sheet_name(state, &set.count_sheet);
    let at = status
        .ready_at
        .filter(|at| *at > now)
        .map_or_else(String::new, |at| format!(", expected on {}", at.told(state.zone)));
    let locations = if out { Vec::new() } else { locations(state, set) };
    let late = status.late_for(case, now);
    let at = late.map_or(at, |at| format!(", expected on {}, after the case begins", at.told(state.zone)));
    let stands = if out { String::new() } else { format!("{}{at}; ", status.status.words()) };
    let costly: String = costs.iter().map(|cost| format!(" {}", cost.sentence)).collect();
    ToOpen {
        count_sheet: set.count_sheet.clone(),
        sentence: format!("{name}: set {}, {stands}{}.{costly}", set.set, meant.words()),
        name,
        set: Some(set.set.clone()),
        meant: Some(meant),
        status: Some(status.status),
        locations,
        why: match out {
            true => Vec::new(),
            false => {
                super::board::why(state, set, &status, now).into_iter().chain(from_shelf(&status)).collect()
            }
        },
        costs,
        parts: parts(state, set, shown, case, now),
    }
}

/// What belongs to a set and lies on the shelf.
fn from_shelf(status: &super::readiness::SetStatus) -> impl Iterator<Item = String> + '_ {
    let lines = status.lines.iter().filter(|line| line.shelf > 0);
    lines.map(|line| format!("From the shelf: {} for line \"{}\".", line.shelf, line.line))
}

fn locations(state: &State, set: &SetState) -> Vec<String> {
    let all: BTreeSet<String> = state
        .members(set)
        .filter(|asset| asset.counts())
        .filter_map(|asset| asset.location.as_ref().map(|at| at.0.clone()))
        .collect();
    all.into_iter().collect()
}

fn parts(state: &State, set: &SetState, shown: Option<&Fit>, case: &Case, now: Time) -> Vec<SetUpPart> {
    let in_fit = |asset: &Asset| {
        shown.is_some_and(|fit| fit.parts.iter().any(|part| part.asset.as_ref() == Some(&asset.asset)))
    };
    let has = |family: Family| shown.is_some_and(|fit| fit.parts.iter().any(|part| part.family == family));
    let belongs = |family: Family| {
        BESIDE.contains(&family)
            || EITHER.contains(&family)
                && !has(family)
                && (family != Family::JetAdapter || case.technique == Some(Technique::JetOpen))
    };
    let out = |asset: &Asset| case.parts.get(&asset.asset).is_some_and(|part| part.out);
    let mut all: Vec<SetUpPart> = state
        .members(set)
        .filter(|asset| asset.counts() && !in_fit(asset))
        .filter_map(|asset| {
            let model = state.model(&asset.model).filter(|model| belongs(model.family))?;
            let seat = asset.seat.as_ref()?;
            Some(SetUpPart {
                asset: asset.asset.clone(),
                mark: asset.mark.as_ref().map(|mark| mark.0.clone()),
                family: model.family,
                name: model.name.0.clone(),
                line: seat.line.clone(),
                position: seat.position,
                location: asset.location.as_ref().filter(|_| !out(asset)).map(|at| at.0.clone()),
                ready: asset.ready(state, now) || out(asset),
            })
        })
        .collect();
    all.sort_by_key(|part| (part.family, part.line.clone(), part.position));
    all
}

/// What a set-up needs and none of its sets holds. A light source and an injector mostly stand in the room.
pub fn lacking(open: &[ToOpen], shown: Option<&Fit>, technique: Option<Technique>) -> Vec<String> {
    let in_fit = |family: Family| shown.is_some_and(|fit| fit.parts.iter().any(|part| part.family == family));
    let there = |family: Family| {
        in_fit(family) || open.iter().flat_map(|set| &set.parts).any(|part| part.family == family)
    };
    let jet = technique == Some(Technique::JetOpen);
    let asked = [
        (Family::CameraHead, true, "take one along"),
        (Family::LightCable, true, "take one along"),
        (Family::LightSource, true, "see that one stands in the room"),
        (Family::JetAdapter, jet, "take one along"),
        (Family::Injector, jet, "see that one stands in the room"),
        (Family::MouthGuard, true, "take one along"),
        (Family::SuctionTube, true, "take one along"),
    ];
    let lacks = asked.into_iter().filter(|(family, asked, _)| *asked && !there(*family));
    let told = lacks.map(|(family, _, then)| format!("No {} is in these sets: {then}.", family.words()));
    told.collect()
}
