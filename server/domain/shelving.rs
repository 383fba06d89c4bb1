//! What stands against what is taken in, taken out and used of the shelf; and what becomes so by it.

use std::sync::Arc;

use chrono::Months;

use super::apply::When;
use super::command::{self, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::{Model, unknown};
use super::refusal::{Code, Problem};
use super::request::Told;
use super::scan_miss::shown;
use super::shelf::{
    Boxed, CaseStock, Lot, MOST_YEARS, SetStockMinimum, Shelf, StockIn, StockOut, StockTakenIn,
    StockTakenOut, StockUsed, UseStock, Used, UsedAt,
};
use super::state::State;
use super::text::Line;
use super::time::{Date, told_day};
use crate::formats::{gs1, hibc};

pub(super) fn act(deciding: &mut Deciding, act: &command::Stock) -> Option<What> {
    match act {
        command::Stock::In(it) => take_in(deciding, it),
        command::Stock::Out(it) => take_out(deciding, it),
        command::Stock::Use(it) => used(deciding, it),
        command::Stock::Minimum(it) => minimum(deciding, it),
    }
}

/// What a label says, with the model that it is of.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    pub model: Id,
    pub lot: Option<Line>,
    pub expires: Option<Date>,
    pub serial: Option<Line>,
}

/// What stands in a mark by its standard: the product's number, its lot, its last good day and its own number.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Udi {
    pub product: String,
    pub lot: Option<String>,
    pub expires: Option<Date>,
    pub serial: Option<String>,
}

/// Reads the mark of a box. A text that is none by its standard says nothing.
pub fn read_udi(text: &str, today: Date) -> Option<Udi> {
    if let Ok(mark) = gs1::read(text, today) {
        let of = |ai: &str| mark.elements.iter().find(|(own, _)| own == ai).map(|(_, value)| value.clone());
        let expires = mark.dates.get("17").and_then(|day| Date::parse_from_str(day, "%Y-%m-%d").ok());
        return of("01").map(|product| Udi { product, lot: of("10"), expires, serial: of("21") });
    }
    let mark = hibc::read(text, today).ok()?;
    let product = mark.primary.as_ref()?.di();
    let secondary = mark.secondary.as_ref();
    let expires = secondary.and_then(|it| it.expiry.as_ref()).and_then(|day| {
        let said = day.to_string();
        Date::parse_from_str(said.get(..10).unwrap_or(&said), "%Y-%m-%d").ok()
    });
    let (lot, serial) = (secondary.and_then(|it| it.lot.clone()), secondary.and_then(|it| it.serial.clone()));
    Some(Udi { product, lot, expires, serial })
}

impl State {
    /// The model that a product's number names.
    pub fn model_of_product(&self, product: &str) -> Option<&Arc<Model>> {
        let bare = |number: &str| number.trim_start_matches('0').to_ascii_uppercase();
        let named = |model: &&Arc<Model>| model.gtin.as_ref().is_some_and(|it| bare(&it.0) == bare(product));
        self.models.values().find(named)
    }

    /// What a box is of, by its mark and by what was typed beside it; both may say it, but not each something else.
    pub fn label(&self, it: &Boxed, today: Date) -> Result<Label, Problem> {
        let udi = it.scan.as_ref().and_then(|scan| read_udi(&scan.0, today)).unwrap_or_default();
        let model = match (&it.model, &it.scan) {
            (Some(model), _) => {
                self.model(model).ok_or_else(|| unknown("model", model.as_str()))?.model.clone()
            }
            (None, Some(scan)) => match self.models.get(scan.0.as_str()) {
                Some(model) => model.model.clone(),
                None if udi.product.is_empty() => return Err(unknown("model", &shown(&scan.0))),
                None => {
                    let found = self.model_of_product(&udi.product);
                    found.ok_or_else(|| no_such_product(&udi.product))?.model.clone()
                }
            },
            (None, None) => return Err(unknown("model", "")),
        };
        if let Some(found) = self.contradicts(it, &udi, &model) {
            return Err(one_of_them(found));
        }
        Ok(Label {
            model,
            lot: it.lot.clone().or(udi.lot.map(Line)),
            expires: it.expires.or(udi.expires),
            serial: udi.serial.map(Line),
        })
    }

