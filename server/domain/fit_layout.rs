//! What sits where in a configuration: parts on ends, instruments through openings. What is not said is taken from the
//! couplings, where these leave a place.

use super::configuration::{Configuration, EndOf, Placed};
use super::fit::EndAt;
use super::fit_size::Piece;
use super::model::{Coupling, Family, Port};
use super::refusal::{Code, Problem};
use super::scan::resolve;
use super::state::{Named, State};

/// An end of a piece: its place, and the place of the end among its couplings.
pub type End = (usize, usize);

/// A part that sits on an end of another.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Mount {
    pub on: End,
    /// Its own end there, where one is known to go there.
    pub by: Option<usize>,
}

/// A configuration as it is put together. The barrel is the piece at 0.
#[derive(Clone, Debug, Default)]
pub struct Layout<'a> {
    pub pieces: Vec<Piece<'a>>,
    pub mounts: Vec<Option<Mount>>,
    pub through: Vec<Option<End>>,
    pub together: Vec<Vec<usize>>,
    pub way_out: Vec<End>,
}

impl<'a> Layout<'a> {
    pub fn of_barrel(barrel: Piece<'a>) -> Layout<'a> {
        Layout { pieces: vec![barrel], mounts: vec![None], through: vec![None], ..Layout::default() }
    }

    pub fn put(&mut self, piece: Piece<'a>) -> usize {
        self.pieces.push(piece);
        self.mounts.push(None);
        self.through.push(None);
        self.pieces.len() - 1
    }

    pub fn coupling(&self, (piece, end): End) -> Option<&'a Coupling> {
        self.pieces.get(piece).and_then(|piece| piece.model.couplings.get(end))
    }

    pub fn called(&self, piece: usize) -> String {
        self.pieces.get(piece).map_or_else(String::new, Piece::called)
    }

    pub fn end_called(&self, end: End) -> String {
        let name = self.coupling(end).map_or("?", |it| it.end.as_str());
        format!("\"{name}\" of {}", self.called(end.0))
    }

    pub fn end_at(&self, end: End) -> EndAt {
        EndAt { part: end.0, end: self.coupling(end).map_or_else(String::new, |it| it.end.0.clone()) }
    }

    pub fn mount(&self, piece: usize) -> Option<Mount> {
        self.mounts.get(piece).copied().flatten()
    }

    pub fn entry(&self, piece: usize) -> Option<End> {
        self.through.get(piece).copied().flatten()
    }

    /// The end that a piece sits on.
    pub fn on_what(&self, piece: usize) -> Option<End> {
        self.mount(piece).map(|mount| mount.on)
    }

    /// The piece that sits on an end.
    pub fn on(&self, end: End) -> Option<usize> {
        self.mounts.iter().position(|mount| mount.is_some_and(|mount| mount.on == end))
    }

    /// The ends of a piece by their places, but for the one with which it is itself joined.
    pub fn free_ends(&self, piece: usize) -> impl Iterator<Item = (usize, &'a Coupling)> {
        let own = self.mount(piece).and_then(|mount| mount.by);
        let couplings = self.pieces.get(piece).map_or(&[][..], |piece| piece.model.couplings.as_slice());
        couplings.iter().enumerate().filter(move |(n, _)| Some(*n) != own)
    }

    /// Whether a piece has openings of its own, so that what it sits on is no opening any more.
    pub fn carries_openings(&self, piece: usize) -> bool {
        self.free_ends(piece).any(|(_, end)| end.port.is_some())
    }

    /// The openings into the lumen, those in line with the barrel first.
    pub fn openings(&self) -> Vec<End> {
        let mut all: Vec<(Port, End)> = Vec::new();
        for piece in (0..self.pieces.len()).filter(|piece| self.is_joined(*piece)) {
            for (n, end) in self.free_ends(piece) {
                let carried = self.on((piece, n)).is_some_and(|on| self.goes_on(on));
                all.extend(end.port.filter(|_| !carried).map(|port| (port, (piece, n))));
            }
        }
        all.sort();
        all.into_iter().map(|(_, end)| end).collect()
    }

