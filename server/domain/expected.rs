//! When a cycle that runs should be over, by how long its machine's programme took lately.

use super::load::{Load, LoadStatus};
use super::state::State;
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
