//! What can be taken away as a sheet: one table of everything that has rows. The sheets of models, parts, count sheets,
//! sets and cases read back as lists that change nothing.

mod house;
mod record;

use axum::extract::{Path, State as Of};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use super::visitor::Visitor;
use super::{App, fail};
use crate::app::house::operation;
use crate::domain::person::Role::{self, *};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::formats::cells::{self, Cell, Column, Table};
use crate::formats::xlsx::{self, Head};

type Rows = Vec<Vec<Cell>>;

/// A sheet that can be taken away.
pub struct Export {
    /// Its name in the address and of the file.
    pub name: &'static str,
    pub title: &'static str,
    pub columns: &'static [Column],
    pub roles: &'static [Role],
    rows: fn(&State, Time) -> Rows,
}

const ALL: &[Role] = &Role::ALL;

/// Everything that can be taken away from what the house is now.
pub const EXPORTS: &[Export] = &[
    Export { name: "models", title: "Models", columns: house::MODELS, roles: ALL, rows: house::models },
    Export { name: "assets", title: "Parts", columns: house::ASSETS, roles: ALL, rows: house::assets },
    Export {
        name: "count_sheets",
        title: "Count sheets",
        columns: house::COUNT_SHEETS,
        roles: ALL,
        rows: house::count_sheets,
    },
    Export { name: "sets", title: "Sets", columns: house::SETS, roles: ALL, rows: house::sets },
    Export { name: "cases", title: "Cases", columns: house::CASES, roles: ALL, rows: house::cases },
    Export {
        name: "machines",
        title: "Machines",
        columns: record::MACHINES,
        roles: ALL,
        rows: record::machines,
    },
    Export { name: "loads", title: "Loads", columns: record::LOADS, roles: ALL, rows: record::loads },
    Export { name: "due", title: "Due", columns: record::DUE, roles: ALL, rows: record::due },
    Export {
        name: "exceptions",
        title: "Exceptions",
        columns: record::EXCEPTIONS,
        roles: &[Lead, Desk, Infection, Auditor],
        rows: record::exceptions,
    },
    Export {
        name: "findings",
        title: "Defects",
        columns: record::FINDINGS,
        roles: ALL,
        rows: record::findings,
    },
    Export { name: "repairs", title: "Repairs", columns: record::REPAIRS, roles: ALL, rows: record::repairs },
    Export { name: "missing", title: "Missing", columns: record::MISSING, roles: ALL, rows: record::missing },
];

/// Who takes the ledger away.
const LEDGER_READERS: &[Role] = &[Lead, Infection, Biomed, Auditor, Admin];
/// As many entries as one sheet of the ledger holds, the newest; older ones come by the API, whole.
const ENTRIES_MOST: usize = 20_000;
const PAGE: usize = 1_000;

pub const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// In which form a sheet goes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Form {
    Csv,
    Workbook,
}

fn asked(what: &str) -> Option<(&str, Form)> {
    what.strip_suffix(".csv")
        .map(|name| (name, Form::Csv))
        .or_else(|| Some((what.strip_suffix(".xlsx")?, Form::Workbook)))
}

pub async fn get(Of(app): Of<App>, visitor: Visitor, Path(what): Path<String>) -> Response {
    let Some((name, form)) = asked(&what) else { return fail::nothing_here() };
    if name == "ledger" {
        return ledger(&app, visitor, form).await;
    }
    let Some(export) = EXPORTS.iter().find(|it| it.name == name) else { return fail::nothing_here() };
    if !visitor.is(export.roles) {
        return fail::not_for(visitor.actor.role);
    }
    let (state, now) = (visitor.state.clone(), visitor.now);
    let made = tokio::task::spawn_blocking(move || {
        let rows = (export.rows)(&state, now);
        written(export, rows, form, &shown(&state, now))
    });
    answer(made.await.ok().flatten(), &visitor.state, export.name, form)
}

/// Site, time and place in the ledger, for the foot of a printed page.
fn shown(state: &State, now: Time) -> String {
    format!("{}, {}, entry {}", state.name, now.told(state.zone), state.seq)
}

fn written(export: &Export, rows: Rows, form: Form, shown: &str) -> Option<Vec<u8>> {
    let rows: Box<dyn Iterator<Item = Vec<Cell>>> = match form {
        Form::Csv => Box::new(rows.into_iter().map(|row| row.into_iter().map(certain).collect())),
        Form::Workbook => Box::new(rows.into_iter()),
    };
    let table = Table { name: export.title, columns: export.columns, rows };
    let made = match form {
        Form::Csv => cells::csv(table).map_err(|error| error.to_string()),
        Form::Workbook => {
            let head = Head { title: export.title.into(), shown: shown.into() };
            xlsx::book(vec![table], &head).map_err(|error| error.to_string())
        }
    };
    made.map_err(|error| tracing::error!(operation = operation(), error, "a sheet could not be written")).ok()
}

