//! Each act that would save a case, in a small house whose every step takes a time that is known: what is worked out by hand
//! is what the simulation says, with the act and without it, for the case and for the others.

use fettle::analysis::queue::{self, Daily, Law, Shop};
use fettle::domain::allotted::{Allotted, allotted, statuses};
use fettle::domain::forecast_acts::{Act, Tried};
use fettle::domain::forecast_borrow::borrow;
use fettle::domain::forecast_shop::{self, Plan};
use fettle::domain::forecast_size::sizes;
use fettle::domain::forecast_tries::tries;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{Admin, Biomed, Desk, Lead};
use fettle::domain::request::RequestKind;
use fettle::domain::route::StepKind;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::state::State;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::allotment::{house, keep, plan, ready};
use super::pace::{at, told};
use super::served::wash_record;

const NOW: &str = "2026-03-03T06:00:00Z";

/// How many minutes a step takes here; every other takes none.
pub type Minutes<'a> = &'a [(StepKind, f64)];

/// Takes chance out of a department: each step takes what is said, a machine is begun `gathers` minutes after its first work
/// is there, nothing goes back, and a case takes an hour.
fn by_hand(plan: &mut Plan, takes: Minutes, gathers: f64) {
    let minutes = |job: usize| {
        let step = plan.stops.get(job).map(|stop| stop.step);
        takes.iter().find(|(own, _)| Some(*own) == step).map_or(0.0, |(_, minutes)| *minutes)
    };
    for station in &mut plan.shop.stations {
        station.gathers = station.gathers.as_ref().map(|_| Daily::always(Law::Fixed(gathers * 60.0)));
        for server in &mut station.servers {
            server.idle_s = 0.0;
            for (job, law) in &mut server.does {
                *law = Law::Fixed(minutes(*job) * 60.0);
            }
        }
    }
    for job in &mut plan.shop.jobs {
        (job.first, job.straggles, job.cools_s) = (None, None, 0.0);
        (job.item_back, job.batch_back) = (0.0, 0.0);
        job.after = job.after.as_ref().map(|_| Daily::always(Law::Fixed(0.0)));
    }
    plan.shop.wants.iter_mut().for_each(|want| want.lasts = Law::Fixed(3_600.0));
}

/// The department of a moment by hand, and what the cases are given.
fn department<'a>(state: &'a State, now: Time, takes: Minutes, gathers: f64) -> (Plan, Vec<Allotted<'a>>) {
    let statuses = statuses(state, now);
    let given = allotted(state, &statuses, now);
    let mut plan = forecast_shop::plan(state, &statuses, &given, (now, 2));
    by_hand(&mut plan, takes, gathers);
    (plan, given)
}

/// The minutes from now in which a case has all that it takes, and whether that is in time.
fn in_minutes(shop: &Shop, wants: &[Id], case: &str) -> (Option<i64>, bool) {
    let told = queue::forecast(shop, 1, 1).expect("a shop that runs");
    let at = wants.iter().position(|it| it.as_str() == case).expect("a want");
    let want = told.wants[at];
    (want.ready.map(|ready| (ready.median_s / 60.0).round() as i64), want.chance > 0.5)
}

pub struct Looked {
    plan: Plan,
    pub all: Vec<Tried>,
}

pub fn look(state: &State, now: Time, case: &str, (takes, gathers): (Minutes, f64)) -> Looked {
    let (plan, given) = department(state, now, takes, gathers);
    let own = given.iter().find(|it| it.case.case.as_str() == case).expect("a case");
    let mut all = tries((state, now), &plan, own);
    all.extend(sizes((state, now), &plan, own));
    all.extend(borrow(state, &plan, own));
    Looked { plan, all }
}

impl Looked {
    pub fn before(&self, case: &str) -> (Option<i64>, bool) {
        in_minutes(&self.plan.shop, &self.plan.wants, case)
    }

    pub fn act(&self, act: Act) -> &Tried {
        let found = self.all.iter().find(|it| it.act == act);
        found.unwrap_or_else(|| {
            panic!("{act:?} in {:?}", self.all.iter().map(|it| &it.does).collect::<Vec<_>>())
        })
    }

    pub fn has(&self, act: Act) -> bool {
        self.all.iter().any(|it| it.act == act)
    }
}

