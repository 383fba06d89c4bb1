//! Whether a shop can be run at all.

use super::{Daily, Item, Job, Law, Shop, Start, Station, Want};

/// Why there is no forecast.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unusable {
    /// Something names a station, a job, a unit, a server or a kind that is not there.
    NotThere,
    /// A time or a chance is no number, a duration is negative, or an order is broken.
    NoNumber,
}

/// # Errors
/// Where the numbers describe nothing that could run.
pub fn check(shop: &Shop) -> Result<(), Unusable> {
    let item = |it: &Item| {
        let step = match it.start {
            Start::Waiting { step, .. } => step <= it.way.len(),
            Start::InHand { step, server, .. } => {
                let job = it.way.get(step).and_then(|job| shop.jobs.get(*job));
                job.and_then(|job| shop.stations.get(job.station)).is_some_and(|at| server < at.servers.len())
            }
            Start::Undecided { step, .. } => step < it.way.len(),
            Start::Away => true,
        };
        step && it.unit < shop.units.len() && it.way.iter().all(|job| *job < shop.jobs.len())
    };
    let is_there = |want: usize, need: Option<usize>| {
        shop.wants.get(want).is_some_and(|want| need.is_none_or(|need| need < want.needs.len()))
    };
    let mut needs = shop.wants.iter().flat_map(|want| &want.needs);
    let there = shop.items.iter().all(item)
        && shop.units.iter().all(|unit| unit.kind < shop.kept.len())
        && shop.jobs.iter().all(|job| job.station < shop.stations.len())
        && shop
            .stations
            .iter()
            .flat_map(|it| &it.servers)
            .flat_map(|it| &it.does)
            .all(|(job, _)| *job < shop.jobs.len())
        && shop.groups.iter().flatten().all(|(want, need)| is_there(*want, *need))
        && needs.all(|it| it.kind < shop.kept.len() && it.unit.is_none_or(|unit| unit < shop.units.len()));
    if !there {
        return Err(Unusable::NotThere);
    }
    let parts = shop.day_parts;
    let day = !shop.day.is_empty()
        && shop.day.iter().all(|(from, part)| from.is_finite() && *part < parts)
        && shop.day.is_sorted_by(|a, b| a.0 < b.0);
    let numbers = day
        && shop.stations.iter().all(|it| station(it, parts))
        && shop.jobs.iter().all(|it| job(it, parts))
        && shop.items.iter().all(|it| start(it.start))
        && shop.units.iter().all(|it| it.due_s.is_none_or(f64::is_finite))
        && shop.wants.iter().all(want)
        && shop.wants.is_sorted_by(|a, b| a.start_s <= b.start_s)
        && lasting(shop.turnaround_s)
        && shop.until_s.is_finite();
    if numbers { Ok(()) } else { Err(Unusable::NoNumber) }
}

fn lasting(seconds: f64) -> bool {
    seconds.is_finite() && seconds >= 0.0
}

fn chance(chance: f64) -> bool {
    (0.0..=1.0).contains(&chance)
}

fn daily(laws: Option<&Daily>, parts: usize) -> bool {
    laws.is_none_or(|laws| laws.is_usable(parts))
}

fn station(it: &Station, parts: usize) -> bool {
    let servers = it
        .servers
        .iter()
        .all(|server| lasting(server.idle_s) && server.does.iter().all(|(_, law)| law.is_usable()));
    servers && it.batch > 0 && daily(it.gathers.as_ref(), parts)
}

fn job(it: &Job, parts: usize) -> bool {
    // What always goes back would go round for ever.
    let straggles = it.straggles.as_ref().is_none_or(|(share, law)| chance(*share) && Law::is_usable(law));
    daily(it.first.as_ref(), parts)
        && daily(it.after.as_ref(), parts)
        && lasting(it.cools_s)
        && (0.0..1.0).contains(&it.item_back)
        && (0.0..1.0).contains(&it.batch_back)
        && straggles
}

fn start(it: Start) -> bool {
    match it {
        Start::Waiting { from_s, .. } => from_s.is_finite(),
        Start::InHand { taken_s, .. } | Start::Undecided { taken_s, .. } => lasting(taken_s),
        Start::Away => true,
    }
}

fn want(it: &Want) -> bool {
    it.start_s.is_finite() && lasting(it.lead_s) && it.lasts.is_usable()
}
