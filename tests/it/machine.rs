//! Machines as things with a life: what takes one out, what brings it back, which tests are due and on which day.

use fettle::domain::command::Command;
use fettle::domain::person::Role::{Admin, Biomed, Desk, Lead};
use fettle::domain::refusal::Code;
use fettle::domain::state::Condition;
use serde_json::{Value, json};

use super::served::{BOTH, Served, steam_record};
use super::ward::{Ward, again, air, indicator, late, release};

fn test(name: &str, passed: bool) -> Value {
    json!({"do": "record_machine_test", "machine": "st", "test": name, "passed": passed})
}

fn back(after: &str) -> Value {
    json!({"do": "machine_back", "machine": "st", "after": after})
}

fn start(load: &str, scan: &str) -> Value {
    json!({"do": "start_load", "load": load, "machine": "st", "programme": "p134", "scan": scan})
}

/// Of "no / failed test: out of service; repeat once after a correct set-up" (from memory, as the trade teaches it).
#[test]
fn a_failed_air_removal_test_takes_it_out_and_one_named_repeat_brings_it_back() {
    let mut ward = Ward::open();
    assert_eq!(ward.word("st"), "due");
    ward.refused(Desk, start("a", "P-1"), "machine_not_ready");
    ward.done(Desk, air(false));
    assert_eq!(ward.word("st"), "test failed");
    ward.refused(Desk, start("a", "P-1"), "machine_not_ready");
    // A second test that nobody calls a repeat shows nothing of the first.
    ward.done(Desk, air(true));
    assert_eq!(ward.word("st"), "test failed");
    let repeated = ward.done(Desk, again(true));
    assert!(repeated.beside.deviation.is_empty());
    assert_eq!(ward.word("st"), "in service");
    ward.done(Desk, start("a", "P-1"));
}

#[test]
fn a_second_failure_stays_out_until_somebody_brings_it_back() {
    let mut ward = Ward::open();
    ward.done(Desk, air(false));
    assert!(ward.done(Desk, again(false)).beside.deviation.is_empty());
    assert_eq!(ward.word("st"), "out of service");
    // A second repeat is told, and does not count as one.
    assert_eq!(ward.done(Desk, again(true)).beside.deviation, [Code::OutOfOrder]);
    assert_eq!(ward.word("st"), "out of service");
    ward.done(Biomed, back("minor"));
    // The test day has a good test now, though it was no repeat: it was the last one.
    assert_eq!(ward.word("st"), "in service");
}

#[test]
fn there_is_one_repeat_a_test_day_and_none_without_a_failure() {
    let mut ward = Ward::open();
    assert_eq!(ward.done(Desk, again(true)).beside.deviation, [Code::OutOfOrder], "nothing had failed");
    assert_eq!(ward.word("st"), "in service", "a good test is a good test");
    ward.done(Desk, air(false));
    ward.done(Desk, again(true));
    assert_eq!(ward.word("st"), "in service");
    ward.done(Desk, air(false));
    assert_eq!(ward.done(Desk, again(true)).beside.deviation, [Code::OutOfOrder], "the second of this day");
    assert_eq!(ward.word("st"), "test failed");
    // On the next test day the failure of the day before has no repeat any more.
    ward.at("2026-03-03T05:59:00+01:00");
    assert_eq!(ward.done(Desk, again(true)).beside.deviation, [Code::OutOfOrder]);
    ward.at("2026-03-03T06:30:00+01:00");
    assert_eq!(ward.done(Desk, again(true)).beside.deviation, [Code::OutOfOrder]);
    assert_eq!(ward.word("st"), "test failed");
    ward.done(Lead, back("minor"));
    assert_eq!(ward.word("st"), "in service");
    let mut blank = again(true);
    blank["repeat_because"] = json!(" ");
    ward.refused(Desk, blank, "needs_reason");
    let other = json!({"do": "record_machine_test", "machine": "st", "test": "leak_rate", "passed": true, "repeat_because": "x"});
    assert_eq!(Command::read(other).expect_err("malformed")[0].pointer, "/repeat_because");
}