    /// What is typed beside a mark and says something else than the mark.
    fn contradicts(&self, it: &Boxed, udi: &Udi, model: &Id) -> Option<String> {
        let product = self.model_of_product(&udi.product).filter(|_| !udi.product.is_empty());
        if let Some(product) = product.filter(|product| product.model != *model) {
            return Some(format!("The mark says model {}, and {model} was chosen.", product.model));
        }
        let lot = it.lot.as_ref().zip(udi.lot.as_ref()).filter(|(typed, said)| typed.0 != **said);
        if let Some((typed, said)) = lot {
            return Some(format!("The mark says lot {}, and {} was typed.", shown(said), shown(&typed.0)));
        }
        let day = it.expires.zip(udi.expires).filter(|(typed, said)| typed != said);
        day.map(|(typed, said)| {
            format!(
                "The mark says {} as the last good day, and {} was typed.",
                told_day(said),
                told_day(typed)
            )
        })
    }
}

fn one_of_them(found: String) -> Problem {
    Problem::new(
        Code::AmbiguousScan,
        found,
        "What is typed beside a mark says the same, or what the mark does not say.",
        "Look at the box or the pack: leave the field empty, or take the other one.",
    )
}

fn no_such_product(product: &str) -> Problem {
    Problem::new(
        Code::UnknownThing,
        format!("No model of the catalogue has the product number {}.", shown(product)),
        "A model with this number is needed.",
        "Let biomed enter the model with it, or choose the model by its name.",
    )
}

/// What is kept on the shelf is for one use, or stays in the patient: the pieces of another model are parts.
fn kept_on_shelf(deciding: &mut Deciding, model: &Id) {
    let state = deciding.state;
    if let Some(model) = state.model(model).filter(|model| !model.single_use && !model.implant) {
        deciding.against(
            Problem::new(
                Code::NotFitting,
                format!("Model {} is used again: each of its pieces is a part of its own.", model.model),
                "A model for single use, or an implant, is needed.",
                "Add its pieces as parts; or let biomed mark the model as for single use.",
            )
            .even_late(),
        );
    }
}

fn labelled(deciding: &mut Deciding, it: &Boxed) -> Option<Label> {
    let today = deciding.at().date(deciding.state.zone);
    match deciding.state.label(it, today) {
        Ok(label) => {
            deciding.touches(deciding.state.shelf.get(&label.model).map(|shelf| shelf.last_at));
            Some(label)
        }
        Err(problem) => {
            deciding.against(problem);
            None
        }
    }
}

/// A day that no label carries.
fn never(today: Date, day: Date) -> bool {
    let latest = today.checked_add_months(Months::new(MOST_YEARS * 12));
    latest.is_some_and(|latest| day > latest)
}

fn take_in(deciding: &mut Deciding, it: &StockIn) -> Option<What> {
    deciding.touches(None);
    let label = labelled(deciding, &it.boxed())?;
    kept_on_shelf(deciding, &label.model);
    let today = deciding.at().date(deciding.state.zone);
    if let Some(day) = label.expires.filter(|day| never(today, *day)) {
        let detail = format!("found {day}; a last good day within {MOST_YEARS} years is needed");
        deciding.malformed.push(wrong("/expires", detail));
    }
    if let Some(day) = label.expires.filter(|day| *day < today) {
        deciding.against(Problem::new(
            Code::PastDate,
            format!("Its last good day was {}.", told_day(day)),
            "What is past its date does not come onto the shelf.",
            "Discard it, or give it back to whoever sent it.",
        ));
    }
    let known = deciding.state.shelf.get(&label.model).cloned();
    let same = known.as_ref().and_then(|shelf| shelf.of_lot(label.lot.as_ref()));
    if let Some(same) =
        same.filter(|same| same.left > 0 && same.expires != label.expires && label.lot.is_some())
    {
        let day = |day: Option<Date>| day.map_or("no date".to_string(), told_day);
        deciding.against(Problem::new(
            Code::NameTaken,
            format!(
                "{}, {}, is on the shelf with {}, and this box says {}.",
                label.model,
                same.called(),
                day(same.expires),
                day(label.expires)
            ),
            "One lot has one date.",
            "Read both labels again: one of the two dates or lots was misread.",
        ));
    }
    let Label { model, lot, expires, .. } = label;
    Some(What::StockTakenIn(StockTakenIn { model, lot, expires, quantity: it.quantity }))
}

