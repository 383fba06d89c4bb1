//! Released alone: only with everything passed and something that needs it, and countersigned by somebody else on the
//! next working day. RACGP 2023, record keeping (read): two sets of hands, before and after the cycle.

use fettle::domain::exception::countersign_due;
use fettle::domain::person::Role::{Admin, Charge, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served, steam_record};
use super::ward::{Ward, indicator, late, release, time};

fn alone(load: &str, reason: &str) -> Value {
    let mut all = release(load);
    all["override"] = json!({"code": "same_person", "reason": reason});
    all
}

fn sign(load: &str) -> Value {
    json!({"do": "countersign", "load": load})
}

fn two_people() -> Ward {
    let mut ward = Ward::open();
    ward.done(Admin, json!({"do": "set_policy", "two_people": true}));
    let sheet = json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult", "lines":
        [{"line": "part", "models": ["part"], "quantity": 1, "essential": true}]});
    ward.done(Admin, sheet);
    ward
}

#[test]
fn alone_needs_everything_passed_and_a_case_or_the_reserve() {
    let mut ward = two_people();
    ward.start("a", "plain", "P-1");
    ward.now = ward.now.plus_minutes(15);
    let why = "alone at night, the reserve adult needs it";
    ward.refused(Desk, alone("a", why), "no_record");
    ward.judged("a", 200);
    ward.refused(Desk, alone("a", why), "indicator_missing");
    ward.done(Desk, indicator("a", "chemical", "pass", None));
    ward.refused(Desk, alone("a", why), "same_person");
    ward.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 0}));
    ward.refused(Desk, alone("a", why), "same_person");
    ward.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}));
    ward.refused(Desk, alone("a", "alone at night"), "same_person");
    ward.refused(Desk, release("a"), "same_person");
    ward.done(Desk, alone("a", why));
    // A case that is still to come will do as well.
    ward.passed("b", "plain", "P-2");
    ward.refused(Desk, alone("b", "K-7 needs it"), "same_person");
    let plan = json!({"do": "plan_case", "case": "K-7", "start": "2026-03-02T14:00:00+01:00", "minutes": 30, "needs": []});
    ward.done(Charge, plan);
    ward.done(Desk, alone("b", "K-7 needs it"));
    assert_eq!(ward.paper.state.open_exceptions().count(), 2);
}

#[test]
fn another_person_countersigns_once() {
    let mut ward = two_people();
    ward.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}));
    ward.passed("a", "plain", "P-1");
    ward.refused(Lead, sign("a"), "out_of_order");
    ward.done(Desk, alone("a", "adult needs it"));
    ward.passed("b", "plain", "P-2");
    ward.done(Lead, release("b"));
    ward.never(Desk, sign("b"), "out_of_order");
    ward.refused(Desk, sign("a"), "same_person");
    let mut forced = sign("a");
    forced["override"] = json!({"code": ["same_person", "already_done"], "reason": "nobody else is here"});
    ward.refused(Desk, forced, "same_person");
    let at = ward.now.to_string();
    ward.refused(Desk, late(sign("a"), &at), "same_person");
    ward.done(Lead, sign("a"));
    ward.refused(Lead, sign("a"), "already_done");
    ward.refused(Desk, late(sign("a"), &at), "already_done");
    let signed = ward.load("a").alone.clone().expect("released alone");
    assert_eq!((signed.signed_by.as_deref(), signed.alone.reason.as_str()), (Some("lead"), "adult needs it"));
    let months = ward.paper.state.released_alone().months;
    assert_eq!(months.iter().map(|it| (it.open, it.closed)).collect::<Vec<_>>(), [(0, 1)]);
}

/// Of the trade's rule that a night's exceptions are looked at on the next working day (common practice); a night is one
/// test day, so it is due on one day.
#[test]
fn it_is_due_on_the_next_working_day_of_the_site() {
    let ward = Ward::open();
    for (released, due) in [
        ("2026-03-02T23:00:00+01:00", "2026-03-03"), // Monday evening
        ("2026-03-03T05:59:00+01:00", "2026-03-03"), // the same night
        ("2026-03-03T06:00:00+01:00", "2026-03-04"),
        ("2026-03-07T02:00:00+01:00", "2026-03-09"), // in the night to Saturday
        ("2026-03-07T12:00:00+01:00", "2026-03-09"),
        ("2026-03-08T22:00:00+01:00", "2026-03-09"), // Sunday evening
        ("2026-03-09T03:00:00+01:00", "2026-03-09"),
        ("2026-03-29T02:30:00+02:00", "2026-03-30"), // the clock goes forward in this night
        ("2026-10-25T02:30:00+01:00", "2026-10-26"),
    ] {
        assert_eq!(countersign_due(&ward.paper.state, time(released)).to_string(), due, "{released}");
    }
}

