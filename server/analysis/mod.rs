//! Numbers in, numbers out: nothing here knows what stands in the house.

pub mod record;
pub mod span;
pub mod phases;
pub mod lethality;
pub mod line;
pub mod steam;
pub mod limits;
pub mod verdict;
pub mod cycle;
pub mod chart;
pub mod chart_rare;
pub mod packing;
pub mod life;
pub mod queue;
pub mod assign;
