//! What stands against a release beside its record: biological indicators, implants, the machine, the parts'
//! instructions, aeration; and the exceptions that leave something open.

use fettle::domain::person::Role::{Admin, Biomed, Desk, Lead};
use fettle::domain::refusal::Code;
use fettle::domain::release::{Spores, spores};
use serde_json::{Value, json};

use super::served::steam_record;
use super::ward::{Ward, air, indicator, late, model, release, time};

fn early(load: &str) -> Value {
    let mut all = release(load);
    all["early"] =
        json!({"patient": "REF-4711", "person": "Dr Night", "reason": "airway bleeds, no other stent"});
    all
}

fn policy(more: Value) -> Value {
    let mut all = json!({"do": "set_policy"});
    for (field, value) in more.as_object().expect("an object") {
        all[field.as_str()] = value.clone();
    }
    all
}

/// MMWR 2003;52(RR17), sections F6 and F7 (read): every load with an implant has a biological indicator, read before
/// use whenever possible.
#[test]
fn an_implant_waits_for_its_biological_indicator() {
    let mut ward = Ward::open();
    ward.passed("a", "plain", "P-1");
    ward.done(Desk, release("a"));
    ward.passed("b", "plain", "I-1");
    ward.never(Desk, release("b"), "indicator_missing");
    ward.done(Desk, indicator("b", "biological", "pass", None));
    ward.done(Desk, release("b"));
}

#[test]
fn a_programme_or_the_site_asks_for_one_in_each_load() {
    let mut ward = Ward::open();
    ward.machine("each", json!({"biological": "each_load"}));
    ward.passed("a", "each", "P-1");
    ward.never(Desk, release("a"), "indicator_missing");
    ward.passed("b", "plain", "P-2");
    assert!(ward.against("b").is_empty());
    ward.done(Admin, policy(json!({"biological": "each_load"})));
    ward.never(Desk, release("b"), "indicator_missing");
    ward.done(Desk, indicator("b", "biological", "pass", None));
    ward.done(Desk, release("b"));
    ward.done(Admin, policy(json!({"biological": "parametric"})));
    ward.passed("c", "plain", "P-3");
    ward.done(Desk, release("c"));
}

/// MMWR 2003;52(RR17) F6 (read): a matching control of the same lot. A control that does not grow makes the test void,
/// neither pass nor fail (from memory).
#[test]
fn a_control_belongs_to_its_lot_and_may_void_the_test() {
    let read = |all: &[(&str, &str, Option<&str>)]| {
        let mut ward = Ward::open();
        ward.machine("each", json!({"biological": "each_load"}));
        ward.start("a", "each", "P-1");
        for (kind, result, lot) in all {
            ward.done(Desk, indicator("a", kind, result, *lot));
        }
        spores(ward.load("a"))
    };
    let (bi, control) = ("biological", "biological_control");
    let (a, b) = (Some("A"), Some("B"));
    for (all, expected) in [
        (vec![(bi, "pass", a)], Spores::Passed),
        (vec![(bi, "pass", a), (control, "pass", a)], Spores::Passed),
        (vec![(bi, "pass", a), (control, "fail", a)], Spores::NotRead),
        (vec![(control, "fail", a), (bi, "pass", a)], Spores::NotRead),
        (vec![(bi, "fail", a), (control, "fail", a)], Spores::NotRead),
        // Another lot's control says nothing of this one; one without a lot says it of all.
        (vec![(bi, "pass", a), (control, "fail", b)], Spores::Passed),
        (vec![(bi, "fail", a), (control, "fail", b)], Spores::Grew),
        (vec![(bi, "pass", a), (control, "fail", None)], Spores::NotRead),
        (vec![(bi, "pass", None), (control, "fail", b)], Spores::NotRead),
        // Done again with a new lot.
        (vec![(bi, "pass", a), (control, "fail", a), (bi, "pass", b), (control, "pass", b)], Spores::Passed),
        // Growth in one lot stands, whatever another says.
        (vec![(bi, "fail", a), (bi, "pass", b)], Spores::Grew),
        (vec![(control, "pass", a)], Spores::NotRead),
    ] {
        assert_eq!(read(&all), expected, "{all:?}");
    }
}

