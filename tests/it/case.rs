//! Cases from plan to count, through the API, on both databases: what is asked, what is told, and what follows.
//!
//! The count that closes a case is the sign-out of the WHO surgical safety checklist (2009): instruments are counted
//! before the patient leaves, and what does not add up is looked for.

use fettle::domain::person::Role::{Admin, Auditor, Biomed, Charge, Clinician, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served};

pub fn in_hours(hours: i64) -> String {
    (chrono::Utc::now() + chrono::TimeDelta::hours(hours)).to_rfc3339()
}

pub fn plan(case: &str, hours: i64) -> Value {
    json!({"do": "plan_case", "case": case, "start": in_hours(hours), "minutes": 60, "needs": ["adult"]})
}

pub fn issue(case: &str, scan: &str) -> Value {
    json!({"do": "issue", "case": case, "scan": scan})
}

pub async fn case(served: &Served, case: &str) -> Value {
    let (status, body) = served.get(&format!("cases/{case}")).await;
    assert_eq!(status, 200, "{body}");
    body
}

pub async fn stands(served: &Served, asset: &str, stage: &str, turn: u64, uses: u64) {
    let told = served.asset(asset).await;
    let found = (told["stage"].as_str(), told["turn"].as_u64(), told["uses"].as_u64());
    assert_eq!(found, (Some(stage), Some(turn), Some(uses)), "{told}");
}

