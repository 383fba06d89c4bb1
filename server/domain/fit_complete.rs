//! Completes a barrel: head, connector or jet attachment, caps and instruments out of a stock of kinds, so that everything
//! fits for a technique. Of all ways the one with the widest telescope is taken, and of these the one with the most to
//! spare in the lumen (that a wider telescope shows more is common practice).

use std::collections::BTreeMap;

use super::case::Technique;
use super::fit_house::House;
use super::fit_joint::known_to_fit;
use super::fit_layout::{End, Layout};
use super::fit_room::{Room, Way};
use super::model::{Family, Port};
use crate::analysis::packing::{Answer, Length, Problem};

/// A barrel with all that belongs to it, kind by kind in the order of the layout's pieces.
#[derive(Clone, Debug)]
pub struct Found<'a> {
    pub layout: Layout<'a>,
    pub kinds: Vec<usize>,
    /// Of the widest telescope.
    pub width: Length,
    pub spare: f64,
}

impl Found<'_> {
    pub fn better_than(&self, other: &Found) -> bool {
        (self.width, self.spare) > (other.width, other.spare)
    }
}

/// What is wanted, and of what.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'h, 'a> {
    pub house: &'h House<'a>,
    pub technique: Technique,
    /// The kinds that each instrument may be.
    pub slots: &'h [Vec<usize>],
    /// The slots that lie in the lumen at once, group by group.
    pub groups: &'h [Vec<usize>],
}

pub(super) struct Completing<'h, 'a> {
    pub(super) wanted: Wanted<'h, 'a>,
    /// How many pieces of each kind there are still.
    stock: Vec<u32>,
    pub(super) layout: Layout<'a>,
    pub(super) kinds: Vec<usize>,
    pub(super) lumen: Length,
    pub(super) clearance: Length,
    /// The opening of each slot.
    pub(super) entries: Vec<End>,
    best: Option<Found<'a>>,
}

/// The best way to complete a barrel of this kind from a stock, counted by kind, in which the barrel itself stands.
pub fn complete<'a>(wanted: Wanted<'_, 'a>, barrel: usize, stock: Vec<u32>) -> Option<Found<'a>> {
    let kind = wanted.house.kinds.get(barrel)?;
    let has = |kind: &usize| stock.get(*kind).is_some_and(|n| *n > 0);
    if wanted.slots.iter().any(|slot| !slot.iter().any(has)) {
        return None;
    }
    let policy = &wanted.house.setting.state.policy;
    let mut completing = Completing {
        wanted,
        layout: Layout::of_barrel(kind.piece),
        kinds: vec![barrel],
        lumen: kind.inner?.low,
        clearance: Length::of_mm(policy.clearance_mm.f64()).unwrap_or_default(),
        stock,
        entries: Vec::new(),
        best: None,
    };
    completing.take(barrel);
    completing.heads();
    completing.best
}

