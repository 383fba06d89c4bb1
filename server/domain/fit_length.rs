//! Lengths: where the telescope's tip lies against the barrel's end, and whether forceps and suction reach beyond it.

use rust_decimal::Decimal;

use super::fit::{Check, Position, Rule, TelescopeAt, Verdict};
use super::fit_layout::{End, Layout};
use super::fit_size::{Reach, mm};
use super::model::Family;
use super::site::Policy;
use super::text::Quantity;

fn f64(number: Decimal) -> f64 {
    Quantity(number).f64()
}

fn told(number: Decimal) -> String {
    mm(f64(number))
}

/// Every instrument against the barrel.
pub fn lengths(layout: &Layout, policy: &Policy) -> (Vec<TelescopeAt>, Vec<Check>) {
    let mut telescopes = Vec::new();
    let mut checks = Vec::new();
    for instrument in layout.instruments() {
        let Some(family) = layout.pieces.get(instrument).map(|piece| piece.family()) else { continue };
        // Where it goes in is told by another rule.
        let Some(entry) = layout.entry(instrument) else { continue };
        match way(layout, instrument, entry) {
            Err(missing) => {
                let rule = if family == Family::Telescope { Rule::TelescopeLength } else { Rule::Reach };
                let sentence = format!(
                    "Whether {} has the right length is not known: {missing}.",
                    layout.called(instrument)
                );
                checks.push(Check::of(rule, Verdict::NotKnown, vec![instrument], sentence));
            }
            Ok(way) if family == Family::Telescope => {
                let (at, told) = telescope(layout, policy, instrument, &way);
                telescopes.push(at);
                checks.extend(told);
            }
            // An obturator fills its barrel, and works nowhere beyond it.
            Ok(_) if family == Family::Obturator => {}
            Ok(way) => checks.push(reach(layout, policy, instrument, &way)),
        }
    }
    (telescopes, checks)
}

/// The lengths that one instrument is judged by.
struct Way {
    instrument: Reach,
    barrel: Reach,
    stack: Reach,
}

/// The way of an instrument from the outside of what it goes in through to the barrel's end, or what of it is not known.
fn way(layout: &Layout, instrument: usize, entry: End) -> Result<Way, String> {
    let length = |piece: usize| layout.pieces.get(piece).and_then(|piece| piece.length());
    let missing = |piece: usize| format!("the length of {} is not given", layout.called(piece));
    let own = length(instrument).ok_or_else(|| missing(instrument))?;
    let barrel = length(0).ok_or_else(|| missing(0))?;
    let mut stack = Reach { low: Decimal::ZERO, high: Decimal::ZERO };
    let on_way = layout.way_in(entry);
    let pieces = on_way.iter().map(|(piece, _)| *piece).chain(layout.on(entry));
    for piece in pieces.filter(|piece| *piece != 0) {
        let height = layout.pieces.get(piece).and_then(|piece| piece.stack());
        let Some(height) = height else {
            return Err(format!("the stack height of {} is not given", layout.called(piece)));
        };
        stack.low += height.low;
        stack.high += height.high;
    }
    Ok(Way { instrument: own, barrel, stack })
}

/// What a telescope is pulled out of: the cap that it goes through, or the opening where none sits there.
fn mouth(layout: &Layout, telescope: usize) -> String {
    let on = layout.entry(telescope).and_then(|entry| layout.on(entry));
    on.map_or_else(|| "the opening".into(), |on| layout.called(on))
}

/// The tip lies at the working length less barrel and stack. Where stated and measured differ it lies between two
/// places, and both have to be inside the window.
fn telescope(layout: &Layout, policy: &Policy, part: usize, way: &Way) -> (TelescopeAt, Vec<Check>) {
    let [low, high] = policy.telescope_window_mm;
    let deep = way.instrument.high - way.barrel.low - way.stack.low;
    let short = way.instrument.low - way.barrel.high - way.stack.high;
    // The worse of the two: the one further out of the window, or nearer to its edge.
    let beyond = (deep - high.0) >= (low.0 - short);
    let tip = if beyond { deep } else { short };
    let inside = short >= low.0 && deep <= high.0;
    let called = layout.called(part);
    let lies = match tip {
        tip if tip > Decimal::ZERO => format!("{} beyond the barrel's end", told(tip)),
        tip if tip < Decimal::ZERO => format!("{} inside the barrel", told(-tip)),
        _ => "at the barrel's end".into(),
    };
    let (barrel, stack, own) = match beyond {
        true => (way.barrel.low, way.stack.low, way.instrument.high),
        false => (way.barrel.high, way.stack.high, way.instrument.low),
    };
    let sum = format!("working length {} less barrel {} and stack {}", told(own), told(barrel), told(stack));
    let window = format!("{} to {}", told(low.0), told(high.0));
    let (verdict, says) = match inside {
        true => (Verdict::Holds, format!("inside the site's window of {window}")),
        false if beyond => {
            (Verdict::Fails, format!("outside the site's window of {window}: its tip is exposed"))
        }
        false => (Verdict::Fails, format!("outside the site's window of {window}: it looks down a tunnel")),
    };
    let sentence = format!("The tip of {called} lies {lies} ({sum}), {says}.");
    let mut length = Check::of(Rule::TelescopeLength, verdict, vec![0, part], sentence);
    length.found_mm = Some(f64(tip));
    length.needed_mm = Some(f64(if beyond { high.0 } else { low.0 }));
    length.spare_mm = Some(f64(if beyond { high.0 - tip } else { tip - low.0 }));
    let cover = policy.telescope_cover_mm.0;
    let out = (deep + cover).max(Decimal::ZERO);
    let back = Position { out_mm: f64(out), tip_mm: f64(if out.is_zero() { tip } else { tip - out }) };
    let covered = cover <= way.barrel.low && out <= way.instrument.low;
    let (verdict, sentence) = match covered {
        true => (
            Verdict::Holds,
            format!(
                "Pulled back, {} of {called} stand out of {} and its tip lies {} inside the barrel.",
                told(out),
                mouth(layout, part),
                mm(-back.tip_mm)
            ),
        ),
        false => (
            Verdict::Fails,
            format!(
                "The tip of {called} can't be covered by {}: the barrel is shorter than that.",
                told(cover)
            ),
        ),
    };
    let covered = Check::of(Rule::TelescopeCovered, verdict, vec![0, part], sentence);
    let at = TelescopeAt {
        part,
        working_length_mm: f64(own),
        barrel_length_mm: f64(barrel),
        stack_mm: f64(stack),
        window_mm: [low.f64(), high.f64()],
        full: Position { out_mm: 0.0, tip_mm: f64(tip) },
        back,
    };
    (at, vec![length, covered])
}

fn reach(layout: &Layout, policy: &Policy, part: usize, way: &Way) -> Check {
    let needed = way.barrel.high + way.stack.high + policy.reach_mm.0;
    let spare = way.instrument.low - needed;
    let (verdict, says) = match spare >= Decimal::ZERO {
        true => (Verdict::Holds, format!("{} to spare", told(spare))),
        false => (Verdict::Fails, format!("{} too short", told(-spare))),
    };
    let sentence = format!(
        "{} is {} long; barrel {}, stack {} and a reach of {} need {}: {says}.",
        layout.called(part),
        told(way.instrument.low),
        told(way.barrel.high),
        told(way.stack.high),
        told(policy.reach_mm.0),
        told(needed)
    );
    let mut all = Check::of(Rule::Reach, verdict, vec![0, part], sentence);
    all.found_mm = Some(f64(way.instrument.low));
    all.needed_mm = Some(f64(needed));
    all.spare_mm = Some(f64(spare));
    all
}
