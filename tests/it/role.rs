//! Which role gives which command: every command with every role.

use fettle::domain::command::Act;
use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::served::{BOTH, Served};

/// Every command, with the roles that may give it by the trade's own table, naming nothing that is there.
fn catalogue() -> Vec<(&'static str, Value)> {
    let none = json!({"machine": "no", "reason": "r", "after": "minor", "test": "empty_cycle"});
    let machine = |names: &[&str]| {
        let mut all = json!({"machine": "no"});
        names.iter().for_each(|name| all[*name] = none[*name].clone());
        all
    };
    let with = |name: &str, mut all: Value| {
        all["do"] = name.into();
        all
    };
    let mut test = machine(&["test"]);
    test["passed"] = true.into();
    let seat = json!({"set": "no", "line": "no", "asset": "no"});
    let replace = json!({"set": "no", "line": "no", "cause": "worn", "failure": false, "new": "no"});
    let hold = json!({"kind": "quality", "reason": "r", "scan": "no"});
    let line = json!({"line": "l", "quantity": 1, "essential": true, "models": ["no"]});
    let indicator = json!({"load": "no", "indicator": "chemical", "result": "pass"});
    let start = json!({"machine": "no", "programme": "no", "scan": "no"});
    let mut all = vec![
        ("admin", with("define_route", json!({"route": "r", "steps": [{"step": "cleaned"}]}))),
        (
            "admin biomed",
            with("define_model", json!({"model": "m", "family": "cap", "name": "m", "route": "no"})),
        ),
        ("admin lead", with("define_count_sheet", json!({"count_sheet": "s", "name": "s", "lines": [line]}))),
        ("admin", with("set_policy", json!({"idle_minutes": 30}))),
        ("lead charge", with("set_reserve", json!({"count_sheet": "no", "minimum": 1}))),
        ("admin", with("define_machine", json!({"machine": "m", "kind": "ultrasonic", "programmes": []}))),
        ("desk lead biomed", with("machine_out", machine(&["reason"]))),
        ("lead biomed", with("machine_back", machine(&["after"]))),
        ("desk lead biomed", with("record_machine_test", test)),
        ("admin lead", with("define_record_form", json!({"machine": "no", "form": null}))),
        ("lead biomed", with("clear_flag", machine(&["reason"]))),
        ("lead biomed", with("add_asset", json!({"model": "no"}))),
        ("desk lead charge", with("put_away", json!({"scan": "no", "location": "l"}))),
        ("biomed", with("retire", json!({"asset": "no", "cause": "worn", "failure": false}))),
        ("desk lead biomed", with("measure_asset", json!({"asset": "no", "dimensions": {"length_mm": 1}}))),
        ("lead biomed", with("give_mark", json!({"asset": "no"}))),
        ("lead", with("build_set", json!({"set": "s", "count_sheet": "no", "name": "s"}))),
        ("desk lead", with("put_in_set", seat.clone())),
        ("desk lead", with("take_from_set", seat)),
        ("desk lead", with("replace", replace)),
        ("desk lead charge biomed", with("hold", hold)),
        ("lead biomed infection", with("lift_hold", json!({"hold": "no", "reason": "r"}))),
        ("infection", with("dedicate", json!({"scan": "no", "case": "no", "reason": "r", "person": "p"}))),
        ("desk lead charge clinician", with("record_step", json!({"step": "treated", "scan": "no"}))),
        ("desk lead biomed", with("inspect", json!({"scan": "no", "passed": true}))),
        ("desk lead charge clinician", with("pack_broken", json!({"scan": "no", "why": "wet"}))),
    ];
    all.extend(of_cases());
    all.extend([
        ("lead biomed infection", with("recall", json!({"machine": "no", "reason": "r"}))),
        ("infection", with("narrow_recall", json!({"recall": "no", "reason": "r", "loads": ["no"]}))),
        ("lead infection", with("answer_recall", json!({"recall": "no", "cases": ["no"], "outcome": "o"}))),
        ("infection", with("close_recall", json!({"recall": "no", "outcome": "o"}))),
        ("desk lead", with("start_load", start)),
        ("desk lead", with("judge_load", json!({"load": "no", "record": "time_s,temp_c\n0,20\n5,21\n"}))),
        ("desk lead", with("record_indicator", indicator)),
        ("desk lead", with("release_load", json!({"load": "no"}))),
        ("desk lead", with("reject_load", json!({"load": "no", "reason": "r"}))),
        ("desk lead", with("countersign", json!({"load": "no"}))),
    ]);
    all.extend(of_visitors());
    all.extend(of_agreements());
    all
}

