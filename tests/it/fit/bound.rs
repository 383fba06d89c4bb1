//! What the bound of the search may cost: in larger houses made at random the bounded search is compared with one that
//! looks at every three sets. Where it says nothing of sets that it left out, both find the same.

use std::collections::BTreeMap;

use fettle::domain::command::Command;
use fettle::domain::fit_house::{BOUND, Bound, House as Candidates};
use fettle::domain::fit_judge::Setting;
use fettle::domain::fit_search::{MOST_SETS, Rank, Search};
use fettle::domain::person::Role::{self, Admin, Charge, Desk, Lead};
use fettle::domain::simulate::Given;
use serde_json::{Value, json};

use super::House;
use super::brute::Dice;

const UNBOUNDED: Bound = Bound { alike: usize::MAX, different: usize::MAX };

/// As [`House::done`], without looking at the whole house after every command: there are thousands.
fn give(house: &mut House, role: Role, command: Value) {
    let told = command.to_string();
    let command = Command::read(command).expect("a command");
    let taken = house.paper.take(&Given { now: house.now, role, command });
    house.now = house.now.plus_s(1);
    assert!(taken.is_ok(), "{told}: {taken:?}");
}

fn models(house: &mut House) {
    let lock = json!([{"end": "head", "system": "lock A"}]);
    house.model(
        "b8",
        "bronchoscope",
        json!({"nominal": 8, "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9", "length_mm": 400}),
        lock,
    );
    house.model("jet", "jet_adapter", json!({}), json!([{"end": "head", "system": "side 9"}]));
    for (n, stack) in [28, 30].iter().enumerate() {
        let size = json!({"stack_height_mm": stack});
        house.model(&format!("h{n}"), "head", size, super::head_ends("lock A"));
    }
    for (n, (shaft, length)) in [("2.7", 436), ("3", 470), ("4", 436), ("5.5", 436)].iter().enumerate() {
        let size = json!({"shaft_diameter_mm": shaft, "length_mm": length});
        house.model(&format!("t{n}"), "telescope", size, json!([]));
    }
    for (n, shaft) in ["1.8", "2.4", "3"].iter().enumerate() {
        let size = json!({"shaft_diameter_mm": shaft, "max_width_mm": "3.1", "length_mm": 470});
        house.model(&format!("f{n}"), "forceps", size, json!([]));
    }
    for (n, french) in [6, 8, 12].iter().enumerate() {
        let size = json!({"french": french, "length_mm": 470});
        house.model(&format!("s{n}"), "suction_tube", size, json!([]));
    }
}

/// A house of many sets, each with a few things of what a case takes; two barrels lie in sets, other cases keep some sets,
/// and the reserve asks for most.
fn large(dice: &mut Dice, sets: usize) -> House {
    let mut house = House::empty();
    models(&mut house);
    let lines = json!([{"line": "any", "quantity": 40, "essential": false}]);
    give(
        &mut house,
        Admin,
        json!({"do": "define_count_sheet", "count_sheet": "sheet", "name": "S", "lines": lines}),
    );
    for n in 0..sets {
        let set = format!("SET-{n:02}");
        give(&mut house, Lead, json!({"do": "build_set", "set": set, "count_sheet": "sheet", "name": set}));
        let mut held: Vec<String> = Vec::new();
        if n < 2 {
            held.push("b8".into());
        }
        for (model, kinds) in [("h", 2), ("t", 4), ("f", 3), ("s", 3)] {
            if dice.below(3) == 0 {
                held.push(format!("{model}{}", dice.below(kinds)));
            }
        }
        if dice.below(3) == 0 || held.is_empty() {
            held.push("jet".into());
        }
        for (at, model) in held.iter().enumerate() {
            let asset = format!("P-{n:02}-{at}");
            give(&mut house, Lead, json!({"do": "add_asset", "asset": asset, "model": model}));
            give(&mut house, Lead, json!({"do": "put_in_set", "set": set, "line": "any", "asset": asset}));
            if dice.below(10) > 0 {
                give(&mut house, Desk, json!({"do": "record_step", "step": "cleaned", "scan": asset}));
            }
        }
    }
    let together = json!({"together": ["telescope", "forceps", "suction_tube"]});
    house.case("K-1", json!({"technique": "jet_open", "configuration": together}));
    for n in 2..5 {
        let case = format!("K-{n}");
        house.case(&case, json!({"start": "2026-03-03T11:00:00+01:00"}));
        let keep = (0..sets / 4).map(|_| dice.below(sets as u64)).collect::<std::collections::BTreeSet<_>>();
        for set in keep {
            let set = format!("SET-{set:02}");
            let kept =
                house.paper.state.cases.values().any(|it| it.promised.iter().any(|id| id.as_str() == set));
            if !kept {
                give(&mut house, Charge, json!({"do": "promise", "case": case, "set": set}));
            }
        }
    }
    let least = sets / 2 + dice.below(sets as u64 / 2);
    give(&mut house, Charge, json!({"do": "set_reserve", "count_sheet": "sheet", "minimum": least}));
    house
}

