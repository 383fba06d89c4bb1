//! The simulation of work that waits: against the formulas of queueing theory, and against flows worked out by hand.

mod flow;
mod published;

use fettle::analysis::queue::{Item, Job, Law, Need, Server, Shop, Start, Station, Unit, Want};

/// A station of some equal servers that takes one unit at a time, for one job.
fn bench(servers: usize, job: usize, takes: &Law) -> Station {
    let server = Server { does: vec![(job, takes.clone())], idle_s: 0.0 };
    Station { servers: vec![server; servers], batch: 1, gathers: None }
}

/// A unit of one item that comes to the first place of its way at a moment.
fn comes(shop: &mut Shop, at_s: f64, way: &[usize], due_s: Option<f64>) -> usize {
    let unit = shop.units.len();
    shop.units.push(Unit { kind: 0, due_s, unfit: false });
    let start = Start::Waiting { step: 0, from_s: at_s };
    shop.items.push(Item { unit, way: way.to_vec(), pack: unit, start });
    unit
}

fn shop(stations: Vec<Station>, jobs: Vec<Job>) -> Shop {
    let (kept, day, until_s) = (vec![0], vec![(0.0, 0)], 1e12);
    Shop { stations, jobs, kept, day, day_parts: 1, until_s, ..Shop::default() }
}

fn wants(start_s: f64, lead_s: f64, lasts_s: f64, needs: &[Option<usize>]) -> Want {
    let needs = needs.iter().map(|unit| Need { unit: *unit, kind: 0 }).collect();
    Want { start_s, lead_s, lasts: Law::Fixed(lasts_s), needs, takes_reserve: false }
}
