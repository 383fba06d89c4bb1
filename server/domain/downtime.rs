//! What a person needs when the network is gone: which sets are ready and where they stand, what keeps the others, what today's
//! cases need, and how the reserves are. No patient, no indication.

use std::collections::BTreeSet;

use super::board::BoardReserve;
use super::id::Id;
use super::readiness::{SetReadiness, set_status};
use super::set::SetState;
use super::stage::Stage;
use super::state::{Asset, State};
use super::time::{Date, Time};

/// One set as the list of paper names it.
#[derive(Clone, Debug, PartialEq)]
pub struct PaperSet {
    pub set: Id,
    pub name: String,
    pub count_sheet: Id,
    pub status: SetReadiness,
    /// Where its parts were put away, each place once.
    pub places: Vec<String>,
    /// The first day on which one of its parts is past its date.
    pub sterile_until: Option<Date>,
    /// It is sterile, and still too hot to be given out.
    pub cools_until: Option<Time>,
    /// Why it is not simply ready: what lacks, what is held.
    pub why: Vec<String>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct PaperCase {
    pub case: Id,
    pub start: Time,
    pub minutes: u32,
    pub room: Option<String>,
    pub needs: Vec<Id>,
    pub sets: Vec<Id>,
    pub why: Vec<String>,
}

/// All of it at a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct PaperList {
    pub at: Time,
    pub seq: u64,
    pub ready: Vec<PaperSet>,
    pub others: Vec<PaperSet>,
    pub cases: Vec<PaperCase>,
    pub reserves: Vec<BoardReserve>,
}

impl State {
    /// The list that lies beside the sheets.
    pub fn paper_list(&self, now: Time) -> PaperList {
        let board = self.board(now);
        let sets = board.sets.iter().filter_map(|row| Some((row, self.sets.get(&row.set)?)));
        let all = sets.map(|(row, set)| PaperSet { why: row.why.clone(), ..paper_set(self, set, now) });
        let is_ready = |it: &PaperSet| super::issuing::is_ready(it.status);
        let (ready, others) = all.partition(is_ready);
        let today = now.date(self.zone);
        let of_today = board.cases.iter().filter(|case| case.start.date(self.zone) == today);
        let cases = of_today.map(|it| PaperCase {
            case: it.case.clone(),
            start: it.start,
            minutes: it.minutes,
            room: it.room.clone(),
            needs: self.cases.get(&it.case).map(|case| case.needs.clone()).unwrap_or_default(),
            sets: it.sets.clone(),
            why: it.why.clone(),
        });
        PaperList { at: now, seq: self.seq, ready, others, cases: cases.collect(), reserves: board.reserves }
    }
}

fn paper_set(state: &State, set: &SetState, now: Time) -> PaperSet {
    let members: Vec<&Asset> =
        state.members(set).filter(|asset| asset.counts()).map(|asset| &**asset).collect();
    // Where something was put away says nothing any more once it has left the store.
    let stored = || members.iter().filter(|asset| asset.stage == Stage::Ready);
    let places: BTreeSet<&str> =
        stored().filter_map(|asset| asset.location.as_ref()).map(|place| place.as_str()).collect();
    PaperSet {
        set: set.set.clone(),
        name: set.name.0.clone(),
        count_sheet: set.count_sheet.clone(),
        status: set_status(state, set, now).status,
        places: places.into_iter().map(String::from).collect(),
        sterile_until: stored().filter_map(|asset| asset.sterile_until).min(),
        cools_until: members.iter().filter_map(|asset| asset.cooling_until(now)).max(),
        why: Vec::new(),
    }
}