#[test]
fn growth_is_told_by_the_loads_own_indicator_and_stops_the_others_of_its_machine() {
    let mut ward = Ward::open();
    ward.passed("a", "plain", "P-1");
    ward.done(Desk, indicator("a", "biological", "fail", None));
    // The machine is out for this very load: what people have to read is the indicator.
    ward.never(Desk, release("a"), "indicator_failed");
    assert_eq!(ward.against("a"), [Code::IndicatorFailed]);
    let mut other = Ward::open();
    other.passed("a", "plain", "P-1");
    other.done(Desk, json!({"do": "reject_load", "load": "a", "reason": "wet"}));
    other.passed("b", "plain", "P-2");
    other.done(Desk, indicator("a", "biological", "fail", None));
    other.never(Desk, release("b"), "machine_not_ready");
}

/// Weekly at least, by MMWR 2003;52(RR17) F6 (read). It is shown as due; it stops releases where the site says so.
#[test]
fn an_overdue_indicator_is_due_and_stops_only_where_the_site_says_so() {
    let mut ward = Ward::open();
    let due = |ward: &Ward| {
        let all = ward.of("plain").tests_due(&ward.paper.state, ward.now);
        all.into_iter()
            .filter(|it| it.test == "biological")
            .map(|it| (it.found, it.limit))
            .collect::<Vec<_>>()
    };
    assert!(due(&ward).is_empty(), "parametric");
    ward.done(Admin, policy(json!({"biological": "weekly"})));
    assert_eq!(due(&ward), [(7, 7)]);
    ward.passed("a", "plain", "P-1");
    assert!(ward.against("a").is_empty(), "shown, not refused");
    ward.done(Admin, policy(json!({"biological_overdue_stops": true})));
    ward.never(Desk, release("a"), "indicator_missing");
    ward.done(Desk, indicator("a", "biological", "pass", None));
    ward.done(Desk, release("a"));
    assert!(due(&ward).is_empty());
    // Sunday evening it stands, on Monday it is due; a load of that Monday may still go, one of Tuesday not.
    ward.at("2026-03-08T20:00:00+01:00");
    assert!(due(&ward).is_empty());
    ward.at("2026-03-09T05:59:00+01:00");
    assert!(due(&ward).is_empty(), "the test day begins at six");
    ward.at("2026-03-09T06:00:00+01:00");
    assert_eq!(due(&ward), [(7, 7)]);
    ward.passed("b", "plain", "P-2");
    assert!(ward.against("b").is_empty());
    ward.done(Desk, release("b"));
    ward.at("2026-03-10T08:00:00+01:00");
    ward.passed("c", "plain", "P-3");
    ward.never(Desk, release("c"), "indicator_missing");
    // A void control takes the passed one back.
    ward.done(Desk, indicator("c", "biological", "pass", None));
    assert!(ward.against("c").is_empty());
    ward.done(Desk, indicator("c", "biological_control", "fail", None));
    ward.refused(Desk, release("c"), "indicator_missing");
    ward.done(Admin, policy(json!({"biological": "daily"})));
    assert_eq!(due(&ward), [(8, 1)]);
}

/// An early release is only a documented emergency: patient, who asks, reason, and the indicator followed up (ST79,
/// from memory; MMWR 2003;52(RR17) F7, read: "whenever possible").
#[test]
fn an_implant_is_released_early_only_as_an_exception_that_stays_open() {
    let mut ward = Ward::open();
    ward.start("a", "plain", "I-1");
    ward.now = ward.now.plus_minutes(15);
    ward.refused(Lead, early("a"), "no_record");
    ward.judged("a", 20);
    ward.refused(Lead, early("a"), "record_failed");
    ward.judged("a", 200);
    let refusal = ward.refused(Lead, early("a"), "indicator_missing");
    assert!(refusal.first.found.contains("chemical"), "{:?}", refusal.first);
    ward.done(Desk, indicator("a", "chemical", "pass", None));
    let mut wet = early("a");
    wet["dry"] = json!(false);
    ward.refused(Lead, wet, "record_failed");
    let mut unknown = early("a");
    unknown["early"] = json!({"case": "K-9", "person": "lead", "reason": "bleeds"});
    ward.refused(Lead, unknown, "unknown_thing");
    let mut blank = early("a");
    blank["early"]["reason"] = json!("  ");
    ward.refused(Lead, blank, "needs_reason");
    let done = ward.done(Lead, early("a"));
    let text = done.to_value().expect("a value").to_string();
    assert!(!text.contains("REF-4711") && !text.contains("Dr Night") && text.contains("sealed:"), "{text}");
    assert!(ward.load("a").waits_for_biological());
    let state = &ward.paper.state;
    assert_eq!(state.open_exceptions().count(), 1);
    assert!(state.due(ward.now).iter().any(|it| it.why == "biological_pending"));
    // What stops a machine comes first, then what was released early, then the parts.
    let groups: Vec<(bool, bool)> =
        state.due(ward.now).iter().map(|it| (it.asset.is_some(), it.load.is_some())).collect();
    assert!(groups.is_sorted() && groups.contains(&(false, true)), "{groups:?}");
    let months = |ward: &Ward| {
        let all = ward.paper.state.released_early();
        all.months.iter().map(|it| (it.month.clone(), it.open, it.closed)).collect::<Vec<_>>()
    };
    assert_eq!(months(&ward), [("2026-03".to_string(), 1, 0)]);
    ward.done(Desk, indicator("a", "biological", "pass", Some("A")));
    assert_eq!(months(&ward), [("2026-03".to_string(), 0, 1)]);
    assert_eq!(ward.paper.state.open_exceptions().count(), 0);
    // A void control opens it again.
    ward.done(Desk, indicator("a", "biological_control", "fail", Some("A")));
    assert_eq!(months(&ward), [("2026-03".to_string(), 1, 0)]);
}