/// A number with exactly three decimals reads in two ways, as text: with a nought behind it, it does not.
fn certain(cell: Cell) -> Cell {
    match cell {
        Cell::Number(number) => {
            let text = number.to_string();
            match text.split_once('.') {
                Some((_, decimals)) if decimals.len() == 3 => Cell::Text(format!("{text}0")),
                _ => Cell::Number(number),
            }
        }
        other => other,
    }
}

fn answer(made: Option<Vec<u8>>, state: &State, name: &str, form: Form) -> Response {
    let Some(bytes) = made else { return fail::unavailable(&operation()) };
    let (ending, kind) = match form {
        Form::Csv => ("csv", "text/csv; charset=utf-8"),
        Form::Workbook => ("xlsx", XLSX),
    };
    let mut response = bytes.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    let called = format!("attachment; filename=\"{name}-entry-{}.{ending}\"", state.seq);
    if let Ok(called) = HeaderValue::from_str(&called) {
        headers.insert(header::CONTENT_DISPOSITION, called);
    }
    response
}

async fn ledger(app: &App, visitor: Visitor, form: Form) -> Response {
    if !visitor.is(LEDGER_READERS) {
        return fail::not_for(visitor.actor.role);
    }
    let state = &visitor.state;
    let (mut rows, mut before) = (Rows::new(), None);
    while rows.len() < ENTRIES_MOST {
        let page = match app.house.newest(&state.site, before, PAGE).await {
            Ok(page) => page,
            Err(gone) => return fail::unavailable(&gone.operation),
        };
        let Some((last, _)) = page.last() else { break };
        before = Some(last.seq);
        rows.extend(page.iter().map(|(entry, leaf)| record::entry(state, entry, leaf)));
    }
    let export = Export {
        name: "ledger",
        title: "Ledger",
        columns: record::LEDGER,
        roles: LEDGER_READERS,
        rows: |_, _| Rows::new(),
    };
    let shown = shown(state, visitor.now);
    let made = tokio::task::spawn_blocking(move || written(&export, rows, form, &shown));
    answer(made.await.ok().flatten(), state, "ledger", form)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::import::{self, Change, Chosen, Kind};
    use crate::formats::grid;
    use crate::web::pages::sample;

    /// What was taken away and is brought again is what is there: as text, and as a workbook.
    #[test]
    fn a_sheet_that_is_brought_again_changes_nothing() {
        for visitor in [sample::visitor(), sample::busy::visitor()] {
            for kind in Kind::ALL {
                let export = EXPORTS.iter().find(|it| it.name == kind.name()).unwrap();
                for form in [Form::Csv, Form::Workbook] {
                    let rows = (export.rows)(&visitor.state, visitor.now);
                    let many = rows.len();
                    let bytes = written(export, rows, form, "here").unwrap();
                    let grid = grid::read(&bytes, None).unwrap();
                    assert_eq!(grid.rows.len(), many, "{kind:?} {form:?}");
                    let plan = import::plan(&visitor.state, kind, &grid, &Chosen::default());
                    assert!(plan.may_import(), "{kind:?} {form:?}: {:?} {:?}", plan.questions, plan.faults);
                    assert!(plan.planned.is_empty(), "{kind:?} {form:?}: {:?}", plan.planned.first());
                    assert!(plan.told.iter().all(|it| it.change == Change::Same));
                    assert!(!plan.told.is_empty() || many == 0, "{kind:?}");
                }
            }
        }
    }

    #[test]
    fn every_sheet_has_as_many_cells_as_columns() {
        let visitor = sample::busy::visitor();
        for export in EXPORTS {
            let rows = (export.rows)(&visitor.state, visitor.now);
            assert!(rows.iter().all(|row| row.len() == export.columns.len()), "{}", export.name);
            for form in [Form::Csv, Form::Workbook] {
                assert!(written(export, (export.rows)(&visitor.state, visitor.now), form, "here").is_some());
            }
        }
        assert_eq!(certain(Cell::Number(12.345)), Cell::Text("12.3450".into()));
        assert_eq!(certain(Cell::Number(5.5)), Cell::Number(5.5));
        assert_eq!(asked("loads.xlsx"), Some(("loads", Form::Workbook)));
        assert_eq!(asked("loads.pdf"), None);
    }
}
