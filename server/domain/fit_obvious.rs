//! The obvious choice: the set that is kept for the case, or the first of those that it needs, with the barrel that was
//! wished for. Where it does not do, the numbers say why.

use super::case::{Case, Technique};
use super::configuration::{Configuration, EndOf, Placed, Wish};
use super::fit::{Answer, Have, Verdict};
use super::fit_caps;
use super::fit_judge::{Setting, judge};
use super::fit_layout::{Layout, lay_out};
use super::fit_openings::openings;
use super::fit_ready::have;
use super::fit_search::groups;
use super::fit_sheet::worst;
use super::model::{Family, Model, Port};
use super::set::SetState;
use super::setup_sheet::{Obvious, Offer};
use super::state::{Asset, State};
use super::text::Line;

/// What most would reach for first, and what stands against it. `None` where that is what is offered first.
pub fn obvious(setting: &Setting, case: &Case, slots: &[Line], first: Option<&Offer>) -> Option<Obvious> {
    let state = setting.state;
    let wish = case.wish.as_deref();
    let technique = case.technique?;
    let Some((set, barrel)) = of_sets(setting, case, (wish, slots)) else {
        let sentence = no_barrel(state, wish)?;
        return Some(Obvious { sentence, fit: None });
    };
    let is_named = wish.is_some_and(|wish| !wish.together.is_empty());
    let configuration = from_set(state, set, barrel, technique, (slots, is_named));
    let layout = lay_out(state, &configuration).ok()?;
    let fit = judge(setting, &layout);
    let offered = first.is_some_and(|offer| offer.configuration.barrel == configuration.barrel);
    let absent: Vec<&str> = slots
        .iter()
        .filter(|slot| !layout.pieces.iter().any(|piece| is_for(piece.model, slot)))
        .map(Line::as_str)
        .collect();
    let not_ready = fit.parts.iter().filter_map(|part| part.processing.as_ref());
    let mut why: Vec<String> =
        not_ready.filter(|it| it.have == Have::NotReady).flat_map(|it| it.why.clone()).collect();
    if !absent.is_empty() {
        why.push(format!("It holds no {}.", absent.join(" and no ").replace('_', " ")));
    }
    why.extend(worst(&fit));
    if offered || (fit.answer == Answer::Fits && why.is_empty()) {
        return None;
    }
    let told: Vec<String> = why.iter().take(3).cloned().collect();
    let more = match why.len().saturating_sub(3) {
        0 => String::new(),
        n => format!(" And {n} more."),
    };
    let sentence = format!("Set {} does not do by itself. {}{more}", set.set, told.join(" "));
    Some(Obvious { sentence, fit: Some(fit) })
}

fn admits(wish: Option<&Wish>, model: &Model) -> bool {
    let nominal = wish.and_then(|wish| wish.barrel_nominal);
    let family = wish.and_then(|wish| wish.barrel_family);
    model.family.is_barrel()
        && family.is_none_or(|family| family == model.family)
        && nominal.is_none_or(|nominal| model.dimensions.nominal == Some(nominal))
}

pub(super) fn is_for(model: &Model, slot: &Line) -> bool {
    model.family.name() == slot.as_str() || model.model.as_str() == slot.as_str()
}

/// The set that somebody would take: kept for the case, of a sheet that it needs, with its barrel ready.
fn of_sets<'a>(
    setting: &Setting<'a>,
    case: &Case,
    (wish, slots): (Option<&Wish>, &[Line]),
) -> Option<(&'a SetState, &'a Asset)> {
    let state = setting.state;
    let with_barrel = |set: &'a SetState| {
        let mut members = state.members(set);
        let barrel = members.find(|asset| {
            asset.counts() && state.model(&asset.model).is_some_and(|model| admits(wish, model))
        })?;
        Some((set, &**barrel))
    };
    let all = state.sets.values().filter_map(|set| with_barrel(set));
    all.min_by_key(|(set, barrel)| {
        let kept = case.promised.contains(&set.set);
        let needed = case.needs.contains(&set.count_sheet);
        // A set that holds what is asked for says more than one that a telescope was taken out of.
        let holds = |slot: &&Line| {
            let mut members = state.members(set).filter(|asset| asset.counts());
            members.any(|asset| state.model(&asset.model).is_some_and(|model| is_for(model, slot)))
        };
        let lacks = slots.iter().filter(|slot| !holds(slot)).count();
        (!kept, !needed, lacks, have(state, barrel, setting.needed()).0, set.set.clone())
    })
}

