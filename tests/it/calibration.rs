//! Is a chance what it says? In the simulated hospital a forecast is made once a day; what became of its cases is seen later.
//! Of those that were given nine in ten, about nine in ten are equipped in time.

use std::collections::BTreeMap;

use fettle::domain::allotted::{allotted, statuses};
use fettle::domain::board::Equipped;
use fettle::domain::forecast::Likely;
use fettle::domain::id::Id;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::simulate::{Hospital, Plan};
use fettle::domain::state::State;
use fettle::domain::time::{MINUTE, Time};

/// A chance that was told of a case, and when it begins.
struct Told {
    start: Time,
    chance: f64,
    likely: Likely,
}

/// How many cases were told each tenth, and how many of them were equipped in time.
#[derive(Default, Debug)]
pub struct Tally {
    pub days: u32,
    pub ready: (u32, u32),
    pub tenths: [(u32, u32); 10],
}

impl Tally {
    fn add(&mut self, told: &Told, equipped: bool) {
        let place = match told.likely {
            Likely::ReadyNow => &mut self.ready,
            _ => &mut self.tenths[((told.chance * 10.0 + 1e-9) as usize).min(9)],
        };
        place.0 += 1;
        place.1 += u32::from(equipped);
    }
}

/// Whether a case has what it needs at its start: taken already, or ready for it.
fn is_equipped(state: &State, case: &Id, now: Time) -> Option<bool> {
    let it = state.cases.get(case).filter(|it| it.cancelled.is_none())?;
    if it.anything_out() || !it.is_open() {
        return Some(true);
    }
    let statuses = statuses(state, now);
    let all = allotted(state, &statuses, now);
    let own = all.iter().find(|it| it.case.case == *case)?;
    Some(own.needs.iter().all(|need| need.equipped == Equipped::Ready))
}

/// Runs a hospital and makes a forecast at one hour of every day, after the days from which it learns.
pub fn run(seed: u64, sets: u32, (learns, days): (i64, i64), replications: u32) -> Tally {
    let day = 24 * 60;
    let from = Time::parse("2024-01-08T06:00:00Z").expect("a time");
    let until = from.plus_minutes((learns + days) * day);
    let zone = chrono_tz::Europe::London;
    let plan = Plan { seed, sets, until, from, zone, keep_record: false };
    let mut paper = Paper::new(Id::new("sim").expect("an id"), zone, from);
    let mut hospital = Hospital::new(plan);
    let mut tally = Tally::default();
    let mut open: BTreeMap<Id, Told> = BTreeMap::new();
    // Late in the morning: the first cases have been, and what they took is on its way to the later ones.
    let mut next = from.plus_minutes(learns * day + 5 * 60);
    while let Some(given) = hospital.next(&paper.state) {
        let state = &paper.state;
        // What begins before this command is judged by what stands before it.
        let begun: Vec<Id> =
            open.iter().filter(|(_, told)| told.start < given.now).map(|(case, _)| case.clone()).collect();
        for case in begun {
            let Some(told) = open.remove(&case) else { continue };
            let is_moved = state.cases.get(&case).is_none_or(|it| it.start != told.start);
            if let Some(equipped) = is_equipped(state, &case, told.start).filter(|_| !is_moved) {
                tally.add(&told, equipped);
            }
        }
        while next < given.now {
            tally.days += 1;
            let forecast = state.forecast_of(Time(next.0 / MINUTE * MINUTE), replications);
            for case in forecast.cases {
                if let Some(chance) =
                    case.chance.filter(|_| case.start > next && !open.contains_key(&case.case))
                {
                    open.insert(case.case, Told { start: case.start, chance, likely: case.likely });
                }
            }
            next = next.plus_minutes(day);
        }
        let event = paper.take(&given);
        hospital.heard(&given, event.as_ref().ok());
    }
    tally
}

/// A tenth of what the benchmark does. Of so few cases the range of a right forecast is wider: half of those told nine in
/// ten and more are the least that is asked here, and the benchmark asks for 86 to 94 in 100.
#[test]
fn what_is_told_likely_mostly_comes_true() {
    let tally = run(3, 8, (60, 50), 200);
    assert_eq!(tally.days, 50);
    let (told, came) =
        (5..10).fold((0, 0), |sum, at| (sum.0 + tally.tenths[at].0, sum.1 + tally.tenths[at].1));
    assert!(told > 10, "{tally:?}");
    assert!(f64::from(came) >= 0.5 * f64::from(told), "{tally:?}");
    assert!(tally.ready.1 * 10 >= tally.ready.0 * 9, "what is ready stays so: {tally:?}");
}
