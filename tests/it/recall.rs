//! When it was wrong after all: one entry holds everything from a machine since the last good evidence.
//!
//! Sources: CDC Guideline for Disinfection and Sterilization (2008), Table 12: the steriliser goes out of service, what it
//! processed since the last acceptable negative biological indicator is recalled; and the same guideline's rule that a
//! single load is recalled where the cause is proven. Back to the last negative indicator is also ST79's rule (from
//! memory). RACGP (2023), "Tracking": what was recalled is traced to every patient.

use fettle::domain::person::Role::{self, Biomed, Charge, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::case::{issue, plan};
use super::served::{BOTH, Served, steam_record, wash_record};

impl Served {
    /// Growth in a load's indicator, the recall that follows, and another of a washer.
    pub async fn grew(&self, load: &str) {
        use Role::{Desk, Infection};
        let growth = json!({"do": "record_indicator", "load": load, "indicator": "biological", "result": "fail",
            "lot": "BI-22"});
        self.done(Desk, growth).await;
        self.done(Desk, json!({"do": "reject_load", "load": load, "reason": "growth"})).await;
        let narrow =
            json!({"do": "narrow_recall", "recall": "recall-0001", "reason": "proven", "loads": [load]});
        self.done(Infection, narrow).await;
        self.answered_for("recall-0001").await;
        let recall = json!({"do": "recall", "machine": "washer-1", "reason": "a spray arm stood still"});
        self.done(Infection, recall).await;
        self.answered_for("recall-0002").await;
    }

    /// Answers for every part and every case of a recall, and closes it.
    async fn answered_for(&self, recall: &str) {
        let (_, found) = self.get(&format!("recalls/{recall}")).await;
        let list = |name: &str| found["unanswered"][name].as_array().cloned().unwrap_or_default();
        let mut answer =
            json!({"do": "answer_recall", "recall": recall, "cases": list("cases"), "outcome": "told"});
        if !list("parts").is_empty() {
            (answer["scan"], answer["then"]) = (list("parts").into(), "clear".into());
        }
        if answer.get("scan").is_some() || !list("cases").is_empty() {
            self.done(Role::Infection, answer).await;
        }
        let close = json!({"do": "close_recall", "recall": recall, "outcome": "answered for"});
        self.done(Role::Infection, close).await;
    }

    /// A second adult set, whose parts are `B-2`, `C-3` and `T-2`.
    pub async fn second_set(&self) {
        let set = json!({"do": "build_set", "set": "SET-2", "count_sheet": "adult", "name": "Adult 2"});
        self.done(Lead, set).await;
        for (asset, model, line) in
            [("B-2", "barrel", "barrel"), ("C-3", "cap", "cap"), ("T-2", "scope", "telescope")]
        {
            self.done(Lead, json!({"do": "add_asset", "asset": asset, "model": model})).await;
            let seat = json!({"do": "put_in_set", "set": "SET-2", "line": line, "asset": asset});
            self.done(Lead, seat).await;
        }
    }

    /// Both adult sets through one load each; says which loads sterilised them.
    pub async fn both_readied(&self) -> (String, String) {
        self.furnish().await;
        self.second_set().await;
        self.round("SET-1").await;
        let first = self.sterilised_last().await;
        self.round_with("SET-2", "T-2").await;
        (first, self.sterilised_last().await)
    }

    async fn indicator(&self, load: &str, kind: &str, result: &str) -> Value {
        let it = json!({"do": "record_indicator", "load": load, "indicator": kind, "result": result});
        self.done(Desk, it).await
    }

    async fn sterilised_last(&self) -> String {
        let (_, body) = self.get("loads?limit=1000").await;
        let mut loads = body["items"].as_array().expect("loads").iter();
        let last = loads.rfind(|load| load["machine"] == "steriliser-1").expect("a load");
        last["load"].as_str().expect("a name").to_string()
    }

    async fn denied(&self, role: Role, command: Value) {
        let (status, body) = self.post(role, command).await;
        assert_eq!((status, body["code"].as_str()), (403, Some("not_your_role")), "{body}");
    }

    async fn recall(&self, recall: &str) -> Value {
        let (status, body) = self.get(&format!("recalls/{recall}")).await;
        assert_eq!(status, 200, "{body}");
        body
    }
}

fn part<'a>(recall: &'a Value, asset: &str) -> &'a Value {
    let parts = recall["parts"].as_array().expect("parts");
    parts.iter().find(|part| part["asset"] == asset).unwrap_or(&Value::Null)
}

