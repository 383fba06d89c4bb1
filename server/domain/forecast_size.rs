//! What a case wins by another barrel: the same size out of other sets, or the next smaller one that is complete with its
//! instruments. Only what is proven to fit is tried, by the same search and rules as on the set-up sheet. A wider one is
//! never: whether it passes the airway nobody here can say.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::allotted::{Allotted, Need};
use super::board::Equipped;
use super::case::CaseStatus;
use super::fit::Have;
use super::fit_house::{Candidate, House};
use super::fit_judge::Setting;
use super::fit_search::Search;
use super::fit_size::{Piece, named};
use super::forecast_acts::{Act, Tried};
use super::forecast_shop::Plan;
use super::id::Id;
use super::model::{Family, Model};
use super::readiness::{SetReadiness, glance};
use super::setup_sheet::Offer;
use super::state::{Asset, State};
use super::time::Time;
use super::to_open::BESIDE;
use crate::analysis::queue;

/// The barrel that a case is meant to have.
struct Barrel {
    family: Family,
    width: Decimal,
    label: String,
}

impl Barrel {
    fn of(piece: &Piece) -> Option<Barrel> {
        let label = piece.model.dimensions.nominal.map(|nominal| nominal.to_string());
        let label = label.unwrap_or_else(|| piece.model.name.0.clone());
        Some(Barrel { family: piece.family(), width: width(piece)?, label })
    }
}

/// How wide a barrel is in the airway, as the set-up sheet tells a smaller one.
fn width(piece: &Piece) -> Option<Decimal> {
    let sizes = piece.sizes();
    let size = sizes.outer.or(sizes.inner)?;
    size.measured.max(size.stated).map(|size| size.0)
}

/// What was chosen; else the widest barrel of its own sets that is as wished; else the narrowest model that is.
fn meant(state: &State, own: &Allotted) -> Option<Barrel> {
    let wish = own.case.wish.as_deref();
    let admits = |model: &Model| {
        let nominal = wish.and_then(|wish| wish.barrel_nominal);
        let family = wish.and_then(|wish| wish.barrel_family);
        model.family.is_barrel()
            && family.is_none_or(|family| family == model.family)
            && nominal.is_none_or(|nominal| model.dimensions.nominal == Some(nominal))
    };
    let piece = |asset: &Asset| Barrel::of(&Piece::of(state, asset)?);
    if let Some(chosen) = &own.case.chosen {
        return piece(state.asset(chosen.pieces().next()?)?);
    }
    let members = own.sets().filter_map(|set| state.sets.get(set)).flat_map(|set| state.members(set));
    let barrels = members.filter(|asset| state.model(&asset.model).is_some_and(&admits));
    if let Some(widest) = barrels.filter_map(|asset| piece(asset)).max_by_key(|barrel| barrel.width) {
        return Some(widest);
    }
    wish.filter(|wish| wish.barrel_nominal.is_some() || wish.barrel_family.is_some())?;
    let models = state.models.values().filter(|model| admits(model));
    let barrels = models.filter_map(|model| Barrel::of(&Piece { asset: None, model }));
    barrels.min_by_key(|barrel| barrel.width)
}

/// Whether a need is for what a configuration is made of: a barrel, what works in it, what is joined to it.
fn is_of_configuration(state: &State, need: &Need) -> bool {
    let takes = |family: Family| family.is_barrel() || family.is_instrument() || family.is_joined();
    let lines = state.sheets.get(&need.count_sheet).into_iter().flat_map(|sheet| &sheet.lines);
    let mut families = lines.flat_map(|line| {
        let models = line.models.iter().filter_map(|model| state.model(model)).map(|model| model.family);
        line.family.into_iter().chain(models)
    });
    families.any(takes)
}

/// The same size out of other sets, and the next smaller one: each where it is complete.
pub fn sizes((state, now): (&State, Time), plan: &Plan, own: &Allotted) -> Vec<Tried> {
    let case = own.case;
    let is_replaced = |need: &Need| need.equipped != Equipped::Ready && is_of_configuration(state, need);
    let late = own.needs.iter().filter(|need| is_replaced(need));
    let late: BTreeSet<&Id> = late.filter_map(|need| need.set.as_ref()).collect();
    let planned = case.status() == CaseStatus::Planned && own.needs.iter().any(is_replaced);
    let (Some(technique), true, Some(barrel)) = (case.technique, planned, meant(state, own)) else {
        return Vec::new();
    };
    let house = House::of(Setting::of_case(state, case, now));
    let search = Search::new(&house, technique, case.wish.as_deref());
    let mut narrower: Vec<(Decimal, usize)> = house
        .barrels(None)
        .into_iter()
        .filter(|kind| house.family(*kind) == Some(barrel.family))
        .filter_map(|kind| Some((house.barrel_width(kind)?, kind)))
        .filter(|(width, _)| *width <= barrel.width)
        .collect();
    narrower.sort_by(|a, b| b.cmp(a));
    let admitted = |piece: &Candidate| match piece.set.and_then(|at| house.sets.get(at)) {
        Some(set) => !late.contains(&set.set),
        None => piece.have == Have::Ready,
    };
    let (mut all, mut at) = (Vec::new(), 0);
    while let Some((width, _)) = narrower.get(at).copied() {
        let same: Vec<usize> =
            narrower.iter().filter(|(other, _)| *other == width).map(|(_, kind)| *kind).collect();
        at += same.len();
        let looked = search.best(&same, &admitted);
        let Some(offer) = looked.ranked.iter().find_map(|one| search.offer(one)) else { continue };
        let does = sentence(state, own, (&barrel, width), &offer);
        all.extend(tried((state, now), plan, own, (&offer, &is_replaced), does));
        if width < barrel.width {
            break;
        }
    }
    all
}

