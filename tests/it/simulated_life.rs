//! The simulated hospital's parts really follow the laws of `simulate/catalogue.rs`, which nobody in it knows: what its
//! ledger says of lives has to find them again.

use fettle::domain::id::Id;
use fettle::domain::lifetime::{Clock, Lives};
use fettle::domain::simulate::catalogue::{LAWS, life};

use super::simulate::{Run, plan};

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

/// Two hospitals of eleven months: every life that their ledgers tell holds the true one. Whether the fits find the laws is
/// a matter of many hospitals: `cargo bench --bench laws`.
#[test]
fn every_life_holds_the_true_one() {
    for seed in 101..=102 {
        let plan = plan(seed, 6, 330);
        let until = plan.until;
        let run = Run::new(plan).finished();
        let wearing = LAWS.iter().filter(|law| law.life.is_some());
        let of = |model: &str| run.state().lives(&Id::new(model).expect("an id"), Clock::Cycles, until);
        let failures: usize = wearing.map(|law| each_is_true(seed, &of(law.model))).sum();
        assert!(failures > 50, "{failures}");
    }
}
