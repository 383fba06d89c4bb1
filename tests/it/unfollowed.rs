//! What follows an emergency: who it was and what it needed, on an open list until told; and what comes in the place of the
//! set that it took.

use fettle::domain::allotted::{allotted, statuses};
use fettle::domain::order_of_work::{Needed, needed};
use fettle::domain::person::Role::{Charge, Desk, Infection, Lead};
use serde_json::json;

use super::allotment::{house, plan, ready};
use super::pace::{at, told};
use super::served::{BOTH, Served};

#[tokio::test(flavor = "multi_thread")]
async fn an_emergency_stays_on_the_list_until_its_patient_is_named() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let list = async || served.get("unfollowed").await.1["items"].clone();
        assert_eq!(list().await, json!([]));
        // Parts by themselves say nothing of what is needed.
        let made =
            served.done(Charge, json!({"do": "issue", "scan": ["B-1"], "emergency": true})).await["made"]
                .clone();
        let case = made.as_str().expect("a case").to_string();
        let now = list().await;
        assert_eq!(
            (&now[0]["case"], &now[0]["patient"], &now[0]["needs"]),
            (&made, &json!(true), &json!(true)),
            "{now}"
        );
        served.done(Charge, json!({"do": "change_case", "case": case, "needs": ["adult"]})).await;
        assert_eq!(list().await[0]["needs"], false);
        // Its end ends nothing: who it was is still not known.
        served.done(Charge, json!({"do": "close_count", "case": case})).await;
        assert_eq!(list().await[0]["case"], made);
        let (_, board) = served.get("board").await;
        assert!(
            board["unfollowed"][0]["sentence"]
                .as_str()
                .is_some_and(|it| it.contains("has no patient's reference yet")),
            "{board}"
        );
        served.done(Charge, json!({"do": "change_case", "case": case, "patient": "REF-4711"})).await;
        assert_eq!(list().await, json!([]));
        // A reference that is erased was named once.
        served.house.clock.set(served.house.clock.now().plus_minutes(11 * 366 * 24 * 60));
        served
            .done(Infection, json!({"do": "erase_patient", "case": case, "reason": "the time is over"}))
            .await;
        assert_eq!(list().await, json!([]));
        served.sound().await;
        served.stop().await;
    }
}

#[test]
fn what_comes_in_the_place_of_a_robbed_set_heads_the_queue() {
    let mut paper = house(&["SET-2", "SET-3"]);
    ready(&mut paper, &["SET-1"]);
    let now = "2026-03-03T06:00:00Z";
    for (minute, step) in [(0, "treated"), (1, "received"), (2, "cleaned")] {
        let when = format!("2026-03-03T05:0{minute}:00Z");
        told(&mut paper, Desk, &when, json!({"do": "record_step", "step": step, "scan": "SET-2"}));
    }
    told(
        &mut paper,
        Lead,
        "2026-03-03T05:10:00Z",
        json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}),
    );
    plan(&mut paper, "K-1", "16:00", 60);
    told(&mut paper, Charge, "2026-03-03T05:40:00Z", json!({"do": "promise", "case": "K-1", "set": "SET-1"}));
    let order = |paper: &fettle::domain::simulate::ledger::Paper| {
        let state = &paper.state;
        let statuses = statuses(state, at(now));
        let mut all: Vec<(Needed, String)> =
            needed(state, &statuses, &allotted(state, &statuses, at(now)), at(now))
                .into_iter()
                .map(|(set, needed)| (needed, set.to_string()))
                .collect();
        all.sort();
        all
    };
    let before = order(&paper);
    assert!(!before.iter().any(|(needed, _)| matches!(needed, Needed::Robbed { .. })), "{before:?}");
    told(
        &mut paper,
        Charge,
        "2026-03-03T05:50:00Z",
        json!({"do": "issue", "scan": "SET-1", "emergency": true}),
    );
    let after = order(&paper);
    // The one that is furthest on its way, before what refills the reserve.
    assert!(
        matches!(&after[0], (Needed::Robbed { case, .. }, set) if case.as_str() == "K-1" && set == "SET-2"),
        "{after:?}"
    );
    assert!(
        after.iter().skip(1).any(|(needed, set)| *needed == Needed::Reserve && set == "SET-3"),
        "{after:?}"
    );
}
