//! What casts doubt on loads that were released, told only afterwards: a failed test of the machine, a control that did not
//! grow. The entry that tells it holds what was made ready meanwhile.
//!
//! Sources: "no or failed air-removal test: out of service, repeat once after a correct set-up, quarantine the loads
//! already run that day", and a leak above 1.3 mbar/min puts it out of service (common practice, from memory; the limit is
//! EN 285, read second-hand). MMWR 2003;52(RR17) F6 (read): a spore test goes with a matching control of the same lot;
//! "a control without growth makes the test invalid" (from memory). CDC 2008, Table 12 (read): what was processed since
//! the last acceptable negative indicator is recalled.

use fettle::domain::event::{Event, What};
use fettle::domain::person::Role::{Admin, Biomed, Desk, Infection, Lead};
use fettle::domain::recall::Recalled;
use fettle::domain::release::{Spores, spores};
use serde_json::{Value, json};

use super::served::{BOTH, Served};
use super::ward::{Ward, again, air, indicator, late, release};

fn recall(event: &Event) -> Option<&Recalled> {
    match &event.what {
        What::MachineTested(it) => it.recall.as_ref(),
        What::IndicatorRecorded(it) => it.recall.as_ref(),
        other => panic!("{other:?}"),
    }
}

fn loads(event: &Event) -> Vec<&str> {
    recall(event).into_iter().flat_map(|it| it.loads.iter().map(|load| load.as_str())).collect()
}

fn assets(event: &Event) -> Vec<&str> {
    recall(event).into_iter().flat_map(|it| it.assets.iter().map(|asset| asset.as_str())).collect()
}

fn leak(value: &str) -> Value {
    json!({"do": "record_machine_test", "machine": "st", "test": "leak_rate", "value": value})
}

impl Ward {
    fn released(&mut self, load: &str, machine: &str, scan: &str) {
        self.passed(load, machine, scan);
        self.done(Desk, release(load));
    }

    fn held(&self, asset: &str) -> bool {
        !self.paper.state.assets.get(asset).expect("a part").holds.is_empty()
    }
}

#[test]
fn a_failed_air_removal_test_holds_what_was_released_since_the_last_that_passed() {
    let mut ward = Ward::open();
    ward.done(Lead, json!({"do": "add_asset", "asset": "P-5", "model": "part"}));
    ward.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "P-5"}));
    ward.done(Desk, air(true));
    ward.released("yesterday", "st", "P-1");
    ward.at("2026-03-03T06:10:00+01:00");
    ward.done(Desk, air(true));
    let passed_at = ward.of("st").last_tests["air_removal"].at;
    ward.released("a", "st", "P-2");
    ward.released("b", "st", "P-3");
    ward.passed("c", "st", "P-4");
    ward.released("other", "plain", "P-5");
    let failed = ward.done(Desk, air(false));
    // The one that is not decided yet is in doubt too; another machine's and the day before's are not.
    assert_eq!((loads(&failed), assets(&failed)), (vec!["a", "b", "c"], vec!["P-2", "P-3", "P-4"]));
    let since = recall(&failed).and_then(|it| it.since.clone()).expect("good evidence");
    assert_eq!(
        (since.test.as_ref().map(|it| it.as_str()), since.load, since.at),
        (Some("air_removal"), None, passed_at)
    );
    assert!(ward.held("P-2") && ward.held("P-4") && !ward.held("P-1") && !ward.held("P-5"));
    assert_eq!(ward.word("st"), "test failed", "the recall leaves the repeat its way back");
    // The named repeat brings the machine back; what is held stays so until a named person narrows it.
    let repeat = ward.done(Desk, again(true));
    assert_eq!((recall(&repeat), ward.word("st")), (None, "in service"));
    assert!(ward.held("P-2") && ward.held("P-4"));
    let narrow = json!({"do": "narrow_recall", "recall": "recall-0001", "loads": ["b", "c"], "reason": "repeat passed"});
    ward.done(Infection, narrow);
    assert!(!ward.held("P-2") && ward.held("P-3"));
    // Another failure on the same day is new evidence against what was narrowed away.
    let failed = ward.done(Desk, air(false));
    assert_eq!(loads(&failed), Vec::<&str>::new(), "since the repeat that passed no load ran");
}

#[test]
fn a_failed_test_before_the_first_load_of_its_day_holds_nothing() {
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    ward.released("a", "st", "P-1");
    // Past midnight, but before the site's hour, it is the same test day.
    ward.at("2026-03-03T05:50:00+01:00");
    let mut same = Ward { paper: ward.paper, now: ward.now };
    assert_eq!(loads(&same.done(Desk, air(false))), ["a"]);
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    ward.released("a", "st", "P-1");
    ward.at("2026-03-03T06:10:00+01:00");
    assert_eq!(recall(&ward.done(Desk, air(false))), None);
    assert_eq!(recall(&ward.done(Desk, again(false))), None);
    assert!(!ward.held("P-1"));
}

