//! Is a chance what it says? In the simulated hospital a forecast is made once a day; what became of its cases is seen later.
//! Of those that were given nine in ten, about nine in ten are equipped in time.

use std::collections::BTreeMap;

use fettle::domain::allotted::{allotted, statuses};
use fettle::domain::board::Equipped;
use fettle::domain::case::Case;
use fettle::domain::forecast::Likely;
use fettle::domain::id::Id;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::simulate::{Hospital, List, Plan};
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
    /// By the tenth that is told: none, one to nine, and better than nine in ten.
    pub tenths: [(u32, u32); 11],
    /// The same, of the chances themselves: what they come to together.
    pub sums: [f64; 11],
}

impl Tally {
    fn add(&mut self, told: &Told, equipped: bool) {
        let place = match told.likely {
            Likely::ReadyNow => &mut self.ready,
            _ => {
                let tenth = (told.chance * 10.0).round() as usize;
                self.sums[tenth] += told.chance;
                &mut self.tenths[tenth]
            }
        };
        place.0 += 1;
        place.1 += u32::from(equipped);
    }
}

/// Whether a case has what it needs at the start that was told: every set is with it already, or ready for it. Theatre puts
/// off what lacks something, so it is judged as if it still began then; None where it is off for another reason.
fn is_equipped(state: &State, case: &Id, start: Time) -> Option<bool> {
    let mut state = state.clone();
    let mut it = (**state.cases.get(case)?).clone();
    if it.cancelled.is_some() {
        return None;
    }
    if it.anything_out() || !it.is_open() {
        return Some(it.needs.iter().all(|sheet| has_gone_out(&state, &it, sheet)));
    }
    it.start = start;
    state.cases.insert(case.clone(), it.into());
    let statuses = statuses(&state, start);
    let all = allotted(&state, &statuses, start);
    let own = all.iter().find(|it| it.case.case == *case)?;
    Some(own.needs.iter().all(|need| need.equipped == Equipped::Ready))
}

/// Whether a set of a count sheet was issued to a case.
fn has_gone_out(state: &State, case: &Case, sheet: &Id) -> bool {
    case.parts
        .keys()
        .filter_map(|asset| state.assets.get(asset)?.seat.as_ref())
        .any(|seat| state.sets.get(&seat.set).is_some_and(|set| set.count_sheet == *sheet))
}

/// Runs a hospital and makes a forecast at one hour of every day, after the days from which it learns.
pub fn run((seed, sets, list): (u64, u32, List), (learns, days): (i64, i64), replications: u32) -> Tally {
    let day = 24 * 60;
    let from = Time::parse("2024-01-08T06:00:00Z").expect("a time");
    let until = from.plus_minutes((learns + days) * day);
    let zone = chrono_tz::Europe::London;
    let plan = Plan { seed, sets, until, from, zone, keep_record: false, list };
    let mut paper = Paper::new(Id::new("sim").expect("an id"), zone, from);
    let mut hospital = Hospital::new(plan);
    let mut tally = Tally::default();
    let mut open: BTreeMap<Id, Told> = BTreeMap::new();
    // A quarter to seven: the list of the day is made, and what was taken last is on its way to its later cases.
    let mut next = from.plus_minutes(learns * day + 45);
    while let Some(given) = hospital.next(&paper.state) {
        let state = &paper.state;
        // What begins before this command is judged by what stands before it.
        let begun: Vec<Id> =
            open.iter().filter(|(_, told)| told.start < given.now).map(|(case, _)| case.clone()).collect();
        for case in begun {
            let Some(told) = open.remove(&case) else { continue };
            if let Some(equipped) = is_equipped(state, &case, told.start) {
                tally.add(&told, equipped);
            }
        }
        while next < given.now {
            tally.days += 1;
            let forecast = state.forecast_of(Time(next.0 / MINUTE * MINUTE), replications);
            for case in forecast.cases {
                if let Some(chance) =
                    case.chance.filter(|_| case.start > next && case.start.date(zone) == next.date(zone))
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

/// A tenth of what the benchmark does: what is told likely comes true about as often as it is told, within four times the
/// spread of so few cases and a tenth of them besides, for what no forecast can know (emergencies, recalls).
#[test]
fn what_is_told_likely_comes_true_about_as_often_as_it_is_told() {
    let tally = run((3, 8, List::TIGHT), (60, 50), 200);
    assert_eq!(tally.days, 50);
    let likely = 5..11;
    let (told, came) =
        likely.clone().fold((0, 0), |sum, at| (sum.0 + tally.tenths[at].0, sum.1 + tally.tenths[at].1));
    let sum: f64 = likely.map(|at| tally.sums[at]).sum();
    let spread = (sum * (1.0 - sum / f64::from(told.max(1)))).max(0.25).sqrt();
    assert!(told >= 5, "{tally:?}");
    let off = (f64::from(came) - sum).abs();
    assert!(
        off <= 4.0 * spread + 0.1 * f64::from(told),
        "{sum:.1} of {told} were told, {came} came true: {tally:?}"
    );
    assert!(tally.ready.1 * 10 >= tally.ready.0 * 9, "what is ready stays so: {tally:?}");
}
