//! Days on paper: numbers that are given once, lines that are entered once, and what a sheet comes to.

use chrono::{Days, NaiveTime};
use fettle::domain::person::Role::{self, Biomed, Charge, Desk, Infection, Lead};
use fettle::domain::time::{Time, on_day};
use serde_json::{Value, json};

use super::browser::{PASSWORD, hidden};
use super::served::{BOTH, Kind, Served, department, steam_record, wash_record, whole};

/// An hour of yesterday's clock at the site.
pub fn yesterday(clock: &str) -> Time {
    let zone = chrono_tz::Europe::Berlin;
    let day = Time(chrono::Utc::now().timestamp_micros()).date(zone).checked_sub_days(Days::new(1));
    let time = NaiveTime::parse_from_str(clock, "%H:%M").expect("a time");
    on_day(day.expect("a day"), time, zone)
}

/// The small department as it was yesterday before six, its set ready since then.
pub async fn furnished_yesterday(served: &Served) {
    let mut at = yesterday("02:00");
    let mut tell = Vec::from_iter(department());
    let step = |step: &str, scan: &str| json!({"do": "record_step", "step": step, "scan": [scan]});
    tell.push((Charge, step("treated", "SET-1")));
    for name in ["received", "cleaned", "dried"] {
        tell.push((Desk, step(name, "SET-1")));
    }
    tell.push((Desk, step("disinfected", "T-1")));
    let load = |load: &str, machine: &str, programme: &str, record: String| {
        let start = json!({"do": "start_load", "load": load, "machine": machine, "programme": programme, "scan": ["SET-1"]});
        vec![(Desk, start), (Desk, json!({"do": "judge_load", "load": load, "record": record}))]
    };
    tell.extend(load("W-1", "washer-1", "wash", wash_record(300)));
    tell.push((Desk, json!({"do": "release_load", "load": "W-1"})));
    tell.push((Desk, json!({"do": "inspect", "scan": "SET-1", "passed": true})));
    tell.push((Desk, step("packed", "SET-1")));
    tell.extend(load("S-1", "steriliser-1", "p134", steam_record(200)));
    tell.push((
        Desk,
        json!({"do": "record_indicator", "load": "S-1", "indicator": "chemical", "result": "pass"}),
    ));
    tell.push((Desk, json!({"do": "release_load", "load": "S-1", "dry": true})));
    for (role, mut command) in tell {
        at = at.plus_minutes(1);
        command["at"] = json!(at);
        served.done(role, command).await;
    }
}

/// Numbers sheets of a kind as of yesterday at six; answers the first number.
pub async fn numbered(served: &Served, of: &str, sheets: u32) -> String {
    let print =
        json!({"do": "print_sheets", "at": yesterday("06:00"), "pages": [{"of": of, "sheets": sheets}]});
    served.done(Lead, print).await["made"].as_str().expect("a number").to_string()
}

async fn sheet(served: &Served, number: &str) -> Value {
    let (_, all) = served.get("paper-sheets").await;
    let items = all["items"].as_array().expect("sheets");
    items.iter().find(|it| it["sheet"] == number).cloned().expect("the sheet")
}

pub fn late(sheet: &str, line: u32, by: &str) -> Value {
    json!({"cause": "downtime", "sheet": sheet, "line": line, "done_by": by})
}

#[tokio::test(flavor = "multi_thread")]
async fn a_number_is_given_once_and_a_line_entered_once() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnished_yesterday(&served).await;
        assert_eq!(numbered(&served, "sink", 2).await, "P0001");
        assert_eq!(numbered(&served, "other", 1).await, "P0003");
        let many = json!({"do": "print_sheets", "pages": [{"of": "sink", "sheets": 101}]});
        assert_eq!(served.post(Lead, many).await.0, 422);
        let mut step = json!({"do": "record_step", "step": "treated", "scan": "C-2", "at": yesterday("08:00"),
                              "late": late("P0001", 1, "lead"), "key": "sheet P0001 line 1"});
        let first = served.done(Desk, step.clone()).await;
        assert_eq!(first["event"]["late"]["line"], 1, "{first}");
        assert_eq!(served.post(Desk, step.clone()).await.0, 200, "the same line again is the same entry");
        // Another key, another act, another person: the line is entered all the same.
        step["key"] = "another".into();
        step["step"] = "received".into();
        let known = served.refused(Lead, step.clone(), "already_done").await;
        assert!(
            known["found"].as_str().is_some_and(|it| it.contains("Line 1 of sheet P0001 is entry")),
            "{known}"
        );
        step["late"] = late("P0001", 2, "lead");
        served.done(Lead, step).await;
        let told = sheet(&served, "P0001").await;
        assert_eq!(
            (&told["status"], told["entered"].as_array().map(Vec::len)),
            (&json!("being_entered"), Some(2))
        );
        let void = |sheet: &str| json!({"do": "void_sheet", "sheet": sheet, "reason": "spoilt"});
        served.refused(Desk, void("P0001"), "still_referenced").await;
        served.done(Desk, void("P0002")).await;
        served.refused(Desk, void("P0002"), "already_done").await;
        let finish = |sheet: &str| json!({"do": "finish_sheet", "sheet": sheet});
        served.refused(Desk, finish("P0003"), "out_of_order").await;
        served.done(Desk, finish("P0001")).await;
        assert_eq!(sheet(&served, "P0001").await["status"], "entered");
        assert_eq!(numbered(&served, "sink", 1).await, "P0004", "what is void keeps its number");
        let lost = json!({"do": "record_step", "step": "cleaned", "scan": "C-2", "at": yesterday("08:30"),
                          "late": {"cause": "downtime", "line": 3}});
        assert_eq!(served.post(Desk, lost).await.0, 422, "a line without a sheet");
        served.sound().await;
        served.stop().await;
    }
}