#[test]
fn a_repeat_that_fails_too_holds_them_once() {
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    ward.released("a", "st", "P-1");
    assert_eq!(loads(&ward.done(Desk, air(false))), ["a"]);
    assert_eq!(recall(&ward.done(Desk, again(false))), None, "held already");
    let narrow = json!({"do": "recall", "machine": "st", "reason": "looked at", "load": "a"});
    ward.done(Infection, narrow);
}

#[test]
fn a_leak_above_its_limit_casts_the_same_doubt() {
    for (value, doubt) in [("1.3", false), ("1.4", true)] {
        let mut ward = Ward::open();
        ward.done(Desk, leak("0.8"));
        ward.done(Desk, air(true));
        ward.released("a", "st", "P-1");
        let told = ward.done(Desk, leak(value));
        assert_eq!(recall(&told).is_some(), doubt, "{value}");
        assert_eq!(ward.held("P-1"), doubt);
        if let Some(it) = recall(&told) {
            assert!(it.reason.contains("leak-rate") && it.reason.contains("(1.4 mbar/min)"), "{}", it.reason);
            let since = it.since.as_ref().and_then(|since| since.test.as_ref()).map(|test| test.as_str());
            assert_eq!(since, Some("air_removal"), "the later of the two that passed");
        }
    }
}

/// Told late, it concerns the loads that stood on that day, and no later day's that had a good test of its own.
#[test]
fn a_failure_told_late_reaches_to_the_next_good_evidence() {
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    ward.released("a", "st", "P-1");
    ward.at("2026-03-03T06:10:00+01:00");
    ward.done(Desk, air(true));
    ward.released("b", "st", "P-2");
    let told = ward.done(Desk, late(air(false), "2026-03-02T08:30:00+01:00"));
    assert_eq!(loads(&told), ["a"]);
    // It failed before the test that nobody called a repeat: what came after that is in doubt all the same.
    assert!(ward.held("P-1") && !ward.held("P-2"));
    // One that was made good by the named repeat of its day says nothing of what followed that.
    let mut ward = Ward::open();
    ward.done(Desk, air(false));
    ward.done(Desk, again(true));
    ward.released("a", "st", "P-1");
    let told = ward.done(Desk, late(air(false), "2026-03-02T08:30:00+01:00"));
    assert_eq!(recall(&told), None);
}

#[test]
fn a_spore_test_of_the_machine_that_grew_holds_everything_since_the_last_negative() {
    let spore = |passed: bool| json!({"do": "record_machine_test", "machine": "plain", "test": "biological", "passed": passed});
    let mut ward = Ward::open();
    ward.released("a", "plain", "P-1");
    ward.done(Desk, spore(true));
    ward.released("b", "plain", "P-2");
    ward.at("2026-03-05T09:00:00+01:00");
    ward.released("c", "plain", "P-3");
    ward.at("2026-03-09T09:00:00+01:00");
    let told = ward.done(Desk, spore(false));
    assert_eq!(loads(&told), ["b", "c"], "whatever day they are of");
    let since = recall(&told).and_then(|it| it.since.as_ref()).and_then(|it| it.test.clone());
    assert_eq!(since.as_ref().map(|it| it.as_str()), Some("biological"));
}

#[test]
fn a_control_without_growth_holds_the_load_that_needed_the_indicator() {
    let mut ward = Ward::open();
    ward.machine("each", json!({"biological": "each_load"}));
    for (load, machine, part) in [("a", "each", "P-1"), ("i", "plain", "I-1"), ("p", "plain", "P-2")] {
        ward.passed(load, machine, part);
        ward.done(Desk, indicator(load, "biological", "pass", Some("L-1")));
        ward.done(Desk, release(load));
    }
    let control = |load: &str, lot: &str| indicator(load, "biological_control", "fail", Some(lot));
    let void = |event: &Event| matches!(&event.what, What::IndicatorRecorded(it) if it.void);
    // Another lot's control says nothing of it.
    let told = ward.done(Desk, control("a", "L-2"));
    assert!(!void(&told) && recall(&told).is_none());
    let told = ward.done(Desk, control("a", "L-1"));
    assert!(void(&told));
    assert_eq!((loads(&told), assets(&told)), (vec!["a"], vec!["P-1"]));
    assert!(recall(&told).is_some_and(|it| it.reason.contains("did not grow") && !it.machine_out));
    // An implant needs it by itself; a load that did not need one is told as void, and goes on.
    assert_eq!(loads(&ward.done(Desk, control("i", "L-1"))), ["i"]);
    let told = ward.done(Desk, control("p", "L-1"));
    assert!(void(&told) && recall(&told).is_none());
    assert!(ward.held("P-1") && ward.held("I-1") && !ward.held("P-2"));
    assert_eq!(spores(ward.load("a")), Spores::NotRead);
    // Told twice it holds once, and it voids nothing that is void already.
    let told = ward.done(Desk, control("a", "L-1"));
    assert!(!void(&told) && recall(&told).is_none());
    // The machine is due again: its last indicator that passed is none.
    assert_eq!(ward.of("each").last_biological(), None);
}

