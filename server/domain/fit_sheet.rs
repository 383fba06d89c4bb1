//! The answer on a case: what was chosen, the best that could be, why the obvious choice fails, and what lies beside it:
//! the next smaller barrel, and the change to the fall-back technique.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::case::{Case, CaseStatus, Technique};
use super::configuration::{Configuration, Wish};
use super::fit::{Answer, Fit, Verdict};
use super::fit_barred::barred;
use super::fit_house::{Candidate, House};
use super::fit_judge::{Setting, judge};
use super::fit_layout::{Layout, lay_out};
use super::fit_obvious::obvious;
use super::fit_search::{MOST_OFFERS, Ranked, Search, instruments};
use super::fit_size::{named, spare_mm};
use super::id::Id;
use super::model::Family;
use super::setup_sheet::{Barred, Beside, ChosenFit, FallBack, SetUpSheet, cautions};
use super::state::State;
use super::time::Time;
use super::to_open::{lacking, to_open};

/// The set-up sheet of a case as things stand now.
pub fn set_up_sheet(state: &State, case: &Case, now: Time) -> SetUpSheet {
    let setting = Setting::of_case(state, case, now);
    let wish = case.wish.as_deref();
    let chosen = chosen(&setting, case);
    let house = House::of(setting);
    let slots = instruments(wish);
    let search = case.technique.map(|technique| Search::new(&house, technique, wish));
    let looked =
        search.as_ref().map(|search| search.best(&house.barrels(wish), &|_| true)).unwrap_or_default();
    let mut offers = Vec::new();
    let mut kept: Vec<&Ranked> = Vec::new();
    for one in &looked.ranked {
        if offers.len() == MOST_OFFERS {
            break;
        }
        if let Some(offer) = search.as_ref().and_then(|search| search.offer(one)) {
            offers.push(offer);
            kept.push(one);
        }
    }
    let obvious = obvious(&setting, case, &slots, offers.first());
    let smaller = smaller(&house, search.as_ref(), chosen.as_ref(), kept.first().copied(), wish.is_some());
    let fall_back = search.as_ref().and_then(|search| {
        let technique = wish.and_then(|wish| wish.fall_back).or(other(search.technique))?;
        // What is changed is what is shown: what was chosen, else the first offer.
        let from = match &chosen {
            Some(chosen) => lay_out(state, &chosen.configuration).ok(),
            None => kept.first().map(|best| best.layout.clone()),
        };
        Some(fall_back(&house, technique, from.as_ref()))
    });
    let mut sheet = SetUpSheet {
        case: case.case.clone(),
        start: case.start,
        technique: case.technique,
        wish: case.wish.as_deref().cloned(),
        sentence: String::new(),
        cautions: Vec::new(),
        chosen,
        barred: Vec::new(),
        to_open: Vec::new(),
        lacking: Vec::new(),
        offers,
        left_out: looked.left_out,
        obvious,
        smaller,
        fall_back,
    };
    let shown = sheet.shown();
    let cautions = cautions(case.technique, shown.iter().flat_map(|fit| &fit.parts).map(|part| part.family));
    let barred = shown.map(|fit| barred(state, case, fit, now)).unwrap_or_default();
    // What one would reach for first, and what does not do, opens nothing.
    let laid_out = shown.filter(|_| sheet.chosen.is_some() || !sheet.offers.is_empty());
    let open = to_open(&house, case, laid_out, sheet.chosen.is_some());
    sheet.lacking = if open.is_empty() { Vec::new() } else { lacking(&open, laid_out, case.technique) };
    sheet.to_open = open;
    sheet.cautions = cautions;
    sheet.barred = barred;
    sheet.sentence = sentence(case, &sheet);
    if sheet.chosen.is_none() {
        sheet.sentence.push_str(&looked.told());
    }
    sheet
}

/// What was chosen, judged as things stand now; `None` where nothing was, or where its names mean nothing any more.
pub fn chosen(setting: &Setting, case: &Case) -> Option<ChosenFit> {
    let chosen = case.chosen.as_ref()?;
    let layout = lay_out(setting.state, &chosen.configuration).ok()?;
    Some(ChosenFit {
        by: chosen.by.clone(),
        at: chosen.at,
        configuration: chosen.configuration.clone(),
        fit: judge(setting, &layout),
    })
}

fn sentence(case: &Case, sheet: &SetUpSheet) -> String {
    let technique = case.technique.map_or("technique not known", Technique::words);
    let over = match case.status() {
        CaseStatus::Closed => " is closed",
        CaseStatus::Cancelled => " was cancelled",
        CaseStatus::Planned | CaseStatus::Issued | CaseStatus::Opened => "",
    };
    let head = format!("Case {}{over}, {technique}", case.case);
    match (&sheet.chosen, sheet.offers.first(), case.technique) {
        (Some(chosen), _, _) => format!("{head}: {}", of_chosen(&chosen.fit, &sheet.barred)),
        (None, _, None) => format!("{head}: nothing can be said of the openings, so nothing is offered."),
        (None, Some(best), _) => format!("{head}: nothing is chosen yet. The best: {}", best.sentence),
        (None, None, _) => {
            let why = sheet.obvious.as_ref().map_or_else(String::new, |why| format!(" {}", why.sentence));
            let wished = sheet.wish.as_ref().and_then(wished).unwrap_or_default();
            format!("{head}: no complete configuration{wished} fits of what is or will be ready.{why}")
        }
    }
}

