//! Lives from the ledger: what a failure is, when it happened, and that the API says what the command line computes of them.

use std::io::Write;
use std::process::{Command, Stdio};

use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Served, steam_record};

impl Served {
    pub async fn wear(&self, model: &str) -> Value {
        let (status, wear) = self.get(&format!("wear?model={model}")).await;
        assert_eq!(status, 200, "{wear}");
        wear
    }

    /// One piece's life between inspections.
    async fn piece(&self, model: &str, asset: &str) -> Value {
        let wear = self.wear(model).await;
        let all = wear["life_between_inspections"]["pieces"].as_array().expect("pieces").clone();
        all.into_iter().find(|piece| piece["asset"] == asset).expect("the piece")
    }

    /// Parts for steam alone, of a model that is packed and sterilised and no more.
    pub async fn plain_parts(&self, parts: &[(&str, u32)]) {
        let route = json!({"do": "define_route", "route": "plain", "steps": [{"step": "packed"}, {"step": "sterilised"}]});
        self.done(Admin, route).await;
        let model = json!({"do": "define_model", "model": "plain", "family": "accessory", "name": "Plain", "route": "plain",
            "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
        self.done(Biomed, model).await;
        for (part, prior) in parts {
            let add = json!({"do": "add_asset", "asset": part, "model": "plain", "prior_cycles": prior});
            self.done(Lead, add).await;
        }
    }

    /// One steriliser cycle for them.
    pub async fn cycle(&self, parts: &[&str], first: bool) {
        if !first {
            self.done(Charge, json!({"do": "record_step", "step": "treated", "scan": parts})).await;
        }
        self.done(Desk, json!({"do": "record_step", "step": "packed", "scan": parts})).await;
        let start =
            json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": parts});
        let load = self.done(Desk, start).await["made"].clone();
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        self.done(Desk, chemical).await;
        self.done(Desk, json!({"do": "release_load", "load": load, "dry": true})).await;
    }

    async fn retire(&self, asset: &str, cause: &str, failure: bool) {
        self.done(Biomed, json!({"do": "retire", "asset": asset, "cause": cause, "failure": failure})).await;
    }
}

/// What `fettle calc life` says of a problem.
fn calculated(kind: &str, data: &Value) -> Value {
    let mut fettle = Command::new(env!("CARGO_BIN_EXE_fettle"))
        .args(["calc", "life", kind])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("a process");
    let mut to = fettle.stdin.take().expect("its standard input");
    to.write_all(data.to_string().as_bytes()).expect("written");
    drop(to);
    let done = fettle.wait_with_output().expect("an answer");
    assert!(done.status.success(), "{done:?}");
    serde_json::from_slice(&done.stdout).expect("JSON")
}

/// The API's law of life and curve are those of the command line for the lives that stand beside them.
#[tokio::test(flavor = "multi_thread")]
async fn the_api_says_what_the_command_line_computes() {
    let parts = ["P-1", "P-2", "P-3", "P-4", "P-5", "P-6", "P-7"];
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let with_prior: Vec<(&str, u32)> =
            parts.iter().map(|part| (*part, u32::from(*part == "P-7") * 4)).collect();
        served.plain_parts(&with_prior).await;
        let none = served.wear("plain").await;
        assert_eq!(none["life"]["refused"]["code"], "too_few_failures", "{none}");
        assert!(none["life"]["refused"]["why"].as_str().is_some_and(|why| !why.is_empty()));
        for turn in 0..4 {
            served.cycle(&parts[turn..], turn == 0).await;
            served.retire(parts[turn], "worn", turn != 2).await;
        }
        let wear = served.wear("plain").await;
        assert_eq!(
            (&wear["units"], &wear["failures"], &wear["in_service"]),
            (&json!(7), &json!(3), &json!(3))
        );
        assert_eq!(wear["causes"], json!({"worn": 4}));
        let lives = wear["lifetimes"].as_array().expect("lives");
        let rows: Vec<Value> = lives
            .iter()
            .map(|it| {
                let hi = if it["failed"] == true { it["cycles"].clone() } else { Value::Null };
                json!([it["entry_cycles"], it["cycles"], hi, 1])
            })
            .collect();
        assert!(rows.contains(&json!([0, 4, 4, 1])) && rows.contains(&json!([4, 8, null, 1])), "{rows:?}");
        assert_eq!(wear["life"], calculated("weibull_mle", &json!({"rows": rows})));
        assert!(wear["life"]["beta"].is_number(), "{wear}");
        let spans: Vec<Value> = lives
            .iter()
            .map(|it| json!([it["entry_cycles"], it["cycles"], u8::from(it["failed"] == true)]))
            .collect();
        assert_eq!(wear["survival"], calculated("kaplan_meier", &json!({"rows": spans})));
        served.sound().await;
        served.stop().await;
    }
}

/// A cap that the desk finds torn failed since its last good inspection; one that tears at a case failed there.
#[tokio::test(flavor = "multi_thread")]
async fn a_failure_is_an_interval_or_exact() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.round("SET-1").await;
        let whole = served.piece("cap", "C-1").await;
        assert_eq!(
            (&whole["age"], &whole["whole_at"], &whole["failed"]),
            (&json!(2), &json!(1), &Value::Null)
        );
        let replace = json!({"do": "replace", "set": "SET-1", "line": "cap", "cause": "worn", "failure": true, "new": "C-2"});
        served.done(Charge, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
        served.done(Desk, replace).await;
        let found = served.piece("cap", "C-1").await;
        let interval = json!({"after": 1, "by": 2, "exact": false, "seen": "inspection", "cause": "worn"});
        assert_eq!(found["failed"], interval);
        // The telescope goes dim at a case, and biomed retires it for that.
        served.done(Charge, json!({"do": "plan_case", "case": "K-1", "start": "2999-01-01T08:00:00Z", "minutes": 30, "needs": []})).await;
        let rest = [("received", Desk), ("cleaned", Desk), ("dried", Desk)];
        for (step, role) in rest {
            served.done(role, json!({"do": "record_step", "step": step, "scan": "T-1"})).await;
        }
        let dim =
            json!({"do": "report_finding", "scan": "T-1", "what": "dim", "severity": "watch", "case": "K-1"});
        served.done(Clinician, dim).await;
        served.retire("T-1", "damaged", true).await;
        let seen = json!({"after": 2, "by": 2, "exact": true, "seen": "use", "cause": "damaged"});
        assert_eq!(served.piece("scope", "T-1").await["failed"], seen);
        // What is retired for another cause is no failure; its life ends at its last good inspection.
        served.retire("B-1", "obsolete", false).await;
        let barrel = served.piece("barrel", "B-1").await;
        assert_eq!(
            (&barrel["failed"], &barrel["retired"], &barrel["whole_at"]),
            (&Value::Null, &json!("obsolete"), &json!(1))
        );
        served.sound().await;
        served.stop().await;
    }
}