/// Those of loans, strangers, the shelf and alerts.
fn of_visitors() -> Vec<(&'static str, Value)> {
    let with = |name: &str, mut all: Value| {
        all["do"] = name.into();
        all
    };
    let arrives = json!({"kind": "loan", "from": "f", "due_back": "2099-01-01", "parts": [{"model": "no"}]});
    let settled = json!({"stranger": "no", "outcome": "collected"});
    vec![
        ("desk lead", with("arrive", arrives)),
        ("desk lead", with("leave", json!({"loan": "no", "scan": "no"}))),
        ("desk lead", with("receive_stranger", json!({"kind": "unmarked", "looks": "l", "model": "no"}))),
        ("desk lead", with("tell_owner", json!({"stranger": "no", "owner": "o", "words": "w"}))),
        ("desk lead", with("settle_stranger", settled)),
        ("desk lead", with("identity_doubt", json!({"scan": "no", "how": "h"}))),
        ("lead", with("settle_identity", json!({"doubt": "no", "how": "h"}))),
        ("desk lead charge", with("stock_in", json!({"model": "no", "quantity": 1}))),
        ("desk lead charge", with("stock_out", json!({"model": "no", "quantity": 1, "why": "damaged"}))),
        ("charge clinician", with("use_stock", json!({"case": "no", "items": [{"model": "no"}]}))),
        ("lead charge biomed", with("set_stock_minimum", json!({"model": "no", "minimum": 1}))),
    ]
}

/// Those of paper, of wrong scans, of alerts and of signatures.
fn of_agreements() -> Vec<(&'static str, Value)> {
    let with = |name: &str, mut all: Value| {
        all["do"] = name.into();
        all
    };
    vec![
        ("desk lead charge", with("print_sheets", json!({"pages": [{"of": "sink", "sheets": 1}]}))),
        ("desk lead charge", with("void_sheet", json!({"sheet": "no", "reason": "r"}))),
        ("desk lead charge", with("finish_sheet", json!({"sheet": "no"}))),
        ("desk lead charge clinician", with("report_wrong_thing", json!({"entry": 999_999}))),
        ("lead", with("settle_wrong_thing", json!({"report": "no", "confirmed": false, "reason": "r"}))),
        (
            "lead charge admin",
            with("set_alert", json!({"tells": ["lead"], "about": "reserve", "count_sheet": "no"})),
        ),
        ("lead charge admin", with("drop_alert", json!({"rule": "no"}))),
        ("desk lead charge", with("take_over", json!({"entry": 900_000_000}))),
        ("lead infection", with("review_exceptions", json!({"month": "2026-03", "entry": 900_000}))),
    ]
}

/// Those of cases and of what stands beside the loop.
fn of_cases() -> Vec<(&'static str, Value)> {
    let with = |name: &str, mut all: Value| {
        all["do"] = name.into();
        all
    };
    let kept = json!({"schedule": {"sender": "s", "filler": "f"}, "case": "no", "why": ["w"], "answered": "AE",
                      "message": "MSH|"});
    vec![
        ("biomed", with("send_to_repair", json!({"asset": "no", "reason": "r", "decontaminated": true}))),
        ("biomed", with("back_from_repair", json!({"asset": "no"}))),
        ("admin biomed", with("set_model_costs", json!({"model": "no", "planned_cents": 1}))),
        ("biomed", with("set_life_limit", json!({"model": "no", "replace_at": 9, "reason": "r"}))),
        ("lead biomed", with("request_inspection", json!({"scan": "no", "reason": "r"}))),
        (
            "lead charge",
            with(
                "plan_case",
                json!({"case": "c", "start": "2001-01-01T00:00:00Z", "minutes": 1, "needs": ["no"]}),
            ),
        ),
        ("charge clinician", with("change_case", json!({"case": "no", "risk": "none"}))),
        ("charge", with("cancel_case", json!({"case": "no", "reason": "r"}))),
        ("lead charge", with("promise", json!({"case": "no", "set": "no"}))),
        ("lead charge", with("withdraw_promise", json!({"case": "no", "set": "no"}))),
        ("desk lead charge clinician", with("issue", json!({"case": "no", "scan": "no", "emergency": true}))),
        ("charge clinician", with("open", json!({"case": "no", "scan": "no"}))),
        ("charge clinician", with("use", json!({"case": "no", "scan": "no"}))),
        ("charge clinician", with("close_count", json!({"case": "no"}))),
        (
            "lead charge clinician",
            with("choose_configuration", json!({"case": "no", "configuration": {"barrel": "no"}})),
        ),
        (
            "charge clinician",
            with("record_check", json!({"case": "no", "line": "camera", "result": "passed"})),
        ),
        ("desk lead charge clinician", with("record_count", json!({"moment": "receipt", "set": "no"}))),
        ("infection admin", with("erase_patient", json!({"case": "no", "reason": "r"}))),
        (
            "desk lead charge clinician biomed",
            with("confirm_fit", json!({"models": ["no", "no"], "fits": true})),
        ),
        ("desk lead charge clinician", with("report_missing", json!({"scan": "no", "asset": "no"}))),
        ("desk lead charge clinician biomed infection", with("found", json!({"scan": "no"}))),
        ("lead charge", with("close_missing", json!({"asset": "no", "outcome": "not_found", "person": "p"}))),
        (
            "desk lead charge clinician biomed infection",
            with("report_finding", json!({"scan": "no", "what": "w", "severity": "note"})),
        ),
        ("desk lead charge clinician biomed infection", with("withdraw_finding", json!({"finding": "no"}))),
        (
            "desk lead charge clinician biomed infection",
            with("add_photo", json!({"finding": "no", "photo": "no"})),
        ),
        ("lead", with("correct", json!({"entry": 999_999, "reason": "r"}))),
        ("lead infection", with("open_look_back", json!({"origin": {"load": "no"}, "reason": "r"}))),
        ("infection", with("close_look_back", json!({"look_back": "no", "outcome": "o"}))),
        ("lead charge", with("map_procedure", json!({"code": "c", "needs": ["no"]}))),
        ("lead charge", with("apply_procedures", json!({"cases": ["no"]}))),
        ("charge", with("keep_schedule_message", kept)),
        ("lead charge", with("settle_schedule_message", json!({"line": "no", "outcome": "not_ours"}))),
        ("charge", with("send_request", json!({"kind": "take_next", "case": "no", "set": "no"}))),
        ("desk lead", with("answer_request", json!({"request": "no", "answer": "done"}))),
        ("charge", with("withdraw_request", json!({"request": "no"}))),
    ]
}