pub fn after(tried: &Tried, case: &str) -> (Option<i64>, bool) {
    in_minutes(&tried.shop, &tried.wants, case)
}

fn day(hour: &str) -> String {
    format!("2026-03-02T{hour}:00Z")
}

fn step(paper: &mut Paper, hour: &str, step: &str, scan: Value) {
    told(paper, Desk, &day(hour), json!({"do": "record_step", "step": step, "scan": scan}));
}

/// Brings sets to the sink, where they wait whole.
fn to_sink(paper: &mut Paper, sets: &[&str]) {
    step(paper, "08:00", "treated", json!(sets));
    step(paper, "08:10", "received", json!(sets));
}

/// Brings sets to the bench where they wait to be packed.
pub fn to_packing(paper: &mut Paper, sets: &[&str], from: u32) {
    let hour = |minute: u32| format!("{:02}:{minute:02}", from);
    for (minute, name) in [(0, "treated"), (1, "received"), (2, "cleaned"), (3, "dried")] {
        step(paper, &hour(minute), name, json!(sets));
    }
    let optics: Vec<String> = sets.iter().map(|set| format!("T-{set}")).collect();
    step(paper, &hour(4), "disinfected", json!(optics));
    let load = format!("W-{from}");
    let start =
        json!({"do": "start_load", "load": load, "machine": "washer-1", "programme": "wash", "scan": sets});
    told(paper, Desk, &day(&hour(5)), start);
    let judge = json!({"do": "judge_load", "load": load, "record": wash_record(700)});
    told(paper, Desk, &day(&hour(25)), judge);
    told(paper, Lead, &day(&hour(26)), json!({"do": "release_load", "load": load}));
    told(paper, Desk, &day(&hour(27)), json!({"do": "inspect", "scan": sets, "passed": true}));
}

#[test]
fn a_set_that_is_washed_next_is_ready_first_and_the_other_later() {
    let mut paper = house(&["SET-2", "SET-3"]);
    to_sink(&mut paper, &["SET-2", "SET-3"]);
    plan(&mut paper, "K-1", "07:45", 60);
    plan(&mut paper, "K-2", "07:50", 60);
    keep(&mut paper, "K-1", "SET-2");
    keep(&mut paper, "K-2", "SET-3");
    let (state, now) = (&paper.state, at(NOW));
    // One sink, an hour for each set, in the order of the cases: K-1's at seven, K-2's at eight, ten minutes late.
    let looked = look(state, now, "K-2", (&[(StepKind::Cleaned, 60.0)], 0.0));
    assert_eq!((looked.before("K-1"), looked.before("K-2")), ((Some(60), true), (Some(120), false)));
    let next = looked.act(Act::TakeNext);
    assert_eq!(next.does, "Take set SET-3 before everything else at each step");
    assert_eq!((after(next, "K-2"), after(next, "K-1")), ((Some(60), true), (Some(120), false)));
    let asks = next.request.as_ref().expect("the desk can be asked");
    assert_eq!((asks.kind, asks.set.as_ref().unwrap().as_str()), (RequestKind::TakeNext, "SET-3"));
}

#[test]
fn a_machine_that_is_begun_now_is_not_there_for_what_comes_meanwhile() {
    let mut paper = house(&["SET-2", "SET-3"]);
    to_packing(&mut paper, &["SET-2"], 7);
    to_packing(&mut paper, &["SET-3"], 8);
    step(&mut paper, "09:00", "packed", json!("SET-2"));
    plan(&mut paper, "K-1", "08:00", 60);
    plan(&mut paper, "K-2", "09:30", 60);
    keep(&mut paper, "K-1", "SET-2");
    keep(&mut paper, "K-2", "SET-3");
    // SET-2 waits for the steriliser; SET-3 is packed by half past six. Whoever waits two hours for a fuller load begins both
    // at eight, and they are ready at nine: too late for K-1, in time for K-2.
    let takes: Minutes = &[(StepKind::Packed, 30.0), (StepKind::Sterilised, 60.0)];
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 120.0));
    assert_eq!((looked.before("K-1"), looked.before("K-2")), ((Some(180), false), (Some(180), true)));
    // Begun now, SET-2 is ready at seven. SET-3 waits for two hours from then on, and is ready at ten.
    let now = looked.act(Act::StartNow);
    assert_eq!(now.does, "Begin sterilising (steam) now with set SET-2, without waiting for more");
    assert_eq!((after(now, "K-1"), after(now, "K-2")), ((Some(60), true), (Some(240), false)));
    let asks = now.request.as_ref().expect("the desk can be asked");
    assert_eq!((asks.kind, asks.step), (RequestKind::StartNow, Some(StepKind::Sterilised)));
    // What waits for the same goes with it: K-2's set is in the load too where it is there.
    let mut both = paper.state.clone();
    let mut paper = paper;
    step(&mut paper, "09:05", "packed", json!("SET-3"));
    std::mem::swap(&mut both, &mut paper.state);
    let looked = look(&both, at(NOW), "K-1", (takes, 120.0));
    let now = looked.act(Act::StartNow);
    assert_eq!((after(now, "K-1"), after(now, "K-2")), ((Some(60), true), (Some(60), true)));
}

