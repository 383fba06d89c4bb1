//! The schedule's door while the database is locked, gone or losing its connections: nothing is acknowledged that is not
//! written, and a message that is sent again until it is makes one case.

use std::sync::Arc;
use std::time::Duration;

use fettle::domain::id::Id;
use fettle::domain::time::Time;
use fettle::formats::hl7::frame::framed;
use fettle::storage::{Conn, ledger};
use fettle::web::mllp::{self, Limits, Mllp};
use serde_json::Value;
use tokio::task::JoinSet;

use super::outage::{Way, Work, end_connections};
use super::own::Own;
use super::schedule::told;
use super::schedule_served::{Peer, letters};
use super::served::{BOTH, Kind, Served};

async fn opened(url: &str) -> (Served, Mllp) {
    let served = Served::on(url.to_string(), None, None).await;
    served.house.clock.set(Time::parse("2026-03-02T08:00:00+01:00").expect("a time"));
    served.furnish().await;
    let limits = Limits { connections: 40, ..Limits::default() };
    let door = mllp::listen("127.0.0.1:0", served.house.clone(), Id::new(&served.site), limits).await;
    (served, door.expect("a door"))
}

fn message(name: &str) -> String {
    told("S12").with(|it| (it.filler, it.control) = (name.into(), format!("M-{name}"))).text()
}

/// The cases that the ledger planned, past the program.
async fn planned(conn: &mut Conn, site: &str) -> Vec<String> {
    let entries = ledger::after(conn, site, 0, 1_000_000).await.expect("entries");
    let seqs: Vec<u64> = entries.iter().map(|entry| entry.seq).collect();
    assert_eq!(seqs, (1..=entries.len() as u64).collect::<Vec<_>>(), "no gap");
    let events = entries.iter().map(|it| serde_json::from_str::<Value>(&it.entry).expect("JSON"));
    let planned = events.filter(|it| it["kind"] == "case_planned");
    planned.map(|it| it["event"]["case"].as_str().expect("a case").to_string()).collect()
}

/// Sends a message and hears its letters; nothing where the connection ended without an answer.
async fn sent(door: &Mllp, name: &str) -> Option<(String, String)> {
    let mut peer = Peer::to(door.address).await;
    peer.send(&framed(&message(name))).await;
    let (letters, id, words) = letters(&peer.answer().await?);
    assert_eq!(id, format!("M-{name}"));
    Some((letters, words))
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_acknowledged_while_the_database_is_locked() {
    let locked = |kind: Kind| async move {
        let own = Own::new(kind).await;
        let (served, door) = opened(&own.url).await;
        let mut holder = own.connect().await;
        holder.begin().await.expect("a transaction");
        ledger::locked_head(&mut holder, &served.site).await.expect("a head");
        let (letters, words) = sent(&door, "A-1").await.expect("an answer");
        assert!(letters == "AR" && words.contains("send it again"), "{letters} {words}");
        holder.rollback().await.expect("a rollback");
        assert_eq!(planned(&mut holder, &served.site).await, Vec::<String>::new());
        for _ in 0..2 {
            assert_eq!(sent(&door, "A-1").await.map(|it| it.0).as_deref(), Some("AA"));
        }
        assert_eq!(planned(&mut holder, &served.site).await, ["A-1"]);
        served.sound().await;
        door.close().await;
        served.stop().await;
    };
    tokio::join!(locked(BOTH[0]), locked(BOTH[1]));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_to_a_house_without_its_database_is_sent_again_and_makes_one_case() {
    let own = Own::new(Kind::Server).await;
    let way = Way::to(&own.url).await;
    let (served, door) = opened(&way.url).await;
    let mut past = own.connect().await;
    way.open.send_replace(false);
    let answer =
        tokio::time::timeout(Duration::from_secs(25), sent(&door, "A-1")).await.expect("an end in time");
    assert!(answer.as_ref().is_none_or(|(letters, _)| letters == "AR"), "{answer:?}");
    way.open.send_replace(true);
    let mut tries = 0;
    while sent(&door, "A-1").await.map(|it| it.0).as_deref() != Some("AA") {
        tries += 1;
        assert!(tries < 5, "it is back, and nothing is taken");
    }
    assert_eq!(sent(&door, "A-1").await.map(|it| it.0).as_deref(), Some("AA"));
    assert_eq!(planned(&mut past, &served.site).await, ["A-1"]);
    served.sound().await;
    door.close().await;
    served.stop().await;
}

/// Sends one appointment after the other, each until it is acknowledged; answers which were, and how often none was.
async fn persist(door: Arc<Mllp>, client: usize, work: Arc<Work>) -> (Vec<String>, usize) {
    let (mut done, mut again) = (Vec::new(), 0);
    while !work.is_over() {
        let name = format!("P-{client}-{}", done.len());
        match sent(&door, &name).await {
            Some((letters, _)) if letters == "AA" => {
                done.push(name);
                work.answered();
            }
            Some((letters, words)) => {
                assert_eq!(letters, "AR", "{words}");
                again += 1;
            }
            None => again += 1,
        }
    }
    (done, again)
}

#[tokio::test(flavor = "multi_thread")]
async fn ended_connections_cost_no_acknowledged_message() {
    let own = Own::new(Kind::Server).await;
    let (served, door) = opened(&own.url).await;
    let (door, work, mut past) = (Arc::new(door), Arc::new(Work::default()), own.connect().await);
    let mut clients = JoinSet::new();
    for client in 0..6 {
        clients.spawn(persist(door.clone(), client, work.clone()));
    }
    for _ in 0..10 {
        work.goes_on(15).await;
        end_connections(&mut past).await;
    }
    work.goes_on(15).await;
    work.end();
    let (mut acknowledged, mut again) = (Vec::new(), 0);
    while let Some(client) = clients.join_next().await {
        let (done, often) = client.expect("a client");
        acknowledged.extend(done);
        again += often;
    }
    assert!(again > 0, "somebody was told");
    let mut found = planned(&mut past, &served.site).await;
    found.sort();
    let mut once = found.clone();
    once.dedup();
    assert_eq!(found, once, "no appointment makes two cases");
    // What was written and not acknowledged when the clients ended may stand besides.
    for name in &acknowledged {
        assert!(found.contains(name), "{name} was acknowledged and is not there");
    }
    assert!(found.len() <= acknowledged.len() + 6);
    // What the last round may have cut off is done now.
    let _ = sent(&door, "last").await;
    served.sound().await;
    Arc::into_inner(door).expect("nobody else's").close().await;
    served.stop().await;
}
