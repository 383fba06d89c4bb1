//! What may stand on a line of paper: the acts of each kind of sheet, in the words that are written and typed.

use serde_json::{Value, json};

use super::paper::SheetOf::{self, Other, Packing, Sink, Steriliser, Theatre, Washer};
use super::person::Role;

/// What somebody wrote that was done.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PaperAct {
    PreCleaned,
    Received,
    Cleaned,
    Ultrasonic,
    Dried,
    Disinfected,
    Inspected,
    NotPassed,
    CleanAgain,
    ToRepair,
    Packed,
    PutAway,
    PackBroken,
    LoadStarted,
    Readings,
    Chemical,
    ChemicalFailed,
    Released,
    Rejected,
    Issued,
    Opened,
    Used,
    Counted,
}

/// What a line of the act needs beside its time and who did it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Needs {
    Scan,
    ScanAndPlace,
    ScanAndCase,
    Case,
    Machine,
    Readings,
    Load,
    LoadAndReason,
}

use PaperAct as A;

const ALL: [(PaperAct, &str, &[SheetOf], Needs); 23] = [
    (A::PreCleaned, "pre-cleaned", &[Theatre, Sink], Needs::Scan),
    (A::Received, "received", &[Sink], Needs::Scan),
    (A::Cleaned, "cleaned by hand", &[Sink], Needs::Scan),
    (A::Ultrasonic, "ultrasonic bath", &[Sink], Needs::Scan),
    (A::Dried, "dried", &[Sink, Packing], Needs::Scan),
    (A::Disinfected, "disinfected by hand", &[Sink, Packing], Needs::Scan),
    (A::Inspected, "inspected, passed", &[Packing], Needs::Scan),
    (A::NotPassed, "not passed, on hold", &[Packing], Needs::Scan),
    (A::CleanAgain, "to be cleaned again", &[Packing], Needs::Scan),
    (A::ToRepair, "to be repaired", &[Packing], Needs::Scan),
    (A::Packed, "packed", &[Packing], Needs::Scan),
    (A::PutAway, "put away", &[Packing, Steriliser], Needs::ScanAndPlace),
    (A::PackBroken, "pack broken, torn", &[Packing, Theatre], Needs::Scan),
    (A::LoadStarted, "load started", &[Washer, Steriliser], Needs::Machine),
    (A::Readings, "readings", &[Washer, Steriliser], Needs::Readings),
    (A::Chemical, "indicator turned", &[Washer, Steriliser], Needs::Load),
    (A::ChemicalFailed, "indicator failed", &[Washer, Steriliser], Needs::Load),
    (A::Released, "released", &[Washer, Steriliser], Needs::Load),
    (A::Rejected, "rejected", &[Washer, Steriliser], Needs::LoadAndReason),
    (A::Issued, "issued", &[Theatre], Needs::ScanAndCase),
    (A::Opened, "opened", &[Theatre], Needs::ScanAndCase),
    (A::Used, "used", &[Theatre], Needs::ScanAndCase),
    (A::Counted, "counted back", &[Theatre], Needs::Case),
];

