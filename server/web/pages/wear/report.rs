//! The wear and retirement report of a period: on the screen, for a printer, as a workbook and as sheets.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::costs::{self, CostRow};
use super::tables::{self, By};
use crate::app::house::operation;
use crate::domain::costs::Money;
pub use crate::domain::costs::money;
use crate::domain::id::Id;
use crate::domain::model::Family;
use crate::domain::state::State;
use crate::domain::wear_report::{Failures, Retirement, WearReport};
use crate::formats::cells::{self, Table};
use crate::formats::xlsx::{self, Head};
use crate::web::App;
use crate::web::pages::period::{self, Period};
use crate::web::pages::shared::{Page, count, date, segment};
use crate::web::visitor::{Visitor, render};

/// A quarter of a year, today included, where nobody asked for other days.
const USUAL_DAYS: u64 = 91;
/// As many as a person reads at once; the workbook has them all.
const MOST_ROWS: usize = 500;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub from: String,
    pub to: String,
    pub table: String,
}

impl Asked {
    fn period(&self, visitor: &Visitor) -> Period {
        Period::of(&visitor.state, (&self.from, &self.to), USUAL_DAYS, visitor.now)
    }
}

pub struct RetiredRow {
    pub href: String,
    pub asset: String,
    pub name: String,
    pub day: String,
    pub cause: String,
    pub failed: bool,
    pub cycles: u32,
    pub prior: u32,
    pub uses: u32,
    pub days: String,
    pub by: String,
}

pub struct RepairLine {
    pub href: String,
    pub asset: String,
    pub reason: String,
    pub sent: String,
    pub back: String,
    pub away: String,
    pub cost: String,
    pub work: String,
}

pub struct FailureRow {
    pub href: String,
    pub model: String,
    pub name: String,
    pub cause: String,
    pub failures: u32,
    pub cycles: String,
}

#[derive(Template)]
#[template(path = "wear_report.html")]
pub struct ReportPage {
    pub page: Page,
    pub heading: String,
    pub from: String,
    pub to: String,
    pub period: String,
    pub query: String,
    pub tables: [(&'static str, &'static str); 5],
    pub failures: Vec<FailureRow>,
    pub families: Vec<(String, u32)>,
    pub retired: Vec<RetiredRow>,
    pub repairs: Vec<RepairLine>,
    pub cut: bool,
    pub costs: Vec<CostRow>,
    pub delays: String,
}

fn model_name(state: &State, model: &Id) -> String {
    state.model(model).map(|model| model.name.0.clone()).unwrap_or_default()
}

fn retired_row(state: &State, it: &Retirement, by: &By) -> RetiredRow {
    let asset = &it.asset;
    RetiredRow {
        href: format!("/assets/{}", segment(asset.asset.as_str())),
        asset: asset.asset.to_string(),
        name: model_name(state, &asset.model),
        day: date(it.how.at.date(state.zone)),
        cause: it.how.cause.name().replace('_', " "),
        failed: it.how.failure,
        cycles: asset.cycles,
        prior: asset.prior_cycles,
        uses: asset.uses,
        days: if it.at_least { format!("{} or more", it.days) } else { it.days.to_string() },
        by: by.get(&asset.asset).cloned().unwrap_or_default(),
    }
}

pub fn failure_row(state: &State, it: &Failures) -> FailureRow {
    let (least, most) = it.cycles;
    FailureRow {
        href: format!("/wear?model={}", segment(it.model.as_str())),
        model: it.model.to_string(),
        name: model_name(state, &it.model),
        cause: it.cause.name().replace('_', " "),
        failures: it.failures,
        cycles: if least == most { least.to_string() } else { format!("{least} to {most}") },
    }
}

/// Failures by family, the most first.
fn families(failures: &[Failures]) -> Vec<(String, u32)> {
    let mut all: Vec<(Option<Family>, u32)> = Vec::new();
    for it in failures {
        match all.iter_mut().find(|(family, _)| *family == it.family) {
            Some((_, many)) => *many += it.failures,
            None => all.push((it.family, it.failures)),
        }
    }
    all.sort_by_key(|(_, many)| std::cmp::Reverse(*many));
    let words = |family: Option<Family>| family.map_or_else(|| "not in the catalogue".into(), Family::words);
    all.into_iter().map(|(family, many)| (words(family), many)).collect()
}

