//! Both databases and the pure state say the same: sequences of commands are decided and applied in memory, and given
//! to two houses on each database, and nothing may differ but salts and secrets.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;

use fettle::app::house::House;
use fettle::app::rebuild;
use fettle::domain::checks;
use fettle::domain::command::Command;
use fettle::domain::deciding::Turned;
use fettle::domain::event::{Beside, Event, What};
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use fettle::domain::site::SiteFounded;
use fettle::domain::text::Line;
use fettle::domain::time::Time;
use fettle::ledger::leaf::leaf;
use fettle::storage::account::{self, PersonRow};
use fettle::storage::{facts, ledger};
use proptest::collection::vec;
use proptest::test_runner::{Config, RngAlgorithm, TestError, TestRng, TestRunner};
use serde_json::{Value, json};

use super::own::Own;
use super::served::{BOTH, Served, department, steam_record, wash_record};

mod acts;
mod alert;
mod at_case;
mod at_machine;
mod edges;
mod paper;
mod pure;
mod recall;
mod request;
mod schedule;
mod told;
mod visit;
mod wear;

use acts::{Dice, code};
use pure::{Pure, Told, Verdict};

/// What the whole run reached.
#[derive(Default)]
struct Reached {
    asked: u32,
    accepted: u32,
    kinds: BTreeSet<String>,
    turned: BTreeMap<String, u32>,
}

impl Reached {
    fn note(&mut self, verdict: &Verdict, pure: &Pure) {
        self.asked += 1;
        let turned = match verdict {
            Verdict::Accepted { replayed: false, .. } => {
                self.accepted += 1;
                let last: Value = serde_json::from_str(pure.entries.last().expect("an entry")).expect("JSON");
                self.kinds.insert(last["kind"].as_str().expect("a kind").into());
                return;
            }
            Verdict::Accepted { .. } => "a key repeated".to_string(),
            Verdict::KeyReused => "a key reused".to_string(),
            Verdict::Turned(Turned::Refused(refusal)) => refusal.code().name().to_string(),
            Verdict::Turned(Turned::Malformed(_)) => "malformed".to_string(),
            Verdict::Turned(Turned::NotYourRole) => "not_your_role".to_string(),
            Verdict::Else(other) => panic!("{other}"),
        };
        *self.turned.entry(turned).or_default() += 1;
    }
}

const BEGINNING: Time = Time(1_772_000_000_000_000);

