//! The program killed while it writes, again and again: what was answered stands, and nothing stands by half.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use fettle::app::clock::random;
use serde_json::{Value, json};
use tokio::sync::Mutex;

use super::binary::{Place, Running, checked, entries, furnished, post};
use super::own::Own;
use super::served::Kind;

const KILLS: usize = 30;
const CLIENTS: usize = 4;

/// What clients were told: by key, the command and the answer; the answer is missing where none came.
type Journal = BTreeMap<String, (Value, Option<Value>)>;

/// One client writes until it gets no answer any more. Every third command is an array, which is answered as one.
async fn write(base: String, at: Place, client: usize, round: usize, journal: Arc<Mutex<Journal>>) {
    let http = reqwest::Client::new();
    for n in 0.. {
        let key = |i: usize| format!("{round}-{client}-{n}-{i}");
        let count = if n % 3 == 2 { 5 } else { 1 };
        let commands: Vec<Value> = (0..count)
            .map(|i| match n % 2 {
                0 => json!({"do": "add_asset", "model": "cap", "key": key(i)}),
                _ => json!({"do": "put_away", "scan": ["SET-1"], "location": format!("shelf {n}"), "key": key(i)}),
            })
            .collect();
        let asked = if count == 1 { commands[0].clone() } else { Value::Array(commands.clone()) };
        let mut told = journal.lock().await;
        commands.iter().enumerate().for_each(|(i, command)| {
            told.insert(key(i), (command.clone(), None));
        });
        drop(told);
        let Some((status, body)) = post(&http, &base, &at, &asked).await else { return };
        assert!(matches!(status, 200 | 201), "{status} {body}");
        let results = body["results"].as_array().cloned().unwrap_or_else(|| vec![body]);
        let mut told = journal.lock().await;
        for (i, mut result) in results.into_iter().enumerate() {
            // An array's answers carry their status inside.
            if let Some(status) = result.as_object_mut().expect("an object").remove("status") {
                assert_eq!(status, 201, "{result}");
            }
            told.insert(key(i), (commands[i].clone(), Some(result)));
        }
    }
}

/// What was answered before the kill is answered again in the same words; what was not is done now, or was done then.
async fn repeat(running: &Running, at: &Place, journal: &mut Journal) -> usize {
    let mut unanswered = 0;
    for (key, (command, answer)) in journal.iter_mut() {
        let (status, body) = running.post(at, command).await.expect("an answer");
        match answer {
            Some(answer) => assert_eq!((status, &body), (200, &*answer), "{key}"),
            None => {
                unanswered += 1;
                assert!(matches!(status, 200 | 201), "{key}: {status} {body}");
                *answer = Some(body);
            }
        }
    }
    unanswered
}

async fn killed_again_and_again(kind: Kind) {
    let own = Own::new(kind).await;
    let at = furnished(&own).await;
    let mut all = Journal::new();
    let mut cut_off = 0;
    for round in 0..KILLS {
        let mut running = Running::start(&own.url);
        let journal = Arc::new(Mutex::new(Journal::new()));
        let clients: Vec<_> = (0..CLIENTS)
            .map(|client| {
                tokio::spawn(write(running.base.clone(), at.clone(), client, round, journal.clone()))
            })
            .collect();
        let at_work = || async { journal.lock().await.values().any(|(_, answer)| answer.is_some()) };
        while !at_work().await {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        let [moment] = random::<1>().expect("randomness");
        tokio::time::sleep(Duration::from_millis(u64::from(moment))).await;
        running.kill();
        for client in clients {
            client.await.expect("a client");
        }
        let mut journal = std::mem::take(&mut *journal.lock().await);
        // Only each client's newest commands can be in doubt; a share of the older ones is repeated beside them.
        let mut lately: Journal = journal.clone();
        let mut n = 0;
        lately.retain(|_, (_, answer)| {
            n += 1;
            answer.is_none() || n % 8 == 0
        });
        let running = Running::start(&own.url);
        cut_off += repeat(&running, &at, &mut lately).await;
        journal.append(&mut lately);
        all.append(&mut journal);
        if round % 10 == 9 {
            let (well, words) = checked(&own);
            assert!(well, "{words}");
        }
    }
    let found = entries(&own, &at.site).await;
    let seqs: Vec<u64> = found.iter().map(|entry| entry["seq"].as_u64().expect("a place")).collect();
    assert_eq!(seqs, (1..=found.len() as u64).collect::<Vec<_>>(), "no gap");
    let mut by_key: BTreeMap<&str, Vec<&Value>> = BTreeMap::new();
    for entry in found.iter().filter(|entry| entry["key"].is_string()) {
        by_key.entry(entry["key"].as_str().expect("a key")).or_default().push(entry);
    }
    assert_eq!(by_key.len(), all.len(), "each command stands in the ledger");
    for (key, (command, answer)) in &all {
        let answer = answer.as_ref().expect("an answer by now");
        let [entry] = by_key[key.as_str()][..] else { panic!("{key} stands twice") };
        assert_eq!((&entry["seq"], &entry["event"]), (&answer["entry"], &answer["event"]), "{command}");
    }
    println!("{kind:?}: {} commands answered, {cut_off} cut off by {KILLS} kills", all.len() - cut_off);
    assert!(cut_off > KILLS, "the kills met writers at work");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_answered_stands_after_each_kill_on_sqlite() {
    killed_again_and_again(Kind::Embedded).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_answered_stands_after_each_kill_on_postgresql() {
    killed_again_and_again(Kind::Server).await;
}