#[test]
fn a_machine_that_runs_is_not_begun() {
    let mut paper = house(&["SET-2", "SET-3"]);
    to_packing(&mut paper, &["SET-2"], 7);
    to_packing(&mut paper, &["SET-3"], 8);
    step(&mut paper, "09:00", "packed", json!(["SET-2", "SET-3"]));
    plan(&mut paper, "K-1", "08:00", 60);
    keep(&mut paper, "K-1", "SET-2");
    let start = json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": "SET-3"});
    told(&mut paper, Desk, NOW, start);
    let looked = look(&paper.state, at(NOW), "K-1", (&[(StepKind::Sterilised, 60.0)], 120.0));
    assert!(!looked.has(Act::StartNow));
}

/// A house in which SET-1 is ready but for its telescope, which is in repair.
fn without_telescope(stage: &str) -> Paper {
    let mut paper = house(&["SET-2"]);
    if stage == "ready" {
        ready(&mut paper, &["SET-1", "SET-2"]);
    } else {
        ready(&mut paper, &["SET-1"]);
    }
    plan(&mut paper, "K-1", "07:30", 60);
    keep(&mut paper, "K-1", "SET-1");
    let away = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dark", "decontaminated": true});
    told(&mut paper, Biomed, "2026-03-02T10:00:00Z", away);
    paper
}

#[test]
fn a_telescope_from_another_set_is_wrapped_and_sterilised_with_its_own_pack() {
    let takes: Minutes = &[(StepKind::Cleaned, 60.0), (StepKind::Packed, 20.0), (StepKind::Sterilised, 60.0)];
    let paper = without_telescope("ready");
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert_eq!(looked.before("K-1"), (None, false));
    // The optics pack alone is wrapped anew: 20 and 60 minutes. The tray stays as it is.
    let puts = looked.act(Act::PutIn);
    assert_eq!(puts.does, "Put T-SET-2 of set SET-2 into set SET-1, and wrap it anew");
    assert_eq!(after(puts, "K-1"), (Some(80), true));
    let asks = puts.request.as_ref().expect("the desk can be asked");
    assert_eq!(asks.asset.as_ref().map(Id::as_str), Some("T-SET-2"));
    // SET-2 lacks it then, whoever would have had that set.
    let mut paper = paper;
    plan(&mut paper, "K-2", "12:00", 60);
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert_eq!(looked.before("K-2"), (Some(0), true));
    if looked.has(Act::PutIn) {
        assert_eq!(after(looked.act(Act::PutIn), "K-2"), (None, false));
    }
    // One that is not clean yet goes its own way first: an hour at the sink before it can be wrapped.
    let paper = without_telescope("soiled");
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert_eq!(after(looked.act(Act::PutIn), "K-1"), (Some(140), false));
}

#[test]
fn two_cases_that_change_their_times_change_their_chances() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    to_sink(&mut paper, &["SET-2"]);
    plan(&mut paper, "K-1", "07:00", 60);
    plan(&mut paper, "K-2", "09:00", 60);
    keep(&mut paper, "K-1", "SET-2");
    keep(&mut paper, "K-2", "SET-1");
    // SET-2 is ready at eight.
    let takes: Minutes = &[(StepKind::Cleaned, 120.0)];
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert_eq!((looked.before("K-1"), looked.before("K-2")), ((Some(120), false), (Some(0), true)));
    let swap = looked.act(Act::Swap);
    assert_eq!(swap.does, "Let it change its time with case K-2");
    assert_eq!((after(swap, "K-1"), after(swap, "K-2")), ((Some(120), true), (Some(0), true)));
    assert!(swap.request.is_none(), "the desk plans no case");
    // A later one of another day is no other time for it, nor is an earlier one.
    let looked = look(&paper.state, at(NOW), "K-2", (takes, 0.0));
    assert!(!looked.has(Act::Swap));
}

