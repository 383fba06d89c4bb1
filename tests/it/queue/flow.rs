//! Flows without chance, worked out by hand, and what must hold of any flow.

use fettle::analysis::queue::{
    Daily, Item, Job, Law, Server, Shop, Start, Station, Unit, Unusable, forecast, once,
};

use super::{bench, comes, shop, wants};

/// A bench of one pair of hands, 600 s each; a machine that takes two at once for 1,800 s, begun 300 s after something
/// waits for it; a decision of 120 s, in the 600 s in which it cools.
fn house() -> Shop {
    let machine = Station {
        servers: vec![Server { does: vec![(1, Law::Fixed(1_800.0))], idle_s: 0.0 }],
        batch: 2,
        gathers: Some(Daily::always(Law::Fixed(300.0))),
    };
    let cycle = Job { after: Some(Daily::always(Law::Fixed(120.0))), cools_s: 600.0, ..Job::plain(1) };
    let mut shop = shop(vec![bench(1, 0, &Law::Fixed(600.0)), machine], vec![Job::plain(0), cycle]);
    // The last to come is needed first.
    comes(&mut shop, 0.0, &[0, 1], Some(3_000.0));
    comes(&mut shop, 0.0, &[0, 1], Some(2_000.0));
    comes(&mut shop, 0.0, &[0, 1], Some(1_000.0));
    shop
}

#[test]
fn a_flow_by_hand() {
    // At the bench: unit 2 until 600, unit 1 until 1,200, unit 0 until 1,800. The machine is begun at 900 with unit 2
    // alone, and done at 2,700: ready at 3,300. Both others wait then; begun at 3,000, done at 4,800: ready at 5,400.
    let run = once(&house(), 1).unwrap();
    let ready: Vec<Option<f64>> = (0..3).map(|unit| run.unit(unit).ready_s).collect();
    assert_eq!(ready, [Some(5_400.0), Some(5_400.0), Some(3_300.0)]);
    assert_eq!(run.unit(0).waited_s, 1_200.0 + 1_200.0);
    assert_eq!(run.unit(1).waited_s, 600.0 + 1_800.0);
    assert!((0..3).all(|unit| run.unit(unit).held_up_at == Some(1)));
}

#[test]
fn what_is_taken_comes_back_and_what_is_kept_is_kept() {
    // The first want takes unit 2 at 3,600 and gives it back at 5,000: bench until 5,600, machine from 5,900 to 7,700,
    // ready again at 8,300. One is kept back: of the two that are ready at 8,230 the second want takes one, and has both
    // at 8,300, which is 20 s late.
    let mut shop = house();
    shop.kept = vec![1];
    shop.wants =
        vec![wants(4_000.0, 400.0, 1_000.0, &[None]), wants(8_300.0 - 20.0, 50.0, 60.0, &[None, None])];
    let run = once(&shop, 1).unwrap();
    // Nothing but the one that is kept back is there at 3,600: it waits for the next.
    assert_eq!(run.want(0).complete_s, Some(5_400.0));
    shop.wants[0].takes_reserve = true;
    let run = once(&shop, 1).unwrap();
    assert_eq!((run.want(0).complete_s, run.want(0).ready_s), (Some(3_600.0), Some(3_300.0)));
    assert_eq!(run.want(1).complete_s, Some(8_300.0));
    let told = forecast(&shop, 10, 1).unwrap();
    assert_eq!((told.wants[0].chance, told.wants[1].chance), (1.0, 0.0));
    assert_eq!((told.wants[1].lacks, told.wants[1].held_up_at), (Some(1), Some(1)));
    shop.wants[1].start_s = 8_300.0;
    assert_eq!(forecast(&shop, 10, 1).unwrap().wants[1].chance, 1.0);
}

#[test]
fn what_is_named_for_one_is_not_given_to_another() {
    let mut shop = house();
    shop.turnaround_s = 3_600.0;
    // The earlier want has no name on any; units 2, the first that is ready, is named for the later one.
    shop.wants = vec![wants(5_000.0, 600.0, 100.0, &[None]), wants(6_000.0, 600.0, 100.0, &[Some(2)])];
    let run = once(&shop, 1).unwrap();
    assert_eq!(run.want(0).complete_s, Some(5_400.0));
    assert_eq!(run.want(1).complete_s, Some(5_400.0));
    // A day later it is back long before: the earlier one has it meanwhile.
    (shop.wants[1].start_s, shop.until_s) = (90_000.0, 100_000.0);
    assert_eq!(once(&shop, 1).unwrap().want(0).complete_s, Some(4_400.0));
}

#[test]
fn a_pack_waits_for_its_last_item() {
    // Two items of one unit: one has to go through a slow bench first. Packed together, then one goes on.
    let benches =
        vec![bench(1, 0, &Law::Fixed(900.0)), bench(1, 1, &Law::Fixed(60.0)), bench(1, 2, &Law::Fixed(10.0))];
    let packs = Job { joins: true, ..Job::plain(1) };
    let mut shop = shop(benches, vec![Job::plain(0), packs, Job::plain(2)]);
    shop.units.push(Unit { kind: 0, due_s: None, unfit: false });
    let start = Start::Waiting { step: 0, from_s: 0.0 };
    for way in [vec![0, 1], vec![1, 2]] {
        shop.items.push(Item { unit: 0, way, pack: 0, start });
    }
    assert_eq!(once(&shop, 1).unwrap().unit(0).ready_s, Some(970.0));
    // One that is not to be had holds no pack up, but the unit is never whole.
    shop.items[0].start = Start::Away;
    let run = once(&shop, 1).unwrap();
    assert_eq!(run.unit(0).ready_s, None);
    // What is unfit comes through, and is taken by nobody.
    shop.items[0].start = start;
    shop.units[0].unfit = true;
    shop.wants = vec![wants(2_000.0, 0.0, 1.0, &[None])];
    assert_eq!(once(&shop, 1).unwrap().want(0).complete_s, None);
}