/// The furniture: the small department, a second set, a steriliser that wants its test, a second washer.
fn furniture() -> Vec<(Role, Value)> {
    let mut all = department();
    all.extend([
        (Role::Admin, json!({"do": "define_machine", "machine": "steriliser-2", "kind": "steriliser", "programmes":
            [{"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 180, "air_removal_test": true, "cooling_s": 600}]})),
        (Role::Admin, json!({"do": "define_machine", "machine": "washer-2", "kind": "washer_disinfector", "programmes":
            [{"programme": "wash", "method": "machine", "band_c": 80, "a0_s": 600}]})),
        (Role::Lead, json!({"do": "build_set", "set": "SET-2", "count_sheet": "adult", "name": "Adult 2"})),
        (Role::Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1})),
    ]);
    for (asset, model, line) in
        [("B-2", "barrel", "barrel"), ("C-3", "cap", "cap"), ("T-2", "scope", "telescope")]
    {
        all.push((Role::Lead, json!({"do": "add_asset", "asset": asset, "model": model})));
        all.push((Role::Lead, json!({"do": "put_in_set", "set": "SET-2", "line": line, "asset": asset})));
    }
    for (model, implant) in [("catheter", false), ("stent", true)] {
        all.push((
            Role::Biomed,
            json!({"do": "define_model", "model": model, "family": "accessory", "name": model, "route": "metal",
                   "single_use": true, "implant": implant}),
        ));
    }
    all.extend(released_alone());
    all
}

/// A load that one person started and released alone, so that there is something to countersign.
fn released_alone() -> Vec<(Role, Value)> {
    let route = json!({"do": "define_route", "route": "plain", "steps": [{"step": "packed"}, {"step": "sterilised"}]});
    let model = json!({"do": "define_model", "model": "plain", "family": "accessory", "name": "Plain", "route": "plain",
        "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    let start = json!({"do": "start_load", "load": "alone-1", "machine": "steriliser-1", "programme": "p134", "scan": "P-1"});
    let chemical =
        json!({"do": "record_indicator", "load": "alone-1", "indicator": "chemical", "result": "pass"});
    vec![
        (Role::Admin, route),
        (Role::Admin, model),
        (Role::Admin, json!({"do": "set_policy", "two_people": true})),
        (Role::Lead, json!({"do": "add_asset", "asset": "P-1", "model": "plain"})),
        (Role::Desk, json!({"do": "record_step", "step": "packed", "scan": "P-1"})),
        (Role::Desk, start),
        (Role::Desk, json!({"do": "judge_load", "load": "alone-1", "record": steam_record(200)})),
        (Role::Desk, chemical),
        (
            Role::Desk,
            json!({"do": "release_load", "load": "alone-1",
                   "override": {"code": "same_person", "reason": "adult is the reserve"}}),
        ),
    ]
}

/// Tells the pure state a case, and gathers what was told and what came of it.
fn imagine(pure: &mut Pure, raw: &[[u16; 12]], reached: &Mutex<Reached>) -> Vec<(Told, Verdict)> {
    let mut all: Vec<(Told, Verdict)> = Vec::new();
    let mut now = BEGINNING;
    for (role, command) in furniture() {
        let told = Told { role, second: false, now, command: Command::read(command).expect("a command") };
        let verdict = pure.tell(&told);
        assert!(matches!(verdict, Verdict::Accepted { .. }), "{verdict:?}");
        all.push((told, verdict));
    }
    for (n, raw) in raw.iter().enumerate() {
        let mut dice = Dice::new(*raw);
        if dice.once_in(3) {
            // The clock goes back now and then: what is recorded does not.
            now = now.plus_s([600, 30, 3_600, -20, 90][dice.below(5)]);
        }
        let around = dice.below(12);
        let second = dice.once_in(6);
        let earlier = all.get(dice.below(all.len())).map(|(told, _)| told.clone()).expect("furniture");
        let (role, command) = acts::next(&pure.state, &mut dice, now);
        let mut told = Told { role, second, now, command: Command::read(command).expect("a command") };
        match around {
            // The same again, under its key where it has one.
            0 => told = Told { now, ..earlier },
            // Another command under a key that may be known.
            1 => told.command.around.key = earlier.command.around.key,
            2..6 => told.command.around.key = serde_json::from_value(json!(format!("k-{n}"))).ok(),
            _ => {}
        }
        let verdict = pure.tell(&told);
        reached.lock().expect("what was reached").note(&verdict, pure);
        let wrong = checks::check(&pure.state);
        assert!(wrong.is_empty(), "{wrong:?} by {told:?}: {verdict:?}");
        all.push((told, verdict));
    }
    all
}

/// A database with two houses on it, as two servers would be.
struct Side {
    own: Own,
    houses: [House; 2],
}

impl Side {
    async fn found(&self, site: &Id, people: &BTreeSet<String>) {
        self.houses.iter().for_each(|house| house.clock.set(BEGINNING));
        self.houses[0].add_site(site.as_str(), "Test service", "Europe/Berlin").await.expect("a site");
        for code in people {
            let (code, name, role) = (code.clone(), code.clone(), "desk".into());
            let person = PersonRow { code, name, role, password: "none".into(), disabled: false };
            account::add_person(&self.houses[0].db, site.as_str(), &person).await.expect("a person");
        }
    }

    /// Gives the commands as they were imagined: neighbours of one person at one time together.
    async fn give(&self, site: &Id, all: &[(Told, Verdict)]) {
        let together =
            |a: &(Told, Verdict), b: &(Told, Verdict)| (a.0.actor(), a.0.now) == (b.0.actor(), b.0.now);
        for (n, group) in all.chunk_by(together).enumerate() {
            let Some((first, _)) = group.first() else { continue };
            // The second house comes in when the first has furnished, and has to catch up each time.
            let house = &self.houses[usize::from(n > 12 && n % 3 == 0)];
            house.clock.set(first.now);
            let commands = group.iter().map(|(told, _)| told.command.clone()).collect();
            let outcomes = house.submit(site, &first.actor(), commands).await;
            assert_eq!(outcomes.len(), group.len());
            for ((told, imagined), outcome) in group.iter().zip(outcomes) {
                let command = told.command.to_value().expect("a command");
                assert_eq!(&Verdict::from(outcome), imagined, "{:?}: {command}", self.own.kind);
            }
        }
    }

    async fn equals(&self, site: &Id, pure: &Pure) {
        let mut conn = self.houses[0].db.connect().await.expect("a connection");
        let stored = ledger::after(&mut conn, site.as_str(), 0, 10_000).await.expect("entries");
        let told = stored.iter().map(|entry| (entry.entry.as_str(), entry.leaf.as_slice()));
        let imagined: Vec<_> = pure.entries.iter().map(|text| (text, leaf(text.as_bytes()))).collect();
        let imagined = imagined.iter().map(|(text, leaf)| (text.as_str(), leaf.as_slice()));
        assert_eq!(told.collect::<Vec<_>>(), imagined.collect::<Vec<_>>(), "{:?}", self.own.kind);
        let tables = pure.tables();
        for table in facts::ALL {
            let rows = facts::all_rows(&mut conn, &table, site.as_str()).await.expect("rows");
            assert_eq!(Some(&rows), tables.get(table.name), "{:?}: {}", self.own.kind, table.name);
        }
    }
}

#[test]
fn both_databases_and_the_pure_state_agree() {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let mut sides = Vec::new();
    for kind in BOTH {
        let own = runtime.block_on(Own::new(kind));
        let open = || runtime.block_on(House::open(&own.url)).expect("a house");
        let houses = [open(), open()];
        sides.push(Side { houses, own });
    }
    let people: BTreeSet<String> =
        Role::ALL.into_iter().flat_map(|role| [code(role, false), code(role, true)]).collect();
    let reached = Mutex::new(Reached::default());
    let case = std::sync::atomic::AtomicU32::new(0);
    // A fixed seed: what the run reaches is a promise, not luck.
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[23; 32]);
    let config = Config { cases: 36, failure_persistence: None, max_shrink_iters: 60, ..Config::default() };
    let numbers = vec(proptest::array::uniform12(proptest::num::u16::ANY), 90..240);
    let done = TestRunner::new_with_rng(config, rng).run(&numbers, |raw| {
        let n = case.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        let site = Id::new(&format!("case-{n}")).expect("a site");
        let mut pure = Pure::new(&site, &people);
        let founded = SiteFounded {
            name: Line("Test service".into()),
            timezone: "Europe/Berlin".into(),
            practice: false,
        };
        let event = Event { beside: Beside::default(), what: What::SiteFounded(founded) };
        pure.enter(&event, BEGINNING, BEGINNING, "founder", None, None);
        reached.lock().expect("what was reached").kinds.insert(event.what.kind().into());
        let all = imagine(&mut pure, &raw, &reached);
        assert_eq!(checks::check(&pure.state), Vec::<String>::new());
        for side in &sides {
            runtime.block_on(async {
                side.found(&site, &people).await;
                side.give(&site, &all).await;
                side.equals(&site, &pure).await;
            });
        }
        Ok(())
    });
    if let Err(TestError::Fail(why, raw)) = done {
        panic!("{why}; after {} commands", raw.len());
    }
    for side in &sides {
        let report = runtime.block_on(rebuild::check(&side.houses[0].db)).expect("a check");
        assert_eq!((report.wrong, report.sites), (Vec::new(), 36), "{:?}", side.own.kind);
    }
    let reached = reached.into_inner().expect("what was reached");
    println!("{} of {} accepted; turned away: {:?}", reached.accepted, reached.asked, reached.turned);
    // A patient's seal is salted, so no two sides have the same one; tests of their own hold what is erased, and
    // pictures, whose bytes are kept beside the ledger.
    // What is sealed is salted by each house, so these are left to the tests of their own.
    let sealed = ["patient_erased", "dedicated", "photo_added", "schedule_kept", "schedule_settled"];
    let wanted = What::KINDS.iter().filter(|kind| !sealed.contains(kind));
    let wanted: BTreeSet<String> = wanted.map(|kind| kind.to_string()).collect();
    let never: Vec<&String> = wanted.difference(&reached.kinds).collect();
    assert!(never.is_empty(), "kinds of event that were not reached: {never:?}");
    assert!(reached.accepted * 2 > reached.asked, "{} of {}", reached.accepted, reached.asked);
    assert!(reached.turned.len() >= 12, "{:?}", reached.turned);
    runtime.block_on(async {
        for side in &sides {
            side.houses[0].close().await;
            side.houses[1].close().await;
        }
    });
}

/// Takes two metal parts from treated to ready; the loads carry a name, so that an array can go through them.
fn onwards_to_ready(name: &str) -> Vec<Value> {
    let parts = json!(["B-1", "C-2"]);
    let step = |step: &str| json!({"do": "record_step", "step": step, "scan": parts});
    let (washed, steamed) = (format!("{name}-washed"), format!("{name}-steamed"));
    let start = |load: &str, machine: &str, programme: &str| json!({"do": "start_load", "load": load, "machine": machine, "programme": programme, "scan": parts});
    let of = |act: &str, load: &str| json!({"do": act, "load": load});
    let judge = |load: &str, record: String| json!({"do": "judge_load", "load": load, "record": record});
    let chemical =
        json!({"do": "record_indicator", "load": steamed, "indicator": "chemical", "result": "pass"});
    let mut all: Vec<Value> = ["received", "cleaned", "dried"].map(step).into();
    all.extend([
        start(&washed, "washer-1", "wash"),
        judge(&washed, wash_record(300)),
        of("release_load", &washed),
    ]);
    all.extend([json!({"do": "inspect", "scan": parts, "passed": true}), step("packed")]);
    all.extend([start(&steamed, "steriliser-1", "p134"), judge(&steamed, steam_record(200)), chemical]);
    all.push(of("release_load", &steamed));
    all
}

/// What a command is told does not depend on whether it comes in an array with those before it: a fact told late looks
/// at turns that began, and at seats that were taken, a moment ago.
#[tokio::test(flavor = "multi_thread")]
async fn an_array_says_what_its_commands_say_alone() {
    let step = |step: &str, scan: Value| json!({"do": "record_step", "step": step, "scan": scan});
    let seat = |act: &str, asset: &str| json!({"do": act, "set": "SET-1", "line": "cap", "asset": asset});
    let late = |name: &str, scan: Value, minutes: i64| {
        let mut command = step(name, scan);
        command["at"] = json!(BEGINNING.plus_minutes(600 - minutes));
        command["late"] = json!({"cause": "forgotten"});
        command
    };
    let both = || json!(["B-1", "C-2"]);
    // Two turns begin within the first array, and the last fact lies in the one before the last.
    let mut first = vec![late("treated", both(), 60)];
    first.extend(onwards_to_ready("second"));
    first.extend([step("treated", both()), late("cleaned", json!(["B-1"]), 40)]);
    let second = [seat("put_in_set", "C-2"), late("cleaned", json!("SET-1"), 40)];
    for kind in BOTH {
        let (one, other) = (Served::start(kind).await, Served::start(kind).await);
        for served in [&one, &other] {
            served.house.clock.set(BEGINNING);
            served.furnish().await;
            // A pack goes whole, and this one is B-1 alone.
            served.done(Role::Lead, seat("take_from_set", "C-1")).await;
            for command in [step("treated", both())].into_iter().chain(onwards_to_ready("first")) {
                served.done(Role::Lead, command).await;
            }
            served.house.clock.set(BEGINNING.plus_minutes(600));
        }
        for (commands, asset) in [(&first[..], "B-1"), (&second[..], "C-2")] {
            let (_, together) = one.post(Role::Lead, json!(commands)).await;
            let mut last = Value::Null;
            for (n, command) in commands.iter().enumerate() {
                last = other.done(Role::Lead, command.clone()).await["event"].take();
                assert_eq!(together["results"][n]["event"], last, "{kind:?}: {command}");
            }
            let noted = last["noted"].as_array().expect("what was only noted");
            assert!(noted.contains(&json!({"asset": asset, "turn": 2})), "{last}");
        }
        one.stop().await;
        other.stop().await;
    }
}
