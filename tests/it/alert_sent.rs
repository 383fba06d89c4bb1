//! Alerts on their way to another program: what it gets, how often, and where nothing goes.

use std::collections::VecDeque;
use std::process::Command;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use fettle::app::alert_sending::next_try;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{self, Desk, Lead};
use fettle::domain::time::{MINUTE, Time};
use fettle::web::webhook::{Reach, deliver};
use serde_json::{Value, json};
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpListener;
use tokio_rustls::rustls::RootCertStore;

use super::served::{BOTH, Kind, Served};

/// A request as it came.
#[derive(Clone, Debug, Default)]
pub struct Got {
    pub line: String,
    pub head: Vec<(String, String)>,
    pub body: String,
}

impl Got {
    pub fn named(&self, name: &str) -> &str {
        self.head.iter().find(|(own, _)| own == name).map_or("", |(_, value)| value)
    }

    /// Reads a request from its connection.
    pub async fn read(stream: impl AsyncRead + Unpin) -> Got {
        let (mut stream, mut got) = (BufReader::new(stream), Got::default());
        stream.read_line(&mut got.line).await.expect("a request");
        loop {
            let mut line = String::new();
            stream.read_line(&mut line).await.expect("a line");
            let Some((name, value)) = line.trim_end().split_once(": ") else { break };
            got.head.push((name.to_lowercase(), value.into()));
        }
        let mut body = vec![0; got.named("content-length").parse().expect("a length")];
        stream.read_exact(&mut body).await.expect("a body");
        got.body = String::from_utf8(body).expect("text");
        got
    }
}

/// Another program, which answers as it is told; at the end of the list it takes everything.
struct Receiver {
    address: String,
    got: Arc<Mutex<Vec<Got>>>,
    task: tokio::task::JoinHandle<()>,
}

/// What a receiver says; `None` is silence.
type Answer = Option<&'static str>;

impl Receiver {
    async fn start(answers: &[Answer]) -> Receiver {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}/hook?to=desk", listener.local_addr().expect("an address"));
        let got: Arc<Mutex<Vec<Got>>> = Arc::default();
        let (kept, mut answers) = (got.clone(), VecDeque::from(answers.to_vec()));
        let task = tokio::spawn(async move {
            let mut silent = Vec::new();
            loop {
                let (mut stream, _) = listener.accept().await.expect("a connection");
                let it = Got::read(&mut stream).await;
                kept.lock().expect("a list").push(it);
                match answers.pop_front().unwrap_or(Some("204 No Content")) {
                    Some(answer) => {
                        let head = format!("HTTP/1.1 {answer}\r\nContent-Length: 0\r\n\r\n");
                        stream.write_all(head.as_bytes()).await.expect("an answer");
                    }
                    None => silent.push(stream),
                }
            }
        });
        Receiver { address, got, task }
    }

    fn all(&self) -> Vec<Got> {
        self.got.lock().expect("a list").clone()
    }

    /// Waits for so many requests.
    async fn gets(&self, many: usize) -> Vec<Got> {
        until("a request", || async { self.all().len() >= many }).await;
        self.all()
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        self.task.abort();
    }
}