#[test]
fn a_site_that_wants_one_in_each_load_is_told_too() {
    let mut ward = Ward::open();
    ward.done(Admin, json!({"do": "set_policy", "biological": "each_load"}));
    ward.passed("a", "plain", "P-1");
    ward.done(Desk, indicator("a", "biological", "pass", None));
    ward.done(Desk, release("a"));
    assert_eq!(loads(&ward.done(Desk, indicator("a", "biological_control", "fail", None))), ["a"]);
}

/// The last good evidence of a recall is none any more: what lies between it and the one before is in doubt as well.
#[test]
fn a_void_indicator_is_no_good_evidence_of_any_recall() {
    let mut ward = Ward::open();
    for (load, part, lot) in
        [("a", "P-1", Some("A")), ("b", "P-2", None), ("c", "P-3", Some("C")), ("d", "P-4", None)]
    {
        ward.passed(load, "plain", part);
        if lot.is_some() {
            ward.done(Desk, indicator(load, "biological", "pass", lot));
        }
        ward.done(Desk, release(load));
    }
    let growth = ward.done(Desk, indicator("d", "biological", "fail", None));
    assert_eq!(loads(&growth), ["d"], "since load c");
    let told = ward.done(Desk, indicator("c", "biological_control", "fail", Some("C")));
    assert_eq!(loads(&told), ["b", "c"], "since load a, up to load c");
    assert!(recall(&told).is_some_and(|it| it.reason.contains("recall-0001")));
    assert!(ward.held("P-2") && ward.held("P-3") && !ward.held("P-1"));
    // And a new recall does not stop at it either.
    let mut ward = Ward::open();
    ward.passed("c", "plain", "P-1");
    ward.done(Desk, indicator("c", "biological", "pass", Some("C")));
    ward.done(Desk, release("c"));
    ward.done(Desk, indicator("c", "biological_control", "fail", Some("C")));
    ward.released("d", "plain", "P-2");
    let growth = ward.done(Desk, indicator("d", "biological", "fail", None));
    assert_eq!(loads(&growth), ["c", "d"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failed_test_after_the_release_stands_in_its_answer_and_on_the_open_lists() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let passed = json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "air_removal", "passed": true});
        served.done(Desk, passed).await;
        served.round("SET-1").await;
        let test = |test: &str, value: &str| json!({"do": "record_machine_test", "machine": "steriliser-1", "test": test, "value": value});
        let told = served.done(Biomed, test("leak_rate", "1.6")).await;
        assert_eq!(told["event"]["recall"]["assets"], json!(["B-1", "C-1", "T-1"]), "{told}");
        assert_eq!(told["event"]["recall"]["since"]["test"], "air_removal", "{told}");
        assert_eq!(served.asset("B-1").await["held"][0]["kind"], "recall");
        let (_, listed) = served.get("recalls").await;
        assert_eq!(
            (&listed["items"][0]["open"], &listed["items"][0]["machine"]),
            (&json!(true), &json!("steriliser-1"))
        );
        served.refused(Lead, json!({"do": "issue", "scan": "SET-1", "emergency": true}), "held").await;
        served.sound().await;
        served.stop().await;
    }
}

/// Fields that came later than the specimens: read and written as they stand.
#[test]
fn what_an_entry_says_of_doubt_is_kept() {
    let recall = json!({"recall": "recall-0001", "machine": "s", "reason": "r", "loads": ["l"], "hold": "hold-0001",
                        "assets": ["B-1"], "since": {"test": "air_removal", "at": "2026-03-02T05:40:00Z"}});
    let control = json!({"load": "l", "indicator": "biological_control", "result": "fail", "void": true, "recall": recall});
    let test =
        json!({"machine": "s", "test": "air_removal", "passed": false, "good": false, "recall": recall});
    for (kind, event) in [
        ("recalled", recall),
        ("machine_tested", test),
        ("indicator_recorded", control),
        ("load_released", json!({"load": "l", "parts": [], "dryness_not_stated": true})),
        ("patient_erased", json!({"load": "l", "patient": "sealed:00", "reason": "asked for"})),
    ] {
        let read = Event::read(kind, 1, event.clone()).expect("an event of this kind");
        assert_eq!(read.to_value().expect("a value"), event, "{kind}");
    }
}
