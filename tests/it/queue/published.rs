//! Waiting times of textbook queues. The formulas are from memory: M/M/1, M/D/1 and M/M/c as in Kleinrock, "Queueing
//! Systems", volume 1 (1975), chapters 3 and 5; an exceptional first service as in Welch, "On a generalized M/G/1
//! queuing process in which the first customer of each busy period receives exceptional service", Operations Research 12
//! (1964); Little, "A proof for the queuing formula L = λW", Operations Research 9 (1961).

use fettle::analysis::queue::{Daily, Job, Law, Run, Station, once};
use fettle::domain::simulate::chance::Chance;

use super::{bench, comes, shop};

const UNITS: usize = 120_000;
/// What came while the queue was still filling is left out.
const WARM: usize = 2_000;
const GROUPS: usize = 58;
/// Student's t for 57 degrees of freedom, two-sided 99 % (from memory; it lies between 2.66 of 60 and 2.70 of 40).
const T99: f64 = 2.665;

struct Arrivals {
    at_s: Vec<f64>,
    run: Run,
}

/// Units that come at random (Poisson) to one station.
fn run(station: Station, job: Job, rate: f64, seed: u64) -> Arrivals {
    let mut shop = shop(vec![station], vec![job]);
    let (mut chance, mut at) = (Chance::new(seed), 0.0);
    let mut at_s = Vec::new();
    for _ in 0..UNITS {
        at -= (1.0 - chance.unit()).ln() / rate;
        comes(&mut shop, at, &[0], None);
        at_s.push(at);
    }
    Arrivals { at_s, run: once(&shop, seed).unwrap() }
}

