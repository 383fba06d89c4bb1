//! The lumen: the widest part of each instrument passes, and those that work together lie side by side, in the barrel
//! and in the bore of every entry. Circles in a circle; the nominal label of a barrel is no diameter.

use std::collections::BTreeMap;

use super::fit::{Check, Circle, Rule, Together, Verdict};
use super::fit_layout::{End, Layout};
use super::fit_openings::shafts;
use super::fit_size::{mm, spare_mm};
use super::site::Policy;
use crate::analysis::packing::{Answer, Length, Problem};

/// What the lumen says of a configuration.
pub fn lumen(layout: &Layout, policy: &Policy) -> (Vec<Together>, Vec<Check>) {
    let clearance = clearance(policy);
    let mut checks = Vec::new();
    let mut together = Vec::new();
    match layout.pieces.first().and_then(|barrel| barrel.inner()) {
        Some(inner) => {
            for instrument in layout.instruments() {
                checks.push(pass(layout, instrument, inner.low, clearance));
            }
            for group in layout.together.iter().filter(|group| !group.is_empty()) {
                work(layout, group, inner.low, clearance, (&mut together, &mut checks));
            }
        }
        None if layout.instruments().is_empty() => {}
        None => {
            let barrel = layout.called(0);
            checks.push(Check::of(
                Rule::Pass,
                Verdict::NotKnown,
                vec![0],
                format!("The inner diameter of {barrel} is not known; its nominal label is no diameter."),
            ));
        }
    }
    checks.extend(entries(layout, clearance));
    (together, checks)
}

fn clearance(policy: &Policy) -> Length {
    Length::of_mm(policy.clearance_mm.f64()).unwrap_or_default()
}

fn numbered(mut check: Check, found: f64, needed: f64, spare: f64) -> Check {
    check.found_mm = Some(found);
    check.needed_mm = Some(needed);
    check.spare_mm = Some(spare);
    check
}

/// How the site's clearance is told, where it has one.
fn with(clearance: Length) -> String {
    if clearance == Length::default() {
        String::new()
    } else {
        format!(" and {} of clearance", mm(clearance.mm()))
    }
}

fn pass(layout: &Layout, instrument: usize, lumen: Length, clearance: Length) -> Check {
    let called = layout.called_whole(instrument);
    let Some(widest) = layout.pieces.get(instrument).and_then(|piece| piece.widest()) else {
        let sentence =
            format!("How wide {called} is at its widest is not known, so whether it passes is not.");
        return Check::of(Rule::Pass, Verdict::NotKnown, vec![0, instrument], sentence);
    };
    let discs = [widest.high];
    let (answer, spare) = fit(&discs, lumen, clearance);
    let (verdict, says) = match answer {
        Some(Answer::Fits) => (Verdict::Holds, "passes"),
        _ => (Verdict::Fails, "does not pass"),
    };
    let sentence = format!(
        "{called}, {} at its widest{}, {says} the lumen of {} in {}.",
        mm(widest.high.mm()),
        with(clearance),
        mm(lumen.mm()),
        layout.called(0)
    );
    numbered(
        Check::of(Rule::Pass, verdict, vec![0, instrument], sentence),
        lumen.mm(),
        widest.high.mm(),
        spare,
    )
}

fn fit(discs: &[Length], lumen: Length, clearance: Length) -> (Option<Answer>, f64) {
    match (Problem { lumen, clearance, discs }).answer() {
        Ok((answer, spare)) => (Some(answer), spare),
        Err(_) => (None, 0.0),
    }
}

fn names(layout: &Layout, parts: &[usize]) -> String {
    let all: Vec<String> = parts.iter().map(|part| layout.called_whole(*part)).collect();
    match all.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => all.join(""),
    }
}

fn work(
    layout: &Layout,
    group: &[usize],
    lumen: Length,
    clearance: Length,
    (together, checks): (&mut Vec<Together>, &mut Vec<Check>),
) {
    let called = names(layout, group);
    let parts: Vec<usize> = std::iter::once(0).chain(group.iter().copied()).collect();
    let Some(discs) = shafts(layout, group) else {
        let sentence =
            format!("Whether {called} lie together in the lumen is not known: a diameter is missing.");
        checks.push(Check::of(Rule::Work, Verdict::NotKnown, parts, sentence));
        return;
    };
    let fit = match (Problem { lumen, clearance, discs: &discs }).fit() {
        Ok(fit) => fit,
        Err(why) => {
            checks.push(Check::of(Rule::Work, Verdict::NotKnown, parts, format!("{called}: {why}.")));
            return;
        }
    };
    let (verdict, says) = match fit.answer {
        Answer::Fits => (Verdict::Holds, "lie together"),
        Answer::DoesNotFit => (Verdict::Fails, "do not lie together"),
        Answer::Undecided => (Verdict::NotKnown, "may or may not lie together"),
    };
    let placed = fit.placement.as_deref().unwrap_or_default();
    together.push(Together {
        parts: group.to_vec(),
        lumen_mm: lumen.mm(),
        clearance_mm: clearance.mm(),
        needed_low_mm: fit.needed.low_mm,
        needed_high_mm: fit.needed.high_mm,
        spare_mm: fit.spare_mm,
        verdict,
        circles: group
            .iter()
            .zip(placed)
            .map(|(part, disc)| Circle { part: *part, x_mm: disc.x_mm, y_mm: disc.y_mm, r_mm: disc.r_mm })
            .collect(),
    });
    let needed = mm(fit.needed.high_mm);
    let clear = with(clearance);
    let sentence = format!(
        "{called} {says} in the lumen of {}: they need {needed}{clear}, {}.",
        mm(lumen.mm()),
        if fit.spare_mm < 0.0 {
            format!("{} too much", spare_mm(-fit.spare_mm))
        } else {
            format!("{} to spare", spare_mm(fit.spare_mm))
        }
    );
    checks.push(numbered(
        Check::of(Rule::Work, verdict, parts, sentence),
        lumen.mm(),
        fit.needed.high_mm,
        fit.spare_mm,
    ));
    if verdict == Verdict::Holds && group.len() > 1 {
        checks.extend(group.iter().filter_map(|one| beside(layout, group, *one, lumen, clearance)));
    }
}

