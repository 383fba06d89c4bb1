//! Whether a configuration is what its case asks for: the instruments that are wished for at once lie in the lumen at once.

use std::collections::BTreeSet;

use super::case::Case;
use super::fit::{Check, Rule, Verdict};
use super::fit_layout::Layout;
use super::fit_obvious::is_for;

/// The instrument that stands for each one that the case names, and the names for which there is none.
fn meant(layout: &Layout, case: &Case) -> (Vec<usize>, Vec<String>) {
    let wished = case.wish.as_ref().map(|wish| wish.together.as_slice()).unwrap_or_default();
    let mut free: Vec<usize> = (1..layout.pieces.len())
        .filter(|n| layout.pieces.get(*n).is_some_and(|piece| piece.family().is_instrument()))
        .collect();
    let (mut here, mut lacking) = (Vec::new(), Vec::new());
    for name in wished {
        let is_it = |n: &usize| layout.pieces.get(*n).is_some_and(|piece| is_for(piece.model, name));
        match free.iter().position(is_it) {
            Some(at) => here.push(free.remove(at)),
            None => lacking.push(name.as_str().replace('_', " ")),
        }
    }
    (here, lacking)
}

/// What stands against it, where the case names instruments.
pub fn as_wished(layout: &Layout, case: &Case) -> Vec<Check> {
    let (here, lacking) = meant(layout, case);
    let mut checks = Vec::new();
    if !lacking.is_empty() {
        let sentence =
            format!("Case {} asks for {}, of which there is none here.", case.case, lacking.join(" and "));
        checks.push(Check::of(Rule::Complete, Verdict::Warns, Vec::new(), sentence));
    }
    // A telescope in optical forceps lies where these lie.
    let lies: BTreeSet<usize> = here.iter().map(|n| layout.inside(*n).map_or(*n, |end| end.0)).collect();
    let at_once = |group: &Vec<usize>| lies.iter().all(|piece| group.contains(piece));
    if lies.len() > 1 && !layout.together.iter().any(at_once) {
        let names: Vec<String> = here.iter().map(|n| layout.called(*n)).collect();
        let sentence = format!(
            "Case {} asks for {} in the lumen at once, and here they are in it in turn: whether they lie together is not \
             looked at.",
            case.case,
            names.join(" and ")
        );
        checks.push(Check::of(Rule::Work, Verdict::Fails, here, sentence));
    }
    checks
}