pub fn heading(state: &State, report: &WearReport, period: &Period) -> String {
    let failed = report.retired.iter().filter(|it| it.how.failure).count();
    let retired = match (report.retired.len(), failed) {
        (0, _) => "No part was retired".to_string(),
        (all, 0) => format!("{} retired, none because it failed", count(all, "part was", "parts were")),
        (all, failed) if all == failed => {
            format!("{} retired because of a failure", count(all, "part was", "parts were"))
        }
        (all, failed) => {
            format!("{} retired, {failed} of them because of a failure", count(all, "part was", "parts were"))
        }
    };
    let worst = report.failures.first().map(|it| {
        let name = it.cause.name().replace('_', " ");
        format!("; most often {} ({}, {} times)", it.model, name, it.failures)
            .replace(", 1 times)", ", once)")
    });
    let (cost, told) = report.repair_cost(state);
    let repairs = match told {
        0 => String::new(),
        _ => format!(" {} cost {}.", count(told, "repair", "repairs"), money(cost)),
    };
    format!("{retired} {}{}.{repairs}", period.words(), worst.unwrap_or_default())
}

impl ReportPage {
    pub fn of(visitor: &Visitor, period: Period, report: &WearReport, by: &By) -> ReportPage {
        let state = &*visitor.state;
        let query = format!("from={}&to={}", period.from, period.to);
        let spent = money_of(state, report);
        let repair = |it: &std::sync::Arc<crate::domain::repair::Repair>| RepairLine {
            href: format!("/assets/{}", segment(it.asset.as_str())),
            asset: it.asset.to_string(),
            reason: it.reason.clone(),
            sent: date(it.sent_at.date(state.zone)),
            back: it.back_at.map(|at| date(at.date(state.zone))).unwrap_or_default(),
            away: it
                .back_at
                .map(|at| count((at.since_s(it.sent_at) / 86_400).max(0) as usize, "day", "days"))
                .unwrap_or_default(),
            cost: it.cost_cents.map(money).unwrap_or_default(),
            work: it.work.clone().unwrap_or_default(),
        };
        ReportPage {
            page: Page::of(visitor, "/wear", format!("/wear/report?{query}"), None),
            heading: heading(state, report, &period),
            from: period.from.to_string(),
            to: period.to.to_string(),
            period: period.words(),
            query,
            tables: tables::NAMES,
            failures: report.failures.iter().map(|it| failure_row(state, it)).collect(),
            families: families(&report.failures),
            retired: report.retired.iter().take(MOST_ROWS).map(|it| retired_row(state, it, by)).collect(),
            repairs: report.repairs.iter().take(MOST_ROWS).map(repair).collect(),
            cut: report.retired.len().max(report.repairs.len()) > MOST_ROWS,
            costs: costs::rows(state, &spent),
            delays: spent.delays.said(),
        }
    }
}

fn money_of(state: &State, report: &WearReport) -> Money {
    let (from, to) = report.window(state);
    state.money(from, to)
}

async fn retired_by(app: &App, state: &State, report: &WearReport, most: usize) -> Result<By, Response> {
    let of = |it: &Retirement| (it.asset.asset.clone(), it.asset.last_entry);
    let parts: Vec<(Id, u64)> = report.retired.iter().take(most).map(of).collect();
    let by = app.house.retired_by(&state.site, &parts).await;
    by.map_err(|gone| crate::web::fail::unavailable(&gone.operation))
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    if let Some(refused) = period::refused((&asked.from, &asked.to)) {
        return refused;
    }
    let period = asked.period(&visitor);
    let report = visitor.state.wear_report(period.from, period.to);
    match retired_by(&app, &visitor.state, &report, MOST_ROWS).await {
        Ok(by) => render(&ReportPage::of(&visitor, period, &report, &by)),
        Err(gone) => gone,
    }
}

