//! The schedule's door: messages in frames over plain connections. One message after the other is taken from each, and
//! answered on it when it is durable.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Notify, Semaphore, watch};
use tokio::task::{JoinHandle, JoinSet};
use tokio::time::{Instant, sleep, timeout, timeout_at};

use crate::app::house::House;
use crate::app::schedule::LONGEST;
use crate::domain::id::Id;
use crate::formats::hl7::frame::{Framed, Framer, framed};

/// What a peer may take.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    pub connections: usize,
    /// From the first byte of a frame to its last.
    pub frame: Duration,
    /// Between two messages.
    pub idle: Duration,
    /// The same where all places are taken: whoever was quiet for so long makes room for a newcomer, since some senders
    /// open a connection for each message and forget the one before.
    pub crowded: Duration,
    /// For an answer to be taken.
    pub answer: Duration,
    /// Bytes between two messages that belong to none.
    pub wasted: u64,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            connections: 256,
            frame: Duration::from_secs(30),
            idle: Duration::from_secs(3_600),
            crowded: Duration::from_secs(60),
            answer: Duration::from_secs(10),
            wasted: 4 * 1024 * 1024,
        }
    }
}

/// After the signal to stop, a message that is being written has this long to be answered.
const GRACE: Duration = Duration::from_secs(5);
const PIECE: usize = 8 * 1024;
/// So long a newcomer waits for the place of a quiet one.
const ROOM: Duration = Duration::from_secs(1);

/// An open connection: when something came on it last, and the word that it has to go.
struct Guest {
    heard: Mutex<Instant>,
    leave: Notify,
}

impl Guest {
    fn hears(&self) {
        *self.heard.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
    }