/// Whether the widest part of one passes beside the shafts of the others. Where not, it goes in first, by itself.
fn beside(layout: &Layout, group: &[usize], one: usize, lumen: Length, clearance: Length) -> Option<Check> {
    let piece = layout.pieces.get(one)?;
    let (widest, shaft) = (piece.widest()?.high, piece.shaft()?.high);
    if widest <= shaft {
        return None;
    }
    let others: Vec<usize> = group.iter().copied().filter(|other| *other != one).collect();
    let mut discs = shafts(layout, &others)?;
    discs.push(widest);
    let (answer, spare) = fit(&discs, lumen, clearance);
    let (others, called) = (names(layout, &others), layout.called(one));
    let (verdict, says) = match answer {
        Some(Answer::Fits) => (Verdict::Holds, format!("passes beside {others}")),
        _ => (Verdict::Warns, format!("does not pass beside {others}: it goes in first, or they come out")),
    };
    let sentence = format!("{called}, {} at its widest, {says}.", mm(widest.mm()));
    let mut check = Check::of(Rule::PassBeside, verdict, vec![0, one], sentence);
    check.found_mm = Some(lumen.mm());
    check.spare_mm = Some(spare);
    Some(check)
}

/// Every bore on the way from an opening to the barrel: each instrument by itself, and those that share it together.
fn entries(layout: &Layout, clearance: Length) -> Vec<Check> {
    let mut sharing: BTreeMap<End, Vec<usize>> = BTreeMap::new();
    let mut checks = Vec::new();
    for instrument in layout.instruments() {
        let Some(entry) = layout.entry(instrument) else {
            let sentence =
                format!("Through which opening {} goes in is not known.", layout.called(instrument));
            checks.push(Check::of(Rule::EntryBore, Verdict::NotKnown, vec![instrument], sentence));
            continue;
        };
        if !layout.openings().contains(&entry) {
            let end = layout.end_called(entry);
            let why = match layout.on(entry) {
                Some(by) => format!("{} sits there", layout.called(by)),
                None => "that is no opening".to_string(),
            };
            let sentence = format!("{} can't go in through {end}: {why}.", layout.called(instrument));
            checks.push(Check::of(Rule::EntryBore, Verdict::Fails, vec![instrument, entry.0], sentence));
            continue;
        }
        for end in layout.way_in(entry) {
            sharing.entry(end).or_default().push(instrument);
        }
        let unknown =
            |end: &End| layout.coupling(*end).is_some_and(|end| end.port.is_some() && end.bore_mm.is_none());
        for end in layout.way_in(entry).into_iter().filter(unknown) {
            let end = layout.end_called(end);
            let sentence = format!(
                "The bore of {end} is not known, through which {} goes in.",
                layout.called(instrument)
            );
            checks.push(Check::of(Rule::EntryBore, Verdict::NotKnown, vec![instrument, entry.0], sentence));
        }
    }
    for (end, instruments) in sharing {
        let bore =
            layout.coupling(end).and_then(|end| end.bore_mm).and_then(|bore| Length::of_mm(bore.f64()));
        if let Some(bore) = bore {
            checks.extend(through(layout, end, bore, &instruments, clearance));
        }
    }
    checks
}

fn through(layout: &Layout, end: End, bore: Length, instruments: &[usize], clearance: Length) -> Vec<Check> {
    let mut checks = Vec::new();
    let called = layout.end_called(end);
    for instrument in instruments {
        let Some(widest) = layout.pieces.get(*instrument).and_then(|piece| piece.widest()) else { continue };
        let (answer, spare) = fit(&[widest.high], bore, clearance);
        let (verdict, says) = match answer {
            Some(Answer::Fits) => (Verdict::Holds, "passes"),
            _ => (Verdict::Fails, "does not pass"),
        };
        let sentence = format!(
            "{}, {} at its widest{}, {says} the bore of {} of {called}.",
            layout.called(*instrument),
            mm(widest.high.mm()),
            with(clearance),
            mm(bore.mm())
        );
        let check = Check::of(Rule::EntryBore, verdict, vec![*instrument, end.0], sentence);
        checks.push(numbered(check, bore.mm(), widest.high.mm(), spare));
    }
    for group in &layout.together {
        let here: Vec<usize> = group.iter().copied().filter(|one| instruments.contains(one)).collect();
        let Some(discs) = shafts(layout, &here).filter(|_| here.len() > 1) else { continue };
        let Ok(found) = (Problem { lumen: bore, clearance, discs: &discs }).fit() else { continue };
        let (verdict, says) = match found.answer {
            Answer::Fits => (Verdict::Holds, "lie together"),
            Answer::DoesNotFit => (Verdict::Fails, "do not lie together"),
            Answer::Undecided => (Verdict::NotKnown, "may or may not lie together"),
        };
        let sentence = format!(
            "{} {says} in the bore of {} of {called}: they need {}{}.",
            names(layout, &here),
            mm(bore.mm()),
            mm(found.needed.high_mm),
            with(clearance)
        );
        let parts = here.iter().copied().chain([end.0]).collect();
        let check = Check::of(Rule::EntryBore, verdict, parts, sentence);
        checks.push(numbered(check, bore.mm(), found.needed.high_mm, found.spare_mm));
    }
    checks
}
