//! What nobody may talk a load past: growth, a machine that is out, a test that failed, times that are told otherwise than
//! they were, and a machine that was not requalified. Each on both databases.

use chrono::{TimeDelta, Timelike, Utc};
use fettle::domain::person::Role::{Admin, Biomed, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Kind, Served, steam_record};
use super::ward::{indicator, late, release};

/// So many minutes from now.
fn minutes(from_now: i64) -> String {
    (Utc::now() + TimeDelta::minutes(from_now)).to_rfc3339()
}

fn at(mut command: Value, at: &str) -> Value {
    command["at"] = at.into();
    command
}

fn start(load: &str, machine: &str, scan: &str) -> Value {
    json!({"do": "start_load", "load": load, "machine": machine, "programme": "p134", "scan": scan})
}

fn judge(load: &str) -> Value {
    json!({"do": "judge_load", "load": load, "record": steam_record(200)})
}

fn readings(load: &str, more: Value) -> Value {
    let mut read = json!({"min_c": "134.2", "max_c": "135.1", "hold_s": 200, "complete": true, "second_reader": "Ina Berg"});
    for (field, value) in more.as_object().expect("an object") {
        read[field.as_str()] = value.clone();
    }
    json!({"do": "judge_load", "load": load, "readings": read})
}

fn back(machine: &str, after: &str) -> Value {
    json!({"do": "machine_back", "machine": machine, "after": after})
}

fn test(machine: &str, test: &str, passed: bool) -> Value {
    json!({"do": "record_machine_test", "machine": machine, "test": test, "passed": passed})
}

/// Packed parts `P-1` to `P-4`; sterilisers `st` with an air-removal test, `plain`, `each` with a biological indicator in each
/// load, and `airs`, whose loads air and cool for a hundred seconds less than an hour. The test day began twelve hours ago.
async fn opened(kind: Kind) -> Served {
    let served = Served::start(kind).await;
    let hour = (Utc::now().with_timezone(&chrono_tz::Europe::Berlin).hour() + 12) % 24;
    served.done(Admin, json!({"do": "set_policy", "test_day_starts": format!("{hour:02}:00")})).await;
    let steps = json!([{"step": "packed"}, {"step": "sterilised"}]);
    served.done(Admin, json!({"do": "define_route", "route": "plain", "steps": steps})).await;
    served.done(Biomed, super::ward::model("part", json!({}))).await;
    for (name, more) in [
        ("st", json!({"air_removal_test": true})),
        ("plain", json!({})),
        ("each", json!({"biological": "each_load"})),
        ("airs", json!({"aeration_s": 3_500})),
        ("cools", json!({"cooling_s": 3_500})),
    ] {
        let mut programme = json!({"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 180});
        for (field, value) in more.as_object().expect("an object") {
            programme[field.as_str()] = value.clone();
        }
        let define =
            json!({"do": "define_machine", "machine": name, "kind": "steriliser", "programmes": [programme]});
        served.done(Admin, define).await;
    }
    for part in ["P-1", "P-2", "P-3", "P-4"] {
        served.done(Lead, json!({"do": "add_asset", "asset": part, "model": "part"})).await;
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": part})).await;
    }
    served
}

impl Served {
    /// A load whose record and chemical indicator passed.
    async fn evident(&self, load: &str, machine: &str, scan: &str) {
        self.done(Desk, start(load, machine, scan)).await;
        self.done(Desk, judge(load)).await;
        self.done(Desk, indicator(load, "chemical", "pass", None)).await;
    }

    async fn three_empty(&self, machine: &str) {
        for _ in 0..3 {
            self.done(Desk, test(machine, "empty_cycle", true)).await;
        }
    }

    async fn why_not(&self, load: &str) -> Value {
        self.get(&format!("loads/{load}")).await.1["why_not"].clone()
    }

    /// Refused as it is, and told late.
    async fn never_late(&self, command: Value, at: &str, code: &str) -> Value {
        self.refused(Desk, late(command, at), code).await
    }

    async fn wrong_at(&self, command: Value, pointer: &str) {
        let (status, body) = self.post(Desk, command.clone()).await;
        let found = (status, body["code"].as_str(), body["errors"][0]["pointer"].as_str());
        assert_eq!(found, (422, Some("malformed"), Some(pointer)), "{command}: {body}");
    }

    async fn end(self) {
        self.sound().await;
        self.stop().await;
    }
}

/// MMWR 2003;52(RR17) F6 (read): a positive spore test is acted on; a control that does not grow makes the test void
/// (from memory).
#[tokio::test(flavor = "multi_thread")]
async fn growth_stands_whatever_is_read_later() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.evident("a", "each", "P-1").await;
        served.done(Desk, indicator("a", "biological", "fail", Some("A"))).await;
        served.done(Desk, indicator("a", "biological", "pass", Some("A"))).await;
        served.done(Desk, indicator("a", "biological", "pass", Some("B"))).await;
        assert_eq!(served.why_not("a").await, json!(["indicator_failed"]));
        served.refused(Desk, release("a"), "indicator_failed").await;
        served.done(Biomed, back("each", "failure")).await;
        served.three_empty("each").await;
        served.refused(Desk, release("a"), "indicator_failed").await;
        // The control of another lot says nothing of it; that of its own makes it void, with the pass of that lot.
        served.done(Desk, indicator("a", "biological_control", "fail", Some("B"))).await;
        served.refused(Desk, release("a"), "indicator_failed").await;
        served.done(Desk, indicator("a", "biological_control", "fail", Some("A"))).await;
        assert_eq!(served.why_not("a").await, json!(["indicator_missing"]));
        served.refused(Desk, release("a"), "indicator_missing").await;
        served.end().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_machine_that_is_out_for_void_growth_is_out_for_its_load_too() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.evident("a", "plain", "P-1").await;
        served.done(Desk, indicator("a", "biological", "fail", None)).await;
        assert_eq!(served.why_not("a").await, json!(["indicator_failed"]));
        served.done(Desk, indicator("a", "biological_control", "fail", None)).await;
        assert_eq!(served.why_not("a").await, json!(["machine_not_ready"]));
        served.refused(Desk, release("a"), "machine_not_ready").await;
        served.end().await;
    }
}

