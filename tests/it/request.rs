//! What the board asks of the desk: sent, answered, taken back, and lapsed by itself.

use fettle::domain::command::Command;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{self, Charge, Desk, Lead};
use fettle::domain::request_stands::{RequestTold, Standing};
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::allotment::{house, plan, ready};
use super::pace::at;
use super::served::Served;
use super::ward::{done, refused};

const NOW: &str = "2026-03-03T06:00:00Z";

/// Two sets of the small department, of which SET-1 is ready, and a case at three in the afternoon.
fn desk() -> (Paper, Time) {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1"]);
    plan(&mut paper, "K-1", "14:00", 60);
    (paper, at(NOW))
}

fn put_in() -> Value {
    json!({"do": "send_request", "kind": "put_in", "case": "K-1", "set": "SET-1", "asset": "T-SET-2"})
}

fn next() -> Value {
    json!({"do": "send_request", "kind": "take_next", "case": "K-1", "set": "SET-2"})
}

fn answer(request: &str, answer: &str) -> Value {
    json!({"do": "answer_request", "request": request, "answer": answer})
}

fn told(paper: &Paper, request: &str, now: Time) -> RequestTold {
    paper.state.requests[&Id::new(request).unwrap()].told(&paper.state, now)
}

fn stands(paper: &Paper, request: &str, now: Time) -> Standing {
    told(paper, request, now).status
}

#[test]
fn a_request_says_what_for_which_case_and_when() {
    let (mut paper, mut now) = desk();
    let sent = done(&mut paper, &mut now, Charge, put_in());
    assert_eq!(sent.beside.made, Id::new("request-00001"));
    let it = told(&paper, "request-00001", now);
    assert_eq!(it.sentence, "put T-SET-2 of set SET-2 into set SET-1, for case K-1 at 15:00");
    assert_eq!((it.status, it.by.as_str()), (Standing::Sent, "charge"));
    // It takes nothing and keeps nothing: the part is where it was, and nobody is kept from it.
    let part = &paper.state.assets[&Id::new("T-SET-2").unwrap()];
    assert_eq!(part.seat.as_ref().unwrap().set.as_str(), "SET-2");
    assert!(paper.state.cases[&Id::new("K-1").unwrap()].promised.is_empty());
    let words = |command: Value| {
        let mut paper = desk().0;
        done(&mut paper, &mut at(NOW), Charge, command);
        told(&paper, "request-00001", at(NOW)).sentence
    };
    assert_eq!(words(next()), "take set SET-2 before everything else at each step, for case K-1 at 15:00");
    let start = json!({"do": "send_request", "kind": "start_now", "case": "K-1", "set": "SET-2", "step": "sterilised",
                       "machine": "steriliser-1"});
    assert_eq!(
        words(start),
        "begin sterilising in steriliser-1 with set SET-2 now, without waiting for more, for case K-1 at 15:00"
    );
    let borrow = json!({"do": "send_request", "kind": "borrow", "case": "K-1", "count_sheet": "adult"});
    assert!(words(borrow).starts_with("borrow a set “"));
}

#[test]
fn the_desk_accepts_does_or_says_why_not() {
    let (mut paper, mut now) = desk();
    done(&mut paper, &mut now, Charge, put_in());
    done(&mut paper, &mut now, Desk, answer("request-00001", "accepted"));
    assert_eq!(stands(&paper, "request-00001", now), Standing::Accepted);
    let twice = refused(&mut paper, &mut now, Lead, answer("request-00001", "accepted"), "already_done");
    assert_eq!(twice.first.found, "request-00001 was answered by desk: accepted.");
    // That it can't be done needs a reason, since somebody has to find another way.
    refused(&mut paper, &mut now, Desk, answer("request-00001", "cannot"), "needs_reason");
    let mut cannot = answer("request-00001", "cannot");
    cannot["because"] = json!(" ");
    refused(&mut paper, &mut now, Desk, cannot.clone(), "needs_reason");
    cannot["because"] = json!("It is on another table.");
    done(&mut paper, &mut now, Desk, cannot);
    let it = told(&paper, "request-00001", now);
    assert_eq!((it.status, it.answers.len()), (Standing::Cannot, 2));
    assert_eq!(it.answers[1].because.as_deref(), Some("It is on another table."));
    assert!(paper.state.waiting_requests(now).is_empty());
    // After all: done is the last word, and one that was done is not taken back.
    done(&mut paper, &mut now, Desk, answer("request-00001", "done"));
    refused(&mut paper, &mut now, Desk, answer("request-00001", "accepted"), "already_done");
    let back = json!({"do": "withdraw_request", "request": "request-00001"});
    let refusal = refused(&mut paper, &mut now, Charge, back, "already_done");
    assert_eq!(refusal.first.found, "request-00001 was done, desk says.");
}

