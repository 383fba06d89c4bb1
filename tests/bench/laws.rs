//! Whether the ledgers of simulated hospitals find the laws by which their parts really fail.
//!
//! `cargo bench --bench laws -- 20` runs so many hospitals of eleven months (20 unless told), each with its own chance.
//! A model is judged in all of them or in none: by how many failures its true law lets one expect, not by how many there
//! happened to be, and a fit that is refused counts as one that misses. Whoever judges only what failed often finds that
//! it fails often. It ends with a fault where the true scale, shape or age of one failure in ten lies in its 95 % interval
//! in fewer than nine of ten.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

use std::process::ExitCode;
use std::time::Instant;

use fettle::analysis::life::Limits;
use fettle::domain::id::Id;
use fettle::domain::lifetime::{Clock, Lives, Piece};
use fettle::domain::simulate::catalogue::LAWS;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::simulate::{Hospital, List, Plan};
use fettle::domain::state::State;
use fettle::domain::time::Time;

/// Fewer expected failures in a hospital than this say too little for a fit to be asked for.
const EXPECTED: f64 = 8.0;
const DAYS: i64 = 330;
const FIRST_SEED: u64 = 101;

/// One model in one hospital.
struct Found {
    /// How many failures its true law lets one expect at the ages that its parts reached.
    expected: f64,
    failures: u64,
    scale: bool,
    shape: bool,
    tenth: bool,
}

fn holds(limits: Limits, truth: f64) -> bool {
    limits.low <= truth && limits.high.is_none_or(|high| truth <= high)
}

/// The hazard that the parts went through, added up, is what one expects of their failures.
fn expected(lives: &Lives, shape: f64, scale: f64) -> f64 {
    let hazard = |age: u32| (f64::from(age) / scale).powf(shape);
    let end = |piece: &Piece| if piece.failed.is_some() { piece.age } else { piece.whole_at };
    let through = lives.pieces.iter().map(|piece| hazard(end(piece)) - hazard(piece.entry));
    through.sum()
}

fn found(lives: &Lives, (shape, scale): (f64, f64)) -> Found {
    let expected = expected(lives, shape, scale);
    let tenth = scale * (-(0.9_f64.ln())).powf(1.0 / shape);
    match lives.fit() {
        Ok(fit) => Found {
            expected,
            failures: fit.failures,
            scale: holds(fit.eta_limits(), scale),
            shape: holds(fit.beta_limits(), shape),
            tenth: holds(fit.b_limits(0.1), tenth),
        },
        Err(_) => Found { expected, failures: 0, scale: false, shape: false, tenth: false },
    }
}

fn hospital(seed: u64) -> (State, Time) {
    let from = Time::parse("2024-01-08T06:00:00Z").expect("a time");
    let until = from.plus_minutes(DAYS * 24 * 60);
    let zone = chrono_tz::Europe::London;
    let mut hospital =
        Hospital::new(Plan { seed, sets: 6, until, from, zone, keep_record: true, list: List::USUAL });
    let mut paper = Paper::new(Id::new("sim").expect("an id"), zone, from);
    while let Some(given) = hospital.next(&paper.state) {
        let event = paper.take(&given).ok();
        hospital.heard(&given, event.as_ref());
    }
    (paper.state, until)
}

fn main() -> ExitCode {
    let hospitals = std::env::args().filter_map(|it| it.parse::<u64>().ok()).next().unwrap_or(20);
    let begun = Instant::now();
    let wearing: Vec<_> = LAWS.iter().filter_map(|law| Some((law.model, law.life?))).collect();
    let mut all: Vec<Vec<Found>> = wearing.iter().map(|_| Vec::new()).collect();
    for seed in FIRST_SEED..FIRST_SEED + hospitals {
        let (state, until) = hospital(seed);
        for ((model, law), found_of) in wearing.iter().zip(&mut all) {
            let lives = state.lives(&Id::new(model).expect("an id"), Clock::Cycles, until);
            found_of.push(found(&lives, *law));
        }
    }
    let mean = |all: &[Found], of: fn(&Found) -> f64| all.iter().map(of).sum::<f64>() / all.len() as f64;
    let mut judged: Vec<&Found> = Vec::new();
    for ((model, _), found) in wearing.iter().zip(&all) {
        let expected = mean(found, |it| it.expected);
        let is_judged = expected >= EXPECTED;
        let what = if is_judged { "judged" } else { "too few expected" };
        println!(
            "  {model:<10} {expected:6.1} failures expected, {:6.1} found: {what}",
            mean(found, |it| it.failures as f64)
        );
        judged.extend(found.iter().filter(|_| is_judged));
    }
    let mut missed = judged.is_empty();
    for (name, of) in [
        ("scale", (|it| it.scale) as fn(&Found) -> bool),
        ("shape", |it| it.shape),
        ("age of one in ten", |it| it.tenth),
    ] {
        let held = judged.iter().filter(|it| of(it)).count();
        let share = held as f64 / judged.len().max(1) as f64;
        missed |= share < 0.9;
        let met = if share >= 0.9 { "met" } else { "MISSED" };
        println!(
            "{name}: in its interval in {held} of {} ({:.1} %, needed 90): {met}",
            judged.len(),
            share * 100.0
        );
    }
    println!("{hospitals} hospitals in {:.1} s", begun.elapsed().as_secs_f64());
    if missed { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
