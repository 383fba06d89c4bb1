//! The way that gas takes out: from the lumen through every bore to the declared opening. What fills one of them stops it;
//! less beside it than the site's gap is warned of. Of several instruments side by side the widest decides, since gas
//! also passes between them. It says nothing of how much gas that is.

use super::fit::Verdict;
use super::fit_layout::{End, Layout};
use super::fit_size::mm;
use super::site::Policy;
use crate::analysis::packing::TOLERANCE_MM;

/// What stands in the way out behind an opening, the worst first; nothing where the gap stays all along it.
pub fn behind(layout: &Layout, policy: &Policy, opening: End) -> Option<(Verdict, Vec<usize>, String)> {
    let way = layout.way_in(opening);
    let mut found: Vec<(Verdict, Vec<usize>, String)> = Vec::new();
    for end in way.iter().skip(1).filter(|end| is_opening(layout, **end)) {
        let here: Vec<usize> = layout
            .instruments()
            .into_iter()
            .filter(|piece| layout.entry(*piece).is_some_and(|entry| layout.way_in(entry).contains(end)))
            .collect();
        let bore = layout.coupling(*end).and_then(|it| it.bore_mm).map(|bore| bore.f64());
        found.extend(beside(layout, policy, &layout.end_called(*end), bore, &here));
    }
    let lumen = layout.pieces.first().and_then(|barrel| barrel.inner()).map(|inner| inner.low.mm());
    // A lumen that is not known is told where instruments have to pass it.
    if lumen.is_some() {
        let called = format!("the lumen of {}", layout.called(0));
        found.extend(beside(layout, policy, &called, lumen, &layout.instruments()));
    }
    found.into_iter().max_by_key(|(verdict, ..)| *verdict)
}

/// A joint without an opening has the barrel's own lumen behind it.
fn is_opening(layout: &Layout, end: End) -> bool {
    layout.coupling(end).is_some_and(|it| it.port.is_some())
}

fn beside(
    layout: &Layout,
    policy: &Policy,
    called: &str,
    bore: Option<f64>,
    instruments: &[usize],
) -> Option<(Verdict, Vec<usize>, String)> {
    let gap = policy.way_out_gap_mm.f64();
    let Some(bore) = bore else {
        let sentence = format!("How wide {called} is is not known, through which gas has to leave.");
        return Some((Verdict::NotKnown, Vec::new(), sentence));
    };
    let shaft = |piece: &usize| Some((layout.pieces.get(*piece)?.shaft()?.high.mm(), *piece));
    // What is not known to be narrow is told where its own fit is.
    let widest = instruments.iter().filter_map(shaft).max_by(|a, b| a.0.total_cmp(&b.0));
    let (width, by) = widest.map_or((0.0, None), |(width, piece)| (width, Some(piece)));
    if width + gap <= bore + TOLERANCE_MM {
        return None;
    }
    // Filled is filled; how little is too little there, the site's gap for an opening can only warn of.
    let verdict = if width + TOLERANCE_MM >= bore { Verdict::Stops } else { Verdict::Warns };
    let sentence = match by {
        Some(piece) => format!(
            "{} of {} leaves less than {} beside it in {called} ({}).",
            layout.called(piece),
            mm(width),
            mm(gap),
            mm(bore)
        ),
        None => format!("{called} is {} wide, less than {}.", mm(bore), mm(gap)),
    };
    Some((verdict, by.into_iter().collect(), sentence))
}