/// The lot that is meant: the one named, or the only one that lies there.
fn meant(state: &State, label: &Label) -> Option<Lot> {
    let shelf = state.shelf.get(&label.model)?;
    match &label.lot {
        Some(lot) => shelf.of_lot(Some(lot)).cloned(),
        None => match shelf.there().as_slice() {
            [one] => Some((*one).clone()),
            _ => shelf.of_lot(None).cloned(),
        },
    }
}

fn take_out(deciding: &mut Deciding, it: &StockOut) -> Option<What> {
    deciding.touches(None);
    let label = labelled(deciding, &it.boxed())?;
    let lot = meant(deciding.state, &label);
    let left = lot.as_ref().map_or(0, |lot| lot.left);
    if left < it.quantity {
        let which = lot.as_ref().map_or_else(
            || label.lot.as_ref().map_or("that lot".to_string(), |lot| format!("lot {}", lot.0)),
            Lot::called,
        );
        let problem = Problem::new(
            Code::NotComplete,
            format!("Of {}, {which}, {left} lie on the shelf by its record.", label.model),
            format!("{} are needed to take so many out.", it.quantity),
            "Look at the lot, count the shelf, and take out what is there.",
        );
        deciding.against(problem.even_late());
    }
    let lot = lot.map_or(label.lot, |lot| lot.lot);
    Some(What::StockTakenOut(StockTakenOut { model: label.model, lot, quantity: it.quantity, why: it.why }))
}

fn used(deciding: &mut Deciding, it: &UseStock) -> Option<What> {
    let state = deciding.state;
    let Some(case) = state.cases.get(&it.case).cloned() else {
        deciding.against(unknown("case", it.case.as_str()));
        return None;
    };
    deciding.touches(Some(case.last_at));
    let today = deciding.at().date(state.zone);
    let mut items: Vec<Used> = Vec::new();
    for item in &it.items {
        let Some(label) = labelled(deciding, &item.boxed()) else { continue };
        let model = state.model(&label.model)?;
        if !model.single_use && !model.implant {
            // It happened; what is a part of its own is asked for by its own command.
            deciding.deviates(Code::NotFitting);
        }
        let lot = meant(state, &label);
        let quantity = item.quantity.unwrap_or(1);
        let spent: u32 = items
            .iter()
            .filter(|it| it.model == label.model && lot.as_ref().is_some_and(|lot| lot.lot == it.lot))
            .map(|it| it.from_shelf)
            .sum();
        let left = lot.as_ref().map_or(0, |lot| lot.left).saturating_sub(spent);
        let expires = label.expires.or(lot.as_ref().and_then(|lot| lot.expires));
        if expires.is_some_and(|last| last < today) {
            deciding.deviates(Code::PastDate);
        }
        if left < quantity || (label.lot.is_none() && lot.is_none()) {
            deciding.deviates(Code::NotComplete);
        }
        if let Some((typed, said)) = item.serial.as_ref().zip(label.serial.as_ref()).filter(|(a, b)| a != b) {
            let found =
                format!("The mark says number {}, and {} was typed.", shown(&said.0), shown(&typed.0));
            deciding.against(one_of_them(found));
        }
        let serial = item.serial.clone().or(label.serial);
        if let Some(serial) = &serial
            && let Some(before) = used_before(state, &items, (&label.model, serial), &it.case)
        {
            match before {
                Some(other) if other != it.case => deciding.deviates(Code::SingleUse),
                _ => deciding.against(already(&label.model, serial, &it.case)),
            }
        }
        items.push(Used {
            lot: lot.map_or(label.lot, |lot| lot.lot),
            model: label.model,
            serial,
            expires,
            quantity,
            implant: model.implant,
            from_shelf: left.min(quantity),
        });
    }
    Some(What::StockUsed(StockUsed { case: it.case.clone(), items }))
}

