//! Caps and what goes through them: as many holes as instruments, each smaller than its instrument, none so small that it
//! tears.

use super::fit::{Check, Opening, OpeningState, Rule, Verdict};
use super::fit_hole::{one_hole, suits};
use super::fit_layout::Layout;
use super::fit_size::Width;
use super::site::Policy;

/// The instruments in the order of the holes, each in one that suits it where that can be; else the thickest in the widest.
fn in_holes(layout: &Layout, policy: &Policy, holes: &[Width], instruments: &[usize]) -> Vec<usize> {
    let piece = |n: usize| layout.pieces.get(n);
    let mut sorted = instruments.to_vec();
    sorted.sort_by_key(|n| (std::cmp::Reverse(piece(*n).and_then(|it| it.shaft()).map(|it| it.high)), *n));
    let fits = |hole: usize, n: usize| {
        let sizes = piece(n).and_then(|it| it.shaft().zip(it.widest()));
        holes.get(hole).zip(sizes).is_some_and(|(hole, (shaft, widest))| suits(policy, hole, shaft, widest))
    };
    // With more holes than instruments somebody chooses which ones; the widest are told.
    let places = holes.len().min(sorted.len());
    each_in_its_own(places, &sorted, &fits, &mut Vec::new())
        .filter(|all| all.len() == sorted.len())
        .unwrap_or(sorted)
}

/// Gives each of the first places one of the things that fits it, all of them different.
pub fn each_in_its_own(
    places: usize,
    things: &[usize],
    fits: &impl Fn(usize, usize) -> bool,
    taken: &mut Vec<usize>,
) -> Option<Vec<usize>> {
    if taken.len() == places {
        return Some(taken.clone());
    }
    for thing in things {
        if !taken.contains(thing) && fits(taken.len(), *thing) {
            taken.push(*thing);
            if let Some(all) = each_in_its_own(places, things, fits, taken) {
                return Some(all);
            }
            taken.pop();
        }
    }
    None
}

/// Caps and the instruments through them: as many holes, each smaller than its instrument, none so small that it tears.
pub fn caps(layout: &Layout, policy: &Policy, openings: &[Opening]) -> Vec<Check> {
    let mut checks = Vec::new();
    for opening in openings {
        match (opening.state, opening.by) {
            (OpeningState::HoledCap, Some(cap)) => holes(layout, policy, opening, cap, &mut checks),
            (OpeningState::HolesNotKnown, Some(cap)) => checks.push(not_known(layout, opening, cap)),
            (OpeningState::Open, _) | (_, None) => {}
            (state, Some(by)) => {
                for instrument in &opening.instruments {
                    let sentence = format!(
                        "{} can't go in through \"{}\": {} sits there ({}).",
                        layout.called(*instrument),
                        opening.at.end,
                        layout.called(by),
                        state.words()
                    );
                    checks.push(Check::of(Rule::CapHoles, Verdict::Fails, vec![by, *instrument], sentence));
                }
            }
        }
    }
    checks
}

/// A cap whose holes nobody entered: it may be blank, and it may leak. What goes through it nobody can say.
fn not_known(layout: &Layout, opening: &Opening, cap: usize) -> Check {
    let called = layout.called(cap);
    let used = !opening.instruments.is_empty();
    let verdict = if used { Verdict::NotKnown } else { Verdict::Warns };
    let sentence = format!(
        "The holes of {called} on \"{}\" are not known, so nobody can say whether it closes or what passes it. \
         Measure them and enter them; of a blank cap enter that it has none.",
        opening.at.end
    );
    let parts = std::iter::once(cap).chain(opening.instruments.iter().copied()).collect();
    Check::of(Rule::CapHoles, verdict, parts, sentence)
}

fn holes(layout: &Layout, policy: &Policy, opening: &Opening, cap: usize, checks: &mut Vec<Check>) {
    let Some(piece) = layout.pieces.get(cap) else { return };
    let (holes, called) = (piece.holes(), piece.called());
    let Some(end) = layout.on_what(cap) else { return };
    let groups = layout.at_once(end);
    let mut told = Vec::new();
    let have = holes.len();
    for here in groups.iter().filter(|here| !here.is_empty()) {
        let need = here.len();
        let at = &opening.at.end;
        let (verdict, sentence) = match have < need {
            true => (
                Verdict::Fails,
                format!("{called} on \"{at}\" has {have} of {need} holes for what goes through it at once."),
            ),
            false => (
                Verdict::Holds,
                format!("{called} on \"{at}\" has {have} for the {need} that go through it at once."),
            ),
        };
        told.push(Check::of(Rule::CapHoles, verdict, vec![cap], sentence));
        let through = in_holes(layout, policy, &holes, here);
        for (hole, instrument) in holes.iter().zip(through) {
            one_hole(layout, policy, hole, (cap, instrument), &mut told);
        }
    }
    told.dedup();
    checks.append(&mut told);
}
