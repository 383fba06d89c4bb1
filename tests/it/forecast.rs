//! Will the cases be equipped? What is known, what is not, the same for the same ledger and minute, and how often it is
//! right in a simulated hospital.

use std::collections::{BTreeMap, BTreeSet};

use fettle::domain::allotted::{allotted, statuses};
use fettle::domain::board::Equipped;
use fettle::domain::event::What;
use fettle::domain::forecast::{CaseForecast, Forecast, Likely, odds};
use fettle::domain::id::Id;
use fettle::domain::person::Role::{Admin, Charge, Desk, Lead};
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::time::{MINUTE, Time};
use serde_json::json;

use super::allotment::{house, keep, plan, ready};
use super::pace::{at, told};
use super::served::{BOTH, Kind, Served};
use super::simulate::Run;

const NOW: &str = "2026-03-03T06:00:00Z";
const FEW: u32 = 200;

fn forecast(paper: &Paper) -> Forecast {
    paper.state.forecast_of(at(NOW), FEW)
}

fn case<'a>(told: &'a Forecast, case: &str) -> &'a CaseForecast {
    told.case(&Id::new(case).unwrap()).expect("a case of today or tomorrow")
}

#[test]
fn what_is_ready_is_ready_now_and_what_is_on_its_way_has_its_odds() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    for (name, hour) in [("K-1", "07:00"), ("K-2", "07:10"), ("K-3", "19:00")] {
        plan(&mut paper, name, hour, 60);
    }
    let told = forecast(&paper);
    assert_eq!(
        (case(&told, "K-1").likely, case(&told, "K-1").words.as_str()),
        (Likely::ReadyNow, "ready now")
    );
    // SET-2 is soiled: ten minutes past seven is not to be reached, seven in the evening is.
    let no = case(&told, "K-2");
    assert_eq!((no.likely, no.chance), (Likely::No, Some(0.0)), "{no:?}");
    assert!(no.words.starts_with("no; expected "), "{no:?}");
    assert_eq!(no.lacks.as_ref().map(Id::as_str), Some("adult"));
    let likely = case(&told, "K-3");
    assert!(matches!(likely.likely, Likely::Expected | Likely::ReadyNow), "{likely:?}");
    let set = told.set(&Id::new("SET-2").unwrap()).unwrap();
    let (median, late) = (set.ready_at.expect("a time"), set.ready_9_in_10.expect("a time"));
    assert!(at(NOW) < median && median <= late && late < at("2026-03-03T19:00:00Z"), "{set:?}");
    assert_eq!((median.0 % MINUTE, set.not_known.as_deref()), (0, None));
    assert!(set.held_up_by.is_some());
    // No history: it says what stands in for it.
    assert!(
        told.not_known.iter().any(|it| it.contains("Fewer than 12 times are recorded here of")),
        "{told:?}"
    );
}

