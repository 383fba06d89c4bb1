//! Circles in a circle, against what others found and against other ways to the same numbers.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::f64::consts::{PI, TAU};
use std::process::Command;

use fettle::analysis::packing::{Answer, Fit, Length, Problem, Unanswered, needed};
use fettle::domain::simulate::chance::Chance;
use proptest::prelude::*;
use serde_json::{Value, json};

const SEED: u64 = 19_691_968;

fn mm(mm: f64) -> Length {
    Length::of_mm(mm).expect("a length")
}

fn all(discs_mm: &[f64]) -> Vec<Length> {
    discs_mm.iter().map(|disc| mm(*disc)).collect()
}

fn least(discs_mm: &[f64]) -> (f64, f64) {
    let needed = needed(&all(discs_mm)).unwrap();
    (needed.low_mm, needed.high_mm)
}

fn fit(lumen_mm: f64, clearance_mm: f64, discs: &[Length]) -> Fit {
    Problem { lumen: mm(lumen_mm), clearance: mm(clearance_mm), discs }.fit().unwrap()
}

fn near(found: f64, published: f64, by: f64, what: &str) {
    assert!((found - published).abs() <= by, "{what}: {found}, {published} is needed");
}

/// A placement is looked at as geometry, whatever found it.
fn certify(fit: &Fit, lumen_mm: f64, discs: &[Length]) {
    let placement = fit.placement.expect("a placement");
    assert_eq!(placement.len(), discs.len());
    for (a, disc) in placement.iter().zip(discs) {
        assert!((2.0 * a.r_mm - disc.mm()).abs() < 1e-12, "{a:?} is no disc of {disc:?}");
    }
    let circles: Vec<(f64, f64, f64)> =
        placement.iter().map(|disc| (disc.x_mm, disc.y_mm, disc.r_mm)).collect();
    certify_circles(&circles, lumen_mm);
}

fn certify_circles(circles: &[(f64, f64, f64)], lumen_mm: f64) {
    for (i, (x, y, r)) in circles.iter().enumerate() {
        let through = (x * x + y * y).sqrt() + r - lumen_mm / 2.0;
        assert!(through <= 1e-9, "{circles:?} in {lumen_mm}: {i} stands {through} through the wall");
        for (j, (x2, y2, r2)) in circles.iter().enumerate().skip(i + 1) {
            let over = r + r2 - ((x - x2).powi(2) + (y - y2).powi(2)).sqrt();
            assert!(over <= 1e-9, "{circles:?} in {lumen_mm}: {i} and {j} overlap by {over}");
        }
    }
}

/// Hundredths of a millimetre, or French.
fn diameter(chance: &mut Chance) -> Length {
    if chance.below(4) == 0 {
        Length::of_french(3.0 + chance.below(15) as f64).unwrap()
    } else {
        mm((80 + chance.below(720)) as f64 / 100.0)
    }
}

/// The least circle around n equal ones, in diameters of these: 2 and 1 + 2/√3 by school geometry; 1 + √2, 1 + √(2(1 + 1/√5)),
/// 3 and 3 after R. L. Graham, American Mathematical Monthly 75 (1968), and U. Pirl, Mathematische Nachrichten 40 (1969).
#[test]
fn equal_circles_need_what_was_published() {
    let three = 1.0 + 2.0 / 3.0_f64.sqrt();
    let five = 1.0 + (2.0 * (1.0 + 1.0 / 5.0_f64.sqrt())).sqrt();
    let published = [(2, 2.0), (3, three), (4, 1.0 + 2.0_f64.sqrt()), (5, five), (6, 3.0), (7, 3.0)];
    for (count, ratio) in published {
        for diameter in [1.0, 2.0, 4.37] {
            let (low, high) = least(&vec![diameter; count]);
            near(high, ratio * diameter, 1e-9 * diameter, &format!("{count} of {diameter}"));
            near(low, ratio * diameter, 1e-9 * diameter, &format!("the proof for {count} of {diameter}"));
        }
    }
}

