//! Paper days: numbered sheets that are printed blank, written on while the network is down, and entered afterwards. A number is
//! given once; whose lines are entered, and by whom, stands with the sheet.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::apply::When;
use super::command::{Malformed, wrong};
use super::event::{Beside, What};
use super::id::Id;
use super::state::State;
use super::text::Text;
use super::time::Time;

/// Where a sheet is written on.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SheetOf {
    Sink,
    Washer,
    Packing,
    Steriliser,
    Theatre,
    /// Paper that somebody wrote on without a printed sheet, and numbered afterwards.
    Other,
}

impl SheetOf {
    pub const ALL: [SheetOf; 6] = [
        SheetOf::Sink,
        SheetOf::Washer,
        SheetOf::Packing,
        SheetOf::Steriliser,
        SheetOf::Theatre,
        SheetOf::Other,
    ];

    pub fn name(self) -> &'static str {
        match self {
            SheetOf::Sink => "sink",
            SheetOf::Washer => "washer",
            SheetOf::Packing => "packing",
            SheetOf::Steriliser => "steriliser",
            SheetOf::Theatre => "theatre",
            SheetOf::Other => "other",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            SheetOf::Sink => "receipt and sink",
            SheetOf::Washer => "washer-disinfector",
            SheetOf::Packing => "inspection and packing",
            SheetOf::Steriliser => "steriliser",
            SheetOf::Theatre => "theatre: issue, opening and count",
            SheetOf::Other => "own paper",
        }
    }

    /// How many lines a printed sheet of this kind has.
    pub fn lines(self) -> u32 {
        match self {
            SheetOf::Sink | SheetOf::Packing | SheetOf::Theatre | SheetOf::Other => 30,
            SheetOf::Washer | SheetOf::Steriliser => 12,
        }
    }
}

/// So many sheets of one kind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Wanted {
    pub of: SheetOf,
    pub sheets: u32,
}

/// Gives numbers to blank sheets that are about to be printed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PrintSheets {
    pub pages: Vec<Wanted>,
}

/// One command prints at most so many.
const SHEETS_MOST: u32 = 100;

impl PrintSheets {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let all: u64 = self.pages.iter().map(|it| u64::from(it.sheets)).sum();
        match self.pages.iter().position(|it| it.sheets == 0) {
            Some(none) => Err(wrong(format!("/pages/{none}/sheets"), "found 0; a number from 1 is needed")),
            None if all == 0 => Err(wrong("/pages", "found no sheet; at least one is needed")),
            None if all > u64::from(SHEETS_MOST) => {
                Err(wrong("/pages", format!("found {all} sheets; at most {SHEETS_MOST} are printed at once")))
            }
            None => Ok(()),
        }
    }
}

/// A sheet that will not be entered: spoilt, lost, or never written on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VoidSheet {
    pub sheet: Id,
    pub reason: Text,
}

/// Says that everything on a sheet is entered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FinishSheet {
    pub sheet: Id,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Printed {
    pub sheet: Id,
    pub of: SheetOf,
    pub lines: u32,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SheetsPrinted {
    pub sheets: Vec<Printed>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SheetVoided {
    pub sheet: Id,
    pub reason: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SheetFinished {
    pub sheet: Id,
}

/// Who did something with a sheet, when.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct By {
    pub entry: u64,
    pub at: Time,
    pub by: String,
}

impl By {
    fn of(when: &When) -> By {
        By { entry: when.seq, at: when.recorded_at, by: when.actor.to_string() }
    }
}

/// Where a sheet stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SheetStatus {
    Out,
    BeingEntered,
    Entered,
    Void,
}

impl SheetStatus {
    pub fn name(self) -> &'static str {
        match self {
            SheetStatus::Out => "out",
            SheetStatus::BeingEntered => "being_entered",
            SheetStatus::Entered => "entered",
            SheetStatus::Void => "void",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            SheetStatus::Out => "out",
            SheetStatus::BeingEntered => "being entered",
            SheetStatus::Entered => "entered",
            SheetStatus::Void => "void",
        }
    }
}

/// A numbered sheet of paper.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PaperSheet {
    pub sheet: Id,
    pub of: SheetOf,
    /// How many lines it has to be written on.
    pub lines: u32,
    pub printed: By,
    /// Its lines that are entered, each with the first entry that it became.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub entered: BTreeMap<u32, By>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finished: Option<By>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub void: Option<(By, String)>,
}