#[test]
fn the_same_is_asked_once_and_again_after_a_no() {
    let (mut paper, mut now) = desk();
    done(&mut paper, &mut now, Charge, put_in());
    let twice = refused(&mut paper, &mut now, Charge, put_in(), "already_done");
    assert_eq!(twice.first.found, "request-00001 asks the desk for the same: it is not answered yet.");
    assert_eq!(twice.first.next, "Wait for the desk, or take that one back.");
    let mut cannot = answer("request-00001", "cannot");
    cannot["because"] = json!("No hands.");
    done(&mut paper, &mut now, Desk, cannot);
    done(&mut paper, &mut now, Charge, put_in());
    done(&mut paper, &mut now, Charge, json!({"do": "withdraw_request", "request": "request-00002"}));
    assert_eq!(stands(&paper, "request-00002", now), Standing::Withdrawn);
    let back = json!({"do": "withdraw_request", "request": "request-00002"});
    refused(&mut paper, &mut now, Charge, back, "already_done");
    refused(&mut paper, &mut now, Desk, answer("request-00002", "accepted"), "out_of_order");
    // That it was done all the same is a fact.
    let event = done(&mut paper, &mut now, Desk, answer("request-00002", "done"));
    assert_eq!(event.beside.deviation.len(), 1, "{event:?}");
    done(&mut paper, &mut now, Charge, put_in());
}

#[test]
fn it_lapses_when_what_it_asks_for_is_so_and_stays_lapsed() {
    let (mut paper, mut now) = desk();
    done(&mut paper, &mut now, Charge, put_in());
    done(&mut paper, &mut now, Desk, answer("request-00001", "accepted"));
    let seat = |act: &str, set: &str, asset: &str| json!({"do": act, "set": set, "line": "telescope", "asset": asset});
    done(&mut paper, &mut now, Desk, seat("take_from_set", "SET-1", "T-1"));
    done(&mut paper, &mut now, Desk, seat("take_from_set", "SET-2", "T-SET-2"));
    assert_eq!(stands(&paper, "request-00001", now), Standing::Accepted);
    done(&mut paper, &mut now, Desk, seat("put_in_set", "SET-1", "T-SET-2"));
    let it = told(&paper, "request-00001", now);
    assert_eq!((it.status, it.lapsed.as_deref()), (Standing::Lapsed, Some("T-SET-2 lies in set SET-1.")));
    refused(&mut paper, &mut now, Charge, put_in(), "already_done");
    // It was so once; when the part leaves again, nobody is asked again by that.
    done(&mut paper, &mut now, Desk, seat("take_from_set", "SET-1", "T-SET-2"));
    assert_eq!(stands(&paper, "request-00001", now), Standing::Lapsed);
    assert!(paper.state.waiting_requests(now).is_empty());
    done(&mut paper, &mut now, Charge, put_in());
}

#[test]
fn a_set_that_is_ready_and_a_load_that_began_end_their_requests() {
    let (mut paper, now) = desk();
    done(&mut paper, &mut { now }, Charge, next());
    let start = json!({"do": "send_request", "kind": "start_now", "case": "K-1", "set": "SET-2", "step": "disinfected"});
    done(&mut paper, &mut { now }, Charge, start);
    let mut now = now.plus_minutes(5);
    for step in ["treated", "received", "cleaned", "dried"] {
        done(&mut paper, &mut now, Desk, json!({"do": "record_step", "step": step, "scan": "SET-2"}));
    }
    assert_eq!(stands(&paper, "request-00002", now), Standing::Sent);
    let load = json!({"do": "start_load", "load": "W-9", "machine": "washer-1", "programme": "wash", "scan": "SET-2"});
    done(&mut paper, &mut now, Desk, load);
    let it = told(&paper, "request-00002", now);
    assert_eq!(it.lapsed.as_deref(), Some("Set SET-2 is in load W-9."));
    assert_eq!(stands(&paper, "request-00001", now), Standing::Sent);
    // A request for what is ready is none.
    let ready = json!({"do": "send_request", "kind": "take_next", "case": "K-1", "set": "SET-1"});
    let refusal = refused(&mut paper, &mut now, Charge, ready, "already_done");
    assert_eq!(refusal.first.found, "Set SET-1 is ready.");
}

