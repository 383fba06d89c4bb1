//! How long one forecast takes: 40 sets in turn, 30 cases, 1,000 replications, on one core.
//!
//! `cargo bench --bench queue`. The best of several turns counts, since a busy machine only makes it slower.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

use std::hint::black_box;
use std::process::ExitCode;
use std::time::Instant;

use fettle::analysis::queue::{
    Daily, Item, Job, Law, Need, Server, Shop, Start, Station, Unit, Want, forecast,
};

const SETS: usize = 40;
const CASES: usize = 30;
const KINDS: usize = 6;
const REPLICATIONS: u32 = 1_000;
const TURNS: usize = 9;
const MOST_MS: f64 = 150.0;

/// As measured: 33 quantiles around a mean, with a long end.
fn measured(mean_s: f64) -> Law {
    let share = |i: i32| f64::from(i) / 32.0;
    Law::Table((0..33).map(|i| mean_s * (0.4 + share(i) + 2.0 * share(i).powi(8))).collect())
}

/// A department: treated, received, cleaned, washed in one of two machines, inspected, packed, sterilised in one of two
/// ways: the optics of every set go apart from its tray, and are packed with it.
fn department() -> Shop {
    let bench = |job: usize, mean_s: f64| Station {
        servers: vec![Server { does: vec![(job, measured(mean_s))], idle_s: 0.0 }],
        batch: 1,
        gathers: None,
    };
    let machine = |job: usize, many: usize, batch: u32, mean_s: f64| Station {
        servers: vec![Server { does: vec![(job, measured(mean_s))], idle_s: 600.0 }; many],
        batch,
        gathers: Some(Daily(vec![measured(900.0), measured(2_400.0)])),
    };
    let stations = vec![
        bench(0, 300.0),
        bench(1, 240.0),
        bench(2, 700.0),
        machine(3, 2, 4, 3_300.0),
        bench(4, 500.0),
        bench(5, 400.0),
        machine(6, 2, 6, 2_900.0),
        machine(7, 1, 6, 3_000.0),
    ];
    let job = |station: usize| {
        let turned_to = Daily(vec![measured(1_200.0), measured(3_000.0)]);
        let is_bench = !matches!(station, 3 | 6 | 7);
        Job {
            first: is_bench.then(|| turned_to.clone()),
            after: (!is_bench).then(|| Daily::always(measured(200.0))),
            cools_s: if station == 6 { 1_800.0 } else { 0.0 },
            item_back: if station == 4 { 0.03 } else { 0.0 },
            batch_back: if is_bench { 0.0 } else { 0.015 },
            back_to: if station > 5 { 5 } else { 2 },
            straggles: is_bench.then(|| (0.04, measured(7_200.0))),
            joins: station == 5,
            ..Job::plain(station)
        }
    };
    let mut shop = Shop {
        jobs: (0..stations.len()).map(job).collect(),
        stations,
        kept: vec![1; KINDS],
        turnaround_s: 14_400.0,
        day: (0..48).map(|hour| (f64::from(hour) * 3_600.0, usize::from(hour % 24 > 12))).collect(),
        day_parts: 2,
        until_s: 48.0 * 3_600.0,
        ..Shop::default()
    };
    for set in 0..SETS {
        shop.units.push(Unit { kind: set % KINDS, due_s: Some(1_800.0 * set as f64), unfit: false });
        for last in [6, 7] {
            let start = Start::Waiting { step: set % 7, from_s: -60.0 * set as f64 };
            shop.items.push(Item { unit: set, way: vec![0, 1, 2, 3, 4, 5, last], pack: set, start });
        }
    }
    let want = |case: usize| Want {
        start_s: 1_800.0 * (case + 4) as f64,
        lead_s: 2_400.0,
        lasts: measured(4_000.0),
        needs: vec![Need { unit: case.is_multiple_of(2).then_some(case), kind: case % KINDS }],
        takes_reserve: false,
    };
    shop.wants = (0..CASES).map(want).collect();
    shop
}

fn main() -> ExitCode {
    let shop = department();
    let told = forecast(&shop, REPLICATIONS, 1).expect("a forecast");
    let chances: Vec<String> = told.wants.iter().map(|want| format!("{:.2}", want.chance)).collect();
    println!("chances of {CASES} cases: {}", chances.join(" "));
    let turn = |seed: usize| {
        let begun = Instant::now();
        black_box(forecast(&shop, REPLICATIONS, seed as u64).expect("a forecast"));
        begun.elapsed().as_secs_f64() * 1_000.0
    };
    let best = (0..TURNS).map(turn).fold(f64::INFINITY, f64::min);
    println!(
        "{SETS} sets, {CASES} cases, {REPLICATIONS} replications: {best:.1} ms, {MOST_MS} ms are allowed"
    );
    if best <= MOST_MS { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