impl<'a> Completing<'_, 'a> {
    fn take(&mut self, kind: usize) {
        if let Some(n) = self.stock.get_mut(kind) {
            *n = n.saturating_sub(1);
        }
    }

    fn of_family(&self, family: Family) -> Vec<usize> {
        let has = |kind: &usize| self.stock.get(*kind).is_some_and(|n| *n > 0);
        (0..self.wanted.house.kinds.len())
            .filter(|kind| self.wanted.house.family(*kind) == Some(family) && has(kind))
            .collect()
    }

    fn suits(&self, kind: usize, on: End) -> bool {
        let piece = self.wanted.house.kinds.get(kind).map(|kind| kind.piece);
        self.layout.on(on).is_none()
            && piece
                .is_some_and(|piece| known_to_fit(self.wanted.house.setting.state, &self.layout, on, &piece))
    }

    /// Puts a piece of a kind on an end, goes on, and takes it off again.
    fn with(&mut self, kind: usize, on: End, go_on: impl FnOnce(&mut Self, usize)) {
        let Some(piece) = self.wanted.house.kinds.get(kind).map(|kind| kind.piece) else { return };
        self.take(kind);
        let at = self.layout.put(piece);
        self.layout.sit(at, on);
        self.kinds.push(kind);
        go_on(self, at);
        self.kinds.pop();
        self.layout.pieces.pop();
        self.layout.mounts.pop();
        self.layout.through.pop();
        if let Some(n) = self.stock.get_mut(kind) {
            *n += 1;
        }
    }

    fn in_line(&self) -> Option<End> {
        let port = |end: &End| self.layout.coupling(*end).and_then(|end| end.port);
        self.layout.openings().into_iter().find(|end| port(end) == Some(Port::Proximal))
    }

    /// The barrel by itself where it opens in line, and with each head that it takes.
    fn heads(&mut self) {
        if self.in_line().is_some() {
            self.device();
        }
        let ends = self.layout.pieces.first().map_or(0, |barrel| barrel.model.couplings.len());
        for kind in self.of_family(Family::Head) {
            for end in 0..ends {
                if self.suits(kind, (0, end)) {
                    self.with(kind, (0, end), |it, _| {
                        if it.in_line().is_some() {
                            it.device();
                        }
                    });
                }
            }
        }
    }

    /// The connector or the jet attachment, on an opening at the side: by itself, or over one adapter.
    fn device(&mut self) {
        let family = match self.wanted.technique {
            Technique::JetOpen => Family::JetAdapter,
            Technique::ControlledClosed | Technique::Assisted => Family::AnaesthesiaConnector,
            Technique::Apnoeic => return self.choose_entries(),
        };
        let in_line = self.in_line();
        // Of two openings of one piece that nothing distinguishes, nor anything tried on one of them, one is as good.
        let nothing_tried = self.wanted.house.setting.state.tried.is_empty();
        let mut seen = Vec::new();
        for end in self.layout.openings() {
            let like = self.layout.coupling(end).map(|it| (end.0, it.system.clone(), it.port, it.bore_mm));
            if Some(end) == in_line
                || self.layout.on(end).is_some()
                || (nothing_tried && seen.contains(&like))
            {
                continue;
            }
            seen.push(like);
            let devices = self.of_family(family);
            if let Some(kind) = devices.iter().copied().find(|kind| self.suits(*kind, end)) {
                self.with(kind, end, |it, _| it.choose_entries());
                continue;
            }
            for adapter in self.of_family(Family::PortAdapter) {
                if self.suits(adapter, end) {
                    self.with(adapter, end, |it, at| it.device_on(at, &devices));
                }
            }
        }
    }

    fn device_on(&mut self, adapter: usize, devices: &[usize]) {
        let ends: Vec<usize> =
            self.layout.free_ends(adapter).filter(|(_, end)| end.port.is_some()).map(|(n, _)| n).collect();
        for end in ends {
            if let Some(kind) = devices.iter().copied().find(|kind| self.suits(*kind, (adapter, end))) {
                self.with(kind, (adapter, end), |it, _| it.choose_entries());
            }
        }
    }

    /// Suction may go in at the side; everything else goes in in line.
    fn choose_entries(&mut self) {
        let Some(in_line) = self.in_line() else { return };
        let free: Vec<End> = self
            .layout
            .openings()
            .into_iter()
            .filter(|end| *end != in_line && self.layout.on(*end).is_none())
            .collect();
        self.entries.clear();
        self.entry(in_line, &free);
    }

    fn entry(&mut self, in_line: End, free: &[End]) {
        let Some(slot) = self.wanted.slots.get(self.entries.len()) else {
            return match self.wanted.technique {
                Technique::ControlledClosed => self.close(),
                _ => self.instruments(),
            };
        };
        let suction =
            slot.first().and_then(|kind| self.wanted.house.family(*kind)) == Some(Family::SuctionTube);
        let side: &[End] = if suction { free } else { &[] };
        for end in std::iter::once(&in_line).chain(side) {
            self.entries.push(*end);
            self.entry(in_line, free);
            self.entries.pop();
        }
    }

    /// Closes what is open still: with a cap of as many holes as instruments, or with one that has none, or a window.
    fn close(&mut self) {
        let open = self.layout.openings().into_iter().find(|end| self.layout.on(*end).is_none());
        let Some(end) = open else { return self.instruments() };
        let at_once =
            |group: &Vec<usize>| group.iter().filter(|slot| self.entries.get(**slot) == Some(&end)).count();
        let through = self.wanted.groups.iter().map(at_once).max().unwrap_or(0);
        let holes =
            |it: &Self, kind: usize| it.wanted.house.kinds.get(kind).map_or(0, |kind| kind.holes.len());
        let mut caps = self.of_family(Family::Cap);
        let known = |it: &Self, kind: usize| {
            it.wanted.house.kinds.get(kind).is_some_and(|kind| kind.piece.holes_known())
        };
        caps.retain(|kind| known(self, *kind) && holes(self, *kind) == through && self.suits(*kind, end));
        if through == 0 {
            let windows = self.of_family(Family::Window);
            caps.extend(windows.into_iter().filter(|kind| self.suits(*kind, end)));
            caps.truncate(1);
        }
        for kind in caps {
            self.with(kind, end, |it, _| it.close());
        }
    }

    /// Chooses the instruments, now that everything stands through which they go.
    fn instruments(&mut self) {
        let mut ways: BTreeMap<End, Way> = BTreeMap::new();
        for entry in &self.entries {
            if ways.contains_key(entry) {
                continue;
            }
            let Some(way) = Way::of(&self.layout, *entry) else { return };
            ways.insert(*entry, way);
        }
        let room = Room { house: self.wanted.house, lumen: self.lumen, clearance: self.clearance };
        let barrel = self.layout.pieces.first().and_then(|barrel| barrel.length());
        let mut slots: Vec<Vec<usize>> = Vec::new();
        for (slot, entry) in self.wanted.slots.iter().zip(&self.entries) {
            let (Some(way), Some(barrel)) = (ways.get(entry), barrel) else { return };
            let fits = |kind: &usize| {
                self.stock.get(*kind).is_some_and(|n| *n > 0) && room.takes(*kind, way, barrel)
            };
            let mut kinds: Vec<usize> = slot.iter().copied().filter(fits).collect();
            if kinds.is_empty() {
                return;
            }
            let width = |kind: &usize| self.shaft(*kind);
            kinds.sort_by_key(|kind| (width(kind), *kind));
            if kinds.first().and_then(|kind| self.wanted.house.family(*kind)) == Some(Family::Telescope) {
                kinds.reverse();
            }
            slots.push(kinds);
        }
        self.choose(&slots, &ways, &mut Vec::new());
    }

    pub(super) fn shaft(&self, kind: usize) -> Length {
        self.wanted.house.kinds.get(kind).map_or(Length::default(), |kind| kind.shaft_high())
    }

    fn width(&self, chosen: &[usize]) -> Length {
        let telescopes =
            chosen.iter().filter(|kind| self.wanted.house.family(**kind) == Some(Family::Telescope));
        telescopes.map(|kind| self.shaft(*kind)).max().unwrap_or_default()
    }

    /// Whether what is chosen so far, with the least that the rest could be, may still be better than the best.
    fn hopeful(&self, slots: &[Vec<usize>], chosen: &[usize]) -> bool {
        let rest = slots.iter().skip(chosen.len());
        let widest = rest.clone().flat_map(|slot| slot.first()).copied();
        let could: Vec<usize> = chosen.iter().copied().chain(widest).collect();
        let least = rest.filter_map(|slot| slot.iter().map(|kind| self.shaft(*kind)).min());
        let all: Vec<Length> = chosen.iter().map(|kind| self.shaft(*kind)).chain(least).collect();
        let mut spare = f64::INFINITY;
        for group in self.wanted.groups {
            let discs: Vec<Length> = group.iter().filter_map(|slot| all.get(*slot).copied()).collect();
            match (Problem { lumen: self.lumen, clearance: self.clearance, discs: &discs }).answer() {
                Ok((Answer::DoesNotFit, _)) => return false,
                Ok((_, of_group)) => spare = spare.min(of_group),
                Err(_) => {}
            }
        }
        let best = self.best.as_ref();
        best.is_none_or(|best| (self.width(&could), spare) > (best.width, best.spare))
    }

    fn choose(&mut self, slots: &[Vec<usize>], ways: &BTreeMap<End, Way>, chosen: &mut Vec<usize>) {
        let Some(slot) = slots.get(chosen.len()) else { return self.whole(ways, chosen) };
        for kind in slot {
            let taken = chosen.iter().filter(|other| *other == kind).count() as u32;
            if self.stock.get(*kind).is_none_or(|n| *n <= taken) {
                continue;
            }
            chosen.push(*kind);
            // Beyond the first that can't be better, none of its slot can: they only grow, or a telescope only shrinks.
            let hopeful = self.hopeful(slots, chosen);
            if hopeful {
                self.choose(slots, ways, chosen);
            }
            chosen.pop();
            let telescope = self.wanted.house.family(*kind) == Some(Family::Telescope);
            if !hopeful && !telescope {
                break;
            }
        }
    }

    /// Everything chosen: judged together, and kept where it is better.
    fn whole(&mut self, ways: &BTreeMap<End, Way>, chosen: &[usize]) {
        let mut spare = f64::INFINITY;
        for group in self.wanted.groups {
            let Some(of_group) = self.group_spare(ways, chosen, group) else { return };
            spare = spare.min(of_group);
        }
        if !self.caps_suit(chosen) {
            return;
        }
        let mut layout = self.layout.clone();
        if self.wanted.technique == Technique::JetOpen {
            let Some(out) = self.way_out(chosen) else { return };
            layout.way_out = vec![out];
        }
        let mut kinds = self.kinds.clone();
        let mut places = Vec::new();
        for (kind, entry) in chosen.iter().zip(&self.entries) {
            let Some(piece) = self.wanted.house.kinds.get(*kind).map(|kind| kind.piece) else { return };
            let at = layout.put(piece);
            if let Some(through) = layout.through.get_mut(at) {
                *through = Some(*entry);
            }
            kinds.push(*kind);
            places.push(at);
        }
        let together =
            |group: &Vec<usize>| group.iter().filter_map(|slot| places.get(*slot).copied()).collect();
        layout.together = self.wanted.groups.iter().map(together).collect();
        let found = Found { layout, kinds, width: self.width(chosen), spare };
        if self.best.as_ref().is_none_or(|best| found.better_than(best)) {
            self.best = Some(found);
        }
    }
}