/// Why no barrel that was wished for is in any set.
fn no_barrel(state: &State, wish: Option<&Wish>) -> Option<String> {
    let wish = wish?;
    let family = wish.barrel_family.map_or("barrel".to_string(), Family::words);
    let nominal =
        wish.barrel_nominal.map_or_else(String::new, |nominal| format!(" with the label {nominal}"));
    let known = state.models.values().filter(|model| admits(Some(wish), model)).count();
    Some(match known {
        0 => format!("The catalogue has no {family}{nominal}."),
        _ => format!("No set in the house holds a {family}{nominal}."),
    })
}

/// What the set gives by itself: its barrel, heads and instruments, and for the technique what sits on the openings.
fn from_set(
    state: &State,
    set: &SetState,
    barrel: &Asset,
    technique: Technique,
    (slots, is_named): (&[Line], bool),
) -> Configuration {
    let members: Vec<(&Asset, &Model)> = state
        .members(set)
        .filter(|asset| asset.counts() && asset.asset != barrel.asset)
        .filter_map(|asset| Some((&**asset, state.model(&asset.model)?)))
        .collect();
    let device = match technique {
        Technique::JetOpen => Some(Family::JetAdapter),
        Technique::ControlledClosed | Technique::Assisted => Some(Family::AnaesthesiaConnector),
        Technique::Apnoeic => None,
    };
    let mut taken: Vec<&Asset> = Vec::new();
    let first = |family: Family| members.iter().find(|(_, model)| model.family == family).map(|it| it.0);
    taken.extend(first(Family::Head));
    taken.extend(device.and_then(first));
    let mut placed_in: Vec<Option<Line>> = Vec::new();
    for slot in slots {
        let free = members.iter().find(|(asset, model)| {
            is_for(model, slot) && !taken.iter().any(|other| other.asset == asset.asset)
        });
        placed_in.push(free.map(|it| name(it.0)));
        taken.extend(free.map(|it| it.0));
    }
    let groups = groups(slots, is_named, technique);
    let group = |slots: &Vec<usize>| -> Vec<Line> {
        slots.iter().filter_map(|slot| placed_in.get(*slot).cloned().flatten()).collect()
    };
    let together = groups.iter().map(group).filter(|group| !group.is_empty()).collect();
    let mut it = Configuration {
        barrel: name(barrel),
        parts: taken.iter().map(|asset| placed(asset)).collect(),
        together,
        way_out: Vec::new(),
    };
    if technique == Technique::ControlledClosed {
        let caps = members.iter().filter(|(_, model)| model.family == Family::Cap).map(|it| it.0);
        close(state, &mut it, &caps.collect::<Vec<_>>());
    }
    if technique == Technique::JetOpen
        && let Some(out) = lay_out(state, &it).ok().and_then(|layout| in_line(&layout))
    {
        it.way_out = vec![out];
    }
    it
}

fn name(asset: &Asset) -> Line {
    Line(asset.asset.to_string())
}

fn placed(asset: &Asset) -> Placed {
    Placed { asset: name(asset), on: None, through: None }
}

/// Puts caps on the openings: of those with holes the one that suits what goes through it, then blank ones on what is
/// left. A cap for which no place is left stays in its tray.
fn close(state: &State, it: &mut Configuration, caps: &[&Asset]) {
    let with = |it: &Configuration, cap: &Asset| {
        let mut it = it.clone();
        it.parts.push(placed(cap));
        it
    };
    // How many doubts a cap leaves, and its holes, where it has a place at all.
    let doubts = |it: &Configuration, cap: &Asset| {
        let it = with(it, cap);
        let layout = lay_out(state, &it).ok()?;
        let piece = layout.pieces.iter().position(|piece| piece.id() == Some(&cap.asset))?;
        layout.mount(piece)?;
        let found = fit_caps::caps(&layout, &state.policy, &openings(&layout, &state.policy));
        let doubts = found.iter().filter(|check| check.verdict > Verdict::Warns).count();
        Some((doubts, layout.pieces.get(piece)?.holes().len()))
    };
    let ranked = caps.iter().filter_map(|cap| Some((doubts(it, cap)?, *cap)));
    let holed = ranked.filter(|((_, holes), _)| *holes > 0);
    let best = holed.min_by_key(|(rank, cap)| (*rank, cap.asset.clone()));
    let goes_through = !it.together.is_empty();
    if let Some((_, cap)) = best.filter(|_| goes_through) {
        *it = with(it, cap);
    }
    for cap in caps {
        if doubts(it, cap).is_some_and(|(_, holes)| holes == 0) {
            *it = with(it, cap);
        }
    }
}

fn in_line(layout: &Layout) -> Option<EndOf> {
    let end = layout
        .openings()
        .into_iter()
        .find(|end| layout.coupling(*end).is_some_and(|it| it.port == Some(Port::Proximal)))?;
    let part = Line(layout.pieces.get(end.0)?.id()?.to_string());
    Some(EndOf { part, end: layout.coupling(end)?.end.clone() })
}
