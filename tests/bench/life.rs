//! How long a fit and a curve of a million pieces take, with 500 distinct ages.
//!
//! `cargo bench --bench life`. Each is timed from records as a house has them (an age and whether it failed), and from whole rows;
//! the best of several turns counts, since a busy machine only makes it slower.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[path = "../it/life/sets.rs"]
#[allow(dead_code)]
mod sets;

use std::hint::black_box;
use std::process::ExitCode;
use std::time::Instant;

use fettle::analysis::life::counts::Counts;
use fettle::analysis::life::{Life, Row, kaplan_meier, weibull};

const PIECES: usize = 1_000_000;
const OLDEST: u64 = 500;
const TURNS: usize = 25;
const FIT_MS: f64 = 8.0;
const CURVE_MS: f64 = 4.0;

/// What is known of one piece.
#[derive(Clone, Copy)]
struct Piece {
    cycles: u32,
    failed: bool,
}

impl Piece {
    fn row(self) -> Row {
        let age = f64::from(self.cycles);
        Row { entry: 0.0, lo: age, hi: self.failed.then_some(age), count: 1 }
    }

    fn life(self) -> Life {
        Life { entry: 0.0, exit: f64::from(self.cycles), event: self.failed, count: 1 }
    }
}

/// The best of several turns, in milliseconds.
fn best<T>(mut act: impl FnMut() -> T) -> f64 {
    let turn = |_| {
        let begun = Instant::now();
        black_box(act());
        begun.elapsed().as_secs_f64() * 1000.0
    };
    (0..TURNS).map(turn).fold(f64::INFINITY, f64::min)
}

fn fit(counts: &Counts) -> (f64, f64, Option<f64>) {
    let law = weibull::of_counts(counts).expect("a fit");
    let limits = law.b_limits(0.1);
    (law.b(0.1), limits.low, limits.high)
}

fn main() -> ExitCode {
    let mut random = sets::Random(7);
    let piece = |_| Piece { cycles: 1 + random.below(OLDEST) as u32, failed: random.below(10) == 0 };
    let pieces: Vec<Piece> = (0..PIECES).map(piece).collect();
    let rows: Vec<Row> = pieces.iter().map(|piece| piece.row()).collect();
    let lives: Vec<Life> = pieces.iter().map(|piece| piece.life()).collect();
    let counts = Counts::of_rows(rows.iter().copied()).expect("rows that make sense");
    println!("{} ages, {} failures; B10 and limits: {:?}", counts.ages.len(), counts.failures, fit(&counts));

    let of_pieces = || Counts::of_rows(black_box(&pieces).iter().map(|piece| piece.row())).expect("rows");
    let of_rows = || Counts::of_rows(black_box(&rows).iter().copied()).expect("rows");
    let curve = |lives: Counts| kaplan_meier::of_counts(&lives, None).expect("a curve").steps.len();
    let timed = [
        ("counting records", None, best(of_pieces)),
        ("counting whole rows", None, best(of_rows)),
        ("fit, counted already", None, best(|| weibull::of_counts(&counts).expect("a fit").eta)),
        ("fit and limits of B10, counted already", None, best(|| fit(&counts))),
        ("records: counting, fit, limits of B10", Some(FIT_MS), best(|| fit(&of_pieces()))),
        ("whole rows: counting, fit, limits of B10", Some(FIT_MS), best(|| fit(&of_rows()))),
        (
            "records: curve with limits",
            Some(CURVE_MS),
            best(|| curve(Counts::of_lives(black_box(&pieces).iter().map(|it| it.life())).expect("lives"))),
        ),
        (
            "whole lives: curve with limits",
            Some(CURVE_MS),
            best(|| curve(Counts::of_lives(black_box(&lives).iter().copied()).expect("lives"))),
        ),
    ];
    let mut missed = false;
    for (name, limit, ms) in timed {
        let met = match limit {
            Some(limit) if ms < limit => format!(" (below {limit}): met"),
            Some(limit) => format!(" (below {limit}): MISSED"),
            None => String::new(),
        };
        missed |= limit.is_some_and(|limit| ms >= limit);
        println!("{name}: {ms:.2} ms{met}");
    }
    if missed { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
