//! The demo: whole or not there, and its own commands in order.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use fettle::app::demo;
use fettle::app::house::House;
use fettle::domain::event::Event;
use fettle::domain::id::Id;

#[tokio::test(flavor = "multi_thread")]
async fn nobody_in_the_demo_breaks_a_rule_unasked() {
    let folder = tempfile::tempdir().expect("a folder");
    let url = format!("sqlite:{}", folder.path().join("demo.db").display());
    let house = House::open(&url).await.expect("a database");
    demo::make(&house, 7).await.expect("a demo");
    let site = Id::new(demo::SITE).expect("an id");
    let entries = house.newest(&site, None, 5_000).await.expect("entries");
    assert!(entries.len() > 500, "some weeks of history");
    let mut last = None;
    for (entry, _) in entries.iter().rev() {
        assert!(last <= Some(entry.at), "entry {} stands in the order of its time", entry.seq);
        assert!(
            entry.recorded_at.since_s(entry.at) < 60,
            "entry {} was recorded when it happened",
            entry.seq
        );
        last = Some(entry.at);
        let event = Event::read(&entry.kind, entry.version, entry.event.clone()).expect("an event");
        // A set that comes back without a case is the one deviation: this release has no cases.
        let by_set = !event.beside.sets.is_empty();
        assert!(
            event.beside.deviation.is_empty() || by_set,
            "entry {}: {:?}",
            entry.seq,
            event.beside.deviation
        );
    }
    house.close().await;
}

/// Starts `fettle demo` in a folder, waits for its first line, and ends it.
fn serves(folder: &Path) -> bool {
    let mut child = Command::new(env!("CARGO_BIN_EXE_fettle"))
        .args(["demo", "--listen", "127.0.0.1:0", "--data"])
        .arg(folder)
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program");
    let mut first = String::new();
    BufReader::new(child.stdout.take().expect("its output")).read_line(&mut first).expect("a line");
    child.kill().expect("an end");
    child.wait().expect("its status");
    first.starts_with("listening on http://")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_demo_that_broke_off_is_made_anew() {
    let folder = tempfile::tempdir().expect("a folder");
    let unfinished = folder.path().join("unfinished.db");
    let house = House::open(&format!("sqlite:{}", unfinished.display())).await.expect("a database");
    house.add_site(demo::SITE, "Half of a demo", "Europe/London").await.expect("a site");
    house.close().await;
    assert!(serves(folder.path()));
    assert!(!unfinished.exists());
    let again = std::fs::metadata(folder.path().join("demo.db")).expect("the demo").len();
    assert!(again > 100_000, "the demo is whole");
    // What is whole is served as it stands.
    assert!(serves(folder.path()));
    let house = House::open(&format!("sqlite:{}", folder.path().join("demo.db").display()))
        .await
        .expect("a database");
    let site = Id::new(demo::SITE).expect("an id");
    let state = house.state(&site).await.expect("an answer").expect("the site");
    assert_eq!((state.name.as_str(), state.sets.len()), ("St Elfrida's airway service", 6));
    house.close().await;
}