#[test]
fn the_reserve_is_taken_by_name_alone() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    to_sink(&mut paper, &["SET-2"]);
    plan(&mut paper, "K-1", "07:00", 60);
    let takes: Minutes = &[(StepKind::Cleaned, 120.0)];
    let minimum = |paper: &mut Paper, minimum: u32| {
        let set = json!({"do": "set_reserve", "count_sheet": "adult", "minimum": minimum});
        told(paper, Lead, "2026-03-02T09:00:00Z", set);
    };
    minimum(&mut paper, 1);
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert_eq!(looked.before("K-1"), (Some(120), false));
    assert_eq!(after(looked.act(Act::TakeReserve), "K-1"), (Some(0), true));
    // Nobody offers the last ready set as if it were any other.
    assert!(!looked.has(Act::TakeSet));
    minimum(&mut paper, 0);
    keep(&mut paper, "K-1", "SET-2");
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert!(!looked.has(Act::TakeReserve));
    assert_eq!(after(looked.act(Act::TakeSet), "K-1"), (Some(0), true));
}

#[test]
fn what_is_borrowed_comes_when_the_site_says_and_not_before_it_says_so() {
    let mut paper = house(&[]);
    to_sink(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "08:00", 60);
    let takes: Minutes =
        &[(StepKind::Cleaned, 300.0), (StepKind::Packed, 20.0), (StepKind::Sterilised, 60.0)];
    assert!(!look(&paper.state, at(NOW), "K-1", (takes, 0.0)).has(Act::Borrow));
    let policy = |paper: &mut Paper, minutes: u32| {
        told(paper, Admin, "2026-03-02T09:10:00Z", json!({"do": "set_policy", "borrow_minutes": minutes}));
    };
    policy(&mut paper, 90);
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    // 300 minutes at the sink. The tray is wrapped by 320 and sterilised by 380; the optics, wrapped by 340, wait for that load to
    // end, and are ready by 440.
    assert_eq!(looked.before("K-1"), (Some(440), false));
    let borrow = looked.act(Act::Borrow);
    assert_eq!(borrow.does, "Borrow a set “Adult”, ready here after 90 min");
    assert_eq!(after(borrow, "K-1"), (Some(90), true));
    let asks = borrow.request.as_ref().expect("the desk can be asked");
    assert_eq!((asks.kind, asks.count_sheet.as_ref().map(Id::as_str)), (RequestKind::Borrow, Some("adult")));
    policy(&mut paper, 121);
    let late = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert_eq!(after(late.act(Act::Borrow), "K-1"), (Some(121), false));
    policy(&mut paper, 0);
    assert!(!look(&paper.state, at(NOW), "K-1", (takes, 0.0)).has(Act::Borrow));
}

#[test]
fn a_borrowed_part_is_wrapped_with_its_set() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "08:50", 60);
    keep(&mut paper, "K-1", "SET-1");
    let away = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dark", "decontaminated": true});
    told(&mut paper, Biomed, "2026-03-02T10:00:00Z", away);
    told(&mut paper, Admin, "2026-03-02T11:10:00Z", json!({"do": "set_policy", "borrow_minutes": 90}));
    let takes: Minutes = &[(StepKind::Packed, 20.0), (StepKind::Sterilised, 60.0)];
    let looked = look(&paper.state, at(NOW), "K-1", (takes, 0.0));
    assert_eq!(looked.before("K-1"), (None, false));
    // 90 minutes until it is here, 20 to wrap it, 60 to sterilise it.
    let borrow = looked.act(Act::Borrow);
    assert_eq!(after(borrow, "K-1"), (Some(170), true));
    let asks = borrow.request.as_ref().expect("the desk can be asked");
    assert_eq!(asks.line.as_ref().map(|line| line.as_str()), Some("telescope"));
}