/// The mean wait with its 99 % interval, by means of groups that follow each other.
fn waits(of: &Arrivals) -> (f64, f64) {
    let waits: Vec<f64> = (WARM..UNITS).map(|unit| of.run.unit(unit).waited_s).collect();
    let groups = waits.chunks_exact(waits.len() / GROUPS);
    let means: Vec<f64> = groups.map(|group| group.iter().sum::<f64>() / group.len() as f64).collect();
    let n = means.len() as f64;
    let mean = means.iter().sum::<f64>() / n;
    let spread = means.iter().map(|it| (it - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean, T99 * (spread / n).sqrt())
}

#[track_caller]
fn agrees(of: &Arrivals, wanted: f64, what: &str) {
    let (mean, half) = waits(of);
    assert!(half < 0.15 * wanted, "{what}: an interval of ±{half} around {mean} says too little of {wanted}");
    assert!((mean - wanted).abs() <= half, "{what}: found {mean} ± {half}, the formula gives {wanted}");
}

#[test]
fn one_server_at_random() {
    for (rate, seed) in [(0.5, 1), (0.7, 2), (0.8, 3)] {
        let law = Law::Exponential(1.0);
        // ρ / (μ - λ)
        agrees(&run(bench(1, 0, &law), Job::plain(0), rate, seed), rate / (1.0 - rate), "M/M/1");
    }
}

#[test]
fn one_server_of_fixed_length() {
    for (rate, seed) in [(0.5, 4), (0.8, 5)] {
        let law = Law::Fixed(1.0);
        // ρ / (2 μ (1 - ρ)), after Pollaczek and Khinchine.
        agrees(&run(bench(1, 0, &law), Job::plain(0), rate, seed), rate / (2.0 * (1.0 - rate)), "M/D/1");
    }
}

#[test]
fn one_server_as_it_was_measured() {
    // A table of three quantiles: evenly from 0 to 1 for one half, from 1 to 4 for the other. Mean 1.5; the second
    // moment is half of 1/3 and half of (4³ - 1³) / (3 · 3) = 7.
    let law = Law::Table(vec![0.0, 1.0, 4.0].into());
    assert!((law.mean() - 1.5).abs() < 1e-12);
    let (rate, second) = (0.5, 0.5 / 3.0 + 3.5);
    let wanted = rate * second / (2.0 * (1.0 - rate * 1.5));
    agrees(&run(bench(1, 0, &law), Job::plain(0), rate, 6), wanted, "M/G/1");
}

/// Erlang's second formula: the chance that all servers are busy.
fn erlang_c(servers: u32, offered: f64) -> f64 {
    let term = |n: u32| (1..=n).fold(1.0, |product, i| product * offered / f64::from(i));
    let all = term(servers) * f64::from(servers) / (f64::from(servers) - offered);
    all / ((0..servers).map(term).sum::<f64>() + all)
}

#[test]
fn several_servers_at_random() {
    // A number to hold the formula itself against: two servers with one erlang wait in 1 of 3 (Kleinrock, from memory).
    assert!((erlang_c(2, 1.0) - 1.0 / 3.0).abs() < 1e-12);
    for (servers, rate, seed) in [(2, 1.6, 7), (3, 2.4, 8), (5, 4.0, 9)] {
        let law = Law::Exponential(1.0);
        let wanted = erlang_c(servers, rate) / (f64::from(servers) - rate);
        agrees(&run(bench(servers as usize, 0, &law), Job::plain(0), rate, seed), wanted, "M/M/c");
    }
}

#[test]
fn hands_that_turn_to_a_bench_first() {
    // The first of each busy time takes 3, every other one 1. By arrivals that see averages, the wait is that of what
    // is in hand and of the queue: λ (P₀ E[S₀²] + (1 - P₀) E[S²]) / (2 (1 - λ E[S])), with the chance of an idle bench
    // P₀ = (1 - λ E[S]) / (1 - λ E[S] + λ E[S₀]).
    let (rate, first, other) = (0.6, 3.0, 1.0);
    let idle = (1.0 - rate * other) / (1.0 - rate * other + rate * first);
    let seconds = idle * first * first + (1.0 - idle) * 1.0;
    let wanted = rate * seconds / (2.0 * (1.0 - rate * other));
    let job = Job { first: Some(Daily::always(Law::Fixed(first))), ..Job::plain(0) };
    agrees(&run(bench(1, 0, &Law::Fixed(other)), job, rate, 10), wanted, "M/G/1 with a first service");
}

#[test]
fn what_is_there_is_what_comes_times_how_long_it_stays() {
    let rate = 0.7;
    let of = run(bench(1, 0, &Law::Exponential(1.0)), Job::plain(0), rate, 11);
    let gone: Vec<f64> = (0..UNITS).map(|unit| of.run.unit(unit).ready_s.unwrap()).collect();
    let (from, to) = (of.at_s[WARM], of.at_s[UNITS - WARM]);
    // How many are there is counted at moments, how long each stays is measured: two ways to the same.
    let moments = 20_000;
    let here =
        |at: f64| of.at_s.partition_point(|came| *came <= at) - gone.partition_point(|left| *left <= at);
    let there = (0..moments).map(|i| here(from + (to - from) * f64::from(i) / f64::from(moments)) as f64);
    let mean_there = there.sum::<f64>() / f64::from(moments);
    let inside = WARM..UNITS - WARM;
    let stays: f64 = inside.clone().map(|unit| gone[unit] - of.at_s[unit]).sum();
    let (per_s, stay) = (inside.len() as f64 / (to - from), stays / inside.len() as f64);
    assert!(
        (mean_there - per_s * stay).abs() < 0.02 * mean_there,
        "{mean_there} is not {per_s} times {stay}"
    );
    // And both are ρ / (1 - ρ) of the formula, as far as so many arrivals tell.
    assert!((mean_there - rate / (1.0 - rate)).abs() < 0.1 * mean_there);
}

#[test]
fn what_goes_back_comes_through_in_the_end() {
    // Each time around 1 of 4 goes back: one takes 1 / (1 - p) rounds on average, with variance p / (1 - p)² (geometric).
    let job = Job { item_back: 0.25, ..Job::plain(0) };
    let mut shop = shop(vec![bench(4_000, 0, &Law::Fixed(1.0))], vec![job]);
    for _ in 0..4_000 {
        comes(&mut shop, 0.0, &[0], None);
    }
    let run = once(&shop, 12).unwrap();
    let mean = (0..4_000).map(|unit| run.unit(unit).ready_s.unwrap()).sum::<f64>() / 4_000.0;
    let half = 2.576 * (0.25f64 / 0.75f64.powi(2) / 4_000.0).sqrt();
    assert!((mean - 4.0 / 3.0).abs() <= half, "found {mean} ± {half}");
}
