//! When a cycle that runs should be over, by how long its machine's programme took lately; and when a part that is on its
//! way should be there, by the site's turnaround.

use super::case::Case;
use super::load::{Load, LoadStatus};
use super::stage::Stage;
use super::state::{Asset, State};
use super::time::Time;

/// So many of the last judged cycles of the programme are looked at, and fewer than the least tell nothing.
const LATELY: usize = 20;
const LEAST: usize = 3;

/// The middle one of the last cycles' lengths, from this load's start; none where it is no longer running or too little
/// is known.
pub fn expected_end(state: &State, load: &Load) -> Option<Time> {
    if load.status != LoadStatus::Running {
        return None;
    }
    let same = |it: &&Load| {
        it.machine == load.machine
            && it.programme.programme == load.programme.programme
            && it.started_at < load.started_at
    };
    let mut past: Vec<&Load> = state.loads.values().map(|it| &**it).filter(same).collect();
    past.sort_by_key(|it| std::cmp::Reverse((it.started_at, it.entry)));
    let lengths = past.iter().filter_map(|it| Some(it.judged.as_ref()?.ended_at.0 - it.started_at.0));
    let mut lengths: Vec<i64> = lengths.filter(|length| *length > 0).take(LATELY).collect();
    lengths.sort_unstable();
    let middle = lengths.get(lengths.len() / 2).filter(|_| lengths.len() >= LEAST)?;
    Some(Time(load.started_at.0 + middle))
}

/// When a part that is not ready should be: when it has cooled, or the site's turnaround after its turn began; after now
/// where nothing was done to it yet. None where it is ready, or where its turn took longer than that and nobody can tell.
pub fn expected_ready(state: &State, asset: &Asset, now: Time) -> Option<Time> {
    let turnaround = i64::from(state.policy.turnaround_minutes);
    if let Some(case) = state.made_for(asset) {
        // It goes to that case alone, and comes back from there.
        return Some(case.end().max(now).plus_minutes(turnaround));
    }
    match asset.stage {
        Stage::Ready if asset.past_date(state, now) => Some(now.plus_minutes(turnaround)),
        Stage::Ready => asset.cooling_until(now),
        Stage::Soiled => Some(now.plus_minutes(turnaround)),
        Stage::Treated
        | Stage::Received
        | Stage::Cleaned
        | Stage::Ultrasonic
        | Stage::Dried
        | Stage::Disinfected
        | Stage::Inspected
        | Stage::Packed => Some(asset.turn_began_at.plus_minutes(turnaround)).filter(|at| *at > now),
        Stage::Issued | Stage::InUse => None,
    }
}

/// When a part comes that comes only after a case begins.
pub fn late(state: &State, case: &Case, asset: &Asset, now: Time) -> Option<Time> {
    if state.made_for(asset).is_some_and(|made| made.case == case.case) {
        return None;
    }
    expected_ready(state, asset, now).filter(|at| *at > case.start.max(now))
}

/// What nothing was done to yet is told without a time, which would move on with the clock.
pub fn expected_late(state: &State, at: Time, now: Time) -> String {
    if at >= now.plus_minutes(i64::from(state.policy.turnaround_minutes)) {
        return "It is expected after the case begins.".into();
    }
    format!("It is expected on {}, after the case begins.", at.told(state.zone))
}
