//! What a configuration may be made of: the parts that are or will be ready for a case, alike ones together, with the
//! sets that they lie in and what opening these costs others.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::allotted::{Allotted, allotted, counting_on, statuses};
use super::case::Case;
use super::configuration::Wish;
use super::fit::Have;
use super::fit_judge::Setting;
use super::fit_ready::{have, spent};
use super::fit_search::MOST_SETS;
use super::fit_size::{Piece, Reach, Width};
use super::id::Id;
use super::issuing::is_ready;
use super::model::Family;
use super::readiness::glance;
use super::setup_sheet::Cost;
use super::state::{Asset, State};
use super::time::Time;
use crate::analysis::packing::Length;

/// How many sets are looked at beside the barrel's own.
#[derive(Clone, Copy, Debug)]
pub struct Bound {
    /// Of those that hold the same and cost the same.
    pub alike: usize,
    /// Of what is left, the cheapest first.
    pub different: usize,
}

/// What every search is bound by: in a house of 60 sets every three of them would be 34,000 ways to open sets.
pub const BOUND: Bound = Bound { alike: MOST_SETS, different: 40 };

/// The sets beside the barrel's own that a search looks at, and the least that one costs which it does not look at: other
/// cases that lose, reserves undercut.
#[derive(Clone, Debug, Default)]
pub struct Useful {
    pub sets: Vec<usize>,
    pub left_out: usize,
    pub least_left_out: Option<(usize, usize)>,
}

/// Parts that nothing distinguishes for a configuration: one model, measured alike, tried alike.
#[derive(Clone, Debug)]
pub struct Kind<'a> {
    pub piece: Piece<'a>,
    pub inner: Option<Width>,
    pub shaft: Option<Width>,
    pub widest: Option<Width>,
    pub length: Option<Reach>,
    pub stack: Option<Reach>,
    pub holes: Vec<Width>,
}

/// A piece that can be had.
#[derive(Clone, Debug)]
pub struct Candidate<'a> {
    pub asset: &'a Asset,
    pub kind: usize,
    /// Its set among [`House::sets`].
    pub set: Option<usize>,
    pub have: Have,
    pub ready_at: Option<Time>,
}

/// A set, and what opening it costs.
#[derive(Clone, Debug)]
pub struct SetCost {
    pub set: Id,
    pub count_sheet: Id,
    /// Kept for this very case, or out at it already.
    pub own: bool,
    /// The board counts on it for this case.
    pub meant: bool,
    pub ready: bool,
    /// Other cases that need it at the same time.
    pub robs: BTreeSet<Id>,
}

/// Everything that a case may choose from.
#[derive(Clone, Debug)]
pub struct House<'a> {
    pub setting: Setting<'a>,
    pub kinds: Vec<Kind<'a>>,
    pub pieces: Vec<Candidate<'a>>,
    pub sets: Vec<SetCost>,
    /// The sets that the board counts on for each open case.
    pub allotted: Vec<Allotted<'a>>,
    pub bound: Bound,
    /// Ready sets by count sheet, beside the least that the reserve asks for.
    reserves: BTreeMap<Id, (u32, u32)>,
}

fn kind_of(piece: Piece) -> Kind {
    Kind {
        piece,
        inner: piece.inner(),
        shaft: piece.shaft(),
        widest: piece.widest(),
        length: piece.length(),
        stack: piece.stack(),
        holes: piece.holes(),
    }
}