#[test]
fn nothing_but_an_implant_is_released_early() {
    let mut ward = Ward::open();
    ward.machine("each", json!({"biological": "each_load"}));
    ward.passed("a", "each", "P-1");
    ward.never(Lead, early("a"), "out_of_order");
    ward.passed("b", "plain", "P-2");
    ward.never(Lead, early("b"), "out_of_order");
    ward.done(Desk, release("b"));
    ward.passed("c", "plain", "I-1");
    ward.done(Desk, indicator("c", "biological", "pass", None));
    ward.never(Lead, early("c"), "out_of_order");
    let read = |value: Value| {
        fettle::domain::command::Command::read(value).expect_err("malformed")[0].pointer.clone()
    };
    let mut both = early("c");
    both["early"]["case"] = json!("K-1");
    assert_eq!(read(both), "/early");
    let neither = json!({"do": "release_load", "load": "c", "early": {"person": "p", "reason": "r"}});
    assert_eq!(read(neither), "/early");
    let mut told = early("c");
    told["early"]["reason"] = json!("bleeding of ref-4711");
    assert_eq!(read(told), "/early/reason", "the reason stands in clear");
}

/// Early, by the one who loaded it, where two are asked for: nothing sets that aside, since not everything has passed.
#[test]
fn an_early_release_needs_the_second_person_all_the_same() {
    let mut ward = Ward::open();
    ward.done(Admin, policy(json!({"two_people": true})));
    ward.done(
        Lead,
        json!({"do": "start_load", "load": "a", "machine": "plain", "programme": "p134", "scan": "I-1"}),
    );
    ward.now = ward.now.plus_minutes(15);
    ward.judged("a", 200);
    ward.done(Desk, indicator("a", "chemical", "pass", None));
    ward.never(Lead, early("a"), "same_person");
}

#[test]
fn a_machine_that_is_not_in_service_holds_its_loads() {
    let mut ward = Ward::open();
    ward.passed("a", "plain", "P-1");
    ward.done(Desk, json!({"do": "machine_out", "machine": "plain", "reason": "door seal"}));
    ward.never(Desk, release("a"), "machine_not_ready");
    ward.done(Biomed, json!({"do": "machine_back", "machine": "plain", "after": "major_repair"}));
    ward.never(Desk, release("a"), "machine_not_ready");
    for _ in 0..3 {
        let empty =
            json!({"do": "record_machine_test", "machine": "plain", "test": "empty_cycle", "passed": true});
        ward.done(Desk, empty);
    }
    ward.done(Desk, release("a"));
    // Told late, as of before the machine went out: what is known now binds it.
    ward.passed("b", "plain", "P-2");
    let before = ward.now.to_string();
    ward.now = ward.now.plus_minutes(30);
    ward.done(Desk, json!({"do": "machine_out", "machine": "plain", "reason": "valve"}));
    ward.never(Desk, late(release("b"), &before), "machine_not_ready");
}

#[test]
fn a_test_that_failed_while_the_load_ran_stands_against_it() {
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    ward.passed("a", "st", "P-1");
    ward.done(Desk, air(false));
    ward.never(Desk, release("a"), "machine_not_ready");
    // The machine is back; the load was in it all the same.
    ward.done(Biomed, json!({"do": "machine_back", "machine": "st", "after": "minor"}));
    ward.done(Desk, air(true));
    ward.never(Desk, release("a"), "machine_not_ready");
    // A later load is another matter.
    ward.done(Desk, json!({"do": "reject_load", "load": "a", "reason": "the test failed"}));
    ward.passed("b", "st", "P-2");
    ward.done(Desk, release("b"));
    // Where only the set-up was wrong, the repeat takes the failure's place.
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    ward.passed("a", "st", "P-1");
    ward.done(Desk, air(false));
    ward.done(Desk, super::ward::again(true));
    ward.done(Desk, release("a"));
}

