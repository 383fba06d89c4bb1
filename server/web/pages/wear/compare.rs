//! Whether groups of a model's pieces last alike: by supplier, by way of sterilising, and beside the other models of its
//! family, told as how many failed and how
//! many would have failed if all lasted alike, and only then as a test.

use crate::analysis::life::Life;
use crate::analysis::life::logrank::{FEWEST_EXPECTED, LogRank, holm, logrank};
use crate::domain::outlook::{By, Outlook};
use crate::web::pages::shared::{capital, count, listed};

/// A chance of so little by accident is called a difference; a convention.
const CLEAR: f64 = 0.05;

pub struct Group {
    pub name: String,
    pub pieces: u64,
    pub failed: u64,
    pub expected: String,
    pub ratio: String,
}

pub struct Comparison {
    pub by: &'static str,
    pub said: String,
    pub groups: Vec<Group>,
    pub left_out: String,
}

fn pieces(lives: &[Life]) -> u64 {
    lives.iter().map(|life| life.count).sum()
}

/// How a chance reads.
fn chance(p: f64) -> String {
    match p {
        _ if p < 0.001 => "less than 1 in 1,000".into(),
        _ if p < 0.01 => format!("{:.0} in 1,000", p * 1_000.0),
        _ => format!("{:.0} in 100", p * 100.0),
    }
}

fn said(names: &[String], result: &LogRank, p: f64, by: &str) -> String {
    let worst = (0..names.len()).max_by(|a, b| {
        let ratio = |at: &usize| result.observed[*at] as f64 / result.expected[*at].max(f64::MIN_POSITIVE);
        ratio(a).total_cmp(&ratio(b))
    });
    let worst = worst.map(|at| (&names[at], result.observed[at], result.expected[at]));
    match worst {
        Some((name, observed, expected)) if p < CLEAR => format!(
            "Of {name} {observed} failed where {expected:.0} would have if all lasted alike. Chance alone makes such a difference in \
             {}. That does not say that the {} is the cause: who uses and cleans them may differ too.",
            chance(p),
            by
        ),
        _ => format!(
            "No clear difference by {}: chance alone makes one as great in {}. That does not say that they last alike.",
            by,
            chance(p)
        ),
    }
}

/// The comparison that can be made, before it is corrected for the others.
struct Tried {
    by: &'static str,
    names: Vec<String>,
    lives: Vec<Vec<Life>>,
    left_out: String,
    result: Result<LogRank, String>,
}

fn tried(outlook: &Outlook, by: By) -> Option<Tried> {
    let (groups, untold) = outlook.groups(by);
    if groups.len() < 2 {
        return None;
    }
    let (names, lives): (Vec<String>, Vec<Vec<Life>>) = groups.into_iter().unzip();
    let result = sound(&lives, by.words());
    let left_out = match untold {
        0 => String::new(),
        many => format!(
            "{} of which it is not told.",
            capital(&count(many, "piece is left out", "pieces are left out"))
        ),
    };
    Some(Tried { by: by.words(), names, lives, left_out, result })
}

/// The test, or why it would mean nothing.
fn sound(lives: &[Vec<Life>], by: &str) -> Result<LogRank, String> {
    match logrank(lives) {
        Ok(result) if result.is_sound() => Ok(result),
        Ok(_) => Err(format!(
            "Too few failures to compare by {by}: at least {FEWEST_EXPECTED} would have to be expected in each group."
        )),
        Err(refused) => Err(capital(&refused.said)),
    }
}

/// How models of one family are named as groups.
const BESIDE: &str = "model of the family";

