//! The demo: whole or not there, and its own commands in order.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use fettle::app::demo;
use fettle::app::house::House;
use fettle::domain::event::Event;
use fettle::domain::id::Id;
use fettle::domain::readiness::SetReadiness;

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_is_a_believable_now_after_a_year_and_a_half() {
    let folder = tempfile::tempdir().expect("a folder");
    let url = format!("sqlite:{}", folder.path().join("demo.db").display());
    let house = House::open(&url).await.expect("a database");
    demo::make(&house, 7).await.expect("a demo");
    let site = Id::new(demo::SITE).expect("an id");
    let entries = house.newest(&site, None, 5_000).await.expect("entries");
    let (mut last, mut deviating, mut untimely) = (None, 0, 0);
    for (entry, _) in entries.iter().rev() {
        assert!(last <= Some(entry.recorded_at), "entry {} stands in the order of its record", entry.seq);
        last = Some(entry.recorded_at);
        let event = Event::read(&entry.kind, entry.version, entry.event.clone()).expect("an event");
        let at_once = entry.recorded_at.since_s(entry.at) < 60;
        untimely += usize::from(!at_once && event.beside.late.is_none());
        deviating += usize::from(!event.beside.deviation.is_empty());
    }
    // Two desks of the simulation are told one after the other, so a few entries stand behind later ones.
    assert!(
        untimely * 20 < entries.len(),
        "{untimely} of {} were not told late and not at once",
        entries.len()
    );
    assert!(deviating * 50 < entries.len(), "{deviating} of {} deviate", entries.len());
    let state = house.state(&site).await.expect("an answer").expect("the site");
    let now = house.clock.now();
    let board = state.board(now);
    let sets = |wanted: SetReadiness| board.sets.iter().filter(|set| set.status == wanted).count();
    assert!(sets(SetReadiness::Ready) > 0, "some sets are ready");
    assert!(sets(SetReadiness::ReadyShort) + sets(SetReadiness::NotReady) > 0, "one is short of a part");
    assert!(!board.cases.is_empty(), "there are cases today or tomorrow");
    assert!(board.not_accounted_for.iter().any(|missing| missing.loud), "a part is being looked for");
    assert!(state.machines.values().any(|machine| machine.running.is_some()), "a load runs");
    assert!(state.holds.values().any(|hold| hold.lifted_at.is_none()), "something is on hold");
    assert!(state.due(now).iter().any(|due| due.asset.is_some()), "an inspection is due");
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
    assert_eq!((state.name.as_str(), state.sets.len()), ("St Elfrida's airway service", 14));
    house.close().await;
}
