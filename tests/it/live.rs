//! Boards that renew themselves: what is recorded anywhere reaches every open board, as it is rendered once for all.

use std::time::Duration;

use fettle::app::house::House;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{self, Admin, Charge, Desk, Lead};
use fettle::storage::Db;
use fettle::storage::notices::Notices;
use reqwest::header;
use serde_json::{Value, json};

use super::own::Own;
use super::served::{BOTH, Kind, Served, fresh_site, postgres};

/// An event as it came.
#[derive(Debug, Default, PartialEq)]
struct Told {
    name: String,
    id: String,
    data: String,
}

/// One reader of a stream.
struct Reader {
    answer: reqwest::Response,
    rest: String,
}

impl Reader {
    async fn of(asked: reqwest::RequestBuilder) -> Reader {
        let answer = asked.send().await.expect("an answer");
        assert_eq!(answer.status(), 200);
        assert_eq!(answer.headers()[header::CONTENT_TYPE], "text/event-stream");
        assert_eq!(answer.headers()["x-accel-buffering"], "no");
        Reader { answer, rest: String::new() }
    }

    async fn api(served: &Served, role: Role, query: &str) -> Reader {
        let url = format!("{}/api/v1/{}/board/live{query}", served.base, served.site);
        Reader::of(served.client.get(url).bearer_auth(served.token(role))).await
    }

    /// The next event; `None` after the last.
    async fn next(&mut self) -> Option<Told> {
        loop {
            if let Some((event, rest)) = self.rest.split_once("\n\n") {
                let mut told = Told::default();
                let mut data = Vec::new();
                for line in event.lines() {
                    match line.split_once(": ").unwrap_or((line, "")) {
                        ("event", name) => told.name = name.into(),
                        ("id", id) => told.id = id.into(),
                        ("data", line) => data.push(line.to_string()),
                        _ => {}
                    }
                }
                told.data = data.join("\n");
                self.rest = rest.to_string();
                return Some(told);
            }
            let more = tokio::time::timeout(Duration::from_secs(60), self.answer.chunk()).await;
            let chunk = more.expect("something within a minute").ok().flatten()?;
            self.rest += std::str::from_utf8(&chunk).expect("text");
        }
    }

    /// The next event of a name.
    async fn told(&mut self, name: &str) -> Told {
        loop {
            let told = self.next().await.unwrap_or_else(|| panic!("the stream ended before \"{name}\""));
            if told.name == name {
                return told;
            }
        }
    }

    /// The board as it is from an entry on.
    async fn board_of(&mut self, entry: u64) -> Told {
        loop {
            let told = self.told("board").await;
            if told.id.parse::<u64>().expect("a place in the ledger") >= entry {
                return told;
            }
        }
    }
}

fn entry(body: &Value) -> u64 {
    body["entry"].as_u64().expect("an entry")
}

/// Signed in through the door: the cookie.
async fn cookie(served: &Served, role: Role) -> String {
    let code = served.house.add_person(&served.site, None, "Ada", role, "correct horse battery").await;
    let code = code.expect("a person");
    let secret = served.house.sign_in(&served.site, &code, "correct horse battery").await;
    format!("fettle_session={}", secret.expect("an answer").expect("a session"))
}

