//! Under which things the entries of loans, strangers, doubts and the shelf are found again.

use super::event::{Thing, What};
use super::history::alone;
use super::id::Id;

/// What came and went, and what nobody was sure of.
pub(super) fn of_strangers(what: &What) -> Vec<Thing> {
    match what {
        What::Arrived(it) => {
            let mut all = alone(it.parts.iter().map(|part| &part.asset));
            all.extend(it.set.iter().map(|set| Thing::set(set.set.as_str())));
            all.extend(it.case.iter().map(|case| Thing::case(case.as_str())));
            all.push(Thing::loan(it.loan.as_str()));
            all
        }
        What::LoanLeft(it) => {
            let parts = it.parts.iter().map(|part| &part.asset);
            let mut all = alone(parts.chain(&it.lacking).chain(it.moved.iter().map(|moved| &moved.asset)));
            all.extend(it.set.iter().map(|set| Thing::set(set.as_str())));
            all.push(Thing::loan(it.loan.as_str()));
            all
        }
        What::StrangerReceived(it) => alone(std::iter::once(&it.added.asset).chain(&it.same_as)),
        What::OwnerTold(it) => alone(std::iter::once(&it.stranger)),
        What::StrangerSettled(it) => {
            let opened = it.opened.iter().map(|moved| &moved.asset);
            alone(std::iter::once(&it.stranger).chain(&it.asset).chain(opened))
        }
        What::IdentityDoubted(it) => alone(it.groups.iter().flatten().map(|part| &part.asset)),
        What::IdentitySettled(it) => alone(it.assets.iter()),
        _ => Vec::new(),
    }
}

pub(super) fn of_stock(what: &What) -> Vec<Thing> {
    let stock = |model: &Id| vec![Thing::stock(model.as_str())];
    match what {
        What::StockTakenIn(it) => stock(&it.model),
        What::StockTakenOut(it) => stock(&it.model),
        What::StockMinimumSet(it) => stock(&it.model),
        What::StockUsed(it) => {
            let mut all: Vec<Thing> = it.items.iter().map(|item| Thing::stock(item.model.as_str())).collect();
            all.push(Thing::case(it.case.as_str()));
            all.sort();
            all.dedup();
            all
        }
        _ => Vec::new(),
    }
}
