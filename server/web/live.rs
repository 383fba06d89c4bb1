//! Boards that renew themselves: server-sent events, whose ids are places in the ledger. However many look at a board, it
//! is rendered once for what has changed; each gets it as it opens the connection, so that whoever was cut off is
//! current again at once. A beat in between says that nothing has changed, and is still so.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, Weak};
use std::time::Duration;

use askama::Template;
use axum::extract::State as Reach;
use axum::http::{HeaderMap, HeaderValue};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use chrono::NaiveDate;
use futures_util::stream::{self, Stream};
use serde_json::json;
use tokio::sync::watch;

use super::App;
use super::api::caller::Caller;
use super::api::params::Params;
use super::pages::board::{BoardLive, Facts};
use super::pages::board_wall::{Viewer, WallLive, is_display};
use super::problem::Problem;
use super::unbroken;
use super::visitor::{Visitor, secret};
use crate::app::board::Shown;
use crate::app::house::{Unavailable, operation};
use crate::domain::command::wrong;
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;

/// How long a board waits for its forecast, so that it does not change twice for one entry.
const PATIENCE: Duration = Duration::from_millis(600);
/// After so long without a change a board says that it is current; a reader who hears nothing for thrice as long says
/// since when it is not.
const BEAT: Duration = Duration::from_secs(4);
/// A browser that was cut off comes back after this.
const RETRY: Duration = Duration::from_secs(1);

/// In which form a board is told.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Form {
    Page,
    Wall,
    Json,
}

/// A board as it was rendered for everybody.
#[derive(PartialEq, Eq, Debug)]
struct Frame {
    entry: u64,
    body: String,
}

/// What was told last.
#[derive(Clone)]
struct Told {
    frame: Arc<Frame>,
    /// When it was last known to be so.
    at: Time,
    /// The database does not answer, so that nobody knows what has changed.
    gone: bool,
}

type Place = (Id, Form);

/// The boards that somebody looks at.
#[derive(Default)]
pub struct Lives {
    open: Mutex<BTreeMap<Place, Arc<watch::Sender<Told>>>>,
    /// Held by whoever opens a board, so that it is rendered once for those who come at the same time.
    opening: tokio::sync::Mutex<()>,
    closed: AtomicBool,
    rendered: AtomicU64,
}

impl Lives {
    /// Ends every connection, and lets none begin: the server stops.
    pub fn close(&self) {
        self.closed.store(true, Ordering::Relaxed);
        self.places().clear();
    }

    /// How many boards were rendered since the start.
    pub fn rendered(&self) -> u64 {
        self.rendered.load(Ordering::Relaxed)
    }

    fn places(&self) -> std::sync::MutexGuard<'_, BTreeMap<Place, Arc<watch::Sender<Told>>>> {
        // Whoever panicked left a map that is as good as before.
        self.open.lock().unwrap_or_else(|broken| broken.into_inner())
    }

    /// The sender of a board that somebody still looks at; where nobody does, it is forgotten.
    fn looked_at(
        &self,
        place: &Place,
        sender: &Weak<watch::Sender<Told>>,
    ) -> Option<Arc<watch::Sender<Told>>> {
        let mut places = self.places();
        let sender = sender.upgrade()?;
        if sender.receiver_count() > 0 {
            return Some(sender);
        }
        places.remove(place);
        None
    }
}

/// What a board was rendered from: as long as it is the same, so is the board.
#[derive(Clone, PartialEq, Eq)]
struct From {
    entry: u64,
    tag: String,
    forecast: Option<(u64, Time)>,
    day: NaiveDate,
}

/// A board of this moment, and what it was made of.
async fn made(app: &App, state: &State, now: Time) -> (Shown, From) {
    let forecast = app.house.forecast_within(state, now, PATIENCE).await;
    let shown = app.house.board_of(state, now).with(forecast);
    let forecast = shown.forecast.as_ref().map(|it| (it.entry, it.as_of));
    let day = now.in_zone(state.zone).date_naive();
    let from = From { entry: state.seq, tag: shown.tag.clone(), forecast, day };
    (shown, from)
}