#[tokio::test(flavor = "multi_thread")]
async fn what_one_server_writes_reaches_the_boards_of_another() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let other = Served::on(served.url.clone(), None, Some(&served)).await;
        let mut near = Reader::api(&served, Charge, "").await;
        let mut far = Reader::api(&other, Desk, "").await;
        for reader in [&mut near, &mut far] {
            let first = reader.next().await.expect("the board as it is");
            assert_eq!(first.name, "board");
            let board: Value = serde_json::from_str(&first.data).expect("JSON");
            assert_eq!(board["sets"][0]["set"], "SET-1");
            assert_eq!(reader.next().await.expect("a beat").name, "current");
        }
        let done = served.done(Desk, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
        for reader in [&mut near, &mut far] {
            let told = reader.board_of(entry(&done)).await;
            assert!(told.data.contains("pre-cleaned at point of use"), "{}", told.data);
        }
        // Cut off, and back: whatever its browser heard last, it is sent the board of now, and once.
        drop(far);
        let done = served.done(Desk, json!({"do": "record_step", "step": "received", "scan": "SET-1"})).await;
        for last in ["", "1", "999999", "never"] {
            let url = format!("{}/api/v1/{}/board/live?limit=1", other.base, other.site);
            let asked = other.client.get(url).bearer_auth(other.token(Desk)).header("Last-Event-ID", last);
            let mut back = Reader::of(asked).await;
            let told = back.next().await.expect("the board");
            assert_eq!((told.name.as_str(), told.id.parse()), ("board", Ok(entry(&done))), "{last}");
            assert_eq!(back.next().await, None, "as many as were wanted");
        }
        other.stop().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hundred_boards_are_rendered_once() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let (app, base) = served.beside().await;
    let cookie = cookie(&served, Charge).await;
    let open = async || {
        let url = format!("{base}/board/live");
        Reader::of(served.client.get(url).header(header::COOKIE, &cookie)).await
    };
    let mut all = futures_util::future::join_all((0..100).map(|_| open())).await;
    let mut first = Vec::new();
    for reader in &mut all {
        first.push(reader.told("board").await.data);
    }
    assert!(first[0].contains("id=\"live\"") && first.iter().all(|board| *board == first[0]));
    let before = app.lives.rendered();
    assert!((1..=2).contains(&before), "{before}: anew where the forecast came after its patience");
    let done = served.done(Desk, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
    for reader in &mut all {
        assert!(reader.board_of(entry(&done)).await.data.contains("pre-cleaned at point of use"));
    }
    let after = app.lives.rendered();
    assert!((1..=3).contains(&(after - before)), "{before} to {after}");
    // The server stops: every connection ends.
    app.lives.close();
    for reader in &mut all {
        while reader.next().await.is_some() {}
    }
    let refused = served.client.get(format!("{base}/board/live")).header(header::COOKIE, &cookie);
    assert_eq!(refused.send().await.expect("an answer").status(), 503);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_may_read_no_longer_is_told_and_cut_off() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let cookie = cookie(&served, Charge).await;
    let mut page =
        Reader::of(served.client.get(format!("{}/board/live", served.base)).header(header::COOKIE, &cookie))
            .await;
    let (id, token) = served.house.add_token(&served.site, Desk, None).await.expect("a token");
    let url = format!("{}/api/v1/{}/board/live", served.base, served.site);
    let mut program = Reader::of(served.client.get(url).bearer_auth(token)).await;
    for reader in [&mut page, &mut program] {
        reader.told("current").await;
    }
    served.house.sign_out(cookie.split_once('=').expect("a secret").1).await.expect("signed out");
    assert!(served.house.revoke_token(&served.site, &id).await.expect("an answer"));
    let done = served.done(Desk, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
    for reader in [&mut page, &mut program] {
        let told = reader.next().await.expect("a word");
        assert_eq!((told.name.as_str(), reader.next().await), ("ended", None), "before entry {done}");
    }
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_display_that_the_site_names_needs_no_sign_in() {
    let served = Served::start(Kind::Server).await;
    served.furnish().await;
    let ask = async |path: &str| {
        let url = format!("{}{path}", served.base);
        served.client.get(url).send().await.expect("an answer")
    };
    let (wall, live) =
        (format!("/board/wall?site={}", served.site), format!("/board/wall/live?site={}", served.site));
    for path in [&wall, &live] {
        assert_eq!(ask(path).await.status(), 303, "nobody named it yet");
    }
    let name = |all: Value| json!({"do": "set_policy", "wall_addresses": all});
    for wrong in [json!(["display-1"]), json!(["10.0.0.0/40"]), json!(["::/0"]), json!("127.0.0.1")] {
        let (status, told) = served.post(Admin, name(wrong)).await;
        assert!(status == 422 && told.to_string().contains("/wall_addresses"), "{told}");
    }
    served.done(Admin, name(json!(["10.1.2.3"]))).await;
    assert_eq!(ask(&wall).await.status(), 303, "another address");
    served.done(Admin, name(json!(["10.1.2.3", "127.0.0.0/28"]))).await;
    let page = ask(&wall).await;
    assert_eq!(page.status(), 200);
    let page = page.text().await.expect("a page");
    assert!(page.contains("wall-page") && page.contains("SET-1"), "{page}");
    // It opens the wall alone, and this site's alone.
    for path in ["/board", "/board/live", "/cases", "/board/wall?site=nowhere", "/board/wall"] {
        assert_eq!(ask(path).await.status(), 303, "{path}");
    }
    let mut reader = Reader::of(served.client.get(format!("{}{live}", served.base))).await;
    assert!(reader.told("board").await.data.contains("wall-page"));
    let done = served.done(Desk, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
    reader.board_of(entry(&done)).await;
    served.done(Admin, name(json!([]))).await;
    reader.told("ended").await;
    assert_eq!(ask(&wall).await.status(), 303);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_is_gone_is_told() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let mut reader = Reader::api(&served, Charge, "").await;
    reader.told("current").await;
    served.house.db.close().await;
    let told: Value = serde_json::from_str(&reader.told("gone").await.data).expect("JSON");
    assert!(told["at"].is_string() && told["entry"].is_u64(), "{told}");
    served.stop().await;
}

/// One notice for a batch, however many commands it took: the others read all of it at once.
#[tokio::test(flavor = "multi_thread")]
async fn postgresql_tells_of_each_batch_once() {
    let own = Own::new(Kind::Server).await;
    let served = Served::on(own.url.clone(), None, None).await;
    served.furnish().await;
    let db = Db::open(&own.url).await.expect("a database");
    let mut notices = Notices::listen(&db).await.expect("an answer").expect("PostgreSQL tells");
    let caps: Vec<Value> = (0..50).map(|_| json!({"do": "add_asset", "model": "cap"})).collect();
    let (status, body) = served.post(Lead, Value::Array(caps)).await;
    assert_eq!(status, 200, "{body}");
    // What is refused or known already makes no entry, and no noise.
    served.refused(Lead, json!({"do": "add_asset", "model": "no-such"}), "unknown_thing").await;
    served.done(Lead, json!({"do": "add_asset", "model": "cap", "key": "once"})).await;
    served.post(Lead, json!({"do": "add_asset", "model": "cap", "key": "once"})).await;
    // The last word comes from a site that is told apart.
    let last = fresh_site();
    served.house.add_site(&last, "Another", "Europe/Berlin").await.expect("a site");
    let token = served.house.add_token(&last, Lead, None).await.expect("a token").1;
    let url = format!("{}/api/v1/{last}/commands", served.base);
    let put = json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1});
    let name = json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult",
        "lines": [{"line": "cap", "family": "cap", "quantity": 1, "essential": true}]});
    for command in [name, put] {
        let asked = served.client.post(&url).bearer_auth(&token).json(&command);
        assert_eq!(asked.send().await.expect("an answer").status(), 201);
    }
    let mut told = Vec::new();
    while told.last() != Some(&last) {
        let next = tokio::time::timeout(Duration::from_secs(30), notices.next()).await;
        told.extend(next.expect("a notice").expect("an answer"));
    }
    assert_eq!(told, [served.site.clone(), served.site.clone(), last]);
    served.stop().await;
    db.close().await;
}

/// A follower is told, and the house lets go of one that went.
#[tokio::test(flavor = "multi_thread")]
async fn a_site_is_followed_on_both_databases() {
    for url in [None, Some(postgres())] {
        let folder = tempfile::tempdir().expect("a folder");
        let url = url.unwrap_or_else(|| format!("sqlite:{}", folder.path().join("fettle.db").display()));
        let writes = Served::on(url.clone(), None, None).await;
        let reads = std::sync::Arc::new(House::open(&url).await.expect("a database"));
        let site = Id::new(&writes.site).expect("an id");
        assert!(reads.follow(&Id::new("nowhere").expect("an id")).await.expect("an answer").is_none());
        let mut states = reads.follow(&site).await.expect("an answer").expect("the site");
        let before = states.borrow_and_update().seq;
        writes.furnish().await;
        let newest = states.wait_for(|state| state.sets.len() == 1);
        let newest = tokio::time::timeout(Duration::from_secs(60), newest).await.expect("in time");
        assert!(newest.expect("a state").seq > before);
        reads.close().await;
        writes.stop().await;
    }
}