impl PaperAct {
    fn row(self) -> &'static (PaperAct, &'static str, &'static [SheetOf], Needs) {
        ALL.iter().find(|(act, ..)| *act == self).unwrap_or(&ALL[0])
    }

    pub fn words(self) -> &'static str {
        self.row().1
    }

    pub fn needs(self) -> Needs {
        self.row().3
    }

    /// The acts that are written on a kind of sheet and that a role may tell; on one's own paper stands anything.
    pub fn of(sheet: SheetOf, role: Role) -> Vec<PaperAct> {
        let on = |sheets: &[SheetOf]| sheet == Other || sheets.contains(&sheet);
        let told = ALL.iter().filter(|(.., sheets, _)| on(sheets)).map(|(act, ..)| *act);
        told.filter(|act| act.by(role)).collect()
    }

    /// Who may tell it; [`super::command::Act::admits`] has the last word.
    pub fn by(self, role: Role) -> bool {
        let at_desk = matches!(role, Role::Desk | Role::Lead);
        let at_case = matches!(role, Role::Charge | Role::Clinician);
        match self {
            A::PreCleaned | A::PackBroken => at_desk || at_case,
            A::PutAway | A::Issued => at_desk || role == Role::Charge,
            A::Opened | A::Used | A::Counted => at_case,
            _ => at_desk,
        }
    }

    /// What somebody typed: the words, or so many of their first letters that no other act of the sheet begins so.
    pub fn typed(text: &str, among: &[PaperAct]) -> Option<PaperAct> {
        let typed = text.trim().to_lowercase();
        let whole = among.iter().find(|act| act.words() == typed);
        let mut begun = among.iter().filter(|act| !typed.is_empty() && act.words().starts_with(&typed));
        let one = begun.next().filter(|_| begun.next().is_none());
        whole.or(one).copied()
    }

    /// What is usually written after it on the same sheet.
    pub fn then(self, sheet: SheetOf) -> PaperAct {
        match (self, sheet) {
            (A::LoadStarted, _) => A::Readings,
            (A::Readings, Steriliser) => A::Chemical,
            (A::Readings, _) | (A::Chemical, _) => A::Released,
            (A::Released | A::Rejected, _) => A::LoadStarted,
            (same, _) => same,
        }
    }

    /// The first that a role may write on a kind of sheet.
    pub fn first(sheet: SheetOf, role: Role) -> Option<PaperAct> {
        let all = PaperAct::of(sheet, role);
        let usual = match sheet {
            Sink => A::Received,
            Packing => A::Inspected,
            Washer | Steriliser => A::LoadStarted,
            Theatre => A::Issued,
            Other => A::Received,
        };
        all.iter().find(|act| **act == usual).or(all.first()).copied()
    }

    /// The command's own fields that need nothing but the act.
    pub fn command(self) -> Value {
        let step = |step: &str| json!({"do": "record_step", "step": step});
        let inspect = |outcome: &str| json!({"do": "inspect", "outcome": outcome});
        match self {
            A::PreCleaned => step("treated"),
            A::Received => step("received"),
            A::Cleaned => step("cleaned"),
            A::Ultrasonic => step("ultrasonic"),
            A::Dried => step("dried"),
            A::Disinfected => step("disinfected"),
            A::Packed => step("packed"),
            A::Inspected => inspect("passed"),
            A::NotPassed => inspect("hold"),
            A::CleanAgain => inspect("reclean"),
            A::ToRepair => inspect("repair"),
            A::PutAway => json!({"do": "put_away"}),
            A::PackBroken => json!({"do": "pack_broken", "why": "torn"}),
            A::LoadStarted => json!({"do": "start_load"}),
            A::Readings => json!({"do": "judge_load"}),
            A::Chemical => {
                json!({"do": "record_indicator", "indicator": "chemical", "result": "pass"})
            }
            A::ChemicalFailed => {
                json!({"do": "record_indicator", "indicator": "chemical", "result": "fail"})
            }
            A::Released => json!({"do": "release_load"}),
            A::Rejected => json!({"do": "reject_load"}),
            A::Issued => json!({"do": "issue"}),
            A::Opened => json!({"do": "open"}),
            A::Used => json!({"do": "use"}),
            A::Counted => json!({"do": "close_count"}),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_few_letters_are_enough() {
        let sink = PaperAct::of(Sink, Role::Desk);
        assert_eq!(PaperAct::typed("rec", &sink), Some(A::Received));
        assert_eq!(PaperAct::typed("R", &sink), Some(A::Received));
        // "d" begins dried and disinfected.
        assert_eq!(PaperAct::typed("d", &sink), None);
        assert_eq!(PaperAct::typed("", &sink), None);
        assert_eq!(PaperAct::typed("used", &sink), None);
    }

    #[test]
    fn an_act_is_told_by_who_may_tell_it() {
        for role in Role::ALL {
            for act in PaperAct::of(Other, role) {
                let name = act.command()["do"].as_str().unwrap_or_default().to_string();
                assert!(super::super::command::Act::roles(&name).contains(&role), "{} {name}", role.name());
            }
        }
        assert!(PaperAct::of(Theatre, Role::Charge).contains(&A::Counted));
        assert!(!PaperAct::of(Theatre, Role::Desk).contains(&A::Used));
    }
}
