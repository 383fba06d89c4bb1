//! What the server says of a record before it reads one.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::domain::person::Role;
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use super::served::{Kind, Served};

/// The length that a client announces is enough: nothing of the body need be sent.
#[tokio::test(flavor = "multi_thread")]
async fn a_record_too_large_for_the_api_is_answered_with_the_limit() {
    let served = Served::start(Kind::Embedded).await;
    let address = served.base.strip_prefix("http://").unwrap();
    let head = format!(
        "POST /api/v1/{}/commands HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {}\r\n\
         Content-Length: 100000000\r\nConnection: close\r\n\r\n",
        served.site,
        served.token(Role::Desk),
    );
    let mut stream = tokio::net::TcpStream::connect(address).await.unwrap();
    stream.write_all(head.as_bytes()).await.unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    assert!(answer.starts_with("HTTP/1.1 413 "), "{answer}");
    let body: Value = serde_json::from_str(answer.split_once("\r\n\r\n").unwrap().1).unwrap();
    assert_eq!((&body["code"], &body["limit"]), (&json!("too_large"), &json!(64 * 1024 * 1024)), "{body}");
    served.stop().await;
}
