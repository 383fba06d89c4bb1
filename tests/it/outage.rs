//! The database locked, gone and back, and a clock that goes back: what is asked meanwhile is told so, nothing stands
//! by half, and what is asked afterwards is done.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use fettle::domain::person::Role::{Desk, Lead};
use fettle::domain::time::Time;
use fettle::storage::{Conn, ledger};
use serde_json::{Value, json};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinSet;

use super::own::Own;
use super::served::{BOTH, Kind, Served};

fn add(key: &str) -> Value {
    json!({"do": "add_asset", "model": "cap", "key": key})
}

fn unavailable(body: &Value) {
    assert_eq!(body["code"], "database_unavailable", "{body}");
    assert!(body["operation"].as_str().is_some_and(|it| it.len() == 16), "{body}");
}

async fn stored(conn: &mut Conn, site: &str) -> Vec<ledger::StoredEntry> {
    ledger::after(conn, site, 0, 1_000_000).await.expect("entries")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_locked_database_is_told_after_a_while() {
    let locked = |kind: Kind| async move {
        let own = Own::new(kind).await;
        let served = Served::on(own.url.clone(), None, None).await;
        served.furnish().await;
        let mut holder = own.connect().await;
        let before = stored(&mut holder, &served.site).await.len();
        holder.begin().await.expect("a transaction");
        ledger::locked_head(&mut holder, &served.site).await.expect("a head");
        let begun = Instant::now();
        let (status, body) = served.post(Lead, json!([add("a"), add("b"), add("c")])).await;
        assert_eq!(status, 200, "{body}");
        for result in body["results"].as_array().expect("results") {
            assert_eq!(result["status"], 503, "{result}");
            unavailable(result);
        }
        let waited = begun.elapsed();
        // The writer waits five seconds once, not once for each command of the batch.
        assert!(waited > Duration::from_secs(4) && waited < Duration::from_secs(15), "{waited:?}");
        assert_eq!(served.asset("B-1").await["stage"], "soiled", "reading goes on");
        holder.rollback().await.expect("a rollback");
        served.done(Lead, add("a")).await;
        assert_eq!(stored(&mut holder, &served.site).await.len(), before + 1);
        served.sound().await;
        served.stop().await;
    };
    tokio::join!(locked(Kind::Embedded), locked(Kind::Server));
}

/// Ends every connection to the database but its own, as the site's own role may: the server's own workers are not its.
pub async fn end_connections(conn: &mut Conn) {
    let text = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() \
                AND pid <> pg_backend_pid() AND usename = current_user";
    conn.fetch(text, &[]).await.expect("ended connections");
}

/// What the clients of a test are at.
#[derive(Default)]
pub struct Work {
    answered: AtomicUsize,
    over: AtomicBool,
}

impl Work {
    /// Waits until so many more were answered: a slow machine takes longer, and does as much.
    pub fn is_over(&self) -> bool {
        self.over.load(Ordering::Relaxed)
    }

    pub fn answered(&self) {
        self.answered.fetch_add(1, Ordering::Relaxed);
    }

    pub fn end(&self) {
        self.over.store(true, Ordering::Relaxed);
    }

    pub async fn goes_on(&self, more: usize) {
        let wanted = self.answered.load(Ordering::Relaxed) + more;
        let begun = Instant::now();
        while self.answered.load(Ordering::Relaxed) < wanted {
            assert!(begun.elapsed() < Duration::from_secs(30), "nothing is answered any more");
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }
}

/// Adds parts until it is told to end, each under its key until it is accepted; answers each key's entry, and how
/// often the database did not answer.
async fn persist(served: Arc<Served>, client: usize, work: Arc<Work>) -> (BTreeMap<String, u64>, usize) {
    let (mut told, mut gone) = (BTreeMap::new(), 0);
    let mut n = 0;
    while !work.over.load(Ordering::Relaxed) {
        let key = format!("{client}-{n}");
        let (status, body) = served.post(Lead, add(&key)).await;
        match status {
            200 | 201 => {
                told.insert(key, body["entry"].as_u64().expect("an entry"));
                work.answered.fetch_add(1, Ordering::Relaxed);
                n += 1;
            }
            _ => {
                assert_eq!(status, 503, "{body}");
                unavailable(&body);
                gone += 1;
            }
        }
    }
    (told, gone)
}

#[tokio::test(flavor = "multi_thread")]
async fn ended_connections_cost_no_answered_entry() {
    let own = Own::new(Kind::Server).await;
    let served = Arc::new(Served::on(own.url.clone(), None, None).await);
    served.furnish().await;
    let mut other = own.connect().await;
    let before = stored(&mut other, &served.site).await.len();
    let work = Arc::new(Work::default());
    let mut clients = JoinSet::new();
    for client in 0..8 {
        clients.spawn(persist(served.clone(), client, work.clone()));
    }
    for _ in 0..10 {
        work.goes_on(20).await;
        end_connections(&mut other).await;
    }
    work.goes_on(20).await;
    work.over.store(true, Ordering::Relaxed);
    let (mut told, mut gone) = (BTreeMap::new(), 0);
    while let Some(client) = clients.join_next().await {
        let (entries, often) = client.expect("a client");
        told.extend(entries);
        gone += often;
    }
    println!("{} answered, {gone} told that the database does not answer", told.len());
    assert!(gone > 0, "somebody was told");
    // The first request on a connection that was ended may be told so; the next one is done.
    end_connections(&mut other).await;
    let (status, body) = served.post(Lead, add("last")).await;
    assert!(matches!(status, 201 | 503), "{body}");
    let (status, body) = served.post(Lead, add("last")).await;
    assert!(matches!(status, 200 | 201), "{body}");
    let entries = stored(&mut other, &served.site).await;
    let seqs: Vec<u64> = entries.iter().map(|entry| entry.seq).collect();
    assert_eq!(seqs, (1..=entries.len() as u64).collect::<Vec<_>>(), "no gap");
    let found: BTreeMap<String, u64> =
        entries.iter().filter_map(|entry| entry.key.clone().map(|key| (key, entry.seq))).collect();
    for (key, entry) in &told {
        assert_eq!(found.get(key), Some(entry), "{key}");
    }
    assert!(entries.len() > before + told.len());
    served.sound().await;
    served.house.close().await;
}

/// A way to the database that can be cut: everything that goes through it ends, and nothing more comes through.
pub struct Way {
    pub open: tokio::sync::watch::Sender<bool>,
    pub url: String,
}

impl Way {
    pub async fn to(url: &str) -> Way {
        let (before, rest) = url.split_once('@').expect("a user");
        let (server, name) = rest.split_once('/').expect("a name");
        let server = server.to_string();
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let (open, is_open) = tokio::sync::watch::channel(true);
        tokio::spawn(async move {
            while let Ok((mut near, _)) = listener.accept().await {
                let mut is_open = is_open.clone();
                if !*is_open.borrow() {
                    continue;
                }
                let server = server.clone();
                tokio::spawn(async move {
                    let mut far = TcpStream::connect(server).await.expect("the database");
                    tokio::select! {
                        _ = tokio::io::copy_bidirectional(&mut near, &mut far) => {}
                        _ = is_open.wait_for(|open| !open) => {}
                    }
                });
            }
        });
        Way { open, url: format!("{before}@{address}/{name}") }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_is_gone_is_told_until_it_is_back() {
    let own = Own::new(Kind::Server).await;
    let way = Way::to(&own.url).await;
    let served = Served::on(way.url.clone(), None, None).await;
    served.furnish().await;
    let mut past = own.connect().await;
    let before = stored(&mut past, &served.site).await.len();
    way.open.send_replace(false);
    let health = || async {
        let answer = served.client.get(format!("{}/health", served.base)).send().await.expect("an answer");
        (answer.status().as_u16(), answer.text().await.expect("a text"))
    };
    let told = async {
        let ((write, body), (read, asset), (health, words)) =
            tokio::join!(served.post(Lead, add("a")), served.get("assets/B-1"), health());
        assert_eq!((write, read, health), (503, 503, 503), "{body} {asset} {words}");
        unavailable(&body);
        unavailable(&asset);
        assert!(words.starts_with("operation "), "{words}");
    };
    tokio::time::timeout(Duration::from_secs(20), told).await.expect("it says so before callers give up");
    way.open.send_replace(true);
    let (status, body) = served.post(Lead, add("a")).await;
    assert!(matches!(status, 201 | 503), "{body}");
    let (status, body) = served.post(Lead, add("a")).await;
    assert!(matches!(status, 200 | 201), "{body}");
    assert_eq!(health().await, (200, "ok".into()));
    assert_eq!(stored(&mut past, &served.site).await.len(), before + 1);
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_goes_back_takes_the_ledger_not_with_it() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let noon = Time(1_772_020_800_000_000);
        served.furnish().await;
        served.house.clock.set(noon.plus_minutes(1_000_000));
        served.done(Desk, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
        for minutes in [0, -60, -59, 30, -100_000, 1] {
            served.house.clock.set(noon.plus_minutes(1_000_000 + minutes));
            let put = json!({"do": "put_away", "scan": ["B-1"], "location": format!("shelf {minutes}")});
            served.done(Desk, put).await;
            served.done(Lead, add(&format!("at {minutes}"))).await;
        }
        // A time that somebody tells is held against the clock all the same.
        let told = json!({"do": "put_away", "scan": ["B-1"], "location": "shelf", "at": noon.plus_minutes(1_000_030)});
        served.refused(Desk, told, "in_the_future").await;
        let mut conn = served.house.db.connect().await.expect("a connection");
        let entries = stored(&mut conn, &served.site).await;
        assert!(entries.is_sorted_by_key(|entry| entry.recorded_at));
        assert_eq!(entries.last().map(|entry| entry.recorded_at), Some(noon.plus_minutes(1_000_030).0));
        served.sound().await;
        served.stop().await;
    }
}
