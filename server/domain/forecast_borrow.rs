//! What a case wins by a set or a part that is borrowed: from another department, another house, or as a loan. How long that
//! takes the site says (`borrow_minutes`); until it does, borrowing is no act, since its effect could only be guessed.

use super::allotted::{Allotted, Need};
use super::board::Equipped;
use super::forecast_acts::{Act, Tried};
use super::forecast_shop::Plan;
use super::request::{RequestKind, SendRequest};
use super::state::State;
use super::text::Line;
use crate::analysis::queue::{Item, Shop, Start, Unit};

/// What is tried for each need that is not ready: a part for the one line that is short, else a set.
pub fn borrow(state: &State, plan: &Plan, own: &Allotted) -> Vec<Tried> {
    let Some(minutes) = state.policy.borrow_minutes else { return Vec::new() };
    let Some(want) = plan.want_of(&own.case.case) else { return Vec::new() };
    let from_s = f64::from(minutes) * 60.0;
    let lacking = own.needs.iter().enumerate().filter(|(_, need)| need.equipped != Equipped::Ready);
    let lacking: Vec<(usize, &Need)> = lacking.collect();
    let tried = lacking.iter().filter_map(|(place, need)| {
        part(state, plan, own, need, (minutes, from_s))
            .or_else(|| set(state, plan, own, (want, *place, need), (minutes, from_s)))
    });
    let mut all: Vec<Tried> = tried.collect();
    if lacking.len() > 1 {
        all.extend(together(state, plan, (want, &lacking), (minutes, from_s)));
    }
    all
}

/// All that a case lacks, borrowed at once: one set alone does not help where another one is late too. Each is asked for
/// by itself, so this is words.
fn together(
    state: &State,
    plan: &Plan,
    (want, lacking): (usize, &[(usize, &Need)]),
    (minutes, from_s): (u32, f64),
) -> Option<Tried> {
    let mut shop = plan.shop.clone();
    for (place, _) in lacking {
        arrives(&mut shop, (want, *place), from_s)?;
    }
    let names: Vec<String> = lacking.iter().map(|(_, need)| format!("“{}”", named(state, need))).collect();
    let does = format!("Borrow the sets {}, ready here after {minutes} min", names.join(" and "));
    Some(Tried::of(plan, Act::Borrow, does, shop))
}

/// A set that is ready here after a time, for one need of a want and nobody else's.
fn arrives(shop: &mut Shop, (want, place): (usize, usize), from_s: f64) -> Option<()> {
    let (unit, pack) = (shop.units.len(), shop.items.iter().map(|item| item.pack + 1).max().unwrap_or(0));
    let asked = shop.wants.get_mut(want)?.needs.get_mut(place)?;
    asked.unit = Some(unit);
    let kind = asked.kind;
    shop.units.push(Unit { kind, due_s: None, unfit: false });
    shop.items.push(Item { unit, way: Vec::new(), pack, start: Start::Waiting { step: 0, from_s } });
    Some(())
}

fn named<'a>(state: &'a State, need: &'a Need) -> &'a str {
    state.sheets.get(&need.count_sheet).map_or(need.count_sheet.as_str(), |sheet| sheet.name.as_str())
}

fn part(
    state: &State,
    plan: &Plan,
    own: &Allotted,
    need: &Need,
    (minutes, from_s): (u32, f64),
) -> Option<Tried> {
    let [short] = need.short.as_slice() else { return None };
    let way = plan.line_ways.get(&(short.set.clone(), short.line.clone())).filter(|_| short.lacks == 1)?;
    let mut shop = plan.shop.clone();
    let start = Start::Waiting { step: plan.packing(way), from_s };
    plan.fill(state, &mut shop, (&short.set, &short.line), (way, start))?;
    let does = format!(
        "Borrow a part for line \"{}\" of set {}, here after {minutes} min, and wrap it with the set",
        short.line, short.set
    );
    let request = SendRequest {
        set: Some(short.set.clone()),
        line: Some(Line(short.line.clone())),
        ..SendRequest::of(RequestKind::Borrow, &own.case.case)
    };
    Some(Tried::of(plan, Act::Borrow, does, shop).asks(request))
}

fn set(
    state: &State,
    plan: &Plan,
    own: &Allotted,
    (want, place, need): (usize, usize, &Need),
    (minutes, from_s): (u32, f64),
) -> Option<Tried> {
    let mut shop = plan.shop.clone();
    arrives(&mut shop, (want, place), from_s)?;
    let (sheet, name) = (&need.count_sheet, named(state, need));
    let does = format!("Borrow a set “{name}”, ready here after {minutes} min");
    let request = SendRequest {
        count_sheet: Some(sheet.clone()),
        ..SendRequest::of(RequestKind::Borrow, &own.case.case)
    };
    Some(Tried::of(plan, Act::Borrow, does, shop).asks(request))
}