#[test]
fn a_repeat_brings_back_nothing_that_a_person_took_out() {
    let mut ward = Ward::open();
    ward.done(Desk, json!({"do": "machine_out", "machine": "st", "reason": "valve"}));
    ward.done(Desk, air(false));
    assert_eq!(ward.word("st"), "out of service");
    assert_eq!(ward.done(Desk, again(true)).beside.deviation, [Code::OutOfOrder]);
    assert_eq!(ward.word("st"), "out of service");
    let Condition::Out { reason, .. } = &ward.of("st").condition else { panic!("out") };
    assert_eq!(reason, "valve");
    // Nor one whose indicator grew while its test had failed.
    let mut ward = Ward::open();
    ward.passed("a", "plain", "P-1");
    let failed =
        json!({"do": "record_machine_test", "machine": "plain", "test": "air_removal", "passed": false});
    ward.done(Desk, failed.clone());
    ward.done(Desk, indicator("a", "biological", "fail", None));
    let mut repeat = failed;
    repeat["passed"] = json!(true);
    repeat["repeat_because"] = json!("door");
    assert_eq!(ward.done(Desk, repeat).beside.deviation, [Code::OutOfOrder]);
    assert_eq!(ward.word("plain"), "out of service");
}

/// CDC Guideline 2008, Sterilizing Practices (read): three consecutive empty cycles on installation, relocation, major
/// repair and after a sterilisation failure.
#[test]
fn three_empty_cycles_in_a_row_and_a_failed_one_begins_again() {
    for after in ["installed", "relocated", "major_repair", "failure"] {
        let mut ward = Ward::open();
        ward.done(Biomed, back(after));
        let detail = |ward: &Ward| ward.of("st").condition_words(&ward.paper.state, ward.now).detail;
        assert_eq!(
            (ward.word("st"), detail(&ward)),
            ("requalifying", "0 of 3 empty cycles good".to_string())
        );
        ward.done(Desk, test("empty_cycle", true));
        ward.done(Desk, test("empty_cycle", true));
        assert_eq!(detail(&ward), "2 of 3 empty cycles good");
        ward.refused(Desk, start("a", "P-1"), "machine_not_ready");
        ward.done(Desk, test("empty_cycle", false));
        assert_eq!(
            (ward.word("st"), detail(&ward)),
            ("requalifying", "0 of 3 empty cycles good".to_string())
        );
        ward.done(Desk, test("empty_cycle", true));
        // An air-removal test that fails meanwhile, and its repeat, leave the count as it was.
        ward.done(Desk, air(false));
        assert_eq!(ward.word("st"), "test failed");
        ward.done(Desk, again(true));
        assert_eq!(detail(&ward), "1 of 3 empty cycles good");
        ward.done(Desk, test("empty_cycle", true));
        ward.done(Desk, test("empty_cycle", true));
        assert_eq!(ward.word("st"), "in service");
        ward.done(Desk, start("a", "P-1"));
    }
    let mut ward = Ward::open();
    ward.refused(Biomed, back("minor"), "already_done");
    ward.done(Desk, test("empty_cycle", false));
    assert_eq!(ward.word("st"), "test failed", "in service, an empty cycle that fails takes it out");
}

/// EN 285, air leakage: at most 1.3 mbar/min, which is 0.13 kPa/min (read second-hand). 1 mmHg is 1.33322 mbar
/// (conventional millimetre of mercury), so 1 mmHg/min is above it.
#[test]
fn a_leak_rate_is_judged_by_its_number_and_unit() {
    for (value, unit, good) in [
        ("1.3", Some("mbar/min"), true),
        ("1.30", None, true),
        ("1.3000001", Some("mbar/min"), false),
        ("0.13", Some("kPa/min"), true),
        ("0.131", Some("kPa/min"), false),
        ("0.975", Some("mmHg/min"), true),
        ("1", Some("mmHg/min"), false),
        ("0", Some("mbar/min"), true),
    ] {
        let mut ward = Ward::open();
        ward.done(Desk, air(true));
        let mut leak =
            json!({"do": "record_machine_test", "machine": "st", "test": "leak_rate", "value": value});
        if let Some(unit) = unit {
            leak["unit"] = json!(unit);
        }
        // Whatever the person said.
        leak["passed"] = json!(true);
        ward.done(Desk, leak);
        assert_eq!(ward.word("st"), if good { "in service" } else { "test failed" }, "{value} {unit:?}");
    }
}

