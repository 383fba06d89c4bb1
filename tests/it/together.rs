//! Many at once: two servers on one database, callers that leave in the middle, a check beside a writer.

use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::Arc;
use std::time::Duration;

use fettle::app::rebuild;
use fettle::domain::id::Id;
use fettle::domain::person::Role::{self, Desk, Lead};
use fettle::storage::ledger;
use serde_json::{Value, json};

use super::own::Own;
use super::served::{BOTH, Kind, Served};

const CLIENTS: usize = 16;

/// Two servers on one database and one site.
async fn two(own: &Own) -> [Arc<Served>; 2] {
    let first = Served::on(own.url.clone(), None, None).await;
    let second = Served::on(own.url.clone(), None, Some(&first)).await;
    [Arc::new(first), Arc::new(second)]
}

/// The same command from every client at once, half of them at each server; answers what each was told.
async fn at_once(
    servers: &[Arc<Served>; 2],
    clients: usize,
    role: Role,
    command: &Value,
) -> Vec<(u16, Value)> {
    let asked: Vec<_> = (0..clients)
        .map(|client| {
            let (server, command) = (servers[client % 2].clone(), command.clone());
            tokio::spawn(async move { server.post(role, command).await })
        })
        .collect();
    let mut told = Vec::new();
    for answer in asked {
        told.push(answer.await.expect("an answer"));
    }
    told
}

/// The ledger of a server's site: gap-free from 1. Answers its entries.
async fn gap_free(served: &Served) -> Vec<Value> {
    let mut conn = served.house.db.connect().await.expect("a connection");
    let stored = ledger::after(&mut conn, &served.site, 0, 1_000_000).await.expect("entries");
    let seqs: Vec<u64> = stored.iter().map(|entry| entry.seq).collect();
    assert_eq!(seqs, (1..=stored.len() as u64).collect::<Vec<_>>());
    stored.iter().map(|entry| serde_json::from_str(&entry.entry).expect("JSON")).collect()
}

async fn whole_state(served: &Served) -> String {
    let site = Id::new(&served.site).expect("a site");
    format!("{:#?}", served.house.state(&site).await.expect("a state").expect("a site"))
}

#[tokio::test(flavor = "multi_thread")]
async fn of_the_same_scan_at_two_servers_one_wins() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let servers = two(&own).await;
        servers[0].furnish().await;
        servers[0].done(Desk, json!({"do": "record_step", "step": "received", "scan": "SET-1"})).await;
        let before = gap_free(&servers[0]).await.len();
        let mut commands = Vec::new();
        for (asset, step) in [("B-1", "cleaned"), ("C-1", "cleaned"), ("T-1", "cleaned"), ("B-1", "dried")] {
            commands.push((json!({"do": "record_step", "step": step, "scan": [asset]}), "already_done"));
        }
        for n in 0..8 {
            let add = json!({"do": "add_asset", "model": "cap", "asset": format!("N-{n}")});
            commands.push((add, "name_taken"));
        }
        let start = json!({"do": "start_load", "machine": "washer-1", "programme": "wash", "scan": ["B-1"], "load": "L-1"});
        commands.push((start, "name_taken"));
        for (command, code) in &commands {
            let told = at_once(&servers, CLIENTS, Lead, command).await;
            let won: Vec<&Value> =
                told.iter().filter(|(status, _)| *status == 201).map(|(_, body)| body).collect();
            assert_eq!(won.len(), 1, "{kind:?} {command}: {told:?}");
            for (status, body) in told.iter().filter(|(status, _)| *status != 201) {
                assert_eq!(*status, 409, "{command}: {body}");
                // Which of a load's several reasons comes first is not this test's business.
                assert!(body["code"] == *code || command["do"] == "start_load", "{command}: {body}");
            }
        }
        let entries = gap_free(&servers[0]).await;
        assert_eq!(entries.len(), before + commands.len(), "one entry for each");
        assert_eq!(whole_state(&servers[0]).await, whole_state(&servers[1]).await);
        servers[0].sound().await;
        for served in servers {
            served.house.close().await;
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_key_from_many_gives_one_entry() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let servers = two(&own).await;
        servers[0].furnish().await;
        let before = gap_free(&servers[0]).await.len();
        for n in 0..6 {
            let add = json!({"do": "add_asset", "model": "cap", "key": format!("same-{n}")});
            let told = at_once(&servers, 2 * CLIENTS, Lead, &add).await;
            let statuses: Vec<u16> = told.iter().map(|(status, _)| *status).collect();
            assert_eq!(statuses.iter().filter(|status| **status == 201).count(), 1, "{statuses:?}");
            assert!(statuses.iter().all(|status| matches!(status, 200 | 201)), "{statuses:?}");
            let bodies: BTreeSet<String> = told.iter().map(|(_, body)| body.to_string()).collect();
            assert_eq!(bodies.len(), 1, "{bodies:?}");
        }
        assert_eq!(gap_free(&servers[0]).await.len(), before + 6);
        servers[0].sound().await;
        for served in servers {
            served.house.close().await;
        }
    }
}

/// How a caller leaves.
#[derive(Clone, Copy, Debug)]
enum Leaves {
    /// After half of its request.
    Halfway,
    /// After all of its request and so many milliseconds, without reading the answer.
    Unanswered(u64),
    /// As soon as the answer's status is there.
    Answered,
}