#[tokio::test(flavor = "multi_thread")]
async fn growth_holds_everything_since_the_last_negative_in_one_entry() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.second_set().await;
        served.round("SET-1").await;
        let good = served.sterilised_last().await;
        served.indicator(&good, "biological_control", "pass").await;
        served.indicator(&good, "biological", "pass").await;
        served.round_with("SET-2", "T-2").await;
        let bad = served.sterilised_last().await;
        // One of the two is used before anybody knows; the other waits in the store.
        served.done(Charge, plan("K-1", 1)).await;
        served.done(Charge, issue("K-1", "SET-2")).await;
        served.done(Charge, json!({"do": "open", "case": "K-1", "scan": "B-2"})).await;
        let told = served.indicator(&bad, "biological", "fail").await;
        let event = &told["event"]["recall"];
        assert_eq!(event["since"]["load"], json!(good), "{told}");
        assert_eq!(event["loads"], json!([bad]), "the last negative load itself is not recalled");
        // The tray was opened at the case; the optics are issued and still closed.
        assert_eq!(event["assets"], json!(["T-2"]), "{told}");
        let recall = served.recall("recall-0001").await;
        assert_eq!(part(&recall, "B-2")["fate"], "out");
        assert_eq!(recall["cases"][0]["case"], "K-1");
        assert_eq!(served.asset("B-1").await["standing"], "in_service", "from the good load");
        assert_eq!(served.asset("T-2").await["standing"], "held");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recall_closes_when_every_part_and_every_case_is_answered() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let (first, second) = served.both_readied().await;
        let mut asked = plan("K-1", 1);
        asked["patient"] = "REF-9".into();
        served.done(Charge, asked).await;
        served.done(Charge, issue("K-1", "SET-2")).await;
        served.done(Charge, json!({"do": "use", "case": "K-1", "scan": ["B-2", "T-2"]})).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1", "missing": ["C-3"]})).await;
        let begin = json!({"do": "recall", "machine": "steriliser-1", "reason": "its door seal was torn"});
        served.denied(Desk, begin.clone()).await;
        let made = served.done(Biomed, begin).await;
        assert_eq!(made["made"], "recall-0001");
        assert_eq!(made["event"]["loads"], json!([first, second]), "no good evidence: everything");
        assert_eq!(made["event"]["assets"], json!(["B-1", "C-1", "T-1"]));
        let recall = served.recall("recall-0001").await;
        assert_eq!(recall["unanswered"], json!({"parts": ["B-1", "C-1", "C-3", "T-1"], "cases": ["K-1"]}));
        assert_eq!(part(&recall, "B-2")["fate"], "over");
        let close = json!({"do": "close_recall", "recall": "recall-0001", "outcome": "done"});
        served.refused(Infection, close.clone(), "not_complete").await;
        served.denied(Lead, close.clone()).await;
        let answer = |scan: Value, then: Option<&str>| {
            let mut all =
                json!({"do": "answer_recall", "recall": "recall-0001", "scan": scan, "outcome": "seen to"});
            then.iter().for_each(|then| all["then"] = json!(then));
            all
        };
        served.refused(Lead, answer(json!(["B-1"]), None), "out_of_order").await;
        served.denied(Lead, answer(json!(["B-1"]), Some("clear"))).await;
        served.refused(Lead, answer(json!(["C-2"]), None), "out_of_order").await;
        served.refused(Lead, answer(json!(["B-2"]), None), "already_done").await;
        // One part of the tray takes the other with it; the optics are cleared by infection prevention.
        let again = served.done(Lead, answer(json!(["B-1"]), Some("reprocess"))).await;
        assert_eq!(again["event"]["assets"], json!(["B-1", "C-1"]), "{again}");
        let tray = served.asset("C-1").await;
        assert_eq!((&tray["stage"], &tray["standing"]), (&json!("inspected"), &json!("in_service")));
        served.done(Infection, answer(json!(["T-1"]), Some("clear"))).await;
        let optics = served.asset("T-1").await;
        assert_eq!((&optics["stage"], &optics["standing"]), (&json!("ready"), &json!("in_service")));
        served.done(Lead, answer(json!(["C-3"]), None)).await;
        served.refused(Infection, close.clone(), "not_complete").await;
        let erase = json!({"do": "erase_patient", "case": "K-1", "reason": "asked for"});
        let turned = served.refused(Infection, erase, "still_referenced").await;
        assert!(turned["detail"].as_str().unwrap_or_default().contains("recall"), "{turned}");
        let case =
            json!({"do": "answer_recall", "recall": "recall-0001", "cases": ["K-1"], "outcome": "told"});
        served.done(Infection, case.clone()).await;
        served.refused(Infection, case, "already_done").await;
        served.done(Infection, close.clone()).await;
        served.refused(Infection, close, "already_done").await;
        assert_eq!(served.recall("recall-0001").await["open"], false);
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_named_person_narrows_the_window_and_the_rest_is_free() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let (_, second) = served.both_readied().await;
        let begin =
            json!({"do": "recall", "machine": "steriliser-1", "reason": "a wrong programme", "out": false});
        let made = served.done(Lead, begin).await;
        assert_eq!(made["event"]["assets"].as_array().map(Vec::len), Some(6), "{made}");
        assert_eq!(made["event"].get("machine_out"), None);
        let narrow = |loads: Value| json!({"do": "narrow_recall", "recall": "recall-0001", "loads": loads, "reason": "one load, proven"});
        served.denied(Lead, narrow(json!([second]))).await;
        served.refused(Infection, narrow(json!(["nowhere"])), "unknown_thing").await;
        served.refused(Infection, narrow(made["event"]["loads"].clone()), "already_done").await;
        let (status, _) = served.post(Infection, narrow(json!([]))).await;
        assert_eq!(status, 422);
        let narrowed = served.done(Infection, narrow(json!([second]))).await;
        assert_eq!(narrowed["event"]["lifted"], json!(["B-1", "C-1", "T-1"]));
        assert_eq!(served.asset("B-1").await["standing"], "in_service");
        assert_eq!(served.asset("B-2").await["standing"], "held");
        // A washer's recall holds what it washed, up to the store.
        let wash = json!({"do": "recall", "machine": "washer-1", "reason": "a spray arm stood still",
                          "from": "2020-01-01T00:00:00Z", "to": "2100-01-01T00:00:00Z"});
        let made = served.done(Infection, wash).await;
        assert_eq!(made["event"]["assets"], json!(["B-1", "B-2", "C-1", "C-3"]), "the optics went by hand");
        for (wrong, says) in [
            (json!({"machine": "oven"}), "unknown_thing"),
            (json!({"machine": "steriliser-1", "from": "2100-01-01T00:00:00Z"}), "unknown_thing"),
            (json!({"machine": "steriliser-1", "load": "nowhere"}), "unknown_thing"),
            (json!({"machine": "steriliser-1", "recall": "recall-0001"}), "name_taken"),
        ] {
            let mut command = json!({"do": "recall", "reason": "r"});
            wrong.as_object().expect("fields").iter().for_each(|(name, value)| command[name] = value.clone());
            served.refused(Lead, command, says).await;
        }
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_told_late_belongs_to_the_recall_that_covers_it() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.second_set().await;
        served.round("SET-1").await;
        let step = |step: &str, scan: &str| json!({"do": "record_step", "step": step, "scan": [scan]});
        served.done(Charge, step("treated", "SET-2")).await;
        for name in ["received", "cleaned", "dried"] {
            served.done(Desk, step(name, "SET-2")).await;
        }
        served.done(Desk, step("disinfected", "T-2")).await;
        let inspected = json!({"do": "inspect", "scan": "T-2", "passed": true});
        served.done(Desk, inspected).await;
        let packed = served.done(Desk, step("packed", "T-2")).await;
        let at = packed["at"].clone();
        served.done(Lead, json!({"do": "recall", "machine": "steriliser-1", "reason": "drift"})).await;
        let late = json!({"do": "start_load", "load": "PAPER-1", "machine": "steriliser-1", "programme": "p134",
                          "scan": ["T-2"], "at": at, "late": {"cause": "downtime"}});
        let told = served.done(Desk, late).await;
        assert_eq!(told["event"]["recall"], "recall-0001", "{told}");
        assert_eq!(served.asset("T-2").await["standing"], "held");
        served.done(Desk, json!({"do": "judge_load", "load": "PAPER-1", "record": steam_record(200)})).await;
        assert_eq!(part(&served.recall("recall-0001").await, "T-2")["held"], true);
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_with_growth_stays_recalled_and_nothing_of_it_is_cleared() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let (first, grown) = served.both_readied().await;
        let told = served.indicator(&grown, "biological", "fail").await;
        assert_eq!(told["event"]["recall"]["loads"], json!([first, grown]), "{told}");
        let again = served.indicator(&grown, "biological", "fail").await;
        assert_eq!(again["event"].get("recall"), None, "one recall holds it already: {again}");
        let narrow =
            json!({"do": "narrow_recall", "recall": "recall-0001", "loads": [first], "reason": "proven"});
        let late = |command: &Value| {
            let mut command = command.clone();
            command["late"] = json!({"cause": "downtime"});
            command
        };
        served.refused(Infection, narrow.clone(), "indicator_failed").await;
        served.refused(Infection, late(&narrow), "indicator_failed").await;
        let close = json!({"do": "close_recall", "recall": "recall-0001", "outcome": "told"});
        served.refused(Infection, late(&close), "not_complete").await;
        // The recall's own hold is no way around an answer.
        let lift =
            json!({"do": "lift_hold", "hold": told["event"]["recall"]["hold"], "reason": "in a hurry"});
        served.refused(Lead, lift.clone(), "still_referenced").await;
        served.refused(Infection, late(&lift), "still_referenced").await;
        assert_eq!(served.asset("B-2").await["standing"], "held");
        let clear = |scan: &str| json!({"do": "answer_recall", "recall": "recall-0001", "scan": [scan], "then": "clear", "outcome": "fit"});
        served.refused(Infection, clear("B-2"), "indicator_failed").await;
        served.refused(Infection, late(&clear("B-2")), "indicator_failed").await;
        served.done(Infection, clear("B-1")).await;
        let again = json!({"do": "answer_recall", "recall": "recall-0001", "scan": ["SET-2"], "then": "reprocess",
                           "outcome": "once more"});
        served.done(Lead, again).await;
        assert_eq!(served.asset("B-2").await["stage"], "inspected");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_chemical_indicator_read_as_failed_after_the_release_holds_what_came_from_the_load() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let (load, next) = served.both_readied().await;
        let told = served.indicator(&load, "chemical", "fail").await;
        let recall = &told["event"]["recall"];
        assert_eq!((&recall["loads"], &recall["assets"]), (&json!([load]), &json!(["B-1", "C-1", "T-1"])));
        assert_eq!(served.asset("B-1").await["standing"], "held");
        assert_eq!(served.asset("B-2").await["standing"], "in_service");
        // Growth in the same load says more: everything since the last good evidence.
        let told = served.indicator(&load, "biological", "fail").await;
        assert_eq!(told["event"]["recall"]["loads"], json!([load, next]), "{told}");
        assert_eq!(served.asset("B-2").await["standing"], "held");
        served.sound().await;
        served.stop().await;
    }
}

