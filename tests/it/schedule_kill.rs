//! The program killed after a message was written and before anybody heard so: the resend is answered, and changes
//! nothing. And a door that cannot be opened says why.

use std::net::TcpListener;
use std::process::Stdio;
use std::time::Duration;

use fettle::formats::hl7::frame::framed;

use super::binary::{Running, checked, entries, fettle, furnished};
use super::own::Own;
use super::schedule::{Told, told};
use super::schedule_served::Peer;
use super::served::BOTH;

const KILLS: usize = 5;

/// An address that is free now.
fn free() -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    listener.local_addr().expect("an address").to_string()
}

/// Far ahead, since the program's clock is the real one.
fn message(n: usize) -> Told {
    told("S12").with(|it| {
        (it.filler, it.control, it.start) = (format!("A-{n}"), format!("M-{n}"), "20890303100000".into());
    })
}

fn serve(url: &str, door: &str) -> Running {
    Running::begin(fettle(&["serve", "--listen", "127.0.0.1:0", "--mllp", door], url))
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_written_before_a_kill_is_answered_after_it_and_stands_once() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let at = furnished(&own).await;
        let told_there = |found: &[serde_json::Value], n: usize| {
            let name = format!("A-{n}");
            found
                .iter()
                .filter(|it| it["kind"] == "case_planned" && it["event"]["case"] == name.as_str())
                .count()
        };
        for n in 0..KILLS {
            let door = free();
            let mut running = serve(&own.url, &door);
            let mut peer = Peer::to(&door).await;
            // The answer is never read: the kill comes as soon as the entry is seen past the program.
            peer.send(&framed(&message(n).text())).await;
            for _ in 0..2_000 {
                if told_there(&entries(&own, &at.site).await, n) > 0 {
                    break;
                }
            }
            running.kill();
            let door = free();
            let mut running = serve(&own.url, &door);
            let mut peer = Peer::to(&door).await;
            let (letters, id, _) = peer.ask(&message(n).text()).await;
            assert_eq!((letters, id), ("AA".to_string(), format!("M-{n}")));
            assert_eq!(told_there(&entries(&own, &at.site).await, n), 1, "{kind:?}: it stands once");
            running.signal("TERM");
            assert_eq!(
                running.ended(Duration::from_secs(10)).await.code(),
                Some(0),
                "an open peer stops no end"
            );
        }
        let (well, words) = checked(&own);
        assert!(well, "{words}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_door_that_cannot_be_opened_says_why() {
    let own = Own::new(BOTH[0]).await;
    furnished(&own).await;
    let taken = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = taken.local_addr().expect("an address").to_string();
    for (arguments, words) in [
        (vec!["serve", "--listen", "127.0.0.1:0", "--mllp", &address], "another address with --mllp"),
        (
            vec!["serve", "--listen", "127.0.0.1:0", "--mllp", "127.0.0.1:0", "--mllp-site", "no"],
            "no site \"no\"",
        ),
    ] {
        let mut command = fettle(&arguments, &own.url);
        let done = command.stderr(Stdio::piped()).output().expect("a process");
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!((done.status.code(), done.stdout.as_slice()), (Some(1), b"".as_slice()), "{said}");
        assert!(said.contains(words), "{said}");
    }
}
