//! 1,000 messages of a schedule over one connection, one after the other, each answered after it is durable: bookings,
//! then as many moves, then all of it sent again.
//!
//! `cargo bench --bench mllp`; with `FETTLE_TEST_POSTGRES` on PostgreSQL as well.

// A benchmark is a clock, and what fails in it may fail loudly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[allow(dead_code)]
mod common;

use std::time::{Duration, Instant};

use common::{Fresh, actor, command, furnished};
use fettle::domain::person::Role;
use fettle::formats::hl7::frame::framed;
use fettle::web::mllp::{self, Limits};
use serde_json::json;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

const MESSAGES: usize = 1_000;
const MOST: Duration = Duration::from_secs(3);

fn message(event: &str, n: usize, hour: usize) -> Vec<u8> {
    let (day, minute) = (1 + n % 28, n % 60);
    framed(&format!(
        "MSH|^~\\&|THEATRE|NORTH|FETTLE|WARD|2089010{hour}080000+0000||SIU^{event}^SIU_S12|{event}-{n}|P|2.5\r\
         SCH|P-{n}|F-{n}||||BOOK|||60|min|^^60^208903{day:02}{hour:02}{minute:02}00\r\
         PID|1||PAT-{n}^^^NORTH^MR||NAME^SOMEBODY\rRGS|1\rAIS|1||CAPS^Caps^L\rAIL|1||OR^3\r"
    ))
}

/// Sends each message when the one before it is answered.
async fn asked(stream: &mut TcpStream, event: &str, hour: usize) -> Duration {
    let begun = Instant::now();
    let mut answer = Vec::with_capacity(1_024);
    for n in 0..MESSAGES {
        stream.write_all(&message(event, n, hour)).await.expect("it is taken");
        answer.clear();
        while !answer.ends_with(b"\x1c\r") {
            let count = stream.read_buf(&mut answer).await.expect("an answer");
            assert!(count > 0, "the connection stands");
        }
        let told = String::from_utf8_lossy(&answer);
        assert!(told.contains(&format!("MSA|AA|{event}-{n}")), "{told}");
    }
    begun.elapsed()
}

async fn measured(fresh: &Fresh) -> [(&'static str, Duration); 3] {
    let (house, site) = furnished(&fresh.url, None).await;
    let map = command(json!({"do": "map_procedure", "code": "CAPS", "needs": ["caps"]}));
    house.submit(&site, &actor(Role::Charge), vec![map]).await;
    let door = mllp::listen("127.0.0.1:0", house.clone(), None, Limits::default()).await.expect("a door");
    let mut stream = TcpStream::connect(door.address).await.expect("a connection");
    stream.set_nodelay(true).expect("no delay");
    let booked = asked(&mut stream, "S12", 8).await;
    let moved = asked(&mut stream, "S13", 9).await;
    let again = asked(&mut stream, "S12", 8).await;
    let state = house.state(&site).await.expect("a state").expect("a site");
    assert_eq!(state.cases.values().filter(|case| case.schedule.is_some()).count(), MESSAGES);
    drop(stream);
    door.close().await;
    house.close().await;
    [("bookings", booked), ("moves", moved), ("bookings sent again", again)]
}

#[tokio::main]
async fn main() {
    let mut rows = vec![("SQLite", Fresh::embedded())];
    if std::env::var("FETTLE_TEST_POSTGRES").is_ok() {
        rows.push(("PostgreSQL", Fresh::server().await));
    }
    for (name, fresh) in rows {
        for (what, took) in measured(&fresh).await {
            let met = if took < MOST { "met" } else { "MISSED" };
            println!("{name}: {MESSAGES} {what}, each answered: {took:.2?} of {MOST:?}: {met}");
        }
        fresh.drop().await;
    }
}
