//! Finds configurations for a case: for each barrel the best complete one, by what it costs others first.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::case::Technique;
use super::choosing::against_fit;
use super::configuration::{Configuration, Wish};
use super::fit::{Answer, Have};
use super::fit_barred::also_held;
use super::fit_complete::{Found, Wanted, complete};
use super::fit_house::{Candidate, House, Useful};
use super::fit_judge::judge;
use super::fit_layout::Layout;
use super::fit_size::{Piece, spare_mm};
use super::id::Id;
use super::model::Family;
use super::planning::lacking;
use super::setup_sheet::Offer;
use super::state::State;
use super::text::Line;
use crate::analysis::packing::Length;

/// Nobody opens more sets for one case.
pub const MOST_SETS: usize = 3;
/// So many are offered.
pub const MOST_OFFERS: usize = 3;

/// How good a configuration is, the best first: ready now; other cases that lose by it; reserves that it undercuts; sets
/// to open; the width of the telescope; what is to spare in the lumen.
pub type Rank = (bool, usize, usize, usize, Reverse<Length>, Reverse<i64>);

/// What opening sets costs: other cases that lose, reserves undercut, sets to open.
type Cost = (usize, usize, usize);

/// A configuration out of pieces, with its rank.
#[derive(Clone, Debug)]
pub struct Ranked<'a> {
    pub rank: Rank,
    pub layout: Layout<'a>,
    /// The sets to open, and those kept for the case already.
    pub sets: Vec<usize>,
    pub spare: f64,
}

/// What a search found: the best configuration of each barrel, best first, and how many sets it did not look at that may hold
/// a better one.
#[derive(Clone, Debug, Default)]
pub struct Looked<'a> {
    pub ranked: Vec<Ranked<'a>>,
    pub left_out: usize,
}

impl Looked<'_> {
    /// That not everything was looked at, where it was not.
    pub fn told(&self) -> String {
        match self.left_out {
            0 => String::new(),
            1 => " Not every set was looked at: one that costs others as much or more is left out.".into(),
            n => format!(" Not every set was looked at: {n} that cost others as much or more are left out."),
        }
    }
}

/// What a search is for.
#[derive(Clone, Debug)]
pub struct Search<'h, 'a> {
    pub house: &'h House<'a>,
    pub technique: Technique,
    pub slots: Vec<Vec<usize>>,
    pub groups: Vec<Vec<usize>>,
    /// Sets that are opened for something else already.
    pub opened: BTreeSet<usize>,
}

/// The slots that lie in the lumen at once. Where nobody said what works together, a closed system has forceps and
/// suction in turn beside the telescope, through the second hole of its cap (common practice).
pub fn groups(slots: &[Line], named: bool, technique: Technique) -> Vec<Vec<usize>> {
    let suction = |n: &usize| slots.get(*n).is_some_and(|slot| slot.as_str() == Family::SuctionTube.name());
    let forceps = |n: &usize| slots.get(*n).is_some_and(|slot| slot.as_str() == Family::Forceps.name());
    let all: Vec<usize> = (0..slots.len()).collect();
    let in_turn = !named && technique == Technique::ControlledClosed && all.iter().any(forceps);
    if !(in_turn && all.iter().any(suction)) {
        return if all.is_empty() { Vec::new() } else { vec![all] };
    }
    let without = |not: &dyn Fn(&usize) -> bool| all.iter().copied().filter(|n| !not(n)).collect();
    vec![without(&suction), without(&forceps)]
}

/// The instruments that a wish names, or the usual ones where it names none.
pub fn instruments(wish: Option<&Wish>) -> Vec<Line> {
    let named = wish.map(|wish| wish.together.clone()).unwrap_or_default();
    if !named.is_empty() {
        return named;
    }
    ["telescope", "forceps", "suction_tube"].map(|name| Line(name.into())).to_vec()
}

/// The kinds that a slot admits: of a family, or of a model.
pub fn kinds_of(house: &House, slot: &Line) -> Vec<usize> {
    let takes = |kind: usize| {
        let model = house.kinds.get(kind).map(|kind| kind.piece.model);
        model.is_some_and(|model| {
            let named = model.family.name() == slot.as_str() || model.model.as_str() == slot.as_str();
            named && model.family.is_instrument()
        })
    };
    (0..house.kinds.len()).filter(|kind| takes(*kind)).collect()
}