/// What a command's name alone does not decide: the step, and the hold's kind.
fn by_their_fields() -> Vec<(&'static str, Value)> {
    let step = |step: &str| json!({"do": "record_step", "step": step, "scan": "no"});
    let hold = |kind: &str| json!({"do": "hold", "kind": kind, "reason": "r", "scan": "no"});
    let steps =
        ["received", "cleaned", "ultrasonic", "dried", "disinfected", "inspected", "packed", "sterilised"];
    let mut all: Vec<(&str, Value)> = steps.into_iter().map(|name| ("desk lead", step(name))).collect();
    all.extend([
        ("biomed", hold("repair")),
        ("biomed lead infection", hold("recall")),
        ("infection lead", hold("prion")),
        ("desk lead charge", json!({"do": "issue", "case": "no", "scan": "no"})),
        ("charge clinician", json!({"do": "record_count", "moment": "opening", "case": "no"})),
        ("desk lead", json!({"do": "record_count", "moment": "packing", "set": "no"})),
        ("lead", json!({"do": "settle_stranger", "stranger": "no", "outcome": "discarded"})),
        ("lead", json!({"do": "settle_stranger", "stranger": "no", "outcome": "theirs"})),
        ("charge", json!({"do": "change_case", "case": "no", "room": "theatre 2", "risk": "none"})),
        (
            "lead",
            json!({"do": "release_load", "load": "no", "early": {"patient": "p", "person": "s", "reason": "r"}}),
        ),
    ]);
    all
}

async fn admits(served: &Served, table: &[(&str, Value)]) {
    let commands = Value::Array(table.iter().map(|(_, command)| command.clone()).collect());
    for role in Role::ALL {
        let (status, body) = served.post(role, commands.clone()).await;
        assert_eq!(status, 200, "{body}");
        let results = body["results"].as_array().expect("results");
        assert_eq!(results.len(), table.len());
        for ((roles, command), result) in table.iter().zip(results) {
            let may = roles.split(' ').any(|name| name == role.name());
            let refused = result["status"] == 403 && result["code"] == "not_your_role";
            assert_eq!(!refused, may, "{command} as {role:?}: {result}");
            assert_ne!(result["status"], 422, "{command}: {result}");
            // Alone it is answered as in the array.
            let (alone, _) = served.post(role, command.clone()).await;
            assert_eq!(alone == 403, refused, "{command} as {role:?}");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_command_is_for_its_roles() {
    let table = catalogue();
    let names: Vec<&str> = table.iter().map(|(_, command)| command["do"].as_str().expect("a name")).collect();
    assert_eq!(names, Act::NAMES, "every command stands in the table, in order");
    for (roles, command) in &table {
        let name = command["do"].as_str().expect("a name");
        for role in Role::ALL {
            // A prion or recall hold is infection's too; the table's hold is of quality.
            let told = roles.split(' ').any(|known| known == role.name())
                || (name == "hold" && role == Role::Infection);
            assert_eq!(Act::roles(name).contains(&role), told, "{name} and {role:?}");
        }
    }
    for kind in BOTH {
        let served = Served::start(kind).await;
        admits(&served, &table).await;
        admits(&served, &by_their_fields()).await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hold_is_lifted_by_the_roles_of_its_kind() {
    let table = [
        ("quality", Role::Lead, "lead biomed"),
        ("repair", Role::Biomed, "biomed"),
        ("recall", Role::Lead, "lead infection"),
        ("prion", Role::Lead, "infection"),
    ];
    for served_by in BOTH {
        let served = Served::start(served_by).await;
        served.furnish().await;
        for (kind, by, roles) in table {
            for role in Role::ALL {
                let place = json!({"do": "hold", "kind": kind, "reason": "checked", "scan": "B-1"});
                let hold = served.done(by, place).await["made"].clone();
                let (status, body) =
                    served.post(role, json!({"do": "lift_hold", "hold": hold, "reason": "fine"})).await;
                let may = roles.split(' ').any(|name| name == role.name());
                assert_eq!(status, if may { 201 } else { 403 }, "{kind} by {role:?}: {body}");
            }
        }
        served.sound().await;
        served.stop().await;
    }
}
