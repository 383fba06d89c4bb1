//! The program as a process: what it says when it starts, how it ends, and what it does on a full disk.

use std::net::TcpStream;
use std::process::Stdio;
use std::time::{Duration, Instant};

use fettle::storage::ledger;
use serde_json::{Value, json};

use super::binary::{Place, Running, checked, cramped, entries, fettle, furnished, post};
use super::own::Own;
use super::served::{BOTH, Kind};

fn put_away(n: usize) -> Value {
    json!({"do": "put_away", "scan": ["SET-1"], "location": format!("shelf {n}"), "key": format!("k-{n}")})
}

async fn health(running: &Running) -> (u16, String) {
    let answer = running.client.get(format!("{}/health", running.base)).send().await.expect("an answer");
    (answer.status().as_u16(), answer.text().await.expect("a text"))
}

#[tokio::test(flavor = "multi_thread")]
async fn it_finishes_what_it_took_when_it_is_told_to_stop() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let at = furnished(&own).await;
        let mut running = Running::start(&own.url);
        assert_eq!(health(&running).await, (200, "ok".into()));
        assert_eq!(running.post(&at, &put_away(0)).await.expect("an answer").0, 201);
        let before = entries(&own, &at.site).await.len();
        // A writer past the program holds the ledger, so that what it takes now waits.
        let mut writer = own.connect().await;
        writer.begin().await.expect("a transaction");
        ledger::locked_head(&mut writer, &at.site).await.expect("a head");
        let waiting: Vec<_> = (1..=20)
            .map(|n| {
                let (client, base, at) = (running.client.clone(), running.base.clone(), at.clone());
                tokio::spawn(async move { post(&client, &base, &at, &put_away(n)).await })
            })
            .collect();
        tokio::time::sleep(Duration::from_millis(400)).await;
        assert!(waiting.iter().all(|asked| !asked.is_finished()), "they wait for the ledger");
        running.signal("TERM");
        let address = running.base.trim_start_matches("http://").to_string();
        let begun = Instant::now();
        while TcpStream::connect(&address).is_ok() {
            assert!(begun.elapsed() < Duration::from_secs(3), "it takes nothing more");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        writer.rollback().await.expect("a rollback");
        for asked in waiting {
            let (status, body) = asked.await.expect("a client").expect("an answer");
            assert_eq!(status, 201, "{body}");
        }
        assert_eq!(running.ended(Duration::from_secs(10)).await.code(), Some(0), "{kind:?}");
        assert_eq!(entries(&own, &at.site).await.len(), before + 20);
        let (well, words) = checked(&own);
        assert!(well, "{words}");
    }
}

/// What a start that cannot be says on standard error, and how soon.
fn refusal_to_start(listen: &str, url: &str) -> String {
    let begun = Instant::now();
    let mut command = fettle(&["serve", "--listen", listen], url);
    let done = command.stderr(Stdio::piped()).output().expect("a process");
    assert_eq!(done.status.code(), Some(1));
    assert_eq!(done.stdout, b"", "it does not say that it listens");
    assert!(begun.elapsed() < Duration::from_secs(20));
    String::from_utf8(done.stderr).expect("text")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_start_that_cannot_be_says_why() {
    let own = Own::new(Kind::Embedded).await;
    let mut running = Running::start(&own.url);
    let taken = running.base.trim_start_matches("http://").to_string();
    let words = refusal_to_start(&taken, &own.url);
    for word in ["fettle: ", &taken, "in use", "--listen"] {
        assert!(words.contains(word), "{words}");
    }
    assert_eq!(health(&running).await, (200, "ok".into()), "the first one goes on");
    running.signal("INT");
    assert_eq!(running.ended(Duration::from_secs(10)).await.code(), Some(0));
    let words = refusal_to_start("nowhere", &own.url);
    assert!(words.contains("cannot listen on nowhere"), "{words}");
    // Port 1 is the port multiplexer's (RFC 1078), which nobody runs any more.
    let words = refusal_to_start("127.0.0.1:0", "postgres://fettle@127.0.0.1:1/fettle");
    assert!(words.contains("fettle: the database does not answer"), "{words}");
    let words = refusal_to_start("127.0.0.1:0", "sqlite:/proc/no/such/folder/fettle.db");
    assert!(words.contains("fettle: the database does not answer"), "{words}");
    let words = refusal_to_start("127.0.0.1:0", "fettle.db");
    assert!(words.contains("sqlite:PATH"), "{words}");
}

/// Writes until the disk is full; answers how much was accepted, and the answer that told of it.
async fn fill(running: &Running, at: &Place) -> (usize, Value) {
    for n in 0..2_000 {
        match running.post(at, &put_away(n)).await.expect("an answer") {
            (201, _) => {}
            (status, body) => {
                assert_eq!(status, 503, "{body}");
                return (n, body);
            }
        }
    }
    panic!("the disk is never full");
}

/// Only the embedded database's files are this program's own. A limit on the size of each stands for a full disk:
/// it needs no rights to mount one, and a write fails as it does there.
#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_is_told_and_what_was_written_stands() {
    let own = Own::new(Kind::Embedded).await;
    let at = furnished(&own).await;
    let size = std::fs::metadata(own.folder.path().join("fettle.db")).expect("a file").len();
    let limit = size / 1024 + 200;
    let running = Running::begin(cramped(&["serve", "--listen", "127.0.0.1:0"], &own.url, limit));
    let before = entries(&own, &at.site).await.len();
    let (accepted, body) = fill(&running, &at).await;
    assert!(accepted > 0, "some fitted");
    assert_eq!(body["code"], "database_unavailable", "{body}");
    assert!(body["operation"].as_str().is_some_and(|it| it.len() == 16), "{body}");
    let array = json!([put_away(accepted), put_away(accepted + 1)]);
    let (status, told) = running.post(&at, &array).await.expect("an answer");
    let statuses: Vec<&Value> =
        told["results"].as_array().expect("results").iter().map(|it| &it["status"]).collect();
    assert_eq!((status, statuses), (200, vec![&json!(503), &json!(503)]), "{told}");
    assert_eq!(health(&running).await.0, 200, "it still reads");
    assert_eq!(entries(&own, &at.site).await.len(), before + accepted, "nothing stands by half");
    let (status, body) = running.post(&at, &put_away(0)).await.expect("an answer");
    assert_eq!(status, 200, "what is known needs no room: {body}");
    // There is room again.
    let room = ["--pid", &running.id().to_string(), "--fsize=unlimited"].map(String::from);
    assert!(std::process::Command::new("prlimit").args(room).status().expect("prlimit").success());
    for n in accepted..accepted + 3 {
        let (status, body) = running.post(&at, &put_away(n)).await.expect("an answer");
        assert_eq!(status, 201, "{body}");
    }
    assert_eq!(entries(&own, &at.site).await.len(), before + accepted + 3);
    let (well, words) = checked(&own);
    assert!(well, "{words}");
}
