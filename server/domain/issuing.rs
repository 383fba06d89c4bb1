//! Issue: a set leaves the store for a case, whole. Planned issue asks permission; an emergency takes what is ready
//! in one act, whoever it was kept for.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::case::{Case, Issue, Risk};
use super::claims::Robbed;
use super::deciding::Deciding;
use super::event::{Moved, Noted, What};
use super::exposure::{CasePlanned, Issued};
use super::fact::turn_at;
use super::hold::HoldKind;
use super::id::{Id, next_free};
use super::load::Load;
use super::planning::{known_case, lacking};
use super::readiness::{SetReadiness, glance};
use super::refusal::{Code, Problem};
use super::scan::{Mode, Picked, blocking_hold, broken_pack_of, general_problems};
use super::set::SetState;
use super::state::{Asset, Stage};
use super::step::out_of_order;

/// How long a case is taken to last that an emergency makes: nobody knows, so that it takes the room of a usual one.
const EMERGENCY_MINUTES: u32 = 60;

pub(super) fn issue(deciding: &mut Deciding, it: &Issue) -> Option<What> {
    let emergency = it.emergency == Some(true);
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let sets: Vec<SetState> = deciding
        .sets
        .iter()
        .filter_map(|set| deciding.state.sets.get(set))
        .map(|set| (**set).clone())
        .collect();
    let (case, planned) = match &it.case {
        Some(case) => (known_case(deciding, case)?, None),
        None => made(deciding, &sets)?,
    };
    if !case.is_open() {
        deciding.against(Problem::new(
            Code::OutOfOrder,
            format!("Case {} is {}.", case.case, case.status().name()),
            "A case that is still to come, or under way, is needed.",
            "Plan a new case, or issue in an emergency without one.",
        ));
    }
    if planned.is_some() && deciding.late() {
        told_before(deciding, &picked);
    }
    let parts = chosen(deciding, &case, picked, emergency);
    for set in &sets {
        for problem in lacking(deciding.state, set, &instead(deciding, set, emergency)) {
            deciding.against(problem);
        }
    }
    if !emergency {
        kept_or_reserved(deciding, &case, &parts);
    }
    // Told after the fact, it takes nothing along that has moved on since, or is not in the house.
    let gone = |asset: &Asset| deciding.at() < asset.act_at || !asset.counts() || asset.stage.is_out();
    let stays = |asset: &&Arc<Asset>| deciding.late() && gone(asset);
    let noted = parts.iter().filter(stays);
    let noted =
        noted.map(|asset| Noted { asset: asset.asset.clone(), turn: turn_at(deciding, asset) }).collect();
    let goes: Vec<&Asset> = parts.iter().filter(|asset| !stays(asset)).map(|asset| &**asset).collect();
    let robs = deciding.state.robs(&case, &goes);
    let moved = goes.iter().map(|asset| asset.issued()).collect();
    Some(What::Issued(Issued { case: case.case, emergency, planned, parts: moved, noted, robs }))
}

/// An emergency that is told late makes a case; told again, it is that very one.
fn told_before(deciding: &mut Deciding, picked: &[Picked]) {
    let (state, at) = (deciding.state, deciding.at());
    let went =
        |case: &Case, asset: &Asset| case.all_parts().any(|(id, part)| *id == asset.asset && part.issued);
    let is_it = |case: &&Case| {
        case.emergency && case.start == at && picked.iter().all(|part| went(case, &part.asset))
    };
    let known = state.cases.values().map(|case| &**case).find(is_it).filter(|_| !picked.is_empty());
    if let Some(case) = known {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Case {} is that emergency: the same went out to it at the same minute.", case.case),
            "An issue that is not yet recorded is needed.",
            "Nothing needs to be done. If there were two, tell the times at which they were.",
        ));
    }
}

/// What to take where a set lacks something. Nobody has time to look for it in an emergency, and what is lacking may not be
/// needed then.
fn instead(deciding: &Deciding, set: &SetState, emergency: bool) -> String {
    let (state, at) = (deciding.state, deciding.at());
    let alike =
        state.sets.values().filter(|other| other.set != set.set && other.count_sheet == set.count_sheet);
    let ready =
        alike.filter(|other| is_ready(glance(state, other, at).status)).min_by_key(|other| &other.set);
    let take = match ready {
        Some(other) => format!("Set {} of the same count sheet is ready: take that", other.set),
        None => "No other set of its count sheet is ready: fill the line".into(),
    };
    match emergency {
        true => format!(
            "{take}. Or scan only the parts of set {} that are needed: they go without the rest.",
            set.set
        ),
        false => format!("{take}, or fill the line.")
            .replace("fill the line, or fill the line", "fill the line, or wait"),
    }
}

