//! Refusals that only cases, repairs, searches, corrections and look-backs reach: each code with its sentences.

use std::collections::BTreeSet;

use fettle::domain::person::Role::{self, Admin, Biomed, Charge, Desk, Infection, Lead};
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::refusal::timeless;
use super::served::{BOTH, Served};

const REACHED: [&str; 17] = [
    "unknown_thing",
    "too_late",
    "already_done",
    "missing",
    "name_taken",
    "held",
    "in_repair",
    "promised_elsewhere",
    "reserve_would_be_undercut",
    "out_of_order",
    "still_cooling",
    "past_date",
    "not_complete",
    "count_open",
    "needs_reason",
    "not_last",
    "still_referenced",
];

fn begins() -> Time {
    Time::parse("2026-03-02T08:00:00Z").expect("a time")
}

fn plan(case: &str, hours: i64) -> Value {
    json!({"do": "plan_case", "case": case, "start": begins().plus_minutes(hours * 60), "minutes": 60,
           "needs": ["adult"], "patient": "REF-1"})
}

/// What is told of each refusal, in order.
struct Told<'a> {
    served: &'a Served,
    all: Vec<Value>,
}

impl Told<'_> {
    async fn refused(&mut self, role: Role, command: Value, code: &str) {
        let body = self.served.refused(role, command.clone(), code).await;
        let text = |name: &str| timeless(body[name].as_str().expect("a sentence"));
        let one = json!({"code": code, "title": body["title"], "detail": text("detail"), "next": text("next"),
                         "also": body["also"], "do": command["do"], "remedy": body["remedy"]});
        self.all.push(one);
    }

    async fn done(&self, role: Role, command: Value) -> Value {
        self.served.done(role, command).await
    }

    fn hours(&self, hours: i64) {
        self.served.house.clock.set(begins().plus_minutes(hours * 60));
    }
}

fn issue(case: &str) -> Value {
    json!({"do": "issue", "case": case, "scan": "SET-1"})
}

fn promise(case: &str) -> Value {
    json!({"do": "promise", "case": case, "set": "SET-1"})
}

async fn before_the_case(told: &mut Told<'_>) {
    let machine = json!({"do": "define_machine", "machine": "steriliser-1", "kind": "steriliser", "programmes":
        [{"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 180, "cooling_s": 3600}]});
    told.done(Admin, machine).await;
    told.done(Charge, plan("K-1", 5)).await;
    told.refused(Charge, issue("K-1"), "out_of_order").await;
    told.served.round("SET-1").await;
    told.refused(Charge, issue("K-1"), "still_cooling").await;
    told.hours(3);
    told.refused(Charge, plan("K-1", 9), "name_taken").await;
    told.refused(Charge, plan("K-9", 1), "too_late").await;
    told.refused(Charge, issue("K-9"), "unknown_thing").await;
    told.done(Charge, plan("K-2", 4)).await;
    told.done(Charge, promise("K-2")).await;
    told.refused(Charge, promise("K-1"), "promised_elsewhere").await;
    told.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1})).await;
    told.refused(Charge, issue("K-2"), "reserve_would_be_undercut").await;
    told.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 0})).await;
    let hold = json!({"do": "hold", "kind": "recall", "reason": "maker's notice", "scan": "C-1"});
    let hold = told.done(Lead, hold).await["made"].clone();
    told.refused(Charge, issue("K-2"), "held").await;
    told.done(Lead, json!({"do": "lift_hold", "hold": hold, "reason": "another lot"})).await;
}

async fn at_and_after_it(told: &mut Told<'_>) {
    told.done(Charge, issue("K-2")).await;
    told.refused(Charge, issue("K-2"), "already_done").await;
    told.refused(Charge, json!({"do": "cancel_case", "case": "K-2", "reason": "fever"}), "count_open").await;
    let send = json!({"do": "send_to_repair", "asset": "T-1", "reason": "dark", "decontaminated": false});
    told.refused(Biomed, send.clone(), "out_of_order").await;
    told.done(Charge, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1"})).await;
    told.refused(Charge, json!({"do": "use", "case": "K-2", "scan": "C-1"}), "missing").await;
    told.refused(Charge, promise("K-1"), "missing").await;
    let close = json!({"do": "close_count", "case": "K-2"});
    told.done(Charge, close.clone()).await;
    told.refused(Charge, close, "already_done").await;
    told.done(Desk, json!({"do": "found", "scan": "C-1"})).await;
    told.refused(Desk, json!({"do": "found", "scan": "C-1"}), "already_done").await;
    let sent = told.done(Biomed, send).await;
    told.refused(Charge, promise("K-1"), "in_repair").await;
    told.done(Biomed, json!({"do": "back_from_repair", "asset": "T-1"})).await;
    let correct = json!({"do": "correct", "entry": sent["entry"], "reason": "the wrong one"});
    told.refused(Lead, correct, "out_of_order").await;
    let step = json!({"do": "record_step", "step": "treated", "scan": "SET-1"});
    let entry = told.done(Desk, step).await["entry"].clone();
    told.done(Desk, json!({"do": "record_step", "step": "received", "scan": "B-1"})).await;
    told.refused(Lead, json!({"do": "correct", "entry": entry, "reason": "the wrong one"}), "not_last").await;
    told.refused(Lead, json!({"do": "correct", "entry": entry, "reason": " "}), "needs_reason").await;
    told.refused(Charge, json!({"do": "cancel_case", "case": "K-1", "reason": " "}), "needs_reason").await;
    let take = json!({"do": "take_from_set", "set": "SET-1", "line": "telescope", "asset": "T-1"});
    told.done(Desk, take).await;
    told.refused(Charge, promise("K-1"), "not_complete").await;
    let put = json!({"do": "put_in_set", "set": "SET-1", "line": "telescope", "asset": "T-1"});
    told.done(Desk, put).await;
    told.refused(
        Infection,
        json!({"do": "erase_patient", "case": "K-2", "reason": "asked for"}),
        "still_referenced",
    )
    .await;
}

/// The optics keep for 30 days.
async fn past_its_date(told: &mut Told<'_>) {
    for (name, scan) in
        [("received", "SET-1"), ("cleaned", "SET-1"), ("dried", "SET-1"), ("disinfected", "T-1")]
    {
        told.done(Desk, json!({"do": "record_step", "step": name, "scan": scan})).await;
    }
    told.served.rest_of_a_round("SET-1").await;
    told.hours(40 * 24);
    told.done(Charge, plan("K-5", 40 * 24 + 1)).await;
    told.refused(Charge, issue("K-5"), "past_date").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn each_code_of_cases_has_its_sentences() {
    let mut by_database = Vec::new();
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.house.clock.set(begins());
        served.furnish().await;
        let mut told = Told { served: &served, all: Vec::new() };
        before_the_case(&mut told).await;
        at_and_after_it(&mut told).await;
        past_its_date(&mut told).await;
        by_database.push(told.all);
        served.sound().await;
        served.stop().await;
    }
    assert_eq!(by_database[0], by_database[1]);
    let found: BTreeSet<&str> = by_database[0].iter().filter_map(|one| one["code"].as_str()).collect();
    assert_eq!(found, REACHED.into_iter().collect());
    insta::assert_json_snapshot!("refusals_of_cases", by_database[0]);
}