/// The least lumens of sizes that occur in the trade, each found by two other methods than this program's: by halving on the
/// sum of angles, and by numerical optimisation. The last two have no closed form.
#[test]
fn sizes_of_the_trade_need_what_other_methods_found() {
    let french = |french: f64| french / 3.0;
    let found = [
        (vec![5.5, 5.0, french(12.0)], 10.602_51, 1e-5),
        (vec![5.5, 5.0, french(10.0)], 10.5, 1e-9),
        (vec![5.5, 5.0, french(6.0)], 10.5, 1e-9),
        (vec![5.5, french(14.0), 3.0], 10.166_67, 1e-5),
        (vec![5.5, 5.5, 1.0], 11.0, 1e-9),
        (vec![4.0, 3.0, french(8.0)], 7.096_79, 1e-5),
        (vec![2.8, 2.0, french(5.0)], 4.816_54, 1e-5),
        (vec![4.0, 4.0, 4.0], 8.618_80, 1e-5),
        (vec![5.5, 4.0, 3.0, 2.0], 9.5, 1e-9),
        (vec![4.0, 3.0, french(8.0), 2.0], 7.117, 1e-3),
    ];
    for (discs, needed, by) in found {
        near(least(&discs).1, needed, by, &format!("{discs:?}"));
    }
}

/// A child's barrel of nominal 3.5 has an inner diameter of 5.0: 6 Fr passes beside a telescope of 2.8, and 8 Fr does not.
/// And the area is no measure of fit: 5.5 and 4.0 take 64 % of a lumen of 8.5, and need 9.5.
#[test]
fn what_fits_alone_need_not_fit_beside() {
    let beside = |french: f64| fit(5.0, 0.0, &[mm(2.8), Length::of_french(french).unwrap()]);
    assert_eq!(beside(6.0).answer, Answer::Fits);
    near(beside(6.0).spare_mm, 0.2, 1e-12, "6 Fr");
    assert_eq!(beside(8.0).answer, Answer::DoesNotFit);
    assert_eq!(fit(5.0, 0.0, &[Length::of_french(8.0).unwrap()]).answer, Answer::Fits);
    let by_area = fit(8.5, 0.0, &all(&[5.5, 4.0]));
    assert_eq!((by_area.answer, by_area.needed.low_mm), (Answer::DoesNotFit, 9.5));
}

/// French is the outer diameter in thirds of a millimetre, and thirds are not rounded.
#[test]
fn what_is_equal_on_paper_fits() {
    let french = |french: f64| Length::of_french(french).unwrap();
    for n in 1..=60 {
        assert_eq!(french(f64::from(n)) + french(f64::from(60 - n)), mm(20.0));
    }
    let equal: [(f64, f64, Vec<Length>); 5] = [
        (8.5, 0.0, all(&[5.5, 3.0])),
        (3.3, 0.0, all(&[1.1, 2.2])),
        (8.0, 0.0, vec![french(14.0), french(10.0)]),
        (9.0, 0.5, all(&[5.5, 3.0])),
        (0.3, 0.0, all(&[0.1, 0.2])),
    ];
    for (lumen, clearance, discs) in equal {
        let same = fit(lumen, clearance, &discs);
        assert_eq!((same.answer, same.spare_mm), (Answer::Fits, 0.0), "{discs:?} in {lumen}");
        certify(&same, lumen, &discs);
        let almost = fit(lumen - 0.9e-9, clearance, &discs);
        assert_eq!((almost.answer, almost.spare_mm), (Answer::Fits, 0.0), "{discs:?} in almost {lumen}");
        assert_eq!(fit(lumen - 1.1e-9, clearance, &discs).answer, Answer::DoesNotFit, "{discs:?} in less");
    }
}

#[test]
fn none_and_more_than_seven_are_no_question() {
    let count = |count: usize| needed(&vec![mm(1.0); count]);
    assert_eq!(count(0), Err(Unanswered::NoDiscs));
    assert_eq!(count(8), Err(Unanswered::TooMany(8)));
    assert_eq!(count(100).unwrap_err().to_string(), "there are 100 parts; 1 to 7 are needed");
}

/// Another criterion, with neither a gap nor a theorem on tangent circles: with all discs at the wall, each pair is seen from
/// the middle under 2 asin √(r r'/((R − r)(R − r'))), and three fit where these sum to no more than a full turn.
fn lie_within(radius: f64, radii: &[f64]) -> bool {
    let pairs = (0..radii.len()).flat_map(|i| (i + 1..radii.len()).map(move |j| (i, j)));
    let mut sum = 0.0;
    for (i, j) in pairs {
        let (a, b) = (radii[i], radii[j]);
        if radius < a + b {
            return false;
        }
        sum += 2.0 * (a * b / ((radius - a) * (radius - b))).min(1.0).sqrt().asin();
    }
    sum <= if radii.len() == 3 { TAU } else { PI }
}