/// The model beside the others of its family. Which of these have enough is judged by the failures to be expected if all
/// lasted alike, never by those that were seen: so nobody is left out for having lasted long.
fn beside_others(outlook: &Outlook, others: &[&Outlook]) -> Option<Tried> {
    let others = others.iter().filter(|it| it.lives.clock == outlook.lives.clock);
    let (mut names, mut lives): (Vec<String>, Vec<Vec<Life>>) = [outlook]
        .into_iter()
        .chain(others.copied())
        .map(|it| (it.lives.model.to_string(), it.lives.to_lives()))
        .filter(|(_, lives)| !lives.is_empty())
        .unzip();
    if lives.len() < 2 {
        return None;
    }
    let mut few = 0;
    if let Ok(first) = logrank(&lives) {
        // The model that is asked for stands first, and stays.
        let enough = |at: &usize| *at == 0 || first.expected[*at] >= FEWEST_EXPECTED;
        let kept: Vec<usize> = (0..lives.len()).filter(enough).collect();
        // With none of the others left, all stay, and the refusal says why.
        if kept.len() > 1 {
            few = lives.len() - kept.len();
            names = kept.iter().map(|at| names[*at].clone()).collect();
            lives = kept.iter().map(|at| lives[*at].clone()).collect();
        }
    }
    let left_out = match few {
        0 => String::new(),
        few => format!(
            "{} because too few failures are to be expected of them.",
            capital(&count(few, "model is left out", "models are left out"))
        ),
    };
    let result = sound(&lives, BESIDE);
    Some(Tried { by: BESIDE, names, lives, left_out, result })
}

/// By supplier, by way of sterilising, and beside the other models of the family; one correction for all of them.
pub fn comparisons(outlook: &Outlook, others: &[&Outlook]) -> Vec<Comparison> {
    let within = By::ALL.into_iter().filter_map(|by| tried(outlook, by));
    let tried: Vec<Tried> = within.chain(beside_others(outlook, others)).collect();
    let ps: Vec<f64> = tried.iter().filter_map(|it| it.result.as_ref().ok().map(|result| result.p)).collect();
    let mut corrected = holm(&ps).into_iter();
    let each = tried.into_iter().map(|it| {
        let p = it.result.as_ref().ok().and_then(|_| corrected.next());
        let group = |at: usize| {
            let result = it.result.as_ref().ok();
            let expected = result.map(|result| result.expected[at]);
            let failed = it.lives[at].iter().filter(|life| life.event).map(|life| life.count).sum();
            Group {
                name: it.names[at].clone(),
                pieces: pieces(&it.lives[at]),
                failed,
                expected: expected.map(|expected| format!("{expected:.1}")).unwrap_or_default(),
                ratio: expected
                    .map(|expected| format!("{:.1}", failed as f64 / expected))
                    .unwrap_or_default(),
            }
        };
        Comparison {
            by: it.by,
            said: match (&it.result, p) {
                (Ok(result), Some(p)) => said(&it.names, result, p, it.by),
                (Err(refused), _) => refused.clone(),
                (Ok(_), None) => String::new(),
            },
            groups: (0..it.names.len()).map(group).collect(),
            left_out: it.left_out,
        }
    });
    each.collect()
}

/// "by supplier and by way of sterilising".
pub fn not_compared(made: &[Comparison]) -> String {
    let missing: Vec<String> = By::ALL
        .iter()
        .map(|by| by.words())
        .filter(|words| made.iter().all(|it| it.by != *words))
        .map(|words| format!("by {words}"))
        .collect();
    listed(&missing)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_told_as_a_count() {
        assert_eq!(chance(0.0002), "less than 1 in 1,000");
        assert_eq!((chance(0.004), chance(0.23)), ("4 in 1,000".into(), "23 in 100".into()));
    }

    #[test]
    fn the_group_with_more_than_its_share_is_named() {
        let result =
            LogRank { chisq: 9.0, df: 1, p: 0.0027, observed: vec![4, 17], expected: vec![10.4, 10.6] };
        let names = ["Alpha".to_string(), "Beta".to_string()];
        let clear = said(&names, &result, 0.0027, By::Supplier.words());
        assert!(
            clear.starts_with("Of Beta 17 failed where 11 would have") && clear.contains("3 in 1,000"),
            "{clear}"
        );
        assert!(said(&names, &result, 0.3, BESIDE).starts_with("No clear difference by model of the family"));
    }
}