    /// Heads and adapters lead on to their own openings. A connector is a state of its own, whatever else it opens.
    fn goes_on(&self, piece: usize) -> bool {
        let family = self.pieces.get(piece).map(Piece::family);
        matches!(family, Some(Family::Head | Family::PortAdapter)) && self.carries_openings(piece)
    }

    /// The ends from an opening to the barrel.
    pub fn way_in(&self, opening: End) -> Vec<End> {
        let mut all = vec![opening];
        let mut piece = opening.0;
        while let Some(mount) = self.mount(piece).filter(|_| all.len() <= self.pieces.len()) {
            all.push(mount.on);
            piece = mount.on.0;
        }
        all
    }

    /// Whether a piece is the barrel, or joined to it through others.
    pub fn is_joined(&self, piece: usize) -> bool {
        let last = |mount: Mount| self.way_in(mount.on).last().copied();
        piece == 0 || self.mount(piece).and_then(last).is_some_and(|(last, _)| last == 0)
    }

    /// What goes through an opening at once: of each group its part. Never empty.
    pub fn at_once(&self, end: End) -> Vec<Vec<usize>> {
        let here = |group: &Vec<usize>| -> Vec<usize> {
            group.iter().copied().filter(|piece| self.entry(*piece) == Some(end)).collect()
        };
        let mut all: Vec<Vec<usize>> =
            self.together.iter().map(here).filter(|here| !here.is_empty()).collect();
        if all.is_empty() {
            all.push(Vec::new());
        }
        all
    }

    /// The instruments that lie in the lumen, by their places; a telescope in optical forceps lies in these.
    pub fn instruments(&self) -> Vec<usize> {
        let of = |(n, piece): (usize, &Piece)| {
            (n > 0 && piece.family().is_instrument() && self.inside(n).is_none()).then_some(n)
        };
        self.pieces.iter().enumerate().filter_map(of).collect()
    }

    pub fn sit(&mut self, piece: usize, on: End) {
        let system = self.coupling(on).map(|it| it.system.0.clone());
        let by = self.pieces.get(piece).zip(system).and_then(|(piece, system)| own_end(piece, &system));
        if let Some(mount) = self.mounts.get_mut(piece) {
            *mount = Some(Mount { on, by });
        }
    }

    /// An end that is free and names a system of the piece: for caps with holes and windows in line with the barrel
    /// first, for all else at the side first.
    fn place_for(&self, piece: usize) -> Option<End> {
        let it = self.pieces.get(piece)?;
        let in_line = match it.family() {
            Family::Cap => !it.holes().is_empty(),
            Family::Window | Family::Head => true,
            _ => false,
        };
        let mut all: Vec<(bool, End)> = Vec::new();
        for other in (0..self.pieces.len()).filter(|other| *other != piece && self.is_joined(*other)) {
            for (n, end) in self.free_ends(other) {
                let free = self.on((other, n)).is_none();
                let is_part_of_lumen = end.port.is_some() || it.family() == Family::Head;
                if free && is_part_of_lumen && names_system(it, end.system.as_str()) {
                    all.push(((end.port == Some(Port::Side)) == in_line, (other, n)));
                }
            }
        }
        all.into_iter().min().map(|(_, end)| end).or_else(|| self.only_end_for(it.family()))
    }

    /// A head goes on its barrel, where that has one end for it, whatever the systems say: the joint is judged then.
    fn only_end_for(&self, family: Family) -> Option<End> {
        let mut free = self.free_ends(0).map(|(n, _)| (0, n)).filter(|end| self.on(*end).is_none());
        match (family, free.next(), free.next()) {
            (Family::Head, Some(only), None) => Some(only),
            _ => None,
        }
    }