/// A release is a decision of now, whatever time is told for it.
#[tokio::test(flavor = "multi_thread")]
async fn no_time_that_is_told_gets_a_release_past_its_machine() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.done(Desk, late(test("st", "air_removal", true), &minutes(-70))).await;
        served.done(Desk, late(start("a", "st", "P-1"), &minutes(-60))).await;
        served.done(Desk, late(judge("a"), &minutes(-45))).await;
        served.done(Desk, late(indicator("a", "chemical", "pass", None), &minutes(-45))).await;
        assert_eq!(served.why_not("a").await, json!([]));
        served.done(Desk, json!({"do": "machine_out", "machine": "st", "reason": "door seal"})).await;
        served.refused(Desk, at(release("a"), &minutes(-30)), "machine_not_ready").await;
        served.never_late(release("a"), &minutes(-30), "machine_not_ready").await;
        served.done(Biomed, back("st", "minor")).await;
        assert_eq!(served.why_not("a").await, json!([]));
        // A test that failed since, and one of this test day that is told only now.
        served.done(Desk, late(test("st", "leak_rate", false), &minutes(-65))).await;
        served.done(Biomed, back("st", "minor")).await;
        let problem = served.never_late(release("a"), &minutes(-30), "machine_not_ready").await;
        assert!(problem["found"].as_str().is_some_and(|text| text.contains("before load a was started")));
        served.done(Desk, json!({"do": "reject_load", "load": "a", "reason": "the test failed"})).await;
        served.done(Desk, test("st", "air_removal", true)).await;
        served.evident("b", "st", "P-2").await;
        let before = minutes(0);
        served.done(Desk, test("st", "leak_rate", false)).await;
        served.done(Biomed, back("st", "minor")).await;
        served.never_late(release("b"), &before, "machine_not_ready").await;
        served.end().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_decision_is_not_of_before_what_it_rests_on() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.done(Desk, late(start("a", "plain", "P-1"), &minutes(-60))).await;
        served.done(Desk, late(judge("a"), &minutes(-40))).await;
        served.done(Desk, late(indicator("a", "chemical", "pass", None), &minutes(-20))).await;
        for before in [-70, -50, -30] {
            served.refused(Desk, at(release("a"), &minutes(before)), "too_late").await;
            served.never_late(release("a"), &minutes(before), "too_late").await;
        }
        let reject = json!({"do": "reject_load", "load": "a", "reason": "wet"});
        served.never_late(reject.clone(), &minutes(-61), "too_late").await;
        served.done(Desk, late(release("a"), &minutes(-10))).await;
        served.done(Desk, late(start("b", "plain", "P-2"), &minutes(-60))).await;
        served
            .done(Desk, late(json!({"do": "reject_load", "load": "b", "reason": "wet"}), &minutes(-50)))
            .await;
        served.end().await;
    }
}

