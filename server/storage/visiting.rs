//! Tables of what is not the house's own, or has no parts of its own: loans, strangers, doubts of identity, the shelf.

use std::collections::BTreeSet;
use std::sync::Arc;

use imbl::OrdMap;
use serde::{Deserialize, Serialize};

use super::connection::{Conn, StorageError};
use super::facts::{Rows, json, read};
use super::rows::{Table, plain};
use crate::domain::id::Id;
use crate::domain::set::SetState;
use crate::domain::state::{Changes, State};
use crate::domain::text::Line;
use crate::domain::time::Time;

pub const LOAN: Table = plain!("loan_now");
pub const STRANGER: Table = plain!("stranger_now");
pub const MIXED: Table = plain!("identity_doubt_now");
pub const SHELF: Table = plain!("shelf_now");
pub const CASE_STOCK: Table = plain!("case_stock_now");

/// A set, less what is seated in it, which stands with the parts.
#[derive(Serialize, Deserialize)]
pub(super) struct SetFacts {
    pub count_sheet: Id,
    pub name: Line,
    pub last_at: Time,
    /// It was lent, and left the house.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub left: bool,
}

impl SetFacts {
    pub fn of(it: &SetState, left: bool) -> SetFacts {
        SetFacts { count_sheet: it.count_sheet.clone(), name: it.name.clone(), last_at: it.last_at, left }
    }
}

fn changed<T: Serialize>(
    state: &State,
    changes: &BTreeSet<Id>,
    things: &OrdMap<Id, Arc<T>>,
) -> Result<Rows, StorageError> {
    let mut rows = Rows::new();
    for id in changes {
        if let Some(thing) = things.get(id) {
            rows.push(vec![state.site.as_str().into(), id.as_str().into(), json(&**thing)?]);
        }
    }
    Ok(rows)
}

/// The rows of what changed, by table.
pub(super) fn rows(state: &State, changes: &Changes) -> Result<Vec<(Table, Rows)>, StorageError> {
    Ok(vec![
        (LOAN, changed(state, &changes.loans, &state.loans)?),
        (STRANGER, changed(state, &changes.strangers, &state.strangers)?),
        (MIXED, changed(state, &changes.mixed, &state.mixed)?),
        (SHELF, changed(state, &changes.shelf, &state.shelf)?),
        (CASE_STOCK, changed(state, &changes.case_stock, &state.case_stock)?),
    ])
}

pub(super) async fn load(conn: &mut Conn, site: &str, state: &mut State) -> Result<(), StorageError> {
    state.loans = read::<Arc<_>>(conn, &LOAN, site).await?.into_iter().collect();
    state.strangers = read::<Arc<_>>(conn, &STRANGER, site).await?.into_iter().collect();
    state.mixed = read::<Arc<_>>(conn, &MIXED, site).await?.into_iter().collect();
    state.shelf = read::<Arc<_>>(conn, &SHELF, site).await?.into_iter().collect();
    state.case_stock = read::<Arc<_>>(conn, &CASE_STOCK, site).await?.into_iter().collect();
    Ok(())
}
