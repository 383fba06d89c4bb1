//! The hole of a cap and the instrument in it: narrower than its shaft, so that it seals, and not so narrow that it tears.

use super::fit::{Check, Rule, Verdict};
use super::fit_layout::Layout;
use super::fit_size::{Width, mm};
use super::site::Policy;
use crate::analysis::packing::TOLERANCE_MM;

/// Whether a hole seals on an instrument and bears it.
pub fn suits(policy: &Policy, hole: &Width, shaft: Width, widest: Width) -> bool {
    hole.high < shaft.low && hole.low.mm() >= widest.high.mm() * policy.cap_hole_ratio.f64() - TOLERANCE_MM
}

/// One instrument in one hole of a cap.
pub fn one_hole(
    layout: &Layout,
    policy: &Policy,
    hole: &Width,
    (cap, instrument): (usize, usize),
    checks: &mut Vec<Check>,
) {
    let (called, of) = (layout.called(cap), layout.called(instrument));
    let piece = layout.pieces.get(instrument);
    let (shaft, widest) = (piece.and_then(|it| it.shaft()), piece.and_then(|it| it.widest()));
    let (Some(shaft), Some(widest)) = (shaft, widest) else {
        let sentence =
            format!("Whether the hole of {called} suits {of} is not known: a diameter is missing.");
        checks.push(Check::of(Rule::CapSeals, Verdict::NotKnown, vec![cap, instrument], sentence));
        return;
    };
    let seals = hole.high < shaft.low;
    let (verdict, says) = if seals { (Verdict::Holds, "seals") } else { (Verdict::Fails, "does not seal") };
    checks.push(Check {
        rule: Rule::CapSeals,
        verdict,
        parts: vec![cap, instrument],
        sentence: format!(
            "The hole of {} in {called} {says} on {of} ({} shaft).",
            mm(hole.high.mm()),
            mm(shaft.low.mm())
        ),
        found_mm: Some(hole.high.mm()),
        needed_mm: Some(shaft.low.mm()),
        spare_mm: Some(shaft.low.mm() - hole.high.mm()),
    });
    let least = widest.high.mm() * policy.cap_hole_ratio.f64();
    let bears = hole.low.mm() >= least - TOLERANCE_MM;
    let (verdict, says) = if bears { (Verdict::Holds, "bears") } else { (Verdict::Fails, "would tear with") };
    checks.push(Check {
        rule: Rule::CapTears,
        verdict,
        parts: vec![cap, instrument],
        sentence: format!(
            "The hole of {} in {called} {says} {of}, {} at its widest (at least {} is the site's setting).",
            mm(hole.low.mm()),
            mm(widest.high.mm()),
            mm(least)
        ),
        found_mm: Some(hole.low.mm()),
        needed_mm: Some(least),
        spare_mm: Some(hole.low.mm() - least),
    });
}