    /// Puts what nobody placed where its couplings allow it: heads, adapters, then all else; then what goes in.
    fn place_rest(&mut self) {
        let rank = |family: Family| match family {
            Family::Head => 0,
            Family::PortAdapter => 1,
            Family::JetAdapter | Family::AnaesthesiaConnector => 2,
            _ => 3,
        };
        let mut waiting: Vec<usize> = (1..self.pieces.len())
            .filter(|n| self.mount(*n).is_none())
            .filter(|n| self.pieces.get(*n).is_some_and(|piece| piece.family().is_joined()))
            .collect();
        waiting.sort_by_key(|n| (self.pieces.get(*n).map_or(9, |piece| rank(piece.family())), *n));
        for piece in waiting {
            if let Some(end) = self.place_for(piece) {
                self.sit(piece, end);
            }
        }
        self.put_inside();
        let first = self
            .openings()
            .into_iter()
            .find(|end| self.coupling(*end).is_some_and(|coupling| coupling.port == Some(Port::Proximal)));
        for piece in self.instruments() {
            if let Some(through) = self.through.get_mut(piece).filter(|through| through.is_none()) {
                *through = first;
            }
        }
        self.pairs_as_one();
        if self.together.is_empty() {
            self.together = Some(self.instruments()).filter(|all| !all.is_empty()).into_iter().collect();
        }
        // What stands in no group lies in the lumen by itself.
        let grouped = |piece: &usize| self.together.iter().any(|group| group.contains(piece));
        let alone: Vec<Vec<usize>> =
            self.instruments().into_iter().filter(|piece| !grouped(piece)).map(|piece| vec![piece]).collect();
        self.together.extend(alone);
    }
}

/// The own end with which a piece would sit on a system: one that names it, and best one that is no opening; else the
/// only one that it has, or the only one that is no opening.
pub fn own_end(piece: &Piece, system: &str) -> Option<usize> {
    let ends = &piece.model.couplings;
    let named = ends.iter().enumerate().filter(|(_, end)| end.system.as_str() == system);
    let named = named.min_by_key(|(n, end)| (end.port.is_some(), *n)).map(|(n, _)| n);
    let mut closed = ends.iter().enumerate().filter(|(_, end)| end.port.is_none()).map(|(n, _)| n);
    named.or(match (ends.len(), closed.next(), closed.next()) {
        (1, ..) => Some(0),
        (_, Some(only), None) => Some(only),
        _ => None,
    })
}

/// Whether a piece may sit on an opening of a system: with an end that names it and is no opening itself, since two
/// openings do not go into each other; where it has one end only, with that.
pub(super) fn names_system(piece: &Piece, system: &str) -> bool {
    let ends = &piece.model.couplings;
    ends.iter().any(|end| end.system.as_str() == system && (end.port.is_none() || ends.len() == 1))
}

fn unfit(found: impl Into<String>, needed: &str, next: &str) -> Problem {
    Problem::new(Code::NotFitting, found, needed, next)
}

/// What is read from a configuration, and what is wrong with its names.
struct Reading<'a> {
    state: &'a State,
    layout: Layout<'a>,
    problems: Vec<Problem>,
}