#[test]
fn no_time_is_earlier_than_the_cycles_end_and_cooling() {
    let mut paper = house(&[]);
    let define = json!({"do": "define_machine", "machine": "steriliser-1", "kind": "steriliser", "programmes":
        [{"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 180, "cooling_s": 1800}]});
    told(&mut paper, Admin, "2026-03-02T06:30:00Z", define);
    ready(&mut paper, &["SET-1"]);
    // The record ends before it is judged at 07:50; released at 07:51, and cooling.
    let at_once = paper.state.forecast_of(at("2026-03-02T07:52:00Z"), FEW);
    let set = at_once.set(&Id::new("SET-1").unwrap()).unwrap();
    let cool = paper.state.assets[&Id::new("B-1").unwrap()].cool_at.expect("it cools");
    assert!(set.ready_at.is_some_and(|ready| ready >= cool), "{set:?} and {cool}");
}

#[test]
fn what_nobody_can_know_is_said() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "12:00", 60);
    plan(&mut paper, "K-2", "12:30", 60);
    let none =
        json!({"do": "plan_case", "case": "K-3", "start": "2026-03-03T13:00:00Z", "minutes": 5, "needs": []});
    told(&mut paper, Charge, "2026-03-02T09:00:00Z", none);
    plan(&mut paper, "K-4", "05:30", 60);
    let out = json!({"do": "machine_out", "machine": "steriliser-1", "reason": "steam supply"});
    told(&mut paper, Lead, "2026-03-02T10:00:00Z", out);
    let told_now = forecast(&paper);
    let set = told_now.set(&Id::new("SET-2").unwrap()).unwrap();
    assert_eq!((set.ready_at, set.ready_9_in_10), (None, None));
    let why = set.not_known.as_deref().unwrap_or_default();
    assert!(why.contains("No steam steriliser is in service"), "{set:?}");
    assert_eq!(case(&told_now, "K-2").words, "no, no steam steriliser that suits is in service");
    assert_eq!(case(&told_now, "K-3").likely, Likely::NotKnown);
    assert!(case(&told_now, "K-3").not_known.as_deref().is_some_and(|it| it.contains("not known")));
    let past = case(&told_now, "K-4");
    assert!(past.not_known.as_deref().is_some_and(|it| it.contains("has passed")), "{past:?}");
    assert!(told_now.not_known.iter().any(|it| it.starts_with("No steam steriliser is in service")));
    // A hundred cases at once are a hundred answers, and no more than one of them has the one set.
    let cancel = json!({"do": "cancel_case", "case": "K-4", "reason": "put off"});
    told(&mut paper, Charge, "2026-03-02T10:30:00Z", cancel);
    for n in 0..100 {
        plan(&mut paper, &format!("M-{n}"), "11:00", 60);
    }
    let many = forecast(&paper);
    let equipped = many.cases.iter().filter(|it| it.chance.is_some_and(|chance| chance > 0.5));
    assert_eq!(equipped.count(), 1);
    assert_eq!(many.cases.len(), 103);
}

#[test]
fn the_clocks_change_at_night_and_hours_are_those_on_the_wall() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    // On Sunday, 29 March 2026, the clocks of Berlin go from two to three.
    let start = json!({"do": "plan_case", "case": "K-1", "start": "2026-03-29T08:00:00+02:00", "minutes": 60,
                       "needs": ["adult"]});
    told(&mut paper, Charge, "2026-03-28T10:00:00Z", start);
    let before = paper.state.forecast_of(at("2026-03-28T20:00:00Z"), FEW);
    assert!(before.not_known.iter().any(|it| it.contains("clocks change")), "{before:?}");
    assert_eq!(case(&before, "K-1").likely, Likely::ReadyNow);
    let after = paper.state.forecast_of(at("2026-03-29T04:00:00Z"), FEW);
    assert!(!after.not_known.iter().any(|it| it.contains("clocks change")));
}

#[test]
fn a_case_that_moves_while_its_set_is_packed_has_other_odds_at_once() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "12:00", 60);
    plan(&mut paper, "K-2", "12:00", 60);
    keep(&mut paper, "K-2", "SET-2");
    let soon = json!({"do": "change_case", "case": "K-2", "start": "2026-03-03T06:20:00Z"});
    let before = forecast(&paper);
    told(&mut paper, Charge, "2026-03-02T11:00:00Z", soon);
    let after = forecast(&paper);
    let (then, now) = (case(&before, "K-2").chance.unwrap(), case(&after, "K-2").chance.unwrap());
    assert!(then > now && now < 0.1, "{then} and {now}");
    // The other one keeps its set.
    assert_eq!(case(&after, "K-1").likely, Likely::ReadyNow);
}

#[test]
fn the_same_ledger_and_minute_give_the_same_and_chances_are_told_in_tenths() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "09:00", 60);
    plan(&mut paper, "K-2", "10:00", 60);
    let told = forecast(&paper);
    assert_eq!(told, forecast(&paper));
    assert_eq!(told, paper.state.forecast_of(at(NOW).plus_s(59), FEW));
    assert_ne!(told.as_of, paper.state.forecast_of(at(NOW).plus_s(60), FEW).as_of);
    let words = [
        (0.04, "less than 1 in 10"),
        (0.1, "1 in 10"),
        (0.49, "4 in 10"),
        (0.84, "8 in 10"),
        (0.899, "9 in 10"),
        (0.94, "9 in 10"),
        (0.96, "better than 9 in 10"),
        (1.0, "better than 9 in 10"),
    ];
    words.into_iter().for_each(|(chance, said)| assert_eq!(odds(chance), said));
}