#[test]
fn a_borrowed_set_or_part_ends_its_request() {
    let (mut paper, mut now) = desk();
    let set = json!({"do": "send_request", "kind": "borrow", "case": "K-1", "count_sheet": "adult"});
    let line =
        json!({"do": "send_request", "kind": "borrow", "case": "K-1", "set": "SET-2", "line": "telescope"});
    done(&mut paper, &mut now, Charge, set);
    refused(&mut paper, &mut now, Charge, line.clone(), "already_done");
    let take = json!({"do": "take_from_set", "set": "SET-2", "line": "telescope", "asset": "T-SET-2"});
    done(&mut paper, &mut now, Desk, take);
    done(&mut paper, &mut now, Charge, line);
    let build = json!({"do": "build_set", "set": "LOAN-1", "count_sheet": "adult", "name": "On loan"});
    done(&mut paper, &mut now, Lead, build);
    assert_eq!(stands(&paper, "request-00001", now), Standing::Lapsed);
    let loan = json!({"do": "add_asset", "asset": "T-LOAN", "model": "scope", "owner": "loan"});
    done(&mut paper, &mut now, Lead, loan);
    let put = json!({"do": "put_in_set", "set": "SET-2", "line": "telescope", "asset": "T-LOAN"});
    done(&mut paper, &mut now, Desk, put);
    let it = told(&paper, "request-00002", now);
    assert_eq!(it.lapsed.as_deref(), Some("Line \"telescope\" of set SET-2 lacks nothing."));
}

#[test]
fn it_lapses_with_its_case() {
    let begun = |command: Value| {
        let (mut paper, mut now) = desk();
        done(&mut paper, &mut now, Charge, next());
        let issue = json!({"do": "issue", "case": "K-1", "scan": "SET-1"});
        if command["do"] != "cancel_case" {
            done(&mut paper, &mut now, Charge, issue);
            // What was issued is no beginning: another set may still be waited for.
            assert_eq!(stands(&paper, "request-00001", now), Standing::Sent);
        }
        done(&mut paper, &mut now, Charge, command);
        refused(&mut paper, &mut now, Charge, put_in(), "out_of_order");
        told(&paper, "request-00001", now).lapsed.expect("it lapsed")
    };
    assert_eq!(begun(json!({"do": "open", "case": "K-1", "scan": "SET-1"})), "Case K-1 has begun.");
    let cancel = json!({"do": "cancel_case", "case": "K-1", "reason": "fever"});
    assert_eq!(begun(cancel), "Case K-1 is cancelled.");
    // By the clock alone: a late case is helped all the same, one whose whole time has passed is not.
    let (mut paper, mut now) = desk();
    done(&mut paper, &mut now, Charge, next());
    assert_eq!(stands(&paper, "request-00001", at("2026-03-03T14:59:59Z")), Standing::Sent);
    let over = at("2026-03-03T15:00:00Z");
    assert_eq!(stands(&paper, "request-00001", over), Standing::Lapsed);
    assert_eq!(paper.state.board_until(at("2026-03-03T14:10:00Z")), over);
    let case = |now: &str| paper.state.board(at(now)).cases[0].requests[0].status;
    assert_eq!(case("2026-03-03T14:10:00Z"), Standing::Sent);
    assert_eq!(case("2026-03-03T15:00:00Z"), Standing::Lapsed);
}

