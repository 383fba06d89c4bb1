//! Every machine: which may run a load now, and which test is due?

use askama::Template;
use axum::extract::{Query, State as Of};
use axum::response::Response;

use super::machine::{Shown, last_loads, shown, why_not};
use super::shared::{Done, Page, count, some_of};
use crate::app::reads::Verdicts;
use crate::domain::load::Load;
use crate::domain::trend::{Trend, trends};
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

pub struct Row {
    pub machine: Shown,
    pub may: bool,
    pub drifts: Vec<String>,
}

#[derive(Template)]
#[template(path = "machines.html")]
pub struct MachinesPage {
    pub page: Page,
    pub heading: String,
    pub rows: Vec<Row>,
}

impl MachinesPage {
    pub fn of(visitor: &Visitor, verdicts: &Verdicts, done: Option<u64>) -> MachinesPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let rows: Vec<Row> = state
            .machines
            .values()
            .map(|machine| Row {
                machine: shown(state, machine, now),
                may: why_not(state, machine, now).is_empty(),
                drifts: trends(&last_loads(state, machine), verdicts)
                    .iter()
                    .flat_map(Trend::drifts)
                    .collect(),
            })
            .collect();
        MachinesPage {
            page: Page::of(visitor, "/machines", "/machines", done),
            heading: heading(&rows),
            rows,
        }
    }
}

/// The worst first: what may not run, then what drifts.
fn heading(rows: &[Row]) -> String {
    let named = |rows: Vec<&Row>| {
        let names: Vec<String> = rows.into_iter().map(|row| row.machine.machine.clone()).collect();
        some_of(&names, 4)
    };
    let stopped: Vec<&Row> = rows.iter().filter(|row| !row.may).collect();
    let drifting: Vec<&Row> = rows.iter().filter(|row| !row.drifts.is_empty()).collect();
    let mut said = match (rows.len(), stopped.len()) {
        (0, _) => "No machine is defined yet".to_string(),
        (1, 0) => format!("{} may run loads", rows[0].machine.machine),
        (all, 0) => format!("All {all} machines may run loads"),
        (all, number) => {
            let of = count(all, "machine", "machines");
            format!("{number} of {of} may not run every programme now: {}", named(stopped))
        }
    };
    match drifting.len() {
        0 => {}
        1 => said.push_str(&format!(". {} drifts", named(drifting))),
        _ => said.push_str(&format!(". {} drift", named(drifting))),
    }
    format!("{said}.")
}

pub async fn get(visitor: Visitor, Of(app): Of<App>, Query(done): Query<Done>) -> Response {
    let state = visitor.state.clone();
    let loads: Vec<&Load> = state.machines.values().flat_map(|machine| last_loads(&state, machine)).collect();
    match app.house.verdicts(&state.site, loads.into_iter()).await {
        Ok(verdicts) => render(&MachinesPage::of(&visitor, &verdicts, done.seq())),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_machines_say_how_they_stand() {
        let visitor = sample::visitor();
        let text = sample::show("machines", &MachinesPage::of(&visitor, &Verdicts::new(), None));
        assert!(text.contains("All 2 machines may run loads.") && text.contains("/machines/ST-1"), "{text}");
    }
}