/// The barrel that was asked for, where one was.
fn wished(wish: &Wish) -> Option<String> {
    let family = wish.barrel_family.map_or_else(|| "barrel".to_string(), Family::words);
    match (&wish.barrel_nominal, wish.barrel_family) {
        (Some(nominal), _) => Some(format!(" with a {family} labelled {nominal}")),
        (None, Some(_)) => Some(format!(" with a {family}")),
        (None, None) => None,
    }
}

/// What is said of a choice: a stop first, then what is not to be laid out. Nothing fits while that is in it.
fn of_chosen(fit: &Fit, barred: &[Barred]) -> String {
    let against = match barred {
        [] => return fit.sentence.clone(),
        [one] => one.sentence.clone(),
        // A heading is read in one look; what is said of each stands below it.
        [first, second, rest @ ..] => {
            let others = match rest.len() {
                0 => format!("{} and {}", first.asset, second.asset),
                n => format!("{}, {} and {n} more", first.asset, second.asset),
            };
            format!("Not to be laid out: {others}. Why, and what is ready instead, stands below.")
        }
    };
    match fit.answer {
        Answer::Fits => against,
        Answer::Stop => format!("{} {against}", fit.sentence),
        Answer::NotKnown | Answer::DoesNotFit => format!("{against} {}", fit.sentence),
    }
}

fn pieces(configuration: &Configuration) -> BTreeSet<String> {
    configuration.pieces().map(str::to_string).collect()
}

/// The next smaller barrel, complete: with parts of its own, since both lie on the table.
fn smaller(
    house: &House,
    search: Option<&Search>,
    chosen: Option<&ChosenFit>,
    best: Option<&Ranked>,
    wished: bool,
) -> Beside {
    let none = |sentence: &str| Beside { sentence: sentence.into(), offer: None };
    let Some(search) = search else {
        return none("Technique not known: no smaller barrel can be completed.");
    };
    let of = match (chosen, best) {
        (Some(chosen), _) => Some(pieces(&chosen.configuration)),
        (None, Some(best)) => Configuration::of(&best.layout).map(|it| pieces(&it)),
        (None, None) => None,
    };
    let barrel = chosen.and_then(|it| it.configuration.pieces().next().map(str::to_string));
    let barrel = barrel.or_else(|| best.and_then(|best| best.layout.pieces.first()?.id().map(Id::to_string)));
    let width_of = |id: &str| {
        let piece = house.pieces.iter().find(|piece| piece.asset.asset.as_str() == id)?;
        house.barrel_width(piece.kind)
    };
    let wide = barrel.as_deref().and_then(width_of).or_else(|| {
        let wish = house.setting.case.and_then(|case| case.wish.as_deref()).filter(|_| wished);
        house.barrels(wish).into_iter().filter_map(|kind| house.barrel_width(kind)).min()
    });
    let Some(wide) = wide else { return none("No barrel is there from which a smaller one could be told.") };
    let narrower = narrower(house, wide);
    let taken = of.unwrap_or_default();
    let lies_in = |piece: &Candidate| piece.set.filter(|_| taken.contains(piece.asset.asset.as_str()));
    let beside = search.clone().beside(house.pieces.iter().filter_map(lies_in).collect());
    let free = |piece: &Candidate| !taken.contains(piece.asset.asset.as_str());
    let mut passed: Vec<String> = Vec::new();
    let mut at = 0;
    while let Some((width, _)) = narrower.get(at).copied() {
        let same: Vec<usize> =
            narrower.iter().filter(|(other, _)| *other == width).map(|(_, kind)| *kind).collect();
        at += same.len();
        let looked = beside.best(&same, &free);
        let named: Vec<&str> = same
            .iter()
            .filter_map(|kind| house.kinds.get(*kind))
            .map(|kind| kind.piece.model.name.as_str())
            .collect();
        match looked.ranked.first().and_then(|best| beside.offer(best)) {
            Some(offer) => {
                let but = match passed.is_empty() {
                    true => String::new(),
                    false => format!(" Not complete: {}.", passed.join(", ")),
                };
                let not_all = looked.told();
                let sentence = format!("The next smaller barrel: {}{but}{not_all}", offer.sentence);
                return Beside { sentence, offer: Some(offer) };
            }
            None if looked.left_out == 0 => passed.push(named.join(" or ")),
            None => passed.push(format!("{} (not every set was looked at)", named.join(" or "))),
        }
    }
    match passed.is_empty() {
        true => none("No smaller barrel is or will be ready."),
        false => Beside {
            sentence: format!("No smaller barrel is complete beside it: {}.", passed.join(", ")),
            offer: None,
        },
    }
}