/// Sends a command over a connection of its own and leaves. Says whether it was told that it is done.
fn call_and_leave(address: &str, site: &str, token: &str, command: &Value, leaves: Leaves) -> bool {
    let body = command.to_string();
    let request = format!(
        "POST /api/v1/{site}/commands HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\n\
         Content-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let mut stream = TcpStream::connect(address).expect("a connection");
    let (half, rest) = request.as_bytes().split_at(request.len() - body.len() / 2);
    stream.write_all(half).expect("half a request");
    if matches!(leaves, Leaves::Halfway) {
        return false;
    }
    stream.write_all(rest).expect("a request");
    if let Leaves::Unanswered(linger_ms) = leaves {
        std::thread::sleep(Duration::from_millis(linger_ms));
        return false;
    }
    let mut status = [0; 12];
    stream.read_exact(&mut status).expect("a status");
    assert_eq!(&status, b"HTTP/1.1 201", "{command}");
    true
}

#[tokio::test(flavor = "multi_thread")]
async fn callers_that_leave_hold_nothing_up() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let address = served.base.trim_start_matches("http://").to_string();
        let (site, token) = (served.site.clone(), served.token(Lead).to_string());
        // Ten threads call a hundred times each, as fast as they can.
        let callers: Vec<_> = (0..10)
            .map(|caller| {
                let (address, site, token) = (address.clone(), site.clone(), token.clone());
                std::thread::spawn(move || {
                    let mut answered = Vec::new();
                    for n in 0..100 {
                        // Most leave at once or soon, when their command is anywhere; the last when it is done.
                        let linger_ms = if n == 97 { 300 } else { n as u64 / 3 % 6 * 2 };
                        let (leaves, how) = match n % 3 {
                            0 => (Leaves::Halfway, "halfway"),
                            1 => (Leaves::Unanswered(linger_ms), "unanswered"),
                            _ => (Leaves::Answered, "answered"),
                        };
                        let name = format!("{how}-{caller}-{n}");
                        let add = json!({"do": "add_asset", "model": "cap", "asset": name});
                        if call_and_leave(&address, &site, &token, &add, leaves) {
                            answered.push(name);
                        }
                    }
                    answered
                })
            })
            .collect();
        let joined = tokio::task::spawn_blocking(move || {
            callers.into_iter().flat_map(|caller| caller.join().expect("a caller")).collect::<Vec<String>>()
        });
        let answered = tokio::time::timeout(Duration::from_secs(60), joined).await.expect("nothing is stuck");
        let answered = answered.expect("the callers");
        assert_eq!(answered.len(), 330);
        let next = served.done(Lead, json!({"do": "add_asset", "model": "cap", "asset": "after"}));
        tokio::time::timeout(Duration::from_secs(5), next).await.expect("the next request works");
        let names: Vec<String> =
            gap_free(&served).await.iter().map(|it| it["event"]["asset"].to_string()).collect();
        let stands = |name: &str| names.iter().filter(|it| it.trim_matches('"') == name).count();
        for name in &answered {
            assert_eq!(stands(name), 1, "{name} was answered");
        }
        assert!(!names.iter().any(|name| name.contains("halfway")), "half a request is none");
        let unanswered = names.iter().filter(|name| name.contains("unanswered")).count();
        println!("{kind:?}: {unanswered} of 330 that did not wait were done");
        assert!(unanswered > 0, "some were taken before their caller was missed");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_check_and_a_writer_do_not_wait_for_each_other() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let served = Served::on(own.url.clone(), None, None).await;
        served.furnish().await;
        let mut writer = served.house.db.connect().await.expect("a connection");
        writer.begin().await.expect("a transaction");
        let head = ledger::locked_head(&mut writer, &served.site).await.expect("a head").expect("a site");
        let moved = ledger::Head { seq: head.seq + 1, ..head.clone() };
        ledger::move_head(&mut writer, &served.site, moved).await.expect("a moved head");
        let check = tokio::time::timeout(Duration::from_secs(4), rebuild::check(&served.house.db));
        let report = check.await.expect("the check waits for nobody").expect("a check");
        assert_eq!(
            (report.wrong, report.entries),
            (Vec::new(), head.seq),
            "what is not committed is not seen"
        );
        writer.rollback().await.expect("a rollback");
        // The other way round: somebody reads at length, and a writer goes on.
        let mut reader = served.house.db.connect().await.expect("a connection");
        reader.execute(reader.dialect().snapshot(), &[]).await.expect("a snapshot");
        ledger::seen_head(&mut reader, &served.site).await.expect("a head");
        let add = served.done(Lead, json!({"do": "add_asset", "model": "cap"}));
        tokio::time::timeout(Duration::from_secs(4), add).await.expect("the writer waits for nobody");
        let seen = ledger::seen_head(&mut reader, &served.site).await.expect("a head").expect("a site");
        assert_eq!(seen.seq, head.seq, "the reader sees one moment");
        reader.rollback().await.expect("a rollback");
        if kind == Kind::Server {
            let stopped = rebuild::check(&served.house.db).await.expect("a check");
            assert_eq!(stopped.entries, head.seq + 1);
        }
        served.stop().await;
    }
}
