//! Is nine in ten nine in ten? 500 days of a simulated hospital, one forecast a day, and what became of its cases.
//!
//! `cargo bench --bench calibration`; `-- DAYS SETS` for others than 500 days and 10 sets, `usual` for a list that is not tight.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
#[path = "../it/calibration.rs"]
mod calibration;

use std::time::Instant;

use fettle::domain::simulate::List;

fn main() {
    let numbers: Vec<i64> = std::env::args().filter_map(|it| it.parse().ok()).collect();
    let days = numbers.first().copied().unwrap_or(500);
    let sets = numbers.get(1).copied().unwrap_or(10) as u32;
    let list = if std::env::args().any(|it| it == "usual") { List::USUAL } else { List::TIGHT };
    let begun = Instant::now();
    let tally = calibration::run((1, sets, list), (120, days), 1_000);
    let share = |(told, came): (u32, u32)| 100.0 * f64::from(came) / f64::from(told.max(1));
    println!("{} days, {sets} sets, {:.0} s", tally.days, begun.elapsed().as_secs_f64());
    println!(
        "told ready now: {} of {} equipped in time, {:.1} %",
        tally.ready.1,
        tally.ready.0,
        share(tally.ready)
    );
    for (tenth, it) in tally.tenths.iter().enumerate() {
        let mean = 100.0 * tally.sums[tenth] / f64::from(it.0.max(1));
        println!(
            "told {tenth} in 10 ({mean:.1} %): {} of {} equipped in time, {:.1} %",
            it.1,
            it.0,
            share(*it)
        );
    }
    println!("wanted of nine in ten: 86 to 94 %");
}