/// The barrels that are narrower than this in the airway, the widest of them first.
fn narrower(house: &House, wide: Decimal) -> Vec<(Decimal, usize)> {
    let all = house.barrels(None).into_iter().filter_map(|kind| Some((house.barrel_width(kind)?, kind)));
    let mut all: Vec<(Decimal, usize)> = all.filter(|(width, _)| *width < wide).collect();
    all.sort_by(|a, b| b.cmp(a));
    all
}

/// What is changed to where nobody said: an open system is closed, a closed one opened.
fn other(technique: Technique) -> Option<Technique> {
    match technique {
        Technique::JetOpen | Technique::Assisted | Technique::Apnoeic => Some(Technique::ControlledClosed),
        Technique::ControlledClosed => Some(Technique::JetOpen),
    }
}

/// The same barrel and the same instruments for another technique, where that can be; else other instruments too.
fn fall_back(house: &House, technique: Technique, from: Option<&Layout>) -> FallBack {
    let words = technique.words();
    let Some((from, now)) = from.and_then(|from| Some((from, Configuration::of(from)?))) else {
        let sentence = format!("Nothing fits yet that could be changed to {words}.");
        return FallBack { technique, sentence, changes: Vec::new(), offer: None };
    };
    let wish = house.setting.case.and_then(|case| case.wish.as_deref());
    let then = Search::new(house, technique, wish);
    let taken = pieces(&now);
    let barrel = now.barrel.as_str();
    let kinds: Vec<usize> = house
        .pieces
        .iter()
        .filter(|piece| piece.asset.asset.as_str() == barrel)
        .map(|piece| piece.kind)
        .collect();
    let is_barrel = |piece: &Candidate| {
        let family = house.family(piece.kind);
        !family.is_some_and(|family| family.is_barrel()) || piece.asset.asset.as_str() == barrel
    };
    let same = |piece: &Candidate| {
        let changes = house.family(piece.kind).is_some_and(changes_with_technique);
        is_barrel(piece) && (changes || taken.contains(piece.asset.asset.as_str()))
    };
    let mut looked = then.best(&kinds, &same);
    if looked.ranked.is_empty() {
        looked = then.best(&kinds, &is_barrel);
    }
    let not_all = looked.told();
    let found = looked.ranked.into_iter().next();
    let Some(offer) = found.and_then(|found| then.offer(&found)) else {
        let sentence = format!(
            "No change to {words} is complete with this barrel of what is or will be ready.{not_all}"
        );
        return FallBack { technique, sentence, changes: Vec::new(), offer: None };
    };
    let changes = changes(&judge(&house.setting, from), &offer.fit);
    let sentence = match changes.len() {
        0 => format!("For {words} nothing has to be changed."),
        1 => format!("One change makes it {words}."),
        n => format!("{n} changes make it {words}."),
    };
    FallBack { technique, sentence, changes, offer: Some(offer) }
}

/// What comes off and what goes on, from one configuration to another.
fn changes(from: &Fit, to: &Fit) -> Vec<String> {
    let places = |fit: &Fit| -> BTreeSet<(String, String)> {
        let told = |part: &super::fit::FitPart| {
            let called = part.asset.as_ref().map_or_else(|| part.family.words(), |id| named(part.family, id));
            let at = part.on.as_ref().or(part.through.as_ref());
            let on = at.and_then(|at| fit.parts.get(at.part).map(|on| (on, &at.end)));
            let place = on.map_or_else(String::new, |(on, end)| {
                let other = on.asset.as_ref().map(|id| id.to_string()).unwrap_or_default();
                let how = if part.through.is_some() { "through" } else { "on" };
                format!(" {how} \"{end}\" of {other}")
            });
            (called, place)
        };
        fit.parts.iter().skip(1).map(told).collect()
    };
    let (from, to) = (places(from), places(to));
    let mut all: Vec<String> = from.difference(&to).map(|(part, at)| format!("Off: {part}{at}.")).collect();
    all.extend(to.difference(&from).map(|(part, at)| format!("On: {part}{at}.")));
    all
}

/// The worst rules of a configuration in sentences: what fails, or is not known.
pub fn worst(fit: &Fit) -> Vec<String> {
    let against = fit.checks.iter().filter(|check| check.verdict > Verdict::Warns);
    against.map(|check| check.sentence.clone()).collect()
}

/// The spare of a fit, as sentences tell it.
pub fn spare_told(fit: &Fit) -> Option<String> {
    fit.together.iter().map(|it| it.spare_mm).reduce(f64::min).map(spare_mm)
}

/// The families that a fall-back changes: what sits on the openings.
fn changes_with_technique(family: Family) -> bool {
    matches!(
        family,
        Family::AnaesthesiaConnector
            | Family::JetAdapter
            | Family::PortAdapter
            | Family::Cap
            | Family::Window
    )
}
