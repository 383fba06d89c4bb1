//! Packing: a pack is taken whole. Every present member is able, or is named as left out and leaves the set.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::deciding::Deciding;
use super::event::{Left, Moved, What};
use super::id::Id;
use super::model::StepKind;
use super::refusal::{Code, Problem};
use super::scan::{Mode, Picked, general_problems};
use super::set::Seat;
use super::state::{Asset, Stage};
use super::step::{RecordStep, StepRecorded, TakenOut, against_step};

/// The members of one set that are wrapped together; a part that sits in no set is a pack of its own.
type PackKey = Option<(Id, String)>;

/// A pack as it is looked at.
struct Pack {
    members: Vec<Arc<Asset>>,
    /// One of its members was scanned by itself.
    alone: bool,
}

pub(super) fn pack(deciding: &mut Deciding, it: &RecordStep) -> Option<What> {
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let mut without: Vec<Arc<Asset>> = Vec::new();
    for name in &it.without {
        without.extend(deciding.one(name.as_str()));
    }
    let packs = packs(deciding, &picked, &without);
    for asset in &without {
        let here = packs.keys().flatten().any(|key| Some(key) == pack_of(deciding, asset).as_ref());
        if !here {
            deciding.against(not_in_a_pack(asset));
        }
        if asset.has_hold(super::hold::HoldKind::Prion) {
            deciding.general(asset);
        }
        if let Some(load) = &asset.in_load {
            deciding.against(super::load::in_load(&asset.called(), load));
        }
    }
    let (moved, short) = wrapped(deciding, packs, &without);
    let taken_out = without
        .iter()
        .filter_map(|asset| Some(TakenOut { asset: asset.asset.clone(), seat: asset.seat.clone()? }));
    Some(What::StepRecorded(StepRecorded {
        step: StepKind::Packed,
        parts: moved,
        noted: Vec::new(),
        taken_out: taken_out.collect(),
        short,
        packaging: it.packaging.clone(),
        solution: None,
        held: Vec::new(),
        delayed: Vec::new(),
    }))
}

fn not_in_a_pack(asset: &Asset) -> Problem {
    Problem::new(
        Code::NotOnSheet,
        format!("{} is in none of the packs that were scanned.", asset.called()),
        "What is left out is a member of the pack.",
        "Leave it out of the list, or scan its set.",
    )
}

/// The pack that the count sheet puts a part into.
fn pack_of(deciding: &Deciding, asset: &Asset) -> PackKey {
    let seat = asset.seat.as_ref()?;
    let set = deciding.state.sets.get(&seat.set)?;
    let sheet = deciding.state.sheets.get(&set.count_sheet)?;
    let pack = sheet.line(&seat.line).map_or(super::set::TRAY, |line| line.pack.as_str());
    Some((seat.set.clone(), pack.to_string()))
}

/// The packs that the scans name, each with every present member but those left out.
fn packs(deciding: &Deciding, picked: &[Picked], without: &[Arc<Asset>]) -> BTreeMap<PackKey, Pack> {
    let state = deciding.state;
    let out = |asset: &Asset| without.iter().any(|other| other.asset == asset.asset);
    let mut packs: BTreeMap<PackKey, Pack> = BTreeMap::new();
    for part in picked.iter().filter(|part| !out(&part.asset)) {
        let key = pack_of(deciding, &part.asset);
        let present = part.alone || part.asset.counts();
        let pack = packs.entry(key.clone()).or_insert_with(|| {
            let set = key.as_ref().and_then(|(set, _)| state.sets.get(set));
            let all = set.into_iter().flat_map(|set| state.members(set));
            let mates = all.filter(|mate| mate.counts() && !out(mate) && pack_of(deciding, mate) == key);
            Pack { members: mates.cloned().collect(), alone: false }
        });
        pack.alone |= part.alone;
        if present && !pack.members.iter().any(|member| member.asset == part.asset.asset) {
            pack.members.push(part.asset.clone());
        }
    }
    packs
}