fn by_angles(radii: &[f64]) -> f64 {
    let (mut low, mut high) = (0.0, 2.0 * radii.iter().sum::<f64>());
    for _ in 0..100 {
        let middle = (low + high) / 2.0;
        if lie_within(middle, radii) { high = middle } else { low = middle }
    }
    2.0 * high
}

#[test]
fn two_and_three_are_as_the_sum_of_angles_says() {
    let mut chance = Chance::new(SEED);
    let mut answers = [0; 2];
    for n in 0..100_000 {
        let discs: Vec<Length> = (0..2 + n % 2).map(|_| diameter(&mut chance)).collect();
        let radii: Vec<f64> = discs.iter().map(|disc| disc.mm() / 2.0).collect();
        let lumen_mm =
            (radii.iter().sum::<f64>() * 2.0 * (0.7 + 0.4 * chance.unit()) * 100.0).round() / 100.0;
        let found = fit(lumen_mm, 0.0, &discs);
        assert_eq!(found.needed.low_mm, found.needed.high_mm);
        if n % 20 < 2 {
            near(found.needed.high_mm, by_angles(&radii), 1e-9, &format!("{discs:?}"));
        }
        if found.spare_mm.abs() > 1e-9 {
            assert_eq!(
                found.answer == Answer::Fits,
                lie_within(lumen_mm / 2.0, &radii),
                "{discs:?} in {lumen_mm}"
            );
        }
        match found.answer {
            Answer::Fits => certify(&found, lumen_mm, &discs),
            Answer::DoesNotFit | Answer::Undecided => assert!(found.placement.is_none()),
        }
        answers[usize::from(found.answer == Answer::Fits)] += 1;
    }
    assert!(answers.iter().all(|count| *count > 20_000), "{answers:?}");
}

/// In a lumen that is just as wide as is needed, where the placement has no room to spare; also of very unequal discs.
#[test]
fn placements_hold_where_nothing_is_to_spare() {
    let mut chance = Chance::new(SEED + 1);
    for n in 0..20_000 {
        let mut discs: Vec<Length> = (0..1 + n % 3).map(|_| diameter(&mut chance)).collect();
        if n % 7 == 0 {
            let tiny = 10.0_f64.powi(-(chance.below(5) as i32));
            discs.iter_mut().skip(1).for_each(|disc| *disc = mm(tiny * (1.0 + chance.below(2) as f64)));
        }
        let lumen_mm = needed(&discs).unwrap().high_mm;
        certify(&fit(lumen_mm, 0.0, &discs), lumen_mm, &discs);
    }
}

#[test]
fn four_to_seven_have_placements_that_hold_and_bounds_in_order() {
    let mut chance = Chance::new(SEED + 2);
    let mut exact = 0;
    for n in 0..1_000 {
        // Fewer of the many: they take longest.
        let count = [4, 4, 4, 5, 4, 4, 5, 4, 6, 4, 5, 4, 4, 5, 4, 6, 4, 5, 4, 7][n % 20];
        let discs: Vec<Length> = (0..count).map(|_| diameter(&mut chance)).collect();
        // Wide enough for all of them in a row, so that they fit.
        let room_mm = discs.iter().map(|disc| disc.mm()).sum::<f64>();
        let found = fit(room_mm, 0.0, &discs);
        let bounds = found.needed;
        certify(&found, room_mm, &discs);
        // The same placement where nothing is to spare: what was spread over the room is drawn together again.
        let by = bounds.high_mm / room_mm;
        let tight: Vec<(f64, f64, f64)> =
            found.placement.unwrap().iter().map(|disc| (disc.x_mm * by, disc.y_mm * by, disc.r_mm)).collect();
        certify_circles(&tight, bounds.high_mm);
        exact += usize::from(bounds.low_mm == bounds.high_mm);
        assert!(bounds.low_mm <= bounds.high_mm + 1e-12, "{bounds:?}");
        let mut widest = discs.clone();
        widest.sort_unstable_by(|a, b| b.cmp(a));
        let three = needed(&widest[..3]).unwrap().low_mm;
        let area = discs.iter().map(|disc| disc.mm() * disc.mm()).sum::<f64>().sqrt();
        assert!(bounds.low_mm >= three - 1e-12 && bounds.low_mm >= area - 1e-9, "{discs:?}: {bounds:?}");
        if bounds.high_mm - bounds.low_mm > 1e-6 && n % 20 == 0 {
            let between = fit((bounds.low_mm + bounds.high_mm) / 2.0, 0.0, &discs);
            assert_eq!((between.answer, between.placement), (Answer::Undecided, None));
            let less = fit(bounds.low_mm - 1e-6, 0.0, &discs);
            assert_eq!((less.answer, less.placement), (Answer::DoesNotFit, None));
        }
    }
    assert!(exact > 100, "{exact}");
}