fn thousandths(mm: f64) -> i64 {
    (mm * 1e6).round() as i64
}

impl<'h, 'a> Search<'h, 'a> {
    pub fn new(house: &'h House<'a>, technique: Technique, wish: Option<&Wish>) -> Search<'h, 'a> {
        let instruments = instruments(wish);
        let slots = instruments.iter().map(|slot| kinds_of(house, slot)).collect();
        let named = wish.is_some_and(|wish| !wish.together.is_empty());
        Search {
            house,
            technique,
            slots,
            groups: groups(&instruments, named, technique),
            opened: BTreeSet::new(),
        }
    }

    /// The same where these sets are open already: what lies in them costs nobody anything more.
    pub fn beside(self, opened: BTreeSet<usize>) -> Search<'h, 'a> {
        Search { opened, ..self }
    }

    fn wanted(&self) -> Wanted<'_, 'a> {
        Wanted { house: self.house, technique: self.technique, slots: &self.slots, groups: &self.groups }
    }

    /// The best configuration of each barrel of these kinds, best first, out of the pieces that are admitted.
    pub fn best(&self, barrels: &[usize], admits: &dyn Fn(&Candidate) -> bool) -> Looked<'a> {
        let mut left_out = 0;
        let mut all: Vec<(Rank, Id, Ranked<'a>)> = Vec::new();
        let mut hopeless: BTreeSet<(usize, bool)> = BTreeSet::new();
        for barrel in self.house.pieces.iter().filter(|piece| barrels.contains(&piece.kind) && admits(piece))
        {
            for late in [false, true] {
                if hopeless.contains(&(barrel.kind, late)) || (!late && barrel.have != Have::Ready) {
                    continue;
                }
                let admitted = |piece: &Candidate| (late || piece.have == Have::Ready) && admits(piece);
                let alone = self.alone(barrel, late, &admitted);
                if alone.is_none()
                    && complete(self.wanted(), barrel.kind, self.stock(None, &admitted)).is_none()
                {
                    hopeless.insert((barrel.kind, late));
                    continue;
                }
                let (ranked, not_looked_at) = match alone {
                    Some(ranked) => (Some(ranked), 0),
                    None => self.of_barrel(barrel, late, &admitted),
                };
                left_out = left_out.max(not_looked_at);
                if let Some(ranked) = ranked {
                    all.push((ranked.rank, barrel.asset.asset.clone(), ranked));
                    break;
                }
            }
        }
        all.sort_by(|a, b| (&a.0, &a.1).cmp(&(&b.0, &b.1)));
        Looked { ranked: all.into_iter().map(|(_, _, ranked)| ranked).collect(), left_out }
    }

    /// How many pieces of each kind are admitted: of these sets and of none, or all.
    fn stock(&self, sets: Option<&[usize]>, admitted: &dyn Fn(&Candidate) -> bool) -> Vec<u32> {
        let mut stock = vec![0; self.house.kinds.len()];
        for piece in self.house.pieces.iter().filter(|piece| within(piece, sets) && admitted(piece)) {
            if let Some(n) = stock.get_mut(piece.kind) {
                *n += 1;
            }
        }
        stock
    }