/// Takes each pack whole: one member that is not able keeps its pack open. Of a set with several packs those that are
/// able go; the command is refused if none does, or if one was named by a part of it.
fn wrapped(
    deciding: &mut Deciding,
    packs: BTreeMap<PackKey, Pack>,
    without: &[Arc<Asset>],
) -> (Vec<Moved>, Vec<String>) {
    let state = deciding.state;
    let (mut moved, mut short, mut left) = (Vec::new(), Vec::new(), Vec::new());
    let mut refused: Vec<Problem> = Vec::new();
    for (key, pack) in packs {
        let (mut waived, mut against) = (Vec::new(), Vec::new());
        for member in &pack.members {
            let mut found = general_problems(deciding.state, member);
            found.extend(against_step(deciding, member, StepKind::Packed));
            let wrapped_before =
                member.stage == Stage::Packed && pack.members.iter().any(|it| it.stage < Stage::Packed);
            if wrapped_before {
                found.retain(|problem| problem.code != Code::AlreadyDone);
                found.push(wrapped_already(member));
            }
            for problem in found {
                if deciding.may_waive(&problem) {
                    waived.push(problem.code);
                } else {
                    against.push((member.asset.clone(), problem));
                }
            }
        }
        if against.is_empty() {
            deciding.overrode(waived);
            for member in &pack.members {
                deciding.touches(Some(member.last_at));
            }
            moved.extend(pack.members.iter().map(|asset| asset.advanced(state, StepKind::Packed)));
            short.extend(key.iter().flat_map(|(set, name)| lacking(deciding, set, name, without)));
        } else if pack.alone {
            for member in &pack.members {
                deciding.touches(Some(member.last_at));
            }
            against.into_iter().for_each(|(_, problem)| deciding.against(problem));
        } else {
            left.extend(left_open(&pack, &against));
            refused.extend(against.into_iter().map(|(_, problem)| problem));
        }
    }
    if moved.is_empty() {
        refused.into_iter().for_each(|problem| deciding.against(problem));
    } else {
        deciding.left.extend(left);
    }
    (moved, short)
}

/// A part that joined a pack which was closed already needs that pack opened: a pack is wrapped at once.
fn wrapped_already(member: &Asset) -> Problem {
    let called = member.called();
    Problem::new(
        Code::OutOfOrder,
        format!("{called} is packed already, and its pack has another part now that is not."),
        "A pack is wrapped whole.",
        format!(
            "Record the pack of {called} as broken, then pack the set again; or leave the other part out."
        ),
    )
    .with_remedy(serde_json::json!({"do": "pack_broken", "scan": member.asset, "why": "torn"}))
}

/// Why each member of a pack that stays open was left: for its own reason, or for its mate's.
fn left_open(pack: &Pack, against: &[(Id, Problem)]) -> Vec<Left> {
    let mut all = Vec::new();
    for member in &pack.members {
        let own = against.iter().filter(|(asset, _)| *asset == member.asset).min_by_key(|(_, it)| it.code);
        let Some((_, problem)) = own.or_else(|| against.iter().min_by_key(|(_, it)| it.code)) else {
            continue;
        };
        let detail = match own {
            Some(_) => problem.detail(),
            None => format!("{} waits for its pack: {}", member.called(), problem.found),
        };
        all.push(Left { asset: member.asset.clone(), code: problem.code, detail });
    }
    all
}

/// The lines of a pack that have fewer parts than they need.
fn lacking(deciding: &Deciding, set: &Id, pack: &str, without: &[Arc<Asset>]) -> Vec<String> {
    let state = deciding.state;
    let Some(set) = state.sets.get(set) else { return Vec::new() };
    let Some(sheet) = state.sheets.get(&set.count_sheet) else { return Vec::new() };
    let stays = |asset: &Asset| asset.counts() && !without.iter().any(|other| other.asset == asset.asset);
    let today = deciding.at().date(state.zone);
    let of_pack = sheet.lines.iter().filter(|line| line.pack.as_str() == pack);
    let lacks = of_pack.filter(|line| {
        let on_line = |seat: &Seat| seat.line == line.line.as_str();
        let here =
            state.members(set).filter(|asset| stays(asset) && asset.seat.as_ref().is_some_and(on_line));
        let lacks = line.quantity.saturating_sub(here.count() as u32);
        lacks > state.from_shelf(line, lacks, today)
    });
    lacks.map(|line| line.line.0.clone()).collect()
}