/// CDC Guideline 2008, table 1 (read): what was in ethylene oxide airs for its whole time after the cycle.
#[tokio::test(flavor = "multi_thread")]
async fn no_time_that_is_told_ends_aeration_or_cooling_early() {
    for kind in BOTH {
        let served = opened(kind).await;
        let ahead = || (Utc::now() + TimeDelta::seconds(270)).to_rfc3339();
        for (load, scan, judged) in [("a", "P-1", judge("a")), ("b", "P-2", readings("b", json!({})))] {
            served.done(Desk, late(start(load, "airs", scan), &minutes(-60))).await;
            // A record that is said to have been there before the load was started is a fact, and ends nothing.
            served.done(Desk, late(judged, &minutes(-90))).await;
            served.done(Desk, late(indicator(load, "chemical", "pass", None), &minutes(-90))).await;
            served.refused(Desk, release(load), "still_cooling").await;
            served.refused(Desk, at(release(load), &ahead()), "still_cooling").await;
            served.never_late(release(load), &ahead(), "still_cooling").await;
        }
        let started = chrono::DateTime::from_timestamp(Utc::now().timestamp() - 3_600, 0).expect("a time");
        served.done(Desk, late(start("c", "cools", "P-3"), &started.to_rfc3339())).await;
        served.done(Desk, late(judge("c"), &minutes(-90))).await;
        served.done(Desk, indicator("c", "chemical", "pass", None)).await;
        let released = served.done(Desk, release("c")).await;
        let cool_at = released["event"]["cool_at"].as_str().expect("a time");
        let cool_at = chrono::DateTime::parse_from_rfc3339(cool_at).expect("a time").with_timezone(&Utc);
        // Its record lasts 700 s (300 s up, 200 s held, 200 s down).
        assert_eq!((cool_at - started).num_seconds(), 700 + 3_500);
        served.end().await;
    }
}

/// CDC Guideline 2008, Sterilizing Practices (read): three consecutive empty cycles after a sterilisation failure and
/// after major repair.
#[tokio::test(flavor = "multi_thread")]
async fn what_grew_comes_back_by_three_good_empty_cycles_alone() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.evident("a", "plain", "P-1").await;
        served.done(Desk, indicator("a", "biological", "fail", None)).await;
        served.done(Desk, json!({"do": "reject_load", "load": "a", "reason": "growth"})).await;
        for after in ["minor", "major_repair", "installed", "relocated"] {
            let problem = served.refused(Biomed, back("plain", after), "machine_not_ready").await;
            assert!(problem["needed"].as_str().is_some_and(|text| text.contains("3 good empty cycles")));
            served.refused(Biomed, late(back("plain", after), &minutes(0)), "machine_not_ready").await;
        }
        served.done(Biomed, back("plain", "failure")).await;
        served.refused(Biomed, back("plain", "minor"), "machine_not_ready").await;
        // Empty cycles of before count for nothing; they are told all the same.
        for _ in 0..3 {
            let told = served.done(Desk, at(test("plain", "empty_cycle", true), &minutes(-30))).await;
            assert_eq!(told["deviation"], json!(["out_of_order"]));
        }
        served.refused(Desk, start("b", "plain", "P-2"), "machine_not_ready").await;
        served.done(Desk, test("plain", "empty_cycle", true)).await;
        served.done(Desk, test("plain", "empty_cycle", true)).await;
        // Taken out meanwhile by a person: it is still to be requalified.
        served.done(Desk, json!({"do": "machine_out", "machine": "plain", "reason": "door seal"})).await;
        served.refused(Biomed, back("plain", "minor"), "machine_not_ready").await;
        served.done(Biomed, back("plain", "major_repair")).await;
        served.refused(Desk, start("b", "plain", "P-2"), "machine_not_ready").await;
        served.three_empty("plain").await;
        served.done(Desk, start("b", "plain", "P-2")).await;
        // It is as any other again.
        served.done(Desk, json!({"do": "machine_out", "machine": "plain", "reason": "door seal"})).await;
        served.done(Biomed, back("plain", "minor")).await;
        served.end().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failed_empty_cycle_is_no_minor_matter() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.done(Desk, test("plain", "empty_cycle", false)).await;
        served.refused(Biomed, back("plain", "minor"), "machine_not_ready").await;
        served.done(Biomed, back("plain", "failure")).await;
        // Good, failed, and then one that ran before the failed one: the row has none.
        served.done(Desk, test("plain", "empty_cycle", true)).await;
        let between = minutes(0);
        served.done(Desk, test("plain", "empty_cycle", false)).await;
        let told = served.done(Desk, late(test("plain", "empty_cycle", true), &between)).await;
        assert_eq!(told["deviation"], json!(["out_of_order"]));
        served.done(Desk, test("plain", "empty_cycle", true)).await;
        served.done(Desk, test("plain", "empty_cycle", true)).await;
        served.refused(Desk, start("a", "plain", "P-1"), "machine_not_ready").await;
        served.done(Desk, test("plain", "empty_cycle", true)).await;
        served.done(Desk, start("a", "plain", "P-1")).await;
        served.end().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_return_of_before_a_machine_went_out_moves_nothing() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.done(Desk, json!({"do": "machine_out", "machine": "plain", "reason": "door seal"})).await;
        for told in [late(back("plain", "minor"), &minutes(-60)), at(back("plain", "minor"), &minutes(-60))] {
            assert_eq!(served.done(Biomed, told).await["deviation"], json!(["out_of_order"]));
            served.refused(Desk, start("a", "plain", "P-1"), "machine_not_ready").await;
        }
        assert_eq!(served.done(Biomed, back("plain", "minor")).await["deviation"], json!([]));
        served.done(Desk, start("a", "plain", "P-1")).await;
        served.end().await;
    }
}

