//! What stands against numbering sheets of paper, against saying that one is void or entered, and against entering a line twice.

use std::sync::Arc;

use super::command;
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::model::{reason_given, unknown};
use super::paper::{
    FinishSheet, PaperSheet, PrintSheets, Printed, SheetFinished, SheetVoided, SheetsPrinted, VoidSheet,
    number, numbered,
};
use super::refusal::{Code, Problem};

pub(super) fn act(deciding: &mut Deciding, act: &command::Paper) -> Option<What> {
    match act {
        command::Paper::Print(it) => print(deciding, it),
        command::Paper::Void(it) => void(deciding, it),
        command::Paper::Finish(it) => finish(deciding, it),
    }
}

/// No sheet ever goes, so that the number of them tells the next.
fn print(deciding: &mut Deciding, it: &PrintSheets) -> Option<What> {
    let mut number = deciding.state.paper.len() as u32;
    let mut sheets = Vec::new();
    for wanted in &it.pages {
        for _ in 0..wanted.sheets {
            number += 1;
            sheets.push(Printed { sheet: numbered(number)?, of: wanted.of, lines: wanted.of.lines() });
        }
    }
    deciding.made = sheets.first().map(|first| first.sheet.clone());
    Some(What::SheetsPrinted(SheetsPrinted { sheets }))
}

fn known(deciding: &mut Deciding, sheet: &Id) -> Option<Arc<PaperSheet>> {
    let found = deciding.state.paper.get(sheet).cloned();
    if found.is_none() {
        deciding.against(unknown("sheet", sheet.as_str()));
    }
    let found = found?;
    let done = found.void.as_ref().map(|(by, _)| by).or(found.finished.as_ref());
    if let Some(by) = done {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!(
                "Sheet {sheet} is {}: {}, {}.",
                found.status().words(),
                by.by,
                by.at.told(deciding.state.zone)
            ),
            "A sheet of which that is not yet said is needed.",
            "Nothing needs to be done.",
        ));
    }
    Some(found)
}

fn void(deciding: &mut Deciding, it: &VoidSheet) -> Option<What> {
    reason_given(deciding, &it.reason);
    let sheet = known(deciding, &it.sheet)?;
    if !sheet.entered.is_empty() && sheet.is_open() {
        deciding.against(Problem::new(
            Code::StillReferenced,
            format!("Lines of sheet {} are entered: {}.", it.sheet, sheet.entered.len()),
            "What is void has nothing on it that counts.",
            "Enter the rest of it, and say that it is entered.",
        ));
    }
    Some(What::SheetVoided(SheetVoided { sheet: it.sheet.clone(), reason: it.reason.0.clone() }))
}

fn finish(deciding: &mut Deciding, it: &FinishSheet) -> Option<What> {
    let sheet = known(deciding, &it.sheet)?;
    if sheet.entered.is_empty() && sheet.is_open() {
        let problem = Problem::new(
            Code::OutOfOrder,
            format!("No line of sheet {} is entered.", it.sheet),
            "A sheet is entered line by line.",
            "Enter its lines, or say that it is void.",
        );
        deciding.against(problem.even_late());
    }
    Some(What::SheetFinished(SheetFinished { sheet: it.sheet.clone() }))
}

impl Deciding<'_> {
    /// A line of a sheet that was printed here is entered once, whoever has the sheet in their hand.
    pub(super) fn one_line_once(&mut self) {
        let Some(late) = &self.command.around.late else { return };
        let (Some(sheet), Some(line)) = (&late.sheet, late.line) else { return };
        let Some(sheet) = number(sheet.as_str()).and_then(|id| self.state.paper.get(&id)).cloned() else {
            return;
        };
        if let Some(before) = sheet.entered.get(&line) {
            self.against(Problem::new(
                Code::AlreadyDone,
                format!(
                    "Line {line} of sheet {} is entry {}: {} entered it on {}.",
                    sheet.sheet,
                    before.entry,
                    before.by,
                    before.at.told(self.state.zone)
                ),
                "A line that is not entered yet is needed.",
                "Compare the line with that entry. If the paper says something else, enter it as a line of its own.",
            ));
        }
        if sheet.void.is_some() {
            self.deviates(Code::OutOfOrder);
        }
    }
}