/// Two people stand on the sheet, and one of them or a third enters it: the rule of two people is about them.
#[tokio::test(flavor = "multi_thread")]
async fn a_paper_load_is_released_by_the_two_people_of_its_sheet() {
    let served = Served::start(Kind::Embedded).await;
    furnished_yesterday(&served).await;
    for (code, name) in [("ann-1", "Ann Loader"), ("ben-1", "Ben Reader")] {
        let person = served.house.add_person(&served.site, Some(code), name, Desk, PASSWORD);
        person.await.expect("a person");
    }
    served.house.disable_person(&served.site, "ben-1").await.expect("somebody who left");
    served.done(Role::Admin, json!({"do": "set_policy", "two_people": true})).await;
    served
        .done(Desk, json!({"do": "pack_broken", "scan": "SET-1", "why": "wet", "at": yesterday("06:30")}))
        .await;
    served
        .done(Desk, json!({"do": "record_step", "step": "packed", "scan": "SET-1", "at": yesterday("06:40")}))
        .await;
    let number = numbered(&served, "steriliser", 1).await;
    let mut line = 0;
    let mut tell = |mut command: Value, clock: &str, by: &str| {
        line += 1;
        command["at"] = json!(yesterday(clock));
        command["late"] = late(&number, line, by);
        command
    };
    let start = json!({"do": "start_load", "load": "S-9", "machine": "steriliser-1", "programme": "p134", "scan": "SET-1"});
    let started = served.done(Desk, tell(start, "09:00", "ann-1")).await;
    assert_eq!(started["deviation"], json!([]), "{started}");
    let read = |second: &str| {
        json!({"do": "judge_load", "load": "S-9", "readings": {"min_c": "134.1", "max_c": "135.2", "hold_s": 200,
               "complete": true, "second_reader": second}})
    };
    served.refused(Desk, tell(read("ann-1"), "09:50", "ann-1"), "same_person").await;
    served.done(Desk, tell(read("ben-1"), "09:50", "ann-1")).await;
    let chemical =
        json!({"do": "record_indicator", "load": "S-9", "indicator": "chemical", "result": "pass"});
    served.done(Desk, tell(chemical, "09:55", "ann-1")).await;
    let release = json!({"do": "release_load", "load": "S-9", "dry": true});
    served.refused(Desk, tell(release.clone(), "10:00", "ann-1"), "same_person").await;
    served.done(Desk, tell(release, "10:00", "ben-1")).await;
    let (_, load) = served.get("loads/S-9").await;
    assert_eq!((&load["started_by"], &load["decided_by"]), (&json!("ann-1"), &json!("ben-1")), "{load}");
    assert_eq!(served.set("SET-1").await["status"], "ready");
    served.sound().await;
    served.stop().await;
}

/// A use that is told after its count was closed: what was out with it was opened, and no more.
#[tokio::test(flavor = "multi_thread")]
async fn a_use_told_after_the_count_says_what_was_only_opened() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnished_yesterday(&served).await;
        let plan = json!({"do": "plan_case", "case": "K-1", "start": yesterday("08:30"), "minutes": 60, "needs": ["adult"],
                          "at": yesterday("07:00")});
        served.done(Charge, plan).await;
        served
            .done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1", "at": yesterday("08:00")}))
            .await;
        served.done(Charge, json!({"do": "close_count", "case": "K-1", "at": yesterday("09:40")})).await;
        let uses = |asset: Value| asset["uses"].as_u64();
        assert_eq!(uses(served.asset("C-1").await), Some(1), "without a use told, all were used");
        let used = json!({"do": "use", "case": "K-1", "scan": "B-1", "at": yesterday("09:00"),
                          "late": {"cause": "forgotten"}});
        let told = served.done(Charge, used).await;
        assert_eq!(told["event"]["not_used"], json!(["C-1", "T-1"]), "{told}");
        let found = [uses(served.asset("B-1").await), uses(served.asset("C-1").await)];
        assert_eq!(found, [Some(1), Some(0)]);
        let (_, case) = served.get("cases/K-1").await;
        assert_eq!(
            (&case["used"], case["opened"].as_array().map(Vec::len)),
            (&json!(["B-1"]), Some(3)),
            "{case}"
        );
        // Taken back, the count takes them all for used again.
        served
            .done(Lead, json!({"do": "correct", "entry": told["entry"], "reason": "it was another day"}))
            .await;
        let found = [uses(served.asset("B-1").await), uses(served.asset("C-1").await)];
        assert_eq!(found, [Some(1), Some(1)]);
        served.sound().await;
        served.stop().await;
    }
}

