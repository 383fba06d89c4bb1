//! Is nine in ten nine in ten? 500 days of each of four simulated hospitals, one forecast a day, and what became of its cases.
//! One hospital alone is told "9 in 10" of some forty cases in 500 days: by chance alone a forecast that is exactly right is then
//! outside of 86 to 94 % every third time.
//!
//! `cargo bench --bench calibration`; `-- DAYS SETS HOSPITALS` for others than 500 days, 10 sets and 4 hospitals, `usual` for a list
//! that is not tight.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
#[path = "../it/calibration.rs"]
mod calibration;

use std::sync::Mutex;
use std::time::Instant;

use calibration::Tally;
use fettle::domain::simulate::List;

fn share((told, came): (u32, u32)) -> f64 {
    100.0 * f64::from(came) / f64::from(told.max(1))
}

/// Each hospital by itself, as many at once as there are processors.
fn hospitals(many: u64, run: impl Fn(u64) -> Tally + Sync) -> Vec<Tally> {
    let (next, done) = (Mutex::new(1..=many), Mutex::new(Vec::new()));
    let at_once = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..at_once {
            scope.spawn(|| {
                while let Some(seed) = { next.lock().unwrap().next() } {
                    let tally = run(seed);
                    done.lock().unwrap().push((seed, tally));
                }
            });
        }
    });
    let mut all = done.into_inner().unwrap();
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, tally)| tally).collect()
}

fn main() {
    let numbers: Vec<i64> = std::env::args().filter_map(|it| it.parse().ok()).collect();
    let at = |place: usize, usual: i64| numbers.get(place).copied().unwrap_or(usual);
    let (days, sets, many) = (at(0, 500), at(1, 10) as u32, at(2, 4) as u64);
    let list = if std::env::args().any(|it| it == "usual") { List::USUAL } else { List::TIGHT };
    let begun = Instant::now();
    let all = hospitals(many, |seed| calibration::run((seed, sets, list), (120, days), 1_000));
    println!("{many} hospitals of {sets} sets, {days} days each, {:.0} s", begun.elapsed().as_secs_f64());
    let add = |sum: (u32, u32), it: (u32, u32)| (sum.0 + it.0, sum.1 + it.1);
    let ready = all.iter().fold((0, 0), |sum, it| add(sum, it.ready));
    println!("told ready now: {} of {} equipped in time, {:.1} %", ready.1, ready.0, share(ready));
    for tenth in 0..11 {
        let of = all.iter().fold((0, 0), |sum, it| add(sum, it.tenths[tenth]));
        let told = 100.0 * all.iter().map(|it| it.sums[tenth]).sum::<f64>() / f64::from(of.0.max(1));
        println!(
            "told {tenth} in 10 ({told:.1} %): {} of {} equipped in time, {:.1} %",
            of.1,
            of.0,
            share(of)
        );
    }
    let each = all.iter().map(|it| format!("{} of {}", it.tenths[9].1, it.tenths[9].0));
    println!("nine in ten, hospital by hospital: {}", each.collect::<Vec<_>>().join("; "));
    println!("wanted of nine in ten: 86 to 94 %");
}