/// A part `P-1` and an implant `I-1` of a short route, two people, and a reserve.
pub async fn furnish(served: &Served) {
    served.furnish().await;
    served.done(Admin, json!({"do": "set_policy", "two_people": true})).await;
    served.done(Lead, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1})).await;
    let route = json!({"do": "define_route", "route": "plain", "steps": [{"step": "packed"}, {"step": "sterilised"}]});
    served.done(Admin, route).await;
    let stent = json!({"do": "define_model", "model": "stent", "family": "accessory", "name": "Stent", "route": "plain",
        "implant": true, "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    served.done(Admin, stent).await;
    served.done(Lead, json!({"do": "add_asset", "asset": "I-1", "model": "stent"})).await;
    let plain = json!({"do": "define_model", "model": "plain", "family": "accessory", "name": "Plain", "route": "plain",
        "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    served.done(Admin, plain).await;
    served.done(Lead, json!({"do": "add_asset", "asset": "P-1", "model": "plain"})).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_list_tells_what_is_open_and_what_was_closed() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        let mut loads = Vec::new();
        for part in ["P-1", "I-1"] {
            served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": part})).await;
            let load = served.load("steriliser-1", "p134", part).await;
            served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
            served.done(Desk, indicator(&load, "chemical", "pass", None)).await;
            let mut decide = if part == "P-1" { alone(&load, "adult needs it") } else { release(&load) };
            let mut by = Desk;
            if part == "I-1" {
                by = Lead;
                decide["early"] = json!({"patient": "REF-99", "person": "Dr Night", "reason": "bleeding"});
                assert_eq!(served.post(Desk, decide.clone()).await.0, 403, "only the lead");
            }
            served.done(by, decide).await;
            loads.push(load);
        }
        let (status, told) = served.get("exceptions").await;
        assert_eq!(status, 200, "{told}");
        assert!(!told.to_string().contains("REF-99") && !told.to_string().contains("Dr Night"), "{told}");
        let (by_one, early) = (&told["released_alone"], &told["released_early"]);
        assert_eq!(
            (&by_one["open"][0]["load"], &early["open"][0]["load"]),
            (&json!(loads[0]), &json!(loads[1]))
        );
        assert_eq!(
            (&by_one["open"][0]["reason"], &by_one["open"][0]["overdue"]),
            (&json!("adult needs it"), &json!(false))
        );
        assert_eq!(
            (&early["open"][0]["implants"], &early["open"][0]["patient"]),
            (&json!(["I-1"]), &json!(true))
        );
        assert_eq!((&by_one["months"][0]["open"], &early["months"][0]["closed"]), (&json!(1), &json!(0)));
        let (_, due) = served.get("due").await;
        let whys: Vec<&str> =
            due["items"].as_array().expect("a list").iter().filter_map(|it| it["why"].as_str()).collect();
        assert!(whys.contains(&"countersignature") && whys.contains(&"biological_pending"), "{whys:?}");
        served.refused(Desk, sign(&loads[0]), "same_person").await;
        served.done(Lead, sign(&loads[0])).await;
        served.done(Desk, indicator(&loads[1], "biological", "pass", None)).await;
        let (_, told) = served.get("exceptions").await;
        for kind in ["released_alone", "released_early"] {
            assert_eq!(
                (&told[kind]["open"], &told[kind]["months"][0]["closed"]),
                (&json!([]), &json!(1)),
                "{told}"
            );
            assert_eq!(told[kind]["closed"].as_array().map(Vec::len), Some(1));
        }
        let (_, told) = served.get("exceptions?month=2001-01").await;
        assert_eq!(told["released_alone"]["closed"], json!([]));
        for wrong in ["exceptions?month=March", "exceptions?month=2026-13", "exceptions?year=2026"] {
            assert_eq!(served.get(wrong).await.0, 422, "{wrong}");
        }
        served.sound().await;
        served.stop().await;
    }
}
