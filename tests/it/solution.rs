//! The record of a manual disinfection, and what is refused for it.

use fettle::domain::person::Role::{Admin, Biomed, Desk};
use fettle::domain::solution::PUBLISHED;
use serde_json::{Value, json};

use super::page::{csrf, open, person, read};
use super::served::{BOTH, Kind, Served};

/// A record with which nothing is wrong; some fields otherwise.
fn solution(other: Value) -> Value {
    let mut all = json!({"product": "disinfectant A", "lot": "D-7", "use_by": "2999-12-31", "strength_test": "pass",
                         "strength_value": "0.45", "contact_s": 720, "temp_c": "20"});
    for (name, value) in other.as_object().expect("fields") {
        all[name] = value.clone();
    }
    all
}

fn by_hand(solution: Option<Value>) -> Value {
    let mut all = json!({"do": "record_step", "step": "disinfected", "scan": ["T-1"]});
    if let Some(solution) = solution {
        all["solution"] = solution;
    }
    all
}

/// A department whose telescope waits to be disinfected by hand; its instructions ask for 12 min at 20 °C.
async fn waiting(kind: Kind) -> Served {
    let served = Served::start(kind).await;
    served.furnish().await;
    let model = json!({"do": "define_model", "model": "scope", "family": "telescope", "name": "scope",
        "route": "optics", "processing": {"steam": {"temp_c": 134, "hold_s": 180},
        "disinfection": {"contact_s": 720, "temp_c": 20}}, "limits": {"shelf_life_days": 30}});
    served.done(Biomed, model).await;
    for step in ["treated", "received", "cleaned", "dried"] {
        served.done(Desk, json!({"do": "record_step", "step": step, "scan": ["SET-1"]})).await;
    }
    served
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_that_fails_refuses_the_step_and_says_why() {
    for kind in BOTH {
        let served = waiting(kind).await;
        for (other, found) in [
            (json!({"strength_test": "fail"}), "The strength test of lot D-7 failed"),
            (json!({"use_by": "2020-02-29"}), "Lot D-7 was to be used by 29 February 2020."),
            (json!({"contact_s": "719.9"}), "T-1 was in the solution for 719.9 s."),
            (json!({"temp_c": "19.9"}), "The solution of T-1 was at 19.9 °C."),
        ] {
            let problem = served.refused(Desk, by_hand(Some(solution(other.clone()))), "record_failed").await;
            assert!(problem["found"].as_str().is_some_and(|text| text.starts_with(found)), "{problem}");
            // No override sets it aside.
            let mut again = by_hand(Some(solution(other)));
            again["override"] = json!({"code": "record_failed", "reason": "in a hurry"});
            served.refused(fettle::domain::person::Role::Lead, again, "record_failed").await;
        }
        assert_eq!(served.asset("T-1").await["stage"], "dried");
        let told = served.done(Desk, by_hand(Some(solution(json!({}))))).await;
        assert_eq!(told["event"]["solution"]["contact_s"], "720");
        let (_, history) = served.get("assets/T-1/history").await;
        assert_eq!(history["items"][0]["event"]["solution"]["lot"], "D-7", "{history}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_record_only_the_sites_policy_refuses() {
    let served = waiting(Kind::Embedded).await;
    served.done(Desk, by_hand(None)).await;
    served.rest_of_a_round("SET-1").await;
    served.done(Admin, json!({"do": "set_policy", "solution_record": true})).await;
    for step in ["treated", "received", "cleaned", "dried"] {
        served.done(Desk, json!({"do": "record_step", "step": step, "scan": ["SET-1"]})).await;
    }
    served.refused(Desk, by_hand(None), "no_record").await;
    // Told late it is a fact; without its record it took the part nowhere.
    let mut late = by_hand(None);
    late["late"] = json!({"cause": "forgotten"});
    let told = served.done(Desk, late).await;
    assert_eq!(told["deviation"], json!(["no_record"]), "{told}");
    assert_eq!(served.asset("T-1").await["stage"], "dried");
    served.done(Desk, by_hand(Some(solution(json!({}))))).await;
    // By machine nothing of it is asked.
    served.rest_of_a_round("SET-1").await;
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_is_read_strictly() {
    let served = waiting(Kind::Embedded).await;
    for (fields, pointer) in [
        (json!({"step": "dried", "solution": solution(json!({}))}), "/solution"),
        (
            json!({"step": "disinfected", "solution": solution(json!({"contact_s": 0}))}),
            "/solution/contact_s",
        ),
        (json!({"step": "disinfected", "solution": solution(json!({"use_by": "soon"}))}), "/solution/use_by"),
        (json!({"step": "disinfected", "solution": {"lot": "D"}}), "/solution/use_by"),
        (json!({"step": "disinfected", "solution": solution(json!({"maker": "x"}))}), "/solution/maker"),
        (json!({"step": "cleaned", "packaging": "pouch"}), "/packaging"),
    ] {
        let mut command = fields.clone();
        command["do"] = "record_step".into();
        command["scan"] = json!(["T-1"]);
        let (status, body) = served.post(Desk, command).await;
        assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!(pointer)), "{fields}: {body}");
    }
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_desk_asks_for_it_where_it_is_the_next_act() {
    let served = waiting(Kind::Embedded).await;
    let client = person(&served, Desk).await;
    let (_, _, page) = open(&client, &served, "/desk?scan=T-1").await;
    assert!(page.contains("name=\"solution_lot\"") && page.contains("Table 4"), "{page}");
    let (_, _, other) = open(&client, &served, "/desk?scan=B-1").await;
    assert!(!other.contains("name=\"solution_lot\""), "{other}");
    let token = csrf(&page);
    let fields = [
        ("csrf", token.as_str()),
        ("thing", "T-1"),
        ("act", "step:disinfected"),
        ("solution_lot", "D-9"),
        ("solution_use_by", "2999-01-01"),
        ("solution_strength_test", "fail"),
        ("solution_contact_s", "900"),
        ("solution_temp_c", "21"),
    ];
    let desk = format!("{}/desk", served.base);
    let (status, _, page) = read(client.post(&desk).form(&fields).send().await.expect("an answer")).await;
    assert!(status == 409 && page.contains("strength test of lot D-9 failed"), "{page}");
    // Nothing typed is lost.
    assert!(page.contains("name=\"solution_lot\" value=\"D-9\""), "{page}");
    let good = fields.map(|(name, value)| (name, if name.ends_with("test") { "pass" } else { value }));
    let (status, _, page) = read(client.post(&desk).form(&good).send().await.expect("an answer")).await;
    assert_eq!(status, 200, "{page}");
    assert_eq!(served.asset("T-1").await["stage"], "disinfected");
    let (_, _, page) = open(&client, &served, "/assets/T-1").await;
    assert!(page.contains("solution lot D-9, use by 1 January 2999, strength test passed"), "{page}");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_only_disinfected_says_that_it_is_not_sterile() {
    let served = waiting(Kind::Embedded).await;
    let steps = json!([{"step": "treated"}, {"step": "disinfected", "method": "manual"}]);
    served.done(Admin, json!({"do": "define_route", "route": "camera", "steps": steps})).await;
    for (model, limits) in [("cam-1", json!({"shelf_life_days": 7})), ("cam-2", json!({}))] {
        let define = json!({"do": "define_model", "model": model, "family": "camera_head", "name": model,
                            "route": "camera", "limits": limits});
        served.done(Biomed, define).await;
        let add = json!({"do": "add_asset", "asset": format!("K-{model}"), "model": model});
        served.done(Biomed, add).await;
        for step in ["treated", "disinfected"] {
            let scan = [format!("K-{model}")];
            served.done(Desk, json!({"do": "record_step", "step": step, "scan": scan})).await;
        }
    }
    let client = person(&served, Desk).await;
    for (asset, says) in [
        ("K-cam-1", "ready: disinfected, not sterile, use within 7 days of its disinfection"),
        ("K-cam-2", "ready: disinfected, not sterile, use by local policy"),
    ] {
        let (_, _, page) = open(&client, &served, &format!("/assets/{asset}")).await;
        assert!(page.contains(says), "{asset}: {page}");
    }
    served.stop().await;
}

/// CDC Guideline for Disinfection and Sterilization in Healthcare Facilities, 2008, Table 4: contact times and
/// temperatures of high-level disinfection, reuse and minimum effective concentration (read in a copy of the table).
#[test]
fn the_figures_beside_the_form_are_those_of_the_table() {
    let table = [
        ("Glutaraldehyde", "20 to 90 min at 20 to 25 °C", "14 to 30 days", "1.5 %"),
        ("Ortho-phthalaldehyde 0.55 %", "12 min at 20 °C; 5 min at 25 °C", "14 days", "0.3 %"),
        ("Hydrogen peroxide 7.5 %", "30 min at 20 °C", "21 days", "6 %"),
        ("Hydrogen peroxide 7.35 % with peracetic acid 0.23 %", "15 min at 20 °C", "14 days", ""),
    ];
    assert_eq!(PUBLISHED.len(), table.len());
    for (it, (name, contact, reuse, least)) in PUBLISHED.iter().zip(table) {
        assert!(it.name.starts_with(name) && it.contact.starts_with(contact), "{it:?}");
        assert!(it.reuse == reuse && it.least.starts_with(least), "{it:?}");
    }
}