impl<'a> Reading<'a> {
    fn piece(&mut self, text: &str) -> Option<Piece<'a>> {
        let state = self.state;
        match resolve(state, text) {
            Ok(Named::Asset(id)) => {
                let piece = state.assets.get(&id).and_then(|asset| Piece::of(state, asset))?;
                if self.layout.pieces.iter().any(|known| known.id() == piece.id()) {
                    self.problems.push(unfit(
                        format!("{} stands twice in the configuration.", piece.called()),
                        "Each piece stands once.",
                        "Name another piece, or leave it out.",
                    ));
                    return None;
                }
                Some(piece)
            }
            Ok(Named::Set(set)) => {
                self.problems.push(unfit(
                    format!("\"{set}\" is a set."),
                    "A configuration names its parts one by one.",
                    "Name the parts of the set that work together.",
                ));
                None
            }
            Err(problem) => {
                self.problems.push(problem);
                None
            }
        }
    }

    fn place_of(&mut self, text: &str) -> Option<usize> {
        let id = match resolve(self.state, text) {
            Ok(Named::Asset(id)) => Some(id),
            _ => None,
        };
        let place = self.layout.pieces.iter().position(|piece| piece.id() == id.as_ref() && id.is_some());
        if place.is_none() {
            self.problems.push(unfit(
                format!("\"{text}\" is no part of this configuration."),
                "An end, a group or a way out names a part that stands in it.",
                "Add the part, or name another.",
            ));
        }
        place
    }

    fn end(&mut self, named: &EndOf) -> Option<End> {
        let piece = self.place_of(named.part.as_str())?;
        let ends = &self.layout.pieces.get(piece)?.model.couplings;
        let found = ends.iter().position(|end| end.end == named.end);
        if found.is_none() {
            let known: Vec<&str> = ends.iter().map(|end| end.end.as_str()).collect();
            let known =
                if known.is_empty() { "none".to_string() } else { format!("\"{}\"", known.join("\", \"")) };
            let problem = Problem::new(
                Code::UnknownThing,
                format!("{} has no end \"{}\".", self.layout.called(piece), named.end.as_str()),
                format!("One of its ends is needed: {known}."),
                "Choose one of these, or add the end to the model.",
            );
            self.problems.push(problem);
        }
        found.map(|end| (piece, end))
    }

    fn sits(&mut self, piece: usize, placed: &Placed) {
        if let Some(on) = placed.on.as_ref().and_then(|on| self.end(on)) {
            if let Some(other) = self.layout.on(on).filter(|other| *other != piece) {
                self.problems.push(unfit(
                    format!(
                        "{} and {} are both said to sit on {}.",
                        self.layout.called(other),
                        self.layout.called(piece),
                        self.layout.end_called(on)
                    ),
                    "One part sits on an end.",
                    "Put one of them elsewhere.",
                ));
            } else if on.0 == piece {
                self.problems.push(unfit(
                    format!("{} is said to sit on itself.", self.layout.called(piece)),
                    "A part sits on another.",
                    "Name the part that it sits on.",
                ));
            } else {
                self.layout.sit(piece, on);
            }
        }
        if let Some(end) = placed.through.as_ref().and_then(|through| self.end(through))
            && let Some(through) = self.layout.through.get_mut(piece)
        {
            *through = Some(end);
        }
    }
}

/// Puts a configuration together from the pieces that it names.
pub fn lay_out<'a>(state: &'a State, it: &Configuration) -> Result<Layout<'a>, Vec<Problem>> {
    let mut reading = Reading { state, layout: Layout::default(), problems: Vec::new() };
    let barrel = reading.piece(it.barrel.as_str());
    if let Some(barrel) = barrel {
        if !barrel.family().is_barrel() {
            reading.problems.push(unfit(
                format!("{} is no barrel.", barrel.called()),
                "A configuration is built on a bronchoscope or tracheoscope barrel.",
                "Name the barrel first.",
            ));
        }
        reading.layout = Layout::of_barrel(barrel);
    }
    let mut placed = Vec::new();
    for part in &it.parts {
        if let Some(piece) = reading.piece(part.asset.as_str()) {
            placed.push((reading.layout.put(piece), part));
        }
    }
    for (piece, part) in &placed {
        reading.sits(*piece, part);
    }
    for group in &it.together {
        let group: Vec<usize> = group.iter().filter_map(|name| reading.place_of(name.as_str())).collect();
        reading.layout.together.push(group);
    }
    for end in &it.way_out {
        let end = reading.end(end);
        reading.layout.way_out.extend(end);
    }
    if !reading.problems.is_empty() || barrel.is_none() {
        return Err(reading.problems);
    }
    reading.layout.place_rest();
    Ok(reading.layout)
}