#[test]
fn what_nobody_knows_and_what_does_not_belong_together_is_refused() {
    let (mut paper, mut now) = desk();
    let sends = |fields: Value| {
        let mut all = json!({"do": "send_request", "case": "K-1"});
        all.as_object_mut().unwrap().extend(fields.as_object().unwrap().clone());
        all
    };
    for (fields, found) in [
        (json!({"kind": "take_next", "set": "SET-9"}), "No set is named \"SET-9\"."),
        (json!({"kind": "take_next", "set": "SET-2", "case": "K-9"}), "No case is named \"K-9\"."),
        (json!({"kind": "put_in", "set": "SET-2", "asset": "T-9"}), "No part is named \"T-9\"."),
        (json!({"kind": "borrow", "count_sheet": "child"}), "No count sheet is named \"child\"."),
        (json!({"kind": "borrow", "set": "SET-2", "line": "x"}), "No line of set SET-2 is named \"x\"."),
        (
            json!({"kind": "start_now", "set": "SET-2", "step": "sterilised", "machine": "m"}),
            "No machine is named \"m\".",
        ),
    ] {
        let refusal = refused(&mut paper, &mut now, Charge, sends(fields), "unknown_thing");
        assert_eq!(refusal.first.found, found);
    }
    refused(&mut paper, &mut now, Desk, answer("request-00009", "done"), "unknown_thing");
    for (fields, pointer) in [
        (json!({"kind": "take_next"}), "/set"),
        (json!({"kind": "take_next", "set": "SET-2", "asset": "T-1"}), "/asset"),
        (json!({"kind": "put_in", "set": "SET-2"}), "/asset"),
        (json!({"kind": "start_now", "set": "SET-2"}), "/step"),
        (json!({"kind": "start_now", "set": "SET-2", "step": "packed"}), "/step"),
        (json!({"kind": "borrow"}), "/set"),
        (json!({"kind": "borrow", "count_sheet": "adult", "set": "SET-2"}), "/set"),
        (json!({"kind": "take_next", "set": "SET-2", "machine": "washer-1"}), "/machine"),
    ] {
        let wrong = Command::read(sends(fields)).expect_err("not a command");
        assert_eq!(wrong[0].pointer, pointer);
    }
    // A part that will not come is asked for in vain.
    let away = json!({"do": "send_to_repair", "asset": "T-SET-2", "reason": "dark", "decontaminated": true});
    done(&mut paper, &mut now, Role::Biomed, away);
    let refusal = refused(&mut paper, &mut now, Charge, put_in(), "in_repair");
    assert_eq!(refusal.first.found, "T-SET-2 is in repair.");
}

/// A request that somebody told by word of mouth on a day on paper is told late, with its answer.
#[test]
fn it_may_be_told_late() {
    let (mut paper, mut now) = desk();
    let late = |mut command: Value, when: &str| {
        command["at"] = json!(when);
        command["late"] = json!({"cause": "downtime"});
        command
    };
    done(&mut paper, &mut now, Charge, late(put_in(), "2026-03-02T09:00:00Z"));
    let mut accepted = late(answer("request-00001", "accepted"), "2026-03-02T09:05:00Z");
    done(&mut paper, &mut now, Desk, accepted.clone());
    accepted["answer"] = json!("done");
    done(&mut paper, &mut now, Desk, accepted);
    let it = told(&paper, "request-00001", now);
    assert_eq!((it.status, it.at), (Standing::Done, at("2026-03-02T09:00:00Z")));
}

/// A request with an answer, taken back, for a case that is cancelled then: for the tests that want an entry of every kind.
pub async fn every_kind(served: &Served) {
    let borrow = json!({"do": "send_request", "kind": "borrow", "case": "K-2", "count_sheet": "adult"});
    let request = served.done(Charge, borrow).await["made"].clone();
    let cannot = json!({"do": "answer_request", "request": request, "answer": "cannot", "because": "Nobody lends one."});
    served.done(Desk, cannot).await;
    served.done(Charge, json!({"do": "withdraw_request", "request": request})).await;
    served.done(Charge, json!({"do": "cancel_case", "case": "K-2", "reason": "moved away"})).await;
}

/// A request that nobody could do is refused with what is needed.
#[test]
fn what_makes_no_sense_is_refused() {
    let (mut paper, mut now) = desk();
    let sheet = json!({"do": "define_count_sheet", "count_sheet": "child", "name": "Child", "lines": [
        {"line": "barrel", "family": "bronchoscope", "quantity": 1, "essential": true}]});
    done(&mut paper, &mut now, Lead, sheet);
    let case = json!({"do": "plan_case", "case": "K-2", "start": "2026-03-03T15:00:00Z", "minutes": 60, "needs": ["child"]});
    done(&mut paper, &mut now, Charge, case);
    let start = |machine: &str| {
        json!({"do": "send_request", "kind": "start_now", "case": "K-1", "set": "SET-2",
        "step": "sterilised", "machine": machine})
    };
    let refusal = refused(&mut paper, &mut now, Charge, start("washer-1"), "programme_unsuitable");
    assert_eq!(refusal.first.found, "No programme of washer-1 sterilises.");
    assert_eq!(refusal.first.needed, "A steriliser is needed.");
    let out = json!({"do": "machine_out", "machine": "steriliser-1", "reason": "steam supply"});
    done(&mut paper, &mut now, Lead, out);
    refused(&mut paper, &mut now, Charge, start("steriliser-1"), "machine_not_ready");
    let other = json!({"do": "send_request", "kind": "take_next", "case": "K-2", "set": "SET-2"});
    let refusal = refused(&mut paper, &mut now, Charge, other, "not_on_sheet");
    assert_eq!(refusal.first.found, "Case K-2 needs Child, and set SET-2 is a set “Adult”.");
}