/// Daily, before the first load of the day (ISO 17665, HTM 01-01, read second-hand).
#[tokio::test(flavor = "multi_thread")]
async fn an_air_removal_test_after_the_load_began_is_none_of_it() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.done(Desk, late(start("a", "st", "P-1"), &minutes(-60))).await;
        served.done(Desk, late(judge("a"), &minutes(-45))).await;
        served.done(Desk, late(indicator("a", "chemical", "pass", None), &minutes(-45))).await;
        served.done(Desk, late(test("st", "air_removal", true), &minutes(-50))).await;
        let problem = served.refused(Desk, release("a"), "machine_not_ready").await;
        assert!(problem["found"].as_str().is_some_and(|text| text.contains("after")), "{problem}");
        // Nor does a test that is already there when the load is told.
        served.done(Desk, late(start("b", "st", "P-2"), &minutes(-55))).await;
        served.done(Desk, late(judge("b"), &minutes(-40))).await;
        served.done(Desk, late(indicator("b", "chemical", "pass", None), &minutes(-40))).await;
        served.refused(Desk, release("b"), "machine_not_ready").await;
        served.done(Desk, late(test("st", "air_removal", true), &minutes(-61))).await;
        served.done(Desk, release("a")).await;
        served.done(Desk, release("b")).await;
        served.end().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn amounts_that_cannot_be_are_malformed() {
    for kind in BOTH {
        let served = opened(kind).await;
        let leak = |value: &str, unit: &str| json!({"do": "record_machine_test", "machine": "st", "test": "leak_rate", "value": value, "unit": unit});
        served.wrong_at(leak("-0.1", "mbar/min"), "/value").await;
        served.wrong_at(leak("70000000000000000000000000000", "mmHg/min"), "/value").await;
        served.wrong_at(leak("1", "mbar"), "/unit").await;
        served.done(Desk, leak("0", "mbar/min")).await;
        served.done(Desk, start("a", "plain", "P-1")).await;
        served.wrong_at(readings("a", json!({"hold_s": "-1"})), "/readings/hold_s").await;
        served.wrong_at(readings("a", json!({"hold_s": null, "a0_s": -1})), "/readings/a0_s").await;
        served.end().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_of_another_day_is_of_another_cycle() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.done(Desk, start("a", "plain", "P-1")).await;
        let record = |from: chrono::DateTime<Utc>| {
            let lines = steam_record(200);
            let timed = lines.lines().skip(1).filter_map(|line| line.split_once(',')).map(|(time, temp)| {
                let at = from + TimeDelta::seconds(time.parse().expect("seconds"));
                format!("{},{temp}", at.to_rfc3339())
            });
            let timed: Vec<String> = timed.collect();
            json!({"do": "judge_load", "load": "a", "record": format!("time,temp_c\n{}\n", timed.join("\n"))})
        };
        let hours = |hours: i64| Utc::now() + TimeDelta::hours(hours);
        for from in [hours(-24 * 30), hours(-25), hours(1)] {
            let problem = served.refused(Desk, record(from), "no_record").await;
            let named = problem["found"].as_str().is_some_and(|text| text.contains("load a was started on"));
            assert!(named, "{problem}");
            served.never_late(record(from), &minutes(0), "no_record").await;
        }
        // A clock that is wrong by hours names the load's cycle all the same.
        served.done(Desk, record(hours(-23))).await;
        served.done(Desk, record(hours(0))).await;
        served.done(Desk, judge("a")).await;
        served.end().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_note_beside_an_early_release_names_no_patient() {
    for kind in BOTH {
        let served = opened(kind).await;
        served.done(Desk, start("a", "plain", "P-1")).await;
        let early = |note: &str| {
            let mut all = release("a");
            all["early"] = json!({"patient": "REF-4711", "person": "Dr Night", "reason": "airway bleeds"});
            all["note"] = json!(note);
            all
        };
        served.wrong_at(early("for ref-4711 at once"), "/note").await;
        served.refused(Lead, early("for theatre 2 at once"), "out_of_order").await;
        served.end().await;
    }
}
