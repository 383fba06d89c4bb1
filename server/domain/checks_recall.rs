//! The independent checker of recalls: what relies on a recalled load is held, until somebody answers for it.

use super::affected::relies_on;
use super::state::State;

/// Whatever cannot be true at once about open recalls, in sentences.
pub(super) fn check(state: &State, wrong: &mut Vec<String>) {
    for recall in state.recalls.values().filter(|recall| recall.is_open()) {
        let Some(hold) = state.holds.get(&recall.hold) else {
            wrong.push(format!("recall {}: its hold {} is unknown", recall.recall, recall.hold));
            continue;
        };
        if hold.lifted_at.is_some() {
            continue;
        }
        for load in recall.loads.iter().filter_map(|load| state.loads.get(load)) {
            if load.machine != recall.machine {
                wrong.push(format!("recall {}: load {} is of another machine", recall.recall, load.load));
            }
            for part in &load.contents {
                let Some(asset) = state.assets.get(&part.asset).filter(|asset| asset.turn == part.turn)
                else {
                    continue;
                };
                let held = asset.holds.iter().any(|held| held.hold == recall.hold);
                if !held && !recall.parts.contains_key(&asset.asset) && relies_on(state, asset, load) {
                    wrong.push(format!(
                        "{} relies on load {} of recall {} and is not held",
                        asset.asset, load.load, recall.recall
                    ));
                }
            }
        }
    }
}
