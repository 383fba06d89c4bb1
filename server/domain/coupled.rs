//! Which models couple to which, by the names of their systems. That two names agree says that the site called both
//! ends alike; that two parts were tried together is another fact.

use super::id::Id;
use super::model::{Coupling, Family, Model};
use super::sizes_coupling::alike;
use super::state::State;

/// An end of a model beside an end of another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Coupled {
    pub end: String,
    pub system: String,
    pub model: Id,
    pub its_end: String,
    pub its_system: String,
    /// The names are the same, letter by letter. Otherwise they are only alike: in capitals, spaces or strokes they differ.
    pub same: bool,
}

/// Whether two ends of one system can meet: an opening takes what is no opening, and where neither is one, a joint joins
/// parts of different families. Two openings do not go into each other, nor do two caps, nor two barrels whatever they are.
fn can_meet((family, own): (Family, &Coupling), (its_family, its): (Family, &Coupling)) -> bool {
    if family.is_barrel() && its_family.is_barrel() {
        return false;
    }
    match (own.port.is_some(), its.port.is_some()) {
        (true, true) => false,
        (true, false) | (false, true) => true,
        (false, false) => family != its_family,
    }
}

/// Every end of another model that meets an end of this one, by name or by a name that is alike.
pub fn coupled(state: &State, model: &Model) -> Vec<Coupled> {
    let mut all = Vec::new();
    for own in &model.couplings {
        let wanted = alike(own.system.as_str());
        // Ends that fill openings of a system do not also meet each other.
        let has_opening = |system: &str| {
            let ends = state.models.values().flat_map(|it| &it.couplings);
            ends.filter(|it| it.port.is_some()).any(|it| it.system.as_str() == system)
        };
        let fills = own.port.is_none() && has_opening(own.system.as_str());
        for other in state.models.values().filter(|it| it.model != model.model) {
            for its in &other.couplings {
                let same = its.system == own.system;
                let meets = can_meet((model.family, own), (other.family, its))
                    && !(fills && same && its.port.is_none());
                if meets && (same || alike(its.system.as_str()) == wanted) {
                    all.push(Coupled {
                        end: own.end.0.clone(),
                        system: own.system.0.clone(),
                        model: other.model.clone(),
                        its_end: its.end.0.clone(),
                        its_system: its.system.0.clone(),
                        same,
                    });
                }
            }
        }
    }
    all
}
