//! The simulated hospital: months through the same decisions as everybody's, judged after every day.

use std::collections::{BTreeMap, BTreeSet};

use fettle::app::house::Outcome;
use fettle::domain::checks;
use fettle::domain::command::{Act, Case, Command, Late, LateCause, Step};
use fettle::domain::deciding::Turned;
use fettle::domain::event::{Event, What};
use fettle::domain::exposure::Exposure;
use fettle::domain::id::Id;
use fettle::domain::lookback::{Origin, Trace, trace};
use fettle::domain::person::{Actor, Role};
use fettle::domain::simulate::catalogue;
use fettle::domain::simulate::chance::Chance;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::simulate::record::Record;
use fettle::domain::simulate::{Given, Hospital, List, Plan};
use fettle::domain::state::{Changes, State};
use fettle::domain::step::StepName;
use fettle::domain::text::Line;
use fettle::domain::time::Time;

use super::served::{BOTH, Served};

pub fn plan(seed: u64, sets: u32, days: i64) -> Plan {
    let from = Time::parse("2024-01-08T06:00:00Z").expect("a time");
    let until = from.plus_minutes(days * 24 * 60);
    Plan { seed, sets, until, from, zone: chrono_tz::Europe::London, keep_record: true, list: List::USUAL }
}

/// A hospital with the paper that it works on.
pub struct Run {
    hospital: Hospital,
    paper: Paper,
    refused: BTreeMap<String, u64>,
    changes: Changes,
}

impl Run {
    pub fn new(plan: Plan) -> Run {
        let site = Id::new("sim").expect("an id");
        let paper = Paper::new(site, plan.zone, plan.from);
        let (refused, changes) = (BTreeMap::new(), Changes::default());
        Run { hospital: Hospital::new(plan), paper, refused, changes }
    }

    pub fn step(&mut self) -> Option<(Given, Option<Event>)> {
        let given = self.hospital.next(&self.paper.state)?;
        let taken = self.paper.take_with_changes(&given);
        let event = match taken {
            Ok((event, changes)) => {
                self.changes.cases.extend(changes.cases);
                self.changes.loads.extend(changes.loads);
                self.changes.assets.extend(changes.assets);
                Some(event)
            }
            Err(turned) => {
                *self.refused.entry(format!("{} {}", given.command.act.name(), why(&turned))).or_default() +=
                    1;
                None
            }
        };
        self.hospital.heard(&given, event.as_ref());
        Some((given, event))
    }

    pub fn finished(mut self) -> Run {
        while self.step().is_some() {}
        self
    }

    pub fn state(&self) -> &State {
        &self.paper.state
    }
}

fn why(turned: &Turned) -> String {
    match turned {
        Turned::Refused(refusal) => refusal.code().name().to_string(),
        Turned::Malformed(wrong) => format!("malformed {wrong:?}"),
        Turned::NotYourRole => "not_your_role".into(),
    }
}

/// A run's small hospital for 200 days, the checker after each of them, and the whole checker at the end.
fn sound_every_day(seed: u64) {
    let mut run = Run::new(plan(seed, 6, 200));
    let mut day = 0;
    while let Some((given, _)) = run.step() {
        let today = given.now.0 / 86_400_000_000;
        if today != day {
            day = today;
            let changes = std::mem::take(&mut run.changes);
            let wrong = checks::check_changes(run.state(), &changes);
            assert!(wrong.is_empty(), "seed {seed}, {}: {wrong:#?}", given.now);
        }
    }
    let wrong = checks::check(run.state());
    assert!(wrong.is_empty(), "seed {seed}, at the end: {wrong:#?}");
    let record = &run.hospital.record;
    println!(
        "seed {seed}: {} given, {} turned away, {} late: {:?}",
        record.given, record.turned, record.late, run.refused
    );
    assert!(record.given > 5_000 && record.turned * 100 < record.given, "{:?}", run.refused);
}

#[test]
fn two_hundred_days_are_sound_after_each_of_them_seed_1() {
    sound_every_day(1);
}

#[test]
fn two_hundred_days_are_sound_after_each_of_them_seed_2() {
    sound_every_day(2);
}

#[test]
fn two_hundred_days_are_sound_after_each_of_them_seed_3() {
    sound_every_day(3);
}

