//! How many questions whether discs lie side by side in a lumen one core answers in a second.
//!
//! `cargo bench --bench fit`. Every answer goes into a sum that is printed, so that none is left out.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

use std::time::Instant;

use fettle::analysis::packing::{Answer, Length, Problem};

/// Checks of three discs that one core must answer in a second.
const LEAST: f64 = 1_000_000.0;
const TURNS: usize = 5;

fn mm(mm: f64) -> Length {
    Length::of_mm(mm).expect("a length")
}

/// Seconds and how many fit, of so many problems of so many discs that differ from each other.
fn turn(problems: u32, discs: usize) -> (f64, u32) {
    let sizes: Vec<Length> = (0..997).map(|n| mm(1.0 + f64::from(n * 389 % 997) / 200.0)).collect();
    let begun = Instant::now();
    let mut fit = 0;
    let mut at = 0;
    for n in 0..problems {
        at = if at + discs + 1 > sizes.len() { 0 } else { at + 1 };
        let lumen = mm(6.0 + f64::from(n % 700) / 100.0);
        let problem = Problem { lumen, clearance: mm(0.2), discs: &sizes[at..at + discs] };
        let (answer, _) = std::hint::black_box(problem).answer().expect("one to seven");
        fit += u32::from(answer == Answer::Fits);
    }
    (begun.elapsed().as_secs_f64(), fit)
}

fn main() {
    for (problems, discs) in [(3_000_000, 2), (3_000_000, 3), (300, 4), (200, 5), (100, 6), (50, 7)] {
        let turns: Vec<(f64, u32)> = (0..TURNS).map(|_| turn(problems, discs)).collect();
        let best_s = turns.iter().map(|turn| turn.0).fold(f64::INFINITY, f64::min);
        let per_second = f64::from(problems) / best_s;
        let met = match discs {
            3 if per_second >= LEAST => format!(" (at least {LEAST:.0}): met"),
            3 => format!(" (at least {LEAST:.0}): MISSED"),
            _ => String::new(),
        };
        println!(
            "{discs} discs: {per_second:.0} checks a second on one core{met}; {} of {problems} fit",
            turns[0].1
        );
    }
}
