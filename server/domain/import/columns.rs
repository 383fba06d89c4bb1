//! What a list of each kind may have: one description per kind, with the names that departments give their columns.

use super::Kind;
use crate::domain::model_columns;

/// What stands in the cells of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A name of the house: letters, digits, dots, hyphens, underscores.
    Id,
    /// An identifier that may hold more: a mark, a serial number, a lot.
    Mark,
    Words,
    Whole,
    /// Money, with its decimals.
    Cents,
    Day,
    /// A day with a time of it.
    Moment,
    /// A time of day.
    Clock,
    YesNo,
    /// One of a few words.
    Choice(&'static [&'static str]),
    Family,
    /// Names with commas, semicolons or strokes between them.
    Ids,
    /// A column of the table of models, by its place there.
    Model(usize),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needed {
    /// A list without it says nothing.
    Always,
    May,
}

#[derive(Clone, Copy, Debug)]
pub struct Column {
    pub key: &'static str,
    /// Where its value stands in a command.
    pub path: &'static str,
    /// What else it may be called, small, with underscores between the words.
    pub names: &'static [&'static str],
    pub what: What,
    pub needed: Needed,
}

impl Column {
    pub fn label(&self) -> String {
        let words = self.key.replace('_', " ");
        let unit = match self.what {
            What::Model(place) => model_columns::unit_words(place),
            _ => "",
        };
        let mut letters = words.chars();
        let first: String = letters.next().map(|first| first.to_uppercase().collect()).unwrap_or_default();
        format!("{first}{}{unit}", letters.as_str())
    }

    pub fn is_needed(&self) -> bool {
        self.needed == Needed::Always
    }
}

const OWNERS: &[&str] = &["own", "loan", "trial"];
const TECHNIQUES: &[&str] = &["jet_open", "controlled_closed", "assisted", "apnoeic"];
const RISKS: &[&str] = &["none", "prion_suspected", "airborne", "resistant"];

const fn may(key: &'static str, path: &'static str, what: What, names: &'static [&'static str]) -> Column {
    Column { key, path, names, what, needed: Needed::May }
}

const fn must(key: &'static str, path: &'static str, what: What, names: &'static [&'static str]) -> Column {
    Column { key, path, names, what, needed: Needed::Always }
}

#[rustfmt::skip] // A table reads by its columns.
const ASSETS: &[Column] = &[
    may("asset", "/asset", What::Id, &["asset_no", "asset_number", "asset_id", "id", "part", "part_id", "inventory_no", "inventory_number", "number", "no"]),
    may("mark", "/mark", What::Mark, &["barcode", "bar_code", "udi", "data_matrix", "giai", "code"]),
    must("model", "/model", What::Id, &["model_code", "model_no", "model_number", "catalogue_no", "catalogue_number", "article", "article_no", "item", "item_no", "ref", "type"]),
    may("serial", "/serial", What::Mark, &["serial_no", "serial_number", "sn", "s_n"]),
    may("lot", "/lot", What::Mark, &["lot_no", "lot_number", "batch", "batch_no"]),
    may("acquired", "/acquired", What::Day, &["date_acquired", "acquired_on", "purchased", "purchase_date", "date_of_purchase", "bought", "in_service_since"]),
    may("prior_cycles", "/prior_cycles", What::Whole, &["cycles", "cycles_so_far", "sterilisations", "cycles_before"]),
    may("prior_uses", "/prior_uses", What::Whole, &["uses", "uses_so_far", "uses_before"]),
    may("cost", "/cost_cents", What::Cents, &["price", "cost_of_purchase", "purchase_price", "value"]),
    may("owner", "/owner", What::Choice(OWNERS), &["ownership", "owned_by"]),
    may("location", "/location", What::Words, &["place", "shelf", "store", "stored_at", "room"]),
];

#[rustfmt::skip]
const COUNT_SHEETS: &[Column] = &[
    must("count_sheet", "/count_sheet", What::Id, &["sheet", "sheet_code", "tray_list", "code"]),
    may("name", "/name", What::Words, &["sheet_name", "title", "description"]),
    must("line", "/lines/line", What::Words, &["line_name", "item", "position", "instrument"]),
    may("family", "/lines/family", What::Family, &["kind", "type"]),
    may("models", "/lines/models", What::Ids, &["model", "model_code", "one_of"]),
    must("quantity", "/lines/quantity", What::Whole, &["qty", "count", "number", "pieces"]),
    must("essential", "/lines/essential", What::YesNo, &["is_essential", "mandatory", "required"]),
    may("pack", "/lines/pack", What::Words, &["packed_as", "wrap"]),
];

#[rustfmt::skip]
const SETS: &[Column] = &[
    must("set", "/set", What::Id, &["set_code", "set_no", "tray", "tray_code", "code"]),
    may("count_sheet", "/count_sheet", What::Id, &["sheet", "sheet_code"]),
    may("name", "/name", What::Words, &["set_name", "tray_name", "title", "description"]),
    may("line", "/line", What::Words, &["line_name", "item", "instrument"]),
    may("position", "/position", What::Whole, &["pos", "place"]),
    may("asset", "/asset", What::Mark, &["asset_no", "asset_number", "asset_id", "part", "part_id", "mark", "barcode"]),
];

#[rustfmt::skip]
const CASES: &[Column] = &[
    must("case", "/case", What::Id, &["case_no", "case_number", "case_id", "id", "number"]),
    may("start", "/start", What::Moment, &["starts", "start_at", "begins", "scheduled", "scheduled_at", "date_and_time", "date_time"]),
    may("date", "/start", What::Day, &["day", "start_date", "date_of_case"]),
    may("time", "/start", What::Clock, &["hour", "start_time", "begin_time"]),
    must("minutes", "/minutes", What::Whole, &["duration", "length", "duration_min", "duration_minutes", "length_min"]),
    may("room", "/room", What::Words, &["theatre", "operating_room", "or", "place"]),
    may("technique", "/technique", What::Choice(TECHNIQUES), &["ventilation"]),
    may("needs", "/needs", What::Ids, &["count_sheets", "count_sheet", "sheets", "needed"]),
    may("patient", "/patient", What::Mark, &["patient_ref", "patient_reference", "patient_id", "case_reference"]),
    may("risk", "/risk", What::Choice(RISKS), &["risks", "infection_risk"]),
];

/// The columns of a kind, in the order in which a page names them.
pub fn columns(kind: Kind) -> Vec<Column> {
    match kind {
        Kind::Models => model_columns::COLUMNS.iter().enumerate().map(of_models).collect(),
        Kind::Assets => ASSETS.to_vec(),
        Kind::CountSheets => COUNT_SHEETS.to_vec(),
        Kind::Sets => SETS.to_vec(),
        Kind::Cases => CASES.to_vec(),
    }
}

fn of_models((place, column): (usize, &model_columns::Column)) -> Column {
    let key = column.names.first().copied().unwrap_or_default();
    let needed = if key == "model" { Needed::Always } else { Needed::May };
    Column { key, path: column.path, names: column.names, what: What::Model(place), needed }
}

/// A column of a kind by its key.
pub fn column(kind: Kind, key: &str) -> Option<Column> {
    columns(kind).into_iter().find(|column| column.key == key)
}

/// The columns of a kind that hold dates.
pub fn dated(kind: Kind) -> Vec<&'static str> {
    let is_dated = |column: &Column| matches!(column.what, What::Day | What::Moment);
    columns(kind).into_iter().filter(is_dated).map(|column| column.key).collect()
}
