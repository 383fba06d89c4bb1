//! Days on paper, and what was scanned for another, as the simulated hospital has them.

use super::Hospital;
use crate::domain::command::{Act, Late, LateCause, Paper, WrongThing};
use crate::domain::id::Id;
use crate::domain::paper::{FinishSheet, PrintSheets, SheetOf, VoidSheet, Wanted};
use crate::domain::person::Role;
use crate::domain::state::{Stage, State};
use crate::domain::text::{Line, Text};
use crate::domain::wrong_thing::{ReportWrongThing, SettleWrongThing};

/// Somebody scans the wrong thing, and says so, once in so many days.
const WRONG_EVERY_DAYS: i64 = 41;

/// The sheet that is written on, and its next line.
pub(super) struct OnPaper {
    sheet: Id,
    line: u32,
}

impl Hospital {
    /// The network is down for so many minutes: what happens meanwhile is written on a sheet, and told afterwards.
    pub(super) fn paper_day(&mut self, state: &State, minutes: i64) {
        let print = PrintSheets { pages: vec![Wanted { of: SheetOf::Other, sheets: 1 }] };
        self.give(Role::Lead, Act::Paper(Paper::Print(print)));
        let sheet = Id::new(&format!("P{:04}", state.paper.len() + 1));
        self.on_paper = sheet.map(|sheet| OnPaper { sheet, line: 1 });
        self.paper_until = Some(self.clock.plus_minutes(minutes));
    }

    /// How the next act stands on the sheet.
    pub(super) fn next_line(&mut self) -> Late {
        let on = self.on_paper.as_mut();
        let (sheet, line) = match on {
            Some(on) => {
                on.line += 1;
                (Line(on.sheet.to_string()), Some(on.line - 1))
            }
            None => (Line("paper sheet".into()), None),
        };
        Late { cause: LateCause::Downtime, sheet: Some(sheet), line, done_by: None }
    }

    /// The network is back, and all of the sheet is entered.
    pub(super) fn paper_over(&mut self) {
        self.paper_until = None;
        let Some(OnPaper { sheet, line }) = self.on_paper.take() else { return };
        let act = match line {
            1 => Paper::Void(VoidSheet { sheet, reason: Text("nothing happened meanwhile".into()) }),
            _ => Paper::Finish(FinishSheet { sheet }),
        };
        self.give(Role::Desk, Act::Paper(act));
    }

    /// The lead settles what was reported, every second one as it was reported; now and then somebody reports one.
    pub(super) fn wrong_things(&mut self, state: &State) {
        for open in state.open_wrong_things() {
            let confirmed = state.wrong_things.len().is_multiple_of(2);
            let reason =
                Text(if confirmed { "the other tray was in the sink" } else { "it was that tray" }.into());
            let (report, instead) = (open.reported.report.clone(), None);
            let settle = SettleWrongThing { report, confirmed, reason, instead };
            self.give(Role::Lead, Act::WrongThing(WrongThing::Settle(settle)));
        }
        let days = self.clock.since_s(self.plan.from) / 86_400;
        let received = state.assets.values().find(|asset| asset.stage == Stage::Received && asset.counts());
        if let (0, Some(asset)) = (days % WRONG_EVERY_DAYS, received) {
            let because = Some(Text("another tray lay beside it".into()));
            let report = ReportWrongThing { entry: asset.last_entry, meant: None, because };
            self.give(Role::Desk, Act::WrongThing(WrongThing::Report(report)));
        }
    }
}