/// A part that was to be cleaned again when its wash was recalled is not held: it goes through the washer anew. Told late
/// that it was packed all the same, it rests on that wash again, and the recall takes it.
#[tokio::test(flavor = "multi_thread")]
async fn what_skips_its_new_wash_is_held_by_the_recall_of_the_old_one() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let step = |step: &str, scan: &str| json!({"do": "record_step", "step": step, "scan": [scan]});
        for name in ["treated", "received", "cleaned", "dried"] {
            served.done(Desk, step(name, "SET-1")).await;
        }
        served.done(Desk, step("disinfected", "T-1")).await;
        let load = served.load("washer-1", "wash", "SET-1").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(300)})).await;
        served.done(Desk, json!({"do": "release_load", "load": load})).await;
        let again = json!({"do": "inspect", "scan": "SET-1", "passed": true,
                           "except": [{"asset": "B-1", "outcome": "reclean"}]});
        served.done(Desk, again).await;
        for name in ["cleaned", "dried"] {
            served.done(Desk, step(name, "B-1")).await;
        }
        let wash = json!({"do": "recall", "machine": "washer-1", "reason": "a spray arm stood still", "out": false,
                          "from": "2020-01-01T00:00:00Z", "to": "2100-01-01T00:00:00Z"});
        let made = served.done(Infection, wash).await;
        assert_eq!(made["event"]["assets"], json!(["C-1"]), "B-1 has to be washed again");
        let late =
            json!({"do": "record_step", "step": "packed", "scan": "B-1", "late": {"cause": "forgotten"}});
        let told = served.done(Lead, late).await;
        assert!(told["deviation"].to_string().contains("out_of_order"), "{told}");
        let hold = made["event"]["hold"].clone();
        assert_eq!(told["event"]["held"], json!([{"asset": "B-1", "hold": hold}]), "{told}");
        let asset = served.asset("B-1").await;
        assert_eq!(
            (&asset["standing"], &asset["held"][0]["kind"]),
            (&json!("held"), &json!("recall")),
            "{asset}"
        );
        served.sound().await;
        served.stop().await;
    }
}