impl PaperSheet {
    pub fn status(&self) -> SheetStatus {
        match (&self.void, &self.finished, self.entered.is_empty()) {
            (Some(_), ..) => SheetStatus::Void,
            (None, Some(_), _) => SheetStatus::Entered,
            (None, None, false) => SheetStatus::BeingEntered,
            (None, None, true) => SheetStatus::Out,
        }
    }

    /// Nobody has said yet that all of it is entered, or that none of it will be.
    pub fn is_open(&self) -> bool {
        self.void.is_none() && self.finished.is_none()
    }

    /// The line to be entered next.
    pub fn next_line(&self) -> u32 {
        self.entered.keys().next_back().map_or(1, |last| last + 1)
    }
}

/// The number of a sheet as a person types it: "P0007", "p7" and "7" are one.
pub fn number(text: &str) -> Option<Id> {
    let text = text.trim();
    let digits = text.strip_prefix(['P', 'p']).unwrap_or(text);
    let all_digits = !digits.is_empty() && digits.len() <= 9 && digits.bytes().all(|it| it.is_ascii_digit());
    let number: u32 = all_digits.then(|| digits.parse().ok())??;
    numbered(number)
}

pub(super) fn numbered(number: u32) -> Option<Id> {
    Id::new(&format!("P{number:04}"))
}

impl State {
    /// Sheets of which nobody has said what became of them, in the order of their numbers.
    pub fn open_paper(&self) -> impl Iterator<Item = &Arc<PaperSheet>> {
        self.paper.values().filter(|it| it.is_open())
    }
}

/// Notes with a sheet the line that an entry tells.
pub(super) fn entered(state: &mut State, when: &When, beside: &Beside) {
    let Some(late) = &beside.late else { return };
    let (Some(sheet), Some(line)) = (&late.sheet, late.line) else { return };
    let Some(id) = number(sheet.as_str()) else { return };
    if let Some(sheet) = state.paper.get_mut(&id) {
        Arc::make_mut(sheet).entered.entry(line).or_insert_with(|| By::of(when));
        state.changes.paper.insert(id);
    }
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    let mut change = |id: &Id, change: &dyn Fn(&mut PaperSheet)| {
        if let Some(sheet) = state.paper.get_mut(id) {
            change(Arc::make_mut(sheet));
            state.changes.paper.insert(id.clone());
        }
    };
    match what {
        What::SheetsPrinted(it) => {
            for printed in &it.sheets {
                let sheet = PaperSheet {
                    sheet: printed.sheet.clone(),
                    of: printed.of,
                    lines: printed.lines,
                    printed: By { at: when.at, ..By::of(when) },
                    entered: BTreeMap::new(),
                    finished: None,
                    void: None,
                };
                state.paper.insert(printed.sheet.clone(), Arc::new(sheet));
                state.changes.paper.insert(printed.sheet.clone());
            }
        }
        What::SheetVoided(it) => change(&it.sheet, &|sheet| {
            sheet.void = Some((By::of(when), it.reason.clone()));
        }),
        What::SheetFinished(it) => change(&it.sheet, &|sheet| sheet.finished = Some(By::of(when))),
        _ => {}
    }
}

/// The checker of sheets: numbers without a gap, lines entered after the sheet was printed, nothing void that was entered
/// before it was.
pub(super) fn check(state: &State, wrong: &mut Vec<String>) {
    for (n, (name, sheet)) in (1..).zip(&state.paper) {
        if numbered(n).as_ref() != Some(name) && n < 10_000 {
            wrong.push(format!("sheet {name} stands at place {n}"));
        }
        if sheet.entered.values().any(|by| by.entry <= sheet.printed.entry) {
            wrong.push(format!("a line of sheet {name} was entered before it was printed"));
        }
        if sheet.void.is_some() && sheet.finished.is_some() {
            wrong.push(format!("sheet {name} is void and entered"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_typed_as_it_comes() {
        for text in ["P0007", "p0007", "7", " P7 ", "0007"] {
            assert_eq!(number(text), Id::new("P0007"), "{text}");
        }
        for text in ["", "P", "seven", "7a", "-7", "٧", "9999999999"] {
            assert_eq!(number(text), None, "{text}");
        }
        assert_eq!(number("12345"), Id::new("P12345"));
    }
}
