//! The simulation's own plain record of who touched what, kept from the events alone, so that a look-back can be
//! compared with a plain search over it.

use std::collections::{BTreeMap, BTreeSet};

use crate::domain::event::{Event, What};
use crate::domain::exposure::{Back, Exposure};
use crate::domain::id::Id;

/// A part in one of its turns.
pub type Touch = (Id, u32);

#[derive(Clone, Debug, Default)]
pub struct Record {
    /// Commands given, turned away, told late.
    pub given: u64,
    pub turned: u64,
    pub late: u64,
    /// What lay in each load.
    pub loads: BTreeMap<Id, Vec<Touch>>,
    pub rejected: BTreeSet<Id>,
    /// What was opened or used at each case.
    pub exposures: BTreeMap<Id, BTreeMap<Id, (u32, Exposure)>>,
    /// What the theatre knows that it did, whatever was recorded: the parts that touched the patient.
    pub truly_used: BTreeMap<Id, BTreeSet<Id>>,
}

impl Record {
    pub(super) fn accepted(&mut self, event: &Event) {
        match &event.what {
            What::LoadStarted(it) => {
                let parts = it.contents.iter().map(|part| (part.asset.clone(), part.turn)).collect();
                self.loads.insert(it.load.clone(), parts);
            }
            What::LoadRejected(it) => {
                self.rejected.insert(it.load.clone());
            }
            What::Opened(it) | What::Used(it) => {
                for part in &it.parts {
                    self.expose(&it.case, &part.asset, part.turn, part.exposure);
                }
                for asset in &it.not_used {
                    let at_case = self.exposures.get_mut(&it.case).and_then(|all| all.get_mut(asset));
                    at_case.into_iter().for_each(|known| known.1 = Exposure::Opened);
                }
            }
            What::CountClosed(it) => {
                for part in it.parts.iter().filter(|part| part.back != Back::Unopened) {
                    if let Some(exposure) = part.exposure {
                        self.expose(&it.case, &part.asset, part.turn, exposure);
                    }
                }
            }
            _ => {}
        }
    }

    fn expose(&mut self, case: &Id, asset: &Id, turn: u32, exposure: Exposure) {
        let at_case = self.exposures.entry(case.clone()).or_default();
        let known = at_case.entry(asset.clone()).or_insert((turn, exposure));
        known.1 = known.1.max(exposure);
    }
}
