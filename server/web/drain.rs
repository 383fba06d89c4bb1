//! What a client still sends after its answer is there is read to its end, within bounds. A connection that was closed with
//! bytes unread is reset, and whoever was still sending would see that instead of the answer.

use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, BodyDataStream, Bytes, HttpBody};
use axum::extract::Request;
use axum::http::header;
use axum::middleware::Next;
use axum::response::Response;
use futures_util::{Stream, StreamExt};

/// So much is read for the sake of an answer that is there already, and no longer than so.
const MOST_BYTES: usize = 512 * 1024 * 1024;
const MOST_TIME: Duration = Duration::from_secs(30);
/// Who sent nothing for so long is not sending any more.
const MOST_PAUSE: Duration = Duration::from_secs(2);

/// A body of which the rest outlives its reader.
#[derive(Clone)]
struct Rest(Arc<Mutex<Held>>);

struct Held {
    stream: Option<BodyDataStream>,
    /// Somebody began to read it. A client that asked first whether it should send has been told to.
    begun: bool,
}

impl Rest {
    fn of(body: Body) -> Rest {
        Rest(Arc::new(Mutex::new(Held { stream: Some(body.into_data_stream()), begun: false })))
    }

    /// What nobody read, and whether somebody began to.
    fn left(&self) -> (Option<BodyDataStream>, bool) {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        (held.stream.take(), held.begun)
    }
}

impl Stream for Rest {
    type Item = Result<Bytes, axum::Error>;

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        held.begun = true;
        let Some(stream) = &mut held.stream else { return Poll::Ready(None) };
        let polled = stream.poll_next_unpin(context);
        if matches!(polled, Poll::Ready(None | Some(Err(_)))) {
            held.stream = None;
        }
        polled
    }
}

/// Answers, and goes on reading what was not read for the answer.
pub async fn drained(request: Request, next: Next) -> Response {
    if request.body().is_end_stream() {
        return next.run(request).await;
    }
    let asks_first = request.headers().contains_key(header::EXPECT);
    let (parts, body) = request.into_parts();
    let rest = Rest::of(body);
    let response = next.run(Request::from_parts(parts, Body::from_stream(rest.clone()))).await;
    let (left, begun) = rest.left();
    // A client that asks first, and was not told to send, sends nothing.
    if let Some(left) = left.filter(|_| begun || !asks_first) {
        tokio::spawn(tokio::time::timeout(MOST_TIME, read(left)));
    }
    response
}

async fn read(mut left: BodyDataStream) {
    let mut bytes = 0;
    while let Ok(Some(Ok(piece))) = tokio::time::timeout(MOST_PAUSE, left.next()).await {
        bytes += piece.len();
        if bytes > MOST_BYTES {
            return;
        }
    }
}