/// RACGP 2023 (read): the leak rate each day of use, or weekly with an air detector; weekly (UK, from memory).
#[test]
fn the_leak_rate_is_due_as_often_as_the_site_says() {
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    let due = |ward: &Ward| {
        let all = ward.of("st").tests_due(&ward.paper.state, ward.now);
        all.iter().filter(|it| it.test == "leak_rate").map(|it| it.found).collect::<Vec<_>>()
    };
    assert!(due(&ward).is_empty(), "not before the site says so");
    ward.done(Admin, json!({"do": "set_policy", "leak_rate_every_days": 7}));
    assert_eq!(due(&ward), [7]);
    assert!(ward.of("plain").tests_due(&ward.paper.state, ward.now).is_empty(), "no pre-vacuum");
    ward.done(Desk, test("leak_rate", true));
    assert!(due(&ward).is_empty());
    ward.at("2026-03-09T05:59:00+01:00");
    assert!(due(&ward).is_empty());
    ward.at("2026-03-09T06:00:00+01:00");
    assert_eq!(due(&ward), [7]);
    ward.done(Admin, json!({"do": "set_policy", "leak_rate_every_days": 0}));
    assert!(due(&ward).is_empty());
    for wrong in [json!({"leak_rate_every_days": 32}), json!({"biological": "monthly"})] {
        let mut all = wrong;
        all["do"] = json!("set_policy");
        assert!(Command::read(all).is_err());
    }
}

/// In Berlin the clock went from 2 to 3 on 29 March 2026 and goes from 3 to 2 on 25 October 2026 (tz database).
#[test]
fn a_test_day_begins_at_the_sites_hour_when_the_clock_changes_too() {
    let mut ward = Ward::open();
    ward.done(Admin, json!({"do": "set_policy", "test_day_starts": "02:30"}));
    let started = |ward: &mut Ward, now: &str| {
        ward.at(now);
        let word = ward.word("st");
        word == "in service"
    };
    ward.at("2026-03-28T08:00:00+01:00");
    ward.done(Desk, air(true));
    assert!(started(&mut ward, "2026-03-29T01:59:59+01:00"));
    assert!(
        !started(&mut ward, "2026-03-29T03:00:00+02:00"),
        "half past two does not exist; three is after it"
    );
    ward.done(Desk, air(true));
    assert!(started(&mut ward, "2026-03-30T02:29:00+02:00"));
    assert!(!started(&mut ward, "2026-03-30T02:30:00+02:00"));
    ward.at("2026-10-24T08:00:00+02:00");
    ward.done(Desk, air(true));
    assert!(started(&mut ward, "2026-10-25T02:29:00+02:00"));
    assert!(!started(&mut ward, "2026-10-25T02:30:00+02:00"));
    // It is twenty past two a second time: by the clock on the wall that is the day before still.
    assert!(started(&mut ward, "2026-10-25T02:20:00+01:00"));
    let due =
        ward.at("2026-10-25T09:00:00+01:00").paper.state.due(super::ward::time("2026-10-25T09:00:00+01:00"));
    let since = due.iter().find(|it| it.why == "air_removal").and_then(|it| it.since);
    assert_eq!(since, Some(super::ward::time("2026-10-25T02:30:00+02:00")));
}

