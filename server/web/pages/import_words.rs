//! What the page of a list says of its columns, its questions and what it would do.

use super::shared::{capital, count};
use crate::domain::import::mapping::{How, Mapped};
use crate::domain::import::{Kind, Question, line};
use crate::formats::grid::Charset;
use crate::formats::table::Fault;

/// A column that is wanted, with the choices that the file offers.
pub struct ColumnRow {
    pub key: &'static str,
    pub label: String,
    pub needed: bool,
    /// How it was found: in words.
    pub how: &'static str,
    /// The file's columns, and whether it is this one.
    pub options: Vec<(String, bool)>,
    pub fixed: String,
}

/// A question, with its answers as fields of a form.
pub struct QuestionRow {
    pub field: String,
    pub words: String,
    pub answers: Vec<(&'static str, &'static str)>,
}

pub fn of_kind(kind: Kind, number: usize) -> String {
    let (one, many) = kind.words();
    count(number, one, many)
}

pub fn first_of(faults: &[Fault]) -> String {
    faults.first().map(|it| format!("{}.", capital(line(it).trim_end_matches('.')))).unwrap_or_default()
}

pub fn told(kind: Kind, new: usize, changes: usize) -> String {
    match (new, changes) {
        (new, 0) => of_kind(kind, new),
        (0, changes) => format!("Changes of {}", of_kind(kind, changes)),
        (new, changes) => format!("{} and changes of {changes} others", of_kind(kind, new)),
    }
}

pub fn act_words(kind: Kind, new: usize, changes: usize) -> String {
    match (new, changes) {
        (new, 0) => format!("Record {}", of_kind(kind, new)),
        (0, changes) => format!("Record the changes of {}", of_kind(kind, changes)),
        (new, changes) => {
            format!("Record {} and {}", of_kind(kind, new), count(changes, "change", "changes"))
        }
    }
}

pub fn charset_words(charset: Charset) -> &'static str {
    match charset {
        Charset::Windows1252 => "Windows-1252, as spreadsheet programs in western Europe and America save it",
        Charset::Utf8 => "UTF-8",
        Charset::Utf16Le => "UTF-16, little end first",
        Charset::Utf16Be => "UTF-16, big end first",
    }
}

pub fn question(it: &Question) -> QuestionRow {
    match it {
        Question::Dates { key, column, example } => QuestionRow {
            field: format!("dates.{key}"),
            words: format!("Column {column}: in {example}, which comes first?"),
            answers: vec![("day_first", "the day"), ("month_first", "the month")],
        },
        Question::Decimal { column, example } => QuestionRow {
            field: "decimal".into(),
            words: format!("Column {column}: what stands before the decimals, as in {example}?"),
            answers: vec![
                ("comma", "a comma; points stand between thousands"),
                ("point", "a point; commas stand between thousands"),
            ],
        },
    }
}

pub fn column(it: &Mapped, header: &[String]) -> ColumnRow {
    let place = it.from.map(|(place, _)| place);
    let named = header.iter().enumerate().filter(|(_, name)| !name.is_empty());
    ColumnRow {
        key: it.column.key,
        label: it.column.label(),
        needed: it.column.is_needed(),
        how: match it.from.map(|(_, how)| how) {
            None => "not in the file",
            Some(How::Equal) => "by its name",
            Some(How::Similar) => "by a similar name: look whether it is right",
            Some(How::Chosen) => "as somebody said",
        },
        options: named.map(|(at, name)| (name.clone(), place == Some(at))).collect(),
        fixed: it.fixed.clone().unwrap_or_default(),
    }
}
