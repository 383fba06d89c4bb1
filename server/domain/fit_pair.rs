//! Optical forceps and the telescope in them: an exact pair, of which the two have to be known to belong together. They
//! pass the lumen as one, by the diameters of the forceps, which are those of the pair.

use std::collections::BTreeSet;

use super::fit::{Check, Rule, Verdict};
use super::fit_layout::{End, Layout, names_system};
use super::fit_size::{Piece, mm};
use super::model::Family;
use crate::analysis::packing::{Length, TOLERANCE_MM};

impl Layout<'_> {
    fn family(&self, piece: usize) -> Option<Family> {
        self.pieces.get(piece).map(Piece::family)
    }

    fn is_instrument(&self, piece: usize) -> bool {
        piece > 0 && self.family(piece).is_some_and(Family::is_instrument)
    }

    /// The end of an instrument in which this telescope lies.
    pub fn inside(&self, piece: usize) -> Option<End> {
        let on = self.on_what(piece).filter(|_| self.family(piece) == Some(Family::Telescope))?;
        self.is_instrument(on.0).then_some(on)
    }

    /// The telescope that lies in an instrument.
    pub fn telescope_in(&self, piece: usize) -> Option<usize> {
        (0..self.pieces.len()).find(|other| self.inside(*other).is_some_and(|end| end.0 == piece))
    }

    /// How sentences on the lumen call what lies there: a pair by both of its parts.
    pub fn called_whole(&self, piece: usize) -> String {
        match self.telescope_in(piece) {
            Some(telescope) => format!("{} with {} in it", self.called(piece), self.called(telescope)),
            None => self.called(piece),
        }
    }

    /// Telescopes that are said to go in through an end of an instrument lie inside it; so do those that nobody placed
    /// and whose system one such end alone names.
    pub(super) fn put_inside(&mut self) {
        for telescope in self.instruments() {
            if self.family(telescope) != Some(Family::Telescope) || self.mount(telescope).is_some() {
                continue;
            }
            let end = match self.entry(telescope) {
                Some(entry) => Some(entry).filter(|end| self.is_instrument(end.0) && end.0 != telescope),
                None => self.only_host(telescope),
            };
            if let Some(end) = end {
                self.sit(telescope, end);
                if let Some(through) = self.through.get_mut(telescope) {
                    *through = None;
                }
            }
        }
    }

    fn only_host(&self, telescope: usize) -> Option<End> {
        let it = self.pieces.get(telescope)?;
        let mut hosts = Vec::new();
        for host in self.instruments().into_iter().filter(|host| *host != telescope) {
            let opens = self.free_ends(host).filter(|(n, end)| {
                end.port.is_some() && self.on((host, *n)).is_none() && names_system(it, end.system.as_str())
            });
            hosts.extend(opens.map(|(n, _)| (host, n)));
        }
        if hosts.len() == 1 { hosts.pop() } else { None }
    }

    /// A pair lies in a group by its forceps, whichever of the two was named there.
    pub(super) fn pairs_as_one(&mut self) {
        let mut groups = std::mem::take(&mut self.together);
        for group in &mut groups {
            let mut seen = BTreeSet::new();
            group.iter_mut().for_each(|piece| *piece = self.inside(*piece).map_or(*piece, |end| end.0));
            group.retain(|piece| seen.insert(*piece));
        }
        self.together = groups;
    }
}

/// What a pair has to fulfil beside its joint: the telescope passes the bore of the forceps, and the forceps are no
/// thinner than what lies in them. How long it is goes with the pair.
pub fn pairs(layout: &Layout) -> Vec<Check> {
    let mut checks = Vec::new();
    for telescope in 0..layout.pieces.len() {
        if let Some(end) = layout.inside(telescope) {
            checks.extend(bore(layout, telescope, end));
            checks.extend(thinner(layout, telescope, end));
            let (called, host) = (layout.called(telescope), layout.called(end.0));
            let sentence = format!("{called} lies in {host}: it reaches as far as they do.");
            let parts = vec![end.0, telescope];
            checks.push(Check::of(Rule::TelescopeLength, Verdict::Holds, parts, sentence));
        }
    }
    checks
}

fn bore(layout: &Layout, telescope: usize, end: End) -> Option<Check> {
    let bore = layout.coupling(end)?.bore_mm.and_then(|bore| Length::of_mm(bore.f64()))?;
    let (called, of) = (layout.called(telescope), layout.end_called(end));
    let parts = vec![end.0, telescope];
    let Some(widest) = layout.pieces.get(telescope)?.widest() else {
        let sentence = format!(
            "Whether {called} passes the bore of {} of {of} is not known: its diameter is missing. Measure it.",
            mm(bore.mm())
        );
        return Some(Check::of(Rule::EntryBore, Verdict::NotKnown, parts, sentence));
    };
    let (found, needed) = (bore.mm(), widest.high.mm());
    let passes = needed <= found + TOLERANCE_MM;
    let (verdict, says) = if passes { (Verdict::Holds, "passes") } else { (Verdict::Fails, "does not pass") };
    let sentence =
        format!("{called}, {} at its widest, {says} the bore of {} of {of}.", mm(needed), mm(found));
    let mut check = Check::of(Rule::EntryBore, verdict, parts, sentence);
    (check.found_mm, check.needed_mm, check.spare_mm) = (Some(found), Some(needed), Some(found - needed));
    Some(check)
}

fn thinner(layout: &Layout, telescope: usize, end: End) -> Option<Check> {
    let (pair, own) = (layout.pieces.get(end.0)?.shaft()?, layout.pieces.get(telescope)?.shaft()?);
    if pair.low >= own.high {
        return None;
    }
    let (called, host) = (layout.called(telescope), layout.called(end.0));
    let sentence = format!(
        "{host} are entered with a shaft of {}, and {called} in them is {} thick: the diameter of the two together is \
         not known. Measure it with the telescope in.",
        mm(pair.low.mm()),
        mm(own.high.mm())
    );
    Some(Check::of(Rule::Sizes, Verdict::NotKnown, vec![end.0, telescope], sentence))
}