#[test]
fn what_is_under_way_takes_what_is_left() {
    let mut shop = house();
    shop.items[0].start = Start::InHand { step: 1, taken_s: 1_500.0, batch: 0, server: 0 };
    shop.items[1].start = Start::InHand { step: 1, taken_s: 1_500.0, batch: 0, server: 0 };
    shop.items[2].start = Start::Undecided { step: 1, taken_s: 100.0, batch: 9 };
    let run = once(&shop, 1).unwrap();
    let ready: Vec<Option<f64>> = (0..3).map(|unit| run.unit(unit).ready_s).collect();
    assert_eq!(ready, [Some(900.0), Some(900.0), Some(500.0)]);
    // Cooling only: behind the last place of its way.
    shop.items[2].start = Start::Waiting { step: 2, from_s: 77.0 };
    assert_eq!(once(&shop, 1).unwrap().unit(2).ready_s, Some(77.0));
}

#[test]
fn without_a_machine_there_is_no_time() {
    let mut shop = house();
    shop.wants = vec![wants(9_000.0, 600.0, 100.0, &[None])];
    shop.stations[1].servers.clear();
    shop.until_s = 86_400.0;
    let told = forecast(&shop, 50, 1).unwrap();
    assert!(told.units.iter().all(|unit| unit.ready.is_none() && unit.reached == 0.0));
    assert_eq!((told.wants[0].chance, told.wants[0].ready), (0.0, None));
}

/// The same house with chance in it: tables, fallout, stragglers.
fn lively() -> Shop {
    let mut shop = house();
    let law = Law::Table(vec![300.0, 600.0, 2_000.0].into());
    shop.stations[0].servers[0].does[0].1 = law.clone();
    shop.jobs[0].straggles = Some((0.1, law.clone()));
    shop.jobs[0].first = Some(Daily(vec![law.clone(), Law::Fixed(20.0)]));
    (shop.day, shop.day_parts) = (vec![(0.0, 0), (1_000.0, 1)], 2);
    (shop.jobs[1].batch_back, shop.jobs[1].item_back) = (0.1, 0.05);
    shop.wants = vec![wants(6_000.0, 600.0, 100.0, &[None]), wants(9_000.0, 600.0, 100.0, &[None, None])];
    shop.until_s = 86_400.0;
    shop
}

#[test]
fn the_same_seed_gives_the_same_and_more_time_never_harms() {
    let shop = lively();
    let told = forecast(&shop, 400, 7).unwrap();
    assert_eq!(told, forecast(&shop, 400, 7).unwrap());
    assert_ne!(told, forecast(&shop, 400, 8).unwrap());
    let mut later = shop.clone();
    later.wants[0].start_s += 900.0;
    let then = forecast(&later, 400, 7).unwrap();
    assert!(
        then.wants[0].chance >= told.wants[0].chance,
        "{} {}",
        then.wants[0].chance,
        told.wants[0].chance
    );
}

#[test]
fn what_changes_elsewhere_changes_nothing_here() {
    let shop = lively();
    let mut other = shop.clone();
    // Somebody else's bench, with its own units.
    other.stations.push(bench(1, 2, &Law::Exponential(100.0)));
    other.jobs.push(Job::plain(2));
    for _ in 0..5 {
        comes(&mut other, 0.0, &[2], None);
    }
    other.units[3..].iter_mut().for_each(|unit| unit.kind = 1);
    other.kept.push(0);
    let (one, two) = (forecast(&shop, 200, 3).unwrap(), forecast(&other, 200, 3).unwrap());
    assert_eq!(one.units[..], two.units[..3]);
    assert_eq!(one.wants, two.wants);
}

#[test]
fn what_could_not_run_is_refused() {
    let refused = |change: fn(&mut Shop), why: Unusable| {
        let mut shop = lively();
        change(&mut shop);
        assert_eq!(forecast(&shop, 1, 1).err(), Some(why));
    };
    refused(|shop| shop.items[0].way.push(9), Unusable::NotThere);
    refused(|shop| shop.wants[0].needs[0].kind = 4, Unusable::NotThere);
    refused(|shop| shop.items[0].start = Start::Waiting { step: 3, from_s: 0.0 }, Unusable::NotThere);
    refused(|shop| shop.jobs[1].item_back = 1.0, Unusable::NoNumber);
    refused(|shop| shop.jobs[1].cools_s = f64::NAN, Unusable::NoNumber);
    refused(|shop| shop.wants.reverse(), Unusable::NoNumber);
    refused(|shop| shop.day.clear(), Unusable::NoNumber);
    refused(|shop| shop.stations[0].batch = 0, Unusable::NoNumber);
}
