//! One try: a connection of its own to a place that was looked at before, one request, the head of the answer.

use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use hyper::client::conn::http1;
use hyper_util::rt::TokioIo;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::pki_types::ServerName;

use super::reach::Reach;
use super::signature;
use crate::app::alert_sending::{Heard, Taken};
use crate::domain::time::Time;

/// A try takes no longer than this, from the look-up of the name to the head of the answer.
const WITHIN: Duration = Duration::from_secs(10);
/// So much of an answer is taken from the wire at most, which its head has to fit into: the least that can be said. Nothing
/// of a body is looked at.
const MOST_OF_ANSWER: usize = 8 * 1024;
const MEDIA_TYPE: &str = "application/cloudevents+json";

pub async fn send(reach: &Reach, it: &Taken, now: Time) -> Heard {
    match tokio::time::timeout(WITHIN, tried(reach, it, now)).await {
        Ok(Ok(status)) => heard(status),
        Ok(Err(why)) => Heard::Failed(why),
        Err(_) => Heard::Failed(format!("No answer within {} s.", WITHIN.as_secs())),
    }
}

fn heard(status: StatusCode) -> Heard {
    let told = format!("Answered {}.", status.as_u16());
    match status {
        StatusCode::GONE => Heard::Gone("Answered 410: the address wants no more.".into()),
        _ if status.is_success() => Heard::Taken(told),
        _ if status.is_redirection() => {
            Heard::Failed(format!("Answered {}, which leads elsewhere and is not followed.", status.as_u16()))
        }
        _ => Heard::Failed(told),
    }
}

async fn tried(reach: &Reach, it: &Taken, now: Time) -> Result<StatusCode, String> {
    let mut trouble = String::new();
    for place in reach.places(&it.address).await? {
        match TcpStream::connect(place).await {
            Ok(stream) => return spoken(reach, it, now, stream).await,
            Err(error) => trouble = format!("Nobody answers at {place}: {}.", error.kind()),
        }
    }
    Err(trouble)
}

/// Speaks through TLS where the address says so.
async fn spoken(reach: &Reach, it: &Taken, now: Time, stream: TcpStream) -> Result<StatusCode, String> {
    if !it.address.secure {
        return asked(it, now, stream).await;
    }
    let host = it.address.host.clone();
    let name = ServerName::try_from(host).map_err(|_| "The host is no name of a certificate.".to_string())?;
    let secured = TlsConnector::from(reach.tls.clone()).connect(name, stream).await;
    let secured = secured.map_err(|error| format!("TLS could not be agreed: {error}."))?;
    asked(it, now, secured).await
}

async fn asked(
    it: &Taken,
    now: Time,
    stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static,
) -> Result<StatusCode, String> {
    let lost = |error: hyper::Error| format!("The connection was lost: {error}.");
    let begun = http1::Builder::new().max_buf_size(MOST_OF_ANSWER).handshake(TokioIo::new(stream)).await;
    let (mut sender, connection) = begun.map_err(lost)?;
    let request = request(it, now).map_err(|error| format!("No request could be made: {error}."))?;
    // Dropped with this try, it ends the connection.
    let mut beside = JoinSet::new();
    beside.spawn(connection);
    sender.send_request(request).await.map(|answer| answer.status()).map_err(lost)
}

fn request(it: &Taken, now: Time) -> Result<Request<Body>, axum::http::Error> {
    let (id, body) = (&it.delivery.id, &it.delivery.body);
    let at_s = now.0.div_euclid(1_000_000);
    Request::post(it.address.path.as_str())
        .header(header::HOST, it.address.authority())
        .header(header::USER_AGENT, concat!("fettle/", env!("CARGO_PKG_VERSION")))
        .header(header::CONTENT_TYPE, MEDIA_TYPE)
        .header(header::CONNECTION, "close")
        .header("webhook-id", id.as_str())
        .header("webhook-timestamp", at_s.to_string())
        .header("webhook-signature", signature(&it.secret, id, at_s, body))
        .body(Body::from(body.clone()))
}