/// The case that an emergency makes: it starts now, and needs what is issued to it.
fn made(deciding: &mut Deciding, sets: &[SetState]) -> Option<(Case, Option<CasePlanned>)> {
    let state = deciding.state;
    let case = next_free("emergency", 4, state.cases.len(), |id| state.cases.contains_key(id))?;
    let planned = CasePlanned {
        case: case.clone(),
        start: deciding.at(),
        minutes: EMERGENCY_MINUTES,
        room: None,
        technique: None,
        configuration: None,
        needs: sets.iter().map(|set| set.count_sheet.clone()).collect(),
        patient: None,
        risk: Risk::None,
        schedule: None,
        unmapped: Vec::new(),
        needs_chosen: false,
    };
    deciding.made = Some(case);
    Some((Case::of(&planned, true, deciding.at(), 0), Some(planned)))
}

/// The parts that go: those of each set that are in the house, and each part alone with its pack. What stands against
/// one of them stands against the issue, since a pack goes whole.
fn chosen(deciding: &mut Deciding, case: &Case, picked: Vec<Picked>, emergency: bool) -> Vec<Arc<Asset>> {
    let state = deciding.state;
    let mut parts: BTreeMap<Id, Arc<Asset>> = BTreeMap::new();
    let (mut left, mut already) = (Vec::new(), Vec::new());
    for part in picked {
        let asset = part.asset;
        let here = case.parts.get(&asset.asset).is_some_and(|known| known.out && known.turn == asset.turn);
        let essential = essential_line(deciding, &asset);
        if !part.alone && here {
            already.push(already_issued(&asset, case));
        } else if !part.alone && !asset.counts() && !essential {
            left.push((asset.clone(), general_problems(deciding.state, &asset)));
        } else {
            let pack = broken_pack_of(state, &asset);
            // A mate that is not in the house goes nowhere; whether the set lacks it is asked of the set.
            for one in std::iter::once(&asset).chain(pack.iter().filter(|mate| mate.counts())) {
                parts.entry(one.asset.clone()).or_insert_with(|| one.clone());
            }
        }
    }
    if parts.is_empty() {
        already.into_iter().for_each(|problem| deciding.against(problem));
    }
    for asset in parts.values() {
        for problem in against_issue(deciding, asset, case, emergency) {
            deciding.against(problem);
        }
        deciding.touches(Some(asset.last_at));
    }
    deciding.leave(left);
    parts.into_values().collect()
}

fn already_issued(asset: &Asset, case: &Case) -> Problem {
    Problem::new(
        Code::AlreadyDone,
        format!("{} is already out at case {}.", asset.called(), case.case),
        "A part in the store is needed.",
        "Nothing needs to be done.",
    )
}

fn essential_line(deciding: &Deciding, asset: &Asset) -> bool {
    let sheet = asset.seat.as_ref().and_then(|seat| {
        let set = deciding.state.sets.get(&seat.set)?;
        deciding.state.sheets.get(&set.count_sheet)?.line(&seat.line)
    });
    sheet.is_some_and(|line| line.essential)
}

/// What stands against one part going out.
fn against_issue(deciding: &Deciding, asset: &Asset, case: &Case, emergency: bool) -> Vec<Problem> {
    let state = deciding.state;
    let called = asset.called();
    let at = deciding.at();
    let open = |problem: Problem| if emergency { problem.open_to_override() } else { problem };
    let mut problems = general_problems(deciding.state, asset);
    problems.extend(super::dedicate::for_another(deciding, asset, case));
    if let Some(held) = blocking_hold(state, asset) {
        let repair = asset.has_hold(HoldKind::Repair);
        problems.push(if repair { held } else { open(held) });
    }
    if let Some(load) = &asset.in_load {
        problems.push(super::load::in_load(&called, load));
    }
    match asset.stage {
        Stage::Ready => {}
        Stage::Issued | Stage::InUse => {
            let there = case.parts.get(&asset.asset).is_some_and(|part| part.out);
            problems.push(if there {
                already_issued(asset, case)
            } else {
                let needed = "A part in the store is needed.";
                Problem::new(
                    Code::OutOfOrder,
                    format!("{called} is out at another case."),
                    needed,
                    "Take another set.",
                )
            });
        }
        _ => problems.push(out_of_order(asset, state.next_step(asset), "Only what is ready is issued.")),
    }
    if let Some(cool) = asset.cooling_until(at) {
        problems.push(open(Problem::new(
            Code::StillCooling,
            format!("{called} is still cooling until {}.", cool.minute_up().told(state.zone)),
            "A part that has cooled is needed.",
            "Wait, or take another set. In an emergency a second person may set it aside: it is HOT.",
        )));
    }
    if asset.past_date(state, at) {
        let until = asset.sterile_until.map_or(String::new(), super::time::told_day);
        problems.push(open(Problem::new(
            Code::PastDate,
            format!("{called} was sterile until {until}."),
            "A part within its date is needed.",
            "Take another set, and have this one reprocessed.",
        )));
    }
    problems
}