/// What a look-back has to name: loads, and at which case which part was exposed in which turn.
#[derive(Default, PartialEq, Debug)]
struct Found {
    loads: BTreeSet<Id>,
    cases: BTreeMap<Id, BTreeSet<(Id, u32, Exposure)>>,
}

impl Found {
    fn of(trace: &Trace) -> Found {
        let parts = |parts: &BTreeSet<fettle::domain::lookback::AtCase>| {
            parts.iter().map(|at| (at.asset.clone(), at.turn, at.exposure)).collect()
        };
        let cases = trace.cases.iter().map(|(case, all)| (case.clone(), parts(all))).collect();
        Found { loads: trace.loads.clone(), cases }
    }

    /// Every exposure of the record that is wanted, one by one.
    fn expose(&mut self, record: &Record, wanted: impl Fn(&Id, u32) -> bool) {
        for (case, parts) in &record.exposures {
            for (asset, (turn, exposure)) in parts {
                if wanted(asset, *turn) {
                    let at = (asset.clone(), *turn, *exposure);
                    self.cases.entry(case.clone()).or_default().insert(at);
                }
            }
        }
    }

    fn from_load(record: &Record, load: &Id) -> Found {
        let mut found = Found { loads: [load.clone()].into(), ..Found::default() };
        let inside: BTreeSet<_> = record.loads[load].iter().collect();
        if !record.rejected.contains(load) {
            found.expose(record, |asset, turn| inside.contains(&(asset.clone(), turn)));
        }
        found
    }

    fn from_asset(record: &Record, asset: &Id) -> Found {
        let mut found = Found::default();
        let with = record.loads.iter().filter(|(_, parts)| parts.iter().any(|(it, _)| it == asset));
        found.loads = with.map(|(load, _)| load.clone()).collect();
        found.expose(record, |it, _| it == asset);
        found
    }

    fn from_case(record: &Record, case: &Id) -> Found {
        let mut found = Found { cases: [(case.clone(), BTreeSet::new())].into(), ..Found::default() };
        let Some(exposed) = record.exposures.get(case) else { return found };
        let with = record.loads.iter().filter(|(_, parts)| {
            parts.iter().any(|(asset, turn)| exposed.get(asset).is_some_and(|(at, _)| at == turn))
        });
        found.loads = with.map(|(load, _)| load.clone()).collect();
        found.expose(record, |asset, turn| exposed.get(asset).is_some_and(|(at, _)| turn >= *at));
        found
    }
}

/// The trace agrees with a plain search over the record that the simulation kept for itself.
#[test]
fn look_backs_are_what_a_plain_search_finds() {
    let run = Run::new(plan(11, 5, 90)).finished();
    let (state, record) = (run.state(), &run.hospital.record);
    assert!(record.loads.len() > 300 && record.exposures.len() > 50 && !record.rejected.is_empty());
    let compare = |origin: Origin, expected: Found| {
        let traced = trace(state, &origin).expect("a known origin");
        assert_eq!(Found::of(&traced), expected, "{origin:?}");
    };
    for load in state.loads.keys() {
        let origin = Origin { load: Some(load.clone()), ..Origin::default() };
        compare(origin, Found::from_load(record, load));
    }
    for asset in state.assets.keys() {
        let origin = Origin { asset: Some(Line(asset.to_string())), ..Origin::default() };
        compare(origin, Found::from_asset(record, asset));
    }
    for case in state.cases.keys() {
        let origin = Origin { case: Some(case.clone()), ..Origin::default() };
        compare(origin, Found::from_case(record, case));
    }
}

/// What the theatre knows that it did is what the record counts as used, inferred at the count or told late.
#[test]
fn what_touched_the_patient_is_what_is_counted() {
    let run = Run::new(plan(12, 6, 90)).finished();
    let state = run.state();
    let settled = |start: Time| start < state.recorded_at.plus_minutes(-3 * 24 * 60);
    let mut seen = 0;
    for case in state.cases.values().filter(|case| case.closed && settled(case.start)) {
        let used = case.parts.iter().filter(|(_, part)| part.exposure == Some(Exposure::Used));
        let used: BTreeSet<Id> = used.map(|(asset, _)| asset.clone()).collect();
        let truly = run.hospital.record.truly_used.get(&case.case).cloned().unwrap_or_default();
        assert_eq!(used, truly, "case {}", case.case);
        seen += 1;
    }
    assert!(seen > 60, "{seen}");
}