#[test]
fn a_failed_verdict_flags_the_machine_and_asks_a_person() {
    let mut ward = Ward::open();
    ward.start("a", "plain", "P-1");
    ward.now = ward.now.plus_minutes(15);
    ward.judged("a", 20);
    ward.judged("a", 30);
    assert_eq!(ward.word("plain"), "flagged");
    let detail = |ward: &Ward| ward.of("plain").condition_words(&ward.paper.state, ward.now).detail;
    assert_eq!(detail(&ward), "the verdict on load a failed");
    ward.done(Desk, json!({"do": "reject_load", "load": "a", "reason": "short"}));
    // It stays in service: the next load runs, and may be released.
    ward.passed("b", "plain", "P-2");
    ward.done(Desk, release("b"));
    ward.start("c", "plain", "P-3");
    ward.now = ward.now.plus_minutes(15);
    ward.judged("c", 20);
    assert_eq!(detail(&ward), "2 verdicts failed, the last on load c");
    assert!(ward.paper.state.due(ward.now).iter().any(|it| it.why == "flagged" && it.found == 2));
    let clear = |reason: &str| json!({"do": "clear_flag", "machine": "plain", "reason": reason});
    ward.refused(Lead, clear(" "), "needs_reason");
    ward.refused(Lead, json!({"do": "clear_flag", "machine": "none", "reason": "r"}), "unknown_thing");
    ward.done(Lead, clear("steam was off, restored"));
    assert_eq!(ward.word("plain"), "in service");
    ward.refused(Lead, clear("again"), "already_done");
    let at = ward.now.to_string();
    ward.refused(Lead, late(clear("again"), &at), "already_done");
    // Taking it out answers as well.
    ward.judged("c", 25);
    ward.done(Desk, json!({"do": "machine_out", "machine": "plain", "reason": "steam supply"}));
    ward.done(Biomed, json!({"do": "machine_back", "machine": "plain", "after": "minor"}));
    assert_eq!(ward.word("plain"), "in service");
}

/// A machine remembers all its tests, in order however late they are told.
#[test]
fn a_machine_remembers_its_tests_in_their_order() {
    let mut ward = Ward::open();
    for day in 3..=28 {
        for hour in [7, 8, 9] {
            ward.at(&format!("2026-03-{day:02}T{hour:02}:00:00+01:00"));
            ward.done(Desk, test("leak_rate", true));
        }
    }
    assert_eq!(ward.of("st").tests.len(), 78);
    ward.done(Desk, late(air(true), "2026-03-20T06:30:00+01:00"));
    let tests = &ward.of("st").tests;
    assert!(tests.iter().is_sorted_by_key(|it| it.at) && tests.len() == 79);
    assert!(tests.iter().any(|it| it.test.as_str() == "air_removal"));
}

/// The same through the house, and the tables say what the ledger does.
#[tokio::test(flavor = "multi_thread")]
async fn tests_repeats_and_flags_are_kept() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let air = |passed: bool| json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "air_removal", "passed": passed});
        served.done(Desk, air(false)).await;
        let mut again = air(true);
        again["repeat_because"] = json!("pack over the drain");
        let told = served.done(Desk, again.clone()).await;
        assert_eq!((&told["event"]["repeat"], &told["deviation"]), (&json!(true), &json!([])));
        let told = served.done(Desk, again).await;
        assert_eq!((told["event"].get("repeat"), &told["deviation"]), (None, &json!(["out_of_order"])));
        served.dry().await;
        let load = served.wash(300).await;
        served.done(Desk, json!({"do": "release_load", "load": load})).await;
        served.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "SET-1"})).await;
        let load = served.load("steriliser-1", "p134", "SET-1").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(20)})).await;
        let state = served.house.state(&fettle::domain::id::Id::new(&served.site).expect("an id")).await;
        let state = state.expect("a database").expect("a site");
        assert!(state.machines.get("steriliser-1").is_some_and(|machine| machine.flag.is_some()));
        let (_, due) = served.get("due").await;
        assert!(due.to_string().contains("flagged"), "{due}");
        served.sound().await;
        served
            .done(Lead, json!({"do": "clear_flag", "machine": "steriliser-1", "reason": "steam was off"}))
            .await;
        served.sound().await;
        served.stop().await;
    }
}