fn rendered(app: &App, form: Form, state: &State, shown: &Shown, now: Time) -> Frame {
    app.lives.rendered.fetch_add(1, Ordering::Relaxed);
    let page = |text: Result<String, askama::Error>| match text {
        Ok(text) => unbroken::names(&text),
        Err(error) => {
            let operation = operation();
            tracing::error!(operation, %error, "a template does not render");
            String::new()
        }
    };
    let body = match form {
        Form::Page => page(BoardLive { facts: Facts::of(state, shown, now) }.render()),
        Form::Wall => page(WallLive::of(state, shown, now).render()),
        Form::Json => super::api::board::told(shown).to_string(),
    };
    Frame { entry: state.seq, body }
}

/// Joins those who look at a board, or is the first of them.
async fn joined(app: &App, site: &Id, form: Form) -> Result<Option<watch::Receiver<Told>>, Unavailable> {
    let place = (site.clone(), form);
    let _opening = app.lives.opening.lock().await;
    let known = app.lives.places().get(&place).map(|sender| sender.subscribe());
    if let Some(mut told) = known {
        // What is recorded already is on the first board that a reader gets.
        let newest = app.house.state(site).await?.map_or(0, |state| state.seq);
        let is_newest = told.wait_for(|told| told.frame.entry >= newest || told.gone);
        if let Ok(Err(_)) = tokio::time::timeout(PATIENCE * 2, is_newest).await {
            return Err(Unavailable { operation: operation() });
        }
        return Ok(Some(told));
    }
    let Some(mut states) = app.house.follow(site).await? else { return Ok(None) };
    let (state, now) = (states.borrow_and_update().clone(), app.house.clock.now());
    let (shown, from) = made(app, &state, now).await;
    let frame = Arc::new(rendered(app, form, &state, &shown, now));
    let mut places = app.lives.places();
    if app.lives.closed.load(Ordering::Relaxed) {
        return Err(Unavailable { operation: operation() });
    }
    let sender = Arc::new(watch::Sender::new(Told { frame, at: now, gone: false }));
    let told = sender.subscribe();
    tokio::spawn(kept(app.clone(), place.clone(), states, Arc::downgrade(&sender), from));
    places.insert(place, sender);
    Ok(Some(told))
}

/// Renders a board whenever something has changed, for as long as anybody looks at it.
async fn kept(
    app: App,
    place: Place,
    mut states: watch::Receiver<Arc<State>>,
    sender: Weak<watch::Sender<Told>>,
    mut from: From,
) {
    loop {
        let lacks_forecast = from.forecast.is_none_or(|(entry, _)| entry != from.entry);
        let beat = if lacks_forecast { PATIENCE } else { BEAT };
        let ended = tokio::select! {
            changed = states.changed() => changed.is_err(),
            () = tokio::time::sleep(beat) => false,
        };
        let Some(sender) = app.lives.looked_at(&place, &sender).filter(|_| !ended) else { return };
        // To ask is to know whether the database still answers.
        if app.house.state(&place.0).await.is_err() {
            sender.send_modify(|told| told.gone = true);
            continue;
        }
        let (state, now) = (states.borrow_and_update().clone(), app.house.clock.now());
        let (shown, newly) = made(&app, &state, now).await;
        let frame = (newly != from).then(|| Arc::new(rendered(&app, place.1, &state, &shown, now)));
        from = newly;
        sender.send_modify(|told| {
            (told.at, told.gone) = (now, false);
            if let Some(frame) = frame.filter(|frame| **frame != *told.frame) {
                told.frame = frame;
            }
        });
    }
}

/// Whether the reader of a connection may still read.
type Admitted = Box<dyn Fn() -> Pin<Box<dyn Future<Output = bool> + Send>> + Send>;

/// One reader's connection.
struct Connection {
    told: watch::Receiver<Told>,
    sent: Option<Arc<Frame>>,
    /// Nothing is sent before something is told.
    beats: bool,
    admitted: Admitted,
    /// So many boards are still sent.
    left: u64,
    over: bool,
}

impl Connection {
    /// What is sent next; `None` where the server stops or the reader may read no longer and knows it.
    async fn next(&mut self) -> Option<Event> {
        if self.over {
            return None;
        }
        if self.beats {
            self.told.changed().await.ok()?;
        }
        // Who has signed out, or was disabled, sees no more of the house.
        if !(self.admitted)().await {
            self.over = true;
            return Some(Event::default().event("ended").data("{}"));
        }
        let told = self.told.borrow_and_update().clone();
        if self.sent.as_ref().is_none_or(|sent| !Arc::ptr_eq(sent, &told.frame)) {
            (self.sent, self.beats) = (Some(told.frame.clone()), false);
            self.left = self.left.saturating_sub(1);
            self.over = self.left == 0;
            let event = Event::default().event("board").id(told.frame.entry.to_string()).retry(RETRY);
            return Some(event.data(told.frame.body.replace('\r', " ")));
        }
        // What was sent is followed by a beat at once, which says when it was so.
        self.beats = true;
        let name = if told.gone { "gone" } else { "current" };
        let beat = json!({"at": told.at, "entry": told.frame.entry});
        Some(Event::default().event(name).data(beat.to_string()))
    }
}