/// What went back into the store as unopened, and was opened as the paper says, is held.
#[tokio::test(flavor = "multi_thread")]
async fn what_was_opened_as_the_paper_says_does_not_stay_ready() {
    let served = Served::start(Kind::Embedded).await;
    furnished_yesterday(&served).await;
    let plan = json!({"do": "plan_case", "case": "K-1", "start": yesterday("08:30"), "minutes": 60, "needs": ["adult"],
                      "at": yesterday("07:00")});
    served.done(Charge, plan).await;
    served
        .done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1", "at": yesterday("08:00")}))
        .await;
    let close = json!({"do": "close_count", "case": "K-1", "unopened": ["SET-1"], "at": yesterday("09:40")});
    served.done(Charge, close).await;
    assert_eq!(served.set("SET-1").await["status"], "ready");
    let number = numbered(&served, "theatre", 1).await;
    let open = json!({"do": "open", "case": "K-1", "scan": "T-1", "at": yesterday("08:45"), "late": late(&number, 1, "charge")});
    let told = served.done(Charge, open).await;
    assert_eq!(told["deviation"], json!(["out_of_order"]), "{told}");
    assert_eq!(served.set("SET-1").await["status"], "held", "opened is never stored as ready");
    served.sound().await;
    served.stop().await;
}

/// Sheets numbered, one void, one entered with a line; and a wrong scan that is reported and settled.
pub async fn every_kind(served: &Served) {
    let pages = json!([{"of": "other", "sheets": 2}]);
    let made = served.done(Lead, json!({"do": "print_sheets", "pages": pages})).await;
    let sheets = made["event"]["sheets"].as_array().expect("sheets").clone();
    let (one, two) = (&sheets[0]["sheet"], &sheets[1]["sheet"]);
    served.done(Desk, json!({"do": "void_sheet", "sheet": one, "reason": "lost"})).await;
    let step = json!({"do": "record_step", "step": "treated", "scan": "C-2", "at": yesterday("08:00"),
                      "late": {"cause": "downtime", "sheet": two, "line": 1, "done_by": "A. Nurse"}});
    let told = served.done(Desk, step).await;
    served.done(Desk, json!({"do": "finish_sheet", "sheet": two})).await;
    let report = json!({"do": "report_wrong_thing", "entry": told["entry"]});
    let report = served.done(Desk, report).await["made"].clone();
    let settle = json!({"do": "settle_wrong_thing", "report": report, "confirmed": false, "reason": "it was that one"});
    served.done(Lead, settle).await;
}

/// A person's browser without a script.
pub struct Visit {
    client: reqwest::Client,
    base: String,
    csrf: String,
}

impl Visit {
    pub async fn of(served: &Served, role: Role, code: &str) -> Visit {
        let name = format!("Person {code}");
        let person = served.house.add_person(&served.site, Some(code), &name, role, PASSWORD);
        person.await.expect("a person");
        let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
        let form = [("site", served.site.as_str()), ("person", code), ("password", PASSWORD)];
        let url = format!("{}/sign-in", served.base);
        let page =
            client.post(url).form(&form).send().await.expect("an answer").text().await.expect("a page");
        let csrf = hidden(&page, "csrf").to_string();
        Visit { client, base: served.base.clone(), csrf }
    }

    pub async fn get(&self, path: &str) -> String {
        whole(self.client.get(format!("{}{path}", self.base)).send().await.expect("an answer")).await
    }

