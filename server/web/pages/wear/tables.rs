//! The tables of the wear and retirement report, the same for a page, a workbook and a sheet.

use std::collections::BTreeMap;

use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::wear_report::WearReport;
use crate::formats::cells::{Cell, Column, Table, column};

/// Who retired each part.
pub type By = BTreeMap<Id, String>;

const RETIRED: &[Column] = &[
    column("retired at", 17),
    column("part", 18),
    column("family", 16),
    column("model", 16),
    column("name", 34),
    column("mark", 26),
    column("serial", 16),
    column("lot", 14),
    column("cause", 14),
    column("failed", 8),
    column("cycles", 9),
    column("of these before tracking", 12),
    column("uses", 8),
    column("days in service", 10),
    column("days are at least", 10),
    column("bought for", 12),
    column("owner", 9),
    column("supplier", 20),
    column("retired by", 16),
];

const REPAIRS: &[Column] = &[
    column("repair", 14),
    column("part", 18),
    column("model", 16),
    column("name", 34),
    column("reason", 34),
    column("order", 14),
    column("sent", 17),
    column("back", 17),
    column("days away", 10),
    column("cost", 12),
    column("warranty", 10),
    column("cause", 20),
    column("repaired by", 20),
    column("expected back", 14),
    column("work", 34),
];

const FAILURES: &[Column] = &[
    column("family", 16),
    column("model", 16),
    column("name", 34),
    column("cause", 14),
    column("failures", 9),
    column("fewest cycles", 9),
    column("most cycles", 9),
];

const MODELS: &[Column] = &[
    column("family", 16),
    column("model", 16),
    column("name", 34),
    column("pieces ever", 9),
    column("in service", 9),
    column("failures ever", 9),
    column("oldest, in cycles", 9),
    column("maker's limit, in cycles", 9),
];

/// The names of the tables, as an address tells them, with what a person reads.
pub const NAMES: [(&str, &str); 5] = [
    ("retired", "Retirement register"),
    ("repairs", "Repairs"),
    ("failures", "Failures by model and cause"),
    ("costs", "Costs by model"),
    ("models", "All models"),
];

pub(super) fn moment(state: &State, at: Time) -> Cell {
    Cell::Moment(at.in_zone(state.zone).naive_local())
}

pub(super) fn line(line: &Option<crate::domain::text::Line>) -> Cell {
    line.as_ref().map_or(Cell::Empty, |line| Cell::text(line.0.clone()))
}

pub(super) fn yes(is: bool) -> Cell {
    Cell::text(if is { "yes" } else { "no" })
}

fn family(state: &State, model: &Id) -> Cell {
    state.model(model).map_or(Cell::Empty, |model| Cell::text(model.family.words()))
}

fn name(state: &State, model: &Id) -> Cell {
    state.model(model).map_or(Cell::Empty, |model| Cell::text(model.name.0.clone()))
}

pub(super) fn spaced(name: &str) -> Cell {
    Cell::text(name.replace('_', " "))
}

pub fn retired<'a>(state: &'a State, report: &'a WearReport, by: &'a By) -> Table<'a> {
    let rows = report.retired.iter().map(|it| {
        let asset = &it.asset;
        vec![
            moment(state, it.how.at),
            Cell::text(asset.asset.to_string()),
            family(state, &asset.model),
            Cell::text(asset.model.to_string()),
            name(state, &asset.model),
            line(&asset.mark),
            line(&asset.serial),
            line(&asset.lot),
            spaced(it.how.cause.name()),
            yes(it.how.failure),
            Cell::Whole(asset.cycles.into()),
            Cell::Whole(asset.prior_cycles.into()),
            Cell::Whole(asset.uses.into()),
            Cell::Whole(it.days.into()),
            yes(it.at_least),
            Cell::or_empty(asset.cost_cents, Cell::Money),
            Cell::text(asset.owner.name()),
            line(&asset.supplier),
            by.get(&asset.asset).map_or(Cell::Empty, Cell::text),
        ]
    });
    Table { name: "Retirement register", columns: RETIRED, rows: Box::new(rows) }
}

pub fn repairs<'a>(state: &'a State, report: &'a WearReport) -> Table<'a> {
    let rows = report.repairs.iter().map(|it| {
        let model = state.assets.get(&it.asset).map(|asset| &asset.model);
        let away = it.back_at.map(|back| u64::try_from(back.since_s(it.sent_at) / 86_400).unwrap_or(0));
        vec![
            Cell::text(it.repair.to_string()),
            Cell::text(it.asset.to_string()),
            model.map_or(Cell::Empty, |model| Cell::text(model.to_string())),
            model.map_or(Cell::Empty, |model| name(state, model)),
            Cell::text(it.reason.clone()),
            line(&it.order),
            moment(state, it.sent_at),
            it.back_at.map_or(Cell::Empty, |at| moment(state, at)),
            Cell::or_empty(away, Cell::Whole),
            Cell::or_empty(it.cost_cents, Cell::Money),
            it.warranty.map_or(Cell::Empty, yes),
            line(&it.cause),
            line(&it.supplier),
            Cell::or_empty(it.expected, Cell::Day),
            Cell::text(it.work.clone().unwrap_or_default()),
        ]
    });
    Table { name: "Repairs", columns: REPAIRS, rows: Box::new(rows) }
}

pub fn failures<'a>(state: &'a State, report: &'a WearReport) -> Table<'a> {
    let rows = report.failures.iter().map(|it| {
        vec![
            family(state, &it.model),
            Cell::text(it.model.to_string()),
            name(state, &it.model),
            spaced(it.cause.name()),
            Cell::Whole(it.failures.into()),
            Cell::Whole(it.cycles.0.into()),
            Cell::Whole(it.cycles.1.into()),
        ]
    });
    Table { name: "Failures", columns: FAILURES, rows: Box::new(rows) }
}

/// Every model that has or had pieces, as it stands now.
pub fn models(state: &State) -> Table<'_> {
    #[derive(Default)]
    struct Counted {
        ever: u64,
        now: u64,
        failed: u64,
        oldest: u32,
    }
    let mut counted: BTreeMap<&Id, Counted> = BTreeMap::new();
    for asset in state.assets.values() {
        let it = counted.entry(&asset.model).or_default();
        it.ever += 1;
        it.now += u64::from(asset.retired.is_none());
        it.failed += u64::from(asset.retired.as_ref().is_some_and(|how| how.failure));
        it.oldest = it.oldest.max(asset.cycles);
    }
    let rows = counted.into_iter().map(|(model, it)| {
        let limit = state.model(model).and_then(|model| model.limits.max_cycles);
        vec![
            family(state, model),
            Cell::text(model.to_string()),
            name(state, model),
            Cell::Whole(it.ever),
            Cell::Whole(it.now),
            Cell::Whole(it.failed),
            Cell::Whole(it.oldest.into()),
            Cell::or_empty(limit.map(u64::from), Cell::Whole),
        ]
    });
    Table { name: "Models", columns: MODELS, rows: Box::new(rows) }
}