/// Two servers on one database, and one that was started anew, answer alike.
#[tokio::test(flavor = "multi_thread")]
async fn every_server_gives_the_same_forecast() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let step = |step: &str| json!({"do": "record_step", "step": step, "scan": "SET-1"});
        served.done(Desk, step("treated")).await;
        served.done(Desk, step("received")).await;
        let start = Time::parse("2000-01-01T00:00:00Z").unwrap();
        let (status, body) = served.get("forecast").await;
        assert_eq!(status, 200, "{body}");
        assert_eq!(body["sets"][0]["set"], "SET-1", "{body}");
        assert!(Time::parse(body["as_of"].as_str().unwrap()).is_some_and(|as_of| as_of > start));
        assert_eq!(served.get("forecast?day=1").await.0, 422);
        if kind == Kind::Server {
            let other = Served::on(served.url.clone(), None, Some(&served)).await;
            for _ in 0..3 {
                let ((_, one), (_, two)) = (served.get("forecast").await, other.get("forecast").await);
                if one["as_of"] == two["as_of"] {
                    assert_eq!(one, two);
                    break;
                }
            }
            other.stop().await;
        }
        served.sound().await;
        served.stop().await;
    }
}

/// What came of a case: whether its sets were there when it was to begin.
fn is_equipped(run: &Run, id: &Id, start: Time) -> Option<bool> {
    let state = run.state();
    let case = state.cases.get(id)?;
    if case.cancelled.as_deref() == Some("the patient has a fever") {
        return None;
    }
    if case.anything_out() || case.closed {
        return Some(true);
    }
    let statuses = statuses(state, start);
    let found = allotted(state, &statuses, start);
    let own = found.iter().find(|it| it.case.case == *id)?;
    Some(own.needs.iter().all(|need| need.equipped == Equipped::Ready))
}

/// A simulated hospital, a forecast every four hours: of the cases with high odds most are equipped, of those with low
/// odds few. (A department of this size has few cases a day; five hundred days are a matter of hours of such a run.)
#[test]
fn what_is_likely_happens_more_often_than_what_is_not() {
    let mut run = Run::new(super::simulate::plan(21, 5, 100));
    let mut open: BTreeMap<(Id, Time), (Time, f64)> = BTreeMap::new();
    let mut seen: BTreeSet<(Id, Time)> = BTreeSet::new();
    let mut by_odds: BTreeMap<u8, (u32, u32)> = BTreeMap::new();
    let first = at("2024-02-19T00:00:00Z");
    let mut look_at = at("2024-02-19T07:00:00Z");
    while let Some((given, event)) = run.step() {
        let now = given.now;
        if let Some(What::CaseCancelled(it)) = event.as_ref().map(|event| &event.what)
            && it.reason == "the patient has a fever"
        {
            open.retain(|(case, _), _| *case != it.case);
        }
        let due: Vec<(Id, Time)> =
            open.iter().filter(|(_, (start, _))| *start <= now).map(|(case, _)| case.clone()).collect();
        for id in due {
            let (start, chance) = open.remove(&id).unwrap();
            let id = id.0;
            if let Some(equipped) = is_equipped(&run, &id, start) {
                let place = by_odds.entry((chance * 10.0 + 1e-9).floor().min(9.0) as u8).or_default();
                place.0 += 1;
                place.1 += u32::from(equipped);
            }
        }
        if now < first || now < look_at {
            continue;
        }
        while look_at <= now {
            look_at = look_at.plus_minutes(4 * 60);
        }
        let told = run.state().forecast_of(now, FEW);
        for it in told.cases.iter().filter(|it| it.start > now && it.likely != Likely::ReadyNow) {
            if let Some(chance) = it.chance.filter(|_| seen.insert((it.case.clone(), told.as_of))) {
                open.insert((it.case.clone(), told.as_of), (it.start, chance));
            }
        }
    }
    println!("tenths of chance, cases, equipped in time: {by_odds:?}");
    let share = |from: u8, to: u8| {
        let (all, equipped) =
            by_odds.range(from..to).fold((0, 0), |sum, (_, it)| (sum.0 + it.0, sum.1 + it.1));
        (all, f64::from(equipped) / f64::from(all.max(1)))
    };
    let ((many, high), (few, low)) = (share(9, 10), share(0, 5));
    assert!(many >= 20, "{by_odds:?}");
    assert!(high >= 0.86, "{by_odds:?}");
    assert!(few < 10 || low < high - 0.2, "{by_odds:?}");
}
