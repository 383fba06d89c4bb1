//! The simulated hospital's parts really follow the laws of `simulate/catalogue.rs`, which nobody in it knows: what its
//! ledger says of lives has to find them again.

use fettle::analysis::life::Limits;
use fettle::domain::id::Id;
use fettle::domain::lifetime::{Clock, Lives};
use fettle::domain::simulate::catalogue::{LAWS, life};

use super::simulate::{Run, plan};

/// A model with fewer failures is judged only because it happened to fail often: its intervals are not those of all.
const ENOUGH: u64 = 10;

/// One model of one hospital: does each interval hold the truth?
struct Judged {
    scale: bool,
    shape: bool,
    tenth: bool,
}

fn holds(limits: Limits, truth: f64) -> bool {
    limits.low <= truth && limits.high.is_none_or(|high| truth <= high)
}

/// Every life that the ledger tells holds the true one: it failed within its interval, or was whole so long.
fn each_is_true(seed: u64, lives: &Lives) -> usize {
    let mut failures = 0;
    for piece in &lives.pieces {
        let truth = life(seed, piece.asset.as_str(), lives.model.as_str()).expect("a life");
        match &piece.failed {
            Some(failed) => {
                failures += 1;
                // What is found at an age in whole cycles happened in the cycle that led to it.
                let after = if failed.exact { failed.by.saturating_sub(1) } else { failed.after };
                assert!(f64::from(after) <= truth && truth <= f64::from(failed.by), "{piece:?}: {truth}");
            }
            None => assert!(
                piece.whole_at == piece.entry || f64::from(piece.whole_at) < truth,
                "{piece:?}: {truth}"
            ),
        }
    }
    failures
}

fn judged(seed: u64) -> Vec<Judged> {
    let plan = plan(seed, 6, 330);
    let until = plan.until;
    let run = Run::new(plan).finished();
    let mut all = Vec::new();
    let mut failures = 0;
    for law in LAWS.iter() {
        let Some((shape, scale)) = law.life else { continue };
        let lives = run.state().lives(&Id::new(law.model).expect("an id"), Clock::Cycles, until);
        failures += each_is_true(seed, &lives);
        let Ok(fit) = lives.fit() else { continue };
        if fit.failures < ENOUGH {
            continue;
        }
        // The age by which one in ten has failed, of the true law.
        let tenth = scale * (-(0.9_f64.ln())).powf(1.0 / shape);
        all.push(Judged {
            scale: holds(fit.eta_limits(), scale),
            shape: holds(fit.beta_limits(), shape),
            tenth: holds(fit.b_limits(0.1), tenth),
        });
    }
    assert!(failures > 50, "{failures}");
    all
}

fn share(all: &[Judged], of: fn(&Judged) -> bool) -> f64 {
    all.iter().filter(|it| of(it)).count() as f64 / all.len() as f64
}

/// Two hospitals of eleven months: every life that their ledgers tell holds the true one.
#[test]
fn every_life_holds_the_true_one() {
    let all: Vec<Judged> = (101..=102).flat_map(judged).collect();
    assert!(!all.is_empty());
}

/// Twenty hospitals of eleven months, run by name: the true scale, the true shape and the true age of one failure in ten lie in their
/// intervals for at least nine models in ten.
#[test]
#[ignore = "takes minutes: twenty hospitals"]
fn the_true_laws_lie_in_their_intervals() {
    let all: Vec<Judged> = (101..=120).flat_map(judged).collect();
    assert!(all.len() >= 60, "{} models had failures enough", all.len());
    for (name, of) in [
        ("scale", (|it| it.scale) as fn(&Judged) -> bool),
        ("shape", |it| it.shape),
        ("tenth", |it| it.tenth),
    ] {
        let share = share(&all, of);
        println!("{name}: {share:.3} of {}", all.len());
        assert!(share >= 0.9, "{name}: {share}");
    }
}