impl<'a> House<'a> {
    pub fn of(setting: Setting<'a>) -> House<'a> {
        let state = setting.state;
        let needed = setting.needed();
        let tried: BTreeSet<&Id> =
            state.tried.values().flat_map(|tried| tried.it.parts.iter().flatten()).collect();
        let mut house = House {
            setting,
            kinds: Vec::new(),
            pieces: Vec::new(),
            sets: Vec::new(),
            allotted: allotted(state, &statuses(state, setting.now), setting.now),
            bound: BOUND,
            reserves: reserves(state, setting.now),
        };
        let chosen = chosen_elsewhere(state, setting.case);
        let mut set_at: BTreeMap<&Id, usize> = BTreeMap::new();
        let mut by_model: BTreeMap<&Id, Vec<usize>> = BTreeMap::new();
        for asset in state.assets.values() {
            let Some(piece) = Piece::of(state, asset) else { continue };
            let family = piece.family();
            if !(family.is_barrel() || family.is_instrument() || family.is_joined()) || spent(state, asset) {
                continue;
            }
            let (have, ready_at, _) = have(state, asset, needed);
            if have == Have::NotReady {
                continue;
            }
            let seat = asset.seat.as_ref().map(|seat| &seat.set);
            // A part without a set that another case has chosen is that case's.
            if seat.is_none() && chosen.contains_key(&asset.asset) {
                continue;
            }
            let alike = by_model.entry(&asset.model).or_default();
            let own = tried.contains(&asset.asset);
            let known = alike.iter().copied().find(|kind| {
                let other = house.kinds.get(*kind).and_then(|kind| kind.piece.asset);
                !own && other
                    .is_some_and(|other| other.measured == asset.measured && !tried.contains(&other.asset))
            });
            let kind = known.unwrap_or_else(|| {
                house.kinds.push(kind_of(piece));
                alike.push(house.kinds.len() - 1);
                house.kinds.len() - 1
            });
            let set = seat.and_then(|id| {
                let at = set_at.get(id).copied().or_else(|| {
                    house.sets.push(set_cost(state, id, &setting, (&chosen, &house.allotted))?);
                    Some(house.sets.len() - 1)
                })?;
                set_at.insert(id, at);
                Some(at)
            });
            house.pieces.push(Candidate { asset, kind, set, have, ready_at });
        }
        // Those that hold nothing of a configuration are opened all the same: camera and light.
        let own = house.allotted.iter().find(|it| setting.case.is_some_and(|case| case.case == it.case.case));
        let own: Vec<Id> = own.map(|it| it.sets().cloned().collect()).unwrap_or_default();
        for id in own.iter().filter(|id| !set_at.contains_key(*id)) {
            house.sets.extend(set_cost(state, id, &setting, (&chosen, &house.allotted)));
        }
        house
    }

    /// What opening one set costs others.
    pub fn costs_of(&self, set: &Id) -> Vec<Cost> {
        self.sets.iter().position(|it| it.set == *set).map(|at| self.costs(&[at])).unwrap_or_default()
    }

    pub fn family(&self, kind: usize) -> Option<Family> {
        self.kinds.get(kind).map(|kind| kind.piece.family())
    }

    /// How many reserves fall below their least by opening these sets.
    pub fn undercut(&self, opened: &[usize]) -> Vec<(&Id, u32, u32)> {
        let mut taken: BTreeMap<&Id, u32> = BTreeMap::new();
        for set in opened.iter().filter_map(|at| self.sets.get(*at)).filter(|set| set.ready && !set.own) {
            *taken.entry(&set.count_sheet).or_default() += 1;
        }
        let below = taken.into_iter().filter_map(|(sheet, n)| {
            let (ready, least) = self.reserves.get(sheet).copied()?;
            let left = ready.saturating_sub(n);
            (left < least).then_some((sheet, left, least))
        });
        below.collect()
    }

    /// The other cases that lose by opening these sets.
    pub fn robbed(&self, opened: &[usize]) -> BTreeSet<&Id> {
        opened.iter().filter_map(|at| self.sets.get(*at)).flat_map(|set| &set.robs).collect()
    }

    /// What opening these sets costs, in sentences.
    pub fn costs(&self, opened: &[usize]) -> Vec<Cost> {
        let state = self.setting.state;
        let mut all = Vec::new();
        for set in opened.iter().filter_map(|at| self.sets.get(*at)) {
            for case in &set.robs {
                let start = state.cases.get(case).map(|case| case.start.told(state.zone)).unwrap_or_default();
                let sentence = self.robbing(set, case, &start);
                all.push(Cost { case: Some(case.clone()), count_sheet: None, sentence });
            }
        }
        for (sheet, left, least) in self.undercut(opened) {
            let sentence =
                format!("The reserve of {sheet} falls to {left} ready; at least {least} is asked for.");
            all.push(Cost { case: None, count_sheet: Some(sheet.clone()), sentence });
        }
        all
    }

    /// What another case loses by a set: one that was kept for it, or that the board counts on for it.
    fn robbing(&self, set: &SetCost, case: &Id, start: &str) -> String {
        let state = self.setting.state;
        let other = state.cases.get(case);
        let kept = other.is_some_and(|it| it.promised.contains(&set.set));
        let chosen =
            |id: &Id| other.and_then(|it| it.chosen.as_ref()).is_some_and(|it| it.configuration.names(id));
        let seats = state.sets.get(&set.set).map(|set| set.seats.values());
        if kept || seats.into_iter().flatten().any(chosen) {
            return format!("Set {} is kept for case {case}, which starts on {start}.", set.set);
        }
        format!(
            "This takes set {} from case {case}, which starts on {start}: the board counts on it there.",
            set.set
        )
    }

    /// The sets beside the barrel's own that hold something that helps. Of those that hold the same and cost the same three
    /// are enough, since no more than [`MOST_SETS`] are opened; of those that differ the cheapest are looked at, as many as
    /// the bound says.
    pub fn useful(
        &self,
        own: Option<usize>,
        admitted: &dyn Fn(&Candidate) -> bool,
        helps: &dyn Fn(usize) -> bool,
    ) -> Useful {
        let mut held: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for piece in self.pieces.iter().filter(|piece| helps(piece.kind) && admitted(piece)) {
            if let Some(set) = piece.set.filter(|set| Some(*set) != own) {
                held.entry(set).or_default().push(piece.kind);
            }
        }
        let mut alike: BTreeMap<_, Vec<usize>> = BTreeMap::new();
        for (set, mut kinds) in held {
            let Some(cost) = self.sets.get(set) else { continue };
            kinds.sort_unstable();
            let costs = (cost.own, cost.ready, &cost.count_sheet, &cost.robs);
            alike.entry((kinds, costs)).or_default().push(set);
        }
        let all = alike.into_values().flat_map(|sets| sets.into_iter().take(self.bound.alike));
        let mut costed: Vec<(bool, usize, usize, usize)> = all
            .map(|set| {
                let is_own = self.sets.get(set).is_some_and(|set| set.own);
                (!is_own, self.robbed(&[set]).len(), self.undercut(&[set]).len(), set)
            })
            .collect();
        costed.sort_unstable();
        let beyond = costed.split_off(costed.len().min(self.bound.different));
        let mut sets: Vec<usize> = costed.into_iter().map(|(.., set)| set).collect();
        sets.sort_unstable();
        let least_left_out = beyond.iter().map(|(_, robbed, undercut, _)| (*robbed, *undercut)).min();
        Useful { sets, left_out: beyond.len(), least_left_out }
    }

    /// The barrel kinds that a wish admits.
    pub fn barrels(&self, wish: Option<&Wish>) -> Vec<usize> {
        let admits = |kind: &Kind| {
            let model = kind.piece.model;
            let nominal = wish.and_then(|wish| wish.barrel_nominal);
            let family = wish.and_then(|wish| wish.barrel_family);
            model.family.is_barrel()
                && family.is_none_or(|family| family == model.family)
                && nominal.is_none_or(|nominal| model.dimensions.nominal == Some(nominal))
        };
        let all = self.kinds.iter().enumerate();
        all.filter(|(_, kind)| admits(kind)).map(|(n, _)| n).collect()
    }

    /// How wide a barrel is in the airway: its outer diameter, or the lumen where that is not known.
    pub fn barrel_width(&self, kind: usize) -> Option<Decimal> {
        let sizes = self.kinds.get(kind)?.piece.sizes();
        let size = sizes.outer.or(sizes.inner)?;
        size.measured.max(size.stated).map(|size| size.0)
    }
}

impl Kind<'_> {
    pub fn shaft_high(&self) -> Length {
        self.shaft.map_or(Length::default(), |shaft| shaft.high)
    }
}