    fn heard(&self) -> Instant {
        *self.heard.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// All that are open.
#[derive(Default)]
struct Guests(Mutex<Vec<Weak<Guest>>>);

impl Guests {
    fn enter(&self) -> Arc<Guest> {
        let guest = Arc::new(Guest { heard: Mutex::new(Instant::now()), leave: Notify::new() });
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|known| known.strong_count() > 0);
        all.push(Arc::downgrade(&guest));
        guest
    }

    /// Bids the one that was quiet longest to go, where that is at least so long; whether there is one.
    fn make_room(&self, quiet: Duration) -> bool {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let longest = all.iter().filter_map(Weak::upgrade).min_by_key(|guest| guest.heard());
        let found = longest.filter(|guest| guest.heard().elapsed() >= quiet);
        if let Some(guest) = &found {
            guest.leave.notify_one();
        }
        found.is_some()
    }
}

/// An open door.
pub struct Mllp {
    pub address: SocketAddr,
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

/// Opens the door; `site` is the one that every message is for, where the messages do not say it.
///
/// # Errors
/// Where the address cannot be listened on.
pub async fn listen(
    address: &str,
    house: Arc<House>,
    site: Option<Id>,
    limits: Limits,
) -> std::io::Result<Mllp> {
    let listener = TcpListener::bind(address).await?;
    let address = listener.local_addr()?;
    let (stop, stopped) = watch::channel(false);
    tracing::info!(%address, "listening for the schedule");
    let task = tokio::spawn(accept(listener, house, site, limits, stopped));
    Ok(Mllp { address, stop, task })
}

impl Mllp {
    /// Takes no more messages; those that are being written are answered.
    pub async fn close(self) {
        // Where nobody listens to it any more, the door has closed by itself.
        let _ = self.stop.send(true);
        let mut task = self.task;
        if timeout(GRACE, &mut task).await.is_err() {
            task.abort();
        }
    }
}

async fn told(stopped: &mut watch::Receiver<bool>) {
    // A sender that is gone says the same.
    let _ = stopped.wait_for(|stop| *stop).await;
}

async fn accept(
    listener: TcpListener,
    house: Arc<House>,
    site: Option<Id>,
    limits: Limits,
    stopped: watch::Receiver<bool>,
) {
    let places = Arc::new(Semaphore::new(limits.connections));
    let guests = Guests::default();
    let mut open = JoinSet::new();
    let mut stop = stopped.clone();
    loop {
        let accepted = tokio::select! {
            () = told(&mut stop) => break,
            Some(_) = open.join_next() => continue,
            accepted = listener.accept() => accepted,
        };
        let (stream, peer) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                tracing::warn!(%error, "a connection of the schedule could not be taken");
                sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        let place = match places.clone().try_acquire_owned() {
            Ok(place) => Some(place),
            Err(_) if guests.make_room(limits.crowded) => {
                timeout(ROOM, places.clone().acquire_owned()).await.ok().and_then(Result::ok)
            }
            Err(_) => None,
        };
        let Some(place) = place else {
            tracing::warn!(%peer, most = limits.connections, "too many connections of schedules");
            continue;
        };
        let (house, site, stopped, guest) = (house.clone(), site.clone(), stopped.clone(), guests.enter());
        open.spawn(async move {
            let why = serve(stream, &house, site.as_ref(), limits, stopped, &guest).await;
            tracing::debug!(%peer, why, "a connection of the schedule ended");
            drop(place);
        });
    }
    drop(listener);
    while open.join_next().await.is_some() {}
}

/// Serves a connection to its end; says why it ended.
async fn serve(
    mut stream: TcpStream,
    house: &House,
    site: Option<&Id>,
    limits: Limits,
    mut stopped: watch::Receiver<bool>,
    guest: &Guest,
) -> &'static str {
    // Answers are short and wanted at once; where the system does not grant it they come a little later.
    let _ = stream.set_nodelay(true);
    let mut framer = Framer::new(LONGEST);
    let mut piece = vec![0; PIECE];
    let mut deadline = Instant::now() + limits.idle;
    loop {
        let read = tokio::select! {
            () = told(&mut stopped) => return "the server stops",
            () = guest.leave.notified() => return "it was quiet, and made room for another",
            read = timeout_at(deadline, stream.read(&mut piece)) => read,
        };
        let count = match read {
            Err(_) if framer.inside() => return "the message did not end in time",
            Err(_) => return "nothing came for long",
            Ok(Ok(0)) if framer.inside() => return "it was closed within a message",
            Ok(Ok(0)) => return "it was closed",
            Ok(Ok(count)) => count,
            Ok(Err(_)) => return "it broke",
        };
        guest.hears();
        let was_inside = framer.inside();
        let mut rest = piece.get(..count).unwrap_or_default();
        let mut whole = false;
        while !rest.is_empty() {
            let (taken, message) = framer.take(rest);
            rest = rest.get(taken..).unwrap_or_default();
            if let Some(message) = message {
                whole = true;
                if let Err(why) = answer(&mut stream, house, site, &message, limits.answer).await {
                    return why;
                }
            }
            if *stopped.borrow() {
                return "the server stops";
            }
        }
        guest.hears();
        if framer.wasted() > limits.wasted {
            return "too much came that belongs to no message";
        }
        // A frame has its time from its first byte on, however slowly it comes; so has the pause, whatever comes in it.
        if framer.inside() && (whole || !was_inside) {
            deadline = Instant::now() + limits.frame;
        } else if whole {
            deadline = Instant::now() + limits.idle;
        }
    }
}

/// Takes a message and answers it, when it is durable.
async fn answer(
    stream: &mut TcpStream,
    house: &House,
    site: Option<&Id>,
    message: &Framed,
    most: Duration,
) -> Result<(), &'static str> {
    let Some(answer) = house.take_message(site, &message.bytes, message.cut).await else {
        return Err("what was framed is no message");
    };
    match timeout(most, stream.write_all(&framed(&answer))).await {
        Ok(Ok(())) => Ok(()),
        Ok(Err(_)) => Err("it broke before the answer was taken"),
        Err(_) => Err("the answer was not taken in time"),
    }
}