    /// The barrel's own set and what lies in none: where these do, every other set costs one more, but for those that are
    /// kept for the case already.
    fn alone(
        &self,
        barrel: &Candidate<'a>,
        late: bool,
        admitted: &dyn Fn(&Candidate) -> bool,
    ) -> Option<Ranked<'a>> {
        if self.house.sets.iter().any(|set| set.own) || !self.opened.is_empty() {
            return None;
        }
        let sets: Vec<usize> = barrel.set.into_iter().collect();
        let found = complete(self.wanted(), barrel.kind, self.stock(Some(&sets), admitted))?;
        self.ranked(barrel, late, (self.cost(&sets), found, sets), admitted)
    }

    fn of_barrel(
        &self,
        barrel: &Candidate<'a>,
        late: bool,
        admitted: &dyn Fn(&Candidate) -> bool,
    ) -> (Option<Ranked<'a>>, usize) {
        let mut best: Option<(Cost, Found<'a>, Vec<usize>)> = None;
        let own: Vec<usize> = barrel.set.into_iter().collect();
        let useful = self.useful(barrel, admitted);
        for (cost, sets) in self.collections(own.clone(), &useful.sets) {
            if best.as_ref().is_some_and(|(least, ..)| cost > *least) {
                break;
            }
            let stock = self.stock(Some(&sets), admitted);
            let Some(found) = complete(self.wanted(), barrel.kind, stock) else { continue };
            if best.as_ref().is_none_or(|(_, best, _)| found.better_than(best)) {
                best = Some((cost, found, sets));
            }
        }
        // No set that was left out can be opened for less than this.
        let opened = self.cost(&own).2 + 1;
        let least = useful.least_left_out.map(|(robbed, undercut)| (robbed, undercut, opened));
        let found = best.as_ref().map(|(cost, ..)| *cost);
        let is_best = least.is_none_or(|least| found.is_some_and(|found| found < least));
        let left_out = if is_best { 0 } else { useful.left_out };
        (best.and_then(|best| self.ranked(barrel, late, best, admitted)), left_out)
    }

    /// The sets beside a barrel's own that hold what this search can use.
    fn useful(&self, barrel: &Candidate, admitted: &dyn Fn(&Candidate) -> bool) -> Useful {
        let helps = |kind: usize| match self.house.family(kind) {
            Some(family) if family.is_instrument() => self.slots.iter().any(|slot| slot.contains(&kind)),
            Some(family) => !family.is_barrel(),
            None => false,
        };
        self.house.useful(barrel.set, admitted, &helps)
    }

    fn ranked(
        &self,
        barrel: &Candidate<'a>,
        late: bool,
        (cost, found, sets): (Cost, Found<'a>, Vec<usize>),
        admitted: &dyn Fn(&Candidate) -> bool,
    ) -> Option<Ranked<'a>> {
        let layout = self.pieces(barrel, &found, &sets, admitted)?;
        let rank = (late, cost.0, cost.1, cost.2, Reverse(found.width), Reverse(thousandths(found.spare)));
        Some(Ranked { rank, layout, sets, spare: found.spare })
    }

    fn cost(&self, sets: &[usize]) -> Cost {
        // The one that the board counts on is opened anyway.
        let to_open = |set: &&usize| self.house.sets.get(**set).is_some_and(|set| !set.own && !set.meant);
        let new: Vec<usize> = sets.iter().copied().filter(|set| !self.opened.contains(set)).collect();
        (self.house.robbed(&new).len(), self.house.undercut(&new).len(), new.iter().filter(to_open).count())
    }

    /// The sets that may be opened together for a barrel, with what that costs, the cheapest first.
    fn collections(&self, own: Vec<usize>, others: &[usize]) -> Vec<(Cost, Vec<usize>)> {
        let mut all: Vec<Vec<usize>> = vec![own.clone()];
        let mut grown: Vec<(usize, Vec<usize>)> = vec![(0, own)];
        while let Some((from, sets)) = grown.pop() {
            if sets.len() == MOST_SETS {
                continue;
            }
            for (n, set) in others.iter().enumerate().skip(from) {
                let more: Vec<usize> = sets.iter().copied().chain([*set]).collect();
                all.push(more.clone());
                grown.push((n + 1, more));
            }
        }
        let mut costed: Vec<_> = all.into_iter().map(|sets| (self.cost(&sets), sets)).collect();
        costed.sort();
        costed
    }

    /// Chooses a piece of each kind: one that needs no further set first.
    fn pieces(
        &self,
        barrel: &Candidate<'a>,
        found: &Found<'a>,
        sets: &[usize],
        admitted: &dyn Fn(&Candidate) -> bool,
    ) -> Option<Layout<'a>> {
        let mut by_kind: BTreeMap<usize, Vec<&Candidate<'a>>> = BTreeMap::new();
        for piece in self.house.pieces.iter().filter(|piece| within(piece, Some(sets)) && admitted(piece)) {
            by_kind.entry(piece.kind).or_default().push(piece);
        }
        let mut layout = found.layout.clone();
        let mut taken: BTreeSet<&Id> = BTreeSet::from([&barrel.asset.asset]);
        for (n, kind) in found.kinds.iter().enumerate() {
            let asset = if n == 0 {
                barrel.asset
            } else {
                let free = by_kind.get(kind)?.iter().filter(|piece| !taken.contains(&piece.asset.asset));
                free.min_by_key(|piece| (piece.set != barrel.set, piece.set.is_none(), &piece.asset.asset))?
                    .asset
            };
            taken.insert(&asset.asset);
            let model = layout.pieces.get(n)?.model;
            *layout.pieces.get_mut(n)? = Piece { asset: Some(asset), model };
        }
        Some(layout)
    }

    /// The offer that a configuration is, judged once more by the rules of the answer.
    pub fn offer(&self, ranked: &Ranked<'a>) -> Option<Offer> {
        let mut setting = self.house.setting;
        setting.technique = Some(self.technique);
        let fit = judge(&setting, &ranked.layout);
        if fit.answer != Answer::Fits || against_fit(&fit).is_some() {
            return None;
        }
        let configuration = Configuration::of(&ranked.layout)?;
        let pieces = || ranked.layout.pieces.iter();
        let seats = pieces().filter_map(|piece| piece.asset?.seat.as_ref());
        let used: BTreeSet<&Id> = seats.map(|seat| &seat.set).collect();
        let used: Vec<usize> = ranked
            .sets
            .iter()
            .copied()
            .filter(|at| self.house.sets.get(*at).is_some_and(|set| used.contains(&set.set)))
            .collect();
        let open: Vec<Id> =
            used.iter().filter_map(|at| self.house.sets.get(*at)).map(|set| set.set.clone()).collect();
        let loose = pieces().filter_map(|piece| piece.asset).filter(|asset| asset.seat.is_none());
        let loose: Vec<Id> = loose.map(|asset| asset.asset.clone()).collect();
        let ready_at = ranked
            .layout
            .pieces
            .iter()
            .filter_map(|piece| self.house.pieces.iter().find(|it| Some(&it.asset.asset) == piece.id()))
            .filter(|piece| piece.have == Have::Expected)
            .filter_map(|piece| piece.ready_at)
            .max();
        let costs = self.house.costs(&used);
        let state = self.house.setting.state;
        let spare = fit.together.iter().map(|it| it.spare_mm).reduce(f64::min);
        let mut offer = Offer {
            sentence: String::new(),
            beware: also_held(state, &open, &fit).into_iter().chain(not_whole(state, &open)).collect(),
            configuration,
            fit,
            open,
            loose,
            spare_mm: spare,
            ready_at,
            costs,
        };
        offer.sentence = self.sentence(&offer);
        Some(offer)
    }

    fn sentence(&self, offer: &Offer) -> String {
        let state = self.house.setting.state;
        let barrel = offer
            .fit
            .parts
            .first()
            .map_or_else(String::new, |it| barrel_called(&it.fit_name(), it.asset.as_ref()));
        let open: Vec<&str> = offer.open.iter().map(Id::as_str).collect();
        let loose: Vec<&str> = offer.loose.iter().map(Id::as_str).collect();
        let open = match (open.is_empty(), loose.is_empty()) {
            (false, true) => format!("open {}", open.join(" and ")),
            (false, false) => format!("open {}; from the store {}", open.join(" and "), loose.join(", ")),
            (true, _) => format!("from the store {}", loose.join(", ")),
        };
        let spare = offer
            .spare_mm
            .map_or_else(String::new, |spare| format!(", {} to spare in the lumen", spare_mm(spare)));
        let now = if not_whole(state, &offer.open).is_empty() { "ready now" } else { "its parts ready now" };
        let ready = offer
            .ready_at
            .map_or_else(|| now.to_string(), |at| format!("expected on {}", at.told(state.zone)));
        let costs = match offer.costs.len() {
            0 => String::new(),
            _ => format!(
                " {}",
                offer.costs.iter().map(|cost| cost.sentence.as_str()).collect::<Vec<_>>().join(" ")
            ),
        };
        let beware: String = offer.beware.iter().map(|it| format!(" {it}")).collect();
        format!("{barrel}: {open}{spare}, {ready}.{costs}{beware}")
    }
}

/// What a set lacks that the board calls not ready, whatever of it a configuration takes.
fn not_whole(state: &State, open: &[Id]) -> Vec<String> {
    let sets = open.iter().filter_map(|set| state.sets.get(set));
    sets.flat_map(|set| lacking(state, set, "")).map(|problem| problem.found).collect()
}

fn within(piece: &Candidate, sets: Option<&[usize]>) -> bool {
    sets.is_none_or(|sets| piece.set.is_none_or(|set| sets.contains(&set)))
}

fn barrel_called(name: &str, asset: Option<&Id>) -> String {
    asset.map_or_else(|| name.to_string(), |asset| format!("{name}, {asset}"))
}
