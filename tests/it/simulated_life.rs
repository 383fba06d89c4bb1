//! The simulated hospital's parts really follow the laws of `simulate/catalogue.rs`, which nobody in it knows: what its
//! ledger says of lives has to find them again.

use fettle::analysis::life::Limits;
use fettle::domain::id::Id;
use fettle::domain::lifetime::Clock;
use fettle::domain::simulate::catalogue::LAWS;

use super::simulate::{Run, plan};

/// One model of one hospital: does each interval hold the truth?
struct Judged {
    scale: bool,
    shape: bool,
    tenth: bool,
}

fn holds(limits: Limits, truth: f64) -> bool {
    limits.low <= truth && limits.high.is_none_or(|high| truth <= high)
}

fn judged(seed: u64, sets: u32, days: i64) -> Vec<Judged> {
    let plan = plan(seed, sets, days);
    let until = plan.until;
    let run = Run::new(plan).finished();
    let mut all = Vec::new();
    for law in LAWS.iter() {
        let Some((shape, scale)) = law.life else { continue };
        let lives = run.state().lives(&Id::new(law.model).expect("an id"), Clock::Cycles, until);
        for piece in &lives.pieces {
            let life = fettle::domain::simulate::catalogue::life(seed, piece.asset.as_str(), law.model)
                .expect("a life");
            println!(
                "PIECE {seed} {} {} {life:.2} {} {} {:?} {:?}",
                law.model,
                piece.asset,
                piece.whole_at,
                piece.age,
                piece.failed.as_ref().map(|it| (it.after, it.by, it.seen)),
                piece.retired
            );
        }
        let Ok(fit) = lives.fit() else { continue };
        // The age by which one in ten has failed, of the true law.
        let tenth = scale * (-(0.9_f64.ln())).powf(1.0 / shape);
        println!(
            "seed {seed} {}: {} of {} failed; scale {scale} in {:?}, shape {shape} in {:?}",
            law.model,
            fit.failures,
            fit.n,
            fit.eta_limits(),
            fit.beta_limits()
        );
        all.push(Judged {
            scale: holds(fit.eta_limits(), scale),
            shape: holds(fit.beta_limits(), shape),
            tenth: holds(fit.b_limits(0.1), tenth),
        });
    }
    all
}

fn share(all: &[Judged], of: fn(&Judged) -> bool) -> f64 {
    all.iter().filter(|it| of(it)).count() as f64 / all.len() as f64
}

/// Hospitals of a year: the true scale, the true shape and the true age of one failure in ten lie in their intervals for
/// at least nine models in ten.
#[test]
fn the_true_laws_lie_in_their_intervals() {
    let all: Vec<Judged> = (0..3).flat_map(|n| judged(101 + n, 6, 330)).collect();
    assert!(all.len() >= 24, "{} models had failures enough", all.len());
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
