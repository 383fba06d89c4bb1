//! What is due of loans and of the shelf: what goes back, what left without a part, what is low or past its date.

use super::due::DueItem;
use super::shelf::EXPIRES_SOON_DAYS;
use super::state::State;
use super::time::{Date, Time, on_day};
use chrono::NaiveTime;

/// A loan that goes back today or was to go back before.
pub const LOAN_BACK: &str = "loan_back";
/// A loan that left without a part that came with it.
pub const LOAN_LACKS: &str = "loan_lacks";
/// Fewer on the shelf than its minimum.
pub const STOCK_LOW: &str = "stock_low";
/// A lot on the shelf whose last good day is over.
pub const LOT_PAST: &str = "lot_past";
/// One whose last good day is near.
pub const LOT_ENDS: &str = "lot_ends";

fn begins(state: &State, day: Date) -> Time {
    on_day(day, NaiveTime::MIN, state.zone)
}

/// The loans that go back by today, and those that left without a part.
pub(super) fn loans(state: &State, now: Time) -> Vec<DueItem> {
    let today = now.date(state.zone);
    let mut all = Vec::new();
    for loan in state.open_loans(now) {
        let due = |why, since, found| DueItem {
            loan: Some(loan.loan.clone()),
            why,
            since,
            limit: 1,
            found,
            ..DueItem::default()
        };
        let day = loan.due.map(|day| begins(state, day));
        if !loan.lacking.is_empty() {
            all.push(due(LOAN_LACKS, day, loan.lacking.len() as u32));
        } else if loan.due.is_some_and(|day| day <= today) {
            all.push(due(LOAN_BACK, day, loan.parts as u32));
        }
    }
    all
}

/// What is low on the shelf, and lots that are past their date or soon will be.
pub(super) fn shelf(state: &State, now: Time) -> Vec<DueItem> {
    let today = now.date(state.zone);
    let mut all = Vec::new();
    for shelf in state.shelf.values() {
        let good = shelf.good(today);
        if let Some(minimum) = shelf.minimum.filter(|_| shelf.is_low(today)) {
            all.push(DueItem {
                model: Some(shelf.model.clone()),
                why: STOCK_LOW,
                limit: minimum,
                found: good,
                ..DueItem::default()
            });
        }
        for lot in shelf.there() {
            let Some(last) = lot.expires else { continue };
            let left = (last - today).num_days();
            let why = if left < 0 { LOT_PAST } else { LOT_ENDS };
            if left <= EXPIRES_SOON_DAYS {
                all.push(DueItem {
                    model: Some(shelf.model.clone()),
                    lot: lot.lot.as_ref().map(|lot| lot.0.clone()),
                    why,
                    // From the day after its last good one it is past.
                    since: last.succ_opt().map(|day| begins(state, day)),
                    limit: 1,
                    found: lot.left,
                    ..DueItem::default()
                });
            }
        }
    }
    all
}
