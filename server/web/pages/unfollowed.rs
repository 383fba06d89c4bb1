//! What still has to follow of emergencies, and what waits too long at the sink, as lists on the board and elsewhere.

use super::handover_open::Item;
use super::say::Say;
use super::shared::{count, segment, time};
use crate::domain::case::Case;
use crate::domain::sink::{self, Late};
use crate::domain::state::{Asset, State};
use crate::domain::time::Time;

/// The emergencies without a patient's reference or needs, the latest first: those can still be asked about.
pub fn items(state: &State, now: Time) -> Vec<Item> {
    let all = state.unfollowed_emergencies();
    let item = |it: &crate::domain::unfollowed::Unfollowed| Item {
        href: format!("/cases/{}", segment(it.case.case.as_str())),
        called: it.case.case.to_string(),
        detail: format!("{} yet", it.lacks()),
        since: time(state, it.case.start, now),
        say: Say::due("emergency, to be followed up"),
        is_new: false,
    };
    all.iter().rev().map(item).collect()
}

/// Which cases lose something by what an emergency has taken out.
pub fn robbed(state: &State, case: &Case) -> Vec<String> {
    let out = case.parts.iter().filter(|(_, part)| part.out && case.emergency);
    let parts: Vec<&Asset> =
        out.filter_map(|(asset, _)| state.assets.get(asset)).map(|asset| &**asset).collect();
    let all = state.robs(case, &parts);
    all.iter().map(|robbed| super::told_case::robbed(robbed).trim().to_string()).collect()
}

/// What should have been cleaned by now, the longest first.
pub fn late_items(state: &State, now: Time) -> Vec<Item> {
    sink::late(state, now).iter().map(|late| late_item(state, late, now)).collect()
}

fn late_item(state: &State, late: &Late, now: Time) -> Item {
    let (href, called) = match &late.set {
        Some(set) => (format!("/sets/{}", segment(set.as_str())), set.to_string()),
        None => (format!("/assets/{}", segment(late.asset.as_str())), late.asset.to_string()),
    };
    let parts = count(late.parts as usize, "part waits", "parts wait");
    Item {
        href,
        called,
        detail: format!("{parts}, the longest {}; {} min are allowed", late.asset, late.limit_minutes),
        since: time(state, late.since, now),
        say: Say::new("due", "stop", "cleaning is late: the delayed way"),
        is_new: false,
    }
}
