//! What is not to be laid out, whatever its sizes say: parts of a configuration that were held, retired, lost, sent away or
//! taken by another case since it was chosen, each with what is ready instead; and such parts that lie in a set which is opened for others.

use super::case::Case;
use super::fit::{Answer, Fit};
use super::fit_lost::why_lost;
use super::id::Id;
use super::replacement::{Replacement, replacements};
use super::scan::{kept_back, pack_kept_back};
use super::setup_sheet::Barred;
use super::state::{Asset, State};
use super::time::Time;

/// Why a part is not to be laid out.
fn why(state: &State, asset: &Asset) -> Option<String> {
    kept_back(state, asset).next().map(|problem| problem.found).or_else(|| pack_kept_back(state, asset))
}

/// The parts of a fit that are not to be laid out for a case that is still to come or goes on.
pub fn barred(state: &State, case: &Case, fit: &Fit, now: Time) -> Vec<Barred> {
    let assets = fit.parts.iter().filter_map(|part| state.assets.get(part.asset.as_ref()?));
    let one = |asset: &std::sync::Arc<Asset>| {
        let why = why(state, asset).or_else(|| why_lost(state, case, asset, now))?;
        let instead = replacements(state, case, asset, now);
        let told: Vec<String> = instead.iter().map(told).collect();
        let ready = match told.is_empty() {
            true => String::new(),
            false => format!(" Ready instead: {}.", told.join("; ")),
        };
        let sentence = format!("Not to be laid out: {why}{ready}");
        Some(Barred { asset: asset.asset.clone(), sentence, instead })
    };
    if case.is_open() { assets.filter_map(one).collect() } else { Vec::new() }
}

fn told(it: &Replacement) -> String {
    let mut words = it.asset.to_string();
    words.extend(it.set.iter().map(|set| format!(" in set {set}")));
    words.extend(it.location.iter().map(|place| format!(", {place}")));
    words.extend(it.kept_for.iter().map(|case| format!(", kept for case {case}")));
    if it.takes_reserve {
        words.push_str(", of the reserve");
    }
    match (it.fit, it.same_model) {
        (Some(Answer::NotKnown), _) => words.push_str(", fit not known"),
        (None, false) => words.push_str(", of another model: compare the sizes"),
        _ => {}
    }
    words
}

/// What lies in the sets that are opened for a configuration, is none of its parts, and is not to be used.
pub fn also_held<'a>(state: &State, sets: impl IntoIterator<Item = &'a Id>, fit: &Fit) -> Vec<String> {
    let mut all = Vec::new();
    for set in sets.into_iter().filter_map(|id| state.sets.get(id)) {
        let members = state
            .members(set)
            .filter(|asset| !fit.parts.iter().any(|part| part.asset.as_ref() == Some(&asset.asset)));
        // What is missing or in repair lies in no set, wherever its seat is.
        let there = members.filter(|asset| !asset.missing && !asset.in_repair && asset.retired.is_none());
        for (asset, why) in there.filter_map(|asset| Some((asset, kept_back(state, asset).next()?.found))) {
            let why = why.strip_prefix(&format!("{} is ", asset.called())).unwrap_or(&why);
            let why = why.trim_end_matches('.');
            all.push(format!("{} also holds {}, {why}: do not use it.", set.set, asset.asset));
        }
    }
    all
}
