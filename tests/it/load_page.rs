//! The pages of a load's record and of machines, as a person's browser gets them from a server.

use fettle::domain::person::Role;
use reqwest::Client;
use serde_json::{Value, json};

use super::served::{BOTH, Kind, Served, steam_record, wash_record, whole};

const PASSWORD: &str = "a long enough one";

async fn desk(served: &Served) -> Client {
    served
        .house
        .add_person(&served.site, Some("desk-9"), "Somebody Nine", Role::Desk, PASSWORD)
        .await
        .expect("a person");
    let client = Client::builder().cookie_store(true).build().expect("a client");
    let form = [("site", served.site.as_str()), ("person", "desk-9"), ("password", PASSWORD)];
    client.post(format!("{}/sign-in", served.base)).form(&form).send().await.expect("an answer");
    client
}

async fn page(client: &Client, served: &Served, path: &str) -> (u16, String) {
    let answer = client.get(format!("{}{path}", served.base)).send().await.expect("an answer");
    (answer.status().as_u16(), whole(answer).await)
}

impl Served {
    /// Judges a load of a set that is ready to be washed, and gives the load's id.
    async fn washed(&self, record: &str) -> String {
        let step = |role, step: &str| (role, json!({"do": "record_step", "step": step, "scan": ["SET-1"]}));
        for (role, command) in [
            step(Role::Charge, "treated"),
            step(Role::Desk, "received"),
            step(Role::Desk, "cleaned"),
            step(Role::Desk, "dried"),
        ] {
            self.done(role, command).await;
        }
        let load = self.load("washer-1", "wash", "SET-1").await;
        self.done(Role::Desk, json!({"do": "judge_load", "load": load, "record": record})).await;
        load
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_judged_load_shows_its_picture_its_table_and_its_raw_record() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let client = desk(&served).await;
        let record = wash_record(300);
        let load = served.washed(&record).await;
        let (status, text) = page(&client, &served, &format!("/loads/{load}")).await;
        assert_eq!(status, 200);
        assert!(
            text.contains(&format!("Nothing found against release of load {load}. You decide.")),
            "{text}"
        );
        // 300 s at 90 °C are A0 3000 s (ISO 15883-1: 10 s at 80 °C for each second at 90 °C); the ramps from and to 65 °C
        // add 402 s.
        assert!(text.contains("A0 3402 s and 6 min 32.8 s in the band without a break"), "{text}");
        assert!(text.contains("role=\"img\"") && text.contains("page-cycle-title"), "the picture is drawn");
        assert!(text.contains("SHA-256"));
        let (status, enlarged) = page(&client, &served, &format!("/loads/{load}/plot")).await;
        assert!(status == 200 && enlarged.contains("large-cycle-title") && enlarged.contains("<table"));
        let (status, raw) = page(&client, &served, &format!("/loads/{load}/record")).await;
        assert!(status == 200 && raw == record, "the raw record is given back as it came");
        // The second look takes the picture that is kept; it is the same.
        assert_eq!(page(&client, &served, &format!("/loads/{load}/plot")).await.1, enlarged);
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failed_record_says_why_with_its_numbers_and_what_to_do() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let client = desk(&served).await;
    let load = served.washed(&wash_record(0)).await;
    let (_, text) = page(&client, &served, &format!("/loads/{load}")).await;
    assert!(
        text.contains(&format!("Load {load} may not be released.")) && text.contains("<b>Next:</b>"),
        "{text}"
    );
    let (_, told) = served.get(&format!("machines/{}", "washer-1")).await;
    assert_eq!(told["condition"]["word"], "flagged", "{told}");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn readings_have_no_picture_and_are_named_as_such() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let client = desk(&served).await;
    let load = served.washed(&wash_record(300)).await;
    let readings = json!({"min_c": "90.2", "max_c": "91.5", "a0_s": 3_400, "complete": true, "second_reader": "a colleague"});
    served.done(Role::Desk, json!({"do": "judge_load", "load": load, "readings": readings})).await;
    let (_, text) = page(&client, &served, &format!("/loads/{load}")).await;
    assert!(text.contains("Read from the printout by two people; not recomputed."), "{text}");
    assert!(!text.contains("page-cycle-title"));
    let (status, _) = page(&client, &served, &format!("/loads/{load}/plot")).await;
    assert_eq!(status, 404);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn machines_say_how_they_stand_and_how_their_cycles_change() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let client = desk(&served).await;
        let (status, text) = page(&client, &served, "/machines").await;
        assert!(status == 200 && text.contains("No machine is defined yet."), "{text}");
        served.furnish().await;
        served.round("SET-1").await;
        let (_, list) = served.get("machines").await;
        let names: Vec<&Value> =
            list["items"].as_array().expect("items").iter().map(|it| &it["machine"]).collect();
        assert!(names.contains(&&json!("steriliser-1")) && names.contains(&&json!("washer-1")), "{list}");
        let (_, told) = served.get("machines/steriliser-1").await;
        let hold = told["trends"]
            .as_array()
            .expect("trends")
            .iter()
            .find(|it| it["measured"] == "hold")
            .expect("a hold");
        // The record holds 134.5 °C for 200 s; the ramp from 60 °C in 300 s adds what lies above 134 °C, 2.01 s, and the fall
        // by 0.2 K/s adds 2.5 s.
        let value = hold["points"][0]["value"].as_f64().expect("a number");
        assert!((value - 204.513).abs() < 0.01, "{hold}");
        assert_eq!((&hold["needed"], &hold["limits"]), (&json!(180.0), &Value::Null));
        let (status, text) = page(&client, &served, "/machines/steriliser-1").await;
        assert!(
            status == 200 && text.contains("3 min 24.5 s") && text.contains("How its cycles change"),
            "{text}"
        );
        assert_eq!(page(&client, &served, "/machines/none").await.0, 404);
        assert_eq!(served.get("machines/none").await.0, 404);
        served.stop().await;
    }
}

/// A machine whose holds shrink is told of while every one of them still passes.
#[tokio::test(flavor = "multi_thread")]
async fn a_drifting_steriliser_is_named_before_it_fails() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let client = desk(&served).await;
    for n in 0..20 {
        let hold_s = if n < 12 { 220 + 5 * (n % 2) } else { 215 - 5 * (n - 12) / 2 };
        served.done(Role::Desk, json!({"do": "pack_broken", "scan": ["SET-1"], "why": "wet"})).await;
        served.done(Role::Desk, json!({"do": "record_step", "step": "packed", "scan": ["SET-1"]})).await;
        let load = served.load("steriliser-1", "p134", "SET-1").await;
        served
            .done(Role::Desk, json!({"do": "judge_load", "load": load, "record": steam_record(hold_s)}))
            .await;
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        served.done(Role::Desk, chemical).await;
        served.done(Role::Desk, json!({"do": "release_load", "load": load, "dry": true})).await;
    }
    let (_, told) = served.get("machines/steriliser-1").await;
    let hold = told["trends"]
        .as_array()
        .expect("trends")
        .iter()
        .find(|it| it["measured"] == "hold")
        .expect("a hold");
    assert!(hold["points"].as_array().expect("points").iter().all(|point| point["passed"] == true));
    assert!(!hold["drifts"].as_array().expect("drifts").is_empty(), "{hold}");
    let (_, text) = page(&client, &served, "/machines/steriliser-1").await;
    assert!(text.contains("It drifts: the hold time in p134"), "{text}");
    served.stop().await;
}
