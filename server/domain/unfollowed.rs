//! Emergencies that went first: of whom they were and what they needed follows, and until then they stand on an open list.

use super::board::BoardEmergency;
use super::case::Case;
use super::state::State;

/// An emergency, and what is not told of it yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Unfollowed<'a> {
    pub case: &'a Case,
    pub patient: bool,
    pub needs: bool,
}

impl Unfollowed<'_> {
    pub fn lacks(&self) -> &'static str {
        match (self.patient, self.needs) {
            (true, true) => "no patient's reference and no needs",
            (true, false) => "no patient's reference",
            (false, _) => "no needs",
        }
    }

    pub fn told(&self, state: &State) -> BoardEmergency {
        BoardEmergency {
            case: self.case.case.clone(),
            start: self.case.start,
            sentence: self.sentence(state),
        }
    }

    pub fn sentence(&self, state: &State) -> String {
        let at = self.case.start.told(state.zone);
        format!("Emergency {} of {at} has {} yet.", self.case.case, self.lacks())
    }
}

impl Case {
    fn lacks_patient(&self) -> bool {
        self.emergency && self.cancelled.is_none() && !self.named
    }

    /// What a case that is over needed is told by what was opened there.
    fn lacks_needs(&self) -> bool {
        self.emergency && self.is_open() && self.needs.is_empty()
    }

    pub fn is_unfollowed(&self) -> bool {
        self.lacks_patient() || self.lacks_needs()
    }

    pub fn unfollowed(&self) -> Option<Unfollowed<'_>> {
        let it = Unfollowed { case: self, patient: self.lacks_patient(), needs: self.lacks_needs() };
        self.is_unfollowed().then_some(it)
    }
}

impl State {
    /// The emergencies of which something is to follow, the oldest first.
    pub fn unfollowed_emergencies(&self) -> Vec<Unfollowed<'_>> {
        let cases = self.unfollowed.iter().filter_map(|case| self.cases.get(case));
        let mut all: Vec<Unfollowed> = cases.filter_map(|case| case.unfollowed()).collect();
        all.sort_by_key(|it| (it.case.start, it.case.case.clone()));
        all
    }
}