/// Whether a piece with this number was used already, and at which case; None within that is this very entry.
fn used_before(state: &State, now: &[Used], (model, serial): (&Id, &Line), at: &Id) -> Option<Option<Id>> {
    if now.iter().any(|it| it.model == *model && it.serial.as_ref() == Some(serial)) {
        return Some(None);
    }
    let before = state.cases_of_stock(Some(model), None, Some(&serial.0));
    let here = before.iter().find(|(case, _)| case == at).or(before.first());
    here.map(|(case, _)| Some(case.clone()))
}

fn already(model: &Id, serial: &Line, case: &Id) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{model} with the number {} is recorded as used at case {case}.", shown(&serial.0)),
        "One piece is used once.",
        "Look at the number; if it was recorded for the wrong case, tell the lead.",
    )
}

fn minimum(deciding: &mut Deciding, it: &SetStockMinimum) -> Option<What> {
    deciding.touches(None);
    if deciding.state.model(&it.model).is_none() {
        deciding.against(unknown("model", it.model.as_str()));
        return None;
    }
    kept_on_shelf(deciding, &it.model);
    Some(What::StockMinimumSet(it.clone()))
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    match what {
        What::StockTakenIn(it) => on_shelf(state, when, &it.model, |shelf| {
            let at = shelf.lots.iter_mut().find(|known| known.lot == it.lot);
            match at {
                Some(known) => {
                    (known.came, known.left) =
                        (known.came.saturating_add(it.quantity), known.left.saturating_add(it.quantity));
                    known.expires = it.expires;
                }
                None => shelf.lots.push(Lot {
                    lot: it.lot.clone(),
                    expires: it.expires,
                    came: it.quantity,
                    left: it.quantity,
                }),
            }
        }),
        What::StockTakenOut(it) => takes(state, when, &it.model, it.lot.as_ref(), it.quantity),
        What::StockMinimumSet(it) => on_shelf(state, when, &it.model, |shelf| {
            shelf.minimum = Some(it.minimum).filter(|minimum| *minimum > 0);
        }),
        What::StockUsed(it) => {
            for item in it.items.iter().filter(|item| item.from_shelf > 0) {
                takes(state, when, &item.model, item.lot.as_ref(), item.from_shelf);
            }
            let told = Told { at: when.at, by: when.actor.to_string(), entry: when.seq };
            let used = it.items.iter().map(|used| UsedAt { used: used.clone(), told: told.clone() });
            let known = state.case_stock.entry(it.case.clone());
            let known =
                known.or_insert_with(|| Arc::new(CaseStock { case: it.case.clone(), used: Vec::new() }));
            Arc::make_mut(known).used.extend(used);
            state.changes.case_stock.insert(it.case.clone());
        }
        _ => {}
    }
}

fn takes(state: &mut State, when: &When, model: &Id, lot: Option<&Line>, quantity: u32) {
    on_shelf(state, when, model, |shelf| {
        if let Some(known) = shelf.lots.iter_mut().find(|known| known.lot.as_ref() == lot) {
            known.left = known.left.saturating_sub(quantity);
        }
    });
}

fn on_shelf(state: &mut State, when: &When, model: &Id, change: impl FnOnce(&mut Shelf)) {
    let known = state.shelf.get(model).map(|shelf| (**shelf).clone());
    let mut shelf = known.unwrap_or_else(|| Shelf {
        model: model.clone(),
        minimum: None,
        lots: Vec::new(),
        last_at: when.at,
    });
    change(&mut shelf);
    shelf.last_at = shelf.last_at.max(when.at);
    state.changes.shelf.insert(model.clone());
    state.shelf.insert(model.clone(), Arc::new(shelf));
}
