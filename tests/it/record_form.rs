//! A machine's record form at work: defined, tried, used by a verdict, and that verdict worked out again from the raw bytes
//! and the entry alone.

use std::sync::Arc;

use fettle::domain::person::Role::{Admin, Biomed, Desk, Lead};
use fettle::domain::record::Given;
use fettle::domain::verdict::{Evidence, Judged, judge_record};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::page;
use super::served::{BOTH, Kind, Served, steam_record, wash_record};

/// The form of an invented steriliser: semicolons, decimal commas, windows-1252, a clock, gauge pressure in mbar.
pub fn foreign_form() -> Value {
    json!({"separator": ";", "decimal": ",", "encoding": "windows-1252", "skip_lines": 2, "skip_rows": 1, "time": "clock",
        "ambient_kpa": "98.4", "called": "Autoklav Süd", "marks": [{"line": "Maschine", "is": "machine"}],
        "columns": [{"column": "Zeit", "is": "time"}, {"column": "Zyklus", "is": "cycle_no"},
                    {"column": "T Ablauf °C", "is": "temperature", "name": "drain", "unit": "°C"},
                    {"column": "Druck", "is": "pressure", "unit": "mbar", "reference": "gauge"}]})
}

/// The cycle of the plain record for so long a hold, as that steriliser writes it from 23:55:00, with steam at saturation:
/// 134.5 °C is 3086.8 mbar (IAPWS-IF97 region 4, computed).
pub fn foreign_record(hold_s: u32, cycle: &str) -> String {
    let mut all =
        "Maschine;Autoklav Süd\r\nProtokoll\r\nZeit;Zyklus;T Ablauf °C;Druck\r\nh;;°C;mbar\r\n".to_string();
    for line in steam_record(hold_s).lines().skip(1) {
        let (time, temp) = line.split_once(',').expect("two cells");
        let second = (86_100 + time.parse::<u32>().expect("seconds")) % 86_400;
        let clock = format!("{:02}:{:02}:{:02}", second / 3_600, second / 60 % 60, second % 60);
        let mbar = if temp == "134.500" { "2102,8" } else { "900,0" };
        all.push_str(&format!("{clock};{cycle};{};{mbar}\r\n", temp.replace('.', ",")));
    }
    all
}

pub fn latin(text: &str) -> Vec<u8> {
    text.chars().map(|c| u8::try_from(u32::from(c)).expect("a letter of Latin-1")).collect()
}

impl Served {
    /// A set packed and in the steriliser, in a load with this cycle number; answers the load.
    pub async fn loaded(&self, cycle: &str) -> String {
        let step = |step: &str| json!({"do": "record_step", "step": step, "scan": ["SET-1"]});
        for name in ["treated", "received", "cleaned", "dried"] {
            self.done(Desk, step(name)).await;
        }
        self.done(Desk, json!({"do": "record_step", "step": "disinfected", "scan": ["T-1"]})).await;
        let load = self.load("washer-1", "wash", "SET-1").await;
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(300)})).await;
        self.done(Desk, json!({"do": "release_load", "load": load})).await;
        self.done(Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})).await;
        self.done(Desk, step("packed")).await;
        let start = json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": ["SET-1"],
                           "cycle_no": cycle});
        self.done(Desk, start).await["made"].as_str().expect("a load's id").to_string()
    }

    async fn tried(&self, role: fettle::domain::person::Role, asked: Value) -> (u16, Value) {
        let path = format!("{}/api/v1/{}/machines/steriliser-1/record-form/try", self.base, self.site);
        let answer = self.client.post(path).bearer_auth(self.token(role)).json(&asked).send().await;
        let answer = answer.expect("an answer");
        (answer.status().as_u16(), answer.json().await.expect("JSON"))
    }
}

/// The last verdict of the ledger, read from its entry.
async fn last_verdict(served: &Served) -> (Value, Judged) {
    let lines = served.ledger("?limit=1000").await;
    let judged = lines.iter().rev().find(|line| line["entry"]["kind"] == "load_judged").expect("a verdict");
    let event = judged["entry"]["event"].clone();
    let read = serde_json::from_value(event.clone()).expect("a verdict");
    (event, read)
}

