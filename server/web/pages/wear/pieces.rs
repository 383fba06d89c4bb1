//! Every piece that a model has or had, one to a row, as a workbook and as a sheet.

use axum::extract::{Query, State as Reach};
use axum::response::Response;

use super::decide::{Chances, chances};
use super::report::{XLSX, kept, not_written};
use super::tables::{line, moment, spaced, yes};
use super::{Asked, outlooks};
use crate::app::outlook::All;
use crate::domain::id::Id;
use crate::domain::lifetime::Piece;
use crate::domain::outlook::Outlook;
use crate::domain::state::State;
use crate::formats::cells::{self, Cell, Column, Table, column};
use crate::formats::xlsx::{self, Head};
use crate::web::App;
use crate::web::pages::shared::Page;
use crate::web::visitor::Visitor;

const PIECES: &[Column] = &[
    column("part", 18),
    column("model", 16),
    column("serial", 16),
    column("lot", 14),
    column("supplier", 20),
    column("set", 14),
    column("place in the set", 18),
    column("location", 18),
    column("age counted in", 9),
    column("age at entry", 9),
    column("age", 9),
    column("last seen whole at", 10),
    column("failed", 8),
    column("failed after", 9),
    column("failed by", 9),
    column("retired at", 17),
    column("cause", 14),
    column("chance to fail by the end of the next case", 12),
    column("chance to fail before its next inspection", 12),
];

fn row(state: &State, outlook: &Outlook, piece: &Piece, chances: (Option<f64>, Option<f64>)) -> Vec<Cell> {
    let asset = state.assets.get(&piece.asset);
    let seat = asset.and_then(|asset| asset.seat.as_ref());
    let of_asset = |cell: Option<Cell>| cell.unwrap_or(Cell::Empty);
    vec![
        Cell::text(piece.asset.to_string()),
        Cell::text(outlook.lives.model.to_string()),
        of_asset(asset.map(|asset| line(&asset.serial))),
        of_asset(asset.map(|asset| line(&asset.lot))),
        line(&piece.supplier),
        seat.map_or(Cell::Empty, |seat| Cell::text(seat.set.to_string())),
        seat.map_or(Cell::Empty, |seat| Cell::text(seat.line.to_string())),
        of_asset(asset.map(|asset| line(&asset.location))),
        Cell::text(outlook.clock().name()),
        Cell::Whole(piece.entry.into()),
        Cell::Whole(piece.age.into()),
        Cell::Whole(piece.whole_at.into()),
        yes(piece.failed.is_some()),
        piece.failed.as_ref().map_or(Cell::Empty, |failed| Cell::Whole(failed.after.into())),
        piece.failed.as_ref().map_or(Cell::Empty, |failed| Cell::Whole(failed.by.into())),
        piece.retired_at.map_or(Cell::Empty, |at| moment(state, at)),
        piece.retired.map_or(Cell::Empty, |cause| spaced(cause.name())),
        Cell::or_empty(chances.0, Cell::Number),
        Cell::or_empty(chances.1, Cell::Number),
    ]
}

/// Those in service as the page lists them, then those that left, by id.
pub fn table<'a>(state: &'a State, outlook: &'a Outlook, here: &'a [Chances<'a>]) -> Table<'a> {
    let here = here.iter().map(|it| row(state, outlook, it.piece, (it.case, it.inspection)));
    let left = outlook.lives.pieces.iter().filter(|piece| !piece.in_service());
    let left = left.map(|piece| row(state, outlook, piece, (None, None)));
    Table { name: "Pieces", columns: PIECES, rows: Box::new(here.chain(left)) }
}

/// The outlooks, and the model of them that was asked for.
async fn asked_for(app: &App, visitor: &Visitor, asked: Asked) -> Result<(All, Id), Response> {
    let all = outlooks(app, visitor).await?;
    let model = asked.model.unwrap_or_default();
    match Id::new(&model).filter(|id| all.contains_key(id)) {
        Some(id) => Ok((all, id)),
        None => Err(crate::web::pages::problem::not_found("model with parts", &model, "/wear", "All models")),
    }
}

fn named(visitor: &Visitor, model: &Id, ending: &str) -> String {
    let plain = |letter: char| if letter.is_ascii_alphanumeric() || letter == '.' { letter } else { '-' };
    let model: String = model.as_str().chars().map(plain).collect();
    format!("pieces-{model}-entry-{}.{ending}", visitor.state.seq)
}

pub async fn book(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let (all, model) = match asked_for(&app, &visitor, asked).await {
        Ok(found) => found,
        Err(answer) => return answer,
    };
    let page = Page::of(&visitor, "/wear", "/wear", None);
    let head = Head {
        title: format!("Pieces of {model}"),
        shown: format!("{}, {}, as of ledger entry {}", page.site, page.clock, page.seq),
    };
    let name = named(&visitor, &model, "xlsx");
    let state = visitor.state.clone();
    let written = tokio::task::spawn_blocking(move || {
        let outlook = &all[&model];
        let here = chances(&state, outlook);
        xlsx::book(vec![table(&state, outlook, &here)], &head)
    });
    match written.await {
        Ok(Ok(bytes)) => kept(&name, XLSX, bytes),
        Ok(Err(error)) => not_written(&error),
        Err(error) => not_written(&error),
    }
}

pub async fn csv(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let (all, model) = match asked_for(&app, &visitor, asked).await {
        Ok(found) => found,
        Err(answer) => return answer,
    };
    let outlook = &all[&model];
    let here = chances(&visitor.state, outlook);
    match cells::csv(table(&visitor.state, outlook, &here)) {
        Ok(bytes) => kept(&named(&visitor, &model, "csv"), "text/csv; charset=utf-8", bytes),
        Err(error) => not_written(&error),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn every_piece_stands_in_the_sheet_with_its_end_or_its_chances() {
        let visitor = sample::worn();
        let all = visitor.state.outlooks(visitor.now);
        let outlook = &all[&Id::new("CAP-2").unwrap()];
        let here = chances(&visitor.state, outlook);
        let sheet = cells::csv(table(&visitor.state, outlook, &here)).unwrap();
        let sheet = String::from_utf8(sheet).unwrap();
        let rows: Vec<Vec<&str>> = sheet.lines().map(|row| row.split(',').collect()).collect();
        assert_eq!(rows.len(), 1 + outlook.units(), "{sheet}");
        let at = |name: &str| rows[0].iter().position(|column| *column == name).unwrap();
        let (failed, chance) = (at("failed"), at("chance to fail before its next inspection"));
        let gone = rows[1..].iter().filter(|row| row[failed] == "yes");
        let gone: Vec<_> = gone.collect();
        assert_eq!(gone.len() as u64, outlook.failures, "{sheet}");
        assert!(gone.iter().all(|row| row[chance].is_empty() && !row[at("cause")].is_empty()), "{sheet}");
        let here: Vec<f64> = rows[1..].iter().filter_map(|row| row[chance].parse().ok()).collect();
        assert_eq!(here.len() as u32, outlook.in_service, "{sheet}");
        assert!(here.iter().all(|chance| (0.0..=1.0).contains(chance)), "{sheet}");
        assert!(here.windows(2).all(|pair| pair[0] >= pair[1]), "the likeliest stands first: {sheet}");
    }
}
