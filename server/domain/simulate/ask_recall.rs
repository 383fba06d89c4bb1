//! What the people of the simulated hospital ask of recalls and of sealed boxes.

use super::ask::{line, scan, text};
use crate::domain::command::{Act, Hold, Recall};
use crate::domain::dedicate::Dedicate;
use crate::domain::id::Id;
use crate::domain::recall::{After, AnswerRecall, CloseRecall, NarrowRecall, OpenRecall};

pub fn recall_since(machine: &Id, load: &Id, reason: &str) -> Act {
    Act::Recall(Recall::Open(OpenRecall {
        recall: None,
        machine: machine.clone(),
        reason: text(reason),
        load: Some(load.clone()),
        from: None,
        to: None,
        out: Some(false),
    }))
}

pub fn narrow_recall(recall: &Id, loads: &[Id], reason: &str) -> Act {
    let (recall, reason) = (recall.clone(), text(reason));
    Act::Recall(Recall::Narrow(NarrowRecall { recall, reason, loads: Some(loads.to_vec()), from: None }))
}

pub fn answer_parts(recall: &Id, parts: &[Id], then: Option<After>, outcome: &str) -> Act {
    let (recall, outcome) = (recall.clone(), text(outcome));
    let (scan, cases) = (Some(scan(parts)), Vec::new());
    Act::Recall(Recall::Answer(AnswerRecall { recall, scan, then, cases, outcome }))
}

pub fn answer_cases(recall: &Id, cases: &[Id], outcome: &str) -> Act {
    let (recall, outcome) = (recall.clone(), text(outcome));
    let cases = cases.to_vec();
    Act::Recall(Recall::Answer(AnswerRecall { recall, scan: None, then: None, cases, outcome }))
}

pub fn close_recall(recall: &Id, outcome: &str) -> Act {
    Act::Recall(Recall::Close(CloseRecall { recall: recall.clone(), outcome: text(outcome) }))
}

pub fn dedicate(what: &Id, case: &Id) -> Act {
    let (reason, person) = (text("definite by the reference centre"), line("lead"));
    Act::Hold(Hold::Dedicate(Dedicate { scan: scan([what]), case: case.clone(), reason, person }))
}