/// What a load for immediate use becomes with its release: its parts go to the case, whoever loses by it.
pub(super) fn straight_to(
    deciding: &mut Deciding,
    load: &Load,
    parts: &[Moved],
) -> (Option<Id>, Vec<Robbed>) {
    let state = deciding.state;
    let going: BTreeSet<&Id> =
        parts.iter().filter(|moved| moved.to == Stage::Issued).map(|moved| &moved.asset).collect();
    let case = load.immediate_use.as_ref().and_then(|asked| state.cases.get(&asked.case));
    let Some(case) = case.filter(|_| !going.is_empty()) else { return (None, Vec::new()) };
    deciding.touches(Some(case.last_at));
    let goes: Vec<&Asset> = going.iter().filter_map(|id| state.assets.get(*id)).map(|it| &**it).collect();
    (Some(case.case.clone()), state.robs(case, &goes))
}

/// Nothing is taken that another case needs at the same time.
pub(super) fn kept_for_others(deciding: &mut Deciding, case: &Case, parts: &[Arc<Asset>]) {
    let state = deciding.state;
    let sets: BTreeSet<&Id> =
        parts.iter().filter_map(|asset| asset.seat.as_ref()).map(|seat| &seat.set).collect();
    for set in sets {
        if let Some(problem) = state.kept_elsewhere(set, case) {
            deciding.against(problem);
        }
        let theirs = parts.iter().filter(|asset| asset.seat.as_ref().is_some_and(|seat| seat.set == *set));
        for problem in state.chosen_elsewhere(theirs.map(|asset| &asset.asset), Some(set), case) {
            deciding.against(problem);
        }
    }
    let loose = parts.iter().filter(|asset| asset.seat.is_none()).map(|asset| &asset.asset);
    for problem in state.chosen_elsewhere(loose, None, case) {
        deciding.against(problem);
    }
}

/// A planned issue takes nothing that another case needs at the same time, and leaves the reserve whole.
fn kept_or_reserved(deciding: &mut Deciding, case: &Case, parts: &[Arc<Asset>]) {
    kept_for_others(deciding, case, parts);
    let state = deciding.state;
    let at = deciding.at();
    let sets: BTreeSet<&Id> =
        parts.iter().filter_map(|asset| asset.seat.as_ref()).map(|seat| &seat.set).collect();
    let mut taken: BTreeMap<&Id, u32> = BTreeMap::new();
    for set in sets {
        if let Some(set) = state.sets.get(set).filter(|set| is_ready(glance(state, set, at).status)) {
            *taken.entry(&set.count_sheet).or_default() += 1;
        }
    }
    for (sheet, taken) in taken {
        let minimum = state.reserves.get(sheet).copied().unwrap_or(0);
        let ready = state.ready_sets(sheet, at);
        if minimum > 0 && ready.saturating_sub(taken) < minimum {
            let problem = Problem::new(
                Code::ReserveWouldBeUndercut,
                format!("Ready sets of count sheet {sheet}: {ready}. The emergency reserve: {minimum}."),
                "A planned case leaves the reserve whole.",
                "Wait for the next set, or let the charge nurse set the reserve aside with a reason.",
            );
            deciding.against(problem.open_to_override());
        }
    }
}

pub fn is_ready(status: SetReadiness) -> bool {
    matches!(status, SetReadiness::Ready | SetReadiness::ReadyShort)
}

impl super::state::State {
    /// How many sets of a count sheet are ready at a moment.
    pub fn ready_sets(&self, sheet: &Id, at: super::time::Time) -> u32 {
        let of_sheet = self.sets.values().filter(|set| set.count_sheet == *sheet);
        of_sheet.filter(|set| is_ready(glance(self, set, at).status)).count() as u32
    }
}
