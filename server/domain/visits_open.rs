//! What is open of loans, strangers, doubts of identity and the shelf: for the handover, in sentences to be read aloud.

use serde::Serialize;

use super::id::Id;
use super::state::State;
use super::time::Time;

/// What kind of thing is open.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OpenKind {
    Loan,
    Stranger,
    Doubt,
    Stock,
}

/// One open thing, its sentence and since when.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OpenVisit {
    pub kind: OpenKind,
    /// The loan, the tag, the doubt or the model.
    pub name: Id,
    pub sentence: String,
    pub since: Time,
    /// It is wrong, and not only still to be done: a part lacks, a mark is shared, a lot is past its date.
    pub wrong: bool,
}

impl State {
    /// Everything that is open of them, what is wrong standing first within its kind.
    pub fn open_visits(&self, now: Time) -> Vec<OpenVisit> {
        let mut all: Vec<OpenVisit> = Vec::new();
        for it in self.open_loans(now) {
            let Some(loan) = self.loans.get(&it.loan) else { continue };
            all.push(OpenVisit {
                kind: OpenKind::Loan,
                name: it.loan.clone(),
                wrong: !it.lacking.is_empty() || it.overdue,
                sentence: it.sentence,
                since: loan.came.at,
            });
        }
        for it in self.open_strangers() {
            all.push(OpenVisit {
                kind: OpenKind::Stranger,
                name: it.tag.clone(),
                sentence: format!("{} ({}): {}.", it.tag, it.looks.0, it.asks()),
                since: it.received.at,
                wrong: it.doubts().is_some(),
            });
        }
        for mixed in self.mixed.values().filter(|mixed| mixed.is_open()) {
            let names: Vec<&str> = mixed.assets().map(Id::as_str).collect();
            all.push(OpenVisit {
                kind: OpenKind::Doubt,
                name: mixed.doubt.clone(),
                sentence: format!("{} may be each other; look-back counts each of them.", names.join(", ")),
                since: mixed.since.at,
                wrong: true,
            });
        }
        all.extend(self.open_stock(now));
        all.sort_by(|a, b| (a.kind, !a.wrong, a.since, &a.name).cmp(&(b.kind, !b.wrong, b.since, &b.name)));
        all
    }

    /// What is low on the shelf, or past its date.
    fn open_stock(&self, now: Time) -> Vec<OpenVisit> {
        let today = now.date(self.zone);
        let mut all = Vec::new();
        for shelf in self.shelf.values() {
            let past: Vec<String> =
                shelf.there().iter().filter(|lot| lot.is_past(today)).map(|lot| lot.called()).collect();
            let good = shelf.good(today);
            let low = shelf.minimum.filter(|_| shelf.is_low(today));
            let said = match (past.is_empty(), low) {
                (true, None) => continue,
                (false, None) => format!("past its date on the shelf: {}", past.join(", ")),
                (true, Some(minimum)) => format!("{good} on the shelf, at least {minimum} are wanted"),
                (false, Some(minimum)) => format!(
                    "{good} on the shelf, at least {minimum} are wanted; past its date: {}",
                    past.join(", ")
                ),
            };
            let called =
                self.model(&shelf.model).map_or_else(|| shelf.model.to_string(), |it| it.name.0.clone());
            all.push(OpenVisit {
                kind: OpenKind::Stock,
                name: shelf.model.clone(),
                sentence: format!("{called}: {said}."),
                since: shelf.last_at,
                wrong: !past.is_empty(),
            });
        }
        all
    }
}