pub async fn until<F: Future<Output = bool>>(what: &str, is: impl Fn() -> F) {
    let begun = Instant::now();
    while !is().await {
        assert!(begun.elapsed() < Duration::from_secs(30), "waited in vain for {what}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

pub fn here() -> Arc<Reach> {
    Arc::new(Reach::new(Vec::new(), true, RootCertStore::empty()).expect("a way"))
}

/// A house that tells an address of what is missing; the secret.
pub async fn telling(served: &Served, address: &str) -> String {
    let rule = json!({"do": "set_alert", "rule": "R", "tells": ["lead", "charge"], "about": "missing", "webhook": address});
    served.done(Lead, rule).await;
    let url = format!("{}/api/v1/{}/alert-rules/R/secret", served.base, served.site);
    let answer = served.client.post(url).bearer_auth(served.token(Lead)).send().await.expect("an answer");
    assert_eq!(answer.status(), 200);
    let body: Value = answer.json().await.expect("JSON");
    body["secret"].as_str().expect("a secret").to_string()
}

pub async fn tell(served: &Served) -> usize {
    let state = served.house.state(&Id::new(&served.site).unwrap()).await.unwrap().unwrap();
    served.house.tell(state, served.house.clock.now()).await.unwrap()
}

pub async fn missing(served: &Served) {
    served.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1"})).await;
    assert_eq!(tell(served).await, 1);
}

/// The messages as the API tells them, in the order in which they were made.
pub async fn log(served: &Served) -> Vec<Value> {
    let (status, body) = served.get("alert-deliveries").await;
    assert_eq!(status, 200, "{body}");
    let mut all = body["items"].as_array().unwrap().clone();
    all.sort_by_key(|it| it["from"].as_str().unwrap().to_string());
    all
}

async fn stands(served: &Served, status: &str, tries: usize) -> Value {
    let is = |it: &Value| it["status"] == status && it["attempts"].as_array().unwrap().len() == tries;
    until(&format!("{status} after {tries}"), || async { log(served).await.first().is_some_and(is) }).await;
    log(served).await.remove(0)
}

/// What the published JSON Schema of CloudEvents 1.0 asks of an event (CNCF, CloudEvents 1.0.2, JSON event format and its
/// schema; from memory), with the rule of its section 3.1 that names of attributes are small letters and digits.
fn is_a_cloud_event(event: &Value) {
    let text = json!({"type": "string", "minLength": 1});
    let schema = json!({
        "type": "object",
        "properties": {
            "id": text, "source": {"type": "string", "format": "uri-reference", "minLength": 1}, "specversion": {"const": "1.0"},
            "type": text, "datacontenttype": {"type": ["string", "null"], "minLength": 1},
            "dataschema": {"type": ["string", "null"], "format": "uri", "minLength": 1}, "subject": {"type": ["string", "null"], "minLength": 1},
            "time": {"type": ["string", "null"], "format": "date-time", "minLength": 1},
            "data": {"type": ["object", "string", "number", "array", "boolean", "null"]},
        },
        "required": ["id", "source", "specversion", "type"],
        "propertyNames": {"pattern": "^[a-z0-9]{1,20}$"},
    });
    let validator = jsonschema::options().should_validate_formats(true).build(&schema).expect("a schema");
    let wrong: Vec<String> = validator.iter_errors(event).map(|error| error.to_string()).collect();
    assert!(wrong.is_empty(), "{wrong:?} of {event}");
    assert!(!validator.is_valid(&json!({"id": "1", "source": "/", "type": "t"})));
    assert!(
        !validator
            .is_valid(&json!({"id": "1", "source": "/", "type": "t", "specversion": "1.0", "time": "noon"}))
    );
}

/// The signature as Python's standard library makes it.
fn signed_elsewhere(secret: &str, got: &Got) -> String {
    let python = std::env::var("FETTLE_TEST_PYTHON")
        .expect("FETTLE_TEST_PYTHON names the test run's Python; use tests/run");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("message.json");
    let (id, timestamp) = (got.named("webhook-id"), got.named("webhook-timestamp"));
    std::fs::write(
        &file,
        json!({"secret": secret, "id": id, "timestamp": timestamp, "body": got.body}).to_string(),
    )
    .unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/webhook.py");
    let output = Command::new(python).arg(script).arg(file).output().expect("Python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap().trim().to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_is_a_cloud_event_signed_and_sent_once() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let other = Served::on(served.url.clone(), None, Some(&served)).await;
        let receiver = Receiver::start(&[]).await;
        let secret = telling(&served, &receiver.address).await;
        missing(&served).await;
        let sending = [&served, &other].map(|it| tokio::spawn(deliver(it.house.clone(), here())));
        stands(&served, "done", 1).await;
        let all = receiver.gets(1).await;
        assert_eq!(all.len(), 1, "two servers send once");
        let (got, event) = (&all[0], serde_json::from_str::<Value>(&all[0].body).expect("JSON"));
        assert_eq!(got.line.trim_end(), "POST /hook?to=desk HTTP/1.1");
        assert_eq!(got.named("content-type"), "application/cloudevents+json");
        is_a_cloud_event(&event);
        assert_eq!(
            (&event["type"], &event["subject"]),
            (&json!("fettle.alert.raised"), &json!("assets/C-1"))
        );
        assert_eq!(event["source"], format!("/fettle/{}", served.site));
        assert_eq!(event["id"], got.named("webhook-id"));
        assert_eq!(event["data"]["tells"], json!(["lead", "charge"]));
        assert!(event["data"]["sentence"].as_str().unwrap().contains("cap C-1"), "{event}");
        let at_s: i64 = got.named("webhook-timestamp").parse().expect("a second");
        assert!((at_s - served.house.clock.now().0 / 1_000_000).abs() < 60);
        assert_eq!(got.named("webhook-signature"), signed_elsewhere(&secret, got));
        // Its end is told when it has lasted ten minutes, and not before.
        served.done(Desk, json!({"do": "found", "scan": "C-1"})).await;
        let ended = served.house.clock.now();
        assert_eq!(tell(&served).await, 1);
        tokio::time::sleep(Duration::from_secs(2)).await;
        assert_eq!(receiver.all().len(), 1);
        [&served, &other].iter().for_each(|it| it.house.clock.set(ended.plus_minutes(11)));
        let all = receiver.gets(2).await;
        let event: Value = serde_json::from_str(&all[1].body).expect("JSON");
        is_a_cloud_event(&event);
        assert_eq!(event["type"], "fettle.alert.ended");
        assert!(
            event["data"]["ended_at"].is_string() && event["time"] == event["data"]["ended_at"],
            "{event}"
        );
        sending.iter().for_each(|it| it.abort());
        other.stop().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_not_taken_is_tried_again_and_given_up_after_a_day() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let receiver =
        Receiver::start(&[Some("500 Internal Server Error"), None, Some("302 Found\r\nLocation: /other")])
            .await;
    telling(&served, &receiver.address).await;
    missing(&served).await;
    let begun = served.house.clock.now();
    let sending = tokio::spawn(deliver(served.house.clone(), here()));
    let told = stands(&served, "waits", 1).await;
    assert_eq!(told["attempts"][0]["told"], "Answered 500.");
    let due = Time::parse(told["due_at"].as_str().unwrap()).unwrap();
    assert!((3..=7).contains(&due.since_s(begun)), "about five seconds later: {told}");
    served.house.clock.set(begun.plus_s(10));
    // No answer at all ends a try after ten seconds.
    let told = stands(&served, "waits", 2).await;
    assert_eq!(told["attempts"][1]["told"], "No answer within 10 s.");
    served.house.clock.set(begun.plus_minutes(2));
    let told = stands(&served, "waits", 3).await;
    assert!(
        told["attempts"][2]["told"]
            .as_str()
            .unwrap()
            .contains("302, which leads elsewhere and is not followed")
    );
    let all = receiver.all();
    assert!(all.len() == 3 && all.iter().all(|it| it.line.starts_with("POST /hook?to=desk ")), "{all:?}");
    // The same message each time, signed anew.
    assert!(
        all.iter().all(|it| it.named("webhook-id") == all[0].named("webhook-id") && it.body == all[0].body)
    );
    assert_ne!(all[0].named("webhook-signature"), all[2].named("webhook-signature"));
    // The receiver is gone; after a day nobody tries any more, and it is said.
    drop(receiver);
    served.house.clock.set(begun.plus_minutes(24 * 60 - 1));
    let told = stands(&served, "given_up", 4).await;
    let last = told["attempts"][3]["told"].as_str().unwrap();
    assert!(
        last.starts_with("Nobody answers at 127.0.0.1:") && last.ends_with("Given up after a day."),
        "{told}"
    );
    sending.abort();
    served.stop().await;
}

#[test]
fn pauses_grow_to_an_hour_and_end_after_a_day() {
    let (made, mut now, mut tries) = (Time(0), Time(0), 0);
    let mut pauses = Vec::new();
    loop {
        tries += 1;
        let Some(next) = next_try(tries, made, now, 128) else { break };
        pauses.push(next.since_s(now));
        now = next;
    }
    assert_eq!(pauses[..5].iter().map(|it| it / 5 * 5).collect::<Vec<_>>(), [5, 30, 120, 600, 3600]);
    assert!(now.0 <= 24 * 60 * MINUTE && now.0 > 22 * 60 * MINUTE && pauses.len() > 20, "{pauses:?}");
    // A fifth sooner or later, never at once and never beyond.
    let at = |chance: u8| next_try(3, made, made, chance).unwrap().since_s(made);
    assert_eq!((at(0), at(255)), (96, 144));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_address_that_wants_no_more_is_left_in_peace_until_the_rule_is_set_anew() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let receiver = Receiver::start(&[Some("410 Gone")]).await;
    telling(&served, &receiver.address).await;
    missing(&served).await;
    let sending = tokio::spawn(deliver(served.house.clone(), here()));
    stands(&served, "gone", 1).await;
    let rule = async || served.get("alert-rules").await.1["items"][0].clone();
    assert_eq!(rule().await["gone"], true);
    served.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "B-1"})).await;
    assert_eq!(tell(&served).await, 1);
    assert_eq!(log(&served).await.len(), 1, "nothing more is made for it");
    let again = json!({"do": "set_alert", "rule": "R", "tells": ["lead"], "about": "missing", "webhook": receiver.address});
    served.done(Lead, again).await;
    assert_eq!(rule().await["gone"], false);
    served.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "T-1"})).await;
    assert_eq!(tell(&served).await, 1);
    assert!(receiver.gets(2).await[1].body.contains("T-1"));
    sending.abort();
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_goes_where_the_server_does_not_allow_it() {
    let receiver = Receiver::start(&[]).await;
    let port = receiver.address.split([':', '/']).nth(4).unwrap().to_string();
    let closed = Arc::new(Reach::new(Vec::new(), false, RootCertStore::empty()).unwrap());
    for (address, reach, why) in [
        (receiver.address.clone(), closed.clone(), "http is not allowed by this server"),
        (
            format!("https://127.0.0.1:{port}/"),
            closed.clone(),
            "127.0.0.1 is an address of the house's own networks",
        ),
        // The name is looked up, and judged by where it leads.
        (format!("https://localhost:{port}/"), closed.clone(), "is an address of the house's own networks"),
        (format!("https://[::ffff:127.0.0.1]:{port}/"), closed.clone(), "::ffff:127.0.0.1 is an address"),
        ("https://10.0.0.1/".into(), here(), "10.0.0.1 is an address"),
        ("https://169.254.169.254/".into(), here(), "169.254.169.254 is an address"),
        ("https://224.0.0.1/".into(), closed, "224.0.0.1 is an address"),
    ] {
        let served = Served::start(Kind::Embedded).await;
        served.furnish().await;
        telling(&served, &address).await;
        missing(&served).await;
        let sending = tokio::spawn(deliver(served.house.clone(), reach));
        let told = stands(&served, "waits", 1).await;
        assert!(told["attempts"][0]["told"].as_str().unwrap().contains(why), "{address}: {told}");
        sending.abort();
        served.stop().await;
    }
    assert!(receiver.all().is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_not_delivered_goes_on_at_another_server() {
    let served = Served::start(Kind::Server).await;
    served.furnish().await;
    let receiver = Receiver::start(&[None]).await;
    telling(&served, &receiver.address).await;
    missing(&served).await;
    let begun = served.house.clock.now();
    // The first server ends in the middle of its try.
    let sending = tokio::spawn(deliver(served.house.clone(), here()));
    receiver.gets(1).await;
    sending.abort();
    let other = Served::on(served.url.clone(), None, Some(&served)).await;
    let sending = tokio::spawn(deliver(other.house.clone(), here()));
    tokio::time::sleep(Duration::from_secs(2)).await;
    assert_eq!(receiver.all().len(), 1, "it is not taken from one who may be at it still");
    other.house.clock.set(begun.plus_s(90));
    let all = receiver.gets(2).await;
    assert_eq!(all[0].named("webhook-id"), all[1].named("webhook-id"));
    until("its end", || async { log(&served).await[0]["status"] == "done" }).await;
    // A rule without an address has nothing more to send.
    served.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "B-1"})).await;
    sending.abort();
    assert_eq!(tell(&other).await, 1);
    served
        .done(Role::Admin, json!({"do": "set_alert", "rule": "R", "tells": ["lead"], "about": "missing"}))
        .await;
    let sending = tokio::spawn(deliver(other.house.clone(), here()));
    until("its end", || async { log(&served).await.iter().any(|it| it["status"] == "dropped") }).await;
    assert_eq!(receiver.all().len(), 2);
    sending.abort();
    other.stop().await;
    served.stop().await;
}
