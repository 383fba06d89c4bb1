//! Joints: the two sides name the same system, or were tried together. An unknown coupling is never taken for a fit.

use super::fit::{Check, Joint, Rule, TriedBy, Verdict};
use super::fit_layout::{End, Layout, Mount, own_end};
use super::fit_size::Piece;
use super::model::Coupling;
use super::state::State;
use super::tried::Side;

/// Every joint of a configuration, and what is joined to nothing.
pub fn joints(state: &State, layout: &Layout) -> (Vec<Joint>, Vec<Check>) {
    let mut joints = Vec::new();
    let mut checks = Vec::new();
    for piece in 1..layout.pieces.len() {
        let joined = layout.pieces.get(piece).is_some_and(|piece| piece.family().is_joined());
        if layout.pieces.get(piece).is_some_and(|piece| piece.family().is_barrel()) {
            let nothing = if layout.mount(piece).is_none() { "is joined to nothing: it " } else { "" };
            let sentence = format!(
                "{} {nothing}is a second barrel beside {}, and a configuration has one.",
                layout.called(piece),
                layout.called(0)
            );
            checks.push(of(Verdict::Fails, sentence, vec![piece]));
        }
        match layout.mount(piece) {
            Some(mount) => {
                let joint = joint(state, layout, piece, mount);
                checks.push(check(&joint, vec![mount.on.0, piece]));
                joints.push(joint);
                if layout.mount(mount.on.0).is_some_and(|host| host.by == Some(mount.on.1)) {
                    let sentence = format!(
                        "{} can't sit on {}: that end is joined already, to what its own part sits on.",
                        layout.called(piece),
                        layout.end_called(mount.on)
                    );
                    checks.push(of(Verdict::Fails, sentence, vec![mount.on.0, piece]));
                }
                if !layout.is_joined(piece) && !at_instrument(layout, mount) {
                    let sentence =
                        format!("{} is not joined to the barrel by any chain.", layout.called(piece));
                    checks.push(of(Verdict::Fails, sentence, vec![piece]));
                }
            }
            None if joined => {
                let sentence = format!(
                    "{} is joined to nothing: where it sits is not known, and no free end here names its system. \
                     Fit not known.",
                    layout.called(piece)
                );
                checks.push(of(Verdict::NotKnown, sentence, vec![piece]));
            }
            None => {}
        }
    }
    (joints, checks)
}

/// A light cable or a camera head sits on the telescope.
fn at_instrument(layout: &Layout, mount: Mount) -> bool {
    let root = layout.way_in(mount.on).last().and_then(|(root, _)| layout.pieces.get(*root));
    root.is_some_and(|root| root.family().is_instrument())
}

fn of(verdict: Verdict, sentence: String, parts: Vec<usize>) -> Check {
    let rule = Rule::Coupling;
    Check::of(rule, verdict, parts, sentence)
}

fn check(joint: &Joint, parts: Vec<usize>) -> Check {
    of(joint.verdict, joint.sentence.clone(), parts)
}

/// What was tried of a joint, whoever sits on whom.
fn tried(
    state: &State,
    one: (&Piece, Option<&Coupling>),
    other: (&Piece, Option<&Coupling>),
) -> Option<TriedBy> {
    if state.tried.is_empty() {
        return None;
    }
    let one = Side { asset: one.0.id(), model: &one.0.model.model, end: one.1.map(|end| end.end.as_str()) };
    let other =
        Side { asset: other.0.id(), model: &other.0.model.model, end: other.1.map(|end| end.end.as_str()) };
    state.tried_together(one, other)
}

/// Whether a piece is known to fit on an end, with the one of its own ends that goes there.
pub fn known_to_fit(state: &State, layout: &Layout, on: End, piece: &Piece) -> bool {
    let (Some(inner), Some(of)) = (layout.coupling(on), layout.pieces.get(on.0)) else { return false };
    let by = own_end(piece, inner.system.as_str());
    let outer = by.and_then(|by| piece.model.couplings.get(by));
    match tried(state, (of, Some(inner)), (piece, outer)) {
        Some(tried) => tried.fits,
        None => outer.is_some_and(|outer| outer.system == inner.system),
    }
}

fn joint(state: &State, layout: &Layout, piece: usize, mount: Mount) -> Joint {
    let inner = layout.coupling(mount.on);
    let outer_end = mount.by.map(|by| (piece, by));
    let outer = outer_end.and_then(|end| layout.coupling(end));
    let tried = match (layout.pieces.get(mount.on.0), layout.pieces.get(piece)) {
        (Some(one), Some(other)) => tried(state, (one, inner), (other, outer)),
        _ => None,
    };
    let (inner_system, outer_system) =
        (inner.map(|coupling| coupling.system.0.clone()), outer.map(|coupling| coupling.system.0.clone()));
    let (on, called) = (layout.end_called(mount.on), layout.called(piece));
    let same = inner_system.is_some() && inner_system == outer_system;
    let (verdict, sentence) = match (&tried, same) {
        (Some(tried), _) => {
            let day = tried.at.told(state.zone);
            let (verdict, how) = match tried.fits {
                true => (Verdict::Holds, "fits"),
                false => (Verdict::Fails, "does not fit"),
            };
            (verdict, format!("{called} {how} on {on}: tried on {day} by {}.", tried.by))
        }
        (None, true) => {
            let system = inner_system.as_deref().unwrap_or_default();
            (Verdict::Holds, format!("{called} sits on {on}: both name \"{system}\"."))
        }
        (None, false) => {
            let named = |system: &Option<String>| {
                system.as_ref().map_or("names no system".into(), |system| format!("names \"{system}\""))
            };
            (
                Verdict::NotKnown,
                format!(
                    "Fit not known: {on} {}, {called} {}. Nobody has recorded that they were tried together.",
                    named(&inner_system),
                    named(&outer_system)
                ),
            )
        }
    };
    Joint {
        inner: layout.end_at(mount.on),
        outer: outer_end.map(|end| layout.end_at(end)),
        outer_part: piece,
        inner_system,
        outer_system,
        tried,
        verdict,
        sentence,
    }
}
