//! Who gets what, against every way there is.

use fettle::analysis::assign::{Ask, assign};
use fettle::domain::simulate::chance::Chance;

/// A small house: asks with a time each, and things that each may take at a level.
struct House {
    asks: Vec<Ask>,
    times: Vec<(usize, usize)>,
}

fn overlap(a: (usize, usize), b: (usize, usize)) -> bool {
    a.0 < b.1 && b.0 < a.1
}

fn house(chance: &mut Chance) -> House {
    let (many, things) = (1 + chance.below(5), 1 + chance.below(4));
    let mut times: Vec<(usize, usize)> = (0..many)
        .map(|_| {
            let from = chance.below(8);
            (from, from + 1 + chance.below(5))
        })
        .collect();
    times.sort_unstable();
    let ask = |_| {
        let mut options: Vec<(usize, u8)> = Vec::new();
        for thing in 0..things {
            if chance.happens(0.6) {
                options.insert(chance.below(options.len() + 1), (thing, chance.below(3) as u8));
            }
        }
        Ask { options }
    };
    House { asks: (0..many).map(ask).collect(), times }
}

const NOTHING: u8 = u8::MAX;

/// The levels that every valid assignment comes to; the least of them in the order of the asks.
fn by_brute_force(house: &House) -> Vec<u8> {
    let mut best = vec![NOTHING; house.asks.len()];
    let mut at: Vec<Option<usize>> = Vec::new();
    all_ways(house, &mut at, &mut Vec::new(), &mut best);
    best
}

fn all_ways(house: &House, at: &mut Vec<Option<usize>>, levels: &mut Vec<u8>, best: &mut Vec<u8>) {
    let ask = at.len();
    if ask == house.asks.len() {
        if *levels < *best {
            best.clone_from(levels);
        }
        return;
    }
    for (thing, level) in &house.asks[ask].options {
        let taken =
            (0..ask).any(|other| at[other] == Some(*thing) && overlap(house.times[ask], house.times[other]));
        if !taken {
            at.push(Some(*thing));
            levels.push(*level);
            all_ways(house, at, levels, best);
            at.pop();
            levels.pop();
        }
    }
    at.push(None);
    levels.push(NOTHING);
    all_ways(house, at, levels, best);
    at.pop();
    levels.pop();
}

fn levels(house: &House, at: &[Option<usize>]) -> Vec<u8> {
    let level = |(ask, thing): (&Ask, &Option<usize>)| {
        let of =
            |thing: usize| ask.options.iter().find(|(own, _)| *own == thing).expect("one of its options").1;
        thing.map_or(NOTHING, of)
    };
    house.asks.iter().zip(at).map(level).collect()
}

#[test]
fn two_thousand_small_houses_against_every_way_there_is() {
    let mut chance = Chance::new(11);
    let (mut moved, mut short) = (0, 0);
    for n in 0..2_000 {
        let house = house(&mut chance);
        let clash = |a: usize, b: usize, _: usize| overlap(house.times[a], house.times[b]);
        let found = assign(&house.asks, &clash);
        for a in 0..found.len() {
            for b in 0..a {
                assert!(
                    found[a].is_none() || found[a] != found[b] || !clash(a, b, 0),
                    "house {n}: {found:?}"
                );
            }
        }
        let (ours, best) = (levels(&house, &found), by_brute_force(&house));
        assert_eq!(ours, best, "house {n}: {:?} at {:?}", house.asks, house.times);
        // A greedy hand gives the first that is free: how often is that worse?
        let mut greedy: Vec<Option<usize>> = Vec::new();
        for (ask, it) in house.asks.iter().enumerate() {
            let free =
                |thing: &usize| (0..ask).all(|other| greedy[other] != Some(*thing) || !clash(ask, other, 0));
            let best = it.options.iter().filter(|(thing, _)| free(thing)).min_by_key(|(_, level)| *level);
            greedy.push(best.map(|(thing, _)| *thing));
        }
        moved += u32::from(levels(&house, &greedy) != best);
        short += u32::from(best.contains(&NOTHING));
        // Never worse off for a later one: what the first asks have is the same without the others.
        for until in 0..house.asks.len() {
            let alone = assign(&house.asks[..until], &clash);
            assert_eq!(levels(&house, &alone), ours[..until], "house {n}: the first {until} of {ours:?}");
        }
    }
    assert!(moved > 100 && short > 100, "{moved} houses need a move, {short} are short: too few to tell");
}

#[test]
fn a_large_house_ends_and_gives_everything_away() {
    // Forty asks at once for thirty equal things: thirty have one, the first thirty.
    let asks: Vec<Ask> =
        (0..40).map(|_| Ask { options: (0..30).map(|thing| (thing, 0)).collect() }).collect();
    let found = assign(&asks, &|_, _, _| true);
    assert!(found[..30].iter().all(Option::is_some) && found[30..].iter().all(Option::is_none));
    // A chain in which the last ask finds room only if every other one moves by one.
    let mut asks: Vec<Ask> = (0..30).map(|n| Ask { options: vec![(n, 0), (n + 1, 0)] }).collect();
    asks.push(Ask { options: vec![(0, 0)] });
    let found = assign(&asks, &|_, _, _| true);
    assert_eq!(found[30], Some(0));
    assert!(found[..30].iter().enumerate().all(|(n, thing)| *thing == Some(n + 1)));
}