/// The pieces that other cases have chosen for a time that overlaps this one's.
fn chosen_elsewhere(state: &State, case: Option<&Case>) -> BTreeMap<Id, Id> {
    let mut all = BTreeMap::new();
    for other in case.into_iter().flat_map(|case| state.overlapping(case)) {
        let pieces = other.chosen.iter().flat_map(|chosen| chosen.pieces()).filter_map(|it| state.asset(it));
        let claimed = pieces.filter(|asset| other.claims(&asset.asset));
        all.extend(claimed.map(|asset| (asset.asset.clone(), other.case.clone())));
    }
    all
}

fn set_cost(
    state: &State,
    id: &Id,
    setting: &Setting,
    (chosen, allotted): (&BTreeMap<Id, Id>, &[Allotted]),
) -> Option<SetCost> {
    let set = state.sets.get(id)?;
    let mut robs: BTreeSet<Id> = set.seats.values().filter_map(|asset| chosen.get(asset).cloned()).collect();
    let (mut own, mut meant) = (false, false);
    if let Some(case) = setting.case {
        let out = state.members(set).any(|asset| case.parts.get(&asset.asset).is_some_and(|part| part.out));
        own = out || case.promised.contains(id);
        let turnaround = state.policy.turnaround_minutes;
        let others = state.open_cases().filter(|other| {
            other.case != case.case && other.promised.contains(id) && other.overlaps(case, turnaround)
        });
        robs.extend(others.map(|other| other.case.clone()));
        robs.extend(counting_on(state, allotted, id, case).map(|other| other.case.clone()));
        let its = allotted.iter().find(|it| it.case.case == case.case);
        meant = its.is_some_and(|it| it.sets().any(|set| set == id));
    }
    let ready = is_ready(glance(state, set, setting.now).status);
    Some(SetCost { set: id.clone(), count_sheet: set.count_sheet.clone(), own, meant, ready, robs })
}

fn reserves(state: &State, now: Time) -> BTreeMap<Id, (u32, u32)> {
    let mut all = BTreeMap::new();
    for (sheet, least) in state.reserves.iter().filter(|(_, least)| **least > 0) {
        let of_sheet = state.sets.values().filter(|set| set.count_sheet == *sheet);
        let ready = of_sheet.filter(|set| is_ready(glance(state, set, now).status)).count();
        all.insert(sheet.clone(), (ready as u32, *least));
    }
    all
}