/// The rank of each barrel's best, and how many sets were not looked at.
fn found(house: &House, bound: Bound) -> (BTreeMap<String, Rank>, usize) {
    let state = &house.paper.state;
    let case = state.cases.get("K-1").expect("a case");
    let mut candidates = Candidates::of(Setting::of_case(state, case, house.now));
    candidates.bound = bound;
    let search = Search::new(&candidates, case.technique.expect("a technique"), case.wish.as_deref());
    let looked = search.best(&candidates.barrels(case.wish.as_deref()), &|_| true);
    let barrel =
        |it: &fettle::domain::fit_search::Ranked| it.layout.pieces[0].id().expect("a barrel").to_string();
    (looked.ranked.iter().map(|it| (barrel(it), it.rank)).collect(), looked.left_out)
}

/// Compares a bound with none over some houses: how often the bound was felt, and how often it cost something.
fn compare(rounds: usize, sets: usize, bound: Bound) -> (usize, usize) {
    let mut dice = Dice(20_261_126 + sets as u64);
    let (mut told, mut worse) = (0, 0);
    for round in 0..rounds {
        let house = large(&mut dice, sets);
        let (all, none) = found(&house, UNBOUNDED);
        assert_eq!(none, 0, "without a bound nothing is left out");
        let (some, left_out) = found(&house, bound);
        for (barrel, rank) in &some {
            assert!(rank >= &all[barrel], "round {round}: nothing is better than the best");
        }
        if left_out == 0 {
            assert_eq!(some, all, "round {round}: nothing is said of sets that were left out");
        }
        told += usize::from(left_out > 0);
        worse += usize::from(some != all);
    }
    (told, worse)
}

/// Three alike are enough, since no more than three sets are opened: this bound costs nothing, ever.
#[test]
fn three_alike_cost_nothing() {
    assert_eq!(compare(40, 30, Bound { alike: MOST_SETS, ..UNBOUNDED }), (0, 0));
}

/// A bound that is felt is told wherever something better may have been left out.
#[test]
fn what_the_bound_may_cost_is_told() {
    let (told, worse) = compare(40, 30, Bound { different: 8, ..BOUND });
    assert!(told > 5 && worse > 0 && worse <= told, "{told} told, {worse} worse");
}

/// The bound itself, in houses of more sets than it looks at: in most of them it is felt and told, and it cost nothing in any.
#[test]
fn the_bound_is_wide_enough_for_a_large_house() {
    let (told, worse) = compare(24, 60, BOUND);
    assert!(told > 0 && worse == 0, "{told} told, {worse} worse");
}

#[test]
fn a_sheet_says_that_not_every_set_was_looked_at() {
    use fettle::domain::fit_search::Looked;
    assert_eq!(Looked::default().told(), "");
    let looked = Looked { left_out: 17, ..Looked::default() };
    assert_eq!(
        looked.told(),
        " Not every set was looked at: 17 that cost others as much or more are left out."
    );
}