/// Nothing but the raw bytes and the entry: no machine, no load, no catalogue, no zone of a site.
fn worked_out_again(raw: &[u8], judged: &Judged) {
    let Evidence::Record { sha256, bytes, ambient_kpa, form, programme, .. } = &judged.by else {
        panic!("no record");
    };
    assert_eq!(*sha256, hex::encode(Sha256::digest(raw)));
    assert_eq!(*bytes, raw.len() as u64);
    let given = Given { bytes: raw, form: form.as_ref(), ambient_kpa: *ambient_kpa };
    let programme = programme.as_ref().expect("the limits stand in the entry");
    let again = judge_record(programme, &given).expect("limits").expect("a record");
    assert_eq!(again.passed, judged.passed);
    assert_eq!(again.answer, judged.answer.value(), "to the last digit");
    assert_eq!(again.form.is_some(), form.is_some(), "the entry says by which form it was read");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_verdict_is_worked_out_again_from_the_raw_bytes_and_its_entry() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let load = served.loaded("311").await;
        let define = json!({"do": "define_record_form", "machine": "steriliser-1", "form": foreign_form()});
        served.done(Lead, define.clone()).await;
        served.refused(Lead, define, "already_done").await;
        // As text through the API: UTF-8, and read by the form all the same.
        let record = foreign_record(200, "00311");
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": record})).await;
        let (event, judged) = last_verdict(&served).await;
        assert!(judged.passed, "{event}");
        assert_eq!(event["by"]["record"]["form"]["called"], "Autoklav Süd");
        worked_out_again(record.as_bytes(), &judged);
        // As a file through the page, in the machine's own encoding: its bytes are kept as they came, to the last line's end.
        let client = page::person(&served, Lead).await;
        let bytes = latin(&(foreign_record(190, "311") + "\r\n\r\n"));
        let (status, text) = uploaded(&client, &served, &format!("/loads/{load}/record"), &[], &bytes).await;
        assert_eq!(status, 200, "{text}");
        let (_, judged) = last_verdict(&served).await;
        worked_out_again(&bytes, &judged);
        let raw = client.get(format!("{}/loads/{load}/record", served.base)).send().await.expect("an answer");
        assert_eq!(raw.headers()["content-type"], "text/csv; charset=windows-1252");
        assert_eq!(raw.bytes().await.expect("bytes"), bytes);
        // The form that comes later changes nothing of it.
        let none = json!({"do": "define_record_form", "machine": "steriliser-1", "form": null});
        served.done(Admin, none.clone()).await;
        served.refused(Admin, none, "already_done").await;
        worked_out_again(&bytes, &last_verdict(&served).await.1);
        // A file in the plain form says so.
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
        let (event, judged) = last_verdict(&served).await;
        assert!(event["by"]["record"].get("form").is_none(), "{event}");
        worked_out_again(steam_record(200).as_bytes(), &judged);
        served.sound().await;
        served.stop().await;
    }
}