/// Whether an accepted fact may be told later without anything else depending on it.
fn may_wait(given: &Given, event: &Event, uses: &mut BTreeMap<Id, u32>, apart: &BTreeSet<Id>) -> bool {
    // A part that was reported after it was opened is held: a use that comes before its opening is one on hold.
    if let What::Opened(it) = &event.what
        && apart.contains(&it.case)
    {
        return false;
    }
    if given.command.around.late.is_some() {
        return false;
    }
    match (&given.command.act, &event.what) {
        (Act::Case(Case::Open(_)), What::Opened(it)) => it.holds.is_empty(),
        (Act::Case(Case::Use(_)), What::Used(it)) => {
            // Where nothing was told as used, the count takes everything as used: one use has to stay in time.
            // What is looked for meanwhile has to be found before anything is told of it.
            let quiet = it.holds.is_empty() && !it.parts.iter().any(|part| apart.contains(&part.asset));
            let left = uses.get_mut(&it.case).filter(|left| **left > 1 && quiet);
            left.map(|left| *left -= 1).is_some()
        }
        (Act::Step(Step::RecordStep(it)), What::StepRecorded(_)) => it.step == StepName::Treated,
        _ => false,
    }
}

/// The same history, a tenth of its facts told late: between one and sixty entries after they happened.
#[test]
fn a_tenth_told_late_leaves_the_same_exposures_uses_and_cycles() {
    let plan = plan(13, 5, 90);
    let mut run = Run::new(plan.clone());
    let mut history = Vec::new();
    while let Some((given, event)) = run.step() {
        history.extend(event.map(|event| (given, event)));
    }
    let mut uses: BTreeMap<Id, u32> = BTreeMap::new();
    for (given, event) in &history {
        // What the theatre itself tells late is not there yet when the count is closed.
        if let (What::Used(it), None) = (&event.what, &given.command.around.late) {
            *uses.entry(it.case.clone()).or_default() += 1;
        }
    }
    let reported = run.state().findings.values().filter_map(|it| it.case.clone());
    let apart: BTreeSet<Id> = run.state().missing.keys().cloned().chain(reported).collect();
    let mut chance = Chance::new(99);
    let (mut order, mut late) = (Vec::new(), 0);
    for (n, (given, event)) in history.into_iter().enumerate() {
        let mut given = given;
        let mut place = (n, 0);
        if chance.happens(0.35) && may_wait(&given, &event, &mut uses, &apart) {
            given.command.around.late =
                Some(Late { cause: LateCause::Forgotten, sheet: None, line: None, done_by: None });
            place = (n + chance.between(1, 60) as usize, 1);
            late += 1;
        }
        order.push((place, given));
    }
    order.sort_by_key(|(place, _)| *place);
    let facts = order.iter().filter(|(_, given)| given.command.act.tells_a_fact()).count();
    assert!(late * 10 > facts, "{late} of {facts} facts");
    let site = Id::new("sim").expect("an id");
    let mut again = Paper::new(site, plan.zone, plan.from);
    for (_, given) in &order {
        if let Err(turned) = again.take(given) {
            // The count has said meanwhile what the late fact says.
            let known = given.command.around.late.is_some() && why(&turned) == "already_done";
            assert!(known, "{} at {}: {}: {turned:?}", given.command.act.name(), given.now, why(&turned));
        }
    }
    let (live, told) = (run.state(), &again.state);
    for (asset, told) in live.assets.values().zip(told.assets.values()) {
        let of = |it: &fettle::domain::state::Asset| (it.asset.clone(), it.uses, it.cycles, it.turn);
        assert_eq!(of(asset), of(told));
    }
    for (case, told) in live.cases.values().zip(told.cases.values()) {
        let of = |it: &fettle::domain::case::Case| -> Vec<(Id, u32, Option<Exposure>)> {
            it.parts.iter().map(|(asset, part)| (asset.clone(), part.turn, part.exposure)).collect()
        };
        assert_eq!(of(case), of(told), "case {}", case.case);
    }
    assert_eq!((live.assets.len(), live.cases.len()), (told.assets.len(), told.cases.len()));
    assert!(checks::check(told).is_empty());
}