/// A note of a case is no failure in use, and a report that was withdrawn is none either.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_only_noted_or_withdrawn_is_not_seen_in_use() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Charge, json!({"do": "plan_case", "case": "K-1", "start": "2999-01-01T08:00:00Z", "minutes": 30, "needs": []})).await;
        let report = |severity: &str| json!({"do": "report_finding", "scan": "C-1", "what": "w", "severity": severity, "case": "K-1"});
        served.done(Clinician, report("note")).await;
        let finding = served.done(Clinician, report("stop")).await["made"].clone();
        served.done(Clinician, json!({"do": "withdraw_finding", "finding": finding})).await;
        served.retire("C-1", "worn", true).await;
        let failed = served.piece("cap", "C-1").await["failed"].clone();
        assert_eq!(
            (&failed["seen"], &failed["after"], &failed["by"]),
            (&json!("inspection"), &json!(0), &json!(1))
        );
        served.sound().await;
        served.stop().await;
    }
}

/// A load that is told late had made the part older at its last inspection than the record said until then.
#[tokio::test(flavor = "multi_thread")]
async fn a_load_told_late_counts_at_its_own_time() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let before = served.house.clock.now();
        served.round("SET-1").await;
        served.house.clock.set(before.plus_minutes(600));
        served.round("SET-1").await;
        assert_eq!(served.piece("barrel", "B-1").await["whole_at"], 1);
        let late = json!({"cause": "forgotten"});
        let told = |mut command: Value, minutes: i64| {
            command["at"] = json!(before.plus_minutes(minutes));
            command["late"] = late.clone();
            command
        };
        let start = json!({"do": "start_load", "load": "late-1", "machine": "steriliser-1", "programme": "p134", "scan": ["B-1"]});
        served.done(Desk, told(start, 60)).await;
        let judge = json!({"do": "judge_load", "load": "late-1", "record": steam_record(200)});
        served.done(Desk, told(judge, 120)).await;
        let chemical =
            json!({"do": "record_indicator", "load": "late-1", "indicator": "chemical", "result": "pass"});
        served.done(Desk, told(chemical, 120)).await;
        served.done(Desk, told(json!({"do": "release_load", "load": "late-1", "dry": true}), 130)).await;
        let piece = served.piece("barrel", "B-1").await;
        assert_eq!((&piece["age"], &piece["whole_at"]), (&json!(3), &json!(2)), "{piece}");
        served.sound().await;
        served.stop().await;
    }
}

/// The age of a family's parts is told in the clock that the site chose for it; the contract's numbers stay in cycles.
#[tokio::test(flavor = "multi_thread")]
async fn a_family_has_the_clock_that_the_site_chose() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Admin, json!({"do": "set_policy", "wear_clock": {"cap": "days"}})).await;
        let add = json!({"do": "add_asset", "asset": "C-9", "model": "cap", "acquired": "2001-01-01", "prior_cycles": 7, "supplier": "House A"});
        served.done(Lead, add).await;
        let piece = served.piece("cap", "C-9").await;
        assert!(piece["entry"].as_u64().is_some_and(|days| days > 8_000), "{piece}");
        assert_eq!((&piece["entry"], &piece["supplier"]), (&piece["age"], &json!("House A")));
        let wear = served.wear("cap").await;
        assert_eq!(wear["life_between_inspections"]["clock"], "days");
        let kept =
            wear["lifetimes"].as_array().expect("lives").iter().find(|it| it["asset"] == "C-9").cloned();
        assert_eq!(kept.expect("the cap")["entry_cycles"], 7);
        let wrong = json!({"do": "set_policy", "wear_clock": {"cap": "hours"}});
        assert_eq!(served.post(Admin, wrong).await.0, 422);
        served.sound().await;
        served.stop().await;
    }
}
