//! The handover of a shift and the exceptions of a month: what they tell, and who signs for having read it.

use chrono::{TimeDelta, Utc};
use fettle::domain::person::Role::{Admin, Charge, Clinician, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::page;
use super::served::{BOTH, Kind, Served};
use super::ward::late;

async fn seq(served: &Served) -> u64 {
    let (_, board) = served.get("board").await;
    board["entry"].as_u64().expect("a place")
}

#[tokio::test(flavor = "multi_thread")]
async fn who_takes_over_signs_up_to_where_it_was_read() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let entry = seq(&served).await;
        let take = |entry: Value| json!({"do": "take_over", "entry": entry});
        // Nobody has read what is not written, and nobody hands over to themselves.
        for bad in [0, entry + 1] {
            served.refused(Desk, take(json!(bad)), "unknown_thing").await;
        }
        for bad in [json!(-1), json!("1"), json!(1.5)] {
            let (status, told) = served.post(Desk, take(bad.clone())).await;
            assert_eq!((status, &told["errors"][0]["pointer"]), (422, &json!("/entry")), "{bad}: {told}");
        }
        let (status, told) =
            served.post(Desk, json!({"do": "take_over", "entry": entry, "handed_over_by": " "})).await;
        assert_eq!((status, &told["errors"][0]["pointer"]), (422, &json!("/handed_over_by")), "{told}");
        let first = served
            .done(Desk, json!({"do": "take_over", "entry": entry, "handed_over_by": "Nurse Invented"}))
            .await;
        // Names of people stand sealed in the ledger.
        assert!(
            first["event"]["handed_over_by"].as_str().is_some_and(|it| it.starts_with("sealed:")),
            "{first}"
        );
        assert_eq!(first["event"]["area"], "desk");
        served.refused(Desk, take(json!(entry)), "already_done").await;
        // A signature alone is nothing new to read.
        served.refused(Desk, json!({"do": "take_over"}), "already_done").await;
        // The theatres have a shift of their own, and another person takes over the same place.
        let theatre = served.done(Charge, take(json!(entry))).await;
        assert_eq!(theatre["event"]["area"], "theatre");
        served.done(Lead, take(json!(entry))).await;
        let me = first["event"]["handed_over_by"].clone();
        assert!(me.is_string());
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_month_is_signed_by_both_who_review_it_and_again_when_more_was_recorded() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Desk, json!({"do": "record_step", "step": "received", "scan": "B-1"})).await;
        let (_, told) = served.get("exceptions").await;
        let month = told["month"].as_str().expect("a month").to_string();
        assert_eq!(told["months"][0]["deviation"], 1, "{told}");
        assert_eq!(told["reviews"][0], json!({"role": "lead", "signed": null, "since": 1}), "{told}");
        let entry = seq(&served).await;
        let review = |entry: u64| json!({"do": "review_exceptions", "month": month, "entry": entry});
        for month in ["2026-13", "2026-3", "March", ""] {
            let bad = json!({"do": "review_exceptions", "month": month, "entry": entry});
            let (status, told) = served.post(Lead, bad).await;
            assert_eq!((status, &told["errors"][0]["pointer"]), (422, &json!("/month")), "{month}: {told}");
        }
        let ahead = json!({"do": "review_exceptions", "month": "2999-01", "entry": entry});
        served.refused(Lead, ahead, "in_the_future").await;
        served.done(Lead, review(entry)).await;
        served.refused(Lead, review(entry), "already_done").await;
        served.done(Infection, review(entry)).await;
        // Another deviation after it: the month is open to both again, and says how many came.
        let at = (Utc::now() - TimeDelta::minutes(1)).to_rfc3339();
        let step = json!({"do": "record_step", "step": "cleaned", "scan": "B-1"});
        served.done(Desk, late(step, &at)).await;
        let (_, told) = served.get("exceptions").await;
        assert_eq!(told["reviews"][1]["since"], 1, "{told}");
        assert_eq!(told["reviews"][1]["signed"]["read_to"], json!(entry), "{told}");
        assert_eq!(told["months"][0]["late"], 1, "{told}");
        assert!(told["out_of_the_ordinary"]["reasons"].to_string().contains("downtime"), "{told}");
        let lead = page::person(&served, Lead).await;
        let (_, _, text) = page::open(&lead, &served, "/exceptions").await;
        assert!(text.contains("1 recorded since") && text.contains("Month by month"), "{text}");
        assert!(text.contains(&format!("Sign {month} as reviewed, up to entry")), "{text}");
        let desk = page::person(&served, Desk).await;
        let (_, _, text) = page::open(&desk, &served, "/exceptions").await;
        assert!(!text.contains("as reviewed, up to entry"), "who does not sign has no button: {text}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_handover_tells_what_is_new_late_starts_and_who_took_over() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let start = Utc::now() - TimeDelta::minutes(40);
    let plan = json!({"do": "plan_case", "case": "K-1", "start": start.to_rfc3339(), "minutes": 60, "needs": ["adult"]});
    served.done(Charge, late(plan, &(start - TimeDelta::minutes(60)).to_rfc3339())).await;
    let lead = page::person(&served, Lead).await;
    let (_, _, text) = page::open(&lead, &served, "/handover").await;
    assert!(text.contains("not begun, its start passed 40 min ago"), "{text}");
    assert!(text.contains("when the last shift began"), "{text}");
    served.done(Desk, json!({"do": "hold", "kind": "quality", "scan": "B-1", "reason": "a scratch"})).await;
    let (_, _, text) = page::open(&lead, &served, "/handover").await;
    assert!(text.contains("New holds") && text.contains("a scratch"), "{text}");
    // Signed on the page: what was new is old from then on.
    let entry = seq(&served).await.to_string();
    let fields = [("back", "/handover"), ("do", "take_over"), ("entry:int", entry.as_str())];
    let (status, _, text) = page::act(&lead, &served, &fields).await;
    assert!(status == 200 && text.contains("Recorded as entry"), "{status} {text}");
    let (_, _, text) = page::open(&lead, &served, "/handover").await;
    assert!(text.contains("took over sterile processing") && text.contains("1 from before"), "{text}");
    assert!(text.contains(&format!("read up to entry {entry}")), "{text}");
    // What is recorded while somebody reads is not signed for: it is new for the next one, though it was before the signature.
    served
        .done(Desk, json!({"do": "hold", "kind": "quality", "scan": "C-1", "reason": "a tear in it"}))
        .await;
    let read = seq(&served).await.to_string();
    served
        .done(Desk, json!({"do": "hold", "kind": "quality", "scan": "C-2", "reason": "a crack in it"}))
        .await;
    let fields = [("back", "/handover"), ("do", "take_over"), ("entry:int", read.as_str())];
    let (status, _, text) = page::act(&lead, &served, &fields).await;
    assert!(status == 200 && text.contains("Recorded as entry"), "{status} {text}");
    let (_, _, text) = page::open(&lead, &served, "/handover").await;
    let new = text.split("from before").next().unwrap_or_default();
    assert!(new.contains("a crack in it") && text.contains("2 from before"), "{text}");
    // Put off on its day, and opened late.
    let later = (Utc::now() + TimeDelta::minutes(30)).to_rfc3339();
    served.done(Charge, json!({"do": "change_case", "case": "K-1", "start": later})).await;
    let (_, _, text) = page::open(&lead, &served, "/handover").await;
    assert!(text.contains("put off from"), "{text}");
    let back =
        served.done(Admin, json!({"do": "set_policy", "shift_starts": ["06:00", "14:00", "22:00"]})).await;
    assert!(back["entry"].is_number());
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn shifts_of_a_site_are_hours_in_order() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    for bad in [json!([]), json!(["19:00", "07:00"]), json!(["07:00", "07:00"]), json!(["7"]), json!("07:00")]
    {
        let (status, told) = served.post(Admin, json!({"do": "set_policy", "shift_starts": bad})).await;
        assert!(status == 422 && told.to_string().contains("/shift_starts"), "{bad}: {told}");
    }
    let clinician = page::person(&served, Clinician).await;
    let (status, _, text) = page::open(&clinician, &served, "/handover").await;
    assert!(
        status == 200 && !text.contains("Take over the theatres"),
        "a clinician takes over no shift: {text}"
    );
    served.stop().await;
}