/// Weibull's law: a share of 1 - 1/e fails before the scale, whatever the shape, and the mean is the scale times
/// Gamma(1 + 1/shape); Gamma(1.4) is 0.88726 (Abramowitz and Stegun, table 6.1).
#[test]
fn lives_follow_their_law() {
    let law = catalogue::law_of("cap-1").expect("a law");
    let (shape, scale) = law.life.expect("a life");
    assert_eq!(shape, 2.5);
    let lives: Vec<f64> =
        (0..20_000).map(|n| catalogue::life(7, &format!("C-{n}"), "cap-1").expect("a life")).collect();
    let early = lives.iter().filter(|life| **life < scale).count() as f64 / 20_000.0;
    // Four standard errors of a share of 20,000.
    assert!((early - (1.0 - (-1.0_f64).exp())).abs() < 0.014, "{early}");
    let mean = lives.iter().sum::<f64>() / 20_000.0 / scale;
    assert!((mean - 0.88726).abs() < 0.011, "{mean}");
}

/// People find what is worn at the first inspection after its true life, and never before.
#[test]
fn worn_parts_are_retired_at_the_end_of_their_life() {
    let seed = 14;
    let run = Run::new(plan(seed, 6, 120)).finished();
    let mut failures = 0;
    for asset in run.state().assets.values() {
        let Some(life) = catalogue::life(seed, asset.asset.as_str(), asset.model.as_str()) else { continue };
        if asset.retired.as_ref().is_some_and(|retired| retired.failure) {
            failures += 1;
            assert!(f64::from(asset.cycles) >= life, "{asset:?}");
        }
        if let Some(inspected) = &asset.inspected {
            assert!(f64::from(inspected.cycles) < life, "{asset:?}");
        }
    }
    assert!(failures > 5, "{failures}");
}

/// A fortnight through the house on both databases: what it holds is what the paper says, and what its ledger makes.
#[tokio::test(flavor = "multi_thread")]
async fn a_fortnight_through_the_house_is_what_the_paper_says() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let site = Id::new(&served.site).expect("an id");
        let plan = plan(21, 3, 14);
        let paper = Paper::new(site.clone(), plan.zone, plan.from);
        let (refused, changes) = (BTreeMap::new(), Changes::default());
        let mut run = Run { hospital: Hospital::new(plan), paper, refused, changes };
        let mut history = Vec::new();
        while let Some((given, event)) = run.step() {
            if event.is_some() {
                let actor = Actor { code: given.role.name().into(), role: given.role };
                history.push((actor, given.now, given.command));
            }
        }
        assert!(history.len() > 500, "{}", history.len());
        for part in history.chunks(200) {
            for outcome in served.house.submit_history(&site, part.to_vec()).await {
                assert!(matches!(outcome, Outcome::Accepted(_)), "{outcome:?}");
            }
        }
        let state = served.house.state(&site).await.expect("a database").expect("a site");
        let (there, here) = (&*state, run.state());
        assert_eq!(there.assets.len(), here.assets.len());
        for (there, here) in there.assets.values().zip(here.assets.values()) {
            let of = |it: &fettle::domain::state::Asset| {
                (it.asset.clone(), it.stage, it.turn, it.cycles, it.uses, it.missing, it.holds.len(), it.next)
            };
            assert_eq!(of(there), of(here));
        }
        assert!(there.cases.values().zip(here.cases.values()).all(|(a, b)| a.status() == b.status()));
        served.sound().await;
        served.stop().await;
    }
}

/// The command line writes the same lines for a seed, others for another, and each is a command that its role may give.
#[test]
fn the_command_line_writes_the_same_commands_for_a_seed() {
    let lines = |seed: &str| {
        let mut fettle = std::process::Command::new(env!("CARGO_BIN_EXE_fettle"));
        let arguments = ["simulate", "--sites", "2", "--days", "4", "--sets", "2", "--seed", seed];
        let done = fettle.args(arguments).output().expect("a run");
        assert!(done.status.success() && done.stderr.is_empty(), "{done:?}");
        String::from_utf8(done.stdout).expect("text")
    };
    let once = lines("4");
    assert!(once == lines("4") && once != lines("5"));
    for line in once.lines() {
        let line: serde_json::Value = serde_json::from_str(line).expect("JSON");
        let role = line["role"].as_str().and_then(Role::parse).expect("a role");
        let command = Command::read(line["command"].clone()).expect("a command");
        assert!(
            command.act.admits(role)
                && ["site-1", "site-2"].contains(&line["site"].as_str().expect("a site"))
        );
    }
}
