//! Whether a part can be had for a case: sterile, in date, cool, on no hold, with life left; or expected in time.

use std::collections::BTreeMap;

use super::asset::missing;
use super::case::Case;
use super::expected::expected_ready;
use super::fit::{Fit, Have, Processing};
use super::id::Id;
use super::scan::{kept_back, pack_kept_back};
use super::state::{Asset, Stage, State};
use super::time::Time;

/// When parts have to be there, and for which case.
#[derive(Clone, Copy, Debug)]
pub struct Needed<'a> {
    pub now: Time,
    pub by: Time,
    pub case: Option<&'a Case>,
}

/// Cycles and uses that the maker's limits leave.
pub fn left(state: &State, asset: &Asset) -> (Option<u32>, Option<u32>) {
    let limits = state.model(&asset.model).map(|model| &model.limits);
    let cycles = limits.and_then(|it| it.max_cycles).map(|most| most.saturating_sub(asset.cycles));
    let uses = limits.and_then(|it| it.max_uses).map(|most| most.saturating_sub(asset.uses));
    (cycles, uses)
}

/// Whether its limits leave nothing: another case would be one too many.
pub fn spent(state: &State, asset: &Asset) -> bool {
    let (cycles, uses) = left(state, asset);
    cycles == Some(0) || uses == Some(0)
}

pub fn processing(state: &State, asset: &Asset, needed: Needed) -> Processing {
    let (mut have, ready_at, mut why) = have(state, asset, needed);
    let (cycles_left, uses_left) = left(state, asset);
    let called = asset.called();
    if cycles_left == Some(0) {
        why.push(format!("{called} has gone through as many cycles as its maker allows."));
    }
    if uses_left == Some(0) {
        why.push(format!("{called} has been used as often as its maker allows."));
    }
    let here = needed.case.and_then(|case| case.parts.get(&asset.asset)).is_some_and(|part| part.out);
    // What is in use already is not taken out of a hand: the limit binds before.
    if spent(state, asset) && !here {
        have = Have::NotReady;
    }
    Processing { have, ready_at, why, cycles_left, uses_left }
}

/// A part on its way: what it is at, and when the site's turnaround brings it back.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct Coming {
    is: String,
    at: Time,
    in_time: bool,
}

impl Coming {
    fn told(&self, called: &str, state: &State) -> String {
        let then = if self.in_time { "in time" } else { "after the case begins" };
        let at = self.at.in_zone(state.zone).format("%-d %B %Y, %H:%M");
        format!(
            "{called} {}; by the site's turnaround of {} minutes it is there on {at}, {then}.",
            self.is, state.policy.turnaround_minutes
        )
    }
}

/// The parts of sets that are on their way, by their places, with one sentence for those of a set that come together.
pub fn coming(state: &State, fit: &Fit, needed: Needed) -> Vec<(Vec<usize>, String)> {
    let mut all: BTreeMap<(&Id, Coming), Vec<usize>> = BTreeMap::new();
    for (place, part) in fit.parts.iter().enumerate() {
        let asset = part.asset.as_ref().and_then(|asset| state.assets.get(asset));
        let coming = asset.and_then(|asset| stands(state, asset, needed).err());
        if let (Some(set), Some(mut coming)) = (&part.set, coming) {
            // What differs by seconds comes together.
            coming.at = Time(coming.at.0 - coming.at.0.rem_euclid(60_000_000));
            all.entry((set, coming)).or_default().push(place);
        }
    }
    let told = |((set, coming), places): ((&Id, Coming), Vec<usize>)| {
        let parts = places.iter().filter_map(|place| fit.parts.get(*place)?.asset.as_ref());
        let names: Vec<&str> = parts.map(Id::as_str).collect();
        let sentence = coming.told(&format!("Set {set} ({})", names.join(", ")), state);
        (places, sentence)
    };
    all.into_iter().map(told).collect()
}

/// Whether a part can be had, when, and what stands in the way.
pub fn have(state: &State, asset: &Asset, needed: Needed) -> (Have, Option<Time>, Vec<String>) {
    stands(state, asset, needed).unwrap_or_else(|coming| {
        let have = if coming.in_time { Have::Expected } else { Have::NotReady };
        (have, Some(coming.at), vec![coming.told(&asset.called(), state)])
    })
}

type Had = (Have, Option<Time>, Vec<String>);

/// Whether a part can be had; the error is that it is on its way.
fn stands(state: &State, asset: &Asset, needed: Needed) -> Result<Had, Coming> {
    let called = asset.called();
    let mut against: Vec<String> = kept_back(state, asset).map(|problem| problem.found).collect();
    if asset.missing {
        against = vec![missing(state, asset).found];
    }
    if !against.is_empty() {
        return Ok((Have::NotReady, None, against));
    }
    let at_case = needed.case.and_then(|case| case.parts.get(&asset.asset));
    if asset.stage.is_out() && at_case.is_some_and(|part| part.out) {
        return Ok((Have::Ready, Some(asset.act_at), Vec::new()));
    }
    if let Some(why) = pack_kept_back(state, asset) {
        return Ok((Have::NotReady, None, vec![why]));
    }
    let minutes = i64::from(state.policy.turnaround_minutes);
    let told = |at: Time| at.told(state.zone);
    match state.made_for(asset) {
        Some(made) if needed.case.is_some_and(|case| case.case == made.case) => {
            let why = format!("{called} is being sterilised for this case, for immediate use.");
            return Ok((Have::Expected, None, vec![why]));
        }
        Some(made) => {
            let at = made.end().max(needed.now).plus_minutes(minutes);
            let is = format!("is being sterilised for case {} alone", made.case);
            return Err(Coming { is, at, in_time: at <= needed.by });
        }
        None => {}
    }
    let past_date = asset.sterile_until.is_some_and(|until| needed.by.date(state.zone) > until);
    if asset.stage == Stage::Ready && !past_date {
        return Ok(match asset.cooling_until(needed.now) {
            None => (Have::Ready, Some(asset.cool_at.unwrap_or(asset.act_at)), Vec::new()),
            Some(cool) if cool <= needed.by => {
                let why = format!("{called} is sterile and cooling until {}.", told(cool));
                (Have::Expected, Some(cool), vec![why])
            }
            Some(cool) => {
                let why = format!("{called} is cooling until {}, after the case begins.", told(cool));
                (Have::NotReady, Some(cool), vec![why])
            }
        });
    }
    let out_at = state.open_cases().find(|case| case.parts.get(&asset.asset).is_some_and(|part| part.out));
    let (from, is) = match (out_at, asset.stage) {
        (Some(case), stage) if stage.is_out() => {
            (case.end().max(needed.now), format!("is out at case {}", case.case))
        }
        (_, Stage::Ready) => (needed.now, "will be past its date when the case begins".to_string()),
        (_, stage) => (needed.now, format!("is {}", stage.words())),
    };
    let at = match out_at {
        None => expected_ready(state, asset, needed.now).unwrap_or_else(|| from.plus_minutes(minutes)),
        Some(_) => from.plus_minutes(minutes),
    };
    Err(Coming { is, at, in_time: at <= needed.by })
}