/// No load that test day before the air-removal test passed: daily, before the first load (ISO 17665, HTM 01-01, read
/// second-hand).
#[test]
fn a_load_told_late_needs_the_test_of_its_own_test_day() {
    let mut ward = Ward::open();
    ward.done(Desk, air(true));
    // On Tuesday somebody tells what ran on Monday and on Sunday.
    ward.at("2026-03-03T10:00:00+01:00");
    let run = |ward: &mut Ward, load: &str, part: &str, at: &str| {
        let start =
            json!({"do": "start_load", "load": load, "machine": "st", "programme": "p134", "scan": part});
        let started = ward.done(Desk, late(start, at));
        ward.done(Desk, late(json!({"do": "judge_load", "load": load, "record": steam_record(200)}), at));
        ward.done(Desk, late(indicator(load, "chemical", "pass", None), at));
        started.beside.deviation.clone()
    };
    assert!(run(&mut ward, "monday", "P-1", "2026-03-02T15:00:00+01:00").is_empty());
    ward.done(Desk, late(release("monday"), "2026-03-02T16:00:00+01:00"));
    // Five in the morning of Tuesday belongs to Monday's test day, six does not.
    assert!(run(&mut ward, "night", "P-2", "2026-03-03T05:00:00+01:00").is_empty());
    ward.done(Desk, late(release("night"), "2026-03-03T05:30:00+01:00"));
    assert_eq!(run(&mut ward, "tuesday", "P-3", "2026-03-03T06:00:00+01:00"), [Code::MachineNotReady]);
    let release_it = late(release("tuesday"), "2026-03-03T07:00:00+01:00");
    ward.never(Desk, release_it.clone(), "machine_not_ready");
    // The test was done at the right time, and told later than the load.
    ward.done(Desk, late(air(true), "2026-03-03T05:59:00+01:00"));
    ward.refused(Desk, release_it.clone(), "machine_not_ready");
    ward.done(Desk, late(air(true), "2026-03-03T06:00:00+01:00"));
    ward.done(Desk, release_it);
}

/// Every sentence of these refusals, read aloud.
#[test]
fn the_refusals_say_what_was_found_what_is_needed_and_what_to_do() {
    let mut ward = Ward::open();
    let mut told = Vec::new();
    let mut say = |ward: &Ward, load: &str| {
        let all =
            fettle::domain::release::against(&ward.paper.state, ward.load(load), None, Some(true), ward.now);
        told.extend(all.iter().map(|it| json!({"code": it.code, "detail": it.detail(), "next": it.next})));
    };
    ward.done(Admin, policy(json!({"biological": "weekly", "biological_overdue_stops": true})));
    ward.machine("st", json!({"air_removal_test": true, "aeration_s": 3_600}));
    ward.done(Desk, air(true));
    ward.passed("a", "st", "I-1");
    ward.done(Desk, air(false));
    say(&ward, "a");
    ward.done(Desk, indicator("a", "biological", "fail", None));
    say(&ward, "a");
    let mut other = Ward::open();
    other.done(
        Desk,
        late(
            json!({"do": "start_load", "load": "b", "machine": "st", "programme": "p134", "scan": "P-1"}),
            "2026-03-02T09:00:00+01:00",
        ),
    );
    other.done(Desk, json!({"do": "judge_load", "load": "b", "record": steam_record(200)}));
    other.done(
        Biomed,
        model("part", json!({"processing": {"steam": {"temp_c": 134, "hold_s": 180, "max_hold_s": 190}}})),
    );
    say(&other, "b");
    let countersigns = [("nowhere", "unknown_thing"), ("b", "out_of_order")];
    for (load, code) in countersigns {
        let refusal = other.refused(Desk, json!({"do": "countersign", "load": load}), code);
        told.push(json!({"code": code, "detail": refusal.first.detail(), "next": refusal.first.next}));
    }
    let refusal = other.refused(Lead, early("b"), "out_of_order");
    told.extend(refusal.reasons().map(|it| json!({"code": it.code, "detail": it.detail(), "next": it.next})));
    insta::assert_json_snapshot!("release_refusals", told);
}

#[test]
fn a_time_of_the_ward_is_of_its_zone() {
    assert_eq!(Ward::open().now, time("2026-03-02T08:00:00Z"));
}