async fn board_case(served: &Served, case: &str) -> Value {
    let (_, board) = served.get("board").await;
    let cases = board["cases"].as_array().expect("cases");
    cases.iter().find(|it| it["case"] == case).unwrap_or_else(|| panic!("{case} in {board}")).clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_case_goes_from_plan_to_count() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Charge, plan("K-1", 2)).await;
        // Two hours from now, and four are the site's turnaround: soiled as it is the set does not come in time.
        let told = board_case(&served, "K-1").await;
        assert_eq!(told["status"], "not_ready");
        assert!(told["why"].to_string().contains("after the case begins"), "{told}");
        served.done(Charge, json!({"do": "promise", "case": "K-1", "set": "SET-1"})).await;
        served.refused(Charge, issue("K-1", "SET-1"), "out_of_order").await;
        served.round("SET-1").await;
        assert_eq!(board_case(&served, "K-1").await["status"], "ready");
        served.done(Desk, issue("K-1", "SET-1")).await;
        assert_eq!(served.set("SET-1").await["status"], "out");
        served.refused(Desk, issue("K-1", "SET-1"), "already_done").await;
        let told = case(&served, "K-1").await;
        assert_eq!((&told["status"], &told["count"]), (&json!("issued"), &json!("open")));
        served
            .refused(Charge, json!({"do": "cancel_case", "case": "K-1", "reason": "fever"}), "count_open")
            .await;
        let opened = served.done(Clinician, json!({"do": "open", "case": "K-1", "scan": "B-1"})).await;
        assert_eq!((&opened["also_opened"], &opened["deviation"]), (&json!(["C-1"]), &json!([])));
        served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await;
        served.refused(Clinician, json!({"do": "use", "case": "K-1", "scan": "B-1"}), "already_done").await;
        stands(&served, "B-1", "in_use", 1, 1).await;
        stands(&served, "T-1", "issued", 1, 0).await;
        let close = json!({"do": "close_count", "case": "K-1", "unopened": "SET-1", "missing": ["C-1"]});
        let closed = served.done(Charge, close.clone()).await;
        assert_eq!(closed["deviation"], json!([]), "{closed}");
        served.refused(Charge, close, "already_done").await;
        stands(&served, "B-1", "soiled", 2, 1).await;
        stands(&served, "T-1", "ready", 1, 0).await;
        assert_eq!(served.asset("C-1").await["standing"], "missing");
        let told = case(&served, "K-1").await;
        let all = [&told["opened"], &told["used"], &told["missing"], &told["count"], &told["status"]];
        assert_eq!(
            all,
            [&json!(["B-1", "C-1"]), &json!(["B-1"]), &json!(["C-1"]), &json!("closed"), &json!("closed")]
        );
        // A missing part is found before anything else is told of it.
        let step = json!({"do": "record_step", "step": "received", "scan": "C-1"});
        let refused = served.refused(Desk, step, "missing").await;
        served.done(Desk, refused["remedy"].clone()).await;
        stands(&served, "C-1", "soiled", 2, 0).await;
        served.refused(Desk, json!({"do": "found", "scan": "C-1"}), "already_done").await;
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_recorded_use_everything_that_was_not_unopened_counts_as_used() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 2)).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        // Treated before the count: the next turn begins at once, and the count leaves it there.
        served.done(Charge, json!({"do": "record_step", "step": "treated", "scan": "B-1"})).await;
        stands(&served, "B-1", "treated", 2, 0).await;
        let close = json!({"do": "close_count", "case": "K-1", "broken": ["C-1"]});
        served.done(Charge, close).await;
        stands(&served, "B-1", "treated", 2, 1).await;
        stands(&served, "C-1", "soiled", 2, 1).await;
        stands(&served, "T-1", "soiled", 2, 1).await;
        assert_eq!(served.asset("C-1").await["held"][0]["kind"], "quality", "it came back broken");
        assert_eq!(served.asset("B-1").await["held"], json!([]));
        let (_, back) = served.get("look-back?case=K-1").await;
        assert_eq!(
            back["loads"].as_array().map(Vec::len),
            Some(2),
            "the washer's and the steriliser's: {back}"
        );
        assert_eq!(back["cases"][0]["assets"].as_array().map(Vec::len), Some(3));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_set_is_kept_for_one_case_at_a_time_and_an_emergency_takes_it() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 3)).await;
        served.done(Charge, plan("K-2", 5)).await;
        served.done(Charge, plan("K-3", 30)).await;
        let promise = |case: &str| json!({"do": "promise", "case": case, "set": "SET-1"});
        served.done(Charge, promise("K-1")).await;
        served.refused(Charge, promise("K-1"), "already_done").await;
        served.refused(Charge, promise("K-2"), "promised_elsewhere").await;
        served.done(Lead, promise("K-3")).await;
        served.refused(Charge, issue("K-2", "SET-1"), "promised_elsewhere").await;
        assert_eq!(board_case(&served, "K-2").await["status"], "not_ready");
        served.done(Charge, json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1})).await;
        let refused = served.refused(Charge, issue("K-1", "SET-1"), "reserve_would_be_undercut").await;
        assert_eq!(refused["also"], json!([]));
        let (status, body) = served.post(Clinician, issue("K-1", "SET-1")).await;
        assert_eq!((status, &body["code"]), (403, &json!("not_your_role")));
        // One act, no refusal: that is what a reserve is for.
        let taken = served.done(Clinician, json!({"do": "issue", "emergency": true, "scan": "SET-1"})).await;
        let made = taken["made"].as_str().expect("a case").to_string();
        assert_eq!(case(&served, &made).await["emergency"], true);
        let robbed = board_case(&served, "K-1").await;
        assert_eq!(robbed["status"], "not_ready", "{robbed}");
        assert!(robbed["why"][0].as_str().is_some_and(|why| why.contains("SET-1")), "{robbed}");
        served.done(Charge, json!({"do": "close_count", "case": made})).await;
        served.done(Charge, json!({"do": "withdraw_promise", "case": "K-1", "set": "SET-1"})).await;
        let (status, _) = served.post(Charge, json!({"do": "issue", "scan": "SET-1"})).await;
        assert_eq!(status, 422, "only an emergency is issued without a case");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_not_fit_is_opened_all_the_same_and_held() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 1)).await;
        // Ready, but nobody issued it: a fact, a deviation and a hold.
        let opened = served.done(Charge, json!({"do": "open", "case": "K-1", "scan": "T-1"})).await;
        assert_eq!(opened["deviation"], json!(["out_of_order"]));
        let told = served.asset("T-1").await;
        assert_eq!((&told["stage"], &told["held"][0]["kind"]), (&json!("in_use"), &json!("quality")));
        // Retired since: told all the same.
        served.done(Biomed, json!({"do": "retire", "asset": "C-2", "cause": "worn", "failure": true})).await;
        let used = served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "C-2"})).await;
        assert_eq!(used["deviation"], json!(["retired"]));
        // On hold: issued only by an emergency with a second person, and held again when it is opened.
        let hold = json!({"do": "hold", "kind": "quality", "reason": "scratched", "scan": "B-1"});
        served.done(Desk, hold).await;
        served.refused(Charge, issue("K-1", "B-1"), "held").await;
        let mut urgent = issue("K-1", "B-1");
        urgent["emergency"] = true.into();
        served.refused(Charge, urgent.clone(), "held").await;
        urgent["override"] = json!({"code": "held", "reason": "bleeding airway"});
        served.refused(Charge, urgent.clone(), "held").await;
        urgent["override"]["second_person"] = "Dr One".into();
        let done = served.done(Charge, urgent).await;
        assert_eq!(done["event"]["override"]["codes"], json!(["held"]));
        let opened = served.done(Charge, json!({"do": "open", "case": "K-1", "scan": "B-1"})).await;
        assert_eq!(opened["deviation"], json!(["held"]));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_suspected_prion_disease_holds_what_was_opened_before_and_after() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, plan("K-1", 1)).await;
        served.done(Charge, issue("K-1", "SET-1")).await;
        served.done(Charge, json!({"do": "open", "case": "K-1", "scan": "B-1"})).await;
        let risk = json!({"do": "change_case", "case": "K-1", "risk": "prion_suspected"});
        served.done(Clinician, risk).await;
        for asset in ["B-1", "C-1"] {
            assert_eq!(served.asset(asset).await["held"][0]["kind"], "prion");
        }
        assert_eq!(served.asset("T-1").await["held"], json!([]));
        served.done(Charge, json!({"do": "use", "case": "K-1", "scan": "T-1"})).await;
        assert_eq!(served.asset("T-1").await["held"][0]["kind"], "prion");
        served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
        served.refused(Desk, json!({"do": "record_step", "step": "cleaned", "scan": "T-1"}), "held").await;
        let (status, _) =
            served.post(Clinician, json!({"do": "change_case", "case": "K-1", "minutes": 5})).await;
        assert_eq!(status, 403, "a clinician changes technique and risk only");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_patient_stands_sealed_and_can_be_erased() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let mut asked = plan("K-1", 1);
        asked["patient"] = "REF-4711".into();
        let planned = served.done(Charge, asked).await;
        assert!(!planned.to_string().contains("REF-4711"), "{planned}");
        for (role, may) in [(Charge, true), (Infection, true), (Auditor, true), (Desk, false), (Admin, false)]
        {
            let url = format!("{}/api/v1/{}/cases/K-1/patient", served.base, served.site);
            let answer =
                served.client.get(url).bearer_auth(served.token(role)).send().await.expect("an answer");
            assert_eq!(answer.status().as_u16(), if may { 200 } else { 403 }, "{role:?}");
            if may {
                let body: Value = answer.json().await.expect("JSON");
                assert_eq!(body, json!({"patient": "REF-4711"}));
            }
        }
        let erase = |case: &str| json!({"do": "erase_patient", "case": case, "reason": "asked for"});
        served.refused(Infection, erase("K-1"), "still_referenced").await;
        // A case of long ago, told late, is beyond the retention time.
        let mut old = json!({"do": "plan_case", "case": "K-0", "start": "2010-03-01T08:00:00Z", "minutes": 30,
                             "needs": [], "patient": "REF-4711"});
        served.refused(Charge, old.clone(), "too_late").await;
        old["late"] = json!({"cause": "downtime"});
        served.done(Charge, old).await;
        let open = json!({"do": "open_look_back", "origin": {"case": "K-0"}, "reason": "asked by the ward"});
        let look_back = served.done(Infection, open).await["made"].clone();
        served.refused(Infection, erase("K-0"), "still_referenced").await;
        served
            .done(Infection, json!({"do": "close_look_back", "look_back": look_back, "outcome": "none"}))
            .await;
        let before = served.ledger("").await;
        let url = format!("{}/api/v1/{}/look-back", served.base, served.site);
        let ask = json!({"patient": "REF-4711"});
        let both: Value = served
            .client
            .post(&url)
            .bearer_auth(served.token(Infection))
            .json(&ask)
            .send()
            .await
            .expect("an answer")
            .json()
            .await
            .expect("JSON");
        assert_eq!(both["origin"]["cases"], json!(["K-0", "K-1"]), "{both}");
        served.done(Infection, erase("K-0")).await;
        served.refused(Infection, erase("K-0"), "already_done").await;
        let (_, told) = served.get("cases/K-0/patient").await;
        assert_eq!(told, json!({"patient": null}));
        // Every entry and every leaf is as it was; no reference stands in any of them.
        let after = served.ledger("").await;
        assert_eq!(after[..before.len()], before[..]);
        assert!(!after.iter().any(|line| line.to_string().contains("REF-4711")));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn findings_and_repairs_stand_beside_the_loop() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let report = |scan: &str, severity: &str| json!({"do": "report_finding", "scan": scan, "what": "edge is rough", "severity": severity});
        served.done(Clinician, report("C-1", "watch")).await;
        assert_eq!(served.asset("C-1").await["held"], json!([]));
        served.done(Clinician, report("B-1", "stop")).await;
        assert_eq!(served.asset("B-1").await["held"][0]["kind"], "quality");
        assert_eq!(served.set("SET-1").await["status"], "held");
        served.refused(Clinician, report("SET-1", "note"), "unknown_thing").await;
        let (_, findings) = served.get("findings").await;
        assert_eq!(findings["items"].as_array().map(Vec::len), Some(2), "{findings}");
        let send =
            json!({"do": "send_to_repair", "asset": "B-1", "reason": "rough edge", "decontaminated": true});
        let sent = served.done(Biomed, send.clone()).await;
        assert_eq!(sent["also_opened"], json!(["C-1"]), "it was taken out of its pack");
        served.refused(Biomed, send, "already_done").await;
        assert_eq!(served.asset("B-1").await["standing"], "in_repair");
        assert_eq!(served.set("SET-1").await["status"], "not_ready");
        let cleaned = json!({"do": "record_step", "step": "cleaned", "scan": "B-1"});
        served.refused(Desk, cleaned, "in_repair").await;
        let back = json!({"do": "back_from_repair", "asset": "B-1", "cost_cents": 4_200,
                          "exchanged_for": {"serial": "N-2"}});
        served.done(Biomed, back.clone()).await;
        served.refused(Biomed, back, "already_done").await;
        let told = served.asset("B-1").await;
        assert_eq!(
            (&told["stage"], &told["serial"], &told["cycles"]),
            (&json!("soiled"), &json!("N-2"), &json!(1))
        );
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_board_answers_anew_only_when_something_changed() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let url = format!("{}/api/v1/{}/board", served.base, served.site);
        let ask = async |tag: Option<&str>| {
            let mut ask = served.client.get(&url).bearer_auth(served.token(Charge));
            if let Some(tag) = tag {
                ask = ask.header("if-none-match", tag);
            }
            let answer = ask.send().await.expect("an answer");
            let tag = answer.headers()["etag"].to_str().expect("a tag").to_string();
            (answer.status().as_u16(), tag)
        };
        let (status, tag) = ask(None).await;
        assert_eq!(status, 200);
        assert_eq!(ask(Some(&tag)).await, (304, tag.clone()));
        // An entry that the board does not show leaves it as it is.
        served.done(Lead, json!({"do": "put_away", "scan": "C-2", "location": "shelf 1"})).await;
        assert_eq!(ask(Some(&tag)).await, (304, tag.clone()));
        served.done(Charge, plan("K-1", 1)).await;
        let (status, newer) = ask(Some(&tag)).await;
        assert_eq!(status, 200);
        assert_ne!(newer, tag);
        served.stop().await;
    }
}
