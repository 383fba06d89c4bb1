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

/// RFC 9112, section 9.6 (from memory): a server that closes with bytes unread resets the connection, and the client may
/// lose the answer. One that sends all it has before it reads sees the answer all the same.
#[tokio::test(flavor = "multi_thread")]
async fn a_client_that_is_still_sending_sees_the_answer() {
    let served = Served::start(Kind::Embedded).await;
    let address = served.base.strip_prefix("http://").unwrap().to_string();
    let site = served.site.clone();
    for (path, token, length, status) in [
        // Told by its length, before a byte of it is read; found while it is read; not allowed at all.
        (format!("/api/v1/{site}/commands"), served.token(Role::Desk), true, "413"),
        (format!("/api/v1/{site}/commands"), served.token(Role::Desk), false, "413"),
        (format!("/api/v1/{site}/attachments"), served.token(Role::Desk), true, "413"),
        (format!("/api/v1/{site}/commands"), "no-token", true, "401"),
    ] {
        const PIECE: usize = 1024 * 1024;
        const PIECES: usize = 100;
        let framing = match length {
            true => format!("Content-Length: {}", PIECE * PIECES),
            false => "Transfer-Encoding: chunked".into(),
        };
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\n{framing}\r\nConnection: close\r\n\r\n"
        );
        let mut stream = tokio::net::TcpStream::connect(&address).await.unwrap();
        stream.write_all(head.as_bytes()).await.unwrap();
        let piece = vec![b' '; PIECE];
        for _ in 0..PIECES {
            if !length {
                stream.write_all(format!("{PIECE:x}\r\n").as_bytes()).await.unwrap();
            }
            stream.write_all(&piece).await.expect("it is taken to its end");
            if !length {
                stream.write_all(b"\r\n").await.unwrap();
            }
        }
        if !length {
            stream.write_all(b"0\r\n\r\n").await.unwrap();
        }
        let mut answer = String::new();
        stream.read_to_string(&mut answer).await.expect("an answer, and no reset");
        assert!(answer.starts_with(&format!("HTTP/1.1 {status} ")), "{path}: {answer}");
    }
    served.stop().await;
}