/// The same discs by scipy's optimiser, from many beginnings: `tests/python/pack.py`.
#[test]
fn another_program_finds_no_much_smaller_lumen_and_none_below_the_proof() {
    let python = std::env::var("FETTLE_TEST_PYTHON")
        .expect("FETTLE_TEST_PYTHON names the test run's Python with tests/requirements.txt; use tests/run");
    let mut chance = Chance::new(SEED + 3);
    let problems: Vec<Vec<Length>> =
        (0..200).map(|n| (0..4 + n % 4).map(|_| diameter(&mut chance)).collect()).collect();
    let folder = tempfile::tempdir().unwrap();
    let listed = folder.path().join("problems.json");
    let told: Vec<Vec<f64>> =
        problems.iter().map(|discs| discs.iter().map(|disc| disc.mm()).collect()).collect();
    std::fs::write(&listed, json!(told).to_string()).unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/pack.py");
    let output = Command::new(&python).arg(script).arg(&listed).output().expect("Python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let theirs: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(theirs.len(), problems.len());
    for (discs, theirs) in problems.iter().zip(&theirs) {
        let (ours, theirs) = (needed(discs).unwrap(), theirs.as_f64().unwrap());
        assert!(ours.high_mm <= theirs * 1.001, "{discs:?}: {ours:?}, scipy found {theirs}");
        assert!(ours.low_mm <= theirs + 1e-7, "{discs:?}: {ours:?}, scipy found {theirs}");
    }
}

/// Up to three discs, of hundredths of a millimetre.
fn few() -> impl Strategy<Value = Vec<f64>> {
    proptest::collection::vec((50_u32..900).prop_map(|n| f64::from(n) / 100.0), 1..=3)
}

proptest! {
    #[test]
    fn a_wider_lumen_or_less_clearance_takes_what_a_narrower_one_does(
        discs in few(), lumen in 500_u32..2500, clearance in 0_u32..200, more in 1_u32..500,
    ) {
        let (discs, of) = (all(&discs), |n: u32| f64::from(n) / 100.0);
        let before = fit(of(lumen), of(clearance), &discs);
        let wider = fit(of(lumen + more), of(clearance), &discs);
        prop_assert!((wider.spare_mm - before.spare_mm - of(more)).abs() < 2e-9);
        prop_assert!(before.answer != Answer::Fits || wider.answer == Answer::Fits);
        let less = fit(of(lumen), of(clearance.saturating_sub(more)), &discs);
        prop_assert!(less.spare_mm >= before.spare_mm - 1e-9);
    }

    #[test]
    fn a_wider_or_a_further_disc_needs_no_less_and_the_order_says_nothing(
        discs in few(), at in 0_usize..3, more in 1_u32..300, extra in 50_u32..900,
    ) {
        let before = least(&discs).1;
        let mut wider = discs.clone();
        let at = at % discs.len();
        wider[at] += f64::from(more) / 100.0;
        prop_assert!(least(&wider).1 >= before - 1e-12);
        let mut turned = discs.clone();
        turned.reverse();
        prop_assert_eq!(least(&turned).1, before);
        if discs.len() < 3 {
            let mut further = discs.clone();
            further.push(f64::from(extra) / 100.0);
            prop_assert!(least(&further).1 >= before - 1e-12);
        }
        prop_assert!(before >= discs.iter().copied().fold(0.0, f64::max));
        prop_assert!(before <= discs.iter().sum::<f64>() + 1e-12);
    }

    /// The same shape at another size.
    #[test]
    fn all_sizes_are_alike(discs in few(), by in 2_u32..40) {
        let by = f64::from(by) / 4.0;
        let larger: Vec<f64> = discs.iter().map(|disc| disc * by).collect();
        prop_assert!((least(&larger).1 - by * least(&discs).1).abs() < 1e-9 * by);
    }
}