/// The department where the case takes the sets of the offer instead of those that are late.
fn tried(
    (state, now): (&State, Time),
    plan: &Plan,
    own: &Allotted,
    (offer, is_replaced): (&Offer, &dyn Fn(&Need) -> bool),
    does: String,
) -> Option<Tried> {
    let mut shop = plan.shop.clone();
    let want = shop.wants.get_mut(plan.want_of(&own.case.case)?)?;
    let asked = std::mem::take(&mut want.needs);
    let mut opened: BTreeSet<usize> = offer.open.iter().filter_map(|set| plan.unit_of(set)).collect();
    for (mut asked, need) in asked.into_iter().zip(&own.needs) {
        if is_replaced(need) {
            continue;
        }
        // What the offer opens of the case's own sets is not asked for twice.
        let unit = need.set.as_ref().and_then(|set| plan.unit_of(set));
        if let Some(unit) = unit.filter(|unit| opened.remove(unit)) {
            asked.unit = Some(unit);
        }
        want.needs.push(asked);
    }
    let start_s = want.start_s;
    for unit in opened {
        let it = shop.units.get_mut(unit)?;
        it.due_s = Some(it.due_s.map_or(start_s, |due_s| due_s.min(start_s)));
        want.needs.push(queue::Need { unit: Some(unit), kind: it.kind });
        // A set that lacks something else is opened all the same: what is taken of it is there.
        let set = plan.sets.get(unit).and_then(|set| state.sets.get(set))?;
        if glance(state, set, now).status == SetReadiness::NotReady {
            it.unfit = false;
        }
    }
    let configuration = Some(offer.configuration.clone());
    Some(Tried { configuration, ..Tried::of(plan, Act::NextSize, does, shop) })
}

/// "Use the 4.5 barrel B-45 instead of the 5.0, with telescope T-45: open SET-45".
fn sentence(state: &State, own: &Allotted, (barrel, width): (&Barrel, Decimal), offer: &Offer) -> String {
    let first = offer.fit.parts.first().and_then(|part| part.asset.as_ref());
    let piece = first.and_then(|asset| state.assets.get(asset)).and_then(|asset| Piece::of(state, asset));
    let label = piece.and_then(|piece| Barrel::of(&piece)).map(|it| it.label).unwrap_or_default();
    let called = first.map(Id::as_str).unwrap_or_default();
    let which = match width == barrel.width {
        true => format!("another {label} barrel, {called}"),
        false => format!("the {label} barrel {called} instead of the {}", barrel.label),
    };
    let instruments = offer.fit.parts.iter().skip(1).filter(|part| part.family.is_instrument());
    let with: Vec<String> =
        instruments.filter_map(|part| part.asset.as_ref().map(|asset| named(part.family, asset))).collect();
    let with = if with.is_empty() { String::new() } else { format!(", with {}", with.join(" and ")) };
    let open: Vec<&str> = offer.open.iter().map(Id::as_str).collect();
    let open = if open.is_empty() { "from the store".into() } else { format!("open {}", open.join(" and ")) };
    let lacks = beside(state, own, offer);
    let reserves = offer.costs.iter().filter(|cost| cost.count_sheet.is_some());
    let reserves: String = reserves.map(|cost| format!(" {}", cost.sentence)).collect();
    format!("Use {which}{with}: {open}.{lacks}{reserves} Geometry only, the clinician decides")
}

/// What the sets that are left aside hold of camera and light, and those of the offer do not.
fn beside(state: &State, own: &Allotted, offer: &Offer) -> String {
    let of = |set: &Id| -> BTreeSet<Family> {
        let members = state.sets.get(set).into_iter().flat_map(|set| state.members(set));
        let families = members.filter(|it| it.counts()).filter_map(|it| state.model(&it.model));
        families.map(|model| model.family).filter(|family| BESIDE.contains(family)).collect()
    };
    let ready = own.needs.iter().filter(|need| need.equipped == Equipped::Ready);
    let kept = ready.filter_map(|need| need.set.as_ref()).chain(&offer.open);
    let there: BTreeSet<Family> = kept.flat_map(of).collect();
    let before: BTreeSet<Family> = own.sets().flat_map(of).collect();
    let lacks = before.difference(&there).map(|family| format!(" Take a {} along.", family.words()));
    lacks.collect()
}
