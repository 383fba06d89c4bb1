//! The door for commands: what is no command is told with the place in it, and an array is answered in order.

use std::io::{Read, Write};

use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::served::{BOTH, Served};

impl Served {
    /// Posts bytes as they are; answers the status and the body.
    async fn post_raw(&self, body: impl Into<reqwest::Body>) -> (u16, Value) {
        let url = format!("{}/api/v1/{}/commands", self.base, self.site);
        let asked = self.client.post(url).bearer_auth(self.token(Role::Lead)).body(body);
        let answer = asked.send().await.expect("an answer");
        (answer.status().as_u16(), answer.json().await.expect("JSON"))
    }

    /// A command that is malformed at these places, in order.
    async fn malformed(&self, role: Role, command: Value, pointers: &[&str]) -> Value {
        let (status, body) = self.post(role, command.clone()).await;
        assert_eq!((status, body["code"].as_str()), (422, Some("malformed")), "{command}: {body}");
        let errors = body["errors"].as_array().expect("errors");
        let found: Vec<&str> =
            errors.iter().map(|error| error["pointer"].as_str().expect("a pointer")).collect();
        assert_eq!(found, pointers, "{command}: {body}");
        assert!(
            errors.iter().all(|error| error["detail"].as_str().is_some_and(|it| !it.is_empty())),
            "{body}"
        );
        body
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_command_is_told_with_its_place() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        for body in ["", "{", "nonsense", "{\"do\": \"put_away\"", "[1,", "\u{feff}{}"] {
            let (status, body) = served.post_raw(body).await;
            assert_eq!((status, body["code"].as_str()), (422, Some("malformed")), "{body}");
            assert_eq!(body["errors"][0]["pointer"], "");
        }
        let (status, _) = served.post_raw(vec![b'{', b'"', 0xff, b'"', b':', b'1', b'}']).await;
        assert_eq!(status, 422, "bytes that are no UTF-8");
        let put = |more: Value| {
            let mut all = json!({"do": "put_away", "scan": ["B-1"], "location": "shelf 1"});
            all.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
            all
        };
        let cases = [
            (json!(7), vec![""]),
            (json!("put_away"), vec![""]),
            (json!(null), vec![""]),
            (json!({}), vec!["/do"]),
            (json!({"do": 7}), vec!["/do"]),
            (json!({"do": "put_awry"}), vec!["/do"]),
            (json!({"do": "put_away", "scan": ["B-1"]}), vec!["/location"]),
            (put(json!({"colour": "red"})), vec!["/colour"]),
            (put(json!({"a/b~c": 1})), vec!["/a~1b~0c"]),
            (put(json!({"location": 7})), vec!["/location"]),
            (put(json!({"location": ""})), vec!["/location"]),
            (put(json!({"location": "x".repeat(201)})), vec!["/location"]),
            (put(json!({"scan": []})), vec!["/scan"]),
            (put(json!({"scan": 7})), vec!["/scan"]),
            (put(json!({"key": ""})), vec!["/key"]),
            (put(json!({"key": "k".repeat(65)})), vec!["/key"]),
            (put(json!({"at": "2026-03-02T07:15:00"})), vec!["/at"]),
            (put(json!({"at": 7})), vec!["/at"]),
            (put(json!({"note": "n".repeat(4_001)})), vec!["/note"]),
            (put(json!({"late": {"cause": "lazy"}})), vec!["/late/cause"]),
            (put(json!({"late": {"cause": "forgotten", "who": "me"}})), vec!["/late/who"]),
            (put(json!({"override": {"code": "out_of_order"}})), vec!["/override/reason"]),
            (put(json!({"override": {"code": "because", "reason": "so"}})), vec!["/override/code"]),
            (put(json!({"at": "soon", "location": 7})), vec!["/at", "/location"]),
        ];
        for (command, pointers) in cases {
            served.malformed(Role::Lead, command, &pointers).await;
        }
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn fields_that_need_or_exclude_each_other_are_told() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let step = |step: &str| json!({"step": step});
        let route = |steps: Value| json!({"do": "define_route", "route": "r", "steps": steps});
        let cases = [
            (Role::Admin, route(json!([])), "/steps"),
            (Role::Admin, route(json!([step("cleaned"), step("cleaned")])), "/steps/1/step"),
            (Role::Admin, route(json!([step("cleaned"), step("polished")])), "/steps/1/step"),
            (Role::Admin, route(json!([{"step": "cleaned", "method": "steam"}])), "/steps/0/method"),
            (Role::Admin, route(json!([step("sterilised"), step("packed")])), "/steps/0/step"),
            (Role::Lead, json!({"do": "hold", "kind": "quality", "reason": "r"}), ""),
            (
                Role::Lead,
                json!({"do": "hold", "kind": "quality", "reason": "r", "scan": "B-1", "load": "l"}),
                "",
            ),
            (Role::Lead, json!({"do": "judge_load", "load": "l"}), "/record"),
            (Role::Lead, json!({"do": "inspect", "scan": "B-1"}), "/passed"),
            (Role::Lead, json!({"do": "add_asset", "model": "cap", "asset": "not an id"}), "/asset"),
            (Role::Lead, json!({"do": "add_asset", "model": "cap", "prior_cycles": -1}), "/prior_cycles"),
            (Role::Lead, json!({"do": "add_asset", "model": "cap", "prior_cycles": 1.5}), "/prior_cycles"),
            (Role::Admin, json!({"do": "set_policy"}), ""),
            (Role::Admin, json!({"do": "set_policy", "test_day_starts": "25:00"}), "/test_day_starts"),
        ];
        for (role, command, pointer) in cases {
            served.malformed(role, command, &[pointer]).await;
        }
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn text_is_normalised_and_holds_no_null() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let put = json!({"do": "put_away", "scan": ["B-1"], "location": "a\u{0}b"});
        served.malformed(Role::Desk, put, &["/location"]).await;
        let named = json!({"do": "put_away", "scan": ["B-1", "C\u{0}"], "location": "a"});
        served.malformed(Role::Desk, named, &["/scan/1"]).await;
        let record = json!({"do": "judge_load", "load": "l", "record": "time_s\u{0}"});
        served.malformed(Role::Desk, record, &["/record"]).await;
        let apart = json!({"do": "add_asset", "asset": "E-1", "mark": "e\u{301}-7", "model": "cap"});
        let added = served.done(Role::Lead, apart).await;
        assert_eq!(added["event"]["mark"], "\u{e9}-7");
        for scan in ["e\u{301}-7", "\u{e9}-7"] {
            let put = json!({"do": "put_away", "scan": scan, "location": "shelf"});
            assert_eq!(served.done(Role::Desk, put).await["event"]["parts"][0]["asset"], "E-1");
        }
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_array_is_answered_in_order_each_by_itself() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let commands: Vec<Value> = (0..500)
            .map(|i| match i % 5 {
                0 => json!({"do": "add_asset", "asset": format!("N-{i}"), "model": "cap"}),
                // What the one before added is there, and its name is taken.
                1 => json!({"do": "put_away", "scan": [format!("N-{}", i - 1)], "location": "box"}),
                2 => json!({"do": "add_asset", "asset": format!("N-{}", i - 2), "model": "cap"}),
                3 => json!({"do": "put_away", "scan": ["B-1"], "colour": "red"}),
                _ => json!({"do": "retire", "asset": "B-1", "cause": "worn", "failure": true}),
            })
            .collect();
        let (status, body) = served.post(Role::Lead, Value::Array(commands)).await;
        assert_eq!(status, 200);
        let results = body["results"].as_array().expect("results");
        let wanted = [
            (201, None),
            (201, None),
            (409, Some("name_taken")),
            (422, Some("malformed")),
            (403, Some("not_your_role")),
        ];
        assert_eq!(results.len(), 500);
        let mut last = 0;
        for (i, result) in results.iter().enumerate() {
            let (status, code) = wanted[i % 5];
            assert_eq!(
                (result["status"].as_u64(), result["code"].as_str()),
                (Some(status), code),
                "{i}: {result}"
            );
            if status == 201 {
                let entry = result["entry"].as_u64().expect("an entry");
                assert!(entry > last, "{i}");
                last = entry;
            }
        }
        assert_eq!(results[2]["also"], json!([]));
        assert_eq!(results[3]["errors"][0]["pointer"], "/colour");
        let many: Vec<Value> = vec![json!({"do": "put_away", "scan": ["B-1"], "location": "box"}); 501];
        let (status, body) = served.post(Role::Lead, Value::Array(many)).await;
        assert_eq!((status, body["code"].as_str()), (422, Some("malformed")));
        assert_eq!(served.asset("B-1").await["location"], Value::Null, "nothing of it was done");
        assert_eq!(served.post(Role::Lead, json!([])).await, (200, json!({"results": []})));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_body_over_the_limit_is_told_the_limit() {
    let served = Served::start(BOTH[0]).await;
    let address = served.base.trim_start_matches("http://").to_string();
    let limit = fettle::web::api::command::BODY_MOST;
    let head = format!(
        "POST /api/v1/{}/commands HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {}\r\nContent-Length: {}\r\n\
         Connection: close\r\n\r\n",
        served.site,
        served.token(Role::Desk),
        limit + 1
    );
    let told = tokio::task::spawn_blocking(move || {
        let mut stream = std::net::TcpStream::connect(address).expect("a connection");
        stream.write_all(head.as_bytes()).expect("a head");
        let mut told = String::new();
        stream.read_to_string(&mut told).expect("an answer");
        told
    })
    .await
    .expect("an answer");
    assert!(told.starts_with("HTTP/1.1 413 "), "{told}");
    assert!(told.contains("\"code\":\"too_large\"") && told.contains(&limit.to_string()), "{told}");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_that_is_none_is_told_with_its_line() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.done(Role::Desk, json!({"do": "record_step", "step": "received", "scan": "SET-1"})).await;
        for step in ["cleaned", "dried"] {
            served.done(Role::Desk, json!({"do": "record_step", "step": step, "scan": "SET-1"})).await;
        }
        let load = served.load("washer-1", "wash", "SET-1").await;
        let judge = |record: &str| json!({"do": "judge_load", "load": load, "record": record});
        for (record, line) in [
            ("", ""),
            ("not a record at all", ""),
            ("time_s,temp_c\n0,20\n5,warm\n10,30\n", "line 3"),
            ("time_s,temp_c\n0,20\n5,21\n4,30\n", "line 4"),
            ("time_s,temp_c\n0,20\n5\n", "line 3"),
        ] {
            let body = served.malformed(Role::Desk, judge(record), &["/record"]).await;
            let detail = body["errors"][0]["detail"].as_str().expect("a detail").to_lowercase();
            assert!(detail.contains(line), "{record:?}: {detail}");
        }
        let (_, told) = served.get(&format!("loads/{load}")).await;
        assert_eq!(told["status"], "running", "{told}");
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_event_over_the_limit_is_malformed_and_harms_no_neighbour() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let model = "m".repeat(64);
        let define =
            json!({"do": "define_model", "model": model, "family": "cap", "name": "Cap", "route": "metal"});
        served.done(Role::Biomed, define).await;
        let sheet = |models: usize| {
            json!({"do": "define_count_sheet", "count_sheet": format!("sheet-{models}"), "name": "Long", "lines":
                   [{"line": "cap", "models": vec![model.as_str(); models], "quantity": 1, "essential": true}]})
        };
        // 64 letters, two quotation marks and a comma each: the limit of 4 MiB lies between these two.
        let (fits, too_large) = (sheet(62_000), sheet(63_000));
        served.malformed(Role::Lead, too_large.clone(), &[""]).await;
        let (status, body) = served.post(Role::Lead, json!([sheet(1), too_large, sheet(2), fits])).await;
        let results = body["results"].as_array().expect("results");
        let statuses: Vec<Option<u64>> = results.iter().map(|result| result["status"].as_u64()).collect();
        assert_eq!((status, statuses), (200, [201, 422, 201, 201].map(Some).to_vec()));
        let entry = |n: usize| results[n]["entry"].as_u64().expect("an entry");
        assert_eq!((entry(2), entry(3)), (entry(0) + 1, entry(0) + 2), "it leaves no gap");
        served.sound().await;
        served.stop().await;
    }
}
