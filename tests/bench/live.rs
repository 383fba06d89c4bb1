//! How long it takes from an answer to a command until every open board shows it: a hundred boards at the server that
//! took the command, and a hundred at another one on the same database. And how often they were rendered for it.
//!
//! `cargo bench --bench live`; with `FETTLE_TEST_POSTGRES` on PostgreSQL as well, where notices travel; on SQLite the
//! other server looks every two seconds.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
mod common;

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use common::{Fresh, actor, command, furnished, set};
use fettle::app::house::{House, Outcome};
use fettle::domain::id::Id;
use fettle::domain::person::Role;
use fettle::web::{App, Options, router};
use serde_json::json;
use tokio::sync::mpsc;
use tokio::task::JoinSet;

const BOARDS: usize = 100;
const CHANGES: usize = 20;
const MOST: Duration = Duration::from_secs(1);

/// A server with its boards: each sends on the places in the ledger that it was told, with the time.
struct Watched {
    app: App,
    told: mpsc::UnboundedReceiver<(u64, Instant)>,
    _readers: JoinSet<()>,
}

async fn watched(house: Arc<House>, site: &Id) -> Watched {
    let app = App::new(house.clone(), Options::default());
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let base = format!("http://{}", listener.local_addr().expect("an address"));
    let service = router::router(app.clone()).into_make_service_with_connect_info::<SocketAddr>();
    tokio::spawn(async move { axum::serve(listener, service).await.expect("a server") });
    let code =
        house.add_person(site.as_str(), None, "Ada", Role::Charge, "correct horse battery").await.unwrap();
    let secret =
        house.sign_in(site.as_str(), &code, "correct horse battery").await.unwrap().expect("a session");
    let client = reqwest::Client::new();
    let (tell, told) = mpsc::unbounded_channel();
    let mut readers = JoinSet::new();
    for _ in 0..BOARDS {
        let asked =
            client.get(format!("{base}/board/live")).header("cookie", format!("fettle_session={secret}"));
        let mut answer = asked.send().await.expect("an answer");
        let tell = tell.clone();
        readers.spawn(async move {
            let mut rest = String::new();
            while let Ok(Some(chunk)) = answer.chunk().await {
                rest += std::str::from_utf8(&chunk).expect("text");
                while let Some((event, more)) = rest.split_once("\n\n") {
                    let id = event.lines().find_map(|line| line.strip_prefix("id: ")?.parse::<u64>().ok());
                    if let Some(id) = id {
                        let _ = tell.send((id, Instant::now()));
                    }
                    rest = more.to_string();
                }
            }
        });
    }
    let mut watched = Watched { app, told, _readers: readers };
    watched.all(0).await;
    watched
}

impl Watched {
    /// When the last of the boards showed an entry.
    async fn all(&mut self, entry: u64) -> Instant {
        let mut last = Instant::now();
        let mut count = 0;
        while count < BOARDS {
            let (seen, at) = self.told.recv().await.expect("boards");
            if seen >= entry {
                (count, last) = (count + 1, at);
            }
        }
        last
    }
}

async fn measured(name: &str, fresh: &Fresh) {
    let (house, site) = furnished(&fresh.url, None).await;
    let other = Arc::new(House::open(&fresh.url).await.expect("a database"));
    let mut near = watched(house.clone(), &site).await;
    let mut far = watched(other, &site).await;
    let before = (near.app.lives.rendered(), far.app.lives.rendered());
    let (mut here, mut there) = (Vec::new(), Vec::new());
    for n in 0..CHANGES {
        // So far apart that each is shown by itself.
        tokio::time::sleep(Duration::from_millis(1_300)).await;
        let scan = json!({"do": "record_step", "step": "treated", "scan": set(n)});
        let outcome = house.submit(&site, &actor(Role::Desk), vec![command(scan)]).await.remove(0);
        let entry = match &outcome {
            Outcome::Accepted(accepted) => accepted.entry,
            _ => unreachable!("{outcome:?}"),
        };
        let begun = Instant::now();
        here.push(near.all(entry).await.duration_since(begun));
        there.push(far.all(entry).await.duration_since(begun));
    }
    for (place, mut all, renderings) in [
        ("same server", here, near.app.lives.rendered() - before.0),
        ("other server", there, far.app.lives.rendered() - before.1),
    ] {
        all.sort();
        println!(
            "{name}, {place}: {BOARDS} boards show a change after {:.0} ms in the middle, {:.0} ms at the worst \
             ({} ms is wanted); {renderings} renderings for {CHANGES} changes",
            all[all.len() / 2].as_secs_f64() * 1e3,
            all[all.len() - 1].as_secs_f64() * 1e3,
            MOST.as_millis(),
        );
    }
}

#[tokio::main]
async fn main() {
    let embedded = Fresh::embedded();
    measured("SQLite", &embedded).await;
    if std::env::var("FETTLE_TEST_POSTGRES").is_ok() {
        let server = Fresh::server().await;
        measured("PostgreSQL", &server).await;
        server.drop().await;
    }
    std::process::exit(0);
}