fn events(
    told: watch::Receiver<Told>,
    admitted: Admitted,
    left: u64,
) -> impl Stream<Item = Result<Event, Infallible>> {
    let connection = Connection { told, sent: None, beats: false, admitted, left, over: false };
    stream::unfold(connection, |mut connection| async move {
        let event = connection.next().await?;
        Some((Ok(event), connection))
    })
}

fn streamed(told: watch::Receiver<Told>, admitted: Admitted, left: u64) -> Response {
    let mut response = Sse::new(events(told, admitted, left)).into_response();
    // A proxy that gathers what it passes on would hold back what is meant for now.
    response.headers_mut().insert("x-accel-buffering", HeaderValue::from_static("no"));
    response
}

/// A live connection of a page; a browser needs no page to be told what is wrong.
async fn of_page(app: &App, site: &Id, form: Form, admitted: Admitted) -> Response {
    match joined(app, site, form).await {
        Ok(Some(told)) => streamed(told, admitted, u64::MAX),
        Ok(None) => Problem::unknown_site(site.as_str()).into_response(),
        Err(gone) => Problem::unavailable(&gone).into_response(),
    }
}

/// Whether a session still stands and its person still sees this page.
fn session_stands(app: &App, headers: &HeaderMap, site: &Id) -> Admitted {
    let (app, secret, site) = (app.clone(), secret(headers).unwrap_or_default(), site.clone());
    Box::new(move || {
        let (app, secret, site) = (app.clone(), secret.clone(), site.clone());
        // A database that does not answer ends no session.
        Box::pin(async move {
            app.house.session(&secret).await.map_or(true, |it| it.is_some_and(|it| it.site == site))
        })
    })
}

pub async fn board(Reach(app): Reach<App>, visitor: Visitor, headers: HeaderMap) -> Response {
    let site = &visitor.state.site;
    of_page(&app, site, Form::Page, session_stands(&app, &headers, site)).await
}

pub async fn wall(Reach(app): Reach<App>, viewer: Viewer, headers: HeaderMap) -> Response {
    let site = viewer.state().site.clone();
    let admitted = match viewer {
        Viewer::Person(_) => session_stands(&app, &headers, &site),
        Viewer::Display { address, .. } => display_stands(&app, address, &site),
    };
    of_page(&app, &site, Form::Wall, admitted).await
}

/// Whether a site still names the address of a display.
fn display_stands(app: &App, address: String, site: &Id) -> Admitted {
    let (app, site) = (app.clone(), site.clone());
    Box::new(move || {
        let (app, site, address) = (app.clone(), site.clone(), address.clone());
        Box::pin(async move {
            let state = app.house.state(&site).await;
            state.map_or(true, |state| state.is_some_and(|state| is_display(&state, &address)))
        })
    })
}

/// The board as the API tells it, whenever it changes, until as many were sent as are wanted.
pub async fn facts(caller: Caller, headers: HeaderMap, mut params: Params) -> Result<Response, Problem> {
    let limit = params.number("limit")?.unwrap_or(u64::MAX);
    params.done()?;
    if limit == 0 {
        let detail = "\"limit\" is 0; 1 or more is needed";
        return Err(Problem::malformed(&[wrong("?limit", detail)]));
    }
    let told = joined(&caller.app, &caller.site, Form::Json).await?;
    let told = told.ok_or_else(|| Problem::unknown_site(caller.site.as_str()))?;
    let bearer = super::api::caller::bearer(&headers).unwrap_or_default();
    let (app, site) = (caller.app.clone(), caller.site.clone());
    let admitted: Admitted = Box::new(move || {
        let (app, site, bearer) = (app.clone(), site.clone(), bearer.clone());
        Box::pin(async move {
            app.house.token(&bearer).await.map_or(true, |it| it.is_some_and(|(of, _)| of == site))
        })
    });
    Ok(streamed(told, admitted, limit))
}