/// Posts parts of a form and a file; answers the status and the page after redirects.
pub async fn uploaded(
    client: &reqwest::Client,
    served: &Served,
    path: &str,
    fields: &[(&str, &str)],
    file: &[u8],
) -> (u16, String) {
    let (_, _, page) = page::open(client, served, "/catalogue").await;
    let token = page::csrf(&page);
    let mut body = Vec::new();
    for (name, value) in [("csrf", token.as_str())].iter().chain(fields) {
        let part = format!("--xyz\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend(part.into_bytes());
    }
    if !file.is_empty() {
        body.extend(b"--xyz\r\nContent-Disposition: form-data; name=\"record\"; filename=\"c.csv\"\r\n\r\n");
        body.extend(file);
        body.extend(b"\r\n");
    }
    body.extend(b"--xyz--\r\n");
    let asked = client.post(format!("{}{path}", served.base));
    let asked = asked.header("content-type", "multipart/form-data; boundary=xyz").body(body);
    let (status, _, text) = page::read(asked.send().await.expect("an answer")).await;
    (status, text.replace("&#34;", "\"").replace("&#39;", "'"))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_of_something_else_or_told_twice_is_no_evidence() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let load = served.loaded("311").await;
    served
        .done(Lead, json!({"do": "define_record_form", "machine": "steriliser-1", "form": foreign_form()}))
        .await;
    let judge = |record: String| json!({"do": "judge_load", "load": load, "record": record});
    // Another cycle, another machine, in its own form and in the plain one; late or not.
    let other = served.refused(Desk, judge(foreign_record(200, "312")), "no_record").await;
    assert!(other["found"].as_str().expect("text").contains("of cycle \"312\" (line 5)"), "{other}");
    assert!(other["needed"].as_str().expect("text").contains("cycle 311"), "{other}");
    let mut late = judge(foreign_record(200, "312"));
    late["late"] = json!({"cause": "forgotten"});
    served.refused(Desk, late, "no_record").await;
    let elsewhere = foreign_record(200, "311").replace("Autoklav Süd", "Autoklav Nord");
    let other = served.refused(Desk, judge(elsewhere), "no_record").await;
    assert!(other["found"].as_str().expect("text").contains("Autoklav Nord"), "{other}");
    let plain = |name: &str, value: &str| {
        let mut lines = steam_record(200).lines().map(|line| format!("{line},{value}")).collect::<Vec<_>>();
        lines[0] = format!("time_s,temp_c,{name}");
        lines.join("\n")
    };
    served.refused(Desk, judge(plain("cycle_no", "7")), "no_record").await;
    served.refused(Desk, judge(plain("machine", "steriliser-2")), "no_record").await;
    served.done(Desk, judge(plain("cycle_no", "0311"))).await;
    // The same bytes again say nothing new; after another record they do.
    let twice = served.refused(Desk, judge(plain("cycle_no", "0311")), "already_done").await;
    assert!(twice["found"].as_str().expect("text").contains("this very record, in entry"), "{twice}");
    served.done(Desk, judge(plain("machine", "steriliser-1"))).await;
    served.done(Desk, judge(plain("cycle_no", "0311"))).await;
    // Once the load is decided, nothing is.
    let chemical = json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
    served.done(Desk, chemical).await;
    served.done(Desk, json!({"do": "release_load", "load": load, "dry": true})).await;
    served.refused(Desk, judge(steam_record(201)), "already_done").await;
    // The same bytes for another load are taken, and said with the load that they were judged for.
    let second = served.loaded("312").await;
    let same = json!({"do": "judge_load", "load": second, "record": plain("x", "0311")});
    served.done(Desk, same).await;
    let third = json!({"do": "judge_load", "load": second, "record": plain("cycle_no", "0311").replace("0311", "312")});
    served.done(Desk, third).await;
    assert_eq!(last_verdict(&served).await.0["by"]["record"].get("same_as"), None);
    let wash = served.ledger("?limit=1000").await;
    let washed = wash.iter().filter(|line| line["entry"]["event"]["by"]["record"]["same_as"].is_array());
    let named: Vec<&Value> = washed.map(|line| &line["entry"]["event"]["by"]["record"]["same_as"]).collect();
    // Both rounds washed with the very same record.
    assert_eq!(named.len(), 1, "{named:?}");
    let client = page::person(&served, Lead).await;
    let washes: Vec<&str> = wash
        .iter()
        .filter(|line| line["entry"]["event"]["by"]["record"]["same_as"].is_array())
        .filter_map(|line| line["entry"]["event"]["load"].as_str())
        .collect();
    let (_, _, page) = page::open(&client, &served, &format!("/loads/{}", washes[0])).await;
    assert!(
        page.contains("The same record as load") && page.contains("Two cycles do not write the same file")
    );
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_is_tried_without_storing_anything() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let before = served.ledger("?limit=1000").await.len();
    let asked = json!({"form": foreign_form(), "record": foreign_record(200, "7"), "programme": "p134"});
    let (status, told) = served.tried(Lead, asked.clone()).await;
    assert_eq!(status, 200, "{told}");
    assert_eq!(
        (told["by"].as_str(), told["cycle_no"]["found"].as_str()),
        (Some("form"), Some("7")),
        "{told}"
    );
    assert_eq!(told["verdict"]["verdict"], "pass", "{told}");
    assert_eq!(told["rows"][1], json!({"time_s": 5.0, "temp_c_drain": 61.242, "pressure_kpa_abs": 188.4}));
    assert_eq!(served.tried(Desk, asked.clone()).await.0, 403);
    // Without the form it is not read; the errors say by which form, where and why.
    let (status, told) = served.tried(Admin, json!({"record": foreign_record(200, "7")})).await;
    assert_eq!((status, &told["read"], &told["verdict"]), (200, &json!(false), &Value::Null), "{told}");
    assert_eq!(told["errors"][0]["by"], "plain", "{told}");
    let mut wrong = asked.clone();
    wrong["form"]["decimal"] = ".".into();
    let (_, told) = served.tried(Lead, wrong).await;
    let error = &told["errors"][0];
    assert_eq!((error["by"].as_str(), error["line"].as_u64()), (Some("form"), Some(5)), "{told}");
    assert_eq!(error["column"], "T Ablauf °C", "{told}");
    for (change, pointer) in [
        (json!({"form": {"time": "clock"}}), "/form/columns"),
        (json!({"form": {"time": "clock", "columns": []}}), "/form/columns"),
        (json!({"form": 7}), "/form"),
        (json!({"programme": 7}), "/programme"),
        (json!({"colour": 7}), "/colour"),
    ] {
        let mut bad = asked.clone();
        for (name, value) in change.as_object().expect("an object") {
            bad[name] = value.clone();
        }
        let (status, told) = served.tried(Lead, bad).await;
        assert_eq!((status, told["errors"][0]["pointer"].as_str()), (422, Some(pointer)), "{told}");
    }
    let mut bad = asked.clone();
    bad["programme"] = "p121".into();
    assert_eq!(served.tried(Lead, bad).await.0, 404);
    assert_eq!(served.ledger("?limit=1000").await.len(), before, "nothing is stored");
    served.stop().await;
}

/// The form of the foreign records as somebody types it into the page, to try it.
fn typed() -> Vec<(&'static str, &'static str)> {
    vec![
        ("programme", "p134"),
        ("form.separator", ";"),
        ("form.decimal", ","),
        ("form.encoding", "windows-1252"),
        ("form.skip_lines", "2"),
        ("form.skip_rows", "1"),
        ("form.time", "clock"),
        ("form.ambient_kpa", "98.4"),
        ("form.called", "Autoklav Süd"),
        ("form.columns.0.column", "Zeit"),
        ("form.columns.0.is", "time"),
        ("form.columns.1.column", "Zyklus"),
        ("form.columns.1.is", "cycle_no"),
        ("form.columns.2.column", "T Ablauf °C"),
        ("form.columns.2.is", "temperature"),
        ("form.columns.2.unit", "°C"),
        ("form.columns.2.name", "drain"),
        ("form.columns.3.column", "Druck"),
        ("form.columns.3.is", "pressure"),
        ("form.columns.3.unit", "mbar gauge"),
        ("form.columns.4.column", "Tür"),
        ("form.columns.4.is", ""),
        ("form.marks.0.line", "Maschine"),
        ("form.marks.0.is", "machine"),
        ("act", "try"),
    ]
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_tries_a_form_before_it_saves_it() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let client = page::person(&served, Lead).await;
    let path = "/machines/steriliser-1/record-form";
    let (status, _, text) = page::open(&client, &served, path).await;
    assert!(status == 200 && text.contains("only files in the plain form are read"), "{text}");
    let (_, _, catalogue) = page::open(&client, &served, "/catalogue").await;
    assert!(catalogue.contains(path), "the catalogue leads to it");
    let file = latin(&foreign_record(200, "7"));
    // First only what can be seen from outside: the page names the columns that it found.
    let few = [("act", "try"), ("form.separator", ";"), ("form.skip_lines", "2"), ("form.time", "clock")];
    let (status, text) = uploaded(&client, &served, path, &few, &file).await;
    assert_eq!(status, 422, "{text}");
    assert!(text.contains("value=\"T Ablauf °C\"") && text.contains("value=\"Druck\""), "{text}");
    assert!(text.contains("Maschine;Autoklav Süd"), "its first lines stand there");
    let mut fields = typed();
    let (status, text) = uploaded(&client, &served, path, &fields, &file).await;
    assert_eq!(status, 200, "{text}");
    for says in [
        "Nothing is saved yet",
        "Read by this form: 141 samples",
        "This sample meets programme p134.",
        "<svg",
    ] {
        assert!(text.contains(says), "{says}: {text}");
    }
    let before = served.ledger("?limit=1000").await.len();
    fields.pop();
    fields.push(("act", "save"));
    let (status, text) = uploaded(&client, &served, path, &fields, &[]).await;
    assert!(status == 200 && text.contains("are read by its record form"), "{text}");
    let lines = served.ledger("?limit=1000").await;
    assert_eq!(lines.len(), before + 1);
    assert_eq!(lines[before]["entry"]["event"]["form"], foreign_form(), "what was tried is what is saved");
    let (status, text) = uploaded(&client, &served, path, &[("act", "take_away")], &[]).await;
    assert!(status == 200 && text.contains("has no record form"), "{text}");
    // Who may not change it reads it.
    let reader = page::person(&served, Biomed).await;
    let (status, _, text) = page::open(&reader, &served, path).await;
    assert!(status == 200 && !text.contains("Save this form"), "{text}");
    let (status, text) = uploaded(&reader, &served, path, &fields, &[]).await;
    assert_eq!(status, 403, "{text}");
    served.stop().await;
}

/// What is read by a form is the same whatever order the judging takes: beside the clerk, or in its turn after the form
/// changed between.
#[tokio::test(flavor = "multi_thread")]
async fn a_form_and_a_record_in_one_array_meet() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let load = served.loaded("311").await;
    let array = json!([
        {"do": "define_record_form", "machine": "steriliser-1", "form": foreign_form()},
        {"do": "judge_load", "load": load, "record": foreign_record(200, "311")},
        {"do": "define_record_form", "machine": "steriliser-1", "form": null},
        {"do": "judge_load", "load": load, "record": foreign_record(201, "311")},
    ]);
    let (_, body) = served.post(Lead, array).await;
    let statuses: Vec<u64> =
        body["results"].as_array().expect("results").iter().filter_map(|it| it["status"].as_u64()).collect();
    assert_eq!(statuses, [201, 201, 201, 422], "{body}");
    assert_eq!(body["results"][3]["errors"][0]["pointer"], "/record");
    let judged = Arc::new(last_verdict(&served).await.1);
    worked_out_again(foreign_record(200, "311").as_bytes(), &judged);
    served.sound().await;
    served.stop().await;
}
