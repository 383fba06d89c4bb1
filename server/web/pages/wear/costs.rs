//! What a model's pieces cost in a period: by use and by case, replaced in time and after a failure.

use super::report::money;
use crate::domain::costs::{ModelMoney, Money};
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::formats::cells::{Cell, Column, Table, column};
use crate::web::pages::shared::{count, segment};

const COLUMNS: &[Column] = &[
    column("model", 16),
    column("name", 34),
    column("pieces", 9),
    column("uses", 9),
    column("cases", 9),
    column("bought", 9),
    column("bought for", 12),
    column("bought without a told price", 12),
    column("repairs", 9),
    column("repairs cost", 12),
    column("repairs without a told cost", 12),
    column("cost per use", 12),
    column("cost per case", 12),
    column("replaced in time", 10),
    column("replaced after a failure", 10),
    column("lost", 8),
    column("faults at cases", 10),
    column("missed", 8),
];

pub struct CostRow {
    pub href: String,
    pub model: String,
    pub name: String,
    pub uses: String,
    pub cases: String,
    pub spent: String,
    pub untold: String,
    pub per_use: String,
    pub per_case: String,
    pub planned: u32,
    pub unplanned: u32,
    pub faults: u32,
    pub missed: u32,
}

fn cents(cents: Option<f64>) -> Option<u64> {
    cents.filter(|cents| cents.is_finite() && *cents >= 0.0).map(|cents| cents.round() as u64)
}

fn name(state: &State, model: &Id) -> String {
    state.model(model).map(|model| model.name.0.clone()).unwrap_or_default()
}

fn row(state: &State, (model, it): (&Id, &ModelMoney)) -> CostRow {
    let untold = match (it.bought_without_price, it.repairs_without_cost) {
        (0, 0) => String::new(),
        (bought, 0) => format!("{bought} bought without a told price"),
        (0, repairs) => format!("{} without a told cost", count(repairs as usize, "repair", "repairs")),
        (bought, repairs) => {
            format!(
                "{bought} bought and {} without a told price",
                count(repairs as usize, "repair", "repairs")
            )
        }
    };
    CostRow {
        href: format!("/wear?model={}", segment(model.as_str())),
        model: model.to_string(),
        name: name(state, model),
        uses: if it.uses > 0 { count(it.uses as usize, "use", "uses") } else { String::new() },
        cases: if it.cases > 0 { count(it.cases as usize, "case", "cases") } else { String::new() },
        // Without any told price an amount of nothing would be an untruth.
        spent: if untold.is_empty() || it.spent_cents() > 0 {
            money(it.spent_cents())
        } else {
            "not told".into()
        },
        per_use: cents(it.per_use_cents().filter(|cents| *cents > 0.0)).map(money).unwrap_or_default(),
        per_case: cents(it.per_case_cents().filter(|cents| *cents > 0.0)).map(money).unwrap_or_default(),
        untold,
        planned: it.planned,
        unplanned: it.unplanned,
        faults: it.faults_at_cases,
        missed: it.missed,
    }
}

/// Whether anything happened to a model's pieces.
fn tells(it: &ModelMoney) -> bool {
    it.spent_cents() > 0
        || [it.uses, it.bought, it.repairs, it.planned, it.unplanned, it.lost, it.faults_at_cases, it.missed]
            .iter()
            .any(|many| *many > 0)
}

/// The models to which anything happened, the dearest first.
pub fn rows(state: &State, all: &Money) -> Vec<CostRow> {
    let mut told: Vec<(&Id, &ModelMoney)> = all.models.iter().filter(|(_, it)| tells(it)).collect();
    told.sort_by(|a, b| {
        b.1.spent_cents().cmp(&a.1.spent_cents()).then(b.1.unplanned.cmp(&a.1.unplanned)).then(a.0.cmp(b.0))
    });
    told.into_iter().map(|it| row(state, it)).collect()
}

pub fn table<'a>(state: &'a State, all: &'a Money) -> Table<'a> {
    let told = all.models.iter().filter(|(_, it)| tells(it));
    let rows = told.map(|(model, it)| {
        vec![
            Cell::text(model.to_string()),
            Cell::text(name(state, model)),
            Cell::Whole(it.pieces.into()),
            Cell::Whole(it.uses.into()),
            Cell::Whole(it.cases.into()),
            Cell::Whole(it.bought.into()),
            Cell::Money(it.bought_cents),
            Cell::Whole(it.bought_without_price.into()),
            Cell::Whole(it.repairs.into()),
            Cell::Money(it.repair_cents),
            Cell::Whole(it.repairs_without_cost.into()),
            Cell::or_empty(cents(it.per_use_cents()), Cell::Money),
            Cell::or_empty(cents(it.per_case_cents()), Cell::Money),
            Cell::Whole(it.planned.into()),
            Cell::Whole(it.unplanned.into()),
            Cell::Whole(it.lost.into()),
            Cell::Whole(it.faults_at_cases.into()),
            Cell::Whole(it.missed.into()),
        ]
    });
    Table { name: "Costs", columns: COLUMNS, rows: Box::new(rows) }
}