    pub async fn send(&self, path: &str, fields: &[(&str, &str)]) -> String {
        let mut form = vec![("csrf", self.csrf.as_str())];
        form.extend(fields);
        let url = format!("{}{path}", self.base);
        whole(self.client.post(url).form(&form).send().await.expect("an answer")).await
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_entered_twice_is_told_and_nothing_typed_is_lost() {
    let served = Served::start(Kind::Embedded).await;
    furnished_yesterday(&served).await;
    let number = numbered(&served, "sink", 1).await;
    let day = yesterday("08:00").in_zone(chrono_tz::Europe::Berlin).format("%Y-%m-%d").to_string();
    let path = format!("/paper/{number}");
    let (ann, ben) = (Visit::of(&served, Desk, "ann-1").await, Visit::of(&served, Desk, "ben-1").await);
    let line = |line: &'static str, time: &'static str, what: &'static str, by: &'static str| {
        vec![("line", line), ("time", time), ("what", what), ("by", by), ("scan", "C-2")]
    };
    let with_day = |mut fields: Vec<(&'static str, &'static str)>| {
        fields.push(("note", "dull"));
        fields
    };
    let send = async |visit: &Visit, fields: Vec<(&'static str, &'static str)>| {
        let mut fields: Vec<(&str, &str)> = fields;
        fields.push(("day", &day));
        visit.send(&path, &fields).await
    };
    // What is wrong is told beside its field; what was typed stands there still.
    let page = send(&ann, with_day(line("1", "8:75", "re", "ann-1"))).await;
    assert!(page.contains("is no time of day") && page.contains("value=\"8:75\""), "{page}");
    assert!(page.contains("value=\"dull\"") && page.contains("value=\"C-2\""), "{page}");
    let page = send(&ann, line("1", "0815", "pre", "ann-1")).await;
    assert!(page.contains("Line 1 is entry") && page.contains("name=\"line\" value=\"2\""), "{page}");
    let page = send(&ann, line("2", "0820", "rec", "Nobody Known")).await;
    assert!(page.contains("Nobody called") && page.contains("kept sealed"), "{page}");
    // The same paper in other hands.
    let page = send(&ben, line("1", "0815", "pre", "ann-1")).await;
    assert!(page.contains("Line 1 is entered already, just so") && page.contains("by ann-1"), "{page}");
    let page = send(&ben, line("2", "0825", "rec", "ann-1")).await;
    assert!(
        page.contains("Line 2 is entered already, and differs") && page.contains("value=\"0825\""),
        "{page}"
    );
    let told = sheet(&served, &number).await;
    assert_eq!(told["entered"].as_array().map(Vec::len), Some(2), "{told}");
    // A refused line keeps what was typed too.
    let mut unknown = line("3", "0830", "clea", "ann-1");
    unknown.retain(|(field, _)| *field != "scan");
    unknown.push(("scan", "NOPE"));
    let page = send(&ann, unknown).await;
    assert!(page.contains("NOPE") && page.contains("name=\"line\" value=\"3\""), "{page}");
    let page = ann.get("/paper?sheet=7").await;
    assert!(page.contains("No sheet has the number"), "{page}");
    served.sound().await;
    served.stop().await;
}

/// Facts about what was retired since, or was not there yet.
#[tokio::test(flavor = "multi_thread")]
async fn a_late_fact_is_taken_of_what_is_retired_or_was_not_there_yet() {
    let served = Served::start(Kind::Embedded).await;
    furnished_yesterday(&served).await;
    let number = numbered(&served, "sink", 1).await;
    served.done(Biomed, json!({"do": "retire", "asset": "C-2", "cause": "worn", "failure": false})).await;
    let step = |line: u32, clock: &str| json!({"do": "record_step", "step": "treated", "scan": "C-2", "at": yesterday(clock), "late": late(&number, line, "desk")});
    let told = served.done(Desk, step(1, "08:00")).await;
    assert_eq!(
        (told["event"]["parts"].as_array().map(Vec::len), &told["event"]["noted"][0]["asset"]),
        (Some(0), &json!("C-2"))
    );
    let told = served.done(Desk, step(2, "00:10")).await;
    assert_eq!(
        told["event"]["noted"],
        json!([{"asset": "C-2", "turn": 1}]),
        "before it was there it is of its first turn"
    );
    assert_eq!(served.asset("C-2").await["standing"], "retired");
    served.sound().await;
    served.stop().await;
}

/// The roles that look, and what they find.
#[tokio::test(flavor = "multi_thread")]
async fn the_pages_of_paper_are_there_for_those_who_need_them() {
    let served = Served::start(Kind::Embedded).await;
    furnished_yesterday(&served).await;
    numbered(&served, "theatre", 1).await;
    for (role, code) in [(Lead, "a"), (Charge, "b"), (Infection, "c"), (Role::Auditor, "d"), (Desk, "e")] {
        let visit = Visit::of(&served, role, code).await;
        let page = visit.get("/paper").await;
        assert!(page.contains("1 numbered sheet is out"), "{page}");
        let page = visit.get("/paper/pack?with=P0001").await;
        assert!(page.contains("Sheet P0001") && page.contains("SET-1"), "{page}");
        let page = visit.get("/paper/P0001").await;
        assert_eq!(page.contains("Enter this line"), matches!(role, Lead | Charge | Desk), "{}", role.name());
    }
    served.stop().await;
}
