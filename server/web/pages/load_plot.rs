//! A load's record enlarged, with the table of what is drawn.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;

use super::curve::{self, Curve};
use super::shared::{Page, segment};
use crate::domain::load::Load;
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

#[derive(Template)]
#[template(path = "load_plot.html")]
pub struct LoadPlotPage {
    pub page: Page,
    pub load: String,
    pub href: String,
    pub heading: String,
    pub curve: Arc<Curve>,
}

impl LoadPlotPage {
    pub fn of(visitor: &Visitor, load: &Load, passed: bool, curve: Arc<Curve>) -> LoadPlotPage {
        let href = format!("/loads/{}", segment(load.load.as_str()));
        LoadPlotPage {
            page: Page::of(visitor, "/loads", format!("{href}/plot"), None),
            load: load.load.to_string(),
            heading: super::verdict::sentence(load, passed),
            href,
            curve,
        }
    }
}

pub async fn get(visitor: Visitor, State(app): State<App>, Path(load): Path<String>) -> Response {
    let Some(found) = visitor.state.loads.get(load.as_str()) else {
        return super::problem::not_found("load", &load, "/loads", "All loads");
    };
    match curve::judged(&app, &visitor.state, found).await {
        Ok((judged, Some(curve))) => {
            let passed = judged.is_some_and(|judged| judged.passed);
            render(&LoadPlotPage::of(&visitor, found, passed, curve))
        }
        Ok((_, None)) => {
            super::problem::not_found("record that can be drawn, of load", &load, "/loads", "All loads")
        }
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::limits::{Limits, SteamLimits};
    use crate::web::pages::{plot, sample};

    #[test]
    fn the_enlarged_record_has_its_table_beside_it() {
        let visitor = sample::visitor();
        let load = visitor.state.loads.get("S-311").unwrap();
        let limits = Limits::Steam(SteamLimits::new(134.0, 180.0));
        let curve = Arc::new(curve::curve(&plot::tests::steam(), &limits, "It <meets> it.").unwrap());
        let text = sample::show("load-plot", &LoadPlotPage::of(&visitor, load, true, curve));
        assert!(text.contains("The record of load S-311 meets programme steam-134."));
        assert!(text.contains("large-cycle-title") && text.contains("large-hold-title"));
        assert!(text.contains("drain in °C") && text.contains("It &lt;meets&gt; it."));
    }
}