/// A file to be kept, named after what it holds, its days and the ledger position.
fn file(
    visitor: &Visitor,
    period: Period,
    (name, ending, kind): (&str, &str, &'static str),
    bytes: Vec<u8>,
) -> Response {
    let name = format!("{name}-{}-{}-entry-{}.{ending}", period.from, period.to, visitor.state.seq);
    kept(&name, kind, bytes)
}

/// A file that is kept under a name, not shown.
pub(super) fn kept(name: &str, kind: &'static str, bytes: Vec<u8>) -> Response {
    let name = format!("attachment; filename=\"{name}\"");
    let mut response = bytes.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    if let Ok(name) = HeaderValue::from_str(&name) {
        headers.insert(header::CONTENT_DISPOSITION, name);
    }
    response
}

pub(super) fn not_written(error: &dyn std::fmt::Display) -> Response {
    let operation = operation();
    tracing::error!(operation, %error, "a table of wear could not be written");
    crate::web::fail::unavailable(&operation)
}

pub(super) const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// The report as a workbook, written beside the threads that answer.
pub async fn book(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    if let Some(refused) = period::refused((&asked.from, &asked.to)) {
        return refused;
    }
    let period = asked.period(&visitor);
    let report = visitor.state.wear_report(period.from, period.to);
    let by = match retired_by(&app, &visitor.state, &report, usize::MAX).await {
        Ok(by) => by,
        Err(gone) => return gone,
    };
    let page = Page::of(&visitor, "/wear", "/wear/report", None);
    let head = Head {
        title: format!("Wear and retirement {}", period.words()),
        shown: format!("{}, {}, as of ledger entry {}", page.site, page.clock, page.seq),
    };
    let state = visitor.state.clone();
    let written = tokio::task::spawn_blocking(move || {
        let money = money_of(&state, &report);
        let tables = vec![
            tables::retired(&state, &report, &by),
            tables::repairs(&state, &report),
            tables::failures(&state, &report),
            costs::table(&state, &money),
            tables::models(&state),
        ];
        xlsx::book(tables, &head)
    });
    match written.await {
        Ok(Ok(bytes)) => file(&visitor, period, ("wear", "xlsx", XLSX), bytes),
        Ok(Err(error)) => not_written(&error),
        Err(error) => not_written(&error),
    }
}

/// One of its tables as a sheet: the retirement register where nobody asked for another.
pub async fn csv(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    if let Some(refused) = period::refused((&asked.from, &asked.to)) {
        return refused;
    }
    let period = asked.period(&visitor);
    let report = visitor.state.wear_report(period.from, period.to);
    let state = &*visitor.state;
    let (by, money);
    let (name, table): (&str, Table<'_>) = match asked.table.as_str() {
        "repairs" => ("repairs", tables::repairs(state, &report)),
        "failures" => ("failures", tables::failures(state, &report)),
        "models" => ("models", tables::models(state)),
        "costs" => {
            money = money_of(state, &report);
            ("costs", costs::table(state, &money))
        }
        "retired" | "" => {
            by = match retired_by(&app, state, &report, usize::MAX).await {
                Ok(found) => found,
                Err(gone) => return gone,
            };
            ("retired", tables::retired(state, &report, &by))
        }
        other => return crate::web::pages::problem::not_found("table", other, "/wear/report", "The report"),
    };
    match cells::csv(table) {
        Ok(bytes) => file(&visitor, period, (name, "csv", "text/csv; charset=utf-8"), bytes),
        Err(error) => not_written(&error),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    fn page(visitor: &Visitor, asked: &Asked) -> (ReportPage, WearReport) {
        let period = asked.period(visitor);
        let report = visitor.state.wear_report(period.from, period.to);
        let by = By::from([(Id::new("CAP-02").unwrap(), "p-biomed".to_string())]);
        (ReportPage::of(visitor, period, &report, &by), report)
    }

    #[test]
    fn the_register_says_what_when_why_how_old_and_who() {
        let visitor = sample::busy::visitor();
        let (shown, report) = page(&visitor, &Asked::default());
        let text = sample::show("wear-report", &shown);
        assert!(text.contains("<h1>1 part was retired because of a failure from "), "{text}");
        assert!(text.contains("most often CAP-2 (worn, once)"), "{text}");
        assert!(
            text.contains(">CAP-02</a>") && text.contains("p-biomed") && text.contains("48 before tracking"),
            "{text}"
        );
        assert!(text.contains("0 or more"), "nobody said when it was acquired: {text}");
        let by = By::from([(Id::new("CAP-02").unwrap(), "p-biomed".to_string())]);
        let sheet =
            String::from_utf8(cells::csv(tables::retired(&visitor.state, &report, &by)).unwrap()).unwrap();
        assert!(
            sheet
                .lines()
                .nth(1)
                .is_some_and(|row| row.contains(",CAP-02,cap,CAP-2,") && row.ends_with(",own,,p-biomed")),
            "{sheet}"
        );
        let models = String::from_utf8(cells::csv(tables::models(&visitor.state)).unwrap()).unwrap();
        assert!(models.contains("cap,CAP-2,\"Silicone cap, one hole 2.8\",3,2,1,"), "{models}");
    }

    #[test]
    fn a_period_without_anything_says_so() {
        let asked = Asked { from: "2001-01-01".into(), to: "2001-12-31".into(), ..Asked::default() };
        let text = sample::show("wear-report-none", &page(&sample::busy::visitor(), &asked).0);
        assert!(
            text.contains("<h1>No part was retired from 1 January 2001 to 31 December 2001.</h1>"),
            "{text}"
        );
        let hostile = Asked { from: "<b>".into(), to: "'".into(), ..Asked::default() };
        sample::show("wear-report-hostile", &page(&sample::visitor(), &hostile).0);
    }
}
